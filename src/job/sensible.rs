//! Which of the advised steps comes first. The plan tells groups of faults apart;
//! with the figures of all faults at hand, no step is put first that a technician
//! would call silly: one whose outcome is known before, or one that needs an open
//! device or a tool beside a handy test that costs and tells as much. And no job is
//! closed on a try that what is left in question would pass as well, as long as
//! another test pays.

use super::case::Case;
use crate::belief::candidates::Candidate;
use crate::model::TestInfo;
use crate::plan::{Act, Advice, HANDY, Proposal, Stop};
use crate::rulebase::Kind;

/// From this chance on the outcome of a test is known before. Common practice, no
/// source.
const KNOWN_BEFORE: f64 = 0.97;
/// Minutes up to which a look or a question costs next to nothing.
const FREE: f64 = 3.0;
/// A handy test that tells this many bits is worth doing before a remedy.
const BEFORE_A_REMEDY: f64 = 0.1;
/// Steps that are compared, those that a screen lists.
const LISTED: usize = 5;

/// A try that a fault passes with this chance says little of it.
const PASSES: f64 = 0.25;
/// From this probability on that faults are left which pass so, a pass is no end.
const DOUBT: f64 = 0.15;
/// Probability that nothing is wrong from which on no further test is asked for.
const SURE: f64 = 0.9;

impl Case {
    /// Puts the first step that is not silly at the head.
    pub(super) fn sensible_first(&self, advice: &mut Advice) {
        let steps = &mut advice.steps;
        let is_due =
            |p: &Proposal| matches!(p.act, Act::Test(t) if self.retests_due().contains(&t));
        if steps.first().is_none_or(is_due) {
            return;
        }
        let mut first = steps.iter().position(|p| !self.is_known(p)).unwrap_or(0);
        if !self.is_handy(&steps[first]) {
            let needs = &steps[first];
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
            first = beside.unwrap_or(first);
        }
        if first > 0 {
            steps[..=first].rotate_right(1);
            if advice.stop == Some(Stop::EnoughKnown) && matches!(steps[0].act, Act::Test(_)) {
                advice.stop = None;
            }
        }
    }

    fn is_handy(&self, p: &Proposal) -> bool {
        self.model.handy(self.model.named(p.act).step)
    }

    /// Whether a test tells what is known already. A free look may, and so may a
    /// try of what is complained of.
    fn is_known(&self, p: &Proposal) -> bool {
        let Act::Test(t) = p.act else { return false };
        let test: &TestInfo = &self.model.tests[t];
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
