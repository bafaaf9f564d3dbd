//! DC operating points of a circuit and of its many slightly changed copies.
//!
//! The linear part is solved once by modified nodal analysis. What remains are
//! its ports: junctions, transistors, current limits, and one for each
//! [`Edit`] (a fault, the meter). With `H` how what is seen at the ports falls
//! with what acts at them, the unknowns `z` of the laws satisfy
//!
//! ```text
//! y(z) + H u(z) = y0
//! ```
//!
//! which is a handful of equations however many nodes the circuit has. Newton's
//! method solves them from the healthy circuit's solution, with SPICE's limit
//! on junction steps; if that fails from zero, then with conductance across the
//! junctions that is taken back by and by, then by raising the sources.

mod edit;
mod point;

use edit::place_edit;
pub use point::{OperatingPoint, kirchhoff_residual};

use super::edit::Edit;
use super::junction::Diode;
use super::law::{At, Ease, Law, Limit, PLAIN};
use super::linear::{Linear, Place};
use super::mos::Transistor;
use super::network::{Element, ElementId, Network, NetworkError};
use super::small::Factors;
use super::topology::{self, IllPosed};
use thiserror::Error;

mod gradient;

pub(super) use gradient::Gradient;
pub use gradient::Parameter;

/// Newton steps before another way is tried.
const STEPS: usize = 80;
/// Starts kept; a table of a line needs one for each point and range.
const STARTS: usize = 512;
/// Newton steps before steps are halved, against running in circles.
const FULL_STEPS: usize = 20;

/// Why there is no operating point.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum SolveError {
    /// The circuit has no single answer.
    #[error(transparent)]
    IllPosed(#[from] IllPosed),
    /// An edit names what is not there, or has an impossible value.
    #[error(transparent)]
    Edit(#[from] NetworkError),
    /// The values differ so much in size that the equations cannot be solved
    /// in double precision.
    #[error("the circuit's equations cannot be solved; its values differ too much in size")]
    Singular,
    /// No way to the operating point was found.
    #[error("no operating point found within {steps} steps")]
    NotConverged {
        /// Newton steps taken in all.
        steps: usize,
    },
}

/// A circuit ready for many solves. See the [module text](self).
#[derive(Clone, Debug)]
pub struct Solver {
    network: Network,
    linear: Linear,
    places: Vec<Place>,
    laws: Vec<Law>,
    /// Port of each element that has one.
    port_of: Vec<Option<usize>>,
    transfer: Vec<f64>,
    /// Row of the inverse as seen at each port, ports one after another.
    seen_rows: Vec<f64>,
    /// What one unit at each port takes off each unknown.
    effects: Vec<f64>,
    healthy: Vec<f64>,
    /// Where to start with a probe: the healthy circuit's solution with it.
    probed: Vec<(Edit, Vec<f64>)>,
    /// The start used last.
    recent: usize,
    work: Work,
}

/// What one solve needs and leaves behind; kept to be used again.
#[derive(Clone, Debug, Default)]
struct Work {
    places: Vec<Place>,
    laws: Vec<Law>,
    transfer: Vec<f64>,
    free: Vec<f64>,
    /// Ports of transistor channels.
    channels: Vec<usize>,
    z: Vec<f64>,
    at: Vec<At>,
    step: Vec<f64>,
    factors: Factors,
    removed: Vec<ElementId>,
    edit_port: Vec<Option<usize>>,
    steps: usize,
}

impl Solver {
    /// Reduces a circuit to its ports and solves it as it is.
    ///
    /// # Errors
    /// If the circuit is ill-posed or has no operating point that can be
    /// found.
    pub fn new(network: &Network) -> Result<Self, SolveError> {
        topology::check(network)?;
        let linear = Linear::new(network).ok_or(SolveError::Singular)?;
        let mut places = Vec::new();
        let mut laws = Vec::new();
        let mut port_of = vec![None; network.element_count()];
        for (id, element) in network.fitted() {
            match *element {
                Element::Junction {
                    anode,
                    cathode,
                    ref junction,
                } => {
                    places.push(linear.across(anode, cathode));
                    laws.push(Law::Junction(Diode::new(junction), linear.placeholder(id)));
                }
                Element::Mos {
                    gate,
                    drain,
                    source,
                    ref mos,
                } => {
                    places.push(linear.across(gate, source));
                    laws.push(Law::Gate);
                    places.push(linear.across(drain, source));
                    laws.push(Law::Channel(Transistor::new(mos), linear.placeholder(id)));
                }
                Element::Source {
                    volts,
                    gives,
                    takes,
                    ..
                } if gives.is_finite() || takes.is_finite() => {
                    let Some(k) = linear.branch(id) else { continue };
                    places.push(linear.in_branch(k, true));
                    laws.push(Law::Limit(Limit::new(volts, gives, takes)));
                }
                _ => continue,
            }
            port_of[id.index()] = Some(laws.len() - 1);
        }
        let count = laws.len();
        let mut transfer = Vec::with_capacity(count * count);
        let mut seen_rows = Vec::with_capacity(count * linear.width);
        let mut effects = Vec::with_capacity(count * linear.width);
        for seen in &places {
            transfer.extend(places.iter().map(|at| linear.transfer(*seen, *at)));
            let rows = linear.row(seen.seen.0).iter().zip(linear.row(seen.seen.1));
            seen_rows.extend(rows.map(|(p, q)| p - q));
            effects.extend((0..linear.width).map(|k| linear.effect(k, *seen)));
        }
        let mut solver = Solver {
            network: network.clone(),
            linear,
            places,
            laws,
            port_of,
            transfer,
            seen_rows,
            effects,
            healthy: vec![0.0; count],
            probed: Vec::new(),
            recent: 0,
            work: Work::default(),
        };
        solver.solve(&[])?;
        solver.healthy.clone_from(&solver.work.z);
        Ok(solver)
    }

    /// The circuit without edits.
    #[must_use]
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The operating point with some edits. Warm from the healthy circuit's;
    /// the result does not depend on earlier calls.
    ///
    /// # Errors
    /// If an edit is impossible, the edited circuit is ill-posed, or no
    /// operating point is found.
    pub fn solve(&mut self, edits: &[Edit]) -> Result<OperatingPoint<'_>, SolveError> {
        self.run(edits, None)?;
        Ok(self.last())
    }

    /// Solves with some edits and a last one; what was found is in
    /// [`last`](Self::last).
    pub(super) fn run(&mut self, edits: &[Edit], probe: Option<&Edit>) -> Result<(), SolveError> {
        let start = match probe {
            Some(probe) => Some(self.probed_start(probe)?),
            None => None,
        };
        self.set_up(edits, probe)?;
        let found = match start.and_then(|i| self.probed.get(i)) {
            Some((_, z)) => self.work.operate(z, true),
            None => self.work.operate(&self.healthy, false),
        };
        if found {
            return Ok(());
        }
        self.check_edited(edits, probe)?;
        Err(SolveError::NotConverged {
            steps: self.work.steps,
        })
    }

    /// Place of the start for a probe; solves the healthy circuit with the
    /// probe if that was not done before.
    fn probed_start(&mut self, probe: &Edit) -> Result<usize, SolveError> {
        let known = |(edit, _): &(Edit, Vec<f64>)| edit == probe;
        if self.probed.get(self.recent).is_some_and(known) {
            return Ok(self.recent);
        }
        self.recent = match self.probed.iter().position(known) {
            Some(place) => place,
            None => {
                self.set_up(&[], Some(probe))?;
                // If the healthy circuit cannot be solved with it, the start
                // is as good as any.
                self.work.operate(&self.healthy, false);
                if self.probed.len() >= STARTS {
                    self.probed.clear();
                }
                self.probed.push((*probe, self.work.z.clone()));
                self.probed.len() - 1
            }
        };
        Ok(self.recent)
    }

    /// What the last successful solve found.
    pub(super) fn last(&mut self) -> OperatingPoint<'_> {
        OperatingPoint { solver: self }
    }

    /// Lays out the ports of this solve: the circuit's own, then the edits'.
    fn set_up(&mut self, edits: &[Edit], probe: Option<&Edit>) -> Result<(), SolveError> {
        let own = self.laws.len();
        let work = &mut self.work;
        work.places.clone_from(&self.places);
        work.laws.clone_from(&self.laws);
        work.removed.clear();
        work.edit_port.clear();
        for edit in edits.iter().chain(probe) {
            let port = place_edit(&self.network, &self.linear, &self.port_of, work, edit)?;
            work.edit_port.push(port);
        }
        let count = work.laws.len();
        work.transfer.clear();
        for (i, seen) in work.places.iter().enumerate() {
            if i < own {
                let ready = &self.transfer[i * own..(i + 1) * own];
                work.transfer.extend_from_slice(ready);
                let row = &self.seen_rows[i * self.linear.width..];
                let extra = &work.places[own..];
                work.transfer
                    .extend(extra.iter().map(|at| row[at.acts.0] - row[at.acts.1]));
            } else {
                for (j, at) in work.places.iter().enumerate() {
                    work.transfer.push(if j < own {
                        let effect = &self.effects[j * self.linear.width..];
                        effect[seen.seen.0] - effect[seen.seen.1]
                    } else {
                        self.linear.transfer(*seen, *at)
                    });
                }
            }
        }
        work.free.clear();
        work.free
            .extend(work.places.iter().map(|at| self.linear.seen_free(*at)));
        let laws = work.laws.iter().enumerate();
        let channels = laws.filter(|(_, law)| matches!(law, Law::Channel(..)));
        work.channels.clear();
        work.channels.extend(channels.map(|(i, _)| i));
        work.factors.resize(count);
        work.at.resize(count, At::default());
        work.step.resize(count, 0.0);
        work.z.resize(count, 0.0);
        work.steps = 0;
        Ok(())
    }

    /// After a failure: is it the edited circuit that is ill-posed?
    fn check_edited(&self, edits: &[Edit], probe: Option<&Edit>) -> Result<(), SolveError> {
        let bridges: Vec<Element> = edits
            .iter()
            .chain(probe)
            .filter_map(|edit| match *edit {
                Edit::Bridge { a, b, ohms } => Some(Element::Resistor { a, b, ohms }),
                Edit::Probe {
                    red: a, black: b, ..
                } => Some(Element::Resistor { a, b, ohms: 1.0 }),
                _ => None,
            })
            .collect();
        let Some((any, _)) = self.network.fitted().next() else {
            return Ok(());
        };
        let kept = self
            .network
            .fitted()
            .filter(|(id, _)| !self.work.removed.contains(id));
        topology::check_parts(&self.network, kept.chain(bridges.iter().map(|e| (any, e))))?;
        Ok(())
    }
}

impl Work {
    /// Tries one way after another; leaves the operating point in `z` and the
    /// laws at it in `at`.
    ///
    /// Starts from `z` of the ports there were before; with `probed` the last
    /// of them is the probe, which comes last here too.
    fn operate(&mut self, start: &[f64], probed: bool) -> bool {
        self.start(start);
        if let ([before @ .., probe], true) = (start, probed) {
            self.start(before);
            if let Some(last) = self.z.last_mut() {
                *last = *probe;
            }
        }
        let found = self.newton(PLAIN)
            || {
                self.start(&[]);
                self.newton(PLAIN)
            }
            || self.with_conductance()
            || self.with_rising_sources();
        if found {
            for i in 0..self.laws.len() {
                self.at[i] = self.evaluate(i, PLAIN);
            }
        }
        found
    }

    fn start(&mut self, from: &[f64]) {
        self.z.fill(0.0);
        for (z, h) in self.z.iter_mut().zip(from) {
            *z = *h;
        }
    }

    fn with_conductance(&mut self) -> bool {
        self.start(&[]);
        let mut conductance = 1e-1;
        while conductance > 1e-13 {
            if !self.newton(Ease {
                sources: 1.0,
                conductance,
            }) {
                return false;
            }
            conductance *= 0.1;
        }
        self.newton(PLAIN)
    }

    fn with_rising_sources(&mut self) -> bool {
        self.start(&[]);
        let (mut at, mut step) = (0.0_f64, 0.1);
        let mut good = self.z.clone();
        while at < 1.0 {
            let sources = (at + step).min(1.0);
            if self.newton(Ease {
                sources,
                conductance: 0.0,
            }) {
                at = sources;
                good.clone_from(&self.z);
                step *= 1.5;
            } else {
                self.z.clone_from(&good);
                step *= 0.25;
                if step < 1e-7 {
                    return false;
                }
            }
        }
        true
    }

    fn evaluate(&self, i: usize, ease: Ease) -> At {
        let before = if i > 0 { self.z[i - 1] } else { 0.0 };
        self.laws[i].at(self.z[i], before, ease)
    }

    /// Newton's method from `z`; whether it came to rest.
    fn newton(&mut self, ease: Ease) -> bool {
        let n = self.laws.len();
        for step in 0..STEPS {
            self.steps += 1;
            for i in 0..n {
                self.at[i] = self.evaluate(i, ease);
            }
            let rows = self.transfer.chunks_exact(n.max(1));
            let cells = self.factors.cells.chunks_exact_mut(n.max(1));
            for (i, (row, cells)) in rows.zip(cells).enumerate() {
                let mut miss = self.free[i] * ease.sources - self.at[i].y;
                for ((cell, h), at) in cells.iter_mut().zip(row).zip(&self.at) {
                    miss -= h * at.u;
                    *cell = h * at.du;
                }
                for channel in &self.channels {
                    cells[channel - 1] += row[*channel] * self.at[*channel].du_before;
                }
                cells[i] += self.at[i].dy;
                self.step[i] = miss;
            }
            if self.factors.factor().is_err() {
                return false;
            }
            self.factors.solve(&mut self.step);
            // Rounding keeps a few circuits from coming to rest to the last
            // nanovolt: a loose part of some gigaohm beside milliamperes.
            let slack = match step {
                0..10 => 1.0,
                10..60 => 1e2,
                _ => 1e4,
            };
            let mut rest = true;
            let share = if step < FULL_STEPS { 1.0 } else { 0.5 };
            for i in 0..n {
                if !self.step[i].is_finite() {
                    return false;
                }
                let from = self.z[i];
                let small = self.step[i].abs() <= self.laws[i].tolerance(from, slack);
                let share = if small { 1.0 } else { share };
                let (to, limited) = self.laws[i].limit(from + share * self.step[i], from);
                rest &= small && !limited;
                self.z[i] = to;
            }
            if rest {
                return true;
            }
        }
        false
    }
}

impl Solver {
    /// An unknown of the linear part at the operating point.
    fn unknown(&self, k: usize) -> f64 {
        let own = self.laws.len();
        let mut value = self.linear.free[k];
        for (j, at) in self.work.at.iter().enumerate() {
            let effect = if j < own {
                self.effects[j * self.linear.width + k]
            } else {
                self.linear.effect(k, self.work.places[j])
            };
            value -= effect * at.u;
        }
        value
    }
}
