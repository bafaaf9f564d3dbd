//! Built-in lines and all that can happen to them, for tests that try every
//! case.
#![allow(dead_code, unreachable_pub)]

pub mod device;
pub mod trial;

use std::sync::{Arc, LazyLock};

use halfsplit::bench::BenchState;
use halfsplit::circuit::edit::Edit;
use halfsplit::circuit::fault::{BOARD_LEAKAGE, Fault, Range, variants};
use halfsplit::circuit::meter::{Accuracy, Meter, Mode, Reading};
use halfsplit::circuit::network::{Element, Network, Node};
use halfsplit::circuit::predict::Spread;
use halfsplit::circuit::solve::{Parameter, Solver};
use halfsplit::line::{Probing, Wired, Wiring};
use halfsplit::rulebase::{
    Doubt, Effect, Harm, Known, Line, MeterMode, PackFault, PartKind, Rulebase, Rules,
};
use rand::Rng;

/// The built-in rules, once for all tests: what is solved for their lines is kept
/// with them.
pub fn rules() -> Arc<Rulebase> {
    static RULES: LazyLock<Arc<Rulebase>> = LazyLock::new(|| {
        let loaded = Rules::default().load();
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
        Arc::new(loaded.rulebase)
    });
    RULES.clone()
}

/// The built-in templates: name and text, in order.
pub fn templates() -> Vec<(String, String)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/rules/lines");
    let files = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path());
    let name = |p: &std::path::Path| p.file_stem().unwrap().to_str().unwrap().to_owned();
    let mut all: Vec<(String, String)> = files
        .map(|p| (name(&p), std::fs::read_to_string(&p).unwrap()))
        .collect();
    all.sort();
    all
}

/// Something that can happen to a line.
#[derive(Clone, Debug)]
pub struct Happening {
    /// The part it happens to, or the node where no part leads to ground.
    pub element: String,
    /// What happens, as rules say it.
    pub words: String,
    /// The same, typed.
    pub harm: Harm,
}

/// Resistance above which a part is a resistor and not a connection, ohm: what
/// bridges a connection changes nothing.
const RESISTOR: f64 = 1.0;

/// Everything that can happen to a line.
pub fn happenings(line: &Line) -> Vec<Happening> {
    let mut all = Vec::new();
    let mut add = |element: &str, words: String, harm: Harm| {
        all.push(Happening {
            element: element.to_owned(),
            words,
            harm,
        });
    };
    for (i, part) in line.parts.iter().enumerate() {
        // What a chip's pin brings along goes by the name of the pin.
        if part.id.contains('.') {
            continue;
        }
        let of_part = |verb: &str| format!("{verb} {}", part.id);
        add(&part.id, of_part("open"), Harm::Open(i));
        let (short, leaky, resistive) = match part.kind {
            PartKind::Path(ohms) => (ohms.typical > RESISTOR, false, true),
            PartKind::Switch(_) | PartKind::Rail { .. } => (true, false, true),
            PartKind::Junction(_) | PartKind::Capacitor(_) => (true, true, false),
            PartKind::Shifter { .. } => (true, false, false),
        };
        match part.kind {
            PartKind::Switch(_) => add(&part.id, of_part("off"), Harm::Off(i)),
            PartKind::Junction(_) => add(&part.id, of_part("damaged"), Harm::Damaged(i)),
            _ => {}
        }
        if short {
            add(&part.id, of_part("short"), Harm::Short(i));
        }
        if leaky {
            add(&part.id, of_part("leaky"), Harm::Leaky(i));
        }
        if resistive {
            add(&part.id, of_part("resistive"), Harm::Resistive(i));
        }
    }
    for (n, name) in line.nodes.iter().enumerate().skip(1) {
        let joins = |p: &&halfsplit::rulebase::LinePart| {
            let ends = [p.from, p.to];
            ends.contains(&n) && ends.contains(&0) && !p.id.contains('.')
        };
        if line.parts.iter().find(joins).is_none() {
            let at = format!("at-{name}");
            add(&at, format!("short {name} to ground"), Harm::Grounded(n));
            add(&at, format!("leaky {name} to ground"), Harm::LeakyNode(n));
        }
    }
    all
}

/// What feeds a line from beyond it: supplies above their level, and a bridge to each
/// point.
pub fn feeds(line: &Line) -> Vec<Happening> {
    let rail = |p: &usize| matches!(line.parts[*p].kind, PartKind::Rail { .. });
    let above = (0..line.parts.len()).filter(rail).map(|p| {
        let id = &line.parts[p].id;
        (id.clone(), format!("above {id}"), Harm::Above(p))
    });
    let fed = line.points.iter().map(|p| {
        let name = &line.nodes[p.node];
        (
            format!("at-{name}"),
            format!("fed {name}"),
            Harm::Fed(p.node),
        )
    });
    let all = above.chain(fed);
    all.map(|(element, words, harm)| Happening {
        element,
        words,
        harm,
    })
    .collect()
}

/// The line with everything that can happen to it, a fault each.
pub fn with_happenings(line: &Line) -> (Line, Vec<Happening>) {
    let all = happenings(line);
    let effect = |(fault, h): (usize, &Happening)| Effect {
        fault: PackFault(fault),
        harm: h.harm,
        chance: 1.0,
    };
    let line = Line {
        faults: all.iter().enumerate().map(effect).collect(),
        ..line.clone()
    };
    (line, all)
}

// ---- one device of many ------------------------------------------------------------

/// One device of many, without power and with it: each value that is not known
/// exactly is drawn once, evenly within its limits.
pub struct Drawn {
    pub off: Solver,
    pub on: Solver,
}

/// By how much resistances (as logarithm) and junctions (as logarithm of the
/// saturation current) differ at most between boards of one model, and on top of
/// that between the halves of a pair: 5 and 10 per cent, 10 and 20 mV at an
/// ideality of 1.1. Common practice, no source.
const OHMS: (f64, f64) = (0.05, 0.10);
const JUNCTION: (f64, f64) = (0.01 / (1.1 * 0.02585), 0.02 / (1.1 * 0.02585));

/// How far the logarithm of a value goes that nobody knows of the model.
fn unknown(wired: &Wired, line: &Line, part: usize, which: usize) -> Option<f64> {
    let (kind, wanted) = (
        &line.parts[part].kind,
        [Parameter::Resistance, Parameter::Saturation][which],
    );
    if let PartKind::Path(k) | PartKind::Junction(k) | PartKind::Switch(k) = kind
        && matches!(k.doubt, Doubt::Percent(_))
    {
        return None;
    }
    let of_part = |s: &&Spread| wired.off.parts[part].contains(&s.element) && s.parameter == wanted;
    let s = wired.off.spreads.iter().find(of_part)?;
    Some(s.deviation * 3f64.sqrt())
}

/// Whether the resistance, the junction and the voltage of a part are stated from
/// and to.
fn evenly(kind: &PartKind) -> [bool; 3] {
    let from_to = |k: &Known| matches!(k.doubt, Doubt::Between(..));
    match kind {
        PartKind::Path(k) | PartKind::Junction(k) | PartKind::Switch(k) => [from_to(k); 3],
        PartKind::Rail { volts, idle, .. } => [from_to(idle), false, from_to(volts)],
        PartKind::Capacitor(_) | PartKind::Shifter { .. } => [false; 3],
    }
}

impl Drawn {
    pub fn new(wired: &Wired, rng: &mut impl Rng) -> Self {
        Self::by(wired, || rng.random_range(-1.0..1.0))
    }

    /// The same where the halves of a pair are built alike: what nobody knows of
    /// the model is one value for both, and each half is a little off it.
    pub fn of_line(line: &Line, wired: &Wired, rng: &mut impl Rng) -> Self {
        Self::of_line_by(line, wired, &mut |_| rng.random_range(-1.0..1.0))
    }

    /// The same, and values that are stated with a tolerance are spread normally, as
    /// the likelihood has them: a tolerance is no promise. Only what is stated from
    /// and to is spread evenly.
    pub fn of_model(line: &Line, wired: &Wired, rng: &mut impl Rng) -> Self {
        Self::of_line_by(line, wired, &mut |even| match even {
            true => rng.random_range(-1.0..1.0),
            false => normal(rng) / 3f64.sqrt(),
        })
    }

    /// `draw` is asked whether a value is spread evenly.
    fn of_line_by(line: &Line, wired: &Wired, draw: &mut impl FnMut(bool) -> f64) -> Self {
        let mut draws: Vec<[f64; 3]> = Vec::new();
        for part in &line.parts {
            let even = evenly(&part.kind);
            draws.push(std::array::from_fn(|which| draw(even[which])));
        }
        for (first, part) in line.parts.iter().enumerate() {
            let Some(twin) = line
                .twin(&part.id)
                .filter(|_| line.half(&part.id) == Some(0))
            else {
                continue;
            };
            let other = line.parts.iter().position(|p| p.id == twin).unwrap();
            for (which, off) in [OHMS, JUNCTION].into_iter().enumerate() {
                let Some(all) = unknown(wired, line, first, which) else {
                    continue;
                };
                let own = (off.0 / all).min(1.0);
                let model = (1.0 - own * own).sqrt() * draws[first][which];
                let more: [f64; 3] = std::array::from_fn(|_| draw(false));
                draws[first][which] = model + own * more[0];
                draws[other][which] = model + own * more[1] + off.1 / all * more[2];
            }
        }
        Self::with(wired, &draws)
    }

    /// The same where `draw` gives each value, -1 and 1 for its limits.
    pub fn by(wired: &Wired, mut draw: impl FnMut() -> f64) -> Self {
        let parts = wired.on.parts.len();
        // By part and by what of it is not known.
        let draws: Vec<[f64; 3]> = (0..parts)
            .map(|_| std::array::from_fn(|_| draw()))
            .collect();
        Self::with(wired, &draws)
    }

    fn with(wired: &Wired, draws: &[[f64; 3]]) -> Self {
        let solver = |wiring| Solver::new(&drawn(wiring, draws)).unwrap();
        Drawn {
            off: solver(&wired.off),
            on: solver(&wired.on),
        }
    }

    /// What it reads at a point of its line, with some things done to it.
    pub fn reads(
        &mut self,
        (line, wired): (&Line, &Wired),
        meter: &Meter,
        probing: Probing,
        more: &[Edit],
    ) -> Reading {
        let wiring = wired.for_mode(probing.mode);
        let all = [&unplugged(wiring, line, probing.state), more].concat();
        let at = wiring.nodes[line.points[probing.point].node];
        let (red, black, mode) = held(at, probing.mode);
        let solver = self.for_mode(probing.mode);
        meter.read(solver, &all, red, black, mode).unwrap()
    }

    /// In the state of power that a mode needs.
    pub fn for_mode(&mut self, mode: MeterMode) -> &mut Solver {
        match mode {
            MeterMode::Volts => &mut self.on,
            MeterMode::Diode | MeterMode::Ohms => &mut self.off,
        }
    }
}

fn drawn(wiring: &Wiring, draws: &[[f64; 3]]) -> Network {
    let known = &wiring.network;
    let mut network = Network::new();
    for n in 1..known.node_count() {
        network.node(known.node_name(known.node_at(n).unwrap()));
    }
    for (id, element) in known.fitted() {
        let mut element = *element;
        let part = wiring.parts.iter().position(|p| p.contains(&id));
        for s in wiring.spreads.iter().filter(|s| s.element == id) {
            let by = |which: usize| s.deviation * 3.0_f64.sqrt() * draws[part.unwrap()][which];
            match (&mut element, s.parameter) {
                (Element::Resistor { ohms, .. }, Parameter::Resistance) => *ohms *= by(0).exp(),
                (Element::Junction { junction, .. }, Parameter::Saturation) => {
                    junction.saturation *= by(1).exp();
                }
                (Element::Source { volts, .. }, Parameter::Volts) => *volts += by(2),
                (element, parameter) => panic!("{parameter:?} of {element:?}"),
            }
        }
        let same = network.add(known.element_name(id), element).unwrap();
        assert_eq!(same, id);
    }
    network.set_board_leakage(BOARD_LEAKAGE).unwrap();
    network
}

/// The edits of a harm at one size: a share of the way through its range.
pub fn edits(wiring: &Wiring, line: &Line, harm: Harm, share: f64) -> Vec<Edit> {
    let at = |r: Range| Range::exactly(r.low() * (r.high() / r.low()).powf(share)).unwrap();
    let exact = |fault: Fault| match fault {
        Fault::Short { a, b, ohms } => Fault::Short {
            a,
            b,
            ohms: at(ohms),
        },
        Fault::Leaky { a, b, ohms } => Fault::Leaky {
            a,
            b,
            ohms: at(ohms),
        },
        Fault::Resistive { element, ohms } => Fault::Resistive {
            element,
            ohms: at(ohms),
        },
        Fault::Damaged {
            element,
            saturation,
        } => Fault::Damaged {
            element,
            saturation: at(saturation),
        },
        Fault::Open(element) => Fault::Open(element),
    };
    let faults = wiring.harm(line, harm).unwrap();
    let exact: Vec<Fault> = faults.into_iter().map(exact).collect();
    variants(&exact).swap_remove(0).edits
}

/// What bench conditions take out of a line.
pub fn unplugged(wiring: &Wiring, line: &Line, state: BenchState) -> Vec<Edit> {
    let open = line.unplugged.iter().filter(|(_, c)| state.has(*c));
    open.flat_map(|(contact, _)| &wiring.parts[*contact])
        .map(|element| Edit::Remove { element: *element })
        .collect()
}

/// Where red and black are held, and what the meter is set to.
pub fn held(point: Node, mode: MeterMode) -> (Node, Node, Mode) {
    match mode {
        MeterMode::Volts => (point, Node::GROUND, Mode::Volts),
        MeterMode::Ohms => (point, Node::GROUND, Mode::Ohms),
        MeterMode::Diode => (Node::GROUND, point, Mode::Diode),
    }
}

/// What a meter's accuracy is at a value.
pub fn accuracy(meter: &Meter, mode: MeterMode, value: f64) -> Accuracy {
    match mode {
        MeterMode::Volts => meter.volts.accuracy,
        MeterMode::Diode => meter.diode.accuracy,
        MeterMode::Ohms => {
            let fits = |r: &&halfsplit::circuit::meter::OhmsRange| value <= r.full_scale;
            let last = meter.ohms.last().unwrap();
            meter.ohms.iter().find(fits).unwrap_or(last).accuracy
        }
    }
}

/// What is written down for a true reading: off by no more than the accuracy,
/// to the last digit.
pub fn shown(meter: &Meter, mode: MeterMode, reading: Reading, rng: &mut impl Rng) -> Reading {
    match reading {
        Reading::OL => Reading::OL,
        Reading::Value(v) => {
            let accuracy = accuracy(meter, mode, v);
            let off = v + accuracy.limit(v) * rng.random_range(-1.0..1.0);
            Reading::Value((off / accuracy.resolution).round() * accuracy.resolution)
        }
    }
}

/// What a meter is off by through a job, as the model has it: common practice, no
/// source.
const OFFSET: [(MeterMode, f64); 3] = [
    (MeterMode::Ohms, 0.3),
    (MeterMode::Diode, 5e-3),
    (MeterMode::Volts, 5e-3),
];

/// Drawn from a normal spread of standard deviation 1.
fn normal(rng: &mut impl Rng) -> f64 {
    let u: f64 = rng.random_range(f64::MIN_POSITIVE..1.0);
    let turn = rng.random_range(0.0..std::f64::consts::TAU);
    (-2.0 * u.ln()).sqrt() * turn.cos()
}

/// What a meter shows of a true reading, off as the model has it; `None` is OL.
pub fn metered(meter: &Meter, mode: MeterMode, truth: Reading, rng: &mut impl Rng) -> Option<f64> {
    let Reading::Value(v) = truth else {
        return None;
    };
    let offset = OFFSET.iter().find(|o| o.0 == mode)?.1;
    let off = accuracy(meter, mode, v).deviation(v) * normal(rng);
    let limit = match mode {
        MeterMode::Volts => meter.volts.limit,
        MeterMode::Diode => meter.diode.limit,
        MeterMode::Ohms => meter.ohms.last()?.full_scale,
    };
    Some(v + offset * normal(rng) + off).filter(|v| *v <= limit)
}
