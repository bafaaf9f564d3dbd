//! Rounds of the drill, as events beside those of the jobs.

use rusqlite::{TransactionBehavior, params};

use super::{Store, StoreError};
use crate::drill::{Kept, Logged, Order};

/// The form of the store from which on it has rounds; a reader migrates nothing.
const HAS_ROUNDS: i64 = 2;

impl Store {
    /// Begins a round and gives its number.
    ///
    /// # Errors
    /// If the store fails.
    pub fn begin_round(&mut self, order: &Order, rules: &str) -> Result<i64, StoreError> {
        let now = self.clock.now();
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        tx.execute(
            "INSERT INTO round (trainee) VALUES (?1)",
            params![order.trainee],
        )?;
        let id = tx.last_insert_rowid();
        insert(&tx, id, 0, &now, &Logged::Begun(order.clone()), rules)?;
        tx.commit()?;
        Ok(id)
    }

    /// Appends an event to a round after event number `last`; its number is
    /// returned.
    ///
    /// # Errors
    /// [`StoreError::RoundChanged`] if the round has gone on meanwhile.
    pub fn append_round(
        &mut self,
        round: i64,
        last: i64,
        event: &Logged,
        rules: &str,
    ) -> Result<i64, StoreError> {
        let now = self.clock.now();
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let newest: Option<i64> = tx.query_row(
            "SELECT max(seq) FROM round_event WHERE round = ?1",
            params![round],
            |r| r.get(0),
        )?;
        match newest {
            None => return Err(StoreError::NoRound(round)),
            Some(n) if n != last => return Err(StoreError::RoundChanged(round)),
            Some(_) => {}
        }
        insert(&tx, round, last + 1, &now, event, rules)?;
        tx.commit()?;
        Ok(last + 1)
    }

    /// A round.
    ///
    /// # Errors
    /// If there is none of that number, or it cannot be read.
    pub fn round(&self, round: i64) -> Result<Kept, StoreError> {
        let found = self.read_rounds("WHERE round = ?1", params![round])?;
        found.into_iter().next().ok_or(StoreError::NoRound(round))
    }

    /// All rounds, the first first.
    ///
    /// # Errors
    /// If one cannot be read.
    pub fn rounds(&self) -> Result<Vec<Kept>, StoreError> {
        self.read_rounds("", params![])
    }

    /// How many rounds a trainee has begun.
    ///
    /// # Errors
    /// If the store fails.
    pub fn rounds_of(&self, trainee: &str) -> Result<u64, StoreError> {
        if self.version < HAS_ROUNDS {
            return Ok(0);
        }
        let count: i64 = self.db.query_row(
            "SELECT count(*) FROM round WHERE trainee = ?1",
            params![trainee],
            |r| r.get(0),
        )?;
        Ok(count.unsigned_abs())
    }

    fn read_rounds(&self, which: &str, of: impl rusqlite::Params) -> Result<Vec<Kept>, StoreError> {
        if self.version < HAS_ROUNDS {
            return Ok(Vec::new());
        }
        let mut q = self.db.prepare(&format!(
            "SELECT round, seq, at, body, rules FROM round_event {which} ORDER BY round, seq"
        ))?;
        let mut rows = q.query(of)?;
        let mut all: Vec<Kept> = Vec::new();
        while let Some(r) = rows.next()? {
            let (round, seq): (i64, i64) = (r.get(0)?, r.get(1)?);
            let body: String = r.get(3)?;
            let damaged = |why: String| StoreError::DamagedRound { round, seq, why };
            let event = serde_json::from_str(&body).map_err(|e| damaged(e.to_string()))?;
            let kept = all.last_mut().filter(|k| k.round == round);
            match (event, kept) {
                (Logged::Begun(order), _) => all.push(Kept {
                    round,
                    begun: r.get(2)?,
                    rules: r.get(4)?,
                    order,
                    moves: Vec::new(),
                    ended: None,
                    last: seq,
                }),
                (_, None) => return Err(damaged("it has no beginning".to_owned())),
                (Logged::Did(what), Some(kept)) => {
                    kept.moves.push(what);
                    kept.last = seq;
                }
                (Logged::Ended(how), Some(kept)) => {
                    kept.ended = Some(how);
                    kept.last = seq;
                }
            }
        }
        Ok(all)
    }
}

fn insert(
    tx: &rusqlite::Transaction,
    round: i64,
    seq: i64,
    at: &str,
    event: &Logged,
    rules: &str,
) -> Result<(), StoreError> {
    let body = serde_json::to_string(event).map_err(|e| StoreError::DamagedRound {
        round,
        seq,
        why: e.to_string(),
    })?;
    tx.execute(
        "INSERT INTO round_event (round, seq, at, body, rules) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![round, seq, at, body, rules],
    )?;
    Ok(())
}
