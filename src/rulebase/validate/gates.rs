//! Gates: hazards that bar acts, and the results that are signs of them.

use super::links::Scope;
use super::named::Named;
use super::numbers::nearest_source;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::{Bench, Gate, GateCheck, Gates, HarmfulAct};
use crate::rulebase::amount::Unit;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawBench, RawPack, RawTest};
use crate::rulebase::source::At;
use crate::rulebase::typed::{Hazard, Sign};

impl Validator<'_> {
    /// The acts and gates of a bench file, whose conditions, cautions and history
    /// questions are known.
    pub(super) fn gates(&mut self, raw: &RawBench, bench: &mut Bench) {
        self.names(Named::Act, &raw.acts);
        for (id, a) in &raw.acts {
            let conditions = a.conditions.iter().filter_map(|c| self.condition(bench, c));
            bench.acts.push(HarmfulAct {
                id: id.value.clone(),
                conditions: conditions.collect(),
                tools: a.tools.clone(),
            });
        }
        self.names(Named::Gate, &raw.gates);
        let room = Gates::MOST.saturating_sub(bench.gates.len());
        if let Some((id, _)) = raw.gates.get(room) {
            self.too_many(
                id.span,
                Gates::MOST,
                "gates",
                "put hazards that bar the same acts and have the same check together",
            );
        }
        for (id, g) in raw.gates.iter().take(room) {
            self.sourced(g.minutes.span, &[&g.source, &raw.source]);
            let acts = bench.acts.iter().map(|a| a.id.as_str());
            let bars = g.bars.iter();
            let bars = bars.filter_map(|act| self.among(Named::Act, act, acts.clone()));
            let bars = bars.collect();
            for h in &g.history {
                self.history_question(bench, h);
            }
            let conditions = g.conditions.iter().filter_map(|c| self.condition(bench, c));
            let conditions: Vec<usize> = conditions.collect();
            let cautions = g.cautions.iter();
            let cautions = cautions.filter_map(|c| self.caution(bench, c));
            let cautions: Vec<usize> = cautions.collect();
            let gate = Gate {
                id: id.value.clone(),
                name: g.name.clone(),
                bars,
                history: g.history.iter().map(|h| h.value.clone()).collect(),
                check: GateCheck {
                    name: g.check.clone(),
                    ask: g.ask.clone(),
                    clear: g.clear.clone(),
                    found: g.found.clone(),
                    clear_above: (g.clear_above.as_ref())
                        .and_then(|ohms| self.amount(ohms, Unit::Ohm)),
                    minutes: self.within(&g.minutes, Quantity::BENCH_MINUTES),
                    conditions,
                    tools: g.tools.clone(),
                    cautions,
                    mistaken: self.usual_looks(),
                    explain: g.explain.clone(),
                    source: nearest_source(&[&g.source, &raw.source]),
                },
            };
            bench.gates.push(gate);
            let at = bench.gates.len() - 1;
            let check = &bench.gates[at].check;
            if (bench.barred_by(&check.conditions, &check.tools)).has(at) {
                self.push(
                    Problem::new(
                        Code::Cycle,
                        id.span,
                        format!("the check of `{}` does what the gate bars", id.value),
                    )
                    .help("let the check do without that condition or tool"),
                );
            }
        }
    }

    /// What the checks of hazards find of the faults of a pack.
    pub(super) fn hazards(&mut self, raw: &RawPack, scope: &Scope, bench: &Bench) -> Vec<Hazard> {
        self.names(Named::Hazard, &raw.hazards);
        let mut out = Vec::new();
        for (name, h) in &raw.hazards {
            let sources = [&h.source, &raw.source];
            self.sourced(h.leak.span, &sources);
            let leak = self.within(&h.leak, Quantity::CHANCE);
            let links = self.links(&h.links, scope, &sources, Quantity::CHANCE);
            let Some(gate) = self.gate(bench, name) else {
                continue;
            };
            out.push(Hazard {
                gate,
                links,
                leak,
                source: nearest_source(&sources),
            });
        }
        out
    }

    fn gate(&mut self, bench: &Bench, name: &At<String>) -> Option<usize> {
        let known = bench.gates.iter().map(|g| g.id.as_str());
        self.among(Named::Gate, name, known)
    }

    /// Results of a test that are signs of hazards; `outcomes` by identifier.
    pub(super) fn signs(&mut self, t: &RawTest, outcomes: &[String], bench: &Bench) -> Vec<Sign> {
        let mut out = Vec::new();
        for (name, signs) in &t.raises {
            let Some(gate) = self.gate(bench, name) else {
                continue;
            };
            let known = outcomes.iter().map(String::as_str);
            let of = signs.iter();
            let of = of.filter_map(|sign| self.among(Named::Outcome, sign, known.clone()));
            out.push(Sign {
                gate,
                outcomes: of.collect(),
                below: None,
            });
        }
        for (name, below) in &t.raises_below {
            let Some(gate) = self.gate(bench, name) else {
                continue;
            };
            out.push(Sign {
                gate,
                outcomes: Vec::new(),
                below: Some(self.within(below, Quantity::READING)),
            });
        }
        out
    }
}
