//! Sets of faults up to a size, each with its weight.

use std::cmp::Ordering;
use std::hash::{Hash, Hasher};
use std::sync::Arc;

use super::network::{Change, Event, FaultId, Finding, Joint, Network, Seen};
use super::order::likelier;

/// The largest set that can be listed.
pub const MAX_SIZE: usize = 6;
/// How many sets are listed at most when a size is tried.
const MAX_SETS: usize = 24_000;

/// A set of faults that together explain what was seen.
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

impl Candidate {
    /// The set with nothing in it.
    pub const EMPTY: Candidate = Candidate {
        faults: [0; MAX_SIZE],
        len: 0,
    };

    /// A set of the given faults; `None` if they are more than [`MAX_SIZE`].
    pub fn new(faults: &[FaultId]) -> Option<Self> {
        let mut sorted: Vec<u16> = faults.iter().map(|f| *f as u16).collect();
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
        self.faults[..self.len as usize].iter().map(|f| *f as usize)
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
        self.faults[..self.len as usize].contains(&(f as u16))
    }

    /// The set without a fault.
    #[must_use]
    pub fn without(&self, f: FaultId) -> Self {
        let mut left = Candidate::EMPTY;
        for g in self.iter().filter(|g| *g != f) {
            left.faults[left.len()] = g as u16;
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
        more.faults[at] = f as u16;
        more.len += 1;
        Some(more)
    }
}

/// Weighted sets; the weights are joint probabilities with what was seen.
pub type Weighted = Vec<(Candidate, f64)>;

/// All sets up to `size` of the faults in `among`, with all pairs of the rest
/// if `size` is at least 2, weighted by their prior.
pub fn list(network: &Network, size: usize, among: &[FaultId]) -> Weighted {
    listed(network, 0, size, among, |_| true)
}

/// All sets up to two faults, but of pairs only those of two of `paired`.
pub(super) fn list_pairs(network: &Network, size: usize, paired: &[bool]) -> Weighted {
    listed(network, 0, size, &[], |f| paired[f])
}

/// The same without the sets smaller than `from`, which is 0 or 3.
pub(super) fn list_from(
    network: &Network,
    from: usize,
    size: usize,
    among: &[FaultId],
) -> Weighted {
    listed(network, from, size, among, |_| true)
}

fn listed(
    network: &Network,
    from: usize,
    size: usize,
    among: &[FaultId],
    paired: impl Fn(FaultId) -> bool,
) -> Weighted {
    let priors = network.faults();
    let n = priors.len();
    let certain: Vec<FaultId> = (0..n).filter(|f| priors[*f].probability >= 1.0).collect();
    let Some(base) = Candidate::new(&certain) else {
        return Vec::new();
    };
    let base_weight: f64 = priors
        .iter()
        .filter(|p| p.probability < 1.0)
        .map(|p| 1.0 - p.probability)
        .product();
    let open = |f: &FaultId| priors[*f].probability > 0.0 && priors[*f].probability < 1.0;
    let odds = |f: FaultId| priors[f].probability / (1.0 - priors[f].probability);
    let all: Vec<FaultId> = (0..n).filter(open).collect();
    let paired: Vec<FaultId> = all.iter().copied().filter(|f| paired(*f)).collect();
    let pairs = if from == 0 && size >= 2 {
        paired.len() * paired.len() / 2
    } else {
        0
    };
    let mut out = Vec::with_capacity(pairs + all.len() + 1);
    if from == 0 {
        out.push((base, base_weight));
    }
    let mut add = |faults: &[FaultId], w: f64| {
        let mut c = base;
        for f in faults {
            if c.len() < MAX_SIZE {
                c.faults[c.len()] = *f as u16;
                c.len += 1;
            } else {
                return;
            }
        }
        if !base.is_empty() {
            let n = c.len();
            c.faults[..n].sort_unstable();
        }
        out.push((c, w));
    };
    if from == 0 && size >= 1 {
        for f in &all {
            add(&[*f], base_weight * odds(*f));
        }
    }
    if from == 0 && size >= 2 {
        for (i, f) in paired.iter().enumerate() {
            let w = base_weight * odds(*f);
            for g in &paired[i + 1..] {
                add(&[*f, *g], w * odds(*g));
            }
        }
    }
    if size >= 3 {
        let mut among: Vec<FaultId> = among.iter().copied().filter(|f| open(f)).collect();
        among.sort_unstable();
        let mut chosen: Vec<FaultId> = Vec::new();
        fn deeper(
            among: &[FaultId],
            from: usize,
            size: usize,
            w: f64,
            chosen: &mut Vec<FaultId>,
            odds: &dyn Fn(FaultId) -> f64,
            add: &mut dyn FnMut(&[FaultId], f64),
        ) {
            for i in from..among.len() {
                let f = among[i];
                chosen.push(f);
                let w = w * odds(f);
                if chosen.len() >= 3 {
                    add(chosen, w);
                }
                if chosen.len() < size {
                    deeper(among, i + 1, size, w, chosen, odds, add);
                }
                chosen.pop();
            }
        }
        deeper(
            &among,
            0,
            size.min(MAX_SIZE),
            base_weight,
            &mut chosen,
            &odds,
            &mut add,
        );
    }
    out
}

/// How many sets of three up to `size` faults there are of `n`.
pub fn count(n: usize, size: usize) -> f64 {
    let mut c = 1.0;
    let mut total = 0.0;
    for k in 0..size {
        c *= n.saturating_sub(k) as f64 / (k + 1) as f64;
        if k >= 2 {
            total += c;
        }
    }
    total
}

/// How many faults may take part in sets of `size` so that they stay few enough.
pub fn breadth(n: usize, size: usize) -> usize {
    (size..=n)
        .rev()
        .find(|m| count(*m, size) <= MAX_SETS as f64)
        .unwrap_or(size)
}

/// Weighs listed sets by everything that happened.
pub fn filter(network: &Network, mut sets: Weighted, events: &[Event]) -> Weighted {
    let mut seen: Vec<Likelihood> = Vec::new();
    for e in events {
        match e {
            Event::Seen(s) => seen.push(Likelihood::new(network.len(), s)),
            Event::Changed(c) => {
                weigh(network.len(), &mut sets, &seen);
                seen.clear();
                sets = changed(&sets, c, 0.0);
            }
        }
    }
    weigh(network.len(), &mut sets, &seen);
    sets
}

/// Adds the weights of sets that are listed twice.
pub(super) fn merge(sets: &mut Weighted) {
    sets.sort_unstable_by_key(|s| s.0);
    add_equal(sets);
}

/// The same for sets that are in the order of their faults.
fn add_equal(sets: &mut Weighted) {
    sets.dedup_by(|b, a| {
        let same = a.0 == b.0;
        if same {
            a.1 += b.1;
        }
        same
    });
}

/// How many sets of a long list are put in order.
const ORDERED: usize = 4096;

/// Puts the likeliest first; equal ones in the order of their faults. Of a
/// long list only the first [`ORDERED`]: nobody reads or plans beyond them.
pub(super) fn sort(sets: &mut Weighted) {
    let full = |a: &(Candidate, f64), b: &(Candidate, f64)| likelier(a.1, b.1).then(a.0.cmp(&b.0));
    if sets.len() > ORDERED {
        sets.select_nth_unstable_by(ORDERED, full);
    }
    let first = sets.len().min(ORDERED);
    sets[..first].sort_unstable_by(full);
}

/// Multiplies each weight by the likelihoods of results.
fn weigh(n: usize, sets: &mut Weighted, seen: &[Likelihood]) {
    // The pairs of one fault follow each other: they are weighed as a row.
    let mut row = vec![1.0; n];
    let pairs =
        |a: &Candidate, b: &Candidate| a.len() == 2 && b.len() == 2 && a.faults[0] == b.faults[0];
    for run in sets.chunk_by_mut(|a, b| pairs(&a.0, &b.0)) {
        let second = |s: &(Candidate, f64)| usize::from(s.0.faults[1]);
        let from = run.iter().map(second).min().unwrap_or(0);
        let to = run.iter().map(second).max().unwrap_or(0) + 1;
        if run.len() * 2 < to - from || run.len() == 1 {
            for (c, w) in run {
                *w *= seen.iter().map(|s| s.of(c)).product::<f64>();
            }
            continue;
        }
        let first = usize::from(run[0].0.faults[0]);
        row[from..to].fill(1.0);
        for s in seen {
            s.by_second(first, from, &mut row[from..to]);
        }
        for s in run {
            s.1 *= row[second(s)];
        }
    }
}

/// The likelihood of one outcome, laid out for fast look-up over many sets.
#[derive(Debug)]
pub struct Likelihood(Laid);

#[derive(Debug)]
enum Laid {
    Alone(Alone),
    Together(Together),
}

/// Where every fault acts on its own: the chances of at most the outcome
/// before, and of at most this one.
#[derive(Debug)]
struct Alone {
    lower: Option<(f64, Vec<f64>)>,
    upper: Option<(f64, Vec<f64>)>,
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
struct Among {
    joint: Arc<Joint>,
    /// For each fault of the network, its place among those that act
    /// together, from 1 on; nought for all others.
    at: Vec<u8>,
}

/// Those of a set that act together.
enum Acting {
    /// At most two, by place; nought stands for none.
    Two([u8; 2]),
    /// More of them, as the joint has it.
    More(u64),
}

impl Among {
    /// For a network of `n` faults.
    fn new(n: usize, joint: &Arc<Joint>) -> Self {
        let mut at = vec![0; n];
        for (i, f) in joint.faults().iter().enumerate() {
            at[*f] = i as u8 + 1;
        }
        let joint = joint.clone();
        Among { joint, at }
    }

    /// How many places there are.
    fn places(&self) -> usize {
        self.joint.faults().len() + 1
    }

    /// By pair of places, so `many` numbers for the set of the faults there.
    fn by_pair(&self, many: usize, of: impl Fn(u64, &mut [f64])) -> Vec<f64> {
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

    fn of(&self, c: &Candidate) -> Acting {
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
            let mut v = vec![1.0; n];
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
    fn by_second(&self, first: FaultId, from: FaultId, by: &mut [f64]) {
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
    fn by_second(&self, first: FaultId, from: FaultId, by: &mut [f64]) {
        let (real, flat) = (self.real, self.flat);
        let row = |r: &'_ (f64, Vec<f64>)| (r.0 * r.1[first], from..from + by.len());
        match (&self.upper, &self.lower) {
            (Some(upper), None) => {
                let (u, at) = row(upper);
                for (x, v) in by.iter_mut().zip(&upper.1[at]) {
                    *x *= real * (u * v) + flat;
                }
            }
            (upper, Some(lower)) => {
                let (l, at) = row(lower);
                match upper {
                    None => {
                        for (x, v) in by.iter_mut().zip(&lower.1[at]) {
                            *x *= real * (1.0 - l * v) + flat;
                        }
                    }
                    Some(upper) => {
                        let (u, _) = row(upper);
                        let rows = upper.1[at.clone()].iter().zip(&lower.1[at]);
                        for (x, (v, w)) in by.iter_mut().zip(rows) {
                            *x *= real * (u * v - l * w).max(0.0) + flat;
                        }
                    }
                }
            }
            (None, None) => {}
        }
    }

    fn of(&self, c: &Candidate) -> f64 {
        let product = |row: &Option<(f64, Vec<f64>)>, none: f64| match row {
            None => none,
            Some((leak, v)) => c.iter().fold(*leak, |p, f| p * v[f]),
        };
        let p = product(&self.upper, 1.0) - product(&self.lower, 0.0);
        self.real * p.max(0.0) + self.flat
    }
}

impl Together {
    fn new(n: usize, seen: &Seen, joint: &Arc<Joint>) -> Self {
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

    fn of(&self, c: &Candidate) -> f64 {
        match self.among.of(c) {
            Acting::Two([a, b]) => self.row(a)[usize::from(b)],
            Acting::More(set) => with(&self.seen, &self.among.joint, set),
        }
    }
}

/// The likelihood with this set of the faults that act together.
fn with(seen: &Seen, joint: &Joint, set: u64) -> f64 {
    let truly = joint.truly(set, seen.outcome);
    seen.finding.mixed(seen.outcome, truly)
}

/// The likelihoods of all outcomes of a finding, for foretelling it.
#[derive(Debug)]
pub struct Outlook {
    finding: Arc<Finding>,
    /// By fault: the outcome depends on it.
    sees: Vec<bool>,
    /// By outcome but the last, the chance of at most that one, by fault.
    rows: Vec<Vec<f64>>,
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
            rows.resize(outcomes - 1, vec![1.0; n]);
            for (f, c) in finding.links() {
                rows.iter_mut().zip(c).for_each(|(row, c)| row[*f] = *c);
            }
        }
        let mut sees = vec![false; n];
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
