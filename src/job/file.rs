//! The entries of a job, as they are stored, exported and replayed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::model::Unit;

/// A job's head and its entries; also the form of a case file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct CaseFile {
    /// A title.
    pub case: String,
    /// The device.
    #[serde(default, skip_serializing_if = "is_default")]
    pub device: Unit,
    /// What the customer said.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub complaint: String,
    /// Symptoms recognised and confirmed. Without them the complaint is read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub symptoms: Vec<String>,
    /// History questions answered with yes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub history: Vec<String>,
    /// What the repair may cost before the customer is asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// The meter on the bench, by its name in the rules; without it their first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meter: Option<String>,
    /// What was done, in order.
    #[serde(default)]
    pub steps: Vec<Entry>,
    /// How the job ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<Closing>,
    /// The true fault or faults, where they are known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub truth: Vec<String>,
}

/// Most characters of a complaint: a page. What is heard in it is looked for
/// again at every step.
pub const LONGEST_COMPLAINT: usize = 2_000;
/// Most characters of a model, a serial number and other names.
pub const LONGEST_NAME: usize = 500;
/// Most characters of any other text of a job.
pub const LONGEST_TEXT: usize = 10_000;
/// Most entries of a job: each is worked out anew with all before it.
pub const MOST_ENTRIES: usize = 400;

impl CaseFile {
    /// The job with its first `n` entries only.
    #[must_use]
    pub fn up_to(&self, n: usize) -> CaseFile {
        CaseFile {
            steps: self.steps[..n].to_vec(),
            ..self.clone()
        }
    }

    /// The job as it was taken in: without entries, and open.
    #[must_use]
    pub fn head(&self) -> CaseFile {
        CaseFile {
            closed: None,
            ..self.up_to(0)
        }
    }

    /// What of it is more than a job takes, with what to do.
    pub fn too_much(&self) -> Option<String> {
        self.head_too_much().or_else(|| self.entries_too_much())
    }

    fn head_too_much(&self) -> Option<String> {
        if longer(&self.complaint, LONGEST_COMPLAINT) {
            return Some(format!(
                "the complaint is longer than {LONGEST_COMPLAINT} characters; keep what the \
                 customer says is wrong, and put the rest into a remark"
            ));
        }
        let device = &self.device;
        let names = [&device.model, &device.variant, &device.serial, &self.meter];
        let lists = self.symptoms.iter().chain(&self.history).chain(&self.truth);
        if longer(&self.case, LONGEST_TEXT) {
            return Some(format!(
                "the title is longer than {LONGEST_TEXT} characters"
            ));
        }
        if let Some(why) = self.closed.as_ref().and_then(Closing::too_much) {
            return Some(why);
        }
        let names = names.into_iter().flatten().chain([&device.kind]);
        let long = names.chain(lists).find(|t| longer(t, LONGEST_NAME))?;
        let begins: String = long.chars().take(20).collect();
        Some(format!(
            "the name that begins with `{begins}` is longer than {LONGEST_NAME} characters"
        ))
    }

    /// What of its entries is more than a job takes.
    pub(crate) fn entries_too_much(&self) -> Option<String> {
        if self.steps.len() > MOST_ENTRIES {
            return Some(format!(
                "a job takes {MOST_ENTRIES} entries; close it, and open another one for what is \
                 still to be done"
            ));
        }
        let long = |e: &Entry| e.texts().iter().any(|t| longer(t, LONGEST_TEXT));
        let at = self.steps.iter().position(long)?;
        Some(format!(
            "entry {} has a text of more than {LONGEST_TEXT} characters; split it, or keep it in \
             a file and name the file",
            at + 1
        ))
    }
}

fn longer(text: &str, most: usize) -> bool {
    text.chars().nth(most).is_some()
}

fn is_default<T: Default + PartialEq>(t: &T) -> bool {
    *t == T::default()
}

/// One entry of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Entry {
    /// A test was done.
    Result(Shown),
    /// A remedy was done.
    Remedy(Did),
    /// A remark.
    Note(String),
    /// A test could not be done.
    Cannot(Cannot),
    /// A test was done and its result is unclear.
    Unclear(Unclear),
    /// What a good board of the same model reads in a test: no evidence on this
    /// device, but what its reading is compared with.
    Reference(Reference),
    /// Another meter was taken, by its name in the rules: what is read from
    /// here on is read with it.
    Meter(String),
    /// A history question answered with yes while the job is open, by its name in
    /// the rules: it holds for all that was entered, before it too.
    History(String),
    /// A result was measured again at the same points, and it is the same.
    Sure(Sure),
    /// An earlier entry should have been another, or none. Both are kept; what
    /// counts is the corrected one, at the place of the first.
    Correct(Correction),
}

impl Entry {
    /// The test or remedy that it names, if it is about one by name.
    pub(super) fn test(&self) -> Option<&str> {
        match self {
            Entry::Result(r) => Some(&r.test),
            Entry::Cannot(c) => Some(&c.test),
            Entry::Unclear(u) => Some(&u.test),
            Entry::Reference(r) => Some(&r.test),
            Entry::Remedy(_)
            | Entry::Note(_)
            | Entry::Meter(_)
            | Entry::History(_)
            | Entry::Sure(_)
            | Entry::Correct(_) => None,
        }
    }

    /// Every text of it.
    fn texts(&self) -> Vec<&str> {
        fn note(n: &Option<String>) -> &str {
            n.as_deref().unwrap_or_default()
        }
        match self {
            Entry::Result(r) => vec![&r.test, &r.shows, note(&r.note)],
            Entry::Remedy(d) => vec![&d.did, note(&d.note)],
            Entry::Note(text) | Entry::Meter(text) | Entry::History(text) => vec![text],
            Entry::Cannot(c) => vec![&c.test, &c.why],
            Entry::Unclear(u) => vec![&u.test, note(&u.note)],
            Entry::Reference(r) => vec![&r.test, &r.reads, &r.from, note(&r.meter)],
            Entry::Sure(s) => vec![note(&s.note)],
            Entry::Correct(c) => vec![note(&c.to), note(&c.note)],
        }
    }
}

/// A test with what it showed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Shown {
    /// The test.
    pub test: String,
    /// The outcome in a word, or a measured value with its unit.
    pub shows: String,
    /// It was read as the device stood, without bringing it into the bench
    /// conditions of the test.
    #[serde(default, skip_serializing_if = "is_default")]
    pub as_it_stands: bool,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// What a good board of the same model and variant reads in a test.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Reference {
    /// The test.
    pub test: String,
    /// What it reads, with its unit.
    pub reads: String,
    /// Whose board it was, or where it was read.
    pub from: String,
    /// The meter it was read with; without it, the one in use then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meter: Option<String>,
}

/// A remedy that was done.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Did {
    /// The remedy.
    pub did: String,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A test that could not be done.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Cannot {
    /// The test or remedy.
    pub test: String,
    /// Why not.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
}

/// A test whose result is unclear.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Unclear {
    /// The test.
    pub test: String,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A result that was measured again and came out the same.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Sure {
    /// The entry of the result, from 1.
    pub entry: usize,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// What an earlier entry should have been.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Correction {
    /// The entry, from 1.
    pub entry: usize,
    /// What it should have said: the result of the test, the remedy that was
    /// done, the text of the remark. Without it the entry never was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// How a job ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Closing {
    /// In which way.
    pub state: ClosingState,
    /// Why, in a sentence.
    #[serde(default)]
    pub reason: String,
}

impl Closing {
    /// What of it is more than a job takes.
    pub(crate) fn too_much(&self) -> Option<String> {
        longer(&self.reason, LONGEST_TEXT)
            .then(|| format!("the reason is longer than {LONGEST_TEXT} characters"))
    }
}

/// The ways in which a job ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum ClosingState {
    /// Mended and retested.
    Mended,
    /// Not mended.
    NotMended,
    /// No fault found.
    NoFaultFound,
    /// Not worth mending.
    NotWorthIt,
}

impl ClosingState {
    /// All ways, with the words used in commands and on screens.
    pub const ALL: [(&'static str, ClosingState); 4] = [
        ("mended", ClosingState::Mended),
        ("not-mended", ClosingState::NotMended),
        ("no-fault-found", ClosingState::NoFaultFound),
        ("not-worth-it", ClosingState::NotWorthIt),
    ];
    /// The word.
    pub fn word(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(_, s)| *s == self)
            .map_or("", |(w, _)| w)
    }
}
