//! Gates of a device: the signs that raise them, and the checks that lift them.

use std::sync::Arc;

use super::past::said;
use super::spelling::Read;
use super::{Model, OutcomeInfo, Read as LineRead, RemedyInfo, TestInfo};
use crate::belief::{FaultId, Finding};
use crate::bench::{BenchState, Gates, OPENED, POWERED, Turns};
use crate::circuit::meter::Reading;
use crate::plan::TestId;
use crate::rulebase::{Kind, MeterMode, Sign, Step};

/// Tools that are no effort to take.
const AT_HAND: [&str; 2] = ["loupe", "torch"];
/// Chance that a check finds the hazard where no rule says which faults it finds.
/// It only prices what the check may cost; common practice, no source.
const STILL_THERE: f64 = 0.2;

/// How the names of checks begin. They are for programs and commands; people see
/// what the check is called, which its question begins with.
const CHECKS: &str = "safety/";

/// An identifier as people see it behind a text; `None` for that of a check, whose
/// text says what it is called.
pub fn shown_id(id: &str) -> Option<&str> {
    (!id.starts_with(CHECKS)).then_some(id)
}

/// An identifier in brackets behind a text, where people see it.
pub fn behind(id: &str) -> String {
    shown_id(id).map_or_else(String::new, |id| format!(" ({id})"))
}

/// A text that begins with a capital letter.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// The faults that the check of a gate finds.
#[derive(Clone, Debug)]
pub(super) struct Found {
    /// How likely it finds the hazard because of each.
    pub(super) links: Vec<(FaultId, f64)>,
    /// Chance that it is clear with none of them there.
    pub(super) clear: f64,
}

impl Default for Found {
    fn default() -> Self {
        Found {
            links: Vec::new(),
            clear: 1.0,
        }
    }
}

impl Found {
    /// What the check shows, which errs so.
    fn finding(&self, mistaken: &[f64]) -> Finding {
        match self.links.is_empty() {
            true => Finding::yes_no(STILL_THERE, &[], 0.0),
            false => Finding::yes_no(1.0 - self.clear, &self.links, 0.0).mistaken(mistaken),
        }
    }
}

/// The gates that a complaint raises.
pub fn hazards(model: &Model, text: &str) -> Gates {
    let text = Read::new(model, text).text;
    let all = model.hazards.iter().enumerate();
    let heard = all.filter(|(_, patterns)| said(patterns, &text).is_some());
    heard.map(|(gate, _)| gate).collect()
}

/// What a test beside a check saw.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Saw {
    /// An outcome, by index.
    Outcome(usize),
    /// A reading of a line.
    Reading(LineRead),
}

impl TestInfo {
    /// The gates of which an outcome or a value is a sign. With the leads changed
    /// over a short reads as near to 0.
    fn signs(&self, outcome: Option<usize>, value: Option<f64>) -> impl Iterator<Item = usize> {
        let low = move |below: Option<f64>| below.zip(value).is_some_and(|(b, v)| v.abs() < b);
        let named = move |s: &Sign| outcome.is_some_and(|o| s.outcomes.contains(&o));
        let signs = self.raises.iter();
        signs
            .filter(move |s| named(s) || low(s.below))
            .map(|s| s.gate)
    }

    /// Whether a reading is a sign of the hazard of a gate.
    fn is_sign(&self, gate: usize, read: LineRead) -> bool {
        let (outcome, value) = match read {
            LineRead::Word(outcome) => (Some(outcome), None),
            LineRead::Number(Reading::Value(value)) => (None, Some(value)),
            LineRead::Number(_) => (None, None),
        };
        self.signs(outcome, value).any(|g| g == gate)
    }

    /// What an outcome that was said as a word does to gates: a word that may stand
    /// for a value which is a sign is one until the value is known.
    pub fn turns_by_word(&self, outcome: usize) -> Turns {
        let least = self.outcomes[outcome].between.map(|(from, to)| {
            let spans_zero = from <= 0.0 && to >= 0.0;
            if spans_zero {
                0.0
            } else {
                from.abs().min(to.abs())
            }
        });
        self.turns(outcome, least)
    }

    /// What an outcome, read as this value where it is a number, does to gates.
    pub fn turns(&self, outcome: usize, value: Option<f64>) -> Turns {
        let raises = self.signs(Some(outcome), value);
        let still = self.checks.filter(|_| outcome > 0);
        Turns {
            raises: raises.chain(still).collect(),
            lifts: self.checks.filter(|_| outcome == 0).into_iter().collect(),
        }
    }
}

impl Model {
    /// What the check of a gate tells, hazard `found` or not, beside a test since which
    /// nothing was done about it. Where both see the same spots and say the same, what
    /// the test saw counts once; what says otherwise is evidence of its own. `None` if
    /// the test has nothing to do with the check, as with the device on, where
    /// something else is warm.
    pub(crate) fn check_beside(
        &self,
        check: &Finding,
        (gate, found): (usize, bool),
        test: TestId,
        saw: Saw,
    ) -> Option<Finding> {
        let look = &self.tests[test];
        let outcome = match saw {
            Saw::Outcome(outcome) => Some(outcome),
            Saw::Reading(_) => None,
        };
        let is_found = match saw {
            Saw::Outcome(outcome) => outcome > 0,
            Saw::Reading(read) => look.is_sign(gate, read),
        };
        if is_found != found || self.powers(&look.step) {
            return None;
        }
        // A reading of what the check reads, or the sign itself.
        let same = |s: &Sign| s.below.is_some() || outcome.is_some_and(|o| s.outcomes.contains(&o));
        if look.raises.iter().any(|s| s.gate == gate && same(s)) {
            return Some(check.without(|_| true));
        }
        let sees: Vec<FaultId> = look.finding.sees().collect();
        let looks = look.kind == Kind::Look && look.checks.is_none();
        let both = looks && check.sees().any(|f| sees.contains(&f));
        both.then(|| check.without(|f| sees.contains(&f)))
    }

    /// What the check of a hazard is called, by its identifier or the beginning of
    /// one; `None` for any other test.
    pub fn check_name(&self, test: &str) -> Option<&str> {
        let super::Found::One(at) = self.test(test) else {
            return None;
        };
        let gate = self.tests[at].checks?;
        Some(&self.bench.gates[gate].check.name)
    }

    /// Whether a step needs the device switched on.
    pub(crate) fn powers(&self, step: &Step) -> bool {
        let on = |c: &usize| self.bench.conditions[*c].id == POWERED;
        self.bench.closure(&step.conditions).iter().any(on)
    }

    /// The bench conditions of a test with all that they need, and the gates that
    /// bar it: a function is tried by running the device, in whatever condition a
    /// part is swapped for it.
    pub fn target_of_test(&self, test: &TestInfo) -> BenchState {
        let all = self.bench.conditions.iter();
        let on = all
            .enumerate()
            .filter(|(_, c)| test.runs && c.id == POWERED);
        self.target(&test.step, on.map(|(i, _)| i).collect())
    }

    /// The same of a remedy.
    pub fn target_of_remedy(&self, remedy: &RemedyInfo) -> BenchState {
        self.target(&remedy.step, Vec::new())
    }

    /// A step that goes through these conditions beside its own.
    fn target(&self, step: &Step, through: Vec<usize>) -> BenchState {
        let conditions = self.bench.closure(&step.conditions).into_iter();
        let through = [through, step.conditions.clone()].concat();
        let barred = self.bench.barred_by(&through, &step.tools);
        conditions.collect::<BenchState>().gated(barred)
    }

    /// Whether a step needs neither an open device nor a tool, a computer among
    /// them. A loupe and a torch lie on every bench.
    pub fn handy(&self, step: &Step) -> bool {
        let open = |c: &usize| self.bench.conditions[*c].id == OPENED;
        let at_hand = |t: &String| AT_HAND.contains(&t.as_str());
        step.tools.iter().all(at_hand) && !self.bench.closure(&step.conditions).iter().any(open)
    }

    /// Adds the check of each gate to the tests.
    pub(crate) fn take_gate_checks(&mut self) {
        for (gate, g) in self.bench.gates.iter().enumerate() {
            let outcome = |id: &str, says: &str, between: Option<(f64, f64)>| OutcomeInfo {
                id: id.to_owned(),
                says: says.to_owned(),
                between,
            };
            let check = &g.check;
            let above = check.clear_above;
            let clear = above.map(|ohms| (ohms.next_up(), f64::INFINITY));
            let found_at = above.map(|ohms| (0.0, ohms));
            let found = self.found.get(gate).cloned().unwrap_or_default();
            let finding = Arc::new(found.finding(&check.mistaken));
            let mut step = Step {
                minutes: check.minutes,
                parts: 0.0,
                conditions: check.conditions.clone(),
                tools: check.tools.clone(),
                cautions: check.cautions.clone(),
                explain: check.explain.clone(),
                source: check.source.clone(),
            };
            step.call_for_cautions(&self.bench, &check.ask);
            self.tests.push(TestInfo {
                id: format!("{CHECKS}{}", g.id),
                ask: format!("{}: {}", capital(&check.name), check.ask),
                kind: Kind::Look,
                outcomes: vec![
                    outcome("clear", &check.clear, clear),
                    outcome("found", &check.found, found_at),
                ],
                foretold: Arc::clone(&finding),
                finding,
                before: None,
                after: None,
                swaps_in: None,
                proves: None,
                function: None,
                runs: false,
                measures: None,
                unit: above.map(|_| MeterMode::Ohms.unit().to_owned()),
                most_volts: None,
                reliability: 1.0,
                mistaken: check.mistaken.to_vec(),
                step,
                only_for: Vec::new(),
                raises: Vec::new(),
                checks: Some(gate),
                comes_after: Vec::new(),
            });
        }
    }
}
