//! Whether a wire may go round a part of a line, and which wire.
//!
//! What has to be known for [`Jumper`] follows from the circuit:
//!
//! | what | from |
//! | --- | --- |
//! | voltage on both sides | the powered line at rest; where the part does not conduct at rest, the supplies that each side leads to |
//! | current | either side shorted to ground behind the wire: the most that the supplies of the line can push through it |
//! | how fast | the `rate` of the template |
//! | pull-ups | what hangs on both ends, and in between |
//!
//! What a part is for, its duty, decides the rest.

use petgraph::algo::astar;
use petgraph::graph::{NodeIndex, UnGraph};

use super::wiring::Wired;
use crate::circuit::edit::Edit;
use crate::circuit::network::Node;
use crate::circuit::solve::{SolveError, Solver};
use crate::rulebase::{Duty, Line, PartKind};
use crate::sums::bus::{Sizes, Speed};
use crate::sums::led::{BOOST_CAUTION, HAZARD_CAUTION, TOUCH_LIMIT};
use crate::sums::physical::NotPhysical;
use crate::sums::wire::{self, Bypassed, Gauge, Jumper, Reason, Verdict};
use crate::units::shown;
use thiserror::Error;

/// Ohm of the wire and of the short while the current is worked out; what the
/// wire itself has hardly counts beside a supply's limit.
const TRIAL_OHMS: f64 = 0.05;
/// Above this a resistor in series does more than damp, ohm: common practice, no
/// source.
const DAMPS_UP_TO: f64 = 100.0;
/// What a supply gives at least that can make a wire glow or feed a short,
/// ampere: common practice, no source.
const STRONG: f64 = 0.1;
/// What the battery or a charger gives at least, ampere: common practice, no
/// source.
const BATTERY: f64 = 1.0;
/// From here on a supply counts as boosted, volt: common practice, no source.
const BOOSTED: f64 = 12.0;
/// Below this a part counts as a connection, ohm: common practice, no source.
const CONNECTION: f64 = 10.0;
/// Wires thinner than this are hardly to be soldered by hand: common practice,
/// no source.
const THINNEST: u8 = 40;
/// And thicker ones are no jumpers any more.
const THICKEST: u8 = 20;
/// Wires up to this length are shown no limit of length, metre.
const BOARD: f64 = 0.3;
/// Capacitance of a short bus line, farad: common practice, no source.
const BUS_FARADS: f64 = 100e-12;

/// Length of a jumper where nothing is said, metre: common practice, no source.
pub const USUAL_LENGTH: f64 = 0.02;

/// To be shown where a battery or a charger feeds the line.
const SUPPLY_CAUTION: &str = "A supply of some ampere is on this line, from a lithium cell or a charger: battery unplugged and source off, nothing of metal near the cell. With power on, a slip or a loose wire glows and can set the cell on fire.";

/// What a wire is to go round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Node at one end.
    pub from: usize,
    /// Node at the other.
    pub to: usize,
    /// The parts in between, in order.
    pub parts: Vec<usize>,
}

impl Stretch {
    /// A single part.
    pub fn of(line: &Line, part: usize) -> Self {
        let p = &line.parts[part];
        Stretch {
            from: p.from,
            to: p.to,
            parts: vec![part],
        }
    }

    /// All that lies between two nodes; `None` if nothing leads from one to the
    /// other but ground.
    pub fn between(line: &Line, from: usize, to: usize) -> Option<Self> {
        let mut graph: UnGraph<(), usize> =
            UnGraph::with_capacity(line.nodes.len(), line.parts.len());
        for _ in &line.nodes {
            graph.add_node(());
        }
        for (i, p) in line.parts.iter().enumerate() {
            let along = |n: usize| n != 0 && (!is_rail(line, n) || [from, to].contains(&n));
            if along(p.from) && along(p.to) {
                graph.add_edge(NodeIndex::new(p.from), NodeIndex::new(p.to), i);
            }
        }
        let (a, b) = (NodeIndex::new(from), NodeIndex::new(to));
        let (_, way) = astar(&graph, a, |n| n == b, |_| 1u32, |_| 0)?;
        let parts = way
            .windows(2)
            .filter_map(|w| graph.find_edge(w[0], w[1]).map(|e| graph[e]))
            .collect();
        Some(Stretch { from, to, parts })
    }

    /// Nodes inside of it.
    fn inside(&self, line: &Line) -> Vec<usize> {
        let ends = |p: &usize| [line.parts[*p].from, line.parts[*p].to];
        let mut all: Vec<usize> = self.parts.iter().flat_map(ends).collect();
        all.retain(|n| ![self.from, self.to].contains(n));
        all.dedup();
        all
    }
}

/// The wire to take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wire {
    /// How thick.
    pub gauge: Gauge,
    /// Length, metre.
    pub metres: f64,
    /// The longest that the line bears, metre, where it is fast enough to care.
    pub longest: Option<f64>,
    /// Resistance, ohm.
    pub ohms: f64,
    /// The most that the line can push through it, ampere.
    pub amps: f64,
    /// What drops across it then, volt.
    pub drop: f64,
    /// Where it melts, ampere.
    pub fusing: f64,
    /// What it may carry for long, ampere.
    pub carries: f64,
}

/// Advice on a wire round a stretch of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Bypass {
    /// Whether it may be there.
    pub verdict: Verdict,
    /// Why; the gravest reason.
    pub reason: Reason,
    /// Everything there is to say, a sentence each; the gravest reason first.
    pub says: Vec<String>,
    /// Where it is soldered at one end, in words.
    pub from: String,
    /// And at the other.
    pub to: String,
    /// Voltage on both sides, volt.
    pub volts: (f64, f64),
    /// The wire to take.
    pub wire: Wire,
    /// Cautions.
    pub cautions: Vec<&'static str>,
}

/// Why there is no advice.
#[derive(Debug, Error)]
pub enum BypassError {
    /// The line cannot be solved.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// A value that no wire has.
    #[error(transparent)]
    NotPhysical(#[from] NotPhysical),
}

fn is_rail(line: &Line, node: usize) -> bool {
    line.parts
        .iter()
        .any(|p| p.duty == Duty::Supplies && p.from == node)
}

/// Supplies that a node leads to without the stretch: by part, with the ohms on
/// the way. What a pin or a clamp is tied to counts as leading there.
fn supplies(line: &Line, node: usize, without: &Stretch) -> Vec<(usize, f64)> {
    let mut found = Vec::new();
    let mut seen = vec![false; line.nodes.len()];
    let mut next = vec![(node, 0.0)];
    while let Some((n, ohms)) = next.pop() {
        if n == 0 || std::mem::replace(&mut seen[n], true) {
            continue;
        }
        let rail = |p: &usize| line.parts[*p].duty == Duty::Supplies && line.parts[*p].from == n;
        if let Some(r) = (0..line.parts.len()).find(rail) {
            found.push((r, ohms));
            continue;
        }
        for (i, p) in line.parts.iter().enumerate() {
            let other = match (p.from == n, p.to == n) {
                (true, _) => p.to,
                (_, true) => p.from,
                _ => continue,
            };
            if without.parts.contains(&i) {
                continue;
            }
            let way = match p.kind {
                PartKind::Path(k) | PartKind::Switch(k) => ohms + k.typical,
                // The upper junction of a pin or a clamp, not the lower one.
                PartKind::Junction(_)
                    if matches!(p.duty, Duty::Pins | Duty::Clamps) && p.from == n =>
                {
                    f64::INFINITY
                }
                // A diode passes on what it is fed with.
                PartKind::Junction(_) if p.duty == Duty::OneWay && p.to == n => ohms,
                _ => continue,
            };
            next.push((other, way));
        }
    }
    found
}

/// What a part is to a jumper.
fn as_bypassed(line: &Line, part: usize, limits: bool) -> Bypassed {
    let p = &line.parts[part];
    match p.duty {
        Duty::Blocks => Bypassed::CouplingCapacitor,
        Duty::Fuses => Bypassed::Fuse,
        Duty::PullsUp => Bypassed::PullUp,
        Duty::Pins | Duty::Supplies | Duty::PullsDown | Duty::Smooths | Duty::Clamps => {
            Bypassed::Hanging
        }
        Duty::Works => Bypassed::Load,
        Duty::OneWay => Bypassed::Protection,
        Duty::Shifts => Bypassed::LevelShifter,
        _ if p.protects => Bypassed::Protection,
        Duty::Switches => Bypassed::Limiter,
        Duty::Resists if limits => Bypassed::Limiter,
        Duty::Resists => Bypassed::SeriesResistor,
        Duty::Chokes => Bypassed::Ferrite,
        Duty::Filters => Bypassed::Filter,
        Duty::Joins | Duty::Plugs => Bypassed::Trace,
    }
}

/// A place in words: a point for a probe, else what meets there.
fn place(line: &Line, node: usize) -> String {
    if let Some(p) = line.points.iter().find(|p| p.node == node) {
        return p.name.clone();
    }
    let mut there: Vec<&str> = Vec::new();
    for p in &line.parts {
        let series = p.from != 0 && p.to != 0;
        if series && [p.from, p.to].contains(&node) && !there.contains(&p.name.as_str()) {
            there.push(&p.name);
        }
    }
    match there.as_slice() {
        [] => line.nodes[node].clone(),
        [one] => format!("far end of {one}"),
        [one, other, ..] => format!("where {one} meets {other}"),
    }
}

/// Works out whether a wire of so many metres may go round a stretch.
///
/// # Errors
/// If the line cannot be solved, or the length is not above 0.
pub fn bypass(
    line: &Line,
    wired: &Wired,
    stretch: &Stretch,
    metres: f64,
) -> Result<Bypass, BypassError> {
    let on = &wired.on;
    let nodes = [on.nodes[stretch.from], on.nodes[stretch.to]];
    let mut solver = Solver::new(&on.network)?;
    let at_rest = {
        let point = solver.solve(&[])?;
        nodes.map(|n| point.volts(n).abs())
    };
    let led_to = [stretch.from, stretch.to].map(|n| supplies(line, n, stretch));
    let level = |led: &[(usize, f64)]| {
        led.iter()
            .map(|(r, _)| match line.parts[*r].kind {
                PartKind::Rail { volts, .. } => volts.typical,
                _ => 0.0,
            })
            .fold(0.0, f64::max)
    };
    // A supply that gives a good deal over nothing but connections.
    let feeds = |led: &[(usize, f64)], amps: f64| {
        led.iter().any(|(r, ohms)| match line.parts[*r].kind {
            PartKind::Rail { amps: gives, .. } => *ohms < CONNECTION && gives >= amps,
            _ => false,
        })
    };
    let resists = |p: &usize| match line.parts[*p].kind {
        PartKind::Path(k) if line.parts[*p].duty == Duty::Resists => k.typical,
        _ => 0.0,
    };
    let ohms: f64 = stretch.parts.iter().map(resists).sum();
    let fed = led_to.iter().any(|led| feeds(led, STRONG));
    let limits = |p: &usize| {
        let at = [line.parts[*p].from, line.parts[*p].to];
        let at_rail = at.iter().any(|n| is_rail(line, *n));
        resists(p) > DAMPS_UP_TO && fed || resists(p) >= CONNECTION && at_rail
    };
    // The gravest of what is bypassed.
    let kinds = stretch
        .parts
        .iter()
        .map(|p| as_bypassed(line, *p, limits(p)));
    let amps = amps_through(line, wired, stretch, &mut solver)?;
    let gauge = gauge_for(amps, at_rest[0].min(at_rest[1]), metres)?;
    let jumper = |bypassed| {
        let conducts = !matches!(
            bypassed,
            Bypassed::LevelShifter | Bypassed::CouplingCapacitor
        );
        let [from, to] = match conducts {
            true => at_rest,
            false => [level(&led_to[0]), level(&led_to[1])],
        };
        Jumper {
            bypassed,
            from,
            to,
            rate: line.rate,
            metres,
            amps,
            gauge,
        }
    };
    let mut best: Option<(Jumper, wire::Advice)> = None;
    for bypassed in kinds {
        let j = jumper(bypassed);
        let advice = j.advice()?;
        let graver = |b: &(Jumper, wire::Advice)| {
            advice.reason.verdict() > b.1.reason.verdict() || b.1.reason == Reason::OneLine
        };
        if best.as_ref().is_none_or(graver) {
            best = Some((j, advice));
        }
    }
    let (jumper, advice) = match best {
        Some(b) => b,
        None => {
            let j = jumper(Bypassed::Hanging);
            (j, j.advice()?)
        }
    };
    let highest = line
        .parts
        .iter()
        .filter_map(|p| match p.kind {
            PartKind::Rail { volts, .. } => Some(volts.typical),
            _ => None,
        })
        .fold(0.0, f64::max);
    let reason = match advice.reason {
        r if highest <= TOUCH_LIMIT || r == Reason::Hazardous => r,
        _ => Reason::Hazardous,
    };
    let mut said = Said {
        verdict: reason.verdict(),
        says: vec![reason.says().to_owned()],
    };
    if said.verdict < Verdict::No {
        said.about(line, stretch, fed, ohms);
        if jumper.bypassed == Bypassed::LevelShifter {
            said.pull_ups_together(line, jumper.from);
        }
        if advice.drops_much {
            said.care(format!(
                "At the most that the supply gives, {} drop across it: take it shorter or thicker.",
                shown(advice.drop, "V")
            ));
        }
    } else if reason == Reason::TooThin {
        said.says.push("No jumper wire carries it.".to_owned());
    }
    let mut cautions: Vec<&'static str> = wire::CAUTIONS.to_vec();
    if led_to.iter().any(|led| feeds(led, BATTERY)) {
        cautions.insert(0, SUPPLY_CAUTION);
    }
    if highest >= BOOSTED {
        cautions.insert(0, BOOST_CAUTION);
    }
    if highest > TOUCH_LIMIT {
        cautions.insert(0, HAZARD_CAUTION);
    }
    let longest = (line.rate > 0.0).then(|| wire::longest(line.rate));
    Ok(Bypass {
        verdict: said.verdict,
        reason,
        says: said.says,
        from: place(line, stretch.from),
        to: place(line, stretch.to),
        volts: (jumper.from, jumper.to),
        wire: Wire {
            gauge,
            metres,
            longest: longest.filter(|l| *l < BOARD),
            ohms: advice.ohms,
            amps,
            drop: advice.drop,
            fusing: advice.fusing,
            carries: gauge.carries(),
        },
        cautions,
    })
}

/// The thinnest wire that a hand can solder, that carries the current and drops
/// little of a voltage; the thickest there is, if none does.
fn gauge_for(amps: f64, volts: f64, metres: f64) -> Result<Gauge, NotPhysical> {
    let fits = |g: &Gauge| {
        let drop = amps * metres * g.ohms_per_metre();
        amps <= g.carries() && (volts <= 0.0 || drop <= wire::DROP_SHARE * volts)
    };
    let all = (THICKEST..=THINNEST).rev().step_by(2).map(Gauge::new);
    let all: Vec<Gauge> = all.collect::<Result<_, _>>()?;
    let first = all.iter().find(|g| fits(g)).or(all.last());
    first.copied().map_or_else(|| Gauge::new(THICKEST), Ok)
}

/// The most that the line can push through the wire: one of its ends shorted to
/// ground, and then the other.
fn amps_through(
    line: &Line,
    wired: &Wired,
    stretch: &Stretch,
    solver: &mut Solver,
) -> Result<f64, SolveError> {
    let on = &wired.on;
    let (a, b) = (on.nodes[stretch.from], on.nodes[stretch.to]);
    let mut edits: Vec<Edit> = stretch
        .parts
        .iter()
        .filter(|p| line.parts[**p].duty != Duty::Supplies)
        .flat_map(|p| &on.parts[*p])
        .map(|e| Edit::Remove { element: *e })
        .collect();
    let bridge = |a, b| Edit::Bridge {
        a,
        b,
        ohms: TRIAL_OHMS,
    };
    if a == b || [a, b].contains(&Node::GROUND) {
        return Ok(0.0);
    }
    edits.push(bridge(a, b));
    let mut most: f64 = 0.0;
    for end in [a, b] {
        edits.push(bridge(end, Node::GROUND));
        let point = solver.solve(&edits)?;
        most = most.max((point.volts(a) - point.volts(b)).abs() / TRIAL_OHMS);
        edits.pop();
    }
    Ok(most)
}

/// What is said of a wire beside its gravest reason.
struct Said {
    verdict: Verdict,
    says: Vec<String>,
}

impl Said {
    fn care(&mut self, text: String) {
        self.verdict = self.verdict.max(Verdict::WithCare);
        self.says.push(text);
    }

    /// What the parts on the way and at the ends ask for.
    fn about(&mut self, line: &Line, stretch: &Stretch, fed: bool, ohms: f64) {
        let has = |duty| stretch.parts.iter().any(|p| line.parts[*p].duty == duty);
        if has(Duty::Plugs) {
            self.care(
                "The wire ties together what the plug lets apart: clean and seat the contact, or mend its joint, before you solder across it."
                    .to_owned(),
            );
        }
        if has(Duty::Chokes) && fed {
            self.care(
                "On a supply the ferrite is what gave way: find the short behind it first, or the wire feeds it."
                    .to_owned(),
            );
        }
        if ohms > DAMPS_UP_TO {
            self.care(format!(
                "{} is more than damping: it keeps surges and currents out of the pin. A wire does to see whether it works; then fit the resistor.",
                shown(ohms, "ohm")
            ));
        }
        let pull_ups = |node: usize| {
            line.parts
                .iter()
                .filter(move |p| p.duty == Duty::PullsUp && [p.from, p.to].contains(&node))
        };
        for node in [stretch.from, stretch.to] {
            for p in pull_ups(node) {
                let far = if p.from == node { p.to } else { p.from };
                let supply = line
                    .parts
                    .iter()
                    .find(|r| r.duty == Duty::Supplies && r.from == far)
                    .map_or("the supply", |r| r.name.as_str());
                self.says.push(format!(
                    "Leave the {} fitted and solder to its line side, not to its other side, which is the {supply}.",
                    p.name
                ));
            }
        }
        for node in stretch.inside(line) {
            for p in pull_ups(node) {
                self.care(format!(
                    "The {} hangs in between: if the line is open on both sides of it, the wire has to touch its line side too.",
                    p.name
                ));
            }
        }
    }

    /// The pull-ups on both sides of a shifter act together once it is bypassed.
    fn pull_ups_together(&mut self, line: &Line, supply: f64) {
        let all: Vec<f64> = line
            .parts
            .iter()
            .filter(|p| p.duty == Duty::PullsUp)
            .filter_map(|p| match p.kind {
                PartKind::Path(k) => Some(k.typical),
                _ => None,
            })
            .collect();
        let together = 1.0 / all.iter().map(|r| 1.0 / r).sum::<f64>();
        let sizes =
            Speed::reaching(line.rate).and_then(|speed| Sizes::of(speed, supply, BUS_FARADS).ok());
        let Some(sizes) = sizes.filter(|_| all.len() > 1) else {
            return;
        };
        let (sum, least) = (shown(together, "ohm"), shown(sizes.least, "ohm"));
        if together < sizes.least {
            self.care(format!(
                "Both pull-ups together are {sum}, below the {least} that every part can pull low: take one of them off."
            ));
        } else {
            self.says.push(format!(
                "Both pull-ups act together, {sum}; that is above the {least} that every part can pull low."
            ));
        }
    }
}
