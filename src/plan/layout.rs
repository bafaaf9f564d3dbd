//! A situation laid out as a problem to search.

use rustc_hash::FxHashMap;
use typed_index_collections::{TiSlice, TiVec};

use super::problem::{Becomes, Mend, Price, Problem, Trial};
use super::{RemedyId, Situation, TestId};
use crate::belief::FaultId;
use crate::belief::candidates::Candidate;

/// Weight of the worlds that a remedy may change below which it is left out.
const HELPS: f64 = 1e-6;

/// Share of the probability that worlds have to hold.
const ENOUGH: f64 = 0.95;
/// How many worlds there are where the list is long: so many at least, and not
/// more than the second.
const WORLDS: (usize, usize) = (64, 160);

/// Place of a test that is not among those of a problem.
const NOT_HERE: usize = u16::MAX as usize;

/// The likeliest sets of some of `faults` faults, with weights that add up to
/// one. A set that is left out counts as the likeliest of its faults alone.
fn few(faults: usize, candidates: &[(Candidate, f64)]) -> (&[(Candidate, f64)], Vec<f64>) {
    let mut sum = 0.0;
    let enough = candidates.iter().position(|c| {
        sum += c.1;
        sum >= ENOUGH
    });
    let many = enough.map_or(candidates.len(), |at| at + 1);
    let many = many.max(WORLDS.0).min(WORLDS.1).min(candidates.len());
    let (kept, others) = candidates.split_at(many);
    let mut belief: Vec<f64> = kept.iter().map(|c| c.1).collect();
    // Where a fault stands alone; past the end if it does not.
    let mut place: TiVec<FaultId, usize> = vec![many; faults].into();
    for (at, (c, _)) in kept.iter().enumerate().filter(|k| k.1.0.len() == 1) {
        c.iter().for_each(|f| place[f] = at);
    }
    for (c, weight) in others {
        let at = c.iter().fold(many, |at, f| at.min(place[f]));
        if at < many {
            belief[at] += weight;
        }
    }
    let total: f64 = belief.iter().sum();
    let scale = if total > 0.0 { 1.0 / total } else { 0.0 };
    belief.iter_mut().for_each(|b| *b *= scale);
    (kept, belief)
}

/// A problem whose worlds are the likeliest candidates of a situation.
pub(super) struct Layout<'a> {
    pub(super) problem: Problem<'a>,
    /// Weights of the worlds; they add up to one.
    pub(super) belief: Vec<f64>,
    /// The test of the situation that each trial stands for.
    pub(super) tests: Vec<TestId>,
    /// The remedy of the situation that each mend stands for.
    pub(super) remedies: Vec<RemedyId>,
}

impl<'a> Layout<'a> {
    /// With these tests, and every remedy that may help.
    pub(super) fn new(s: &Situation<'a>, tests: Vec<TestId>) -> Self {
        let (candidates, belief) = few(s.faults, s.candidates);
        let place: FxHashMap<Candidate, usize> = (candidates.iter().enumerate())
            .map(|(i, c)| (c.0, i))
            .collect();
        let trials = tests.iter().filter_map(|i| {
            let t = s.tests[*i].as_ref()?;
            let outlook = &t.outlook;
            let mut chances = vec![vec![0.0; belief.len()]; outlook.outcomes()];
            let mut p = vec![0.0; chances.len()];
            for (w, (candidate, _)) in candidates.iter().enumerate() {
                outlook.of(candidate, &mut p);
                for (row, p) in chances.iter_mut().zip(&p) {
                    row[w] = *p;
                }
            }
            Some(Trial {
                price: s.costs.price(t.minutes, 0.0),
                conditions: t.conditions,
                turns: t.turns.clone(),
                chances,
                after: (t.after.iter())
                    .map(|a| tests.iter().position(|t| t == a).unwrap_or(NOT_HERE))
                    .collect(),
                handy: t.handy,
            })
        });
        let trials = trials.collect();
        let retest = s.retest.map_or(0.0, |t| t.minutes);
        let mut mends = Vec::new();
        let mut remedies = Vec::new();
        let mut there: TiVec<FaultId, bool> = vec![false; s.faults].into();
        let faults = candidates.iter().flat_map(|(c, _)| c.iter());
        faults.for_each(|f| there[f] = true);
        let mut takes: TiVec<FaultId, f64> = vec![0.0; s.faults].into();
        for (i, r) in s.remedies.iter_enumerated() {
            let Some(r) = r else { continue };
            if !r.clears.iter().any(|(f, _)| there[*f]) {
                continue;
            }
            takes.fill(0.0);
            for (f, take) in &r.clears {
                takes[*f] = *take;
            }
            let changed = |c: &Candidate| c.iter().any(|f| takes[f] > 0.0);
            let changes: Vec<(usize, Becomes)> = (candidates.iter().enumerate())
                .filter(|(_, (c, _))| changed(c))
                .map(|(w, (c, _))| (w, becomes(w, c, &takes, &place)))
                .collect();
            let helps: f64 = changes.iter().map(|(w, _)| belief[*w]).sum();
            if helps > HELPS {
                let risk = Price {
                    counts: s.costs.risk(r.breaks),
                    paid: 0.0,
                };
                remedies.push(i);
                mends.push(Mend {
                    price: s.costs.price(r.minutes + retest, r.parts) + risk,
                    conditions: r.conditions,
                    changes,
                    handy: r.handy,
                });
            }
        }
        let problem = Problem {
            sizes: candidates.iter().map(|c| c.0.len()).collect(),
            trials,
            mends,
            // Without a retest the device stays as it is.
            retest: s.retest.map(|t| t.conditions).unwrap_or_default(),
            moves: s.moves,
            minute: s.costs.price(1.0, 0.0),
            give_up: s.costs.give_up,
        };
        Layout {
            problem,
            belief,
            tests,
            remedies,
        }
    }
}

impl Layout<'_> {
    /// Probability that a remedy of the problem clears something.
    pub(super) fn helps(&self, mend: usize) -> f64 {
        let changes = self.problem.mends[mend].changes.iter();
        let clears = changes.flat_map(|(w, to)| to.iter().map(|t| (*w, t)));
        let clears = clears.filter(|(w, t)| t.0 != Some(*w));
        clears.map(|(w, t)| self.belief[w] * t.1).sum()
    }

    /// That a remedy of the problem alone mends all that is wrong.
    pub(super) fn mends(&self, mend: usize) -> f64 {
        let changes = self.problem.mends[mend].changes.iter();
        let well = changes.flat_map(|(w, to)| to.iter().map(|t| (*w, t)));
        let well = well.filter(|(_, t)| t.0.is_none());
        well.map(|(w, t)| self.belief[w] * t.1).sum()
    }
}

/// What is left of a set of faults by a remedy that takes fault by fault. What
/// is not listed counts as if the remedy had failed.
fn becomes(
    world: usize,
    candidate: &Candidate,
    takes: &TiSlice<FaultId, f64>,
    place: &FxHashMap<Candidate, usize>,
) -> Becomes {
    if candidate.len() == 1 {
        let take = candidate.iter().map(|f| takes[f]).sum::<f64>();
        let left = (take < 1.0).then_some((Some(world), 1.0 - take));
        let well = (take > 0.0).then_some((None, take));
        return left.into_iter().chain(well).collect();
    }
    let mut sets = vec![(*candidate, 1.0)];
    for f in candidate.iter().filter(|f| takes[*f] > 0.0) {
        for i in 0..sets.len() {
            let (set, p) = sets[i];
            sets[i].1 = p * (1.0 - takes[f]);
            sets.push((set.without(f), p * takes[f]));
        }
    }
    let mut out: Becomes = Vec::new();
    for (set, p) in sets.into_iter().filter(|s| s.1 > 0.0) {
        let to = match set.is_empty() {
            true => None,
            false => Some(place.get(&set).copied().unwrap_or(world)),
        };
        match out.iter_mut().find(|o| o.0 == to) {
            Some(o) => o.1 += p,
            None => out.push((to, p)),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_remedy_takes_fault_by_fault() {
        let set = |f: &[usize]| {
            let faults: Vec<FaultId> = f.iter().copied().map(FaultId).collect();
            Candidate::new(&faults).expect("a small set")
        };
        let place = [(set(&[3]), 0), (set(&[5]), 1), (set(&[3, 5]), 2)];
        let place = place.into_iter().collect();
        let mut takes = TiVec::from(vec![0.0; 6]);
        takes[FaultId(3)] = 0.9;
        takes[FaultId(5)] = 0.5;
        let mut got = becomes(2, &set(&[3, 5]), &takes, &place);
        got.sort_by_key(|o| o.0);
        let want = [
            (None, 0.45),
            (Some(0), 0.05),
            (Some(1), 0.45),
            (Some(2), 0.05),
        ];
        for (g, w) in got.iter().zip(want) {
            assert_eq!(g.0, w.0);
            assert!((g.1 - w.1).abs() < 1e-15);
        }
        // One that is sure leaves nothing of it, one that is no help all.
        takes[FaultId(3)] = 1.0;
        assert_eq!(becomes(0, &set(&[3]), &takes, &place), [(None, 1.0)]);
        takes.fill(0.0);
        assert_eq!(becomes(1, &set(&[5]), &takes, &place), [(Some(1), 1.0)]);
    }
}
