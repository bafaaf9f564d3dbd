//! The standard normal distribution.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Density at `x`.
pub(super) fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
}

/// Probability below `x`, to full relative precision also far out on the low
/// side.
pub(super) fn below(x: f64) -> f64 {
    0.5 * libm::erfc(-x * FRAC_1_SQRT_2)
}

/// Mean and standard deviation of what is shown of a normal amount where all
/// above a limit is shown as the limit.
pub(super) fn censored(mean: f64, deviation: f64, limit: f64) -> (f64, f64) {
    // On the scale of deviations from the limit down.
    let a = (limit - mean) / deviation;
    let (share, edge) = (below(a), density(a));
    let first = -(a * share + edge);
    let second = (a * a + 1.0) * share + a * edge;
    let variance = (second - first * first).max(0.0);
    (limit + first * deviation, variance.sqrt() * deviation)
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
        // Far out: `0.5 * math.erfc(x / sqrt(2))` of Python 3's standard library.
        for (x, q) in [
            (5.0, 2.866_515_718_791_946e-7),
            (10.0, 7.619_853_024_160_593e-24),
            (20.0, 2.753_624_118_606_331e-89),
        ] {
            assert!((below(-x) / q - 1.0).abs() < 1e-12, "{x}");
        }
    }

    #[test]
    fn what_is_shown_below_a_limit() {
        // By plain sums over the density.
        for limit in [-2.0, 0.3, 1.0, 1.7, 9.0] {
            let (mean, deviation) = (1.0, 0.5);
            let h = 1e-3;
            let shown = |i: i32| f64::min(mean + deviation * (h * f64::from(i) - 8.0), limit);
            let weight = |i: i32| h * density(h * f64::from(i) - 8.0);
            let sum = |f: &dyn Fn(f64) -> f64| -> f64 {
                (0..16_000).map(|i| weight(i) * f(shown(i))).sum()
            };
            let first = sum(&|x| x);
            let second = sum(&|x| (x - first).powi(2));
            let found = censored(mean, deviation, limit);
            assert!((found.0 - first).abs() < 1e-6, "{limit} {found:?} {first}");
            assert!(
                (found.1 - second.sqrt()).abs() < 1e-4,
                "{limit} {found:?} {second}"
            );
        }
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
