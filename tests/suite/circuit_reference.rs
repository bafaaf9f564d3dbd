//! Operating points against ngspice: the networks and node voltages that
//! `ngspice_check.py` wrote.

use halfsplit::circuit::network::{Channel, Element, Junction, Mos, Network, Node};
use halfsplit::circuit::solve::{Solver, kirchhoff_residual};
use serde_json::Value;

const REFERENCE: &str = include_str!("../reference/ngspice.json");

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn build(reference: &Value) -> Network {
    let mut network = Network::new();
    for n in 1..=reference["nodes"].as_u64().unwrap() {
        network.node(n.to_string());
    }
    let node = |network: &Network, v: &Value| -> Node {
        network.node_at(v.as_u64().unwrap() as usize).unwrap()
    };
    for (i, part) in reference["parts"].as_array().unwrap().iter().enumerate() {
        let at = |k: usize| node(&network, &part[k]);
        let limit = |k: usize| part[k].as_f64().unwrap_or(f64::INFINITY);
        let element = match part[0].as_str().unwrap() {
            "R" => Element::Resistor {
                a: at(1),
                b: at(2),
                ohms: number(&part[3]),
            },
            "V" => Element::Source {
                plus: at(1),
                minus: at(2),
                volts: number(&part[3]),
                series: number(&part[4]),
                gives: limit(5),
                takes: limit(6),
            },
            "I" => Element::Current {
                from: at(1),
                to: at(2),
                amps: number(&part[3]),
            },
            "D" => Element::Junction {
                anode: at(1),
                cathode: at(2),
                junction: Junction::new(number(&part[3]), number(&part[4]))
                    .with_series(number(&part[5])),
            },
            "M" => Element::Mos {
                gate: at(2),
                drain: at(3),
                source: at(4),
                mos: Mos {
                    channel: match part[1].as_str().unwrap() {
                        "n" => Channel::N,
                        _ => Channel::P,
                    },
                    threshold: number(&part[5]),
                    gain: number(&part[6]),
                    body: Junction::new(number(&part[7]), number(&part[8])),
                },
            },
            other => panic!("unknown kind {other}"),
        };
        network.add(format!("part {i}"), element).unwrap();
    }
    network
}

#[test]
fn every_node_agrees_with_ngspice() {
    let all: Value = serde_json::from_str(REFERENCE).unwrap();
    let networks = all["networks"].as_array().unwrap();
    assert!(networks.len() >= 300);
    let mut outside = Vec::new();
    let (mut nodes, mut residual) = (0, 0.0_f64);
    for (i, reference) in networks.iter().enumerate() {
        let kind = reference["kind"].as_str().unwrap();
        let network = build(reference);
        let mut solver = match Solver::new(&network) {
            Ok(solver) => solver,
            Err(error) => {
                outside.push(format!("{i} {kind}: {error}"));
                continue;
            }
        };
        let point = solver.solve(&[]).unwrap();
        residual = residual.max(kirchhoff_residual(&network, &point));
        for (n, volts) in reference["volts"].as_array().unwrap().iter().enumerate() {
            let expected = number(volts);
            let found = point.volts(network.node_at(n + 1).unwrap());
            let miss = (found - expected).abs();
            nodes += 1;
            if miss > (1e-3 * expected.abs()).max(0.5e-3) {
                outside.push(format!("{i} {kind} node {}: {found} for {expected}", n + 1));
            }
        }
    }
    assert!(residual < 1e-9, "{residual:e}");
    assert!(nodes > 2000, "{nodes}");
    assert!(outside.is_empty(), "{}: {outside:#?}", outside.len());
}
