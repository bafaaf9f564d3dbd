//! What a circuit is made of.

/// Thermal voltage kT/q at 300 K, in volts.
///
/// k/q from the exact SI values of k and q. A simulator that is left at its
/// usual 27 °C works at 300.15 K, hence 25.865 mV: compare at 26.85 °C.
pub const THERMAL_VOLTAGE: f64 = 0.025_852;

/// A node of one [`Network`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node(pub(super) usize);

/// An element of one [`Network`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ElementId(pub(super) usize);

/// A semiconductor junction: `i = Is (exp(v / (n VT)) - 1)`, with a series
/// resistance and no breakdown.
///
/// Below `-3 n VT` the current follows SPICE's cubic tail, which differs from
/// the exponential by less than half a per cent of `Is` and keeps a slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Junction {
    /// Saturation current `Is`, ampere.
    pub saturation: f64,
    /// Ideality `n`, usually 1 to 2.
    pub ideality: f64,
    /// Series resistance `Rs`, ohm.
    pub series: f64,
    /// Thermal voltage `VT`, volt.
    pub thermal: f64,
}

/// Polarity of a MOS transistor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// N channel; conducts for a gate above the source.
    N,
    /// P channel; conducts for a gate below the source.
    P,
}

/// A MOS transistor with its body tied to the source: square law (SPICE level
/// 1, no channel-length modulation) and the body diode from source to drain.
/// Good enough for the transistor of a two-way level shifter or a load switch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mos {
    /// Polarity.
    pub channel: Channel,
    /// Threshold `Vto` in volt; above 0 for an N, below 0 for a P that is off
    /// at rest.
    pub threshold: f64,
    /// `KP * W / L` in ampere per volt squared.
    pub gain: f64,
    /// Body diode; its series resistance must be 0.
    pub body: Junction,
}

/// What sits between nodes. Currents and voltages count from the first node
/// named to the second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Element {
    /// A resistance, also a contact, a trace, a ferrite or a fuse; 0 ohm is a
    /// plain link.
    Resistor {
        /// One end.
        a: Node,
        /// Other end.
        b: Node,
        /// Ohm, 0 or more.
        ohms: f64,
    },
    /// A voltage source, with what it can give.
    Source {
        /// Positive terminal.
        plus: Node,
        /// Negative terminal.
        minus: Node,
        /// Open-circuit voltage, volt.
        volts: f64,
        /// Series resistance, ohm; 0 for an ideal source.
        series: f64,
        /// Largest current out of the positive terminal, ampere; may be
        /// infinite.
        gives: f64,
        /// Largest current into the positive terminal, ampere; may be
        /// infinite. 0 for a regulator that cannot pull down.
        takes: f64,
    },
    /// A current source.
    Current {
        /// Node the current is taken from.
        from: Node,
        /// Node the current is put into.
        to: Node,
        /// Ampere.
        amps: f64,
    },
    /// A junction.
    Junction {
        /// P side.
        anode: Node,
        /// N side.
        cathode: Node,
        /// Its law.
        junction: Junction,
    },
    /// A MOS transistor.
    Mos {
        /// Gate; carries no current.
        gate: Node,
        /// Drain.
        drain: Node,
        /// Source and body.
        source: Node,
        /// Its law.
        mos: Mos,
    },
    /// A capacitor: open at DC, counts for charge times.
    Capacitor {
        /// One end.
        a: Node,
        /// Other end.
        b: Node,
        /// Farad.
        farads: f64,
    },
}

impl Node {
    /// Board ground, the reference of all voltages.
    pub const GROUND: Node = Node(0);

    /// Position in the network; 0 is ground.
    #[must_use]
    pub fn index(self) -> usize {
        self.0
    }
}

impl ElementId {
    /// Position in the network, in the order of adding.
    #[must_use]
    pub fn index(self) -> usize {
        self.0
    }
}

impl Junction {
    /// A junction at 300 K without series resistance.
    #[must_use]
    pub fn new(saturation: f64, ideality: f64) -> Self {
        Junction {
            saturation,
            ideality,
            series: 0.0,
            thermal: THERMAL_VOLTAGE,
        }
    }

    /// The same junction with a series resistance in ohm.
    #[must_use]
    pub fn with_series(self, series: f64) -> Self {
        Junction { series, ..self }
    }
}

impl Element {
    /// The two nodes the element's current flows between, in order. For a
    /// transistor drain and source.
    #[must_use]
    pub fn ends(&self) -> (Node, Node) {
        match *self {
            Element::Resistor { a, b, .. } | Element::Capacitor { a, b, .. } => (a, b),
            Element::Source { plus, minus, .. } => (plus, minus),
            Element::Current { from, to, .. } => (from, to),
            Element::Junction { anode, cathode, .. } => (anode, cathode),
            Element::Mos { drain, source, .. } => (drain, source),
        }
    }
}
