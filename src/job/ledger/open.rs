//! Which steps are open: what the shop lacks, what was ruled out, what a hazard bars.

use super::{Entered, Ledger};
use crate::bench::Gates;
use crate::plan::{Act, RemedyId, TestId};
use crate::rulebase::{DONOR_PARTS, Kind, Step};

impl Ledger {
    /// Bench conditions, by index, that a device with this complaint does not reach.
    pub(super) fn ruled_out_by_complaint(&self) -> Vec<usize> {
        let symptoms = self.symptoms.iter();
        let all = symptoms.flat_map(|s| &self.model.symptoms[*s].rules_out);
        all.copied().collect()
    }

    /// What a gate bars, in words.
    pub fn barred_acts(&self, gate: usize) -> String {
        let bench = &self.model.bench;
        let acts = bench.gates[gate].bars.iter();
        let acts: Vec<String> = acts.map(|a| bench.acts[*a].id.replace('-', " ")).collect();
        match acts.split_last() {
            Some((last, others)) if !others.is_empty() => {
                format!("{} or {last}", others.join(", "))
            }
            _ => acts.concat(),
        }
    }

    /// The gates that are up, each with the test that lifts it.
    pub fn gates_up(&self) -> impl Iterator<Item = (usize, TestId)> {
        let test = |gate| {
            let check = self.model.tests.position(|t| t.checks == Some(gate));
            Some((gate, check?))
        };
        self.state.gates().iter().filter_map(test)
    }

    /// Whether the check of a gate found the hazard and nothing was done about it
    /// since.
    pub fn found(&self, gate: usize) -> bool {
        self.checked.has(gate)
    }

    /// Whether the last result of a test still holds.
    pub fn done(&self, test: TestId) -> bool {
        self.history.holds(&self.model, test)
    }

    /// How many times a remedy was done.
    pub(in crate::job) fn times_done(&self, remedy: RemedyId) -> usize {
        let same = |e: &&Entered| matches!(e, Entered::Remedy(r) if *r == remedy);
        self.entered.iter().filter(same).count()
    }

    /// Rules out what needs something that the shop is without.
    pub(super) fn plan_around(&mut self, without: &[String]) {
        self.without = without.to_vec();
        for i in self.model.tests.keys() {
            self.blocked_tests[i] = self.lacks(Act::Test(i)).is_some();
        }
        for i in self.model.remedies.keys() {
            self.blocked_remedies[i] = self.lacks(Act::Remedy(i)).is_some();
        }
    }

    /// What a step needs that the shop is without.
    pub fn lacks(&self, act: Act) -> Option<&str> {
        let without = |tool: &str| {
            let mut all = self.without.iter();
            all.any(|w| w.trim().eq_ignore_ascii_case(tool))
        };
        let swaps = matches!(act, Act::Test(i) if self.model.tests[i].kind == Kind::Swap);
        let step = self.model.named(act).step;
        if swaps && without(DONOR_PARTS) {
            return Some(DONOR_PARTS);
        }
        // `hot air or fine iron`: one of them will do.
        let tools = step.tools.iter().map(String::as_str);
        tools.into_iter().find(|t| t.split(" or ").all(without))
    }

    /// Whether a test has been ruled out or left unclear. A retest that was
    /// unclear stays open: without it the job cannot be closed as mended.
    pub fn blocked(&self, test: TestId) -> bool {
        let again = self.unclear_tests.contains(&test) && self.due.contains(&test);
        self.blocked_tests[test] && !again || self.beyond(&self.model.tests[test].step)
    }

    /// Whether a step needs what the device does not do by its complaint: one
    /// that does not start shows no menu.
    pub fn beyond(&self, step: &Step) -> bool {
        let needed = self.model.bench.closure(&step.conditions);
        self.out_of_reach.iter().any(|c| needed.contains(c))
    }

    /// Whether a remedy has been ruled out.
    pub fn ruled_out(&self, remedy: RemedyId) -> bool {
        self.blocked_remedies[remedy]
    }

    /// Whether a step may still be worth doing: a test tells nothing more once its
    /// result holds, unless it is due.
    pub fn is_open(&self, act: Act) -> bool {
        match act {
            Act::Test(t) => !self.blocked(t) && (!self.done(t) || self.due.contains(&t)),
            Act::Remedy(r) => !self.ruled_out(r) && !self.beyond(&self.model.remedies[r].step),
        }
    }

    /// The gates that are up and bar a step.
    pub fn barred_by(&self, act: Act) -> Gates {
        let m = &self.model;
        self.state.bars(match act {
            Act::Test(t) => m.target_of_test(&m.tests[t]),
            Act::Remedy(r) => m.target_of_remedy(&m.remedies[r]),
        })
    }

    /// A test that is still to be done before another one.
    pub fn before(&self, test: TestId) -> Option<TestId> {
        let mut all = self.model.tests[test].comes_after.iter().copied();
        all.find(|t| !self.blocked(*t) && !self.done(*t))
    }
}
