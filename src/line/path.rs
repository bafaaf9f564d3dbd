//! The wires of a line: each from the connector to its far end, with what
//! hangs on it.

use petgraph::algo::astar;
use petgraph::graph::{NodeIndex, UnGraph};
use petgraph::visit::NodeFiltered;

use crate::rulebase::{Line, PartKind};

/// A node with what hangs on it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stop {
    /// The node, by index.
    pub node: usize,
    /// What hangs on it, in the order of the rules.
    pub branches: Vec<Branch>,
    /// The part that leads on to the next stop of a wire, by index; none at
    /// the end of the wire and beside it.
    pub onward: Option<usize>,
}

/// A part beside the wire.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Branch {
    /// The part, by index.
    pub part: usize,
    /// Where its other end is.
    pub to: End,
}

/// The other end of a part beside the wire.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum End {
    /// Ground.
    Ground,
    /// A node that stands elsewhere in the drawing, by index.
    Elsewhere(usize),
    /// A node that stands here, with what hangs on it in turn.
    Stop(Stop),
}

/// The wires of a line, the longest first; each runs between the two nodes
/// that lie farthest apart, from the one that the rules name first. A supply
/// can end a wire and is never passed: a pull-up to it is no way. Every written
/// part stands in one place, a chip's pin as the one part that it is.
pub fn wires(line: &Line) -> Vec<Vec<Stop>> {
    let mut plan = Plan::new(line);
    let mut wires: Vec<Vec<Stop>> = Vec::new();
    loop {
        if let Some(wire) = plan.next_wire(2) {
            wires.push(wire);
        } else if let Some((part, at)) = plan.behind() {
            let branch = plan.branch(part, at);
            let found = wires.iter_mut().flatten().find_map(|s| s.find(at));
            if let Some(stop) = found {
                stop.branches.push(branch);
            }
        } else if let Some(wire) = plan.next_wire(1) {
            wires.push(wire);
        } else {
            return wires;
        }
    }
}

impl Stop {
    fn find(&mut self, node: usize) -> Option<&mut Stop> {
        if self.node == node {
            return Some(self);
        }
        self.branches.iter_mut().find_map(|b| match &mut b.to {
            End::Stop(s) => s.find(node),
            _ => None,
        })
    }
}

/// What of a line has found its place.
struct Plan<'l> {
    line: &'l Line,
    /// Ends of each part; a chip's pin leads to its supply.
    ends: Vec<(usize, usize)>,
    /// Nodes with a supply.
    supply: Vec<bool>,
    /// Parts without a place.
    left: Vec<bool>,
    /// Nodes that have one.
    placed: Vec<bool>,
}

impl<'l> Plan<'l> {
    fn new(line: &'l Line) -> Self {
        let mut supply = vec![false; line.nodes.len()];
        for p in &line.parts {
            supply[p.from] |= matches!(p.kind, PartKind::Rail { .. });
        }
        let end = |i: usize| line.upper(i).unwrap_or(0);
        let ends = line.parts.iter().enumerate().map(|(i, p)| match p.from {
            // A clamp or a pin: from ground up to its node.
            0 => (p.to, end(i)),
            from => (from, p.to),
        });
        let mut placed = vec![false; line.nodes.len()];
        if let Some(ground) = placed.first_mut() {
            *ground = true;
        }
        Plan {
            line,
            ends: ends.collect(),
            supply,
            left: line.parts.iter().map(|p| !p.is_piece()).collect(),
            placed,
        }
    }

    /// The longest way through what has no place yet, if it has so many nodes.
    fn next_wire(&mut self, least: usize) -> Option<Vec<Stop>> {
        let nodes = self.line.nodes.len();
        let mut graph: UnGraph<(), usize> = UnGraph::with_capacity(nodes, self.ends.len());
        for _ in 0..nodes {
            graph.add_node(());
        }
        for (i, (a, b)) in self.ends.iter().enumerate() {
            // A pin is an end of the way, not a part of it.
            if self.left[i] && self.line.parts[i].from != 0 && *b != 0 {
                graph.add_edge(NodeIndex::new(*a), NodeIndex::new(*b), i);
            }
        }
        let open: Vec<usize> = (0..nodes).filter(|n| self.is_open(*n)).collect();
        let mut longest: Vec<NodeIndex> = Vec::new();
        for a in &open {
            for b in open.iter().filter(|b| *b >= a) {
                let free = NodeFiltered::from_fn(&graph, |n| {
                    let n = n.index();
                    !self.placed[n] && (!self.supply[n] || n == *a || n == *b)
                });
                let (a, b) = (NodeIndex::new(*a), NodeIndex::new(*b));
                let way = astar(&free, a, |n| n == b, |_| 1u32, |_| 0);
                // Of ways as long, one to a pin; of these, the one named last.
                let worth = |w: &Vec<NodeIndex>| {
                    (w.len(), w.last().is_some_and(|n| !self.supply[n.index()]))
                };
                let same = |w: &Vec<NodeIndex>| {
                    worth(w) == worth(&longest) && w.first() == longest.first()
                };
                let better = |w: &Vec<NodeIndex>| worth(w) > worth(&longest) || same(w);
                if let Some((_, way)) = way.filter(|(_, w)| better(w)) {
                    longest = way;
                }
            }
        }
        if longest.len() < least {
            return None;
        }
        let onward: Vec<Option<usize>> = longest
            .windows(2)
            .map(|w| graph.find_edge(w[0], w[1]).map(|e| graph[e]))
            .chain([None])
            .collect();
        for n in &longest {
            self.placed[n.index()] = true;
        }
        for p in onward.iter().flatten() {
            self.left[*p] = false;
        }
        let stops = longest.iter().zip(onward).map(|(n, onward)| Stop {
            node: n.index(),
            branches: self.branches(n.index()),
            onward,
        });
        Some(stops.collect())
    }

    /// Whether something at a node, or the node itself, has no place.
    fn is_open(&self, node: usize) -> bool {
        let touches = |i: usize| self.ends[i].0 == node || self.ends[i].1 == node;
        !self.placed[node] && (0..self.ends.len()).any(|i| self.left[i] && touches(i))
    }

    /// A part without a place on a node that has one: it lies behind a supply.
    fn behind(&self) -> Option<(usize, usize)> {
        (0..self.ends.len())
            .filter(|i| self.left[*i])
            .find_map(|i| {
                let (a, b) = self.ends[i];
                [a, b]
                    .into_iter()
                    .find(|n| *n != 0 && self.placed[*n])
                    .map(|n| (i, n))
            })
    }

    /// What hangs on a node; on a supply, only what leads from it to ground.
    fn branches(&mut self, node: usize) -> Vec<Branch> {
        let mut out = Vec::new();
        for i in 0..self.ends.len() {
            let (a, b) = self.ends[i];
            let here = self.left[i] && (a == node || b == node);
            if here && (!self.supply[node] || b == 0) {
                out.push(self.branch(i, node));
            }
        }
        out
    }

    fn branch(&mut self, part: usize, from: usize) -> Branch {
        self.left[part] = false;
        let (a, b) = self.ends[part];
        let node = if a == from { b } else { a };
        let to = match node {
            0 => End::Ground,
            n if self.placed[n] => End::Elsewhere(n),
            node => {
                self.placed[node] = true;
                End::Stop(Stop {
                    node,
                    branches: self.branches(node),
                    onward: None,
                })
            }
        };
        Branch { part, to }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rulebase::Rules;

    /// A wire as text: the stops with what hangs on them in brackets, the parts
    /// between them.
    fn drawn(line: &Line) -> Vec<String> {
        fn stop(line: &Line, s: &Stop) -> String {
            let mut out = line.nodes[s.node].clone();
            if !s.branches.is_empty() {
                let all = s.branches.iter().map(|b| {
                    let name = &line.parts[b.part].id;
                    match &b.to {
                        End::Ground => name.clone(),
                        End::Elsewhere(n) => format!("{name}>{}", line.nodes[*n]),
                        End::Stop(s) => format!("{name}-{}", stop(line, s)),
                    }
                });
                out += &format!("[{}]", all.collect::<Vec<_>>().join(" "));
            }
            if let Some(p) = s.onward {
                out += &format!(" {} ", line.parts[p].id);
            }
            out
        }
        let wire = |w: &Vec<Stop>| w.iter().map(|s| stop(line, s)).collect();
        wires(line).iter().map(wire).collect()
    }

    fn template(name: &str) -> Vec<String> {
        let loaded = Rules::default().load();
        let all = &loaded.rulebase.templates;
        drawn(all.iter().find(|l| l.id == name).unwrap())
    }

    #[test]
    fn a_wire_runs_from_the_plug_to_the_far_end_with_what_hangs_on_it() {
        assert_eq!(
            template("control-bus"),
            [
                "part[part] far-plug tail flex plug contact pad solder land[clamp] series \
                 bus[pull-up-io[io]] track ball ball pin[host>io]"
            ]
        );
    }

    #[test]
    fn a_supply_may_end_a_wire_and_is_never_passed() {
        assert_eq!(
            template("supply-rail"),
            [
                "part[load part] far-plug tail flex plug contact pad solder land[capacitor] \
                 ferrite out[out-capacitor regulator]"
            ]
        );
        assert_eq!(
            template("cc-line"),
            [
                "offer[offer] source-pull-up wire cable pin port-joint tail flex plug contact \
                 land[clamp] track cc[pull-down controller-supply[supply]]"
            ]
        );
        // A way as long that leads to a pin is the better one.
        assert_eq!(
            template("thermistor-line"),
            ["plug[thermistor] contact pad solder \
                 land[clamp capacitor pull-up-bias[bias]] track pin[controller>bias]"]
        );
    }

    #[test]
    fn two_wires_are_drawn_one_after_the_other() {
        let wires = template("data-pair");
        assert_eq!(
            wires,
            [
                "pin-p port-joint-p tail-p flex-p plug-p contact-p land-p[clamp-p] filter-p \
                 far-p switch-p mid-p track-p ball-p ball-p chip-p[host-p-io[io] holds-p]",
                "pin-n port-joint-n tail-n flex-n plug-n contact-n land-n[clamp-n] filter-n \
                 far-n switch-n mid-n track-n ball-n ball-n chip-n[host-n>io holds-n]",
            ]
        );
        // Both wires of a coil are one way around.
        assert_eq!(template("speaker-line").len(), 1);
    }

    #[test]
    fn every_written_part_and_point_of_every_template_stands_in_one_place() {
        let loaded = Rules::default().load();
        for line in &loaded.rulebase.templates {
            let mut parts: Vec<usize> = Vec::new();
            let mut nodes: Vec<usize> = Vec::new();
            fn collect(s: &Stop, parts: &mut Vec<usize>, nodes: &mut Vec<usize>) {
                nodes.push(s.node);
                parts.extend(s.onward);
                for b in &s.branches {
                    parts.push(b.part);
                    if let End::Stop(s) = &b.to {
                        collect(s, parts, nodes);
                    }
                }
            }
            for s in wires(line).iter().flatten() {
                collect(s, &mut parts, &mut nodes);
            }
            parts.sort_unstable();
            nodes.sort_unstable();
            let written: Vec<usize> = (0..line.parts.len())
                .filter(|p| !line.parts[*p].is_piece())
                .collect();
            assert_eq!(parts, written, "{}", line.id);
            let all: Vec<usize> = (1..line.nodes.len()).collect();
            assert_eq!(nodes, all, "{}", line.id);
        }
        assert!(wires(&Line::default()).is_empty());
    }
}
