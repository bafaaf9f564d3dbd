//! Every built-in kind of line under everything that can happen to it, without
//! power and the meter's diode test at a point, and with power and a voltmeter
//! there: node voltages against ngspice. Without power also with the leads
//! swapped, at every point and at every supply.
//!
//! ```text
//! cargo test --test suite line_reference -- --ignored
//! python3 tests/reference/ngspice_check.py solve tests/reference/lines.json
//! ```
//!
//! writes the networks anew and has ngspice solve them. That is needed after a
//! template has been changed.

use crate::lines::{feeds, happenings, rules};
use halfsplit::circuit::edit::{Edit, TestSource};
use halfsplit::circuit::fault::variants;
use halfsplit::circuit::meter::Meter;
use halfsplit::circuit::network::{Channel, Element, Network, Node};
use halfsplit::circuit::solve::{Solver, kirchhoff_residual};
use halfsplit::line::{Wired, Wiring};
use halfsplit::rulebase::{Effect, Line, PackFault, PartKind};
use serde_json::{Value, json};

const REFERENCE: &str = include_str!("../reference/lines.json");
const HOW_TO: &str = "the templates have changed: see the head of tests/suite/line_reference.rs";

/// Whether two values are the same but for the last digits of numbers.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            (a - b).abs() <= 1e-12 * b.abs()
        }
        _ => a == b,
    }
}

/// A part as `ngspice_check.py` takes it.
fn part(element: &Element) -> Option<Value> {
    let limit = |amps: f64| amps.is_finite().then_some(amps);
    Some(match *element {
        Element::Resistor { a, b, ohms } => json!(["R", a.index(), b.index(), ohms]),
        Element::Source {
            plus,
            minus,
            volts,
            series,
            gives,
            takes,
        } => json!([
            "V",
            plus.index(),
            minus.index(),
            volts,
            series,
            limit(gives),
            limit(takes)
        ]),
        Element::Current { from, to, amps } => json!(["I", from.index(), to.index(), amps]),
        Element::Junction {
            anode,
            cathode,
            junction: j,
        } => json!([
            "D",
            anode.index(),
            cathode.index(),
            j.saturation,
            j.ideality,
            j.series
        ]),
        Element::Mos {
            gate,
            drain,
            source,
            mos,
        } => json!([
            "M",
            match mos.channel {
                Channel::N => "n",
                Channel::P => "p",
            },
            gate.index(),
            drain.index(),
            source.index(),
            mos.threshold,
            mos.gain,
            mos.body.saturation,
            mos.body.ideality
        ]),
        Element::Capacitor { .. } => return None,
    })
}

/// The healthy line in one state: its parts, with the place of each element
/// among them.
fn parts(network: &Network) -> (Vec<Value>, Vec<Option<usize>>) {
    let mut all = Vec::new();
    let mut places = vec![None; network.element_count()];
    for (id, element) in network.fitted() {
        if let Some(p) = part(element) {
            places[id.index()] = Some(all.len());
            all.push(p);
        }
    }
    let ohms = 1.0 / network.leakage();
    all.extend((1..network.node_count()).map(|n| json!(["R", n, 0, ohms])));
    (all, places)
}

/// What edits take out of the parts and put in.
fn changes(
    network: &Network,
    places: &[Option<usize>],
    edits: &[Edit],
) -> (Vec<usize>, Vec<Value>) {
    let (mut out, mut put) = (Vec::new(), Vec::new());
    for edit in edits {
        match *edit {
            Edit::Remove { element } => out.extend(places[element.index()]),
            Edit::Bridge { a, b, ohms } => put.push(json!(["R", a.index(), b.index(), ohms])),
            Edit::InSeries {
                element,
                ohms: more,
            } => {
                let mut changed = *network.element(element).unwrap();
                match &mut changed {
                    Element::Resistor { ohms, .. } => *ohms += more,
                    Element::Junction { junction, .. } => junction.series += more,
                    Element::Source { series, .. } => *series += more,
                    other => panic!("nothing goes in series with {other:?}"),
                }
                out.extend(places[element.index()]);
                put.extend(part(&changed));
            }
            Edit::Probe { red, black, source } => put.extend(part(&Element::Source {
                plus: red,
                minus: black,
                volts: source.volts,
                series: source.series,
                gives: source.gives,
                takes: source.takes,
            })),
            Edit::Saturation { element, factor } => {
                let mut changed = *network.element(element).unwrap();
                let Element::Junction { junction, .. } = &mut changed else {
                    panic!("{changed:?} has no saturation current");
                };
                junction.saturation *= factor;
                out.extend(places[element.index()]);
                put.extend(part(&changed));
            }
        }
    }
    (out, put)
}

/// One case: what is changed, and how a reader finds it again.
struct Case {
    base: usize,
    name: String,
    edits: Vec<Edit>,
}

/// The meter in diode mode at a node with its leads swapped: red on the node.
fn swapped(meter: &Meter, node: Node) -> Edit {
    let Edit::Probe { red, black, source } = probe(meter, false, node) else {
        unreachable!("a meter is a probe");
    };
    Edit::Probe {
        red: black,
        black: red,
        source,
    }
}

/// The meter at a point, as an edit.
fn probe(meter: &Meter, power: bool, point: Node) -> Edit {
    let (red, black, source) = if power {
        let input = TestSource::behind(0.0, meter.volts.input);
        (point, Node::GROUND, input)
    } else {
        (Node::GROUND, point, meter.diode.source)
    };
    let source = TestSource {
        series: source.series + meter.leads,
        ..source
    };
    Edit::Probe { red, black, source }
}

/// All networks of healthy lines, and all cases with one of them each.
fn cases() -> (Vec<Network>, Vec<Case>) {
    let meter = Meter::handheld();
    let (mut bases, mut all) = (Vec::new(), Vec::new());
    let mut add = |line: &Line, wiring: &Wiring, power: bool| {
        let state = if power { "on" } else { "off" };
        let harms = [happenings(line), feeds(line)].concat();
        let healthy = ("good".to_owned(), Vec::new());
        let harmed = harms.iter().map(|h| {
            let mut sizes = variants(&wiring.harm(line, h.harm).unwrap());
            let middle = sizes.len() / 2;
            (h.words.clone(), sizes.swap_remove(middle).edits)
        });
        for (i, (words, mut edits)) in [healthy].into_iter().chain(harmed).enumerate() {
            // Every point gets its turn.
            let point = &line.points[i % line.points.len()];
            edits.push(probe(&meter, power, wiring.nodes[point.node]));
            all.push(Case {
                base: bases.len(),
                name: format!("{} {state}, {words}, probed at {}", line.id, point.id),
                edits,
            });
        }
        if !power {
            let points = line.points.iter().map(|p| (p.id.as_str(), p.node));
            let rails = line.parts.iter().filter_map(|p| match p.kind {
                PartKind::Rail { .. } => Some((p.id.as_str(), p.from)),
                _ => None,
            });
            for (at, node) in points.chain(rails) {
                let node = wiring.nodes[node];
                let both = [
                    ("", probe(&meter, power, node)),
                    (" swapped", swapped(&meter, node)),
                ];
                for (leads, probe) in both {
                    all.push(Case {
                        base: bases.len(),
                        name: format!("{} off, good, probed{leads} at {at}", line.id),
                        edits: vec![probe],
                    });
                }
            }
        }
        bases.push(wiring.network.clone());
    };
    for line in &rules().templates {
        let feeds = feeds(line).into_iter().map(|h| Effect {
            fault: PackFault(0),
            harm: h.harm,
            chance: 1.0,
        });
        let line = &Line {
            faults: feeds.collect(),
            ..line.clone()
        };
        let wired = Wired::new(line).unwrap();
        add(line, &wired.off, false);
        add(line, &wired.on, true);
    }
    (bases, all)
}

#[test]
fn every_line_under_every_fault_agrees_with_ngspice() {
    let reference: Value = serde_json::from_str(REFERENCE).unwrap();
    let (bases, cases) = cases();
    let committed = reference["networks"].as_array().unwrap();
    assert_eq!(committed.len(), cases.len(), "{HOW_TO}");
    let mut outside = Vec::new();
    let (mut nodes, mut residual) = (0, 0.0_f64);
    let mut solvers = Vec::new();
    for (i, network) in bases.iter().enumerate() {
        let (all, places) = parts(network);
        let committed = &reference["bases"][i]["parts"];
        assert!(same(committed, &Value::from(all)), "{HOW_TO}");
        let mut solver = Solver::new(network).unwrap();
        residual = residual.max(kirchhoff_residual(network, &solver.solve(&[]).unwrap()));
        solvers.push((solver, places));
    }
    for (case, committed) in cases.iter().zip(committed) {
        let network = &bases[case.base];
        let (solver, places) = &mut solvers[case.base];
        assert_eq!(committed["kind"], case.name.as_str(), "{HOW_TO}");
        let (out, put) = changes(network, places, &case.edits);
        assert!(same(&committed["out"], &Value::from(out)), "{HOW_TO}");
        assert!(same(&committed["in"], &Value::from(put)), "{HOW_TO}");
        let point = match solver.solve(&case.edits) {
            Ok(point) => point,
            Err(error) => {
                outside.push(format!("{}: {error}", case.name));
                continue;
            }
        };
        let volts = committed["volts"].as_array().unwrap();
        assert_eq!(volts.len(), network.node_count() - 1);
        for (n, volts) in volts.iter().enumerate() {
            let expected = volts.as_f64().unwrap();
            let node = network.node_at(n + 1).unwrap();
            let found = point.volts(node);
            let miss = (found - expected).abs();
            nodes += 1;
            if miss > (1e-3 * expected.abs()).max(0.5e-3) || miss.is_nan() {
                let at = network.node_name(node);
                outside.push(format!("{}: {at} {found} for {expected}", case.name));
            }
        }
    }
    assert!(bases.len() >= 2 * 18 && cases.len() > 1000 && nodes > 10_000);
    assert!(residual < 1e-9, "{residual:e}");
    assert!(outside.is_empty(), "{}: {outside:#?}", outside.len());
}

#[test]
#[ignore = "writes the networks that ngspice is given"]
fn write_networks() {
    let (bases, cases) = cases();
    let all: Vec<_> = bases.iter().map(parts).collect();
    let line = |v: Value| serde_json::to_string(&v).unwrap();
    let written: Vec<String> = (bases.iter().zip(&all))
        .map(|(n, (parts, _))| line(json!({"nodes": n.node_count() - 1, "parts": parts})))
        .collect();
    let changed: Vec<String> = (cases.iter())
        .map(|c| {
            let (out, put) = changes(&bases[c.base], &all[c.base].1, &c.edits);
            line(json!({"kind": c.name, "base": c.base, "out": out, "in": put}))
        })
        .collect();
    let text = format!(
        "{{\"about\": {{}},\n\"bases\": [\n{}\n],\n\"networks\": [\n{}\n]}}\n",
        written.join(",\n"),
        changed.join(",\n")
    );
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/lines.json");
    std::fs::write(path, text).unwrap();
}
