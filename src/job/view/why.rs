//! What speaks for and against a suspect, and what a result would change.

use schemars::JsonSchema;
use serde::Serialize;

use super::{StateView, foreseen};
use crate::belief::{Belief, FaultId, likelier};
use crate::job::case::Case;
use crate::model::Found;

/// What speaks for and against a suspect.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct WhyView {
    /// The suspect.
    pub fault: String,
    /// Its name.
    pub name: String,
    /// What it is, in plain words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub explain: Option<String>,
    /// Its probability now.
    pub posterior: f64,
    /// What each result in force did to it, the complaint first.
    pub weights: Vec<WeightView>,
    /// In how many of 1000 jobs with a complaint about its area the rules count it;
    /// absent for faults that have a bare prior.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_1000_jobs: Option<f64>,
    /// Probability that a device has it, whatever it was brought in for.
    pub prior: f64,
    /// How many times as likely it is by what this device has been through.
    pub history: f64,
    /// Where its rate comes from.
    pub source: String,
    /// The result that would change the order of the suspects most.
    pub turn: Option<TurnView>,
}

/// What a result did to a suspect.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct WeightView {
    /// The entry, from 1; absent for the complaint.
    pub entry: Option<usize>,
    /// What it is a result of.
    pub of: String,
    /// What it showed, in words.
    pub shows: String,
    /// Factor on the odds, all other results given.
    pub factor: f64,
    /// Probability that it was a misreading.
    pub misread: f64,
}

/// The result that would change the order of the suspects most.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct TurnView {
    /// The test.
    pub test: String,
    /// Its question.
    pub ask: String,
    /// The outcome.
    pub shows: String,
    /// The outcome in words.
    pub says: String,
    /// Where it is only a range of that one's values, which.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reads: Option<String>,
    /// How likely it is.
    pub probability: f64,
    /// The suspect that would be first then.
    pub first: String,
    /// Its name.
    pub first_name: String,
    /// Its probability then.
    pub becomes: f64,
}

/// What would be believed after a result.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct SupposedView {
    /// All suspects, the likeliest first.
    pub suspects: Vec<SupposedSuspect>,
    /// Probability that nothing would be wrong.
    pub nothing_found: f64,
    /// The same now.
    pub nothing_now: f64,
    /// What the sets of faults that were not counted might hold at most.
    pub left_out: f64,
    /// The same now.
    pub left_out_now: f64,
}

/// A suspect after a result.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct SupposedSuspect {
    /// Identifier.
    pub fault: String,
    /// Name.
    pub name: String,
    /// Its probability then.
    pub posterior: f64,
    /// Its probability now.
    pub now: f64,
}

/// What speaks for and against a suspect, by its place in the belief that is shown;
/// `None` if there are not so many.
pub fn why(case: &Case, state: &StateView, suspect: usize) -> Option<WhyView> {
    let s = state.belief.suspects.get(suspect)?;
    let Found::One(fault) = case.model.fault(&s.fault) else {
        return None;
    };
    let info = &case.model.faults[fault];
    let weights = case.weights(fault).into_iter().zip(&state.belief.results);
    let weight = |((entry, factor), r): ((Option<usize>, f64), &super::ResultView)| WeightView {
        entry: entry.map(|e| e + 1),
        of: r.of.clone(),
        shows: r.shows.clone(),
        factor,
        misread: r.misread,
    };
    Some(WhyView {
        fault: s.fault.clone(),
        name: s.name.clone(),
        explain: info.explain.clone(),
        posterior: s.posterior,
        weights: weights.map(weight).collect(),
        per_1000_jobs: info.rate,
        prior: case.model.network.faults()[fault].probability,
        history: info.history,
        source: info.source.clone(),
        turn: turn(case),
    })
}

fn turn(case: &Case) -> Option<TurnView> {
    let t = case.turn()?;
    let test = &case.model.tests[t.test];
    let (outcome, reads) = foreseen(case, t.test, t.outcome);
    let first = &case.model.faults[t.first];
    Some(TurnView {
        test: test.id.clone(),
        ask: test.ask.clone(),
        shows: test.outcomes[outcome].id.clone(),
        says: test.outcomes[outcome].says.clone(),
        reads,
        probability: t.probability,
        first: first.id.clone(),
        first_name: first.name.clone(),
        becomes: t.becomes,
    })
}

/// What would be believed then, beside what is believed now.
pub fn supposed(case: &Case, then: &Belief) -> SupposedView {
    let now = &case.belief;
    let suspect = |(f, info): (FaultId, &crate::model::FaultInfo)| SupposedSuspect {
        fault: info.id.clone(),
        name: info.name.clone(),
        posterior: then.faults[f],
        now: now.faults[f],
    };
    let faults = case.model.faults.iter_enumerated();
    let mut suspects: Vec<SupposedSuspect> = faults.map(suspect).collect();
    suspects.sort_by(|a, b| likelier(a.posterior, b.posterior));
    SupposedView {
        suspects,
        nothing_found: then.nothing,
        nothing_now: now.nothing,
        left_out: then.left_out,
        left_out_now: now.left_out,
    }
}
