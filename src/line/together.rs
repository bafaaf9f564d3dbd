//! Readings of one line taken together, under everything that can be wrong with
//! it: none, each by itself, each two.
//!
//! What is unknown of the line is the same for all its readings: which of the
//! things a fault does to it, the size of that, the tolerance of every part. A
//! [`Survey`] solves one reading for some sizes; between them it is followed by
//! its slopes (cubic Hermite interpolation, the slopes held so that it stays
//! monotonic: Fritsch and Carlson 1980), in steps so small that a straight line
//! does within each.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use super::forecast::{Probing, probes};
use super::wiring::{Wired, meter_mode};
use crate::circuit::edit::Edit;
use crate::circuit::fault::Fault;
use crate::circuit::joint::{Cell, Joint, Taken};
use crate::circuit::meter::{Meter, Mode, Reading};
use crate::circuit::network::Node;
use crate::circuit::predict::{Outlook, Predictor, Scale};
use crate::circuit::solve::{Parameter, SolveError, Solver};
use crate::rulebase::{Harm, Line};

/// Sizes that are solved for, the smallest and the largest among them; and of
/// each of two things.
const SIZES: usize = 7;
const SIZES_OF_TWO: usize = 4;
/// Parts between the former.
const PARTS: usize = SIZES - 1;
/// Steps between two of the former, and where there are two sizes.
const STEPS: usize = 6;
const STEPS_OF_TWO: usize = 3;
/// Two things that explain what was read by less than this share of what one
/// alone does are not worth more than a step from each size to the next.
const WORSE: f64 = 0.1;
/// A size that moves no reading by more than so many standard deviations of the
/// meter from one part of it to the next is gone through in one step there; and
/// parts that move none by more than the second all together in one.
const STILL: (f64, f64) = (0.5, 0.1);
/// A thing that moves a reading by less than so many of them beside another
/// does nothing to it there.
const HIDDEN: f64 = 0.1;
/// A step reaches as far as a normal distribution with this standard deviation,
/// in widths: those of all steps add up to an even distribution within two per
/// cent.
const REACH: f64 = 0.5;

/// The readings under some things that are wrong, for some of their sizes.
#[derive(Clone, Debug, Default)]
struct Grid {
    /// How many of each size; 1 where there is none.
    counts: [usize; 2],
    /// Natural logarithm of how many times the largest is the smallest.
    spans: [f64; 2],
    nodes: Vec<Outlook>,
    /// How far the reading moves at most over each part of each size, in standard
    /// deviations of the meter.
    moves: [[f64; PARTS]; 2],
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
    fn at(&self, share: [f64; 2]) -> Cow<'_, Outlook> {
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
enum Two {
    /// As with the first of them alone, or with the second.
    First,
    Second,
    Both(Grid),
}

/// One reading of a line, with everything that can be wrong.
#[derive(Clone, Debug)]
pub struct Survey {
    line: Line,
    wired: Wired,
    meter: Meter,
    probing: Probing,
    shown: Option<Reading>,
    none: Grid,
    /// By [`harms`].
    one: Vec<Grid>,
    /// Every two of them, the first before the second; as [`place`] says.
    two: OnceLock<Result<Vec<Two>, SolveError>>,
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
fn place(n: usize, first: usize, second: usize) -> usize {
    first * (2 * n - first - 1) / 2 + second - first - 1
}

/// Solves one reading with one thing wrong after the other.
struct Solves<'s> {
    predictor: Predictor<'s>,
    /// What is open because it is unplugged.
    always: Vec<Edit>,
    /// For each spread its place among the values that are unknown in either
    /// state of power, and how many there are.
    places: Vec<usize>,
    unknown: usize,
    /// Which of them are alike, with their correlation.
    twins: Vec<(usize, usize, f64)>,
    at: (Node, Node),
    mode: Mode,
    shown: Option<Reading>,
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
        let mut edits = self.always.clone();
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
        let mut by = vec![0.0; self.unknown];
        for (place, x) in self.places.iter().zip(&o.by) {
            by[*place] = *x;
        }
        // What two have in common is an unknown by itself.
        for (one, other, alike) in &self.twins {
            by.push(alike.sqrt() * (by[*one] + by[*other]));
            by[*one] *= (1.0 - alike).sqrt();
            by[*other] *= (1.0 - alike).sqrt();
        }
        o.by = by;
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
        };
        (survey.none, survey.one) = survey.solves(|solves, faults| {
            let none = solves.grid([&[], &[]], SIZES)?;
            let one = faults.iter().map(|f| solves.grid([f, &[]], SIZES));
            Ok((none, one.collect::<Result<_, _>>()?))
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
        (of(&self.none), self.one.iter().map(of).collect())
    }

    /// The scale that it is measured on.
    pub fn scale(&self) -> Scale {
        Scale::of(meter_mode(self.probing.mode))
    }

    fn solves<T>(
        &self,
        work: impl FnOnce(&mut Solves, &[Vec<Fault>]) -> Result<T, SolveError>,
    ) -> Result<T, SolveError> {
        let wiring = self.wired.for_mode(self.probing.mode);
        let mut all: Vec<(usize, Parameter)> = self.wired.off.unknowns();
        for u in self.wired.on.unknowns() {
            if !all.contains(&u) {
                all.push(u);
            }
        }
        let own = wiring.unknowns();
        let places = own.iter().filter_map(|u| all.iter().position(|a| a == u));
        let mut always = Vec::new();
        for (contact, condition) in &self.line.unplugged {
            if self.probing.state.has(*condition) {
                let open = wiring.harm(&self.line, Harm::Open(*contact))?;
                always.extend(open.iter().map(|f| f.at(0.0)));
            }
        }
        let faults = harms(&self.line)
            .into_iter()
            .map(|h| wiring.harm(&self.line, h))
            .collect::<Result<Vec<_>, _>>()?;
        let mut solver = Solver::new(&wiring.network)?;
        let point = &self.line.points[self.probing.point];
        let mut solves = Solves {
            predictor: Predictor::new(&mut solver, &self.meter, &wiring.spreads).told(&wiring.told),
            always,
            places: places.collect(),
            unknown: all.len(),
            twins: self.wired.twins(&self.line, &all),
            at: probes(wiring.nodes[point.node], self.probing.mode),
            mode: meter_mode(self.probing.mode),
            shown: self.shown,
        };
        work(&mut solves, &faults)
    }

    fn two(&self) -> Result<&[Two], SolveError> {
        let solved = self.two.get_or_init(|| {
            self.solves(|solves, faults| {
                let mut all = Vec::new();
                for (a, one) in faults.iter().enumerate() {
                    for (b, other) in faults.iter().enumerate().skip(a + 1) {
                        // The extremes show whether there is more to see.
                        let ends = solves.grid([one, other], 2)?;
                        all.push(match self.hidden(a, b, &ends) {
                            Some(alone) => alone,
                            None => Two::Both(solves.grid([one, other], SIZES_OF_TWO)?),
                        });
                    }
                }
                Ok(all)
            })
        });
        solved.as_deref().map_err(Clone::clone)
    }

    /// As which of two things alone both of them read, if either does not show
    /// beside the other.
    fn hidden(&self, a: usize, b: usize, both: &Grid) -> Option<Two> {
        let as_alone = |axis: usize, alone: &Grid| {
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

/// A reading with one or two things wrong, sizes in the order of the things.
struct View<'g> {
    grid: &'g Grid,
    /// It is that of the second thing alone.
    second: bool,
}

impl<'g> View<'g> {
    fn at(&self, share: [f64; 2]) -> Cow<'g, Outlook> {
        if !self.second {
            return self.grid.at(share);
        }
        let mut o = self.grid.at([share[1], 0.0]);
        o.to_mut().sizes.swap(0, 1);
        o
    }

    fn span(&self, axis: usize) -> f64 {
        self.grid.spans[if self.second { 1 - axis } else { axis }]
    }

    fn moves(&self, axis: usize, part: usize) -> f64 {
        let axis = if self.second { 1 - axis } else { axis };
        self.grid.moves[axis][part]
    }
}

/// The steps in which a size is gone through, as shares of the way.
fn steps(views: &[View], axis: usize, fine: usize) -> Vec<(f64, f64)> {
    let mut all: Vec<(f64, f64)> = Vec::new();
    // How far each reading moves over the last step, while it is still.
    let mut still: Option<Vec<f64>> = None;
    for i in 0..PARTS {
        let edge = |i: usize| i as f64 / PARTS as f64;
        let (from, to) = (edge(i), edge(i + 1));
        let moves: Vec<f64> = views.iter().map(|v| v.moves(axis, i)).collect();
        let within = |moves: &[f64], most: f64| moves.iter().all(|m| *m <= most);
        if !within(&moves, STILL.0) {
            let step = |k: usize| from + (to - from) * k as f64 / fine as f64;
            all.extend((0..fine).map(|k| (step(k), step(k + 1))));
            still = None;
            continue;
        }
        let sum = |so_far: Vec<f64>| -> Vec<f64> {
            so_far.iter().zip(&moves).map(|(a, b)| a + b).collect()
        };
        still = match (
            still.map(sum).filter(|s| within(s, STILL.1)),
            all.last_mut(),
        ) {
            (Some(on), Some(last)) => {
                last.1 = to;
                Some(on)
            }
            _ => {
                all.push((from, to));
                Some(moves)
            }
        };
    }
    all
}

/// What readings come to, each given by its view, in so many steps between two
/// sizes.
fn weigh(views: &[View], taken: &[Taken], cuts: Option<&[f64]>, fine: usize) -> Joint {
    let spans = [0, 1].map(|axis| views.iter().map(|v| v.span(axis)).fold(0.0, f64::max));
    let steps = [0, 1].map(|axis| {
        if spans[axis] > 0.0 {
            steps(views, axis, fine)
        } else {
            vec![(0.0, 1.0)]
        }
    });
    let both = steps[0]
        .iter()
        .flat_map(|x| steps[1].iter().map(move |y| [x, y]));
    let cells = both.map(|way| Cell {
        weight: way.iter().map(|(from, to)| to - from).product(),
        outlooks: {
            let middle = way.map(|(from, to)| 0.5 * (from + to));
            views.iter().map(|v| v.at(middle)).collect()
        },
        reach: [0, 1].map(|i| REACH * (way[i].1 - way[i].0) * spans[i]),
    });
    Joint::new(cells, taken, cuts)
}

/// What some readings of a line come to with nothing wrong, with each of
/// [`harms`] by itself, and with two of them.
#[derive(Debug)]
pub struct Together<'r> {
    surveys: &'r [Arc<Survey>],
    taken: &'r [Taken],
    none: Joint,
    one: Vec<Joint>,
    two: HashMap<(usize, usize), Joint>,
}

impl<'r> Together<'r> {
    /// Of readings, each with its survey; all of one line.
    pub fn new(surveys: &'r [Arc<Survey>], taken: &'r [Taken]) -> Self {
        let (none, one) = alone(surveys, taken, None);
        Together {
            surveys,
            taken,
            none,
            one,
            two: HashMap::new(),
        }
    }

    /// With two things wrong.
    fn weigh(&self, views: &[View]) -> Joint {
        let sized = |axis: usize| views.iter().any(|v| v.span(axis) > 0.0);
        if !(sized(0) && sized(1)) {
            return weigh(views, self.taken, None, STEPS);
        }
        let coarse = weigh(views, self.taken, None, 1);
        let alone = self.one.iter().chain([&self.none]);
        let best = alone.map(|j| j.likelihood).fold(0.0, f64::max);
        match coarse.likelihood < WORSE * best {
            true => coarse,
            false => weigh(views, self.taken, None, STEPS_OF_TWO),
        }
    }

    /// With one or two things wrong, by index, or nothing.
    ///
    /// # Errors
    /// If the line cannot be solved with two.
    pub fn with(&mut self, one: Option<usize>, other: Option<usize>) -> Result<&Joint, SolveError> {
        let (a, b) = match (one, other) {
            (None, None) => return Ok(&self.none),
            (Some(a), None) | (None, Some(a)) => return Ok(&self.one[a]),
            (Some(a), Some(b)) if a == b => return Ok(&self.one[a]),
            (Some(a), Some(b)) => (a.min(b), a.max(b)),
        };
        let mut views = Vec::with_capacity(self.surveys.len());
        let (mut first, mut second) = (true, true);
        if !self.two.contains_key(&(a, b)) {
            for s in self.surveys {
                let two = &s.two()?[place(s.one.len(), a, b)];
                first &= matches!(two, Two::First);
                second &= matches!(two, Two::Second);
                views.push(match two {
                    Two::First => View {
                        grid: &s.one[a],
                        second: false,
                    },
                    Two::Second => View {
                        grid: &s.one[b],
                        second: true,
                    },
                    Two::Both(grid) => View {
                        grid,
                        second: false,
                    },
                });
            }
            let joint = match (first, second) {
                (true, _) => self.one[a].clone(),
                (_, true) => self.one[b].clone(),
                _ => self.weigh(&views),
            };
            self.two.insert((a, b), joint);
        }
        Ok(&self.two[&(a, b)])
    }
}

/// What readings come to with nothing wrong, and with each of [`harms`] by
/// itself. `cuts` part the values of one further reading, whose survey is the
/// last: see [`Joint::new`].
pub fn alone(
    surveys: &[Arc<Survey>],
    taken: &[Taken],
    cuts: Option<&[f64]>,
) -> (Joint, Vec<Joint>) {
    let joint = |of: &dyn Fn(&Survey) -> &Grid| {
        let views: Vec<View> = surveys
            .iter()
            .map(|s| View {
                grid: of(s),
                second: false,
            })
            .collect();
        weigh(&views, taken, cuts, STEPS)
    };
    let things = surveys.first().map_or(0, |s| s.one.len());
    let one = (0..things).map(|h| joint(&|s| &s.one[h])).collect();
    (joint(&|s| &s.none), one)
}
