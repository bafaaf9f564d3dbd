//! What is told after a round: the score, the two orders side by side, and at
//! each parting what the step taken could tell.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::cause::{Cause, Named, Verdict};
use super::look::{Look, Shows};
use super::round::{Did, Round};
use super::score::{Deduction, Score};
use super::task::DrillError;
use super::{Ended, Level};
use crate::job::view::percent;
use crate::model::Model;
use crate::plan::Act;

/// A round that is over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DebriefView {
    /// Number of the round in the store.
    pub round: i64,
    /// Who worked on it.
    pub trainee: String,
    /// 1, 2 or 3.
    pub level: u8,
    /// Where chance began.
    pub seed: u64,
    /// The device.
    pub device: String,
    /// What was complained of.
    pub complaint: Vec<String>,
    /// What was wrong.
    pub truth: Vec<Named>,
    /// What the trainee took for it.
    pub concluded: Vec<Named>,
    /// Whether that is all that was wrong, and nothing else.
    pub right: bool,
    /// Whether it was given up.
    pub gave_up: bool,
    /// Points out of 100.
    pub score: u32,
    /// What was taken off, and why.
    pub deductions: Vec<Deduction>,
    /// What the trainee did.
    pub taken: CourseView,
    /// What the advice does on the same case with the same luck.
    pub advice: CourseView,
    /// Where the trainee did otherwise than advised at that moment.
    pub partings: Vec<Parting>,
}

/// The steps of a round and what they came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CourseView {
    /// The steps.
    pub steps: Vec<StepTaken>,
    /// Minutes at the bench, changes of its condition included.
    pub minutes: f64,
    /// Cost of parts, in currency.
    pub parts: f64,
    /// Loss in currency because something is left; nought where it is mended.
    pub loss: f64,
    /// All of it, in currency.
    pub cost: f64,
}

/// A step of a round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StepTaken {
    /// `test` or `remedy`.
    pub act: String,
    /// Identifier.
    pub id: String,
    /// The question, or the order.
    pub text: String,
    /// What a test showed, by identifier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shows: Option<String>,
    /// Minutes since the step before, at the bench.
    pub minutes: f64,
    /// How likely each true fault stood after it, 0 to 1, in the order of
    /// `truth`; one that a remedy has cleared is not there any more.
    pub likely: Vec<f64>,
}

/// A moment at which the trainee did otherwise than advised.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Parting {
    /// Number of the step, from 1.
    pub step: usize,
    /// The step taken.
    pub took: String,
    /// What it was expected to tell, in bits; nought for a remedy.
    pub gain_bits: f64,
    /// What it could tell then and what not, in words.
    pub could: String,
    /// The step advised; absent if it was to hand the device back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advised: Option<String>,
    /// What that was expected to tell, in bits.
    pub advised_gain_bits: f64,
    /// What it would have told, in words.
    pub would: String,
}

/// Ends a round: what it came to, and what the store keeps of that.
///
/// # Errors
/// If something concluded is not in the rules.
pub fn debrief(
    id: i64,
    round: &Round,
    concluded: &[Cause],
    gave_up: bool,
) -> Result<(DebriefView, Ended), DrillError> {
    let task = round.task;
    let model = round.model();
    let verdict = Verdict::new(model, task.hidden.faults, concluded)?;
    let advice = Round::advice(task);
    let score = Score::new(round, &advice, &verdict, gave_up);
    let truth: Vec<Named> = (task.hidden.faults.iter())
        .map(|f| Named::fault(model, f))
        .collect();
    let right = !gave_up && verdict.is_right(task.hidden.faults);
    let ended = Ended {
        concluded: concluded.to_vec(),
        gave_up,
        complaint: format!("{}: {}", model.device, task.complaint.join("; ")),
        score: score.points,
        cost: round.hand.cost(),
        advice_cost: advice.hand.cost(),
        truth: truth.clone(),
        taken_for: verdict.taken_for.clone(),
        right,
    };
    let view = DebriefView {
        round: id,
        trainee: task.order.trainee.clone(),
        level: Level::into(task.order.level),
        seed: task.order.seed,
        device: model.device.clone(),
        complaint: task.complaint.clone(),
        truth,
        concluded: verdict.taken_for,
        right,
        gave_up,
        score: score.points,
        deductions: score.deductions,
        taken: course(round),
        advice: course(&advice),
        partings: partings(round),
    };
    Ok((view, ended))
}

fn course(round: &Round) -> CourseView {
    let hand = &round.hand;
    CourseView {
        steps: round.did.iter().map(|d| step(round.model(), d)).collect(),
        minutes: hand.minutes(),
        parts: hand.parts(),
        loss: hand.loss(),
        cost: hand.cost(),
    }
}

fn step(m: &Model, did: &Did) -> StepTaken {
    let (act, id, text) = match did.act {
        Act::Test(t) => ("test", &m.tests[t].id, &m.tests[t].ask),
        Act::Remedy(r) => ("remedy", &m.remedies[r].id, &m.remedies[r].name),
    };
    let shows = match (did.act, did.outcome) {
        (Act::Test(t), Some(o)) => Some(answer(m, t, o)),
        _ => None,
    };
    StepTaken {
        act: act.to_owned(),
        id: id.clone(),
        text: text.clone(),
        shows,
        minutes: did.minutes,
        likely: did.truth.clone(),
    }
}

/// An outcome in a word or two.
fn answer(m: &Model, test: usize, outcome: usize) -> String {
    let t = &m.tests[test];
    match (t.function, outcome) {
        (Some(_), 0) => "yes".to_owned(),
        (Some(_), _) => "no".to_owned(),
        (None, o) => t.outcomes[o].id.replace('-', " "),
    }
}

fn partings(round: &Round) -> Vec<Parting> {
    let m = round.model();
    let text = |act: Act| match act {
        Act::Test(t) => m.tests[t].ask.clone(),
        Act::Remedy(r) => m.remedies[r].name.clone(),
    };
    let numbered = round.did.iter().enumerate();
    let parted = numbered.filter(|(_, d)| d.advised.as_ref().is_none_or(|a| a.act != d.act));
    parted
        .map(|(n, d)| Parting {
            step: n + 1,
            took: text(d.act),
            gain_bits: d.look.gain,
            could: could(m, &d.look),
            advised: d.advised.as_ref().map(|a| text(a.act)),
            advised_gain_bits: d.advised.as_ref().map_or(0.0, |a| a.gain),
            would: d.advised.as_ref().map_or_else(
                || "Nothing was left to be done: the advice was to hand it back.".to_owned(),
                |a| could(m, a),
            ),
        })
        .collect()
}

/// What a step takes, what it could tell and what not, in words.
fn could(m: &Model, look: &Look) -> String {
    let test = match look.act {
        Act::Remedy(r) => {
            let step = &m.remedies[r].step;
            let parts = match step.parts > 0.0 {
                true => format!(" and {:.0} for parts", step.parts),
                false => String::new(),
            };
            return format!(
                "It takes {:.0} min{parts}, and tells nothing before its retest; something that \
                 it cures was there with {}.",
                step.minutes.max(1.0),
                percent(look.helps)
            );
        }
        Act::Test(t) => t,
    };
    // The words of the advice, from the same bounds.
    let how = match look.gain {
        g if g > 0.75 => "halves the suspects",
        g if g > 0.35 => "splits the suspects well",
        g if g > 0.1 => "rules a few suspects in or out",
        g if g > 1e-3 => "tells next to nothing",
        _ => "tells nothing that was not known",
    };
    let minutes = m.tests[test].step.minutes.max(1.0);
    let names = |all: &[usize]| {
        let all: Vec<&str> = all.iter().map(|f| m.faults[*f].name.as_str()).collect();
        all.join(", ")
    };
    let group = |shows: &Shows| match shows.outcome {
        Some(o) => format!("“{}” with {}", answer(m, test, o), names(&shows.suspects)),
        None => format!("either way with {}", names(&shows.suspects)),
    };
    let which = match look.shows.as_slice() {
        [] => String::new(),
        [one] => format!(
            " With every likely suspect it comes out alike, so it parts none of them: {}.",
            group(one)
        ),
        many => {
            let groups: Vec<String> = many.iter().map(group).collect();
            let not = match many.iter().any(|s| s.suspects.len() > 1) {
                true => ": it parts these from each other, and none from its like",
                false => "",
            };
            format!(" It comes out {}{not}.", groups.join("; "))
        }
    };
    format!("It takes {minutes:.0} min and {how}.{which}")
}
