//! What the planner is told of a job, and what it advises.

use std::sync::Arc;

use rayon::prelude::*;
use typed_index_collections::TiVec;

use super::Case;
use super::sensible::CHOSEN_FROM;
use crate::belief::candidates::Outlook;
use crate::belief::{Belief, Finding};
use crate::bench::Turns;
use crate::model::{Foretold, LineId, Model, Range, RemedyInfo, Taken, TestInfo};
use crate::plan::{
    Act, Advice, Effort, PlanRemedy, PlanTest, RemedyId, Situation, TestId, Turn, advise, foretell,
    turning_point,
};

/// The tests as the planner sees them, `None` for one that is not open; and for
/// each of the outcomes that it sees, what part of a test's outcomes that is.
pub(super) type Planned = (TiVec<TestId, Option<PlanTest>>, TiVec<TestId, Vec<Range>>);

/// The remedies as the planner sees them, `None` for one that is not open, and the
/// test that proves them.
#[derive(Clone, Debug)]
pub(super) struct Repairs {
    remedies: TiVec<RemedyId, Option<PlanRemedy>>,
    retest: Option<PlanTest>,
}

/// A value in the middle of a range; none of over limit.
fn middle((from, to): (f64, f64)) -> Option<f64> {
    match (from.is_finite(), to.is_finite()) {
        (true, true) => Some(0.5 * (from + to)),
        (true, false) => Some(from),
        (false, true) => Some(to),
        (false, false) => None,
    }
}

/// What the ranges of a test's values do to gates.
fn turns_of(t: &TestInfo, ranges: &[Range]) -> Vec<Turns> {
    let turns = |r: &Range| t.turns(r.outcome, middle(r.between));
    ranges.iter().map(turns).collect()
}

/// Whether a value that a test reads may be a sign of a hazard.
fn warns(t: &TestInfo) -> bool {
    t.raises.iter().any(|s| s.below.is_some())
}

/// What the words of a test do to gates where a value decides: what most of the
/// values of the word do, as sets of faults have it. `None` where no value does
/// anything.
pub(crate) fn turns_in_words(m: &Model, test: TestId, belief: &Belief) -> Option<Vec<Turns>> {
    let t = &m.tests[test];
    let foretold = m.foretold_after(test, &[], &belief.faults);
    let Foretold { finding, ranges } = foretold.filter(|_| warns(t))?;
    let outlook = Outlook::new(m.network.len(), &finding);
    let chances = foretell(&belief.candidates, &outlook).outcomes;
    let turns = turns_of(t, &ranges);
    let of_word = |word: usize| {
        let mut all: Vec<(Turns, f64)> = Vec::new();
        let of = ranges.iter().zip(&turns).zip(&chances);
        for ((_, turns), chance) in of.filter(|((r, _), _)| r.outcome == word) {
            match all.iter_mut().find(|x| x.0 == *turns) {
                Some(same) => same.1 += chance,
                None => all.push((*turns, *chance)),
            }
        }
        let most = all.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        most.map_or_else(Turns::default, |m| m.0)
    };
    Some((0..t.outcomes.len()).map(of_word).collect())
}

/// A test as the planner sees it, where it is foretold so.
pub(crate) fn plan_test(
    m: &Model,
    t: &TestInfo,
    finding: &Arc<Finding>,
    ranges: &[Range],
) -> PlanTest {
    let turns = match ranges {
        [] => (t.outcomes.iter().enumerate())
            .map(|(o, info)| t.turns(o, info.between.and_then(middle)))
            .collect(),
        ranges => turns_of(t, ranges),
    };
    PlanTest {
        turns,
        outlook: Arc::new(Outlook::new(m.network.len(), finding)),
        minutes: t.step.minutes,
        conditions: m.target_of_test(t),
        handy: m.handy(&t.step),
        after: Vec::new(),
    }
}

/// A remedy as the planner sees it that was done so many times.
pub(crate) fn plan_remedy(m: &Model, r: &RemedyInfo, times: usize) -> PlanRemedy {
    PlanRemedy {
        clears: r.change.again(times).clears,
        minutes: r.step.minutes,
        parts: r.step.parts,
        breaks: r.change.breaks(),
        conditions: m.target_of_remedy(r),
        handy: m.handy(&r.step),
    }
}

impl Case {
    /// What can be done about the faults, and the test that proves it.
    fn repairs(&self) -> &Repairs {
        self.repairs.get_or_init(|| {
            let m = &self.model;
            let plan = |(i, r): (RemedyId, &RemedyInfo)| {
                let open = self.is_open(Act::Remedy(i));
                open.then(|| plan_remedy(m, r, self.times_done(i)))
            };
            let complained = self.complaint_functions();
            let mut proofs = complained.iter().filter_map(|f| self.proof_of(*f));
            let retest = proofs.next().map(|t| &m.tests[t]);
            Repairs {
                remedies: m.remedies.iter_enumerated().map(plan).collect(),
                retest: retest.map(|t| plan_test(m, t, &t.foretold, &[])),
            }
        })
    }

    /// The tests as the planner sees them. What was read of a line tells what
    /// else is going to be read of it.
    pub(super) fn planned(&self) -> Planned {
        let m = &self.model;
        let standing: TiVec<LineId, Vec<Taken>> = (m.lines.keys())
            .map(|line| self.history.standing_readings(m, line))
            .collect();
        let open: TiVec<TestId, bool> = (m.tests.keys())
            .map(|i| self.is_open(Act::Test(i)))
            .collect();
        // Where nothing was read yet, words do for a first answer, but not where a
        // value may be the sign of a hazard.
        let in_words = self.settings.effort == Effort::FIRST;
        let wanted = |(i, open): (TestId, &bool)| -> Option<(TestId, &[Taken])> {
            let taken = &standing[m.tests[i].measures.filter(|_| *open)?.line];
            let words_do = taken.is_empty() && in_words && !warns(&m.tests[i]);
            (!words_do).then_some((i, taken))
        };
        let wanted: Vec<_> = open.iter_enumerated().map(wanted).collect();
        let believed = &self.belief.faults;
        let foretold: Vec<Option<Foretold>> = (wanted.par_iter().with_max_len(4))
            .map(|w| w.and_then(|(i, taken)| m.foretold_after(i, taken, believed)))
            .collect();
        let open_now = &open;
        let planned = |((t, open), foretold): ((&TestInfo, bool), Option<Foretold>)| {
            let (finding, ranges) = foretold.map_or_else(
                || (t.foretold.clone(), Vec::new()),
                |f| (f.finding, f.ranges),
            );
            let after = |a: &TestId| open_now[*a];
            let test = open.then(|| PlanTest {
                after: t.comes_after.iter().copied().filter(after).collect(),
                ..plan_test(m, t, &finding, &ranges)
            });
            (test, ranges)
        };
        let (planned, ranges): (Vec<_>, Vec<_>) = (m.tests.iter())
            .zip(open.iter().copied())
            .zip(foretold)
            .map(planned)
            .unzip();
        (planned.into(), ranges.into())
    }

    pub(super) fn plan(&self) -> &Planned {
        self.planned.get_or_init(|| self.planned())
    }

    /// What the planner takes for one outcome of a test: the outcome, and where
    /// it is only a range of that one's values, which.
    pub fn foreseen(&self, test: TestId, outcome: usize) -> (usize, Option<(f64, f64)>) {
        let ranges = &self.plan().1[test];
        let Some(range) = ranges.get(outcome) else {
            return (outcome, None);
        };
        let alone = ranges.iter().filter(|r| r.outcome == range.outcome).count() == 1;
        (range.outcome, (!alone).then_some(range.between))
    }

    /// What the planner works on.
    pub fn situation(&self) -> Situation<'_> {
        Situation {
            faults: self.model.network.len(),
            candidates: &self.belief.candidates,
            tests: &self.plan().0,
            remedies: &self.repairs().remedies,
            retest: self.repairs().retest.as_ref(),
            due: &self.due,
            moves: &self.moves,
            so_far: self.settings.costs.paid(self.so_far.0, self.so_far.1),
            state: self.state,
            costs: self.settings.costs,
        }
    }

    /// The next steps, best first.
    pub fn advice(&self, many: usize) -> Advice {
        let ask = |many| {
            let mut advice = advise(&self.situation(), many, self.settings.effort);
            for step in &mut advice.steps {
                if let Act::Test(t) = step.act {
                    step.outcomes = self.in_words(t, &step.outcomes);
                }
            }
            self.sensible_first(&mut advice);
            advice
        };
        if many > CHOSEN_FROM {
            return ask(many);
        }
        let mut advice = self.advised.get_or_init(|| ask(CHOSEN_FROM)).clone();
        advice.steps.truncate(many);
        advice
    }

    /// The chance of each outcome of a test, given that of each that the planner
    /// sees.
    fn in_words(&self, test: TestId, chances: &[f64]) -> Vec<f64> {
        let mut words = vec![0.0; self.model.tests[test].outcomes.len()];
        for (k, chance) in chances.iter().enumerate() {
            words[self.foreseen(test, k).0] += chance;
        }
        words
    }

    /// The result that would change the order of the suspects most.
    pub fn turn(&self) -> Option<Turn> {
        turning_point(&self.situation())
    }
}
