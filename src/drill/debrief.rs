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
use crate::job::StepKind;
use crate::job::view::telling;
use crate::job::words::percent;
use crate::model::Model;
use crate::plan::{Act, RemedyId};

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
    /// Loss in currency because something is left; 0 where it is mended.
    pub loss: f64,
    /// All of it, in currency.
    pub cost: f64,
}

/// A step of a round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StepTaken {
    /// `test` or `remedy`.
    pub act: StepKind,
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
    pub took: Could,
    /// The step advised; absent if it was to hand the device back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advised: Option<Could>,
}

/// What a step could tell at a moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Could {
    /// The question, or the order.
    pub text: String,
    /// What it was expected to tell, in bits; 0 for a remedy.
    pub gain_bits: f64,
    /// What it takes and what it tells, in words.
    pub says: String,
    /// How a test comes out with the likely suspects. It parts those of one
    /// group from those of another, and none from the others of its group.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub groups: Vec<Alike>,
}

/// Suspects with which a test comes out alike.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Alike {
    /// What is seen with them; `either way` where that is open.
    pub shows: String,
    /// The suspects, the likeliest first.
    pub suspects: Vec<Named>,
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
    let named = m.named(did.act);
    let shows = match (did.act, did.outcome) {
        (Act::Test(t), Some(o)) => Some(m.tests[t].answer(o)),
        _ => None,
    };
    StepTaken {
        act: did.act.into(),
        id: named.id.to_owned(),
        text: named.text.to_owned(),
        shows,
        minutes: did.minutes,
        likely: did.truth.clone(),
    }
}

fn partings(round: &Round) -> Vec<Parting> {
    let m = round.model();
    let numbered = round.did.iter().enumerate();
    let parted = numbered.filter(|(_, d)| d.advised.as_ref().is_none_or(|a| a.act != d.look.act));
    parted
        .map(|(n, d)| Parting {
            step: n + 1,
            took: could(m, &d.look),
            advised: d.advised.as_ref().map(|a| could(m, a)),
        })
        .collect()
}

/// What a step takes, what it could tell and what not.
fn could(m: &Model, look: &Look) -> Could {
    let test = match look.act {
        Act::Remedy(r) => return remedy_could(m, r, look.helps),
        Act::Test(t) => &m.tests[t],
    };
    let how = telling(look.gain).unwrap_or(match look.gain > 1e-3 {
        true => "tells next to nothing",
        false => "tells nothing that was not known",
    });
    let alone = match look.shows.len() {
        1 => " It comes out alike with every likely suspect, so it parts none of them.",
        _ => "",
    };
    let group = |shows: &Shows| Alike {
        shows: shows
            .outcome
            .map_or_else(|| "either way".to_owned(), |o| test.answer(o)),
        suspects: shows.suspects.iter().map(|f| Named::fault(m, *f)).collect(),
    };
    Could {
        text: test.ask.clone(),
        gain_bits: look.gain,
        says: format!(
            "It takes {:.0} min and {how}.{alone}",
            test.step.minutes.max(1.0)
        ),
        groups: look.shows.iter().map(group).collect(),
    }
}

fn remedy_could(m: &Model, remedy: RemedyId, helps: f64) -> Could {
    let remedy = &m.remedies[remedy];
    let parts = match remedy.step.parts > 0.0 {
        true => format!(" and {:.0} for parts", remedy.step.parts),
        false => String::new(),
    };
    Could {
        text: remedy.name.clone(),
        gain_bits: 0.0,
        says: format!(
            "It takes {:.0} min{parts}, and tells nothing before its retest; something that it \
             cures was there with {}.",
            remedy.step.minutes.max(1.0),
            percent(helps)
        ),
        groups: Vec::new(),
    }
}
