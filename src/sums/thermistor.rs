//! NTC thermistors: resistance, temperature and the voltage of a divider.
//!
//! | law | formula |
//! | --- | --- |
//! | Beta | `R = R25 exp(B (1/T - 1/298.15))` |
//! | Steinhart-Hart | `1/T = a + b ln R + c (ln R)^3` |
//!
//! T in kelvin; both laws are textbook ones, from memory. A single Beta is
//! exact at 25 °C and some 3 to 5 % off at 0 °C on a common 10 kilohm part;
//! Steinhart-Hart through three rows of the maker's table is far closer.
//! "10 kilohm" alone is not a curve: take the rows of the part that is fitted.

use super::physical::{NotPhysical, check, finite, positive};

/// 0 °C in kelvin.
pub const ZERO_CELSIUS: f64 = 273.15;
/// 25 °C in kelvin.
const AT_25: f64 = ZERO_CELSIUS + 25.0;

/// Rows of a 10 kilohm thermistor: °C and ohm. EPCOS B57330V2103 as in the
/// Linux kernel's `ntc_thermistor` driver.
pub const ROWS_10K: [(f64, f64); 8] = [
    (0.0, 27_326.0),
    (10.0, 17_973.0),
    (20.0, 12_090.0),
    (25.0, 10_000.0),
    (30.0, 8_311.0),
    (45.0, 4_911.0),
    (50.0, 4_158.0),
    (60.0, 3_019.0),
];

/// How resistance goes with temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Thermistor {
    /// By the resistance at 25 °C in ohm and B in kelvin.
    Beta {
        /// Resistance at 25 °C, ohm.
        r25: f64,
        /// B, kelvin.
        beta: f64,
    },
    /// Steinhart-Hart.
    Steinhart {
        /// Per kelvin.
        a: f64,
        /// Per kelvin.
        b: f64,
        /// Per kelvin.
        c: f64,
    },
}

impl Thermistor {
    /// By Beta.
    ///
    /// # Errors
    /// If a value is not above 0.
    pub fn beta(r25: f64, beta: f64) -> Result<Self, NotPhysical> {
        Ok(Thermistor::Beta {
            r25: positive("resistance at 25 °C", r25)?,
            beta: positive("Beta", beta)?,
        })
    }

    /// Steinhart-Hart through three rows of °C and ohm.
    ///
    /// # Errors
    /// If a resistance is not above 0, or the rows do not fall as an NTC's do.
    pub fn through(rows: [(f64, f64); 3]) -> Result<Self, NotPhysical> {
        let mut l = [0.0; 3];
        let mut y = [0.0; 3];
        for (i, (celsius, ohms)) in rows.into_iter().enumerate() {
            l[i] = positive("resistance", ohms)?.ln();
            y[i] = 1.0 / kelvin(celsius)?;
        }
        let rise = |i: usize| (y[i] - y[0]) / (l[i] - l[0]);
        let (g1, g2) = (rise(1), rise(2));
        let falls = g1.is_finite() && g2.is_finite() && g1 > 0.0 && g2 > 0.0 && l[1] != l[2];
        check(falls, "slope of the rows", g1, "falling with temperature")?;
        let c = (g2 - g1) / (l[2] - l[1]) / (l[0] + l[1] + l[2]);
        let b = g1 - c * (l[0] * l[0] + l[0] * l[1] + l[1] * l[1]);
        let a = y[0] - l[0] * (b + c * l[0] * l[0]);
        Ok(Thermistor::Steinhart { a, b, c })
    }

    /// The 10 kilohm part of [`ROWS_10K`], through its rows at 0, 25 and 60 °C.
    ///
    /// # Errors
    /// Never; as [`through`](Self::through).
    pub fn common_10k() -> Result<Self, NotPhysical> {
        Thermistor::through([ROWS_10K[0], ROWS_10K[3], ROWS_10K[7]])
    }

    /// Temperature at a resistance in ohm, °C.
    ///
    /// # Errors
    /// If the resistance is not above 0, or so far off that the law has no
    /// temperature for it.
    pub fn celsius(&self, ohms: f64) -> Result<f64, NotPhysical> {
        let l = positive("resistance", ohms)?.ln();
        let inverse = match *self {
            Thermistor::Beta { r25, beta } => 1.0 / AT_25 + (l - r25.ln()) / beta,
            Thermistor::Steinhart { a, b, c } => a + b * l + c * l.powi(3),
        };
        let good = inverse.is_finite() && inverse > 0.0;
        check(good, "resistance", ohms, "what the thermistor can have")?;
        Ok(1.0 / inverse - ZERO_CELSIUS)
    }

    /// Resistance at a temperature in °C, ohm.
    ///
    /// # Errors
    /// If the temperature is not above absolute zero, or the law has no
    /// resistance for it.
    pub fn ohms(&self, celsius: f64) -> Result<f64, NotPhysical> {
        let inverse = 1.0 / kelvin(celsius)?;
        let ohms = match *self {
            Thermistor::Beta { r25, beta } => r25 * (beta * (inverse - 1.0 / AT_25)).exp(),
            Thermistor::Steinhart { a, b, c } => {
                // Newton on ln R; the law rises steadily in all of its use.
                let mut l = (inverse - a) / b;
                for _ in 0..50 {
                    l -= (a + b * l + c * l.powi(3) - inverse) / (b + 3.0 * c * l * l);
                }
                l.exp()
            }
        };
        let good = ohms.is_finite() && ohms > 0.0;
        check(good, "temperature", celsius, "within the thermistor's use")?;
        Ok(ohms)
    }
}

fn kelvin(celsius: f64) -> Result<f64, NotPhysical> {
    let good = finite("temperature", celsius)? > -ZERO_CELSIUS;
    check(good, "temperature", celsius, "above -273.15 °C")?;
    Ok(celsius + ZERO_CELSIUS)
}

/// B in kelvin from two rows of °C and ohm: `ln(R1/R2) / (1/T1 - 1/T2)`.
///
/// # Errors
/// If a resistance is not above 0 or the temperatures are the same.
pub fn beta_between(one: (f64, f64), two: (f64, f64)) -> Result<f64, NotPhysical> {
    let ratio = (positive("resistance", one.1)? / positive("resistance", two.1)?).ln();
    let beta = ratio / (1.0 / kelvin(one.0)? - 1.0 / kelvin(two.0)?);
    check(beta.is_finite(), "Beta", beta, "from two temperatures")
}

/// Resistance of the lower part of a divider, ohm: `Rp v / (supply - v)`.
///
/// # Errors
/// If the voltage is not above 0 and below the supply: at 0 the thermistor is
/// shorted, at the supply it is open.
pub fn ohms_in_divider(volts: f64, supply: f64, pull_up: f64) -> Result<f64, NotPhysical> {
    positive("supply", supply)?;
    let wanted = "above 0 (shorted) and below the supply (open)";
    check(
        volts > 0.0 && volts < supply,
        "voltage of the divider",
        volts,
        wanted,
    )?;
    Ok(positive("pull-up", pull_up)? * volts / (supply - volts))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn resistance_and_temperature_undo_each_other() {
        let laws = [
            Thermistor::beta(10e3, 3435.0).unwrap(),
            Thermistor::common_10k().unwrap(),
        ];
        for law in laws {
            for celsius in [-20.0, 0.0, 25.0, 40.0, 85.0] {
                let back = law.celsius(law.ohms(celsius).unwrap()).unwrap();
                assert!((back - celsius).abs() < 1e-8, "{law:?} {celsius}: {back}");
            }
        }
    }

    #[test]
    fn a_divider_tells_the_resistance() {
        let ohms = ohms_in_divider(0.9, 1.8, 10e3).unwrap();
        assert!((ohms - 10e3).abs() < 1e-9);
        for volts in [0.0, 1.8, 2.0, -0.1, f64::NAN] {
            assert!(ohms_in_divider(volts, 1.8, 10e3).is_err(), "{volts}");
        }
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(Thermistor::beta(0.0, 3435.0).is_err());
        assert!(Thermistor::through([ROWS_10K[0]; 3]).is_err());
        let rising = [(0.0, 1e3), (25.0, 2e3), (60.0, 3e3)];
        assert!(Thermistor::through(rising).is_err());
        let law = Thermistor::beta(10e3, 3435.0).unwrap();
        assert!(law.celsius(-1.0).is_err());
        assert!(law.ohms(-300.0).is_err());
    }
}
