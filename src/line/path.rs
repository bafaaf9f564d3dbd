//! The path of a line: from the connector to its far end, with what hangs on
//! each node of it.

use petgraph::algo::astar;
use petgraph::graph::{NodeIndex, UnGraph};

use crate::rulebase::{Line, PartKind};

/// One node of the path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stop {
    /// The node, by index.
    pub node: usize,
    /// Parts that hang on it, by index.
    pub hanging: Vec<usize>,
    /// The part that leads on to the next node, by index; none at the end.
    pub onward: Option<usize>,
}

/// The path from the first node of the first part to the farthest node that
/// can be reached without crossing ground or a rail; every part appears once.
pub fn path(line: &Line) -> Vec<Stop> {
    let Some(first) = line.parts.first() else {
        return Vec::new();
    };
    let rails: Vec<usize> = line
        .parts
        .iter()
        .filter(|p| matches!(p.kind, PartKind::Rail { .. }))
        .flat_map(|p| [p.from, p.to])
        .chain([0])
        .collect();
    let mut graph: UnGraph<(), usize> = UnGraph::with_capacity(line.nodes.len(), line.parts.len());
    for _ in &line.nodes {
        graph.add_node(());
    }
    for (i, p) in line.parts.iter().enumerate() {
        if ![p.from, p.to].iter().any(|n| rails.contains(n)) {
            graph.add_edge(NodeIndex::new(p.from), NodeIndex::new(p.to), i);
        }
    }
    // The shortest way to each node; the longest of them leads to the far end.
    let start = NodeIndex::new(first.from);
    let way = graph
        .node_indices()
        .filter_map(|n| astar(&graph, start, |x| x == n, |_| 1u32, |_| 0))
        .max_by_key(|(length, _)| *length)
        .map_or_else(|| vec![start], |(_, nodes)| nodes);
    let between = |a: NodeIndex, b: NodeIndex| graph.find_edge(a, b).map(|e| graph[e]);
    let onward: Vec<Option<usize>> = way
        .windows(2)
        .map(|w| between(w[0], w[1]))
        .chain([None])
        .collect();
    let mut left: Vec<bool> = (0..line.parts.len())
        .map(|p| !onward.contains(&Some(p)))
        .collect();
    let mut stops: Vec<Stop> = way
        .iter()
        .zip(onward)
        .map(|(n, onward)| {
            let node = n.index();
            let hanging: Vec<usize> = (0..line.parts.len())
                .filter(|p| {
                    let ends = [line.parts[*p].from, line.parts[*p].to];
                    left[*p] && ends.contains(&node)
                })
                .collect();
            hanging.iter().for_each(|p| left[*p] = false);
            Stop {
                node,
                hanging,
                onward,
            }
        })
        .collect();
    // What is further off (a rail behind a pull-up) stands with the stop that
    // leads to it.
    while let Some((p, at)) = (0..left.len()).filter(|p| left[*p]).find_map(|p| {
        let ends = [line.parts[p].from, line.parts[p].to];
        let touches = |q: &usize| {
            let other = [line.parts[*q].from, line.parts[*q].to];
            ends.iter().any(|n| *n != 0 && other.contains(n))
        };
        let at = stops.iter().position(|s| s.hanging.iter().any(touches))?;
        Some((p, at))
    }) {
        left[p] = false;
        stops[at].hanging.push(p);
    }
    stops
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rulebase::{Known, LinePart};

    #[test]
    fn a_path_runs_from_the_plug_to_the_far_end_with_what_hangs_on_it() {
        let ohms = PartKind::Path(Known::within(1.0, 5.0));
        let rail = PartKind::Rail {
            volts: Known::within(1.8, 5.0),
            amps: 0.1,
            idle: Known::within(5e3, 50.0),
        };
        let parts = [
            ("contact", ohms, 1, 2),
            ("series", ohms, 2, 3),
            ("pull-up", ohms, 3, 5),
            ("io", rail, 5, 0),
            ("clamp", PartKind::Junction(Known::within(0.5, 5.0)), 0, 3),
            ("ball", ohms, 3, 4),
        ];
        let line = Line {
            nodes: ["ground", "plug", "pad", "bus", "host", "io"]
                .map(str::to_owned)
                .to_vec(),
            parts: parts
                .map(|(id, kind, from, to)| LinePart {
                    id: id.to_owned(),
                    name: id.to_owned(),
                    kind,
                    from,
                    to,
                    protects: false,
                    source: String::new(),
                })
                .to_vec(),
            ..Line::default()
        };
        let stops = path(&line);
        let nodes: Vec<usize> = stops.iter().map(|s| s.node).collect();
        assert_eq!(nodes, [1, 2, 3, 4]);
        let onward: Vec<Option<usize>> = stops.iter().map(|s| s.onward).collect();
        assert_eq!(onward, [Some(0), Some(1), Some(5), None]);
        assert_eq!(stops[2].hanging, [2, 4, 3]);
        assert!(path(&Line::default()).is_empty());
    }
}
