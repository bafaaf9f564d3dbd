//! What has to be tried before a job counts as mended.

use super::{Entered, Ledger};
use crate::belief::{FaultId, ItemId};
use crate::job::proof;
use crate::model::{FunctionId, RemedyInfo};
use crate::plan::{RemedyId, TestId};

/// Why a job cannot be closed as mended yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Closed {
    /// It can.
    Ready,
    /// No remedy was done.
    NothingDone,
    /// These tests have to pass first.
    Retests(Vec<TestId>),
    /// This test, the last retest, failed.
    StillFails(TestId),
}

impl Ledger {
    /// Tests that have to pass before the job counts as mended and have not
    /// been done since the last remedy; those of the complaint first.
    pub fn retests_due(&self) -> &[TestId] {
        &self.due
    }

    /// The functions whose loss is complained of.
    pub fn complaint_functions(&self) -> Vec<FunctionId> {
        proof::complained(&self.model, &self.symptoms)
    }

    /// The test that proves a function; one that cannot be done only if there is
    /// no other.
    pub(in crate::job) fn proof_of(&self, function: FunctionId) -> Option<TestId> {
        proof::of(&self.model, function, |t| self.blocked_tests[t])
    }

    /// Functions that have to pass before the job counts as mended: those
    /// complained of, and those that share the items worked on; one that is
    /// contained in another is proved by it.
    pub fn to_prove(&self) -> Vec<FunctionId> {
        let mut worked: Vec<ItemId> = Vec::new();
        for e in &self.entered {
            if let Entered::Remedy(r) = e {
                worked.extend(proof::worked_on(&self.model, *r));
            }
        }
        proof::due(
            &self.model,
            &self.complaint_functions(),
            &worked,
            |f| self.proof_of(f).is_some(),
            |big, small| proof::contains(&self.model, big, small),
        )
    }

    /// The last try of a function after an entry: the test, and whether it passed.
    fn tried_since(&self, entry: usize, function: FunctionId) -> Option<(TestId, bool)> {
        self.entered[entry + 1..]
            .iter()
            .rev()
            .find_map(|e| match e {
                Entered::Result { test, outcome }
                    if self.model.tests[*test].proves == Some(function) =>
                {
                    Some((*test, self.model.tests[*test].passed(*outcome)))
                }
                _ => None,
            })
    }

    /// Functions that have passed a try after the last remedy.
    pub fn proved(&self) -> Vec<FunctionId> {
        let Some(last) = self.last_remedy else {
            return Vec::new();
        };
        (self.model.functions.keys())
            .filter(|f| matches!(self.tried_since(last, *f), Some((_, true))))
            .collect()
    }

    /// The item in whose place a known-good part was put by the last step, if
    /// that was a swap with a result.
    pub fn part_tried(&self) -> Option<ItemId> {
        match self.entered.last()? {
            Entered::Result { test, .. } => self.model.tests[*test].swaps_in,
            _ => None,
        }
    }

    /// The remedy that fits a new part in place of an item: it clears
    /// every listed fault of it and the fewest others.
    pub fn fits_part(&self, item: ItemId) -> Option<RemedyId> {
        let m = &self.model;
        let listed = m.items[item].faults.iter();
        let listed: Vec<FaultId> = listed.copied().filter(|f| !m.faults[*f].unlisted).collect();
        let clears = |r: &RemedyInfo, f: FaultId| r.change.clears.iter().any(|(g, _)| *g == f);
        (m.remedies.keys())
            .filter(|r| listed.iter().all(|f| clears(&m.remedies[*r], *f)))
            .min_by_key(|r| m.remedies[*r].change.clears.len())
    }

    /// What comes before anything else: the checks of hazards that were not made yet,
    /// then the retests.
    pub(super) fn now_due(&self) -> Vec<TestId> {
        let checks = self.gates_up();
        let checks = checks.filter(|(gate, _)| !self.found(*gate));
        let retests = match self.may_close_as_mended() {
            Closed::Retests(due) => due,
            _ => Vec::new(),
        };
        let proves = |t: &TestId| self.model.tests[*t].checks.is_none();
        let retests = retests.into_iter().filter(proves);
        checks.map(|(_, test)| test).chain(retests).collect()
    }

    /// Whether the job may be closed as mended.
    pub fn may_close_as_mended(&self) -> Closed {
        let Some(last) = self.last_remedy else {
            return Closed::NothingDone;
        };
        let mut due: Vec<TestId> = self.gates_up().map(|(_, test)| test).collect();
        for f in self.to_prove() {
            match self.tried_since(last, f) {
                Some((_, true)) => {}
                Some((test, false)) => return Closed::StillFails(test),
                None => due.extend(self.proof_of(f)),
            }
        }
        due.dedup();
        if due.is_empty() {
            Closed::Ready
        } else {
            Closed::Retests(due)
        }
    }
}
