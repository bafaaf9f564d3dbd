//! A simulation as two plots: what jobs cost, and whether what is shown is true.

use super::simulation::title;
use crate::simulate::SimulationView;

/// Both plots.
pub(super) struct Plot {
    pub(super) title: String,
    pub(super) says: String,
    pub(super) frames: Vec<Frame>,
}

/// One plot with its axes.
pub(super) struct Frame {
    pub(super) x: f64,
    pub(super) title: String,
    pub(super) across: String,
    pub(super) up: String,
    pub(super) ticks: Vec<Tick>,
    pub(super) curves: Vec<Curve>,
    pub(super) points: Vec<Point>,
    pub(super) words: Vec<Word>,
}

/// A mark on an axis, with its line across.
pub(super) struct Tick {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) text: String,
    pub(super) anchor: &'static str,
    pub(super) line: String,
}

/// A line through a plot.
pub(super) struct Curve {
    pub(super) path: String,
    pub(super) colour: &'static str,
    pub(super) dash: &'static str,
    pub(super) name: String,
}

/// A point with its error.
pub(super) struct Point {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// A name beside a curve.
pub(super) struct Word {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) text: String,
    pub(super) colour: &'static str,
}

/// Where a plot lies within its frame.
const LEFT: f64 = 56.0;
const TOP: f64 = 44.0;
const WIDE: f64 = 340.0;
const HIGH: f64 = 260.0;
/// From one frame to the next.
const NEXT: f64 = 430.0;

/// Colours that stay apart for those who see few (Okabe and Ito 2008), with a
/// dash of their own for paper.
const INKS: [(&str, &str); 6] = [
    ("#0072b2", ""),
    ("#d55e00", "6 3"),
    ("#009e73", "2 3"),
    ("#cc79a7", "8 3 2 3"),
    ("#56505a", "4 2"),
    ("#b58900", "1 3"),
];

impl Plot {
    pub(super) fn new(view: &SimulationView) -> Plot {
        let costs = view
            .ways
            .iter()
            .map(|w| format!("{} {:.0} on average", w.policy, w.all.cost.mean));
        let costs: Vec<String> = costs.collect();
        let mut frames = vec![cost(view)];
        if !view.calibration.is_empty() {
            frames.push(truth(view));
        }
        Plot {
            title: title(view),
            says: format!("{} hidden cases. {}", view.cases, costs.join("; ")),
            frames,
        }
    }

    pub(super) fn width(&self) -> f64 {
        NEXT * self.frames.len() as f64
    }

    pub(super) fn height(&self) -> f64 {
        TOP + HIGH + 46.0
    }
}

impl Frame {
    fn new(x: f64, title: &str, across: &str, up: &str) -> Frame {
        Frame {
            x,
            title: title.to_owned(),
            across: across.to_owned(),
            up: up.to_owned(),
            ticks: Vec::new(),
            curves: Vec::new(),
            points: Vec::new(),
            words: Vec::new(),
        }
    }

    pub(super) fn middle(&self) -> f64 {
        LEFT + WIDE / 2.0
    }
    pub(super) fn left(&self) -> f64 {
        LEFT
    }
    pub(super) fn top(&self) -> f64 {
        TOP
    }
    pub(super) fn wide(&self) -> f64 {
        WIDE
    }
    pub(super) fn high(&self) -> f64 {
        HIGH
    }
    pub(super) fn below(&self) -> f64 {
        TOP + HIGH + 36.0
    }

    /// Marks at shares of the width and of the height.
    fn marks(&mut self, across: &[(f64, String)], up: &[(f64, String)]) {
        for (share, text) in across {
            let x = round(LEFT + share * WIDE);
            self.ticks.push(Tick {
                x,
                y: TOP + HIGH + 16.0,
                text: text.clone(),
                anchor: "middle",
                line: format!("M{x},{TOP}V{}", TOP + HIGH),
            });
        }
        for (share, text) in up {
            let y = round(TOP + (1.0 - share) * HIGH);
            self.ticks.push(Tick {
                x: LEFT - 6.0,
                y: y + 4.0,
                text: text.clone(),
                anchor: "end",
                line: format!("M{LEFT},{y}H{}", LEFT + WIDE),
            });
        }
    }
}

fn round(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}

fn at(share: (f64, f64)) -> (f64, f64) {
    (
        round(LEFT + share.0.clamp(0.0, 1.0) * WIDE),
        round(TOP + (1.0 - share.1.clamp(0.0, 1.0)) * HIGH),
    )
}

fn path(points: impl Iterator<Item = (f64, f64)>) -> String {
    let each = points.map(at).enumerate();
    each.map(|(i, (x, y))| format!("{}{x},{y}", if i == 0 { "M" } else { "L" }))
        .collect()
}

/// Whole per cent at quarters.
fn quarters() -> Vec<(f64, String)> {
    let all = [0.0, 0.25, 0.5, 0.75, 1.0];
    all.map(|s| (s, format!("{:.0} %", s * 100.0))).to_vec()
}

/// The share of jobs that cost no more than so much.
fn cost(view: &SimulationView) -> Frame {
    let mut f = Frame::new(
        0.0,
        "What jobs cost",
        "cost of a job",
        "jobs that cost no more",
    );
    let last = |w: &crate::simulate::Walked| w.cost_at[95];
    let most = view.ways.iter().map(last).fold(1.0, f64::max);
    let step = nice(most / 5.0);
    let most = (most / step).ceil() * step;
    let marks = (0..=(most / step).round() as usize).map(|i| {
        let cost = i as f64 * step;
        (cost / most, format!("{cost:.0}"))
    });
    f.marks(&marks.collect::<Vec<_>>(), &quarters());
    for (i, w) in view.ways.iter().enumerate() {
        let (colour, dash) = INKS[i % INKS.len()];
        let points = w.cost_at.iter().enumerate();
        let points = points.map(|(p, cost)| (cost / most, p as f64 / 100.0));
        f.curves.push(Curve {
            path: path(points.take_while(|p| p.0 <= 1.0)),
            colour,
            dash,
            name: w.policy.clone(),
        });
        // The names stand where all curves have gone by, at the lower right.
        f.words.push(Word {
            x: LEFT + WIDE - 8.0,
            y: TOP + HIGH - 14.0 * (view.ways.len() - i) as f64 + 4.0,
            text: format!("{} ({:.0})", w.policy, w.all.cost.mean),
            colour,
        });
    }
    f
}

/// The next larger of 1, 2, 5 times a power of ten.
fn nice(step: f64) -> f64 {
    let power = 10f64.powf(step.max(1e-9).log10().floor());
    let all = [1.0, 2.0, 5.0, 10.0].map(|m| m * power);
    all.into_iter().find(|x| *x >= step).unwrap_or(10.0 * power)
}

/// What was shown against what was true.
fn truth(view: &SimulationView) -> Frame {
    let mut f = Frame::new(
        NEXT,
        "Is what the advice shows true?",
        "probability that was shown",
        "suspects that were true",
    );
    f.marks(&quarters(), &quarters());
    f.curves.push(Curve {
        path: path([(0.0, 0.0), (1.0, 1.0)].into_iter()),
        colour: "#7b8794",
        dash: "4 4",
        name: "as often as it says".to_owned(),
    });
    let shown: Vec<_> = view.calibration.iter().filter(|t| t.shown > 0).collect();
    f.curves.push(Curve {
        path: path(shown.iter().map(|t| (t.said, t.true_share))),
        colour: INKS[0].0,
        dash: "",
        name: "advice".to_owned(),
    });
    f.points = shown
        .iter()
        .map(|t| {
            let (x, y) = at((t.said, t.true_share));
            Point {
                x,
                y,
                low: at((t.said, t.true_share - 2.0 * t.error)).1,
                high: at((t.said, t.true_share + 2.0 * t.error)).1,
            }
        })
        .collect();
    f
}
