//! Readings of a line followed from where its unknown values most likely lie.
//!
//! From the middle of what may be, a straight line does not reach as far as a
//! value that nobody knows may be off: a junction beside a resistor reads as the
//! one or as the other. So once numbers were read, each thing that may be wrong
//! is solved anew there where the unknown values most likely lie with it, and the
//! straight lines go on from that place (iterated Kalman update: Bell and Cathey
//! 1993, "The iterated Kalman filter update as a Gauss-Newton method").

use std::borrow::Cow;
use std::sync::Arc;

use super::survey::{Grid, REACH, Survey};
use crate::circuit::joint::{Shown, Taken};
use crate::circuit::likeliest::likeliest;
use crate::circuit::meter::Reading;
use crate::circuit::predict::Outlook;
use crate::circuit::solve::SolveError;

/// Unknown values that are nowhere further off than so many standard deviations
/// are where straight lines from the middle reach.
const STRAIGHT: f64 = 0.7;
/// How far off they are looked for: a little beyond the ends of an even spread,
/// which are the square root of 3 standard deviations from its middle.
const ENDS: f64 = 2.0;
/// How often their place is looked for again, how far each look may move it, since
/// beside a junction a straight line overshoots, and the move that ends the looking.
const LOOKS: usize = 10;
const STRIDE: f64 = 0.7;
const THERE: f64 = 0.1;
/// By how much more, as natural logarithm, a place has to explain what was read than
/// the middle does to be gone to where straight lines reach.
const MUCH: f64 = 1.0;
/// How far off a value that is hardly known is taken to be where that is tried, in
/// standard deviations: well inside an even spread.
const WIDE_START: f64 = 1.2;

/// One thing that may be wrong, or nothing.
#[derive(Clone, Debug)]
pub(super) struct Near {
    /// By how many standard deviations each unknown value is off.
    off: Vec<f64>,
    /// The readings from there.
    pub(super) grids: Vec<Grid>,
}

impl Near {
    /// Where the unknown values most likely lie if `thing` is all that is wrong
    /// and the numbers among `taken` were read; `None` if straight lines from the
    /// middle reach there, or if there is no such place.
    pub(super) fn new(
        surveys: &[Arc<Survey>],
        taken: &[Taken],
        thing: Option<usize>,
    ) -> Option<Near> {
        Near::at(surveys, thing, off(surveys, taken, thing)?)
    }

    /// The same place with another thing wrong.
    pub(super) fn of(&self, surveys: &[Arc<Survey>], thing: Option<usize>) -> Option<Near> {
        Near::at(surveys, thing, self.off.clone())
    }

    fn at(surveys: &[Arc<Survey>], thing: Option<usize>, off: Vec<f64>) -> Option<Near> {
        let grids = surveys.iter().map(|s| s.near(thing, &off));
        let grids = grids.collect::<Result<_, _>>().ok()?;
        Some(Near { off, grids })
    }

    /// A further reading from there.
    pub(super) fn next(&self, survey: &Survey, thing: Option<usize>) -> Result<Grid, SolveError> {
        survey.near(thing, &self.off)
    }
}

fn off(surveys: &[Arc<Survey>], taken: &[Taken], thing: Option<usize>) -> Option<Vec<f64>> {
    let number = |(s, t): (&'_ Arc<Survey>, &Taken)| match t.shown {
        Shown::Just(Reading::Value(v)) => Some((s.clone(), s.scale().to(v))),
        _ => None,
    };
    let numbers: Vec<(Arc<Survey>, f64)> = surveys.iter().zip(taken).filter_map(number).collect();
    // What good boards have told leaves little that is unknown.
    if numbers.iter().any(|(s, _)| s.is_told()) {
        return None;
    }
    if surveys.iter().any(|s| s.with(thing).is_none()) {
        return None;
    }
    let grids = || numbers.iter().filter_map(|(s, _)| s.with(thing));
    let sizes = grids().map(|g| g.counts[0]).max()?;
    let span = grids().map(|g| g.spans[0]).fold(0.0, f64::max);
    let steps = (sizes - 1).max(1) as f64;
    let reach = [REACH * span / steps, 0.0];
    let look = |outlooks: &[Cow<Outlook>]| {
        let values = numbers.iter().map(|n| n.1);
        let readings: Vec<(&Outlook, f64)> = outlooks.iter().map(|o| &**o).zip(values).collect();
        likeliest(&readings, reach)
    };
    let of_size = |i: usize| {
        let share = i as f64 / steps;
        let outlooks: Vec<Cow<Outlook>> = grids().map(|g| g.at([share, 0.0])).collect();
        Some((share, look(&outlooks)?))
    };
    let (share, first) = (0..sizes)
        .filter_map(of_size)
        .max_by(|a, b| a.1.log_likelihood.total_cmp(&b.1.log_likelihood))?;
    let straight = first.off.iter().all(|x| x.abs() < STRAIGHT);
    let held = |x: Vec<f64>, from: &[f64]| -> Vec<f64> {
        let to = x.iter().map(|x| x.clamp(-ENDS, ENDS)).zip(from);
        to.map(|(x, f)| f + (x - f).clamp(-STRIDE, STRIDE))
            .collect()
    };
    let unknown = first.off.len();
    let follow = |mut off: Vec<f64>| -> Option<(Vec<f64>, f64)> {
        let mut likely = f64::NEG_INFINITY;
        for _ in 0..LOOKS {
            let outlook = |s: &Survey| s.outlook_near(thing, share, &off).map(Cow::Owned);
            let outlooks: Result<Vec<_>, SolveError> =
                numbers.iter().map(|(s, _)| outlook(s)).collect();
            let found = look(&outlooks.ok()?)?;
            likely = found.log_likelihood;
            let next = held(found.off, &off);
            let there = next.iter().zip(&off).all(|(a, b)| (a - b).abs() < THERE);
            off = next;
            if there {
                break;
            }
        }
        Some((off, likely))
    };
    let mut starts = Vec::new();
    if !straight {
        starts.push(held(first.off, &vec![0.0; unknown]));
    }
    // A line of which next to nothing is known may read so in more than one way:
    // with nothing wrong each is looked for, and serves the rest.
    if let (None, Some((survey, _))) = (thing, numbers.first()) {
        for place in survey.wide() {
            for end in [-WIDE_START, WIDE_START] {
                let mut start = vec![0.0; unknown];
                start[place] = end;
                starts.push(start);
            }
        }
    }
    let ends = starts.into_iter().filter_map(follow);
    let best = ends.max_by(|a, b| a.1.total_cmp(&b.1))?;
    // The middle serves as well where it explains as much.
    (!straight || best.1 > first.log_likelihood + MUCH).then_some(best.0)
}
