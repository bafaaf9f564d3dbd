//! What a desk needs of a store, whatever keeps the events.

use super::error::StoreError;
use super::record::{Event, Logged, Record};
use super::under::UnderRules;
use crate::job::CaseFile;
use crate::job::trail::Moment;

/// A place where jobs are kept as events that are only ever appended.
///
/// Several desks may work on one log, and even on one job: an append names the
/// event that it follows, and is refused if another came between.
pub trait Log: std::fmt::Debug + Send {
    /// Opens a job and gives its number. `shown` is what was shown before the
    /// first entry of the file and after each of them.
    ///
    /// # Errors
    /// If the store fails; nothing is kept then.
    fn create(
        &mut self,
        file: &CaseFile,
        shown: &[Moment],
        rules: &UnderRules,
    ) -> Result<i64, StoreError>;

    /// Appends an event after event number `last`; its number is returned. It is
    /// durable then.
    ///
    /// # Errors
    /// [`StoreError::Changed`] if the job has gone on meanwhile.
    fn append(
        &mut self,
        job: i64,
        last: i64,
        event: &Logged,
        shown: Option<&Moment>,
        rules: &UnderRules,
    ) -> Result<i64, StoreError>;

    /// The events of a job from number `from` on, in order; none is no failure
    /// unless `from` is 0.
    ///
    /// # Errors
    /// If there is no such job or an event cannot be read.
    fn since(&self, job: i64, from: i64) -> Result<Vec<Event>, StoreError>;

    /// Number of the newest event of a job.
    ///
    /// # Errors
    /// If there is no such job or the store fails.
    fn newest(&self, job: i64) -> Result<i64, StoreError>;

    /// Reads a job.
    ///
    /// # Errors
    /// If there is no such job or its log cannot be read.
    fn load(&self, job: i64) -> Result<Record, StoreError> {
        let mut record = Record::before(job);
        for event in self.since(job, 0)? {
            record.add(event);
        }
        Ok(record)
    }

    /// Takes up what came to a job since it was read; gives the events.
    ///
    /// # Errors
    /// If its log cannot be read; the record is as it was then.
    fn read_on(&self, record: &mut Record) -> Result<Vec<Logged>, StoreError> {
        let mut came = Vec::new();
        for event in self.since(record.id, record.last + 1)? {
            came.push(event.what.clone());
            record.add(event);
        }
        Ok(came)
    }
}
