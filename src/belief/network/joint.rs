//! Chances of results by sets of faults that act together.

use std::cmp::Reverse;

use super::FaultId;
use super::change::Change;

/// Outcomes by which of a few faults are there together.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::belief) struct Joint {
    /// Ascending.
    pub(super) faults: Vec<FaultId>,
    /// By the set of faults (bit i: the i-th is there), the largest sets first:
    /// the chance of each outcome.
    pub(super) rows: Vec<(u64, Vec<f64>)>,
    /// The chance of each outcome when it is read at random.
    pub(super) flat: Vec<f64>,
}

/// The order of the rows of a [`Joint`].
fn largest_first(set: u64) -> (Reverse<u32>, u64) {
    (Reverse(set.count_ones()), set)
}

impl Joint {
    /// Most faults that can act together in one finding.
    pub(super) const MOST: usize = 64;

    pub(super) fn new(
        faults: Vec<FaultId>,
        mut rows: Vec<(u64, Vec<f64>)>,
        flat: Vec<f64>,
    ) -> Joint {
        rows.sort_by_key(|r| largest_first(r.0));
        rows.dedup_by_key(|r| r.0);
        Joint { faults, rows, flat }
    }

    pub(in crate::belief) fn faults(&self) -> &[FaultId] {
        &self.faults
    }

    /// By set of faults, the largest first: the chance of each outcome.
    pub(in crate::belief) fn rows(&self) -> &[(u64, Vec<f64>)] {
        &self.rows
    }

    /// Whether every two of the faults have a row.
    pub(in crate::belief) fn has_pairs(&self) -> bool {
        let n = self.faults.len();
        let pairs = self.rows.iter().filter(|r| r.0.count_ones() == 2);
        pairs.count() == n * n.saturating_sub(1) / 2
    }

    /// The chance of an outcome when it is read at random.
    pub(in crate::belief) fn at_random(&self, outcome: usize) -> f64 {
        self.flat[outcome]
    }

    /// The bit of a fault; none if it is not one of these.
    pub(in crate::belief) fn bit(&self, f: FaultId) -> u64 {
        self.faults.binary_search(&f).map_or(0, |i| 1 << i)
    }

    /// The rows whose mean counts for a set of faults, one by one, and how many;
    /// none if nothing is known of it.
    fn each_row(&self, set: u64, mut of: impl FnMut(&[f64])) -> f64 {
        // Where all single faults and no others are listed, the row of each is
        // at its place.
        let singles = self.rows.len() == self.faults.len() + 1;
        if singles && set != 0 && self.rows[0].0.count_ones() <= 1 {
            let mut left = set;
            while left != 0 {
                of(&self.rows[left.trailing_zeros() as usize].1);
                left &= left - 1;
            }
            return f64::from(set.count_ones());
        }
        let place = largest_first(set);
        let listed = (self.rows).binary_search_by_key(&place, |r| largest_first(r.0));
        if let Ok(i) = listed {
            of(&self.rows[i].1);
            return 1.0;
        }
        // The largest sets within it.
        let mut within = self.rows.iter().filter(|r| r.0 & !set == 0).peekable();
        let size = within.peek().map_or(0, |r| r.0.count_ones());
        let largest = within.take_while(|r| r.0.count_ones() == size);
        largest.fold(0.0, |n, r| {
            of(&r.1);
            n + 1.0
        })
    }

    /// The chance that an outcome is the true one with this set of faults.
    pub(in crate::belief) fn truly(&self, set: u64, outcome: usize) -> f64 {
        let mut sum = 0.0;
        let rows = self.each_row(set, |row| sum += row[outcome]);
        match rows > 0.0 {
            true => sum / rows,
            false => self.flat[outcome],
        }
    }

    /// The same of all outcomes, put into `p`.
    pub(super) fn truly_all(&self, set: u64, p: &mut [f64]) {
        p.fill(0.0);
        let rows = self.each_row(set, |row| p.iter_mut().zip(row).for_each(|(p, x)| *p += x));
        match rows > 0.0 {
            true => p.iter_mut().for_each(|p| *p /= rows),
            false => p.copy_from_slice(&self.flat),
        }
    }

    /// The same as foretold before a change.
    pub(super) fn after(&self, change: &Change) -> Joint {
        let chance = |of: &[(FaultId, f64)], i: usize| {
            let f = self.faults[i];
            of.iter().find(|c| c.0 == f).map_or(0.0, |c| c.1)
        };
        let outcomes = self.flat.len();
        let rows = self
            .rows
            .iter()
            .map(|(set, _)| {
                let mut sets = vec![(0, 1.0)];
                for i in 0..self.faults.len() {
                    let (clears, brings) = (chance(&change.clears, i), chance(&change.brings, i));
                    let stays = (1.0 - clears) * (set >> i & 1) as f64;
                    let there = stays + (1.0 - stays) * brings;
                    if there > 0.0 {
                        let with = sets.clone().into_iter();
                        sets.iter_mut().for_each(|s| s.1 *= 1.0 - there);
                        sets.extend(with.map(|(s, p): (u64, f64)| (s | 1 << i, p * there)));
                        sets.retain(|s| s.1 > 0.0);
                    }
                }
                let row = (0..outcomes)
                    .map(|k| sets.iter().map(|(s, p)| p * self.truly(*s, k)).sum())
                    .collect();
                (*set, row)
            })
            .collect();
        Joint {
            rows,
            ..self.clone()
        }
    }

    /// The same for a device without some of the faults.
    pub(super) fn without(&self, out: impl Fn(FaultId) -> bool) -> Joint {
        let kept: Vec<usize> = (0..self.faults.len())
            .filter(|i| !out(self.faults[*i]))
            .collect();
        let stay = kept.iter().fold(0, |set, i| set | 1 << i);
        let moved = |set: u64| {
            let bits = kept.iter().enumerate();
            bits.fold(0, |s, (to, from)| s | (set >> from & 1) << to)
        };
        Joint::new(
            kept.iter().map(|i| self.faults[*i]).collect(),
            self.rows
                .iter()
                .filter(|r| r.0 & !stay == 0)
                .map(|(set, row)| (moved(*set), row.clone()))
                .collect(),
            self.flat.clone(),
        )
    }
}
