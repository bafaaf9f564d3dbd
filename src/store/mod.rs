//! Jobs and rounds of the drill on disk: one SQLite file of append-only events.
//!
//! Durability: every append is one transaction in a write-ahead log with full
//! synchronisation, so what has been confirmed survives a power cut or a kill.
//! Concurrency: two processes may work on one store, and even on one job; an
//! append names the event it follows, and is refused if another came between.
//! Compatibility: `user_version` counts migrations; a store written by a newer
//! program is refused before anything is read or changed.
mod migrations;
mod rounds;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::{Connection, ErrorCode, OptionalExtension, TransactionBehavior, params};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::job::trail::Moment;
use crate::job::{CaseFile, Closing, Entry};

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
    Sql(#[from] rusqlite::Error),
    /// A stored text cannot be read.
    #[error("job {job}, event {seq} cannot be read: {why}")]
    Damaged {
        /// The job.
        job: i64,
        /// The event.
        seq: i64,
        /// Why.
        why: String,
    },
}

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

/// A store that is open.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    path: PathBuf,
}

/// How long to wait for another process that is writing.
const PATIENCE: Duration = Duration::from_secs(10);

/// Marks the file as ours (`PRAGMA application_id`): "hspl".
const APPLICATION: i64 = 0x6873_706c;

impl Store {
    /// The place given by option or environment, else the platform's data folder.
    ///
    /// # Errors
    /// If there is no home folder.
    pub fn place(option: Option<&Path>) -> Result<PathBuf, StoreError> {
        if let Some(p) = option {
            return Ok(p.to_owned());
        }
        if let Some(p) = std::env::var_os("HALFSPLIT_STORE").filter(|p| !p.is_empty()) {
            return Ok(p.into());
        }
        use etcetera::BaseStrategy;
        etcetera::choose_base_strategy()
            .map(|s| s.data_dir().join("halfsplit").join("jobs.sqlite"))
            .map_err(|e| StoreError::Place {
                path: PathBuf::from("jobs.sqlite"),
                why: format!("{e}; give the place with --store FILE"),
            })
    }

    /// Opens a store, making it if it is not there.
    ///
    /// # Errors
    /// If the file cannot be used, belongs to another program or is newer.
    pub fn open(path: &Path) -> Result<Store, StoreError> {
        let place = |why: String| StoreError::Place {
            path: path.to_owned(),
            why,
        };
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|e| place(e.to_string()))?;
        }
        let mut db = Connection::open(path).map_err(|e| place(e.to_string()))?;
        db.busy_timeout(PATIENCE)?;
        let until = Instant::now() + PATIENCE;
        loop {
            match Self::prepare(&mut db, path) {
                // While the file is being made, SQLite does not wait by itself.
                Err(StoreError::Sql(e))
                    if e.sqlite_error_code() == Some(ErrorCode::DatabaseBusy)
                        && Instant::now() < until =>
                {
                    std::thread::sleep(Duration::from_millis(10));
                }
                Err(StoreError::Sql(e)) => return Err(place(e.to_string())),
                done => break done?,
            }
        }
        Ok(Store {
            db,
            path: path.to_owned(),
        })
    }

    /// Looks whose file it is, and brings it to the newest form.
    fn prepare(db: &mut Connection, path: &Path) -> Result<(), StoreError> {
        // One statement, so that another process that is just making the
        // store is seen either before or after.
        let (version, application, tables): (i64, i64, i64) = db.query_row(
            "SELECT user_version, application_id, (SELECT count(*) FROM sqlite_master)
             FROM pragma_user_version, pragma_application_id",
            [],
            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)),
        )?;
        if application != APPLICATION && (tables > 0 || application != 0) {
            return Err(StoreError::Foreign(path.to_owned()));
        }
        let known = migrations::ALL.len() as i64;
        if version > known {
            return Err(StoreError::Newer {
                path: path.to_owned(),
                found: version,
                known,
            });
        }
        db.pragma_update(None, "journal_mode", "WAL")?;
        db.pragma_update(None, "synchronous", "FULL")?;
        db.pragma_update(None, "foreign_keys", "ON")?;
        Ok(migrations::migrate(db, APPLICATION)?)
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Opens a job and gives its number.
    ///
    /// # Errors
    /// If the store fails.
    pub fn create(
        &mut self,
        file: &CaseFile,
        shown: &[(Moment, String)],
        rules: &str,
    ) -> Result<i64, StoreError> {
        let now = now();
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let head = CaseFile {
            steps: Vec::new(),
            closed: None,
            ..file.clone()
        };
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
        let mut seq = 0;
        let mut put = |event: &Logged| -> Result<(), StoreError> {
            let moment = match event {
                Logged::Opened(_) | Logged::Entered(_) => moments.next(),
                _ => None,
            };
            insert(&tx, id, seq, &now, event, moment.map(|m| &m.0), rules)?;
            seq += 1;
            Ok(())
        };
        put(&Logged::Opened(Box::new(head)))?;
        for e in &file.steps {
            put(&Logged::Entered(e.clone()))?;
        }
        if let Some(c) = &file.closed {
            put(&Logged::Closed(c.clone()))?;
            tx.execute(
                "UPDATE job SET state = ?2, cause = ?3 WHERE id = ?1",
                params![id, c.state.word(), c.reason],
            )?;
        } else if let Some((m, _)) = shown.last() {
            tx.execute(
                "UPDATE job SET cause = ?2 WHERE id = ?1",
                params![id, cause(m)],
            )?;
        }
        tx.commit()?;
        Ok(id)
    }

    /// Appends an event after event number `last`; its number is returned.
    ///
    /// # Errors
    /// [`StoreError::Changed`] if the job has gone on meanwhile.
    pub fn append(
        &mut self,
        job: i64,
        last: i64,
        event: &Logged,
        shown: Option<&Moment>,
        rules: &str,
    ) -> Result<i64, StoreError> {
        let now = now();
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let newest: Option<i64> = tx
            .query_row(
                "SELECT max(seq) FROM event WHERE job = ?1",
                params![job],
                |r| r.get(0),
            )
            .optional()?
            .flatten();
        match newest {
            None => return Err(StoreError::NoJob(job)),
            Some(n) if n != last => return Err(StoreError::Changed(job)),
            Some(_) => {}
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

    /// Reads a job.
    ///
    /// # Errors
    /// If there is no such job or its log cannot be read.
    pub fn load(&self, job: i64) -> Result<Record, StoreError> {
        let mut q = self
            .db
            .prepare("SELECT seq, at, body, shown, rules FROM event WHERE job = ?1 ORDER BY seq")?;
        let mut rows = q.query(params![job])?;
        let mut record = Record {
            id: job,
            last: -1,
            ..Record::default()
        };
        while let Some(r) = rows.next()? {
            let seq: i64 = r.get(0)?;
            let at: String = r.get(1)?;
            let body: String = r.get(2)?;
            let shown: Option<String> = r.get(3)?;
            let rules: String = r.get(4)?;
            let damaged = |e: serde_json::Error| StoreError::Damaged {
                job,
                seq,
                why: e.to_string(),
            };
            let event: Logged = serde_json::from_str(&body).map_err(damaged)?;
            let moment: Moment = match shown {
                Some(s) => serde_json::from_str(&s).map_err(damaged)?,
                None => Moment::default(),
            };
            match event {
                Logged::Opened(file) => {
                    record.file = *file;
                    record.opened = at;
                    record.intake = moment;
                    record.intake_rules = rules;
                }
                Logged::Entered(e) => {
                    record.file.steps.push(e);
                    record.shown.push((at, moment, rules));
                }
                Logged::TakenBack => {
                    record.file.steps.pop();
                    record.shown.pop();
                }
                Logged::Closed(c) => {
                    record.file.closed = Some(c);
                    record.closed_at = Some(at);
                }
                Logged::Reopened => {
                    record.file.closed = None;
                    record.closed_at = None;
                }
            }
            record.last = seq;
        }
        if record.last < 0 {
            return Err(StoreError::NoJob(job));
        }
        Ok(record)
    }

    /// Jobs that hold every word of the search, the latest first.
    ///
    /// # Errors
    /// If the store fails.
    pub fn list(&self, words: &[String], state: Option<&str>) -> Result<Vec<Listed>, StoreError> {
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

fn insert(
    tx: &rusqlite::Transaction,
    job: i64,
    seq: i64,
    at: &str,
    event: &Logged,
    shown: Option<&Moment>,
    rules: &str,
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
        params![job, seq, at, body, shown, rules],
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

/// The time of day in RFC 3339, to the second, in UTC. HALFSPLIT_NOW fixes it
/// for tests.
fn now() -> String {
    std::env::var("HALFSPLIT_NOW").unwrap_or_else(|_| {
        jiff::Timestamp::now()
            .round(jiff::Unit::Second)
            .unwrap_or_else(|_| jiff::Timestamp::now())
            .to_string()
    })
}
