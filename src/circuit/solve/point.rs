//! An operating point and what can be read off it.

use super::Solver;
use crate::circuit::network::{Element, ElementId, Network, Node};

/// A solved circuit: its voltages and currents, until the next solve.
#[derive(Debug)]
pub struct OperatingPoint<'a> {
    pub(super) solver: &'a mut Solver,
}

/// Voltage and current at a probe.
#[derive(Clone, Copy, Debug)]
pub(in crate::circuit) struct Probed {
    pub(in crate::circuit) port: usize,
    pub(in crate::circuit) volts: f64,
    pub(in crate::circuit) amps: f64,
    pub(in crate::circuit) volts_slope: f64,
    pub(in crate::circuit) amps_slope: f64,
}

/// Largest amount, in ampere, by which the currents at a node fail to add up.
/// Computed from node voltages alone where an element allows it; a check on
/// the solver for tests and doubters.
///
/// ```text
/// sum of currents into the node = 0   (Kirchhoff)
/// ```
#[must_use]
pub fn kirchhoff_residual(network: &Network, point: &OperatingPoint<'_>) -> f64 {
    let mut sums: Vec<f64> = (0..network.node_count())
        .filter_map(|n| network.node_at(n))
        .map(|n| network.leakage() * point.volts(n))
        .collect();
    for (id, element) in network.fitted() {
        let (a, b) = element.ends();
        let across = point.volts(a) - point.volts(b);
        let amps = match *element {
            Element::Resistor { ohms, .. } if ohms > 0.0 => across / ohms,
            Element::Source { .. } => -point.amps(id),
            _ => point.amps(id),
        };
        sums[a.index()] += amps;
        sums[b.index()] -= amps;
    }
    sums.iter().skip(1).fold(0.0, |worst, s| s.abs().max(worst))
}

impl OperatingPoint<'_> {
    /// Voltage of a node against ground, volt; NaN for a node of another
    /// network.
    #[must_use]
    pub fn volts(&self, node: Node) -> f64 {
        if self.solver.network.has_node(node) {
            self.solver.unknown(self.solver.linear.unknown(node))
        } else {
            f64::NAN
        }
    }

    /// Current of an element, ampere: from its first node to its second, for a
    /// source out of the positive terminal, for a transistor from drain to
    /// source. 0 for what is not fitted.
    #[must_use]
    pub fn amps(&self, id: ElementId) -> f64 {
        let solver = &*self.solver;
        if let Some(k) = solver.linear.branch(id) {
            return solver.unknown(k);
        }
        let port = solver.port_of.get(id.index()).copied().flatten();
        match (solver.network.element(id), port) {
            (Some(Element::Current { amps, .. }), _) => {
                let fitted = solver.network.fitted().any(|(other, _)| other == id);
                let gone = solver.work.removed.contains(&id);
                if fitted && !gone { *amps } else { 0.0 }
            }
            (_, Some(port)) => {
                let at = &solver.work.at[port];
                at.u + solver.linear.placeholder(id) * at.y
            }
            _ => 0.0,
        }
    }

    /// Newton steps that this solve took.
    #[must_use]
    pub fn steps(&self) -> usize {
        self.solver.work.steps
    }

    /// Voltage between the tips of a [`Edit::Probe`] and the current it
    /// delivers, with the slopes of both along the probe's own law. `edit` is
    /// its place among the edits.
    pub(in crate::circuit) fn probe(&self, edit: usize) -> Option<Probed> {
        let port = self.solver.work.edit_port.get(edit).copied().flatten()?;
        let at = self.solver.work.at[port];
        Some(Probed {
            port,
            volts: at.y,
            amps: -at.u,
            volts_slope: at.dy,
            amps_slope: -at.du,
        })
    }
}

impl OperatingPoint<'_> {
    /// Resistance that a small signal sees between two nodes, ohm; NaN for
    /// nodes of another network.
    #[must_use]
    pub fn resistance_between(&mut self, a: Node, b: Node) -> f64 {
        let solver = &mut *self.solver;
        if !solver.network.has_node(a) || !solver.network.has_node(b) {
            return f64::NAN;
        }
        let place = solver.linear.across(a, b);
        let n = solver.work.laws.len();
        // A unit drawn at the place lowers what the ports see; they answer.
        for (step, port) in solver.work.step.iter_mut().zip(&solver.work.places) {
            *step = -solver.linear.transfer(*port, place);
        }
        let work = &mut solver.work;
        work.factors.solve(&mut work.step);
        let answer = &solver.work.step;
        let mut fall = solver.linear.transfer(place, place);
        for j in 0..n {
            let at = &solver.work.at[j];
            let before = if j > 0 { answer[j - 1] } else { 0.0 };
            let change = at.du * answer[j] + at.du_before * before;
            fall += solver.linear.transfer(place, solver.work.places[j]) * change;
        }
        fall
    }
}
