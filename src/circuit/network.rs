//! A small circuit: named nodes and the elements between them.
//!
//! A [`Network`] is plain data. Every value is checked when it is put in, so
//! that the solver never meets a negative resistance or a NaN. Elements keep
//! their [`ElementId`] for good: to take one out, mark it
//! [not fitted](Network::set_fitted).

mod check;
mod element;

pub use check::NetworkError;
use check::{Wanted, check, check_values};
pub use element::{Channel, Element, ElementId, Junction, Mos, Node, THERMAL_VOLTAGE};

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
