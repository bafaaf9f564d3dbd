//! A job and its events as the store has them.

use serde::{Deserialize, Serialize};

use super::error::StoreError;
use super::under::UnderRules;
use crate::job::trail::Moment;
use crate::job::{CaseFile, Closing, Entry};

/// One event of a job's log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Logged {
    /// The job was opened, with its head (and entries, if imported).
    Opened(Box<CaseFile>),
    /// Something was entered.
    Entered(Entry),
    /// The last entry still standing was taken back.
    TakenBack,
    /// The job was closed.
    Closed(Closing),
    /// The job was opened again.
    Reopened,
}

impl Logged {
    /// What a job begins with: its head, each entry that it brings along, and how
    /// it was closed.
    pub fn beginning(file: &CaseFile) -> Vec<Logged> {
        let head = Logged::Opened(Box::new(file.head()));
        let entries = file.steps.iter().cloned().map(Logged::Entered);
        let closed = file.closed.clone().map(Logged::Closed);
        std::iter::once(head).chain(entries).chain(closed).collect()
    }
}

/// One event of a job as a log keeps it.
#[derive(Clone, Debug)]
pub struct Event {
    /// Its number, from 0.
    pub seq: i64,
    /// When it came (RFC 3339).
    pub at: String,
    /// What was done.
    pub what: Logged,
    /// What was shown then; empty where nothing was kept of it.
    pub shown: Moment,
    /// The rules then.
    pub rules: UnderRules,
}

/// A job as it stands, folded from its log.
#[derive(Clone, Debug, Default)]
pub struct Record {
    /// Number in this store.
    pub id: i64,
    /// The job.
    pub file: CaseFile,
    /// Number of the last event.
    pub last: i64,
    /// When it was opened (RFC 3339).
    pub opened: String,
    /// When it was closed.
    pub closed_at: Option<String>,
    /// What was shown at intake.
    pub intake: Moment,
    /// For each entry: when, what was shown, and under which rules.
    pub shown: Vec<(String, Moment, UnderRules)>,
    /// The rules at intake.
    pub intake_rules: UnderRules,
}

/// A line of the list of jobs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Listed {
    /// Number.
    pub job: i64,
    /// Title.
    pub title: String,
    /// Model or kind.
    pub device: String,
    /// Serial number.
    pub serial: String,
    /// What the customer said.
    pub complaint: String,
    /// open, mended, not-mended, no-fault-found, not-worth-it.
    pub state: String,
    /// Why it was closed; while it is open, the leading suspect.
    pub cause: String,
    /// When it was opened.
    pub opened: String,
    /// When it was last changed.
    pub changed: String,
}

/// One event as it lies in the store: its texts, or why they are none.
#[derive(Clone)]
pub(super) struct Row {
    pub(super) seq: i64,
    pub(super) at: String,
    pub(super) body: Result<String, String>,
    pub(super) shown: Result<Option<String>, String>,
    pub(super) rules: UnderRules,
}

impl Row {
    pub(super) fn event(&self) -> Result<Logged, String> {
        let body = self.body.as_ref().map_err(String::clone)?;
        serde_json::from_str(body).map_err(|e| e.to_string())
    }

    fn moment(&self) -> Result<Moment, String> {
        match self.shown.as_ref().map_err(String::clone)? {
            Some(shown) => serde_json::from_str(shown).map_err(|e| e.to_string()),
            None => Ok(Moment::default()),
        }
    }

    pub(super) fn read(self, job: i64) -> Result<Event, StoreError> {
        let both = self.event().and_then(|e| Ok((e, self.moment()?)));
        let (what, shown) = both.map_err(|why| StoreError::Damaged {
            job,
            seq: self.seq,
            why,
        })?;
        Ok(self.with(what, shown))
    }

    /// The event of this row where its texts are known.
    pub(super) fn with(self, what: Logged, shown: Moment) -> Event {
        Event {
            seq: self.seq,
            at: self.at,
            what,
            shown,
            rules: self.rules,
        }
    }
}

impl Record {
    /// A job before its first event.
    pub fn before(job: i64) -> Record {
        Record {
            id: job,
            last: -1,
            ..Record::default()
        }
    }

    /// Folds the next event in.
    pub fn add(&mut self, event: Event) {
        let Event {
            seq,
            at,
            what,
            shown,
            rules,
        } = event;
        match what {
            Logged::Opened(file) => {
                self.file = *file;
                self.opened = at;
                self.intake = shown;
                self.intake_rules = rules;
            }
            Logged::Entered(e) => {
                self.file.steps.push(e);
                self.shown.push((at, shown, rules));
            }
            Logged::TakenBack => {
                self.file.steps.pop();
                self.shown.pop();
            }
            Logged::Closed(c) => {
                self.file.closed = Some(c);
                self.closed_at = Some(at);
            }
            Logged::Reopened => {
                self.file.closed = None;
                self.closed_at = None;
            }
        }
        self.last = seq;
    }
}
