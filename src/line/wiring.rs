//! A line as a network.

use crate::circuit::fault::{BOARD_LEAKAGE, Fault, Range};
use crate::circuit::meter::Mode;
use crate::circuit::network::{
    Channel, ElementId, Junction, Mos, Network, NetworkError, Node, THERMAL_VOLTAGE,
};
use crate::circuit::predict::Spread;
use crate::circuit::solve::{Parameter, Solver};
use crate::circuit::told::Told;
use crate::rulebase::{Doubt, Harm, Known, Line, LinePart, MeterMode, PartKind};

/// Ideality of a protection junction: near 1, or pins would load what resistors of a
/// megohm hold while a meter puts some tenths of a volt on them. Common practice, no
/// source.
const IDEALITY: f64 = 1.1;
/// Above this forward voltage, volt at 1 mA, junctions lie in a row (a string of
/// light diodes), each with the ideality of one. Common practice, no source.
const ONE_JUNCTION: f64 = 0.65;
/// Current at which the rules give a forward voltage, ampere.
const FORWARD_AMPS: f64 = 1e-3;
/// Forward voltage of what stands behind an unpowered rail, volt at 1 mA, and its
/// ideality. Common practice, no source.
const RAIL_JUNCTION: (f64, f64) = (0.65, 1.5);
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
/// Resistance of a board where it has no switch, ohm. Common practice, no source.
const JOINED_OHMS: f64 = 0.05;
/// What a supply that sags draws from itself in the worst case, as a share of the
/// most that it gives: what loads the line beside that changes its level little.
/// Common practice, no source.
const SAG_DRAWS: f64 = 0.5;
/// The least and the most that is left of the level of a supply that sags, is fed
/// from behind or is built with a wrong part; the odds of the share are spread
/// evenly over their logarithm. Common practice, no source.
const SAG_LEAVES: (f64, f64) = (0.02, 0.98);
/// What a port is fed with, and a little more, volt: USB Type-C 2.0 allows 5.5 V at
/// the source.
pub(crate) const PORT_VOLTS: f64 = 5.5;
/// The source beyond a line: this share of its voltage is the highest voltage of the
/// line. A supply that gives too much, or one that a bridge leads to, holds at most
/// that share; the odds of the share are spread evenly over their logarithm. Common
/// practice, no source.
const FED_MOST: f64 = 0.98;
/// The least share of it that a bridge to another supply holds. Common practice, no
/// source.
const FED_LEAST: f64 = 0.1;
/// By how much a supply is at least above its level, as a factor: less is within its
/// tolerance. Common practice, no source.
const ABOVE_LEVEL: f64 = 1.04;
/// Resistance of such a bridge, ohm; and of a supply that is fed from its output,
/// since most regulators give a current and hardly take one. Common practice, no
/// source.
const BRIDGE_OHMS: f64 = 10.0;
const FED_BACK_OHMS: f64 = 200.0;

/// A line as a network in one state of power.
#[derive(Clone, Debug, PartialEq)]
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
    /// A source of more than the line has, where a fault may lead to one, with its
    /// volts; nothing hangs on it.
    beyond: Option<(Node, f64)>,
    /// Ohms across each part of the healthy line without power, and from each
    /// node to ground.
    healthy: Healthy,
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
    /// Wires up a line as most boards have it: with the parts that at least half
    /// of them have, supplies at their usual level.
    ///
    /// # Errors
    /// If a value is not physical.
    pub fn new(line: &Line) -> Result<Self, NetworkError> {
        let rare = |p: &usize| line.parts[*p].fitted < 0.5;
        let lacks: Vec<usize> = (0..line.parts.len()).filter(rare).collect();
        Wired::lacking(line, &lacks)
    }

    /// Wires up a line without some of its parts, by index.
    ///
    /// # Errors
    /// If a value is not physical.
    pub fn lacking(line: &Line, lacks: &[usize]) -> Result<Self, NetworkError> {
        let mut off = Wiring::new(line, false, lacks)?;
        let mut on = Wiring::new(line, true, lacks)?;
        // A leak has one size, whatever the state of the device.
        off.healthy = Healthy::of(line, &off);
        on.healthy = off.healthy.clone();
        Ok(Wired { off, on })
    }

    /// Whether a meter in this mode reads the same on another way of the line: that it
    /// is fed with another voltage is not seen without power.
    pub fn reads_as(&self, other: &Wired, mode: MeterMode) -> bool {
        // What is unknown in either state is followed from one reading to the next.
        self.for_mode(mode) == other.for_mode(mode) && self.on.unknowns() == other.on.unknowns()
    }

    /// The state that a mode of the meter needs.
    pub fn for_mode(&self, mode: MeterMode) -> &Wiring {
        match mode {
            MeterMode::Volts => &self.on,
            MeterMode::Diode | MeterMode::Ohms => &self.off,
        }
    }
}

/// What a small signal sees in the healthy line without power, ohm.
#[derive(Clone, Debug, Default, PartialEq)]
struct Healthy {
    /// Across each part.
    across: Vec<f64>,
    /// From each node of the line to ground.
    to_ground: Vec<f64>,
}

impl Healthy {
    fn of(line: &Line, off: &Wiring) -> Self {
        let mut solver = Solver::new(&off.network).ok();
        let mut point = solver.as_mut().and_then(|s| s.solve(&[]).ok());
        // What cannot be solved has nothing beside the insulation of the board.
        let mut between = |a: usize, b: usize| match &mut point {
            Some(p) => p.resistance_between(off.nodes[a], off.nodes[b]),
            None => BOARD_LEAKAGE,
        };
        Healthy {
            across: line.parts.iter().map(|p| between(p.from, p.to)).collect(),
            to_ground: (0..off.nodes.len()).map(|n| between(n, 0)).collect(),
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
    /// A line in one state of power, without the parts that it lacks.
    fn new(line: &Line, power: bool, lacks: &[usize]) -> Result<Self, NetworkError> {
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
            beyond: None,
            healthy: Healthy::default(),
            shared: Vec::new(),
            told: Vec::new(),
        };
        w.add_beyond(line)?;
        for (i, part) in line.parts.iter().enumerate() {
            let (a, b) = (w.nodes[part.from], w.nodes[part.to]);
            let elements = match lacks.contains(&i) {
                // Without a switch in series a board is joined there.
                true if matches!(part.kind, PartKind::Switch(_)) => {
                    vec![w.network.resistor(&part.id, a, b, JOINED_OHMS)?]
                }
                true => Vec::new(),
                false => w.part(&part.id, &part.kind, a, b, line.feeds(i))?,
            };
            w.parts.push(elements);
            let new = &w.spreads[w.shared.len()..];
            w.shared.extend(new.iter().map(|s| shared(&part.kind, s)));
        }
        w.network.set_board_leakage(BOARD_LEAKAGE)?;
        Ok(w)
    }

    /// Adds the source that faults of the line may lead to while the device is on.
    fn add_beyond(&mut self, line: &Line) -> Result<(), NetworkError> {
        let leads = |h: Harm| matches!(h, Harm::Above(_) | Harm::Fed(_));
        if !self.power || !line.faults.iter().any(|e| leads(e.harm)) {
            return Ok(());
        }
        let highest = line.parts.iter().filter_map(LinePart::most_volts);
        let volts = highest.fold(PORT_VOLTS, f64::max) / FED_MOST;
        let node = self.network.node("beyond");
        let (ground, gives) = (Node::GROUND, f64::INFINITY);
        (self.network).limited_source("beyond", node, ground, volts, RAIL_OHMS, gives)?;
        self.beyond = Some((node, volts));
        Ok(())
    }

    fn part(
        &mut self,
        id: &str,
        kind: &PartKind,
        a: Node,
        b: Node,
        feeds: bool,
    ) -> Result<Vec<ElementId>, NetworkError> {
        let power = self.power;
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
                if !feeds {
                    return Ok(vec![r]);
                }
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
        let leaky = |a, b, healthy: f64| Fault::Leaky {
            a,
            b,
            ohms: Range::leak(healthy),
        };
        Ok(match harm {
            // No circuit is known for it.
            Harm::Strange => return Ok(Vec::new()),
            // While it is off a supply gives nothing anyway.
            Harm::Open(p) | Harm::Off(p) if matches!(line.parts[p].kind, PartKind::Rail { .. }) => {
                self.dead(line, p)?
            }
            // The body junction is there whether it was switched on or not.
            Harm::Off(_) if !self.power => Vec::new(),
            Harm::Open(p) | Harm::Off(p) => line
                .pieces(p)
                .flat_map(|p| &self.parts[p])
                .map(|e| Fault::Open(*e))
                .collect(),
            Harm::Damaged(p) => self.parts[p]
                .iter()
                .map(|element| Fault::Damaged {
                    element: *element,
                    saturation: Range::DAMAGED,
                })
                .collect(),
            Harm::Above(p) => self.above(line, p)?,
            Harm::Fed(n) => self.fed(line, n)?,
            Harm::Short(p) => vec![short(ends(p).0, ends(p).1)],
            Harm::Grounded(n) => vec![short(self.nodes[n], Node::GROUND)],
            Harm::Joined(a, b) => vec![short(self.nodes[a], self.nodes[b])],
            Harm::Leaky(p) => {
                let (a, b) = ends(p);
                vec![leaky(a, b, self.healthy.across[p])]
            }
            Harm::LeakyNode(n) => {
                let healthy = self.healthy.to_ground[n];
                vec![leaky(self.nodes[n], Node::GROUND, healthy)]
            }
            // A weak supply is weak while it is on.
            Harm::Resistive(p) if matches!(line.parts[p].kind, PartKind::Rail { .. }) => {
                self.sags(line, p)?
            }
            Harm::Resistive(p) => {
                let ohms = match line.parts[p].kind {
                    PartKind::Path(k) if k.typical > MEANT_AS_RESISTOR => {
                        Range::gone_high(k.typical)
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

    /// A supply that gives nothing while the device is on: what it feeds is still
    /// there.
    fn dead(&self, line: &Line, p: usize) -> Result<Vec<Fault>, NetworkError> {
        let part = &line.parts[p];
        let (true, PartKind::Rail { idle, .. }) = (self.power, &part.kind) else {
            return Ok(Vec::new());
        };
        let gives = self.parts[p].iter().map(|e| Fault::Open(*e));
        let load = Fault::Leaky {
            a: self.nodes[part.from],
            b: self.nodes[part.to],
            ohms: Range::exactly(idle.typical)?,
        };
        Ok(gives.chain([load]).collect())
    }

    /// A divider from the source beyond the line to a node: from a share of its volts
    /// on.
    fn divider(&self, node: Node, upper: f64, least: f64) -> Result<Vec<Fault>, NetworkError> {
        let Some((beyond, _)) = self.beyond else {
            return Ok(Vec::new());
        };
        Ok(vec![
            Fault::Short {
                a: beyond,
                b: node,
                ohms: Range::exactly(upper)?,
            },
            Fault::Leaky {
                a: node,
                b: Node::GROUND,
                ohms: Range::new(lower(upper, least), lower(upper, FED_MOST))?,
            },
        ])
    }

    /// A supply that gives anything from a little above its level to the highest
    /// voltage of the line. Nothing while it is off.
    fn above(&self, line: &Line, p: usize) -> Result<Vec<Fault>, NetworkError> {
        let part = &line.parts[p];
        let (PartKind::Rail { volts, amps, .. }, Some((_, source))) = (&part.kind, self.beyond)
        else {
            return Ok(Vec::new());
        };
        let least = (ABOVE_LEVEL * volts.most() / source).min(0.5 * FED_MOST);
        let upper = source / amps;
        let gives = self.parts[p].iter().map(|e| Fault::Open(*e));
        let instead = self.divider(self.nodes[part.from], upper, least)?;
        Ok(gives.chain(instead).collect())
    }

    /// A node that another supply of the device feeds, with up to the highest voltage of
    /// the line or of a port. While the device is off, what hangs on that supply reads
    /// much as what hangs on this line.
    fn fed(&self, line: &Line, node: usize) -> Result<Vec<Fault>, NetworkError> {
        if self.beyond.is_none() {
            return Ok(Vec::new());
        }
        let rail = |p: &usize| matches!(line.parts[*p].kind, PartKind::Rail { .. });
        let rails = (0..line.parts.len()).filter(rail);
        let mut faults: Vec<Fault> = Vec::new();
        for element in rails.flat_map(|p| &self.parts[p]) {
            faults.push(Fault::Resistive {
                element: *element,
                ohms: Range::exactly(FED_BACK_OHMS)?,
            });
        }
        faults.extend(self.divider(self.nodes[node], BRIDGE_OHMS, FED_LEAST)?);
        Ok(faults)
    }

    /// A supply that holds a share of its level: a divider in its place, whose
    /// upper resistor is the same for every share. Nothing while it is off.
    fn sags(&self, line: &Line, p: usize) -> Result<Vec<Fault>, NetworkError> {
        let part = &line.parts[p];
        let PartKind::Rail { volts, amps, .. } = part.kind else {
            return Ok(Vec::new());
        };
        if !self.power {
            return Ok(Vec::new());
        }
        let upper = volts.typical / (SAG_DRAWS * amps);
        let mut faults: Vec<Fault> = Vec::with_capacity(2);
        for element in &self.parts[p] {
            faults.push(Fault::Resistive {
                element: *element,
                ohms: Range::exactly(upper)?,
            });
        }
        faults.push(Fault::Leaky {
            a: self.nodes[part.from],
            b: self.nodes[part.to],
            ohms: Range::new(lower(upper, SAG_LEAVES.0), lower(upper, SAG_LEAVES.1))?,
        });
        Ok(faults)
    }
}

/// The lower resistor of a divider that leaves a share of the voltage, ohm.
fn lower(upper: f64, share: f64) -> f64 {
    upper * share / (1.0 - share)
}

/// The meter's mode for that of the rules.
pub(crate) fn meter_mode(mode: MeterMode) -> Mode {
    match mode {
        MeterMode::Volts => Mode::Volts,
        MeterMode::Diode => Mode::Diode,
        MeterMode::Ohms => Mode::Ohms,
    }
}
