//! Why an action was refused.

use thiserror::Error;

use crate::job::CaseError;
use crate::store::StoreError;

/// Why an action was refused; nothing was changed.
#[derive(Debug, Error)]
pub enum DeskError {
    /// The entry does not fit the rules.
    #[error(transparent)]
    Case(#[from] CaseError),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Nothing to take back.
    #[error("there is nothing to take back")]
    NothingEntered,
    /// Nothing to confirm.
    #[error("no result was entered that could be measured again")]
    NoResult,
    /// The job is closed.
    #[error("job {0} is closed; open it again first (`halfsplit job reopen {0}`)")]
    IsClosed(i64),
    /// It is open.
    #[error("job {0} is open already")]
    IsOpen(i64),
    /// Not proved yet.
    #[error("not proved yet: {0}")]
    NotProved(String),
    /// A reason is missing.
    #[error("a reason is needed: a sentence that a colleague will understand in a month")]
    NoReason,
    /// More than a job takes.
    #[error("{0}")]
    TooMuch(String),
    /// An entry does not fit the rules of today.
    #[error("entry {entry} does not fit the rules: {why}")]
    Entry {
        /// From 1.
        entry: usize,
        /// Why.
        why: CaseError,
    },
}
