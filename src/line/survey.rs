//! One reading of a line under everything that can be wrong with it, solved for
//! some sizes.
//!
//! Between the sizes that are solved it is followed by its slopes (cubic Hermite
//! interpolation, the slopes held so that it stays monotonic: Fritsch and Carlson
//! 1980).

mod grid;
mod scattered;

pub(super) use grid::{Grid, PARTS, Two, place};
use grid::{SIZES, SIZES_OF_TWO, of};
use scattered::Place;
pub(super) use scattered::Scattered;

use std::sync::OnceLock;

use super::forecast::{Probing, opened};
use super::wiring::{Wired, meter_mode};
use crate::circuit::calibrate;
use crate::circuit::edit::Edit;
use crate::circuit::fault::Fault;
use crate::circuit::lattice;
use crate::circuit::meter::{Meter, Mode, Reading};
use crate::circuit::network::Node;
use crate::circuit::predict::{Outlook, Predictor, Scale, Spread};
use crate::circuit::solve::{Parameter, SolveError, Solver};
use crate::rulebase::{Doubt, Harm, Known, Line, MeterMode, PartKind};

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

/// One reading of a line, with everything that can be wrong.
#[derive(Debug)]
pub struct Survey {
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
        let mut survey = Survey {
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

    /// The places of unknowns, those that may be most times another first, and last
    /// those that this reading does not depend on.
    fn widest_first(&self, all: &[(usize, Parameter)]) -> Vec<usize> {
        let wiring = self.wired.for_mode(self.probing.mode);
        let own = wiring.unknowns();
        let deviation = |unknown: &(usize, Parameter)| {
            let spread = own.iter().zip(&wiring.spreads).find(|(u, _)| *u == unknown);
            spread.map_or(0.0, |(_, s)| s.deviation)
        };
        let order = all.iter().map(deviation).zip(0..);
        let mut order: Vec<(f64, usize)> = order.collect();
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
