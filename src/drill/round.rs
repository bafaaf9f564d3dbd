//! A round: what the trainee did, worked out as it goes.

use serde::{Deserialize, Serialize};

use super::look::Look;
use super::mistake::{self, Mistake};
use super::task::{DrillError, Task};
use crate::bench::{BenchState, Move as Change};
use crate::model::{Found, Model};
use crate::plan::Act;
use crate::simulate::ByHand;

/// What a trainee does, by identifiers of the rules.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Move {
    /// Brings a bench condition about, with what it needs.
    Bring(String),
    /// Undoes one, with what needs it.
    Undo(String),
    /// Does a test.
    Test(String),
    /// Does a remedy.
    Remedy(String),
    /// Asks for a hint.
    Hint,
}

/// How much of the advised step was told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hint {
    /// Nothing.
    #[default]
    None,
    /// Its kind.
    Kind,
    /// The step itself.
    Step,
}

/// A step that was done.
#[derive(Clone, Debug)]
pub struct Did {
    /// The step.
    pub act: Act,
    /// What a test showed, by index.
    pub outcome: Option<usize>,
    /// Minutes since the step before, at the bench.
    pub minutes: f64,
    /// What it could tell.
    pub look: Look,
    /// What the advice was, and what that could tell; `None` if it was to hand
    /// the device back.
    pub advised: Option<Look>,
    /// How likely each true fault stood after it.
    pub truth: Vec<f64>,
}

/// What came of a move.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// What a test showed, by index.
    pub outcome: Option<usize>,
    /// What was wrong with it.
    pub mistakes: Vec<Mistake>,
    /// How the bench was changed.
    pub change: Change,
    /// A hint: how much is told, and the step; no step means that nothing is
    /// left to be done.
    pub hint: Option<(Hint, Option<Act>)>,
}

/// A round on its way.
#[derive(Clone, Debug)]
pub struct Round<'a> {
    /// What came in.
    pub task: &'a Task,
    /// The case.
    pub hand: ByHand<'a>,
    /// The steps so far.
    pub did: Vec<Did>,
    /// The mistakes so far, each with how many steps there were before it.
    pub mistakes: Vec<(usize, Mistake)>,
    /// Hints that were paid for, in order.
    pub hints: Vec<Hint>,
    hinted: Hint,
    /// Minutes up to the last step.
    counted: f64,
}

impl<'a> Round<'a> {
    /// A round before its first step.
    pub fn new(task: &'a Task) -> Self {
        let chance = task.order.level.chance();
        Round {
            hand: ByHand::new(&task.start, &task.hidden, chance),
            did: Vec::new(),
            mistakes: Vec::new(),
            hints: Vec::new(),
            hinted: Hint::None,
            counted: 0.0,
            task,
        }
    }

    /// The device under the rules.
    pub fn model(&self) -> &'a Model {
        &self.task.start.model
    }

    /// Does what the trainee does.
    ///
    /// # Errors
    /// If a name is not in the rules; nothing is done then.
    pub fn take(&mut self, what: &Move) -> Result<Told, DrillError> {
        let m = self.model();
        let gone = |what, name: &String| DrillError::Gone {
            what,
            name: name.clone(),
        };
        let condition = |name: &String| {
            let at = m.bench.conditions.iter().position(|c| c.id == *name);
            at.ok_or_else(|| gone("bench condition", name))
        };
        match what {
            Move::Hint => Ok(self.hint()),
            Move::Bring(name) => {
                let change = m.bench.reach(self.hand.state(), &[condition(name)?]);
                Ok(self.bring(change))
            }
            Move::Undo(name) => {
                let change = undo(m, self.hand.state(), condition(name)?);
                Ok(self.bring(change))
            }
            Move::Test(name) => match m.test(name) {
                Found::One(t) => Ok(self.step(Act::Test(t))),
                _ => Err(gone("test", name)),
            },
            Move::Remedy(name) => match m.remedy(name) {
                Found::One(r) => Ok(self.step(Act::Remedy(r))),
                _ => Err(gone("remedy", name)),
            },
        }
    }

    fn hint(&mut self) -> Told {
        let next = match self.hinted {
            Hint::None => Hint::Kind,
            Hint::Kind | Hint::Step => Hint::Step,
        };
        // What was told already is told again for nothing.
        if next != self.hinted {
            self.hints.push(next);
            self.hinted = next;
        }
        Told {
            hint: Some((next, self.hand.advised())),
            ..Told::default()
        }
    }

    fn bring(&mut self, change: Change) -> Told {
        let mut told = Told::default();
        let early = |round: &Self| {
            let advised = round.hand.advised();
            mistake::opened_early(&round.task.start, &round.hand, change.to, advised)
        };
        if !change.enter.is_empty() {
            told.mistakes.extend(early(self));
        }
        self.hand.bring(&change);
        told.change = change;
        self.charge(&told);
        told
    }

    fn step(&mut self, act: Act) -> Told {
        let m = self.model();
        let start = &self.task.start;
        let conditions = &m.named(act).step.conditions;
        let change = m.bench.reach(self.hand.state(), conditions);
        let advised = self.hand.advised();
        let condition = mistake::in_condition(m, self.hand.state(), act);
        let early = mistake::opened_early(start, &self.hand, change.to, advised);
        let guess = mistake::guessed(start, &self.hand, act, advised);
        let look = Look::at(&self.hand, act);
        let advised = advised.map(|a| Look::at(&self.hand, a));
        let outcome = match act {
            Act::Test(t) => Some(self.hand.test(t)),
            Act::Remedy(r) => {
                self.hand.mend(r);
                None
            }
        };
        let p = self.hand.probabilities();
        self.hinted = Hint::None;
        let told = Told {
            outcome,
            mistakes: condition.into_iter().chain(early).chain(guess).collect(),
            change,
            hint: None,
        };
        self.charge(&told);
        self.did.push(Did {
            act,
            outcome,
            minutes: self.hand.minutes() - self.counted,
            look,
            advised,
            truth: self.task.hidden.faults.iter().map(|f| p[f]).collect(),
        });
        self.counted = self.hand.minutes();
        told
    }

    fn charge(&mut self, told: &Told) {
        let at = self.did.len();
        (self.mistakes).extend(told.mistakes.iter().map(|m| (at, m.clone())));
    }

    /// Whether nothing is wrong any more, and that is proved.
    pub fn is_mended(&self) -> bool {
        self.hand.left().is_empty() && self.hand.due().is_empty()
    }

    /// Follows the advice on the same case and the same luck to its end.
    pub fn advice(task: &'a Task) -> Round<'a> {
        let mut round = Round::new(task);
        while let Some(act) = round.hand.advised() {
            if round.did.len() >= MOST {
                break;
            }
            round.step(act);
        }
        // Whoever follows the advice makes the bench ready first.
        round.mistakes.clear();
        round
    }
}

/// Steps after which the advice is not followed any further.
const MOST: usize = 60;

/// Undoes a condition, and what needs it.
fn undo(m: &Model, state: BenchState, condition: usize) -> Change {
    let leave: Vec<usize> = state
        .iter()
        .filter(|c| m.bench.closure(&[*c]).contains(&condition))
        .collect();
    Change {
        to: state.iter().filter(|c| !leave.contains(c)).collect(),
        minutes: leave.iter().map(|c| m.bench.conditions[*c].leave).sum(),
        leave,
        enter: Vec::new(),
    }
}
