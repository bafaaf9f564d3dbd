//! A string of lamps and the boost supply that feeds it.
//!
//! ```text
//! string  = n · Vf + margin                       volt
//! battery = string · current / battery voltage    ampere, without losses
//! ```
//!
//! Both are arithmetic. What a white lamp drops is 3.1 to 4.0 V on older
//! parts, by maker (TI SNVA058, Linear Technology DN231), and 3.2 V in a
//! string measured on a panel; take the panel's own figure where there is one.

use super::physical::{NotPhysical, check, not_negative, positive};

/// Highest DC voltage that is not counted as hazardous to touch, volt (ES1 of
/// IEC 62368-1).
pub const TOUCH_LIMIT: f64 = 60.0;

/// To be shown with every boost supply.
pub const BOOST_CAUTION: &str = "A display's boost supply is tens of volts, and higher when the string is open: no fingers and no bare probe shafts near it, supply off and discharged before other tests.";

/// To be shown above [`TOUCH_LIMIT`].
pub const HAZARD_CAUTION: &str = "Above 60 V DC, the limit that IEC 62368-1 sets for what may be touched: hazardous. Only for those trained for it, guarded, one hand, by local rules.";

/// A string of lamps in series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LampString {
    /// How many in series.
    pub lamps: u32,
    /// Forward voltage of each, volt.
    pub each: f64,
    /// How much that may be off, volt.
    pub spread: f64,
    /// What else is in the way, volt: the driver's sense resistor and
    /// headroom.
    pub margin: f64,
}

/// Voltage across a string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StringVolts {
    /// Lowest, volt.
    pub least: f64,
    /// Usual, volt.
    pub usual: f64,
    /// Highest, volt.
    pub most: f64,
}

impl StringVolts {
    /// Whether it may be above what may be touched.
    #[must_use]
    pub fn is_hazardous(&self) -> bool {
        self.most > TOUCH_LIMIT
    }

    /// The cautions that go with it.
    #[must_use]
    pub fn cautions(&self) -> Vec<&'static str> {
        let mut all = vec![BOOST_CAUTION];
        all.extend(self.is_hazardous().then_some(HAZARD_CAUTION));
        all
    }
}

impl LampString {
    /// What the boost supply has to give.
    ///
    /// # Errors
    /// If there are no lamps, or a voltage is not physical.
    pub fn volts(&self) -> Result<StringVolts, NotPhysical> {
        let n = positive("number of lamps", f64::from(self.lamps))?;
        let each = positive("voltage of each lamp", self.each)?;
        let spread = not_negative("spread", self.spread)?;
        check(spread < each, "spread", spread, "below a lamp's voltage")?;
        let margin = not_negative("margin", self.margin)?;
        Ok(StringVolts {
            least: n * (each - spread) + margin,
            usual: n * each + margin,
            most: n * (each + spread) + margin,
        })
    }
}

/// Current that a boost supply takes at least, without losses, ampere.
///
/// # Errors
/// If a value is not physical.
pub fn boost_input(string: f64, amps: f64, supply: f64) -> Result<f64, NotPhysical> {
    let watts = not_negative("string voltage", string)? * not_negative("current", amps)?;
    Ok(watts / positive("supply", supply)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cautions_come_with_the_volts() {
        let string = |lamps| LampString {
            lamps,
            each: 3.2,
            spread: 0.2,
            margin: 0.3,
        };
        let volts = string(9).volts().unwrap();
        assert!((volts.usual - 29.1).abs() < 1e-9);
        assert_eq!(volts.cautions(), [BOOST_CAUTION]);
        // 18 · 3.4 + 0.3 V at most.
        let volts = string(18).volts().unwrap();
        assert!(volts.usual < TOUCH_LIMIT && volts.is_hazardous());
        assert_eq!(volts.cautions().len(), 2);
        assert!(string(0).volts().is_err());
    }

    #[test]
    fn power_in_is_power_out() {
        let amps = boost_input(30.0, 0.02, 3.8).unwrap();
        assert!((amps * 3.8 - 0.6).abs() < 1e-12);
        assert!(boost_input(30.0, 0.02, 0.0).is_err());
    }
}
