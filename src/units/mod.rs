//! Quantities: their units and prefixes, how they are typed, and how they are shown.
//!
//! Rule files and people at the bench write `2k2`, `4.7 kohm` or `1V8` alike, so both
//! are read by one grammar ([`Quantity::read`]) and shown by one formatter ([`shown`]).
//! What only one of them writes is for its own room: tolerances for the rules, `OL`
//! and `short` for readings.
//!
//! `prefix` has the SI prefixes, `quantity` the grammar, `shown` the formatter.
//! The build reads the built-in rules with this room too.

mod prefix;
mod quantity;
mod shown;

pub(crate) use quantity::Quantity;
pub(crate) use shown::{digits, number, short, shown, written};

/// What a value is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unit {
    Ohm,
    Volt,
    Ampere,
    Farad,
    Hertz,
    Watt,
    Celsius,
    Percent,
}

impl Unit {
    /// The unit as rules name it and screens show it.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Unit::Ohm => "ohm",
            Unit::Volt => "V",
            Unit::Ampere => "A",
            Unit::Farad => "F",
            Unit::Hertz => "Hz",
            Unit::Watt => "W",
            Unit::Celsius => "C",
            Unit::Percent => "%",
        }
    }

    /// Reads a unit, in capital or small letters.
    pub(crate) fn named(word: &str) -> Option<Unit> {
        Some(match word.to_lowercase().as_str() {
            // Both ohm signs have the same small letter, omega.
            "ohm" | "ohms" | "\u{3c9}" | "r" => Unit::Ohm,
            "v" | "volt" | "volts" => Unit::Volt,
            "a" | "amp" | "amps" | "ampere" | "amperes" => Unit::Ampere,
            "f" | "farad" | "farads" => Unit::Farad,
            "hz" | "hertz" => Unit::Hertz,
            "w" | "watt" | "watts" => Unit::Watt,
            "c" | "\u{b0}c" => Unit::Celsius,
            "%" => Unit::Percent,
            _ => return None,
        })
    }
}
