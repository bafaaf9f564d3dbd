//! A job and its events as the store has them.

use serde::{Deserialize, Serialize};

use super::error::StoreError;
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
    /// For each entry: when, what was shown, and the rules' fingerprint.
    pub shown: Vec<(String, Moment, String)>,
    /// Fingerprint of the rules at intake.
    pub intake_rules: String,
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
pub(super) struct Row {
    pub(super) seq: i64,
    pub(super) at: String,
    pub(super) body: Result<String, String>,
    pub(super) shown: Result<Option<String>, String>,
    pub(super) rules: String,
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

    pub(super) fn read(&self, job: i64) -> Result<(Logged, Moment), StoreError> {
        let both = self.event().and_then(|e| Ok((e, self.moment()?)));
        both.map_err(|why| StoreError::Damaged {
            job,
            seq: self.seq,
            why,
        })
    }
}

impl Record {
    /// A job before its first event.
    pub(super) fn before(job: i64) -> Record {
        Record {
            id: job,
            last: -1,
            ..Record::default()
        }
    }

    /// Folds one more event in.
    pub(super) fn add(
        &mut self,
        seq: i64,
        at: String,
        event: Logged,
        moment: Moment,
        rules: String,
    ) {
        match event {
            Logged::Opened(file) => {
                self.file = *file;
                self.opened = at;
                self.intake = moment;
                self.intake_rules = rules;
            }
            Logged::Entered(e) => {
                self.file.steps.push(e);
                self.shown.push((at, moment, rules));
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
