//! A job worked out: what its entries mean under the rules.

mod believed;
mod isolation;
mod notice;
mod planned;
mod sensible;

pub(super) use isolation::{AlikeView, alike_view};
pub(super) use notice::{Notice, Reason, unlisted_leads};
pub(crate) use planned::{plan_remedy, plan_test, turns_in_words};

use std::cell::OnceCell;
use std::ops::Deref;

use believed::Singles;
use isolation::Alike;
use planned::{Planned, Repairs};

use super::file::CaseFile;
use super::ledger::{CaseError, Closed, Ledger, Since};
use crate::belief::{Belief, Size};
use crate::bench::Moves;
use crate::model::Model;
use crate::plan::{Advice, Costs, Effort};
use crate::rulebase::Rulebase;

/// What can be set for working out a job.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Settings {
    /// Which sets of faults count.
    pub size: Size,
    /// What counts as cost.
    pub costs: Costs,
    /// How hard the next step is thought over.
    pub effort: Effort,
}

/// A job worked out under the rules: its [`Ledger`], and what is believed and
/// advised by it. What the ledger knows is asked here as well.
#[derive(Clone, Debug)]
pub struct Case {
    ledger: Ledger,
    /// The belief now.
    pub belief: Belief,
    /// The settings.
    pub settings: Settings,
    moves: Moves,
    /// Leading suspects that the offered points do not tell apart.
    alike: Option<Alike>,
    /// What was asked for once.
    planned: OnceCell<Planned>,
    repairs: OnceCell<Repairs>,
    advised: OnceCell<Advice>,
    disagreement: OnceCell<f64>,
    noticed: OnceCell<Option<Notice>>,
    singles: Singles,
}

impl Deref for Case {
    type Target = Ledger;

    fn deref(&self) -> &Ledger {
        &self.ledger
    }
}

impl Case {
    /// Works out a job.
    ///
    /// # Errors
    /// If an entry does not fit the rules; nothing of the job is lost.
    pub fn new(rules: &Rulebase, file: &CaseFile, settings: Settings) -> Result<Case, CaseError> {
        Case::after(None, rules, file, settings)
    }

    /// The same, going on from an earlier moment of the job if there is one.
    ///
    /// # Errors
    /// As for [`Case::new`].
    pub fn after(
        before: Option<&Case>,
        rules: &Rulebase,
        file: &CaseFile,
        settings: Settings,
    ) -> Result<Case, CaseError> {
        let mut case = match before {
            None => Case::of_today(rules, file, settings)?,
            Some(before) => before.further(rules, file, settings)?,
        };
        match case.ledger.first_unfit() {
            None => Ok(case),
            Some(why) => Err(why),
        }
    }

    /// Works out a job of earlier days: what no longer fits the rules is told
    /// by [`Ledger::unfit`] and does not count.
    ///
    /// # Errors
    /// If the rules no longer know this kind of device, or what still fits
    /// cannot all be.
    pub fn of_today(
        rules: &Rulebase,
        file: &CaseFile,
        settings: Settings,
    ) -> Result<Case, CaseError> {
        let ledger = Ledger::new(rules, file)?;
        Case::of(ledger, agreed(settings, file), Singles::default())
    }

    /// Works out the same job with other entries under the same rules, as
    /// [`Case::of_today`] does; what the entries do not change is kept.
    ///
    /// # Errors
    /// As for [`Case::of_today`].
    pub fn further(
        &self,
        rules: &Rulebase,
        file: &CaseFile,
        settings: Settings,
    ) -> Result<Case, CaseError> {
        let settings = agreed(settings, file);
        let since = self.ledger.since(rules, file)?;
        if since == Since::Remarks && settings == self.settings {
            let mut case = self.clone();
            case.ledger.go_on(rules, file)?;
            case.noticed = OnceCell::new();
            return Ok(case);
        }
        let ledger = self.ledger.further_as(since, rules, file)?;
        let singles = match since {
            Since::FirstEntry => Singles::default(),
            _ => self.singles.going_on(&ledger.history),
        };
        Case::of(ledger, settings, singles)
    }

    fn of(ledger: Ledger, settings: Settings, singles: Singles) -> Result<Case, CaseError> {
        let mut case = Case {
            belief: Belief::default(),
            settings,
            moves: Moves::new(&ledger.model.bench),
            alike: None,
            planned: OnceCell::new(),
            repairs: OnceCell::new(),
            advised: OnceCell::new(),
            disagreement: OnceCell::new(),
            noticed: OnceCell::new(),
            singles,
            ledger,
        };
        case.belief = case.believed(&case.history);
        if case.belief.impossible {
            return Err(CaseError::Impossible);
        }
        case.isolate();
        Ok(case)
    }

    /// Why an entry, from 0, does not fit; takes it out of [`Ledger::unfit`].
    pub(crate) fn refused(&mut self, entry: usize) -> Option<CaseError> {
        self.ledger.refused(entry)
    }

    /// Whether the device is repaired and every retest has passed, with nothing
    /// said against it: closing the job is what is left.
    pub fn is_proved(&self) -> bool {
        self.may_close_as_mended() == Closed::Ready && self.belief.nothing >= LIKELY
    }

    /// The model, the symptoms by index, and the belief.
    pub(crate) fn into_parts(self) -> (Model, Vec<usize>, Belief) {
        (self.ledger.model, self.ledger.symptoms, self.belief)
    }
}

/// The settings with the limit that was agreed for a job.
fn agreed(mut settings: Settings, file: &CaseFile) -> Settings {
    if file.limit.is_some() {
        settings.costs.limit = file.limit;
    }
    settings
}

/// Probability that nothing is wrong any more from which passed retests are
/// taken for the end of the job.
const LIKELY: f64 = 0.5;
