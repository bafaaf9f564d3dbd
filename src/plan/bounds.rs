//! What a plan costs at most and at least, without looking ahead.

use std::collections::HashMap;
use std::rc::Rc;

use super::problem::Problem;
use crate::bench::BenchState;

/// Remedies that are gone through at most.
const REMEDIES: usize = 24;

/// A plan without tests: what it costs, and what of that is spent at the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Repair {
    pub(super) cost: f64,
    pub(super) spent: f64,
}

/// Prices plans without tests.
#[derive(Debug)]
pub(super) struct Repairs {
    /// By remedy: the worlds that it may change, with the chance that it does.
    of_mend: Vec<Vec<(usize, f64)>>,
    /// By world: the remedies that may change it.
    of_world: Vec<Vec<(usize, f64)>>,
    /// By state, what each remedy costs and the state afterwards.
    prices: HashMap<BenchState, Rc<[(f64, BenchState)]>>,
    now: Vec<f64>,
    /// By remedy, how likely it changes what is; without end below for what
    /// was done.
    gains: Vec<f64>,
    moved: Vec<(usize, f64)>,
    /// Remedies of the plan that was priced last, in order.
    order: Vec<usize>,
}

impl Repairs {
    pub(super) fn new(p: &Problem) -> Self {
        let mut of_world = vec![Vec::new(); p.sizes.len()];
        let mut of_mend = vec![Vec::new(); p.mends.len()];
        for (i, mend) in p.mends.iter().enumerate() {
            for (w, becomes) in &mend.changes {
                let other = becomes.iter().filter(|(to, _)| *to != Some(*w));
                let chance = other.map(|(_, chance)| chance).sum();
                of_world[*w].push((i, chance));
                of_mend[i].push((*w, chance));
            }
        }
        Repairs {
            of_mend,
            of_world,
            prices: HashMap::new(),
            now: Vec::new(),
            gains: Vec::new(),
            moved: Vec::new(),
            order: Vec::new(),
        }
    }

    /// The remedies that [`Repairs::cost`] priced last, in order.
    pub(super) fn order(&self) -> &[usize] {
        &self.order
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
        self.now.clear();
        self.now.extend_from_slice(belief);
        let now = &mut self.now;
        self.gains.clear();
        for (i, changes) in self.of_mend.iter().enumerate() {
            let gain = changes.iter().map(|(w, chance)| now[*w] * chance).sum();
            self.gains
                .push(if done(i) { f64::NEG_INFINITY } else { gain });
        }
        let mut wrong = p.wrong(now);
        let mut mass: f64 = now.iter().sum();
        let enough = 1e-12 * mass;
        let mut cost = 0.0;
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
                    spent: cost,
                };
                worth_it = self.order.len();
            }
            if wrong <= enough {
                break;
            }
            let first = (self.gains.iter().zip(prices.iter()).enumerate())
                .filter(|(_, (gain, _))| **gain > 0.0)
                .map(|(i, (gain, price))| (i, gain / price.0.max(1e-9)))
                .reduce(|a, b| if b.1 > a.1 { b } else { a });
            let Some((i, _)) = first else { break };
            let (price, to) = prices[i];
            self.order.push(i);
            cost += price * mass;
            if cost >= best.cost {
                break;
            }
            if to != state {
                state = to;
                prices = prices_in(&mut self.prices, p, state);
            }
            self.gains[i] = f64::NEG_INFINITY;
            self.moved.clear();
            for (w, becomes) in &p.mends[i].changes {
                let before = now[*w];
                if before > 0.0 {
                    self.moved.push((*w, -before));
                    let to = becomes
                        .iter()
                        .filter_map(|(to, chance)| Some(((*to)?, chance)));
                    self.moved
                        .extend(to.map(|(to, chance)| (to, before * chance)));
                }
            }
            for (w, by) in &self.moved {
                now[*w] += by;
                wrong += by;
                for (j, chance) in &self.of_world[*w] {
                    self.gains[*j] += by * chance;
                }
            }
            // What was well goes home with the first retest.
            wrong = wrong.max(0.0);
            mass = wrong;
        }
        self.order.truncate(worth_it);
        best
    }
}

/// What each remedy costs in a state, and the state afterwards.
fn prices_in(
    known: &mut HashMap<BenchState, Rc<[(f64, BenchState)]>>,
    p: &Problem,
    state: BenchState,
) -> Rc<[(f64, BenchState)]> {
    let all = || (0..p.mends.len()).map(|i| p.mend_price(i, state));
    known
        .entry(state)
        .or_insert_with(|| all().collect())
        .clone()
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
        false => p.mend_price(i, state).0,
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
