//! Values that a circuit may have.

use thiserror::Error;

use super::element::{Element, Junction};

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

#[derive(Clone, Copy)]
pub(super) enum Wanted {
    Finite,
    Positive,
    NotNegative,
    NotNegativeMaybeInfinite,
}

pub(super) fn check(
    name: &str,
    what: &'static str,
    value: f64,
    wanted: Wanted,
) -> Result<(), NetworkError> {
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

pub(super) fn check_values(name: &str, element: &Element) -> Result<(), NetworkError> {
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
pub(in crate::circuit) fn check_junction(
    name: &str,
    junction: &Junction,
) -> Result<(), NetworkError> {
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
