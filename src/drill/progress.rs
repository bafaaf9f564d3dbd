//! How trainees come on, and which fault is taken for which.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Ended, Move, Named, Order};

/// A round as the store keeps it.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// Number.
    pub round: i64,
    /// When it was begun (RFC 3339).
    pub begun: String,
    /// Fingerprint of the rules.
    pub rules: String,
    /// What was asked for.
    pub order: Order,
    /// What was done.
    pub moves: Vec<Move>,
    /// How it ended; `None` while it has not.
    pub ended: Option<Ended>,
    /// Number of the last event.
    pub last: i64,
}

/// A round in a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RoundLine {
    /// Number.
    pub round: i64,
    /// When it was begun (RFC 3339).
    pub begun: String,
    /// 1, 2 or 3.
    pub level: u8,
    /// Where chance began.
    pub seed: u64,
    /// The pack asked for, if one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub area: Option<String>,
    /// What came in, once the round is over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub complaint: Option<String>,
    /// Points out of 100, once it is over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub score: Option<u32>,
    /// What it cost, in currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
    /// What the advice costs on the same case, in currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advice_cost: Option<f64>,
    /// What was wrong.
    pub truth: Vec<Named>,
    /// What it was taken for.
    pub concluded: Vec<Named>,
    /// Whether that was right.
    pub right: bool,
}

/// One trainee's rounds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProgressView {
    /// Who.
    pub trainee: String,
    /// Rounds that are over.
    pub ended: usize,
    /// Rounds that are not.
    pub unfinished: usize,
    /// Mean score of those that are over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<f64>,
    /// Mean score of the last five.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_five: Option<f64>,
    /// Mean score of up to five before them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub five_before: Option<f64>,
    /// Each round, the first first.
    pub rounds: Vec<RoundLine>,
}

/// How many rounds a mean is taken over to see how a score moves.
const FEW: usize = 5;

fn mean(scores: &[u32]) -> Option<f64> {
    let sum: u32 = scores.iter().sum();
    (!scores.is_empty()).then(|| f64::from(sum) / scores.len() as f64)
}

/// One trainee's rounds, the first first; rounds of others are left out.
pub fn progress(trainee: &str, kept: &[Kept]) -> ProgressView {
    let own = kept.iter().filter(|k| k.order.trainee == trainee);
    let rounds: Vec<RoundLine> = own.map(line).collect();
    let scores: Vec<u32> = rounds.iter().filter_map(|r| r.score).collect();
    let last = scores.len().saturating_sub(FEW);
    ProgressView {
        trainee: trainee.to_owned(),
        ended: scores.len(),
        unfinished: rounds.len() - scores.len(),
        mean: mean(&scores),
        last_five: mean(&scores[last..]),
        five_before: mean(&scores[last.saturating_sub(FEW)..last]),
        rounds,
    }
}

fn line(kept: &Kept) -> RoundLine {
    let ended = kept.ended.as_ref();
    RoundLine {
        round: kept.round,
        begun: kept.begun.clone(),
        level: kept.order.level.into(),
        seed: kept.order.seed,
        area: kept.order.area.clone(),
        complaint: ended.map(|e| e.complaint.clone()),
        score: ended.map(|e| e.score),
        cost: ended.map(|e| e.cost),
        advice_cost: ended.map(|e| e.advice_cost),
        truth: ended.map_or_else(Vec::new, |e| e.truth.clone()),
        concluded: ended.map_or_else(Vec::new, |e| e.taken_for.clone()),
        right: ended.is_some_and(|e| e.right),
    }
}

/// A trainee in a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TraineeLine {
    /// Who.
    pub trainee: String,
    /// Rounds that are over.
    pub ended: usize,
    /// Rounds that are not.
    pub unfinished: usize,
    /// Mean score of those that are over.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<f64>,
    /// Rounds in which all that was wrong was named, and nothing else.
    pub right: usize,
}

/// A fault that was taken for another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Confusion {
    /// Who took it so.
    pub trainee: String,
    /// What it was.
    pub truth: Named,
    /// What it was taken for.
    pub taken_for: Named,
    /// How often.
    pub times: usize,
}

/// The trainer's table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TableView {
    /// Each trainee, by name.
    pub trainees: Vec<TraineeLine>,
    /// Who takes which fault for which other, the most frequent first.
    pub confusions: Vec<Confusion>,
}

/// The trainer's table of all rounds.
pub fn table(kept: &[Kept]) -> TableView {
    let mut rounds: BTreeMap<&str, Vec<&Kept>> = BTreeMap::new();
    let mut counts: BTreeMap<(&str, Named, Named), usize> = BTreeMap::new();
    for k in kept {
        rounds.entry(&k.order.trainee).or_default().push(k);
        let Some(ended) = &k.ended else { continue };
        for (truth, taken_for) in confused(ended) {
            *counts
                .entry((&k.order.trainee, truth, taken_for))
                .or_default() += 1;
        }
    }
    let mut confusions: Vec<Confusion> = counts
        .into_iter()
        .map(|((trainee, truth, taken_for), times)| Confusion {
            trainee: trainee.to_owned(),
            truth,
            taken_for,
            times,
        })
        .collect();
    confusions.sort_by_key(|c| std::cmp::Reverse(c.times));
    TableView {
        trainees: rounds
            .into_iter()
            .map(|(trainee, all)| {
                let ended: Vec<&Ended> = all.iter().filter_map(|k| k.ended.as_ref()).collect();
                let scores: Vec<u32> = ended.iter().map(|e| e.score).collect();
                TraineeLine {
                    trainee: trainee.to_owned(),
                    ended: ended.len(),
                    unfinished: all.len() - ended.len(),
                    mean: mean(&scores),
                    right: ended.iter().filter(|e| e.right).count(),
                }
            })
            .collect(),
        confusions,
    }
}

/// Each true fault that was missed with each thing that was blamed falsely; a
/// fault of an item that was named is none.
fn confused(ended: &Ended) -> Vec<(Named, Named)> {
    let names = |truth: &Named, taken: &Named| {
        truth.id == taken.id
            || truth
                .id
                .strip_prefix(&taken.id)
                .is_some_and(|f| f.starts_with('.'))
    };
    let missed = (ended.truth.iter()).filter(|t| !ended.taken_for.iter().any(|c| names(t, c)));
    let blamed: Vec<&Named> = (ended.taken_for.iter())
        .filter(|c| !ended.truth.iter().any(|t| names(t, c)))
        .collect();
    missed
        .flat_map(|t| blamed.iter().map(|c| (t.clone(), (*c).clone())))
        .collect()
}
