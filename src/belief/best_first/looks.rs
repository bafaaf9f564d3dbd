//! Results as the search sees them: their likelihood with a set of faults, and
//! how far more faults can raise it.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;

use rustc_hash::FxHashMap;
use typed_index_collections::TiVec;

use super::super::network::{FaultId, Finding, Joint, Seen};

/// Least share of the largest likelihood of a result that bounds divide by.
const FLOOR: f64 = 1e-4;
/// From this chance of a push on, the bound on a middle outcome counts what
/// pushes up to it and what pushes beyond it separately; below, that is looser.
const PUSHED: f64 = 0.3;

/// A result.
pub(super) struct Look {
    finding: Arc<Finding>,
    outcome: usize,
    /// Index among the results, of the first that it stands for.
    pub(super) result: usize,
    /// How many changes came before it.
    pub(super) epoch: u32,
    acts: Acts,
    /// The likelihood of the outcome when another is true, and what is added
    /// when it is true itself.
    flat: f64,
    real: f64,
}

enum Acts {
    Alone {
        /// With no fault: the chance of at most this outcome, and of less.
        leak: (f64, f64),
        /// What each fault multiplies these by.
        by: TiVec<FaultId, (f64, f64)>,
    },
    Together {
        joint: Arc<Joint>,
        /// By place in the joint: the most of any row with this fault.
        most_with: Vec<f64>,
        /// The most of all rows.
        most: f64,
        /// Whether every two faults have a row.
        pairs: bool,
        known: RefCell<FxHashMap<u64, Rc<Beside>>>,
    },
}

/// A joint result with a set of its faults.
pub(super) struct Beside {
    set: u64,
    likelihood: f64,
    /// The same with one more fault, by place in the joint.
    with: Vec<f64>,
    /// What the bounds start from.
    base: f64,
    /// Of each other fault, by place: the likelihood with several more is at
    /// most the base times the product of these, each 1 or more.
    raise: Vec<f64>,
}

/// A result with a set of faults.
#[derive(Clone)]
pub(super) enum At {
    /// The chance of at most this outcome, and of less.
    Alone(f64, f64),
    Together(Rc<Beside>),
}

/// What the bounds on larger sets start from.
#[derive(Clone, Copy)]
pub(super) struct Base {
    /// No less than the likelihood.
    pub(super) likelihood: f64,
    /// What no set of more faults multiplies it by.
    pub(super) most: f64,
}

/// What one more fault does to a result.
pub(super) struct More {
    /// The likelihood then.
    pub(super) likelihood: f64,
    /// Several more faults multiply the [`Base`] by no more than the product of
    /// these, 1 or more each...
    pub(super) raise: f64,
    /// ...times the least of these, 1 or less each...
    pub(super) lower: f64,
    /// ...and two more faults by no more than that times the least of these.
    pub(super) lower_two: f64,
}

impl Look {
    /// For a network of `n` faults.
    pub(super) fn new(n: usize, seen: &Seen, result: usize, epoch: u32) -> Look {
        let (f, k) = (&seen.finding, seen.outcome);
        let acts = match f.together() {
            Some(joint) => {
                let mut most_with = vec![0.0f64; joint.faults().len()];
                let mut most = f.mixed(k, joint.at_random(k));
                for (set, row) in joint.rows() {
                    let p = f.mixed(k, row[k]);
                    most = most.max(p);
                    for (i, with) in most_with.iter_mut().enumerate() {
                        if set >> i & 1 == 1 {
                            *with = with.max(p);
                        }
                    }
                }
                Acts::Together {
                    joint: joint.clone(),
                    most_with,
                    most,
                    pairs: joint.has_pairs(),
                    known: RefCell::default(),
                }
            }
            None => {
                let upto = |c: &[f64]| c.get(k).copied().unwrap_or(1.0);
                let below = |c: &[f64]| if k == 0 { 0.0 } else { c[k - 1] };
                let mut by = TiVec::from(vec![(1.0, 1.0); n]);
                for (id, c) in f.links() {
                    by[*id] = (upto(c), if k == 0 { 1.0 } else { below(c) });
                }
                let leak = (upto(f.leak()), below(f.leak()));
                Acts::Alone { leak, by }
            }
        };
        let flat = f.mixed(k, 0.0);
        Look {
            finding: f.clone(),
            outcome: k,
            result,
            epoch,
            acts,
            flat,
            real: f.mixed(k, 1.0) - flat,
        }
    }

    /// The faults that it depends on.
    pub(super) fn sees(&self) -> impl Iterator<Item = FaultId> + '_ {
        self.finding.sees()
    }

    /// With no fault.
    pub(super) fn with_none(&self) -> At {
        match &self.acts {
            Acts::Alone { leak, .. } => At::Alone(leak.0, leak.1),
            Acts::Together { .. } => At::Together(self.beside(0)),
        }
    }

    /// With one more fault.
    pub(super) fn with(&self, at: &At, f: FaultId) -> At {
        match (&self.acts, at) {
            (Acts::Alone { by, .. }, At::Alone(upto, below)) => {
                At::Alone(upto * by[f].0, below * by[f].1)
            }
            (Acts::Together { joint, .. }, At::Together(b)) => {
                At::Together(self.beside(b.set | joint.bit(f)))
            }
            _ => at.clone(),
        }
    }

    /// The likelihood.
    pub(super) fn likelihood(&self, at: &At) -> f64 {
        match at {
            At::Alone(upto, below) => self.alone(*upto, *below),
            At::Together(b) => b.likelihood,
        }
    }

    fn alone(&self, upto: f64, below: f64) -> f64 {
        self.flat + self.real * (upto - below).max(0.0)
    }

    fn beside(&self, set: u64) -> Rc<Beside> {
        let Acts::Together {
            joint, known, most, ..
        } = &self.acts
        else {
            unreachable!("only asked where faults act together")
        };
        if let Some(known) = known.borrow().get(&set) {
            return known.clone();
        }
        let k = self.outcome;
        let of = |set| self.finding.mixed(k, joint.truly(set, k));
        let likelihood = of(set);
        let base = likelihood.max(FLOOR * FLOOR * most);
        let beside = Rc::new(Beside {
            set,
            likelihood,
            with: (0..joint.faults().len())
                .map(|i| of(set | 1 << i))
                .collect(),
            base,
            raise: self.raises(joint, set, base),
        });
        known.borrow_mut().insert(set, beside.clone());
        beside
    }

    /// A set that has no row of its own has the mean of rows of sets within it:
    /// of none is the row larger than what these raise the base to.
    fn raises(&self, joint: &Joint, set: u64, base: f64) -> Vec<f64> {
        let mut raise = vec![1.0; joint.faults().len()];
        let of = |row: &[f64]| self.finding.mixed(self.outcome, row[self.outcome]) / base;
        let mut rows: Vec<(u64, f64)> = (joint.rows().iter())
            .map(|r| (r.0 & !set, of(&r.1)))
            .filter(|r| r.1 > 1.0)
            .collect();
        if !joint.rows().iter().any(|r| r.0 == 0) {
            rows.push((0, of(&self.by_chance(joint))));
        }
        // Those of the set itself count with any other fault.
        let within = rows.iter().filter(|r| r.0 == 0).map(|r| r.1);
        raise.fill(within.fold(1.0, f64::max));
        rows.sort_by(|a, b| {
            let ones = |r: &(u64, f64)| r.0.count_ones();
            ones(a).cmp(&ones(b)).then(b.1.total_cmp(&a.1))
        });
        for (more, most) in rows.into_iter().filter(|r| r.0 != 0) {
            let places = || (0..raise.len()).filter(|i| more >> i & 1 == 1);
            let reached: f64 = places().map(|i| raise[i]).product();
            if reached < most {
                let each = (most / reached).powf(1.0 / f64::from(more.count_ones()));
                for i in places().collect::<Vec<_>>() {
                    raise[i] *= each * (1.0 + 1e-12);
                }
            }
        }
        raise
    }

    fn by_chance(&self, joint: &Joint) -> Vec<f64> {
        (0..self.finding.outcomes())
            .map(|k| joint.at_random(k))
            .collect()
    }

    /// Raised where a bound could not divide by the likelihood.
    fn floor(&self) -> f64 {
        (FLOOR * (self.flat + self.real) - self.flat).max(0.0)
    }

    /// The chance that something pushes as far as this outcome, given that
    /// nothing pushes beyond. Where something surely does, the first does not
    /// matter.
    fn pushed(upto: f64, below: f64, else_: f64) -> f64 {
        match upto > 0.0 {
            true => (1.0 - below / upto).clamp(0.0, 1.0),
            false => else_,
        }
    }

    /// What bounds on sets with more faults start from.
    pub(super) fn base(&self, at: &At) -> Base {
        match (&self.acts, at) {
            (Acts::Together { most, .. }, At::Together(b)) => Base {
                likelihood: b.base,
                most: (most / b.base).max(1.0),
            },
            (_, At::Alone(upto, below)) => {
                let likelihood = self.alone(*upto, *below);
                let pushed = Look::pushed(*upto, *below, 1.0);
                if self.outcome == 0 {
                    let most = 1.0;
                    return Base { likelihood, most };
                }
                if self.apart(pushed) {
                    let most = 1.0 / pushed;
                    return Base { likelihood, most };
                }
                let floor = self.floor();
                let likelihood = likelihood + floor;
                let most = (self.flat + floor + self.real * upto) / likelihood;
                Base { likelihood, most }
            }
            _ => unreachable!("a result is of one kind"),
        }
    }

    /// Whether a middle outcome counts what pushes beyond it separately.
    fn apart(&self, pushed: f64) -> bool {
        self.outcome + 1 < self.finding.outcomes() && pushed >= PUSHED
    }

    /// What one more fault does.
    pub(super) fn more(&self, at: &At, base: Base, f: FaultId) -> More {
        match (&self.acts, at) {
            (Acts::Alone { by, .. }, At::Alone(upto, below)) => {
                let (u, b) = (upto * by[f].0, below * by[f].1);
                let likelihood = self.alone(u, b);
                let mut more = More {
                    likelihood,
                    raise: 1.0,
                    lower: 1.0,
                    lower_two: 1.0,
                };
                let share = |x: f64| match base.likelihood > 0.0 {
                    true => x / base.likelihood,
                    false => 0.0,
                };
                if self.outcome == 0 {
                    more.lower = share(likelihood);
                    return more;
                }
                let was = Look::pushed(*upto, *below, 1.0);
                let now = Look::pushed(u, b, was);
                if self.apart(was) {
                    // The chance that nothing pushes beyond falls with each
                    // fault; the logarithm of the other is concave.
                    more.raise = now / was;
                    let both = self.real * (upto - below).max(0.0);
                    more.lower = share(self.flat + both * by[f].0);
                } else {
                    more.raise = share(self.flat + self.floor() + self.real * upto * now);
                }
                more
            }
            (
                Acts::Together {
                    joint,
                    most_with,
                    pairs,
                    ..
                },
                At::Together(b),
            ) => {
                let i = joint.faults().binary_search(&f).unwrap_or(0);
                let with = most_with[i] / base.likelihood;
                More {
                    likelihood: b.with[i],
                    raise: b.raise[i],
                    lower: 1.0,
                    // Two faults and no others have a row, or one of each.
                    lower_two: if b.set == 0 && *pairs {
                        with.min(1.0)
                    } else {
                        1.0
                    },
                }
            }
            _ => unreachable!("a result is of one kind"),
        }
    }

    /// Calls `put` with each of its results, by number, and the chance that it is
    /// a misreading.
    pub(super) fn wrongs(&self, at: &At, mut put: impl FnMut(usize, f64)) {
        match (&self.acts, at) {
            (Acts::Together { joint, .. }, At::Together(b)) => {
                let wrongs = (self.finding).wrongs(joint, b.set, self.outcome, b.likelihood);
                wrongs.into_iter().enumerate().for_each(|(r, p)| put(r, p));
            }
            (_, At::Alone(upto, below)) => {
                let truly = (upto - below).clamp(0.0, 1.0);
                let wrong = self.finding.wrong(self.outcome, truly);
                put(0, wrong / self.alone(*upto, *below));
            }
            _ => unreachable!("a result is of one kind"),
        }
    }
}
