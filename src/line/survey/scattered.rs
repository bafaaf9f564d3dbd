//! One reading from many places of all that is stated from and to.

use std::borrow::Cow;

use crate::circuit::joint::Cell;
use crate::circuit::lattice;
use crate::circuit::predict::Outlook;

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

/// One reading with one thing wrong, or nothing, for many places of all that is
/// stated from and to: the values of the line, and the size of the thing. Each place
/// stands for its surroundings.
#[derive(Clone, Debug)]
pub(in crate::line) struct Scattered {
    /// What all have in common.
    pub(super) like: Outlook,
    pub(super) places: Vec<Place>,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// As those of an [`Outlook`].
    pub(super) centre: f64,
    pub(super) noise: f64,
    /// By how much it moves with all that is stated from and to, from one end of each
    /// to the other.
    pub(super) from_to: f64,
    /// The same with a standard deviation of all else that is unknown.
    pub(super) other: f64,
    /// How far what is stated from and to reaches around the place, as standard
    /// deviation in shares of the way from one end to the other.
    pub(super) reach: f64,
}

impl Place {
    /// `from_to` is how the reading moves with each that is stated so.
    pub(super) fn new(o: &Outlook, from_to: &[f64]) -> Self {
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
    pub(super) fn close(&mut self) {
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
    pub(in crate::line) fn is_among(&self, value: f64) -> bool {
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
    pub(in crate::line) fn cells(&self) -> impl Iterator<Item = Cell<'_>> {
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
