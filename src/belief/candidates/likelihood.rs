//! How likely results are with a set of faults, looked up quickly.

use std::sync::Arc;

use typed_index_collections::TiVec;

use super::Candidate;
use crate::belief::network::{FaultId, Joint, Seen};

/// The likelihood of one outcome, laid out for fast look-up over many sets.
#[derive(Debug)]
pub struct Likelihood(Laid);

#[derive(Debug)]
enum Laid {
    Alone(Alone),
    Together(Together),
}

/// A chance with no fault, and what each fault multiplies it by.
type Row = (f64, TiVec<FaultId, f64>);

/// Where every fault acts on its own: the chances of at most the outcome
/// before, and of at most this one.
#[derive(Debug)]
struct Alone {
    lower: Option<Row>,
    upper: Option<Row>,
    real: f64,
    flat: f64,
}

/// Where faults act together.
#[derive(Debug)]
struct Together {
    seen: Seen,
    among: Among,
    /// The likelihood with two of them, by place.
    pairs: Vec<f64>,
}

/// The faults that act together, among those of the network.
#[derive(Debug)]
pub(super) struct Among {
    pub(super) joint: Arc<Joint>,
    /// For each fault of the network, its place among those that act
    /// together, from 1 on; 0 for all others.
    pub(super) at: TiVec<FaultId, u8>,
}

/// Those of a set that act together.
pub(super) enum Acting {
    /// At most two, by place; 0 stands for none.
    Two([u8; 2]),
    /// More of them, as the joint has it.
    More(u64),
}

/// The likelihood with this set of the faults that act together.
pub(super) fn with(seen: &Seen, joint: &Joint, set: u64) -> f64 {
    let truly = joint.truly(set, seen.outcome);
    seen.finding.mixed(seen.outcome, truly)
}

impl Among {
    /// For a network of `n` faults.
    pub(super) fn new(n: usize, joint: &Arc<Joint>) -> Self {
        let mut at = TiVec::from(vec![0; n]);
        for (i, f) in joint.faults().iter().enumerate() {
            at[*f] = i as u8 + 1;
        }
        let joint = joint.clone();
        Among { joint, at }
    }

    /// How many places there are.
    pub(super) fn places(&self) -> usize {
        self.joint.faults().len() + 1
    }

    /// By pair of places, so `many` numbers for the set of the faults there.
    pub(super) fn by_pair(&self, many: usize, of: impl Fn(u64, &mut [f64])) -> Vec<f64> {
        let n = self.places();
        let bit = |i: usize| if i == 0 { 0 } else { 1u64 << (i - 1) };
        let at = |i: usize, j: usize| (i * n + j) * many;
        let mut pairs = vec![0.0; n * n * many];
        for i in 0..n {
            for j in i..n {
                let both = at(i, j)..at(i, j) + many;
                of(bit(i) | bit(j), &mut pairs[both.clone()]);
                pairs.copy_within(both, at(j, i));
            }
        }
        pairs
    }

    pub(super) fn of(&self, c: &Candidate) -> Acting {
        let (mut set, mut ends) = (0u64, [0; 2]);
        for at in c.iter().map(|f| self.at[f]).filter(|at| *at > 0) {
            set |= 1 << (at - 1);
            ends = [ends[1], at];
        }
        match set.count_ones() {
            0..=2 => Acting::Two(ends),
            _ => Acting::More(set),
        }
    }
}

impl Likelihood {
    /// For a network of `n` faults.
    pub fn new(n: usize, seen: &Seen) -> Self {
        let f = &seen.finding;
        if let Some(joint) = f.together() {
            return Likelihood(Laid::Together(Together::new(n, seen, joint)));
        }
        let row = |k: usize| {
            let mut v = TiVec::from(vec![1.0; n]);
            for (id, c) in f.links() {
                v[*id] = c[k];
            }
            (f.leak()[k], v)
        };
        Likelihood(Laid::Alone(Alone {
            lower: (seen.outcome > 0).then(|| row(seen.outcome - 1)),
            upper: (seen.outcome + 1 < f.outcomes()).then(|| row(seen.outcome)),
            real: 1.0 - f.misread(),
            flat: f.at_random(seen.outcome),
        }))
    }

    /// Multiplies `by` by `P(outcome | exactly these two)` for the pairs of a
    /// fault with those from `from` on.
    pub(super) fn by_second(&self, first: FaultId, from: FaultId, by: &mut [f64]) {
        match &self.0 {
            Laid::Alone(l) => l.by_second(first, from, by),
            Laid::Together(l) => {
                let row = l.row(l.among.at[first]);
                for (x, at) in by.iter_mut().zip(&l.among.at[from..]) {
                    *x *= row[usize::from(*at)];
                }
            }
        }
    }

    /// `P(outcome | exactly these faults)`.
    pub fn of(&self, c: &Candidate) -> f64 {
        match &self.0 {
            Laid::Alone(l) => l.of(c),
            Laid::Together(l) => l.of(c),
        }
    }
}

impl Alone {
    pub(super) fn by_second(&self, first: FaultId, from: FaultId, by: &mut [f64]) {
        let (real, flat) = (self.real, self.flat);
        // Faults that follow one another are a run of plain numbers.
        let run = from.0..from.0 + by.len();
        let row = |r: &Row| (r.0 * r.1[first], run.clone());
        match (&self.upper, &self.lower) {
            (Some(upper), None) => {
                let (u, at) = row(upper);
                for (x, v) in by.iter_mut().zip(&upper.1.raw[at]) {
                    *x *= real * (u * v) + flat;
                }
            }
            (upper, Some(lower)) => {
                let (l, at) = row(lower);
                match upper {
                    None => {
                        for (x, v) in by.iter_mut().zip(&lower.1.raw[at]) {
                            *x *= real * (1.0 - l * v) + flat;
                        }
                    }
                    Some(upper) => {
                        let (u, _) = row(upper);
                        let rows = upper.1.raw[at.clone()].iter().zip(&lower.1.raw[at]);
                        for (x, (v, w)) in by.iter_mut().zip(rows) {
                            *x *= real * (u * v - l * w).max(0.0) + flat;
                        }
                    }
                }
            }
            (None, None) => {}
        }
    }

    pub(super) fn of(&self, c: &Candidate) -> f64 {
        let product = |row: &Option<Row>, none: f64| match row {
            None => none,
            Some((leak, v)) => c.iter().fold(*leak, |p, f| p * v[f]),
        };
        let p = product(&self.upper, 1.0) - product(&self.lower, 0.0);
        self.real * p.max(0.0) + self.flat
    }
}

impl Together {
    pub(super) fn new(n: usize, seen: &Seen, joint: &Arc<Joint>) -> Self {
        let among = Among::new(n, joint);
        Together {
            seen: seen.clone(),
            pairs: among.by_pair(1, |set, p| p[0] = with(seen, joint, set)),
            among,
        }
    }

    /// The likelihoods of one of them with each other one.
    fn row(&self, at: u8) -> &[f64] {
        let n = self.among.places();
        &self.pairs[usize::from(at) * n..][..n]
    }

    pub(super) fn of(&self, c: &Candidate) -> f64 {
        match self.among.of(c) {
            Acting::Two([a, b]) => self.row(a)[usize::from(b)],
            Acting::More(set) => with(&self.seen, &self.among.joint, set),
        }
    }
}
