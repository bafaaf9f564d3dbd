//! The linear part of a circuit by modified nodal analysis, solved once.
//!
//! Unknowns are the node voltages and the currents of all resistors and
//! sources. Carrying the resistor currents as unknowns costs a few more
//! equations, and buys two things: a link of 0 ohm is nothing special, and
//! opening a part is a change without cancellation (a resistance is added in
//! its branch, no conductance is subtracted).
//!
//! Junctions and transistors are left out. Where nodes hang on them alone, a
//! conductance of [`PLACEHOLDER`] keeps those from floating; the law of the
//! junction takes it off again.

use super::network::{Element, ElementId, Network, Node};
use nalgebra::DMatrix;
use petgraph::unionfind::UnionFind;

/// Conductance put in the place of a junction, siemens. Small enough to take
/// off a conducting junction's current without loss, large enough to take off
/// a blocking junction's.
pub(super) const PLACEHOLDER: f64 = 1e-6;

/// Unknowns of the linear part, and the inverse of its matrix. The last index
/// is ground: it reads 0 and takes any current.
#[derive(Clone, Debug)]
pub(super) struct Linear {
    /// Number of unknowns, plus one for ground.
    pub(super) width: usize,
    inverse: Vec<f64>,
    /// The unknowns with nothing drawn at any port.
    pub(super) free: Vec<f64>,
    branches: Vec<Option<usize>>,
    placeholders: Vec<f64>,
}

/// Where something acts on the linear part and what it is moved by: a voltage
/// between two nodes and a current drawn there, or a branch current and a
/// voltage drop put into the branch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// Seen is `x[seen.0] - x[seen.1]`.
    pub(super) seen: (usize, usize),
    /// One unit takes 1 from the right side at `.0` and adds it at `.1`.
    pub(super) acts: (usize, usize),
}

impl Linear {
    /// Builds and inverts; `None` if the matrix is singular.
    pub(super) fn new(network: &Network) -> Option<Self> {
        let nodes = network.node_count() - 1;
        let mut branches = vec![None; network.element_count()];
        let mut size = nodes;
        for (id, element) in network.fitted() {
            if matches!(element, Element::Resistor { .. } | Element::Source { .. }) {
                branches[id.index()] = Some(size);
                size += 1;
            }
        }
        let width = size + 1;
        let mut linear = Linear {
            width,
            inverse: vec![0.0; width * width],
            free: vec![0.0; width],
            branches,
            placeholders: placeholders(network),
        };
        if size == 0 {
            return Some(linear);
        }
        // One row and column too many, for ground; cut off before solving.
        let mut a = DMatrix::<f64>::zeros(width, width);
        let mut right = vec![0.0; width];
        linear.stamp(network, &mut a, &mut right);
        // Rows of large resistances are scaled down (to amperes): beside them
        // the small ones would lose their digits in the elimination.
        let scales: Vec<f64> = (0..size)
            .map(|row| 1.0 / a.row(row).amax().max(1.0))
            .collect();
        for (row, scale) in scales.iter().enumerate() {
            a.row_mut(row).scale_mut(*scale);
        }
        let inverse = a.view((0, 0), (size, size)).into_owned().try_inverse()?;
        for row in 0..size {
            for (col, scale) in scales.iter().enumerate() {
                let cell = inverse[(row, col)] * scale;
                if !cell.is_finite() {
                    return None;
                }
                linear.inverse[row * width + col] = cell;
            }
        }
        for row in 0..size {
            linear.free[row] = super::small::dot(linear.row(row), &right);
        }
        Some(linear)
    }

    fn stamp(&self, network: &Network, a: &mut DMatrix<f64>, right: &mut [f64]) {
        for node in 0..network.node_count() - 1 {
            a[(node, node)] += network.leakage();
        }
        for (id, element) in network.fitted() {
            let (p, q) = element.ends();
            let (p, q) = (self.unknown(p), self.unknown(q));
            let branch = self.branches[id.index()];
            match *element {
                Element::Resistor { ohms, .. } => {
                    let Some(k) = branch else { continue };
                    // The current leaves p and enters q.
                    a[(p, k)] += 1.0;
                    a[(q, k)] -= 1.0;
                    a[(k, p)] += 1.0;
                    a[(k, q)] -= 1.0;
                    a[(k, k)] -= ohms;
                }
                Element::Source { volts, series, .. } => {
                    let Some(k) = branch else { continue };
                    // The current is delivered at p and drawn at q.
                    a[(p, k)] -= 1.0;
                    a[(q, k)] += 1.0;
                    a[(k, p)] += 1.0;
                    a[(k, q)] -= 1.0;
                    a[(k, k)] += series;
                    right[k] += volts;
                }
                Element::Current { amps, .. } => {
                    right[p] -= amps;
                    right[q] += amps;
                }
                Element::Junction { .. } | Element::Mos { .. } => {
                    let conductance = self.placeholder(id);
                    a[(p, p)] += conductance;
                    a[(q, q)] += conductance;
                    a[(p, q)] -= conductance;
                    a[(q, p)] -= conductance;
                }
                Element::Capacitor { .. } => {}
            }
        }
        right[self.width - 1] = 0.0;
    }

    /// Index of a node's voltage.
    pub(super) fn unknown(&self, node: Node) -> usize {
        match node.index() {
            0 => self.width - 1,
            n => n - 1,
        }
    }

    /// Index of the current of a resistor or source.
    pub(super) fn branch(&self, id: ElementId) -> Option<usize> {
        self.branches.get(id.index()).copied().flatten()
    }

    /// Conductance that stands in the place of a junction or transistor.
    pub(super) fn placeholder(&self, id: ElementId) -> f64 {
        self.placeholders.get(id.index()).copied().unwrap_or(0.0)
    }

    /// A place between two nodes: sees the voltage, draws a current.
    pub(super) fn across(&self, a: Node, b: Node) -> Place {
        let pair = (self.unknown(a), self.unknown(b));
        Place {
            seen: pair,
            acts: pair,
        }
    }

    /// A place in a resistor's or source's branch: sees the current, puts in a
    /// voltage drop.
    pub(super) fn in_branch(&self, branch: usize, source: bool) -> Place {
        let ground = self.width - 1;
        Place {
            seen: (branch, ground),
            acts: if source {
                (branch, ground)
            } else {
                (ground, branch)
            },
        }
    }

    /// A row of the inverse: how one unknown follows all right sides.
    pub(super) fn row(&self, unknown: usize) -> &[f64] {
        &self.inverse[unknown * self.width..(unknown + 1) * self.width]
    }

    /// How an unknown falls with one unit at a place.
    pub(super) fn effect(&self, unknown: usize, at: Place) -> f64 {
        let row = self.row(unknown);
        row[at.acts.0] - row[at.acts.1]
    }

    /// How what is seen at one place falls with one unit at another.
    pub(super) fn transfer(&self, seen: Place, at: Place) -> f64 {
        self.effect(seen.seen.0, at) - self.effect(seen.seen.1, at)
    }

    /// What is seen at a place with nothing drawn anywhere.
    pub(super) fn seen_free(&self, at: Place) -> f64 {
        self.free[at.seen.0] - self.free[at.seen.1]
    }
}

/// The junctions that nodes hang on, as the links that a tree of resistances
/// and sources still lacks. Board leakage does not count: it holds a node, but
/// too loosely for a conducting junction's digits.
fn placeholders(network: &Network) -> Vec<f64> {
    let mut joined = UnionFind::<usize>::new(network.node_count());
    let mut all = vec![0.0; network.element_count()];
    for (_, element) in network.fitted() {
        if matches!(element, Element::Resistor { .. } | Element::Source { .. }) {
            let (a, b) = element.ends();
            joined.union(a.index(), b.index());
        }
    }
    for (id, element) in network.fitted() {
        if matches!(element, Element::Junction { .. } | Element::Mos { .. }) {
            let (a, b) = element.ends();
            if joined.union(a.index(), b.index()) {
                all[id.index()] = PLACEHOLDER;
            }
        }
    }
    all
}
