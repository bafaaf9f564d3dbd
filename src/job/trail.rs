//! The trail of a job: what was done, what was known after each step, and why
//! the next one was advised. What reports are made of.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::Case;
use super::file::{CaseFile, ClosingState, Entry};
use super::ledger::Entered;
use super::line::LineView;
use super::view::{Share, StateView, Suspect, VERSION, is_zero, suspect};
use super::words::{ResultWords, result_words};
use crate::belief::{FaultId, ItemId, likelier};
use crate::model::{Found, FunctionId, Model};
use crate::plan::TestId;
use crate::rulebase::{Kind, Step};

/// A whole trail.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Trail {
    /// Version of this form.
    pub version: u32,
    /// Number of the job in its store.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub job: Option<i64>,
    /// Title.
    pub title: String,
    /// Kind of device.
    pub kind: String,
    /// Model, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Variant, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// Serial number, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// What the customer said.
    pub complaint: String,
    /// Symptoms recognised, in words.
    pub symptoms: Vec<String>,
    /// History, in words: the questions answered with yes.
    pub history: Vec<String>,
    /// Of these, identifiers of questions that the rules of today no longer ask.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub history_gone: Vec<String>,
    /// When it was opened.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opened: Option<String>,
    /// What was known at intake.
    pub intake: Moment,
    /// What was done.
    pub steps: Vec<TrailStep>,
    /// How it ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<ClosingState>,
    /// Why it ended so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// When it was closed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
    /// Remedies done, in words.
    pub remedies: Vec<String>,
    /// Functions shown to work after the last remedy, in words.
    pub proved: Vec<String>,
    /// Functions that the last remedy put in question and that were not shown
    /// to work after it, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unproved: Vec<String>,
    /// Every caution of a step that was done or advised.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<TrailCaution>,
    /// The lines of the board that were read, as they were known before the
    /// last remedy that did something about them, else in the end; under the
    /// rules of today.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<LineView>,
    /// SHA-256 of the rules of the last step.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rules: Option<String>,
}

/// What was known at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Moment {
    /// The likeliest suspects, at most six.
    pub suspects: Vec<Suspect>,
    /// Those after them, by their identifiers, down to one in two hundred.
    /// Absent in jobs that were kept before this was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub others: Option<Vec<Share>>,
    /// The five places.
    pub r#where: Vec<Share>,
    /// Probability that nothing is wrong.
    pub nothing_found: f64,
    /// What the sets of faults that were not counted may hold at most, as a
    /// probability: no other is sharper. Absent where all were.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub left_out: f64,
    /// How far the results disagree, in bits.
    pub conflict_bits: f64,
    /// Hazards that barred steps, and entries made against one, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<String>,
    /// The step advised, in words, and why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advised: Option<Advised>,
}

/// The step that was advised.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Advised {
    /// The question or the order.
    pub text: String,
    /// Identifier.
    pub id: String,
    /// Why.
    pub why: String,
    /// Minutes.
    pub minutes: f64,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// What an entry of a trail is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum TrailKind {
    /// A test was done.
    Result,
    /// A remedy was done.
    Remedy,
    /// A remark.
    #[default]
    Note,
    /// A step could not be done.
    Cannot,
    /// A test was done and its result is unclear.
    Unclear,
    /// Another meter was taken.
    Meter,
    /// A good board was read.
    Reference,
    /// A question about the past was answered with yes.
    History,
    /// An earlier result was measured again and came out the same.
    Sure,
    /// An earlier entry should have been another, or none.
    Correction,
    /// The entry never was, by a later correction.
    Struck,
}

/// One entry with what was known after it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrailStep {
    /// From 1.
    pub number: usize,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// What was entered.
    pub kind: TrailKind,
    /// Identifier of the test or remedy.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// The question, the order or the remark.
    pub text: String,
    /// What it showed, in words: for a value, that and what it says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shows: Option<String>,
    /// The value alone, as it was typed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reads: Option<String>,
    /// What it says, beside a value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub says: Option<String>,
    /// A remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Probability that the result was a misreading, as known in the end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub misread: Option<f64>,
    /// What was known after it.
    pub after: Moment,
    /// What would be known under the rules of today, if they differ.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub moved: Option<String>,
    /// Manner of a test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub manner: Option<Kind>,
    /// What was entered first, where a later entry corrected it; the rest of the
    /// step is as it was corrected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// Number of the step that corrected this one last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected_in: Option<usize>,
    /// Number of the step that this one confirms or corrects.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<usize>,
    /// Number of the step that repeated this test and whose result counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeated_in: Option<usize>,
    /// Identifiers of the cautions that held for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// Items that a remedy worked on, the one it is meant for first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<TrailItem>,
    /// Of the faults that a remedy clears, those that were there before it, as
    /// known in the end; likeliest first, down to one in twenty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub was_there: Vec<Suspect>,
}

impl TrailStep {
    /// Takes what a result showed.
    fn showed(&mut self, words: ResultWords) {
        self.shows = Some(words.shows());
        self.says = words.reads.is_some().then_some(words.says);
        self.reads = words.reads;
    }
}

/// A caution.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrailCaution {
    /// Identifier.
    pub id: String,
    /// In words.
    pub text: String,
}

/// An item that was worked on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrailItem {
    /// Identifier.
    pub item: String,
    /// Name.
    pub name: String,
    /// software, setting, part, interconnect or board.
    pub r#where: String,
}

/// A remedy is meant for an item if it clears it with this share of the chance
/// that it has with the surest one.
const MEANT_FOR: f64 = 0.8;
/// How many suspects a moment lists in full.
pub const LISTED: usize = 6;
/// Below this a suspect is not kept.
const KEPT_FROM: f64 = 0.005;
/// Below this a fault is not said to have been there before a remedy.
const WAS_THERE_FROM: f64 = 0.05;

impl From<&StateView> for Moment {
    fn from(s: &StateView) -> Self {
        Moment {
            suspects: s.belief.suspects.iter().take(LISTED).cloned().collect(),
            others: Some(
                s.belief
                    .suspects
                    .iter()
                    .skip(LISTED)
                    .filter(|s| s.posterior >= KEPT_FROM)
                    .map(|s| Share {
                        name: s.fault.clone(),
                        posterior: s.posterior,
                    })
                    .collect(),
            ),
            r#where: s.belief.r#where.clone(),
            nothing_found: s.belief.nothing_found,
            left_out: s.belief.left_out,
            conflict_bits: s.belief.conflict_bits,
            hazards: s.hazards.clone(),
            advised: s.next.steps.first().map(|a| Advised {
                text: a.text.clone(),
                id: a.id.clone(),
                why: a.why.clone(),
                minutes: a.minutes,
                cautions: a.cautions.clone(),
            }),
        }
    }
}

/// The part of an entry that a correction replaces, as it was typed.
fn value_words(entry: &Entry) -> &str {
    match entry {
        Entry::Result(r) => r.shows.trim(),
        Entry::Remedy(d) => &d.did,
        Entry::Note(text) => text,
        Entry::Cannot(c) => &c.why,
        Entry::Unclear(_) => "unclear",
        Entry::Reference(r) => r.reads.trim(),
        Entry::Meter(name) | Entry::History(name) => name,
        Entry::Sure(_) => "measured again",
        Entry::Correct(_) => "a correction",
    }
}

/// An entry as it was typed.
fn entered_words(entry: &Entry) -> String {
    let value = value_words(entry);
    match entry {
        Entry::Result(r) => format!("{}: {value}", r.test),
        Entry::Cannot(c) => format!("{} cannot be done: {value}", c.test),
        Entry::Unclear(u) => format!("{}: {value}", u.test),
        Entry::Reference(r) => format!("{} of a good board: {value}", r.test),
        _ => value.to_owned(),
    }
}

impl Trail {
    /// Puts a trail together from a job, the case at its end, and what was
    /// shown at intake and after each entry.
    pub fn new(file: &CaseFile, case: &Case, intake: Moment, after: Vec<Moment>) -> Trail {
        let m = &case.model;
        let results = case.results();
        let as_it_holds = |n: usize| case.corrected(n).or_else(|| file.steps.get(n));
        let mut steps = Vec::new();
        let mut remedies = Vec::new();
        // Each caution that a step carries, done or advised.
        let mut said = vec![false; m.bench.cautions.len()];
        for advised in std::iter::once(&intake)
            .chain(&after)
            .filter_map(|m| m.advised.as_ref())
        {
            for (i, c) in m.bench.cautions.iter().enumerate() {
                said[i] |= advised.cautions.contains(&c.text);
            }
        }
        for (n, entry) in file.steps.iter().enumerate() {
            let mut step = TrailStep {
                number: n + 1,
                after: after.get(n).cloned().unwrap_or_default(),
                ..TrailStep::default()
            };
            if let Some(by) = case.corrected_in(n) {
                step.corrected_in = Some(by + 1);
                step.was = Some(entered_words(entry));
            }
            if case.struck(n) {
                step.kind = TrailKind::Struck;
                step.text = step.was.take().unwrap_or_default();
                steps.push(step);
                continue;
            }
            let entry = case.corrected(n).unwrap_or(entry);
            let mut took = |step: &mut TrailStep, what: &Step| {
                for c in &what.cautions {
                    said[*c] = true;
                    step.cautions.push(m.bench.cautions[*c].id.clone());
                }
            };
            let name_test = |step: &mut TrailStep, name: &str| -> Option<TestId> {
                let found = match m.test(name) {
                    Found::One(i) => Some(i),
                    _ => None,
                };
                let (id, text) = match (found, m.remedy(name)) {
                    (Some(i), _) => (&m.tests[i].id, &*m.tests[i].ask),
                    // What cannot be done may be a remedy.
                    (None, Found::One(i)) => (&m.remedies[i].id, &*m.remedies[i].name),
                    _ => (&name.to_owned(), name),
                };
                step.id = Some(id.clone());
                step.text = text.to_owned();
                step.manner = found.map(|i| m.tests[i].kind);
                found
            };
            match entry {
                Entry::Result(r) => {
                    step.kind = TrailKind::Result;
                    let test = name_test(&mut step, &r.test);
                    if let Some(i) = test {
                        took(&mut step, &m.tests[i].step);
                    }
                    step.showed(result_words(case, 0, Some(n), &file.steps));
                    step.note = r.note.clone();
                    if let Some((_, why)) = case.void().iter().find(|v| v.0 == n) {
                        let note = r
                            .note
                            .as_ref()
                            .map(|n| format!("{n}; "))
                            .unwrap_or_default();
                        step.note = Some(format!("{note}not counted: {why}"));
                    }
                    match results.iter().position(|e| *e == Some(n)) {
                        Some(i) => step.misread = case.belief.misread.get(i).copied(),
                        None => {
                            step.repeated_in = case.entered[n + 1..]
                                .iter()
                                .position(
                                    |e| matches!(e, Entered::Result { test: t, .. } if Some(*t) == test),
                                )
                                .map(|later| n + 2 + later);
                        }
                    }
                }
                Entry::Remedy(d) => {
                    step.kind = TrailKind::Remedy;
                    step.note = d.note.clone();
                    step.text = d.did.clone();
                    if let Entered::Remedy(i) = case.entered[n] {
                        let r = &m.remedies[i];
                        step.id = Some(r.id.clone());
                        step.text = r.name.clone();
                        took(&mut step, &r.step);
                        step.items = worked_on(m, &r.change.clears);
                        step.was_there = was_there(case, n, &r.change.clears);
                        remedies.push(step.text.clone());
                    }
                }
                Entry::Note(t) => {
                    step.kind = TrailKind::Note;
                    step.text = t.clone();
                }
                Entry::Sure(s) => {
                    step.kind = TrailKind::Sure;
                    step.about = Some(s.entry);
                    let of = s.entry.wrapping_sub(1);
                    if let Some(Entry::Result(r)) = as_it_holds(of) {
                        if let Some(i) = name_test(&mut step, &r.test) {
                            took(&mut step, &m.tests[i].step);
                        }
                        step.showed(result_words(case, 0, Some(of), &file.steps));
                    }
                    step.note = s.note.clone();
                    if !matches!(case.entered[n], Entered::About(_)) {
                        let not = "not counted: the entry was corrected since";
                        let note = step.note.iter().map(String::as_str);
                        step.note = Some(note.chain([not]).collect::<Vec<_>>().join("; "));
                    }
                }
                Entry::Correct(c) => {
                    step.kind = TrailKind::Correction;
                    step.about = Some(c.entry);
                    step.text = match (file.steps.get(c.entry.wrapping_sub(1)), &c.to) {
                        (Some(was), Some(to)) => {
                            format!("entry {}: {to}, not {}", c.entry, value_words(was))
                        }
                        (Some(was), None) => {
                            format!("entry {} never was: {}", c.entry, entered_words(was))
                        }
                        (None, _) => format!("entry {}", c.entry),
                    };
                    step.note = c.note.clone();
                }
                Entry::Reference(r) => {
                    step.kind = TrailKind::Reference;
                    name_test(&mut step, &r.test);
                    step.manner = None;
                    step.shows = Some(r.reads.trim().to_owned());
                    let odd = case.unexpected().iter().find(|u| u.0 == n);
                    let odd = odd.map(|(_, why)| format!("; {why}"));
                    step.note = Some(r.from.clone() + odd.as_deref().unwrap_or_default());
                }
                Entry::Meter(name) => {
                    step.kind = TrailKind::Meter;
                    step.text = format!("read from here on with the meter `{name}`");
                }
                Entry::History(id) => {
                    step.kind = TrailKind::History;
                    let mut asked = m.bench.history.iter();
                    let ask = asked.find(|h| h.0 == *id).map_or(id, |h| &h.1);
                    step.text = format!("{ask} Yes.");
                }
                Entry::Cannot(c) => {
                    step.kind = TrailKind::Cannot;
                    name_test(&mut step, &c.test);
                    step.note = (!c.why.is_empty()).then(|| c.why.clone());
                }
                Entry::Unclear(u) => {
                    step.kind = TrailKind::Unclear;
                    if let Some(i) = name_test(&mut step, &u.test) {
                        took(&mut step, &m.tests[i].step);
                    }
                    step.note = u.note.clone();
                }
            }
            steps.push(step);
        }
        let proved = case.proved();
        let unproved = match remedies.is_empty() {
            true => Vec::new(),
            false => case.to_prove(),
        };
        let functions = |all: &mut dyn Iterator<Item = FunctionId>| -> Vec<String> {
            all.map(|f| m.functions[f].name.clone()).collect()
        };
        let question = |id: &String| m.bench.history.iter().find(|h| h.0 == *id);
        let asked = |id: &String| question(id).map_or(id, |h| &h.1).clone();
        let gone = file.history.iter().filter(|id| question(id).is_none());
        Trail {
            version: VERSION,
            title: file.case.clone(),
            kind: file.device.kind.clone(),
            model: file.device.model.clone(),
            variant: file.device.variant.clone(),
            serial: file.device.serial.clone(),
            complaint: file.complaint.clone(),
            symptoms: case
                .symptoms
                .iter()
                .map(|s| m.symptoms[*s].name.clone())
                .collect(),
            history: file.history.iter().map(asked).collect(),
            history_gone: gone.cloned().collect(),
            intake,
            steps,
            ended: file.closed.as_ref().map(|c| c.state),
            reason: file.closed.as_ref().map(|c| c.reason.clone()),
            remedies,
            proved: functions(&mut proved.iter().copied()),
            unproved: functions(&mut unproved.into_iter().filter(|f| !proved.contains(f))),
            cautions: m
                .bench
                .cautions
                .iter()
                .zip(said)
                .filter(|(_, said)| *said)
                .map(|(c, _)| TrailCaution {
                    id: c.id.clone(),
                    text: c.text.clone(),
                })
                .collect(),
            ..Trail::default()
        }
    }
}

/// What a remedy works on: the items of the faults it clears, the surest first.
/// What it clears by the way, by a clearly smaller chance, is left out.
fn worked_on(m: &Model, clears: &[(FaultId, f64)]) -> Vec<TrailItem> {
    let mut best: Vec<(ItemId, f64)> = Vec::new();
    for (f, chance) in clears {
        let item = m.faults[*f].item;
        match best.iter_mut().find(|b| b.0 == item) {
            Some(b) => b.1 = b.1.max(*chance),
            None => best.push((item, *chance)),
        }
    }
    best.sort_by(|a, b| likelier(a.1, b.1));
    let surest = best.first().map_or(0.0, |b| b.1);
    best.into_iter()
        .filter(|(_, chance)| *chance >= surest * MEANT_FOR)
        .map(|(i, _)| TrailItem {
            item: m.items[i].id.clone(),
            name: m.items[i].name.clone(),
            r#where: m.items[i].r#where.word().to_owned(),
        })
        .collect()
}

/// Which of the faults that a remedy clears were there before it.
fn was_there(case: &Case, remedy: usize, clears: &[(FaultId, f64)]) -> Vec<Suspect> {
    let m = &case.model;
    let mut out: Vec<Suspect> = clears
        .iter()
        .map(|(f, _)| suspect(m, *f, case.was_there(remedy, *f)))
        .filter(|s| s.posterior >= WAS_THERE_FROM)
        .collect();
    out.sort_by(|a, b| likelier(a.posterior, b.posterior));
    out
}
