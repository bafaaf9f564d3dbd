//! Opening the store: to write, or only to read.
//!
//! A writer keeps a rollback journal, which is gone after each entry: between
//! two entries the one file is the whole store, also while a walk is open. A
//! reader changes nothing in the folder: it neither makes nor migrates the
//! store and needs no lock file beside it, so a read-only folder and a full
//! disk read as well as any. Where a killed program left a journal, only a
//! writer may play it back; a reader does so in a copy of its own.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::ffi;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::{Clock, Store, StoreError, migrations};

/// How long to wait for another process that is writing.
const PATIENCE: Duration = Duration::from_secs(10);

/// Marks the file as ours (`PRAGMA application_id`): "hspl".
const APPLICATION: i64 = 0x6873_706c;

/// What SQLite may put beside the store, by the end of its name.
const COMPANIONS: [&str; 3] = ["-wal", "-shm", "-journal"];

/// How often a copy is taken again because somebody wrote meanwhile.
const COPIES: usize = 20;

impl Store {
    /// The store's file and every file that SQLite may put beside it.
    pub fn files(path: &Path) -> impl Iterator<Item = PathBuf> {
        let beside = COMPANIONS.map(|end| companion(path, end));
        std::iter::once(companion(path, "")).chain(beside)
    }

    /// Opens a store to write, making it if it is not there: for its owner only.
    ///
    /// # Errors
    /// If the file cannot be written, belongs to another program or is newer.
    pub fn open(path: &Path) -> Result<Store, StoreError> {
        make(path).map_err(|e| place(path, &e))?;
        Self::open_existing(path)
    }

    /// Opens a store to write that has to be there.
    ///
    /// # Errors
    /// If it is not there, or as with [`Store::open`].
    pub fn open_existing(path: &Path) -> Result<Store, StoreError> {
        there(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut db = Connection::open_with_flags(path, flags).map_err(|e| place(path, &e))?;
        db.busy_timeout(PATIENCE)?;
        let until = Instant::now() + PATIENCE;
        loop {
            match prepare(&mut db, path) {
                // While the file is being made, SQLite does not wait by itself.
                Err(StoreError::Sql(e))
                    if e.sqlite_error_code() == Some(ErrorCode::DatabaseBusy)
                        && Instant::now() < until =>
                {
                    std::thread::sleep(Duration::from_millis(10));
                }
                done => break done.map_err(|e| refused(path, e))?,
            }
        }
        Ok(Store {
            db,
            path: path.to_owned(),
            version: migrations::ALL.len() as i64,
            clock: Clock::default(),
            _copy: None,
        })
    }

    /// Opens a store to read; nothing is made, migrated or written.
    ///
    /// # Errors
    /// If it is not there, cannot be read, belongs to another program or is newer.
    pub fn open_to_read(path: &Path) -> Result<Store, StoreError> {
        there(path)?;
        // Of earlier programs: SQLite would put an index beside the log.
        if !(logs_ahead(path) && holds(&companion(path, "-wal"))) {
            match reader(path, path) {
                // A journal that only a writer may play back.
                Err(StoreError::Sql(e)) if needs_writer(&e) => {}
                Err(StoreError::Sql(e)) => return Err(place(path, &e)),
                opened => return opened,
            }
        }
        let copy = copied(path).map_err(|e| place(path, &e))?;
        let file = companion(path, "");
        let at = copy.path().join(file.file_name().unwrap_or_default());
        let store = match writer_of_copy(&at).and_then(|()| reader(&at, path)) {
            Err(StoreError::Sql(e)) => return Err(place(path, &e)),
            opened => opened?,
        };
        Ok(Store {
            _copy: Some(copy),
            ..store
        })
    }
}

/// Why a store was not opened, with its place.
fn refused(path: &Path, e: StoreError) -> StoreError {
    match e.of_writing(path) {
        StoreError::Sql(e) => place(path, &e),
        other => other,
    }
}

fn place(path: &Path, why: &dyn std::fmt::Display) -> StoreError {
    StoreError::Place {
        path: path.to_owned(),
        why: why.to_string(),
    }
}

/// A file that SQLite may put beside the store; behind a link beside the file
/// that it leads to.
fn companion(path: &Path, end: &str) -> PathBuf {
    let path = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let mut name = path.into_os_string();
    name.push(end);
    name.into()
}

/// Refuses a place where there is no store.
fn there(path: &Path) -> Result<(), StoreError> {
    match std::fs::metadata(path) {
        Ok(m) if m.is_dir() => Err(place(path, &"it is a folder; give a file in it")),
        Ok(_) => Ok(()),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            Err(StoreError::Absent(path.to_owned()))
        }
        Err(e) => Err(place(path, &e)),
    }
}

/// Makes an empty file and the folders above it, if they are not there.
/// Customers' names and serial numbers are nobody else's business, so both are
/// for their owner; SQLite gives its journal the rights of the store.
fn make(path: &Path) -> std::io::Result<()> {
    let mut folders = std::fs::DirBuilder::new();
    folders.recursive(true);
    let mut file = std::fs::OpenOptions::new();
    file.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
        folders.mode(0o700);
        file.mode(0o600);
    }
    if path.exists() {
        return Ok(());
    }
    if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
        folders.create(folder)?;
    }
    match file.open(path) {
        // Another process was faster.
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        done => done.map(drop),
    }
}

/// Whose file it is; its form is returned.
fn identify(db: &Connection, path: &Path) -> Result<i64, StoreError> {
    // One statement, so that another process that is just making the store is
    // seen either before or after.
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
    Ok(version)
}

/// Looks whose file it is, and brings it to the newest form.
fn prepare(db: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let version = identify(db, path)?;
    // SQLite opens what cannot be written for reading, without a word.
    if db.is_readonly("main")? {
        return Err(StoreError::ReadOnly(path.to_owned()));
    }
    // Earlier programs kept a write-ahead log. While one of them has the store
    // open it stays so, which is as durable.
    let _ = db.pragma_update(None, "journal_mode", "DELETE");
    // `EXTRA` has the folder written too when the journal is gone: an entry is
    // confirmed when a power cut cannot take it back.
    db.pragma_update(None, "synchronous", "EXTRA")?;
    db.pragma_update(None, "foreign_keys", "ON")?;
    if version < migrations::ALL.len() as i64 {
        migrations::migrate(db, APPLICATION)?;
    }
    Ok(())
}

/// A reader of a file that needs no recovery; `named` is what the user knows it
/// by.
fn reader(path: &Path, named: &Path) -> Result<Store, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = match uri(path).filter(|_| logs_ahead(path)) {
        // The form of earlier programs: without `immutable` SQLite would put a
        // log and an index beside it only to read.
        Some(uri) => Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI)?,
        None => Connection::open_with_flags(path, flags)?,
    };
    db.busy_timeout(PATIENCE)?;
    Ok(Store {
        version: identify(&db, named)?,
        clock: Clock::default(),
        db,
        path: named.to_owned(),
        _copy: None,
    })
}

/// Plays back what a killed program left beside a copy.
fn writer_of_copy(path: &Path) -> Result<(), StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags)?;
    db.query_row("SELECT count(*) FROM sqlite_master", [], |_| Ok(()))?;
    let _ = db.pragma_update(None, "journal_mode", "DELETE");
    Ok(())
}

/// Whether a reader is refused because something has to be written first.
fn needs_writer(e: &rusqlite::Error) -> bool {
    let code = e.sqlite_error().map(|e| e.extended_code);
    code.is_some_and(|c| c & 0xff == ffi::SQLITE_READONLY || c & 0xff == ffi::SQLITE_CANTOPEN)
}

/// Whether a store is in the form with a write-ahead log, by the header of the
/// file (bytes 18 and 19 of the SQLite file format).
fn logs_ahead(path: &Path) -> bool {
    use std::io::Read;
    let mut head = [0; 20];
    let read = std::fs::File::open(path).and_then(|mut f| f.read_exact(&mut head));
    read.is_ok() && head[18..] == [2, 2]
}

fn holds(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|m| m.len() > 0)
}

/// The file as SQLite takes it with options.
fn uri(path: &Path) -> Option<String> {
    let full = std::path::absolute(path).ok()?;
    let mut out = "file:".to_owned();
    let text = full.to_str()?.replace('\\', "/");
    if !text.starts_with('/') {
        out.push('/');
    }
    for b in text.bytes() {
        match b {
            b'/' | b'.' | b'-' | b'_' | b':' => out.push(b.into()),
            b if b.is_ascii_alphanumeric() => out.push(b.into()),
            b => out += &format!("%{b:02X}"),
        }
    }
    Some(out + "?immutable=1")
}

/// A copy of the store with what lies beside it, in a folder of its own.
fn copied(path: &Path) -> std::io::Result<tempfile::TempDir> {
    // Length and time of each file: a copy counts only if nobody wrote meanwhile.
    let signs = || -> Vec<_> {
        let sign = |p: PathBuf| {
            std::fs::metadata(p)
                .map(|m| (m.len(), m.modified().ok()))
                .ok()
        };
        Store::files(path).map(sign).collect()
    };
    for _ in 0..COPIES {
        let folder = tempfile::Builder::new().prefix("halfsplit-").tempdir()?;
        let before = signs();
        for from in Store::files(path) {
            // The index of a log is made again from the log.
            let index = from == companion(path, "-shm");
            if let Some(name) = from.file_name().filter(|_| from.exists() && !index) {
                let to = folder.path().join(name);
                std::io::copy(
                    &mut std::fs::File::open(&from)?,
                    &mut std::fs::File::create(to)?,
                )?;
            }
        }
        if signs() == before {
            return Ok(folder);
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    Err(std::io::Error::other(
        "another program keeps writing to it; try again",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_marks_of_a_uri_are_kept_from_being_read_as_options() {
        let place = std::path::absolute("/a b/c?d#e%f").unwrap();
        let uri = uri(&place).unwrap();
        assert!(uri.ends_with("/a%20b/c%3Fd%23e%25f?immutable=1"), "{uri}");
    }
}
