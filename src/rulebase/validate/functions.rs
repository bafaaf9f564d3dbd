//! Functions and what they need.

use std::collections::HashMap;

use petgraph::algo::{tarjan_scc, toposort};
use petgraph::graph::{DiGraph, NodeIndex};

use super::links::resolve;
use super::names::Names;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::line::PackFault;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawPack;
use crate::rulebase::source::Span;
use crate::rulebase::typed::{Function, Link, Pack};

impl Validator<'_> {
    /// Resolves needs over a graph of functions, items and faults, and gives
    /// every function its faults over the strongest path.
    pub(super) fn functions(
        &mut self,
        raw: &RawPack,
        items: &Names,
        names: &Names,
        pack: &mut Pack,
    ) {
        let mut graph = DiGraph::<usize, f64>::new();
        let nodes: Vec<NodeIndex> = (0..raw.functions.len())
            .map(|i| graph.add_node(i))
            .collect();
        let mut own: Vec<Vec<Link>> = vec![Vec::new(); raw.functions.len()];
        let mut spans: HashMap<(usize, usize), Span> = HashMap::new();
        for (i, (_, f)) in raw.functions.iter().enumerate() {
            if f.needs.is_empty() {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        f.needs.span,
                        "a function that needs nothing",
                    )
                    .help("list the items, faults or functions it depends on"),
                );
            }
            for need in f.needs.iter() {
                let strength = match &need.strength {
                    Some(s) => {
                        self.sourced(s.span, &[&f.source, &raw.source]);
                        self.within(s, Quantity::STRENGTH)
                    }
                    None => 1.0,
                };
                if let Some((j, _)) = names.get(need.target.as_str()) {
                    graph.add_edge(nodes[i], nodes[*j], strength);
                    spans.insert((i, *j), need.target.span);
                    continue;
                }
                let found = resolve(&need.target, items, pack);
                if found.is_empty() {
                    self.unknown_fault(&need.target, items, pack, names.keys().copied());
                }
                for fault in found {
                    own[i].push((fault, strength * pack.faults[fault].breaks));
                }
            }
        }
        for circle in tarjan_scc(&graph) {
            let first = graph[circle[0]];
            if circle.len() > 1 || graph.find_edge(circle[0], circle[0]).is_some() {
                let mut members: Vec<usize> = circle.iter().map(|n| graph[*n]).collect();
                members.sort_unstable();
                let ids: Vec<&str> = members
                    .iter()
                    .map(|i| raw.functions[*i].0.as_str())
                    .collect();
                let at = members
                    .iter()
                    .flat_map(|i| members.iter().map(move |j| (*i, *j)))
                    .find_map(|k| spans.get(&k).copied())
                    .unwrap_or(raw.functions[first].0.span);
                self.push(
                    Problem::new(
                        Code::Cycle,
                        at,
                        format!("functions need each other in a circle: {}", ids.join(", ")),
                    )
                    .help("take one of these needs out, so that needs lead from the whole to its parts"),
                );
            }
        }
        let mut links: Vec<HashMap<PackFault, f64>> = vec![HashMap::new(); raw.functions.len()];
        if let Ok(order) = toposort(&graph, None) {
            for node in order.into_iter().rev() {
                let i = graph[node];
                let mut all: HashMap<PackFault, f64> = HashMap::new();
                let mut keep = |fault: PackFault, s: f64| {
                    let best = all.entry(fault).or_insert(0.0);
                    *best = best.max(s);
                };
                for (fault, s) in &own[i] {
                    keep(*fault, *s);
                }
                let mut edges = graph.neighbors(node).detach();
                while let Some((edge, to)) = edges.next(&graph) {
                    for (fault, s) in &links[graph[to]] {
                        keep(*fault, s * graph[edge]);
                    }
                }
                links[i] = all;
            }
        }
        for ((id, f), links) in raw.functions.iter().zip(links) {
            let mut links: Vec<Link> = links.into_iter().filter(|(_, s)| *s > 0.0).collect();
            links.sort_by_key(|(f, _)| *f);
            pack.functions.push(Function {
                id: id.value.clone(),
                name: f.name.value.clone(),
                needs: f.needs.iter().map(|n| n.target.value.clone()).collect(),
                links,
            });
        }
    }
}
