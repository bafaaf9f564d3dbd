//! What a bench reads on good and on faulty lines, held against the circuits of
//! the packs. Common practice, no source: no single board was read for these;
//! each is a value that a senior technician would call so at once.
//!
//! Devices are drawn from a line: how it is built, each value that nobody knows,
//! the size of a fault. A reading of a good line lies among theirs. A reading of
//! a faulty line is one that the named fault gives room to, and more of it than a
//! good line does.

use crate::lines::{Drawn, edits, rules};
use halfsplit::bench::BenchState;
use halfsplit::circuit::edit::Edit;
use halfsplit::circuit::meter::{Meter, Reading};
use halfsplit::line::{Probing, Wired, Wiring, ways};
use halfsplit::rulebase::{Effect, How, Line, MeterMode, Pack, Rulebase};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

/// Over the limit of the meter.
const OL: f64 = f64::INFINITY;

/// Devices that are drawn for each test.
const DEVICES: usize = 600;
/// The share of good devices that read less, and more, than a good reading.
const ENDS: f64 = 0.01;
/// A fault gives a reading room that at least this share of faulty devices have.
const ROOM: f64 = 0.01;

/// One test of a pack, on drawn devices.
struct Bench<'r> {
    line: &'r Line,
    probing: Probing,
    devices: Vec<(Wired, Drawn)>,
    meter: Meter,
    rng: StdRng,
}

fn pack<'r>(rules: &'r Rulebase, id: &str) -> &'r Pack {
    rules.packs.iter().find(|p| p.id == id).unwrap()
}

/// The number of a fault, with what it does to a line.
fn effects(pack: &Pack, line: &Line, fault: &str) -> Vec<Effect> {
    let id = pack.faults.keys().find(|f| pack.fault_id(*f) == fault);
    let id = id.unwrap_or_else(|| panic!("no fault {fault}"));
    let all = line.faults.iter().filter(|e| e.fault == id).copied();
    let all: Vec<Effect> = all.collect();
    assert!(!all.is_empty(), "{fault} does nothing to {}", line.id);
    all
}

impl<'r> Bench<'r> {
    fn new(rules: &Rulebase, of: &'r Pack, test: &str) -> Self {
        let known = of.tests.iter().find(|t| t.id == test);
        let known = known.unwrap_or_else(|| panic!("no test {test}"));
        let How::Measures { line, point, mode } = known.how else {
            panic!("{test} measures nothing");
        };
        let line = &of.lines[line];
        let state = rules.bench.closure(&known.step.conditions);
        let state: BenchState = state.into_iter().collect();
        let mut rng = StdRng::seed_from_u64(7);
        let ways: Vec<(f64, Wired)> = ways(line)
            .iter()
            .map(|w| (w.chance, Wired::in_way(line, w).unwrap()))
            .collect();
        let mut device = || {
            let mut left: f64 = rng.random();
            let built = ways.iter().find(|(chance, _)| {
                left -= chance;
                left <= 0.0
            });
            let wired = &built.unwrap_or(&ways[0]).1;
            (wired.clone(), Drawn::of_line(line, wired, &mut rng))
        };
        Bench {
            line,
            probing: Probing::new(point, mode, state),
            devices: (0..DEVICES).map(|_| device()).collect(),
            meter: Meter::handheld(),
            rng,
        }
    }

    /// What the devices read, each with what is done to it.
    fn read(&mut self, mut harm: impl FnMut(&Wiring, &mut StdRng) -> Vec<Edit>) -> Vec<f64> {
        let mut read = |(wired, drawn): &mut (Wired, Drawn)| {
            let more = harm(wired.for_mode(self.probing.mode), &mut self.rng);
            match drawn.reads((self.line, wired), &self.meter, self.probing, &more) {
                Reading::Value(v) => v,
                Reading::OL => OL,
            }
        };
        self.devices.iter_mut().map(&mut read).collect()
    }

    fn good(&mut self) -> Vec<f64> {
        self.read(|_, _| Vec::new())
    }

    /// With one of the things that a fault does, by their chances.
    fn faulty(&mut self, effects: &[Effect]) -> Vec<f64> {
        let line = self.line;
        let all: f64 = effects.iter().map(|e| e.chance).sum();
        self.read(|wiring, rng| {
            let mut left = all * rng.random::<f64>();
            let done = effects.iter().find(|e| {
                left -= e.chance;
                left <= 0.0
            });
            let done = done.unwrap_or(&effects[0]);
            edits(wiring, line, done.harm, rng.random())
        })
    }

    fn shown(&self, value: f64) -> String {
        match value == OL {
            true => "OL".to_owned(),
            false => format!("{value} {}", self.probing.mode.unit()),
        }
    }
}

/// Share of the readings around a value: within a factor 1.6 of ohms and the
/// last digit, within 0.1 V and a tenth of a voltage.
fn room(readings: &[f64], mode: MeterMode, value: f64) -> f64 {
    let near = |r: f64| match mode {
        _ if value == OL || r == OL => value == r,
        MeterMode::Ohms => {
            (r + 0.1).ln() - (value + 0.1).ln() < 0.5 && (value + 0.1).ln() - (r + 0.1).ln() < 0.5
        }
        MeterMode::Volts | MeterMode::Diode => (r - value).abs() < 0.1 * value.abs().max(1.0),
    };
    readings.iter().filter(|r| near(**r)).count() as f64 / readings.len() as f64
}

/// Readings of good lines that the circuits have no room for.
fn good(of: &str, all: &[(&str, &[f64])]) -> Vec<String> {
    let rules = rules();
    let mut wrong = Vec::new();
    for (test, values) in all {
        let mut bench = Bench::new(&rules, pack(&rules, of), test);
        let mut read = bench.good();
        read.sort_by(f64::total_cmp);
        let share = |f: &dyn Fn(&f64) -> bool| {
            read.iter().filter(|r| f(r)).count() as f64 / read.len() as f64
        };
        for v in *values {
            if share(&|r| r <= v) < ENDS || share(&|r| r >= v) < ENDS {
                let at = |s: f64| read[(s * (read.len() - 1) as f64) as usize];
                let (low, high) = (at(ENDS), at(1.0 - ENDS));
                let v = bench.shown(*v);
                wrong.push(format!("{test} {v}: a good line reads {low} to {high}"));
            }
        }
    }
    wrong
}

/// Readings of faulty lines that the named fault has no room for.
fn faulty(of: &str, all: &[(&str, &str, &[f64])]) -> Vec<String> {
    let rules = rules();
    let of = pack(&rules, of);
    let mut wrong = Vec::new();
    for (test, fault, values) in all {
        let mut bench = Bench::new(&rules, of, test);
        let mode = bench.probing.mode;
        let good = bench.good();
        let bad = bench.faulty(&effects(of, bench.line, fault));
        for v in *values {
            let (bad, good) = (room(&bad, mode, *v), room(&good, mode, *v));
            if bad < ROOM || bad < 2.0 * good {
                let v = bench.shown(*v);
                wrong.push(format!(
                    "{test} {v}, {fault}: {bad:.4} of it, good {good:.4}"
                ));
            }
        }
    }
    wrong
}

#[test]
fn half_shorts_and_leaks_of_all_sizes_have_a_cause() {
    let imaging: &[(&str, &str, &[f64])] = &[
        (
            "analogue-ohms",
            "analogue-capacitor.short",
            &[0.3, 2.0, 10.0, 20.0],
        ),
        ("bus-data-ohms", "connector.short", &[0.3, 2.0, 10.0, 20.0]),
        ("bus-data-ohms", "bus-data.short", &[25.0, 40.0]),
        ("bus-data-ohms", "neighbour.holds-bus", &[40.0, 300.0]),
        ("bus-data-ohms", "connector.joint-open", &[OL]),
        ("analogue-ohms", "analogue-capacitor.short", &[30.0, 100.0]),
    ];
    let charging: &[(&str, &str, &[f64])] = &[
        (
            "main-rail-ohms",
            "power-path.short",
            &[0.3, 3.0, 10.0, 20.0],
        ),
        ("main-rail-ohms", "other-load.leaks", &[10.0, 30.0, 100.0]),
        ("cc-first-inner-ohms", "cc-pull-down.open", &[300e3, 2e6]),
        ("cc-first-ohms", "cc-clamp.leaky", &[100.0, 1e3]),
        ("cc-first-volts", "cc-pull-down.changed", &[2.4, 3.2, 4.2]),
        // 30 kilohm is what a part of 47 kilohm reads in the warmth of a hand.
        ("thermistor-ohms", "thermistor.drifted", &[600e3, 2e3]),
    ];
    let mut wrong = faulty("imaging", imaging);
    wrong.extend(faulty("charging", charging));
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_supply_at_any_share_of_its_level_has_a_cause() {
    let imaging: &[(&str, &str, &[f64])] = &[
        (
            "analogue-inner-volts",
            "analogue-regulator.dead",
            &[0.0, 0.7, 1.4, 2.1],
        ),
        (
            "core-inner-volts",
            "core-regulator.dead",
            &[0.0, 0.3, 0.6, 0.85],
        ),
        ("io-shared-volts", "shared-supply.weak", &[0.4, 0.9, 1.5]),
        ("clock-average", "clock-source.dead", &[0.0, 1.79]),
        (
            "bus-data-inner-volts",
            "shared-supply.weak",
            &[0.4, 0.9, 1.4],
        ),
    ];
    let wrong = faulty("imaging", imaging);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn an_unpowered_rail_reads_as_a_junction_from_ground() {
    let imaging: &[(&str, &[f64])] = &[
        ("analogue-diode", &[0.28, 0.412, 0.55]),
        ("analogue-inner-diode", &[0.28, 0.412, 0.55]),
        ("focus-diode", &[0.412]),
        ("io-diode", &[0.3, 0.45]),
        ("core-diode", &[0.03, 0.15, 0.3]),
    ];
    let charging: &[(&str, &[f64])] = &[("main-rail-diode", &[0.36, 0.42, 0.5])];
    let mut wrong = good("imaging", imaging);
    wrong.extend(good("charging", charging));
    let open: &[(&str, &str, &[f64])] = &[
        ("analogue-diode", "analogue-filter.open", &[OL]),
        ("core-diode", "core-filter.open", &[OL]),
        ("analogue-diode", "analogue-capacitor.short", &[0.0, 0.01]),
    ];
    wrong.extend(faulty("imaging", open));
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// No device reads, in diode mode, red on ground, at an unpowered rail below zero
/// or above all junctions in parallel.
#[test]
fn an_unpowered_rail_reads_nothing_impossible() {
    let rules = rules();
    let imaging = pack(&rules, "imaging");
    for test in ["analogue-diode", "io-diode", "core-diode", "focus-diode"] {
        let read = Bench::new(&rules, imaging, test).good();
        let outside = read.iter().find(|r| !(0.0..=0.65).contains(*r));
        assert!(outside.is_none(), "{test}: {outside:?}");
    }
}

/// While the board is off its supplies give nothing anyway: neither a dead one
/// nor one that a setting keeps off can be told from a good one.
#[test]
fn what_only_keeps_a_supply_off_does_not_show_without_power() {
    let rules = rules();
    let hidden = [
        ("analogue-diode", "analogue-regulator.dead"),
        ("analogue-ohms", "permission.refused"),
        ("analogue-ohms", "policy.blocked"),
        ("bus-data-ohms", "shared-supply.dead"),
        ("io-ohms", "permission.refused"),
        ("io-diode", "privacy-switch.engaged"),
        ("reset-ohms", "permission.refused"),
    ];
    let imaging = pack(&rules, "imaging");
    for (test, fault) in hidden {
        let mut bench = Bench::new(&rules, imaging, test);
        let effects = effects(imaging, bench.line, fault);
        assert_eq!(bench.good(), bench.faulty(&effects), "{test}, {fault}");
    }
}

#[test]
fn good_lines_of_every_kind_read_as_benches_read_them() {
    let imaging: &[(&str, &[f64])] = &[
        ("analogue-ohms", &[600.0, 10e3, 68e3, 220e3, 300e3]),
        ("io-ohms", &[400.0, 5e3, 100e3]),
        ("core-ohms", &[8.0, 40.0, 1e3]),
        ("reset-ohms", &[10e3, 100e3, 800e3]),
        ("bus-data-ohms", &[1.5e3, 10e3, 80e3]),
        ("analogue-volts", &[2.7, 2.9]),
        ("lanes-diode", &[0.32, 0.5, 0.62]),
        ("lanes-ohms", &[27e3, 480e3, 8e6]),
        ("clock-ohms", &[36e3, 3.1e6]),
    ];
    let charging: &[(&str, &[f64])] = &[
        ("vbus-diode", &[0.15, 0.4, 0.6]),
        ("vbus-ohms", &[2e3, 100e3, 1.5e6, OL]),
        ("main-rail-ohms", &[1e3, 20e3, 1e6]),
        ("fuse-in-volts", &[5.1, 9.0, 12.1, 15.0, 20.1]),
        ("cc-first-ohms", &[5.1e3]),
        ("cc-first-volts", &[0.41, 0.94, 1.68]),
        ("data-p-ohms", &[380e3, 1.1e6]),
        ("vbus-input-ohms", &[150e3]),
        ("thermistor-ohms", &[10e3, 98e3]),
    ];
    let mut wrong = good("imaging", imaging);
    wrong.extend(good("charging", charging));
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_ways_of_a_line_are_what_boards_and_sources_are() {
    let rules = rules();
    let of = |pack_id: &str, line: &str| {
        let pack = pack(&rules, pack_id);
        pack.lines.iter().find(|l| l.id == line).unwrap()
    };
    for pack in &rules.packs {
        for line in &pack.lines {
            let sum: f64 = ways(line).iter().map(|w| w.chance).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{}: {sum}", line.id);
        }
    }
    assert_eq!(ways(of("imaging", "analogue")).len(), 1);
    // Clamps on both wires of a lane, or on none; on seven boards of ten. A data switch
    // on both or on none; on three of ten.
    let lane = of("imaging", "lane");
    let all = ways(lane);
    assert_eq!(all.len(), 4);
    assert!((all[0].chance - 0.49).abs() < 1e-12);
    let lacks = |way: &halfsplit::line::Way| -> Vec<&str> {
        let written = way.lacks.iter().filter(|p| !lane.parts[**p].is_piece());
        written.map(|p| &*lane.parts[*p].id).collect()
    };
    assert_eq!(lacks(&all[0]), ["switch-p", "switch-n"]);
    assert_eq!(lacks(&all[3]), ["clamp-p", "clamp-n"]);
    // The levels at ports. Common practice, no source.
    let levels: Vec<f64> = (ways(of("charging", "vbus")).iter())
        .filter(|w| w.lacks.is_empty())
        .map(|w| w.values[0].1.typical)
        .collect();
    assert_eq!(levels, [5.0, 9.0, 12.0, 15.0, 20.0]);
}
