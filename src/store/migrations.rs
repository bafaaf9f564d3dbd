//! The store's form, one step at a time.
//!
//! Two laws: an entry of [`ALL`] is never changed or removed once released,
//! and a migration never loses an event.

use rusqlite::{Connection, TransactionBehavior};

/// Steps from an empty file to the newest form; `user_version` counts them.
pub(super) const ALL: &[&str] = &[
    // 1: jobs and their events. The columns of `job` beside its number are a
    // cache of the events, for listing.
    "CREATE TABLE job (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        uid TEXT NOT NULL UNIQUE,
        title TEXT NOT NULL,
        device TEXT NOT NULL,
        serial TEXT NOT NULL,
        complaint TEXT NOT NULL,
        state TEXT NOT NULL,
        cause TEXT NOT NULL,
        opened TEXT NOT NULL,
        changed TEXT NOT NULL
     );
     CREATE TABLE event (
        job INTEGER NOT NULL REFERENCES job (id),
        seq INTEGER NOT NULL,
        at TEXT NOT NULL,
        body TEXT NOT NULL,
        shown TEXT,
        rules TEXT NOT NULL,
        PRIMARY KEY (job, seq)
     ) WITHOUT ROWID;
     CREATE INDEX job_serial ON job (serial);
     CREATE TRIGGER event_is_kept BEFORE UPDATE ON event
     BEGIN SELECT raise(ABORT, 'events are append-only'); END;
     CREATE TRIGGER event_stays BEFORE DELETE ON event
     BEGIN SELECT raise(ABORT, 'events are append-only'); END;",
    // 2: rounds of the drill and their events. The name beside a round's number
    // is a cache of its first event, for counting.
    "CREATE TABLE round (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        trainee TEXT NOT NULL
     );
     CREATE TABLE round_event (
        round INTEGER NOT NULL REFERENCES round (id),
        seq INTEGER NOT NULL,
        at TEXT NOT NULL,
        body TEXT NOT NULL,
        rules TEXT NOT NULL,
        PRIMARY KEY (round, seq)
     ) WITHOUT ROWID;
     CREATE INDEX round_trainee ON round (trainee);
     CREATE TRIGGER round_event_is_kept BEFORE UPDATE ON round_event
     BEGIN SELECT raise(ABORT, 'events are append-only'); END;
     CREATE TRIGGER round_event_stays BEFORE DELETE ON round_event
     BEGIN SELECT raise(ABORT, 'events are append-only'); END;",
];

/// Brings a store to the newest form.
pub(super) fn migrate(db: &mut Connection, application: i64) -> rusqlite::Result<()> {
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let version: i64 = tx.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    for (i, step) in ALL.iter().enumerate().skip(version as usize) {
        tx.execute_batch(step)?;
        tx.pragma_update(None, "user_version", (i + 1) as i64)?;
    }
    tx.pragma_update(None, "application_id", application)?;
    tx.commit()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn migrating_twice_changes_nothing() {
        let mut db = Connection::open_in_memory().unwrap();
        migrate(&mut db, 1).unwrap();
        migrate(&mut db, 1).unwrap();
        let v: i64 = db
            .query_row("PRAGMA user_version", [], |r| r.get(0))
            .unwrap();
        assert_eq!(v, ALL.len() as i64);
    }

    #[test]
    fn events_can_be_neither_changed_nor_removed() {
        let mut db = Connection::open_in_memory().unwrap();
        migrate(&mut db, 1).unwrap();
        db.execute_batch(
            "INSERT INTO job VALUES (1,'u','t','d','s','c','open','','n','n');
             INSERT INTO event VALUES (1,0,'n','{}',NULL,'r');",
        )
        .unwrap();
        assert!(db.execute("UPDATE event SET body = 'x'", []).is_err());
        assert!(db.execute("DELETE FROM event", []).is_err());
        db.execute_batch(
            "INSERT INTO round VALUES (1,'t');
             INSERT INTO round_event VALUES (1,0,'n','{}','r');",
        )
        .unwrap();
        assert!(db.execute("UPDATE round_event SET body = 'x'", []).is_err());
        assert!(db.execute("DELETE FROM round_event", []).is_err());
    }
}
