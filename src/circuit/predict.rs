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

mod outlook;
mod prediction;
mod scale;

pub use outlook::Outlook;
use outlook::{FLOOR, floor};
use prediction::{FAR, Part, WIDE, WIDE_DROP};
pub use prediction::{Prediction, SEEN, Visibility};
pub use scale::Scale;

use super::edit::Edit;
use super::fault::{Fault, Variant, variants};
use super::meter::{Meter, Mode, Reading, offset};
use super::network::{Element, ElementId, Node};
use super::normal::Blurred;
use super::solve::{Parameter, SolveError, Solver};
use super::told::Told;

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
