//! What a test or a remedy takes: minutes, parts, conditions, tools.

use super::bench::clash;
use super::numbers::nearest_source;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawRemedy, RawTest};
use crate::rulebase::source::At;
use crate::rulebase::typed::Step;

/// Minutes of a step where nothing is said.
const MINUTES: f64 = 5.0;

/// What a test or a remedy says that it takes.
pub(super) struct Takes<'r> {
    minutes: Option<&'r At<f64>>,
    parts: Option<&'r At<f64>>,
    conditions: &'r [At<String>],
    cautions: &'r [At<String>],
    tools: &'r [String],
    explain: &'r Option<String>,
}

impl<'r> From<&'r RawTest> for Takes<'r> {
    fn from(t: &'r RawTest) -> Self {
        Takes {
            minutes: t.minutes.as_ref(),
            parts: None,
            conditions: &t.conditions,
            cautions: &t.cautions,
            tools: &t.tools,
            explain: &t.explain,
        }
    }
}

impl<'r> From<&'r RawRemedy> for Takes<'r> {
    fn from(r: &'r RawRemedy) -> Self {
        Takes {
            minutes: r.minutes.as_ref(),
            parts: r.parts.as_ref(),
            conditions: &r.conditions,
            cautions: &r.cautions,
            tools: &r.tools,
            explain: &r.explain,
        }
    }
}

impl Validator<'_> {
    /// What a step takes, which is called `id`.
    pub(super) fn step(
        &mut self,
        id: &At<String>,
        takes: Takes,
        sources: &[&Option<At<String>>],
        bench: &Bench,
    ) -> Step {
        let mut source = nearest_source(sources);
        let mut cost = |v: &mut Self, n: Option<&At<f64>>, what: Quantity, default: f64| match n {
            Some(n) => {
                source = v.sourced(n.span, sources);
                v.within(n, what)
            }
            None => default,
        };
        let minutes = cost(self, takes.minutes, Quantity::MINUTES, MINUTES);
        let parts = cost(self, takes.parts, Quantity::COST, 0.0);
        let conditions = takes.conditions.iter();
        let conditions: Vec<usize> = conditions
            .filter_map(|c| self.condition(bench, c))
            .collect();
        self.hold_together(id, takes.conditions, &conditions, bench);
        let cautions = takes.cautions.iter();
        let cautions = cautions.filter_map(|c| self.caution(bench, c)).collect();
        Step {
            minutes,
            parts,
            conditions,
            tools: takes.tools.to_vec(),
            cautions,
            explain: takes.explain.clone(),
            source,
        }
    }

    /// Whether the conditions of a step, as written and by index, can hold together.
    fn hold_together(
        &mut self,
        id: &At<String>,
        conditions: &[At<String>],
        set: &[usize],
        bench: &Bench,
    ) {
        let full = bench.closure(set);
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
    }
}
