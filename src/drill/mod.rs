//! The drill: a junior works on a hidden case from the simulated bench, is
//! scored against the advice on the same case and the same luck, and is told
//! what each step could tell and could not.
//!
//! A round is worked out anew from what the trainee did, as a job is from its
//! entries. Points taken off are common practice, no source.
mod cause;
mod debrief;
mod draw;
mod level;
mod look;
mod mistake;
mod progress;
mod round;
mod score;
mod task;

pub use cause::{Cause, Named};
pub use debrief::{Alike, Could, CourseView, DebriefView, Parting, StepTaken, debrief};
pub use level::Level;
pub use look::{Look, Shows};
pub use mistake::Mistake;
pub use progress::{
    Confusion, Kept, ProgressView, RoundLine, TableView, TraineeLine, progress, table,
};
pub use round::{Did, Hint, Move, Round, Told};
pub use score::{Deduction, Score};
pub use task::{DrillError, Order, Task};

use serde::{Deserialize, Serialize};

/// What the store keeps of a round, event by event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Logged {
    /// The round was begun.
    Begun(Order),
    /// The trainee did something.
    Did(Move),
    /// The round was ended.
    Ended(Ended),
}

/// How a round ended, with what it came to then.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Ended {
    /// What the trainee took for the cause; nothing if none was named.
    pub concluded: Vec<Cause>,
    /// Whether it was given up instead.
    #[serde(default)]
    pub gave_up: bool,
    /// What was complained of, in words.
    pub complaint: String,
    /// Points out of 100.
    pub score: u32,
    /// What it cost, in currency.
    pub cost: f64,
    /// What the advice would have cost on the same case.
    pub advice_cost: f64,
    /// What was wrong.
    pub truth: Vec<Named>,
    /// The names of what was concluded.
    pub taken_for: Vec<Named>,
    /// Whether that was right.
    pub right: bool,
}
