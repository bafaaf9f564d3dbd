//! What is known of a device after what was seen and done: weights over sets of
//! faults, worked on step by step.
//!
//! A job works its belief out anew from all entries after each one. Here the
//! weights of the sets are carried on: the same numbers, as far as the list goes
//! (`tests/simulate.rs` holds both together). The lightest sets are let go.

use std::sync::Arc;

use super::start::{Lines, Start};
use crate::belief::candidates::{Candidate, Outlook, Weighted, changed};
use crate::belief::{Change, likelier};
use crate::bench::BenchState;
use crate::plan::{PlanRemedy, PlanTest};

/// Share of the probability that the lightest sets may hold together and still
/// are let go at a step.
const LIGHT: f64 = 1e-4;

/// Share of the probability that is enough to say what is best to do, and how
/// many sets are never too many for it.
const ENOUGH: f64 = 0.98;
const FEW: usize = 24;

/// What is known.
#[derive(Clone, Debug)]
pub(super) struct Known {
    /// Sets of faults with their probability, likeliest first.
    pub(super) worlds: Weighted,
    /// How the device stands.
    pub(super) state: BenchState,
    /// By test: its last result still holds.
    pub(super) done: Vec<bool>,
    /// By test: it was done at some time.
    pub(super) tried: Vec<bool>,
    pub(super) lines: Lines,
    /// Remedies that were done, by index, in order.
    pub(super) mended: Vec<usize>,
    /// Tests that the last remedy still owes, by index.
    pub(super) due: Vec<usize>,
}

impl Known {
    pub(super) fn new(start: &Start) -> Self {
        let mut known = Known {
            worlds: start.worlds.clone(),
            state: start.state,
            done: vec![false; start.tests.len()],
            tried: vec![false; start.tests.len()],
            lines: Lines::default(),
            mended: Vec::new(),
            due: Vec::new(),
        };
        known.settle();
        known
    }

    /// Probability of each fault.
    pub(super) fn faults(&self, start: &Start) -> Vec<f64> {
        let mut p = vec![0.0; start.faults()];
        for (c, w) in &self.worlds {
            c.iter().for_each(|f| p[f] += w);
        }
        p
    }

    /// Probability that nothing is wrong.
    pub(super) fn nothing(&self) -> f64 {
        let none = self.worlds.iter().find(|w| w.0.is_empty());
        none.map_or(0.0, |w| w.1)
    }

    /// The likeliest sets, which say what is best to do as well as all.
    pub(super) fn likeliest(&self) -> &[(Candidate, f64)] {
        let mut sum = 0.0;
        let enough = self.worlds.iter().position(|w| {
            sum += w.1;
            sum >= ENOUGH
        });
        let many = enough.map_or(self.worlds.len(), |at| at + 1);
        &self.worlds[..many.max(FEW).min(self.worlds.len())]
    }

    /// What a test is going to show.
    pub(super) fn outlook(&self, start: &Start, test: usize) -> Arc<Outlook> {
        start.outlook(test, self.lines.of(start.line(test)))
    }

    /// The tests that can be done, as the planner sees them.
    pub(super) fn tests(
        &self,
        start: &Start,
        can: impl Fn(usize) -> bool,
    ) -> Vec<Option<PlanTest>> {
        (0..start.tests.len())
            .map(|t| {
                let open = !self.done[t] && can(t);
                open.then(|| PlanTest {
                    outlook: self.outlook(start, t),
                    ..start.tests[t].plan.clone()
                })
            })
            .collect()
    }

    /// The remedies that can be done, as the planner sees them.
    pub(super) fn remedies(start: &Start, can: impl Fn(usize) -> bool) -> Vec<Option<PlanRemedy>> {
        let all = start.remedies.iter().enumerate();
        all.map(|(r, remedy)| can(r).then(|| remedy.clone()))
            .collect()
    }

    /// What is known after each outcome of a test that is `wanted`; `None` for
    /// an outcome that cannot be.
    pub(super) fn tested(&self, start: &Start, test: usize, wanted: &[bool]) -> Vec<Option<Known>> {
        let info = &start.model.tests[test];
        let foretold = self.outlook(start, test);
        let outlook = start.tests[test].during.as_ref();
        let outlook = outlook.unwrap_or(&foretold);
        let seated = info.before.as_ref().map(|change| {
            let mut seated = self.clone();
            seated.change(start, change);
            seated
        });
        let before = seated.as_ref().unwrap_or(self);
        let mut p = vec![0.0; outlook.outcomes()];
        let mut sets = vec![Weighted::new(); p.len()];
        for (c, w) in &before.worlds {
            outlook.of(c, &mut p);
            for ((set, p), _) in sets.iter_mut().zip(&p).zip(wanted).filter(|x| *x.1) {
                set.push((*c, w * p));
            }
        }
        let (state, _) = start
            .moves
            .reach(self.state, start.tests[test].plan.conditions);
        let each = sets.into_iter().enumerate().map(|(outcome, worlds)| {
            let mut known = Known {
                worlds,
                state,
                done: before.done.clone(),
                tried: before.tried.clone(),
                lines: before.lines.clone(),
                mended: before.mended.clone(),
                due: Vec::new(),
            };
            if !known.settle() {
                return None;
            }
            known.lines.read(start, test, outcome);
            if let Some(change) = &info.after {
                known.change(start, change);
            }
            known.done[test] = true;
            known.tried[test] = true;
            Some(known)
        });
        each.collect()
    }

    /// What is known after a test that told nothing.
    pub(super) fn unclear(&self, start: &Start, test: usize) -> Known {
        let mut known = self.clone();
        let conditions = start.tests[test].plan.conditions;
        known.state = start.moves.reach(self.state, conditions).0;
        known.done[test] = true;
        known.tried[test] = true;
        known
    }

    /// A remedy is done.
    pub(super) fn remedied(&mut self, start: &Start, remedy: usize) {
        self.change(start, &start.model.remedies[remedy].change);
        let conditions = start.remedies[remedy].conditions;
        self.state = start.moves.reach(self.state, conditions).0;
        self.mended.push(remedy);
        self.due = start.due(&self.mended);
    }

    /// Something is done to the device: no result of a test holds for sure any
    /// more.
    fn change(&mut self, start: &Start, change: &Change) {
        self.worlds = changed(&self.worlds, change);
        self.lines.changed(start, change);
        self.done.fill(false);
        self.settle();
    }

    /// Puts the likeliest first, lets go of the lightest, and makes the weights
    /// add up to one; false if there is no weight at all.
    fn settle(&mut self) -> bool {
        let total: f64 = self.worlds.iter().map(|w| w.1).sum();
        if total <= 0.0 || !total.is_finite() {
            return false;
        }
        // Those that are light even all together need no place in the order.
        let least = LIGHT / 2.0 * total / self.worlds.len() as f64;
        self.worlds.retain(|w| w.1 >= least);
        let order =
            |a: &(Candidate, f64), b: &(Candidate, f64)| likelier(a.1, b.1).then(a.0.cmp(&b.0));
        self.worlds.sort_unstable_by(order);
        let mut light = 0.0;
        let kept = self.worlds.iter().rposition(|w| {
            light += w.1;
            light > LIGHT / 2.0 * total
        });
        self.worlds.truncate(kept.map_or(1, |at| at + 1));
        let total: f64 = self.worlds.iter().map(|w| w.1).sum();
        self.worlds.iter_mut().for_each(|w| w.1 /= total);
        true
    }
}
