//! What is asked of a job before something is entered, and what would come of it.

use super::{Desk, DeskError};
use crate::belief::Belief;
use crate::job::reading::{self, Asked, Typed};
use crate::job::{self, Entered, Entry, Shown};
use crate::line::Distrust;
use crate::model::Found;
use crate::plan::TestId;

/// What a result would come to.
#[derive(Clone, Debug)]
pub struct Supposed {
    /// The result in words.
    pub says: String,
    /// The outcome; `None` if it would not be counted.
    pub outcome: Option<String>,
    /// What would be believed.
    pub then: Belief,
}

impl Desk {
    /// A value of a test, with its unit if that stands apart, and what follows it.
    pub fn value_first<'t>(&self, test: TestId, typed: &'t str) -> (&'t str, &'t str) {
        let asked = Asked::by(&self.case.model.tests[test]);
        let ends = typed.match_indices(' ').map(|(at, _)| at);
        let ends: Vec<usize> = ends.chain([typed.len()]).take(2).collect();
        let is_value = |end: &&usize| reading::read(&typed[..**end], &asked) != Typed::NoNumber;
        let end = ends.iter().rev().find(is_value).copied().unwrap_or(ends[0]);
        (&typed[..end], typed[end..].trim())
    }

    /// Why a reading means nothing if it was taken as this job knows the device
    /// to stand: to be asked back before it is entered, unless it says that it
    /// was taken so. Empty for all else, and for what cannot be entered anyway.
    pub fn asks_back(&self, entry: &Entry) -> Vec<Distrust> {
        let Entry::Result(r) = entry else {
            return Vec::new();
        };
        let Found::One(test) = self.case.model.test(&r.test) else {
            return Vec::new();
        };
        let fits = job::outcome(&self.case.model.tests[test], &r.shows).is_ok();
        if r.as_it_stands || !fits {
            return Vec::new();
        }
        let mut all = self.case.as_it_stands(test);
        all.retain(|d| d.invalid);
        all
    }

    /// Why a value is hard to believe: to be asked about once before it is
    /// entered, and taken if it stays.
    pub fn questions(&self, entry: &Entry) -> Option<String> {
        let Entry::Result(r) = entry else { return None };
        let Found::One(test) = self.case.model.test(&r.test) else {
            return None;
        };
        job::questioned(&self.case.model, test, &r.shows)
    }

    /// What would be believed after a result, without entering it: just as if it
    /// were entered.
    ///
    /// # Errors
    /// If it does not fit.
    pub fn suppose(&self, test: &str, shows: &str) -> Result<Supposed, DeskError> {
        let mut file = self.record.file.clone();
        file.steps.push(Entry::Result(Shown {
            test: test.to_owned(),
            shows: shows.to_owned(),
            ..Shown::default()
        }));
        let last = file.steps.len() - 1;
        let mut case = self.case.further(&self.rules, &file, self.settings)?;
        if let Some(why) = case.refused(last) {
            return Err(why.into());
        }
        let says = match case.void().iter().find(|v| v.0 == last) {
            Some((_, why)) => format!("{}, not counted: {why}", shows.trim()),
            None => case.says(last).unwrap_or_default().to_owned(),
        };
        let outcome = match case.entered[last] {
            Entered::Result { .. } => case.outcome(last).map(|o| o.id.clone()),
            _ => None,
        };
        Ok(Supposed {
            says,
            outcome,
            then: case.belief,
        })
    }

    /// Number of the last result's entry, from 1.
    ///
    /// # Errors
    /// If there is none.
    pub fn last_result(&self) -> Result<usize, DeskError> {
        let last = self.case.last_result().ok_or(DeskError::NoResult)?;
        Ok(last + 1)
    }
}
