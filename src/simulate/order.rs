//! The best fixed order of tests that a local search finds.

use typed_index_collections::TiVec;

use super::luck::Luck;
use super::policy::Policy;
use super::rows::Rows;
use super::sheet::Sheet;
use super::start::Start;
use super::walk::Hidden;
use crate::plan::TestId;

/// Orders that are priced roughly, from each of two beginnings.
const ROUGHLY: u64 = 1500;
/// Orders that are tried in truth, at least and at most.
const TRIES: (usize, usize) = (20, 60);
/// Cases that orders are tried on, for each case that the best is followed on.
const WORK: usize = 40;
/// Tests at the head of the list that are moved about: those behind them are
/// hardly ever come to.
const HEAD: usize = 40;

/// The order of the tests by cost, as a printed list would have it: the quick
/// ones that need nothing done to the bench first.
pub fn cheapest_first(start: &Start) -> Vec<TestId> {
    let cost = |t: TestId| {
        let plan = &start.tests[t].plan;
        plan.minutes + start.moves.reach(start.state, plan.conditions).1
    };
    let mut order: Vec<TestId> = start.tests.keys().collect();
    order.sort_by(|a, b| cost(*a).total_cmp(&cost(*b)).then(a.cmp(b)));
    order
}

/// The order of the tests by what they tell at intake over their cost.
fn telling_first(start: &Start) -> Vec<TestId> {
    let tests: TiVec<TestId, _> = start.tests.iter().map(|t| Some(t.plan.clone())).collect();
    let told = Rows::new(start).foretell(&start.worlds, &tests);
    let worth = |t: TestId| {
        let plan = &start.tests[t].plan;
        let minutes = plan.minutes + start.moves.reach(start.state, plan.conditions).1;
        told[t].as_ref().map_or(0.0, |f| f.bits) / minutes.max(0.1)
    };
    let mut order: Vec<TestId> = start.tests.keys().collect();
    order.sort_by(|a, b| worth(*b).total_cmp(&worth(*a)).then(a.cmp(b)));
    order
}

/// The cheapest order on some hidden cases that is found by moving one test to
/// another place, or changing two for each other, for as long as it helps. It
/// begins twice, with the order by cost and with that by what is told for it,
/// and prices thousands of orders roughly; what comes of it is tried in truth
/// beside the beginnings, and the best is moved about a little more. The more
/// cases it is for, the more orders are tried in truth.
pub fn best_order(start: &Start, training: &[Hidden], cases: usize, luck: Luck) -> Vec<TestId> {
    let cost = |order: &[TestId]| -> f64 {
        let records = start.follow(&Policy::InOrder(order.to_vec()), training, false, &|_| ());
        records.iter().map(|r| r.cost(start)).sum()
    };
    let sheet = Sheet::new(start, training);
    let begin = [telling_first(start), cheapest_first(start)];
    let mut found = begin.to_vec();
    for (n, order) in (0u64..).zip(begin) {
        let rough = |order: &[TestId]| sheet.cost(order);
        found.push(moved_about(order, ROUGHLY, luck.of(ROUGH).of(n), rough));
    }
    let priced = found.into_iter().map(|order| (cost(&order), order));
    let best = priced.min_by(|a, b| a.0.total_cmp(&b.0));
    let tries = (WORK * cases / training.len().max(1)).clamp(TRIES.0, TRIES.1);
    moved_about(best.unwrap_or_default().1, tries as u64, luck, cost)
}

/// A name for chance: the search by rough prices.
const ROUGH: u64 = 301;

/// An order with its tests moved about for as long as that makes it cheaper.
fn moved_about(
    order: Vec<TestId>,
    tries: u64,
    luck: Luck,
    cost: impl Fn(&[TestId]) -> f64,
) -> Vec<TestId> {
    let head = HEAD.min(order.len());
    if head < 2 {
        return order;
    }
    let mut best = (cost(&order), order);
    for n in 0..tries {
        let luck = luck.of(n);
        let to = luck.of(1).one_of(head);
        let from = luck.of(2).one_of(best.1.len());
        if from == to {
            continue;
        }
        let mut order = best.1.clone();
        match luck.of(3).number() < 0.5 {
            true => order.swap(from, to),
            false => {
                let test = order.remove(from);
                order.insert(to, test);
            }
        }
        let cost = cost(&order);
        if cost < best.0 {
            best = (cost, order);
        }
    }
    best.1
}
