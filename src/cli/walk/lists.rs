//! Lists to look at or choose from: steps, meters, questions about the past,
//! lines of the board.

use super::Walk;
use crate::cli::error::{Failure, Result};
use crate::cli::text::fill;
use crate::cli::{line, show};
use crate::job::line::line_at_hand;
use crate::job::view::{self, StepView};
use crate::job::{Entry, StepKind};
use crate::model::{Found, past};

impl Walk<'_> {
    /// All tests and remedies, to choose one from; or those that have what was
    /// typed in their words.
    pub(super) fn others(&mut self, typed: &str) -> Result {
        let all = view::all_steps(&self.desk.case);
        if typed.is_empty() {
            return self.list(&all);
        }
        let word = typed.to_lowercase();
        let fits: Vec<StepView> = all
            .iter()
            .filter(|s| s.id.contains(&word) || s.text.to_lowercase().contains(&word))
            .cloned()
            .collect();
        let named = self.desk.case.model.test(typed).is_one()
            || self.desk.case.model.remedy(typed).is_one()
            || typed.parse::<usize>().is_ok();
        if named || fits.is_empty() {
            return self.choose(typed, &all);
        }
        self.list(&fits)
    }

    /// Lists steps, numbered from 1, and lets one of them be chosen.
    fn list(&mut self, some: &[StepView]) -> Result {
        let mut plain = false;
        for (n, s) in (1..).zip(some) {
            // Those that the planner did not look at come last.
            if !plain && s.outcomes.is_empty() && s.mends.is_none() {
                plain = true;
                self.say("Of little use now:")?;
            }
            let mend = if s.act == StepKind::Remedy {
                "MEND: "
            } else {
                ""
            };
            let after = match (plain, s.prepare.is_empty()) {
                (true, _) => format!("; {}", s.why),
                (false, true) => String::new(),
                (false, false) => format!("; first: {}", s.prepare.join("; ")),
            };
            let text = format!("{mend}{} ({:.0} min{after})", s.text, s.minutes.max(1.0));
            let text = fill(&text, self.terminal.width, &format!("{n:>3} "), "    ");
            self.terminal.line(&text)?;
        }
        match self.question(
            "Number or name (Enter: back) > ",
            "The number of a step, or a word of it.",
        )? {
            Some(t) => self.choose(&t, some),
            None => Ok(()),
        }
    }

    /// Takes up the step that a number of the list or a name means.
    fn choose(&mut self, typed: &str, listed: &[StepView]) -> Result {
        let number = typed.parse::<usize>().ok();
        let chosen = match number.and_then(|n| listed.get(n.wrapping_sub(1))) {
            Some(s) => s.clone(),
            None => {
                let id = self.named(typed)?;
                let one = listed.iter().find(|s| s.id == id).cloned();
                // A name may be of a step beside the list.
                match one.or_else(|| self.step_called(id)) {
                    Some(s) => s,
                    None => return Ok(()),
                }
            }
        };
        self.asked_back = None;
        let text = show::step(&chosen, "-> ", self.terminal.width, true);
        self.chosen = Some(chosen);
        self.terminal.line(&text)
    }

    /// The full identifier of the test or remedy that a name means.
    fn named(&self, typed: &str) -> Result<&str> {
        let m = &self.desk.case.model;
        let found = m.test(typed);
        match (&found, m.remedy(typed)) {
            (Found::One(i), _) => return Ok(&m.tests[*i].id),
            (_, Found::One(i)) => return Ok(&m.remedies[i].id),
            _ => {}
        }
        let e = Failure::no(format!("no single step is called `{typed}`"));
        let tests = m.tests.iter().map(|t| t.id.as_str());
        let all = tests.chain(m.remedies.iter().map(|r| r.id.as_str()));
        let names: Vec<&str> = all.filter(|id| id.contains(typed)).take(12).collect();
        Err(match found {
            _ if !names.is_empty() => e.help(format!("perhaps: {}", names.join(", "))),
            Found::None(Some(n)) => e.help(format!("did you mean `{n}`?")),
            _ => e,
        })
    }

    /// Takes another meter to hand, or lists them.
    pub(super) fn meter(&mut self, name: &str) -> Result {
        let now = self.desk.case.model.meter.id.clone();
        if name.is_empty() {
            let mut list = String::new();
            for m in self.desk.meters() {
                let mark = if m.id == now { " (in use)" } else { "" };
                list += &format!("  {}: {}{mark}\n", m.id, m.name);
            }
            return self.say(list.trim_end());
        }
        if name != now {
            self.enter(Entry::Meter(name.to_owned()))?;
        }
        let said = format!(
            "Read from here on with the {}.",
            self.desk.case.model.meter.name
        );
        self.say(&said)
    }

    /// Lists the questions about the past, or answers one with yes.
    pub(super) fn history(&mut self, typed: &str) -> Result {
        let case = &self.desk.case;
        let asked = &case.model.bench.history;
        let known = case.past();
        if typed.is_empty() {
            let heard = past(&case.model, &self.desk.record.file.complaint);
            let line = |(i, (id, ask)): (usize, &(String, String))| {
                let words = heard.iter().find(|p| p.id == *id);
                let mark = match words {
                    _ if known.contains(id) => " yes".to_owned(),
                    Some(p) => format!(" (heard: \"{}\")", p.words.trim()),
                    None => String::new(),
                };
                format!("  {} {ask}{mark}", i + 1)
            };
            let list: Vec<String> = asked.iter().enumerate().map(line).collect();
            self.say(&format!(
                "Has it:\n{}\n`history N` answers one with yes.",
                list.join("\n")
            ))?;
            return Ok(());
        }
        let by_number = typed.parse::<usize>().ok();
        let by_number = by_number.and_then(|n| asked.get(n.wrapping_sub(1)));
        let chosen = by_number.or_else(|| asked.iter().find(|h| h.0 == typed));
        let Some((id, ask)) = chosen.cloned() else {
            return Err(
                Failure::no(format!("`{typed}` is no question about the past"))
                    .help("`history` lists them with their numbers"),
            );
        };
        if known.contains(&id) {
            return self.say("That is known already.");
        }
        self.enter(Entry::History(id))?;
        self.say(&format!("Taken up: {ask} Yes."))
    }

    /// A line of the board: the one that the step measures, else the one read
    /// last, else a list.
    pub(super) fn line(&mut self, step: Option<&StepView>, typed: &str) -> Result {
        let test = step.and_then(|s| match self.desk.case.model.test(&s.id) {
            Found::One(i) => Some(i),
            _ => None,
        });
        let width = self.terminal.width;
        let at = match typed {
            "" => line_at_hand(&self.desk.case, test),
            name => Some(line::find(&self.desk, name)?),
        };
        let text = match at {
            None => {
                let list = line::list(&self.desk, width);
                let some = !self.desk.case.model.lines.is_empty();
                format!(
                    "{list}{}",
                    if some { "\n`line NAME` draws one." } else { "" }
                )
            }
            Some(i) => {
                let view = self.desk.line(i);
                // The step at hand is on the screen already.
                let new = |s: &StepView| step.is_none_or(|at| at.id != s.id);
                let tell = view.next.as_ref().is_some_and(|n| new(&n.step));
                line::drawn(&view, width, tell)
            }
        };
        self.terminal.line(&text)
    }
}
