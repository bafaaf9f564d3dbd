//! Which of the advised steps comes first. The plan looks a step ahead and tells
//! groups of faults apart; with the figures of all faults at hand
//!
//! - no step is put first that a technician would call silly: one whose outcome is
//!   known before, or one that needs an open device or a tool beside a handy test
//!   that costs and tells as much;
//! - what works now is not repaired on a guess;
//! - where no step is clearly cheaper than handing the device back, every cheap
//!   test looks good because it puts off the loss. Then the repair of a known cause
//!   that costs hardly more comes first, else the test that tells most for its
//!   time, and where none tells anything the device goes back.
//!
//! And no job is closed on a try that what is left in question would pass as well,
//! as long as another test pays.
//!
//! All numbers here are common practice, no source.

use super::case::{Case, Entered};
use crate::belief::candidates::Candidate;
use crate::plan::{Act, Advice, HANDY, Proposal, Stop};
use crate::rulebase::Kind;

/// From this chance on the outcome of a test is known before.
const KNOWN_BEFORE: f64 = 0.97;
/// Minutes up to which a look or a question costs next to nothing.
const FREE: f64 = 3.0;
/// A handy test that tells this many bits is worth doing before a remedy.
const BEFORE_A_REMEDY: f64 = 0.1;
/// Steps that are compared, those that a screen lists.
const LISTED: usize = 5;
/// Steps among which the first is chosen.
pub(super) const CHOSEN_FROM: usize = 12;

/// Chance that a remedy mends all from which on it is no guess.
const NO_GUESS: f64 = 0.5;
/// Within this share of the loss a step is not clearly cheaper than handing back.
const CLEARLY: f64 = 0.02;
/// A shop repairs a known cause though that costs up to this share more than
/// handing back: a customer is kept by it.
const KEPT: f64 = 0.1;
/// A test that tells less than this many bits does not put off handing back.
const TELLING: f64 = 0.05;

/// A try that a fault passes with this chance says little of it.
const PASSES: f64 = 0.25;
/// From this probability on that faults are left which pass so, a pass is no end.
const DOUBT: f64 = 0.15;
/// Probability that nothing is wrong from which on no further test is asked for.
const SURE: f64 = 0.9;

impl Case {
    /// Puts the sensible step at the head.
    pub(super) fn sensible_first(&self, advice: &mut Advice) {
        let owed = |p: &Proposal| matches!(p.act, Act::Test(t) if self.retests_due().contains(&t));
        if advice.steps.first().is_none_or(owed) {
            return;
        }
        let works = self.works_now();
        let near = &advice.steps[..advice.steps.len().min(CHOSEN_FROM)];
        let sensible = |p: &Proposal| !(self.is_known(p) || works && is_guess(p));
        let loss = (1.0 - self.belief.nothing) * self.settings.costs.give_up;
        let Some(first) = near.iter().position(sensible) else {
            let most_likely_well = works && self.belief.nothing >= NO_GUESS;
            advice.stop = advice.stop.or(Some(match most_likely_well {
                true => Stop::NothingWrong,
                false => Stop::NotWorthIt { loss },
            }));
            return;
        };
        let is_test = |p: &Proposal| matches!(p.act, Act::Test(_));
        let puts_off = is_test(&near[first]) && near[first].expected >= loss * (1.0 - CLEARLY);
        let first = match puts_off {
            false => Some(self.beside(near, first)),
            true => {
                let repairs =
                    |p: &Proposal| !is_test(p) && !is_guess(p) && p.expected <= loss * (1.0 + KEPT);
                let rate = |p: &Proposal| p.gain / p.minutes.max(1.0);
                let telling = near.iter().enumerate();
                let telling = telling.filter(|(_, p)| p.gain >= TELLING && sensible(p));
                let most = telling.max_by(|a, b| rate(a.1).total_cmp(&rate(b.1)));
                let most = most.map(|m| self.beside(near, m.0));
                near.iter().position(repairs).or(most)
            }
        };
        let Some(first) = first else {
            advice.stop = advice.stop.or(Some(Stop::NotWorthIt { loss }));
            return;
        };
        advice.steps[..=first].rotate_right(1);
        let known = !is_test(&advice.steps[0]) && !is_guess(&advice.steps[0]);
        advice.stop = match advice.stop {
            Some(Stop::EnoughKnown) if !known => None,
            None if known => Some(Stop::EnoughKnown),
            other => other,
        };
    }

    /// A handy test that stands in for a step that needs more, else that step.
    fn beside(&self, steps: &[Proposal], first: usize) -> usize {
        let needs = &steps[first];
        if self.is_handy(needs) {
            return first;
        }
        let tells = match needs.act {
            Act::Test(_) => needs.gain,
            Act::Remedy(_) => BEFORE_A_REMEDY,
        };
        let beside = steps.iter().take(LISTED).position(|p| {
            matches!(p.act, Act::Test(_))
                && p.expected <= needs.expected * (1.0 + HANDY)
                && p.gain >= tells
                && self.is_handy(p)
                && !self.is_known(p)
        });
        beside.unwrap_or(first)
    }

    /// Whether what is complained of was seen to work since the last remedy, and
    /// nothing was seen to fail.
    fn works_now(&self) -> bool {
        let since = self.last_remedy.map_or(0, |n| n + 1);
        let mut last: Vec<(usize, bool)> = Vec::new();
        for e in &self.entered[since..] {
            if let Entered::Result { test, outcome } = *e
                && let Some(f) = self.model.tests[test].proves
            {
                last.retain(|l| l.0 != f);
                last.push((f, self.model.tests[test].passed(outcome)));
            }
        }
        let complained = self.complaint_functions();
        let works = |f: &usize| last.iter().any(|l| l.0 == *f);
        !complained.is_empty() && complained.iter().all(works) && last.iter().all(|l| l.1)
    }

    fn is_handy(&self, p: &Proposal) -> bool {
        self.model.handy(self.model.named(p.act).step)
    }

    /// Whether a test tells what is known already. A free look may, and so may a
    /// try of what is complained of.
    fn is_known(&self, p: &Proposal) -> bool {
        let Act::Test(t) = p.act else { return false };
        let test = &self.model.tests[t];
        let free = matches!(test.kind, Kind::Look | Kind::Ask)
            && p.minutes <= FREE
            && self.model.handy(&test.step);
        let complained = self.complaint_functions();
        let control = test.proves.is_some_and(|f| complained.contains(&f));
        let likeliest = p.outcomes.iter().copied().fold(0.0, f64::max);
        likeliest >= KNOWN_BEFORE && !free && !control
    }

    /// Whether a test is worth doing although every retest has passed: what is left
    /// in question comes and goes, so that a pass says little of it.
    pub(super) fn doubts(&self, advice: &Advice) -> bool {
        let nothing = self.belief.nothing;
        let loss = (1.0 - nothing) * self.settings.costs.give_up;
        let pays = |p: &Proposal| matches!(p.act, Act::Test(_)) && p.expected < loss;
        nothing < SURE && advice.steps.first().is_some_and(pays) && self.passing() >= DOUBT
    }

    /// Probability that faults are left which what is complained of shows, and
    /// often does not.
    fn passing(&self) -> f64 {
        let complained = self.complaint_functions();
        let links = complained
            .iter()
            .flat_map(|f| &self.model.functions[*f].links);
        let mut passes = vec![1.0; self.model.faults.len()];
        links.for_each(|(f, shows)| passes[*f] *= 1.0 - shows);
        let seldom = |c: &Candidate| {
            let pass: f64 = c.iter().map(|f| passes[f]).product();
            (PASSES..1.0).contains(&pass)
        };
        let all = &self.belief.candidates;
        all.iter().filter(|(c, _)| seldom(c)).map(|(_, p)| p).sum()
    }
}

/// Whether it is a remedy that most likely does not mend all.
fn is_guess(p: &Proposal) -> bool {
    matches!(p.act, Act::Remedy(_)) && p.outcomes.first().is_none_or(|mends| *mends < NO_GUESS)
}
