//! One reading of a line under everything that can be wrong with it, solved for
//! some sizes.
//!
//! Between the sizes that are solved it is followed by its slopes (cubic Hermite
//! interpolation, the slopes held so that it stays monotonic: Fritsch and Carlson
//! 1980).

use std::borrow::Cow;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

use super::forecast::{Probing, opened};
use super::wiring::{Wired, meter_mode};
use crate::circuit::calibrate;
use crate::circuit::edit::Edit;
use crate::circuit::fault::Fault;
use crate::circuit::joint::Cell;
use crate::circuit::lattice;
use crate::circuit::meter::{Meter, Mode, Reading};
use crate::circuit::network::Node;
use crate::circuit::predict::{Outlook, Predictor, Scale, Spread};
use crate::circuit::solve::{Parameter, SolveError, Solver};
use crate::rulebase::{Doubt, Harm, Known, Line, MeterMode, PartKind};

/// Sizes that are solved for, the smallest and the largest among them; and of
/// each of two things.
const SIZES: usize = 7;
const SIZES_OF_TWO: usize = 4;
/// Parts between the former.
pub(super) const PARTS: usize = SIZES - 1;
/// A size that moves no reading by more than so many standard deviations of the
/// meter from one part of it to the next is gone through in one step there; and
/// parts that move none by more than the second all together in one.
pub(super) const STILL: (f64, f64) = (0.5, 0.1);
/// A step reaches as far as a normal distribution with this standard deviation,
/// in widths: those of all steps add up to an even distribution within two per
/// cent.
pub(super) const REACH: f64 = 0.5;
/// A thing that moves a reading by less than so many standard deviations of the
/// meter beside another does nothing to it there.
const HIDDEN: f64 = 0.1;

/// A resistance is hardly known if the standard deviation of its natural logarithm
/// is above this: it may be some thirty times another. And how many are looked into.
const HARDLY_KNOWN: f64 = 1.0;
const HARDLY_MOST: usize = 3;

/// How far what is stated from and to reaches around a place that it was put to, as
/// standard deviation in the distances of places from each other: those of all places
/// add up to an even distribution.
const AROUND: f64 = 0.7;
/// The same for some of the share of each place: a few times as far, where few places
/// lie; and as far as a normal spread of the same standard deviation, as a share of the
/// way from end to end, since a stated spread is no promise.
const FURTHER: (f64, f64) = (0.10, 4.0);
const BEYOND: (f64, f64) = (0.06, 0.3);
/// A value lies among what places read if it is no further off than so many standard
/// deviations of the meter and of what is not stated from and to.
const AMONG: f64 = 3.0;
/// A place reaches at least half as far as so many neighbours on either side, so that
/// about ten places count at any value (a variable kernel: Breiman, Meisel and Purcell
/// 1977).
const NEIGHBOURS: usize = 6;

/// The readings under some things that are wrong, for some of their sizes.
#[derive(Clone, Debug, Default)]
pub(super) struct Grid {
    /// How many of each size; 1 where there is none.
    pub(super) counts: [usize; 2],
    /// Natural logarithm of how many times the largest is the smallest.
    pub(super) spans: [f64; 2],
    pub(super) nodes: Vec<Outlook>,
    /// How far the reading moves at most over each part of each size, in standard
    /// deviations of the meter.
    pub(super) moves: [[f64; PARTS]; 2],
}

impl Grid {
    fn new(counts: [usize; 2], spans: [f64; 2], nodes: Vec<Outlook>) -> Self {
        let mut grid = Grid {
            counts,
            spans,
            nodes,
            moves: [[0.0; PARTS]; 2],
        };
        let edge = |i: usize| i as f64 / PARTS as f64;
        grid.moves =
            [0, 1].map(|axis| std::array::from_fn(|i| grid.moved(axis, edge(i), edge(i + 1))));
        grid
    }

    /// The reading with each size at a share of the way from the smallest to
    /// the largest.
    pub(super) fn at(&self, share: [f64; 2]) -> Cow<'_, Outlook> {
        let row = |i: usize| {
            let row = &self.nodes[i * self.counts[1]..(i + 1) * self.counts[1]];
            self.along(1, share[1], |j| Cow::Borrowed(&row[j]))
        };
        self.along(0, share[0], row)
    }

    fn along<'g>(
        &self,
        axis: usize,
        share: f64,
        node: impl Fn(usize) -> Cow<'g, Outlook>,
    ) -> Cow<'g, Outlook> {
        let steps = self.counts[axis] - 1;
        if steps == 0 {
            return node(0);
        }
        let place = share * steps as f64;
        let i = (place as usize).min(steps - 1);
        let span = self.spans[axis] / steps as f64;
        Cow::Owned(between(
            &node(i),
            &node(i + 1),
            place - i as f64,
            axis,
            span,
        ))
    }

    /// How far the reading moves at most from one share of the way to another, in
    /// standard deviations of the meter.
    fn moved(&self, axis: usize, from: f64, to: f64) -> f64 {
        if self.counts[axis] == 1 {
            return 0.0;
        }
        let other = self.counts[1 - axis];
        let all = (0..other).map(|i| {
            let share = i as f64 / (other - 1).max(1) as f64;
            let at = |x| self.at(if axis == 0 { [x, share] } else { [share, x] });
            let (a, b) = (at(from), at(to));
            if a.centre > a.limit && b.centre > b.limit {
                // One step does, but no longer one: it would reach below the limit.
                return STILL.0;
            }
            (a.centre - b.centre).abs() / a.noise.min(b.noise).max(1e-12)
        });
        all.fold(0.0, f64::max)
    }
}

/// Between two sizes, `span` apart in their logarithm.
fn between(a: &Outlook, b: &Outlook, share: f64, axis: usize, span: f64) -> Outlook {
    let mix = |x: f64, y: f64| x + (y - x) * share;
    let rise = b.centre - a.centre;
    let held = |slope: f64| {
        let of = slope * span;
        if of * rise <= 0.0 {
            0.0
        } else {
            of.abs().min(3.0 * rise.abs()) * rise.signum()
        }
    };
    let (first, last) = (held(a.sizes[axis]), held(b.sizes[axis]));
    let (u, v) = (share, 1.0 - share);
    let centre = a.centre + rise * u * u * (3.0 - 2.0 * u) + u * v * (v * first - u * last);
    let slope = 6.0 * u * v * rise + v * (v - 2.0 * u) * first + u * (u - 2.0 * v) * last;
    let zip = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| mix(*x, *y)).collect();
    let mut sizes: Vec<f64> = zip(&a.sizes, &b.sizes);
    let floor = match a.floor.is_finite() && b.floor.is_finite() {
        true => mix(a.floor, b.floor),
        false => f64::NEG_INFINITY,
    };
    sizes[axis] = slope / span;
    Outlook {
        centre,
        noise: mix(a.noise, b.noise),
        by: zip(&a.by, &b.by),
        sizes,
        floor,
        ..*a
    }
}

/// What one reading is with two things wrong.
#[derive(Clone, Debug)]
pub(super) enum Two {
    /// As with the first of them alone, or with the second.
    First,
    Second,
    Both(Grid),
    /// No circuit is known.
    Unknown,
}

/// One reading of a line, with everything that can be wrong.
#[derive(Debug)]
pub struct Survey {
    /// Unlike that of any other.
    pub(super) id: u64,
    line: Line,
    wired: Wired,
    meter: Meter,
    probing: Probing,
    shown: Option<Reading>,
    pub(super) none: Grid,
    /// By [`harms`]; `None` where no circuit is known: of a strange line, and of
    /// one that has no operating point with it.
    pub(super) one: Vec<Option<Grid>>,
    /// Every two of them, the first before the second; as [`place`] says.
    two: OnceLock<Result<Vec<Two>, SolveError>>,
    /// With nothing wrong, then with each thing by itself.
    scattered: OnceLock<Result<Vec<Option<Scattered>>, SolveError>>,
    ready: OnceLock<Result<Ready, SolveError>>,
}

/// One reading with one thing wrong, or nothing, for many places of all that is
/// stated from and to: the values of the line, and the size of the thing. Each place
/// stands for its surroundings.
#[derive(Clone, Debug)]
pub(super) struct Scattered {
    /// What all have in common.
    like: Outlook,
    places: Vec<Place>,
}

#[derive(Clone, Copy, Debug)]
struct Place {
    /// As those of an [`Outlook`].
    centre: f64,
    noise: f64,
    /// By how much it moves with all that is stated from and to, from one end of each
    /// to the other.
    from_to: f64,
    /// The same with a standard deviation of all else that is unknown.
    other: f64,
    /// How far what is stated from and to reaches around the place, as standard
    /// deviation in shares of the way from one end to the other.
    reach: f64,
}

impl Place {
    /// `from_to` is how the reading moves with each that is stated so.
    fn new(o: &Outlook, from_to: &[f64]) -> Self {
        // Places lie as near to each other as there are many for the directions that
        // move the reading.
        let squares: f64 = from_to.iter().map(|b| b * b).sum();
        let fourths: f64 = from_to.iter().map(|b| b.powi(4)).sum();
        let directions = match fourths > 0.0 {
            true => squares * squares / fourths,
            false => 1.0,
        };
        Place {
            centre: o.centre,
            noise: o.noise,
            from_to: squares.sqrt(),
            other: o.by.iter().map(|b| b * b).sum::<f64>().sqrt(),
            reach: AROUND * (lattice::PLACES as f64).powf(-1.0 / directions),
        }
    }
}

impl Scattered {
    /// Lets places reach further where they read far apart, so that no gap is left
    /// between them.
    fn close(&mut self) {
        self.places.sort_by(|a, b| a.centre.total_cmp(&b.centre));
        let centres: Vec<f64> = self.places.iter().map(|p| p.centre).collect();
        let last = centres.len().saturating_sub(1);
        for (i, p) in self.places.iter_mut().enumerate() {
            let (from, to) = (i.saturating_sub(NEIGHBOURS), (i + NEIGHBOURS).min(last));
            let away = 0.5 * (centres[to] - centres[from]);
            if p.from_to > 0.0 {
                p.reach = p.reach.max((0.5 * away / p.from_to).min(BEYOND.1));
            }
        }
    }

    /// Whether a value, on the scale, lies among what the places read, or as near to
    /// them as what they are off by.
    pub(super) fn is_among(&self, value: f64) -> bool {
        let off = |p: &Place| AMONG * p.noise.hypot(p.other);
        let least = |p: &Place| p.centre - off(p);
        let most = |p: &Place| p.centre + off(p);
        let low = self.places.iter().map(least).fold(f64::INFINITY, f64::min);
        let high = self
            .places
            .iter()
            .map(most)
            .fold(f64::NEG_INFINITY, f64::max);
        (low..=high).contains(&value)
    }

    /// The reading from each place, as cells of [`Joint`](crate::circuit::joint::Joint):
    /// all that is stated from and to is as the size of a fault.
    pub(super) fn cells(&self) -> impl Iterator<Item = Cell<'_>> {
        let share = 1.0 / self.places.len() as f64;
        self.places.iter().flat_map(move |p| {
            let parts = [
                (1.0 - FURTHER.0 - BEYOND.0, p.reach),
                (FURTHER.0, FURTHER.1 * p.reach),
                (BEYOND.0, BEYOND.1.max(p.reach)),
            ];
            parts.map(|(of_place, reach)| {
                let outlook = Outlook {
                    centre: p.centre,
                    noise: p.noise,
                    by: vec![p.other],
                    sizes: vec![p.from_to, 0.0],
                    ..self.like.clone()
                };
                Cell {
                    weight: share * of_place,
                    outlooks: vec![Cow::Owned(outlook)],
                    reach: [reach, 0.0],
                }
            })
        })
    }
}

/// Whether one of the values of a part is stated from and to.
fn is_from_to(kind: &PartKind, parameter: Parameter) -> bool {
    let from_to = |k: &Known| matches!(k.doubt, Doubt::Between(..));
    match (kind, parameter) {
        (PartKind::Path(k) | PartKind::Switch(k), Parameter::Resistance) => from_to(k),
        (PartKind::Junction(k), Parameter::Saturation) => from_to(k),
        (PartKind::Rail { volts, .. }, Parameter::Volts) => from_to(volts),
        (PartKind::Rail { idle, .. }, Parameter::Resistance) => from_to(idle),
        _ => false,
    }
}

/// What a thing does to the network: nothing if there is none, `None` if that is
/// not known.
fn of(faults: &[Option<Vec<Fault>>], thing: Option<usize>) -> Option<&[Fault]> {
    match thing {
        None => Some(&[]),
        Some(h) => faults[h].as_deref(),
    }
}

/// The things that the faults of the pack do to a line, each once.
pub fn harms(line: &Line) -> Vec<Harm> {
    let mut harms: Vec<Harm> = Vec::new();
    for e in &line.faults {
        if !harms.contains(&e.harm) {
            harms.push(e.harm);
        }
    }
    harms
}

/// Place of two things, the first before the second, among all twos of `n`.
pub(super) fn place(n: usize, first: usize, second: usize) -> usize {
    first * (2 * n - first - 1) / 2 + second - first - 1
}

/// What is the same wherever the unknown values lie.
#[derive(Debug)]
struct Ready {
    /// What is open because it is unplugged or lifted.
    always: Vec<Edit>,
    /// What each of [`harms`] does to the network; `None` if that is not known.
    faults: Vec<Option<Vec<Fault>>>,
    /// What is unknown of the line in either state of power.
    unknowns: Vec<(usize, Parameter)>,
    /// For each spread its place among these.
    places: Vec<usize>,
    /// Which of them are alike, with their correlation.
    twins: Vec<(usize, usize, f64)>,
}

/// Solves one reading with one thing wrong after the other.
struct Solves<'s> {
    predictor: Predictor<'s>,
    ready: &'s Ready,
    at: (Node, Node),
    mode: Mode,
    shown: Option<Reading>,
    /// By how many standard deviations each unknown is off its middle in the
    /// network that is solved; empty if none is.
    off: &'s [f64],
}

impl Solves<'_> {
    /// The reading for so many sizes of each of two things.
    fn grid(&mut self, things: [&[Fault]; 2], sizes: usize) -> Result<Grid, SolveError> {
        let spans = things.map(|t| t.iter().map(Fault::span).fold(0.0, f64::max));
        let counts = spans.map(|s| if s > 0.0 { sizes } else { 1 });
        let mut nodes = Vec::with_capacity(counts[0] * counts[1]);
        for i in 0..counts[0] {
            for j in 0..counts[1] {
                let share = |n: usize, of: usize| n as f64 / (of - 1).max(1) as f64;
                nodes.push(self.solve(things, [share(i, counts[0]), share(j, counts[1])])?);
            }
        }
        Ok(Grid::new(counts, spans, nodes))
    }

    fn solve(&mut self, things: [&[Fault]; 2], share: [f64; 2]) -> Result<Outlook, SolveError> {
        let mut edits = self.ready.always.clone();
        let mut sized = [None; 2];
        for ((faults, share), sized) in things.iter().zip(share).zip(&mut sized) {
            for fault in *faults {
                if fault.span() > 0.0 {
                    *sized = Some(edits.len());
                }
                edits.push(fault.at(share));
            }
        }
        let asked: Vec<usize> = sized.iter().flatten().copied().collect();
        let mut o = (self.predictor).outlook(&edits, &asked, self.at, self.mode, self.shown)?;
        let mut slopes = o.sizes.into_iter();
        o.sizes = sized
            .map(|s| s.and_then(|_| slopes.next()).unwrap_or(0.0))
            .to_vec();
        let mut by = vec![0.0; self.ready.unknowns.len()];
        for (place, x) in self.ready.places.iter().zip(&o.by) {
            by[*place] = *x;
        }
        // What two have in common is an unknown by itself.
        for (one, other, alike) in &self.ready.twins {
            by.push(alike.sqrt() * (by[*one] + by[*other]));
            by[*one] *= (1.0 - alike).sqrt();
            by[*other] *= (1.0 - alike).sqrt();
        }
        o.by = by;
        // As if the straight line through here went on to the middle.
        o.centre -= o.by.iter().zip(self.off).map(|(b, x)| b * x).sum::<f64>();
        // What is shown as OL is told apart where OL begins.
        if self.shown == Some(Reading::OL) {
            o.noise = o.noise_at(o.centre.max(o.limit));
        }
        // What the meter is off by is an unknown too, one of ohms and one of volts.
        let offset = std::mem::take(&mut o.offset);
        o.by.extend(match self.mode {
            Mode::Ohms => [offset, 0.0],
            Mode::Volts | Mode::Diode => [0.0, offset],
        });
        Ok(o)
    }
}

impl Survey {
    /// Solves a reading with nothing wrong and with each thing by itself; with
    /// two, when that is asked for. A resistance that was shown is solved in the
    /// range that shows it.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn new(
        line: &Line,
        wired: &Wired,
        meter: &Meter,
        probing: Probing,
        shown: Option<Reading>,
    ) -> Result<Self, SolveError> {
        static NUMBER: AtomicU64 = AtomicU64::new(0);
        let mut survey = Survey {
            id: NUMBER.fetch_add(1, Ordering::Relaxed),
            line: line.clone(),
            wired: wired.clone(),
            meter: meter.clone(),
            probing,
            shown,
            none: Grid::default(),
            one: Vec::new(),
            two: OnceLock::new(),
            scattered: OnceLock::new(),
            ready: OnceLock::new(),
        };
        (survey.none, survey.one) = survey.solves(&[], |solves, faults| {
            let none = solves.grid([&[], &[]], SIZES)?;
            let mut one = |f: &Option<Vec<Fault>>| solves.grid([f.as_ref()?, &[]], SIZES).ok();
            Ok((none, faults.iter().map(&mut one).collect()))
        })?;
        Ok(survey)
    }

    /// Where it lies for the sizes that were solved, on the scale of the mode:
    /// with nothing wrong, and with each thing by itself. What is over the limit
    /// is left out.
    pub fn places(&self) -> (Vec<f64>, Vec<Vec<f64>>) {
        let of = |g: &Grid| {
            let shown = g.nodes.iter().filter(|o| o.centre <= o.limit);
            shown.map(|o| o.centre).collect()
        };
        let one = self.one.iter();
        let one = one.map(|g| g.as_ref().map_or_else(Vec::new, of));
        (of(&self.none), one.collect())
    }

    /// The scale that it is measured on.
    pub fn scale(&self) -> Scale {
        Scale::of(meter_mode(self.probing.mode))
    }

    /// Solves the line with each unknown so many standard deviations off its
    /// middle; as it is if none is given.
    fn solves<T>(
        &self,
        off: &[f64],
        work: impl FnOnce(&mut Solves, &[Option<Vec<Fault>>]) -> Result<T, SolveError>,
    ) -> Result<T, SolveError> {
        let ready = self.ready()?;
        let wiring = self.wired.for_mode(self.probing.mode);
        let moved;
        let network = if off.is_empty() {
            &wiring.network
        } else {
            let mut each = off.to_vec();
            let common = each.split_off(ready.unknowns.len());
            for ((one, other, alike), common) in ready.twins.iter().zip(common) {
                for half in [*one, *other] {
                    each[half] = each[half] * (1.0 - alike).sqrt() + common * alike.sqrt();
                }
            }
            let by = wiring.spreads.iter().zip(&ready.places);
            let by: Vec<f64> = by.map(|(s, place)| s.deviation * each[*place]).collect();
            moved = calibrate::moved(&wiring.network, &wiring.spreads, &by)?;
            &moved
        };
        let mut solver = Solver::new(network)?;
        let point = &self.line.points[self.probing.point];
        let predictor = Predictor::new(&mut solver, &self.meter, &wiring.spreads);
        let predictor = predictor.told(&wiring.told);
        let mut solves = Solves {
            off,
            predictor: if off.is_empty() {
                predictor
            } else {
                predictor.nearby()
            },
            ready,
            at: self.probing.ends(wiring.nodes[point.node]),
            mode: meter_mode(self.probing.mode),
            shown: self.shown,
        };
        work(&mut solves, &ready.faults)
    }

    fn ready(&self) -> Result<&Ready, SolveError> {
        let ready = self.ready.get_or_init(|| {
            let wiring = self.wired.for_mode(self.probing.mode);
            let unknowns = self.unknowns();
            let own = wiring.unknowns();
            let places = own.iter();
            let places = places.filter_map(|u| unknowns.iter().position(|a| a == u));
            let always = opened(&self.line, wiring, self.probing)?;
            let fault = |h| match h {
                Harm::Strange => None,
                h => wiring.harm(&self.line, h).ok(),
            };
            Ok(Ready {
                always: always.iter().map(|f| f.at(0.0)).collect(),
                faults: harms(&self.line).into_iter().map(fault).collect(),
                places: places.collect(),
                twins: self.wired.twins(&self.line, &unknowns),
                unknowns,
            })
        });
        ready.as_ref().map_err(Clone::clone)
    }

    /// The reading with one thing wrong, or nothing; `None` if no circuit is known.
    pub(super) fn with(&self, thing: Option<usize>) -> Option<&Grid> {
        match thing {
            None => Some(&self.none),
            Some(h) => self.one[h].as_ref(),
        }
    }

    /// What is unknown of the line in either state of power.
    fn unknowns(&self) -> Vec<(usize, Parameter)> {
        let mut all: Vec<(usize, Parameter)> = self.wired.off.unknowns();
        for u in self.wired.on.unknowns() {
            if !all.contains(&u) {
                all.push(u);
            }
        }
        all
    }

    /// The places of the resistances that are hardly known, at most [`HARDLY_MOST`]:
    /// they may be this many times another.
    pub(super) fn wide(&self) -> Vec<usize> {
        let Ok(ready) = self.ready() else {
            return Vec::new();
        };
        let spreads = &self.wired.for_mode(self.probing.mode).spreads;
        let wide = |s: &Spread| s.parameter == Parameter::Resistance && s.deviation > HARDLY_KNOWN;
        let all = spreads.iter().zip(&ready.places);
        let places = all.filter(|(s, _)| wide(s)).map(|(_, place)| *place);
        places.take(HARDLY_MOST).collect()
    }

    /// Whether the voltage of a supply is stated from and to.
    pub(super) fn volts_from_to(&self) -> bool {
        let mut parts = self.line.parts.iter();
        parts.any(|p| is_from_to(&p.kind, Parameter::Volts))
    }

    /// Whether readings of good boards have told of the line.
    pub(super) fn is_told(&self) -> bool {
        !self.wired.for_mode(self.probing.mode).told.is_empty()
    }

    /// The reading with one thing wrong, followed from where the unknown values
    /// are so far off their middles.
    pub(super) fn near(&self, thing: Option<usize>, off: &[f64]) -> Result<Grid, SolveError> {
        // What good boards have told of is near its middle.
        if let (true, Some(known)) = (self.is_told(), self.with(thing)) {
            return Ok(known.clone());
        }
        self.solves(off, |solves, faults| {
            let thing = of(faults, thing).ok_or(SolveError::Singular)?;
            solves.grid([thing, &[]], SIZES)
        })
    }

    /// The same for one size, at a share of the way from the smallest.
    pub(super) fn outlook_near(
        &self,
        thing: Option<usize>,
        share: f64,
        off: &[f64],
    ) -> Result<Outlook, SolveError> {
        self.solves(off, |solves, faults| {
            let thing = of(faults, thing).ok_or(SolveError::Singular)?;
            solves.solve([thing, &[]], [share, 0.0])
        })
    }

    /// The reading from many places, with nothing wrong, then with each of [`harms`]
    /// by itself; `None` for what has no circuit.
    pub(super) fn scattered(&self) -> Result<&[Option<Scattered>], SolveError> {
        let solved = self.scattered.get_or_init(|| self.scatter());
        solved.as_deref().map_err(Clone::clone)
    }

    /// The places of unknowns, those that may be most times another first.
    fn widest_first(&self, all: &[(usize, Parameter)]) -> Vec<usize> {
        let mut order: Vec<(f64, usize)> = Vec::new();
        for (i, unknown) in all.iter().enumerate() {
            let of = |w: &super::Wiring| {
                let own = w.unknowns();
                let spread = own.iter().zip(&w.spreads).find(|(u, _)| *u == unknown);
                spread.map(|(_, s)| s.deviation)
            };
            let deviation = of(&self.wired.off).or_else(|| of(&self.wired.on));
            order.push((deviation.unwrap_or(0.0), i));
        }
        order.sort_by(|a, b| b.0.total_cmp(&a.0));
        order.into_iter().map(|o| o.1).collect()
    }

    fn scatter(&self) -> Result<Vec<Option<Scattered>>, SolveError> {
        let Ready {
            unknowns: all,
            twins,
            ..
        } = self.ready()?;
        // What two halves have in common takes the place of what each has.
        let mut from_to: Vec<usize> = Vec::new();
        for i in self.widest_first(all) {
            let (part, parameter) = &all[i];
            if is_from_to(&self.line.parts[*part].kind, *parameter) {
                let twin = twins.iter().position(|t| t.0 == i || t.1 == i);
                let place = twin.map_or(i, |t| all.len() + t);
                if !from_to.contains(&place) {
                    from_to.push(place);
                }
            }
        }
        // The size of a fault goes along the first axis.
        let ends = 3f64.sqrt();
        let mut offs = vec![vec![0.0; all.len() + twins.len()]; lattice::PLACES];
        for (axis, place) in from_to.iter().enumerate() {
            for (off, at) in offs.iter_mut().zip(lattice::axis(axis + 1)) {
                off[*place] = (2.0 * at - 1.0) * ends;
            }
        }
        // What the meter is off by where it shows the reading.
        let ohms = self.probing.mode == MeterMode::Ohms;
        let shown = self.shown.filter(|_| ohms).map(|r| self.meter.range_of(r));
        let range = shown.and_then(|r| self.meter.ohms.get(r));
        let mut found: Vec<Option<Scattered>> = vec![None; self.one.len() + 1];
        for (off, size) in offs.iter().zip(lattice::axis(0)) {
            self.solves(off, |solves, faults| {
                // Each place in the range that shows it: which that is may hang on what
                // the ranges before read.
                solves.shown = None;
                let each = std::iter::once(None).chain((0..faults.len()).map(Some));
                for (thing, found) in each.zip(&mut found) {
                    let known = of(faults, thing);
                    let solved = known.and_then(|f| solves.solve([f, &[]], [size, 0.0]).ok());
                    // A place that has no operating point says nothing.
                    let (Some(faults), Some(mut o)) = (known, solved) else {
                        continue;
                    };
                    let span = faults.iter().map(Fault::span).fold(0.0, f64::max);
                    let mut by = vec![o.sizes[0] * span];
                    for place in &from_to {
                        // The middle of the straight lines is this place.
                        o.centre += o.by[*place] * off[*place];
                        by.push(std::mem::take(&mut o.by[*place]) * 2.0 * ends);
                    }
                    let place = Place::new(&o, &by);
                    let found = found.get_or_insert_with(|| Scattered {
                        like: Outlook {
                            accuracy: range.map_or(o.accuracy, |r| r.accuracy),
                            by: Vec::new(),
                            sizes: Vec::new(),
                            ..o
                        },
                        places: Vec::with_capacity(lattice::PLACES),
                    });
                    found.places.push(place);
                }
                Ok(())
            })?;
        }
        found.iter_mut().flatten().for_each(Scattered::close);
        Ok(found)
    }

    pub(super) fn two(&self) -> Result<&[Two], SolveError> {
        let solved = self.two.get_or_init(|| {
            self.solves(&[], |solves, faults| {
                let mut all = Vec::new();
                for a in 0..faults.len() {
                    for b in a + 1..faults.len() {
                        let both = self.both(solves, faults, a, b);
                        all.push(both.unwrap_or(Two::Unknown));
                    }
                }
                Ok(all)
            })
        });
        solved.as_deref().map_err(Clone::clone)
    }

    /// With two things wrong; `None` if no circuit is known.
    fn both(
        &self,
        solves: &mut Solves,
        faults: &[Option<Vec<Fault>>],
        a: usize,
        b: usize,
    ) -> Option<Two> {
        let things: [&[Fault]; 2] = [faults[a].as_ref()?, faults[b].as_ref()?];
        // The extremes show whether there is more to see.
        let ends = solves.grid(things, 2).ok()?;
        match self.hidden(a, b, &ends) {
            Some(alone) => Some(alone),
            None => solves.grid(things, SIZES_OF_TWO).ok().map(Two::Both),
        }
    }

    /// As which of two things alone both of them read, if either does not show
    /// beside the other.
    fn hidden(&self, a: usize, b: usize, both: &Grid) -> Option<Two> {
        let as_alone = |axis: usize, alone: &Option<Grid>| {
            let Some(alone) = alone else { return false };
            both.nodes.iter().enumerate().all(|(n, x)| {
                let at = [n / both.counts[1], n % both.counts[1]][axis];
                let last = (both.counts[axis] - 1).max(1);
                let y = &alone.nodes[at * (alone.counts[0] - 1) / last];
                let beyond = x.centre > x.limit && y.centre > y.limit;
                beyond || (x.centre - y.centre).abs() <= HIDDEN * x.noise.min(y.noise)
            })
        };
        if as_alone(0, &self.one[a]) {
            Some(Two::First)
        } else if as_alone(1, &self.one[b]) {
            Some(Two::Second)
        } else {
            None
        }
    }
}
