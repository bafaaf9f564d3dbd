//! The readings of one point and mode under every fault and pair of faults.

use super::wiring::{Wired, meter_mode};
use crate::circuit::fault::Fault;
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::network::Node;
use crate::circuit::predict::{Prediction, Predictor, Visibility};
use crate::circuit::solve::{SolveError, Solver};
use crate::rulebase::{Line, MeterMode, PackFault};

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

/// What a reading of one point in one mode is expected to be.
#[derive(Clone, Debug)]
pub struct Forecast {
    /// With no fault on the line.
    pub good: Prediction,
    /// Bounds of what counts as good, in the unit of the mode; `None` if a
    /// good line reads OL.
    pub bounds: Option<(f64, f64)>,
    /// With each of these faults of the pack (one or two) on it.
    pub faulty: Vec<(Vec<PackFault>, Prediction)>,
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
    /// Predicts the readings at a point. `pairs` takes in every pair of faults
    /// too, for a reading that was taken.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn new(
        line: &Line,
        wired: &Wired,
        meter: &Meter,
        point: usize,
        mode: MeterMode,
        pairs: bool,
    ) -> Result<Self, SolveError> {
        let wiring = wired.for_mode(mode);
        let mut solver = Solver::new(&wiring.network)?;
        let mut predictor = Predictor::new(&mut solver, meter, &wiring.spreads);
        let probe = wiring.nodes[line.points[point].node];
        let (red, black) = probes(probe, mode);
        let at = meter_mode(mode);
        let good = predictor.predict(&[], red, black, at)?;
        let harms: Vec<(PackFault, Vec<Fault>)> = line
            .faults
            .iter()
            .map(|(f, h)| Ok((*f, wiring.harm(line, *h)?)))
            .collect::<Result<_, SolveError>>()?;
        let mut faulty = Vec::new();
        for (i, (f, harm)) in harms.iter().enumerate() {
            faulty.push((vec![*f], predictor.predict(harm, red, black, at)?));
            for (g, other) in harms[i + 1..].iter().filter(|_| pairs) {
                let both = [harm.as_slice(), other].concat();
                faulty.push((vec![*f, *g], predictor.predict(&both, red, black, at)?));
            }
        }
        let tail = 0.5 * (1.0 - GOOD_SHARE);
        let bounds = match (good.quantile(tail), good.quantile(1.0 - tail)) {
            (Reading::Value(low), Reading::Value(high)) => Some((low, high)),
            (Reading::Value(low), Reading::OL) if good.typical() != Reading::OL => {
                Some((low, f64::INFINITY))
            }
            _ => None,
        };
        Ok(Forecast {
            good,
            bounds,
            faulty,
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

    /// What this reading can tell about each fault on the line by itself.
    pub fn tells(&self) -> Vec<Tells> {
        self.faulty
            .iter()
            .filter(|(f, _)| f.len() == 1)
            .map(|(f, p)| Tells {
                fault: f[0],
                typical: p.typical(),
                visibility: self.good.visibility(p),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rulebase::{Harm, Known, LinePart, PartKind, Point};

    /// A control-bus wire: plug, pad, inner node, bus, supply.
    fn bus() -> Line {
        let part = |id: &str, kind, from, to| LinePart {
            id: id.to_owned(),
            name: id.to_owned(),
            kind,
            from,
            to,
            protects: false,
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
            fast: false,
            faults: vec![
                (0, Harm::Open(0)),
                (1, Harm::Open(1)),
                (2, Harm::Open(2)),
                (3, Harm::Grounded(3)),
                (4, Harm::LeakyNode(3)),
            ],
        }
    }

    fn seen(f: &Forecast) -> Vec<bool> {
        f.tells().iter().map(|t| t.visibility.is_seen()).collect()
    }

    #[test]
    fn diode_mode_is_blind_to_a_missing_pull_up_and_the_idle_level_is_not() {
        let line = bus();
        let wired = Wired::new(&line).unwrap();
        let meter = Meter::handheld();
        let diode = Forecast::new(&line, &wired, &meter, 0, MeterMode::Diode, true).unwrap();
        let seen_by_diode = seen(&diode);
        // Opens and the short are seen, the missing pull-up is not.
        assert_eq!(seen_by_diode[..4], [true, true, false, true]);
        let volts = Forecast::new(&line, &wired, &meter, 0, MeterMode::Volts, true).unwrap();
        assert!(seen(&volts)[2]);
        // Every pair is there once.
        assert_eq!(diode.faulty.len(), 5 + 10);
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
    fn the_categories_share_all_probability() {
        let line = bus();
        let wired = Wired::new(&line).unwrap();
        let meter = Meter::handheld();
        for mode in [MeterMode::Diode, MeterMode::Ohms, MeterMode::Volts] {
            let f = Forecast::new(&line, &wired, &meter, 0, mode, true).unwrap();
            for p in f.faulty.iter().map(|x| &x.1).chain([&f.good]) {
                let all = f.outcomes(p);
                let sum: f64 = all.iter().sum();
                assert!((sum - 1.0).abs() < 1e-9, "{mode:?} {all:?}");
            }
            assert!(f.outcomes(&f.good)[0] > 0.97, "{mode:?}");
        }
    }
}
