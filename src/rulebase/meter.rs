//! Meters as the rules describe them: what a manual says of its ranges.

use serde::{Deserialize, Serialize};

/// A meter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeterProfile {
    /// Identifier.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// Both leads with their contacts, ohm.
    pub leads: f64,
    /// DC volts.
    pub volts: VoltsRange,
    /// Diode test; its limit and accuracy are in volt.
    pub diode: TestRange,
    /// Resistance ranges, lowest first; limits and accuracies are in ohm.
    pub ohms: Vec<TestRange>,
    /// Where its numbers come from.
    pub source: String,
}

/// DC volts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct VoltsRange {
    /// Input resistance, ohm.
    pub input: f64,
    /// Largest reading, volt.
    pub limit: f64,
    /// Stated accuracy.
    pub accuracy: StatedAccuracy,
}

/// A range in which the meter puts out a current.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TestRange {
    /// Voltage of the open leads, volt.
    pub open: f64,
    /// What limits the current below that.
    pub drive: Drive,
    /// Largest reading, in the unit of the range; above it the meter shows OL.
    pub limit: f64,
    /// Stated accuracy.
    pub accuracy: StatedAccuracy,
}

/// What limits the current of a range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Drive {
    /// A constant current, ampere.
    Current(f64),
    /// A resistance in series with the open voltage, ohm.
    Series(f64),
}

/// Accuracy as manuals state it: per cent of the reading and some counts of the
/// last digit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StatedAccuracy {
    /// Per cent of the reading.
    pub percent: f64,
    /// Counts of the last digit.
    pub digits: f64,
    /// Worth of the last digit, in the unit of the range.
    pub resolution: f64,
}

/// What a meter is set to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MeterMode {
    /// DC volts, the device on.
    #[default]
    Volts,
    /// Diode test, red on ground, the device without power.
    Diode,
    /// Resistance, the device without power.
    Ohms,
}

impl MeterMode {
    /// All modes with their words.
    pub const ALL: [(&'static str, MeterMode); 3] = [
        ("volts", MeterMode::Volts),
        ("diode", MeterMode::Diode),
        ("ohms", MeterMode::Ohms),
    ];

    /// The word used in rules.
    pub fn word(self) -> &'static str {
        match self {
            MeterMode::Volts => "volts",
            MeterMode::Diode => "diode",
            MeterMode::Ohms => "ohms",
        }
    }

    /// Unit of a reading.
    pub fn unit(self) -> &'static str {
        match self {
            MeterMode::Volts | MeterMode::Diode => "V",
            MeterMode::Ohms => "ohm",
        }
    }
}
