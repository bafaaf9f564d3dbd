//! Is the circuit well posed? Found from its connections, before any number
//! is computed, so that the message can name the node and not a pivot.

use super::network::{Element, ElementId, Network, Node};
use petgraph::unionfind::UnionFind;
use std::collections::BTreeMap;
use thiserror::Error;

/// Why a circuit has no single answer.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum IllPosed {
    /// Nodes that no direct current can leave: their voltage is undefined.
    #[error("nothing ties {} to ground at DC", quoted(nodes))]
    Floating {
        /// Names of the nodes.
        nodes: Vec<String>,
    },
    /// Nodes tied to the rest by current sources alone: what flows in has no
    /// way back.
    #[error(
        "{} hang on nothing but current sources ({})",
        quoted(nodes),
        quoted(sources)
    )]
    CurrentCut {
        /// Names of the nodes.
        nodes: Vec<String>,
        /// Names of the current sources.
        sources: Vec<String>,
    },
    /// Sources or links without resistance that close a loop: the current in
    /// it is undefined. A current limit does not mend that, a series
    /// resistance does.
    #[error(
        "{} close a loop without any resistance; give one a series resistance",
        quoted(elements)
    )]
    SourceLoop {
        /// Names of the elements of the loop, starting with the one that
        /// closes it.
        elements: Vec<String>,
    },
}

fn quoted(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|n| format!("`{n}`")).collect();
    quoted.join(", ")
}

/// Checks that every node has a path for direct current to ground and that no
/// loop is without resistance. Board leakage is such a path.
///
/// # Errors
/// The first thing that is wrong, loops before floating nodes.
pub fn check(network: &Network) -> Result<(), IllPosed> {
    check_parts(network, network.fitted())
}

/// The same for a chosen set of elements.
pub(super) fn check_parts<'a>(
    network: &Network,
    elements: impl Iterator<Item = (ElementId, &'a Element)>,
) -> Result<(), IllPosed> {
    let count = network.node_count();
    let mut joined = UnionFind::<usize>::new(count);
    let mut rigid = UnionFind::<usize>::new(count);
    let mut links: Vec<(ElementId, Node, Node)> = Vec::new();
    let mut currents: Vec<(ElementId, Node, Node)> = Vec::new();
    for (id, element) in elements {
        let (a, b) = element.ends();
        let ideal = match *element {
            Element::Resistor { ohms, .. } => ohms == 0.0,
            Element::Source { series, .. } => series == 0.0,
            Element::Junction { .. } | Element::Mos { .. } => false,
            Element::Current { .. } => {
                currents.push((id, a, b));
                continue;
            }
            Element::Capacitor { .. } => continue,
        };
        joined.union(a.index(), b.index());
        if ideal {
            if !rigid.union(a.index(), b.index()) {
                return Err(source_loop(network, &links, (id, a, b)));
            }
            links.push((id, a, b));
        }
    }
    if network.leakage() > 0.0 {
        return Ok(());
    }
    let mut groups: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    let ground = joined.find(0);
    for node in 1..count {
        let root = joined.find(node);
        if root != ground {
            groups.entry(root).or_default().push(node);
        }
    }
    let Some((root, nodes)) = groups.into_iter().next() else {
        return Ok(());
    };
    let nodes = nodes
        .into_iter()
        .filter_map(|n| network.node_at(n))
        .map(|n| network.node_name(n).to_owned())
        .collect();
    let sources: Vec<String> = currents
        .iter()
        .filter(|(_, a, b)| (joined.find(a.index()) == root) != (joined.find(b.index()) == root))
        .map(|(id, ..)| network.element_name(*id).to_owned())
        .collect();
    Err(if sources.is_empty() {
        IllPosed::Floating { nodes }
    } else {
        IllPosed::CurrentCut { nodes, sources }
    })
}

/// The loop that the last link closes: the way through the earlier links from
/// one of its ends to the other (they form a forest, so there is just one).
fn source_loop(
    network: &Network,
    links: &[(ElementId, Node, Node)],
    closing: (ElementId, Node, Node),
) -> IllPosed {
    let (last, start, goal) = closing;
    let mut came: BTreeMap<Node, (ElementId, Node)> = BTreeMap::new();
    let mut open = vec![start];
    while let Some(at) = open.pop() {
        for &(id, a, b) in links {
            let next = match at {
                _ if at == a => b,
                _ if at == b => a,
                _ => continue,
            };
            if next != start && !came.contains_key(&next) {
                came.insert(next, (id, at));
                open.push(next);
            }
        }
    }
    let mut elements = vec![network.element_name(last).to_owned()];
    let mut at = goal;
    while at != start {
        let Some(&(id, before)) = came.get(&at) else {
            break;
        };
        elements.push(network.element_name(id).to_owned());
        at = before;
    }
    IllPosed::SourceLoop { elements }
}
