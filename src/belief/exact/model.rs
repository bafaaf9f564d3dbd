//! Results and faults laid out for the sum.

use typed_index_collections::TiVec;

use super::super::lives::lives;
use super::super::network::{Change, Event, FaultId, Network, Seen};
use super::blocks::{Block, WIDE, tied};
use super::digits::{Digit, Push, Reading, Variable};
use super::space::Space;

/// Most digits.
pub(super) const MAX_DIGITS: usize = 64;

pub(super) struct Model {
    pub(super) digits: Vec<Digit>,
    /// Those that act alone.
    pub(super) faults: Vec<Variable>,
    /// Those that act together.
    pub(super) blocks: Vec<Block>,
    /// Weight of what holds whatever the faults are.
    pub(super) constant: f64,
    pub(super) results: usize,
    /// How many combinations the digits have.
    pub(super) states: usize,
}

impl Model {
    /// `least` is for its [blocks](Block::new). `None` if it takes more than
    /// [`MAX_LIVES`].
    pub(super) fn new(network: &Network, events: &[Event], least: usize) -> Option<Model> {
        let mut digits: Vec<Digit> = Vec::new();
        let mut pushes: TiVec<FaultId, Vec<Push>> = vec![Vec::new(); network.len()].into();
        let mut changes: Vec<&Change> = Vec::new();
        let mut constant = 1.0;
        let mut states = 1usize;
        let mut results = 0usize;
        let mut readings: Vec<Reading> = Vec::new();
        for event in events {
            let Seen { finding, outcome } = match event {
                Event::Changed(c) => {
                    changes.push(c);
                    continue;
                }
                Event::Seen(s) => s,
            };
            let epoch = changes.len() as u32;
            if let Some(joint) = finding.together() {
                readings.push(Reading {
                    finding: finding.clone(),
                    joint: joint.clone(),
                    outcome: *outcome,
                    epoch,
                    result: results,
                });
                results += finding.results();
                continue;
            }
            let n = finding.outcomes();
            let k = *outcome;
            let last = k + 1 == n;
            let flat = finding.at_random(k);
            let real = 1.0 - finding.misread() + flat;
            // P(push <= k-1) and P(push <= k) for a vector of cumulative chances.
            let split = |c: &[f64]| -> (f64, f64) {
                let below = if k == 0 { 0.0 } else { c[k - 1] };
                let upto = if last { 1.0 } else { c[k] };
                (below, upto)
            };
            let (below, upto) = split(finding.leak());
            // Where nothing is misread, nothing may push beyond.
            let folded = finding.misread() == 0.0 && !last;
            if folded {
                constant *= upto;
            }
            let ratio = |b: f64, u: f64| if u > 0.0 { b / u } else { 0.0 };
            let (levels, start, ends, seen) = match (k, folded) {
                (0, true) => (1, [1.0, 0.0, 0.0], [1.0, 0.0, 0.0], 0),
                (0, false) => (2, [upto, 1.0 - upto, 0.0], [real, flat, 0.0], 0),
                _ if last || folded => {
                    let b = ratio(below, upto);
                    (2, [b, 1.0 - b, 0.0], [flat, real, 0.0], 1)
                }
                _ => (3, [below, upto - below, 1.0 - upto], [flat, real, flat], 1),
            };
            let digit = (levels > 1).then_some(digits.len());
            for (f, c) in finding.links() {
                let (b, u) = split(c);
                let (up, far) = match levels {
                    1 => (0.0, 0.0),
                    2 if k == 0 => (1.0 - u, 0.0),
                    2 => (if u > 0.0 { 1.0 - b / u } else { 0.0 }, 0.0),
                    _ => (u - b, 1.0 - u),
                };
                pushes[*f].push(Push {
                    digit,
                    epoch,
                    up,
                    far,
                    keep: if folded { u } else { 1.0 },
                });
            }
            if digit.is_some() {
                digits.push(Digit {
                    levels,
                    start,
                    last: ends,
                    seen,
                    result: results,
                    misread: flat > 0.0,
                });
                states = states.saturating_mul(levels);
                if digits.len() > MAX_DIGITS {
                    return None;
                }
            }
            results += 1;
        }
        if changes.len() >= 63 {
            return None;
        }
        let mut faults: TiVec<FaultId, Option<Variable>> = network
            .faults()
            .iter_enumerated()
            .zip(pushes)
            .map(|((f, prior), pushes)| {
                let (absent, lives) = lives(prior.probability, f, &changes);
                Some(Variable {
                    id: f,
                    absent,
                    lives,
                    digits: pushes
                        .iter()
                        .filter_map(|p| p.digit)
                        .fold(0, |set, d| set | 1 << d),
                    pushes,
                    item: prior.item,
                    place: prior.place,
                })
            })
            .collect();
        let mut blocks = Vec::new();
        for readings in tied(readings, |f| {
            faults[f].as_ref().is_some_and(|f| !f.lives.is_empty())
        }) {
            let ids: Vec<FaultId> = readings
                .iter()
                .flat_map(|r| r.joint.faults())
                .copied()
                .collect();
            let members = (faults.keys())
                .filter(|f| ids.contains(f))
                .filter_map(|f| faults[f].take_if(|f| !f.lives.is_empty()))
                .collect();
            blocks.push(Block::new(members, readings, least)?);
        }
        let model = Model {
            digits,
            faults: faults.into_iter().flatten().collect(),
            blocks,
            constant,
            results,
            states,
        };
        let fits = |b: &Block| model.size(b.digits).0 <= WIDE;
        model.blocks.iter().all(fits).then_some(model)
    }

    /// The space of all digits. Those that most faults push get the widest
    /// strides: they are moved in long runs.
    pub(super) fn space(&self) -> Space {
        let mut linked = vec![0usize; self.digits.len()];
        for d in self
            .faults
            .iter()
            .chain(self.blocks.iter().flat_map(|b| &b.members))
            .flat_map(|f| &f.pushes)
            .filter_map(|p| p.digit)
        {
            linked[d] += 1;
        }
        let mut narrow: Vec<usize> = (0..self.digits.len()).collect();
        narrow.sort_by_key(|d| linked[*d]);
        Space::new(&self.digits, narrow)
    }

    /// How many combinations a set of digits has, and how many pairs of them
    /// where the second is nowhere lower than the first.
    pub(super) fn size(&self, digits: u64) -> (usize, usize) {
        (0..self.digits.len())
            .filter(|d| digits >> d & 1 == 1)
            .map(|d| self.digits[d].levels)
            .fold((1usize, 1usize), |(n, pairs), l| {
                // Of many digits there are more than a number holds: too many.
                (n.saturating_mul(l), pairs.saturating_mul(l * (l + 1) / 2))
            })
    }
}
