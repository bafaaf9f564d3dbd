//! What a reading is expected to be, as a probability.
//!
//! For each variant of a fault the operating point gives the reading, and its
//! slopes give the spread: tolerances and the meter's accuracy add in squares,
//! the unknown size of the fault becomes a rectangle as wide as what the
//! reading does across its cell. The sum over the variants is a mixture, on the
//! reading's own scale for volts and on the logarithm for ohms, cut at the
//! meter's limit: what lies above is the probability of OL.
//!
//! Readings of one circuit share its unknown values: what every unknown does to
//! one is its [`Outlook`].

use super::edit::Edit;
use super::fault::{Fault, Variant, variants};
use super::meter::{Meter, Mode, Reading};
use super::network::{Element, ElementId, Node};
use super::normal::{Blurred, censored};
use super::solve::{Parameter, SolveError, Solver};

/// A shift of more than this many combined standard deviations can be seen.
/// Two is common practice: about 95 % of normal readings lie within.
pub const SEEN: f64 = 2.0;

/// An unknown that moves a reading by more than this within its limits' standard
/// deviation is gone to both its ends, volt: slopes do not reach so far.
const WIDE: f64 = 0.2;

/// Readings are held between these amounts before a logarithm is taken, ohm.
const LOG_BOUNDS: (f64, f64) = (1e-3, 1e15);

/// How well one value of one element is known, as standard deviation in the
/// unit that [`Parameter`] names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The element.
    pub element: ElementId,
    /// Which of its values.
    pub parameter: Parameter,
    /// Standard deviation.
    pub deviation: f64,
}

impl Spread {
    /// A resistor within some percent, evenly (JCGM 100:2008, 4.3.7).
    #[must_use]
    pub fn tolerance(element: ElementId, percent: f64) -> Self {
        Spread {
            element,
            parameter: Parameter::Resistance,
            deviation: percent / 100.0 / 3.0_f64.sqrt(),
        }
    }

    /// A junction that nobody measured: its saturation current is known within
    /// this factor (one standard deviation of its logarithm). A factor of 3 is
    /// 28 mV per unit of ideality.
    #[must_use]
    pub fn unknown_junction(element: ElementId, factor: f64) -> Self {
        Spread {
            element,
            parameter: Parameter::Saturation,
            deviation: factor.ln().abs(),
        }
    }
}

/// Scale of a mode's readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// As read.
    Linear,
    /// Natural logarithm.
    Logarithm,
}

impl Scale {
    /// The scale used for a mode.
    #[must_use]
    pub fn of(mode: Mode) -> Self {
        match mode {
            Mode::Volts | Mode::Diode => Scale::Linear,
            Mode::Ohms => Scale::Logarithm,
        }
    }

    pub(super) fn to(self, value: f64) -> f64 {
        match self {
            Scale::Linear => value,
            Scale::Logarithm => value.clamp(LOG_BOUNDS.0, LOG_BOUNDS.1).ln(),
        }
    }

    fn from(self, value: f64) -> f64 {
        match self {
            Scale::Linear => value,
            Scale::Logarithm => value.exp(),
        }
    }

    /// Slope of the scale.
    pub(super) fn slope(self, value: f64) -> f64 {
        match self {
            Scale::Linear => 1.0,
            Scale::Logarithm => 1.0 / value.clamp(LOG_BOUNDS.0, LOG_BOUNDS.1),
        }
    }
}

/// One reading of a circuit whose faults have known sizes, as what it follows:
/// its middle, and how it moves with all that is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// Scale of the mode.
    pub scale: Scale,
    /// Where it lies on the scale.
    pub centre: f64,
    /// Standard deviation of the meter alone, on the scale.
    pub noise: f64,
    /// By how much it moves on the scale with one standard deviation of each
    /// unknown value of the circuit.
    pub by: Vec<f64>,
    /// How it moves with the natural logarithm of the size of each fault that
    /// was asked about.
    pub sizes: Vec<f64>,
    /// Limit on the scale, OL above.
    pub limit: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Part {
    weight: f64,
    /// Where the variant itself lies on the scale.
    centre: f64,
    blurred: Blurred,
    /// Limit on the scale, OL above.
    limit: f64,
}

/// The distribution of a reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    scale: Scale,
    parts: Vec<Part>,
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

impl Visibility {
    /// At least half of the sizes can be seen.
    #[must_use]
    pub fn is_seen(&self) -> bool {
        // Weights that should add up to a half may miss it by a rounding.
        self.share >= 0.5 - 1e-9
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
        if self.scale == Scale::Logarithm && value < LOG_BOUNDS.0 {
            return self.density(LOG_BOUNDS.0);
        }
        let x = self.scale.to(value);
        let sum: f64 = self
            .parts
            .iter()
            .filter(|p| x <= p.limit)
            .map(|p| p.weight * p.blurred.density(x))
            .sum();
        sum * self.scale.slope(value)
    }

    /// Probability of a value up to this one being shown; OL lies above all.
    #[must_use]
    pub fn cdf(&self, value: f64) -> f64 {
        let x = self.scale.to(value);
        self.parts
            .iter()
            .map(|p| p.weight * p.blurred.below(x.min(p.limit)))
            .sum()
    }

    /// Probability of OL.
    #[must_use]
    pub fn ol(&self) -> f64 {
        let parts = self.parts.iter();
        let shown: f64 = parts.map(|p| p.weight * p.blurred.below(p.limit)).sum();
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

    /// Standard deviation on the scale of the mode: volt, or the logarithm of
    /// ohm; OL left aside.
    #[must_use]
    pub fn deviation(&self) -> f64 {
        let total: f64 = self.parts.iter().map(|p| p.weight).sum();
        let mean = |f: &dyn Fn(&Part) -> f64| {
            self.parts.iter().map(|p| p.weight * f(p)).sum::<f64>() / total
        };
        let middle = mean(&|p| p.blurred.middle());
        let squares = mean(&|p| p.blurred.variance() + (p.blurred.middle() - middle).powi(2));
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
                let weight = f.weight * h.weight;
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

/// Predicts readings of one circuit with one meter.
#[derive(Debug)]
pub struct Predictor<'a> {
    solver: &'a mut Solver,
    meter: &'a Meter,
    spreads: &'a [Spread],
}

impl<'a> Predictor<'a> {
    /// For a circuit (powered for [`Mode::Volts`], unpowered for the other
    /// two), a meter, and what is not known exactly.
    #[must_use]
    pub fn new(solver: &'a mut Solver, meter: &'a Meter, spreads: &'a [Spread]) -> Self {
        Predictor {
            solver,
            meter,
            spreads,
        }
    }

    /// Prediction with these faults present together; none for the healthy
    /// circuit.
    ///
    /// # Errors
    /// If a fault does not fit the circuit, or there is no operating point.
    pub fn predict(
        &mut self,
        faults: &[Fault],
        red: Node,
        black: Node,
        mode: Mode,
    ) -> Result<Prediction, SolveError> {
        self.predict_variants(&variants(faults), red, black, mode)
    }

    /// The same from variants made before, for a table of many points.
    ///
    /// # Errors
    /// As [`predict`](Self::predict).
    pub fn predict_variants(
        &mut self,
        all: &[Variant],
        red: Node,
        black: Node,
        mode: Mode,
    ) -> Result<Prediction, SolveError> {
        let scale = Scale::of(mode);
        let mut parts = Vec::with_capacity(all.len());
        for variant in all {
            parts.push(self.part(variant, red, black, mode)?);
        }
        Ok(Prediction { scale, parts })
    }

    fn part(
        &mut self,
        variant: &Variant,
        red: Node,
        black: Node,
        mode: Mode,
    ) -> Result<Part, SolveError> {
        let sized: Vec<usize> = variant.reaches.iter().map(|r| r.edit).collect();
        let o = self.outlook(&variant.edits, &sized, red, black, mode)?;
        let mut squares = o.noise.powi(2) + o.by.iter().map(|by| by * by).sum::<f64>();
        let (mut low, mut high) = (o.centre, o.centre);
        for (reach, by) in variant.reaches.iter().zip(&o.sizes) {
            let (one, other) = (o.centre + by * reach.down, o.centre + by * reach.up);
            let (down, up) = (one.min(other), one.max(other));
            // Only one rectangle: the widest; the others widen the blur.
            if up - down > high - low {
                squares += (high - low).powi(2) / 12.0;
                (low, high) = (down, up);
            } else {
                squares += (up - down).powi(2) / 12.0;
            }
        }
        Ok(Part {
            weight: variant.weight,
            centre: o.centre,
            blurred: Blurred {
                low,
                high,
                deviation: squares.sqrt().max(1e-12),
            },
            limit: o.limit,
        })
    }

    /// One reading with these changes made to the circuit. `sized` are those of
    /// them, by index, whose sizes it is to be followed with.
    ///
    /// # Errors
    /// As [`predict`](Self::predict).
    pub fn outlook(
        &mut self,
        edits: &[Edit],
        sized: &[usize],
        red: Node,
        black: Node,
        mode: Mode,
    ) -> Result<Outlook, SolveError> {
        let scale = Scale::of(mode);
        let solver = &mut *self.solver;
        let mut measured = self.meter.measure(solver, edits, red, black, mode)?;
        let value = measured.value();
        let slope = scale.slope(value);
        let held = value.clamp(-measured.limit, measured.limit);
        let noise = measured.accuracy.deviation(held) * scale.slope(held);
        let limit = scale.to(measured.limit);
        let gradient = measured.gradient();
        let along = |s: &Spread| slope * gradient.of(s.element, s.parameter) * s.deviation;
        let mut by: Vec<f64> = self.spreads.iter().map(along).collect();
        let size = |e: &usize| slope * gradient.of_edit(*e, &edits[*e]);
        let sizes = sized.iter().map(size).collect();
        if scale == Scale::Linear {
            for (spread, by) in self.spreads.iter().zip(&mut by) {
                if by.abs() > WIDE
                    && let Some(ends) = ends(solver, spread, edits)
                {
                    let mut shown = |edit: Edit| -> Result<f64, SolveError> {
                        let all = [edits, &[edit]].concat();
                        let at = self.meter.measure(solver, &all, red, black, mode)?;
                        Ok(at.value().clamp(-at.limit, at.limit))
                    };
                    *by = (shown(ends.1)? - shown(ends.0)?) / 12f64.sqrt();
                }
            }
        }
        Ok(Outlook {
            scale,
            centre: scale.to(value),
            noise,
            by,
            sizes,
            limit,
        })
    }
}

/// The edits that bring an unknown to the ends of its rectangle; none where it
/// is not to be moved by itself.
fn ends(solver: &Solver, spread: &Spread, edits: &[Edit]) -> Option<(Edit, Edit)> {
    let id = spread.element;
    let touched = edits.iter().any(|e| match e {
        Edit::InSeries { element, .. }
        | Edit::Remove { element }
        | Edit::Saturation { element, .. } => *element == id,
        Edit::Bridge { .. } | Edit::Probe { .. } => false,
    });
    let up = (spread.deviation * 3f64.sqrt()).exp();
    match (solver.network().element(id)?, spread.parameter) {
        _ if touched => None,
        (Element::Junction { .. }, Parameter::Saturation) => {
            let bent = |factor| Edit::Saturation {
                element: id,
                factor,
            };
            Some((bent(1.0 / up), bent(up)))
        }
        // Less resistance is more beside it.
        (Element::Resistor { a, b, ohms }, Parameter::Resistance) if *ohms > 0.0 => {
            let less = Edit::Bridge {
                a: *a,
                b: *b,
                ohms: ohms / (up - 1.0),
            };
            let more = Edit::InSeries {
                element: id,
                ohms: ohms * (up - 1.0),
            };
            Some((less, more))
        }
        _ => None,
    }
}
