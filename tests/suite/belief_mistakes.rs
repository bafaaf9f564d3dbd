//! One-sided mistakes in the belief, against sums over all sets of faults that
//! are written out here with the whole table of what is reported for what is
//! true.

use std::sync::Arc;

use halfsplit::belief::candidates::{Candidate, Likelihood, Outlook};
use halfsplit::belief::{
    Event, FaultId, Finding, ItemId, Network, PlaceId, Prior, Seen, Size, agreed, update,
};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use typed_index_collections::TiVec;

const FAULTS: usize = 5;

/// A test as this file understands it; shares no code with the crate.
struct Test {
    leak: f64,
    /// By fault, the chance that it leads to outcome 1, 2, ..
    pushes: Vec<Vec<f64>>,
    /// By outcome, the chance that it is reported though another is true.
    mistaken: Vec<f64>,
}

impl Test {
    fn random(rng: &mut StdRng) -> Test {
        let outcomes = rng.random_range(2..=4);
        let push = |rng: &mut StdRng| -> Vec<f64> {
            let parts: Vec<f64> = (0..outcomes).map(|_| rng.random::<f64>()).collect();
            let sum: f64 = parts.iter().sum();
            parts[1..].iter().map(|p| p / sum).collect()
        };
        Test {
            leak: rng.random_range(0.0..0.2),
            pushes: (0..FAULTS).map(|_| push(rng)).collect(),
            // Now and then one that is never reported by mistake.
            mistaken: (0..outcomes)
                .map(|_| match rng.random_bool(0.2) {
                    true => 0.0,
                    false => rng.random_range(0.0..0.16),
                })
                .collect(),
        }
    }

    fn finding(&self) -> Finding {
        let pushes: TiVec<FaultId, _> = self.pushes.clone().into();
        let pushes: Vec<_> = pushes.into_iter_enumerated().collect();
        Finding::ordered(self.mistaken.len(), self.leak, &pushes, 0.0).mistaken(&self.mistaken)
    }

    /// Chance of each outcome to be the true one: the largest of the pushes.
    fn truly(&self, set: usize) -> Vec<f64> {
        let mut now = vec![0.0; self.mistaken.len()];
        (now[0], now[1]) = (1.0 - self.leak, self.leak);
        for (f, chances) in self.pushes.iter().enumerate() {
            if set >> f & 1 == 0 {
                continue;
            }
            let stays = 1.0 - chances.iter().sum::<f64>();
            let mut next = vec![0.0; now.len()];
            for (a, p) in now.iter().enumerate() {
                next[a] += p * stays;
                for (b, q) in chances.iter().enumerate() {
                    next[a.max(b + 1)] += p * q;
                }
            }
            now = next;
        }
        now
    }

    /// Chance that an outcome is reported where another, or itself, is true.
    fn report(&self, outcome: usize, truth: usize) -> f64 {
        let others: f64 = self.mistaken.iter().sum::<f64>() - self.mistaken[outcome];
        match outcome == truth {
            true => 1.0 - others,
            false => self.mistaken[outcome],
        }
    }

    /// Likelihood of so many reports of an outcome; only those where it is not
    /// the true one if `wrong`.
    fn reads(&self, set: usize, outcome: usize, times: i32, wrong: bool) -> f64 {
        let truths = self.truly(set).into_iter().enumerate();
        truths
            .filter(|(t, _)| !wrong || *t != outcome)
            .map(|(t, p)| p * self.report(outcome, t).powi(times))
            .sum()
    }
}

fn network(rng: &mut StdRng) -> Network {
    let prior = |i| Prior::new(rng.random_range(0.02..0.4), ItemId(i), PlaceId(i % 2));
    Network::new((0..FAULTS).map(prior).collect())
}

fn members(set: usize) -> Vec<FaultId> {
    let there = (0..FAULTS).filter(|f| set >> f & 1 == 1);
    there.map(FaultId).collect()
}

/// The probability of each fault and of each result to be a mistake.
fn written_out(network: &Network, seen: &[(Test, usize, i32)]) -> (Vec<f64>, Vec<f64>) {
    let mut faults = vec![0.0; FAULTS];
    let mut mistakes = vec![0.0; seen.len()];
    let mut all = 0.0;
    for set in 0..1 << FAULTS {
        let there = |f: usize| set >> f & 1 == 1;
        let prior: f64 = (network.faults().iter().enumerate())
            .map(|(f, p)| match there(f) {
                true => p.probability,
                false => 1.0 - p.probability,
            })
            .product();
        let each: Vec<f64> = (seen.iter())
            .map(|(t, o, n)| t.reads(set, *o, *n, false))
            .collect();
        let weight = prior * each.iter().product::<f64>();
        all += weight;
        members(set).iter().for_each(|f| faults[f.0] += weight);
        for (i, (t, o, n)) in seen.iter().enumerate() {
            let others: f64 = (0..seen.len())
                .filter(|j| *j != i)
                .map(|j| each[j])
                .product();
            mistakes[i] += prior * others * t.reads(set, *o, *n, true);
        }
    }
    let share = |of: Vec<f64>| of.into_iter().map(|x| x / all).collect();
    (share(faults), share(mistakes))
}

fn all_near(got: &(impl AsRef<[f64]> + ?Sized), want: &(impl AsRef<[f64]> + ?Sized), what: &str) {
    let (got, want) = (got.as_ref(), want.as_ref());
    assert_eq!(got.len(), want.len(), "{what}");
    for (g, w) in got.iter().zip(want) {
        assert!((g - w).abs() < 1e-11, "{what}: {got:?}, want {want:?}");
    }
}

fn seen(rng: &mut StdRng, results: usize, most: i32) -> Vec<(Test, usize, i32)> {
    (0..results)
        .map(|_| {
            let test = Test::random(rng);
            let outcome = rng.random_range(0..test.mistaken.len());
            (test, outcome, rng.random_range(1..=most))
        })
        .collect()
}

#[test]
fn each_outcome_errs_by_its_own_chance() {
    for seed in 0..60 {
        let rng = &mut StdRng::seed_from_u64(seed);
        let network = network(rng);
        let seen = seen(rng, 1 + seed as usize % 5, 1);
        let (faults, mistakes) = written_out(&network, &seen);
        let events: Vec<Event> = (seen.iter())
            .map(|(t, o, _)| Event::seen(&t.finding(), *o))
            .collect();
        for size in [Size::Auto, Size::UpTo(FAULTS)] {
            let b = update(&network, &events, size);
            all_near(
                &b.faults,
                &faults,
                &format!("seed {seed}, faults, {size:?}"),
            );
            all_near(
                &b.misread,
                &mistakes,
                &format!("seed {seed}, mistakes, {size:?}"),
            );
        }
    }
}

#[test]
fn every_way_to_ask_for_a_likelihood_has_the_same_table() {
    for seed in 0..60 {
        let rng = &mut StdRng::seed_from_u64(seed);
        let test = Test::random(rng);
        let finding = Arc::new(test.finding());
        let outlook = Outlook::new(FAULTS, &finding);
        let mut p = vec![0.0; test.mistaken.len()];
        for set in 0..1 << FAULTS {
            let c = Candidate::new(&members(set)).unwrap();
            outlook.of(&c, &mut p);
            for (outcome, p) in p.iter().enumerate() {
                let want = test.reads(set, outcome, 1, false);
                let seen = Seen {
                    finding: finding.clone(),
                    outcome,
                };
                let got = [
                    *p,
                    Likelihood::new(FAULTS, &seen).of(&c),
                    finding.likelihood(outcome, &members(set)),
                ];
                all_near(&got, &[want; 3], &format!("seed {seed}, set {set}"));
            }
        }
    }
}

#[test]
fn reports_that_agree_err_as_independent_ones() {
    for seed in 0..60 {
        let rng = &mut StdRng::seed_from_u64(1000 + seed);
        let network = network(rng);
        let seen = seen(rng, 1 + seed as usize % 4, 3);
        let (faults, mistakes) = written_out(&network, &seen);
        let events: Vec<Event> = (seen.iter())
            .map(|(t, o, n)| Event::seen(&t.finding().agreed(*o, *n), *o))
            .collect();
        let b = update(&network, &events, Size::Auto);
        all_near(&b.faults, &faults, &format!("seed {seed}, faults"));
        all_near(&b.misread, &mistakes, &format!("seed {seed}, mistakes"));
    }
    // By hand: wrong in 1 of 10, twice, of those that agree.
    assert!((agreed(0.1, 0.9, 2) - 0.01 / 0.82).abs() < 1e-15);
    assert_eq!(agreed(0.0, 0.9, 2), 0.0);
}
