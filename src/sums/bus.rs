//! The pull-ups of a two-wire control bus, and what an idle level means.
//!
//! A pull-up may be no smaller than what the weakest part on the bus can pull
//! low, and no larger than what lifts the line's capacitance in time:
//!
//! ```text
//! least = (supply - VOL) / IOL              ohm
//! most  = tr / (0.8473 C)                   ohm
//! ```
//!
//! 0.8473 is `ln(0.7 / 0.3)`: the rise is counted from 0.3 to 0.7 of the
//! supply. Formulas and limits: UM10204 rev. 5, 7.1; Microchip's two-wire
//! table; worked in TI SLVA689. Below 2 V the sink current is 2 mA there, as
//! the tables of TI PCF8574A (SCPS069G) and TCAL9539 (SCPS241) have it; some
//! parts promise 3 mA, for which a smaller pull-up would do as well.

use super::physical::{NotPhysical, finite, positive};

/// At or below this share of the supply a line is low (UM10204).
pub const LOW_SHARE: f64 = 0.3;
/// At or above this share of the supply a line is high (UM10204).
pub const HIGH_SHARE: f64 = 0.7;

/// How fast a bus is clocked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Speed {
    /// Up to 100 kHz.
    Standard,
    /// Up to 400 kHz.
    Fast,
    /// Up to 1 MHz.
    FastPlus,
}

impl Speed {
    /// All of them, slowest first.
    pub const ALL: [Speed; 3] = [Speed::Standard, Speed::Fast, Speed::FastPlus];

    /// The slowest that reaches a clock rate in hertz; none above 1 MHz.
    #[must_use]
    pub fn reaching(hertz: f64) -> Option<Self> {
        Self::ALL.into_iter().find(|s| hertz <= s.hertz())
    }

    /// Highest clock rate, hertz.
    #[must_use]
    pub fn hertz(self) -> f64 {
        match self {
            Speed::Standard => 100e3,
            Speed::Fast => 400e3,
            Speed::FastPlus => 1e6,
        }
    }

    /// Longest rise time, second.
    #[must_use]
    pub fn rise(self) -> f64 {
        match self {
            Speed::Standard => 1000e-9,
            Speed::Fast => 300e-9,
            Speed::FastPlus => 120e-9,
        }
    }

    /// Largest capacitance of a line, farad.
    #[must_use]
    pub fn capacitance(self) -> f64 {
        match self {
            Speed::Standard | Speed::Fast => 400e-12,
            Speed::FastPlus => 550e-12,
        }
    }

    /// Current that every part has to sink, ampere.
    #[must_use]
    pub fn sink(self, supply: f64) -> f64 {
        match self {
            Speed::FastPlus => 20e-3,
            _ if supply > 2.0 => 3e-3,
            _ => 2e-3,
        }
    }
}

/// Highest voltage of a line pulled low, volt: 0.4 V, but 0.2 of a supply of
/// 2 V or less.
#[must_use]
pub fn low_volts(supply: f64) -> f64 {
    if supply > 2.0 { 0.4 } else { 0.2 * supply }
}

/// Smallest pull-up, ohm: see the [module text](self).
///
/// # Errors
/// If the supply is not above the low level, or the current not above 0.
pub fn least_pull_up(supply: f64, low: f64, sink: f64) -> Result<f64, NotPhysical> {
    let over = positive("supply above the low level", supply - low)?;
    Ok(over / positive("sink current", sink)?)
}

/// Largest pull-up, ohm: see the [module text](self).
///
/// # Errors
/// If rise time or capacitance is not above 0.
pub fn most_pull_up(rise: f64, farads: f64) -> Result<f64, NotPhysical> {
    Ok(positive("rise time", rise)? / (rise_factor() * positive("capacitance", farads)?))
}

/// Rise time from 0.3 to 0.7 of the supply, second: `0.8473 R C`.
///
/// # Errors
/// If pull-up or capacitance is not above 0.
pub fn rise_time(ohms: f64, farads: f64) -> Result<f64, NotPhysical> {
    Ok(rise_factor() * positive("pull-up", ohms)? * positive("capacitance", farads)?)
}

/// `ln(7/3)`, 0.8473.
#[must_use]
pub fn rise_factor() -> f64 {
    (HIGH_SHARE / LOW_SHARE).ln()
}

/// What a pull-up may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sizes {
    /// Smallest, ohm.
    pub least: f64,
    /// Largest, ohm. May be below the smallest: then no pull-up will do.
    pub most: f64,
}

impl Sizes {
    /// Sizes for a speed, a supply in volt and a line's capacitance in farad.
    ///
    /// # Errors
    /// If supply or capacitance is not above 0.
    pub fn of(speed: Speed, supply: f64, farads: f64) -> Result<Self, NotPhysical> {
        let supply = positive("supply", supply)?;
        Ok(Sizes {
            least: least_pull_up(supply, low_volts(supply), speed.sink(supply))?,
            most: most_pull_up(speed.rise(), farads)?,
        })
    }

    /// Whether any pull-up will do.
    #[must_use]
    pub fn possible(&self) -> bool {
        self.least <= self.most
    }
}

/// How a pull-up suits a speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fit {
    /// It does.
    Fits,
    /// Too small: a part may fail to pull the line low.
    TooStrong,
    /// Too large: the line rises too slowly.
    TooWeak,
    /// The line has more capacitance than the speed allows.
    TooMuchCapacitance,
}

impl Fit {
    /// In plain words.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Fit::Fits => "fits",
            Fit::TooStrong => "pull-up too small: a part may not get the line low",
            Fit::TooWeak => "pull-up too large: the line rises too slowly",
            Fit::TooMuchCapacitance => "the line has too much capacitance for this speed",
        }
    }
}

/// How a pull-up of `ohms` on a line of `farads` suits a speed.
///
/// # Errors
/// If supply, pull-up or capacitance is not above 0.
pub fn fit(speed: Speed, supply: f64, ohms: f64, farads: f64) -> Result<Fit, NotPhysical> {
    let sizes = Sizes::of(speed, supply, farads)?;
    let ohms = positive("pull-up", ohms)?;
    Ok(if farads > speed.capacitance() {
        Fit::TooMuchCapacitance
    } else if ohms < sizes.least {
        Fit::TooStrong
    } else if ohms > sizes.most {
        Fit::TooWeak
    } else {
        Fit::Fits
    })
}

/// What a line's voltage means to the parts on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// Read as low by every part.
    Low,
    /// Neither.
    Between,
    /// Read as high by every part.
    High,
}

impl Level {
    /// What it means on an idle line, in plain words. A bus at rest is high.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Level::Low => "low: something holds the line down, or nothing pulls it up",
            Level::Between => "between the thresholds: neither low nor high",
            Level::High => "high, as an idle line should be",
        }
    }
}

/// The level of a line, by the shares of UM10204.
///
/// # Errors
/// If the supply is not above 0 or the voltage not finite.
pub fn level(volts: f64, supply: f64) -> Result<Level, NotPhysical> {
    let share = finite("line voltage", volts)? / positive("supply", supply)?;
    Ok(if share <= LOW_SHARE {
        Level::Low
    } else if share < HIGH_SHARE {
        Level::Between
    } else {
        Level::High
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_of_a_1v8_line() {
        for (volts, wanted) in [
            (0.0, Level::Low),
            (0.53, Level::Low),
            (0.9, Level::Between),
            (1.27, Level::High),
            (1.8, Level::High),
            (-0.002, Level::Low),
        ] {
            assert_eq!(level(volts, 1.8), Ok(wanted), "{volts}");
        }
        assert!(level(1.0, 0.0).is_err());
        assert!(level(f64::NAN, 1.8).is_err());
    }

    #[test]
    fn a_pull_up_suits_some_speeds() {
        let fits = |s, r, c| fit(s, 3.3, r, c).unwrap();
        assert_eq!(fits(Speed::Standard, 4.7e3, 100e-12), Fit::Fits);
        assert_eq!(fits(Speed::Fast, 4.7e3, 100e-12), Fit::TooWeak);
        assert_eq!(fits(Speed::Fast, 500.0, 100e-12), Fit::TooStrong);
        assert_eq!(fits(Speed::Fast, 1e3, 500e-12), Fit::TooMuchCapacitance);
        assert_eq!(Speed::reaching(100e3), Some(Speed::Standard));
        assert_eq!(Speed::reaching(101e3), Some(Speed::Fast));
        assert_eq!(Speed::reaching(2e6), None);
    }

    #[test]
    fn rise_and_largest_pull_up_undo_each_other() {
        let r = most_pull_up(300e-9, 200e-12).unwrap();
        assert!((rise_time(r, 200e-12).unwrap() / 300e-9 - 1.0).abs() < 1e-12);
        assert!(least_pull_up(0.3, 0.4, 3e-3).is_err());
        assert!(most_pull_up(300e-9, 0.0).is_err());
    }
}
