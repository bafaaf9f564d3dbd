//! Whether the result that was just entered wants a second look: it is more likely a
//! mistake than true, or nothing explains it well.

use super::Case;
use crate::belief::{FaultId, conflict_among, likelier, update};
use crate::bench::BenchState;
use crate::job::ledger::Entered;
use crate::model::{Read, Slip};
use crate::plan::TestId;

/// A result that wants a second look.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    /// The entry, from 0.
    pub entry: usize,
    /// The test.
    pub test: TestId,
    /// Why it is said.
    pub reason: Reason,
    /// Probability that the result is a mistake.
    pub misread: f64,
    /// The slip that it looks like, where it is more likely a mistake.
    pub slip: Option<Slip>,
    /// The place among the results of the one that it goes against most.
    pub against: Option<usize>,
    /// How likely this result was before it, where it is a word.
    pub expected: Option<f64>,
    /// The test to repeat, and its minutes with what it takes to get there.
    pub repeat: (TestId, f64),
}

/// Why a result wants a second look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// It is more likely a mistake than true.
    LikelyWrong,
    /// It may be true, but no faults explain it together with the others.
    Unexplained,
    /// It makes a fault lead that nobody listed: the rules do not explain the
    /// device.
    Unlisted,
}

/// Above this a result is more likely a mistake than true.
const LIKELY_WRONG: f64 = 0.5;

/// By so many bits a result has to make the results disagree, and they have to
/// disagree in all, to count as unexplained.
const UNEXPLAINED_BITS: f64 = 1.0;

/// Another result is named as what a doubtful one goes against if the two alone
/// disagree by this much, in bits.
const AGAINST_BITS: f64 = 0.5;

/// A result with a smaller chance of a mistake is not offered for a repeat.
const WORTH_REPEATING: f64 = 0.1;

impl Case {
    /// What is to be said of the last entry, if it is a result that wants a
    /// second look.
    pub fn notice(&self) -> Option<&Notice> {
        self.noticed.get_or_init(|| self.look_again()).as_ref()
    }

    fn look_again(&self) -> Option<Notice> {
        let entry = self.speaks_of(self.entered.len().checked_sub(1)?)?;
        let Entered::Result { test, .. } = self.entered[entry] else {
            return None;
        };
        let results = self.results();
        let at = results.iter().position(|e| *e == Some(entry))?;
        let misread = *self.belief.misread.get(at)?;
        let reason = match misread > LIKELY_WRONG {
            true => Reason::LikelyWrong,
            false if self.brings_unlisted(at) => Reason::Unlisted,
            false if self.makes_disagree(at) => Reason::Unexplained,
            false => return None,
        };
        let against = self.goes_against(at);
        let again = |result: usize| match self.entered[results[result]?] {
            Entered::Result { test, .. } if self.done(test) => Some(test),
            _ => None,
        };
        let doubtful = |result: &usize| {
            reason != Reason::LikelyWrong || self.belief.misread[*result] > WORTH_REPEATING
        };
        let other = against.filter(doubtful).and_then(again);
        let minutes = |test: TestId| (test, self.minutes_to_repeat(test, self.state));
        // What was measured again already is done again last.
        let confirmed = self.times(at).is_some_and(|t| t.0 > 1);
        let this = (!confirmed || other.is_none()).then_some(test);
        let repeat = this.into_iter().chain(other).map(minutes);
        let repeat = repeat.min_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(Notice {
            entry,
            test,
            reason,
            misread,
            slip: (reason == Reason::LikelyWrong)
                .then(|| self.slipped(test, at))
                .flatten(),
            against,
            expected: self.expected(at),
            repeat,
        })
    }

    /// The slip that a reading, by its place among the results, looks like.
    fn slipped(&self, test: TestId, at: usize) -> Option<Slip> {
        let test = &self.model.tests[test];
        let mut readings = self.readings(test.measures?.line);
        let (_, taken) = readings.find(|r| r.0 == at)?;
        match taken.read {
            Read::Number(reading) => self.model.slip_of(test, reading),
            Read::Word(_) => None,
        }
    }

    /// The result that an entry is about, both from 0: itself, or the one that it
    /// confirms or corrects.
    fn speaks_of(&self, entry: usize) -> Option<usize> {
        match self.entered[entry] {
            Entered::Result { .. } => Some(entry),
            Entered::About(of) => Some(of),
            _ => None,
        }
    }

    /// Whether a result, by its place, makes the results disagree.
    fn makes_disagree(&self, at: usize) -> bool {
        let now = self.conflict();
        if now <= UNEXPLAINED_BITS {
            return false;
        }
        let given = self.symptoms.len();
        let others = self.results().len() - 1;
        let without = conflict_among(&self.model.network, others, given, |keep| {
            self.events(&|r| r != at && keep(r - usize::from(r > at)))
        });
        now - without > UNEXPLAINED_BITS
    }

    /// Whether a fault that nobody listed leads, and is likelier for a result, by
    /// its place.
    fn brings_unlisted(&self, at: usize) -> bool {
        let Some(first) = unlisted_leads(self) else {
            return false;
        };
        let without = self.events(&|r| r != at);
        let without = update(&self.model.network, &without, self.settings.size);
        self.belief.faults[first] > without.faults[first]
    }

    /// The place of the result that goes worst together with another one, given
    /// the complaint.
    fn goes_against(&self, at: usize) -> Option<usize> {
        let given = self.symptoms.len();
        let bits = |r: usize| {
            conflict_among(&self.model.network, given + 2, given, |keep| {
                let (first, second) = (r.min(at), r.max(at));
                self.events(&|k| match k {
                    k if k < given => keep(k),
                    k if k == first => keep(given),
                    k => k == second && keep(given + 1),
                })
            })
        };
        let others = (given..self.results().len()).filter(|r| *r != at);
        let all = others.map(|r| (r, bits(r)));
        let worst = all.max_by(|a, b| a.1.total_cmp(&b.1));
        worst.filter(|w| w.1 > AGAINST_BITS).map(|w| w.0)
    }

    /// How likely a result was before it, all others given; `None` for a number,
    /// which has a density, and for one that was confirmed.
    fn expected(&self, at: usize) -> Option<f64> {
        if self.times(at)? != (1, true) {
            return None;
        }
        let without = update(
            &self.model.network,
            &self.events(&|r| r != at),
            self.settings.size,
        );
        let p = (self.belief.evidence_log2 - without.evidence_log2).exp2();
        (0.0..=1.0).contains(&p).then_some(p)
    }

    fn minutes_to_repeat(&self, test: TestId, state: BenchState) -> f64 {
        let step = &self.model.tests[test].step;
        step.minutes + self.model.bench.reach(state, &step.conditions).minutes
    }
}

/// The likeliest fault, if it is one that the rules do not list.
pub(in crate::job) fn unlisted_leads(case: &Case) -> Option<FaultId> {
    let faults = case.belief.faults.iter_enumerated();
    let first = faults.max_by(|a, b| likelier(*b.1, *a.1));
    let first = first.map(|(f, _)| f);
    first.filter(|f| case.model.faults[*f].unlisted)
}
