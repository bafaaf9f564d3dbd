//! CC and D+ levels of a USB port, and what a measured one means.
//!
//! A source offers a current by how hard it pulls CC up; the sink pulls it
//! down with 5.1 kilohm:
//!
//! ```text
//! from a resistor:        V = rail · Rd / (Rd + Rp)
//! from a current source:  V = I · Rd
//! ```
//!
//! Windows: USB Type-C Release 2.0, Table 4-36, as cited in an engineering
//! note. Pull-ups: ST UM2191, Table 2. Thresholds and Rd: onsemi FUSB302B.
//! D+ figures: USB 2.0, 7.1.5.1, as quoted.

use super::physical::{NotPhysical, finite, not_negative, positive};

/// What the sink pulls CC down with, ohm.
pub const PULL_DOWN: f64 = 5_100.0;
/// What Rd may be off by for the offer to be read, share.
pub const PULL_DOWN_TOLERANCE: f64 = 0.10;
/// Highest rail of a pull-up, volt; a CC line above it has met VBUS.
pub const HIGHEST_RAIL: f64 = 5.5;
/// Highest voltage that the clamp of an unpowered sink leaves on CC, volt
/// (FUSB302B).
pub const CLAMP: f64 = 2.18;
/// Device's pull-up on D+ (D- for low speed), ohm.
pub const SPEED_PULL_UP: f64 = 1_500.0;
/// Host's pull-downs on D+ and D-, ohm.
pub const HOST_PULL_DOWN: f64 = 15_000.0;

/// What a source offers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Offer {
    /// The current of the USB version: 500 or 900 mA (from memory).
    Default,
    /// 1.5 A.
    OneAndHalf,
    /// 3 A.
    Three,
}

impl Offer {
    /// All of them, smallest first.
    pub const ALL: [Offer; 3] = [Offer::Default, Offer::OneAndHalf, Offer::Three];

    /// In words.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Offer::Default => "default USB current",
            Offer::OneAndHalf => "1.5 A",
            Offer::Three => "3 A",
        }
    }

    /// Pull-up to 5 V, ohm.
    #[must_use]
    pub fn pull_up(self) -> f64 {
        match self {
            Offer::Default => 56e3,
            Offer::OneAndHalf => 22e3,
            Offer::Three => 10e3,
        }
    }

    /// Current source in place of a pull-up, ampere, and its tolerance as a
    /// share.
    #[must_use]
    pub fn current(self) -> (f64, f64) {
        match self {
            Offer::Default => (80e-6, 0.20),
            Offer::OneAndHalf => (180e-6, 0.08),
            Offer::Three => (330e-6, 0.08),
        }
    }

    /// Lowest and highest CC voltage at the sink, volt.
    #[must_use]
    pub fn window(self) -> (f64, f64) {
        match self {
            Offer::Default => (0.25, 0.61),
            Offer::OneAndHalf => (0.70, 1.16),
            Offer::Three => (1.31, 2.04),
        }
    }

    /// Lowest and highest CC voltage that a current source within tolerance
    /// makes on an Rd within tolerance, volt.
    #[must_use]
    pub fn corners(self) -> (f64, f64) {
        let (amps, off) = self.current();
        let at = |sign: f64| {
            from_current(
                amps * (1.0 + sign * off),
                PULL_DOWN * (1.0 + sign * PULL_DOWN_TOLERANCE),
            )
        };
        (at(-1.0), at(1.0))
    }
}

/// CC voltage from a pull-up, volt.
///
/// # Errors
/// If a value is below 0 or both resistances are 0.
pub fn from_pull_up(rail: f64, up: f64, down: f64) -> Result<f64, NotPhysical> {
    let down = not_negative("pull-down", down)?;
    let both = positive("pull-up and pull-down", not_negative("pull-up", up)? + down)?;
    Ok(not_negative("rail", rail)? * down / both)
}

/// CC voltage from a current source, volt.
#[must_use]
pub fn from_current(amps: f64, down: f64) -> f64 {
    amps * down
}

/// What a measured CC voltage means, at a sink with a source plugged in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cc {
    /// Below every window.
    Nothing,
    /// In the window of an offer.
    Offers(Offer),
    /// Between the windows of two offers.
    Between(Offer, Offer),
    /// Above every window, where the clamp of an unpowered sink may hold it.
    Clamped,
    /// Above that.
    Open,
    /// Above what any pull-up goes to.
    Vbus,
}

impl Cc {
    /// In plain words.
    #[must_use]
    pub fn says(self) -> String {
        match self {
            Cc::Nothing => "below every window: this line is not pulled up (the other CC pin, no source, or an open line), or it is shorted to ground".to_owned(),
            Cc::Offers(o) => format!("in the window for {}: the source offers it, and the pull-down is there", o.says()),
            Cc::Between(a, b) => format!("between the windows for {} and {}: pull-up, pull-down or something that leaks on the line is out of tolerance", a.says(), b.says()),
            Cc::Clamped => "just above every window: the part behind CC may be without power, then its clamp holds the line up to 2.18 V; else the pull-down is off".to_owned(),
            Cc::Open => "above every window: the pull-down is missing or the line to it is open".to_owned(),
            Cc::Vbus => "above what any pull-up goes to: VBUS has reached the CC line, look for residue or bent pins; the part behind it has probably suffered".to_owned(),
        }
    }
}

/// What a measured CC voltage means.
///
/// # Errors
/// If the voltage is not finite.
pub fn classify(volts: f64) -> Result<Cc, NotPhysical> {
    finite("CC voltage", volts)?;
    if volts > HIGHEST_RAIL {
        return Ok(Cc::Vbus);
    }
    let mut below = None;
    for offer in Offer::ALL {
        let (low, high) = offer.window();
        if volts < low {
            return Ok(below.map_or(Cc::Nothing, |b| Cc::Between(b, offer)));
        }
        if volts <= high {
            return Ok(Cc::Offers(offer));
        }
        below = Some(offer);
    }
    Ok(if volts <= CLAMP {
        Cc::Clamped
    } else {
        Cc::Open
    })
}

/// What a part takes the voltage for, by the typical comparator thresholds
/// 0.20, 0.66 and 1.23 V.
#[must_use]
pub fn read_as(volts: f64) -> Option<Offer> {
    match volts {
        v if v > 1.23 => Some(Offer::Three),
        v if v > 0.66 => Some(Offer::OneAndHalf),
        v if v > 0.20 => Some(Offer::Default),
        _ => None,
    }
}

/// Idle level of the pulled-up data line of a USB 2.0 device that is plugged
/// into a host (D+, or D- for low speed), volt.
///
/// # Errors
/// As [`from_pull_up`].
pub fn data_idle(rail: f64, up: f64, down: f64) -> Result<f64, NotPhysical> {
    from_pull_up(rail, up, down)
}

/// Lowest and highest idle level of a full-speed D+ line within tolerance,
/// volt: 1.5 kilohm and 15 kilohm, 5 % each, and 3.0 to 3.6 V (computed from
/// the figures of USB 2.0).
pub const DATA_IDLE: (f64, f64) = (2.70, 3.30);

/// Highest voltage that reads as low on a USB data line, volt; from memory.
const DATA_LOW: f64 = 0.8;
/// Highest pull-up supply of a USB data line, volt (USB 2.0).
const DATA_RAIL: f64 = 3.6;

/// What a measured idle level of D+ means, with a full-speed device plugged
/// into a host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DataLine {
    /// Low.
    Low,
    /// Above low, below what the pull-up makes.
    Loaded,
    /// What the pull-up makes on the host's pull-down.
    Pulled,
    /// Above that, but no more than the pull-up's supply.
    NoHost,
    /// Above the pull-up's supply.
    TooHigh,
}

impl DataLine {
    /// In plain words.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            DataLine::Low => {
                "low: no pull-up is seen (none there, the line open or shorted to ground, or a high-speed device that is past its start)"
            }
            DataLine::Loaded => {
                "below what the pull-up makes: something loads the line, or traffic is being averaged"
            }
            DataLine::Pulled => {
                "as it should be: the device's pull-up stands against the host's pull-down"
            }
            DataLine::NoHost => {
                "above what the pull-up makes: the host's pull-down is missing, or no host is there"
            }
            DataLine::TooHigh => {
                "above the supply of any pull-up: another voltage has reached the data line"
            }
        }
    }
}

/// What a measured idle level of D+ means.
///
/// # Errors
/// If the voltage is not finite.
pub fn classify_data(volts: f64) -> Result<DataLine, NotPhysical> {
    Ok(match finite("D+ voltage", volts)? {
        v if v <= DATA_LOW => DataLine::Low,
        v if v < DATA_IDLE.0 => DataLine::Loaded,
        v if v <= DATA_IDLE.1 => DataLine::Pulled,
        v if v <= DATA_RAIL => DataLine::NoHost,
        _ => DataLine::TooHigh,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measured_voltage_is_told_in_words() {
        for (volts, wanted) in [
            (0.02, Cc::Nothing),
            (-0.01, Cc::Nothing),
            (0.42, Cc::Offers(Offer::Default)),
            (0.65, Cc::Between(Offer::Default, Offer::OneAndHalf)),
            (0.94, Cc::Offers(Offer::OneAndHalf)),
            (1.25, Cc::Between(Offer::OneAndHalf, Offer::Three)),
            (1.69, Cc::Offers(Offer::Three)),
            (2.1, Cc::Clamped),
            (3.3, Cc::Open),
            (9.0, Cc::Vbus),
        ] {
            assert_eq!(classify(volts), Ok(wanted), "{volts}");
        }
        assert!(classify(f64::NAN).is_err());
    }

    #[test]
    fn an_idle_data_line_is_told_in_words() {
        for (volts, wanted) in [
            (0.0, DataLine::Low),
            (1.5, DataLine::Loaded),
            (3.0, DataLine::Pulled),
            (3.4, DataLine::NoHost),
            (4.9, DataLine::TooHigh),
        ] {
            assert_eq!(classify_data(volts), Ok(wanted), "{volts}");
        }
    }

    #[test]
    fn what_a_part_reads_agrees_with_the_windows() {
        for offer in Offer::ALL {
            let (low, high) = offer.window();
            assert_eq!(read_as(low), Some(offer));
            assert_eq!(read_as(high), Some(offer));
        }
        assert_eq!(read_as(0.1), None);
    }
}
