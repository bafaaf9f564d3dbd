//! A rough price of an order of tests, cheap enough for thousands of orders.
//!
//! Each training case has its answers to all tests beforehand, the likeliest
//! sets of faults stand for all, and a remedy always takes. So an order is priced
//! by multiplying rows, as far as the cases go in it. What it is worth in truth is
//! for a walk to say.

use typed_index_collections::{TiSlice, TiVec};

use super::policy::{SURE, WELL};
use super::start::Start;
use super::walk::{Hidden, SHOWS};
use crate::belief::FaultId;
use crate::belief::candidates::Candidate;
use crate::plan::{RemedyId, TestId};

/// Sets of faults that stand for all.
const SETS: usize = 64;

/// Answers and prices, laid out.
pub(super) struct Sheet<'a> {
    start: &'a Start,
    sets: Vec<Candidate>,
    prior: Vec<f64>,
    /// By test and outcome, its chance with each set.
    chances: TiVec<TestId, Vec<Vec<f64>>>,
    /// By case, its faults and the outcome of each test.
    cases: Vec<(Candidate, TiVec<TestId, usize>)>,
    /// By fault, the least that a remedy for it costs.
    mends: TiVec<FaultId, f64>,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(start: &'a Start, training: &[Hidden]) -> Self {
        let some = &start.worlds[..SETS.min(start.worlds.len())];
        let outlooks = || start.tests.iter().map(|t| &*t.plan.outlook);
        let with = |set: &Candidate| -> Vec<Vec<f64>> {
            let of = outlooks().map(|outlook| {
                let mut p = vec![0.0; outlook.outcomes()];
                outlook.of(set, &mut p);
                p
            });
            of.collect()
        };
        let mut chances: TiVec<TestId, Vec<Vec<f64>>> = outlooks()
            .map(|o| vec![Vec::with_capacity(some.len()); o.outcomes()])
            .collect();
        for (set, _) in some {
            for (test, p) in chances.iter_mut().zip(with(set)) {
                test.iter_mut().zip(p).for_each(|(row, p)| row.push(p));
            }
        }
        let answers = |h: &Hidden| {
            let each = with(&h.faults).into_iter().zip(&start.tests);
            let shown = each.map(|(p, t)| {
                let luck = h.luck.of(t.name).of(0).of(SHOWS);
                luck.weighed(p.iter().copied())
            });
            (h.faults, shown.collect())
        };
        let mend = |cures: &Vec<(RemedyId, f64)>| {
            let all = cures.iter().map(|(r, _)| &start.remedies[*r]);
            let costs = all.map(|r| start.costs.of(r.minutes, r.parts));
            costs.fold(start.costs.give_up, f64::min)
        };
        Sheet {
            sets: some.iter().map(|w| w.0).collect(),
            prior: some.iter().map(|w| w.1).collect(),
            chances,
            cases: training.iter().map(answers).collect(),
            mends: start.cures.iter().map(mend).collect(),
            start,
        }
    }

    /// What all cases cost, roughly, in currency.
    pub(super) fn cost(&self, order: &[TestId]) -> f64 {
        let mut weights = Vec::new();
        let mut faults = TiVec::from(vec![0.0; self.mends.len()]);
        let each = self.cases.iter();
        each.map(|c| self.one(order, c, &mut weights, &mut faults))
            .sum()
    }

    fn one(
        &self,
        order: &[TestId],
        (hidden, shown): &(Candidate, TiVec<TestId, usize>),
        weights: &mut Vec<f64>,
        faults: &mut TiSlice<FaultId, f64>,
    ) -> f64 {
        let start = self.start;
        weights.clone_from(&self.prior);
        let (mut state, mut cost) = (start.state, 0.0);
        for test in order {
            let plan = &start.tests[*test].plan;
            let (to, moving) = start.moves.reach(state, plan.conditions);
            state = to;
            cost += start.costs.of(plan.minutes + moving, 0.0);
            let row = &self.chances[*test][shown[*test]];
            weights.iter_mut().zip(row).for_each(|(w, p)| *w *= p);
            let total: f64 = weights.iter().sum();
            if total <= 0.0 {
                break;
            }
            weights.iter_mut().for_each(|w| *w /= total);
            faults.fill(0.0);
            let mut well = 0.0;
            for (set, w) in self.sets.iter().zip(weights.iter()) {
                set.iter().for_each(|f| faults[f] += w);
                well += if set.is_empty() { *w } else { 0.0 };
            }
            let sure = faults.position(|p| *p >= SURE);
            if let Some(fault) = sure {
                cost += self.mends[fault];
                if hidden.has(fault) {
                    return cost;
                }
                // It was for nothing: the fault is not among those that are left.
                let sets = self.sets.iter().zip(weights.iter_mut());
                sets.filter(|(set, _)| set.has(fault))
                    .for_each(|(_, w)| *w = 0.0);
            } else if well >= WELL {
                break;
            }
        }
        match hidden.is_empty() {
            true => cost,
            false => cost + start.costs.give_up,
        }
    }
}
