//! Readings that are not to be trusted, line by line.

use super::*;
use crate::line::Forecast;
use crate::line::forecast::probes;
use crate::rulebase::{Duty, Known, LinePart, Point};

/// The condition in which the part is unplugged.
const OUT: usize = 0;

/// A line from the parts named, with a point at node 1 and the plug `plug`.
fn line(nodes: &[&str], parts: Vec<(&str, PartKind, usize, usize)>) -> Line {
    let parts: Vec<LinePart> = parts
        .into_iter()
        .map(|(id, kind, from, to)| LinePart {
            id: id.to_owned(),
            name: id.to_owned(),
            kind,
            from,
            to,
            duty: Duty::Joins,
            protects: false,
            fitted: 1.0,
            kinds: Vec::new(),
            source: "common practice, no source".to_owned(),
        })
        .collect();
    let plug = parts.iter().position(|p| p.id == "plug");
    Line {
        id: "line".to_owned(),
        name: "line".to_owned(),
        nodes: nodes.iter().map(|n| (*n).to_owned()).collect(),
        points: vec![Point {
            id: nodes[1].to_owned(),
            name: nodes[1].to_owned(),
            node: 1,
            minutes: 1.0,
        }],
        unplugged: plug.into_iter().map(|p| (p, OUT)).collect(),
        parts,
        ..Line::default()
    }
}

fn ohms(r: f64) -> PartKind {
    PartKind::Path(Known::within(r, 5.0))
}

fn farads(c: f64) -> PartKind {
    PartKind::Capacitor(Known::within(c, 20.0))
}

fn rail(volts: f64, idle: f64) -> PartKind {
    PartKind::Rail {
        volts: Known::within(volts, 5.0),
        amps: 0.3,
        idle: Known::within(idle, 5.0),
    }
}

fn clamp() -> PartKind {
    PartKind::Junction(Known::within(0.48, 4.0))
}

/// A control-bus wire: pad, series resistor, clamp, pull-up to its supply.
fn bus() -> Line {
    line(
        &["ground", "pad", "bus", "io"],
        vec![
            ("series", ohms(22.0), 1, 2),
            ("pull-up", ohms(2200.0), 2, 3),
            ("clamp", clamp(), 0, 2),
            ("io", rail(1.8, 5e3), 3, 0),
        ],
    )
}

fn wanted(mode: MeterMode, state: BenchState) -> Probing {
    Probing::new(0, mode, state)
}

/// What is not to be trusted of a line at its point, made ready or not.
fn found(line: &Line, mode: MeterMode, plugged: bool, power: Power) -> Vec<Distrust> {
    let wired = Wired::new(line).unwrap();
    let out = BenchState::from_iter([OUT]);
    let state = if plugged { BenchState::default() } else { out };
    let at = wanted(mode, out);
    distrust(line, &wired, &Meter::handheld(), at, state, power).unwrap()
}

fn reasons(found: &[Distrust]) -> Vec<(Why, bool)> {
    found.iter().map(|d| (d.why, d.invalid)).collect()
}

/// The middle of what a good line reads, and its spread.
fn good(line: &Line, mode: MeterMode, state: BenchState) -> (Reading, f64) {
    let wired = Wired::new(line).unwrap();
    let at = wanted(mode, state);
    let f = Forecast::new(line, &wired, &Meter::handheld(), at).unwrap();
    (f.good.typical(), f.good.deviation())
}

#[test]
fn a_powered_line_reads_its_supply_in_diode_mode_and_in_ohms() {
    let line = bus();
    for mode in [MeterMode::Diode, MeterMode::Ohms] {
        let all = found(&line, mode, false, Power::On);
        assert_eq!(reasons(&all), [(Why::Powered, true)]);
        assert!(all[0].says.contains("the 1.8 V that it puts on"), "{all:?}");
        // And by solving: nothing like what a good line reads without power.
        let wired = Wired::new(&line).unwrap();
        let mut on = Solver::new(&wired.on.network).unwrap();
        let (red, black) = probes(wired.on.nodes[1], mode);
        let meter = Meter::handheld();
        let live = meter.read(&mut on, &[], red, black, meter_mode(mode));
        let (off, spread) = good(&line, mode, BenchState::default());
        match (live.unwrap(), off) {
            (Reading::Value(live), Reading::Value(off)) => {
                let by = match mode {
                    MeterMode::Ohms if live <= 0.0 => f64::INFINITY,
                    MeterMode::Ohms => (live / off).ln().abs(),
                    _ => (live - off).abs(),
                };
                assert!(by > 3.0 * spread, "{mode:?}: {live} for {off}");
            }
            (live, off) => assert_ne!(live, off),
        }
    }
    let all = found(&line, MeterMode::Diode, false, Power::Connected);
    assert_eq!(reasons(&all), [(Why::Connected, true)]);
    let all = found(&line, MeterMode::Volts, false, Power::Off);
    assert_eq!(reasons(&all), [(Why::Unpowered, true)]);
    // Made ready, there is nothing to mind.
    assert!(found(&line, MeterMode::Diode, false, Power::Off).is_empty());
    assert!(found(&line, MeterMode::Volts, false, Power::On).is_empty());
}

#[test]
fn a_part_that_is_still_plugged_in_counts_if_it_moves_the_reading() {
    let with_part = |part: f64| {
        line(
            &["ground", "pad", "tail", "io"],
            vec![
                ("plug", ohms(0.05), 2, 1),
                ("part", ohms(part), 2, 0),
                ("pull-up", ohms(10e3), 1, 3),
                ("io", rail(1.8, 5e3), 3, 0),
            ],
        )
    };
    let out = BenchState::from_iter([OUT]);
    let between = |l: &Line| {
        let (with, _) = good(l, MeterMode::Ohms, BenchState::default());
        let (without, spread) = good(l, MeterMode::Ohms, out);
        match (with, without) {
            (Reading::Value(a), Reading::Value(b)) => (a / b).ln().abs() / spread,
            _ => f64::INFINITY,
        }
    };
    let low = with_part(1e3);
    assert!(between(&low) > 1.0);
    let all = found(&low, MeterMode::Ohms, true, Power::Off);
    assert_eq!(reasons(&all), [(Why::PluggedIn, true)]);
    assert!(all[0].says.contains("still plugged in"), "{all:?}");
    assert!(
        all[0].says.contains("938 ohm with it, 15 kilohm without"),
        "{all:?}"
    );
    let high = with_part(10e6);
    assert!(between(&high) < 1.0);
    assert!(found(&high, MeterMode::Ohms, true, Power::Off).is_empty());
    assert!(found(&low, MeterMode::Ohms, false, Power::Off).is_empty());
    // Where the test wants it plugged in, it is only to be minded.
    let wired = Wired::new(&low).unwrap();
    let at = wanted(MeterMode::Ohms, BenchState::default());
    let meter = Meter::handheld();
    let state = BenchState::default();
    let all = distrust(&low, &wired, &meter, at, state, Power::Off).unwrap();
    assert_eq!(reasons(&all), [(Why::PluggedIn, false)]);
}

#[test]
fn a_large_capacitor_creeps_as_long_as_it_charges() {
    let rail_with = |c: f64| {
        line(
            &["ground", "out"],
            vec![
                ("regulator", rail(3.3, 20e3), 1, 0),
                ("capacitor", farads(c), 1, 0),
            ],
        )
    };
    assert!(found(&rail_with(10e-9), MeterMode::Ohms, false, Power::Off).is_empty());
    let all = found(&rail_with(100e-6), MeterMode::Ohms, false, Power::Off);
    assert_eq!(reasons(&all), [(Why::Charging, false)]);
    // R C ln 100, with the 20 kilohm that the rail has while it is off:
    // 9.2 s, somewhat less beside the junction of the rail.
    let seconds: f64 = all[0]
        .says
        .split("up to ")
        .nth(1)
        .unwrap()
        .split(' ')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    assert!((8.0..=10.0).contains(&seconds), "{}", all[0].says);
    // In diode mode the meter gives enough for it to be over at once.
    assert!(found(&rail_with(100e-6), MeterMode::Diode, false, Power::Off).is_empty());
    // Ten thousand microfarad hold 3.3 V for R C ln(3.3 / 0.05), minutes.
    let all = found(&rail_with(10e-3), MeterMode::Diode, false, Power::Off);
    let held = all.iter().find(|d| d.why == Why::Charged).unwrap();
    assert!(held.says.contains("discharge it"), "{held:?}");
}

#[test]
fn a_series_capacitor_makes_ol_the_right_reading() {
    let with = |between: PartKind| {
        line(
            &["ground", "pad", "far", "io"],
            vec![
                ("series", between, 1, 2),
                ("clamp", clamp(), 0, 2),
                ("pull-up", ohms(2200.0), 2, 3),
                ("io", rail(1.8, 5e3), 3, 0),
            ],
        )
    };
    let (capacitor, wire) = (with(farads(100e-9)), with(ohms(1.0)));
    for mode in [MeterMode::Diode, MeterMode::Ohms] {
        assert_eq!(good(&capacitor, mode, BenchState::default()).0, Reading::OL);
        let all = found(&capacitor, mode, false, Power::Off);
        let right = all.iter().find(|d| d.why == Why::SeriesCapacitor).unwrap();
        assert!(
            right.says.contains("OL is right here: the series"),
            "{right:?}"
        );
        assert_ne!(good(&wire, mode, BenchState::default()).0, Reading::OL);
        assert!(found(&wire, mode, false, Power::Off).is_empty());
    }
    // A clamp before the capacitor reads a value, and OL would be wrong.
    let mut clamped = capacitor.clone();
    clamped.parts[1].to = 1;
    assert_ne!(
        good(&clamped, MeterMode::Diode, BenchState::default()).0,
        Reading::OL
    );
    let all = found(&clamped, MeterMode::Diode, false, Power::Off);
    assert!(all.iter().all(|d| d.why != Why::SeriesCapacitor), "{all:?}");
}

#[test]
fn a_dead_supply_may_be_fed_from_another() {
    let two = |between: f64| {
        line(
            &["ground", "own", "other"],
            vec![
                ("own supply", rail(1.8, 10e3), 1, 0),
                ("other supply", rail(3.3, 10e3), 2, 0),
                ("bridge", ohms(between), 1, 2),
            ],
        )
    };
    let all = found(&two(4.7e3), MeterMode::Volts, false, Power::On);
    assert_eq!(reasons(&all), [(Why::BackFed, false)]);
    // 3.3 V over 4.7 kilohm into 10 kilohm.
    assert!(
        all[0]
            .says
            .contains("some 2.24 V, fed over the line from the other supply"),
        "{all:?}"
    );
    assert!(found(&two(1e6), MeterMode::Volts, false, Power::On).is_empty());
}
