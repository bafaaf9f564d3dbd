//! What is known of a device after what was seen and done: weights over sets of
//! faults, worked on step by step.
//!
//! A job works its belief out anew from all entries after each one. Here the
//! weights of the sets are carried on: the same numbers, as far as the list goes
//! (`tests/trials/simulate.rs` holds both together). The lightest sets are let go.

use std::ops::RangeInclusive;
use std::sync::Arc;

use typed_index_collections::TiVec;

use super::start::{Lines, Start};
use crate::belief::candidates::{Candidate, Outlook, Weighted, changed};
use crate::belief::{Change, FaultId, Finding, likelier};
use crate::bench::{BenchState, Gates};
use crate::model::{Model, Read, Saw};
use crate::plan::{PlanTest, RemedyId, TestId};
use crate::rulebase::Sign;

/// Share of the probability that the lightest sets may hold together and still
/// are let go at a step.
const LIGHT: f64 = 2e-4;
/// How many sets are kept at most; the lightest are let go beyond that, whatever
/// they hold.
const MOST: usize = 8192;

/// Share of the probability that is enough to say what is best to do, and how
/// many sets are never too many for it.
const ENOUGH: f64 = 0.9;
const FEW: usize = 24;

/// What is known.
#[derive(Clone, Debug)]
pub(super) struct Known {
    /// Sets of faults with their probability, in the order of their faults.
    pub(super) worlds: Weighted,
    /// How the device stands.
    pub(super) state: BenchState,
    /// By test: its last result still holds.
    pub(super) done: TiVec<TestId, bool>,
    /// By test: what it showed last, if that was clear.
    shown: TiVec<TestId, Option<usize>>,
    /// By test: it was done at some time.
    pub(super) tried: TiVec<TestId, bool>,
    pub(super) lines: Lines,
    /// Remedies that were done, in order.
    pub(super) mended: Vec<RemedyId>,
    /// Tests that the last remedy still owes.
    pub(super) due: Vec<TestId>,
    /// Gates of which a sign was seen, the device off, since something was last
    /// done.
    pub(super) signs: Gates,
}

impl Known {
    pub(super) fn new(start: &Start) -> Self {
        let mut known = Known {
            worlds: start.worlds.clone(),
            state: start.state,
            done: vec![false; start.tests.len()].into(),
            shown: vec![None; start.tests.len()].into(),
            tried: vec![false; start.tests.len()].into(),
            lines: Lines::default(),
            mended: Vec::new(),
            due: Vec::new(),
            signs: Gates::default(),
        };
        known.worlds.sort_unstable_by_key(|w| w.0);
        known.settle();
        known
    }

    /// Probability of each fault.
    pub(super) fn faults(&self, start: &Start) -> TiVec<FaultId, f64> {
        let mut p = TiVec::from(vec![0.0; start.faults()]);
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

    /// The likeliest sets, which say what is best to do as well as all; the
    /// likeliest first.
    pub(super) fn likeliest(&self) -> Weighted {
        let least = least(self.worlds.iter().map(|w| w.1), 1.0 - ENOUGH, FEW..=MOST);
        let heavy = self.worlds.iter().filter(|w| w.1 >= least);
        let mut few: Weighted = heavy.copied().collect();
        few.sort_unstable_by(|a, b| likelier(a.1, b.1).then(a.0.cmp(&b.0)));
        let mut sum = 0.0;
        let enough = few.iter().position(|w| {
            sum += w.1;
            sum >= ENOUGH
        });
        let many = enough.map_or(few.len(), |at| at + 1);
        few.truncate(many.max(FEW));
        few
    }

    /// What a test is going to show.
    pub(super) fn outlook(&self, start: &Start, test: TestId) -> Arc<Outlook> {
        start.outlook(test, self.lines.of(start.line(test)))
    }

    /// What the check of a hazard tells where it shows this, beside the looks and
    /// readings so far.
    fn checked(&self, start: &Start, check: TestId, found: usize) -> Finding {
        let m = &start.model;
        let mut finding = m.tests[check].finding.as_ref().clone();
        let Some(gate) = m.tests[check].checks else {
            return finding;
        };
        for (test, shown) in self.shown.iter_enumerated().filter(|s| self.done[s.0]) {
            let tells = shown.and_then(|shown| beside(m, &finding, (gate, found), (test, shown)));
            finding = tells.unwrap_or(finding);
        }
        finding
    }

    /// The tests that can be done, as the planner sees them.
    pub(super) fn tests(
        &self,
        start: &Start,
        can: impl Fn(TestId) -> bool,
    ) -> TiVec<TestId, Option<PlanTest>> {
        (start.tests.keys())
            .map(|t| {
                let open = !self.done[t] && can(t);
                let before = start.model.tests[t].comes_after.iter().copied();
                open.then(|| PlanTest {
                    outlook: self.outlook(start, t),
                    after: before.filter(|a| !self.done[*a] && can(*a)).collect(),
                    ..start.tests[t].plan.clone()
                })
            })
            .collect()
    }

    /// What is known after each outcome of a test that is `wanted`; `None` for
    /// an outcome that cannot be.
    pub(super) fn tested(
        &self,
        start: &Start,
        test: TestId,
        wanted: &[bool],
    ) -> Vec<Option<Known>> {
        let info = &start.model.tests[test];
        let foretold = self.outlook(start, test);
        let outlook = start.tests[test].during.as_ref();
        let outlook = outlook.unwrap_or(&foretold);
        let seated = info.before.as_ref().map(|change| {
            let mut seated = self.clone();
            seated.change(start, change, true);
            seated
        });
        let before = seated.as_ref().unwrap_or(self);
        let mut p = vec![0.0; outlook.outcomes()];
        let mut weights = vec![Vec::new(); p.len()];
        for (weights, wanted) in weights.iter_mut().zip(wanted) {
            weights.reserve_exact(if *wanted { before.worlds.len() } else { 0 });
        }
        let sure = start.sure(test, self.signs);
        let counts = Counts::new(start, before, test);
        for (c, w) in &before.worlds {
            match sure {
                // What is seen for sure tells nothing.
                Some(_) => p.fill(1.0),
                None => {
                    outlook.of(c, &mut p);
                    counts.once(c, &mut p);
                }
            }
            for ((weights, p), _) in weights.iter_mut().zip(&p).zip(wanted).filter(|x| *x.1) {
                weights.push(w * p);
            }
        }
        let (state, _) = start
            .moves
            .reach(self.state, start.tests[test].plan.conditions);
        // What is warm with the device on need not be so when it is checked.
        let powers = start.model.powers(&info.step);
        // The word of a reading is no sure sign: what it is a word for is checked.
        let seen = |gate: usize, outcome: usize| {
            let named = |s: &Sign| s.gate == gate && s.outcomes.contains(&outcome);
            info.checks == Some(gate) || info.raises.iter().any(named)
        };
        let each = weights.iter().enumerate().map(|(outcome, weights)| {
            let turns = start.tests[test].plan.turns.get(outcome).copied();
            let turns = turns.unwrap_or_default();
            let mut known = Known {
                worlds: settled(&before.worlds, weights)?,
                state: state.turned(turns),
                signs: (self.signs.iter().filter(|g| !turns.lifts.has(*g)))
                    .chain(turns.raises.iter().filter(|g| !powers && seen(*g, outcome)))
                    .collect(),
                done: before.done.clone(),
                shown: before.shown.clone(),
                tried: before.tried.clone(),
                lines: before.lines.clone(),
                mended: before.mended.clone(),
                due: Vec::new(),
            };
            known.lines.read(start, test, outcome);
            if let Some(change) = &info.after {
                known.change(start, change, true);
            }
            known.done[test] = true;
            known.shown[test] = Some(outcome);
            known.tried[test] = true;
            Some(known)
        });
        each.collect()
    }

    /// What is known after a test that told nothing.
    pub(super) fn unclear(&self, start: &Start, test: TestId) -> Known {
        let mut known = self.clone();
        let conditions = start.tests[test].plan.conditions;
        known.state = start.moves.reach(self.state, conditions).0;
        known.done[test] = true;
        known.shown[test] = None;
        known.tried[test] = true;
        known
    }

    /// A remedy is done.
    pub(super) fn remedied(&mut self, start: &Start, remedy: RemedyId) {
        let times = self.mended.iter().filter(|r| **r == remedy).count();
        self.change(
            start,
            &start.model.remedies[remedy].change.again(times),
            false,
        );
        let conditions = start.remedies[remedy].conditions;
        self.state = start.moves.reach(self.state, conditions).0;
        self.mended.push(remedy);
        // What was found may be gone.
        for (t, info) in start.model.tests.iter_enumerated() {
            self.done[t] &= info.checks.is_none();
        }
        self.due = start.due(&self.mended);
    }

    /// Something is done to the device: the result of a test that tells of a fault
    /// which it touches does not hold for sure any more; by a swap, of a try alone.
    fn change(&mut self, start: &Start, change: &Change, by_swap: bool) {
        let least = LIGHT / 8.0 / self.worlds.len() as f64;
        self.worlds = changed(&self.worlds, change, least);
        self.lines.changed(start, change);
        let tests = start.tests.iter().zip(&start.model.tests);
        for (done, (probe, test)) in self.done.iter_mut().zip(tests) {
            let touched = || probe.sees.iter().any(|f| change.touches(*f));
            *done &= by_swap && test.proves.is_none() || !touched();
        }
        // A sign stays one while nothing was done about what makes it.
        let stays = |gate: &usize| {
            let mut checks = start.model.tests.iter();
            let check = checks.find(|t| t.checks == Some(*gate));
            !check.is_some_and(|t| t.finding.sees().any(|f| change.touches(f)))
        };
        self.signs = self.signs.iter().filter(stays).collect();
        self.settle();
    }

    /// Lets go of the lightest sets, and makes the weights add up to one.
    fn settle(&mut self) {
        let weights: Vec<f64> = self.worlds.iter().map(|w| w.1).collect();
        if let Some(worlds) = settled(&self.worlds, &weights) {
            self.worlds = worlds;
        }
    }
}

/// What the check of a hazard tells, and what looks and readings that say the same
/// as it tell already: as in a job, the finer one counts.
#[derive(Default)]
struct Counts {
    /// Of a check, by outcome: what it tells beside them.
    beside: Vec<Outlook>,
    /// Of a look or a reading: its outcome, that of a check done before, and what
    /// this told and tells.
    again: Vec<(usize, usize, [Outlook; 2])>,
}

impl Counts {
    fn new(start: &Start, known: &Known, test: TestId) -> Counts {
        let m = &start.model;
        let mut counts = Counts::default();
        let outlook = |finding: Finding| Outlook::new(start.faults(), &Arc::new(finding));
        if m.tests[test].checks.is_some() {
            let outcomes = 0..m.tests[test].outcomes.len();
            let each = outcomes.map(|o| outlook(known.checked(start, test, o)));
            counts.beside = each.collect();
            return counts;
        }
        for (check, info) in m.tests.iter_enumerated().filter(|c| known.done[c.0]) {
            let (Some(gate), Some(found)) = (info.checks, known.shown[check]) else {
                continue;
            };
            let told = known.checked(start, check, found);
            for outcome in 0..m.tests[test].outcomes.len() {
                if let Some(tells) = beside(m, &told, (gate, found), (test, outcome)) {
                    let both = [told.clone(), tells].map(outlook);
                    counts.again.push((outcome, found, both));
                }
            }
        }
        counts
    }

    /// Weighs the outcomes of the test, with these faults, so that each thing seen
    /// counts once.
    fn once(&self, c: &Candidate, p: &mut [f64]) {
        let of = |outlook: &Outlook, outcome: usize| {
            let mut p = vec![0.0; outlook.outcomes()];
            outlook.of(c, &mut p);
            p[outcome]
        };
        for (outcome, beside) in self.beside.iter().enumerate() {
            p[outcome] = of(beside, outcome);
        }
        for (outcome, found, [told, tells]) in &self.again {
            let was = of(told, *found);
            if was > 0.0 {
                p[*outcome] *= of(tells, *found) / was;
            }
        }
    }
}

/// What a check with an outcome tells beside a test with another, which is a word
/// where it is a reading; `None` if they have nothing to do with each other.
fn beside(
    m: &Model,
    check: &Finding,
    (gate, found): (usize, usize),
    (test, shown): (TestId, usize),
) -> Option<Finding> {
    let saw = match m.tests[test].measures {
        Some(_) => Saw::Reading(Read::Word(shown)),
        None => Saw::Outcome(shown),
    };
    m.check_beside(check, (gate, found > 0), test, saw)
}

/// Sets with new weights, which are made to add up to one, without the lightest;
/// `None` if there is no weight at all.
fn settled(sets: &Weighted, weights: &[f64]) -> Option<Weighted> {
    let total: f64 = weights.iter().sum();
    if total <= 0.0 || !total.is_finite() {
        return None;
    }
    let whole = 1.0 / total;
    let least = total * least(weights.iter().map(|w| w * whole), LIGHT, 1..=MOST);
    // One fault alone is kept however light: a result may yet speak for it, and a
    // set that was let go does not come back.
    let heavy = |set: &Candidate, w: f64| w >= least || (set.len() <= 1 && w > 0.0);
    let each = || (sets.iter().zip(weights)).filter(|((set, _), w)| heavy(set, **w));
    let (many, held) = each().fold((0, 0.0), |(n, sum), (_, w)| (n + 1, sum + w));
    let whole = 1.0 / held;
    // No more room than is needed: many are kept for long.
    let mut kept = Weighted::with_capacity(many);
    let each = each();
    kept.extend(each.map(|((set, _), w)| (*set, w * whole)));
    Some(kept)
}

/// Where the exponent of a number begins among its bits, and that of one (IEEE
/// 754, binary64).
const EXPONENT: u32 = 52;
const ONE: u64 = 1023;

/// A weight such that all lighter sets together hold at most a `share` of the
/// whole, which is one, and that leaves so `many`, if there are so many: as great
/// as it can be among the powers of two. Too many count for more than the share.
fn least(
    weights: impl ExactSizeIterator<Item = f64>,
    share: f64,
    many: RangeInclusive<usize>,
) -> f64 {
    let mut fewer = weights.len();
    // By how often one is halved until it is no more than a weight: how many
    // such weights, and their sum. The exponent of a number tells.
    let mut halved = [(0, 0.0); 64];
    for w in weights {
        let times = ONE.saturating_sub(w.to_bits() >> EXPONENT);
        let at = &mut halved[times.min(63) as usize];
        *at = (at.0 + 1, at.1 + w);
    }
    let (mut lighter, mut least) = (0.0, 0.0);
    for (times, (n, sum)) in halved.iter().enumerate().rev() {
        lighter += sum;
        fewer -= n;
        let too_many = fewer + n > *many.end();
        if (lighter > share && !too_many) || fewer < *many.start() {
            break;
        }
        least = 0.5f64.powi(times as i32 - 1);
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lightest_sets_hold_no_more_than_their_share() {
        let mut weights: Vec<f64> = (0..40).map(|f| 0.7f64.powi(f)).collect();
        let total: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= total);
        // What is next to nothing has a place of its own.
        weights.push(0.0);
        let all = || weights.iter().copied();
        let lighter = |least: f64| all().filter(|w| *w < least).sum::<f64>();
        let heavier = |least: f64| all().filter(|w| *w >= least).count();
        for share in [0.3, 0.02, 1e-4] {
            let at = least(all(), share, 1..=100);
            assert!(lighter(at) <= share && lighter(2.0 * at) > share, "{share}");
        }
        let at = least(all(), 0.3, 12..=100);
        assert!(heavier(at) >= 12 && heavier(2.0 * at) < 12);
        let at = least(all(), 1e-30, 1..=10);
        assert!(heavier(at) <= 10 && heavier(0.5 * at) > 10);
        // There are no more than there are.
        assert_eq!(heavier(least(all(), 0.3, 100..=100)), 41);
        assert_eq!(heavier(least(all(), 1e-30, 1..=100)), 40);
    }

    #[test]
    fn weights_that_are_settled_add_up_to_one_again() {
        let sets: Weighted = (0..40)
            .map(|f| {
                (
                    Candidate::new(&[FaultId(f), FaultId(99)]).expect("a small set"),
                    0.0,
                )
            })
            .collect();
        let weights: Vec<f64> = (0..40).map(|f| 3.0 * 0.5f64.powi(f)).collect();
        let kept = settled(&sets, &weights).expect("weights");
        assert!(kept.len() < 20 && (kept.iter().map(|w| w.1).sum::<f64>() - 1.0).abs() < 1e-12);
        for ((set, w), (was, weight)) in kept.iter().zip(sets.iter().zip(&weights)) {
            assert_eq!(*set, was.0);
            assert!((w / kept[0].1 - weight / weights[0]).abs() < 1e-12);
        }
        assert!(settled(&sets, &[0.0; 40]).is_none());
        // One fault alone stays.
        let alone = |f| (Candidate::new(&[FaultId(f)]).expect("a small set"), 0.0);
        let single: Weighted = (0..40).map(alone).collect();
        assert_eq!(settled(&single, &weights).map(|kept| kept.len()), Some(40));
    }
}
