//! Readings of one line taken together, under everything that can be wrong with
//! it: none, each by itself, each two.
//!
//! What is unknown of the line is the same for all its readings: which of the
//! things a fault does to it, the size of that, the tolerance of every part. Each
//! reading is [surveyed](Survey) by itself; here the sizes are gone through in
//! steps so small that a straight line does within each.

use std::borrow::Cow;
use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::nearby::Near;
use super::survey::{Grid, PARTS, REACH, STILL, Scattered, Survey, Two, place};
use crate::circuit::joint::{Cell, Joint, Shown, Taken};
use crate::circuit::meter::Reading;
use crate::circuit::predict::{Outlook, Scale};
use crate::circuit::solve::SolveError;

/// Steps between two sizes that are solved for, and where there are two of them.
const STEPS: usize = 6;
const STEPS_OF_TWO: usize = 3;
/// Two things that explain what was read by less than this share of what one
/// alone does are not worth more than a step from each size to the next.
const WORSE: f64 = 0.1;
/// A thing that explains what was read by less than this share of what the best
/// does is foretold by straight lines from the middle.
const UNLIKELY: f64 = 1e-4;

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
    pub fn new(last: &Last, surveys: &'r [Arc<Survey>], taken: &'r [Taken]) -> Self {
        let (none, one) = alone(last, surveys, taken, None);
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
                let (grid, second) = match two {
                    Two::First => (s.one[a].as_ref(), false),
                    Two::Second => (s.one[b].as_ref(), true),
                    Two::Both(grid) => (Some(grid), false),
                    Two::Unknown => (None, false),
                };
                views.extend(grid.map(|grid| View { grid, second }));
            }
            let joint = match (first, second) {
                (true, _) => self.one[a].clone(),
                (_, true) => self.one[b].clone(),
                _ if views.len() < self.surveys.len() => Joint::strange(self.taken, &[]),
                _ => self.weigh(&views),
            };
            self.two.insert((a, b), joint);
        }
        Ok(&self.two[&(a, b)])
    }
}

/// What readings come to with nothing wrong, then with each of [`harms`] by
/// itself, and the places that they are followed from.
///
/// [`harms`]: super::harms
#[derive(Debug)]
struct Alone {
    near: OnceLock<Vec<Option<Near>>>,
    joints: Vec<Joint>,
}

/// What readings came to that were asked about last: the same ones are asked about
/// once for each that may be next.
#[derive(Debug, Default)]
pub struct Last(Mutex<VecDeque<Weighed>>);

/// Readings, each with its survey, and what they came to.
#[derive(Debug)]
struct Weighed {
    surveys: Vec<Arc<Survey>>,
    taken: Vec<Taken>,
    alone: Arc<Alone>,
}

/// So many of them: a line is built in up to sixteen ways, and of five readings each
/// is also asked about by itself.
const LAST_FEW: usize = 128;

impl Last {
    /// What readings come to, each with its survey.
    fn alone(&self, things: usize, surveys: &[Arc<Survey>], taken: &[Taken]) -> Arc<Alone> {
        if surveys.is_empty() {
            return Arc::new(Alone::new(things, surveys, taken));
        }
        // Not held while one is worked out: others may be at work on theirs.
        let last = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let same = |k: &&Weighed| {
            let pairs = || k.surveys.iter().zip(surveys);
            k.taken == taken
                && k.surveys.len() == surveys.len()
                && pairs().all(|(a, b)| Arc::ptr_eq(a, b))
        };
        if let Some(known) = last().iter().find(same) {
            return known.alone.clone();
        }
        let new = Arc::new(Alone::new(things, surveys, taken));
        let mut all = last();
        all.truncate(LAST_FEW - 1);
        all.push_front(Weighed {
            surveys: surveys.to_vec(),
            taken: taken.to_vec(),
            alone: new.clone(),
        });
        new
    }
}

/// All that may be wrong alone: nothing, or one of so many things.
fn each(things: usize) -> impl Iterator<Item = Option<usize>> {
    std::iter::once(None).chain((0..things).map(Some))
}

/// What parts the values of a further reading, and the chance of each part where
/// no circuit is known.
#[derive(Clone, Copy, Debug)]
pub struct Cuts<'c> {
    /// As [`Joint::new`] takes them.
    pub at: &'c [f64],
    /// As [`Joint::strange`] takes them.
    pub strange: &'c [f64],
}

/// What readings come to with one thing wrong, each with its grid; one without
/// makes all of them strange.
fn weigh_alone<'g>(
    grids: impl Iterator<Item = Option<&'g Grid>>,
    taken: &[Taken],
    cuts: Option<Cuts>,
) -> Joint {
    let view = |grid: Option<&'g Grid>| {
        Some(View {
            grid: grid?,
            second: false,
        })
    };
    match grids.map(view).collect::<Option<Vec<View>>>() {
        Some(views) => weigh(&views, taken, cuts.map(|c| c.at), STEPS),
        None => Joint::strange(taken, cuts.map_or(&[], |c| c.strange)),
    }
}

/// The places that readings are followed from, and what they come to from there:
/// with nothing wrong, then with each thing by itself.
fn followed(things: usize, surveys: &[Arc<Survey>], taken: &[Taken]) -> Vec<(Option<Near>, Joint)> {
    // A thing that hardly does anything at some size leaves the unknown values
    // where they are with nothing wrong: it may be followed from there too.
    let nothing = Near::new(surveys, taken, None);
    let each = each(things).map(|thing| {
        let own = match thing {
            None => nothing.clone(),
            Some(_) => Near::new(surveys, taken, thing),
        };
        let beside = (nothing.as_ref())
            .filter(|_| thing.is_some())
            .and_then(|n| n.of(surveys, thing));
        let weigh = |near: Option<Near>| {
            let joint = match &near {
                Some(near) => weigh_alone(near.grids.iter().map(Some), taken, None),
                None => weigh_alone(surveys.iter().map(|s| s.with(thing)), taken, None),
            };
            (near, joint)
        };
        // Straight lines miss what lies apart, so the greater sees more.
        let (one, other) = (weigh(own), beside.map(|b| weigh(Some(b))));
        match other {
            Some(other) if other.1.likelihood > one.1.likelihood => other,
            _ => one,
        }
    });
    each.collect()
}

/// One number, or OL, followed from many places; `None` if there are more readings, or
/// if good boards have told of the line: then its values are known. A word counts as it
/// was predicted: that is worked out for each test of a device at its start. Beside what
/// it comes to, whether it lies among what the places read.
fn scattered(surveys: &[Arc<Survey>], taken: &[Taken]) -> Option<Vec<(Joint, bool)>> {
    let ([survey], [one]) = (surveys, taken) else {
        return None;
    };
    // Words may be right by luck.
    let counts = matches!(one.shown, Shown::Just(_)) && !one.lucky;
    if survey.is_told() || !counts {
        return None;
    }
    let of = survey.scattered().ok()?.iter();
    let among = |s: &Scattered| match one.shown {
        Shown::Just(Reading::Value(v)) => s.is_among(survey.scale().to(v)),
        _ => true,
    };
    let joint = |s: &Option<Scattered>| match s {
        Some(s) => (Joint::new(s.cells(), taken, None), among(s)),
        None => (Joint::strange(taken, &[]), true),
    };
    Some(of.map(joint).collect())
}

impl Alone {
    fn new(things: usize, surveys: &[Arc<Survey>], taken: &[Taken]) -> Self {
        let scattered = scattered(surveys, taken);
        // In volts nearly all hangs on one size, which few places follow roughly, and what
        // gives way to a load bends too much for straight lines: so the mean of both.
        // Beyond all that the places read a straight line goes on where no device does: a
        // rail that is shorted reads no more than its supply gives.
        let both = surveys
            .iter()
            .any(|s| s.scale() == Scale::Linear && !s.volts_from_to());
        let scattered = match scattered {
            Some(joints) if !both => {
                return Alone {
                    near: OnceLock::new(),
                    joints: joints.into_iter().map(|j| j.0).collect(),
                };
            }
            other => other,
        };
        let all = followed(things, surveys, taken).into_iter();
        let (near, mut joints): (Vec<_>, Vec<_>) = all.unzip();
        for (one, (other, among)) in joints.iter_mut().zip(scattered.iter().flatten()) {
            *one = match among {
                true => one.mean(other),
                false => other.clone(),
            };
        }
        Alone {
            near: OnceLock::from(near),
            joints,
        }
    }

    /// The places that a further reading is followed from.
    fn near(&self, things: usize, surveys: &[Arc<Survey>], taken: &[Taken]) -> &[Option<Near>] {
        (self.near).get_or_init(|| {
            followed(things, surveys, taken)
                .into_iter()
                .map(|n| n.0)
                .collect()
        })
    }
}

/// What readings come to with nothing wrong, and with each of
/// [`harms`](super::harms) by itself. `cuts` part the values of one
/// further reading, whose survey is the last.
pub fn alone(
    last: &Last,
    surveys: &[Arc<Survey>],
    taken: &[Taken],
    cuts: Option<Cuts>,
) -> (Joint, Vec<Joint>) {
    let (known, next) = surveys.split_at(taken.len().min(surveys.len()));
    let things = surveys.first().map_or(0, |s| s.one.len());
    let alone = last.alone(things, known, taken);
    let best = alone.joints.iter().map(|j| j.likelihood);
    let least = UNLIKELY * best.fold(0.0, f64::max);
    let mut all = alone.joints.clone();
    if let (Some(next), Some(_)) = (next.first(), cuts) {
        let near = alone.near(things, known, taken);
        let of = each(things).zip(near).zip(&mut all);
        for ((thing, near), joint) in of {
            let near = near.as_ref().filter(|_| joint.likelihood >= least);
            let there = near.and_then(|n| Some((n, n.next(next, thing).ok()?)));
            *joint = match &there {
                Some((near, last)) => {
                    weigh_alone(near.grids.iter().chain([last]).map(Some), taken, cuts)
                }
                None => weigh_alone(surveys.iter().map(|s| s.with(thing)), taken, cuts),
            };
        }
    }
    let one = all.split_off(1);
    (all.swap_remove(0), one)
}
