//! Why the store cannot do what it is asked.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

/// Why the store could not do something.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The file or its folder cannot be used.
    #[error("cannot use the store {}: {why}", .path.display())]
    Place {
        /// The file.
        path: PathBuf,
        /// What stands in the way.
        why: String,
    },
    /// There is none.
    #[error("there is no store {}; nothing was created. Check the path", .0.display())]
    Absent(PathBuf),
    /// It can be read but not written.
    #[error(
        "the store {} is read-only: its jobs can be shown, printed and exported, but nothing can \
         be entered. Give the file and its folder back the right to be written",
        .0.display()
    )]
    ReadOnly(PathBuf),
    /// No room left.
    #[error(
        "the disk is full, or it fails: this was not entered; all that was confirmed before is \
         kept. Make room, then type it again"
    )]
    Full,
    /// Written by a newer program.
    #[error(
        "the store {} was written by a newer halfsplit (its form is {found}, this program \
         knows {known}); nothing was changed — update this program, or use another store",
        .path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The newest version known here.
        known: i64,
    },
    /// Another program's database.
    #[error("{} is a database of another program; give another file", .0.display())]
    Foreign(PathBuf),
    /// No such job.
    #[error("there is no job {0} in this store; `halfsplit jobs` lists them")]
    NoJob(i64),
    /// Another process changed the job.
    #[error("job {0} was changed by somebody else meanwhile; look at it again and repeat")]
    Changed(i64),
    /// No such round of the drill.
    #[error("there is no round {0} in this store; `halfsplit drill --table` tells who has worked")]
    NoRound(i64),
    /// Another process went on with the round.
    #[error("round {0} was gone on with by somebody else meanwhile; take it up again")]
    RoundChanged(i64),
    /// A stored round cannot be read.
    #[error("round {round}, event {seq} cannot be read: {why}")]
    DamagedRound {
        /// The round.
        round: i64,
        /// The event.
        seq: i64,
        /// Why.
        why: String,
    },
    /// SQLite failed.
    #[error("the store failed: {0}")]
    Sql(rusqlite::Error),
    /// A stored text cannot be read.
    #[error(
        "job {job}, event {seq} cannot be read: {why}; `halfsplit export {job} FILE` writes all \
         the rest"
    )]
    Damaged {
        /// The job.
        job: i64,
        /// The event.
        seq: i64,
        /// Why.
        why: String,
    },
}

impl StoreError {
    /// What it means for an entry: without the right to put a journal beside the
    /// store SQLite cannot open it.
    pub(super) fn of_writing(self, path: &Path) -> Self {
        let code = match &self {
            StoreError::Sql(e) => e.sqlite_error_code(),
            _ => None,
        };
        match code {
            Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly) => {
                StoreError::ReadOnly(path.to_owned())
            }
            Some(ErrorCode::SystemIoFailure) => StoreError::Full,
            _ => self,
        }
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(e: rusqlite::Error) -> Self {
        match e.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => StoreError::Full,
            _ => StoreError::Sql(e),
        }
    }
}
