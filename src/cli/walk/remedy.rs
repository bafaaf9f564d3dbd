//! Remedies: which was done, and which part stays after a swap.

use super::Walk;
use super::prompt::Within;
use crate::belief::likelier;
use crate::cli::error::{Failure, Result};
use crate::job::view::StepView;
use crate::job::{Did, Entry, StepKind};
use crate::model::Found;
use crate::plan::RemedyId;

/// How many remedies are listed to choose from.
const LISTED: usize = 9;
/// Asked after a swap.
const FITTED: &str = "Which part is fitted now? 1 the old one, 2 the known-good one (Enter: 1) > ";
/// Said of that question.
const ABOUT_FITTED: &str = "1 or Enter: the old part is back in, as after most trials. 2: the \
     known-good one stays, which is entered as the remedy. `undo` takes the result of the swap \
     back, `pause` leaves.";

impl Walk<'_> {
    /// A remedy was done: the one named, else the one at hand, else one of a list.
    pub(super) fn done(&mut self, step: Option<&StepView>, typed: &str) -> Result {
        // Of copies of one remedy the one that the step is about.
        let meant = match self.desk.case.model.remedy(typed) {
            Found::Several(all) => step.filter(|s| all.contains(&s.id)),
            _ if typed.is_empty() => step.filter(|s| s.act == StepKind::Remedy),
            _ => None,
        };
        let did = match (meant, typed) {
            (Some(s), _) => s.id.clone(),
            (None, "") => match self.ask_which_was_done()? {
                Some(did) => did,
                None => return Ok(()),
            },
            (None, typed) => typed.to_owned(),
        };
        self.enter(Entry::Remedy(Did { did, note: None }))
    }

    /// Asks which of the remedies that most likely helped.
    fn ask_which_was_done(&mut self) -> Result<Option<String>> {
        let m = &self.desk.case.model;
        let faults = &self.desk.case.belief.faults;
        let likely = |r: RemedyId| -> f64 {
            let clears = &m.remedies[r].change.clears;
            clears.iter().map(|(f, take)| faults[*f] * take).sum()
        };
        let mut order: Vec<RemedyId> = m.remedies.keys().collect();
        order.sort_by(|a, b| likelier(likely(*a), likely(*b)));
        let best = order.iter().take(LISTED).map(|r| &m.remedies[*r]);
        let ids: Vec<String> = best.clone().map(|r| r.id.clone()).collect();
        let lines = (1..)
            .zip(best)
            .map(|(n, r)| format!("{n:>3} {} ({})", r.name, r.id));
        let lines: Vec<String> = lines.collect();
        self.say(&lines.join("\n"))?;
        let typed = self.question(
            "Which was done? Number or name (Enter: none) > ",
            "The number of a remedy, or its name; `others` lists more.",
        )?;
        Ok(typed.map(|t| {
            let number = t.parse::<usize>().ok();
            let listed = number.and_then(|n| ids.get(n.wrapping_sub(1)).cloned());
            listed.unwrap_or(t)
        }))
    }

    /// Asks which part is in the device after a swap; that the known-good one is
    /// counts as the remedy.
    pub(super) fn ask_what_is_fitted(&mut self) -> Result {
        loop {
            let line = match self.ask_within(FITTED, ABOUT_FITTED)? {
                Within::Line(line) => line.to_lowercase(),
                Within::Left => return Ok(()),
                Within::Ended => {
                    self.ask.may_end();
                    self.leaving = true;
                    return Ok(());
                }
            };
            match line.as_str() {
                "" | "1" | "old" => return Ok(()),
                "2" | "new" | "stays" => return self.stays(),
                "undo" => return self.undo(),
                _ => {
                    self.ask.refuse();
                    self.say(&format!("`{line}` is no answer to that. {ABOUT_FITTED}"))?;
                }
            }
        }
    }

    /// The part that was just tried stays in the device, which is a remedy.
    pub(super) fn stays(&mut self) -> Result {
        let Some(item) = self.desk.case.part_tried() else {
            return Err(Failure::no("no known-good part was tried just now")
                .help("type it after the result of the swap; else `done` with the remedy"));
        };
        let Some(remedy) = self.desk.case.fits_part(item) else {
            let name = &self.desk.case.model.items[item].name;
            return Err(
                Failure::no(format!("these rules have no remedy that fits a new {name}"))
                    .help("`others` lists the remedies"),
            );
        };
        let did = self.desk.case.model.remedies[remedy].id.clone();
        let note = Some("the known-good part that was tried stays".to_owned());
        self.enter(Entry::Remedy(Did { did, note }))
    }
}
