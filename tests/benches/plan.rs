//! How near the advice comes to the cheapest plan.
//!
//! ```text
//! cargo bench --bench plan
//! cargo bench --bench plan -- 8 20        20 instances of 8 faults, 8 tests, 8 remedies
//! cargo bench --bench plan -- 8 20 100000  with so much work in a look
//! cargo bench --bench plan -- 12 50 500000 17   from the eighteenth instance on
//! ```
//!
//! | what | bar |
//! | --- | --- |
//! | 50 instances of 12 faults, 12 tests, 12 remedies | mean at most 1.01, worst at most 1.05 times the proven bound |
//!
//! The advice is followed to its end, asked anew after every result, and what
//! that is expected to cost is worked out over all results. It is set against a
//! bound from dynamic programming over all sets of results and of remedies done;
//! where four remedies have failed, it goes on as if tests cost nothing.

use std::collections::HashMap;
use std::time::Instant;

use halfsplit::bench::{BenchState, Moves};
use halfsplit::plan::Effort;
use halfsplit::plan::problem::{Mend, Problem, Step, Trial};
use halfsplit::plan::search::{Moment, Search};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;

/// Remedies that fail before the bound does tests for nothing.
const REMEDIES: u32 = 4;
/// In moments that are rarer the advice is asked one step ahead only; that can
/// but make it look dearer.
const RARE: f64 = 3e-4;
/// Moments that are rarer than this are not followed, but priced by the plan
/// found there.
const RAREST: f64 = 1e-6;

#[expect(clippy::print_stdout, reason = "what the bench was run for")]
fn main() {
    let numbers: Vec<usize> = (std::env::args().skip(1))
        .filter_map(|a| a.parse().ok())
        .collect();
    let n = numbers.first().copied().unwrap_or(12);
    let many = numbers.get(1).copied().unwrap_or(50);
    let effort = Effort {
        work: numbers.get(2).copied().unwrap_or(Effort::REFINED.work),
        ..Effort::REFINED
    };
    let moves = Moves::default();
    let seeds = numbers.get(3).copied().unwrap_or(0)..many;
    let ratio = |seed| {
        let (p, belief) = instance(n, seed as u64, &moves);
        let start = Instant::now();
        let bound = Table::new(&p, &belief).bound();
        let bounded = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let mut follow = Follow::new(&p, effort);
        let first = Moment::start(&belief, BenchState::default());
        let plan = Search::new(&p, effort).plan(&first).cost;
        let cost = follow.cost(&first);
        let each = start.elapsed().as_secs_f64() * 1e3 / follow.known.len() as f64;
        println!(
            "{seed:>3}: at least {bound:.3} ({bounded:.1} s), followed {cost:.3}: {:.4}; \
             told at the start {:.1} to {:.1}; {} moments of {each:.1} ms",
            cost / bound,
            plan.low,
            plan.high,
            follow.known.len(),
        );
        cost / bound
    };
    // Each takes some gigabytes.
    let ratios: Vec<f64> = seeds.into_par_iter().map(ratio).collect();
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    let worst = ratios.iter().copied().fold(0.0, f64::max);
    println!(
        "{} instances of {n}: mean {mean:.4}, worst {worst:.4} times the proven bound",
        ratios.len()
    );
}

/// Single faults, tests that see two in five of them, a remedy for each.
fn instance(n: usize, seed: u64, moves: &Moves) -> (Problem<'_>, Vec<f64>) {
    let mut rng = StdRng::seed_from_u64(seed);
    let weight = |w: usize, rng: &mut StdRng| match w {
        0 => 0.0,
        _ => 20f64.powf(rng.random()),
    };
    let mut belief: Vec<f64> = (0..=n).map(|w| weight(w, &mut rng)).collect();
    let sum: f64 = belief.iter().sum();
    belief.iter_mut().for_each(|b| *b /= sum);
    let trials = (0..n).map(|_| {
        let chance = |rng: &mut StdRng| match rng.random_bool(0.4) {
            true => rng.random_range(0.7..0.98),
            false => rng.random_range(0.02..0.1),
        };
        let no: Vec<f64> = (0..=n).map(|_| chance(&mut rng)).collect();
        Trial {
            price: rng.random_range(1.0..10.0).into(),
            conditions: BenchState::default(),
            after: Vec::new(),
            handy: false,
            turns: Vec::new(),
            chances: vec![no.iter().map(|x| 1.0 - x).collect(), no],
        }
    });
    let trials = trials.collect();
    let mends = (1..=n).map(|w| {
        let takes = rng.random_range(0.85..1.0);
        Mend {
            price: rng.random_range(10.0..60.0).into(),
            conditions: BenchState::default(),
            handy: false,
            changes: vec![(w, vec![(None, takes), (Some(w), 1.0 - takes)])],
        }
    });
    let problem = Problem {
        sizes: (0..=n).map(|w| usize::from(w > 0)).collect(),
        trials,
        mends: mends.collect(),
        retest: BenchState::default(),
        moves,
        minute: 1.0.into(),
        give_up: 180.0,
    };
    (problem, belief)
}

/// What following the advice costs.
struct Follow<'a> {
    problem: &'a Problem<'a>,
    effort: Effort,
    /// By belief, cost per weight.
    known: HashMap<Vec<i64>, f64>,
}

impl<'a> Follow<'a> {
    fn new(problem: &'a Problem<'a>, effort: Effort) -> Self {
        let known = HashMap::new();
        Follow {
            problem,
            effort,
            known,
        }
    }

    fn cost(&mut self, m: &Moment) -> f64 {
        if m.mass <= 0.0 {
            return 0.0;
        }
        let shares = m.belief.iter().map(|b| (b / m.mass * 1e10).round() as i64);
        let key: Vec<i64> = shares.chain(m.done().iter().map(|d| *d as i64)).collect();
        if let Some(cost) = self.known.get(&key) {
            return cost * m.mass;
        }
        let effort = if m.mass < RARE {
            Effort::FIRST
        } else {
            self.effort
        };
        let mut search = Search::new(self.problem, effort);
        let found = search.plan(m);
        let step = found.steps.first().map_or(Step::GiveUp, |s| s.0);
        let cost = if m.mass < RAREST || step == Step::GiveUp {
            found.cost.high
        } else {
            let (price, then) = search.after(m, step);
            price.counts * m.mass + then.iter().map(|m| self.cost(m)).sum::<f64>()
        };
        self.known.insert(key, cost / m.mass);
        cost
    }
}

/// Lower bound of the cost by set of results, for one set of remedies after another.
struct Table<'a> {
    p: &'a Problem<'a>,
    /// By set of results (a digit to the base of three for each test: not done,
    /// first or second outcome): the weights of the worlds.
    weights: Vec<f64>,
    /// By test, what its first outcome adds to the number of a set of results.
    digit: Vec<usize>,
}

impl<'a> Table<'a> {
    fn new(p: &'a Problem<'a>, belief: &[f64]) -> Self {
        let digit: Vec<usize> = (0..=p.trials.len()).map(|i| 3usize.pow(i as u32)).collect();
        let sets = digit[p.trials.len()];
        let mut weights = Vec::with_capacity(sets * belief.len());
        for set in 0..sets {
            for (w, b) in belief.iter().enumerate() {
                let chance = |(i, t): (usize, &Trial)| match set / digit[i] % 3 {
                    0 => 1.0,
                    d => t.chances[d - 1][w],
                };
                weights.push(b * p.trials.iter().enumerate().map(chance).product::<f64>());
            }
        }
        Table { p, weights, digit }
    }

    /// Chance that a remedy leaves a world as it is.
    fn fails(&self, mend: usize, world: usize) -> f64 {
        let changes = self.p.mends[mend].changes.iter().find(|c| c.0 == world);
        changes.map_or(1.0, |c| {
            let stays = c.1.iter().filter(|b| b.0 == Some(world));
            stays.map(|b| b.1).sum()
        })
    }

    /// For remedies that have failed: as if all tests that are left cost
    /// nothing. Then they are all done, and the remedies follow in the order of
    /// probability over cost for as long as they are worth it.
    fn tests_for_nothing(&self, done: u32, worlds: usize) -> Vec<f64> {
        let p = self.p;
        let left = self.left(done, worlds);
        let mends: Vec<usize> = (0..p.mends.len()).filter(|m| done >> m & 1 == 0).collect();
        let sets = self.digit[p.trials.len()];
        let mut cost = vec![0.0; sets];
        for set in (0..sets).rev() {
            let undone = (0..p.trials.len()).find(|i| (set / self.digit[*i]).is_multiple_of(3));
            if let Some(i) = undone {
                cost[set] = cost[set + self.digit[i]] + cost[set + 2 * self.digit[i]];
                continue;
            }
            let weights = &self.weights[set * worlds..][..worlds];
            let mut mass: f64 = weights.iter().zip(&left).map(|(a, b)| a * b).sum();
            let gain = |m: usize| -> f64 {
                let (w, _) = p.mends[m].changes[0];
                weights[w] * left[w] * (1.0 - self.fails(m, w))
            };
            let mut order: Vec<(f64, f64)> = mends
                .iter()
                .map(|m| (gain(*m), p.mends[*m].price.counts))
                .collect();
            order.sort_by(|a, b| (b.0 / b.1).total_cmp(&(a.0 / a.1)));
            let (mut spent, mut best) = (0.0, mass * p.give_up);
            for (gain, price) in order {
                spent += mass * price;
                mass -= gain;
                best = f64::min(best, spent + mass * p.give_up);
            }
            cost[set] = best;
        }
        cost
    }

    /// Chance that a world is left by these remedies as it is.
    fn left(&self, done: u32, worlds: usize) -> Vec<f64> {
        let mends = || (0..self.p.mends.len()).filter(|m| done >> m & 1 == 1);
        (0..worlds)
            .map(|w| mends().map(|m| self.fails(m, w)).product())
            .collect()
    }

    fn bound(&self) -> f64 {
        let worlds = self.p.sizes.len();
        let mends = self.p.mends.len() as u32;
        let last = REMEDIES.min(mends);
        let mut layer: HashMap<u32, Vec<f64>> = HashMap::new();
        for count in (0..=last).rev() {
            let done = (0..1u32 << mends).filter(|s| s.count_ones() == count);
            let here = done.map(|s| {
                let costs = match count == last {
                    true => self.tests_for_nothing(s, worlds),
                    false => self.one(s, worlds, &layer),
                };
                (s, costs)
            });
            layer = here.collect();
        }
        layer[&0][0]
    }

    /// For remedies that have failed; `next` has those with one more.
    fn one(&self, done: u32, worlds: usize, next: &HashMap<u32, Vec<f64>>) -> Vec<f64> {
        let p = self.p;
        let left = self.left(done, worlds);
        let other = (0..p.mends.len()).filter(|m| done >> m & 1 == 0);
        let mends: Vec<(f64, &Vec<f64>)> = other
            .map(|m| (p.mends[m].price.counts, &next[&(done | 1 << m)]))
            .collect();
        let sets = self.digit[p.trials.len()];
        let mut cost = vec![0.0; sets];
        for set in (0..sets).rev() {
            let weights = &self.weights[set * worlds..][..worlds];
            let mass: f64 = weights.iter().zip(&left).map(|(a, b)| a * b).sum();
            let mut best = mass * p.give_up;
            for (i, t) in p.trials.iter().enumerate() {
                if (set / self.digit[i]).is_multiple_of(3) {
                    let (no, yes) = (set + self.digit[i], set + 2 * self.digit[i]);
                    best = best.min(t.price.counts * mass + cost[no] + cost[yes]);
                }
            }
            for (price, then) in &mends {
                best = best.min(price * mass + then[set]);
            }
            cost[set] = best;
        }
        cost
    }
}
