//! What the judge of the first step ([`crate::plan::first`]) is told of a job: what
//! works now, and which steps are what. The plan looks a step ahead and tells
//! groups of faults apart; here the figures of all faults are at hand.
//!
//! And no job is closed on a try that what is left in question would pass as well,
//! as long as another test pays.
//!
//! All numbers here are common practice, no source.

use typed_index_collections::TiVec;

use super::Case;
use crate::belief::FaultId;
use crate::belief::candidates::Candidate;
use crate::job::ledger::Entered;
use crate::model::FunctionId;
use crate::plan::first::{ComesTo, NO_GUESS, Standing, Weighed, first};
use crate::plan::{Act, Advice, NOTHING_WRONG, Proposal, Stop};
use crate::rulebase::Kind;

/// Steps among which the first is chosen.
pub(in crate::job) const CHOSEN_FROM: usize = 12;

/// A try that a fault passes with this chance says little of it.
const PASSES: f64 = 0.25;
/// From this probability on that faults are left which pass so, a pass is no end.
const DOUBT: f64 = 0.15;

impl Case {
    /// Puts the sensible step at the head.
    pub(in crate::job) fn sensible_first(&self, advice: &mut Advice) {
        let owed = |p: &Proposal| matches!(p.act, Act::Test(t) if self.retests_due().contains(&t));
        if advice.steps.first().is_none_or(owed) {
            return;
        }
        let now = Standing {
            works: self.works_now(),
            loss: (1.0 - self.belief.nothing) * self.settings.costs.give_up,
        };
        let near = &advice.steps[..advice.steps.len().min(CHOSEN_FROM)];
        let near: Vec<Weighed> = near.iter().map(|p| self.weighed(p)).collect();
        let Some(at) = first(&near, now) else {
            let most_likely_well = now.works && self.belief.nothing >= NO_GUESS;
            advice.stop = advice.stop.or(Some(match most_likely_well {
                true => Stop::NothingWrong,
                false => Stop::NotWorthIt { loss: now.loss },
            }));
            return;
        };
        advice.steps[..=at].rotate_right(1);
        let known = matches!(near[at].comes_to, ComesTo::Mended(all) if all >= NO_GUESS);
        advice.stop = match advice.stop {
            Some(Stop::EnoughKnown) if !known => None,
            None if known => Some(Stop::EnoughKnown),
            other => other,
        };
    }

    /// The figures of a step.
    fn weighed(&self, p: &Proposal) -> Weighed {
        let comes_to = match p.act {
            Act::Remedy(_) => ComesTo::Mended(p.outcomes.first().copied().unwrap_or(0.0)),
            Act::Test(t) => {
                let test = &self.model.tests[t];
                let complained = self.complaint_functions();
                ComesTo::Told {
                    bits: p.gain,
                    likeliest: p.outcomes.iter().copied().fold(0.0, f64::max),
                    look: matches!(test.kind, Kind::Look | Kind::Ask),
                    control: test.proves.is_some_and(|f| complained.contains(&f)),
                }
            }
        };
        Weighed {
            cost: p.expected,
            minutes: p.minutes,
            handy: self.model.handy(self.model.named(p.act).step),
            comes_to,
        }
    }

    /// Whether what is complained of was seen to work since the last remedy, and
    /// nothing was seen to fail.
    fn works_now(&self) -> bool {
        let since = self.last_remedy.map_or(0, |n| n + 1);
        let mut last: Vec<(FunctionId, bool)> = Vec::new();
        for e in &self.entered[since..] {
            if let Entered::Result { test, outcome } = *e
                && let Some(f) = self.model.tests[test].proves
            {
                last.retain(|l| l.0 != f);
                last.push((f, self.model.tests[test].passed(outcome)));
            }
        }
        let complained = self.complaint_functions();
        let works = |f: &FunctionId| last.iter().any(|l| l.0 == *f);
        !complained.is_empty() && complained.iter().all(works) && last.iter().all(|l| l.1)
    }

    /// Whether a test is worth doing although every retest has passed: what is left
    /// in question comes and goes, so that a pass says little of it.
    pub(in crate::job) fn doubts(&self, advice: &Advice) -> bool {
        let nothing = self.belief.nothing;
        let loss = (1.0 - nothing) * self.settings.costs.give_up;
        let pays = |p: &Proposal| matches!(p.act, Act::Test(_)) && p.expected < loss;
        nothing < NOTHING_WRONG && advice.steps.first().is_some_and(pays) && self.passing() >= DOUBT
    }

    /// Probability that faults are left which what is complained of shows, and
    /// often does not.
    fn passing(&self) -> f64 {
        let complained = self.complaint_functions();
        let links = complained
            .iter()
            .flat_map(|f| &self.model.functions[*f].links);
        let mut passes: TiVec<FaultId, f64> = vec![1.0; self.model.faults.len()].into();
        links.for_each(|(f, shows)| passes[*f] *= 1.0 - shows);
        let seldom = |c: &Candidate| {
            let pass: f64 = c.iter().map(|f| passes[f]).product();
            (PASSES..1.0).contains(&pass)
        };
        let all = &self.belief.candidates;
        all.iter().filter(|(c, _)| seldom(c)).map(|(_, p)| p).sum()
    }
}
