//! The sums beside a measurement.

use clap::{Subcommand, ValueEnum};

use super::values::{amps, celsius, farads, hertz, ohms, plain, rate, volts};

/// Sums beside a measurement.
#[derive(Clone, Debug, Subcommand)]
pub enum SumCommand {
    /// What the pull-ups of a two-wire bus may be, or which speeds one suits.
    PullUp {
        /// Supply of the bus.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        supply: f64,
        /// Capacitance of the line; 100 pF is common practice for a short one.
        #[arg(long, value_name = "FARADS", value_parser = farads, default_value = "100p")]
        farads: f64,
        /// Clock rate; without it, all speeds.
        #[arg(long, value_name = "HERTZ", value_parser = hertz)]
        speed: Option<f64>,
        /// The pull-up that is fitted.
        #[arg(long, value_name = "OHMS", value_parser = ohms)]
        ohms: Option<f64>,
    },
    /// What the idle level of a two-wire bus line means.
    Idle {
        /// The measured voltage.
        #[arg(value_parser = volts, allow_hyphen_values = true)]
        volts: f64,
        /// Supply of the bus.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        supply: f64,
    },
    /// Whether a jumper wire may go around a part, and what it does.
    Jumper {
        /// What it goes around.
        #[arg(value_enum)]
        part: JumpedPart,
        /// Supply of the circuit on one side.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        from: f64,
        /// Supply of the circuit on the other side.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        to: f64,
        /// Bits per second of the line; leave it out for a supply.
        #[arg(long, value_parser = rate, default_value = "0")]
        bits: f64,
        /// Length in millimetres.
        #[arg(long, value_parser = plain, default_value = "20")]
        mm: f64,
        /// Current it is to carry.
        #[arg(long, value_name = "AMPS", value_parser = amps, default_value = "10mA")]
        amps: f64,
        /// Wire, by AWG number.
        #[arg(long, default_value_t = 40)]
        awg: u8,
    },
    /// What a CC voltage of a Type-C port means.
    Cc {
        /// The measured voltage.
        #[arg(value_parser = volts, allow_hyphen_values = true)]
        volts: f64,
    },
    /// What the idle level of a USB D+ line means.
    DPlus {
        /// The measured voltage.
        #[arg(value_parser = volts, allow_hyphen_values = true)]
        volts: f64,
    },
    /// Temperature of an NTC thermistor, or its resistance at one.
    Thermistor {
        /// Its resistance, or with its unit the voltage of its divider.
        #[arg(required_unless_present = "celsius", conflicts_with = "celsius")]
        reading: Option<String>,
        /// Tell the resistance at this temperature.
        #[arg(long, value_parser = celsius, allow_hyphen_values = true)]
        celsius: Option<f64>,
        /// B in kelvin; without it, the table of a common 10 kilohm part.
        #[arg(long, value_parser = plain)]
        beta: Option<f64>,
        /// Resistance at 25 °C, where B is given.
        #[arg(long, value_name = "OHMS", value_parser = ohms, default_value = "10k", requires = "beta")]
        r25: f64,
        /// Supply of its divider.
        #[arg(long, value_name = "VOLTS", value_parser = volts, requires = "pull_up")]
        supply: Option<f64>,
        /// Upper resistor of its divider.
        #[arg(long, value_name = "OHMS", value_parser = ohms, requires = "supply")]
        pull_up: Option<f64>,
    },
    /// Voltage of a string of lamps and what its boost supply takes.
    Lamps {
        /// How many in series.
        lamps: u32,
        /// Forward voltage of each.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "3.2")]
        each: f64,
        /// How much that may be off.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "0.2")]
        spread: f64,
        /// What the driver needs on top.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "0")]
        margin: f64,
        /// Current of the string.
        #[arg(long, value_name = "AMPS", value_parser = amps, default_value = "20mA")]
        amps: f64,
        /// What feeds the boost supply.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "3.7")]
        supply: f64,
    },
    /// How much a voltmeter takes off what it measures.
    Loading {
        /// Resistance that the voltage stands behind.
        #[arg(value_parser = ohms)]
        ohms: f64,
        /// Input resistance of the meter.
        #[arg(long, value_name = "OHMS", value_parser = ohms, default_value = "10M")]
        input: f64,
        /// What the meter shows.
        #[arg(long, value_name = "VOLTS", value_parser = volts, allow_hyphen_values = true)]
        shown: Option<f64>,
    },
}

/// What a jumper goes around.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum JumpedPart {
    /// An open trace, via, contact or flex.
    Trace,
    /// A series resistor that damps a line.
    SeriesResistor,
    /// A ferrite bead.
    Ferrite,
    /// A noise filter or common-mode choke.
    Filter,
    /// A fuse.
    Fuse,
    /// Protects against surge, reversal or overvoltage.
    Protection,
    /// Limits a current.
    Limiter,
    /// A level shifter.
    LevelShifter,
    /// Coupling capacitor of a fast pair.
    CouplingCapacitor,
    /// A pull-up.
    PullUp,
}
