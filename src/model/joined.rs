//! Packs that come into a job by an entry alone.
//!
//! A complaint that no area hears opens a job of the general pack. Whoever then
//! tests something of an area takes the complaint to be of that area. So what
//! can be wrong there can also be behind the complaint, and each fault of the
//! area acts on what the general pack says as the general fault of its place
//! does.

use crate::belief::FaultId;
use crate::rulebase::Where;

/// Share of the complaints that no area hears, and after which something of an
/// area is tested, that are of that area. Common practice, no source.
const OF_THE_AREA: f64 = 0.5;

/// The packs that a job is about.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct InPlay {
    /// All of them, by identifier.
    pub packs: Vec<String>,
    /// Those of them that an entry alone brought in, after a complaint that no
    /// area hears.
    pub joined: Vec<String>,
}

/// The faults of the packs that joined.
#[derive(Clone, Debug, Default)]
pub(super) struct Joined(Vec<Member>);

#[derive(Clone, Copy, Debug)]
struct Member {
    /// The fault.
    fault: FaultId,
    place: Where,
    /// Chance that it gives cause for a complaint.
    noticed: f64,
}

impl Joined {
    pub(super) fn push(&mut self, fault: FaultId, place: Where, noticed: f64) {
        if !self.0.iter().any(|m| m.fault == fault) {
            self.0.push(Member {
                fault,
                place,
                noticed,
            });
        }
    }

    /// What the faults that joined do to a function that the faults of the
    /// general pack break so, each with its place.
    pub(super) fn break_as(&self, own: &[(Where, f64)]) -> Vec<(FaultId, f64)> {
        let strongest = |place: Where| {
            let of = own.iter().filter(|(w, _)| *w == place).map(|(_, s)| *s);
            of.fold(0.0, f64::max)
        };
        let links = self
            .0
            .iter()
            .map(|m| (m.fault, m.noticed * strongest(m.place)));
        links.filter(|(_, s)| *s > 0.0).collect()
    }

    /// The same for a complaint.
    pub(super) fn complained_of_as(&self, own: &[(Where, f64)]) -> Vec<(FaultId, f64)> {
        let mut links = self.break_as(own);
        for (_, s) in &mut links {
            *s *= OF_THE_AREA;
        }
        links
    }
}
