//! Tables that answer questions as a bench would: what is wrong first, then a
//! sound device. `tests/trade/cases.yaml` says how they are read.
#![allow(dead_code, unreachable_pub)]

use std::collections::BTreeMap;

use halfsplit::belief::{FaultId, likelier};
use halfsplit::job::{Case, CaseFile, Entry, Shown};
use halfsplit::model::Unit;
use halfsplit::rulebase::{Where, read_yaml};
use serde::Deserialize;

/// Chance that a remedy takes from which on it is the one of a fault; with less
/// it is done and does not take.
pub const LIKELY: f64 = 0.5;

/// One answer, or one for each time that it is asked.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged)]
pub enum Answer {
    /// The same each time.
    One(String),
    /// In turn, the last again and again.
    InTurn(Vec<String>),
}

/// A healthy answer, by model or kind of device or for all.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged)]
pub enum Healthy {
    /// Of every device.
    All(String),
    /// By model or kind; `any` for the others.
    By(BTreeMap<String, String>),
}

/// Answers by the name of the test without its unit.
pub type Answers = BTreeMap<String, Answer>;

/// What is wrong with a device, as its questions are answered.
#[derive(Clone, Copy, Debug)]
pub struct Told<'t> {
    /// Its own answers, which come first.
    pub answers: &'t Answers,
    /// Sets of the tables; the last comes first.
    pub shows: &'t [String],
}

/// A file of cases, with answers of a sound device and sets of what is often
/// wrong.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Book<C> {
    /// Answers of a sound device.
    pub healthy: BTreeMap<String, Healthy>,
    /// Sets of answers by their name.
    pub sets: BTreeMap<String, Answers>,
    /// What is to be worked.
    #[serde(alias = "jobs")]
    pub cases: Vec<C>,
}

impl<C> Book<C> {
    /// What these faults answer when a test is asked for the `times`-th time, from
    /// 0; `None` where none has a word on it.
    pub fn wrong(&self, all: &[Told<'_>], bare: &str, times: usize) -> Option<String> {
        let found = all.iter().find_map(|told| {
            let sets = told.shows.iter().rev();
            let sets = sets.map(|s| self.sets.get(s).unwrap_or_else(|| panic!("no set `{s}`")));
            [told.answers]
                .into_iter()
                .chain(sets)
                .find_map(|a| a.get(bare))
        })?;
        let text = match found {
            Answer::One(text) => text,
            Answer::InTurn(all) => &all[times.min(all.len() - 1)],
        };
        Some(text.clone())
    }

    /// What a sound device answers; `None` if the bench cannot tell.
    pub fn sound(&self, device: &str, model: Option<&str>, bare: &str) -> Option<String> {
        let text = match self.healthy.get(bare)? {
            Healthy::All(text) => text,
            Healthy::By(by) => (model.and_then(|m| by.get(m)))
                .or_else(|| by.get(device))
                .or_else(|| by.get("any"))?,
        };
        Some(text.clone())
    }
}

/// The unit of a test, and its name without it.
pub fn apart(test: &str) -> (&str, &str) {
    test.rsplit_once('/').unwrap_or(("", test))
}

/// Whether a test is of these units, or of what all units share.
pub fn concerns(units: &[String], unit: &str) -> bool {
    matches!(unit, "imaging" | "charging") || units.iter().any(|u| u == unit)
}

/// A table of the folder `tests/trade`.
pub fn table<T: serde::de::DeserializeOwned>(name: &str) -> T {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/trade/");
    let text = std::fs::read_to_string(format!("{folder}{name}")).unwrap();
    read_yaml(name, text).unwrap_or_else(|(files, problems)| {
        let all: Vec<String> = problems.iter().map(|p| p.render(&files, false)).collect();
        panic!("{}", all.join("\n"))
    })
}

/// A result as it is entered.
pub fn result(test: &str, reads: &str) -> Entry {
    Entry::Result(Shown {
        test: test.into(),
        shows: reads.into(),
        ..Shown::default()
    })
}

/// A device as it comes in, nothing entered.
pub fn comes_in(
    name: &str,
    kind: &str,
    model: Option<&String>,
    complaint: &str,
    history: &[String],
) -> CaseFile {
    CaseFile {
        case: name.to_owned(),
        device: Unit {
            kind: kind.to_owned(),
            model: model.cloned(),
            ..Unit::default()
        },
        complaint: complaint.to_owned(),
        history: history.to_vec(),
        ..CaseFile::default()
    }
}

/// The likeliest place.
pub fn place(case: &Case) -> &'static str {
    let places = &case.belief.places;
    let best = places
        .keys()
        .max_by(|a, b| places[*a].total_cmp(&places[*b]));
    Where::ALL[best.unwrap().0].word()
}

/// Suspects, likeliest first.
pub fn ranked(case: &Case) -> Vec<FaultId> {
    let p = &case.belief.faults;
    let mut all: Vec<FaultId> = p.keys().collect();
    all.sort_by(|a, b| likelier(p[*a], p[*b]));
    all
}

/// The identifier of a fault.
pub fn id(case: &Case, fault: FaultId) -> &str {
    &case.model.faults[fault].id
}

/// The first three suspects with their probability, in words.
pub fn leaders(case: &Case) -> String {
    let words = |f: &FaultId| format!("{} {:.2}", id(case, *f), case.belief.faults[*f]);
    let three: Vec<String> = ranked(case).iter().take(3).map(words).collect();
    three.join(", ")
}

/// Says on the side what a test found.
#[expect(clippy::print_stderr, reason = "asked for with --nocapture")]
pub fn tell(text: &str) {
    eprintln!("{text}");
}

/// Per cent.
pub fn share(part: usize, of: usize) -> f64 {
    100.0 * part as f64 / of as f64
}
