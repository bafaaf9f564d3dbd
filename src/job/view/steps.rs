//! A step as it is shown: what it asks, what it may show, and why it is advised.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::belief::likelier;
use crate::job::case::Case;
use crate::job::kind::StepKind;
use crate::job::words::{UNSURE, percent_within};
use crate::line::Distrust;
use crate::model::{Model, bounds};
use crate::plan::{Act, Proposal, RemedyId, TestId};
use crate::rulebase::MeterMode;

/// An outcome with its probability.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutcomeView {
    /// Identifier.
    pub shows: String,
    /// In plain words.
    pub says: String,
    /// Probability, 0 to 1.
    pub probability: f64,
}

/// A possible next step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StepView {
    /// `test`, `remedy`, or `close` for closing the job as repaired.
    pub act: StepKind,
    /// Identifier; `close` for closing the job.
    pub id: String,
    /// The question, or the order.
    pub text: String,
    /// Minutes now, bench conditions included.
    pub minutes: f64,
    /// Of these, for changing the bench condition.
    pub moving_minutes: f64,
    /// Cost of parts, in currency.
    pub parts: f64,
    /// What it is expected to tell, in bits.
    pub gain_bits: f64,
    /// Expected cost of the whole repair if done first, in currency.
    pub expected_cost: f64,
    /// Probabilities of the outcomes of a test.
    pub outcomes: Vec<OutcomeView>,
    /// For a remedy: probability that it clears all that is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mends: Option<f64>,
    /// Changes of bench condition to make first, in words.
    pub prepare: Vec<String>,
    /// Tools.
    pub tools: Vec<String>,
    /// Cautions, in words.
    pub cautions: Vec<String>,
    /// Why a reading is not to be trusted, or not to be misled by.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub do_not_trust: Vec<DistrustView>,
    /// For a voltage on a line: what there only an oscilloscope shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scope: Option<String>,
    /// Why this step, in a sentence.
    pub why: String,
    /// Whether the last remedy owes it: it proves the mend, or disproves it.
    #[serde(default)]
    pub retest: bool,
    /// Whether it is the check of a hazard, which comes before all else.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub safety: bool,
}

/// Why a reading is not to be trusted, or not to be misled by.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DistrustView {
    /// powered, connected, unpowered, plugged-in, charging, charged,
    /// series-capacitor or back-fed.
    pub reason: String,
    /// The physics in a sentence.
    pub says: String,
    /// Whether such a reading means nothing; else it means something else than
    /// it seems.
    pub invalid: bool,
    /// Whether it holds only until the device is in the bench conditions of the
    /// step.
    pub as_it_stands: bool,
}

/// The identifier of closing a job, as a step.
const CLOSE: &str = "close";

/// Closing the job as repaired, as a step.
pub(super) fn close_step(case: &Case) -> StepView {
    let proved = case.proved().into_iter();
    let proved = proved.map(|f| case.model.functions[f].name.clone());
    let proved: Vec<String> = proved.collect();
    StepView {
        act: StepKind::Close,
        id: CLOSE.to_owned(),
        text: "Close the job as repaired".to_owned(),
        minutes: 0.0,
        moving_minutes: 0.0,
        parts: 0.0,
        gain_bits: 0.0,
        expected_cost: 0.0,
        outcomes: Vec::new(),
        mends: None,
        prepare: Vec::new(),
        tools: Vec::new(),
        cautions: Vec::new(),
        do_not_trust: Vec::new(),
        scope: None,
        why: format!("seen after the repair: {}", proved.join("; ")),
        retest: false,
        safety: false,
    }
}

/// A proposal as shown.
pub fn step(case: &Case, p: &Proposal) -> StepView {
    let m = &case.model;
    let due = matches!(p.act, Act::Test(i) if case.retests_due().contains(&i));
    let safety = matches!(p.act, Act::Test(i) if m.tests[i].checks.is_some());
    let named = m.named(p.act);
    let info = named.step;
    let change = m.bench.reach(case.state, &info.conditions);
    let mut prepare: Vec<String> = change
        .leave
        .iter()
        .map(|c| format!("no longer: {}", m.bench.conditions[*c].name))
        .collect();
    prepare.extend(
        change
            .enter
            .iter()
            .map(|c| m.bench.conditions[*c].name.clone()),
    );
    let outcomes = match p.act {
        Act::Remedy(_) => Vec::new(),
        Act::Test(i) => m.tests[i]
            .outcomes
            .iter()
            .zip(&p.outcomes)
            .map(|(o, p)| OutcomeView {
                shows: o.id.clone(),
                says: o.says.clone(),
                probability: *p,
            })
            .collect(),
    };
    let why = match p.act {
        Act::Test(i) => why_test(case, i, p),
        Act::Remedy(i) => why_remedy(case, i, p),
    };
    StepView {
        act: p.act.into(),
        id: named.id.to_owned(),
        text: named.text.to_owned(),
        minutes: p.minutes,
        moving_minutes: p.moving,
        parts: p.parts,
        gain_bits: p.gain,
        expected_cost: p.expected,
        outcomes,
        mends: matches!(p.act, Act::Remedy(_)).then(|| p.outcomes[0]),
        prepare,
        tools: info.tools.clone(),
        cautions: info
            .cautions
            .iter()
            .map(|c| m.bench.cautions[*c].text.clone())
            .collect(),
        do_not_trust: match p.act {
            Act::Test(i) => do_not_trust(case, i),
            Act::Remedy(_) => Vec::new(),
        },
        scope: match p.act {
            Act::Test(i) => only_a_scope(m, i),
            Act::Remedy(_) => None,
        },
        why,
        retest: due && !safety,
        safety,
    }
}

/// What not to trust in a reading: first as the device stands, then what stays
/// so when it is made ready.
fn do_not_trust(case: &Case, test: TestId) -> Vec<DistrustView> {
    let view = |as_it_stands: bool| {
        move |d: Distrust| DistrustView {
            reason: d.why.word().to_owned(),
            says: d.says,
            invalid: d.invalid,
            as_it_stands,
        }
    };
    let ready = case.made_ready(test);
    let mut now = case.as_it_stands(test);
    now.retain(|d| d.invalid && !ready.contains(d));
    let now = now.into_iter().map(view(true));
    now.chain(ready.into_iter().map(view(false))).collect()
}

/// What a voltage that a test takes cannot show and an oscilloscope can.
fn only_a_scope(m: &Model, test: TestId) -> Option<String> {
    let measures = m.tests[test].measures?;
    let says = m.lines[measures.line].line.scope.clone();
    says.filter(|_| measures.probing.mode == MeterMode::Volts)
}

/// Every step there is: those that the planner has looked at, the best first,
/// then the other tests and remedies in the order of the rules.
pub fn all_steps(case: &Case) -> Vec<StepView> {
    let m = &case.model;
    let looked_at = case.advice(usize::MAX).steps;
    let acts = (m.tests.keys())
        .map(Act::Test)
        .chain(m.remedies.keys().map(Act::Remedy));
    let rest = acts.filter(|a| !looked_at.iter().any(|p| p.act == *a));
    let rest = rest.map(|a| not_looked_at(case, a));
    let looked_at = looked_at.iter().map(|p| step(case, p));
    looked_at.chain(rest).collect()
}

/// A step that the planner did not look at, with what it takes and why it was
/// left out.
fn not_looked_at(case: &Case, act: Act) -> StepView {
    let (info, outcomes) = match act {
        Act::Test(i) => {
            let t = &case.model.tests[i];
            (&t.step, vec![0.0; t.outcomes.len()])
        }
        Act::Remedy(i) => (&case.model.remedies[i].step, vec![0.0]),
    };
    let moving = case.model.bench.reach(case.state, &info.conditions).minutes;
    let proposal = Proposal {
        act,
        minutes: info.minutes + moving,
        moving,
        parts: info.parts,
        expected: 0.0,
        spent: 0.0,
        gain: 0.0,
        outcomes,
    };
    let why = match act {
        Act::Test(i) if case.done(i) => "done already; a repeat takes its place",
        _ if case.beyond(info) => "not with a device that does not get so far",
        Act::Test(i) if case.blocked(i) => "cannot be done here, or was unclear",
        Act::Test(i) if case.before(i).is_some() => "another test comes before it",
        Act::Test(_) => "tells nothing new now",
        Act::Remedy(i) if case.ruled_out(i) => "cannot be done here",
        Act::Remedy(_) => "not likely to help now",
    };
    StepView {
        why: match case.lacks(act) {
            Some(what) => format!("needs {what}, which this shop is without"),
            None => why.to_owned(),
        },
        outcomes: Vec::new(),
        mends: None,
        ..step(case, &proposal)
    }
}

/// What the planner takes for one outcome of a test: the outcome, by index, and
/// where it is only some of that one's values, which, in words.
pub fn foreseen(case: &Case, test: TestId, outcome: usize) -> (usize, Option<String>) {
    let (outcome, between) = case.foreseen(test, outcome);
    let t = &case.model.tests[test];
    let reads = between.map(|(low, high)| bounds(low, high, t.unit.as_deref().unwrap_or("")));
    (outcome, reads)
}

/// What a test tells that is expected to tell so much, in bits; `None` if it is
/// little.
pub(crate) fn telling(gain: f64) -> Option<&'static str> {
    match gain {
        g if g > 0.75 => Some("halves the suspects"),
        g if g > 0.35 => Some("splits the suspects well"),
        g if g > 0.1 => Some("rules a few suspects in or out"),
        _ => None,
    }
}

/// How a test splits the suspects, in plain words.
fn why_test(case: &Case, i: TestId, p: &Proposal) -> String {
    let how = if case.model.tests[i].checks.is_some() {
        "shows whether the hazard is gone"
    } else if case.retests_due().contains(&i) {
        "shows whether it is mended"
    } else {
        telling(p.gain).unwrap_or("tells a little")
    };
    let t = &case.model.tests[i];
    let left_out = case.belief.left_out;
    let percent = |p: f64| percent_within(p, left_out);
    let split = if left_out > UNSURE {
        String::new()
    } else {
        let words = p.outcomes.iter().enumerate();
        let words: Vec<String> = words
            .filter(|(_, q)| **q >= 0.005 || t.function.is_some())
            .map(|(o, q)| format!("{} {}", t.answer(o), percent(*q)))
            .collect();
        format!(": {}", words.join(", "))
    };
    let cost = if p.minutes <= 3.0 {
        "; costs next to nothing"
    } else {
        ""
    };
    format!("{how}{split}{cost}")
}

fn why_remedy(case: &Case, i: RemedyId, p: &Proposal) -> String {
    let r = &case.model.remedies[i];
    let best = r
        .change
        .clears
        .iter()
        .map(|(f, _)| *f)
        .min_by(|a, b| likelier(case.belief.faults[*a], case.belief.faults[*b]));
    let left_out = case.belief.left_out;
    let percent = |p: f64| percent_within(p, left_out);
    match best {
        Some(f) if left_out > UNSURE => format!("against {}", case.model.faults[f].name),
        Some(f) => format!(
            "would mend it with {}; against {} ({})",
            percent(p.outcomes[0]),
            case.model.faults[f].name,
            percent(case.belief.faults[f])
        ),
        None => String::new(),
    }
}
