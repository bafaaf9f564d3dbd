//! What is shown of a job, as versioned structs: the JSON form of every
//! command, and what screens and reports are made of. Documented in
//! `docs/json.md`.

mod beliefs;
pub mod network;
mod steps;
pub mod why;

use beliefs::belief;
pub(super) use beliefs::suspect;
pub use beliefs::{BeliefView, CandidateView, ResultView, Share, Suspect};
use steps::close_step;
pub(crate) use steps::telling;
pub use steps::{DistrustView, OutcomeView, StepView, all_steps, foreseen, step};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::{Case, unlisted_leads};
use super::file::Entry;
use super::ledger::{Closed, Entered};
use super::notice::{NoticeView, notice_view};
use super::words::{NARROWS, UNLISTED, UNSURE};
use crate::plan::{Stop, TestId};

/// Version of these structs.
pub const VERSION: u32 = 1;

/// The advice at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AdviceView {
    /// Next steps, best first.
    pub steps: Vec<StepView>,
    /// `enough-known`, `nothing-wrong`, `too-dear`, `not-worth-it` or
    /// `nothing-left`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stop: Option<String>,
    /// The same in plain words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub says: Option<String>,
    /// Expected cost of the whole repair, in currency.
    pub expected_cost: f64,
    /// No plan is expected to cost less, as far as looking ahead has proved.
    #[serde(default)]
    pub at_least_cost: f64,
}

/// A job at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StateView {
    /// What is to be said first of the result that was just entered; absent if
    /// it fits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notice: Option<NoticeView>,
    /// The belief.
    pub belief: BeliefView,
    /// The advice.
    pub next: AdviceView,
    /// Conditions the device is in, in words.
    pub bench: Vec<String>,
    /// The meter that lines are foretold for, by its name in the rules; absent
    /// if no line is in play.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meter: Option<String>,
    /// Tests that have to pass before the job counts as mended.
    pub retests_due: Vec<String>,
    /// Hazards that bar steps now, and results entered against one, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<String>,
    /// What does not fit the rules of today and does not count, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_counted: Vec<String>,
    /// Readings of good boards that the rules do not expect and that count all the
    /// same, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unexpected: Vec<String>,
}

/// The hazards of a case in words: what bars which acts until when.
fn hazards(case: &Case) -> Vec<String> {
    let gate = |(gate, _): (usize, TestId)| {
        let g = &case.model.bench.gates[gate];
        let acts = case.barred_acts(gate);
        let check = &g.check.name;
        match case.found(gate) {
            true => format!(
                "{}, and it was found. No {acts} until something was done about it and the safety \
                 check ({check}) is clear. Handing back is always right.",
                g.name
            ),
            false => format!(
                "{}. No {acts} until the safety check ({check}) is clear.",
                g.name
            ),
        }
    };
    let against = case.against_gates().iter();
    let against = against.map(|(n, why)| format!("entry {} was {why}.", n + 1));
    case.gates_up().map(gate).chain(against).collect()
}

/// What is shown of a case now.
pub fn state(case: &Case, steps: &[Entry], many: usize) -> StateView {
    StateView {
        notice: notice_view(case, steps),
        belief: belief(case, steps),
        next: advice(case, many),
        bench: case
            .state
            .iter()
            .map(|c| case.model.bench.conditions[c].name.clone())
            .collect(),
        meter: (!case.model.lines.is_empty()).then(|| case.model.meter.id.clone()),
        retests_due: match case.may_close_as_mended() {
            Closed::Retests(t) => t.iter().map(|t| case.model.tests[*t].id.clone()).collect(),
            Closed::StillFails(t) => vec![case.model.tests[t].id.clone()],
            _ => Vec::new(),
        },
        hazards: hazards(case),
        not_counted: case
            .unfit()
            .iter()
            .map(|(entry, why)| match entry {
                Some(n) => format!("entry {}: {why}", n + 1),
                None => format!("intake: {why}"),
            })
            .chain(case.model.refused.iter().map(|r| format!("rules: {r}")))
            .chain(case.void().iter().map(|(n, why)| {
                let why = why.trim_end_matches('.');
                let stood = matches!(&steps[*n], Entry::Result(r) if r.as_it_stands);
                let how = if stood {
                    "read as the device stood: "
                } else {
                    ""
                };
                format!("entry {}, {how}{why}", n + 1)
            }))
            .collect(),
        unexpected: (case.model.unexpected.iter().map(|r| format!("rules: {r}")))
            .chain((case.unexpected().iter()).map(|(n, why)| format!("entry {}: {why}", n + 1)))
            .collect(),
    }
}

fn advice(case: &Case, many: usize) -> AdviceView {
    let a = case.advice(many);
    // No certainty rests on a list that may leave out much.
    let unsure = case.belief.left_out > UNSURE;
    // Nor on a fault that nobody knows.
    let strange = unlisted_leads(case).is_some();
    let hazard = case.gates_up().next().is_some();
    let stop = (a.stop).filter(|s| !((unsure || strange || hazard) && *s == Stop::EnoughKnown));
    // A hazard is no matter of what is wrong.
    let stop = stop.filter(|s| !(hazard && *s == Stop::NothingWrong));
    let close = (case.is_proved() && !case.doubts(&a)).then(|| close_step(case));
    let stop = if close.is_some() {
        Some(Stop::NothingWrong)
    } else {
        stop
    };
    let unexplained = (strange && stop.is_none()).then(|| format!("{UNLISTED} {NARROWS}"));
    AdviceView {
        steps: (close.into_iter())
            .chain(a.steps.iter().map(|p| step(case, p)))
            .take(many)
            .collect(),
        stop: stop.map(|s| {
            match s {
                Stop::EnoughKnown => "enough-known",
                Stop::NothingWrong => "nothing-wrong",
                Stop::TooDear { .. } => "too-dear",
                Stop::NotWorthIt { .. } => "not-worth-it",
                Stop::NothingLeft => "nothing-left",
            }
            .to_owned()
        }),
        says: stop.map(|s| match s {
            Stop::EnoughKnown => {
                "Enough is known: no further test pays for itself before this repair.".to_owned()
            }
            Stop::NothingWrong if case.may_close_as_mended() == Closed::Ready => {
                "Mended, and proved by its retests: close the job.".to_owned()
            }
            Stop::NothingWrong if case.entered.iter().any(|e| matches!(e, Entered::Remedy(_))) => {
                "Most likely it is mended: do the retests and close the job.".to_owned()
            }
            Stop::NothingWrong => {
                "Most likely nothing is wrong: show the owner, and close as no fault found."
                    .to_owned()
            }
            Stop::TooDear {
                so_far,
                spent,
                limit,
            } if so_far >= 0.5 => format!(
                "Work and parts so far come to about {so_far:.0}, and going on is expected to take \
                 about {spent:.0}: more than the {limit:.0} agreed. Ask the customer first."
            ),
            Stop::TooDear { spent, limit, .. } => format!(
                "Going on is expected to take about {spent:.0} in work and parts, more than the {limit:.0} \
                 agreed: ask the customer first."
            ),
            Stop::NotWorthIt { loss } => format!(
                "Whatever is done next is expected to cost more than handing it back unmended, \
                 which counts as {loss:.0}: ask the customer first."
            ),
            Stop::NothingLeft => {
                "Nothing left that tells anything: hand it back, or pass it on.".to_owned()
            }
        }).or(unexplained),
        expected_cost: a.expected,
        at_least_cost: a.at_least,
    }
}

/// Whether there is nothing to write down.
#[allow(clippy::trivially_copy_pass_by_ref)]
pub(super) fn is_zero(value: &f64) -> bool {
    *value == 0.0
}
