//! What may become of a fault over the changes of a job.
//!
//! Remedies make a fault a variable with several *lives*: never there, there
//! all along, cleared by the second remedy, and so on. An *epoch* is the time
//! between two changes. Lives are independent between faults.

use super::network::{Change, FaultId};

/// One life of a fault that is there at some time.
pub(super) struct Life {
    pub(super) weight: f64,
    /// Bit e: present in epoch e.
    pub(super) present: u64,
    /// There after all changes.
    pub(super) now: bool,
}

/// The weight of never being there, and the lives of being there at some time.
pub(super) fn lives(p: f64, id: FaultId, changes: &[&Change]) -> (f64, Vec<Life>) {
    let life = |weight, present, now| Life {
        weight,
        present,
        now,
    };
    let mut all = vec![life(p, 1, true), life(1.0 - p, 0, false)];
    for (e, change) in changes.iter().enumerate() {
        let bit = 1u64 << (e + 1).min(63);
        let chance = |of: &[(FaultId, f64)]| of.iter().find(|c| c.0 == id).map_or(0.0, |c| c.1);
        let (clears, brings) = (chance(&change.clears), chance(&change.brings));
        let mut next: Vec<Life> = Vec::with_capacity(all.len() * 2);
        let mut add = |weight: f64, present: u64, now: bool| {
            if weight > 0.0 {
                match next
                    .iter_mut()
                    .find(|l| l.present == present && l.now == now)
                {
                    Some(l) => l.weight += weight,
                    None => next.push(life(weight, present, now)),
                }
            }
        };
        for l in all {
            // First what is cleared, then what the work may bring.
            let stays = if l.now { 1.0 - clears } else { 0.0 };
            let there = stays + (1.0 - stays) * brings;
            add(l.weight * there, l.present | bit, true);
            add(l.weight * (1.0 - there), l.present, false);
        }
        all = next;
    }
    let never = |l: &Life| l.present == 0;
    let absent = all.iter().filter(|l| never(l)).map(|l| l.weight).sum();
    all.retain(|l| !never(l));
    (absent, all)
}
