//! Faults that act together, set by set.

use std::collections::{BTreeMap, HashMap};

use super::super::network::FaultId;
use super::digits::{Reading, Variable};
use super::space::{Space, add, dot};
use super::sums::{Sums, Whole};

/// Readings by what ties them: faults that may be there.
pub(super) fn tied(readings: Vec<Reading>, there: impl Fn(FaultId) -> bool) -> Vec<Vec<Reading>> {
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

/// Still larger ones as long as there are at most so many lives.
pub(super) const MANY: usize = 1 << 11;

/// Most combinations of the digits of a block.
pub(super) const WIDE: usize = 1 << 12;

/// Faults that act together, set by set.
pub(super) struct Block {
    pub(super) members: Vec<Variable>,
    pub(super) readings: Vec<Reading>,
    /// By what is pushed: each follows the one that it has one more push than.
    pub(super) nodes: Vec<Node>,
    /// Bit d: some fault pushes digit d.
    pub(super) digits: u64,
    /// Most faults of a life, not counting those that are there for certain;
    /// larger ones are left out.
    pub(super) size: usize,
    /// Whether there are larger ones.
    pub(super) larger: bool,
}

/// All lives of a block that push the same.
pub(super) struct Node {
    /// How many faults push, and the last one of them with the epochs that it
    /// is there in.
    pub(super) depth: usize,
    pub(super) last: (usize, u64),
    pub(super) lives: Vec<Shared>,
}

/// One life of all faults of a block.
pub(super) struct Shared {
    pub(super) weight: f64,
    /// Bit m: the fault is there now.
    pub(super) now: u64,
    /// For each result of the readings, the chance that it is a misreading.
    pub(super) wrong: Vec<f64>,
}

/// What is known of a life while it is put together.
#[derive(Clone)]
pub(super) struct Partial {
    pub(super) weight: f64,
    pub(super) now: u64,
    /// For each reading, which of its faults are there.
    pub(super) sets: Vec<u64>,
    pub(super) path: Vec<(usize, u64)>,
}

impl Block {
    /// Goes through sets of up to `least` faults, and larger ones if they are
    /// few. `None` if there are too many lives.
    pub(super) fn new(
        mut members: Vec<Variable>,
        readings: Vec<Reading>,
        least: usize,
    ) -> Option<Block> {
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
    pub(super) fn grow(
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
    pub(super) fn walk(&self, space: &Space, mut visit: impl FnMut(&Node, &[f64])) {
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
    pub(super) fn without(&self, space: &Space, sets: &[u64]) -> Vec<Vec<f64>> {
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
    pub(super) fn left_out(&self, space: &Space) -> Option<Vec<f64>> {
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
    pub(super) fn most(&self) -> f64 {
        let most = |r: &Reading| r.finding.most(r.outcome);
        self.readings.iter().map(most).product()
    }

    /// Takes what it can find from the likelihoods of all else by what is
    /// pushed to.
    pub(super) fn back(&self, space: &Space, back: &[f64], sums: &mut Sums) {
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
    pub(super) fn of(&self, whole: Whole) -> u64 {
        let members = self.members.iter().enumerate();
        members.fold(0, |set, (m, f)| set | u64::from(whole.has(f)) << m)
    }
}
