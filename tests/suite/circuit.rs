//! Operating points against closed forms and against what must hold for any
//! circuit.

use halfsplit::circuit::charge::charges;
use halfsplit::circuit::edit::{Edit, TestSource};
use halfsplit::circuit::fault::BOARD_LEAKAGE;
use halfsplit::circuit::meter::{Meter, Mode, Reading};
use halfsplit::circuit::network::{
    Channel, Element, ElementId, Junction, Mos, Network, NetworkError, Node, THERMAL_VOLTAGE,
};
use halfsplit::circuit::solve::{SolveError, Solver, kirchhoff_residual};
use halfsplit::circuit::topology::IllPosed;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

const GROUND: Node = Node::GROUND;

fn near(found: f64, expected: f64, within: f64) {
    let miss = (found - expected).abs();
    assert!(miss <= within, "{found} for {expected}, off by {miss:e}");
}

fn volts(network: &Network, node: Node) -> f64 {
    Solver::new(network)
        .unwrap()
        .solve(&[])
        .unwrap()
        .volts(node)
}

/// Principal branch of Lambert's W by Halley's method.
fn lambert_w(x: f64) -> f64 {
    let mut w = if x < 3.0 {
        x.ln_1p()
    } else {
        x.ln() - x.ln().ln()
    };
    for _ in 0..100 {
        let e = w.exp();
        let f = w * e - x;
        w -= f / (e * (w + 1.0) - (w + 2.0) * f / (2.0 * w + 2.0));
    }
    w
}

#[test]
fn divider_and_its_loading() {
    let mut net = Network::new();
    let (top, middle) = (net.node("top"), net.node("middle"));
    net.source("supply", top, GROUND, 24.0, 0.0).unwrap();
    net.resistor("upper", top, middle, 250e3).unwrap();
    net.resistor("lower", middle, GROUND, 250e3).unwrap();
    near(volts(&net, middle), 12.0, 1e-9);
    // A meter of 10 megohm pulls it down: 24 * (250k | 10M) / (250k + ..).
    let mut meter = Meter::handheld();
    meter.leads = 0.0;
    let mut solver = Solver::new(&net).unwrap();
    let reading = meter.read(&mut solver, &[], middle, GROUND, Mode::Volts);
    let Ok(Reading::Value(read)) = reading else {
        panic!("{reading:?}")
    };
    near(read, 11.851_851_85, 1e-7);
}

#[test]
fn published_loading_examples() {
    // 30 V across twice 400 k reads 10 V with a meter of 400 k.
    let mut net = Network::new();
    let (top, middle) = (net.node("top"), net.node("middle"));
    net.source("supply", top, GROUND, 30.0, 0.0).unwrap();
    net.resistor("upper", top, middle, 400e3).unwrap();
    net.resistor("lower", middle, GROUND, 400e3).unwrap();
    let mut meter = Meter::handheld();
    (meter.leads, meter.volts.input) = (0.0, 400e3);
    let mut solver = Solver::new(&net).unwrap();
    let reading = meter.read(&mut solver, &[], middle, GROUND, Mode::Volts);
    assert!(matches!(reading, Ok(Reading::Value(v)) if (v - 10.0).abs() < 1e-9));
    // Loading error -100 Rs / (Rs + Ri) percent.
    for source in [10e3, 100e3, 1e6] {
        let mut net = Network::new();
        let tip = net.node("tip");
        net.source("supply", tip, GROUND, 1.0, source).unwrap();
        let mut solver = Solver::new(&net).unwrap();
        meter.volts.input = 10e6;
        let reading = meter.read(&mut solver, &[], tip, GROUND, Mode::Volts);
        let Ok(Reading::Value(read)) = reading else {
            panic!("{reading:?}")
        };
        near(
            100.0 * (read - 1.0),
            -100.0 * source / (source + 10e6),
            1e-9,
        );
    }
}

#[test]
fn bridge() {
    // Balanced: no current in the middle, whatever it is.
    let mut net = Network::new();
    let (top, left, right) = (net.node("top"), net.node("left"), net.node("right"));
    net.source("supply", top, GROUND, 5.0, 0.0).unwrap();
    net.resistor("a", top, left, 1e3).unwrap();
    net.resistor("b", left, GROUND, 2e3).unwrap();
    net.resistor("c", top, right, 10e3).unwrap();
    net.resistor("d", right, GROUND, 20e3).unwrap();
    let middle = net.resistor("middle", left, right, 47.0).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    near(solver.solve(&[]).unwrap().amps(middle), 0.0, 1e-14);
    // Unbalanced by taking one arm out.
    let d = ElementId::index(middle) - 1;
    let (d, _) = net.fitted().nth(d).unwrap();
    let point = solver.solve(&[Edit::Remove { element: d }]).unwrap();
    // Left node: 1k | (10k + 47) to the top, 2k to ground.
    let upper = 1.0 / (1.0 / 1e3 + 1.0 / 10_047.0);
    near(point.volts(left), 5.0 * 2e3 / (2e3 + upper), 1e-9);
}

#[test]
fn junction_behind_a_resistor_is_lambert_w() {
    for (is, n, rs) in [
        (1e-9, 1.3, 0.0),
        (2.52e-9, 1.752, 0.568),
        (1e-14, 1.0, 10.0),
    ] {
        for supply in [0.1, 0.5, 1.0, 3.0, 12.0] {
            for series in [10.0, 2500.0, 1e6] {
                let mut net = Network::new();
                let (top, anode) = (net.node("top"), net.node("anode"));
                net.source("supply", top, GROUND, supply, 0.0).unwrap();
                net.resistor("series", top, anode, series).unwrap();
                let junction = Junction::new(is, n).with_series(rs);
                let d = net.junction("d", anode, GROUND, junction).unwrap();
                let nv = n * THERMAL_VOLTAGE;
                let r = series + rs;
                let x = is * r / nv * ((supply + is * r) / nv).exp();
                let amps = nv / r * lambert_w(x) - is;
                let mut solver = Solver::new(&net).unwrap();
                let point = solver.solve(&[]).unwrap();
                near(point.amps(d), amps, 1e-9 * amps + 1e-14);
                near(point.volts(anode), supply - series * amps, 1e-8);
            }
        }
    }
}

/// The published model of a 1N4148 and what follows from it at 25 C.
#[test]
fn junction_readings_at_test_currents() {
    let mut junction = Junction::new(2.52e-9, 1.752).with_series(0.568);
    junction.thermal = 0.025_693;
    for (milliamps, expected) in [
        (0.1, 0.477),
        (0.5, 0.549),
        (0.7, 0.565),
        (1.0, 0.581),
        (5.0, 0.656),
        (10.0, 0.690),
    ] {
        let mut net = Network::new();
        let anode = net.node("anode");
        net.current("test", GROUND, anode, 1e-3 * milliamps)
            .unwrap();
        net.junction("d", anode, GROUND, junction).unwrap();
        near(volts(&net, anode), expected, 0.6e-3);
    }
}

#[test]
fn junctions_in_series_share_the_current() {
    let mut net = Network::new();
    let nodes: Vec<Node> = (0..4).map(|i| net.node(format!("n{i}"))).collect();
    net.current("test", GROUND, nodes[0], 1e-3).unwrap();
    let laws = [(1e-9, 1.3), (1e-14, 1.0), (1e-7, 1.1), (1e-12, 2.0)];
    for (i, (is, n)) in laws.into_iter().enumerate() {
        let below = nodes.get(i + 1).copied().unwrap_or(GROUND);
        net.junction(format!("d{i}"), nodes[i], below, Junction::new(is, n))
            .unwrap();
    }
    let sum: f64 = laws
        .iter()
        .map(|(is, n)| n * THERMAL_VOLTAGE * (1e-3 / is + 1.0_f64).ln())
        .sum();
    near(volts(&net, nodes[0]), sum, 1e-9);
}

#[test]
fn limited_source_up_to_and_beyond_its_limit() {
    for load in [10.0, 49.0, 50.0, 51.0, 1e4] {
        let mut net = Network::new();
        let out = net.node("out");
        let supply = net
            .limited_source("supply", out, GROUND, 5.0, 0.0, 0.1)
            .unwrap();
        net.resistor("load", out, GROUND, load).unwrap();
        let amps = (5.0 / load).min(0.1);
        let mut solver = Solver::new(&net).unwrap();
        let point = solver.solve(&[]).unwrap();
        near(point.amps(supply), amps, 1e-12);
        near(point.volts(out), amps * load, 1e-9);
    }
    // One that cannot pull down gives way to a stronger voltage.
    let mut net = Network::new();
    let out = net.node("out");
    let weak = Element::Source {
        plus: out,
        minus: GROUND,
        volts: 1.8,
        series: 0.0,
        gives: 0.1,
        takes: 0.0,
    };
    let weak = net.add("regulator", weak).unwrap();
    net.source("back feed", out, GROUND, 3.3, 1e3).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    let point = solver.solve(&[]).unwrap();
    near(point.volts(out), 3.3, 1e-9);
    near(point.amps(weak), 0.0, 1e-12);
}

#[test]
fn level_shifter_passes_low_both_ways_and_high_not_at_all() {
    let build = |low_side: f64, high_side: f64| {
        let mut net = Network::new();
        let (low, high) = (net.node("1.8 V"), net.node("3.3 V"));
        let (a, b) = (net.node("low side"), net.node("high side"));
        net.source("low rail", low, GROUND, 1.8, 0.0).unwrap();
        net.source("high rail", high, GROUND, 3.3, 0.0).unwrap();
        net.resistor("low pull-up", low, a, 4.7e3).unwrap();
        net.resistor("high pull-up", high, b, 4.7e3).unwrap();
        let mos = Mos {
            channel: Channel::N,
            threshold: 0.9,
            gain: 0.2,
            body: Junction::new(1e-12, 1.0),
        };
        net.mos("shifter", low, b, a, mos).unwrap();
        net.resistor("low driver", a, GROUND, low_side).unwrap();
        net.resistor("high driver", b, GROUND, high_side).unwrap();
        let mut solver = Solver::new(&net).unwrap();
        let point = solver.solve(&[]).unwrap();
        (point.volts(a), point.volts(b))
    };
    let (a, b) = build(1e9, 1e9);
    near(a, 1.8, 1e-3);
    near(b, 3.3, 1e-3);
    let (a, b) = build(30.0, 1e9);
    assert!(a < 0.05 && b < 0.06, "{a} {b}");
    let (a, b) = build(1e9, 30.0);
    assert!(a < 0.06 && b < 0.05, "{a} {b}");
}

#[test]
fn ill_posed_circuits_name_what_is_wrong() {
    let mut net = Network::new();
    let (a, b) = (net.node("a"), net.node("b"));
    net.source("supply", a, GROUND, 1.0, 0.0).unwrap();
    net.capacitor("c", a, b, 1e-6).unwrap();
    let nodes = vec!["b".to_owned()];
    assert_eq!(
        Solver::new(&net).unwrap_err(),
        SolveError::IllPosed(IllPosed::Floating { nodes })
    );
    net.current("pull", a, b, 1e-3).unwrap();
    let error = Solver::new(&net).unwrap_err();
    assert_eq!(
        error.to_string(),
        "`b` hang on nothing but current sources (`pull`)"
    );
    let mut net = Network::new();
    let (a, b) = (net.node("a"), net.node("b"));
    net.source("one", a, GROUND, 1.0, 0.0).unwrap();
    net.resistor("link", a, b, 0.0).unwrap();
    net.source("two", b, GROUND, 1.0, 0.0).unwrap();
    let elements = ["two", "one", "link"].map(str::to_owned).to_vec();
    let error = Solver::new(&net).unwrap_err();
    let SolveError::IllPosed(IllPosed::SourceLoop {
        elements: mut found,
    }) = error
    else {
        panic!("{error}");
    };
    found.sort();
    let mut wanted = elements;
    wanted.sort();
    assert_eq!(found, wanted);
    // An edit that lets a node float is found out too.
    let mut net = Network::new();
    let (a, b) = (net.node("a"), net.node("b"));
    net.source("supply", a, GROUND, 1.0, 0.0).unwrap();
    let r = net.resistor("only way", a, b, 10.0).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    let nodes = vec!["b".to_owned()];
    assert_eq!(
        solver.solve(&[Edit::Remove { element: r }]).unwrap_err(),
        SolveError::IllPosed(IllPosed::Floating { nodes })
    );
}

#[test]
fn impossible_values_are_refused() {
    let mut net = Network::new();
    let a = net.node("a");
    for ohms in [-1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            net.resistor("r", a, GROUND, ohms),
            Err(NetworkError::BadValue { .. })
        ));
    }
    assert!(
        net.junction("d", a, GROUND, Junction::new(0.0, 1.0))
            .is_err()
    );
    assert!(net.capacitor("c", a, GROUND, -1e-9).is_err());
    let stranger = {
        let mut other = Network::new();
        other.node("x");
        other.node("y")
    };
    assert!(matches!(
        net.resistor("r", stranger, GROUND, 1.0),
        Err(NetworkError::UnknownNode { .. })
    ));
    net.resistor("r", a, GROUND, 1.0).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    let bad = [
        Edit::Bridge {
            a: stranger,
            b: a,
            ohms: 1.0,
        },
        Edit::Bridge {
            a,
            b: GROUND,
            ohms: 0.0,
        },
    ];
    for edit in bad {
        assert!(matches!(solver.solve(&[edit]), Err(SolveError::Edit(_))));
    }
    assert!(solver.solve(&[]).unwrap().volts(stranger).is_nan());
}

/// A random well-posed network of everything there is.
fn random_network(rng: &mut StdRng, linear: bool) -> Network {
    let mut net = Network::new();
    let mut nodes = vec![GROUND];
    let log = |rng: &mut StdRng, low: f64, high: f64| rng.random_range(low.ln()..high.ln()).exp();
    for i in 0..rng.random_range(2..16) {
        let node = net.node(format!("n{i}"));
        let other = nodes[rng.random_range(0..nodes.len())];
        let ohms = log(rng, 0.5, 1e6);
        // A tree of resistances, now and then a junction in it.
        if linear || rng.random_bool(0.85) {
            net.resistor(format!("tree {i}"), node, other, ohms)
                .unwrap();
        } else {
            let j = Junction::new(log(rng, 1e-12, 1e-7), rng.random_range(1.0..2.0));
            net.junction(format!("tree {i}"), node, other, j).unwrap();
        }
        nodes.push(node);
    }
    let pick = |rng: &mut StdRng| nodes[rng.random_range(0..nodes.len())];
    for i in 0..rng.random_range(2..14) {
        let (a, b) = (pick(rng), pick(rng));
        if a == b {
            continue;
        }
        let name = format!("part {i}");
        match rng.random_range(0..if linear { 5 } else { 12 }) {
            0 | 1 => net.resistor(name, a, b, log(rng, 0.1, 1e7)),
            2 => {
                // With something beside it: a current forced against a
                // blocking junction has no physical answer.
                net.resistor("beside", a, b, log(rng, 100.0, 1e5)).unwrap();
                net.current(name, a, b, rng.random_range(-5e-3..5e-3))
            }
            3 | 4 => net.source(name, a, b, rng.random_range(-5.0..5.0), log(rng, 0.1, 1e4)),
            5 | 6 => {
                let (plus, minus) = (a, b);
                net.add(
                    name,
                    Element::Source {
                        plus,
                        minus,
                        volts: rng.random_range(-5.0..5.0),
                        series: if rng.random_bool(0.5) {
                            0.01
                        } else {
                            log(rng, 0.1, 1e4)
                        },
                        gives: log(rng, 1e-4, 0.3),
                        takes: if rng.random_bool(0.5) {
                            0.0
                        } else {
                            log(rng, 1e-4, 0.3)
                        },
                    },
                )
            }
            7..=10 => {
                let rs = if rng.random_bool(0.5) {
                    0.0
                } else {
                    log(rng, 0.1, 50.0)
                };
                let j = Junction::new(log(rng, 1e-16, 1e-6), rng.random_range(1.0..2.0));
                net.junction(name, a, b, j.with_series(rs))
            }
            _ => {
                let n = rng.random_bool(0.5);
                let mos = Mos {
                    channel: if n { Channel::N } else { Channel::P },
                    threshold: if n { 0.9 } else { -0.9 },
                    gain: log(rng, 1e-3, 0.5),
                    body: Junction::new(log(rng, 1e-15, 1e-11), 1.0),
                };
                let gate = pick(rng);
                net.mos(name, gate, a, b, mos)
            }
        }
        .unwrap();
    }
    net
}

#[test]
fn every_random_network_converges_and_keeps_kirchhoff() {
    let mut rng = StdRng::seed_from_u64(1);
    let mut failed = Vec::new();
    for i in 0..2000 {
        let net = random_network(&mut rng, false);
        match Solver::new(&net) {
            Err(error) => failed.push(format!("{i}: {error}")),
            Ok(mut solver) => {
                let point = solver.solve(&[]).unwrap();
                let residual = kirchhoff_residual(&net, &point);
                if residual >= 1e-9 {
                    failed.push(format!("{i}: residual {residual:e}"));
                }
            }
        }
    }
    assert!(failed.is_empty(), "{failed:#?}");
}

#[test]
fn linear_networks_superpose_and_are_reciprocal() {
    let mut rng = StdRng::seed_from_u64(2);
    for _ in 0..300 {
        let net = random_network(&mut rng, true);
        let sources: Vec<ElementId> = net
            .fitted()
            .filter(|(_, e)| matches!(e, Element::Source { .. } | Element::Current { .. }))
            .map(|(id, _)| id)
            .collect();
        let voltages = |net: &Network| -> Vec<f64> {
            let mut solver = Solver::new(net).unwrap();
            let point = solver.solve(&[]).unwrap();
            let nodes = (0..net.node_count()).filter_map(|n| net.node_at(n));
            nodes.map(|n| point.volts(n)).collect()
        };
        let all = voltages(&net);
        let mut sum = vec![0.0; all.len()];
        for kept in &sources {
            // A voltage source at 0 V is a wire behind its resistance: rebuild
            // with all others at 0.
            let mut one = Network::new();
            for n in 1..net.node_count() {
                one.node(format!("{n}"));
            }
            for (id, element) in net.fitted() {
                let mut element = *element;
                match &mut element {
                    Element::Source { volts, .. } if id != *kept => *volts = 0.0,
                    Element::Current { amps, .. } if id != *kept => *amps = 0.0,
                    _ => {}
                }
                one.add("", element).unwrap();
            }
            for (s, v) in sum.iter_mut().zip(voltages(&one)) {
                *s += v;
            }
        }
        let scale = all.iter().fold(1.0_f64, |m, v| m.max(v.abs()));
        for (s, v) in sum.iter().zip(&all) {
            near(*s, *v, 1e-9 * scale);
        }
        // A current put in here moves there as much as the other way round.
        let mut quiet = Network::new();
        for n in 1..net.node_count() {
            quiet.node(format!("{n}"));
        }
        for (_, element) in net.fitted() {
            if matches!(element, Element::Resistor { .. }) {
                quiet.add("", *element).unwrap();
            }
        }
        let last = quiet.node_at(quiet.node_count() - 1).unwrap();
        let first = quiet.node_at(1).unwrap();
        let moved = |at: Node, seen: Node| {
            let mut driven = quiet.clone();
            driven.current("test", GROUND, at, 1e-3).unwrap();
            volts(&driven, seen)
        };
        let (there, back) = (moved(first, last), moved(last, first));
        near(there, back, 1e-9 * there.abs() + 1e-12);
    }
}

#[test]
fn edits_give_what_rebuilding_gives() {
    let mut rng = StdRng::seed_from_u64(3);
    let mut compared = 0;
    for _ in 0..400 {
        let mut net = random_network(&mut rng, false);
        net.set_board_leakage(BOARD_LEAKAGE).unwrap();
        let Ok(mut solver) = Solver::new(&net) else {
            panic!("no operating point")
        };
        let node = |rng: &mut StdRng| net.node_at(rng.random_range(0..net.node_count())).unwrap();
        let (a, b) = (node(&mut rng), node(&mut rng));
        let all: Vec<(ElementId, Element)> = net.fitted().map(|(i, e)| (i, *e)).collect();
        let (element, known) = all[rng.random_range(0..all.len())];
        let ohms = rng.random_range(0.1_f64.ln()..1e5_f64.ln()).exp();
        let mut rebuilt = net.clone();
        let edit = match rng.random_range(0..4) {
            0 => {
                rebuilt.resistor("edit", a, b, ohms).unwrap();
                Edit::Bridge { a, b, ohms }
            }
            1 => {
                rebuilt.set_fitted(element, false).unwrap();
                Edit::Remove { element }
            }
            2 if matches!(known, Element::Resistor { .. }) => {
                rebuilt.set_fitted(element, false).unwrap();
                let Element::Resistor { a, b, ohms: own } = known else {
                    continue;
                };
                rebuilt.resistor("edit", a, b, own + ohms).unwrap();
                Edit::InSeries { element, ohms }
            }
            _ => {
                rebuilt.source("edit", a, b, 2.0, ohms).unwrap();
                Edit::Probe {
                    red: a,
                    black: b,
                    source: TestSource::behind(2.0, ohms),
                }
            }
        };
        // Taking out what lies beside a current source may leave no answer.
        let Ok(mut other) = Solver::new(&rebuilt) else {
            assert!(matches!(edit, Edit::Remove { .. }), "{edit:?}");
            continue;
        };
        let other = other.solve(&[]).unwrap();
        let point = solver.solve(&[edit]).unwrap();
        for n in (0..net.node_count()).filter_map(|n| net.node_at(n)) {
            let expected = other.volts(n);
            near(point.volts(n), expected, 1e-6 * expected.abs() + 1e-6);
            compared += 1;
        }
    }
    assert!(compared > 1000);
}

#[test]
fn charge_times_of_a_capacitor() {
    let mut net = Network::new();
    let (pin, far) = (net.node("pin"), net.node("far"));
    net.resistor("series", pin, far, 1e3).unwrap();
    net.resistor("bleed", far, GROUND, 10e3).unwrap();
    net.capacitor("c", far, GROUND, 1e-6).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    let source = TestSource::behind(3.0, 2500.0);
    let found = charges(&mut solver, &[], pin, GROUND, source).unwrap();
    let parallel = 1.0 / (1.0 / 3500.0 + 1.0 / 10e3);
    near(found[0].time_constant(), parallel * 1e-6, 1e-11);
    near(
        found[0].seconds(0.01),
        parallel * 1e-6 * 100.0_f64.ln(),
        1e-10,
    );
    near(found[0].volts, 3.0 * 10e3 / 13.5e3, 1e-9);
    // A limited current charges in a straight line: t = C V / I.
    let source = TestSource::current(1e-3, 2.0);
    let found = charges(&mut solver, &[], pin, GROUND, source).unwrap();
    near(found[0].ohms, found[0].volts / 1e-3, 1e-2);
}

/// A meter that gives next to nothing, on a pin that hangs on a blocking
/// junction and what leaks: its limits are crossed one after the other, where
/// whole steps would run to and fro between them.
#[test]
fn a_weak_source_on_a_loose_pin_comes_to_rest() {
    let mut net = Network::new();
    let pin = net.node("pin");
    let load = net.resistor("load", pin, GROUND, 1e3).unwrap();
    net.junction("clamp", GROUND, pin, Junction::new(6.27e-10, 1.3))
        .unwrap();
    net.set_board_leakage(BOARD_LEAKAGE).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    let probe = Edit::Probe {
        red: pin,
        black: GROUND,
        source: TestSource::current(5e-9, 0.6),
    };
    let point = solver
        .solve(&[Edit::Remove { element: load }, probe])
        .unwrap();
    near(point.volts(pin), 0.6, 1e-3);
    assert!(point.steps() <= 10, "{} steps", point.steps());
}

/// Without its supply a conducting junction shuts in a few steps; along the
/// tangents it would take one for each `n VT`.
#[test]
fn a_junction_without_its_supply_shuts_at_once() {
    let mut net = Network::new();
    let (top, pin) = (net.node("top"), net.node("pin"));
    net.source("supply", top, GROUND, 3.0, 0.0).unwrap();
    let feed = net.resistor("feed", top, pin, 2.5e3).unwrap();
    net.junction("lamp", pin, GROUND, Junction::new(1e-12, 1.2))
        .unwrap();
    let mut solver = Solver::new(&net).unwrap();
    assert!(solver.solve(&[]).unwrap().volts(pin) > 0.5);
    let point = solver.solve(&[Edit::Remove { element: feed }]).unwrap();
    near(point.volts(pin), 0.0, 1e-6);
    assert!(point.steps() <= 6, "{} steps", point.steps());
}
