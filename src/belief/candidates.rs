//! Sets of faults up to a size, each with its weight.

mod likelihood;
mod listing;

pub use likelihood::Likelihood;
use likelihood::{Acting, Among};
use listing::add_equal;
pub use listing::{Weighted, breadth, count, filter, list};
pub(super) use listing::{list_from, list_pairs, merge, sort};

use std::cmp::Ordering;
use std::hash::{Hash, Hasher};
use std::sync::Arc;

use typed_index_collections::TiVec;

use super::network::{Change, FaultId, Finding};

/// The largest set that can be listed.
pub const MAX_SIZE: usize = 6;

/// A set of faults that together explain what was seen. Faults are packed inside:
/// there are many sets, and they are compared often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    faults: [u16; MAX_SIZE],
    len: u8,
}

/// In the order of their faults.
impl Ord for Candidate {
    fn cmp(&self, other: &Self) -> Ordering {
        self.key().cmp(&other.key())
    }
}

impl PartialOrd for Candidate {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Hash for Candidate {
    fn hash<H: Hasher>(&self, to: &mut H) {
        to.write_u128(self.key());
    }
}

/// A fault as sets hold it.
fn packed(f: FaultId) -> u16 {
    f.0 as u16
}

impl Candidate {
    /// The set with nothing in it.
    pub const EMPTY: Candidate = Candidate {
        faults: [0; MAX_SIZE],
        len: 0,
    };

    /// A set of the given faults; `None` if they are more than [`MAX_SIZE`].
    pub fn new(faults: &[FaultId]) -> Option<Self> {
        let mut sorted: Vec<u16> = faults.iter().map(|f| packed(*f)).collect();
        sorted.sort_unstable();
        sorted.dedup();
        let mut c = Candidate::EMPTY;
        if sorted.len() > MAX_SIZE {
            return None;
        }
        c.faults[..sorted.len()].copy_from_slice(&sorted);
        c.len = sorted.len() as u8;
        Some(c)
    }

    /// All of it as one number, which is compared at once.
    fn key(&self) -> u128 {
        let add = |key, f: &u16| key << u16::BITS | u128::from(*f);
        self.faults.iter().fold(0, add) << u8::BITS | u128::from(self.len)
    }

    /// The faults, ascending.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = FaultId> + '_ {
        self.faults[..self.len as usize]
            .iter()
            .map(|f| FaultId(usize::from(*f)))
    }
    /// How many faults.
    pub fn len(&self) -> usize {
        self.len as usize
    }
    /// Whether nothing is at fault.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }
    /// Whether a fault is among them.
    pub fn has(&self, f: FaultId) -> bool {
        self.faults[..self.len as usize].contains(&packed(f))
    }

    /// The set without a fault.
    #[must_use]
    pub fn without(&self, f: FaultId) -> Self {
        let mut left = Candidate::EMPTY;
        for g in self.iter().filter(|g| *g != f) {
            left.faults[left.len()] = packed(g);
            left.len += 1;
        }
        left
    }

    /// The set with a fault that is not in it; `None` if that is more than
    /// [`MAX_SIZE`].
    fn with(&self, f: FaultId) -> Option<Self> {
        if self.len() == MAX_SIZE {
            return None;
        }
        let mut more = *self;
        let at = self.iter().position(|g| g > f).unwrap_or(self.len());
        more.faults.copy_within(at..self.len(), at + 1);
        more.faults[at] = packed(f);
        more.len += 1;
        Some(more)
    }
}

/// The likelihoods of all outcomes of a finding, for foretelling it.
#[derive(Debug)]
pub struct Outlook {
    finding: Arc<Finding>,
    /// By fault: the outcome depends on it.
    sees: TiVec<FaultId, bool>,
    /// By outcome but the last, the chance of at most that one, by fault.
    rows: Vec<TiVec<FaultId, f64>>,
    /// Where faults act together, these, and by pair of their places the chance
    /// of each outcome.
    together: Option<(Among, Vec<f64>)>,
    /// By outcome, its chance with faults that it does not depend on.
    unseen: Vec<f64>,
}

impl Outlook {
    /// For a network of `n` faults.
    pub fn new(n: usize, finding: &Arc<Finding>) -> Self {
        let outcomes = finding.outcomes();
        let mut rows = Vec::new();
        let together = finding.together().map(|joint| {
            let among = Among::new(n, joint);
            let pairs = among.by_pair(outcomes, |set, p| finding.acting(joint, set, p));
            (among, pairs)
        });
        if together.is_none() {
            rows.resize(outcomes - 1, TiVec::from(vec![1.0; n]));
            for (f, c) in finding.links() {
                rows.iter_mut().zip(c).for_each(|(row, c)| row[*f] = *c);
            }
        }
        let mut sees = TiVec::from(vec![false; n]);
        finding.sees().for_each(|f| sees[f] = true);
        let mut outlook = Outlook {
            finding: finding.clone(),
            sees,
            rows,
            together,
            unseen: Vec::new(),
        };
        let mut unseen = vec![0.0; outcomes];
        outlook.with(&Candidate::EMPTY, &mut unseen);
        outlook.unseen = unseen;
        outlook
    }

    /// What is foretold.
    pub fn finding(&self) -> &Arc<Finding> {
        &self.finding
    }

    /// How many outcomes.
    pub fn outcomes(&self) -> usize {
        self.finding.outcomes()
    }

    /// Whether the outcome depends on any of these faults.
    pub fn sees(&self, c: &Candidate) -> bool {
        c.iter().any(|f| self.sees[f])
    }

    /// Puts `P(outcome | exactly these faults)` into `p`, for each outcome.
    pub fn of(&self, c: &Candidate, p: &mut [f64]) {
        match self.sees(c) {
            true => self.with(c, p),
            false => p.copy_from_slice(&self.unseen),
        }
    }

    fn with(&self, c: &Candidate, p: &mut [f64]) {
        if let Some((among, pairs)) = &self.together {
            match among.of(c) {
                Acting::Two([a, b]) => {
                    let at = usize::from(a) * among.places() + usize::from(b);
                    p.copy_from_slice(&pairs[at * p.len()..][..p.len()]);
                }
                Acting::More(set) => self.finding.acting(&among.joint, set, p),
            }
            return;
        }
        let mut below = 0.0;
        let mut mixed = |k: usize, upto: f64| {
            p[k] = self.finding.mixed(k, upto - below);
            below = upto;
        };
        for (k, (row, leak)) in self.rows.iter().zip(self.finding.leak()).enumerate() {
            mixed(k, c.iter().fold(*leak, |p, f| p * row[f]));
        }
        mixed(self.rows.len(), 1.0);
    }
}

/// What a remedy does to every set; equal ones are merged, and the sets are in
/// the order of their faults; quickest where they were in it before. What comes
/// of a set, by something that is cleared or brought, with no more weight than
/// `least` is let go.
pub fn changed(sets: &Weighted, change: &Change, least: f64) -> Weighted {
    let mut as_before = Weighted::with_capacity(sets.len());
    let mut others = Weighted::new();
    let mut branches = Weighted::new();
    for (c, w) in sets {
        branches.clear();
        branches.push((*c, *w));
        for (f, chance) in change.clears.iter().filter(|(f, _)| c.has(*f)) {
            let cleared = |c: &Candidate| Some(c.without(*f));
            branch(&mut branches, *chance, least, |c| c.has(*f), cleared);
        }
        // Only where it is not there (any more).
        for (f, chance) in &change.brings {
            let brought = |c: &Candidate| c.with(*f);
            branch(&mut branches, *chance, least, |c| !c.has(*f), brought);
        }
        for b in &branches {
            match b.0 == *c {
                true => as_before.push(*b),
                false => others.push(*b),
            }
        }
    }
    // The same set may have come of several.
    others.sort_unstable_by_key(|s| s.0);
    as_before.append(&mut others);
    // Two runs, which this sort but joins.
    as_before.sort_by_key(|s| s.0);
    add_equal(&mut as_before);
    as_before
}

/// Parts the sets `of` which something may become: with `chance` it does. What
/// is too light, or too large to be listed, is let go.
fn branch(
    branches: &mut Weighted,
    chance: f64,
    least: f64,
    of: impl Fn(&Candidate) -> bool,
    becomes: impl Fn(&Candidate) -> Option<Candidate>,
) {
    for i in 0..branches.len() {
        let (c, w) = branches[i];
        if !of(&c) {
            continue;
        }
        branches[i].1 = w * (1.0 - chance);
        if w * chance > least {
            branches.extend(becomes(&c).map(|c| (c, w * chance)));
        }
    }
    branches.retain(|b| b.1 > 0.0);
}
