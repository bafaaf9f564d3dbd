//! Copies of a pack: each with its names.

use typed_index_collections::TiVec;

use crate::model::*;
use crate::rulebase::{Line, Pack, PackFault};

/// One copy of a pack: how its names and faults map to those of the model.
pub(super) struct Copy<'a> {
    pub(super) pack: &'a Pack,
    pub(super) name: &'a str,
    pub(super) prefix: String,
    pub(super) first: bool,
    /// Fault of the pack to fault of the model; `None` if not on this device.
    pub(super) faults: TiVec<PackFault, Option<FaultId>>,
    /// Function of the pack to function of the model.
    pub(super) functions: Vec<FunctionId>,
    /// Line of the pack to line of the model.
    pub(super) lines: Vec<LineId>,
    /// Priors without history, for the leaks.
    pub(super) base: TiVec<PackFault, f64>,
}

/// What each fault pushes a try to that may come out in part: to *in part* as far
/// as it breaks the fuller function beyond the tried one, to *fails* as far as it
/// breaks the tried one. So the chances of both functions are as stated.
pub(super) fn in_part(
    fuller: &[(FaultId, f64)],
    tried: &[(FaultId, f64)],
) -> Vec<(FaultId, Vec<f64>)> {
    let works = |links: &[(FaultId, f64)], fault: FaultId| -> f64 {
        let own = links.iter().filter(|l| l.0 == fault);
        own.map(|l| 1.0 - l.1).product()
    };
    let mut faults: Vec<FaultId> = fuller.iter().chain(tried).map(|l| l.0).collect();
    faults.sort_unstable();
    faults.dedup();
    let pushes = faults.into_iter().map(|f| {
        let fails = 1.0 - works(tried, f);
        let partly = 1.0 - works(fuller, f);
        (f, vec![(partly - fails).max(0.0), fails])
    });
    pushes.collect()
}

impl Copy<'_> {
    pub(super) fn id(&self, id: &str, shared: bool) -> String {
        if self.pack.minimal {
            id.to_owned()
        } else if shared {
            format!("{}/{id}", self.pack.id)
        } else {
            format!("{}/{id}", self.prefix)
        }
    }

    /// Whether something limited to some copies is for this one.
    pub(super) fn counts(&self, only_on: &[String]) -> bool {
        only_on.is_empty() || only_on.iter().any(|n| n == self.name)
    }

    pub(super) fn words(&self, text: &str) -> String {
        text.replace("{unit}", self.name)
    }

    pub(super) fn shares(&self, line: &Line) -> bool {
        self.only_shared(line.faults.iter().map(|e| e.fault))
    }

    /// Whether these are faults of shared items alone; what nobody listed of a copy
    /// makes nothing its own.
    pub(super) fn only_shared(&self, mut faults: impl Iterator<Item = PackFault>) -> bool {
        let shared = |f: PackFault| self.pack.items[self.pack.faults[f].item].shared;
        faults.all(|f| shared(f) || self.pack.is_unlisted(f))
    }

    pub(super) fn links(&self, links: &[(PackFault, f64)]) -> Vec<(FaultId, f64)> {
        links
            .iter()
            .filter_map(|(f, s)| self.faults[*f].map(|n| (n, *s)))
            .collect()
    }

    /// What fitting an item does to the contacts it mates with.
    pub(super) fn seating(&self, item: usize) -> Change {
        let mates = &self.pack.items[item].mates;
        let mut clears: Vec<(FaultId, f64)> = Vec::new();
        for r in self.pack.remedies.iter().filter(|r| r.seating) {
            for (f, chance) in &r.clears {
                if !mates.contains(&self.pack.faults[*f].item) {
                    continue;
                }
                let Some(n) = self.faults[*f] else { continue };
                match clears.iter_mut().find(|c| c.0 == n) {
                    Some(c) => c.1 = c.1.max(*chance),
                    None => clears.push((n, *chance)),
                }
            }
        }
        Change {
            clears,
            brings: Vec::new(),
        }
    }
}
