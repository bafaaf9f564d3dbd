//! What a test or a remedy takes: minutes, parts, conditions, tools.

use super::bench::clash;
use super::named::Named;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::source::At;
use crate::rulebase::typed::Step;

/// Minutes of a step where nothing is said.
const MINUTES: f64 = 5.0;

impl Validator<'_> {
    #[allow(clippy::too_many_arguments)]
    pub(super) fn step(
        &mut self,
        id: &At<String>,
        minutes: &Option<At<f64>>,
        parts: &Option<At<f64>>,
        conditions: &[At<String>],
        cautions: &[At<String>],
        tools: &[String],
        explain: &Option<String>,
        sources: &[&Option<At<String>>],
        bench: &Bench,
    ) -> Step {
        let mut source = sources
            .iter()
            .find_map(|s| s.as_ref())
            .map(|s| s.value.clone())
            .unwrap_or_default();
        let mut cost = |v: &mut Self, n: &Option<At<f64>>, what: Quantity, default: f64| match n {
            Some(n) => {
                source = v.sourced(n.span, sources);
                v.within(n, what)
            }
            None => default,
        };
        let minutes = cost(self, minutes, Quantity::MINUTES, MINUTES);
        let parts = cost(self, parts, Quantity::COST, 0.0);
        let mut set: Vec<usize> = Vec::new();
        for c in conditions {
            match bench.conditions.iter().position(|b| b.id == c.value) {
                None => self.unknown(
                    Named::BenchCondition,
                    c,
                    bench.conditions.iter().map(|b| b.id.as_str()),
                ),
                Some(i) => set.push(i),
            }
        }
        let full = bench.closure(&set);
        // A condition that can never hold is a matter of the bench.
        let sound = set
            .iter()
            .all(|i| clash(bench, &bench.closure(&[*i])).is_none());
        if sound && let Some((a, b)) = clash(bench, &full) {
            let needing = |x: usize| {
                conditions.iter().rev().find(|c| {
                    bench
                        .conditions
                        .iter()
                        .position(|b| b.id == c.value)
                        .is_some_and(|i| bench.closure(&[i]).contains(&x))
                })
            };
            let (first, second) = (needing(a), needing(b));
            let at = [first, second]
                .into_iter()
                .flatten()
                .max_by_key(|c| c.span.start);
            let by = |c: Option<&At<String>>, x: usize| match c {
                Some(c) if c.value != bench.conditions[x].id => {
                    format!("`{}` (needed by `{}`)", bench.conditions[x].id, c.value)
                }
                _ => format!("`{}`", bench.conditions[x].id),
            };
            self.push(
                Problem::new(
                    Code::Conflict,
                    at.map_or(id.span, |c| c.span),
                    format!(
                        "{} cannot hold together with {}",
                        by(first, a),
                        by(second, b)
                    ),
                )
                .help("split the step in two, or drop one of the conditions"),
            );
        }
        let cautions: Vec<usize> = cautions
            .iter()
            .filter_map(|c| self.caution(bench, c))
            .collect();
        Step {
            minutes,
            parts,
            conditions: set,
            tools: tools.to_vec(),
            cautions,
            explain: explain.clone(),
            source,
        }
    }
}
