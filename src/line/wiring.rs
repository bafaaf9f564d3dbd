//! A line as a network.

use crate::circuit::calibrate::Told;
use crate::circuit::fault::{BOARD_LEAKAGE, Fault, Range};
use crate::circuit::meter::Mode;
use crate::circuit::network::{
    Channel, ElementId, Junction, Mos, Network, NetworkError, Node, THERMAL_VOLTAGE,
};
use crate::circuit::predict::Spread;
use crate::circuit::solve::Parameter;
use crate::rulebase::{Doubt, Harm, Known, Line, MeterMode, PartKind};

/// Ideality of a protection junction. Common practice, no source.
const IDEALITY: f64 = 1.3;
/// Above this forward voltage, volt at 1 mA, junctions lie in a row (a string of
/// light diodes), each with the ideality of one. Common practice, no source.
const ONE_JUNCTION: f64 = 0.65;
/// Current at which the rules give a forward voltage, ampere.
const FORWARD_AMPS: f64 = 1e-3;
/// Forward voltage of what an unpowered rail leads to, volt at 1 mA, and its
/// ideality. Common practice, no source.
const RAIL_JUNCTION: (f64, f64) = (0.5, 1.5);
/// Series resistance of a rail that is on, ohm. Common practice, no source.
const RAIL_OHMS: f64 = 0.05;
/// Transistor of a level shifter: threshold, volt, and `KP W / L`, ampere per
/// volt squared. Common practice, no source.
const SHIFTER: (f64, f64) = (0.7, 0.05);
/// Forward voltage of a transistor's body junction, volt at 1 mA. Common
/// practice, no source.
const BODY_VOLTS: f64 = 0.6;
/// Above this a part is meant to be a resistance, and one gone high is some
/// times its value; below it is meant to be a connection, ohm.
const MEANT_AS_RESISTOR: f64 = 100.0;
/// By how much a junction, volt, and a resistance, per cent, may differ between
/// good boards of one model. Common practice, no source.
const OWN: (f64, f64) = (0.01, 5.0);
/// How much too high a resistor gone high is. Common practice, no source.
const GONE_HIGH: (f64, f64) = (1.0, 100.0);

/// A line as a network in one state of power.
#[derive(Clone, Debug)]
pub struct Wiring {
    /// The network.
    pub network: Network,
    /// Node of the network for each node of the line.
    pub nodes: Vec<Node>,
    /// Elements of the network that make up each part of the line.
    pub parts: Vec<Vec<ElementId>>,
    /// What is not known exactly.
    pub spreads: Vec<Spread>,
    /// Whether the device is on.
    power: bool,
    /// How little of each is known of the model: what all its boards have in
    /// common, as standard deviation in the order of the spreads.
    pub(super) shared: Vec<f64>,
    /// What [good boards](super::calibrate) have told of the spreads together.
    pub(super) told: Vec<Told>,
}

/// A line in both states.
#[derive(Clone, Debug)]
pub struct Wired {
    /// The device without power.
    pub off: Wiring,
    /// The device switched on.
    pub on: Wiring,
}

impl Wired {
    /// Wires up a line.
    ///
    /// # Errors
    /// If a value is not physical.
    pub fn new(line: &Line) -> Result<Self, NetworkError> {
        Ok(Wired {
            off: Wiring::new(line, false)?,
            on: Wiring::new(line, true)?,
        })
    }

    /// The state that a mode of the meter needs.
    pub fn for_mode(&self, mode: MeterMode) -> &Wiring {
        match mode {
            MeterMode::Volts => &self.on,
            MeterMode::Diode | MeterMode::Ohms => &self.off,
        }
    }
}

/// Ideality of what leads above a forward voltage.
fn ideality(volts: f64) -> f64 {
    IDEALITY * (volts / ONE_JUNCTION).max(1.0)
}

/// Saturation current of a junction from its forward voltage at 1 mA.
fn saturation(volts: f64, ideality: f64) -> f64 {
    FORWARD_AMPS / ((volts / (ideality * THERMAL_VOLTAGE)).exp() - 1.0)
}

/// Standard deviation of a value: rectangular within its limits (JCGM
/// 100:2008, 4.3.7), evenly over the logarithm between two bounds.
fn deviation(k: &Known) -> f64 {
    match k.doubt {
        Doubt::Percent(p) => k.typical * p / 100.0 / 3f64.sqrt(),
        Doubt::Between(a, b) => (b - a).abs() / 12f64.sqrt(),
    }
}

/// The same as a fraction of the value.
fn relative(k: &Known) -> f64 {
    match k.doubt {
        Doubt::Percent(p) => p / 100.0 / 3f64.sqrt(),
        Doubt::Between(a, b) => (b / a).ln().abs() / 12f64.sqrt(),
    }
}

/// How little of a value is known of the model. Within some per cent means what
/// boards differ by; between two values means that nobody knows which it is, and
/// boards differ by little.
fn shared(kind: &PartKind, spread: &Spread) -> f64 {
    let known = match (kind, spread.parameter) {
        (PartKind::Path(k) | PartKind::Junction(k), _) => Some(k),
        (PartKind::Switch(k), Parameter::Resistance) => Some(k),
        (PartKind::Rail { volts, .. }, Parameter::Volts) => Some(volts),
        (PartKind::Rail { idle, .. }, Parameter::Resistance) => Some(idle),
        _ => None,
    };
    match known.map(|k| k.doubt) {
        Some(Doubt::Percent(_)) => 0.0,
        Some(Doubt::Between(..)) | None => {
            let all = spread.deviation.powi(2);
            (all - apart(spread, OWN).powi(2)).max(0.0).sqrt()
        }
    }
}

/// By how much values that should be alike differ, as standard deviation in the
/// unit of the spread: rectangular within limits (JCGM 100:2008, 4.3.7).
pub(super) fn apart(spread: &Spread, (volts, percent): (f64, f64)) -> f64 {
    let within = match spread.parameter {
        Parameter::Saturation => volts / (IDEALITY * THERMAL_VOLTAGE),
        Parameter::Volts => volts,
        _ => percent / 100.0,
    };
    (within / 3f64.sqrt()).min(spread.deviation)
}

impl Wiring {
    fn new(line: &Line, power: bool) -> Result<Self, NetworkError> {
        let mut network = Network::new();
        let mut nodes = vec![Node::GROUND];
        for name in line.nodes.iter().skip(1) {
            nodes.push(network.node(name.clone()));
        }
        let mut w = Wiring {
            network,
            nodes,
            parts: Vec::new(),
            spreads: Vec::new(),
            power,
            shared: Vec::new(),
            told: Vec::new(),
        };
        for part in &line.parts {
            let (a, b) = (w.nodes[part.from], w.nodes[part.to]);
            let elements = w.part(&part.id, &part.kind, a, b, power)?;
            w.parts.push(elements);
            let new = &w.spreads[w.shared.len()..];
            w.shared.extend(new.iter().map(|s| shared(&part.kind, s)));
        }
        w.network.set_board_leakage(BOARD_LEAKAGE)?;
        Ok(w)
    }

    fn part(
        &mut self,
        id: &str,
        kind: &PartKind,
        a: Node,
        b: Node,
        power: bool,
    ) -> Result<Vec<ElementId>, NetworkError> {
        let net = &mut self.network;
        let mut spread = |element, parameter, deviation| {
            self.spreads.push(Spread {
                element,
                parameter,
                deviation,
            });
        };
        Ok(match kind {
            PartKind::Path(ohms) => {
                let r = net.resistor(id, a, b, ohms.typical)?;
                spread(r, Parameter::Resistance, relative(ohms));
                vec![r]
            }
            PartKind::Switch(ohms) if power => {
                let r = net.resistor(id, a, b, ohms.typical)?;
                spread(r, Parameter::Resistance, relative(ohms));
                vec![r]
            }
            // Off: the body junction alone, from the load back to the supply.
            PartKind::Switch(_) => {
                let law = Junction::new(saturation(BODY_VOLTS, IDEALITY), IDEALITY);
                let d = net.junction(id, b, a, law)?;
                spread(d, Parameter::Saturation, 3f64.ln());
                vec![d]
            }
            PartKind::Junction(volts) => {
                let n = ideality(volts.typical);
                let law = Junction::new(saturation(volts.typical, n), n);
                let d = net.junction(id, a, b, law)?;
                let by = deviation(volts) / (n * THERMAL_VOLTAGE);
                spread(d, Parameter::Saturation, by);
                vec![d]
            }
            PartKind::Capacitor(farads) => vec![net.capacitor(id, a, b, farads.typical)?],
            PartKind::Rail { volts, amps, .. } if power => {
                let s = net.limited_source(id, a, b, volts.typical, RAIL_OHMS, *amps)?;
                spread(s, Parameter::Volts, deviation(volts));
                vec![s]
            }
            PartKind::Rail { idle, .. } => {
                let r = net.resistor(id, a, b, idle.typical)?;
                spread(r, Parameter::Resistance, relative(idle));
                let (volts, ideality) = RAIL_JUNCTION;
                let law = Junction::new(saturation(volts, ideality), ideality);
                let d = net.junction(format!("{id} load"), a, b, law)?;
                spread(d, Parameter::Saturation, 3f64.ln());
                vec![r, d]
            }
            PartKind::Shifter { gate } => {
                let (threshold, gain) = SHIFTER;
                let mos = Mos {
                    channel: Channel::N,
                    threshold,
                    gain,
                    body: Junction::new(saturation(BODY_VOLTS, IDEALITY), IDEALITY),
                };
                vec![net.mos(id, self.nodes[*gate], b, a, mos)?]
            }
        })
    }

    /// What each of the spreads is of: a part of the line, and which of its
    /// values. The same in both states of power where it is the same value.
    pub(super) fn unknowns(&self) -> Vec<(usize, Parameter)> {
        let part = |e: &ElementId| self.parts.iter().position(|p| p.contains(e));
        let of = |s: &Spread| (part(&s.element).unwrap_or_default(), s.parameter);
        self.spreads.iter().map(of).collect()
    }

    /// The changes that a fault of the rules makes to this network.
    ///
    /// # Errors
    /// If a size is not physical.
    pub fn harm(&self, line: &Line, harm: Harm) -> Result<Vec<Fault>, NetworkError> {
        let ends = |p: usize| (self.nodes[line.parts[p].from], self.nodes[line.parts[p].to]);
        let short = |a, b| Fault::Short {
            a,
            b,
            ohms: Range::SHORT,
        };
        let leaky = |a, b| Fault::Leaky {
            a,
            b,
            ohms: Range::LEAK,
        };
        Ok(match harm {
            // No circuit is known for it.
            Harm::Strange => return Ok(Vec::new()),
            Harm::Open(p) => self.parts[p].iter().map(|e| Fault::Open(*e)).collect(),
            Harm::Short(p) => vec![short(ends(p).0, ends(p).1)],
            Harm::Grounded(n) => vec![short(self.nodes[n], Node::GROUND)],
            Harm::Joined(a, b) => vec![short(self.nodes[a], self.nodes[b])],
            Harm::Leaky(p) => vec![leaky(ends(p).0, ends(p).1)],
            Harm::LeakyNode(n) => vec![leaky(self.nodes[n], Node::GROUND)],
            // A weak supply is weak while it is on.
            Harm::Resistive(p)
                if !self.power && matches!(line.parts[p].kind, PartKind::Rail { .. }) =>
            {
                Vec::new()
            }
            Harm::Resistive(p) => {
                let ohms = match line.parts[p].kind {
                    PartKind::Path(k) if k.typical > MEANT_AS_RESISTOR => {
                        Range::new(k.typical * GONE_HIGH.0, k.typical * GONE_HIGH.1)?
                    }
                    _ => Range::RESISTIVE,
                };
                self.parts[p]
                    .iter()
                    .take(1)
                    .map(|element| Fault::Resistive {
                        element: *element,
                        ohms,
                    })
                    .collect()
            }
        })
    }
}

/// The meter's mode for that of the rules.
pub(crate) fn meter_mode(mode: MeterMode) -> Mode {
    match mode {
        MeterMode::Volts => Mode::Volts,
        MeterMode::Diode => Mode::Diode,
        MeterMode::Ohms => Mode::Ohms,
    }
}
