//! The expected cost of repair: remedies in the order of probability over
//! cost, a retest after each, until mended or until giving up is cheaper.

use std::sync::Arc;

use super::Situation;
use crate::belief::candidates::{Candidate, Likelihood};
use crate::belief::{Finding, Seen};
use crate::bench::BenchState;

/// Probability of each fault, shared out so that the sum is the probability
/// that something is wrong: in a set of two, each counts for half.
#[derive(Clone, Debug, PartialEq)]
pub struct Masses {
    /// Per fault.
    pub faults: Vec<f64>,
    /// Probability that nothing is wrong.
    pub nothing: f64,
}

impl Masses {
    /// Of the candidates, after one more result if there is one.
    pub fn of(s: &Situation, seen: Option<&Likelihood>) -> Masses {
        let mut faults = vec![0.0; s.faults];
        let mut nothing = 0.0;
        let mut total = 0.0;
        for (c, w) in s.candidates {
            let w = w * seen.map_or(1.0, |l| l.of(c));
            total += w;
            match c.len() {
                0 => nothing += w,
                1 => faults[c.iter().next().unwrap_or(0)] += w,
                n => {
                    let share = w / n as f64;
                    c.iter().for_each(|f| faults[f] += share);
                }
            }
        }
        if total > 0.0 {
            faults.iter_mut().for_each(|x| *x /= total);
            nothing /= total;
        }
        Masses { faults, nothing }
    }

    /// The same after each outcome of a test; `self` is of the candidates as
    /// they are. Only those that the test sees are weighed one by one: the
    /// others keep their proportions.
    pub(super) fn after(&self, s: &Situation, finding: &Arc<Finding>) -> Vec<Masses> {
        let mut sees = vec![false; s.faults];
        finding.sees().for_each(|f| sees[f] = true);
        let seen: Vec<&(Candidate, f64)> = s
            .candidates
            .iter()
            .filter(|(c, _)| c.iter().any(|f| sees[f]))
            .collect();
        let all: f64 = s.candidates.iter().map(|c| c.1).sum();
        (0..finding.outcomes())
            .map(|outcome| {
                let like = Likelihood::new(
                    s.faults,
                    &Seen {
                        finding: finding.clone(),
                        outcome,
                    },
                );
                let unseen = like.of(&Candidate::EMPTY);
                let mut total = unseen * all;
                let mut faults: Vec<f64> = self.faults.iter().map(|x| x * total).collect();
                let nothing = self.nothing * total;
                for (c, w) in &seen {
                    let more = w * (like.of(c) - unseen);
                    total += more;
                    let share = more / c.len() as f64;
                    c.iter().for_each(|f| faults[f] += share);
                }
                let total = if total > 0.0 { total } else { 1.0 };
                // Differences may leave a rounding error below nought.
                faults.iter_mut().for_each(|x| *x = x.max(0.0) / total);
                Masses {
                    faults,
                    nothing: nothing / total,
                }
            })
            .collect()
    }
}

/// An order of remedies and what it is expected to cost.
pub(super) struct Repair {
    /// Work, parts, and the loss where it ends unmended.
    pub(super) cost: f64,
    /// Work and parts alone.
    pub(super) spent: f64,
    pub(super) order: Vec<usize>,
}

/// Remedies by probability over cost from these masses on; `first`, if given,
/// is done before all others.
pub(super) fn expected_cost(
    s: &Situation,
    masses: &Masses,
    state: BenchState,
    first: Option<usize>,
) -> Repair {
    let mut left = masses.faults.clone();
    let mut open = masses.nothing + left.iter().sum::<f64>();
    let mut wrong: f64 = left.iter().sum();
    let mut state = state;
    let mut cost = 0.0;
    let mut order = Vec::new();
    let mut tried = vec![false; s.remedies.len()];
    let mut gain: Vec<f64> = s
        .remedies
        .iter()
        .map(|r| r.as_ref().map_or(0.0, |r| fixes(&left, &r.clears)))
        .collect();
    let price = |i: usize, state: BenchState| -> Option<(f64, BenchState)> {
        let r = s.remedies[i].as_ref()?;
        let (mut state, moving) = s.moves.reach(state, r.conditions);
        let mut minutes = r.minutes + moving;
        if let Some(t) = s.retest {
            let (back, moving) = s.moves.reach(state, t.conditions);
            minutes += moving + t.minutes;
            state = back;
        }
        Some((s.costs.of(minutes, r.parts), state))
    };
    // The price of a remedy holds for the state the device is in now.
    let price_all = |state| -> Vec<Option<(f64, BenchState)>> {
        (0..s.remedies.len()).map(|i| price(i, state)).collect()
    };
    let mut prices = price_all(state);
    loop {
        let forced = first.filter(|_| order.is_empty());
        let best = match forced {
            Some(i) => prices[i].map(|p| (i, p)),
            None => (0..s.remedies.len())
                .filter(|i| !tried[*i] && gain[*i] > 1e-6)
                .filter_map(|i| prices[i].map(|p| (i, p)))
                .max_by(|a, b| {
                    let worth = |x: &(usize, (f64, BenchState))| gain[x.0] / x.1.0.max(1e-9);
                    worth(a).total_cmp(&worth(b)).then(b.0.cmp(&a.0))
                }),
        };
        let Some((i, (price, to))) = best else { break };
        // Going on must be worth more than giving up with what is left.
        if forced.is_none() && gain[i] * s.costs.give_up <= price * open {
            break;
        }
        cost += price * open;
        order.push(i);
        tried[i] = true;
        if to != state {
            state = to;
            prices = price_all(state);
        }
        if let Some(r) = &s.remedies[i] {
            for (f, take) in &r.clears {
                let cleared = left[*f] * take;
                left[*f] -= cleared;
                wrong -= cleared;
                open -= cleared;
            }
        }
        if open <= 1e-9 {
            break;
        }
        for (j, r) in s.remedies.iter().enumerate() {
            if let Some(r) = r
                && !tried[j]
                && gain[j] > 1e-6
            {
                gain[j] = fixes(&left, &r.clears);
            }
        }
        if order.len() >= 24 {
            break;
        }
    }
    Repair {
        cost: cost + wrong.max(0.0) * s.costs.give_up,
        spent: cost,
        order,
    }
}

fn fixes(left: &[f64], clears: &[(usize, f64)]) -> f64 {
    clears.iter().map(|(f, take)| left[*f] * take).sum()
}

/// The order of independent single-fault remedies that has the least expected
/// cost: by probability over cost (Heckerman, Breese and Rommelse 1995; the
/// exchange argument is Smith's rule). Each entry is `(probability, cost)`.
pub fn order_by_probability_over_cost(remedies: &[(f64, f64)]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..remedies.len()).collect();
    order.sort_by(|a, b| {
        let worth = |i: usize| remedies[i].0 / remedies[i].1.max(1e-300);
        worth(*b).total_cmp(&worth(*a)).then(a.cmp(b))
    });
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Bench, Moves};
    use crate::plan::Costs;

    #[test]
    fn masses_after_an_outcome_are_those_of_the_candidates() {
        let sets: [(&[usize], f64); 6] = [
            (&[], 0.1),
            (&[0], 0.3),
            (&[1], 0.25),
            (&[2], 0.2),
            (&[0, 2], 0.1),
            (&[1, 2], 0.05),
        ];
        let candidates = sets.map(|(f, w)| (Candidate::new(f).expect("a small set"), w));
        let moves = Moves::new(&Bench::default());
        let s = Situation {
            faults: 3,
            candidates: &candidates,
            tests: &[],
            remedies: &[],
            retest: None,
            due: &[],
            moves: &moves,
            state: BenchState::default(),
            costs: Costs::default(),
        };
        let pushes = [(0, vec![0.5, 0.3]), (1, vec![0.2, 0.8])];
        let alone = Finding::ordered(3, 0.1, &pushes, 0.03);
        let rows = [
            (vec![], vec![0.8, 0.1, 0.1]),
            (vec![0], vec![0.3, 0.3, 0.4]),
            (vec![2], vec![0.1, 0.9, 0.0]),
            (vec![0, 2], vec![0.0, 0.2, 0.8]),
        ];
        let together = Finding::joint(&rows, 0.03);
        for finding in [alone, together].map(Arc::new) {
            let after = Masses::of(&s, None).after(&s, &finding);
            for (outcome, got) in after.iter().enumerate() {
                let finding = finding.clone();
                let like = Likelihood::new(3, &Seen { finding, outcome });
                let want = Masses::of(&s, Some(&like));
                assert!((got.nothing - want.nothing).abs() < 1e-15);
                for (a, b) in got.faults.iter().zip(&want.faults) {
                    assert!((a - b).abs() < 1e-15, "{got:?} {want:?}");
                }
            }
        }
    }
}
