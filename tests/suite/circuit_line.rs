//! The worked line: what a meter reads on it, healthy and with each fault.

use halfsplit::circuit::calibrate::{CalibrateError, GoodReading, Reach, calibrate};
use halfsplit::circuit::edit::{Edit, TestSource};
use halfsplit::circuit::fault::{Fault, Range};
use halfsplit::circuit::meter::{Meter, Mode, Reading, offset};
use halfsplit::circuit::network::{ElementId, Junction, Network, Node};
use halfsplit::circuit::predict::{Predictor, Spread};
use halfsplit::circuit::solve::Solver;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

struct Line {
    network: Network,
    pin: Node,
    series: ElementId,
    pull_up: ElementId,
    clamp: ElementId,
}

/// Pin with a pull-up of 2.2 kilohm to an unpowered rail (one junction beside
/// 5 kilohm), series part of 22 ohm, host with a clamp junction to ground.
///
/// The clamp's series resistance, the rail's junction, the side of the pull-up
/// and the size of the short are not given with the readings. They were fitted
/// to them, so that the readings test the solver less than they seem to; the
/// same circuits are among the ngspice references.
fn line() -> Line {
    let mut network = Network::new();
    let (pin, host, rail) = (
        network.node("pin"),
        network.node("host"),
        network.node("rail"),
    );
    let ground = Node::GROUND;
    let series = network.resistor("series", pin, host, 22.0).unwrap();
    let clamp = Junction::new(1e-9, 1.3).with_series(5.0);
    let clamp = network.junction("clamp", host, ground, clamp).unwrap();
    let pull_up = network.resistor("pull-up", pin, rail, 2200.0).unwrap();
    let loads = Junction::new(1e-6, 1.2);
    network.junction("rail loads", rail, ground, loads).unwrap();
    network.resistor("rail load", rail, ground, 5e3).unwrap();
    network.set_board_leakage(1e9).unwrap();
    Line {
        network,
        pin,
        series,
        pull_up,
        clamp,
    }
}

fn meter() -> Meter {
    let mut meter = Meter::handheld();
    meter.leads = 0.0;
    meter.diode.source = TestSource::behind(3.0, 2500.0);
    meter.diode.limit = 2.5;
    meter
}

#[test]
fn design_readings_to_the_millivolt() {
    let line = line();
    let mut solver = Solver::new(&line.network).unwrap();
    let ground = Node::GROUND;
    let leak = |ohms| Edit::Bridge {
        a: line.pin,
        b: ground,
        ohms,
    };
    let cases = [
        ("healthy", vec![], 482.0),
        (
            "pull-up missing",
            vec![Edit::Remove {
                element: line.pull_up,
            }],
            492.0,
        ),
        (
            "series open",
            vec![Edit::Remove {
                element: line.series,
            }],
            1509.0,
        ),
        ("300 ohm leak", vec![leak(300.0)], 298.0),
        ("3 k leak", vec![leak(3e3)], 472.0),
        ("short", vec![leak(2.0)], 2.0),
    ];
    for (name, edits, millivolts) in cases {
        let reading = meter().read(&mut solver, &edits, line.pin, ground, Mode::Diode);
        let Ok(Reading::Value(volts)) = reading else {
            panic!("{name}: {reading:?}");
        };
        assert!((1e3 * volts - millivolts).abs() <= 0.6, "{name}: {volts}");
    }
}

fn spreads(line: &Line) -> Vec<Spread> {
    vec![
        Spread::tolerance(line.series, 5.0),
        Spread::tolerance(line.pull_up, 5.0),
        Spread::unknown_junction(line.clamp, 1.5),
    ]
}

fn leak(line: &Line, low: f64, high: f64) -> Fault {
    Fault::Leaky {
        a: line.pin,
        b: Node::GROUND,
        ohms: Range::new(low, high).unwrap(),
    }
}

/// What design 6 says of the line: diode mode sees a hard leak, an open series
/// part and a short, but neither the missing pull-up nor a leak of 3 kilohm;
/// resistance mode sees the leak; the idle level, powered, sees the pull-up.
#[test]
fn what_each_mode_can_see() {
    let line = line();
    let meter = meter();
    let spreads = spreads(&line);
    let mut solver = Solver::new(&line.network).unwrap();
    let mut predictor = Predictor::new(&mut solver, &meter, &spreads);
    let mut seen = |fault: Fault, mode| {
        let healthy = predictor
            .predict(&[], line.pin, Node::GROUND, mode)
            .unwrap();
        let faulty = predictor
            .predict(&[fault], line.pin, Node::GROUND, mode)
            .unwrap();
        healthy.visibility(&faulty).is_seen()
    };
    let short = Fault::Short {
        a: line.pin,
        b: Node::GROUND,
        ohms: Range::SHORT,
    };
    assert!(seen(short, Mode::Diode));
    assert!(seen(Fault::Open(line.series), Mode::Diode));
    assert!(seen(leak(&line, 300.0, 300.0), Mode::Diode));
    assert!(!seen(leak(&line, 3e3, 3e3), Mode::Diode));
    assert!(seen(leak(&line, 3e3, 3e3), Mode::Ohms));
    assert!(!seen(Fault::Open(line.pull_up), Mode::Diode));

    let mut powered = line.network.clone();
    let rail = powered.node_at(3).unwrap();
    powered
        .limited_source("regulator", rail, Node::GROUND, 1.8, 0.05, 0.3)
        .unwrap();
    let chip = powered.fitted().nth(3).map(|(id, _)| id).unwrap();
    powered.set_fitted(chip, false).unwrap();
    powered.set_fitted(line.clamp, false).unwrap();
    let mut solver = Solver::new(&powered).unwrap();
    let mut predictor = Predictor::new(&mut solver, &meter, &spreads);
    let mode = Mode::Volts;
    let healthy = predictor
        .predict(&[], line.pin, Node::GROUND, mode)
        .unwrap();
    let missing = [Fault::Open(line.pull_up)];
    let faulty = predictor
        .predict(&missing, line.pin, Node::GROUND, mode)
        .unwrap();
    assert!(healthy.visibility(&faulty).is_seen());
    let Reading::Value(idle) = healthy.typical() else {
        panic!("OL")
    };
    assert!((idle - 1.8).abs() < 2e-3, "{idle}");
    let Reading::Value(floating) = faulty.typical() else {
        panic!("OL")
    };
    assert!(floating.abs() < 1e-3, "{floating}");
}

/// The mixture against plain sampling of the same unknowns.
#[test]
fn prediction_is_what_sampling_gives() {
    let line = line();
    let meter = meter();
    let spreads = spreads(&line);
    let mut rng = StdRng::seed_from_u64(5);
    for (mode, low, high) in [(Mode::Diode, 50.0, 5e3), (Mode::Ohms, 50.0, 5e3)] {
        let mut solver = Solver::new(&line.network).unwrap();
        let mut predictor = Predictor::new(&mut solver, &meter, &spreads);
        let fault = leak(&line, low, high);
        let predicted = predictor
            .predict(&[fault], line.pin, Node::GROUND, mode)
            .unwrap();
        let mut drawn: Vec<f64> = (0..4000)
            .map(|_| {
                let normal: f64 = (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
                let ohms = rng.random_range(low.ln()..high.ln()).exp();
                let series = 22.0 * rng.random_range(-0.05..0.05_f64);
                let edits = [
                    Edit::Bridge {
                        a: line.pin,
                        b: Node::GROUND,
                        ohms,
                    },
                    Edit::InSeries {
                        element: line.series,
                        ohms: series.max(0.0),
                    },
                    Edit::Saturation {
                        element: line.clamp,
                        factor: (normal * 1.5_f64.ln()).exp(),
                    },
                ];
                let read = meter.read(&mut solver, &edits, line.pin, Node::GROUND, mode);
                let Ok(Reading::Value(value)) = read else {
                    panic!("{read:?}")
                };
                let accuracy = match mode {
                    Mode::Ohms => {
                        meter
                            .ohms
                            .iter()
                            .find(|r| value <= r.full_scale)
                            .unwrap()
                            .accuracy
                    }
                    _ => meter.diode.accuracy,
                };
                value + accuracy.limit(value) * rng.random_range(-1.0..1.0)
            })
            .collect();
        drawn.sort_by(f64::total_cmp);
        let mut worst = 0.0_f64;
        for (i, value) in drawn.iter().enumerate() {
            let share = (i as f64 + 0.5) / drawn.len() as f64;
            worst = worst.max((predicted.cdf(*value) - share).abs());
        }
        // Sampling alone is good for 0.02 (Kolmogorov, 95 %).
        assert!(worst < 0.03, "{mode:?} {worst}");
    }
}

#[test]
fn density_integrates_to_what_is_not_ol() {
    let line = line();
    let mut meter = meter();
    meter.diode.limit = 1.5;
    let spreads = spreads(&line);
    let mut solver = Solver::new(&line.network).unwrap();
    let mut predictor = Predictor::new(&mut solver, &meter, &spreads);
    let faults = [Fault::Open(line.series)];
    let p = predictor
        .predict(&faults, line.pin, Node::GROUND, Mode::Diode)
        .unwrap();
    assert!(p.ol() > 0.3 && p.ol() < 0.8, "{}", p.ol());
    let h = 1e-4;
    let sum: f64 = (0..20_000)
        .map(|i| h * p.density(h * (f64::from(i) + 0.5)))
        .sum();
    assert!((sum + p.ol() - 1.0).abs() < 1e-3, "{sum}");
    assert!((p.cdf(f64::INFINITY) + p.ol() - 1.0).abs() < 1e-12);
    assert_eq!(p.likelihood(Reading::OL), p.ol());
}

#[test]
fn a_resistance_near_the_end_of_a_range_is_read_in_the_next_and_is_not_ol() {
    let mut network = Network::new();
    let pin = network.node("pin");
    // The ranges of the meter end at 6 kilohm, and at 60 kilohm.
    let r = network.resistor("load", pin, Node::GROUND, 5.8e3).unwrap();
    network.set_board_leakage(1e9).unwrap();
    let unknown = [Spread::tolerance(r, 20.0)];
    let meter = Meter::handheld();
    let mut solver = Solver::new(&network).unwrap();
    let mut predictor = Predictor::new(&mut solver, &meter, &unknown);
    let p = predictor
        .predict(&[], pin, Node::GROUND, Mode::Ohms)
        .unwrap();
    assert!(p.ol() < 1e-6, "{}", p.ol());
    assert!(p.density(6.2e3) > 0.5 * p.density(5.8e3));
    assert!((p.cdf(5.8e3) - 0.5).abs() < 0.01);
}

#[test]
fn several_faults_act_together() {
    let line = line();
    let meter = meter();
    let spreads = spreads(&line);
    let mut solver = Solver::new(&line.network).unwrap();
    let mut predictor = Predictor::new(&mut solver, &meter, &spreads);
    let faults = [
        Fault::Open(line.series),
        Fault::Open(line.pull_up),
        leak(&line, 1e3, 1e4),
        Fault::Resistive {
            element: line.series,
            ohms: Range::RESISTIVE,
        },
    ];
    // Open on both ways: nothing but the leak is left.
    let p = predictor
        .predict(&faults[..3], line.pin, Node::GROUND, Mode::Ohms)
        .unwrap();
    let Reading::Value(middle) = p.typical() else {
        panic!("OL")
    };
    assert!((middle / 10_f64.powf(3.5)).ln().abs() < 0.1, "{middle}");
    // A resistance in what is open changes nothing.
    let q = predictor
        .predict(&faults, line.pin, Node::GROUND, Mode::Ohms)
        .unwrap();
    assert!((q.cdf(middle) - p.cdf(middle)).abs() < 0.02);
    // Nothing left at all: OL.
    let r = predictor
        .predict(&faults[..2], line.pin, Node::GROUND, Mode::Ohms)
        .unwrap();
    assert_eq!(r.typical(), Reading::OL);
    assert!(r.ol() > 0.999);
}

fn good<'a>(meter: &'a Meter, pin: Node, value: f64, spreads: &[Spread]) -> GoodReading<'a> {
    GoodReading {
        meter,
        edits: Vec::new(),
        red: pin,
        black: Node::GROUND,
        mode: Mode::Diode,
        value,
        apart: vec![0.0; spreads.len()],
    }
}

#[test]
fn a_known_good_reading_bends_the_clamp() {
    let line = line();
    let meter = meter();
    let pin = line.pin;
    let spreads = [
        Spread::tolerance(line.series, 5.0),
        Spread::unknown_junction(line.clamp, 3.0),
    ];
    // The resistor is what it is on every board; which clamp it is, nobody knows.
    let shared = [0.0, 3.0_f64.ln()];
    let bent = |value: f64| {
        calibrate(
            &line.network,
            &spreads,
            &shared,
            &[good(&meter, pin, value, &spreads)],
            Reach::Likely,
        )
    };
    for wanted in [0.40, 0.47, 0.55] {
        let c = bent(wanted).unwrap();
        let mut solver = Solver::new(&c.network).unwrap();
        let read = meter.read(&mut solver, &[], pin, Node::GROUND, Mode::Diode);
        assert!(
            matches!(read, Ok(Reading::Value(v)) if (v - wanted).abs() < 2e-4),
            "{wanted}: {read:?}"
        );
        let mut predictor = Predictor::new(&mut solver, &meter, &spreads).told(&c.told);
        let p = predictor
            .predict(&[], pin, Node::GROUND, Mode::Diode)
            .unwrap();
        let accuracy = meters(&meter, wanted);
        // The meter, once when it was read there and once when it is here.
        assert!(
            p.deviation() < 1.1 * accuracy * 2.0_f64.sqrt(),
            "{}",
            p.deviation()
        );
    }
    for impossible in [0.002, 1.2, 1.9] {
        let error = bent(impossible).unwrap_err();
        assert!(
            matches!(
                error,
                CalibrateError::OutOfReach { .. } | CalibrateError::Unlikely { .. }
            ),
            "{impossible}: {error:?}"
        );
    }
    // Where nothing is unknown of the model, a reading can only agree.
    let known = [0.0, 0.0];
    let stiff = |value: f64| {
        let reading = good(&meter, pin, value, &spreads);
        calibrate(&line.network, &spreads, &known, &[reading], Reach::Likely)
    };
    assert!(stiff(0.482).is_ok());
    assert!(matches!(
        stiff(0.55),
        Err(CalibrateError::OutOfReach { .. })
    ));
}

/// What a diode reading is off by: the meter's accuracy, and its offset in the job.
fn meters(meter: &Meter, volts: f64) -> f64 {
    meter
        .diode
        .accuracy
        .deviation(volts)
        .hypot(offset(Mode::Diode))
}

/// One unknown and two readings of it: variances add as conductances do.
#[test]
fn two_good_boards_tell_as_much_as_two_readings_of_one_unknown() {
    let line = line();
    let meter = meter();
    let (pin, wanted) = (line.pin, 0.46);
    let spreads = [Spread::unknown_junction(line.clamp, 3.0)];
    let shared = [3.0_f64.ln()];
    let foretold = |readings: &[GoodReading]| {
        let c = calibrate(&line.network, &spreads, &shared, readings, Reach::Likely).unwrap();
        let mut solver = Solver::new(&c.network).unwrap();
        let mut variance = |told: &[_]| {
            let mut predictor = Predictor::new(&mut solver, &meter, &spreads).told(told);
            let p = predictor.predict(&[], pin, Node::GROUND, Mode::Diode);
            p.unwrap().deviation().powi(2)
        };
        (variance(&[]), variance(&c.told))
    };
    let meters = meters(&meter, wanted).powi(2);
    let one = good(&meter, pin, wanted, &spreads);
    for readings in [vec![one.clone()], vec![one.clone(), one.clone()]] {
        let (before, after) = foretold(&readings);
        let prior = before - meters;
        let left = 1.0 / (1.0 / prior + readings.len() as f64 / meters);
        assert!(
            (after - meters - left).abs() < 0.02 * left,
            "{after} {meters} {left}"
        );
    }
}

/// Two junctions side by side of which a good board tells the sum: what is
/// foretold with both, and with one gone, against plain weighted sampling.
#[test]
fn what_a_known_good_reading_leaves_unknown_is_what_sampling_gives() {
    let mut network = Network::new();
    let (pin, host) = (network.node("pin"), network.node("host"));
    network.resistor("series", pin, host, 22.0).unwrap();
    let law = Junction::new(1e-9, 1.3);
    let one = network.junction("one", Node::GROUND, pin, law).unwrap();
    let other = network.junction("other", Node::GROUND, host, law).unwrap();
    network.set_board_leakage(1e9).unwrap();
    let meter = meter();
    let spreads = [
        Spread::unknown_junction(one, 3.0),
        Spread::unknown_junction(other, 3.0),
    ];
    let shared = [3.0_f64.ln(); 2];
    let own = 0.15;
    let reading = |value: f64| GoodReading {
        // Red on ground: these lead from ground to the pin.
        red: Node::GROUND,
        black: pin,
        apart: vec![own; 2],
        ..good(&meter, pin, value, &spreads)
    };
    let wanted = 0.43;
    let c = calibrate(
        &network,
        &spreads,
        &shared,
        &[reading(wanted)],
        Reach::Likely,
    )
    .unwrap();
    let mut solver = Solver::new(&c.network).unwrap();
    let mut predictor = Predictor::new(&mut solver, &meter, &spreads).told(&c.told);
    let mut foretold = |gone: &[Fault]| {
        let p = predictor.predict(gone, Node::GROUND, pin, Mode::Diode);
        let p = p.unwrap();
        let Reading::Value(v) = p.typical() else {
            panic!("OL")
        };
        (v, p.deviation())
    };
    let whole = foretold(&[]);
    let broken = foretold(&[Fault::Open(one)]);
    // Sampled: values of the model by their prior, weighed by the good board's
    // reading; each board has its own on top.
    let mut rng = StdRng::seed_from_u64(11);
    let mut normal = || (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
    let mut solver = Solver::new(&network).unwrap();
    let mut read = |factors: [f64; 2], gone: bool| {
        let mut edits = vec![Edit::Saturation {
            element: other,
            factor: factors[1].exp(),
        }];
        edits.push(match gone {
            true => Edit::Remove { element: one },
            false => Edit::Saturation {
                element: one,
                factor: factors[0].exp(),
            },
        });
        match meter.read(&mut solver, &edits, Node::GROUND, pin, Mode::Diode) {
            Ok(Reading::Value(v)) => v,
            other => panic!("{other:?}"),
        }
    };
    let accuracy = meters(&meter, wanted);
    let mut sums = [[0.0; 3]; 2];
    for _ in 0..20_000 {
        let model = [shared[0] * normal(), shared[1] * normal()];
        let mut board = || [model[0] + own * normal(), model[1] + own * normal()];
        let there = read(board(), false);
        let weight = (-0.5 * ((there - wanted) / accuracy).powi(2)).exp();
        let here = board();
        for (sum, gone) in sums.iter_mut().zip([false, true]) {
            let v = read(here, gone) + accuracy * normal();
            sum[0] += weight;
            sum[1] += weight * v;
            sum[2] += weight * v * v;
        }
    }
    for ((middle, deviation), sum) in [whole, broken].into_iter().zip(sums) {
        let mean = sum[1] / sum[0];
        let sampled = (sum[2] / sum[0] - mean * mean).sqrt();
        assert!((middle - mean).abs() < 6e-3, "{middle} for {mean}");
        let ratio = deviation / sampled;
        assert!((0.75..1.35).contains(&ratio), "{deviation} for {sampled}");
    }
    // The sum is known, each by itself is not.
    assert!(broken.1 > 2.5 * whole.1, "{broken:?} {whole:?}");
}
