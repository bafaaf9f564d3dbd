//! Digits of the sum, and what pushes them: faults as the sum sees them.

use std::sync::Arc;

use super::super::lives::Life;
use super::super::network::{FaultId, Finding, ItemId, Joint, PlaceId};

/// How a digit is moved by one fault.
#[derive(Clone, Copy)]
pub(super) struct Push {
    /// `None` if the result is folded into `keep` alone.
    pub(super) digit: Option<usize>,
    pub(super) epoch: u32,
    /// Chance of going up one level from the lowest, and of going from any to
    /// the third.
    pub(super) up: f64,
    pub(super) far: f64,
    /// Chance that what was seen stays possible at all (folded results); 1
    /// otherwise.
    pub(super) keep: f64,
}

pub(super) struct Digit {
    pub(super) levels: usize,
    /// Chance of each level with no fault.
    pub(super) start: [f64; 3],
    /// Likelihood of each level at the end.
    pub(super) last: [f64; 3],
    /// The level that is what was seen.
    pub(super) seen: usize,
    /// Index among the results.
    pub(super) result: usize,
    /// Whether it can be misread.
    pub(super) misread: bool,
}

/// A fault as the sum sees it.
pub(super) struct Variable {
    pub(super) id: FaultId,
    /// Weight of never being there.
    pub(super) absent: f64,
    pub(super) lives: Vec<Life>,
    pub(super) pushes: Vec<Push>,
    /// Bit d: it pushes digit d.
    pub(super) digits: u64,
    pub(super) item: ItemId,
    pub(super) place: PlaceId,
}

impl Variable {
    /// Probability of being there now if nothing were seen.
    pub(super) fn now(&self) -> f64 {
        self.lives.iter().filter(|l| l.now).map(|l| l.weight).sum()
    }
    /// Whether it was there at some time for certain.
    pub(super) fn needed(&self) -> bool {
        self.absent == 0.0
    }
    /// Makes lives one that differ only when nothing looked: neither what the
    /// fault pushes nor one of these readings.
    pub(super) fn forget(&mut self, readings: &[Reading]) {
        let pushed = self.pushes.iter().map(|p| p.epoch);
        let read = readings.iter().filter(|r| r.joint.bit(self.id) != 0);
        let looked = pushed
            .chain(read.map(|r| r.epoch))
            .fold(0, |set, e| set | 1u64 << e);
        let mut kept: Vec<Life> = Vec::new();
        for mut life in self.lives.drain(..) {
            life.present &= looked;
            let same = |l: &&mut Life| (l.present, l.now) == (life.present, life.now);
            match kept.iter_mut().find(same) {
                _ if life.present == 0 && !life.now => self.absent += life.weight,
                Some(l) => l.weight += life.weight,
                None => kept.push(life),
            }
        }
        self.lives = kept;
    }
    /// Whether it is there now if it ever was.
    pub(super) fn lasts(&self) -> bool {
        self.lives.iter().all(|l| l.now)
    }
}

/// The result of a joint finding, or the results that it stands for.
pub(super) struct Reading {
    pub(super) finding: Arc<Finding>,
    pub(super) joint: Arc<Joint>,
    pub(super) outcome: usize,
    pub(super) epoch: u32,
    /// Index among the results, of the first.
    pub(super) result: usize,
}

/// The digits that any of these faults pushes.
pub(super) fn digits(faults: &[&Variable]) -> u64 {
    faults.iter().fold(0, |set, f| set | f.digits)
}
