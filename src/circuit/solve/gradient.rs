//! How one reading follows every value in the circuit.
//!
//! One transposed solve gives the slopes of a reading with all values at once
//! (the adjoint of the linearised equations), where finite differences would
//! take a solve for each.

use super::super::edit::Edit;
use super::super::law::{GMIN, Law};
use super::super::network::{Element, ElementId};
use super::{OperatingPoint, Solver};

impl OperatingPoint<'_> {
    /// How a quantity with this slope along the law of one port follows every
    /// value in the circuit: one transposed solve for all of them.
    pub(in crate::circuit) fn gradient(&mut self, port: usize, slope: f64) -> Gradient<'_> {
        let solver = &mut *self.solver;
        let width = solver.linear.width;
        let work = &mut solver.work;
        work.step.fill(0.0);
        work.step[port] = slope;
        work.factors.solve_transposed(&mut work.step);
        let mut rows = vec![0.0; width];
        let own = solver.laws.len();
        for (i, weight) in work.step.iter().enumerate() {
            if *weight == 0.0 {
                continue;
            }
            if i < own {
                let row = &solver.seen_rows[i * width..(i + 1) * width];
                add(&mut rows, row, *weight);
            } else {
                let seen = work.places[i].seen;
                add(&mut rows, solver.linear.row(seen.0), *weight);
                add(&mut rows, solver.linear.row(seen.1), -*weight);
            }
        }
        Gradient {
            solver: &*self.solver,
            rows,
        }
    }
}

fn add(sum: &mut [f64], row: &[f64], weight: f64) {
    for (s, r) in sum.iter_mut().zip(row) {
        *s += weight * r;
    }
}

/// A value of an element that has a spread.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Parameter {
    /// Resistance (of a source, its series resistance), as a fraction.
    Resistance,
    /// Source voltage, volt.
    Volts,
    /// Source current, ampere.
    Amps,
    /// Saturation current, as natural logarithm.
    Saturation,
    /// Ideality, a number.
    Ideality,
    /// Threshold of a transistor, volt.
    Threshold,
    /// Gain of a transistor, as a fraction.
    Gain,
}

/// Slopes of one reading with every value of the circuit (the adjoint of the
/// linearised equations).
#[derive(Debug)]
pub(in crate::circuit) struct Gradient<'a> {
    solver: &'a Solver,
    rows: Vec<f64>,
}

impl Gradient<'_> {
    /// Slope with one value of one element; 0 where the element has no such
    /// value.
    pub(in crate::circuit) fn of(&self, id: ElementId, parameter: Parameter) -> f64 {
        let solver = self.solver;
        let Some(element) = solver.network.element(id) else {
            return 0.0;
        };
        let (p, q) = element.ends();
        let pair = |rows: &[f64]| {
            let (p, q) = (solver.linear.unknown(p), solver.linear.unknown(q));
            rows[p] - rows[q]
        };
        let branch = solver.linear.branch(id);
        match (element, parameter, branch) {
            (Element::Resistor { ohms, .. }, Parameter::Resistance, Some(k)) => {
                self.rows[k] * solver.unknown(k) * ohms
            }
            (Element::Source { series, .. }, Parameter::Resistance, Some(k)) => {
                -self.rows[k] * solver.unknown(k) * series
            }
            (Element::Source { .. }, Parameter::Volts, Some(k)) => self.rows[k],
            (Element::Current { .. }, Parameter::Amps, _) => -pair(&self.rows),
            (Element::Junction { .. } | Element::Mos { .. }, ..) => {
                let Some(port) = solver.port_of[id.index()] else {
                    return 0.0;
                };
                let (mut along, mut acting) = self.law_slope(port, parameter);
                if let (Element::Junction { junction, .. }, Parameter::Resistance) =
                    (element, parameter)
                {
                    // A fraction of its own, not of what a fault adds to it.
                    along *= junction.series;
                    acting *= junction.series;
                }
                -(solver.work.step[port] * along + pair(&self.rows) * acting)
            }
            _ => 0.0,
        }
    }

    /// Slope with the logarithm of an edit's own value (ohm or factor); 0 for
    /// an edit that takes something out.
    pub(in crate::circuit) fn of_edit(&self, edit: usize, is: &Edit) -> f64 {
        let work = &self.solver.work;
        let Some(port) = work.edit_port.get(edit).copied().flatten() else {
            return 0.0;
        };
        let acts = work.places[port].acts;
        let across = self.rows[acts.0] - self.rows[acts.1];
        let weight = work.step[port];
        match (*is, work.laws[port]) {
            (Edit::Bridge { .. }, Law::Linear { y, .. }) => -weight * y * work.z[port],
            (Edit::InSeries { .. }, Law::Linear { u, .. }) => -across * u * work.z[port],
            (Edit::InSeries { ohms, .. }, Law::Junction(diode, placeholder)) => {
                let (i, _) = diode.current(work.z[port]);
                let rest = GMIN - placeholder;
                -(weight + across * rest) * i * ohms
            }
            (Edit::Saturation { .. }, Law::Junction(..)) => {
                let (along, acting) = self.law_slope(port, Parameter::Saturation);
                -(weight * along + across * acting)
            }
            _ => 0.0,
        }
    }

    /// Slopes of `y` and `u` of a law with one of its values, `z` held (series
    /// resistance in ohm).
    fn law_slope(&self, port: usize, parameter: Parameter) -> (f64, f64) {
        let work = &self.solver.work;
        let z = work.z[port];
        match (&work.laws[port], parameter) {
            (Law::Junction(diode, placeholder), _) => {
                let (i, g) = diode.current(z);
                let di = match parameter {
                    Parameter::Saturation => i,
                    Parameter::Ideality => -z * g / diode.n,
                    Parameter::Resistance => 0.0,
                    _ => return (0.0, 0.0),
                };
                let along = match parameter {
                    Parameter::Resistance => i,
                    _ => diode.rs * di,
                };
                let rest = GMIN - placeholder;
                (along, di + rest * along)
            }
            (Law::Channel(transistor, _), Parameter::Threshold) => {
                (0.0, -transistor.drain(work.z[port - 1], z).by_gate)
            }
            (Law::Channel(transistor, _), Parameter::Gain) => {
                (0.0, transistor.drain(work.z[port - 1], z).channel)
            }
            _ => (0.0, 0.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::edit::TestSource;
    use crate::circuit::meter::{Meter, Mode};
    use crate::circuit::network::{Channel, Junction, Mos, Network, Node};

    /// A supply, a level shifter half open, a clamp, a limited source.
    fn network() -> (Network, Node) {
        let mut net = Network::new();
        let ground = Node::GROUND;
        let (rail, a, b, host) = (
            net.node("rail"),
            net.node("a"),
            net.node("b"),
            net.node("host"),
        );
        net.source("rail", rail, ground, 2.1, 3.0).unwrap();
        net.resistor("pull-up", rail, a, 4.7e3).unwrap();
        let mos = Mos {
            channel: Channel::N,
            threshold: 0.9,
            gain: 2e-3,
            body: Junction::new(1e-12, 1.1),
        };
        net.mos("shifter", rail, b, a, mos).unwrap();
        net.resistor("series", b, host, 220.0).unwrap();
        let clamp = Junction::new(1e-9, 1.3).with_series(5.0);
        net.junction("clamp", host, ground, clamp).unwrap();
        net.limited_source("weak", host, ground, 1.0, 10.0, 2e-4)
            .unwrap();
        net.current("bias", ground, a, 1e-4).unwrap();
        net.resistor("load", a, ground, 3.3e3).unwrap();
        (net, b)
    }

    fn changed(element: &Element, parameter: Parameter, by: f64) -> Option<Element> {
        let mut e = *element;
        match (&mut e, parameter) {
            (Element::Resistor { ohms, .. }, Parameter::Resistance) => *ohms *= 1.0 + by,
            (Element::Source { series, .. }, Parameter::Resistance) => *series *= 1.0 + by,
            (Element::Source { volts, .. }, Parameter::Volts) => *volts += by,
            (Element::Current { amps, .. }, Parameter::Amps) => *amps += 1e-3 * by,
            (Element::Junction { junction: j, .. }, Parameter::Saturation) => {
                j.saturation *= by.exp();
            }
            (Element::Junction { junction: j, .. }, Parameter::Ideality) => j.ideality += by,
            (Element::Junction { junction: j, .. }, Parameter::Resistance) => {
                j.series *= 1.0 + by;
            }
            (Element::Mos { mos, .. }, Parameter::Threshold) => mos.threshold += by,
            (Element::Mos { mos, .. }, Parameter::Gain) => mos.gain *= 1.0 + by,
            _ => return None,
        }
        Some(e)
    }

    #[test]
    fn slopes_agree_with_finite_differences() {
        let (net, pin) = network();
        let mut meter = Meter::handheld();
        meter.diode.source = TestSource::behind(3.0, 2500.0);
        let all = [
            Parameter::Resistance,
            Parameter::Volts,
            Parameter::Amps,
            Parameter::Saturation,
            Parameter::Ideality,
            Parameter::Threshold,
            Parameter::Gain,
        ];
        let series = net.fitted().nth(3).map(|(id, _)| id).unwrap();
        let clamp = net.fitted().nth(4).map(|(id, _)| id).unwrap();
        let edits = |by: f64| {
            [
                Edit::Bridge {
                    a: pin,
                    b: Node::GROUND,
                    ohms: 2e3 * by.exp(),
                },
                Edit::InSeries {
                    element: series,
                    ohms: 100.0 * by.exp(),
                },
                Edit::Saturation {
                    element: clamp,
                    factor: 3.0 * by.exp(),
                },
                Edit::InSeries {
                    element: clamp,
                    ohms: 20.0 * by.exp(),
                },
            ]
        };
        let mut checked = 0;
        for mode in [Mode::Volts, Mode::Diode, Mode::Ohms] {
            let read = |net: &Network, edits: &[Edit]| {
                let mut solver = Solver::new(net).unwrap();
                let measured = meter.measure(&mut solver, edits, pin, Node::GROUND, mode);
                measured.unwrap().value()
            };
            let mut solver = Solver::new(&net).unwrap();
            let kept = edits(0.0);
            let mut measured = meter
                .measure(&mut solver, &kept, pin, Node::GROUND, mode)
                .unwrap();
            let scale = measured.value().abs();
            let gradient = measured.gradient();
            let h = 1e-4;
            for (id, element) in net.fitted() {
                for parameter in all {
                    let rebuilt = |by: f64| {
                        let e = changed(element, parameter, by)?;
                        let mut other = net.clone();
                        other.set(id, e).ok()?;
                        Some(other)
                    };
                    let (Some(more), Some(less)) = (rebuilt(h), rebuilt(-h)) else {
                        continue;
                    };
                    let mut numeric = (read(&more, &kept) - read(&less, &kept)) / (2.0 * h);
                    if parameter == Parameter::Amps {
                        numeric *= 1e3;
                    }
                    let slope = gradient.of(id, parameter);
                    let within = 2e-5 * (slope.abs() + scale);
                    assert!(
                        (slope - numeric).abs() <= within,
                        "{mode:?} {} {parameter:?}: {slope} for {numeric}",
                        net.element_name(id)
                    );
                    checked += 1;
                }
            }
            for i in 0..kept.len() {
                let one = |by: f64| {
                    let mut changed = kept;
                    changed[i] = edits(by)[i];
                    read(&net, &changed)
                };
                let numeric = (one(h) - one(-h)) / (2.0 * h);
                let slope = gradient.of_edit(i, &kept[i]);
                let within = 2e-5 * (slope.abs() + scale);
                assert!(
                    (slope - numeric).abs() <= within,
                    "{mode:?} edit {i}: {slope} for {numeric}"
                );
                checked += 1;
            }
        }
        assert!(checked >= 50, "{checked}");
    }
}
