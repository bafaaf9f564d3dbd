//! A line of the rules, its meter and its circuit, in words.

use crate::rulebase::{
    Doubt, Drive, Harm, Known, Line, MeterProfile, PartKind, Rulebase, StatedAccuracy, TestRange,
};
use crate::units::{shown, written};

/// A template.
pub(super) fn template(rules: &Rulebase, l: &Line) -> String {
    let about = match l.about.as_str() {
        "" => String::new(),
        about => format!("{about}\n"),
    };
    format!("{} — a kind of line\n{about}{}", l.name, circuit(rules, l))
}

/// A meter, and what its numbers mean at the bench.
pub(super) fn meter(m: &MeterProfile, first: bool) -> String {
    let mut t = format!("{} — a meter\n", m.name);
    if first {
        t += "the one that forecasts are for where no other is chosen (`--meter NAME`)\n";
    }
    t += &format!(
        "volts: up to {}, right within {}; it loads what it measures with {}\n",
        shown(m.volts.limit, "V"),
        accuracy(m.volts.accuracy, "V"),
        shown(m.volts.input, "ohm")
    );
    t += &format!(
        "diode mode: {}, {} with open tips; OL above {}, right within {}\n",
        drive(&m.diode),
        shown(m.diode.open, "V"),
        shown(m.diode.limit, "V"),
        accuracy(m.diode.accuracy, "V")
    );
    for r in &m.ohms {
        t += &format!(
            "ohms up to {}: {}, {} with open tips; right within {}\n",
            shown(r.limit, "ohm"),
            drive(r),
            shown(r.open, "V"),
            accuracy(r.accuracy, "ohm")
        );
    }
    if m.ohms.iter().any(|r| r.open > OPENS_JUNCTION) {
        t += "in ohms it puts out enough to open junctions, so they count in what it reads\n";
    } else {
        t += "in ohms it puts out little for a junction, so it reads mostly resistors\n";
    }
    t += &format!(
        "both leads together have {}, which a short reads too\n",
        shown(m.leads, "ohm")
    );
    t + &format!("source: {}\n", m.source)
}

/// Above this a silicon junction takes a current that a resistance range
/// notices, volt. Common practice, no source.
const OPENS_JUNCTION: f64 = 0.6;

fn drive(r: &TestRange) -> String {
    match r.drive {
        Drive::Current(amps) => format!("puts out {}", shown(amps, "A")),
        Drive::Series(ohms) => format!("puts out what comes through {}", shown(ohms, "ohm")),
    }
}

fn accuracy(a: StatedAccuracy, unit: &str) -> String {
    format!(
        "{} % and {} counts of {}",
        a.percent,
        a.digits,
        shown(a.resolution, unit)
    )
}

/// The parts of a line and the places for a probe.
pub(super) fn circuit(rules: &Rulebase, l: &Line) -> String {
    let mut t = String::new();
    if l.rate > 0.0 {
        t += &format!("up to {} on one wire\n", written(l.rate, "Hz"));
    }
    if let Some(s) = &l.scope {
        t += &format!("only an oscilloscope shows: {s}\n");
    }
    for p in &l.parts {
        let between = format!("{} to {}", l.nodes[p.from], l.nodes[p.to]);
        let what = match p.kind {
            PartKind::Path(k) => format!("{}, {between}", known(k, "ohm")),
            PartKind::Switch(k) => format!("{} when on, {between}", known(k, "ohm")),
            PartKind::Junction(k) => format!("junction of {} at 1 mA, {between}", known(k, "V")),
            PartKind::Capacitor(k) => format!("{}, {between}", known(k, "F")),
            PartKind::Rail { volts, amps, idle } => format!(
                "supply of {} and up to {}, {} when off, at {}",
                known(volts, "V"),
                written(amps, "A"),
                known(idle, "ohm"),
                l.nodes[p.from]
            ),
            PartKind::Shifter { gate } => {
                format!("level shifter, {between}, gate at {}", l.nodes[gate])
            }
        };
        let unit = match p.kind {
            PartKind::Rail { .. } => "V",
            _ => "ohm",
        };
        let others = p.kinds.iter().skip(1);
        let others: String = others
            .map(|(_, k)| format!(" or {}", known(*k, unit)))
            .collect();
        let guard = if p.protects { ", protects" } else { "" };
        let fitted = match p.fitted < 1.0 {
            true => format!(", on {} of 100 boards", (100.0 * p.fitted).round()),
            false => String::new(),
        };
        t += &format!(
            "{}: {what}{others}{guard}{fitted}; source: {}\n",
            p.name, p.source
        );
    }
    for (p, c) in &l.unplugged {
        let condition = &rules.bench.conditions[*c].name;
        t += &format!("open while this holds, {condition}: {}\n", l.parts[*p].name);
    }
    for p in &l.points {
        t += &format!(
            "measured at {}: {} (node {}, {} min)\n",
            p.id, p.name, l.nodes[p.node], p.minutes
        );
    }
    t
}

pub(super) fn harm(l: &Line, harm: Harm) -> String {
    match harm {
        Harm::Open(p) => format!("{} open", l.parts[p].name),
        Harm::Off(p) => format!("{} not switched on", l.parts[p].name),
        Harm::Damaged(p) => format!("{} damaged", l.parts[p].name),
        Harm::Above(p) => format!("{} above its level", l.parts[p].name),
        Harm::Fed(n) => format!("{} bridged to another supply", l.nodes[n]),
        Harm::Short(p) => format!("{} bridged", l.parts[p].name),
        Harm::Leaky(p) => format!("{} leaky", l.parts[p].name),
        Harm::Resistive(p) if matches!(l.parts[p].kind, PartKind::Rail { .. }) => {
            format!("{} below its level", l.parts[p].name)
        }
        Harm::Resistive(p) => format!("{} with too much resistance", l.parts[p].name),
        Harm::Grounded(n) => format!("{} at ground", l.nodes[n]),
        Harm::LeakyNode(n) => format!("leak from {} to ground", l.nodes[n]),
        Harm::Joined(a, b) => format!("{} joined to {}", l.nodes[a], l.nodes[b]),
        Harm::Strange => "not as these rules describe it".to_owned(),
    }
}

pub(super) fn known(k: Known, unit: &str) -> String {
    match k.doubt {
        Doubt::Percent(p) => format!("{} ± {p} %", written(k.typical, unit)),
        Doubt::Between(low, high) => format!("{} to {}", written(low, unit), written(high, unit)),
    }
}
