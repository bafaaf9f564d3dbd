//! What many cases came to, in numbers.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use typed_index_collections::TiVec;

use super::start::Start;
use super::walk::{Ended, Record};
use crate::plan::{Act, TestId};

/// A mean with its standard error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mean {
    /// The mean.
    pub mean: f64,
    /// Its standard error: two of them either way hold the truth in 19 of 20
    /// simulations.
    pub error: f64,
}

impl Mean {
    /// Of numbers; 0 of none.
    pub fn of(numbers: impl Iterator<Item = f64> + Clone) -> Mean {
        let n = numbers.clone().count() as f64;
        if n == 0.0 {
            return Mean::default();
        }
        let mean = numbers.clone().sum::<f64>() / n;
        let squares: f64 = numbers.map(|x| (x - mean).powi(2)).sum();
        Mean {
            mean,
            error: (squares / (n - 1.0).max(1.0) / n).sqrt(),
        }
    }
}

/// What some cases came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Came {
    /// How many cases.
    pub cases: usize,
    /// Cost of a job, in currency: time, parts, and the loss where something is
    /// left.
    pub cost: Mean,
    /// Minutes at the bench.
    pub minutes: f64,
    /// Tests and remedies.
    pub steps: f64,
    /// Share of jobs in which the first remedy was for something that was wrong,
    /// among those with a remedy.
    pub right_first: f64,
    /// Remedies with parts that were for nothing that was wrong, per job.
    pub wrong_parts: f64,
    /// Share of jobs in which something is left.
    pub unmended: f64,
}

impl Came {
    /// Of records with the start that each began at.
    pub fn of(all: &[One]) -> Came {
        let n = (all.len() as f64).max(1.0);
        let mean = |of: &dyn Fn(&Record) -> f64| all.iter().map(|r| of(r.1)).sum::<f64>() / n;
        let first: Vec<bool> = all.iter().filter_map(|r| r.1.first).collect();
        let right = first.iter().filter(|r| **r).count() as f64;
        Came {
            cases: all.len(),
            cost: Mean::of(all.iter().map(|(s, r)| r.cost(s))),
            minutes: mean(&|r| r.minutes),
            steps: mean(&|r| r.steps.len() as f64),
            right_first: right / (first.len() as f64).max(1.0),
            wrong_parts: mean(&|r| f64::from(r.wrong_parts)),
            unmended: mean(&|r| f64::from(u8::from(!r.left.is_empty()))),
        }
    }
}

/// The same of cases that have something in common.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Part {
    /// The fault, by identifier, or the area.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What the cases with it came to.
    pub came: Came,
}

/// One way of working.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Walked {
    /// `advice`, `cheapest-first`, `best-order`, `tell-most`, `mend-only` or
    /// `random`.
    pub policy: String,
    /// What all cases came to.
    pub all: Came,
    /// Cost per job over that of the advice; absent where the advice was not
    /// followed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to_advice: Option<f64>,
    /// Cost that so many in a hundred jobs do not pass, at 0, 1 … 100.
    pub cost_at: Vec<f64>,
    /// Share of jobs handed back as well, whatever is left.
    pub handed_back_well: f64,
    /// By where the faults were: `software`, `setting`, `part`, `interconnect`,
    /// `board`, or `nothing`.
    pub by_area: Vec<Part>,
    /// By fault, those with most cases first.
    pub by_fault: Vec<Part>,
}

/// A record with the start that it began at.
type One<'a> = (&'a Start, &'a Record);

impl Walked {
    /// Of records with the start that each began at.
    pub fn of(policy: &str, all: &[One]) -> Walked {
        let mut costs: Vec<f64> = all.iter().map(|(s, r)| r.cost(s)).collect();
        costs.sort_by(f64::total_cmp);
        let at = |percent: usize| {
            let last = costs.len().saturating_sub(1);
            costs.get(last * percent / 100).copied().unwrap_or(0.0)
        };
        let well = all.iter().filter(|r| r.1.ended == Ended::AsWell).count();
        let mut areas: BTreeMap<(usize, &str), Vec<One>> = BTreeMap::new();
        let mut faults: BTreeMap<&str, (&str, Vec<One>)> = BTreeMap::new();
        for one in all {
            let model = &one.0.model;
            let mut places: Vec<(usize, &str)> = (one.1.faults.iter())
                .map(|f| {
                    let area = model.items[model.faults[f].item].r#where;
                    (area as usize, area.word())
                })
                .collect();
            places.sort_unstable();
            places.dedup();
            if places.is_empty() {
                places.push((usize::MAX, "nothing"));
            }
            for place in places {
                areas.entry(place).or_default().push(*one);
            }
            for f in one.1.faults.iter() {
                let info = &model.faults[f];
                let of = faults.entry(&info.id);
                of.or_insert_with(|| (&info.name, Vec::new())).1.push(*one);
            }
        }
        let mut by_fault: Vec<Part> = faults
            .into_iter()
            .map(|(id, (name, all))| Part {
                id: id.to_owned(),
                name: name.to_owned(),
                came: Came::of(&all),
            })
            .collect();
        by_fault.sort_by(|a, b| b.came.cases.cmp(&a.came.cases).then(a.id.cmp(&b.id)));
        Walked {
            policy: policy.to_owned(),
            all: Came::of(all),
            to_advice: None,
            cost_at: (0..=100).map(at).collect(),
            handed_back_well: well as f64 / (all.len() as f64).max(1.0),
            by_area: areas
                .into_iter()
                .map(|((_, area), all)| Part {
                    id: area.to_owned(),
                    name: area.to_owned(),
                    came: Came::of(&all),
                })
                .collect(),
            by_fault,
        }
    }
}

/// Suspects that were shown in one tenth of probability.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tenth {
    /// From this probability.
    pub from: f64,
    /// To this.
    pub to: f64,
    /// How many were shown, over all steps of all cases.
    pub shown: u64,
    /// Mean of what was shown.
    pub said: f64,
    /// Share of them that were true.
    pub true_share: f64,
    /// Standard error of the difference. All that is shown of one case counts as
    /// one, since it hangs together.
    pub error: f64,
}

/// What was shown against what was true.
pub fn calibration(records: &[&Record]) -> Vec<Tenth> {
    (0..10)
        .map(|t| {
            let looks = records.iter().filter_map(|r| r.looks.as_ref());
            let looks: Vec<_> = looks.map(|l| l[t]).collect();
            let shown: u64 = looks.iter().map(|l| u64::from(l.shown)).sum();
            let there: u64 = looks.iter().map(|l| u64::from(l.there)).sum();
            let sum: f64 = looks.iter().map(|l| l.sum).sum();
            let n = (shown as f64).max(1.0);
            let squares: f64 = looks
                .iter()
                .map(|l| (f64::from(l.there) - l.sum).powi(2))
                .sum();
            Tenth {
                from: (t as f64 / 10.0).max(if t == 0 { super::SHOWN } else { 0.0 }),
                to: (t + 1) as f64 / 10.0,
                shown,
                said: sum / n,
                true_share: there as f64 / n,
                error: squares.sqrt() / n,
            }
        })
        .collect()
}

/// By test, how many of some cases it was taken in.
pub(super) fn taken(start: &Start, records: &[Record]) -> TiVec<TestId, usize> {
    let mut taken: TiVec<TestId, usize> = vec![0; start.model.tests.len()].into();
    for r in records {
        let mut tests: Vec<TestId> = (r.steps.iter())
            .filter_map(|s| match s.act {
                Act::Test(t) => Some(t),
                Act::Remedy(_) => None,
            })
            .collect();
        tests.sort_unstable();
        tests.dedup();
        tests.iter().for_each(|t| taken[*t] += 1);
    }
    taken
}
