//! A line laid out to be drawn.

use super::known::{Known, place};
use super::value;
use super::view::{BranchView, BridgeView, NodeView, PartSort, PartView, PointView};
use crate::line::{Branch, End, Stop, wires};
use crate::rulebase::{Harm, Line, PartKind};

/// The parts of a line put in their places.
pub(super) struct Drawing<'k, 'c> {
    pub(super) known: &'k Known<'c>,
    pub(super) line: &'c Line,
    /// Pairs of nodes that may be joined and have no place yet.
    pub(super) bridges: Vec<(usize, usize)>,
    /// Which wire each node stands on, from 1; 0 for those beside a wire.
    pub(super) wire: Vec<usize>,
}

/// The two nodes that a harm joins, ground first; `None` if it harms a part.
fn bridged(harm: Harm) -> Option<(usize, usize)> {
    match harm {
        Harm::Grounded(n) | Harm::LeakyNode(n) => Some((0, n)),
        Harm::Joined(a, b) => Some((a.min(b), a.max(b))),
        _ => None,
    }
}

impl<'k, 'c> Drawing<'k, 'c> {
    pub(super) fn new(known: &'k Known<'c>) -> Self {
        let mut bridges: Vec<(usize, usize)> = Vec::new();
        for c in &known.causes {
            let pair = bridged(c.harm).filter(|b| !bridges.contains(b));
            bridges.extend(pair);
        }
        Drawing {
            known,
            line: &known.info.line,
            bridges,
            wire: vec![0; known.info.line.nodes.len()],
        }
    }

    pub(super) fn wires(&mut self) -> Vec<Vec<NodeView>> {
        let all = wires(self.line);
        for (n, wire) in all.iter().enumerate() {
            for stop in wire {
                self.wire[stop.node] = n + 1;
            }
        }
        all.iter()
            .map(|wire| wire.iter().map(|s| self.node(s)).collect())
            .collect()
    }

    fn node(&mut self, stop: &Stop) -> NodeView {
        let line = self.line;
        let at = line.points.iter().position(|p| p.node == stop.node);
        NodeView {
            node: line.nodes[stop.node].clone(),
            point: at.map(|i| PointView {
                point: line.points[i].id.clone(),
                name: line.points[i].name.clone(),
                readings: self.known.readings(i),
            }),
            bridges: self.bridges_at(stop.node),
            branches: stop.branches.iter().map(|b| self.branch(b)).collect(),
            onward: stop.onward.map(|p| self.part(p)),
        }
    }

    fn branch(&mut self, b: &Branch) -> BranchView {
        let (to, end) = match &b.to {
            End::Ground => (0, None),
            End::Elsewhere(n) => (*n, None),
            End::Stop(s) => (s.node, Some(self.node(s))),
        };
        BranchView {
            part: self.part(b.part),
            to: self.line.nodes[to].clone(),
            end,
        }
    }

    fn part(&self, i: usize) -> PartView {
        let part = &self.line.parts[i];
        let at_it = |h: Harm| h.part() == Some(i);
        let any = self.known.causes.iter().any(|c| at_it(c.harm));
        PartView {
            part: part.id.clone(),
            name: part.name.clone(),
            kind: match part.kind {
                _ if self.line.is_pin(i) => PartSort::Pin,
                PartKind::Path(_) => PartSort::Path,
                PartKind::Switch(_) => PartSort::Switch,
                PartKind::Junction(_) => PartSort::Junction,
                PartKind::Capacitor(_) => PartSort::Capacitor,
                PartKind::Rail { .. } => PartSort::Supply,
                PartKind::Shifter { .. } => PartSort::Shifter,
            },
            value: value(&part.kind),
            posterior: any.then(|| self.known.probability(at_it)),
        }
    }

    /// What a node may be joined to, if that does not stand at the other node.
    fn bridges_at(&mut self, node: usize) -> Vec<BridgeView> {
        let (here, left) = (self.bridges.iter().copied())
            .partition::<Vec<_>, _>(|(a, b)| *a == node || *b == node);
        self.bridges = left;
        here.into_iter()
            .map(|(a, b)| {
                let other = if a == node { b } else { a };
                let joins = |h: Harm| bridged(h) == Some((a, b));
                let has = |kind: fn(&Harm) -> bool| {
                    let mut all = self.known.causes.iter().map(|c| c.harm);
                    all.any(|h| joins(h) && kind(&h))
                };
                let leak = has(|h| matches!(h, Harm::LeakyNode(_)));
                let short = has(|h| !matches!(h, Harm::LeakyNode(_)));
                let what = match (short, leak) {
                    (true, true) => "short or leak",
                    (false, _) => "leak",
                    (true, _) => "short",
                };
                let (mine, wire) = (self.wire[node], self.wire[other]);
                let to = match other {
                    0 => "ground".to_owned(),
                    _ if wire != 0 && wire != mine => format!("wire {wire}"),
                    n => format!("the {}", place(self.line, n)),
                };
                BridgeView {
                    to: self.line.nodes[other].clone(),
                    says: format!("{what} to {to}"),
                    posterior: self.known.probability(joins),
                }
            })
            .collect()
    }
}
