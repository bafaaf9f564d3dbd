//! What is to be planned, laid out for a search: worlds, what each may show,
//! what mends it.

use crate::bench::{BenchState, Moves, Turns};

/// What something costs, in currency.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Price {
    /// What it counts when steps are chosen: all that a shop has against it.
    pub counts: f64,
    /// What is paid for it, in work and parts.
    pub paid: f64,
}

impl From<f64> for Price {
    /// Counts for what is paid.
    fn from(paid: f64) -> Self {
        let counts = paid;
        Price { counts, paid }
    }
}

impl std::ops::Add for Price {
    type Output = Price;
    fn add(self, other: Price) -> Price {
        Price {
            counts: self.counts + other.counts,
            paid: self.paid + other.paid,
        }
    }
}

impl std::ops::Mul<f64> for Price {
    type Output = Price;
    fn mul(self, by: f64) -> Price {
        Price {
            counts: self.counts * by,
            paid: self.paid * by,
        }
    }
}

/// Something to learn from: a test.
#[derive(Clone, Debug)]
pub struct Trial {
    /// Cost, changes of bench condition not counted.
    pub price: Price,
    /// Bench conditions, with all that they need, and the gates that bar it.
    pub conditions: BenchState,
    /// By outcome, what it does to gates; empty: nothing.
    pub turns: Vec<Turns>,
    /// By outcome, its probability in each world.
    pub chances: Vec<Vec<f64>>,
    /// Tests that have to be done before it, by index.
    pub after: Vec<usize>,
    /// Whether it needs neither an open device nor a tool.
    pub handy: bool,
}

/// What a remedy makes of one world: worlds with their chance, itself among
/// them where it may fail; `None` is a device that is well.
pub type Becomes = Vec<(Option<usize>, f64)>;

/// Something that mends: a remedy with the retest that follows it.
#[derive(Clone, Debug)]
pub struct Mend {
    /// Cost with parts and retest, changes of bench condition not counted.
    pub price: Price,
    /// Bench conditions, with all that they need, and the gates that bar it.
    pub conditions: BenchState,
    /// The worlds that it changes.
    pub changes: Vec<(usize, Becomes)>,
    /// Whether it needs neither an open device nor a tool.
    pub handy: bool,
}

/// What is to be planned.
///
/// A retest shows whether all is well; what is well leaves the bench. Every
/// test and every remedy is done once at most.
#[derive(Clone, Debug)]
pub struct Problem<'a> {
    /// Number of faults in each world; the one without any is well.
    pub sizes: Vec<usize>,
    /// Tests.
    pub trials: Vec<Trial>,
    /// Remedies.
    pub mends: Vec<Mend>,
    /// Conditions in which it is seen whether a remedy mended.
    pub retest: BenchState,
    /// What changing bench conditions takes.
    pub moves: &'a Moves,
    /// Cost of a minute.
    pub minute: Price,
    /// Loss where a device goes back unmended, in currency.
    pub give_up: f64,
}

/// A step of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Step {
    /// A test, by index.
    Trial(usize),
    /// A remedy, by index.
    Mend(usize),
    /// The device goes back as it is.
    GiveUp,
}

impl Problem<'_> {
    /// Cost of a test now, and the state of the device afterwards.
    pub(super) fn trial_price(&self, i: usize, state: BenchState) -> (Price, BenchState) {
        let t = &self.trials[i];
        let (to, minutes) = self.moves.reach(state, t.conditions);
        (t.price + self.minute * minutes, to)
    }

    /// Cost of a remedy now with its retest, and the state afterwards.
    pub(super) fn mend_price(&self, i: usize, state: BenchState) -> (Price, BenchState) {
        let m = &self.mends[i];
        let (there, go) = self.moves.reach(state, m.conditions);
        let (back, come) = self.moves.reach(there, self.retest);
        (m.price + self.minute * (go + come), back)
    }

    /// The state after an outcome, where the test left the device in this one.
    pub(super) fn turned(&self, i: usize, outcome: usize, state: BenchState) -> BenchState {
        let turns = self.trials[i].turns.get(outcome).copied();
        state.turned(turns.unwrap_or_default())
    }

    /// Whether a test lifts a gate that is up.
    pub(super) fn lifts(&self, i: usize, state: BenchState) -> bool {
        let lifts = |t: &Turns| !t.lifts.and(state.gates()).is_empty();
        self.trials[i].turns.iter().any(lifts)
    }

    /// Whether a gate that is up bars a step.
    pub(super) fn barred(&self, step: Step, state: BenchState) -> bool {
        let target = match step {
            Step::Trial(i) => self.trials[i].conditions,
            Step::Mend(i) => self.mends[i].conditions,
            Step::GiveUp => return false,
        };
        !state.bars(target).is_empty()
    }

    /// The weights of the worlds that a retest does not send home.
    pub(super) fn after_mend(&self, i: usize, belief: &[f64]) -> Vec<f64> {
        let mut next = belief.to_vec();
        for (w, size) in self.sizes.iter().enumerate() {
            if *size == 0 {
                next[w] = 0.0;
            }
        }
        for (w, becomes) in &self.mends[i].changes {
            next[*w] -= belief[*w];
            for (to, chance) in becomes {
                if let Some(to) = to {
                    next[*to] += belief[*w] * chance;
                }
            }
        }
        next
    }

    /// The weights of the worlds in which an outcome is seen.
    pub(super) fn after_trial(&self, i: usize, outcome: usize, belief: &[f64]) -> Vec<f64> {
        let chances = &self.trials[i].chances[outcome];
        belief.iter().zip(chances).map(|(b, c)| b * c).collect()
    }

    /// Weight of the worlds in which something is wrong.
    pub(super) fn wrong(&self, belief: &[f64]) -> f64 {
        let wrong = belief
            .iter()
            .zip(&self.sizes)
            .filter(|(_, size)| **size > 0);
        wrong.map(|(b, _)| b).sum()
    }
}
