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

use super::edit::{Edit, TestSource};
use super::junction::Diode;
use super::law::{At, Ease, Law, Limit, PLAIN, Supply};
use super::linear::{Linear, Place};
use super::mos::Transistor;
use super::network::{Element, ElementId, Network, NetworkError, Node};
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

/// Adds the port of an edit, or changes the law of the element it touches.
/// Returns the port whose law holds the edit's value.
fn place_edit(
    network: &Network,
    linear: &Linear,
    port_of: &[Option<usize>],
    work: &mut Work,
    edit: &Edit,
) -> Result<Option<usize>, NetworkError> {
    let check_nodes = |a: Node, b: Node| match [a, b].into_iter().find(|n| !network.has_node(*n)) {
        Some(node) => Err(NetworkError::UnknownNode {
            element: "edit".to_owned(),
            node: node.index(),
        }),
        None => Ok(()),
    };
    match *edit {
        Edit::Bridge { a, b, ohms } => {
            check_nodes(a, b)?;
            check_value("resistance", ohms, ohms > 0.0 && ohms.is_finite())?;
            work.places.push(linear.across(a, b));
            work.laws.push(Law::Linear { y: ohms, u: 1.0 });
        }
        Edit::Probe { red, black, source } => {
            check_nodes(red, black)?;
            check_source(&source)?;
            work.places.push(linear.across(red, black));
            work.laws.push(Law::Supply(Supply {
                volts: source.volts,
                series: source.series,
                limit: Limit::new(source.volts, source.gives, source.takes),
            }));
        }
        Edit::InSeries { element, ohms } if ohms < f64::INFINITY => {
            check_value("resistance", ohms, ohms >= 0.0)?;
            let known = fitted(network, element, "a resistor, source or junction")?;
            match (known, linear.branch(element), port_of[element.index()]) {
                (Element::Junction { .. }, _, Some(port)) => {
                    if let Law::Junction(diode, _) = &mut work.laws[port] {
                        diode.rs += ohms;
                    }
                    return Ok(Some(port));
                }
                (known, Some(branch), _) => {
                    let source = matches!(known, Element::Source { .. });
                    work.places.push(linear.in_branch(branch, source));
                    work.laws.push(Law::Linear { y: 1.0, u: ohms });
                }
                _ => return Err(unknown(element, "a resistor, source or junction")),
            }
        }
        Edit::Saturation { element, factor } => {
            check_value("factor", factor, factor > 0.0 && factor.is_finite())?;
            let known = fitted(network, element, "a junction")?;
            let (Element::Junction { junction, .. }, Some(port)) =
                (known, port_of[element.index()])
            else {
                return Err(unknown(element, "a junction"));
            };
            if let Law::Junction(diode, _) = &mut work.laws[port] {
                let mut bent = *junction;
                bent.saturation = diode.is * factor;
                bent.series = diode.rs;
                *diode = Diode::new(&bent);
            }
            return Ok(Some(port));
        }
        Edit::InSeries { element, .. } | Edit::Remove { element } => {
            let known = fitted(network, element, "a fitted element")?;
            if work.removed.contains(&element) {
                return Ok(None);
            }
            work.removed.push(element);
            match (known, linear.branch(element), port_of[element.index()]) {
                (Element::Junction { .. } | Element::Mos { .. }, _, Some(port)) => {
                    work.laws[port] = Law::Gone(linear.placeholder(element));
                    return Ok(None);
                }
                (Element::Source { .. }, _, Some(port)) => {
                    // Its port is there already, for its limits.
                    work.laws[port] = Law::Linear { y: 0.0, u: 1.0 };
                    return Ok(None);
                }
                (Element::Current { from, to, amps }, ..) => {
                    work.places.push(linear.across(*from, *to));
                    work.laws.push(Law::Constant(-amps));
                }
                (known, Some(branch), _) => {
                    let source = matches!(known, Element::Source { .. });
                    work.places.push(linear.in_branch(branch, source));
                    work.laws.push(Law::Linear { y: 0.0, u: 1.0 });
                }
                _ => return Ok(None),
            }
        }
    }
    Ok(Some(work.laws.len() - 1))
}

fn unknown(element: ElementId, wanted: &'static str) -> NetworkError {
    NetworkError::UnknownElement {
        element: element.index(),
        wanted,
    }
}

fn fitted<'a>(
    network: &'a Network,
    id: ElementId,
    wanted: &'static str,
) -> Result<&'a Element, NetworkError> {
    network.element(id).ok_or_else(|| unknown(id, wanted))
}

fn check_value(what: &'static str, value: f64, good: bool) -> Result<(), NetworkError> {
    if good {
        return Ok(());
    }
    Err(NetworkError::BadValue {
        element: "edit".to_owned(),
        what,
        value,
        wanted: "above 0 and finite",
    })
}

fn check_source(source: &TestSource) -> Result<(), NetworkError> {
    check_value("voltage", source.volts, source.volts.is_finite())?;
    let series = source.series;
    check_value(
        "series resistance",
        series,
        series >= 0.0 && series.is_finite(),
    )?;
    check_value("largest current given", source.gives, source.gives >= 0.0)?;
    check_value("largest current taken", source.takes, source.takes >= 0.0)
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

/// A solved circuit: its voltages and currents, until the next solve.
#[derive(Debug)]
pub struct OperatingPoint<'a> {
    solver: &'a mut Solver,
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
    pub(super) fn probe(&self, edit: usize) -> Option<Probed> {
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

/// Voltage and current at a probe.
#[derive(Clone, Copy, Debug)]
pub(super) struct Probed {
    pub(super) port: usize,
    pub(super) volts: f64,
    pub(super) amps: f64,
    pub(super) volts_slope: f64,
    pub(super) amps_slope: f64,
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
