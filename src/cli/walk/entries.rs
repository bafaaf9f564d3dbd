//! Entries that are about no step, and what is done about earlier ones.

use super::Walk;
use crate::cli::error::Result;
use crate::desk::Action;
use crate::job::{Correction, Entry, Sure};
use crate::model::{Found, Model};

impl Walk<'_> {
    /// Keeps a remark.
    pub(super) fn note(&mut self, typed: &str) -> Result {
        let text = match typed {
            "" => match self.question("Remark (Enter: none) > ", "A remark for the trail.")? {
                Some(text) => text,
                None => return Ok(()),
            },
            text => text.to_owned(),
        };
        self.enter(Entry::Note(text))?;
        self.say("Noted.")
    }

    /// A result was measured again and is the same: an entry by its number, else
    /// the last result.
    pub(super) fn sure(&mut self, entry: Option<usize>) -> Result {
        let entry = match entry {
            Some(n) => n,
            None => self.desk.last_result()?,
        };
        self.enter(Entry::Sure(Sure { entry, note: None }))?;
        self.say(&format!("Entry {entry} counts as measured twice."))
    }

    /// Corrects an earlier entry, by its number.
    pub(super) fn correct(&mut self, entry: usize, to: &str) -> Result {
        let prompt =
            format!("What should entry {entry} say? (`not done` strikes it, Enter: back) > ");
        let to = match to {
            "" => match self.question(&prompt, "The result, the remedy or the remark.")? {
                Some(to) => to,
                None => return Ok(()),
            },
            to => to.to_owned(),
        };
        let struck = to.eq_ignore_ascii_case("not done");
        self.enter(Entry::Correct(Correction {
            entry,
            to: (!struck).then_some(to),
            note: None,
        }))?;
        let done = if struck { "struck" } else { "corrected" };
        self.say(&format!("Entry {entry} is {done}; the trail keeps both."))
    }

    /// Takes the last entry back.
    pub(super) fn undo(&mut self) -> Result {
        let done = self.desk.act(Action::TakeBack)?;
        let Some(entry) = done.taken_back else {
            return Ok(());
        };
        let word = words(&self.desk.case.model, &entry);
        self.undone = self.about(&entry);
        self.say(&format!("Taken back: {word}"))
    }

    /// The test or remedy of an entry, by its full name.
    fn about(&self, entry: &Entry) -> Option<String> {
        let m = &self.desk.case.model;
        let test = |typed: &str| match m.test(typed) {
            Found::One(i) => Some(m.tests[i].id.clone()),
            _ => None,
        };
        let remedy = |typed: &str| match m.remedy(typed) {
            Found::One(i) => Some(m.remedies[i].id.clone()),
            _ => None,
        };
        match entry {
            Entry::Result(r) => test(&r.test),
            Entry::Unclear(u) => test(&u.test),
            Entry::Reference(r) => test(&r.test),
            Entry::Cannot(c) => test(&c.test).or_else(|| remedy(&c.test)),
            Entry::Remedy(d) => remedy(&d.did),
            Entry::Note(_)
            | Entry::Meter(_)
            | Entry::History(_)
            | Entry::Sure(_)
            | Entry::Correct(_) => None,
        }
    }
}

/// An entry in a few words; the check of a hazard by what it is called.
pub(super) fn words(model: &Model, entry: &Entry) -> String {
    let named = |test: &str| model.check_name(test).unwrap_or(test).to_owned();
    match entry {
        Entry::Result(r) => format!("{} = {}", named(&r.test), r.shows),
        Entry::Remedy(d) => d.did.clone(),
        Entry::Note(t) => t.clone(),
        Entry::Cannot(c) => format!("cannot {}", named(&c.test)),
        Entry::Unclear(u) => format!("unclear {}", named(&u.test)),
        Entry::Meter(m) => format!("meter {m}"),
        Entry::History(id) => format!("history {id}"),
        Entry::Reference(r) => format!("reference {} = {}", r.test, r.reads),
        Entry::Sure(s) => format!("sure of entry {}", s.entry),
        Entry::Correct(c) => format!("the correction of entry {}", c.entry),
    }
}
