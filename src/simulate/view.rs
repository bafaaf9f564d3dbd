//! A simulation as it is shown and written for programs.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::jobs::{Jobs, Order, WITH_HISTORY};
use super::judge::{Short, judge};
use super::luck::Luck;
use super::manner::Manner;
use super::tally::{Tenth, Walked, calibration};
use super::walk::Record;

/// What a simulation came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SimulationView {
    /// How many cases each way of working was followed on.
    pub cases: u64,
    /// Where chance began.
    pub seed: u64,
    /// How many complaints about devices, each with its past, they come from.
    pub complaints: usize,
    /// The device, where there is one only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device: Option<String>,
    /// What is complained of, where that is one only.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub symptoms: Vec<String>,
    /// Share of jobs drawn with an answer about the past of the device; absent
    /// where the complaint was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub with_history: Option<f64>,
    /// Upper bound on the share of jobs whose faults are too many to be drawn.
    pub left_out: f64,
    /// Each way of working.
    pub ways: Vec<Walked>,
    /// Whether what the advice shows is true as often as it says; absent where
    /// the advice was not followed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub calibration: Vec<Tenth>,
    /// What the rules are short of; absent where the advice was not followed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short: Option<Short>,
}

/// Follows ways of working on all jobs; `ended` is told how many cases have come
/// to their end, in all as many as cases times ways.
pub fn simulate(
    order: &Order,
    jobs: &[Jobs],
    manners: &[Manner],
    ended: &(dyn Fn(u64) + Sync),
) -> SimulationView {
    let one = (jobs.len() == 1).then(|| &jobs[0].start);
    let mut view = SimulationView {
        cases: order.cases,
        seed: order.seed,
        complaints: jobs.len(),
        device: one.map(|s| s.model.device.clone()),
        symptoms: one.map_or_else(Vec::new, |s| {
            let names = s.symptoms.iter().map(|i| s.model.symptoms[*i].name.clone());
            names.collect()
        }),
        with_history: order.job.is_none().then_some(WITH_HISTORY),
        left_out: jobs.iter().map(|j| j.start.left_out).fold(0.0, f64::max),
        ways: Vec::new(),
        calibration: Vec::new(),
        short: None,
    };
    for manner in manners {
        let records = follow(order, jobs, *manner, ended);
        let of = |(job, records)| {
            let (job, records): (&'_ Jobs, &'_ Vec<Record>) = (job, records);
            records.iter().map(|r| (&job.start, r))
        };
        let all: Vec<_> = jobs.iter().zip(&records).flat_map(of).collect();
        let way = Walked::of(manner.word(), &all);
        if *manner == Manner::Advice {
            let looked: Vec<&Record> = all.iter().map(|r| r.1).collect();
            view.calibration = calibration(&looked);
            view.short = Some(judge(jobs, &records, &way));
        }
        view.ways.push(way);
    }
    let advice = view.ways.iter().find(|w| w.policy == Manner::Advice.word());
    if let Some(advice) = advice.map(|w| w.all.cost.mean).filter(|c| *c > 0.0) {
        for way in &mut view.ways {
            way.to_advice = Some(way.all.cost.mean / advice);
        }
    }
    view
}

/// The records of one way of working, by jobs.
fn follow(
    order: &Order,
    jobs: &[Jobs],
    manner: Manner,
    ended: &(dyn Fn(u64) + Sync),
) -> Vec<Vec<Record>> {
    use rayon::prelude::*;
    let luck = Luck::new(order.seed);
    jobs.par_iter()
        .map(|job| {
            let policy = manner.policy(&job.start, job.hidden.len(), luck);
            let looks = manner == Manner::Advice;
            let records = job.start.follow(&policy, &job.hidden, looks, ended);
            if jobs.len() > 1 {
                // For all of many complaints it would be gigabytes.
                job.start.forget();
            }
            records
        })
        .collect()
}
