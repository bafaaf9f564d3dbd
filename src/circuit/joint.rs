//! Several readings of one circuit, taken together.
//!
//! Whatever is unknown of a circuit is the same for all readings of it: where a
//! fault is, its size, the tolerance of every part. Given the sizes, the
//! readings are normal together: the unknown values move them in common
//! ([`Outlook::by`]), the meter each by itself. Each may be a misreading and
//! then says nothing. So the likelihood of what was read is, over the sizes and
//! over which of the readings are misreadings, a sum of normal densities; each
//! is taken reading by reading, what one has told of the unknowns counting for
//! the next (a Kalman update).
//!
//! A reading of which only a range is known (OL, or a word) comes after the
//! numbers. It tells of the unknowns what a normal distribution with the same
//! mean and variance would (assumed-density filtering: Maybeck 1982, "Stochastic
//! models, estimation, and control"), which is exact for the first such reading.

use std::borrow::Cow;

use super::meter::Reading;
use super::normal;
use super::predict::Outlook;

/// What is known of a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// What the meter showed, in the unit of its mode.
    Just(Reading),
    /// A value between two, in the unit of the mode.
    Between(f64, f64),
}

/// A reading that was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// What it was.
    pub shown: Shown,
    /// By how much a number was rounded when it was typed, as standard deviation
    /// in the unit of the mode.
    pub rounded: f64,
    /// Chance that it has nothing to do with the circuit.
    pub misread: f64,
    /// How likely it is to be this then: a density for a value, in the unit of
    /// the mode.
    pub flat: f64,
    /// Whether it may be right by luck then, and is no misreading: a number
    /// never is.
    pub lucky: bool,
    /// How likely it is to be this where the circuit is not one that is known: a
    /// density for a value, as `flat`.
    pub strange: f64,
}

/// Some sizes of the faults, with their share of all.
#[derive(Clone, Debug)]
pub struct Cell<'o> {
    /// Share; those of all cells add up to 1.
    pub weight: f64,
    /// The readings with the sizes in the middle of the cell.
    pub outlooks: Vec<Cow<'o, Outlook>>,
    /// How far the natural logarithm of each size reaches, as a standard
    /// deviation.
    pub reach: [f64; 2],
}

/// What readings come to together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Joint {
    /// How likely they are. Only ratios between circuits mean something.
    pub likelihood: f64,
    /// The part of that in which a reading is a misreading.
    pub wrong: Vec<f64>,
    /// The part in which a further reading lies below the first of some cuts,
    /// between each two, above the last, and over the limit.
    pub next: Vec<f64>,
}

/// What is left out weighs less than this share, for each way that is.
const NEGLIGIBLE: f64 = 1e-13;
/// The same where a further reading is foretold.
const FORETOLD: f64 = 1e-5;

impl Joint {
    /// Readings of a circuit whose faults have sizes in these cells. The
    /// outlooks are in the order of `taken`. `cuts`, ascending and in the unit of
    /// its mode, part the values of one further reading, whose outlook is the
    /// last.
    pub fn new<'o>(
        cells: impl IntoIterator<Item = Cell<'o>>,
        taken: &[Taken],
        cuts: Option<&[f64]>,
    ) -> Joint {
        // Numbers first.
        let mut order: Vec<usize> = (0..taken.len()).collect();
        let value = |i: &usize| matches!(taken[*i].shown, Shown::Just(Reading::Value(_)));
        order.sort_by_key(|i| !value(i));
        let mut sum = Sum {
            joint: Joint {
                likelihood: 0.0,
                wrong: vec![0.0; taken.len()],
                next: vec![0.0; cuts.map_or(0, |c| c.len() + 2)],
            },
            taken,
            order,
            cuts,
            of: Vec::new(),
            most: Vec::new(),
            floor: 0.0,
            known: vec![Normal::default(); taken.len() + 1],
            wrong: vec![false; taken.len()],
        };
        for cell in cells {
            sum.add(&cell);
        }
        let mut joint = sum.joint;
        joint.less_luck(taken);
        joint
    }

    /// Readings of a circuit that is not one that is known: each by itself as
    /// likely as it may be then. `next` is the chance that a further one lies
    /// below the first of its cuts, between each two, above the last, and over
    /// the limit.
    pub fn strange(taken: &[Taken], next: &[f64]) -> Joint {
        let parts = |t: &Taken| ((1.0 - t.misread) * t.strange, t.misread * t.flat);
        let all = |t: &Taken| parts(t).0 + parts(t).1;
        let likelihood: f64 = taken.iter().map(all).product();
        let wrong = |t: &Taken| match all(t) > 0.0 {
            true => likelihood * parts(t).1 / all(t),
            false => 0.0,
        };
        let mut joint = Joint {
            likelihood,
            wrong: taken.iter().map(wrong).collect(),
            next: next.iter().map(|p| likelihood * p).collect(),
        };
        joint.less_luck(taken);
        joint
    }

    /// The mean of two that were worked out in different ways.
    #[must_use]
    pub fn mean(&self, other: &Joint) -> Joint {
        let both = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| 0.5 * (x + y)).collect();
        Joint {
            likelihood: 0.5 * (self.likelihood + other.likelihood),
            wrong: both(&self.wrong, &other.wrong),
            next: both(&self.next, &other.next),
        }
    }

    /// Takes what is right by luck off the misreadings.
    fn less_luck(&mut self, taken: &[Taken]) {
        for (t, wrong) in taken.iter().zip(&mut self.wrong) {
            if t.lucky && t.misread < 1.0 {
                // A misreading, and by luck what it truly was.
                let right = self.likelihood - *wrong;
                let luck = t.misread * t.flat / (1.0 - t.misread);
                *wrong = (*wrong - right * luck).max(0.0);
            }
        }
    }
}

/// What is known of the readings that are left.
#[derive(Clone, Debug, Default)]
struct Normal {
    mean: Vec<f64>,
    /// What each has in common with itself and those after it, row by row; the
    /// meter comes on top.
    shared: Vec<f64>,
}

/// A reading on the scale of its mode.
#[derive(Clone, Copy)]
enum At {
    /// Where, and the slope of the scale there.
    Point(f64, f64),
    Range(f64, f64),
}

#[derive(Clone, Copy)]
struct Of {
    at: At,
    /// Variance of the meter.
    noise: f64,
    /// Chance of being right, and density of being a misreading.
    right: f64,
    wrong: f64,
    /// Chance that no range before would have shown it.
    gate: f64,
}

struct Sum<'t> {
    joint: Joint,
    taken: &'t [Taken],
    /// The readings as they are gone through.
    order: Vec<usize>,
    cuts: Option<&'t [f64]>,
    /// In that order, for the cell at hand.
    of: Vec<Of>,
    /// What the densities of all readings from one on do not exceed.
    most: Vec<f64>,
    /// What the likelihood is at least.
    floor: f64,
    /// What is known with so many readings taken in.
    known: Vec<Normal>,
    /// Which readings are misreadings on the way at hand.
    wrong: Vec<bool>,
}

/// On the scale of a reading: what is known of it.
fn at(shown: Shown, o: &Outlook) -> At {
    match shown {
        Shown::Just(Reading::OL) => At::Range(o.limit, f64::INFINITY),
        Shown::Just(Reading::Value(v)) => At::Point(o.scale.to(v), o.scale.slope(v)),
        Shown::Between(low, high) => {
            let to = |v: f64| if v.is_finite() { o.scale.to(v) } else { v };
            let low = if low > f64::MIN {
                to(low)
            } else {
                f64::NEG_INFINITY
            };
            At::Range(low, to(high).min(o.limit))
        }
    }
}

/// Chance that a normal amount lies in a range, and by how many standard
/// deviations its mean, and by what factor its variance, are other then.
fn within(mean: f64, deviation: f64, low: f64, high: f64) -> (f64, f64, f64) {
    let (a, b) = ((low - mean) / deviation, (high - mean) / deviation);
    // The far side keeps its digits.
    let chance = if a > 0.0 {
        normal::below(-a) - normal::below(-b)
    } else {
        normal::below(b) - normal::below(a)
    };
    if chance < 1e-12 {
        let edge = if a > 0.0 { a } else { b };
        return (chance.max(0.0), edge, 0.0);
    }
    let edge = |x: f64| {
        let d = normal::density(x);
        (d, if d > 0.0 { x * d } else { 0.0 })
    };
    let ((p, ap), (q, bq)) = (edge(a), edge(b));
    let moved = (p - q) / chance;
    let left = 1.0 + (ap - bq) / chance - moved * moved;
    (chance, moved, left.clamp(0.0, 1.0))
}

/// Chance that no range before would have shown a reading.
fn gate(at: At, o: &Outlook, noise: f64) -> f64 {
    match at {
        At::Point(x, _) if o.floor > f64::NEG_INFINITY => {
            normal::below((x - o.floor) / noise.hypot(o.floor_off).max(1e-12))
        }
        _ => 1.0,
    }
}

impl Sum<'_> {
    fn add(&mut self, cell: &Cell<'_>) {
        self.of.clear();
        self.most.clear();
        for i in &self.order {
            let (t, o) = (&self.taken[*i], &cell.outlooks[*i]);
            let at = at(t.shown, o);
            let (noise, rounded) = match at {
                At::Point(x, slope) => (o.noise_at(x), slope * t.rounded),
                At::Range(..) if t.shown == Shown::Just(Reading::OL) => {
                    (o.noise_at(o.centre.max(o.limit)), 0.0)
                }
                At::Range(..) => (o.noise, 0.0),
            };
            self.of.push(Of {
                at,
                noise: (noise * noise + rounded * rounded).max(1e-24),
                gate: gate(at, o, noise),
                right: 1.0 - t.misread,
                wrong: t.misread * t.flat,
            });
        }
        let mut most = 1.0;
        self.floor = cell.weight;
        self.most.push(most);
        for of in self.of.iter().rev() {
            let peak = match of.at {
                At::Point(_, slope) => slope * normal::density(0.0) / of.noise.sqrt(),
                At::Range(..) => 1.0,
            };
            most *= of.right * peak + of.wrong;
            self.most.push(most);
            self.floor *= of.wrong;
        }
        self.most.reverse();
        let ways = self.order.iter().copied();
        let all: Vec<&Outlook> = ways
            .chain(self.cuts.map(|_| self.order.len()))
            .map(|i| &*cell.outlooks[i])
            .collect();
        let n = all.len();
        let known = &mut self.known[0];
        known.mean = all.iter().map(|o| o.centre).collect();
        known.shared.clear();
        known.shared.resize(n * n, 0.0);
        for (i, a) in all.iter().enumerate() {
            for (j, b) in all.iter().enumerate().skip(i) {
                let values = a.by.iter().zip(&b.by).map(|(x, y)| x * y);
                let sizes = (a.sizes.iter().zip(&b.sizes).zip(&cell.reach))
                    .map(|((x, y), reach)| x * y * reach * reach);
                let both: f64 = values.chain(sizes).sum();
                known.shared[i * n + j] = both;
            }
        }
        self.take(0, 0, cell.weight, 1.0, &all);
    }

    /// Takes in the reading `j` and all after it. What is known is in the slot
    /// `known`; the readings so far weigh `weight`, of which `gate` is the chance
    /// that no range before would have shown any of them. That hangs on the same
    /// unknowns for all, so the least likely counts for them together.
    fn take(&mut self, j: usize, known: usize, weight: f64, mut gate: f64, all: &[&Outlook]) {
        let Some(of) = self.of.get(j).copied() else {
            return self.end(known, weight, all);
        };
        let n = all.len();
        let negligible = self.cuts.map_or(NEGLIGIBLE, |_| FORETOLD);
        let least = negligible * (self.joint.likelihood + self.floor);
        let counts = |w: f64| w > 0.0 && w * self.most[j + 1] >= least;
        let (mean, shared) = {
            let k = &self.known[known];
            (k.mean[j], k.shared[j * n + j])
        };
        let gate_before = gate;
        let variance = shared + of.noise;
        let deviation = variance.sqrt();
        let (right, moved, left) = match of.at {
            At::Point(x, slope) => {
                let off = (x - mean) / deviation;
                let beyond = x > all[j].limit;
                let density = if beyond { 0.0 } else { normal::density(off) };
                gate = of.gate.min(gate);
                let density = density * gate / gate_before;
                (density / deviation * slope, off, 0.0)
            }
            At::Range(low, high) => within(mean, deviation, low, high),
        };
        let with = weight * of.right * right;
        let without = weight * of.wrong;
        let (with, without) = (
            Some(with).filter(|w| counts(*w)),
            Some(without).filter(|w| counts(*w)),
        );
        if let Some(with) = with {
            let (before, after) = self.known.split_at_mut(known + 1);
            let (before, after) = (&before[known], &mut after[0]);
            after.mean.resize(n, 0.0);
            after.shared.resize(n * n, 0.0);
            let with_this = &before.shared[j * n..(j + 1) * n];
            for i in j + 1..n {
                let gain = with_this[i] / variance;
                after.mean[i] = before.mean[i] + gain * deviation * moved;
                let row = i * n + i..(i + 1) * n;
                let told = with_this[i..].iter().map(|x| gain * x * (1.0 - left));
                let was = before.shared[row.clone()].iter().zip(told);
                for (cell, (was, told)) in after.shared[row].iter_mut().zip(was) {
                    *cell = was - told;
                }
            }
            self.take(j + 1, known + 1, with, gate, all);
        }
        if let Some(without) = without {
            self.wrong[j] = true;
            self.take(j + 1, known, without, gate_before, all);
            self.wrong[j] = false;
        }
    }

    fn end(&mut self, known: usize, weight: f64, all: &[&Outlook]) {
        self.joint.likelihood += weight;
        for (i, wrong) in self.order.iter().zip(&self.wrong) {
            if *wrong {
                self.joint.wrong[*i] += weight;
            }
        }
        let Some(cuts) = self.cuts else { return };
        let (last, n) = (self.order.len(), all.len());
        let k = &self.known[known];
        let o = all[last];
        let deviation = (k.shared[n * n - 1].max(0.0) + o.noise.powi(2))
            .sqrt()
            .max(1e-12);
        let below = |x: f64| normal::below((x.min(o.limit) - k.mean[last]) / deviation);
        let ends = cuts.iter().map(|cut| below(o.scale.to(*cut)));
        let ends = ends.chain([below(o.limit), 1.0]);
        let mut from = 0.0;
        for (end, sum) in ends.zip(&mut self.joint.next) {
            *sum += weight * (end - from).max(0.0);
            from = end;
        }
    }
}
