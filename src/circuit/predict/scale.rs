//! The scale on which readings are compared.

use crate::circuit::meter::{Measured, Mode};

/// Around this resistance the scale of ohms goes over from plain differences to
/// ratios, ohm: about what leads and contacts differ by, so that 0 ohm is as good
/// a reading as any.
const PLAIN_OHMS: f64 = 0.5;

/// Readings are held to this amount before they are put on a scale of ratios.
const MOST: f64 = 1e15;

/// The same of the voltage that a diode test drops, volt: some times what the last
/// digits are worth. A resistance drops the more the larger it is.
const PLAIN_DROP: f64 = 0.05;

/// Scale of a mode's readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// As read: volts.
    Linear,
    /// Differences of a resistance below [`PLAIN_OHMS`], ratios above: the
    /// inverse hyperbolic sine, which goes on as the natural logarithm does, and
    /// through 0 and below (a meter that was nulled with worse contact shows less
    /// than 0).
    Ohms,
    /// The same of the voltage of a diode test, around [`PLAIN_DROP`].
    Drop,
}

impl Scale {
    /// The scale used for a mode.
    #[must_use]
    pub fn of(mode: Mode) -> Self {
        match mode {
            Mode::Volts => Scale::Linear,
            Mode::Diode => Scale::Drop,
            Mode::Ohms => Scale::Ohms,
        }
    }

    /// Where it goes over from differences to ratios, in the unit of the mode; not
    /// at all where there is no such place.
    fn plain(self) -> Option<f64> {
        match self {
            Scale::Linear => None,
            Scale::Ohms => Some(PLAIN_OHMS),
            Scale::Drop => Some(PLAIN_DROP),
        }
    }

    /// Where a value lies on it.
    #[must_use]
    pub fn to(self, value: f64) -> f64 {
        match self.plain() {
            None => value,
            Some(plain) => (value.clamp(-MOST, MOST) / plain).asinh(),
        }
    }

    /// The value at a place on it.
    #[must_use]
    pub fn from(self, value: f64) -> f64 {
        match self.plain() {
            None => value,
            Some(plain) => plain * value.sinh(),
        }
    }

    /// A measurement on the scale: its value, the slope of the scale there,
    /// and the standard deviation of the meter.
    pub(in crate::circuit) fn of_measured(self, measured: &Measured) -> (f64, f64, f64) {
        let value = measured.value();
        let held = value.clamp(-measured.limit, measured.limit);
        let noise = measured.accuracy.deviation(held) * self.slope(held);
        (self.to(value), self.slope(value), noise)
    }

    /// Slope of the scale.
    pub(in crate::circuit) fn slope(self, value: f64) -> f64 {
        match self.plain() {
            None => 1.0,
            Some(plain) => 1.0 / value.clamp(-MOST, MOST).hypot(plain),
        }
    }
}
