//! Where the program says that a reading cannot tell a fault, the solver alone
//! has to agree: over drawn devices, most sizes of the fault shift the reading
//! by less than devices differ from each other and the meter is off.

use crate::lines::trial::{APART, Spread};
use crate::lines::{Drawn, edits, rules, with_happenings};
use halfsplit::bench::BenchState;
use halfsplit::circuit::meter::{Meter, Reading};
use halfsplit::line::{Forecast, Probing, Wired};
use halfsplit::rulebase::{How, Line, MeterMode, PackFault};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// Sizes of a fault, evenly through its range. An odd number has a middle one.
const SIZES: usize = 5;
/// Devices that are drawn, at first and where it is a near thing.
const DEVICES: [usize; 2] = [8, 200];
/// How much the program's spread, taken from slopes, may fall short of that of
/// drawn devices before it counts as wrong.
const SLACK: f64 = 1.25;

/// A line with drawn devices of it.
struct Bench<'a> {
    line: &'a Line,
    wired: Wired,
    meter: Meter,
    drawn: Vec<Drawn>,
}

impl<'a> Bench<'a> {
    fn new(line: &'a Line, rng: &mut StdRng) -> Self {
        let wired = Wired::new(line).unwrap();
        Bench {
            line,
            meter: Meter::handheld(),
            drawn: (0..DEVICES[1]).map(|_| Drawn::new(&wired, rng)).collect(),
            wired,
        }
    }

    /// Share of the ways of a fault that shift the reading by more than is
    /// uncertain, the limit widened by `slack`.
    fn seen(&mut self, probing: Probing, fault: PackFault, devices: usize, slack: f64) -> f64 {
        let wiring = self.wired.for_mode(probing.mode);
        let (line, wired, meter) = (self.line, &self.wired, &self.meter);
        let drawn = &mut self.drawn[..devices];
        let mut spread = |more: &[_]| {
            let read = |d: &mut Drawn| d.reads((line, wired), meter, probing, more);
            let all: Vec<Reading> = drawn.iter_mut().map(read).collect();
            Spread::of(meter, probing.mode, &all)
        };
        let good = spread(&[]);
        let (mut seen, mut total) = (0.0, 0.0);
        for effect in self.line.faults.iter().filter(|e| e.fault == fault) {
            for size in 0..SIZES {
                let share = (size as f64 + 0.5) / SIZES as f64;
                let bad = spread(&edits(wiring, self.line, effect.harm, share));
                total += effect.chance;
                if good.shift(&bad) > APART * slack {
                    seen += effect.chance;
                }
            }
        }
        seen / total
    }

    /// Holds every claim of a forecast against the drawn devices; what is wrong.
    fn check(
        &mut self,
        probing: Probing,
        name: impl Fn(PackFault) -> String,
    ) -> (usize, Vec<String>) {
        let forecast = Forecast::new(self.line, &self.wired, &self.meter, probing).unwrap();
        let (mut blind, mut wrong) = (0, Vec::new());
        for told in forecast.tells() {
            if told.visibility.is_seen() {
                continue;
            }
            blind += 1;
            if self.seen(probing, told.fault, DEVICES[0], 0.8) < 0.5 {
                continue;
            }
            if self.seen(probing, told.fault, DEVICES[1], SLACK) >= 0.5 {
                wrong.push(format!(
                    "{} at {} in {}: said to be blind to {}, with {:.2} seen and a shift of {:.2}",
                    self.line.id,
                    self.line.points[probing.point].id,
                    probing.mode.word(),
                    name(told.fault),
                    told.visibility.share,
                    told.visibility.shift,
                ));
            }
        }
        (blind, wrong)
    }
}

#[test]
fn every_blind_spot_of_the_kinds_of_line_is_one() {
    let mut rng = StdRng::seed_from_u64(3);
    let (mut blind, mut wrong) = (0, Vec::new());
    for template in &rules().templates {
        let (line, happenings) = with_happenings(template);
        let mut bench = Bench::new(&line, &mut rng);
        // With everything plugged in, and with what each condition unplugs.
        let mut states = vec![BenchState::default()];
        for (_, condition) in &line.unplugged {
            states.push(BenchState::from_iter([*condition]));
        }
        states.dedup();
        for (_, mode) in MeterMode::ALL {
            for (point, state) in (0..line.points.len())
                .flat_map(|p| states.iter().map(move |s| (p, *s)))
                .filter(|(_, s)| mode != MeterMode::Volts || *s == BenchState::default())
            {
                let probing = Probing::new(point, mode, state);
                let found = bench.check(probing, |f| happenings[f.0].words.clone());
                blind += found.0;
                wrong.extend(found.1);
            }
        }
    }
    assert!(blind > 5000, "{blind}");
    assert!(wrong.is_empty(), "{} of {blind}: {wrong:#?}", wrong.len());
}

#[test]
fn every_blind_spot_of_the_tests_of_the_packs_is_one() {
    let rules = rules();
    let mut rng = StdRng::seed_from_u64(4);
    let (mut blind, mut wrong) = (0, Vec::new());
    for pack in &rules.packs {
        for (l, line) in pack.lines.iter().enumerate() {
            let mut bench = Bench::new(line, &mut rng);
            for test in &pack.tests {
                let How::Measures { line, point, mode } = test.how else {
                    continue;
                };
                if line == l {
                    let state = rules.bench.closure(&test.step.conditions);
                    let probing = Probing::new(point, mode, state.into_iter().collect());
                    let name = |f: PackFault| {
                        let fault = &pack.faults[f];
                        format!("{}.{}", pack.items[fault.item].id, fault.id)
                    };
                    let found = bench.check(probing, name);
                    blind += found.0;
                    wrong.extend(found.1);
                }
            }
        }
    }
    assert!(blind > 100, "{blind}");
    assert!(wrong.is_empty(), "{} of {blind}: {wrong:#?}", wrong.len());
}
