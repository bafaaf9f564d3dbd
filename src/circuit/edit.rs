//! Changes to a circuit that are cheap to solve: each touches one place, so
//! that the linear part stays as it was.

use super::network::{ElementId, Node};

/// A source at the tips of a meter's leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TestSource {
    /// Open-circuit voltage, volt.
    pub volts: f64,
    /// Series resistance, ohm.
    pub series: f64,
    /// Largest current given, ampere; may be infinite.
    pub gives: f64,
    /// Largest current taken, ampere; may be infinite.
    pub takes: f64,
}

/// A change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Edit {
    /// A resistance between two nodes.
    Bridge {
        /// One node.
        a: Node,
        /// The other.
        b: Node,
        /// Ohm, above 0.
        ohms: f64,
    },
    /// More resistance in series with a resistor, source or junction.
    InSeries {
        /// The element.
        element: ElementId,
        /// Ohm to add; infinite takes the element out.
        ohms: f64,
    },
    /// Takes an element out.
    Remove {
        /// The element.
        element: ElementId,
    },
    /// Multiplies the saturation current of a junction.
    Saturation {
        /// The junction.
        element: ElementId,
        /// Factor, above 0.
        factor: f64,
    },
    /// A source from one node to another, as a meter puts it there.
    Probe {
        /// Where its positive end is.
        red: Node,
        /// Where its negative end is.
        black: Node,
        /// What it is.
        source: TestSource,
    },
}
