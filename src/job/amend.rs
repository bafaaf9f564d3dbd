//! Entries as they hold after corrections. A correction is an entry of its own:
//! the log keeps what was entered first, and what counts is the corrected entry,
//! at the place of the first in time.

use super::file::{Entry, Shown};
use super::ledger::CaseError;

/// The entries of a job with their corrections.
#[derive(Clone, Debug, Default)]
pub(super) struct Amended {
    /// The entries as they hold, each at its place; one that was struck is an
    /// empty remark.
    pub(super) entries: Vec<Entry>,
    /// For each, the entry that corrected it last, from 0.
    by: Vec<Option<usize>>,
    /// Those that never were, by the last correction.
    struck: Vec<bool>,
    /// Corrections that cannot be, with why.
    pub(super) refused: Vec<(usize, CaseError)>,
}

impl Amended {
    pub(super) fn of(steps: &[Entry]) -> Amended {
        let mut all = Amended {
            entries: steps.to_vec(),
            by: vec![None; steps.len()],
            struck: vec![false; steps.len()],
            refused: Vec::new(),
        };
        for (n, entry) in steps.iter().enumerate() {
            let Entry::Correct(c) = entry else { continue };
            match earlier(c.entry, n).and_then(|at| Ok((at, amended(steps, at, c.to.as_deref())?)))
            {
                Ok((at, entry)) => {
                    all.struck[at] = c.to.is_none();
                    all.by[at] = Some(n);
                    all.entries[at] = entry;
                }
                Err(why) => all.refused.push((n, why)),
            }
        }
        all
    }

    /// Adds entries that correct nothing.
    pub(super) fn extend(&mut self, steps: &[Entry]) {
        self.entries.extend_from_slice(steps);
        self.by.resize(self.entries.len(), None);
        self.struck.resize(self.entries.len(), false);
    }

    /// The entry that corrected one last, both from 0.
    pub(super) fn by(&self, entry: usize) -> Option<usize> {
        self.by.get(entry).copied().flatten()
    }

    /// Whether an entry, from 0, was taken for one that never was.
    pub(super) fn struck(&self, entry: usize) -> bool {
        self.struck.get(entry).copied().unwrap_or(false)
    }
}

/// The place of an entry that was typed from 1 and comes before entry `n`.
pub(super) fn earlier(typed: usize, n: usize) -> Result<usize, CaseError> {
    match typed.checked_sub(1).filter(|at| *at < n) {
        Some(at) => Ok(at),
        None => Err(CaseError::NoEntry { typed, entries: n }),
    }
}

/// An entry as it should have been.
fn amended(steps: &[Entry], at: usize, to: Option<&str>) -> Result<Entry, CaseError> {
    let entry = at + 1;
    let mut amended = steps[at].clone();
    let Some(to) = to else {
        return match amended {
            Entry::Correct(c) => Err(CaseError::IsCorrection { entry, of: c.entry }),
            _ => Ok(Entry::Note(String::new())),
        };
    };
    let to = to.trim().to_owned();
    match &mut amended {
        Entry::Result(r) => r.shows = to,
        Entry::Remedy(d) => d.did = to,
        Entry::Note(text) => *text = to,
        Entry::Cannot(c) => c.why = to,
        Entry::Reference(r) => r.reads = to,
        Entry::Meter(name) | Entry::History(name) => *name = to,
        // It was clear after all.
        Entry::Unclear(u) => {
            amended = Entry::Result(Shown {
                test: u.test.clone(),
                shows: to,
                note: u.note.clone(),
                ..Shown::default()
            });
        }
        Entry::Sure(_) => return Err(CaseError::OnlyStruck { entry }),
        Entry::Correct(c) => return Err(CaseError::IsCorrection { entry, of: c.entry }),
    }
    Ok(amended)
}
