//! The readings with some things wrong, solved for some of their sizes.

use std::borrow::Cow;

use super::STILL;
use crate::circuit::fault::Fault;
use crate::circuit::predict::Outlook;

/// Sizes that are solved for, the smallest and the largest among them; and of
/// each of two things.
pub(super) const SIZES: usize = 7;
pub(super) const SIZES_OF_TWO: usize = 4;

/// Parts between the former.
pub(in crate::line) const PARTS: usize = SIZES - 1;

/// The readings under some things that are wrong, for some of their sizes.
#[derive(Clone, Debug, Default)]
pub(in crate::line) struct Grid {
    /// How many of each size; 1 where there is none.
    pub(in crate::line) counts: [usize; 2],
    /// Natural logarithm of how many times the largest is the smallest.
    pub(in crate::line) spans: [f64; 2],
    pub(in crate::line) nodes: Vec<Outlook>,
    /// How far the reading moves at most over each part of each size, in standard
    /// deviations of the meter.
    pub(in crate::line) moves: [[f64; PARTS]; 2],
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
pub(in crate::line) enum Two {
    /// As with the first of them alone, or with the second.
    First,
    Second,
    Both(Grid),
    /// No circuit is known.
    Unknown,
}

/// What a thing does to the network: nothing if there is none, `None` if that is
/// not known.
pub(super) fn of(faults: &[Option<Vec<Fault>>], thing: Option<usize>) -> Option<&[Fault]> {
    match thing {
        None => Some(&[]),
        Some(h) => faults[h].as_deref(),
    }
}

/// Place of two things, the first before the second, among all twos of `n`.
pub(in crate::line) fn place(n: usize, first: usize, second: usize) -> usize {
    first * (2 * n - first - 1) / 2 + second - first - 1
}

impl Grid {
    pub(super) fn new(counts: [usize; 2], spans: [f64; 2], nodes: Vec<Outlook>) -> Self {
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
    pub(in crate::line) fn at(&self, share: [f64; 2]) -> Cow<'_, Outlook> {
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
    pub(super) fn moved(&self, axis: usize, from: f64, to: f64) -> f64 {
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
