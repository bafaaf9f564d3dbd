//! What readings can tell at all, by the solver alone; and how well following
//! the advice does against that.

use halfsplit::belief::ItemId;
use halfsplit::circuit::meter::Reading;
use halfsplit::line::Probing;
use halfsplit::plan::TestId;
use halfsplit::rulebase::MeterMode;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;

use super::device::Device;
use super::*;

/// Drawn devices for each mean and spread.
const DEVICES: usize = 24;
/// Sizes of each fault that are looked at.
const SIZES: usize = 7;
/// Shifts above this many combined standard deviations tell two things apart.
pub const APART: f64 = 2.0;

/// A reading on the scale it is compared on; OL is the end of the scale.
fn on_scale(meter: &Meter, mode: MeterMode, r: Reading) -> f64 {
    let last = meter.ohms.last().unwrap().full_scale;
    match (mode, r) {
        (MeterMode::Ohms, Reading::OL) => last.ln(),
        (MeterMode::Ohms, Reading::Value(v)) => v.clamp(1e-3, last).ln(),
        (MeterMode::Diode, Reading::OL) => meter.diode.limit,
        (_, Reading::OL) => meter.volts.limit,
        (_, Reading::Value(v)) => v,
    }
}

/// Mean of what some devices read, and its standard deviation with that of the
/// meter.
#[derive(Clone, Copy, Debug)]
pub struct Spread {
    pub mean: f64,
    pub deviation: f64,
}

impl Spread {
    pub fn of(meter: &Meter, mode: MeterMode, all: &[Reading]) -> Spread {
        let x: Vec<f64> = all.iter().map(|r| on_scale(meter, mode, *r)).collect();
        Spread::with(&x, Spread::of_meter(meter, mode, all))
    }

    /// The same of how much more one reading is than another, device by device.
    pub fn between(meter: &Meter, mode: MeterMode, one: &[Reading], other: &[Reading]) -> Spread {
        let x = |r: &Reading| on_scale(meter, mode, *r);
        let x: Vec<f64> = one.iter().zip(other).map(|(a, b)| x(a) - x(b)).collect();
        let of_meter = |all| Spread::of_meter(meter, mode, all);
        Spread::with(&x, of_meter(one) + of_meter(other))
    }

    fn with(x: &[f64], of_meter: f64) -> Spread {
        let n = x.len() as f64;
        let mean = x.iter().sum::<f64>() / n;
        let own = x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        Spread {
            mean,
            deviation: (own + of_meter).sqrt(),
        }
    }

    /// Mean variance of the meter.
    fn of_meter(meter: &Meter, mode: MeterMode, all: &[Reading]) -> f64 {
        let of_meter = all.iter().map(|r| match (r, mode) {
            (Reading::OL, _) => 0.0,
            (Reading::Value(v), _) => {
                let off = accuracy(meter, mode, *v).deviation(*v);
                match mode {
                    MeterMode::Ohms => (off / v.abs().max(1e-3)).powi(2),
                    MeterMode::Volts | MeterMode::Diode => off.powi(2),
                }
            }
        });
        of_meter.sum::<f64>() / all.len() as f64
    }

    /// Distance of two in combined standard deviations.
    pub fn shift(&self, other: &Spread) -> f64 {
        let both = self.deviation.hypot(other.deviation).max(1e-9);
        (self.mean - other.mean).abs() / both
    }
}

/// What every reading of a device is under every fault and size.
pub struct Apart {
    /// By fault, size and reading.
    spreads: Vec<Vec<Vec<Spread>>>,
    element: Vec<ItemId>,
}

impl Apart {
    pub fn new(device: &Device, rng: &mut impl Rng) -> Self {
        let mut drawn: Vec<Drawn> = (0..DEVICES)
            .map(|_| Drawn::of_line(&device.line, &device.wired, rng))
            .collect();
        let tests: Vec<TestId> = device.measuring().collect();
        let probing = |test: TestId| device.model.tests[test].measures.unwrap().probing;
        let mut all = |fault, size| -> Vec<Spread> {
            let read = |test| -> Vec<Reading> {
                let read = |d| device.truly(d, test, Some((fault, size)));
                drawn.iter_mut().map(read).collect()
            };
            let readings: Vec<Vec<Reading>> = tests.iter().copied().map(read).collect();
            let each = tests.iter().zip(&readings);
            let mut spreads: Vec<Spread> = each
                .clone()
                .map(|(t, r)| Spread::of(&device.meter, probing(*t).mode, r))
                .collect();
            // The halves of a pair are held against each other.
            for (t, one) in each.clone() {
                let p = probing(*t);
                let mirror = device.line.mirror(p.point).filter(|m| *m > p.point);
                let mirror = mirror.map(|point| Probing { point, ..p });
                let other = each.clone().find(|(t, _)| Some(probing(**t)) == mirror);
                if let Some((_, other)) = other {
                    spreads.push(Spread::between(&device.meter, p.mode, one, other));
                }
            }
            spreads
        };
        let faults = 0..device.happenings.len();
        Apart {
            spreads: faults
                .clone()
                .map(|f| (0..SIZES).map(|s| all(f, share(s))).collect())
                .collect(),
            element: faults.map(|f| device.element(f)).collect(),
        }
    }

    /// Whether no reading, and of a pair no two held against each other, tells a
    /// fault of some size from another of any size.
    fn hidden_in(&self, fault: usize, size: usize, other: usize) -> bool {
        let this = &self.spreads[fault][size];
        self.spreads[other].iter().any(|that| {
            let mut both = this.iter().zip(that);
            both.all(|(a, b)| a.shift(b) <= APART)
        })
    }

    /// Whether an element has a fault that no reading tells from this one.
    pub fn could_be(&self, fault: usize, size: f64, element: ItemId) -> bool {
        let size = ((size * SIZES as f64) as usize).min(SIZES - 1);
        (0..self.element.len())
            .any(|g| self.element[g] == element && self.hidden_in(fault, size, g))
    }

    /// How many elements can be told from each other: two count as one where
    /// most sizes of each fault of either could be the other.
    pub fn elements(&self) -> usize {
        let n = self.element.iter().max().map_or(0, |e| e.0 + 1);
        let within = |a: usize, b: usize| {
            let (a, b) = (ItemId(a), ItemId(b));
            let mut faults = (0..self.element.len()).filter(|f| self.element[*f] == a);
            faults.all(|f| {
                let hidden = |s: &usize| self.could_be(f, share(*s), b);
                (0..SIZES).filter(hidden).count() * 2 > SIZES
            })
        };
        let mut class: Vec<usize> = (0..n).collect();
        for a in 0..n {
            for b in a + 1..n {
                if class[a] != class[b] && within(a, b) && within(b, a) {
                    let (from, to) = (class[b], class[a]);
                    class
                        .iter_mut()
                        .filter(|c| **c == from)
                        .for_each(|c| *c = to);
                }
            }
        }
        class.sort_unstable();
        class.dedup();
        class.len()
    }
}

/// How far through its range a size is.
fn share(size: usize) -> f64 {
    (size as f64 + 0.5) / SIZES as f64
}

/// How following the advice did.
#[derive(Clone, Debug, Default)]
pub struct Trial {
    pub runs: usize,
    /// Runs that ended with the right element in the first place, or with one
    /// that no reading tells from it.
    pub right: usize,
    /// Runs that ended with the very element in the first place.
    pub very: usize,
    /// Probes in all.
    pub probes: usize,
    /// Elements that can be told apart.
    pub elements: usize,
}

impl Trial {
    /// Each run has a seed of its own, drawn from `rng`, and they go on all
    /// cores at once.
    pub fn new(device: &Device, runs: usize, rng: &mut impl Rng) -> Self {
        let apart = Apart::new(device, rng);
        let seeds: Vec<u64> = (0..runs).map(|_| rng.random()).collect();
        let all = seeds.par_iter().enumerate().map(|(run, seed)| {
            let mut rng = StdRng::seed_from_u64(*seed);
            let fault = run % device.happenings.len();
            let size = rng.random_range(0.0..1.0);
            let found = device.follow(fault, size, &mut rng);
            let items = &found.belief.items;
            let first = items.keys().max_by(|a, b| items[*a].total_cmp(&items[*b]));
            let first = first.unwrap();
            let right = apart.could_be(fault, size, first);
            if !right && std::env::var_os("HALFSPLIT_WRONG").is_some() {
                device.tell(fault, size, &found);
            }
            Trial {
                runs: 1,
                right: usize::from(right),
                very: usize::from(first == device.element(fault)),
                probes: found.readings.len(),
                elements: 0,
            }
        });
        let sum = |a: Trial, b: Trial| Trial {
            runs: a.runs + b.runs,
            right: a.right + b.right,
            very: a.very + b.very,
            probes: a.probes + b.probes,
            elements: 0,
        };
        Trial {
            elements: apart.elements(),
            ..all.reduce(Trial::default, sum)
        }
    }

    pub fn share(&self) -> f64 {
        self.right as f64 / self.runs as f64
    }

    pub fn mean_probes(&self) -> f64 {
        self.probes as f64 / self.runs as f64
    }

    /// The bar for the probes.
    pub fn most_probes(&self) -> f64 {
        1.25 * (self.elements as f64).log2()
    }
}
