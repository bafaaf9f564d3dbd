//! What a reading is expected to be, as a probability.
//!
//! For each variant of a fault the operating point gives the reading, and its
//! slopes give the spread: tolerances and the meter's accuracy add in squares,
//! the unknown size of the fault becomes a rectangle as wide as what the
//! reading does across its cell. The sum over the variants is a mixture, on the
//! reading's own scale for volts and on a [scale of ratios](Scale) for ohms and diode tests, cut at the
//! meter's limit: what lies above is the probability of OL. A resistance that
//! may be shown in one range or the next is cut between them: junctions conduct
//! less at the current of the next, so it may show there several times what it
//! nearly showed before.
//!
//! Readings of one circuit share its unknown values: what every unknown does to
//! one is its [`Outlook`].

use super::calibrate::Told;
use super::edit::Edit;
use super::fault::{Fault, Variant, variants};
use super::meter::{Accuracy, Measured, Meter, Mode, Reading, offset};
use super::network::{Element, ElementId, Node};
use super::normal::{Blurred, censored};
use super::solve::{Parameter, SolveError, Solver};

/// A shift of more than this many combined standard deviations can be seen.
/// Two is common practice: about 95 % of normal readings lie within.
pub const SEEN: f64 = 2.0;

/// An unknown that moves a reading by more than this within its limits' standard
/// deviation is gone to both its ends, volt: slopes do not reach so far.
const WIDE: f64 = 0.2;
/// The same on the scale of a diode test: a factor of some 1.6.
const WIDE_DROP: f64 = 0.5;

/// A range that begins or ends further from a resistance than so many standard
/// deviations has no part in showing it.
const FAR: f64 = 2.5;

/// Around this resistance the scale of ohms goes over from plain differences to
/// ratios, ohm: about what leads and contacts differ by, so that 0 ohm is as good
/// a reading as any.
const PLAIN_OHMS: f64 = 0.5;
/// The same of the voltage that a diode test drops, volt: some times what the last
/// digits are worth. A resistance drops the more the larger it is.
const PLAIN_DROP: f64 = 0.05;
/// Readings are held to this amount before they are put on a scale of ratios.
const MOST: f64 = 1e15;

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
    pub(super) fn of_measured(self, measured: &Measured) -> (f64, f64, f64) {
        let value = measured.value();
        let held = value.clamp(-measured.limit, measured.limit);
        let noise = measured.accuracy.deviation(held) * self.slope(held);
        (self.to(value), self.slope(value), noise)
    }

    /// Slope of the scale.
    pub(super) fn slope(self, value: f64) -> f64 {
        match self.plain() {
            None => 1.0,
            Some(plain) => 1.0 / value.clamp(-MOST, MOST).hypot(plain),
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
    /// Standard deviation of the meter alone, on the scale, where it lies.
    pub noise: f64,
    /// Accuracy of the meter in the range that it was solved for.
    pub accuracy: Accuracy,
    /// By how much it moves on the scale with one standard deviation of what this
    /// meter and its leads are off by ([`offset`](super::meter::offset)): the same
    /// for all readings of a job.
    pub offset: f64,
    /// By how much it moves on the scale with one standard deviation of each
    /// unknown value of the circuit.
    pub by: Vec<f64>,
    /// How it moves with the natural logarithm of the size of each fault that
    /// was asked about.
    pub sizes: Vec<f64>,
    /// Limits on the scale: above the higher it is OL or in the next range of the
    /// meter, up to the lower in the range before.
    pub limit: f64,
    /// See there.
    pub floor: f64,
    /// By how much that may be off, as a standard deviation on the scale: it is found
    /// by a straight line, and junctions are not straight.
    pub floor_off: f64,
}

/// By how much the place up to which the range before shows a resistance is off, as a
/// standard deviation of its logarithm, and as a share of how far the reading moves
/// with all that is not known. Seen on drawn devices.
const FLOOR: f64 = 0.2;

impl Outlook {
    /// Standard deviation of the meter alone where it shows a place on the scale. A
    /// high range shows little of a small resistance, yet never takes it for a
    /// large one: what counts is the accuracy where it is shown.
    #[must_use]
    pub fn noise_at(&self, place: f64) -> f64 {
        let value = self.scale.from(place);
        self.accuracy.deviation(value) * self.scale.slope(value)
    }

    /// How far it moves with all that is not known of the circuit, the meter
    /// aside.
    pub(super) fn moves(&self) -> f64 {
        let all = self.by.iter().chain(&self.sizes);
        all.map(|by| by * by).sum::<f64>().sqrt()
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Part {
    weight: f64,
    /// How much of it is shown, the last range with what is over limit.
    share: f64,
    /// Where the variant itself lies on the scale.
    centre: f64,
    blurred: Blurred,
    /// Limits on the scale: above the higher it is OL or in the next range, up to
    /// the lower in the range before.
    limit: f64,
    floor: f64,
}

impl Part {
    /// Share of it that is shown up to a place on the scale.
    fn below(&self, x: f64) -> f64 {
        (self.blurred.below(x.min(self.limit)) - self.under_floor()).max(0.0)
    }

    fn under_floor(&self) -> f64 {
        match self.floor == f64::NEG_INFINITY {
            true => 0.0,
            false => self.blurred.below(self.floor),
        }
    }
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
    told: &'a [Told],
    wide: f64,
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
            told: &[],
            wide: WIDE,
        }
    }

    /// The same where readings of good boards have [told](Told) what the values
    /// come to together.
    #[must_use]
    pub fn told(self, told: &'a [Told]) -> Self {
        Predictor { told, ..self }
    }

    /// The same where the unknown values are known to lie nearby: their slopes
    /// here are enough.
    #[must_use]
    pub fn nearby(self) -> Self {
        Predictor {
            wide: f64::INFINITY,
            ..self
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
            let at = (red, black);
            let (part, seen) = self.part(variant, at, mode.into())?;
            parts.push(part);
            if mode == Mode::Ohms {
                self.ranges(variant, at, seen, &mut parts)?;
            }
        }
        Ok(Prediction { scale, parts })
    }

    /// The parts of a resistance in the other ranges that may show it.
    fn ranges(
        &mut self,
        variant: &Variant,
        at: (Node, Node),
        seen: Seen,
        parts: &mut Vec<Part>,
    ) -> Result<(), SolveError> {
        let last = self.meter.ohms.len().saturating_sub(1);
        let from = parts.len() - 1;
        let deviation = |p: &Part| p.blurred.variance().sqrt();
        // Up while the last may not show it.
        let mut range = seen.range;
        loop {
            let p = &mut parts[from + range - seen.range];
            let limit = self.meter.ohms.get(range).map_or(0.0, |r| r.full_scale);
            p.limit = Scale::Ohms.to(limit);
            if range >= last || p.limit - p.blurred.middle() > FAR * deviation(p) {
                break;
            }
            range += 1;
            parts.push(self.part(variant, at, Setting::range(range))?.0);
        }
        // Down while the range before might.
        let mut over = seen.passed.ln();
        let mut range = seen.range;
        while range > 0 && over < FAR * deviation(&parts[from]) {
            range -= 1;
            let part = self.part(variant, at, Setting::range(range))?.0;
            over = part.blurred.middle() - part.limit;
            if over > FAR * deviation(&part) {
                break;
            }
            parts.insert(from, part);
        }
        // Each begins where the one before ends.
        let (mut all, end) = (0.0, parts.len());
        for i in from..end {
            if i > from {
                let before = &parts[i - 1];
                let before = ((before.blurred.middle(), deviation(before)), before.limit);
                let here = (parts[i].blurred.middle(), deviation(&parts[i]));
                parts[i].floor = floor(before.0, before.1, here);
            }
            let p = &mut parts[i];
            let upto = if i + 1 == end {
                1.0
            } else {
                p.blurred.below(p.limit)
            };
            p.share = (upto - p.under_floor()).max(0.0);
            all += p.share;
        }
        for p in &mut parts[from..] {
            p.weight /= all.max(1e-300);
        }
        Ok(())
    }

    fn part(
        &mut self,
        variant: &Variant,
        at: (Node, Node),
        set: Setting,
    ) -> Result<(Part, Seen), SolveError> {
        let sized: Vec<usize> = variant.reaches.iter().map(|r| r.edit).collect();
        let (o, seen) = self.sight(&variant.edits, &sized, at, set)?;
        let unknown = o.by.iter().map(|by| by * by).sum::<f64>();
        let mut squares = o.noise.powi(2) + o.offset.powi(2) + unknown;
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
        let part = Part {
            weight: variant.weight,
            share: 1.0,
            centre: o.centre,
            blurred: Blurred {
                low,
                high,
                deviation: squares.sqrt().max(1e-12),
            },
            limit: o.limit,
            floor: f64::NEG_INFINITY,
        };
        Ok((part, seen))
    }

    /// One reading with these changes made to the circuit. `sized` are those of
    /// them, by index, whose sizes it is to be followed with. A resistance that
    /// was `shown` is taken in the range that shows it, else in the range that
    /// the meter takes.
    ///
    /// # Errors
    /// As [`predict`](Self::predict).
    pub fn outlook(
        &mut self,
        edits: &[Edit],
        sized: &[usize],
        at: (Node, Node),
        mode: Mode,
        shown: Option<Reading>,
    ) -> Result<Outlook, SolveError> {
        let (Mode::Ohms, Some(shown)) = (mode, shown) else {
            return Ok(self.sight(edits, sized, at, mode.into())?.0);
        };
        let range = self.meter.range_of(shown);
        let mut o = self.sight(edits, sized, at, Setting::range(range))?.0;
        if let Some(before) = range.checked_sub(1) {
            // What an earlier range reads above the limit of the one before passes that
            // one over, too.
            let limit = Scale::Ohms.to(self.meter.ohms[before].full_scale);
            o.floor = f64::INFINITY;
            for earlier in (0..=before).rev() {
                if o.floor <= o.centre {
                    break;
                }
                let b = self.sight(edits, sized, at, Setting::range(earlier))?.0;
                let upto = floor((b.centre, b.moves()), limit, (o.centre, o.moves()));
                o.floor = o.floor.min(upto);
            }
            o.floor_off = FLOOR * (1.0 + o.moves());
        }
        Ok(o)
    }

    fn sight(
        &mut self,
        edits: &[Edit],
        sized: &[usize],
        (red, black): (Node, Node),
        set: Setting,
    ) -> Result<(Outlook, Seen), SolveError> {
        let scale = Scale::of(set.mode);
        let solver = &mut *self.solver;
        let mut measured = match set.range {
            Some(range) => self.meter.measure_in(solver, edits, red, black, range)?,
            None => self.meter.measure(solver, edits, red, black, set.mode)?,
        };
        // At the end of its volts a meter's slopes vanish, and with them all that
        // might bring the circuit back below the limit.
        let limited = self.meter.diode.source.gives.is_finite();
        if set.mode == Mode::Diode && limited && measured.value() > measured.limit {
            measured = self.meter.measure_beyond(solver, edits, red, black)?;
        }
        let (centre, slope, noise) = scale.of_measured(&measured);
        let seen = Seen {
            range: measured.range,
            passed: measured.passed,
        };
        let accuracy = measured.accuracy;
        // A meter that is not held goes on to its last range.
        let limit = match (set.mode, set.range, self.meter.ohms.last()) {
            (Mode::Ohms, None, Some(last)) => last.full_scale,
            _ => measured.limit,
        };
        let limit = scale.to(limit);
        let gradient = measured.gradient();
        let along = |s: &Spread| slope * gradient.of(s.element, s.parameter) * s.deviation;
        let mut by: Vec<f64> = self.spreads.iter().map(along).collect();
        let size = |e: &usize| slope * gradient.of_edit(*e, &edits[*e]);
        let sizes = sized.iter().map(size).collect();
        // A resistance goes with its parts by ratios: slopes reach far enough.
        let wide = match scale {
            Scale::Linear => self.wide,
            Scale::Drop => self.wide * WIDE_DROP / WIDE,
            Scale::Ohms => f64::INFINITY,
        };
        for (spread, by) in self.spreads.iter().zip(&mut by) {
            if by.abs() > wide
                && let Some(ends) = ends(solver, spread, edits)
            {
                let mut shown = |edit: Edit| -> Result<f64, SolveError> {
                    let all = [edits, &[edit]].concat();
                    let at = self.meter.measure(solver, &all, red, black, set.mode)?;
                    Ok(scale.to(at.value().clamp(-at.limit, at.limit)))
                };
                *by = (shown(ends.1)? - shown(ends.0)?) / 12f64.sqrt();
            }
        }
        for known in self.told {
            known.leave(&mut by);
        }
        let outlook = Outlook {
            scale,
            centre,
            noise,
            accuracy,
            offset: slope * offset(set.mode),
            by,
            sizes,
            limit,
            floor: f64::NEG_INFINITY,
            floor_off: 0.0,
        };
        Ok((outlook, seen))
    }
}

/// In which range a resistance was shown, and by what factor it was at least too
/// large for the range before.
#[derive(Clone, Copy, Debug)]
struct Seen {
    range: usize,
    passed: f64,
}

/// What a meter is set to, and the range of a resistance if it is held there.
#[derive(Clone, Copy, Debug)]
struct Setting {
    mode: Mode,
    range: Option<usize>,
}

impl Setting {
    fn range(range: usize) -> Self {
        Setting {
            mode: Mode::Ohms,
            range: Some(range),
        }
    }
}

impl From<Mode> for Setting {
    fn from(mode: Mode) -> Self {
        Setting { mode, range: None }
    }
}

/// Up to where the range before shows what a range would read, given the middle
/// of what either would read and how far that moves: the same circuit that reads
/// just the limit there reads this here.
fn floor(before: (f64, f64), limit: f64, here: (f64, f64)) -> f64 {
    let ratio = match before.1 > 1e-9 {
        true => here.1 / before.1,
        false => 1.0,
    };
    here.0 + (limit - before.0) * ratio
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
