//! The readings of one point and mode under every fault, as foretold.

use super::wiring::{Wired, Wiring, meter_mode};
use crate::bench::BenchState;
use crate::circuit::fault::{Fault, Grain, variants_of};
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::network::Node;
use crate::circuit::predict::{Prediction, Predictor, Visibility};
use crate::circuit::solve::{SolveError, Solver};
use crate::rulebase::{Harm, Line, MeterMode, PackFault};

/// How a reading compares with what a good line reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Category {
    /// As a good line reads.
    AsItShould,
    /// Below that.
    TooLow,
    /// Above that, yet a value.
    TooHigh,
    /// Over limit where a value is due.
    OpenLine,
}

/// All categories with identifier and words, in the order of the outcomes.
pub const CATEGORIES: [(Category, &str, &str); 4] = [
    (Category::AsItShould, "good", "as a good line reads"),
    (Category::TooLow, "low", "lower than a good line reads"),
    (Category::TooHigh, "high", "higher than a good line reads"),
    (Category::OpenLine, "ol", "over limit (OL)"),
];

/// Share of a good line's readings that count as good; the rest is halved
/// between too low and too high. Common practice, no source.
const GOOD_SHARE: f64 = 0.98;

/// Where red and black go. In diode mode red lies on ground, so that the lower
/// protection junction of a line conducts.
pub(super) fn probes(point: Node, mode: MeterMode) -> (Node, Node) {
    match mode {
        MeterMode::Diode => (Node::GROUND, point),
        MeterMode::Volts | MeterMode::Ohms => (point, Node::GROUND),
    }
}

/// How a line is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Probing {
    /// The point, by index.
    pub point: usize,
    /// What the meter is set to.
    pub mode: MeterMode,
    /// Bench conditions that hold: some unplug a contact of the line.
    pub state: BenchState,
    /// The leads are changed over.
    pub turned: bool,
    /// A part, by index, that is lifted off the board while it is read.
    pub lifted: Option<usize>,
}

impl Probing {
    /// The usual way: no part lifted, the leads where they belong.
    pub fn new(point: usize, mode: MeterMode, state: BenchState) -> Self {
        Probing {
            point,
            mode,
            state,
            turned: false,
            lifted: None,
        }
    }

    /// The parts of a line, by index, that are open because they are unplugged or
    /// lifted.
    pub(super) fn open(self, line: &Line) -> impl Iterator<Item = usize> + '_ {
        let unplugged = line.unplugged.iter().filter(move |u| self.state.has(u.1));
        unplugged.map(|u| u.0).chain(self.lifted)
    }

    /// Where red and black go at the node of the point.
    pub(super) fn ends(&self, point: Node) -> (Node, Node) {
        let (red, black) = probes(point, self.mode);
        match self.turned {
            true => (black, red),
            false => (red, black),
        }
    }
}

/// What a healthy line shows.
///
/// # Errors
/// If the line cannot be solved.
pub(crate) fn healthy(
    line: &Line,
    wired: &Wired,
    meter: &Meter,
    probing: Probing,
) -> Result<Prediction, SolveError> {
    let wiring = wired.for_mode(probing.mode);
    let mut solver = Solver::new(&wiring.network)?;
    let mut predictor = Predictor::new(&mut solver, meter, &wiring.spreads).told(&wiring.told);
    let node = wiring.nodes[line.points[probing.point].node];
    let (red, black) = probing.ends(node);
    let faults = opened(line, wiring, probing)?;
    let variants = variants_of(&faults, Grain::Coarse);
    predictor.predict_variants(&variants, red, black, meter_mode(probing.mode))
}

/// What is open because it is unplugged or lifted.
pub(super) fn opened(
    line: &Line,
    wiring: &Wiring,
    probing: Probing,
) -> Result<Vec<Fault>, SolveError> {
    let mut open = Vec::new();
    for part in probing.open(line) {
        open.extend(wiring.harm(line, Harm::Open(part))?);
    }
    Ok(open)
}

/// What a reading of one point in one mode is expected to be.
#[derive(Clone, Debug)]
pub struct Forecast {
    /// With no fault on the line.
    pub good: Prediction,
    /// Bounds of what counts as good, in the unit of the mode; `None` if a
    /// good line reads OL.
    pub bounds: Option<(f64, f64)>,
    /// With each fault of the pack in the device; it may spare this line.
    pub faulty: Vec<(PackFault, Prediction)>,
    /// With each fault by itself where it does not spare this line.
    pub harmed: Vec<(PackFault, Prediction)>,
}

/// What a reading can tell about a fault.
#[derive(Clone, Debug)]
pub struct Tells {
    /// The fault of the pack.
    pub fault: PackFault,
    /// What it would typically read.
    pub typical: Reading,
    /// The shift against a good line, compared with the spread of both.
    pub visibility: Visibility,
}

impl Forecast {
    /// Predicts the readings.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn new(
        line: &Line,
        wired: &Wired,
        meter: &Meter,
        probing: Probing,
    ) -> Result<Self, SolveError> {
        let wiring = wired.for_mode(probing.mode);
        let mut solver = Solver::new(&wiring.network)?;
        let mut predictor = Predictor::new(&mut solver, meter, &wiring.spreads).told(&wiring.told);
        let (red, black) = probing.ends(wiring.nodes[line.points[probing.point].node]);
        let at = meter_mode(probing.mode);
        let always = opened(line, wiring, probing)?;
        let mut with = |thing: &[Fault]| {
            let variants = variants_of(&[&always, thing].concat(), Grain::Coarse);
            predictor.predict_variants(&variants, red, black, at)
        };
        let good = with(&[])?;
        // Many faults do the same thing to a line. Each is worked out once.
        let mut harms: Vec<(Harm, Prediction)> = Vec::new();
        let mut faults: Vec<(PackFault, Vec<(f64, Prediction)>)> = Vec::new();
        // A strange line is not predicted.
        for effect in line.faults.iter().filter(|e| e.harm != Harm::Strange) {
            let known = harms.iter().find(|h| h.0 == effect.harm);
            let thing = match known.map(|h| h.1.clone()) {
                Some(known) => known,
                None => {
                    let new = with(&wiring.harm(line, effect.harm)?)?;
                    harms.push((effect.harm, new.clone()));
                    new
                }
            };
            match faults.iter_mut().find(|f| f.0 == effect.fault) {
                Some((_, all)) => all.push((effect.chance, thing)),
                None => faults.push((effect.fault, vec![(effect.chance, thing)])),
            }
        }
        let mut faulty = Vec::new();
        let mut harmed = Vec::new();
        for (f, mut of) in faults {
            harmed.extend(Prediction::mixture(&of).map(|p| (f, p)));
            // What is left is that this line is well.
            let left = 1.0 - of.iter().map(|a| a.0).sum::<f64>();
            if left > 1e-9 {
                of.push((left, good.clone()));
            }
            faulty.extend(Prediction::mixture(&of).map(|p| (f, p)));
        }
        let bounds = bounds(&good);
        Ok(Forecast {
            good,
            bounds,
            faulty,
            harmed,
        })
    }

    /// Probability of each of [`CATEGORIES`] under a prediction.
    pub fn outcomes(&self, p: &Prediction) -> [f64; 4] {
        let ol = p.ol();
        match self.bounds {
            Some((low, high)) => {
                let below = p.cdf(low);
                let upto = if high.is_finite() {
                    p.cdf(high)
                } else {
                    1.0 - ol
                };
                let rest = (1.0 - ol - upto).max(0.0);
                [(upto - below).max(0.0), below, rest, ol]
            }
            // OL is what a good line reads: any value is too low.
            None => [ol, (1.0 - ol).max(0.0), 0.0, 0.0],
        }
    }

    /// Which category a reading falls into.
    pub fn category(&self, reading: Reading) -> Category {
        match (reading, self.bounds) {
            (Reading::OL, None) => Category::AsItShould,
            (Reading::OL, Some(_)) => Category::OpenLine,
            (Reading::Value(_), None) => Category::TooLow,
            (Reading::Value(v), Some((low, high))) => {
                if v < low {
                    Category::TooLow
                } else if v > high {
                    Category::TooHigh
                } else {
                    Category::AsItShould
                }
            }
        }
    }

    /// What this reading can tell about each fault by itself, where it is on
    /// this line.
    pub fn tells(&self) -> Vec<Tells> {
        self.harmed
            .iter()
            .map(|(f, p)| Tells {
                fault: *f,
                typical: p.typical(),
                visibility: self.good.visibility(p),
            })
            .collect()
    }
}

/// What counts as good, given what a good line reads.
pub(super) fn bounds(good: &Prediction) -> Option<(f64, f64)> {
    let tail = 0.5 * (1.0 - GOOD_SHARE);
    match (good.quantile(tail), good.quantile(1.0 - tail)) {
        (Reading::Value(low), Reading::Value(high)) => Some((low, high)),
        (Reading::Value(low), Reading::OL) if good.typical() != Reading::OL => {
            Some((low, f64::INFINITY))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rulebase::{Duty, Effect, Known, LinePart, PartKind, Point};

    /// A control-bus wire: plug, pad, inner node, bus, supply.
    fn bus() -> Line {
        let part = |id: &str, kind, from, to| LinePart {
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
        };
        let ohms = |r| PartKind::Path(Known::within(r, 5.0));
        Line {
            id: "bus".to_owned(),
            name: "bus".to_owned(),
            nodes: ["ground", "plug", "pad", "bus", "io"]
                .map(str::to_owned)
                .to_vec(),
            parts: vec![
                part("contact", ohms(0.05), 1, 2),
                part("series", ohms(22.0), 2, 3),
                part("pull-up", ohms(2200.0), 3, 4),
                part(
                    "io",
                    PartKind::Rail {
                        volts: Known::within(1.8, 5.0),
                        amps: 0.3,
                        idle: Known::between(2e3, 12e3),
                    },
                    4,
                    0,
                ),
                part("clamp", PartKind::Junction(Known::within(0.48, 4.0)), 0, 3),
            ],
            points: vec![Point {
                id: "plug".to_owned(),
                name: "pin of the plug".to_owned(),
                node: 1,
                minutes: 1.0,
            }],
            faults: [
                Harm::Open(0),
                Harm::Open(1),
                Harm::Open(2),
                Harm::Grounded(3),
                Harm::LeakyNode(3),
            ]
            .into_iter()
            .enumerate()
            .map(|(fault, harm)| Effect {
                fault: PackFault(fault),
                harm,
                chance: 1.0,
            })
            .collect(),
            ..Line::default()
        }
    }

    fn at(mode: MeterMode) -> Probing {
        Probing::new(0, mode, BenchState::default())
    }

    fn seen(f: &Forecast) -> Vec<bool> {
        f.tells().iter().map(|t| t.visibility.is_seen()).collect()
    }

    #[test]
    fn diode_mode_is_blind_to_a_missing_pull_up_and_the_idle_level_is_not() {
        let line = bus();
        let wired = Wired::new(&line).unwrap();
        let meter = Meter::handheld();
        let diode = Forecast::new(&line, &wired, &meter, at(MeterMode::Diode)).unwrap();
        let seen_by_diode = seen(&diode);
        // Opens and the short are seen, the missing pull-up is not.
        assert_eq!(seen_by_diode[..4], [true, true, false, true]);
        let volts = Forecast::new(&line, &wired, &meter, at(MeterMode::Volts)).unwrap();
        assert!(seen(&volts)[2]);
        // Common practice, no source: a healthy data line reads roughly 0.3 to
        // 0.6 V in diode mode, OL means no path.
        match diode.good.typical() {
            Reading::Value(v) => assert!((0.3..0.6).contains(&v), "{v}"),
            Reading::OL => panic!("OL"),
        }
        assert_eq!(diode.faulty[0].1.typical(), Reading::OL);
        assert_eq!(diode.category(Reading::OL), Category::OpenLine);
    }

    #[test]
    fn a_fault_that_may_spare_the_line_reads_like_a_mixture() {
        let mut line = bus();
        line.faults[0].chance = 0.25;
        let wired = Wired::new(&line).unwrap();
        let meter = Meter::handheld();
        let f = Forecast::new(&line, &wired, &meter, at(MeterMode::Diode)).unwrap();
        let (good, open) = (&f.good, &f.faulty[0].1);
        assert!((open.ol() - 0.25).abs() < 1e-6, "{}", open.ol());
        for v in [0.4, 0.45, 0.5] {
            let want = 0.75 * good.density(v);
            assert!((open.density(v) - want).abs() < 1e-9 * want.max(1.0), "{v}");
        }
    }

    #[test]
    fn the_categories_share_all_probability() {
        let line = bus();
        let wired = Wired::new(&line).unwrap();
        let meter = Meter::handheld();
        for mode in [MeterMode::Diode, MeterMode::Ohms, MeterMode::Volts] {
            let f = Forecast::new(&line, &wired, &meter, at(mode)).unwrap();
            for p in f.faulty.iter().map(|x| &x.1).chain([&f.good]) {
                let all = f.outcomes(p);
                let sum: f64 = all.iter().sum();
                assert!((sum - 1.0).abs() < 1e-9, "{mode:?} {all:?}");
            }
            assert!(f.outcomes(&f.good)[0] > 0.97, "{mode:?}");
        }
    }
}
