//! What kind of step a view is about, as a program reads it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::plan::Act;

/// The kind of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum StepKind {
    /// Something done to learn.
    Test,
    /// Something done to repair.
    Remedy,
    /// Closing the job as repaired.
    Close,
}

impl From<Act> for StepKind {
    fn from(act: Act) -> Self {
        match act {
            Act::Test(_) => StepKind::Test,
            Act::Remedy(_) => StepKind::Remedy,
        }
    }
}
