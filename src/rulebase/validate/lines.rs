//! Electrical lines: templates, their use in packs, and tests that measure them.

use super::super::amount::{self, Unit};
use super::super::decode::{Amount, Harms};
use super::super::line::{Duty, Effect, Harm, Known, LinePart, MOST_FAULTS, PartKind, Point};
use super::super::problem::nearest;
use super::*;
use crate::bench::{POWERED, UNPOWERED};

/// Minutes to get a probe to a point, where nothing is said.
const REACH: f64 = 1.0;
/// What rests on nothing that an author typed.
const USUAL: &str = "common practice, no source";
/// Forward voltage at 1 mA from ground of all that a supply feeds, together.
const FED: &str = "0.25 V to 0.6 V";
/// Chance of the first of several values that a part may have.
/// Common practice, no source.
const USUAL_KIND: f64 = 0.5;
/// Per cent within which a value is known where nothing is said of it.
const TOLERANCE: f64 = 5.0;
/// Forward voltage at 1 mA of the junction from ground at the near side of a data switch.
/// Common practice, no source.
const DATA_SWITCH_PIN: &str = "0.45 V to 0.7 V";
/// The node that all others are measured against.
const GROUND: &str = "ground";

/// What a part word stands for.
struct Word {
    word: &'static str,
    sort: Sort,
    duty: Duty,
    /// How many nodes it takes; a single one leads to ground.
    nodes: std::ops::RangeInclusive<usize>,
    /// Its value where none is given; empty if one must be.
    usual: &'static str,
    protects: bool,
}

#[derive(Clone, Copy, PartialEq)]
enum Sort {
    Path,
    Switch,
    /// A switch that has a junction from ground at its first node.
    DataSwitch,
    /// A junction from the first node to the second.
    Diode,
    /// A junction from ground to the node.
    Clamp,
    Capacitor,
    Rail,
    HostPin,
    Shifter,
}

impl Sort {
    fn unit(self) -> Unit {
        match self {
            Sort::Path | Sort::Switch | Sort::DataSwitch | Sort::Shifter => Unit::Ohm,
            Sort::Diode | Sort::Clamp | Sort::HostPin | Sort::Rail => Unit::Volt,
            Sort::Capacitor => Unit::Farad,
        }
    }
}

const fn word(
    word: &'static str,
    sort: Sort,
    duty: Duty,
    nodes: std::ops::RangeInclusive<usize>,
    usual: &'static str,
) -> Word {
    Word {
        word,
        sort,
        duty,
        nodes,
        usual,
        protects: false,
    }
}

const fn guard(w: Word) -> Word {
    Word {
        protects: true,
        ..w
    }
}

use Duty::{
    Blocks, Chokes, Clamps, Filters, Fuses, Joins, OneWay, Pins, Plugs, PullsDown, PullsUp,
    Resists, Shifts, Smooths, Supplies, Switches, Works,
};
use Sort::{Capacitor, Clamp, DataSwitch, Diode, HostPin, Path, Rail, Shifter, Switch};

/// Every part word, in the order of the documentation. `rail` comes last, as it
/// is also a key beside two others.
const WORDS: [Word; 23] = [
    word("contact", Path, Plugs, 2..=2, "20 mohm to 0.3 ohm"),
    word("joint", Path, Joins, 2..=2, "1 mohm to 20 mohm"),
    word("trace", Path, Joins, 2..=2, "50 mohm to 2 ohm"),
    word("wire", Path, Joins, 2..=2, "10 mohm to 0.5 ohm"),
    word("resistor", Path, Resists, 2..=2, ""),
    word("ferrite", Path, Chokes, 2..=2, "20 mohm to 1 ohm"),
    word("filter", Path, Filters, 2..=2, "0.5 ohm to 8 ohm"),
    word("coil", Path, Works, 2..=2, ""),
    guard(word("fuse", Path, Fuses, 2..=2, "5 mohm to 0.2 ohm")),
    word("switch", Switch, Switches, 2..=2, "10 mohm to 0.3 ohm"),
    word(
        "data-switch",
        DataSwitch,
        Switches,
        2..=2,
        "2 ohm to 20 ohm",
    ),
    word("pull-up", Path, PullsUp, 2..=2, ""),
    word("pull-down", Path, PullsDown, 1..=2, ""),
    word("thermistor", Path, Works, 1..=2, ""),
    word("button", Path, Works, 1..=2, "10 Mohm to 1 Gohm"),
    word("diode", Diode, OneWay, 2..=2, "0.2 V to 0.65 V"),
    guard(word("clamp", Clamp, Clamps, 1..=1, "0.35 V to 0.7 V")),
    word("led-string", Diode, Works, 2..=2, ""),
    word("capacitor", Capacitor, Smooths, 1..=2, ""),
    guard(word(
        "coupling-capacitor",
        Capacitor,
        Blocks,
        2..=2,
        "75 nF to 265 nF",
    )),
    word("host-pin", HostPin, Pins, 1..=1, "0.35 V to 0.7 V"),
    word("shifter", Shifter, Shifts, 2..=2, ""),
    word("rail", Rail, Supplies, 1..=1, ""),
];

/// What a part says under each of its words, in the order of [`WORDS`].
fn said(p: &RawPart) -> [&Option<At<super::super::decode::Ends>>; 23] {
    [
        &p.contact,
        &p.joint,
        &p.trace,
        &p.wire,
        &p.resistor,
        &p.ferrite,
        &p.filter,
        &p.coil,
        &p.fuse,
        &p.switch,
        &p.data_switch,
        &p.pull_up,
        &p.pull_down,
        &p.thermistor,
        &p.button,
        &p.diode,
        &p.clamp,
        &p.led_string,
        &p.capacitor,
        &p.coupling_capacitor,
        &p.host_pin,
        &p.shifter,
        &p.rail,
    ]
}

/// Values given where a line is used, with what they rest on.
struct Anew<'a> {
    values: &'a Entries<At<Amount>>,
    source: Option<&'a str>,
}

impl<'a> Anew<'a> {
    fn get(&self, name: &str) -> Option<&'a At<Amount>> {
        let name = name.trim();
        let found = self.values.iter().find(|(id, _)| id.value == name);
        found.map(|(_, a)| a)
    }
}

/// The nodes of a line while it is being built.
#[derive(Default)]
struct Nodes {
    names: Vec<String>,
    /// Where each is mentioned.
    at: Vec<Vec<Span>>,
}

impl Nodes {
    fn index(&mut self, name: &At<String>) -> usize {
        let i = self.names.iter().position(|n| *n == name.value);
        let i = i.unwrap_or_else(|| {
            self.names.push(name.value.clone());
            self.at.push(Vec::new());
            self.names.len() - 1
        });
        self.at[i].push(name.span);
        i
    }
}

impl Validator<'_> {
    /// Checks a template and gives it with its own values.
    pub(super) fn template(&mut self, raw: &RawLine, bench: &Bench) -> Line {
        self.unread.clear();
        self.name(&raw.line, false);
        self.names("value", &raw.values);
        self.names("part", &raw.parts);
        self.names("point", &raw.points);
        let whole = |dropped: &[String]| dropped.is_empty();
        if raw.parts.is_empty() && whole(raw.parts.dropped()) {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    raw.line.span,
                    format!("line `{}` has no parts", raw.line.value),
                )
                .help("list them under `parts:`, in the order of the path from the connector on"),
            );
        }
        if raw.points.is_empty() && whole(raw.points.dropped()) {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    raw.line.span,
                    format!("line `{}` has no point to measure at", raw.line.value),
                )
                .help("name the places for a probe under `points:`"),
            );
        }
        for (_, v) in &raw.values {
            self.sourced(v.span, &[&raw.source]);
        }
        if let Some(r) = &raw.rate {
            self.sourced(r.span, &[&raw.source]);
        }
        for (_, p) in &raw.points {
            if let Some(m) = &p.minutes {
                self.sourced(m.span, &[&raw.source]);
            }
        }
        for (_, p) in &raw.parts {
            for n in [&p.is, &p.idle, &p.gives].into_iter().flatten() {
                if !named(&raw.values, &n.value) && starts_as_number(&n.value.0) {
                    self.sourced(n.span, &[&p.source, &raw.source]);
                }
            }
        }
        let before = self.problems.len();
        let (line, used) = self.build(raw, &[], bench);
        let whole = raw.parts.dropped().is_empty() && self.problems.len() == before;
        for (name, _) in &raw.values {
            if whole && !used.contains(name.as_str()) {
                self.push(
                    Problem::new(
                        Code::Unneeded,
                        name.span,
                        format!("no part has the value `{}`", name.value),
                    )
                    .help(format!(
                        "write `is: {}` at a part, or remove it",
                        name.value
                    )),
                );
            }
        }
        line
    }

    /// Turns a template into a line with some values given anew; also says which
    /// values were used.
    fn build<'r>(
        &mut self,
        raw: &'r RawLine,
        anew: &[Anew],
        bench: &Bench,
    ) -> (Line, HashSet<&'r str>) {
        let mut used = HashSet::new();
        let mut nodes = Nodes::default();
        nodes.index(&At {
            value: GROUND.into(),
            span: raw.line.span,
        });
        let mut parts = Vec::new();
        let mut whole = raw.parts.dropped().is_empty() && raw.points.dropped().is_empty();
        for (k, (id, p)) in raw.parts.iter().enumerate() {
            let next = raw
                .parts
                .get(k + 1)
                .map_or(u32::MAX, |(id, _)| id.span.start);
            let within = |s: Span| s.file == id.span.file && (id.span.end..next).contains(&s.start);
            let misspelt = |p: &Problem| p.code == Code::UnknownKey && p.span.is_some_and(within);
            if said(p).iter().all(|ends| ends.is_none()) && self.problems.iter().any(misspelt) {
                whole = false;
                continue;
            }
            whole &= self.part(raw, id, p, anew, &mut nodes, &mut parts, &mut used);
        }
        let mut points = Vec::new();
        for (id, p) in &raw.points {
            let at = p.at.as_ref().unwrap_or(id);
            let minutes = p
                .minutes
                .as_ref()
                .map_or(REACH, |m| self.range(m, 0.0, 1e3, "a time in minutes"));
            match nodes.names.iter().position(|n| *n == at.value) {
                None => {
                    let known = nodes.names.iter().map(String::as_str);
                    self.unknown("node", at, known);
                }
                Some(0) => self.push(
                    Problem::new(
                        Code::Mixed,
                        at.span,
                        "ground is what all else is measured against",
                    )
                    .help("take a point at another node"),
                ),
                Some(node) => {
                    nodes.at[node].push(at.span);
                    points.push(Point {
                        id: id.value.clone(),
                        name: p.name.value.clone(),
                        node,
                        minutes,
                    });
                }
            }
        }
        if whole {
            self.loose_ends(&nodes);
        }
        let mut unplugged = Vec::new();
        for (name, condition) in &raw.unplugged {
            let part = raw.parts.iter().find(|(id, _)| id.value == name.value);
            match part {
                Some((_, p)) if p.contact.is_some() => {}
                Some(_) => self.push(
                    Problem::new(
                        Code::Mixed,
                        name.span,
                        format!("`{}` is no contact and cannot be unplugged", name.value),
                    )
                    .help("name a part that is a `contact:`"),
                ),
                None => {
                    let contacts = raw.parts.iter().filter(|(_, p)| p.contact.is_some());
                    self.unknown(
                        "part of this line",
                        name,
                        contacts.map(|(id, _)| id.as_str()),
                    );
                }
            }
            let known = bench.conditions.iter().map(|c| c.id.as_str());
            let holds = bench
                .conditions
                .iter()
                .position(|c| c.id == condition.value);
            // Without a bench there is nothing to look the condition up in.
            if holds.is_none() && !bench.conditions.is_empty() {
                self.unknown("bench condition", condition, known);
            }
            let part = parts.iter().position(|q: &LinePart| q.id == name.value);
            unplugged.extend(part.zip(holds));
        }
        let rate = raw.rate.as_ref().map_or(0.0, |r| {
            amount::plain(&r.value.0, Unit::Hertz).unwrap_or_else(|t| {
                self.push(Problem::new(t.code, r.span, t.message).help(t.help));
                0.0
            })
        });
        let line = Line {
            id: raw.line.value.clone(),
            name: raw.line.value.replace('-', " "),
            about: raw.about.clone().unwrap_or_default(),
            nodes: nodes.names,
            parts,
            points,
            rate,
            scope: raw.scope.clone(),
            unplugged,
            faults: Vec::new(),
            siblings: Vec::new(),
            halves: self.halves(raw),
        };
        (line, used)
    }

    /// A node at which a single part ends is mostly a slip of the pen.
    fn loose_ends(&mut self, nodes: &Nodes) {
        let loose = |i: usize| nodes.at[i].len() == 1;
        for (i, at) in nodes.at.iter().enumerate().skip(1) {
            if let [only] = at[..] {
                let name = &nodes.names[i];
                let others = nodes.names.iter().filter(|n| *n != name);
                let near = nearest(name, others.clone().map(String::as_str));
                let twin = near.and_then(|n| nodes.names.iter().position(|m| m == n));
                if twin.is_some_and(|t| t > i && loose(t)) {
                    // Two spellings of one node: said at the second.
                    continue;
                }
                self.push(
                    Problem::new(
                        Code::LooseEnd,
                        only,
                        format!("nothing else is at the node `{name}`"),
                    )
                    .near(name, others.map(String::as_str))
                    .help(
                        "write the name of a node that other parts have too, or make it a point \
                         if a probe can be held there",
                    ),
                );
            }
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn part<'r>(
        &mut self,
        raw: &'r RawLine,
        id: &At<String>,
        p: &'r RawPart,
        anew: &[Anew],
        nodes: &mut Nodes,
        parts: &mut Vec<LinePart>,
        used: &mut HashSet<&'r str>,
    ) -> bool {
        let mut words: Vec<_> = WORDS
            .iter()
            .zip(said(p))
            .filter_map(|(w, ends)| ends.as_ref().map(|e| (w, e)))
            .collect();
        let takes_rail = |s: Sort| matches!(s, Sort::HostPin | Sort::Clamp);
        let rail = words
            .iter()
            .position(|(w, _)| w.sort == Sort::Rail)
            .filter(|_| words.iter().any(|(w, _)| takes_rail(w.sort)))
            .map(|i| words.remove(i).1);
        let Some((w, ends)) = words.first().copied() else {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    id.span,
                    format!("`{}` does not say what part it is", id.value),
                )
                .help(format!(
                    "write what it is and between which nodes, such as `resistor: [pad, bus]`; \
                     parts are {}",
                    WORDS.map(|w| w.word).join(", ")
                )),
            );
            return false;
        };
        if let Some((other, second)) = words.get(1) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    second.span,
                    format!("`{}` is both a {} and a {}", id.value, w.word, other.word),
                )
                .also(ends.span, "the first")
                .help("make two parts of it"),
            );
        }
        let stray = [
            (
                "idle",
                p.idle.as_ref().map(|n| n.span),
                w.sort == Sort::Rail,
            ),
            (
                "gives",
                p.gives.as_ref().map(|n| n.span),
                w.sort == Sort::Rail,
            ),
            (
                "junction",
                p.junction.as_ref().map(|n| n.span),
                w.sort == Sort::Rail,
            ),
            (
                "gate",
                p.gate.as_ref().map(|n| n.span),
                w.sort == Sort::Shifter,
            ),
            ("is", p.is.as_ref().map(|n| n.span), w.sort != Sort::Shifter),
        ];
        for (key, span, fitting) in stray {
            if let (Some(span), false) = (span, fitting) {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        span,
                        format!("`{key}` says nothing of a {}", w.word),
                    )
                    .help("take it out"),
                );
            }
        }
        let given = &ends.value.0;
        if !w.nodes.contains(&given.len()) {
            let (least, most) = (*w.nodes.start(), *w.nodes.end());
            let wants = match (least, most) {
                (1, 1) => "one node, such as `bus`".to_owned(),
                (1, _) => "one node, or two such as `[pad, bus]`".to_owned(),
                _ => "two nodes, such as `[pad, bus]`".to_owned(),
            };
            self.push(
                Problem::new(Code::Type, ends.span, format!("a {} takes {wants}", w.word)).help(
                    match given.len() {
                        1 => "write the node at its other end too",
                        _ => "write only the nodes that it lies between",
                    },
                ),
            );
            return false;
        }
        for n in given {
            self.name(n, false);
        }
        if given.len() == 2 && given[0].value == given[1].value {
            self.push(
                Problem::new(
                    Code::Mixed,
                    given[1].span,
                    format!("both ends of `{}` are at `{}`", id.value, given[1].value),
                )
                .help("a part lies between two nodes"),
            );
        }
        let mut at: Vec<usize> = given.iter().map(|n| nodes.index(n)).collect();
        if at.len() == 1 {
            at.push(0);
        }
        let (from, to) = (at[0], at[1]);
        let fitted = p.fitted.as_ref().map_or(1.0, |f| {
            self.sourced(f.span, &[&p.source, &raw.source]);
            self.fitted(f, w)
        });
        let mut source = [&p.source, &raw.source]
            .into_iter()
            .find_map(|s| s.as_ref())
            .map_or_else(|| USUAL.to_owned(), |s| s.value.clone());
        let mut value = |v: &mut Self, n: &'r Option<At<Amount>>, unit: Unit, usual: &str| {
            let known = match n {
                None => usual_value(usual, unit),
                Some(n) => {
                    if let Some(a) = anew.iter().find(|a| a.get(&n.value.0).is_some()) {
                        source = a.source.unwrap_or(USUAL).to_owned();
                    }
                    let several = matches!(w.sort, Sort::Rail | Sort::Path)
                        && p.is.as_ref().is_some_and(|is| std::ptr::eq(is, n));
                    v.value(raw, n, unit, several, anew, used)
                }
            };
            // What could not be read has been reported; anything will do.
            known.unwrap_or(Known::within(1.0, 50.0))
        };
        let is = value(self, &p.is, w.sort.unit(), w.usual);
        let idle = value(self, &p.idle, Unit::Ohm, "500 ohm to 50 kohm");
        let gives = value(self, &p.gives, Unit::Ampere, "1 A");
        let alone = |n: &At<Amount>| n.value.0.trim() == "none";
        let feeds = (!p.junction.as_ref().is_some_and(alone))
            .then(|| value(self, &p.junction, Unit::Volt, FED));
        let kinds = match (w.sort, &p.is) {
            (Sort::Rail | Sort::Path, Some(n)) => self.kinds(raw, n, w.sort.unit(), anew),
            _ => Vec::new(),
        };
        if w.usual.is_empty() && p.is.is_none() && w.sort != Sort::Shifter {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    id.span,
                    format!("the {} `{}` has no value", w.word, id.value),
                )
                .help(format!("add `is:` such as {}", w.sort.unit().example())),
            );
        }
        let protects = p.protects.unwrap_or(w.protects);
        let name = p.name.clone().unwrap_or_else(|| id.value.replace('-', " "));
        let mut put = |more: &str, kind: PartKind, from: usize, to: usize| {
            parts.push(LinePart {
                id: format!("{}{more}", id.value),
                name: name.clone(),
                kind,
                duty: w.duty,
                from,
                to,
                protects,
                fitted,
                kinds: Vec::new(),
                source: source.clone(),
            });
        };
        match w.sort {
            Sort::Path => put("", PartKind::Path(is), from, to),
            Sort::Switch => put("", PartKind::Switch(is), from, to),
            Sort::DataSwitch => {
                put("", PartKind::Switch(is), from, to);
                if let Some(clamp) = usual_value(DATA_SWITCH_PIN, Unit::Volt) {
                    put(".pin", PartKind::Junction(clamp), 0, from);
                }
            }
            Sort::Diode => put("", PartKind::Junction(is), from, to),
            Sort::Capacitor => put("", PartKind::Capacitor(is), from, to),
            Sort::Clamp | Sort::HostPin => {
                put("", PartKind::Junction(is), 0, from);
                if let Some(rail) = rail {
                    match &rail.value.0[..] {
                        [one] => {
                            let upper = nodes.index(one);
                            put(".upper", PartKind::Junction(is), from, upper);
                        }
                        _ => self.push(
                            Problem::new(
                                Code::Type,
                                rail.span,
                                format!("a {} leads to one rail", w.word),
                            )
                            .help("write the node of that supply, such as `rail: io`"),
                        ),
                    }
                }
                if w.sort == Sort::HostPin {
                    let leak = Known::between(1e6, 100e6);
                    put(".leak", PartKind::Path(leak), from, 0);
                }
            }
            Sort::Rail => {
                let kind = PartKind::Rail {
                    volts: is,
                    amps: gives.typical,
                    idle,
                };
                put("", kind, from, 0);
                if let Some(k) = feeds {
                    put(".lower", PartKind::Junction(k), 0, from);
                }
                // It is the pins of all that the supply feeds.
                if let Some(part) = parts.last_mut().filter(|p| p.is_piece()) {
                    part.duty = Pins;
                }
            }
            Sort::Shifter => match &p.gate {
                Some(gate) => {
                    let gate = nodes.index(gate);
                    put("", PartKind::Shifter { gate }, from, to);
                }
                None => {
                    self.push(
                        Problem::new(
                            Code::MissingKey,
                            id.span,
                            format!("the shifter `{}` does not say where its gate is", id.value),
                        )
                        .help("add `gate:` with the node of the lower supply"),
                    );
                    return false;
                }
            },
        }
        if let Some(part) = parts.iter_mut().find(|p| p.id == id.value) {
            part.kinds = kinds;
        }
        true
    }

    /// Share of all boards that have a part which others do without.
    fn fitted(&mut self, f: &At<f64>, w: &Word) -> f64 {
        let may_lack = matches!(
            w.duty,
            Clamps | Smooths | PullsUp | PullsDown | OneWay | Pins
        );
        if !may_lack && !matches!(w.word, "thermistor" | "data-switch") {
            self.push(
                Problem::new(
                    Code::Mixed,
                    f.span,
                    format!("a {} cannot be left out of a line", w.word),
                )
                .help(
                    "only clamps, capacitors, diodes, pull-ups, pull-downs, thermistors, data switches \
                     and pins of chips may be left out; take `fitted` out",
                ),
            );
        }
        let share = self.probability(f, "a share");
        if share == 0.0 {
            self.push(
                Problem::new(Code::Range, f.span, "a part that no board has")
                    .help("take the part out"),
            );
            return 1.0;
        }
        share
    }

    /// The values of a part of which there are several kinds, or of a supply that is
    /// set to one of several levels, each with its chance: the first is the usual
    /// one, the others share the rest.
    fn kinds(
        &mut self,
        raw: &RawLine,
        n: &At<Amount>,
        unit: Unit,
        anew: &[Anew],
    ) -> Vec<(f64, Known)> {
        let name = n.value.0.trim();
        let given = anew.iter().find_map(|a| a.get(name));
        let own = raw.values.iter().find(|(id, _)| id.value == name);
        let amount = given.or(own.map(|(_, a)| a)).unwrap_or(n);
        let all: Vec<&str> = amount.value.0.split(" or ").collect();
        if all.len() < 2 {
            return Vec::new();
        }
        let rest = (1.0 - USUAL_KIND) / (all.len() - 1) as f64;
        let mut out = Vec::new();
        for (i, text) in all.into_iter().enumerate() {
            match amount::known(text, unit, TOLERANCE) {
                Ok(k) => out.push((if i == 0 { USUAL_KIND } else { rest }, k)),
                // The first has been looked at.
                Err(_) if i == 0 => {}
                Err(t) => self.push(Problem::new(t.code, amount.span, t.message).help(t.help)),
            }
        }
        out
    }

    /// A value that a part has: by name, given anew or not, or as it stands. The
    /// first of `several`, if the part may have several.
    fn value<'r>(
        &mut self,
        raw: &'r RawLine,
        n: &'r At<Amount>,
        unit: Unit,
        several: bool,
        anew: &[Anew],
        used: &mut HashSet<&'r str>,
    ) -> Option<Known> {
        let name = n.value.0.trim();
        let by_name = raw.values.iter().find(|(id, _)| id.value == name);
        if let Some((id, _)) = by_name {
            used.insert(id.as_str());
        }
        let given = anew.iter().find_map(|a| a.get(name));
        let amount = match (given, by_name) {
            (Some(a), _) | (None, Some((_, a))) => a,
            (None, None) if starts_as_number(name) => n,
            (None, None) => {
                if !raw.values.dropped().iter().any(|d| d == name) {
                    let known = raw.values.iter().map(|(id, _)| id.as_str());
                    self.unknown("value of this line", &n.with(name.to_owned()), known);
                }
                return None;
            }
        };
        let text = amount.value.0.as_str();
        // A forward voltage is stated at 1 mA, and may say so.
        let text = match several {
            true => text.split(" or ").next().unwrap_or(text),
            false => text,
        };
        let text = match unit {
            Unit::Volt => text.trim().trim_end_matches("at 1 mA"),
            _ => text,
        };
        let usual = if unit == Unit::Farad { 20.0 } else { TOLERANCE };
        match amount::known(text, unit, usual) {
            Err(t) if text.contains(" or ") => {
                self.push(Problem::new(t.code, amount.span, t.message).help(
                    "only supplies, and what conducts both ways, may have one of several \
                         values; write it from and to",
                ));
                None
            }
            Ok(k) => Some(k),
            Err(t) => {
                let mut problem = Problem::new(t.code, amount.span, t.message).help(t.help);
                if amount.span != n.span && amount.span.file == n.span.file {
                    problem = problem.also(n.span, "used here");
                }
                self.push(problem);
                None
            }
        }
    }

    /// The lines of a pack, each a template with some values given anew and
    /// what the faults of the pack do to it.
    pub(super) fn lines(
        &mut self,
        raw: &RawPack,
        items: &Names,
        pack: &Pack,
        kinds: &[&RawLine],
        bench: &Bench,
    ) -> Vec<Line> {
        self.names("line", &raw.lines);
        let mut out = Vec::new();
        for (id, u) in &raw.lines {
            let Some(kind) = kinds.iter().find(|k| k.line.value == u.line.value) else {
                let known = kinds.iter().map(|k| k.line.as_str());
                self.unknown("line template", &u.line, known);
                self.loose = true;
                // Keeps its place, with no node for anything to be at.
                out.push(Line::default());
                continue;
            };
            let sources = [&u.source, &raw.source];
            self.given(kind, &u.with, &sources);
            let line = self.anew(kind, &[with(&u.with, &sources)], bench);
            let mut line = Line {
                id: id.value.clone(),
                name: u.name.value.clone(),
                ..line
            };
            line.faults = self.effects(&u.faults, kind, &line, items, pack, &sources);
            if u.faults.is_empty() && u.faults.dropped().is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        id.span,
                        format!("no fault of the pack is on line `{}`", id.value),
                    )
                    .help("say under `faults:` what the faults of the pack do to it, such as `contact.open: open contact`"),
                );
            }
            if !u.faults.dropped().is_empty() {
                self.loose = true;
            }
            out.push(line);
        }
        self.siblings(raw, &mut out);
        out
    }

    /// Values given anew have to be there, and rest on something.
    fn given(
        &mut self,
        kind: &RawLine,
        values: &Entries<At<Amount>>,
        sources: &[&Option<At<String>>],
    ) {
        for (name, v) in values {
            self.sourced(v.span, sources);
            if !named(&kind.values, &Amount(name.value.clone())) {
                let known = kind.values.iter().map(|(id, _)| id.as_str());
                self.unknown("value of this line", name, known);
            }
        }
    }

    /// The pack that a device speaks of, as written and as typed.
    fn pack_meant<'f>(
        &mut self,
        name: &At<String>,
        files: &'f [AnyFile],
        packs: &'f [Pack],
    ) -> Option<(&'f RawPack, &'f Pack)> {
        let written = files.iter().find_map(|f| match f {
            AnyFile::Pack(p) if p.pack.value == name.value => Some(p),
            _ => None,
        });
        let typed = packs.iter().find(|p| p.id == name.value);
        if written.is_none() || typed.is_none() {
            self.unknown("pack", name, packs.iter().map(|p| p.id.as_str()));
        }
        written.zip(typed)
    }

    /// The line of a pack that a device speaks of, with its place.
    fn line_meant<'f>(
        &mut self,
        id: &At<String>,
        written: &'f RawPack,
    ) -> Option<(usize, &'f RawUse)> {
        let at = written.lines.iter().position(|(l, _)| l.value == id.value);
        if at.is_none() && !written.lines.dropped().contains(&id.value) {
            let known = written.lines.iter().map(|(l, _)| l.as_str());
            self.unknown("line", id, known);
        }
        at.map(|at| (at, &written.lines[at].1))
    }

    /// Lines of packs with the values that they have on one device.
    pub(super) fn device_lines(
        &mut self,
        raw: &RawDevice,
        files: &[AnyFile],
        packs: &[Pack],
        kinds: &[&RawLine],
        bench: &Bench,
    ) -> Vec<(String, Line)> {
        self.unread.clear();
        let mut out = Vec::new();
        for (name, lines) in &raw.lines {
            let Some((written, typed)) = self.pack_meant(name, files, packs) else {
                continue;
            };
            for (id, values) in lines {
                let Some((at, u)) = self.line_meant(id, written) else {
                    continue;
                };
                let Some(kind) = kinds.iter().find(|k| k.line.value == u.line.value) else {
                    continue;
                };
                let own = [&raw.source];
                let sources = [&u.source, &written.source];
                self.given(kind, values, &own);
                let anew = [with(values, &own), with(&u.with, &sources)];
                let mut line = self.anew(kind, &anew, bench);
                if let Some(of_pack) = typed.lines.get(at) {
                    line.id = of_pack.id.clone();
                    line.name = of_pack.name.clone();
                    line.faults = of_pack.faults.clone();
                    line.siblings = of_pack.siblings.clone();
                    out.push((name.value.clone(), line));
                }
            }
        }
        out
    }

    /// Lines of packs that are built otherwise on one device. What the pack's
    /// faults do is taken over, but for those that do something else here.
    pub(super) fn wired(
        &mut self,
        raw: &RawDevice,
        files: &[AnyFile],
        packs: &[Pack],
        kinds: &[&RawLine],
        bench: &Bench,
    ) -> Vec<(String, Line)> {
        self.unread.clear();
        let mut out = Vec::new();
        for (name, lines) in &raw.wired {
            let Some((written, typed)) = self.pack_meant(name, files, packs) else {
                continue;
            };
            let items = item_names(written);
            for (id, w) in lines {
                let own = [&raw.source];
                let Some((at, u)) = self.line_meant(id, written) else {
                    continue;
                };
                let Some(of_pack) = typed.lines.get(at) else {
                    continue;
                };
                let Some(kind) = kinds.iter().find(|k| k.line.value == w.line.value) else {
                    let known = kinds.iter().map(|k| k.line.as_str());
                    self.unknown("line template", &w.line, known);
                    continue;
                };
                if let Some((twice, _)) = raw
                    .lines
                    .iter()
                    .filter(|(p, _)| p.value == name.value)
                    .flat_map(|(_, lines)| lines.iter())
                    .find(|(l, _)| l.value == id.value)
                {
                    self.push(
                        Problem::new(
                            Code::Mixed,
                            twice.span,
                            format!("line `{}` stands under `lines` and under `wired`", id.value),
                        )
                        .also(id.span, "here too")
                        .help("give its values under `with:` where it is `wired`"),
                    );
                }
                self.given(kind, &w.with, &own);
                let mut line = self.anew(kind, &[with(&w.with, &own)], bench);
                line.id = of_pack.id.clone();
                line.name = of_pack.name.clone();
                // Tests know points by their place in the pack's line.
                let mut points = Vec::new();
                for p in &of_pack.points {
                    match line.points.iter().position(|q| q.id == p.id) {
                        Some(at) => points.push(line.points.remove(at)),
                        None => self.push(
                            Problem::new(
                                Code::UnknownName,
                                w.line.span,
                                format!("a {} has no point `{}`", w.line.value, p.id),
                            )
                            .help(format!(
                                "the tests of pack `{}` measure this line at {}: give the \
                                 template these points",
                                typed.id,
                                of_pack
                                    .points
                                    .iter()
                                    .map(|p| format!("`{}`", p.id))
                                    .collect::<Vec<_>>()
                                    .join(", ")
                            )),
                        ),
                    }
                }
                points.append(&mut line.points);
                line.points = points;
                let mut faults = self.effects(&w.faults, kind, &line, &items, typed, &own);
                let taken = self.taken_over(&u.faults, kind, &line, &items, typed);
                let elsewhere = |f: PackFault| faults.iter().any(|e| e.fault == f);
                let left: Vec<Effect> = (taken.into_iter())
                    .filter(|e| !elsewhere(e.fault))
                    .collect();
                let lost = of_pack.faults.iter().map(|e| e.fault).find(|f| {
                    let count = |of: &[Effect]| of.iter().filter(|e| e.fault == *f).count();
                    let listed = !typed.is_unlisted(*f);
                    listed && !elsewhere(*f) && count(&left) < count(&of_pack.faults)
                });
                if let Some(f) = lost.filter(|_| kind.parts.dropped().is_empty()) {
                    self.push(
                        Problem::new(
                            Code::UnknownName,
                            w.line.span,
                            format!(
                                "what `{}` does to the line of the pack names what a {} does not have",
                                typed.fault_id(f),
                                w.line.value
                            ),
                        )
                        .help("say under `faults:` what it does here"),
                    );
                }
                faults.extend(left);
                let strange = of_pack.faults.iter().filter(|e| e.harm == Harm::Strange);
                faults.extend(strange);
                faults.sort_by_key(|e| e.fault);
                line.faults = faults;
                out.push((name.value.clone(), line));
            }
        }
        out
    }

    /// What the faults of a pack do to another template than its own, as far as
    /// that has the parts; its numbers have been counted.
    fn taken_over(
        &mut self,
        faults: &Entries<At<Harms>>,
        kind: &RawLine,
        line: &Line,
        items: &Names,
        pack: &Pack,
    ) -> Vec<Effect> {
        let (before, loose, tally) = (self.problems.len(), self.loose, self.tally);
        let effects = self.effects(faults, kind, line, items, pack, &[]);
        self.problems.truncate(before);
        (self.loose, self.tally) = (loose, tally);
        effects
    }

    /// A template with values given anew, the nearest first. What is wrong with the template itself
    /// has been said.
    fn anew(&mut self, kind: &RawLine, anew: &[Anew], bench: &Bench) -> Line {
        let (before, loose) = (self.problems.len(), self.loose);
        let (line, _) = self.build(kind, anew, bench);
        let new = self.problems.split_off(before);
        let own = anew.iter().take(1).flat_map(|a| a.values);
        let own: Vec<Span> = own.map(|(_, v)| v.span).collect();
        let mut seen = HashSet::new();
        for p in new {
            let here = |s: Span| own.contains(&s);
            if let Some(s) = p.span.filter(|s| here(*s))
                && seen.insert(s)
            {
                self.problems.push(p);
            }
        }
        self.loose = loose;
        line
    }

    fn effects(
        &mut self,
        faults: &Entries<At<Harms>>,
        kind: &RawLine,
        line: &Line,
        items: &Names,
        pack: &Pack,
        sources: &[&Option<At<String>>],
    ) -> Vec<Effect> {
        let mut out: Vec<Effect> = Vec::new();
        // A single fault beside its whole item refines it.
        let single: HashSet<PackFault> = faults
            .iter()
            .filter(|(t, _)| t.contains('.'))
            .flat_map(|(t, _)| resolve(t, items, pack))
            .collect();
        for (target, harms) in faults {
            let found = resolve(target, items, pack);
            if found.is_empty() {
                self.unknown_fault(target, items, pack, []);
            }
            if harms.0.is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        harms.span,
                        format!("`{}` does nothing to the line", target.value),
                    )
                    .help("write what it does, such as `open contact`, or take it out"),
                );
            }
            let mut total = 0.0;
            for (text, chance) in &harms.0 {
                let p = match chance {
                    None => 1.0,
                    Some(n) => {
                        self.sourced(n.span, sources);
                        self.probability(n, "a chance")
                    }
                };
                total += chance
                    .as_ref()
                    .map_or(1.0, |n| if n.value > 1.0 { 0.0 } else { n.value });
                let Some(harm) = self.harm(text, kind, line) else {
                    self.loose = true;
                    continue;
                };
                let before: HashSet<PackFault> = out.iter().map(|e| e.fault).collect();
                let more = found.iter().filter(|f| !before.contains(f)).count();
                if before.len() <= MOST_FAULTS && before.len() + more > MOST_FAULTS {
                    self.push(
                        Problem::new(
                            Code::Range,
                            target.span,
                            format!("more than {MOST_FAULTS} faults on one line"),
                        )
                        .label("the first one too many")
                        .help("leave out those that do next to nothing to it"),
                    );
                }
                for f in &found {
                    if (target.contains('.') || !single.contains(f)) && p > 0.0 {
                        out.push(Effect {
                            fault: *f,
                            harm,
                            chance: p,
                        });
                    }
                }
            }
            if total > 1.0 + 1e-9 && harms.0.len() > 1 {
                self.push(
                    Problem::new(
                        Code::Range,
                        harms.span,
                        format!(
                            "the chances of what `{}` does add up to {:.2}",
                            target.value, total
                        ),
                    )
                    .help("it does one of these things or none: at most 1 in all"),
                );
            }
        }
        out.sort_by_key(|e| e.fault);
        out
    }

    /// `open contact`, `short bus to ground`, `leaky clamp`, `fed land`.
    fn harm(&mut self, text: &At<String>, kind: &RawLine, line: &Line) -> Option<Harm> {
        const VERBS: [&str; 8] = [
            "open",
            "off",
            "short",
            "leaky",
            "resistive",
            "damaged",
            "above",
            "fed",
        ];
        let words: Vec<&str> = text.split_whitespace().collect();
        let (verb, what, to) = match words[..] {
            [verb, what] => (verb, what, None),
            [verb, what, "to", other] => (verb, what, Some(other)),
            _ => {
                self.push(
                    Problem::new(
                        Code::Type,
                        text.span,
                        format!("`{}` does not say what happens to the line", text.value),
                    )
                    .help(
                        "write `open`, `off`, `short`, `leaky`, `resistive`, `damaged` or `above` and a \
                         part, or `short NODE to ground`, `short NODE to NODE`, `leaky NODE to \
                         ground`, `fed NODE`",
                    ),
                );
                return None;
            }
        };
        let place = |w: &str| At {
            value: w.to_owned(),
            span: self.inside(text, w),
        };
        let (verb_at, what_at, to_at) = (place(verb), place(what), to.map(place));
        if !VERBS.contains(&verb) {
            self.push(
                Problem::new(
                    Code::UnknownName,
                    verb_at.span,
                    format!("nothing happens to a line that is called `{verb}`"),
                )
                .near(verb, VERBS)
                .help(format!("write one of {}", VERBS.join(", "))),
            );
            return None;
        }
        let written = || kind.parts.iter().map(|(id, _)| id.as_str());
        let part = |name: &str| {
            written().find(|p| *p == name)?;
            line.parts.iter().position(|p| p.id == name)
        };
        let node = |name: &str| line.nodes.iter().position(|n| n == name);
        let nodes = || line.nodes.iter().map(String::as_str);
        let unread = |name: &str| kind.parts.dropped().iter().any(|d| d == name);
        if unread(what) {
            return None;
        }
        match (verb, to_at) {
            ("short" | "leaky", Some(other)) => {
                let (a, b) = (node(what), node(&other));
                if a.is_none() {
                    self.unknown("node of this line", &what_at, nodes());
                }
                if b.is_none() {
                    self.unknown("node of this line", &other, nodes());
                }
                let (a, b) = (a?, b?);
                let (low, high) = (a.min(b), a.max(b));
                match (verb, low) {
                    _ if low == high => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                other.span,
                                format!("`{what}` is the same node at both ends"),
                            )
                            .help("name two nodes, or one and `ground`"),
                        );
                        None
                    }
                    ("leaky", 0) => Some(Harm::LeakyNode(high)),
                    ("leaky", _) => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                other.span,
                                "a node leaks to `ground`, or a part leaks",
                            )
                            .help(format!(
                                "write `leaky {what} to ground`, or `leaky` and a part"
                            )),
                        );
                        None
                    }
                    (_, 0) => Some(Harm::Grounded(high)),
                    _ => Some(Harm::Joined(low, high)),
                }
            }
            (_, Some(other)) => {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        other.span,
                        format!("`{verb}` takes one part, with no `to`"),
                    )
                    .help(format!("write `{verb}` and the name of a part")),
                );
                None
            }
            ("fed", None) => {
                let fed = node(what).filter(|n| *n > 0);
                if fed.is_none() {
                    self.unknown("node of this line", &what_at, nodes());
                }
                fed.map(Harm::Fed)
            }
            (_, None) => {
                let Some(i) = part(what) else {
                    if node(what).is_some() && matches!(verb, "short" | "leaky") {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` is a node, not a part"),
                            )
                            .help(format!("write `{verb} {what} to ground`")),
                        );
                    } else {
                        self.unknown("part of this line", &what_at, written());
                    }
                    return None;
                };
                let kind = &line.parts[i].kind;
                match verb {
                    "open" => Some(Harm::Open(i)),
                    "off" if matches!(kind, PartKind::Switch(_) | PartKind::Rail { .. }) => {
                        Some(Harm::Off(i))
                    }
                    "off" => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` is nothing that is switched on"),
                            )
                            .help("supplies and load switches may be `off`; write `open` here"),
                        );
                        None
                    }
                    "above" if matches!(kind, PartKind::Rail { .. }) => Some(Harm::Above(i)),
                    "above" => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` has no level that it could be above"),
                            )
                            .help(
                                "supplies may be `above` their level; write `fed` and a node here",
                            ),
                        );
                        None
                    }
                    "damaged" if matches!(kind, PartKind::Junction(_)) => Some(Harm::Damaged(i)),
                    "damaged" => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` has no junction that could be damaged"),
                            )
                            .help("clamps, diodes and pins of chips may be `damaged`; write `open`, `leaky` or `resistive` here"),
                        );
                        None
                    }
                    "short" => Some(Harm::Short(i)),
                    "leaky" => Some(Harm::Leaky(i)),
                    _ if matches!(
                        kind,
                        PartKind::Path(_) | PartKind::Switch(_) | PartKind::Rail { .. }
                    ) =>
                    {
                        Some(Harm::Resistive(i))
                    }
                    _ => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` has no resistance that could be too high"),
                            )
                            .help("contacts, joints, traces, resistors and the like become resistive; write `open` or `leaky` here"),
                        );
                        None
                    }
                }
            }
        }
    }

    /// Where a word stands in a text.
    fn inside(&self, text: &At<String>, word: &str) -> Span {
        let Span { file, start, end } = text.span;
        let written = self
            .files
            .get(file as usize)
            .and_then(|f| f.text.get(start as usize..end as usize))
            .unwrap_or("");
        let sign = |c: char| !(c.is_alphanumeric() || c == '-' || c == '_');
        let at = written.match_indices(word).map(|(i, _)| i).find(|i| {
            let (before, after) = (&written[..*i], &written[i + word.len()..]);
            before.chars().next_back().is_none_or(sign) && after.chars().next().is_none_or(sign)
        });
        match at {
            Some(i) => Span {
                file,
                start: start + i as u32,
                end: start + (i + word.len()) as u32,
            },
            None => text.span,
        }
    }

    /// A test that measures a line.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn measurement(
        &mut self,
        id: &At<String>,
        t: &RawTest,
        m: &RawMeasures,
        raw: &RawPack,
        scope: &Scope,
        bench: &Bench,
    ) -> Option<Test> {
        let sources = [&t.source, &raw.source];
        let other = [
            ("tries", t.tries.as_ref().map(|n| n.span)),
            ("shows", t.shows.first().map(|o| o.0.span)),
            ("swaps-in", t.swaps_in.as_ref().map(|n| n.span)),
            ("lends", t.lends.as_ref().map(|n| n.span)),
            ("without", t.without.first().map(|n| n.span)),
            ("leak", t.leak.as_ref().map(|n| n.span)),
            ("unit", t.unit.as_ref().map(|n| n.span)),
        ];
        if let Some((key, Some(span))) = other.into_iter().find(|o| o.1.is_some()) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    span,
                    format!("test `{}` has both `measures` and `{key}`", id.value),
                )
                .help("what a line reads, healthy or not, follows from the line itself; make two tests of it"),
            );
        }
        let mode = MeterMode::ALL.iter().find(|(w, _)| *w == m.mode.value);
        if mode.is_none() {
            self.unknown("meter mode", &m.mode, MeterMode::ALL.map(|(w, _)| w));
        }
        let lines = &scope.pack.lines;
        let at = raw.lines.iter().position(|(n, _)| n.value == m.line.value);
        let Some(at) = at else {
            if !raw.lines.dropped().contains(&m.line.value) {
                self.unknown("line", &m.line, raw.lines.iter().map(|(n, _)| n.as_str()));
            }
            self.loose = true;
            return None;
        };
        // Of a line without a template nothing is known.
        let line = lines.get(at).filter(|l| !l.nodes.is_empty())?;
        let point = line.points.iter().position(|p| p.id == m.at.value);
        if point.is_none() {
            let known = line.points.iter().map(|p| p.id.as_str());
            self.unknown("point of this line", &m.at, known);
            self.loose = true;
        }
        let mut step = self.step(
            id,
            &t.minutes,
            &None,
            &t.conditions,
            &t.cautions,
            &t.tools,
            &t.explain,
            &sources,
            bench,
        );
        let (mode, point) = (mode?.1, point?);
        if t.minutes.is_none() {
            step.minutes = line.points[point].minutes;
        }
        let needed = match mode {
            MeterMode::Volts => POWERED,
            MeterMode::Diode | MeterMode::Ohms => UNPOWERED,
        };
        let full = bench.closure(&step.conditions);
        if self.complete && full.iter().all(|c| bench.conditions[*c].id != needed) {
            self.push(
                Problem::new(
                    Code::NoCondition,
                    id.span,
                    format!(
                        "`{}` measures {}, which demands the condition `{needed}`",
                        id.value,
                        match mode {
                            MeterMode::Volts => "volts",
                            MeterMode::Diode => "in diode mode",
                            MeterMode::Ohms => "ohms",
                        }
                    ),
                )
                .help(format!("add `{needed}` to its `conditions:`")),
            );
        }
        let reliability = t.reliability.as_ref().map_or(RELIABILITY, |r| {
            self.sourced(r.span, &sources);
            self.no_guess(r);
            self.probability(r, "a reliability")
        });
        let kind = match &t.kind {
            None => Kind::Measure,
            Some(k) => match Kind::ALL.iter().find(|(w, _)| *w == k.value) {
                Some((_, kind)) => *kind,
                None => {
                    self.unknown("kind of test", k, Kind::ALL.map(|(w, _)| w));
                    Kind::Measure
                }
            },
        };
        let ask = t.ask.as_ref().map(|a| a.value.as_str());
        let ask = line.question(point, mode, ask);
        Some(Test {
            id: id.value.clone(),
            ask,
            kind,
            how: How::Measures {
                line: at,
                point,
                mode,
            },
            unit: Some(mode.unit().to_owned()),
            reliability,
            mistaken: Vec::new(),
            step,
            only_on: texts(&t.only_on),
            only_for: self.only_for(t, raw),
            after: Vec::new(),
            raises: self.signs(t, &[], bench),
        })
    }
}

/// Values given anew, with the nearest of their sources.
fn with<'a>(values: &'a Entries<At<Amount>>, sources: &[&'a Option<At<String>>]) -> Anew<'a> {
    let source = sources.iter().find_map(|s| s.as_ref());
    Anew {
        values,
        source: source.map(|s| s.value.as_str()),
    }
}

/// Whether one of the values is called so.
fn named(values: &Entries<At<Amount>>, name: &Amount) -> bool {
    values.iter().any(|(id, _)| id.value == name.0.trim())
}

/// Whether a text is meant as a value, not as the name of one.
fn starts_as_number(text: &str) -> bool {
    text.trim()
        .starts_with(|c: char| c.is_ascii_digit() || ".-+".contains(c))
}

fn usual_value(usual: &str, unit: Unit) -> Option<Known> {
    amount::known(usual, unit, 50.0).ok()
}
