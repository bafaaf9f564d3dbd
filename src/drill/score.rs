//! Points out of 100, with a reason for each that is taken off.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::cause::Verdict;
use super::round::{Hint, Round};

/// Points taken off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Deduction {
    /// `cost`, `steps`, `power-on`, `no-power`, `not-ready`, `opened-early`,
    /// `guess`, `hints`, `not-proved`, `conclusion` or `gave-up`.
    pub reason: String,
    /// How many.
    pub points: u32,
    /// Why, in words.
    pub says: String,
}

/// What a round is worth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Score {
    /// Out of 100.
    pub points: u32,
    /// What was taken off.
    pub deductions: Vec<Deduction>,
}

// All common practice, no source.
/// Taken off where all that was spent was for nothing.
const COST: f64 = 40.0;
/// Taken off for steps at most, one each.
const STEPS: usize = 10;
/// For the kind of the next step.
const KIND: u32 = 3;
/// For the step itself on top.
const STEP: u32 = 5;
/// For a device that goes back with a retest owing.
const NOT_PROVED: u32 = 5;
/// For a wrong conclusion, or none.
const WRONG: u32 = 30;
/// The same where the device is mended all the same, or half of it was right.
const HALF_WRONG: u32 = 15;

impl Score {
    /// Of a round that is over, beside one that followed the advice.
    pub(super) fn new(round: &Round, advice: &Round, verdict: &Verdict, gave_up: bool) -> Score {
        let mut all = Vec::new();
        let mut off = |reason: &str, points: u32, says: String| {
            if points > 0 {
                all.push(Deduction {
                    reason: reason.to_owned(),
                    points,
                    says,
                });
            }
        };
        let (cost, best) = (round.hand.cost(), advice.hand.cost());
        if cost > best {
            let points = (COST * (1.0 - best / cost)).round() as u32;
            off(
                "cost",
                points,
                format!("it cost {cost:.0} where the advice takes {best:.0} on this very case"),
            );
        }
        let more = round.did.len().saturating_sub(advice.did.len());
        off(
            "steps",
            more.min(STEPS) as u32,
            format!(
                "{} steps where the advice takes {}",
                round.did.len(),
                advice.did.len()
            ),
        );
        let dear = round.task.order.level.dear();
        for (at, mistake) in &round.mistakes {
            off(
                mistake.word(),
                mistake.points() * dear,
                format!("at step {}: {}", at + 1, mistake.says(round.model())),
            );
        }
        let hints: u32 = (round.hints.iter())
            .map(|h| match h {
                Hint::None => 0,
                Hint::Kind => KIND,
                Hint::Step => STEP,
            })
            .sum();
        let told = round.hints.len();
        let s = if told == 1 { "" } else { "s" };
        off("hints", hints, format!("{told} hint{s} asked for"));
        if !round.hand.due().is_empty() {
            let test = &round.model().tests[round.hand.due()[0]];
            off(
                "not-proved",
                NOT_PROVED * dear,
                format!("handed back without the retest: {}", test.ask),
            );
        }
        let truth = round.task.hidden.faults;
        if gave_up {
            off("gave-up", WRONG, "given up without a cause".to_owned());
        } else if !verdict.is_right(truth) {
            let mended = round.is_mended();
            let (points, says) = if verdict.found > 0 && verdict.found < truth.len() {
                (HALF_WRONG, "part of the cause was found")
            } else if verdict.found > 0 {
                (
                    HALF_WRONG,
                    "the cause was found, but something sound was blamed as well",
                )
            } else if mended {
                (HALF_WRONG, "it is mended, but was taken for something else")
            } else {
                (WRONG, "the wrong cause")
            };
            off("conclusion", points * dear, says.to_owned());
        }
        let sum: u32 = all.iter().map(|d| d.points).sum();
        Score {
            points: 100u32.saturating_sub(sum),
            deductions: all,
        }
    }
}
