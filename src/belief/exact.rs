//! The sum over all sets of faults.
//!
//! The faults are gone through once. Every result carries a digit that says
//! how far it has been pushed relative to what was seen: *below* it, *at* it or
//! *beyond* it. The weights over all combinations of digits are kept; a fault
//! that is present moves weight up, a fault that is absent leaves it. At the
//! end each digit has its own likelihood. All terms are positive, so nothing
//! is lost to cancellation, unlike in the inclusion-exclusion form (Heckerman
//! 1989, "A tractable inference algorithm for diagnosing multiple diseases",
//! which this replaces).
//!
//! Remedies make a fault a variable with several *lives*: never there, there
//! all along, cleared by the second remedy, and so on. Lives are independent
//! between faults, so the sum stays exact over any number of remedies.
//!
//! Faults that touch the same few digits are packed. Everything outside a pack
//! is contracted once to the digits that the pack touches, and its faults are
//! gone through there: what is pushed by a set of independent causes is the
//! furthest push of each (Díez 1993, "Parameter adjustment in Bayes networks:
//! the generalized noisy OR-gate"), so a pack acts on the rest as one
//! distribution over the pushes of its own digits.
//!
//! Faults that act together in some finding (a joint one) are not independent
//! given its result. They form a *block*, and blocks that share a fault are
//! one. A block is a pack that is gone through set by set instead of fault by
//! fault: all its sets where they are few enough, else those up to a size;
//! each has the likelihood of the joint results as a factor. What the sets left
//! out can weigh is bounded, and the sum stands only where that is next to
//! nothing.
//!
//! Cost: number of digit combinations times number of packs, some twenty
//! times over; and for each pack the same again over its own digits and faults.

use std::borrow::Cow;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use super::network::{Change, Event, FaultId, Finding, Joint, Network, Seen};

/// Most digit combinations that are carried.
pub const MAX_STATES: usize = 1 << 14;

/// Exact answers over all sets of faults. "Now" is after all events.
#[derive(Clone, Debug)]
pub struct Exact {
    /// Probability of everything that was seen.
    pub evidence: f64,
    /// Probability of each fault now.
    pub faults: Vec<f64>,
    /// Probability that an item has some fault now.
    pub items: Vec<f64>,
    /// Probability that a place has some fault now.
    pub places: Vec<f64>,
    /// Probability that nothing is at fault now.
    pub nothing: f64,
    /// For each result, in order, the probability that it was a misreading:
    /// that the device really was in another outcome.
    pub misread: Vec<f64>,
    /// Upper bound on the share of the evidence that is left out: nought unless
    /// more faults act together than can be gone through set by set.
    pub left_out: f64,
}

/// One life of a fault that is there at some time.
struct Life {
    weight: f64,
    /// Bit e: present in epoch e.
    present: u64,
    now: bool,
}

/// The weight of never being there, and the lives of being there at some time.
fn lives(p: f64, id: FaultId, changes: &[&Change]) -> (f64, Vec<Life>) {
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

/// How a digit is moved by one fault.
#[derive(Clone, Copy)]
struct Push {
    /// `None` if the result is folded into `keep` alone.
    digit: Option<usize>,
    epoch: u32,
    /// Chance of going up one level from the lowest, and of going from any to
    /// the third.
    up: f64,
    far: f64,
    /// Chance that what was seen stays possible at all (folded results); 1
    /// otherwise.
    keep: f64,
}

struct Digit {
    levels: usize,
    /// Chance of each level with no fault.
    start: [f64; 3],
    /// Likelihood of each level at the end.
    last: [f64; 3],
    /// The level that is what was seen.
    seen: usize,
    /// Index among the results.
    result: usize,
    /// Whether it can be misread.
    misread: bool,
}

/// A fault as the sum sees it.
struct Variable {
    id: FaultId,
    /// Weight of never being there.
    absent: f64,
    lives: Vec<Life>,
    pushes: Vec<Push>,
    /// Bit d: it pushes digit d.
    digits: u32,
    item: usize,
    place: usize,
}

impl Variable {
    /// Probability of being there now if nothing were seen.
    fn now(&self) -> f64 {
        self.lives.iter().filter(|l| l.now).map(|l| l.weight).sum()
    }
    /// Whether it was there at some time for certain.
    fn needed(&self) -> bool {
        self.absent == 0.0
    }
    /// Makes lives one that differ only when nothing looked: neither what the
    /// fault pushes nor one of these readings.
    fn forget(&mut self, readings: &[Reading]) {
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
    fn lasts(&self) -> bool {
        self.lives.iter().all(|l| l.now)
    }
}

/// The result of a joint finding, or the results that it stands for.
struct Reading {
    finding: Arc<Finding>,
    joint: Arc<Joint>,
    outcome: usize,
    epoch: u32,
    /// Index among the results, of the first.
    result: usize,
}

/// Readings by what ties them: faults that may be there.
fn tied(readings: Vec<Reading>, there: impl Fn(FaultId) -> bool) -> Vec<Vec<Reading>> {
    let mut groups: Vec<Vec<Reading>> = Vec::new();
    for reading in readings {
        let shares = |r: &Reading| {
            let of = |f: &&FaultId| r.joint.faults().contains(f) && there(**f);
            reading.joint.faults().iter().any(|f| of(&f))
        };
        let (with, others) = groups
            .into_iter()
            .partition(|g: &Vec<Reading>| g.iter().any(shares));
        groups = others;
        let mut group: Vec<Reading> = with.into_iter().flatten().collect();
        group.push(reading);
        groups.push(group);
    }
    groups
}

/// Most lives of a block: sets of its faults times what remedies make of them.
pub const MAX_LIVES: usize = 1 << 15;
/// Sets of up to the first size are gone through at first; if those left out
/// could weigh too much, larger ones.
const SIZES: std::ops::RangeInclusive<usize> = 2..=4;
/// Still larger ones as long as there are at most so many lives.
const MANY: usize = 1 << 11;
/// Most of the evidence that sets left out may have; and where only the
/// evidence is asked for, which is then wrong by 0.07 bits at most.
const NEGLIGIBLE: f64 = 1e-2;
const ROUGH: f64 = 5e-2;

/// Faults that act together, set by set.
struct Block {
    members: Vec<Variable>,
    readings: Vec<Reading>,
    /// By what is pushed: each follows the one that it has one more push than.
    nodes: Vec<Node>,
    /// Bit d: some fault pushes digit d.
    digits: u32,
    /// Most faults of a life, not counting those that are there for certain;
    /// larger ones are left out.
    size: usize,
    /// Whether there are larger ones.
    larger: bool,
}

/// All lives of a block that push the same.
struct Node {
    /// How many faults push, and the last one of them with the epochs that it
    /// is there in.
    depth: usize,
    last: (usize, u64),
    lives: Vec<Shared>,
}

/// One life of all faults of a block.
struct Shared {
    weight: f64,
    /// Bit m: the fault is there now.
    now: u64,
    /// For each result of the readings, the chance that it is a misreading.
    wrong: Vec<f64>,
}

/// What is known of a life while it is put together.
#[derive(Clone)]
struct Partial {
    weight: f64,
    now: u64,
    /// For each reading, which of its faults are there.
    sets: Vec<u64>,
    path: Vec<(usize, u64)>,
}

impl Block {
    /// Goes through sets of up to `least` faults, and larger ones if they are
    /// few. `None` if there are too many lives.
    fn new(mut members: Vec<Variable>, readings: Vec<Reading>, least: usize) -> Option<Block> {
        if members.len() > 64 {
            return None;
        }
        members.iter_mut().for_each(|f| f.forget(&readings));
        // How many lives have so many of the faults that need not be there.
        let mut counts = vec![1.0];
        for f in &members {
            let lives = f.lives.len() as f64;
            if f.needed() {
                counts.iter_mut().for_each(|c| *c *= lives);
                continue;
            }
            counts.push(0.0);
            for k in (1..counts.len()).rev() {
                counts[k] += counts[k - 1] * lives;
            }
        }
        let mut lives = 0.0;
        let few = |(size, count): &(usize, &f64)| {
            lives += **count;
            lives <= if *size > least { MANY } else { MAX_LIVES } as f64
        };
        let sizes = counts.iter().enumerate().take_while(few).count();
        if sizes < counts.len().min(least + 1) {
            return None;
        }
        let mut block = Block {
            digits: members.iter().fold(0, |set, f| set | f.digits),
            size: sizes - 1,
            larger: sizes < counts.len(),
            members,
            readings,
            nodes: Vec::new(),
        };
        let mut nodes = BTreeMap::new();
        let nothing = Partial {
            weight: 1.0,
            now: 0,
            sets: vec![0; block.readings.len()],
            path: Vec::new(),
        };
        block.grow(nothing, 0, block.size, &mut HashMap::new(), &mut nodes);
        // In the order of the paths each follows the one that it goes on from.
        let mut before: &[(usize, u64)] = &[];
        let mut node = |path: &[(usize, u64)], lives| {
            block.nodes.push(Node {
                depth: path.len(),
                last: path.last().copied().unwrap_or_default(),
                lives,
            });
        };
        let paths: Vec<Vec<(usize, u64)>> = nodes.keys().cloned().collect();
        for (path, lives) in paths.iter().zip(nodes.into_values()) {
            let shared = before.iter().zip(path).take_while(|(a, b)| a == b).count();
            for missing in shared + 1..path.len() {
                node(&path[..missing], Vec::new());
            }
            node(path, lives);
            before = path;
        }
        Some(block)
    }

    /// Adds the life without any fault from `from` on, and all with some, but
    /// at most `more` that need not be there.
    fn grow(
        &self,
        life: Partial,
        from: usize,
        more: usize,
        known: &mut HashMap<(usize, u64), (f64, Vec<f64>)>,
        nodes: &mut BTreeMap<Vec<(usize, u64)>, Vec<Shared>>,
    ) {
        let mut others = life.weight;
        for (m, f) in self.members.iter().enumerate().skip(from) {
            if f.needed() || more > 0 {
                for l in &f.lives {
                    let mut with = life.clone();
                    with.weight = others * l.weight;
                    with.now |= u64::from(l.now) << m;
                    for (set, r) in with.sets.iter_mut().zip(&self.readings) {
                        if l.present >> r.epoch & 1 == 1 {
                            *set |= r.joint.bit(f.id);
                        }
                    }
                    let mut felt = false;
                    for p in f.pushes.iter().filter(|p| l.present >> p.epoch & 1 == 1) {
                        with.weight *= p.keep;
                        felt |= p.digit.is_some();
                    }
                    if felt {
                        with.path.push((m, l.present));
                    }
                    self.grow(with, m + 1, more - usize::from(!f.needed()), known, nodes);
                }
            }
            others *= f.absent;
            if others == 0.0 {
                return;
            }
        }
        let mut weight = others;
        let mut wrong = Vec::with_capacity(self.readings.len());
        for (i, (set, r)) in life.sets.iter().zip(&self.readings).enumerate() {
            let (likelihood, misread) = known.entry((i, *set)).or_insert_with(|| {
                let truly = r.joint.truly(*set, r.outcome);
                let all = r.finding.mixed(r.outcome, truly);
                (all, r.finding.wrongs(&r.joint, *set, r.outcome, all))
            });
            weight *= *likelihood;
            wrong.extend(misread.iter());
        }
        if weight > 0.0 {
            let now = life.now;
            let shared = Shared { weight, now, wrong };
            nodes.entry(life.path).or_default().push(shared);
        }
    }

    /// Goes through what is pushed to from no push at all.
    fn walk(&self, space: &Space, mut visit: impl FnMut(&Node, &[f64])) {
        let mut pushed = vec![vec![0.0; space.states]; self.members.len() + 1];
        pushed[0][0] = 1.0;
        for node in &self.nodes {
            if let Some(before) = node.depth.checked_sub(1) {
                let (from, to) = pushed.split_at_mut(node.depth);
                to[0].copy_from_slice(&from[before]);
                let (m, present) = node.last;
                space.push(&mut to[0], &self.members[m].pushes, present);
            }
            visit(node, &pushed[node.depth]);
        }
    }

    /// For each of some sets of its faults, the weights of what is pushed to if
    /// none of the set is there now.
    fn without(&self, space: &Space, sets: &[u64]) -> Vec<Vec<f64>> {
        let mut all = vec![vec![0.0; space.states]; sets.len()];
        self.walk(space, |node, pushed| {
            for (set, all) in sets.iter().zip(&mut all) {
                let lives = node.lives.iter().filter(|l| l.now & set == 0);
                let weight: f64 = lives.map(|l| l.weight).sum();
                if weight > 0.0 {
                    add(all, pushed, weight);
                }
            }
        });
        all
    }

    /// The weights of what the lives that are left out push to, with the
    /// greatest likelihoods that the joint results can have.
    fn left_out(&self, space: &Space) -> Option<Vec<f64>> {
        if !self.larger {
            return None;
        }
        // By how many of the faults that need not be there are; the last are
        // those with more than are gone through.
        let mut by_size = vec![vec![0.0; space.states]; self.size + 2];
        by_size[0][0] = self.most();
        let mut room = vec![0.0; space.states];
        for f in &self.members {
            let was = by_size.clone();
            by_size.iter_mut().flatten().for_each(|x| *x *= f.absent);
            for life in &f.lives {
                for (size, was) in was.iter().enumerate() {
                    room.copy_from_slice(was);
                    let keep = space.push(&mut room, &f.pushes, life.present);
                    let size = (size + usize::from(!f.needed())).min(self.size + 1);
                    add(&mut by_size[size], &room, keep * life.weight);
                }
            }
        }
        by_size.pop()
    }

    /// What no likelihood of the joint results exceeds.
    fn most(&self) -> f64 {
        let most = |r: &Reading| r.finding.most(r.outcome);
        self.readings.iter().map(most).product()
    }

    /// Takes what it can find from the likelihoods of all else by what is
    /// pushed to.
    fn back(&self, space: &Space, back: &[f64], sums: &mut Sums) {
        let mut faults = vec![0.0; self.members.len()];
        let results = || {
            let of = |r: &Reading| r.result..r.result + r.finding.results();
            self.readings.iter().flat_map(of)
        };
        let mut misread = vec![0.0; results().count()];
        self.walk(space, |node, pushed| {
            let rest = dot(pushed, back) / sums.total;
            for l in &node.lives {
                let p = l.weight * rest;
                for (m, sum) in faults.iter_mut().enumerate() {
                    *sum += p * (l.now >> m & 1) as f64;
                }
                for (wrong, sum) in l.wrong.iter().zip(&mut misread) {
                    *sum += p * wrong;
                }
            }
        });
        for (f, p) in self.members.iter().zip(faults) {
            sums.faults[f.id] = p.clamp(0.0, 1.0);
        }
        for (result, p) in results().zip(misread) {
            sums.misread[result] = p.clamp(0.0, 1.0);
        }
    }

    /// Which of its faults belong to a whole.
    fn of(&self, whole: Whole) -> u64 {
        let members = self.members.iter().enumerate();
        members.fold(0, |set, (m, f)| set | u64::from(whole.has(f)) << m)
    }
}

struct Model {
    digits: Vec<Digit>,
    /// Those that act alone.
    faults: Vec<Variable>,
    /// Those that act together.
    blocks: Vec<Block>,
    /// Weight of what holds whatever the faults are.
    constant: f64,
    results: usize,
}

impl Model {
    /// `least` is for its [blocks](Block::new). `None` if it takes more than
    /// [`MAX_STATES`] or [`MAX_LIVES`].
    fn new(network: &Network, events: &[Event], least: usize) -> Option<Model> {
        let mut digits: Vec<Digit> = Vec::new();
        let mut pushes: Vec<Vec<Push>> = vec![Vec::new(); network.len()];
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
                states = states.checked_mul(levels).filter(|s| *s <= MAX_STATES)?;
            }
            results += 1;
        }
        if changes.len() >= 63 {
            return None;
        }
        let mut faults: Vec<Option<Variable>> = network
            .faults()
            .iter()
            .zip(pushes)
            .enumerate()
            .map(|(f, (prior, pushes))| {
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
            let members = (0..faults.len())
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
        };
        let fits = |b: &Block| model.size(b.digits).0 <= WIDE;
        model.blocks.iter().all(fits).then_some(model)
    }

    /// The space of all digits. Those that most faults push get the widest
    /// strides: they are moved in long runs.
    fn space(&self) -> Space {
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
        Space::new(self, narrow)
    }

    /// How many combinations a set of digits has, and how many pairs of them
    /// where the second is nowhere lower than the first.
    fn size(&self, digits: u32) -> (usize, usize) {
        (0..self.digits.len())
            .filter(|d| digits >> d & 1 == 1)
            .map(|d| self.digits[d].levels)
            .fold((1, 1), |(n, pairs), l| (n * l, pairs * l * (l + 1) / 2))
    }
}

/// What a vector of weights is indexed by.
struct Space {
    /// The digits, the narrowest stride first.
    digits: Vec<usize>,
    /// Stride and levels by digit; nought for digits that are not in it.
    at: Vec<(usize, usize)>,
    states: usize,
}

impl Space {
    fn new(model: &Model, digits: Vec<usize>) -> Space {
        let mut at = vec![(0, 0); model.digits.len()];
        let mut states = 1;
        for d in &digits {
            at[*d] = (states, model.digits[*d].levels);
            states *= model.digits[*d].levels;
        }
        Space { digits, at, states }
    }

    /// The level of a digit in a state.
    fn level(&self, digit: usize, state: usize) -> usize {
        let (stride, levels) = self.at[digit];
        state / stride % levels
    }

    /// The vector whose weights are a product over the digits.
    fn product(&self, model: &Model, constant: f64, of: impl Fn(&Digit) -> &[f64; 3]) -> Vec<f64> {
        let mut v = Vec::with_capacity(self.states);
        v.push(constant);
        for d in &self.digits {
            let digit = &model.digits[*d];
            let n = v.len();
            for _ in 1..digit.levels {
                v.extend_from_within(..n);
            }
            for (part, by) in v.chunks_exact_mut(n).zip(of(digit)) {
                part.iter_mut().for_each(|x| *x *= by);
            }
        }
        v
    }

    /// Where the combinations of some of its digits are in it.
    fn places(&self, digits: impl Iterator<Item = usize>) -> Vec<u32> {
        let mut out = vec![0];
        for d in digits {
            let (stride, levels) = self.at[d];
            out = (0..levels)
                .flat_map(|l| out.iter().map(move |o| o + (l * stride) as u32))
                .collect();
        }
        out
    }

    /// Goes over the pushes of a fault where it is present, each on its own
    /// digit: `two` and `three` move the weights of one run of levels.
    /// Gives the chance that what was folded in stays possible.
    fn sweep(
        &self,
        v: &mut [f64],
        pushes: &[Push],
        present: u64,
        two: impl Fn(&mut f64, &mut f64, f64),
        three: impl Fn([f64; 3], f64, f64) -> [f64; 3],
    ) -> f64 {
        let mut keep = 1.0;
        for p in pushes {
            if present >> p.epoch & 1 == 0 {
                continue;
            }
            keep *= p.keep;
            let Some(digit) = p.digit else { continue };
            let (step, levels) = self.at[digit];
            for block in v.chunks_exact_mut(step * levels) {
                if levels == 2 {
                    let (low, high) = block.split_at_mut(step);
                    for (l, h) in low.iter_mut().zip(high) {
                        two(l, h, p.up);
                    }
                } else {
                    for i in 0..step {
                        let was = [block[i], block[i + step], block[i + 2 * step]];
                        let [a, b, c] = three(was, p.up, p.far);
                        block[i] = a;
                        block[i + step] = b;
                        block[i + 2 * step] = c;
                    }
                }
            }
        }
        keep
    }

    /// Moves weight up as a present fault does.
    fn push(&self, v: &mut [f64], pushes: &[Push], present: u64) -> f64 {
        self.sweep(
            v,
            pushes,
            present,
            |l, h, up| {
                *h += *l * up;
                *l *= 1.0 - up;
            },
            |[a, b, c], up, far| {
                [
                    a * (1.0 - up - far),
                    a * up + b * (1.0 - far),
                    (a + b) * far + c,
                ]
            },
        )
    }

    /// The transpose of [`Self::push`]; pushes may come in any order.
    fn pull(&self, v: &mut [f64], pushes: &[Push], present: u64) -> f64 {
        self.sweep(
            v,
            pushes,
            present,
            |l, h, up| *l = *l * (1.0 - up) + *h * up,
            |[a, b, c], up, far| {
                [
                    a * (1.0 - up - far) + b * up + c * far,
                    b * (1.0 - far) + c * far,
                    c,
                ]
            },
        )
    }
}

/// What a step of a [`Sweep`] goes over.
enum Step<'m> {
    Fault(&'m Variable),
    Pack(Box<Pack<'m>>),
}

impl Step<'_> {
    /// Whether it has faults of something. Where blocks are, a step of faults
    /// that act alone is of one item if that has a fault in a block.
    fn has(&self, whole: Whole) -> bool {
        match self {
            Step::Fault(f) => whole.has(f),
            Step::Pack(p) => match &p.inside {
                Inside::Alone(sweep, _) => sweep.steps.iter().any(|s| s.has(whole)),
                Inside::Together(block, _) => block.of(whole) != 0,
            },
        }
    }
}

/// Consecutive steps that have all faults of something. Between them may be
/// others if it has faults in a block.
struct Run {
    first: usize,
    last: usize,
    of: Whole,
}

#[derive(Clone, Copy)]
enum Whole {
    Item(usize),
    Place(usize),
    Everything,
}

impl Whole {
    fn has(self, f: &Variable) -> bool {
        match self {
            Whole::Item(i) => f.item == i,
            Whole::Place(p) => f.place == p,
            Whole::Everything => true,
        }
    }
}

/// What the sums give.
struct Sums {
    /// Probability of everything that was seen.
    total: f64,
    /// Probability of each fault now.
    faults: Vec<f64>,
    /// Probability that an item, a place, everything has no fault now.
    no_item: Vec<f64>,
    no_place: Vec<f64>,
    nothing: f64,
    /// For each result, the probability that it was a misreading.
    misread: Vec<f64>,
}

impl Sums {
    fn none_of(&mut self, whole: Whole) -> &mut f64 {
        match whole {
            Whole::Item(i) => &mut self.no_item[i],
            Whole::Place(p) => &mut self.no_place[p],
            Whole::Everything => &mut self.nothing,
        }
    }
}

/// The sum step by step, there and back.
struct Sweep<'m> {
    space: Space,
    steps: Vec<Step<'m>>,
    /// As the way back meets them: later ends first.
    runs: Vec<Run>,
    /// The weights before each step, and after the last.
    ahead: Vec<f64>,
    /// What the weights after the last step may lack at most; empty if nothing.
    lost: Vec<f64>,
}

impl<'m> Sweep<'m> {
    /// Over all faults that a result touches.
    fn over(model: &'m Model) -> Sweep<'m> {
        let space = model.space();
        let start = space.product(model, model.constant, |d| &d.start);
        let members = || model.blocks.iter().flat_map(|b| &b.members);
        let items: BTreeSet<usize> = members().map(|f| f.item).collect();
        let places: BTreeSet<usize> = members().map(|f| f.place).collect();
        // Places hold items hold faults, so that each is one run of the order;
        // those with faults in a block, which come last, are next to them.
        let mut order: Vec<&Variable> = Vec::with_capacity(model.faults.len());
        order.extend(model.faults.iter().filter(|f| !f.pushes.is_empty()));
        let tied = |f: &Variable| (places.contains(&f.place), items.contains(&f.item));
        order.sort_by_key(|f| (tied(f), f.place, f.item));
        let packing = space.states > WIDEST;
        let mut steps: Vec<Step> = Vec::with_capacity(order.len());
        let mut runs: Vec<Run> = Vec::with_capacity(order.len() + 2);
        for place in order.chunk_by(|a, b| a.place == b.place && tied(a) == tied(b)) {
            let (tied_place, tied_items) = tied(place[0]);
            let from = steps.len();
            let mut narrow: Vec<&[&Variable]> = Vec::new();
            for item in place.chunk_by(|a, b| a.item == b.item) {
                if packing && !tied_items && model.size(digits(item)).0 <= WIDEST {
                    narrow.push(item);
                    continue;
                }
                let first = steps.len();
                if packing {
                    for pack in packs(model, item.chunks(1).collect()) {
                        steps.push(match pack[..] {
                            [f] if model.size(f.digits).0 > WIDEST => Step::Fault(f),
                            _ => Step::Pack(Box::new(Pack::new(model, &space, pack, false))),
                        });
                    }
                } else {
                    steps.extend(item.iter().map(|f| Step::Fault(f)));
                }
                if !tied_items {
                    runs.push(Run {
                        first,
                        last: steps.len() - 1,
                        of: Whole::Item(item[0].item),
                    });
                }
            }
            for pack in packs(model, narrow) {
                steps.push(Step::Pack(Box::new(Pack::new(model, &space, pack, true))));
            }
            if !tied_place {
                runs.push(Run {
                    first: from,
                    last: steps.len() - 1,
                    of: Whole::Place(place[0].place),
                });
            }
        }
        let blocks = model.blocks.iter();
        steps.extend(blocks.map(|b| Step::Pack(Box::new(Pack::tied(model, &space, b)))));
        let wholes = items.into_iter().map(Whole::Item);
        for of in wholes.chain(places.into_iter().map(Whole::Place)) {
            let has = |s: &Step| s.has(of);
            let ends = (steps.iter().position(has), steps.iter().rposition(has));
            if let (Some(first), Some(last)) = ends {
                runs.push(Run { first, last, of });
            }
        }
        if let Some(last) = steps.len().checked_sub(1) {
            runs.push(Run {
                first: 0,
                last,
                of: Whole::Everything,
            });
        }
        Sweep::new(space, start, steps, runs)
    }

    fn new(space: Space, start: Vec<f64>, steps: Vec<Step<'m>>, mut runs: Vec<Run>) -> Self {
        runs.sort_by_key(|r| Reverse(r.last));
        let n = space.states;
        let mut ahead = start;
        ahead.resize(n * (steps.len() + 1), 0.0);
        let mut room = vec![0.0; n];
        let mut lost = Vec::new();
        for (i, step) in steps.iter().enumerate() {
            let (before, after) = ahead[i * n..(i + 2) * n].split_at_mut(n);
            match step {
                Step::Fault(f) => {
                    add(after, before, f.absent);
                    for life in &f.lives {
                        room.copy_from_slice(before);
                        let keep = space.push(&mut room, &f.pushes, life.present);
                        add(after, &room, keep * life.weight);
                    }
                }
                Step::Pack(p) => {
                    p.push(before, after, &p.all);
                    // Blocks come last: nothing is lost before them.
                    let mut more = vec![0.0; if lost.is_empty() { 0 } else { n }];
                    if !lost.is_empty() {
                        p.push(&lost, &mut more, &p.all);
                    }
                    if let Some(left_out) = &p.left_out {
                        lost.resize(n, 0.0);
                        more.resize(n, 0.0);
                        add(&mut lost, before, 1.0);
                        p.push(&lost, &mut room, left_out);
                        add(&mut more, &room, 1.0);
                    }
                    lost = more;
                }
            }
        }
        Sweep {
            space,
            steps,
            runs,
            ahead,
            lost,
        }
    }

    /// The weights before a step.
    fn ahead(&self, step: usize) -> &[f64] {
        let n = self.space.states;
        &self.ahead[step * n..(step + 1) * n]
    }

    /// The weights after all steps.
    fn result(&self) -> &[f64] {
        self.ahead(self.steps.len())
    }

    /// Goes back from `back`, the likelihoods after all steps. What it finds on
    /// the way it puts into `sums`.
    fn back(&self, mut back: Vec<f64>, sums: &mut Sums) {
        let n = self.space.states;
        let (mut room, mut there) = (vec![0.0; n], vec![0.0; n]);
        // For the runs that it is in: the likelihoods if none of their faults
        // is there now, and a factor on them.
        let mut within: Vec<(&Run, Vec<f64>, f64)> = Vec::new();
        let mut spare: Vec<Vec<f64>> = Vec::new();
        let mut runs = self.runs.iter().peekable();
        for (i, step) in self.steps.iter().enumerate().rev() {
            while let Some(run) = runs.next_if(|r| r.last == i) {
                let mut v = spare.pop().unwrap_or_else(|| vec![0.0; n]);
                v.copy_from_slice(&back);
                within.push((run, v, 1.0));
            }
            let ahead = self.ahead(i);
            match step {
                Step::Fault(f) => {
                    for (run, v, by) in &mut within {
                        if !run.of.has(f) {
                            self.pull_lives(v, f, |_| true, &mut room, &mut there);
                        } else if f.lasts() {
                            *by *= f.absent;
                        } else {
                            self.pull_gone(v, f, &mut room, &mut there);
                        }
                    }
                }
                Step::Pack(p) => {
                    let left = p.without(within.iter().map(|w| w.0.of));
                    for ((_, v, by), left) in within.iter_mut().zip(left) {
                        match left {
                            Left::Share(absent) => *by *= absent,
                            Left::Pairs(weights) => *v = p.pull(v, &weights),
                        }
                    }
                }
            }
            match step {
                Step::Fault(f) => {
                    there.fill(0.0);
                    for life in f.lives.iter().filter(|l| l.now) {
                        room.copy_from_slice(&back);
                        let keep = self.space.pull(&mut room, &f.pushes, life.present);
                        add(&mut there, &room, keep * life.weight);
                    }
                    let p = dot(ahead, &there) / sums.total;
                    sums.faults[f.id] = p.clamp(0.0, 1.0);
                    if f.lasts() {
                        back.iter_mut()
                            .zip(&there)
                            .for_each(|(b, t)| *b = *b * f.absent + t);
                    } else {
                        let mut gone = there.clone();
                        self.pull_gone(&mut back, f, &mut room, &mut gone);
                        add(&mut back, &there, 1.0);
                    }
                }
                Step::Pack(p) => {
                    let rest = p.contract(ahead, &back);
                    match &p.inside {
                        Inside::Alone(sweep, _) => sweep.back(rest, sums),
                        Inside::Together(block, space) => block.back(space, &rest, sums),
                    }
                    back = p.pull(&back, &p.all);
                }
            }
            while let Some(at) = within.iter().rposition(|w| w.0.first == i) {
                let (run, v, by) = within.swap_remove(at);
                *sums.none_of(run.of) *= by * dot(ahead, &v) / sums.total;
                spare.push(v);
            }
        }
    }

    /// What is left of likelihoods if a fault is not there now.
    fn pull_gone(&self, v: &mut [f64], f: &Variable, room: &mut [f64], was: &mut [f64]) {
        self.pull_lives(v, f, |l| !l.now, room, was);
    }

    /// The same if it was never there or has one of these lives.
    fn pull_lives(
        &self,
        v: &mut [f64],
        f: &Variable,
        these: impl Fn(&Life) -> bool,
        room: &mut [f64],
        was: &mut [f64],
    ) {
        was.copy_from_slice(v);
        v.iter_mut().for_each(|x| *x *= f.absent);
        for life in f.lives.iter().filter(|l| these(l)) {
            room.copy_from_slice(was);
            let keep = self.space.pull(room, &f.pushes, life.present);
            add(v, room, keep * life.weight);
        }
    }
}

/// Adds `by` times `what` to `to`.
fn add(to: &mut [f64], what: &[f64], by: f64) {
    to.iter_mut().zip(what).for_each(|(t, w)| *t += w * by);
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// The digits that any of these faults pushes.
fn digits(faults: &[&Variable]) -> u32 {
    faults.iter().fold(0, |set, f| set | f.digits)
}

/// Puts units of faults together: the widest first, each where it adds least
/// to the cost of a sweep, or by itself.
fn packs<'m>(model: &Model, mut units: Vec<&[&'m Variable]>) -> Vec<Vec<&'m Variable>> {
    // Moving weights in and out, and the products.
    let cost = |digits: u32| match model.size(digits) {
        (n, pairs) if n <= WIDEST => 6.0 + 1.5 * pairs as f64 / n as f64,
        _ => f64::INFINITY,
    };
    units.sort_by_key(|u| Reverse(digits(u).count_ones()));
    let mut packs: Vec<(u32, f64, Vec<&Variable>)> = Vec::new();
    for unit in units {
        let own = digits(unit);
        let best = packs
            .iter_mut()
            .map(|p| (cost(p.0 | own) - p.1, p))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((more, pack)) if more < cost(own) => {
                pack.0 |= own;
                pack.1 += more;
                pack.2.extend(unit);
            }
            _ => packs.push((own, cost(own), unit.to_vec())),
        }
    }
    packs.into_iter().map(|p| p.2).collect()
}

/// Most combinations of the digits of a pack.
const WIDEST: usize = 64;
/// Weights that are moved side by side.
const LANES: usize = 8;
/// Most combinations of the digits of a block.
const WIDE: usize = 1 << 12;
/// The weights of `LANES` combinations of the other digits, by combination of
/// the pack's own.
type Rows<const N: usize> = [[f64; LANES]; N];

/// Wide ones have no place on the stack.
fn rows<const N: usize>() -> Box<Rows<N>> {
    let rows = vec![[0.0; LANES]; N].into_boxed_slice();
    rows.try_into()
        .unwrap_or_else(|_| Box::new([[0.0; LANES]; N]))
}

/// Faults that push few digits, gone over in the space of these alone.
///
/// To the rest they are one distribution over the combinations of their own
/// digits, and what they push a state to is the greater of the two, digit by
/// digit. Its operators therefore have one weight for each pair of
/// combinations of which the second is nowhere lower than the first.
struct Pack<'m> {
    inside: Inside<'m>,
    /// Where the combinations of its digits are in the whole space, and those
    /// of all others.
    own: Vec<u32>,
    others: Vec<u32>,
    /// From and to.
    pairs: Vec<(u16, u16)>,
    /// Weight of each pair.
    all: Vec<f64>,
    /// The most that may be lacking in these.
    left_out: Option<Vec<f64>>,
}

/// How the faults of a pack are gone through.
enum Inside<'m> {
    Alone(Sweep<'m>, Gone),
    Together(&'m Block, Space),
}

/// What becomes of a pack if none of its faults is there now.
enum Gone {
    /// None that was ever there can be gone: the weight of none being there.
    Never(f64),
    /// Weight of each pair.
    May(Vec<f64>),
}

/// What becomes of a pack if none of some faults is there now.
enum Left<'p> {
    /// Nothing that pushes: the weight of that.
    Share(f64),
    /// Weight of each pair.
    Pairs(Cow<'p, [f64]>),
}

impl Inside<'_> {
    /// The digits that are pushed.
    fn space(&self) -> &Space {
        match self {
            Inside::Alone(sweep, _) => &sweep.space,
            Inside::Together(_, space) => space,
        }
    }
}

impl<'m> Pack<'m> {
    /// `whole`: it has all faults of its items.
    fn new(model: &Model, outer: &Space, faults: Vec<&'m Variable>, whole: bool) -> Self {
        let set = digits(&faults);
        let own = outer.digits.iter().copied().filter(|d| set >> d & 1 == 1);
        let space = Space::new(model, own.collect());
        let mut runs = Vec::new();
        if whole {
            let mut first = 0;
            for item in faults.chunk_by(|a, b| a.item == b.item) {
                let last = first + item.len() - 1;
                let of = Whole::Item(item[0].item);
                runs.push(Run { first, last, of });
                first = last + 1;
            }
        }
        let mut start = vec![0.0; space.states];
        start[0] = 1.0;
        let gone = if faults.iter().all(|f| f.lasts()) {
            Gone::Never(faults.iter().map(|f| f.absent).product())
        } else {
            let mut v = start.clone();
            let mut room = start.clone();
            for f in &faults {
                let was = v.clone();
                v.iter_mut().for_each(|x| *x *= f.absent);
                for life in f.lives.iter().filter(|l| !l.now) {
                    room.copy_from_slice(&was);
                    let keep = space.push(&mut room, &f.pushes, life.present);
                    add(&mut v, &room, keep * life.weight);
                }
            }
            Gone::May(space.by_pair(&v))
        };
        let steps = faults.into_iter().map(Step::Fault).collect();
        let sweep = Sweep::new(space, start, steps, runs);
        let all = sweep.space.by_pair(sweep.result());
        Pack::of(model, outer, Inside::Alone(sweep, gone), all)
    }

    /// The faults of a block.
    fn tied(model: &Model, outer: &Space, block: &'m Block) -> Self {
        let own = outer.digits.iter().copied();
        let own = own.filter(|d| block.digits >> d & 1 == 1).collect();
        let space = Space::new(model, own);
        let all = space.by_pair(&block.without(&space, &[0])[0]);
        let left_out = block.left_out(&space).map(|v| space.by_pair(&v));
        Pack {
            left_out,
            ..Pack::of(model, outer, Inside::Together(block, space), all)
        }
    }

    fn of(model: &Model, outer: &Space, inside: Inside<'m>, all: Vec<f64>) -> Self {
        let own = &inside.space().digits;
        let mut pairs = vec![(0, 0)];
        let mut stride = 1;
        for d in own {
            let levels = model.digits[*d].levels as u16;
            pairs = (0..levels)
                .flat_map(|b| (0..=b).map(move |a| (a * stride, b * stride)))
                .flat_map(|(a, b)| pairs.iter().map(move |(s, u)| (s + a, u + b)))
                .collect();
            stride *= levels;
        }
        let others = outer.digits.iter().copied().filter(|d| !own.contains(d));
        Pack {
            own: outer.places(own.iter().copied()),
            others: outer.places(others),
            inside,
            pairs,
            all,
            left_out: None,
        }
    }

    /// What becomes of it if no fault of a whole is there now, for several.
    fn without(&self, wholes: impl Iterator<Item = Whole>) -> Vec<Left<'_>> {
        match &self.inside {
            Inside::Alone(sweep, gone) => wholes
                .map(|whole| match gone {
                    _ if !sweep.steps.iter().any(|s| s.has(whole)) => {
                        Left::Pairs(Cow::from(&self.all))
                    }
                    Gone::Never(absent) => Left::Share(*absent),
                    Gone::May(gone) => Left::Pairs(Cow::from(gone)),
                })
                .collect(),
            Inside::Together(block, space) => {
                let sets: Vec<u64> = wholes.map(|whole| block.of(whole)).collect();
                let left = block.without(space, &sets);
                left.iter()
                    .map(|v| Left::Pairs(space.by_pair(v).into()))
                    .collect()
            }
        }
    }

    /// Puts into `after` what `before` becomes, with these weights of the pairs.
    fn push(&self, before: &[f64], after: &mut [f64], by: &[f64]) {
        self.moved(before, after, by, |(s, u)| (s, u));
    }

    /// The transpose, with these weights of the pairs.
    fn pull(&self, after: &[f64], by: &[f64]) -> Vec<f64> {
        let mut before = vec![0.0; after.len()];
        self.moved(after, &mut before, by, |(s, u)| (u, s));
        before
    }

    fn moved(
        &self,
        v: &[f64],
        out: &mut [f64],
        by: &[f64],
        turned: impl Fn((u16, u16)) -> (u16, u16),
    ) {
        if self.own.len() <= WIDEST {
            self.moved_in::<WIDEST>(v, out, by, turned);
        } else {
            self.moved_in::<WIDE>(v, out, by, turned);
        }
    }

    fn moved_in<const N: usize>(
        &self,
        v: &[f64],
        out: &mut [f64],
        by: &[f64],
        turned: impl Fn((u16, u16)) -> (u16, u16),
    ) {
        let (mut from, mut to) = (rows::<N>(), rows::<N>());
        for others in self.others.chunks(LANES) {
            self.gather(v, others, &mut from);
            to.fill([0.0; LANES]);
            for (pair, w) in self.pairs.iter().zip(by) {
                let (s, u) = turned(*pair);
                let from = &from[usize::from(s) % N];
                let to = &mut to[usize::from(u) % N];
                for l in 0..LANES {
                    to[l] += w * from[l];
                }
            }
            for (own, to) in self.own.iter().zip(to.iter()) {
                for (other, x) in others.iter().zip(to) {
                    out[(own + other) as usize] = *x;
                }
            }
        }
    }

    /// The likelihood of everything outside by what the pack pushes to.
    fn contract(&self, ahead: &[f64], back: &[f64]) -> Vec<f64> {
        if self.own.len() <= WIDEST {
            self.contract_in::<WIDEST>(ahead, back)
        } else {
            self.contract_in::<WIDE>(ahead, back)
        }
    }

    fn contract_in<const N: usize>(&self, ahead: &[f64], back: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.pairs.len()];
        let (mut from, mut to) = (rows::<N>(), rows::<N>());
        for others in self.others.chunks(LANES) {
            self.gather(ahead, others, &mut from);
            self.gather(back, others, &mut to);
            for ((s, u), sum) in self.pairs.iter().zip(&mut sums) {
                let a = &from[usize::from(*s) % N];
                let b = &to[usize::from(*u) % N];
                let mut part = [0.0; LANES / 2];
                for l in 0..LANES / 2 {
                    part[l] = a[l] * b[l] + a[l + LANES / 2] * b[l + LANES / 2];
                }
                *sum += part.iter().sum::<f64>();
            }
        }
        self.inside.space().by_push(sums)
    }

    /// Lanes without a combination of their own are nought.
    fn gather<const N: usize>(&self, v: &[f64], others: &[u32], rows: &mut Rows<N>) {
        for (own, row) in self.own.iter().zip(rows) {
            *row = [0.0; LANES];
            for (other, x) in others.iter().zip(row) {
                *x = v[(own + other) as usize];
            }
        }
    }
}

impl Space {
    /// From the weights of what is pushed to, those of the pairs of states
    /// (from, to): digit by digit, to the same level leads any push up to
    /// there, to a higher one only the push to it.
    fn by_pair(&self, pushed: &[f64]) -> Vec<f64> {
        let mut v = pushed.to_vec();
        let mut done = 1;
        for d in &self.digits {
            let levels = self.at[*d].1;
            let pairs = levels * (levels + 1) / 2;
            let mut next = Vec::with_capacity(v.len() / levels * pairs);
            for chunk in v.chunks_exact(done * levels) {
                for to in 0..levels {
                    let push = |l: usize| &chunk[l * done..(l + 1) * done];
                    for _ in 0..to {
                        next.extend_from_slice(push(to));
                    }
                    next.extend_from_slice(push(to));
                    let at = next.len() - done;
                    (0..to).for_each(|lower| add(&mut next[at..], push(lower), 1.0));
                }
            }
            v = next;
            done *= pairs;
        }
        v
    }

    /// The transpose of [`Self::by_pair`].
    fn by_push(&self, paired: Vec<f64>) -> Vec<f64> {
        let mut v = paired;
        let mut done = v.len();
        for d in self.digits.iter().rev() {
            let levels = self.at[*d].1;
            let pairs = levels * (levels + 1) / 2;
            done /= pairs;
            let mut next = vec![0.0; v.len() / pairs * levels];
            let chunks = next.chunks_exact_mut(done * levels);
            for (out, chunk) in chunks.zip(v.chunks_exact(done * pairs)) {
                for (push, out) in out.chunks_exact_mut(done).enumerate() {
                    for from in 0..levels {
                        let to = from.max(push);
                        let pair = to * (to + 1) / 2 + from;
                        add(out, &chunk[pair * done..(pair + 1) * done], 1.0);
                    }
                }
            }
            v = next;
        }
        v
    }
}

/// A sum with its way ahead done.
struct Ahead<'m> {
    sweep: Sweep<'m>,
    /// The likelihoods after it.
    end: Vec<f64>,
    /// Probability of what was seen, and a bound on what is left out of it.
    total: f64,
    lost: f64,
}

impl Ahead<'_> {
    fn new(model: &Model) -> Ahead<'_> {
        let sweep = Sweep::over(model);
        let end = sweep.space.product(model, 1.0, |d| &d.last);
        Ahead {
            total: dot(sweep.result(), &end),
            lost: sweep
                .lost
                .iter()
                .zip(&end)
                .fold(0.0, |sum, (l, e)| sum + l * e),
            sweep,
            end,
        }
    }
}

/// Does something with the sum over sets large enough that those left out have
/// at most this share of the evidence. `None` if that is out of reach.
fn reach<T>(
    network: &Network,
    events: &[Event],
    share: f64,
    work: impl FnOnce(&Model, &Ahead) -> T,
) -> Option<T> {
    for least in SIZES {
        let model = Model::new(network, events, least)?;
        let ahead = Ahead::new(&model);
        if ahead.lost <= share * ahead.total {
            return Some(work(&model, &ahead));
        }
    }
    None
}

/// Whether the sum over all sets is within reach for these events.
pub fn within_reach(network: &Network, events: &[Event]) -> bool {
    reach(network, events, NEGLIGIBLE, |_, _| ()).is_some()
}

/// Sums over all sets. `None` if there are too many results for it
/// ([`MAX_STATES`]) or too many faults act together ([`MAX_LIVES`]), or if what
/// was seen is impossible under the model.
pub fn sum(network: &Network, events: &[Event]) -> Option<Exact> {
    attempt(network, events).flatten()
}

/// The same, with nothing inside if what was seen is impossible, and nothing at
/// all if the sum is out of reach.
pub(super) fn attempt(network: &Network, events: &[Event]) -> Option<Option<Exact>> {
    let possible = |a: &Ahead| a.total > 0.0 && a.total.is_finite();
    reach(network, events, NEGLIGIBLE, |model, ahead| {
        possible(ahead).then(|| back(network, model, ahead))
    })
}

fn back(network: &Network, model: &Model, ahead: &Ahead) -> Exact {
    let (sweep, end, total, lost) = (&ahead.sweep, &ahead.end, ahead.total, ahead.lost);
    let prior = network.faults().iter().map(|f| f.probability);
    let mut sums = Sums {
        total,
        faults: prior.collect(),
        no_item: vec![1.0; network.items()],
        no_place: vec![1.0; network.places()],
        nothing: 1.0,
        misread: vec![0.0; model.results],
    };
    // What no result touches stays as it was.
    for f in model.faults.iter().filter(|f| f.pushes.is_empty()) {
        sums.faults[f.id] = f.now();
        let not = 1.0 - sums.faults[f.id];
        sums.no_item[f.item] *= not;
        sums.no_place[f.place] *= not;
        sums.nothing *= not;
    }
    for (d, digit) in model.digits.iter().enumerate().filter(|d| d.1.misread) {
        let wrong: f64 = sweep
            .result()
            .iter()
            .zip(end)
            .enumerate()
            .filter(|(state, _)| sweep.space.level(d, *state) != digit.seen)
            .map(|(_, (w, e))| w * e)
            .sum();
        sums.misread[digit.result] = (wrong / total).clamp(0.0, 1.0);
    }
    sweep.back(end.clone(), &mut sums);
    let some = |none: Vec<f64>| none.iter().map(|p| (1.0 - p).clamp(0.0, 1.0)).collect();
    Exact {
        evidence: total,
        faults: sums.faults,
        items: some(sums.no_item),
        places: some(sums.no_place),
        nothing: sums.nothing.clamp(0.0, 1.0),
        misread: sums.misread,
        left_out: lost / (total + lost),
    }
}

/// Only the probability of what was seen, roughly where many faults act
/// together: one way instead of both.
pub fn evidence(network: &Network, events: &[Event]) -> Option<f64> {
    reach(network, events, ROUGH, |_, ahead| ahead.total)
}

/// The same with a bound on what is left out of it, whatever that is.
pub(super) fn weight(network: &Network, events: &[Event]) -> Option<(f64, f64)> {
    let model = Model::new(network, events, *SIZES.start())?;
    let ahead = Ahead::new(&model);
    Some((ahead.total, ahead.lost))
}
