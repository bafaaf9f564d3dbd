//! Which jobs come in: complaints about devices, and hidden cases of each.

use rayon::prelude::*;

use super::luck::Luck;
use super::start::Start;
use super::walk::Hidden;
use crate::job::{CaseError, CaseFile, Settings};
use crate::model::{Unit, outline};
use crate::rulebase::Rulebase;

/// Share of jobs that come with one answer about the past of the device; the
/// others come with none. Common practice, no source.
pub const WITH_HISTORY: f64 = 0.2;

/// What comes in.
#[derive(Clone, Copy, Debug)]
pub struct Order<'a> {
    /// One complaint; without it, every symptom that is the loss of a function,
    /// on each kind of device.
    pub job: Option<&'a CaseFile>,
    /// The meter on the bench, by its name in the rules.
    pub meter: Option<&'a str>,
    /// How many cases.
    pub cases: u64,
    /// Where chance begins.
    pub seed: u64,
}

/// Jobs of one complaint with their hidden cases.
#[derive(Debug)]
pub struct Jobs {
    /// Where they begin.
    pub start: Start,
    /// The cases.
    pub hidden: Vec<Hidden>,
}

/// Names of what chance decides before a case begins.
const WHICH: u64 = 101;
const HISTORY: u64 = 102;
const PAST: u64 = 103;

/// Works out the jobs of an order, those without a case left out.
///
/// # Errors
/// If a device or a complaint does not fit the rules.
pub fn jobs(rules: &Rulebase, order: &Order, settings: Settings) -> Result<Vec<Jobs>, CaseError> {
    let luck = Luck::new(order.seed);
    let files = match order.job {
        Some(job) => vec![job.clone()],
        None => every(rules, order, luck)?,
    };
    // Of each complaint two: with and without an answer about the past.
    let pairs = files.len() / 2;
    let mut cases: Vec<Vec<u64>> = vec![Vec::new(); files.len()];
    for case in 0..order.cases {
        let luck = luck.of(case);
        let at = match order.job {
            Some(_) => 0,
            None => {
                let past = luck.of(HISTORY).number() < WITH_HISTORY;
                2 * luck.of(WHICH).one_of(pairs) + usize::from(past)
            }
        };
        cases[at].push(case);
    }
    let wanted: Vec<(&CaseFile, Vec<u64>)> = (files.iter().zip(cases))
        .filter(|(_, cases)| !cases.is_empty())
        .collect();
    wanted
        .into_par_iter()
        .map(|(file, cases)| {
            let start = Start::new(rules, file, settings)?;
            let drawn = start.draw();
            let hidden = cases
                .iter()
                .map(|case| drawn.hide(*case, luck.of(*case)))
                .collect();
            Ok(Jobs { start, hidden })
        })
        .collect()
}

/// Every symptom that is the loss of a function, on each kind of device that has
/// a description of its own: without an answer about the past, then with one.
fn every(rules: &Rulebase, order: &Order, luck: Luck) -> Result<Vec<CaseFile>, CaseError> {
    let generic = rules.devices.iter().filter(|d| d.model.is_none());
    let mut units: Vec<Unit> = generic
        .map(|d| Unit {
            kind: d.kind.clone(),
            ..Unit::default()
        })
        .collect();
    if units.is_empty() {
        units.push(Unit::default());
    }
    let pasts = &rules.bench.history;
    let mut files = Vec::new();
    for unit in units {
        for s in &outline(rules, &unit, &[])?.symptoms {
            if s.function.is_none() {
                continue;
            }
            let plain = CaseFile {
                device: unit.clone(),
                symptoms: vec![s.id.clone()],
                meter: order.meter.map(str::to_owned),
                ..CaseFile::default()
            };
            let past = luck.of(PAST).of(files.len() as u64).one_of(pasts.len());
            let history = pasts.get(past).map(|p| p.0.clone());
            let with = CaseFile {
                history: history.into_iter().collect(),
                ..plain.clone()
            };
            files.extend([plain, with]);
        }
    }
    Ok(files)
}
