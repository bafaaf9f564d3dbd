//! Following the advice finds the fault, and in few probes.

use std::fmt::Write as _;

use crate::lines::Happening;
use crate::lines::device::Device;
use halfsplit::rulebase::MeterMode;
use rand::SeedableRng;
use rand::rngs::StdRng;

/// A path of so many equally likely joints, from the connector to a chip, with
/// a point before each.
fn path(n: usize) -> String {
    let mut t =
        String::from("line: path\nabout: A path.\nsource: common practice, no source\nparts:\n");
    for i in 0..n {
        let _ = writeln!(t, "  j{i}: {{joint: [n{i}, n{}]}}", i + 1);
    }
    let _ = writeln!(t, "  chip: {{host-pin: n{n}}}\npoints:");
    for i in 0..n {
        let _ = writeln!(t, "  n{i}: point {i}");
    }
    t
}

#[test]
fn one_open_of_many_takes_about_the_logarithm_of_probes() {
    let mut rng = StdRng::seed_from_u64(1);
    for n in [4, 8, 12] {
        let opens = |h: &Happening| h.words.starts_with("open j");
        let device = Device::with(&path(n), opens, &[MeterMode::Diode]);
        let mut probes = 0;
        for fault in 0..n {
            let found = device.follow(fault, 0.5, &mut rng);
            assert_eq!(found.first().0, fault, "{n} joints, {fault} is open");
            probes += found.readings.len();
        }
        let (mean, least) = (probes as f64 / n as f64, (n as f64).log2());
        assert!(mean <= 1.25 * least, "{n} joints: {mean} probes");
        // It cannot take fewer: each probe has two answers here.
        assert!(mean >= 0.9 * least, "{n} joints: {mean} probes");
    }
}

/// Following the advice on drawn devices with a hidden fault each, sizes and
/// tolerances at random. `cargo bench --bench lines` does so with many more, on
/// every kind of line.
#[test]
fn hidden_faults_are_found_in_few_probes() {
    let templates = crate::lines::templates();
    for name in ["cc-line", "main-rail", "sense-line", "thermistor-line"] {
        let text = &templates.iter().find(|t| t.0 == name).unwrap().1;
        let device = Device::new(text);
        let t = crate::lines::trial::Trial::new(&device, 10, &mut StdRng::seed_from_u64(18));
        // Of so few another run or two may be wrong.
        assert!(t.right + 2 >= t.runs, "{name}: {} of {}", t.right, t.runs);
        let (probes, bar) = (t.mean_probes(), t.most_probes());
        assert!(probes <= bar, "{name}: {probes} probes, {bar} at most");
        // Without any probe it is guesswork.
        assert!(probes > 1.0, "{name}: {probes} probes");
    }
}
