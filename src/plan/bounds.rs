//! What a plan costs at most and at least, without looking ahead.

use std::collections::HashMap;
use std::rc::Rc;

use super::problem::{Price, Problem, Step};
use crate::bench::BenchState;

/// Remedies that are gone through at most.
const REMEDIES: usize = 24;

/// A plan without tests: what it costs, and what is paid of that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Repair {
    pub(super) cost: f64,
    pub(super) spent: f64,
}

/// Prices plans without tests.
#[derive(Debug)]
pub(super) struct Repairs {
    /// By remedy: what it may change, worlds of few faults first. What a world
    /// may become has fewer.
    of_mend: Vec<Vec<Change>>,
    /// By world: the remedies that may change it, with the chance.
    of_world: Vec<Vec<(usize, f64)>>,
    /// By state, what each remedy costs.
    prices: Vec<(BenchState, Rc<[Costs]>)>,
    now: Vec<f64>,
    /// By remedy, how likely it changes what is; without end below for what
    /// was done.
    gains: Vec<f64>,
    /// Remedies of the plan that was priced last, in order.
    order: Vec<usize>,
}

/// What a remedy does to one world.
#[derive(Debug)]
struct Change {
    world: usize,
    /// The chance that it becomes another, or well.
    chance: f64,
    /// What else it may become than well.
    others: Vec<(usize, f64)>,
}

/// What a remedy costs.
#[derive(Debug)]
struct Costs {
    price: Price,
    /// How many there are for a unit of currency.
    per_cost: f64,
    /// The state afterwards.
    to: BenchState,
}

impl Repairs {
    pub(super) fn new(p: &Problem) -> Self {
        let mut of_world = vec![Vec::new(); p.sizes.len()];
        let mut of_mend = Vec::new();
        for (i, mend) in p.mends.iter().enumerate() {
            let mut changes = Vec::new();
            for (world, becomes) in &mend.changes {
                let other = || becomes.iter().filter(|(to, _)| *to != Some(*world));
                let chance = other().map(|(_, chance)| chance).sum();
                of_world[*world].push((i, chance));
                changes.push(Change {
                    world: *world,
                    chance,
                    others: other()
                        .filter_map(|(to, chance)| Some(((*to)?, *chance)))
                        .collect(),
                });
            }
            changes.sort_by_key(|c| p.sizes[c.world]);
            of_mend.push(changes);
        }
        Repairs {
            of_mend,
            of_world,
            prices: Vec::new(),
            now: Vec::new(),
            gains: Vec::new(),
            order: Vec::new(),
        }
    }

    /// The remedies that [`Repairs::cost`] priced last, in order.
    pub(super) fn order(&self) -> &[usize] {
        &self.order
    }

    /// How likely a remedy changes what is.
    pub(super) fn gain(&self, mend: usize, belief: &[f64]) -> f64 {
        let changes = self.of_mend[mend].iter();
        changes.map(|c| belief[c.world] * c.chance).sum()
    }

    /// At most: remedies in the order of probability over cost, a retest after
    /// each, until mended or until giving up is cheaper (Heckerman, Breese and
    /// Rommelse 1995). `done` tells which remedies are not there any more. In
    /// currency, times the weight of the belief.
    pub(super) fn cost(
        &mut self,
        p: &Problem,
        belief: &[f64],
        mut state: BenchState,
        done: impl Fn(usize) -> bool,
    ) -> Repair {
        let mut gains = std::mem::take(&mut self.gains);
        gains.clear();
        gains.extend((0..p.mends.len()).map(|i| match done(i) {
            true => f64::NEG_INFINITY,
            false => self.gain(i, belief),
        }));
        self.now.clear();
        self.now.extend_from_slice(belief);
        let now = &mut self.now;
        let mut wrong = p.wrong(now);
        let mut mass: f64 = now.iter().sum();
        let enough = 1e-12 * mass;
        let (mut cost, mut spent) = (0.0, 0.0);
        let mut best = Repair {
            cost: f64::INFINITY,
            spent: 0.0,
        };
        let mut prices = prices_in(&mut self.prices, p, state);
        self.order.clear();
        let mut worth_it = 0;
        for _ in 0..=REMEDIES {
            if cost + wrong * p.give_up < best.cost {
                best = Repair {
                    cost: cost + wrong * p.give_up,
                    spent,
                };
                worth_it = self.order.len();
            }
            if wrong <= enough {
                break;
            }
            let first = (gains.iter().zip(prices.iter()).enumerate())
                .filter(|(_, (gain, price))| **gain > 0.0 && price.per_cost > 0.0)
                .map(|(i, (gain, price))| (i, gain * price.per_cost))
                .reduce(|a, b| if b.1 > a.1 { b } else { a });
            let Some((i, _)) = first else { break };
            let costs = &prices[i];
            self.order.push(i);
            cost += costs.price.counts * mass;
            spent += costs.price.paid * mass;
            if cost >= best.cost {
                break;
            }
            if costs.to != state {
                state = costs.to;
                prices = prices_in(&mut self.prices, p, state);
            }
            gains[i] = f64::NEG_INFINITY;
            let mut add = |now: &mut [f64], world: usize, by: f64| {
                now[world] += by;
                wrong += by;
                for (j, chance) in &self.of_world[world] {
                    gains[*j] += by * chance;
                }
            };
            for c in &self.of_mend[i] {
                let before = now[c.world];
                if before > 0.0 {
                    add(now, c.world, -before * c.chance);
                    (c.others.iter()).for_each(|(to, chance)| add(now, *to, before * chance));
                }
            }
            // What was well goes home with the first retest.
            wrong = wrong.max(0.0);
            mass = wrong;
        }
        self.order.truncate(worth_it);
        self.gains = gains;
        best
    }
}

/// What each remedy costs in a state.
fn prices_in(
    known: &mut Vec<(BenchState, Rc<[Costs]>)>,
    p: &Problem,
    state: BenchState,
) -> Rc<[Costs]> {
    if let Some((_, prices)) = known.iter().find(|k| k.0 == state) {
        return prices.clone();
    }
    let costs = |i| {
        let (price, to) = p.mend_price(i, state);
        let barred = p.barred(Step::Mend(i), state);
        Costs {
            price,
            // What a gate bars is not there without a test that lifts it.
            per_cost: if barred {
                0.0
            } else {
                1.0 / price.counts.max(1e-9)
            },
            to,
        }
    };
    let prices: Rc<[Costs]> = (0..p.mends.len()).map(costs).collect();
    known.push((state, prices.clone()));
    prices
}

/// At least: what it would cost if the cause were told for nothing. Linear in
/// the belief, so that a test by itself cannot lower it.
#[derive(Debug)]
pub(super) struct Told {
    /// Each change of a remedy, by its place: what a world may become has fewer
    /// faults, and comes before.
    order: Vec<(usize, usize)>,
    /// Cost in each world, by bench state and remedies that are done.
    known: HashMap<(BenchState, Vec<u16>), Vec<f64>>,
}

impl Told {
    pub(super) fn new(p: &Problem) -> Self {
        let changes = |i: usize| (0..p.mends[i].changes.len()).map(move |at| (i, at));
        let mut order: Vec<(usize, usize)> = (0..p.mends.len()).flat_map(changes).collect();
        order.sort_by_key(|(i, at)| p.sizes[p.mends[*i].changes[*at].0]);
        Told {
            order,
            known: HashMap::new(),
        }
    }

    /// The bound in each world, in currency. `done` are the remedies that are
    /// not there any more, in order.
    pub(super) fn by_world(&mut self, p: &Problem, state: BenchState, done: Vec<u16>) -> &[f64] {
        let order = &self.order;
        self.known
            .entry((state, done))
            .or_insert_with_key(|(state, done)| by_world(p, order, *state, done))
    }
}

/// What each world costs where it is known to be the one.
fn by_world(p: &Problem, order: &[(usize, usize)], state: BenchState, done: &[u16]) -> Vec<f64> {
    let given_up = |size: &usize| if *size == 0 { 0.0 } else { p.give_up };
    let mut costs: Vec<f64> = p.sizes.iter().map(given_up).collect();
    let price = |i: usize| match done.contains(&(i as u16)) {
        true => f64::INFINITY,
        false => p.mend_price(i, state).0.counts,
    };
    let prices: Vec<f64> = (0..p.mends.len()).map(price).collect();
    for (i, at) in order {
        if prices[*i].is_infinite() {
            continue;
        }
        let (world, becomes) = &p.mends[*i].changes[*at];
        let (mut fails, mut cost) = (0.0, prices[*i]);
        for (to, chance) in becomes {
            match to {
                Some(to) if to == world => fails += chance,
                Some(to) => cost += chance * costs[*to],
                None => {}
            }
        }
        // As if it could be tried again and again: no dearer than what is.
        if fails < 1.0 {
            costs[*world] = costs[*world].min(cost / (1.0 - fails));
        }
    }
    costs
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
