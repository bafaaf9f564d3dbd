//! The junction's law, and the step limit that keeps Newton's method on it.

use super::network::Junction;
use std::f64::consts::{E, SQRT_2};

/// Current above which the exponential goes on as its tangent, ampere. Far
/// above anything on a board; keeps a wild iterate finite.
const TANGENT_ABOVE: f64 = 1e6;

/// A step that leaves no more than this share of the current shuts a junction.
const SHUT: f64 = 0.1;

/// A junction ready for evaluation: products formed once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Diode {
    /// Saturation current, ampere.
    pub(super) is: f64,
    /// `n VT`, volt.
    pub(super) nv: f64,
    /// Series resistance, ohm.
    pub(super) rs: f64,
    /// Ideality.
    pub(super) n: f64,
    /// Voltage above which a step is limited, volt.
    critical: f64,
    /// Exponent above which the law is its tangent.
    top: f64,
}

impl Diode {
    pub(super) fn new(junction: &Junction) -> Self {
        let nv = junction.ideality * junction.thermal;
        Diode {
            is: junction.saturation,
            nv,
            rs: junction.series,
            n: junction.ideality,
            critical: nv * (nv / (SQRT_2 * junction.saturation)).ln(),
            top: (TANGENT_ABOVE / junction.saturation).ln().max(1.0),
        }
    }

    /// Current and its slope at the inner voltage `v` (without the series
    /// resistance): Shockley's equation above `-3 n VT`, SPICE's cubic tail
    /// below.
    pub(super) fn current(&self, v: f64) -> (f64, f64) {
        let x = v / self.nv;
        if x > self.top {
            let e = self.is * self.top.exp();
            return (e * (1.0 + x - self.top) - self.is, e / self.nv);
        }
        if x >= -3.0 {
            return (self.is * x.exp_m1(), self.is * x.exp() / self.nv);
        }
        let tail = (3.0 / (x * E)).powi(3);
        (-self.is * (1.0 + tail), 3.0 * self.is * tail / v)
    }

    /// The inner voltage to go to, given where Newton's step wants to go: a
    /// long step up the exponential becomes the step that gives the current
    /// it asked for (the limit used by SPICE), and so does a step down that
    /// asks for next to none: along the tangents it would take a step for each
    /// `n VT`. Says whether it limited.
    pub(super) fn limit(&self, wanted: f64, from: f64) -> (f64, bool) {
        let growth = 1.0 + (wanted - from) / self.nv;
        if from > 2.0 * self.nv && growth.abs() < SHUT {
            let to = from + self.nv * growth.max(0.0).ln();
            return (to.max(0.0), true);
        }
        if wanted <= self.critical || (wanted - from).abs() <= 2.0 * self.nv {
            return (wanted, false);
        }
        let to = if from > 0.0 {
            if growth > 0.0 {
                from + self.nv * growth.ln()
            } else {
                self.critical
            }
        } else if wanted > self.nv {
            self.nv * (wanted / self.nv).ln()
        } else {
            wanted
        };
        (to, true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn law_and_slope_are_continuous() {
        let d = Diode::new(&Junction::new(2.52e-9, 1.752));
        for v in [-3.0 * d.nv, d.nv * d.top] {
            let (below, above) = (d.current(v - 1e-12), d.current(v + 1e-12));
            assert!((below.0 - above.0).abs() <= 1e-6 * above.0.abs());
            assert!((below.1 / above.1 - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn slope_is_the_derivative() {
        let d = Diode::new(&Junction::new(1e-9, 1.3));
        for v in [-5.0, -0.2, -0.05, 0.0, 0.1, 0.5] {
            let h = 1e-6;
            let numeric = (d.current(v + h).0 - d.current(v - h).0) / (2.0 * h);
            let slope = d.current(v).1;
            assert!((numeric - slope).abs() <= 1e-6 * slope + 1e-17, "{v}");
        }
    }
}
