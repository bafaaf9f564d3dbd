//! What a plan costs at least and at most.

/// Proven bounds of an expected cost, in currency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// No plan costs less.
    pub low: f64,
    /// The plan that was found costs this.
    pub high: f64,
    /// What is paid of that in work and parts: neither the loss where the device
    /// goes back unmended nor what a step counts beyond its price.
    pub spent: f64,
}

impl Bounds {
    /// A cost that is known.
    pub(super) fn exactly(cost: f64, spent: f64) -> Self {
        Bounds {
            low: cost,
            high: cost,
            spent,
        }
    }

    pub(super) fn times(self, by: f64) -> Self {
        Bounds {
            low: self.low * by,
            high: self.high * by,
            spent: self.spent * by,
        }
    }

    pub(super) fn plus(self, other: Bounds) -> Self {
        Bounds {
            low: self.low + other.low,
            high: self.high + other.high,
            spent: self.spent + other.spent,
        }
    }

    /// Nothing is left to find out.
    #[must_use]
    pub fn is_exact(self) -> bool {
        self.high - self.low <= 1e-10 * self.high.abs().max(1.0)
    }
}
