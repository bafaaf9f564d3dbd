//! Bench files: conditions, cautions and history questions.

use petgraph::algo::toposort;
use petgraph::graph::{DiGraph, NodeIndex};

use super::named::Named;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::{Bench, Caution, Condition, Demand, MOST_CONDITIONS};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawBench, RawDemand};
use crate::rulebase::source::At;

impl Validator<'_> {
    pub(super) fn bench(&mut self, raw: &RawBench, bench: &mut Bench) {
        self.names(Named::Caution, &raw.cautions);
        let first_caution = bench.cautions.len();
        for (id, c) in &raw.cautions {
            bench.cautions.push(Caution {
                id: id.value.clone(),
                text: c.text.clone(),
                called_for: Vec::new(),
            });
        }
        self.names(Named::HistoryQuestion, &raw.history);
        for (id, h) in &raw.history {
            bench.history.push((id.value.clone(), h.ask.clone()));
        }
        let names = self.names(Named::BenchCondition, &raw.conditions);
        let offset = bench.conditions.len();
        let earlier: Vec<String> = bench.conditions.iter().map(|c| c.id.clone()).collect();
        if let Some((id, _)) = raw.conditions.get(MOST_CONDITIONS.saturating_sub(offset)) {
            self.too_many(
                id.span,
                MOST_CONDITIONS,
                "bench conditions",
                "leave out conditions that no test or remedy asks for",
            );
        }
        for (id, c) in &raw.conditions {
            self.sourced(c.enter.span, &[&c.source, &raw.source]);
            let enter = self.within(&c.enter, Quantity::BENCH_MINUTES);
            let leave = self.within(&c.leave, Quantity::BENCH_MINUTES);
            if earlier.contains(&id.value) {
                self.push(
                    Problem::new(
                        Code::Duplicate,
                        id.span,
                        format!("another bench file already has the condition `{}`", id.value),
                    )
                    .help("give this bench the name of the other to replace it as a whole, or leave the condition out"),
                );
            }
            let mut list = |v: &[At<String>]| -> Vec<usize> {
                v.iter()
                    .filter_map(|n| match names.get(n.as_str()) {
                        Some((i, _)) => Some(i + offset),
                        None => match earlier.iter().position(|e| *e == n.value) {
                            Some(i) => Some(i),
                            None => self.lookup(Named::BenchCondition, &names, n),
                        },
                    })
                    .collect()
            };
            let needs = list(&c.needs);
            let excludes = list(&c.excludes);
            for n in &c.needs {
                if n.value == id.value {
                    self.push(
                        Problem::new(
                            Code::Cycle,
                            n.span,
                            format!("bench condition `{}` needs itself", id.value),
                        )
                        .help("take it out of its own `needs:`"),
                    );
                }
            }
            bench.conditions.push(Condition {
                id: id.value.clone(),
                name: c.name.clone(),
                enter,
                leave,
                needs,
                excludes,
            });
        }
        self.demands(raw, bench, first_caution);
        let mut graph = DiGraph::<usize, ()>::new();
        let nodes: Vec<NodeIndex> = (0..bench.conditions.len())
            .map(|i| graph.add_node(i))
            .collect();
        for (i, c) in bench.conditions.iter().enumerate() {
            for n in &c.needs {
                if *n != i {
                    graph.add_edge(nodes[i], nodes[*n], ());
                }
            }
        }
        if let Err(cycle) = toposort(&graph, None) {
            let i = graph[cycle.node_id()].saturating_sub(offset);
            if let Some((id, _)) = raw.conditions.get(i) {
                self.push(
                    Problem::new(
                        Code::Cycle,
                        id.span,
                        format!("bench condition `{}` needs itself in a circle", id.value),
                    )
                    .help("take one of the `needs:` on the way out, so that one of them can come first"),
                );
            }
            for c in &mut bench.conditions {
                c.needs.clear();
            }
        }
        // Exclusion holds both ways, however it was written.
        for i in 0..bench.conditions.len() {
            for j in bench.conditions[i].excludes.clone() {
                if !bench.conditions[j].excludes.contains(&i) {
                    bench.conditions[j].excludes.push(i);
                }
            }
        }
        for (i, (id, _)) in raw.conditions.iter().enumerate() {
            if let Some((a, b)) = clash(bench, &bench.closure(&[offset + i])) {
                // Said once, at the condition that brings the two together.
                let above = bench.conditions[offset + i]
                    .needs
                    .iter()
                    .any(|n| clash(bench, &bench.closure(&[*n])).is_some());
                if !above {
                    self.push(
                        Problem::new(
                            Code::Conflict,
                            id.span,
                            format!(
                                "`{}` can never hold: it needs `{}` together with `{}`, which exclude each other",
                                id.value, bench.conditions[a].id, bench.conditions[b].id
                            ),
                        )
                        .help("look at its `needs:` and `excludes:`"),
                    );
                }
            }
        }
    }

    /// What calls for the cautions, once the conditions are known.
    fn demands(&mut self, raw: &RawBench, bench: &mut Bench, first: usize) {
        for (at, (_, c)) in raw.cautions.iter().enumerate() {
            let demand = |v: &mut Self, d: &RawDemand| Demand {
                conditions: (d.conditions.iter())
                    .filter_map(|c| v.condition(bench, c))
                    .collect(),
                tools: d.tools.clone(),
                parts: d.parts.clone(),
            };
            let demands = c.called_for.iter().map(|d| demand(self, d));
            bench.cautions[first + at].called_for = demands.collect();
        }
    }

    pub(super) fn condition(&mut self, bench: &Bench, name: &At<String>) -> Option<usize> {
        let known = bench.conditions.iter().map(|c| c.id.as_str());
        self.among(Named::BenchCondition, name, known)
    }

    pub(super) fn caution(&mut self, bench: &Bench, name: &At<String>) -> Option<usize> {
        let known = bench.cautions.iter().map(|c| c.id.as_str());
        self.among(Named::Caution, name, known)
    }

    pub(super) fn history_question(&mut self, bench: &Bench, name: &At<String>) {
        let known = bench.history.iter().map(|(id, _)| id.as_str());
        self.among(Named::HistoryQuestion, name, known);
    }
}

/// Two of the conditions that exclude each other.
pub(super) fn clash(bench: &Bench, conditions: &[usize]) -> Option<(usize, usize)> {
    conditions.iter().find_map(|i| {
        bench.conditions[*i]
            .excludes
            .iter()
            .find(|j| conditions.contains(j))
            .map(|j| (*i, *j))
    })
}
