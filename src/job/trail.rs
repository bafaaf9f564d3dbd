//! The trail of a job: what was done, what was known after each step, and why
//! the next one was advised. What reports are made of.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::Case;
use super::file::{CaseFile, Entry};
use super::view::{Share, StateView, Suspect, VERSION, result_words};

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
    /// When it was opened.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opened: Option<String>,
    /// What was known at intake.
    pub intake: Moment,
    /// What was done.
    pub steps: Vec<TrailStep>,
    /// How it ended: mended, not-mended, no-fault-found, not-worth-it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<String>,
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
    /// SHA-256 of the rules of the last step.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rules: Option<String>,
}

/// What was known at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Moment {
    /// The likeliest suspects, at most six.
    pub suspects: Vec<Suspect>,
    /// The five places.
    pub r#where: Vec<Share>,
    /// Probability that nothing is wrong.
    pub nothing_found: f64,
    /// How far the results disagree, in bits.
    pub conflict_bits: f64,
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

/// One entry with what was known after it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrailStep {
    /// From 1.
    pub number: usize,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// result, remedy, note, cannot or unclear.
    pub kind: String,
    /// Identifier of the test or remedy.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// The question, the order or the remark.
    pub text: String,
    /// What it showed, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shows: Option<String>,
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
}

impl From<&StateView> for Moment {
    fn from(s: &StateView) -> Self {
        Moment {
            suspects: s.belief.suspects.iter().take(6).cloned().collect(),
            r#where: s.belief.r#where.clone(),
            nothing_found: s.belief.nothing_found,
            conflict_bits: s.belief.conflict_bits,
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

impl Trail {
    /// Puts a trail together from a job, the case at its end, and what was
    /// shown at intake and after each entry.
    pub fn new(file: &CaseFile, case: &Case, intake: Moment, after: Vec<Moment>) -> Trail {
        let m = &case.model;
        let results = case.results();
        let mut steps = Vec::new();
        let mut remedies = Vec::new();
        for (n, entry) in file.steps.iter().enumerate() {
            let mut step = TrailStep {
                number: n + 1,
                after: after.get(n).cloned().unwrap_or_default(),
                ..TrailStep::default()
            };
            let test_words = |name: &str| match m.test(name) {
                crate::model::Found::One(i) => (m.tests[i].id.clone(), m.tests[i].ask.clone()),
                _ => (name.to_owned(), name.to_owned()),
            };
            match entry {
                Entry::Result(r) => {
                    let (id, ask) = test_words(&r.test);
                    step.kind = "result".into();
                    step.id = Some(id);
                    step.text = ask;
                    step.shows = Some(result_words(case, 0, Some(n), &file.steps).1);
                    step.note = r.note.clone();
                    step.misread = results
                        .iter()
                        .position(|e| *e == Some(n))
                        .and_then(|i| case.belief.misread.get(i).copied());
                }
                Entry::Remedy(d) => {
                    step.kind = "remedy".into();
                    step.note = d.note.clone();
                    step.text = d.did.clone();
                    if let super::Entered::Remedy(i) = case.entered[n] {
                        step.id = Some(m.remedies[i].id.clone());
                        step.text = m.remedies[i].name.clone();
                        remedies.push(step.text.clone());
                    }
                }
                Entry::Note(t) => {
                    step.kind = "note".into();
                    step.text = t.clone();
                }
                Entry::Cannot(c) => {
                    let (id, ask) = test_words(&c.test);
                    step.kind = "cannot".into();
                    step.id = Some(id);
                    step.text = ask;
                    step.note = (!c.why.is_empty()).then(|| c.why.clone());
                }
                Entry::Unclear(u) => {
                    let (id, ask) = test_words(&u.test);
                    step.kind = "unclear".into();
                    step.id = Some(id);
                    step.text = ask;
                    step.note = u.note.clone();
                }
            }
            steps.push(step);
        }
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
            history: file
                .history
                .iter()
                .map(|h| {
                    m.bench
                        .history
                        .iter()
                        .find(|(id, _)| id == h)
                        .map_or_else(|| h.clone(), |(_, ask)| ask.clone())
                })
                .collect(),
            intake,
            steps,
            ended: file.closed.as_ref().map(|c| c.state.word().to_owned()),
            reason: file.closed.as_ref().map(|c| c.reason.clone()),
            remedies,
            proved: case
                .proved()
                .iter()
                .map(|f| m.functions[*f].name.clone())
                .collect(),
            ..Trail::default()
        }
    }
}
