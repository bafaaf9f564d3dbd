//! What a meter is going to show, as a mixture of parts.

use super::scale::Scale;
use crate::circuit::meter::Reading;
use crate::circuit::normal::{Blurred, censored};

/// A shift of more than this many combined standard deviations can be seen.
/// Two is common practice: about 95 % of normal readings lie within.
pub const SEEN: f64 = 2.0;

/// An unknown that moves a reading by more than this within its limits' standard
/// deviation is gone to both its ends, volt: slopes do not reach so far.
pub(super) const WIDE: f64 = 0.2;

/// The same on the scale of a diode test: a factor of some 1.6.
pub(super) const WIDE_DROP: f64 = 0.5;

/// A range that begins or ends further from a resistance than so many standard
/// deviations has no part in showing it.
pub(super) const FAR: f64 = 2.5;

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Part {
    pub(super) weight: f64,
    /// How much of it is shown, the last range with what is over limit.
    pub(super) share: f64,
    /// Where the variant itself lies on the scale.
    pub(super) centre: f64,
    pub(super) blurred: Blurred,
    /// Limits on the scale: above the higher it is OL or in the next range, up to
    /// the lower in the range before.
    pub(super) limit: f64,
    pub(super) floor: f64,
}

/// The distribution of a reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    pub(super) scale: Scale,
    pub(super) parts: Vec<Part>,
}

/// Whether a reading can tell a fault from a healthy circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Visibility {
    /// Distance of the two from each other in combined standard deviations,
    /// on average over the sizes of the fault.
    pub shift: f64,
    /// Share of the sizes whose shift is above [`SEEN`].
    pub share: f64,
}

/// Distance of two parts in combined standard deviations of what is shown: all
/// above the limit is the same.
fn shift(h: &Part, f: &Part) -> f64 {
    let shown = |p: &Part| censored(p.centre, p.blurred.deviation, p.limit);
    let ((h, dh), (f, df)) = (shown(h), shown(f));
    let apart = (h - f).abs();
    if apart == 0.0 {
        return 0.0;
    }
    apart / (dh * dh + df * df).sqrt().max(1e-300)
}

impl Part {
    /// Share of it that is shown up to a place on the scale.
    pub(super) fn below(&self, x: f64) -> f64 {
        (self.blurred.below(x.min(self.limit)) - self.under_floor()).max(0.0)
    }

    pub(super) fn under_floor(&self) -> f64 {
        match self.floor == f64::NEG_INFINITY {
            true => 0.0,
            false => self.blurred.below(self.floor),
        }
    }
}

impl Visibility {
    /// At least half of the sizes can be seen, or some stand out so far that the
    /// average does.
    #[must_use]
    pub fn is_seen(&self) -> bool {
        // Weights that should add up to a half may miss it by a rounding.
        self.share >= 0.5 - 1e-9 || self.shift > 2.0 * SEEN
    }
}

impl Prediction {
    /// One of several things is the case, each with its chance; all of one
    /// mode. The chances are scaled to a sum of one.
    #[must_use]
    pub fn mixture(of: &[(f64, Prediction)]) -> Option<Prediction> {
        let scale = of.first()?.1.scale;
        let total: f64 = of.iter().map(|(chance, _)| chance).sum();
        let parts = of.iter().flat_map(|(chance, p)| {
            let weigh = move |part: &Part| Part {
                weight: part.weight * chance / total,
                ..*part
            };
            p.parts.iter().map(weigh)
        });
        Some(Prediction {
            scale,
            parts: parts.collect(),
        })
    }

    /// Probability per volt (or per ohm) of this value being shown. For a
    /// Bayesian update, where all compared must be of the same kind: with
    /// [`ol`](Self::ol) for OL.
    #[must_use]
    pub fn density(&self, value: f64) -> f64 {
        let x = self.scale.to(value);
        let sum: f64 = self
            .parts
            .iter()
            .filter(|p| x <= p.limit && x > p.floor)
            .map(|p| p.weight * p.blurred.density(x))
            .sum();
        sum * self.scale.slope(value)
    }

    /// Probability of a value up to this one being shown; OL lies above all.
    #[must_use]
    pub fn cdf(&self, value: f64) -> f64 {
        let x = self.scale.to(value);
        self.parts.iter().map(|p| p.weight * p.below(x)).sum()
    }

    /// Probability of OL.
    #[must_use]
    pub fn ol(&self) -> f64 {
        let parts = self.parts.iter();
        let shown: f64 = parts.map(|p| p.weight * p.below(p.limit)).sum();
        (1.0 - shown).clamp(0.0, 1.0)
    }

    /// Likelihood of a reading: [`density`](Self::density) or
    /// [`ol`](Self::ol).
    #[must_use]
    pub fn likelihood(&self, reading: Reading) -> f64 {
        match reading {
            Reading::Value(value) => self.density(value),
            Reading::OL => self.ol(),
        }
    }

    /// The one reading to name: the middle of the distribution (its median),
    /// or OL.
    #[must_use]
    pub fn typical(&self) -> Reading {
        self.quantile(0.5)
    }

    /// The reading that this share of all readings does not exceed.
    #[must_use]
    pub fn quantile(&self, share: f64) -> Reading {
        let edge = |sign: f64| {
            let edges = self.parts.iter().map(|p| {
                let end = if sign < 0.0 {
                    p.blurred.low
                } else {
                    p.blurred.high
                };
                sign * (end + sign * 40.0 * p.blurred.deviation)
            });
            sign * edges.fold(f64::NEG_INFINITY, f64::max)
        };
        if share >= 1.0 - self.ol() {
            return Reading::OL;
        }
        let (mut low, mut high) = (edge(-1.0), edge(1.0));
        for _ in 0..80 {
            let middle = 0.5 * (low + high);
            if self.cdf(self.scale.from(middle)) < share {
                low = middle;
            } else {
                high = middle;
            }
        }
        Reading::Value(self.scale.from(0.5 * (low + high)))
    }

    /// Standard deviation, OL left aside: volt, or of ohms that of about the natural
    /// logarithm.
    #[must_use]
    pub fn deviation(&self) -> f64 {
        let weight = |p: &Part| p.weight * p.share;
        let total: f64 = self.parts.iter().map(weight).sum();
        let mean = |f: &dyn Fn(&Part) -> f64| {
            self.parts.iter().map(|p| weight(p) * f(p)).sum::<f64>() / total
        };
        let own = |p: &Part| match self.scale {
            // By the slope of the scale in the middle of the part.
            Scale::Drop => {
                let middle = self.scale.from(p.blurred.middle());
                (
                    middle,
                    p.blurred.variance() / self.scale.slope(middle).powi(2),
                )
            }
            Scale::Linear | Scale::Ohms => (p.blurred.middle(), p.blurred.variance()),
        };
        let middle = mean(&|p| own(p).0);
        let squares = mean(&|p| own(p).1 + (own(p).0 - middle).powi(2));
        squares.max(0.0).sqrt()
    }

    /// How a faulty circuit's reading stands out against this, the healthy
    /// one's. Two readings beyond the limit are both OL and tell nothing.
    #[must_use]
    pub fn visibility(&self, faulty: &Prediction) -> Visibility {
        let mut seen = Visibility {
            shift: 0.0,
            share: 0.0,
        };
        for f in &faulty.parts {
            for h in &self.parts {
                let weight = f.weight * f.share * h.weight * h.share;
                let shift = shift(h, f);
                seen.shift += weight * shift;
                if shift > SEEN {
                    seen.share += weight;
                }
            }
        }
        seen
    }
}
