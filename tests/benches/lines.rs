//! How long the readings of a line take.
//!
//! ```text
//! cargo bench --bench lines
//! HALFSPLIT_NGSPICE=1 cargo bench --bench lines    # and against ngspice, one run a fault
//! HALFSPLIT_PROBES=500 cargo bench --bench lines   # a hidden fault in each kind of line,
//!                                                  # following the advice; HALFSPLIT_LINE=NAME
//!                                                  # for one kind, HALFSPLIT_WRONG=1 for
//!                                                  # the runs that end wrong
//! ```
//!
//! | bench | bar |
//! | --- | --- |
//! | `full_table`: a line of 20 nodes, all faults, points and modes | 5 ms |
//! | the same faults by one run of ngspice each | 200 times as long |

use std::fmt::Write as _;
use std::process::Command;
use std::sync::LazyLock;
use std::time::Instant;

use divan::{Bencher, black_box};
use halfsplit::bench::BenchState;
use halfsplit::circuit::edit::Edit;
use halfsplit::circuit::fault::variants;
use halfsplit::circuit::meter::{Meter, Mode};
use halfsplit::circuit::network::{Element, Network, Node};
use halfsplit::circuit::solve::Solver;
use halfsplit::line::{Forecast, Probing, Table, Wired};
use halfsplit::rulebase::{
    Duty, Effect, Harm, Known, Line, LinePart, MeterMode, PackFault, PartKind, Point,
};
use rand::SeedableRng;
use rand::rngs::StdRng;

#[path = "../lines/mod.rs"]
mod lines;

fn main() {
    if let Some(runs) = std::env::var_os("HALFSPLIT_PROBES") {
        let runs = runs.to_str().and_then(|r| r.parse().ok());
        follow_the_advice(runs.unwrap_or(500));
    }
    if std::env::var_os("HALFSPLIT_NGSPICE").is_some() {
        against_ngspice();
    }
    divan::main();
}

/// A path of 17 nodes with filters, a level shifter between two supplies,
/// clamps and pull-ups; with the supplies and their gate 20 nodes and ground.
static LINE: LazyLock<Line> = LazyLock::new(|| {
    let mut nodes = vec!["ground".to_owned()];
    nodes.extend((1..=17).map(|n| format!("n{n}")));
    nodes.extend(["low supply", "high supply", "enable"].map(str::to_owned));
    let (low, high, enable) = (18, 19, 20);
    let part = |id: String, kind, from, to| LinePart {
        name: id.clone(),
        id,
        kind,
        from,
        to,
        duty: Duty::Joins,
        protects: false,
        fitted: 1.0,
        kinds: Vec::new(),
        source: "common practice, no source".to_owned(),
    };
    let ohms = |r| PartKind::Path(Known::within(r, 5.0));
    let mut parts = Vec::new();
    for n in 1..17 {
        let kind = match n {
            9 => PartKind::Shifter { gate: enable },
            n => ohms([0.05, 0.3, 22.0, 0.1][n % 4]),
        };
        parts.push(part(format!("part {n}"), kind, n, n + 1));
    }
    for (n, at, to) in [(1, 4, low), (2, 9, low), (3, 10, high), (4, 16, high)] {
        parts.push(part(format!("pull-up {n}"), ohms(4700.0), at, to));
    }
    parts.push(part("enable resistor".to_owned(), ohms(1e4), enable, low));
    for at in [2, 9, 17] {
        let junction = PartKind::Junction(Known::within(0.48, 5.0));
        parts.push(part(format!("clamp at {at}"), junction, 0, at));
    }
    for (name, at, volts) in [("low", low, 1.8), ("high", high, 3.3)] {
        let rail = PartKind::Rail {
            volts: Known::within(volts, 5.0),
            amps: 0.3,
            idle: Known::between(2e3, 2e4),
        };
        parts.push(part(name.to_owned(), rail, at, 0));
    }
    let points = [1, 3, 5, 8, 10, 13, 16, 17].map(|node| Point {
        id: format!("p{node}"),
        name: format!("point {node}"),
        node,
        minutes: 1.0,
    });
    // Every part open; resistors gone high; shorts and leaks to ground.
    let mut harms: Vec<Harm> = (0..parts.len()).map(Harm::Open).collect();
    harms.extend([2, 6, 13, 16, 17].map(Harm::Resistive));
    harms.extend([2, 9, 10, 17].map(Harm::Grounded));
    harms.extend([2, 9, 17].map(Harm::LeakyNode));
    Line {
        id: "bench".to_owned(),
        name: "a line".to_owned(),
        nodes,
        parts,
        points: points.to_vec(),
        faults: (harms.into_iter().enumerate())
            .map(|(fault, harm)| Effect {
                fault: PackFault(fault),
                harm,
                chance: 1.0,
            })
            .collect(),
        ..Line::default()
    }
});

/// From the typed line: wiring, reduction, all readings.
#[divan::bench]
fn full_table() -> Table {
    let wired = Wired::new(&LINE).expect("physical values");
    Table::new(&LINE, &wired, &Meter::handheld()).expect("a circuit that can be solved")
}

/// One point and mode with all spreads and sizes, for planning.
#[divan::bench]
fn forecast(bencher: Bencher) {
    let wired = Wired::new(&LINE).expect("physical values");
    let meter = Meter::handheld();
    bencher.bench_local(|| {
        let probing = Probing::new(0, MeterMode::Diode, BenchState::default());
        Forecast::new(black_box(&LINE), &wired, &meter, probing)
    });
}

// ---- ngspice -------------------------------------------------------------------

/// A deck with one fault, and the meter as 3 V behind 2.5 kilohm at the plug.
fn deck(net: &Network, edits: &[Edit]) -> String {
    let mut out = String::from("line\n.options temp=26.85 tnom=26.85 gmin=1e-15\n");
    for (id, element) in net.fitted() {
        let i = id.index();
        let removed = |e: &Edit| matches!(e, Edit::Remove { element } if *element == id);
        if edits.iter().any(removed) {
            continue;
        }
        let (a, b) = element.ends();
        let (a, b) = (a.index(), b.index());
        let _ = match *element {
            Element::Resistor { ohms, .. } => writeln!(out, "R{i} {a} {b} {ohms}"),
            Element::Junction { junction: j, .. } => writeln!(
                out,
                "D{i} {a} {b} d{i}\n.model d{i} d(is={} n={})",
                j.saturation, j.ideality
            ),
            Element::Mos { gate, mos, .. } => writeln!(
                out,
                "M{i} {a} {} {b} {b} m{i} w=1u l=1u\n.model m{i} nmos(level=1 vto={} kp={} is=1e-30)\n\
                 D{i} {b} {a} d{i}\n.model d{i} d(is={} n={})",
                gate.index(),
                mos.threshold,
                mos.gain,
                mos.body.saturation,
                mos.body.ideality
            ),
            _ => Ok(()),
        };
    }
    for (n, e) in edits.iter().enumerate() {
        if let Edit::Bridge { a, b, ohms } = e {
            let _ = writeln!(out, "Rb{n} {} {} {ohms}", a.index(), b.index());
        }
    }
    for node in 1..net.node_count() {
        let _ = writeln!(out, "Rl{node} {node} 0 1e10");
    }
    let _ = writeln!(out, "Vm 0 m -3\nRm m 1 2500\n.op\n.end");
    out
}

/// The readings of one point in diode mode, one run of ngspice a fault.
fn against_ngspice() {
    let wired = Wired::new(&LINE).expect("physical values");
    let net = &wired.off.network;
    let all: Vec<Vec<Edit>> = LINE
        .faults
        .iter()
        .map(|e| {
            let mut sizes = variants(&wired.off.harm(&LINE, e.harm).expect("physical sizes"));
            sizes.swap_remove(sizes.len() / 2).edits
        })
        .filter(|edits| !edits.iter().any(|e| matches!(e, Edit::InSeries { .. })))
        .collect();
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("line.cir");
    let start = Instant::now();
    for edits in &all {
        std::fs::write(&path, deck(net, edits)).expect("a deck");
        let done = Command::new("ngspice").arg("-b").arg(&path).output();
        assert!(done.expect("ngspice").status.success());
    }
    let theirs = start.elapsed().as_secs_f64() / all.len() as f64;
    let meter = Meter::handheld();
    let probe = wired.off.nodes[LINE.points[0].node];
    let start = Instant::now();
    let mut solver = Solver::new(net).expect("a circuit that can be solved");
    for edits in &all {
        let read = meter.read(&mut solver, edits, Node::GROUND, probe, Mode::Diode);
        black_box(read.expect("a reading"));
    }
    let ours = start.elapsed().as_secs_f64() / all.len() as f64;
    #[expect(clippy::print_stdout, reason = "what the bench was run for")]
    {
        println!(
            "{} faults: ngspice {:.2} ms a fault, here {:.4} ms, {:.0} times",
            all.len(),
            theirs * 1e3,
            ours * 1e3,
            theirs / ours
        );
    }
}

// ---- following the advice --------------------------------------------------------

/// A hidden fault on each kind of line, following the advice.
#[expect(clippy::print_stdout, reason = "what the bench was run for")]
fn follow_the_advice(runs: usize) {
    let only = std::env::var("HALFSPLIT_LINE").unwrap_or_default();
    let templates = lines::templates();
    let exactly = templates.iter().any(|t| t.0 == only);
    for (name, text) in templates {
        if !name.contains(&only) || exactly && name != only {
            continue;
        }
        let device = lines::device::Device::new(&text);
        let start = Instant::now();
        let t = lines::trial::Trial::new(&device, runs, &mut StdRng::seed_from_u64(18));
        println!(
            "{:<22} {:>3} faults {:>3} elements {:>3} apart: right {:.3} very {:.3} probes {:.2} (bar {:.2}) {:.1} s",
            device.line.id,
            device.happenings.len(),
            device.elements.len(),
            t.elements,
            t.share(),
            t.very as f64 / t.runs as f64,
            t.mean_probes(),
            t.most_probes(),
            start.elapsed().as_secs_f64()
        );
    }
}
