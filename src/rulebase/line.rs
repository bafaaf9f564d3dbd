//! Lines as the rules describe them: one electrical connection from a
//! connector pin to its far end, with all that hangs on it.

use serde::{Deserialize, Serialize};

use super::meter::MeterMode;
use crate::index::index_of;

index_of! {
    /// Index of a fault within its pack.
    #[derive(Serialize, Deserialize)]
    PackFault
}

/// The most faults that one line can have: a reading depends on all of them
/// together.
pub(super) const MOST_FAULTS: usize = 64;

/// A value with how well it is known.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Typical value, in SI units.
    pub typical: f64,
    /// How far it may be off.
    pub doubt: Doubt,
}

/// How far a value may be off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Doubt {
    /// Within some per cent of the typical value.
    Percent(f64),
    /// Anywhere between two values. Voltages are spread evenly, and the typical one
    /// is the middle; all else is spread evenly over the logarithm, and the typical
    /// one is the geometric mean.
    Between(f64, f64),
}

impl Known {
    /// Known within some per cent.
    pub fn within(typical: f64, percent: f64) -> Self {
        Known {
            typical,
            doubt: Doubt::Percent(percent),
        }
    }

    /// Anywhere between two positive values.
    pub fn between(low: f64, high: f64) -> Self {
        Known {
            typical: (low * high).sqrt(),
            doubt: Doubt::Between(low, high),
        }
    }

    /// The most that it may be.
    pub fn most(&self) -> f64 {
        match self.doubt {
            Doubt::Percent(p) => self.typical * (1.0 + p / 100.0),
            Doubt::Between(a, b) => a.max(b),
        }
    }
}

/// What a part of a line is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum PartKind {
    /// A connection with a resistance in ohm: contact, solder joint, trace,
    /// series resistor, ferrite, fuse, pull-up, pull-down, thermistor; a button
    /// at rest.
    Path(Known),
    /// A load switch of so many ohm from the first node to the second while the
    /// device is on. While it is off only its body junction conducts, from the
    /// second node to the first.
    Switch(Known),
    /// A junction that leads from the first node to the second above its
    /// forward voltage, given in volt at 1 mA.
    Junction(Known),
    /// A capacitor in farad: nothing passes at DC.
    Capacitor(Known),
    /// A supply of so many volt from the second node (ground) to the first
    /// while the device is on, giving at most `amps`; a load of so many ohm
    /// while it is off. If it [feeds](Line::feeds) more than this line there are
    /// junctions beside that load: its piece from ground, and while it is off one
    /// to what stands behind it.
    Rail {
        /// Volt when on.
        volts: Known,
        /// Most that it gives, ampere.
        amps: f64,
        /// Ohm to ground when off.
        idle: Known,
    },
    /// A transistor that joins the first node (lower supply) to the second
    /// (higher supply) while the first is pulled low; its gate is at a rail.
    Shifter {
        /// The node of its gate.
        gate: usize,
    },
}

/// What a part does on its line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Duty {
    /// Connects for good: joint, trace, wire.
    #[default]
    Joins,
    /// Connects until it is unplugged: a contact.
    Plugs,
    /// A resistor in series.
    Resists,
    /// A ferrite bead.
    Chokes,
    /// One winding of a filter.
    Filters,
    /// A fuse.
    Fuses,
    /// A load switch.
    Switches,
    /// A resistor up to a supply.
    PullsUp,
    /// A resistor down to ground.
    PullsDown,
    /// Does the work: lamp string, coil, thermistor, button.
    Works,
    /// Lets current through one way only: a diode.
    OneWay,
    /// A clamp.
    Clamps,
    /// A capacitor beside the line.
    Smooths,
    /// A capacitor in series.
    Blocks,
    /// The pin of a chip.
    Pins,
    /// A level shifter.
    Shifts,
    /// A supply.
    Supplies,
}

/// A part of a line, between two nodes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LinePart {
    /// Identifier within the line.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// What it is.
    pub kind: PartKind,
    /// What it does there.
    pub duty: Duty,
    /// One node, by index.
    pub from: usize,
    /// The other, by index; 0 is ground.
    pub to: usize,
    /// Whether it protects or limits: never to be bypassed.
    pub protects: bool,
    /// Share of all boards that have it (0..1]. A fault of it is one of a board
    /// that has it.
    pub fitted: f64,
    /// Values of which it has one, each with its chance, the usual one first: levels
    /// that a supply is set to, kinds of a resistor. Empty if there is but the one
    /// of its `kind`. Parts of a line that have equally many go together.
    pub kinds: Vec<(f64, Known)>,
    /// Where its numbers come from.
    pub source: String,
}

impl LinePart {
    /// The highest voltage that it may have, volt, at any of its levels; `None` if
    /// it is no supply.
    pub fn most_volts(&self) -> Option<f64> {
        let PartKind::Rail { volts, .. } = &self.kind else {
            return None;
        };
        let levels = self.kinds.iter().map(|(_, level)| level);
        Some(levels.fold(volts.most(), |most, level| most.max(level.most())))
    }

    /// Whether it is a further piece of a part that is written as one: the
    /// upper junction or the leak of a chip's pin, the junction of a supply.
    pub fn is_piece(&self) -> bool {
        self.id.contains('.')
    }
}

/// A place where a probe can be held.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// Identifier within the line.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// The node, by index.
    pub node: usize,
    /// Minutes to get a probe there.
    pub minutes: f64,
}

/// A line: a small circuit with the places where it can be probed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Identifier within the pack; of a template, its own.
    pub id: String,
    /// Name, with `{unit}`.
    pub name: String,
    /// What its kind is, in a sentence.
    pub about: String,
    /// Names of the nodes; the first is ground.
    pub nodes: Vec<String>,
    /// The parts, in the order of the path from the connector on.
    pub parts: Vec<LinePart>,
    /// Where it can be probed, in the order of the path.
    pub points: Vec<Point>,
    /// How fast it is, in bits per second of one wire; 0 for a supply or a slow
    /// signal.
    pub rate: f64,
    /// What on it only an oscilloscope shows.
    pub scope: Option<String>,
    /// Contacts, by part, that are open while a bench condition, by index, holds.
    pub unplugged: Vec<(usize, usize)>,
    /// What each fault of the pack does to it.
    pub faults: Vec<Effect>,
    /// Lines of the pack that are built alike, by index.
    pub siblings: Vec<usize>,
    /// The ends of the names of its two halves that are built alike, if it has
    /// such.
    pub halves: Option<[String; 2]>,
}

impl Line {
    /// To which of the two halves a name belongs (`pad-p`, `host-p.upper`).
    pub fn half(&self, name: &str) -> Option<usize> {
        let (stem, end) = name.split('.').next()?.rsplit_once('-')?;
        let halves = self.halves.as_ref().filter(|_| !stem.is_empty())?;
        halves.iter().position(|h| h == end)
    }

    /// The point of the other half that a point, by index, answers to.
    pub fn mirror(&self, point: usize) -> Option<usize> {
        let other = self.twin(&self.points[point].id)?;
        self.points.iter().position(|p| p.id == other)
    }

    /// The name in the other half that a name answers to.
    pub fn twin(&self, name: &str) -> Option<String> {
        let (of, rest) = name.split_at(name.find('.').unwrap_or(name.len()));
        let (stem, _) = of.rsplit_once('-')?;
        let other = &self.halves.as_ref()?[1 - self.half(name)?];
        Some(format!("{stem}-{other}{rest}"))
    }
}

impl Line {
    /// A further piece of a written part, by what is put behind its name.
    fn piece(&self, part: usize, name: &str) -> Option<&LinePart> {
        let of = self.parts.get(part)?.id.as_str();
        let is = |p: &&LinePart| p.id.strip_prefix(of).is_some_and(|more| more == name);
        self.parts.iter().find(is)
    }

    /// The node of the supply that the upper junction of a pin or a clamp
    /// leads to, by index.
    pub fn upper(&self, part: usize) -> Option<usize> {
        self.piece(part, ".upper").map(|p| p.to)
    }

    /// All pieces of a written part, by index, itself first.
    pub fn pieces(&self, part: usize) -> impl Iterator<Item = usize> {
        let of = self.parts[part].id.as_str();
        let more = move |p: &usize| {
            let more = self.parts[*p].id.strip_prefix(of);
            more.is_some_and(|m| m.starts_with('.'))
        };
        std::iter::once(part).chain((0..self.parts.len()).filter(more))
    }

    /// Whether a supply feeds more than this line, so that junctions of other
    /// chips hang on it.
    pub fn feeds(&self, part: usize) -> bool {
        self.piece(part, ".lower").is_some()
    }

    /// Whether a part is the pin of a chip.
    pub fn is_pin(&self, part: usize) -> bool {
        self.piece(part, ".leak").is_some()
    }

    /// The question of a measurement: what the meter reads at a point, by index,
    /// in the words of the rules where they have some. In diode mode it says which
    /// lead goes where, since the other way round reads something else.
    pub fn question(&self, point: usize, mode: MeterMode, ask: Option<&str>) -> String {
        const LEADS: &str = "red on ground, black on the point";
        let (place, line) = (&self.points[point].name, &self.name);
        match (mode, ask) {
            (MeterMode::Diode, Some(ask)) if !ask.to_lowercase().contains("red on") => {
                let (asked, mark) = match ask.trim_end().strip_suffix('?') {
                    Some(asked) => (asked, "?"),
                    None => (ask.trim_end(), ""),
                };
                format!("{asked}, {LEADS}{mark}")
            }
            (_, Some(ask)) => ask.to_owned(),
            (MeterMode::Volts, None) => {
                format!("Black on ground, what voltage is at the {place}, on the {line}?")
            }
            (MeterMode::Diode, None) => {
                format!(
                    "In diode mode, red on ground, black on the {place}: what does it read, on the \
                     {line}?"
                )
            }
            (MeterMode::Ohms, None) => {
                format!("In ohms to ground, what does the {place} read, on the {line}?")
            }
        }
    }
}

/// What a fault of the pack does to a line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Effect {
    /// The fault.
    pub fault: PackFault,
    /// What it does. A fault may do one of several things, each with its own
    /// chance; what is left to 1 is the chance that this line is well.
    pub harm: Harm,
    /// Chance that it does that to this line (0..1].
    pub chance: f64,
}

/// What a fault does to a line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Harm {
    /// A part does not connect, or is not there. A supply gives nothing while the
    /// device is on; its load stays.
    Open(usize),
    /// A supply or a switch is well, but nothing switches it on.
    Off(usize),
    /// A part is bridged.
    Short(usize),
    /// A node lies at ground.
    Grounded(usize),
    /// Current flows past a part.
    Leaky(usize),
    /// Current flows from a node to ground.
    LeakyNode(usize),
    /// A part has too much resistance. A supply holds but a share of its level.
    Resistive(usize),
    /// A junction conducts from another voltage on than it should.
    Damaged(usize),
    /// A supply gives more than its level: it passes on what it is fed with, or its
    /// feedback is lost.
    Above(usize),
    /// A node is bridged to a supply that has nothing to do with the line.
    Fed(usize),
    /// Two nodes are joined.
    Joined(usize, usize),
    /// The line is not what the rules say of it, in a way that nobody listed.
    Strange,
}

impl Harm {
    /// The part that it is about, if it is about one.
    pub fn part(self) -> Option<usize> {
        match self {
            Harm::Open(p)
            | Harm::Off(p)
            | Harm::Short(p)
            | Harm::Leaky(p)
            | Harm::Resistive(p)
            | Harm::Above(p)
            | Harm::Damaged(p) => Some(p),
            Harm::Grounded(_)
            | Harm::LeakyNode(_)
            | Harm::Fed(_)
            | Harm::Joined(..)
            | Harm::Strange => None,
        }
    }
}
