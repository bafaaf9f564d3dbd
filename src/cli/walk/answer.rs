//! Answers to the step at hand, and how an entry is taken: asked back where the
//! bench was not ready, asked about where its value is odd, else kept.

use super::Walk;
use crate::cli::error::{Failure, Result};
use crate::cli::show;
use crate::job::view::StepView;
use crate::job::view::why;
use crate::job::{Entry, Reference, Shown, StepKind};
use crate::model::{Found, TestInfo};

/// What follows a reading that was taken without making the bench ready.
const AS_IT_STANDS: &str = "as it stands";

/// A result that was asked about and is not entered yet.
#[derive(Clone)]
pub(super) struct Pending {
    pub(super) result: Shown,
    /// The line that it was typed in.
    pub(super) line: usize,
}

/// The outcome of a number as the prompt lists them; other text, and the value of a
/// measurement, as it is.
fn by_number(t: &TestInfo, typed: &str) -> String {
    match typed.parse::<usize>() {
        Ok(n) if t.unit.is_none() && n >= 1 && n <= t.outcomes.len() => {
            t.outcomes[n - 1].id.clone()
        }
        _ => typed.to_owned(),
    }
}

impl Walk<'_> {
    /// A result of the test at hand, if that is what was typed; the first letters of
    /// an outcome are enough.
    pub(super) fn answer(&self, s: &StepView, line: &str) -> Option<Entry> {
        if s.act != StepKind::Test {
            return None;
        }
        let Found::One(i) = self.desk.case.model.test(&s.id) else {
            return None;
        };
        let t = &self.desk.case.model.tests[i];
        let (line, as_it_stands) = match line.strip_suffix(AS_IT_STANDS) {
            Some(head) if t.measures.is_some() => (head.trim_end(), true),
            _ => (line, false),
        };
        // A number is the value of a measurement, else the number of an answer,
        // perhaps with its words, as the prompt prints them.
        let is_number = |n: &str, at: usize| n.parse() == Ok(at + 1);
        let line = match line.split_once(' ') {
            Some((n, words)) => match crate::job::outcome(t, words) {
                Ok(at) if is_number(n, at) => words,
                _ => line,
            },
            None => line,
        };
        let shows = by_number(t, line);
        crate::job::outcome(t, &shows).ok()?;
        Some(Entry::Result(Shown {
            test: s.id.clone(),
            shows,
            as_it_stands,
            note: None,
        }))
    }

    /// Takes an entry, or says why not yet.
    pub(super) fn enter(&mut self, entry: Entry) -> Result {
        let doubts = self.desk.asks_back(&entry);
        // A reading of the test that was asked back settles it: typed again, by
        // Enter, or another one.
        let settles = |p: &Pending| matches!(&entry, Entry::Result(r) if r.test == p.result.test);
        let asked = self.asked_back.take().filter(settles);
        if let (false, None, Entry::Result(r)) = (doubts.is_empty(), &asked, &entry) {
            self.asked_back = Some(Pending {
                result: r.clone(),
                line: self.ask.refuse(),
            });
            let keeps = match doubts.iter().any(|d| d.why.is_power()) {
                true => "keeps it without counting it",
                false => "has it judged so",
            };
            let why = show::not_yet(&doubts).replacen("not", "Not", 1);
            return self.say(&format!(
                "{why}\nIf the bench was made ready before you measured, press Enter; else make it \
                 ready and type what you read then. `{} {AS_IT_STANDS}` {keeps}.",
                r.shows
            ));
        }
        if let Some(asked) = asked {
            self.ask.settle(asked.line);
        }
        if let (Some(doubt), Entry::Result(r)) = (self.desk.questions(&entry), &entry)
            && self.questioned.as_ref().map(|q| &q.result) != Some(r)
        {
            self.questioned = Some(Pending {
                result: r.clone(),
                line: self.ask.refuse(),
            });
            return self.say(&format!(
                "Not taken yet. {doubt} Measure again: type it again if it stays, or type what it \
                 is."
            ));
        }
        // Typed again, or measured again.
        if let Some(q) = self.questioned.take().filter(settles) {
            self.ask.settle(q.line);
        }
        self.desk.enter(&mut self.store, entry)?;
        if let Some(note) = self.desk.note_on_last() {
            let note = note.to_owned();
            self.say(&note)?;
        }
        match self.desk.case.part_tried() {
            Some(item) if self.desk.case.fits_part(item).is_some() => self.ask_what_is_fitted(),
            _ => Ok(()),
        }
    }

    /// Tells what a result of the test would change, or what each would.
    pub(super) fn suppose(&mut self, s: &StepView, typed: &str) -> Result {
        let Found::One(i) = self.desk.case.model.test(&s.id) else {
            return Err(Failure::no("suppose a result of a test, not of a remedy"));
        };
        let outcomes: Vec<usize> = if typed.is_empty() {
            (0..self.desk.case.model.tests[i].outcomes.len()).collect()
        } else {
            let shows = by_number(&self.desk.case.model.tests[i], typed);
            let supposed = self.desk.suppose(&s.id, &shows)?;
            let text = show::supposed(
                &supposed.says,
                &why::supposed(&self.desk.case, &supposed.then),
            );
            self.say(&text)?;
            Vec::new()
        };
        for o in outcomes {
            let case = &self.desk.case;
            let says = &case.model.tests[i].outcomes[o].says;
            let text = show::supposed(says, &why::supposed(case, &case.what_if(i, o)));
            self.say(&text)?;
        }
        self.say("(Nothing was entered.)")
    }

    /// Takes up what a good board reads in the step: its value, then whose it was.
    pub(super) fn reference(&mut self, s: &StepView, typed: &str) -> Result {
        let Found::One(test) = self.desk.case.model.test(&s.id) else {
            return Err(Failure::no(
                "a remedy reads nothing; choose a test of a line",
            ));
        };
        let unit = self.desk.case.model.tests[test].unit.clone();
        let unit = unit.unwrap_or_default();
        let typed = if typed.is_empty() {
            let prompt = format!("What does a good board read here, in {unit}? (Enter: none) > ");
            match self.question(&prompt, "A value, and after it whose board it was.")? {
                Some(t) => t,
                None => return Ok(()),
            }
        } else {
            typed.to_owned()
        };
        let (reads, from) = self.desk.value_first(test, &typed);
        let from = if from.is_empty() {
            let prompt = "Whose board was it, or where was it read? (Enter: none) > ";
            match self.question(prompt, "So that a colleague can go and look.")? {
                Some(t) => t,
                None => return Ok(()),
            }
        } else {
            from.to_owned()
        };
        self.enter(Entry::Reference(Reference {
            test: s.id.clone(),
            reads: reads.to_owned(),
            from,
            meter: None,
        }))?;
        let good = self.desk.case.model.tests[test].good_reads();
        self.say(&format!(
            "Taken up. From now on {good} counts as good here."
        ))?;
        let last = self.desk.record.file.steps.len();
        let mut odd = self.desk.case.unexpected().iter();
        match odd.find(|(n, _)| n + 1 == last) {
            Some((_, why)) => {
                let why = why.clone();
                self.say(&format!("Careful: {why}."))
            }
            None => Ok(()),
        }
    }
}
