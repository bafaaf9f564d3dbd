//! The standard normal distribution.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Density at `x`.
pub(super) fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
}

/// Probability below `x`, to full relative precision also far out on the low
/// side.
pub(super) fn below(x: f64) -> f64 {
    let t = x.abs() * FRAC_1_SQRT_2;
    let tail = if t < 2.5 { 1.0 - erf(t) } else { erfc(t) };
    if x < 0.0 {
        0.5 * tail
    } else {
        1.0 - 0.5 * tail
    }
}

/// Error function by its series of positive terms (Abramowitz and Stegun
/// 7.1.6), for small arguments.
fn erf(t: f64) -> f64 {
    let mut term = t;
    let mut sum = t;
    let mut k = 0.5;
    while term > 1e-17 * sum {
        k += 1.0;
        term *= t * t / k;
        sum += term;
    }
    2.0 / PI.sqrt() * (-t * t).exp() * sum
}

/// Complementary error function by its continued fraction (Abramowitz and
/// Stegun 7.1.14), for large arguments.
fn erfc(t: f64) -> f64 {
    if t > 27.0 {
        return 0.0;
    }
    let mut fraction = t;
    for k in (1..=40).rev() {
        fraction = t + 0.5 * f64::from(k) / fraction;
    }
    (-t * t).exp() / (fraction * PI.sqrt())
}

/// A rectangle from `low` to `high`, blurred by a normal distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Blurred {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) deviation: f64,
}

impl Blurred {
    fn is_narrow(&self) -> bool {
        self.high - self.low < 1e-3 * self.deviation
    }

    pub(super) fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }

    pub(super) fn variance(&self) -> f64 {
        let width = self.high - self.low;
        self.deviation * self.deviation + width * width / 12.0
    }

    pub(super) fn density(&self, x: f64) -> f64 {
        if self.is_narrow() {
            return density((x - self.middle()) / self.deviation) / self.deviation;
        }
        let (p, q) = (x - self.low, self.high - x);
        let (p, q) = (p / self.deviation, q / self.deviation);
        // Far outside on either side the difference of two small tails.
        let share = if p < 0.0 {
            below(p) - below(-q)
        } else {
            below(q) - below(-p)
        };
        share.max(0.0) / (self.high - self.low)
    }

    pub(super) fn below(&self, x: f64) -> f64 {
        if self.is_narrow() {
            return below((x - self.middle()) / self.deviation);
        }
        let integral = |t: f64| t * below(t) + density(t);
        let p = integral((x - self.low) / self.deviation);
        let q = integral((x - self.high) / self.deviation);
        ((p - q) * self.deviation / (self.high - self.low)).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_values() {
        // Abramowitz and Stegun, table 26.1.
        for (x, p) in [
            (0.0, 0.5),
            (1.0, 0.841_344_746_068_543),
            (2.0, 0.977_249_868_051_821),
            (3.0, 0.998_650_101_968_370),
        ] {
            assert!((below(x) - p).abs() < 1e-14, "{x}");
            assert!((below(-x) - (1.0 - p)).abs() < 1e-14, "{x}");
        }
        assert!((below(-3.535_6) / below(-3.535_5) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn blurred_rectangle_integrates_its_density() {
        let b = Blurred {
            low: -1.0,
            high: 2.0,
            deviation: 0.3,
        };
        let (mut sum, h) = (0.0, 1e-3);
        for i in 0..8000 {
            let x = -4.0 + h * f64::from(i);
            sum += h * b.density(x + h / 2.0);
            assert!((sum - b.below(x + h)).abs() < 1e-6);
        }
        assert!((sum - 1.0).abs() < 1e-6);
    }
}
