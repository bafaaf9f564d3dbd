//! What comes in: a device with a complaint, and what is hidden behind it.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::level::Level;
use crate::job::CaseError;
use crate::model::CompileError;
use crate::simulate::{Hidden, Start};

/// What is asked for; the same order under the same rules is the same round.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct Order {
    /// Who is going to work on it.
    pub trainee: String,
    /// How hard.
    pub level: Level,
    /// Where chance begins.
    pub seed: u64,
    /// The pack that the complaint is about; any if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub area: Option<String>,
    /// The kind of device; any if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// The meter on the bench, by its name in the rules.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub meter: Option<String>,
    /// Cost of an hour at the bench, in currency.
    pub rate: f64,
    /// Loss where a device goes back unmended, in currency.
    pub unmended: f64,
}

/// Why there is no such round.
#[derive(Debug, Error)]
pub enum DrillError {
    /// No pack is called so.
    #[error(
        "no area is called `{name}`{}; there are {}",
        .near.as_ref().map(|n| format!(" (did you mean `{n}`?)")).unwrap_or_default(),
        .all.join(", ")
    )]
    NoArea {
        /// What was asked for.
        name: String,
        /// What was probably meant.
        near: Option<String>,
        /// What there is.
        all: Vec<String>,
    },
    /// No complaint fits.
    #[error("the rules have no complaint {}{} with a fault behind it", .area.as_ref().map(|a| format!("about {a}")).unwrap_or_default(), .kind.as_ref().map(|k| format!(" of a {k}")).unwrap_or_default())]
    NoComplaint {
        /// The area asked for.
        area: Option<String>,
        /// The kind asked for.
        kind: Option<String>,
    },
    /// What a round did is not in the rules of today.
    #[error("the rules have no {what} `{name}` any more, so the round cannot be gone on with")]
    Gone {
        /// test, remedy, bench condition or fault.
        what: &'static str,
        /// Its identifier.
        name: String,
    },
    /// The device does not fit the rules.
    #[error(transparent)]
    Case(#[from] CaseError),
    /// There is no such kind of device.
    #[error(transparent)]
    Compile(#[from] CompileError),
}

/// A hidden case as it comes in.
#[derive(Debug)]
pub struct Task {
    /// What was asked for.
    pub order: Order,
    /// Where the job begins.
    pub start: Start,
    /// What is wrong.
    pub hidden: Hidden,
    /// What is complained of, in words.
    pub complaint: Vec<String>,
    /// What happened to the device, as the questions about its past that are
    /// answered with yes.
    pub past: Vec<String>,
}
