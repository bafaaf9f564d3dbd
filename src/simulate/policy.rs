//! Ways of working: what is done next, given what is known.

use std::borrow::Cow;
use std::sync::OnceLock;

use typed_index_collections::{TiSlice, TiVec};

use super::known::Known;
use super::luck::Luck;
use super::rows::Rows;
use super::start::Start;
use crate::job::plan_remedy;
use crate::plan::{Act, Effort, PlanRemedy, RemedyId, TestId, advise_foretold};

/// A way of working.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Policy {
    /// What this program advises, one step ahead.
    Advice,
    /// The tests in this order until a suspect is as good as sure, then what
    /// mends it.
    InOrder(Vec<TestId>),
    /// The test that tells most, whatever it costs, until a suspect is as good
    /// as sure, then what mends it.
    TellMost,
    /// No tests: what mends, by probability over cost.
    MendOnly,
    /// Any test, or any remedy that may help.
    Random,
}

/// From this probability on a suspect is as good as sure.
pub(super) const SURE: f64 = 0.9;
/// From this probability that it clears something a remedy is worth a thought.
pub(super) const HELPFUL: f64 = 0.01;
/// From this probability that nothing is wrong the device goes back as well.
pub(super) const WELL: f64 = 0.9;
/// Least that a test tells, in bits, to be worth a thought.
const TELLING: f64 = 1e-3;

/// What can be done on the bench, and what it is going to show.
#[derive(Debug)]
pub(super) struct Can<'a> {
    tests: TiVec<TestId, bool>,
    remedies: TiVec<RemedyId, Option<PlanRemedy>>,
    start: &'a Start,
    /// Once they are asked for: not every way of working foretells.
    rows: OnceLock<Rows<'a>>,
}

impl<'a> Can<'a> {
    /// What this shop can do, of the tests and remedies that there are.
    pub(super) fn new(
        start: &'a Start,
        test: impl Fn(TestId) -> bool,
        remedy: impl Fn(RemedyId) -> bool,
    ) -> Self {
        let able = &start.able;
        let tests = able.tests.iter_enumerated();
        let remedies = start.remedies.iter_enumerated();
        Can {
            tests: tests.map(|(t, able)| *able && test(t)).collect(),
            remedies: remedies
                .map(|(r, m)| (able.remedies[r] && remedy(r)).then(|| m.clone()))
                .collect(),
            start,
            rows: OnceLock::new(),
        }
    }

    fn test(&self, test: TestId) -> bool {
        self.tests[test]
    }

    fn remedy(&self, remedy: RemedyId) -> bool {
        self.remedies[remedy].is_some()
    }

    /// The remedies as they stand once some were done.
    fn remedies_after(&self, known: &Known) -> Cow<'_, TiSlice<RemedyId, Option<PlanRemedy>>> {
        let mut all = Cow::Borrowed(self.remedies.as_slice());
        for (n, done) in known.mended.iter().enumerate() {
            let model = &self.start.model;
            let times = known.mended[..=n].iter().filter(|r| *r == done).count();
            if all[*done].is_some() {
                let again = plan_remedy(model, &model.remedies[*done], times);
                all.to_mut()[*done] = Some(again);
            }
        }
        all
    }

    fn rows(&self) -> &Rows<'a> {
        self.rows.get_or_init(|| Rows::new(self.start))
    }
}

/// By remedy: the probability that a fault is there which it may clear; gone
/// through only until that is `enough` for one of them.
fn helps(
    start: &Start,
    known: &Known,
    enough: impl Fn(RemedyId, f64) -> bool,
) -> TiVec<RemedyId, f64> {
    let mut helps: TiVec<RemedyId, f64> = vec![0.0; start.remedies.len()].into();
    let mut last: TiVec<RemedyId, usize> = vec![usize::MAX; helps.len()].into();
    for (n, (c, w)) in known.worlds.iter().enumerate() {
        for (r, _) in c.iter().flat_map(|f| &start.cures[f]) {
            // Of two faults that it clears one is enough.
            if last[*r] != n {
                last[*r] = n;
                helps[*r] += w;
                if enough(*r, helps[*r]) {
                    return helps;
                }
            }
        }
    }
    helps
}

impl Policy {
    /// What is done next, retests before all else; `None` if the device goes
    /// back.
    pub(super) fn act(&self, start: &Start, known: &Known, can: &Can, luck: Luck) -> Option<Act> {
        if let Some(check) = start.check_due(known.state, &known.done) {
            return Some(Act::Test(check));
        }
        let due = known.due.first().copied();
        match due.filter(|t| can.test(*t) && !start.bars_test(known.state, *t)) {
            Some(test) => Some(Act::Test(test)),
            None if self.is_over(start, known, can) => None,
            None => self.next(start, known, can, luck),
        }
    }

    /// Whether nothing is left to be done: most likely nothing is wrong, or no
    /// remedy is likely to help.
    fn is_over(&self, start: &Start, known: &Known, can: &Can) -> bool {
        if known.nothing() >= WELL {
            return true;
        }
        let open = |r: RemedyId| {
            can.remedy(r)
                && !start.bars_remedy(known.state, r)
                && (self.repeats() || !known.mended.contains(&r))
        };
        let enough = |r: RemedyId, helps: f64| helps >= HELPFUL && open(r);
        let helps = helps(start, known, enough);
        !helps.keys().any(|r| enough(r, helps[r]))
    }

    /// Whether a remedy may be done a second time.
    fn repeats(&self) -> bool {
        matches!(self, Policy::Advice)
    }

    /// The next step; `None` if there is none.
    fn next(&self, start: &Start, known: &Known, can: &Can, luck: Luck) -> Option<Act> {
        match self {
            Policy::Advice => {
                let tests = known.tests(start, |t| can.test(t));
                let worlds = known.likeliest();
                let remedies = can.remedies_after(known);
                let s = start.situation(&worlds, &tests, &remedies, known.state);
                let told = can.rows().foretell(&worlds, &tests);
                let advice = advise_foretold(&s, &told, 1, Effort::BEST);
                advice.steps.first().map(|p| p.act)
            }
            Policy::InOrder(order) => mend_if_sure(start, known, can).or_else(|| {
                let open = |t: &&TestId| {
                    !known.tried[**t] && can.test(**t) && !start.bars_test(known.state, **t)
                };
                let next = order.iter().find(open).map(|t| Act::Test(*t));
                next.or_else(|| mend(start, known, can, |_| true))
            }),
            Policy::TellMost => mend_if_sure(start, known, can).or_else(|| {
                let open = |t| can.test(t) && !start.bars_test(known.state, t);
                let tests = known.tests(start, open);
                let told = can.rows().foretell(&known.likeliest(), &tests);
                let bits = |t: TestId| told[t].as_ref().map_or(0.0, |f| f.bits);
                let by_bits = |a: &TestId, b: &TestId| bits(*a).total_cmp(&bits(*b)).then(b.cmp(a));
                let most = told.keys().max_by(by_bits);
                let most = most.filter(|t| bits(*t) > TELLING).map(Act::Test);
                most.or_else(|| mend(start, known, can, |_| true))
            }),
            Policy::MendOnly => mend(start, known, can, |_| true),
            Policy::Random => {
                let helps = helps(start, known, |_, _| false);
                let tests = start.tests.keys().filter(|t| {
                    !known.done[*t] && can.test(*t) && !start.bars_test(known.state, *t)
                });
                let remedies = helps.keys().filter(|r| {
                    helps[*r] >= HELPFUL
                        && can.remedy(*r)
                        && !start.bars_remedy(known.state, *r)
                        && !known.mended.contains(r)
                });
                let all: Vec<Act> = tests
                    .map(Act::Test)
                    .chain(remedies.map(Act::Remedy))
                    .collect();
                (!all.is_empty()).then(|| all[luck.one_of(all.len())])
            }
        }
    }
}

/// The remedy for a suspect that is as good as sure.
fn mend_if_sure(start: &Start, known: &Known, can: &Can) -> Option<Act> {
    let p = known.faults(start);
    let likeliest = p
        .keys()
        .max_by(|a, b| p[*a].total_cmp(&p[*b]).then(b.cmp(a)))?;
    if p[likeliest] < SURE {
        return None;
    }
    let cures = &start.cures[likeliest];
    mend(start, known, can, |r| cures.iter().any(|c| c.0 == r))
}

/// Of some remedies that were not done yet the one with the greatest
/// probability to clear something, over its cost.
fn mend(start: &Start, known: &Known, can: &Can, of: impl Fn(RemedyId) -> bool) -> Option<Act> {
    let retest = start.retest.as_ref();
    let mut clears: TiVec<RemedyId, f64> = vec![0.0; start.remedies.len()].into();
    let mut fails: Vec<(RemedyId, f64)> = Vec::new();
    for (c, w) in &known.worlds {
        fails.clear();
        for (r, take) in c.iter().flat_map(|f| &start.cures[f]) {
            match fails.iter_mut().find(|x| x.0 == *r) {
                Some(x) => x.1 *= 1.0 - take,
                None => fails.push((*r, 1.0 - take)),
            }
        }
        for (r, fails) in &fails {
            clears[*r] += w * (1.0 - fails);
        }
    }
    let worth = |r: RemedyId| {
        let m = &start.remedies[r];
        let (there, go) = start.moves.reach(known.state, m.conditions);
        let back = retest.map_or(0.0, |t| {
            t.minutes + start.moves.reach(there, t.conditions).1
        });
        clears[r] / start.costs.of(m.minutes + go + back, m.parts).max(1e-9)
    };
    let open = |r: &RemedyId| {
        clears[*r] > 0.0
            && of(*r)
            && can.remedy(*r)
            && !start.bars_remedy(known.state, *r)
            && !known.mended.contains(r)
    };
    (clears.keys())
        .filter(open)
        .max_by(|a, b| worth(*a).total_cmp(&worth(*b)).then(b.cmp(a)))
        .map(Act::Remedy)
}
