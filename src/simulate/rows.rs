//! What each test shows with each set of faults, worked out once for all the
//! moments of many jobs.

use std::collections::HashMap;
use std::sync::OnceLock;

use crate::belief::candidates::{Candidate, Outlook};
use crate::plan::{Foretold, PlanTest, surprise};

/// Tests by sets of faults. A set is laid out when it is first asked for.
#[derive(Debug)]
pub(super) struct Rows {
    /// By test, where its outcomes begin in a row.
    from: Vec<usize>,
    place: HashMap<Candidate, usize>,
    /// By set: the chance of each outcome of each test, then how uncertain each
    /// test is, in bits.
    rows: Vec<OnceLock<Box<[f64]>>>,
}

impl Rows {
    pub(super) fn new<'a>(
        worlds: &[(Candidate, f64)],
        tests: impl Iterator<Item = &'a PlanTest>,
    ) -> Self {
        let mut from = vec![0];
        for t in tests {
            from.push(from[from.len() - 1] + t.outlook.outcomes());
        }
        let place = worlds.iter().enumerate().map(|(i, w)| (w.0, i));
        Rows {
            from,
            place: place.collect(),
            rows: worlds.iter().map(|_| OnceLock::new()).collect(),
        }
    }

    fn lay_out<'a>(
        &self,
        set: &Candidate,
        outlooks: impl Iterator<Item = &'a Outlook>,
    ) -> Box<[f64]> {
        let (tests, outcomes) = (self.from.len() - 1, self.from[self.from.len() - 1]);
        let mut row = vec![0.0; outcomes + tests];
        for (t, outlook) in outlooks.enumerate() {
            let chances = &mut row[self.from[t]..self.from[t + 1]];
            outlook.of(set, chances);
            row[outcomes + t] = chances.iter().map(|p| surprise(*p)).sum();
        }
        row.into()
    }

    /// What every test is going to show, as weights of sets have it.
    pub(super) fn foretell<'a, O: Iterator<Item = &'a Outlook>>(
        &self,
        worlds: &[(Candidate, f64)],
        outlooks: impl Fn() -> O,
    ) -> Vec<Foretold> {
        let (tests, outcomes) = (self.from.len() - 1, self.from[self.from.len() - 1]);
        let mut sum = vec![0.0; outcomes + tests];
        let total: f64 = worlds.iter().map(|w| w.1).sum();
        for (set, weight) in worlds {
            let weight = weight / total;
            let own;
            let row = match self.place.get(set) {
                Some(at) => self.rows[*at].get_or_init(|| self.lay_out(set, outlooks())),
                // A set that a remedy has brought about.
                None => {
                    own = self.lay_out(set, outlooks());
                    &own
                }
            };
            sum.iter_mut().zip(row).for_each(|(s, x)| *s += weight * x);
        }
        (0..tests)
            .map(|t| {
                let chances = sum[self.from[t]..self.from[t + 1]].to_vec();
                let outer: f64 = chances.iter().map(|p| surprise(*p)).sum();
                Foretold {
                    bits: (outer - sum[outcomes + t]).max(0.0),
                    outcomes: chances,
                }
            })
            .collect()
    }
}
