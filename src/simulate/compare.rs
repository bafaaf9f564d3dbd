//! What a change to the rules does: the same hidden cases with the same luck, the
//! advice of one set of rules against that of another.

use std::collections::BTreeMap;

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::jobs::Jobs;
use super::policy::Policy;
use super::start::Start;
use super::tally::Mean;
use crate::job::{CaseError, Settings};
use crate::rulebase::Rulebase;

/// The advice of two sets of rules on the same cases. What is wrong with them,
/// and how tests come out, is by the first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// Cost of a job with the advice of these rules.
    pub these: Mean,
    /// Cost of a job with the advice of the others.
    pub others: Mean,
    /// The others less these, case by case.
    pub difference: Mean,
    /// Wrong parts per job, with these and with the others.
    pub wrong_parts: [f64; 2],
    /// Share of jobs in which something is left, with these and with the others.
    pub unmended: [f64; 2],
    /// By fault, where the difference counts most first.
    pub by_fault: Vec<Difference>,
    /// Faults, tests and remedies that only these rules have, by identifier.
    pub only_these: Vec<String>,
    /// The same of the others.
    pub only_others: Vec<String>,
}

/// The difference with one fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Difference {
    /// The fault, by identifier.
    pub fault: String,
    /// Its name.
    pub name: String,
    /// How many cases had it.
    pub cases: usize,
    /// Cost of a job with the others less that with these, case by case.
    pub difference: Mean,
}

/// Sets the advice of these rules against that of others, on the jobs of these.
///
/// # Errors
/// If a complaint does not fit the others.
pub fn compare(
    jobs: &[Jobs],
    others: &Rulebase,
    settings: Settings,
    ended: &(dyn Fn(u64) + Sync),
) -> Result<Comparison, CaseError> {
    let minds: Vec<Start> = (jobs.par_iter())
        .map(|j| {
            let mut file = j.start.file.clone();
            let symptoms = j.start.symptoms.iter();
            file.symptoms = symptoms
                .map(|s| j.start.model.symptoms[*s].id.clone())
                .collect();
            Start::new(others, &file, settings)
        })
        .collect::<Result<_, _>>()?;
    let both: Vec<_> = (jobs.par_iter().zip(&minds))
        .map(|(j, mind)| {
            let these = j.start.follow(&Policy::Advice, &j.hidden, false, ended);
            let others = j
                .start
                .follow_believing(mind, &Policy::Advice, &j.hidden, false, ended);
            (these, others)
        })
        .collect();
    let mut costs: Vec<[f64; 2]> = Vec::new();
    let (mut wrong_parts, mut unmended) = ([0.0; 2], [0.0; 2]);
    let mut faults: BTreeMap<&str, (&str, Vec<f64>)> = BTreeMap::new();
    for (job, (these, others)) in jobs.iter().zip(&both) {
        for two in these.iter().zip(others) {
            let two = [two.0, two.1];
            let cost = two.map(|r| r.cost(&job.start));
            costs.push(cost);
            for (i, r) in two.into_iter().enumerate() {
                wrong_parts[i] += f64::from(r.wrong_parts);
                unmended[i] += f64::from(u8::from(!r.left.is_empty()));
            }
            for f in two[0].faults.iter() {
                let info = &job.start.model.faults[f];
                let of = faults
                    .entry(&info.id)
                    .or_insert_with(|| (&info.name, Vec::new()));
                of.1.push(cost[1] - cost[0]);
            }
        }
    }
    let n = (costs.len() as f64).max(1.0);
    let mut by_fault: Vec<Difference> = faults
        .into_iter()
        .map(|(id, (name, all))| Difference {
            fault: id.to_owned(),
            name: name.to_owned(),
            cases: all.len(),
            difference: Mean::of(all.iter().copied()),
        })
        .collect();
    let counts = |d: &Difference| d.difference.mean.abs() * d.cases as f64;
    by_fault.sort_by(|a, b| counts(b).total_cmp(&counts(a)).then(a.fault.cmp(&b.fault)));
    let here: Vec<&Start> = jobs.iter().map(|j| &j.start).collect();
    let there: Vec<&Start> = minds.iter().collect();
    let (here, there) = (names(&here), names(&there));
    let without = |all: &[String], others: &[String]| -> Vec<String> {
        let new = all.iter().filter(|id| others.binary_search(id).is_err());
        new.cloned().collect()
    };
    Ok(Comparison {
        these: Mean::of(costs.iter().map(|c| c[0])),
        others: Mean::of(costs.iter().map(|c| c[1])),
        difference: Mean::of(costs.iter().map(|c| c[1] - c[0])),
        wrong_parts: wrong_parts.map(|x| x / n),
        unmended: unmended.map(|x| x / n),
        by_fault,
        only_these: without(&here, &there),
        only_others: without(&there, &here),
    })
}

/// All that rules name, in order.
fn names(starts: &[&Start]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for s in starts {
        let m = &s.model;
        all.extend(m.faults.iter().map(|x| format!("fault {}", x.id)));
        all.extend(m.tests.iter().map(|x| format!("test {}", x.id)));
        all.extend(m.remedies.iter().map(|x| format!("remedy {}", x.id)));
    }
    all.sort();
    all.dedup();
    all
}
