//! The sums beside a measurement, and the solver, against published figures.
//! Each check names where its figure stands; what was only recomputed from a
//! published formula says so.

use halfsplit::circuit::meter::{Accuracy, Meter, Mode, Reading};
use halfsplit::circuit::network::{Junction, Network, Node};
use halfsplit::circuit::solve::Solver;
use halfsplit::sums::bus::{self, Level, Sizes, Speed};
use halfsplit::sums::led::{LampString, TOUCH_LIMIT};
use halfsplit::sums::thermistor::{ROWS_10K, Thermistor, beta_between, ohms_in_divider};
use halfsplit::sums::typec::{self, Cc, Offer};
use halfsplit::sums::wire::{Gauge, fusing};

#[track_caller]
fn near(value: f64, published: f64, within: f64) {
    assert!(
        (value - published).abs() <= within,
        "{value} is not within {within} of {published}"
    );
}

// ---- the two-wire bus ------------------------------------------------------

#[test]
fn pull_ups_as_worked_by_their_makers() {
    // TI SLVA689 (February 2015), clause 4: fast mode, 200 pF, 3.3 V.
    let sizes = Sizes::of(Speed::Fast, 3.3, 200e-12).unwrap();
    near(sizes.least, 966.667, 0.001);
    near(sizes.most, 1.77e3, 5.0);
    // UM10204 rev. 5, 7.1: t1 = 0.3566749 RC, t2 = 1.2039729 RC.
    near(bus::rise_factor(), 0.8473, 5e-5);
    near(bus::rise_factor(), 1.203_972_9 - 0.356_674_9, 1e-6);
}

#[test]
fn pull_ups_recomputed_from_the_formulas() {
    // (5.0 - 0.4) V / 3 mA.
    near(bus::least_pull_up(5.0, 0.4, 3e-3).unwrap(), 1533.33, 0.01);
    // 1.8 V, low level 0.36 V, by the sink current: 3 mA, and 2 mA as the
    // tables of TI PCF8574A (SCPS069G) and TCAL9539 (SCPS241) have it.
    near(bus::low_volts(1.8), 0.36, 1e-12);
    near(bus::least_pull_up(1.8, 0.36, 3e-3).unwrap(), 480.0, 1e-9);
    near(bus::least_pull_up(1.8, 0.36, 2e-3).unwrap(), 720.0, 1e-9);
    let sizes = Sizes::of(Speed::Fast, 1.8, 100e-12).unwrap();
    near(sizes.least, 720.0, 1e-9);
    // 400 pF, standard and fast; 550 pF at 1 MHz.
    let most = |s: Speed, c: f64| bus::most_pull_up(s.rise(), c).unwrap();
    near(most(Speed::Standard, 400e-12), 2950.5, 0.1);
    near(most(Speed::Fast, 400e-12), 885.2, 0.1);
    near(most(Speed::FastPlus, 550e-12), 257.5, 0.1);
    let sizes = Sizes::of(Speed::FastPlus, 3.3, 550e-12).unwrap();
    near(sizes.least, 145.0, 1e-9);
    assert!(sizes.possible());
}

#[test]
fn thresholds_of_the_bus() {
    // UM10204 rev. 5: low to 0.3 of the supply, high from 0.7.
    for supply in [1.8, 3.3, 5.0] {
        let at = |share: f64| bus::level(share * supply, supply).unwrap();
        assert_eq!(at(0.29), Level::Low);
        assert_eq!(at(0.31), Level::Between);
        assert_eq!(at(0.69), Level::Between);
        assert_eq!(at(0.71), Level::High);
    }
}

// ---- USB -------------------------------------------------------------------

#[test]
fn cc_voltages() {
    let resistor = |o: Offer| typec::from_pull_up(5.0, o.pull_up(), typec::PULL_DOWN).unwrap();
    let source = |o: Offer| typec::from_current(o.current().0, typec::PULL_DOWN);
    // A Type-C tutorial note, worked: 10 kilohm and 330 uA into 5.1 kilohm.
    near(resistor(Offer::Three), 1.688, 0.001);
    near(source(Offer::Three), 1.683, 1e-9);
    // Recomputed from the pull-ups and currents of ST UM2191, Table 2.
    near(resistor(Offer::OneAndHalf), 0.9410, 1e-4);
    near(source(Offer::OneAndHalf), 0.918, 1e-9);
    near(resistor(Offer::Default), 0.4173, 1e-4);
    near(source(Offer::Default), 0.408, 1e-9);
    // The same with pull-ups to 3.3 V.
    let low = |up: f64| typec::from_pull_up(3.3, up, typec::PULL_DOWN).unwrap();
    near(low(36e3), 0.4095, 1e-4);
    near(low(12e3), 0.9842, 1e-4);
    near(low(4.7e3), 1.7173, 1e-4);
}

#[test]
fn every_tolerance_corner_lies_in_its_window() {
    // Windows of USB Type-C Release 2.0, Table 4-36; corners recomputed.
    let published = [(0.294, 0.539), (0.760, 1.091), (1.394, 1.999)];
    for (offer, (low, high)) in Offer::ALL.into_iter().zip(published) {
        let corners = offer.corners();
        near(corners.0, low, 0.0006);
        near(corners.1, high, 0.0006);
        for volts in [corners.0, corners.1] {
            assert_eq!(typec::classify(volts), Ok(Cc::Offers(offer)));
            assert_eq!(typec::read_as(volts), Some(offer));
        }
    }
    // onsemi FUSB302B: an unpowered sink's clamp leaves 2.18 V at most.
    assert_eq!(typec::classify(2.18), Ok(Cc::Clamped));
    assert_eq!(typec::classify(2.19), Ok(Cc::Open));
    // The window and the comparator thresholds (onsemi FUSB302B) agree.
    near(Offer::Default.window().0, 0.25, 1e-12);
    near(Offer::Three.window().1, 2.04, 1e-12);
}

#[test]
fn idle_data_line() {
    // Recomputed from USB 2.0, 7.1.5.1: 1.5 kilohm and 15 kilohm, 5 % each,
    // 3.0 to 3.6 V.
    let (up, down) = (typec::SPEED_PULL_UP, typec::HOST_PULL_DOWN);
    near(typec::data_idle(3.3, up, down).unwrap(), 3.0, 1e-9);
    near(
        typec::data_idle(3.0, up * 1.05, down * 0.95).unwrap(),
        2.70,
        0.005,
    );
    near(
        typec::data_idle(3.6, up * 0.95, down * 1.05).unwrap(),
        3.30,
        0.005,
    );
}

// ---- thermistors -----------------------------------------------------------

#[test]
fn thermistor_rows() {
    // EPCOS B57330V2103 as in the Linux kernel's ntc_thermistor driver; three
    // rows set the law, the other five check it.
    let law = Thermistor::common_10k().unwrap();
    for (celsius, ohms) in ROWS_10K {
        near(law.celsius(ohms).unwrap(), celsius, 0.1);
        near(law.ohms(celsius).unwrap() / ohms, 1.0, 0.004);
    }
}

#[test]
fn a_single_beta_is_off_far_from_25_degrees() {
    // Recomputed from the same rows: B25/50 = 3382, B0/25 = 3275 K.
    near(beta_between(ROWS_10K[3], ROWS_10K[6]).unwrap(), 3382.0, 1.0);
    near(beta_between(ROWS_10K[0], ROWS_10K[3]).unwrap(), 3275.0, 1.0);
    for (beta, ohms) in [(3380.0, 28_224.0), (3435.0, 28_704.0)] {
        let law = Thermistor::beta(10e3, beta).unwrap();
        near(law.ohms(0.0).unwrap(), ohms, 1.0);
    }
}

#[test]
fn a_rows_table_that_is_one_beta() {
    // The other 10 kilohm table of the same driver follows B = 3431 K.
    let law = Thermistor::beta(10e3, 3431.0).unwrap();
    for (celsius, ohms) in [
        (0.0, 28_674.0),
        (10.0, 18_399.0),
        (25.0, 10_000.0),
        (45.0, 4_851.0),
        (60.0, 2_985.0),
    ] {
        near(law.ohms(celsius).unwrap() / ohms, 1.0, 0.001);
    }
}

#[test]
fn a_sensor_pin_fed_with_a_current() {
    // A charger design note: 75 uA, 2.1 V is 28 kilohm, 0.3 V 4.0 kilohm.
    near(2.1 / 75e-6, 28e3, 1.0);
    let law = Thermistor::common_10k().unwrap();
    near(law.celsius(2.1 / 75e-6).unwrap(), 0.0, 1.0);
    near(law.celsius(0.3 / 75e-6).unwrap(), 50.0, 1.5);
    // A divider with equal parts stands at half its supply (arithmetic).
    near(ohms_in_divider(0.9, 1.8, 10e3).unwrap(), 10e3, 1e-6);
}

// ---- wire ------------------------------------------------------------------

#[test]
fn copper_wire_by_gauge() {
    // HyperPhysics "American Wire Gauge" (inches, ohm per 1000 ft); ohm per
    // metre also in the HwB AWG table. 20 degrees.
    for (awg, inches, per_thousand, per_metre) in [
        (30, 0.01002, 103.2, 0.339),
        (32, 0.00795, 164.1, 0.538),
        (34, 0.0063, 260.9, 0.856),
        (36, 0.005, 414.8, 1.36),
        (38, 0.00396, 659.6, 2.16),
        (40, 0.00314, 1049.0, 3.44),
    ] {
        let g = Gauge::new(awg).unwrap();
        near(g.diameter() / 0.0254 / inches, 1.0, 0.003);
        near(g.ohms_per_metre() * 304.8 / per_thousand, 1.0, 0.001);
        near(g.ohms_per_metre() / per_metre, 1.0, 0.003);
    }
    // HwB AWG table.
    for (awg, millimetres, per_metre) in [(42, 0.0633, 5.47), (44, 0.0502, 8.70)] {
        let g = Gauge::new(awg).unwrap();
        near(g.diameter() * 1e3 / millimetres, 1.0, 0.003);
        near(g.ohms_per_metre() / per_metre, 1.0, 0.003);
    }
}

#[test]
fn fusing_current() {
    // Ness Engineering "Fuse Equations (Preece's Law)", copper table; its
    // diameters have two or three digits.
    for (amps, inches) in [
        (1.0, 0.0021),
        (5.0, 0.0062),
        (10.0, 0.0098),
        (20.0, 0.0156),
        (100.0, 0.0457),
    ] {
        near(fusing(inches * 0.0254) / amps, 1.0, 0.02);
    }
    // A worked example on a physics forum: 0.0524 in, 123 A.
    near(fusing(0.0524 * 0.0254), 123.0, 0.5);
    // Recomputed for fine wire.
    for (awg, amps) in [(30, 10.28), (36, 3.62), (40, 1.81), (44, 0.90)] {
        near(Gauge::new(awg).unwrap().fusing(), amps, 0.01);
    }
}

// ---- lamps -----------------------------------------------------------------

#[test]
fn lamp_strings() {
    let string = |lamps, each, spread| {
        LampString {
            lamps,
            each,
            spread,
            margin: 0.0,
        }
        .volts()
        .unwrap()
    };
    // A nine-lamp string of a panel, Electronics Stack Exchange 619339:
    // 28.8 V, 1.8 V either way.
    let nine = string(9, 3.2, 0.2);
    near(nine.usual, 28.8, 1e-9);
    near(nine.least, 27.0, 1e-9);
    near(nine.most, 30.6, 1e-9);
    // Another, sci.electronics.design, January 2008: 30 V at 20 mA.
    near(string(9, 3.33, 0.0).usual, 30.0, 0.05);
    // ES1 of IEC 62368-1 as in the manual of the TDK-Lambda NV350: 60 V DC.
    near(TOUCH_LIMIT, 60.0, 0.0);
    assert!(!string(12, 3.4, 0.0).is_hazardous());
    assert!(string(18, 3.4, 0.0).is_hazardous());
}

// ---- meters ----------------------------------------------------------------

fn meter_with_input(ohms: f64) -> Meter {
    let mut meter = Meter::handheld();
    meter.volts.input = ohms;
    meter
}

/// What a voltmeter shows across the lower half of a divider, by the solver.
fn divider_shown(supply: f64, ohms: f64, input: f64) -> f64 {
    let mut net = Network::new();
    let (rail, middle) = (net.node("rail"), net.node("middle"));
    net.source("supply", rail, Node::GROUND, supply, 0.0)
        .unwrap();
    net.resistor("upper", rail, middle, ohms).unwrap();
    net.resistor("lower", middle, Node::GROUND, ohms).unwrap();
    let meter = meter_with_input(input);
    let mut solver = Solver::new(&net).unwrap();
    match meter
        .read(&mut solver, &[], middle, Node::GROUND, Mode::Volts)
        .unwrap()
    {
        Reading::Value(v) => v,
        Reading::OL => panic!("over limit"),
    }
}

#[test]
fn a_meter_loads_what_it_measures() {
    // User guide of the Agilent 34970A: error -100 Rs/(Rs + Ri) per cent;
    // values recomputed.
    let volts = meter_with_input(10e6).volts;
    for (source, percent) in [(10e3, -0.0999), (100e3, -0.990), (1e6, -9.09)] {
        near((volts.share_shown(source) - 1.0) * 100.0, percent, 0.001);
    }
    // A tutorial, worked: 30 V across 400 k + 400 k, a meter of 400 k shows
    // 10 V in place of 15 V.
    near(divider_shown(30.0, 400e3, 400e3), 10.0, 1e-4);
    near(
        15.0 * meter_with_input(400e3).volts.share_shown(200e3),
        10.0,
        1e-9,
    );
    // Another, worked: 166 ohm leads, 10 M meter: 0.9999834.
    near(volts.share_shown(166.0), 0.999_983_4, 1e-7);
    // Recomputed: 24 V, 250 k + 250 k, 10 M meter.
    near(divider_shown(24.0, 250e3, 10e6), 11.8519, 1e-4);
}

#[test]
fn stated_accuracy() {
    let limits = |percent, digits, resolution, reading: f64| {
        let a = Accuracy {
            percent,
            digits,
            resolution,
        };
        (reading - a.limit(reading), reading + a.limit(reading))
    };
    // Sanwa PC510a, worked: 2.000 V on 0.08 % + 2.
    let (low, high) = limits(0.08, 2.0, 1e-3, 2.0);
    near(low, 1.9964, 1e-9);
    near(high, 2.0036, 1e-9);
    // GVDA, worked: 100.0 V on 1 % + 2.
    let (low, high) = limits(1.0, 2.0, 0.1, 100.0);
    near(low, 98.8, 1e-9);
    near(high, 101.2, 1e-9);
    // GVDA, worked: 2 V, last digit 1 mV, on 0.5 % + 3.
    let (low, high) = limits(0.5, 3.0, 1e-3, 2.0);
    near(low, 1.987, 1e-9);
    near(high, 2.013, 1e-9);
}

// ---- diodes by the solver --------------------------------------------------

/// Thermal voltage at 25 degrees, from the exact SI values of k and q.
const AT_25: f64 = 0.025_693;

fn forward(junction: Junction, amps: f64) -> f64 {
    let mut net = Network::new();
    let anode = net.node("anode");
    net.junction("diode", anode, Node::GROUND, junction)
        .unwrap();
    net.current("test", Node::GROUND, anode, amps).unwrap();
    let mut solver = Solver::new(&net).unwrap();
    solver.solve(&[]).unwrap().volts(anode)
}

/// 1N4148: the model line in public repositories, one naming ON Semiconductor.
fn silicon() -> Junction {
    let mut j = Junction::new(2.52e-9, 1.752).with_series(0.568);
    j.thermal = AT_25;
    j
}

#[test]
fn a_1n4148_by_the_solver() {
    // Diotech 1N4148/1N4448 data sheet: 1N4448 0.62 to 0.72 V at 5 mA; 1N4148
    // 1.0 V at most at 10 mA.
    let at_5 = forward(silicon(), 5e-3);
    assert!((0.62..=0.72).contains(&at_5), "{at_5}");
    assert!(forward(silicon(), 10e-3) <= 1.0);
    // Recomputed from the model.
    for (milliamps, volts) in [
        (0.1, 0.477),
        (0.5, 0.549),
        (0.7, 0.565),
        (1.0, 0.581),
        (5.0, 0.656),
        (10.0, 0.690),
    ] {
        near(forward(silicon(), milliamps * 1e-3), volts, 0.0006);
    }
    // What a meter with 1 mA shows lies in the windows for good silicon of
    // the APPA 97II (0.4 to 0.9 V) and FLIR CM174 (0.40 to 0.80 V) manuals.
    let mut net = Network::new();
    let anode = net.node("anode");
    net.junction("diode", anode, Node::GROUND, silicon())
        .unwrap();
    let mut solver = Solver::new(&net).unwrap();
    let meter = Meter::handheld();
    let mut read = |red, black| {
        meter
            .read(&mut solver, &[], red, black, Mode::Diode)
            .unwrap()
    };
    let Reading::Value(v) = read(anode, Node::GROUND) else {
        panic!("over limit");
    };
    assert!((0.4..=0.8).contains(&v), "{v}");
    // Backwards it is over limit (the same manuals).
    assert_eq!(read(Node::GROUND, anode), Reading::OL);
}

#[test]
fn a_bat54_by_the_solver() {
    // Diotech BAT54 series data sheet: typical at 0.1, 1, 10, 30, 100 mA, and
    // the largest at the first four.
    let typical = [0.22, 0.29, 0.35, 0.41, 0.52];
    let most = [0.24, 0.32, 0.40, 0.50];
    let amps = [0.1e-3, 1e-3, 10e-3, 30e-3, 100e-3];
    // The junction through the rows at 0.1 and 1 mA, its series resistance
    // from that at 30 mA; those at 10 and 100 mA are left to check it.
    let nv = (typical[1] - typical[0]) / 10.0_f64.ln();
    let saturation = amps[0] / (typical[0] / nv).exp_m1();
    let series = (typical[3] - nv * (amps[3] / saturation).ln_1p()) / amps[3];
    let mut junction = Junction::new(saturation, nv / AT_25).with_series(series);
    junction.thermal = AT_25;
    assert!((1.0..1.3).contains(&junction.ideality));
    let shown = amps.map(|a| forward(junction, a));
    for i in [0, 1, 3] {
        near(shown[i], typical[i], 0.002);
    }
    near(shown[2], typical[2], 0.02);
    near(shown[4], typical[4], 0.04);
    for (v, most) in shown.into_iter().zip(most) {
        assert!(v <= most, "{v} above {most}");
    }
}
