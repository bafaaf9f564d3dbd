//! What a set of rules is short of, as hidden cases show it.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use typed_index_collections::TiVec;

use super::jobs::Jobs;
use super::start::Start;
use super::tally::{Part, Walked, taken};
use super::walk::Record;
use crate::belief::FaultId;
use crate::belief::candidates::Candidate;
use crate::plan::RemedyId;

/// Faults that fewer cases than this had are not judged.
const FEW: usize = 20;
/// A fault is rarely found where it ends mended in less than this share of jobs,
/// or the first remedy is right in less than the second.
const RARELY: (f64, f64) = (0.8, 0.5);
/// Likelihoods that differ by no more than this tell nothing.
const ALIKE: f64 = 0.02;
/// Suspects that are less likely at intake are not set against each other.
const LIKELY: f64 = 1e-4;

/// What a set of rules is short of.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Short {
    /// Faults that are rarely found when the advice is followed, the worst
    /// first.
    pub rarely_found: Vec<Part>,
    /// Faults that no test tells apart, and that no remedy clears both, the
    /// likeliest first.
    pub not_told_apart: Vec<Pair>,
    /// Tests that the advice never took though they could be done.
    pub never_taken: Vec<Untaken>,
}

/// Two faults that no test tells apart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pair {
    /// One, by identifier.
    pub one: String,
    /// Its name.
    pub one_name: String,
    /// The other, by identifier.
    pub other: String,
    /// Its name.
    pub other_name: String,
}

/// A test that was never taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Untaken {
    /// The test, by identifier.
    pub test: String,
    /// Its question.
    pub ask: String,
    /// In how many cases it could have been done.
    pub cases: usize,
}

/// Judges rules by what came of following the advice; `records` are those of
/// each of `jobs`.
pub fn judge(jobs: &[Jobs], records: &[Vec<Record>], advice: &Walked) -> Short {
    let mut rarely_found: Vec<Part> = (advice.by_fault.iter())
        .filter(|p| p.came.cases >= FEW)
        .filter(|p| 1.0 - p.came.unmended < RARELY.0 || p.came.right_first < RARELY.1)
        .cloned()
        .collect();
    let found = |p: &Part| (1.0 - p.came.unmended) * p.came.right_first;
    rarely_found.sort_by(|a, b| found(a).total_cmp(&found(b)));
    let mut pairs: BTreeMap<(String, String), (f64, Pair)> = BTreeMap::new();
    let mut tests: BTreeMap<&str, (usize, Untaken)> = BTreeMap::new();
    for (job, records) in jobs.iter().zip(records) {
        let start = &job.start;
        for (weight, pair) in not_told_apart(start) {
            let key = (pair.one.clone(), pair.other.clone());
            let known = pairs.entry(key).or_insert((0.0, pair));
            known.0 = f64::max(known.0, weight);
        }
        let taken = taken(start, records).into_iter_enumerated();
        for (t, times) in taken.filter(|(t, _)| start.able.tests[*t]) {
            let info = &start.model.tests[t];
            let (all, test) = tests.entry(&info.id).or_insert_with(|| {
                let test = Untaken {
                    test: info.id.clone(),
                    ask: info.ask.clone(),
                    cases: 0,
                };
                (0, test)
            });
            *all += times;
            test.cases += records.len();
        }
    }
    let mut pairs: Vec<(f64, Pair)> = pairs.into_values().collect();
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
    let never = tests.into_values().filter(|(times, _)| *times == 0);
    Short {
        rarely_found,
        not_told_apart: pairs.into_iter().map(|p| p.1).collect(),
        never_taken: never.map(|(_, test)| test).collect(),
    }
}

/// Pairs of suspects that no test tells apart and no remedy clears both, with
/// the probability of the less likely one at intake.
fn not_told_apart(start: &Start) -> Vec<(f64, Pair)> {
    let mut alone: TiVec<FaultId, f64> = vec![0.0; start.faults()].into();
    for (c, w) in start.worlds.iter().filter(|w| w.0.len() == 1) {
        c.iter().for_each(|f| alone[f] = *w);
    }
    let suspects: Vec<FaultId> = alone.keys().filter(|f| alone[*f] >= LIKELY).collect();
    // By suspect, the chances of all outcomes of all tests.
    let rows: Vec<Vec<f64>> = suspects
        .iter()
        .map(|f| {
            let world = Candidate::new(&[*f]).unwrap_or(Candidate::EMPTY);
            let mut row = Vec::new();
            for t in &start.tests {
                let from = row.len();
                row.resize(from + t.plan.outlook.outcomes(), 0.0);
                t.plan.outlook.of(&world, &mut row[from..]);
            }
            row
        })
        .collect();
    let cured = |f: FaultId, r: RemedyId| start.cures[f].iter().any(|c| c.0 == r);
    let mut out = Vec::new();
    for (i, f) in suspects.iter().enumerate() {
        for (j, g) in suspects.iter().enumerate().skip(i + 1) {
            let same = |(a, b): (&f64, &f64)| (a - b).abs() <= ALIKE;
            if !rows[i].iter().zip(&rows[j]).all(same)
                || start.cures[*f].iter().any(|c| cured(*g, c.0))
            {
                continue;
            }
            let (one, other) = (&start.model.faults[*f], &start.model.faults[*g]);
            out.push((
                alone[*f].min(alone[*g]),
                Pair {
                    one: one.id.clone(),
                    one_name: one.name.clone(),
                    other: other.id.clone(),
                    other_name: other.name.clone(),
                },
            ));
        }
    }
    out
}
