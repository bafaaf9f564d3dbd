//! What each test shows with each set of faults, worked out once for all the
//! moments of a walk.

use std::sync::{Arc, OnceLock};

use rustc_hash::FxHashMap;
use typed_index_collections::{TiSlice, TiVec};

use super::start::Start;
use crate::belief::candidates::{Candidate, Outlook};
use crate::plan::{Foretold, PlanTest, TestId, foretell, surprise, weighed};

/// Tests by sets of faults. A set is laid out when it is first asked for. Numbers
/// are packed, and tests go by plain places in here.
#[derive(Debug)]
pub(super) struct Rows<'a> {
    start: &'a Start,
    /// By test, where its numbers begin: the chance of each outcome, then how
    /// uncertain the test is, in bits.
    from: Vec<usize>,
    /// The numbers with nothing wrong.
    well: Vec<f64>,
    place: FxHashMap<Candidate, usize>,
    sets: Vec<OnceLock<Row>>,
}

/// The tests that see a set of faults, and by how much their numbers are more
/// than with nothing wrong.
#[derive(Debug, Default)]
struct Row {
    tests: Vec<usize>,
    more: Vec<f64>,
}

impl<'a> Rows<'a> {
    pub(super) fn new(start: &'a Start) -> Self {
        let (mut from, mut well) = (vec![0], Vec::new());
        for t in &start.tests {
            numbers(&t.plan.outlook, &Candidate::EMPTY, &mut well);
            from.push(well.len());
        }
        let worlds = start.worlds.iter();
        Rows {
            start,
            from,
            well,
            sets: worlds.clone().map(|_| OnceLock::new()).collect(),
            place: worlds.enumerate().map(|(i, w)| (w.0, i)).collect(),
        }
    }

    fn lay_out(&self, set: &Candidate) -> Row {
        let mut row = Row::default();
        let outlooks = self.start.tests.iter().map(|t| &t.plan.outlook);
        for (t, outlook) in outlooks.enumerate().filter(|o| o.1.sees(set)) {
            let at = row.more.len();
            numbers(outlook, set, &mut row.more);
            let well = &self.well[self.from[t]..];
            row.more[at..]
                .iter_mut()
                .zip(well)
                .for_each(|(x, w)| *x -= w);
            row.tests.push(t);
        }
        row
    }

    /// What the tests that can be done are going to show, as weights of sets
    /// have it.
    pub(super) fn foretell(
        &self,
        worlds: &[(Candidate, f64)],
        tests: &TiSlice<TestId, Option<PlanTest>>,
    ) -> TiVec<TestId, Option<Foretold>> {
        let worlds = weighed(worlds, tests.iter().flatten().count());
        let each = self.plainly(worlds).into_iter().zip(tests);
        each.zip(&self.start.tests)
            .map(|((foretold, open), plain)| {
                let open = open.as_ref()?;
                // Where something was read on its line a test shows something else.
                Some(match Arc::ptr_eq(&open.outlook, &plain.plan.outlook) {
                    true => foretold,
                    false => foretell(worlds, &open.outlook),
                })
            })
            .collect()
    }

    /// What every test is going to show where nothing was read on its line.
    fn plainly(&self, worlds: &[(Candidate, f64)]) -> Vec<Foretold> {
        let mut sum = self.well.clone();
        let total: f64 = worlds.iter().map(|w| w.1).sum();
        for (set, weight) in worlds {
            let weight = weight / total;
            let own;
            let row = match self.place.get(set) {
                Some(at) => self.sets[*at].get_or_init(|| self.lay_out(set)),
                // A set that a remedy has brought about.
                None => {
                    own = self.lay_out(set);
                    &own
                }
            };
            let mut more = &row.more[..];
            for t in &row.tests {
                let sum = &mut sum[self.from[*t]..self.from[t + 1]];
                let (these, others) = more.split_at(sum.len());
                sum.iter_mut()
                    .zip(these)
                    .for_each(|(s, x)| *s += weight * x);
                more = others;
            }
        }
        let each = self.from.windows(2).map(|at| {
            let (inner, chances) = sum[at[0]..at[1]].split_last().unwrap_or((&0.0, &[]));
            // Rounding must not make less than nothing of what cannot be.
            let outcomes: Vec<f64> = chances.iter().map(|p| p.max(0.0)).collect();
            let outer: f64 = outcomes.iter().map(|p| surprise(*p)).sum();
            Foretold {
                bits: (outer - inner).max(0.0),
                outcomes,
            }
        });
        each.collect()
    }
}

/// Adds the chance of each outcome with a set of faults, and its uncertainty.
fn numbers(outlook: &Outlook, set: &Candidate, to: &mut Vec<f64>) {
    let at = to.len();
    to.resize(at + outlook.outcomes(), 0.0);
    outlook.of(set, &mut to[at..]);
    to.push(to[at..].iter().map(|p| surprise(*p)).sum());
}
