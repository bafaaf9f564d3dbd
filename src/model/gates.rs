//! Gates of a device: the signs that raise them, and the checks that lift them.

use std::sync::Arc;

use super::past::said;
use super::spelling::Read;
use super::{Model, OutcomeInfo, TestInfo};
use crate::belief::Finding;
use crate::bench::{BenchState, Gates, OPENED, Turns};
use crate::rulebase::{Kind, Step};

/// Tools that are no effort to take.
const AT_HAND: [&str; 2] = ["loupe", "torch"];
/// Chance that a check finds the hazard still there, before anything is known.
/// It only prices what the check may cost; common practice, no source.
const STILL_THERE: f64 = 0.2;

/// The gates that a complaint raises.
pub fn hazards(model: &Model, text: &str) -> Gates {
    let text = Read::new(model, text).text;
    let all = model.hazards.iter().enumerate();
    let heard = all.filter(|(_, patterns)| said(patterns, &text).is_some());
    heard.map(|(gate, _)| gate).collect()
}

impl TestInfo {
    /// What an outcome, read as this value where it is a number, does to gates.
    /// With the leads changed over a short reads as near to 0.
    pub fn turns(&self, outcome: usize, value: Option<f64>) -> Turns {
        let low = |below: Option<f64>| below.zip(value).is_some_and(|(b, v)| v.abs() < b);
        let signs = self.raises.iter();
        let signs = signs.filter(|s| s.outcomes.contains(&outcome) || low(s.below));
        let raises = signs.map(|s| s.gate);
        let still = self.checks.filter(|_| outcome > 0);
        Turns {
            raises: raises.chain(still).collect(),
            lifts: self.checks.filter(|_| outcome == 0).into_iter().collect(),
        }
    }
}

impl Model {
    /// A step's bench conditions with all that they need, and the gates that bar
    /// it.
    pub fn target(&self, step: &Step) -> BenchState {
        let conditions = self.bench.closure(&step.conditions).into_iter();
        let barred = self.bench.barred_by(&step.conditions, &step.tools);
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
            let outcome = |id: &str, says: &str| OutcomeInfo {
                id: id.to_owned(),
                says: says.to_owned(),
                between: None,
            };
            let finding = Arc::new(Finding::ordered(2, STILL_THERE, &[], 0.0));
            let check = &g.check;
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
                id: format!("safety/{}", g.id),
                ask: check.ask.clone(),
                kind: Kind::Look,
                outcomes: vec![
                    outcome("clear", &check.clear),
                    outcome("found", &check.found),
                ],
                foretold: Arc::clone(&finding),
                finding,
                before: None,
                after: None,
                swaps_in: None,
                proves: None,
                function: None,
                measures: None,
                unit: None,
                most_volts: None,
                reliability: 1.0,
                mistaken: vec![0.0; 2],
                step,
                only_for: Vec::new(),
                raises: Vec::new(),
                checks: Some(gate),
                comes_after: Vec::new(),
            });
        }
    }
}
