//! What each test shows with each set of faults, worked out once for all the
//! moments of many jobs.

use std::collections::HashMap;
use std::sync::OnceLock;

use crate::belief::candidates::{Candidate, Outlook};
use crate::plan::{Foretold, PlanTest, surprise};

/// Tests by sets of faults. A set is laid out when it is first asked for.
#[derive(Debug)]
pub(super) struct Rows {
    /// By test, where its numbers begin: the chance of each outcome, then how
    /// uncertain the test is, in bits.
    from: Vec<usize>,
    /// The numbers with nothing wrong.
    well: Vec<f64>,
    place: HashMap<Candidate, usize>,
    sets: Vec<OnceLock<Row>>,
}

/// The tests that see a set of faults, and by how much their numbers are more
/// than with nothing wrong.
#[derive(Debug, Default)]
struct Row {
    tests: Vec<usize>,
    more: Vec<f64>,
}

impl Rows {
    pub(super) fn new<'a>(
        worlds: &[(Candidate, f64)],
        tests: impl Iterator<Item = &'a PlanTest>,
    ) -> Self {
        let (mut from, mut well) = (vec![0], Vec::new());
        for t in tests {
            numbers(&t.outlook, &Candidate::EMPTY, &mut well);
            from.push(well.len());
        }
        let place = worlds.iter().enumerate().map(|(i, w)| (w.0, i));
        Rows {
            from,
            well,
            place: place.collect(),
            sets: worlds.iter().map(|_| OnceLock::new()).collect(),
        }
    }

    fn lay_out<'a>(&self, set: &Candidate, outlooks: impl Iterator<Item = &'a Outlook>) -> Row {
        let mut row = Row::default();
        for (t, outlook) in outlooks.enumerate().filter(|o| o.1.sees(set)) {
            let at = row.more.len();
            numbers(outlook, set, &mut row.more);
            let well = &self.well[self.from[t]..];
            row.more[at..]
                .iter_mut()
                .zip(well)
                .for_each(|(x, w)| *x -= w);
            row.tests.push(t);
        }
        row
    }

    /// What every test is going to show, as weights of sets have it.
    pub(super) fn foretell<'a, O: Iterator<Item = &'a Outlook>>(
        &self,
        worlds: &[(Candidate, f64)],
        outlooks: impl Fn() -> O,
    ) -> Vec<Foretold> {
        let mut sum = self.well.clone();
        let total: f64 = worlds.iter().map(|w| w.1).sum();
        for (set, weight) in worlds {
            let weight = weight / total;
            let own;
            let row = match self.place.get(set) {
                Some(at) => self.sets[*at].get_or_init(|| self.lay_out(set, outlooks())),
                // A set that a remedy has brought about.
                None => {
                    own = self.lay_out(set, outlooks());
                    &own
                }
            };
            let mut more = &row.more[..];
            for t in &row.tests {
                let sum = &mut sum[self.from[*t]..self.from[t + 1]];
                let (these, others) = more.split_at(sum.len());
                sum.iter_mut()
                    .zip(these)
                    .for_each(|(s, x)| *s += weight * x);
                more = others;
            }
        }
        let each = self.from.windows(2).map(|at| {
            let (inner, chances) = sum[at[0]..at[1]].split_last().unwrap_or((&0.0, &[]));
            // Rounding must not make less than nothing of what cannot be.
            let outcomes: Vec<f64> = chances.iter().map(|p| p.max(0.0)).collect();
            let outer: f64 = outcomes.iter().map(|p| surprise(*p)).sum();
            Foretold {
                bits: (outer - inner).max(0.0),
                outcomes,
            }
        });
        each.collect()
    }
}

/// Adds the chance of each outcome with a set of faults, and its uncertainty.
fn numbers(outlook: &Outlook, set: &Candidate, to: &mut Vec<f64>) {
    let at = to.len();
    to.resize(at + outlook.outcomes(), 0.0);
    outlook.of(set, &mut to[at..]);
    to.push(to[at..].iter().map(|p| surprise(*p)).sum());
}
