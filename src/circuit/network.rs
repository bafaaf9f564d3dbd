//! A small circuit: named nodes and the elements between them.
//!
//! A [`Network`] is plain data. Every value is checked when it is put in, so
//! that the solver never meets a negative resistance or a NaN. Elements keep
//! their [`ElementId`] for good: to take one out, mark it
//! [not fitted](Network::set_fitted).

use thiserror::Error;

/// Thermal voltage kT/q at 300 K, in volts.
///
/// k/q from the exact SI values of k and q. A simulator that is left at its
/// usual 27 °C works at 300.15 K, hence 25.865 mV: compare at 26.85 °C.
pub const THERMAL_VOLTAGE: f64 = 0.025_852;

/// A node of one [`Network`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node(usize);

impl Node {
    /// Board ground, the reference of all voltages.
    pub const GROUND: Node = Node(0);

    /// Position in the network; 0 is ground.
    #[must_use]
    pub fn index(self) -> usize {
        self.0
    }
}

/// An element of one [`Network`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ElementId(usize);

impl ElementId {
    /// Position in the network, in the order of adding.
    #[must_use]
    pub fn index(self) -> usize {
        self.0
    }
}

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

/// Why something cannot be put into a network.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum NetworkError {
    /// A value outside what is physical.
    #[error("`{element}`: {what} is {value}, but must be {wanted}")]
    BadValue {
        /// Name of the element.
        element: String,
        /// Which of its values.
        what: &'static str,
        /// The value given.
        value: f64,
        /// What would do.
        wanted: &'static str,
    },
    /// A node of another network.
    #[error("`{element}` names node {node}, which this network does not have")]
    UnknownNode {
        /// Name of the element.
        element: String,
        /// Position of the node.
        node: usize,
    },
    /// An element of another network, or one of another kind than needed.
    #[error("element {element} is not {wanted} of this network")]
    UnknownElement {
        /// Position of the element.
        element: usize,
        /// What was needed.
        wanted: &'static str,
    },
}

#[derive(Clone, Debug, PartialEq)]
struct Fitting {
    name: String,
    element: Element,
    fitted: bool,
}

/// A circuit. See the [module text](self).
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    nodes: Vec<String>,
    fittings: Vec<Fitting>,
    leakage: f64,
}

impl Default for Network {
    fn default() -> Self {
        Network::new()
    }
}

impl Network {
    /// An empty network: nothing but ground.
    #[must_use]
    pub fn new() -> Self {
        Network {
            nodes: vec!["ground".to_owned()],
            fittings: Vec::new(),
            leakage: 0.0,
        }
    }

    /// Adds a node. Names are for messages; they need not differ.
    pub fn node(&mut self, name: impl Into<String>) -> Node {
        self.nodes.push(name.into());
        Node(self.nodes.len() - 1)
    }

    /// Number of nodes, ground included.
    #[must_use]
    pub fn node_count(&self) -> usize {
        self.nodes.len()
    }

    /// The node at a position, if there is one.
    #[must_use]
    pub fn node_at(&self, index: usize) -> Option<Node> {
        (index < self.nodes.len()).then_some(Node(index))
    }

    /// Whether the node belongs here.
    #[must_use]
    pub fn has_node(&self, node: Node) -> bool {
        node.0 < self.nodes.len()
    }

    /// Name of a node; `?` for a node of another network.
    #[must_use]
    pub fn node_name(&self, node: Node) -> &str {
        self.nodes.get(node.0).map_or("?", String::as_str)
    }

    /// Name of an element; `?` for an element of another network.
    #[must_use]
    pub fn element_name(&self, id: ElementId) -> &str {
        self.fittings.get(id.0).map_or("?", |f| f.name.as_str())
    }

    /// The element, whether fitted or not.
    #[must_use]
    pub fn element(&self, id: ElementId) -> Option<&Element> {
        self.fittings.get(id.0).map(|f| &f.element)
    }

    /// All elements that are fitted.
    pub fn fitted(&self) -> impl Iterator<Item = (ElementId, &Element)> {
        let all = self.fittings.iter().enumerate();
        all.filter(|(_, f)| f.fitted)
            .map(|(i, f)| (ElementId(i), &f.element))
    }

    /// Number of elements, fitted or not.
    #[must_use]
    pub fn element_count(&self) -> usize {
        self.fittings.len()
    }

    /// Fits an element or takes it out.
    ///
    /// # Errors
    /// If the element is of another network.
    pub fn set_fitted(&mut self, id: ElementId, fitted: bool) -> Result<(), NetworkError> {
        match self.fittings.get_mut(id.0) {
            Some(f) => {
                f.fitted = fitted;
                Ok(())
            }
            None => Err(NetworkError::UnknownElement {
                element: id.0,
                wanted: "an element",
            }),
        }
    }

    /// The same circuit with supply and battery off: every voltage and current
    /// source is out. What loads a rail stays, so an unpowered rail is what
    /// its loads make it.
    #[must_use]
    pub fn unpowered(&self) -> Self {
        let mut off = self.clone();
        for f in &mut off.fittings {
            if matches!(f.element, Element::Source { .. } | Element::Current { .. }) {
                f.fitted = false;
            }
        }
        off
    }

    /// Conductance from every node to ground, siemens.
    #[must_use]
    pub fn leakage(&self) -> f64 {
        self.leakage
    }

    /// Lets the board leak: the whole circuit has this insulation resistance
    /// to ground, shared evenly by its nodes (so that many nodes do not add up
    /// to a reading). With it no node can float. Call it after the last node.
    ///
    /// # Errors
    /// If `ohms` is not above 0.
    pub fn set_board_leakage(&mut self, ohms: f64) -> Result<(), NetworkError> {
        check("board leakage", "resistance", ohms, Wanted::Positive)?;
        self.leakage = 1.0 / (ohms * (self.nodes.len().max(2) - 1) as f64);
        Ok(())
    }

    /// Adds any element.
    ///
    /// # Errors
    /// If a node is of another network or a value is not physical.
    pub fn add(
        &mut self,
        name: impl Into<String>,
        element: Element,
    ) -> Result<ElementId, NetworkError> {
        let name = name.into();
        self.check_nodes(&name, &element)?;
        check_values(&name, &element)?;
        self.fittings.push(Fitting {
            name,
            element,
            fitted: true,
        });
        Ok(ElementId(self.fittings.len() - 1))
    }

    /// Adds a resistance in ohm.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn resistor(
        &mut self,
        name: impl Into<String>,
        a: Node,
        b: Node,
        ohms: f64,
    ) -> Result<ElementId, NetworkError> {
        self.add(name, Element::Resistor { a, b, ohms })
    }

    /// Adds a voltage source without a current limit.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn source(
        &mut self,
        name: impl Into<String>,
        plus: Node,
        minus: Node,
        volts: f64,
        series: f64,
    ) -> Result<ElementId, NetworkError> {
        let (gives, takes) = (f64::INFINITY, f64::INFINITY);
        self.add(
            name,
            Element::Source {
                plus,
                minus,
                volts,
                series,
                gives,
                takes,
            },
        )
    }

    /// Adds a voltage source that gives no more than `gives` ampere.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn limited_source(
        &mut self,
        name: impl Into<String>,
        plus: Node,
        minus: Node,
        volts: f64,
        series: f64,
        gives: f64,
    ) -> Result<ElementId, NetworkError> {
        let takes = f64::INFINITY;
        self.add(
            name,
            Element::Source {
                plus,
                minus,
                volts,
                series,
                gives,
                takes,
            },
        )
    }

    /// Adds a current source in ampere.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn current(
        &mut self,
        name: impl Into<String>,
        from: Node,
        to: Node,
        amps: f64,
    ) -> Result<ElementId, NetworkError> {
        self.add(name, Element::Current { from, to, amps })
    }

    /// Adds a junction.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn junction(
        &mut self,
        name: impl Into<String>,
        anode: Node,
        cathode: Node,
        junction: Junction,
    ) -> Result<ElementId, NetworkError> {
        self.add(
            name,
            Element::Junction {
                anode,
                cathode,
                junction,
            },
        )
    }

    /// Adds a MOS transistor, its body tied to the source.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn mos(
        &mut self,
        name: impl Into<String>,
        gate: Node,
        drain: Node,
        source: Node,
        mos: Mos,
    ) -> Result<ElementId, NetworkError> {
        self.add(
            name,
            Element::Mos {
                gate,
                drain,
                source,
                mos,
            },
        )
    }

    /// Adds a capacitor in farad.
    ///
    /// # Errors
    /// As [`add`](Self::add).
    pub fn capacitor(
        &mut self,
        name: impl Into<String>,
        a: Node,
        b: Node,
        farads: f64,
    ) -> Result<ElementId, NetworkError> {
        self.add(name, Element::Capacitor { a, b, farads })
    }

    /// Gives an element other values: to bend a circuit to what a good board
    /// reads.
    ///
    /// # Errors
    /// If the element is not of this network, or as [`add`](Self::add).
    pub fn set(&mut self, id: ElementId, element: Element) -> Result<(), NetworkError> {
        let name = self.element_name(id).to_owned();
        self.check_nodes(&name, &element)?;
        check_values(&name, &element)?;
        let fitting = self.fittings.get_mut(id.0);
        let fitting = fitting.ok_or(NetworkError::UnknownElement {
            element: id.0,
            wanted: "an element",
        })?;
        fitting.element = element;
        Ok(())
    }

    fn check_nodes(&self, name: &str, element: &Element) -> Result<(), NetworkError> {
        let (a, b) = element.ends();
        let gate = match element {
            Element::Mos { gate, .. } => *gate,
            _ => a,
        };
        match [a, b, gate].into_iter().find(|n| !self.has_node(*n)) {
            Some(Node(node)) => Err(NetworkError::UnknownNode {
                element: name.to_owned(),
                node,
            }),
            None => Ok(()),
        }
    }
}

#[derive(Clone, Copy)]
enum Wanted {
    Finite,
    Positive,
    NotNegative,
    NotNegativeMaybeInfinite,
}

fn check(name: &str, what: &'static str, value: f64, wanted: Wanted) -> Result<(), NetworkError> {
    let (good, wanted) = match wanted {
        Wanted::Finite => (value.is_finite(), "a finite number"),
        Wanted::Positive => (value.is_finite() && value > 0.0, "above 0 and finite"),
        Wanted::NotNegative => (value.is_finite() && value >= 0.0, "0 or more and finite"),
        Wanted::NotNegativeMaybeInfinite => (value >= 0.0, "0 or more"),
    };
    if good {
        return Ok(());
    }
    Err(NetworkError::BadValue {
        element: name.to_owned(),
        what,
        value,
        wanted,
    })
}

fn check_values(name: &str, element: &Element) -> Result<(), NetworkError> {
    match *element {
        Element::Resistor { ohms, .. } => check(name, "resistance", ohms, Wanted::NotNegative),
        Element::Source {
            volts,
            series,
            gives,
            takes,
            ..
        } => {
            check(name, "voltage", volts, Wanted::Finite)?;
            check(name, "series resistance", series, Wanted::NotNegative)?;
            check(
                name,
                "largest current given",
                gives,
                Wanted::NotNegativeMaybeInfinite,
            )?;
            check(
                name,
                "largest current taken",
                takes,
                Wanted::NotNegativeMaybeInfinite,
            )
        }
        Element::Current { amps, .. } => check(name, "current", amps, Wanted::Finite),
        Element::Junction { ref junction, .. } => check_junction(name, junction),
        Element::Mos { ref mos, .. } => {
            check(name, "threshold", mos.threshold, Wanted::Finite)?;
            check(name, "gain", mos.gain, Wanted::Positive)?;
            check_junction(name, &mos.body)?;
            if mos.body.series != 0.0 {
                return Err(NetworkError::BadValue {
                    element: name.to_owned(),
                    what: "series resistance of the body diode",
                    value: mos.body.series,
                    wanted: "0",
                });
            }
            Ok(())
        }
        Element::Capacitor { farads, .. } => {
            check(name, "capacitance", farads, Wanted::NotNegative)
        }
    }
}

/// Checks a junction's four values.
pub(super) fn check_junction(name: &str, junction: &Junction) -> Result<(), NetworkError> {
    check(
        name,
        "saturation current",
        junction.saturation,
        Wanted::Positive,
    )?;
    check(name, "ideality", junction.ideality, Wanted::Positive)?;
    check(
        name,
        "series resistance",
        junction.series,
        Wanted::NotNegative,
    )?;
    check(name, "thermal voltage", junction.thermal, Wanted::Positive)
}
