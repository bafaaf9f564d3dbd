//! Jobs and rounds of the drill on disk: one SQLite file of append-only events.
//!
//! Durability: every append is one transaction with a rollback journal and full
//! synchronisation, so what has been confirmed survives a power cut or a kill,
//! and the one file is the whole store after each ([`open`]).
//! Concurrency: two processes may work on one store, and even on one job; an
//! append names the event it follows, and is refused if another came between.
//! Compatibility: `user_version` counts migrations; a store written by a newer
//! program is refused before anything is read or changed.
//!
//! [`Log`] is what a desk asks of a store; [`Store`] is the one behind it here,
//! which lists jobs and keeps rounds as well.
mod clock;
mod error;
mod log;
mod migrations;
mod open;
mod record;
mod rounds;
mod under;

pub use clock::Clock;
pub use error::StoreError;
pub use log::Log;
use record::Row;
pub use record::{Event, Listed, Logged, Record};
pub use under::UnderRules;

use std::path::{Path, PathBuf};

use rusqlite::{Connection, TransactionBehavior, params};

use crate::job::trail::Moment;
use crate::job::{CaseFile, Entry};
use crate::model::Unit;
use crate::rulebase::DEVICE_KINDS;

/// A store that is open.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    path: PathBuf,
    /// The form of the file: how many migrations it has seen.
    version: i64,
    /// What events are dated by.
    clock: Clock,
    /// The copy that is read in place of a file that waits for its recovery.
    _copy: Option<tempfile::TempDir>,
}

impl Store {
    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The same store with its events dated by another clock than the machine's.
    #[must_use]
    pub fn with_clock(self, clock: Clock) -> Store {
        Store { clock, ..self }
    }

    /// The same file opened once more to write, by the same clock.
    ///
    /// # Errors
    /// As for [`Store::open_existing`].
    pub fn again(&self) -> Result<Store, StoreError> {
        Ok(Store::open_existing(&self.path)?.with_clock(self.clock.clone()))
    }

    fn put_job(
        &mut self,
        file: &CaseFile,
        shown: &[Moment],
        rules: &UnderRules,
    ) -> Result<i64, StoreError> {
        let now = self.clock.now();
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        tx.execute(
            "INSERT INTO job (uid, title, device, serial, complaint, state, cause, opened, changed)
             VALUES (?1, ?2, ?3, ?4, ?5, 'open', '', ?6, ?6)",
            params![
                ulid::Ulid::generate().to_string(),
                file.case,
                file.device
                    .model
                    .clone()
                    .unwrap_or_else(|| file.device.kind.clone()),
                file.device.serial.clone().unwrap_or_default(),
                file.complaint,
                now
            ],
        )?;
        let id = tx.last_insert_rowid();
        let mut moments = shown.iter();
        for (seq, event) in (0..).zip(Logged::beginning(file)) {
            let moment = match &event {
                Logged::Closed(_) => None,
                _ => moments.next(),
            };
            insert(&tx, id, seq, &now, &event, moment, rules)?;
        }
        if let Some(c) = &file.closed {
            tx.execute(
                "UPDATE job SET state = ?2, cause = ?3 WHERE id = ?1",
                params![id, c.state.word(), c.reason],
            )?;
        } else if let Some(m) = shown.last() {
            tx.execute(
                "UPDATE job SET cause = ?2 WHERE id = ?1",
                params![id, cause(m)],
            )?;
        }
        tx.commit()?;
        Ok(id)
    }

    fn put(
        &mut self,
        job: i64,
        last: i64,
        event: &Logged,
        shown: Option<&Moment>,
        rules: &UnderRules,
    ) -> Result<i64, StoreError> {
        let now = self.clock.now();
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        if newest(&tx, job)? != last {
            return Err(StoreError::Changed(job));
        }
        insert(&tx, job, last + 1, &now, event, shown, rules)?;
        let state = match event {
            Logged::Closed(c) => Some(c.state.word()),
            Logged::Reopened => Some("open"),
            _ => None,
        };
        let cause = match event {
            Logged::Closed(c) => Some(c.reason.clone()),
            _ => shown.map(cause),
        };
        tx.execute(
            "UPDATE job SET changed = ?2, state = coalesce(?3, state), cause = coalesce(?4, cause)
             WHERE id = ?1",
            params![job, now, state, cause],
        )?;
        tx.commit()?;
        Ok(last + 1)
    }

    /// Reads what can be read of a job. An entry that cannot be read is a remark
    /// that says so: later entries name earlier ones by their number.
    ///
    /// # Errors
    /// If there is no such job or the store fails.
    pub fn salvage(&self, job: i64) -> Result<(Record, Vec<StoreError>), StoreError> {
        let mut record = Record::before(job);
        let mut lost = Vec::new();
        for row in self.rows(job, 0)? {
            let event = row.clone().read(job).unwrap_or_else(|why| {
                lost.push(why);
                let what = match row.event() {
                    // The moment alone was lost.
                    Ok(what) => what,
                    Err(_) if row.seq == 0 => Logged::Opened(Box::new(self.head(job))),
                    Err(_) => Logged::Entered(Entry::Note(format!(
                        "(This entry could not be read: event {} of job {job}.)",
                        row.seq
                    ))),
                };
                row.with(what, Moment::default())
            });
            record.add(event);
        }
        Ok((record, lost))
    }

    /// The head of a job as the list has it.
    fn head(&self, job: i64) -> CaseFile {
        let listed = self.list(&[], None).unwrap_or_default();
        let Some(l) = listed.into_iter().find(|l| l.job == job) else {
            return CaseFile::default();
        };
        let filled = |s: String| Some(s).filter(|s| !s.is_empty());
        // The list has the model, or the kind where no model is known.
        let is_kind = DEVICE_KINDS.contains(&l.device.as_str());
        CaseFile {
            case: l.title,
            device: Unit {
                kind: filled(l.device.clone())
                    .filter(|_| is_kind)
                    .unwrap_or_default(),
                model: filled(l.device).filter(|_| !is_kind),
                serial: filled(l.serial),
                ..Unit::default()
            },
            complaint: l.complaint,
            ..CaseFile::default()
        }
    }

    /// The events of a job from one on, as they lie there.
    fn rows(&self, job: i64, from: i64) -> Result<Vec<Row>, StoreError> {
        if self.version == 0 {
            return Err(StoreError::NoJob(job));
        }
        let mut q = self.db.prepare(
            "SELECT seq, at, body, shown, rules FROM event WHERE job = ?1 AND seq >= ?2
             ORDER BY seq",
        )?;
        let rows = q.query_map(params![job, from], |r| {
            let text = |at| r.get::<_, String>(at).map_err(|e| e.to_string());
            Ok(Row {
                seq: r.get(0)?,
                at: text(1).unwrap_or_default(),
                body: text(2),
                shown: match r.get_ref(3)? {
                    rusqlite::types::ValueRef::Null => Ok(None),
                    _ => text(3).map(Some),
                },
                rules: UnderRules::from(text(4).unwrap_or_default().as_str()),
            })
        })?;
        let log = rows.collect::<Result<Vec<Row>, _>>()?;
        if log.is_empty() && from == 0 {
            return Err(StoreError::NoJob(job));
        }
        Ok(log)
    }

    /// Jobs that hold every word of the search, the latest first.
    ///
    /// # Errors
    /// If the store fails.
    pub fn list(&self, words: &[String], state: Option<&str>) -> Result<Vec<Listed>, StoreError> {
        if self.version == 0 {
            return Ok(Vec::new());
        }
        let mut q = self.db.prepare(
            "SELECT id, title, device, serial, complaint, state, cause, opened, changed
             FROM job WHERE ?1 IS NULL OR state = ?1 ORDER BY id DESC",
        )?;
        let rows = q.query_map(params![state], |r| {
            Ok(Listed {
                job: r.get(0)?,
                title: r.get(1)?,
                device: r.get(2)?,
                serial: r.get(3)?,
                complaint: r.get(4)?,
                state: r.get(5)?,
                cause: r.get(6)?,
                opened: r.get(7)?,
                changed: r.get(8)?,
            })
        })?;
        let mut out = Vec::new();
        for row in rows {
            let l = row?;
            let all = format!(
                "{} {} {} {} {} {} {}",
                l.job, l.title, l.device, l.serial, l.complaint, l.state, l.cause
            )
            .to_lowercase();
            if words.iter().all(|w| all.contains(&w.to_lowercase())) {
                out.push(l);
            }
        }
        Ok(out)
    }

    /// Earlier jobs of one unit, by its serial number.
    ///
    /// # Errors
    /// If the store fails.
    pub fn of_serial(&self, serial: &str) -> Result<Vec<Listed>, StoreError> {
        Ok(self
            .list(&[], None)?
            .into_iter()
            .filter(|l| !serial.is_empty() && l.serial.eq_ignore_ascii_case(serial.trim()))
            .collect())
    }
}

impl Log for Store {
    fn create(
        &mut self,
        file: &CaseFile,
        shown: &[Moment],
        rules: &UnderRules,
    ) -> Result<i64, StoreError> {
        let path = self.path.clone();
        self.put_job(file, shown, rules)
            .map_err(|e| e.of_writing(&path))
    }

    fn append(
        &mut self,
        job: i64,
        last: i64,
        event: &Logged,
        shown: Option<&Moment>,
        rules: &UnderRules,
    ) -> Result<i64, StoreError> {
        let path = self.path.clone();
        self.put(job, last, event, shown, rules)
            .map_err(|e| e.of_writing(&path))
    }

    fn since(&self, job: i64, from: i64) -> Result<Vec<Event>, StoreError> {
        let rows = self.rows(job, from)?.into_iter();
        rows.map(|row| row.read(job)).collect()
    }

    fn newest(&self, job: i64) -> Result<i64, StoreError> {
        newest(&self.db, job)
    }
}

/// Number of the newest event of a job.
fn newest(db: &Connection, job: i64) -> Result<i64, StoreError> {
    let newest: Option<i64> = db.query_row(
        "SELECT max(seq) FROM event WHERE job = ?1",
        params![job],
        |r| r.get(0),
    )?;
    newest.ok_or(StoreError::NoJob(job))
}

fn insert(
    tx: &rusqlite::Transaction,
    job: i64,
    seq: i64,
    at: &str,
    event: &Logged,
    shown: Option<&Moment>,
    rules: &UnderRules,
) -> Result<(), StoreError> {
    let json = |e: serde_json::Error| StoreError::Damaged {
        job,
        seq,
        why: e.to_string(),
    };
    let body = serde_json::to_string(event).map_err(json)?;
    let shown = shown.map(serde_json::to_string).transpose().map_err(json)?;
    tx.execute(
        "INSERT INTO event (job, seq, at, body, shown, rules) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![job, seq, at, body, shown, rules.to_string()],
    )?;
    Ok(())
}

/// The leading suspect, for the list of jobs.
fn cause(m: &Moment) -> String {
    m.suspects
        .first()
        .filter(|s| s.posterior > m.nothing_found)
        .map_or_else(|| "nothing wrong".to_owned(), |s| s.name.clone())
}
