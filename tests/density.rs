//! The likelihood of a reading against readings of drawn devices: where devices
//! fall there is no gap, and no smooth density of the same readings does much
//! better.

mod lines;

use std::sync::Arc;

use halfsplit::circuit::joint::{Shown, Taken};
use halfsplit::circuit::meter::Reading;
use halfsplit::line::{Survey, alone, harms};
use halfsplit::rulebase::MeterMode;
use lines::device::Device;
use lines::{Drawn, accuracy, templates};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

/// What a meter is off by through a job, as the model has it: common practice, no
/// source.
const OFFSET: [(MeterMode, f64); 3] = [
    (MeterMode::Ohms, 0.3),
    (MeterMode::Diode, 5e-3),
    (MeterMode::Volts, 5e-3),
];

fn normal(rng: &mut StdRng) -> f64 {
    let u: f64 = rng.random_range(f64::MIN_POSITIVE..1.0);
    let turn = rng.random_range(0.0..std::f64::consts::TAU);
    (-2.0 * u.ln()).sqrt() * turn.cos()
}

/// The scale on which densities are compared: a resistance by ratios, else plain.
fn scale(mode: MeterMode, v: f64) -> (f64, f64) {
    match mode {
        MeterMode::Ohms => ((v / 0.5).asinh(), 1.0 / v.hypot(0.5)),
        _ => (v, 1.0),
    }
}

struct Found {
    /// Bits lost to the smooth density, on average; and the worst place.
    lost: f64,
    gap: f64,
    at: f64,
}

fn compare(
    device: &Device,
    test: usize,
    fault: Option<usize>,
    draws: usize,
    rng: &mut StdRng,
) -> Option<Found> {
    let probing = device.model.tests[test].measures.unwrap().probing;
    let mode = probing.mode;
    let meter = Arc::new(device.meter.clone());
    let offset = OFFSET.iter().find(|o| o.0 == mode).unwrap().1;
    let mut read: Vec<Reading> = Vec::new();
    for n in 0..draws {
        let mut one = Drawn::of_line(&device.line, &device.wired, rng);
        let size = (n as f64 + rng.random_range(0.0..1.0)) / draws as f64;
        let truth = device.truly(&mut one, test, fault.map(|f| (f, size)));
        read.push(match truth {
            Reading::OL => Reading::OL,
            Reading::Value(v) => {
                let a = accuracy(&device.meter, mode, v);
                let shown = v + offset * normal(rng) + a.limit(v) * rng.random_range(-1.0..1.0);
                match mode == MeterMode::Diode && shown > device.meter.diode.limit {
                    true => Reading::OL,
                    false => Reading::Value(shown),
                }
            }
        });
    }
    let place = fault.map(|f| {
        let harm = device.happenings[f].harm;
        harms(&device.line_with())
            .iter()
            .position(|h| *h == harm)
            .unwrap()
    });
    let likelihood = |r: Reading| {
        let survey =
            Survey::new(&device.line_with(), &device.wired, &meter, probing, Some(r)).ok()?;
        let taken = Taken {
            shown: Shown::Just(r),
            rounded: 0.0,
            misread: 0.0,
            flat: 0.0,
            lucky: false,
            strange: 0.0,
        };
        let (none, one) = alone(&[Arc::new(survey)], &[taken], None);
        Some(place.map_or(none.likelihood, |p| one[p].likelihood))
    };
    // Every second reading makes the smooth density, the others are scored.
    let train: Vec<f64> = read
        .iter()
        .step_by(2)
        .filter_map(|r| match r {
            Reading::Value(v) => Some(scale(mode, *v).0),
            Reading::OL => None,
        })
        .collect();
    let over = read
        .iter()
        .step_by(2)
        .filter(|r| **r == Reading::OL)
        .count() as f64;
    let n = train.len() as f64 + over;
    let smooth = |r: Reading| match r {
        Reading::OL => (over + 0.5) / (n + 1.0),
        Reading::Value(v) => {
            let (x, slope) = scale(mode, v);
            // Nearest neighbours: wide where readings are few.
            let mut far: Vec<f64> = train.iter().map(|t| (t - x).abs()).collect();
            far.sort_by(f64::total_cmp);
            let k = ((n as usize) / 20).clamp(5, 40).min(far.len().max(1) - 1);
            let width = far.get(k).copied().unwrap_or(1.0).max(1e-9);
            (k as f64 / (n + 1.0)) / (2.0 * width) * slope
        }
    };
    let tests: Vec<Reading> = read
        .iter()
        .skip(1)
        .step_by(2 * draws / 200)
        .copied()
        .collect();
    let (mut lost, mut gap, mut at) = (0.0, 0.0, 0.0);
    let m = tests.len() as f64;
    for r in tests {
        let ours = likelihood(r)?.max(1e-12);
        let bits = (smooth(r).max(1e-12) / ours).log2();
        lost += bits / m;
        if bits > gap {
            gap = bits;
            at = match r {
                Reading::Value(v) => v,
                Reading::OL => f64::INFINITY,
            };
        }
    }
    Some(Found { lost, gap, at })
}

#[test]
#[ignore = "prints every line, mode and fault for whoever works on it"]
#[expect(clippy::print_stdout, reason = "asked for by who works on it")]
fn printed() {
    let want = std::env::var("HALFSPLIT_LINE").unwrap_or_default();
    let mut rng = StdRng::seed_from_u64(7);
    let (mut all, mut bad) = (0, 0);
    for (name, text) in templates() {
        if !name.contains(&want) {
            continue;
        }
        let device = Device::new(&text);
        let tests: Vec<usize> = device.measuring().collect();
        for test in tests {
            let id = device.model.tests[test].id.clone();
            let faults = std::iter::once(None).chain((0..device.happenings.len()).map(Some));
            for fault in faults {
                let Some(f) = compare(&device, test, fault, 400, &mut rng) else {
                    continue;
                };
                all += 1;
                if f.lost > 0.3 || f.gap > 4.0 {
                    bad += 1;
                    let words = fault.map_or("nothing", |f| &device.happenings[f].words);
                    println!(
                        "{name} {id} {words}: lost {:.2}, worst {:.1} at {:.4}",
                        f.lost, f.gap, f.at
                    );
                }
            }
        }
    }
    println!("{bad} of {all}");
}
