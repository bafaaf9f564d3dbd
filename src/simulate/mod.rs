//! The simulated bench: hidden faults are drawn from the rules, tests are
//! answered from the model with their noise, and a way of working is followed to
//! the end, many thousand times.
//!
//! Each case and each of its answers depends on nothing but the seed, the number
//! of the case, the test and how often it was done before: so ways of working,
//! and rules, are compared on the same luck.
mod by_hand;
mod compare;
mod jobs;
mod judge;
mod known;
mod luck;
mod manner;
mod order;
mod policy;
mod rows;
mod sheet;
mod start;
mod tally;
mod view;
mod walk;

pub use by_hand::{ByHand, Chance};
pub use compare::{Comparison, Difference, compare};
pub use jobs::{Jobs, Order, WITH_HISTORY, jobs};
pub use judge::{Pair, Short, Untaken, judge};
pub use luck::{Luck, named};
pub use manner::Manner;
pub use order::{best_order, cheapest_first};
pub use policy::Policy;
pub use start::Start;
pub use tally::{Came, Mean, Part, Tenth, Walked, calibration};
pub use view::{SimulationView, simulate};
pub use walk::{Done, Drawn, Ended, Hidden, Looks, Record, SHOWN};

use crate::belief::FaultId;
use crate::plan::Act;
use typed_index_collections::TiVec;
use walk::{Same, Walk};

impl Start {
    /// Follows a way of working on hidden cases to their end; `looks` keeps what
    /// suspects were shown, and `ended` is told how many cases have come to
    /// their end. The records are in the order of the cases' numbers.
    pub fn follow(
        &self,
        policy: &Policy,
        hidden: &[Hidden],
        looks: bool,
        ended: &(dyn Fn(u64) + Sync),
    ) -> Vec<Record> {
        self.follow_believing(self, policy, hidden, looks, ended)
    }

    /// The same where other rules are believed than those that are true.
    pub fn follow_believing(
        &self,
        mind: &Start,
        policy: &Policy,
        hidden: &[Hidden],
        looks: bool,
        ended: &(dyn Fn(u64) + Sync),
    ) -> Vec<Record> {
        let same = &Same::new(self, mind);
        let walk = Walk {
            truth: self,
            mind,
            same,
            can: &same.can(mind),
            policy,
            looks,
            ended,
        };
        walk.run(hidden, Luck::new(named(&self.model.device)))
    }
}

impl Start {
    /// The probability of each fault at intake and after each of some steps, as
    /// the advice has them; `None` if the steps cannot all be.
    pub fn believed(&self, steps: &[Done]) -> Option<Vec<TiVec<FaultId, f64>>> {
        let mut known = known::Known::new(self);
        let mut all = vec![known.faults(self)];
        for step in steps {
            match step.act {
                Act::Remedy(r) => known.remedied(self, r),
                Act::Test(t) => {
                    let wanted: Vec<bool> = (0..self.model.tests[t].outcomes.len())
                        .map(|o| o == step.outcome)
                        .collect();
                    known = known.tested(self, t, &wanted).swap_remove(step.outcome)?;
                }
            }
            all.push(known.faults(self));
        }
        Some(all)
    }
}

impl Record {
    /// What it came to: time and parts, and the loss where something is left.
    pub fn cost(&self, start: &Start) -> f64 {
        let spent = start.costs.of(self.minutes, self.parts);
        match self.left.is_empty() {
            true => spent,
            false => spent + start.costs.give_up,
        }
    }
}
