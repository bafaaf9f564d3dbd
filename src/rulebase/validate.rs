//! From the raw form to the typed one, collecting every problem.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use petgraph::algo::{tarjan_scc, toposort};
use petgraph::graph::{DiGraph, NodeIndex};

mod alike;
mod gates;
mod lines;
mod meters;
mod mistaken;

use super::decode::Entries;
use super::line::{Line, PackFault};
use super::meter::{MeterMode, MeterProfile};
use super::pattern::{Pattern, PatternError, Words};
use super::problem::{Code, Problem};
use super::raw::*;
use super::source::{At, SourceFile, Span};
use super::typed::*;
use crate::bench::{Bench, Caution, Condition, Demand};
use crate::shown::number;

/// Chance that a fault breaks a need at one try, where nothing is said.
const BREAKS: f64 = 0.98;
/// Chance that a result is right, where nothing is said.
const RELIABILITY: f64 = 0.97;
/// Minutes of a step where nothing is said.
const MINUTES: f64 = 5.0;

/// Turns the raw files into a rule base; `complete` says that none is missing
/// that others may refer to. Whatever is wrong is added to
/// `problems`; the rule base is complete only if nothing was.
pub(super) fn validate(
    raw: &[AnyFile],
    files: &[SourceFile],
    complete: bool,
    problems: &mut Vec<Problem>,
) -> Rulebase {
    let mut v = Validator {
        files,
        problems,
        tally: SourceTally::default(),
        complete,
        unread: HashSet::new(),
        loose: false,
        usual: Vec::new(),
        words: Words::default(),
    };
    let mut bench = Bench::default();
    let mut past = Vec::new();
    let mut hazards = Vec::new();
    for f in raw {
        if let AnyFile::Bench(b) = f {
            v.name_words(&b.words);
            for (id, h) in &b.history {
                past.push((id.value.clone(), v.patterns(&h.hear)));
            }
            for (_, g) in &b.gates {
                hazards.push(v.patterns(&g.hear));
            }
            v.bench(b, &mut bench);
            v.usual_mistakes(b);
            v.gates(b, &mut bench);
        }
    }
    let mut kinds: Vec<&RawLine> = Vec::new();
    let mut templates: Vec<Line> = Vec::new();
    let mut seen: HashMap<&str, Span> = HashMap::new();
    for f in raw {
        if let AnyFile::Line(l) = f {
            if let Some(first) = seen.insert(&l.line.value, l.line.span) {
                v.duplicate("line", &l.line, first);
                continue;
            }
            templates.push(v.template(l, &bench));
            kinds.push(l);
        }
    }
    let mut meters: Vec<MeterProfile> = Vec::new();
    for f in raw {
        if let AnyFile::Meters(m) = f {
            v.meters(m, &mut meters);
        }
    }
    let mut packs: Vec<Pack> = Vec::new();
    let mut seen: HashMap<&str, Span> = HashMap::new();
    for f in raw {
        if let AnyFile::Pack(p) = f {
            if let Some(first) = seen.insert(&p.pack.value, p.pack.span) {
                v.duplicate("pack", &p.pack, first);
                continue;
            }
            let shared = v.words.clone();
            v.name_words(&p.words);
            packs.push(v.pack(p, &bench, &kinds));
            v.words = shared;
        }
    }
    let mut devices = Vec::new();
    let mut seen: HashMap<&str, Span> = HashMap::new();
    for f in raw {
        if let AnyFile::Device(d) = f {
            if let Some(first) = seen.insert(&d.device.value, d.device.span) {
                v.duplicate("device", &d.device, first);
                continue;
            }
            devices.push(v.device(d, &packs));
            if let Some(device) = devices.last_mut() {
                device.lines = v.wired(d, raw, &packs, &kinds, &bench);
                let more = v.device_lines(d, raw, &packs, &kinds, &bench);
                device.lines.extend(more);
                device.good = v.good_readings(d, &packs, &meters);
            }
        }
    }
    if complete {
        v.only_on(raw);
    }
    v.gather_unsourced();
    let sources = v.tally;
    Rulebase {
        packs,
        templates,
        meters,
        devices,
        bench,
        past,
        hazards,
        sources,
        fingerprint: String::new(),
        without: Vec::new(),
    }
}

/// The kinds of device that exist.
pub const DEVICE_KINDS: [&str; 5] = ["phone", "tablet", "laptop", "handheld", "board"];

struct Validator<'a> {
    files: &'a [SourceFile],
    problems: &'a mut Vec<Problem>,
    tally: SourceTally,
    /// No file is missing that others may refer to.
    complete: bool,
    /// Names whose entries could not be read; a problem is known for each.
    unread: HashSet<String>,
    /// Links of the pack at hand are known to be incomplete, so that what they
    /// leave out says nothing.
    loose: bool,
    /// What the benches say of mistakes.
    usual: Vec<mistaken::Usual>,
    /// Lists of words that patterns may name.
    words: Words,
}

/// The most conditions that a bench can have.
const MOST_CONDITIONS: usize = crate::bench::MOST_CONDITIONS;

/// Names of one kind within a pack, with their places.
type Names<'a> = HashMap<&'a str, (usize, Span)>;

/// What names in a pack can stand for, while it is being built.
struct Scope<'a> {
    items: Names<'a>,
    functions: Names<'a>,
    pack: &'a Pack,
}

impl Validator<'_> {
    fn push(&mut self, p: Problem) {
        self.loose |= matches!(
            p.code,
            Code::Cycle | Code::NoOutcome | Code::Mixed | Code::MissingKey | Code::Duplicate
        );
        self.problems.push(p);
    }

    fn duplicate(&mut self, what: &str, name: &At<String>, first: Span) {
        self.push(
            Problem::new(
                Code::Duplicate,
                name.span,
                format!("{what} `{}` is defined twice", name.value),
            )
            .label("the second one")
            .also(first, "the first one")
            .help("give one of them another name, or remove it"),
        );
    }

    /// One problem per file for all its numbers without a source, which one
    /// line can mend.
    fn gather_unsourced(&mut self) {
        let all = std::mem::take(self.problems);
        let (mut bare, mut rest): (Vec<Problem>, Vec<Problem>) =
            all.into_iter().partition(|p| p.code == Code::NoSource);
        bare.sort_by_key(|p| p.span.map(|s| (s.file, s.start)));
        for group in bare.chunk_by(|a, b| a.span.map(|s| s.file) == b.span.map(|s| s.file)) {
            let mut first = group[0].clone();
            if group.len() > 1 {
                let mut lines: Vec<usize> = group[1..]
                    .iter()
                    .filter_map(|p| p.line_column(self.files))
                    .map(|at| at.0)
                    .collect();
                lines.dedup();
                let more = if lines.len() > 12 { " and more" } else { "" };
                lines.truncate(12);
                let lines: Vec<String> = lines.iter().map(usize::to_string).collect();
                first.message = format!("{} numbers without a source", group.len());
                first.label = "the first; where does it come from?".into();
                first.help = Some(format!(
                    "{}; the others are in lines {}{more}",
                    first.help.unwrap_or_default(),
                    lines.join(", ")
                ));
            }
            rest.push(first);
        }
        *self.problems = rest;
    }

    /// Notes the entries that could not be read.
    fn unread<T>(&mut self, entries: &Entries<T>) {
        self.unread.extend(entries.dropped().iter().cloned());
    }

    fn name(&mut self, name: &At<String>, minimal: bool) {
        let ok = name.starts_with(|c: char| c.is_ascii_lowercase())
            && name
                .chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_');
        // The smallest form carries over names of published networks as they are.
        let ok = ok
            || minimal
                && !name.value.is_empty()
                && !name.value.contains(['.', '/', ':'])
                && !name
                    .value
                    .contains(|c: char| c.is_whitespace() || c.is_control());
        if !ok {
            self.push(
                Problem::new(
                    Code::BadName,
                    name.span,
                    format!("`{}` cannot be an identifier", name.value),
                )
                .help(format!(
                    "write {}; a name for screens may have capitals and spaces",
                    identifier(name).unwrap_or_else(|| {
                        "lower-case letters, digits and hyphens, a letter first".into()
                    })
                )),
            );
        }
    }

    /// Indexes the names of `entries`, reporting duplicates and bad names.
    fn names<'e, T>(&mut self, what: &str, entries: &'e Entries<T>) -> Names<'e> {
        let mut names: Names<'e> = HashMap::new();
        self.add_names(what, entries, 0, &mut names);
        names
    }

    /// The same for the smallest form, which may name things as they are
    /// named elsewhere.
    fn plain_names<'e, T>(&mut self, what: &str, entries: &'e Entries<T>) {
        let mut names: Names<'e> = HashMap::new();
        self.add_names_of(what, entries, 0, &mut names, true);
    }

    fn add_names<'e, T>(
        &mut self,
        what: &str,
        entries: &'e Entries<T>,
        offset: usize,
        names: &mut Names<'e>,
    ) {
        self.add_names_of(what, entries, offset, names, false);
    }

    fn add_names_of<'e, T>(
        &mut self,
        what: &str,
        entries: &'e Entries<T>,
        offset: usize,
        names: &mut Names<'e>,
        minimal: bool,
    ) {
        self.unread(entries);
        for (i, (name, _)) in entries.iter().enumerate() {
            self.name(name, minimal);
            match names.get(name.as_str()) {
                Some((_, first)) => self.duplicate(what, name, *first),
                None => {
                    names.insert(name.as_str(), (offset + i, name.span));
                }
            }
        }
    }

    fn range(&mut self, n: &At<f64>, low: f64, high: f64, what: &str) -> f64 {
        if n.value < low || n.value > high {
            let hint = if high == 1.0 && n.value >= 2.0 && n.value <= 100.0 {
                format!(
                    "{what} lies between 0 and 1; {} per cent is {}",
                    number(n.value),
                    number(n.value / 100.0)
                )
            } else {
                let per = match high {
                    999.0 | 1000.0 if what != "a multiplier" => " (of 1000 jobs)",
                    _ => "",
                };
                format!("{what} lies between {low} and {high}{per}")
            };
            self.push(
                Problem::new(
                    Code::Range,
                    n.span,
                    format!("{what} of {} is out of range", number(n.value)),
                )
                .help(hint),
            );
        }
        n.value.clamp(low, high)
    }

    fn probability(&mut self, n: &At<f64>, what: &str) -> f64 {
        self.range(n, 0.0, 1.0, what)
    }

    /// Counts a number under the nearest source, or reports that there is none.
    fn sourced(&mut self, at: Span, sources: &[&Option<At<String>>]) -> String {
        match sources.iter().find_map(|s| s.as_ref()) {
            Some(s) if !s.trim().is_empty() => {
                let begins = |with: &str| {
                    s.get(..with.len())
                        .is_some_and(|head| head.eq_ignore_ascii_case(with))
                };
                if begins("common practice") {
                    self.tally.common_practice += 1;
                } else if begins("own jobs") || begins("the shop's own") {
                    self.tally.own_jobs += 1;
                } else {
                    self.tally.published += 1;
                }
                s.value.clone()
            }
            _ => {
                self.push(
                    Problem::new(Code::NoSource, at, "a number without a source")
                        .label("where does it come from?")
                        .help(
                            "add `source:` here or to the pack: a named publication, \
                             `common practice, no source`, or `own jobs`",
                        ),
                );
                String::new()
            }
        }
    }

    fn unknown<'n>(
        &mut self,
        what: &str,
        name: &At<String>,
        known: impl IntoIterator<Item = &'n str>,
    ) {
        self.loose |= [
            "item or fault",
            "item",
            "function",
            "line",
            "line template",
            "point of this line",
            "meter mode",
        ]
        .contains(&what);
        if name.split('.').any(|part| self.unread.contains(part)) {
            return;
        }
        if !self.complete
            && [
                "bench condition",
                "caution",
                "history question",
                "pack",
                "line template",
                "part of a line",
                "meter",
            ]
            .contains(&what)
        {
            return;
        }
        let known: Vec<&str> = known.into_iter().collect();
        let mut problem = Problem::new(
            Code::UnknownName,
            name.span,
            match what.strip_prefix("answer to ") {
                Some(key) => format!("`{}` is no answer to {key}", name.value),
                None => format!("no {what} is called `{}`", name.value),
            },
        )
        .near(name, known.iter().copied());
        if problem.meant.is_none() {
            let mut known: Vec<&str> = known.into_iter().filter(|k| !k.contains('.')).collect();
            known.sort_unstable();
            known.dedup();
            problem.help = match (known.len(), what) {
                (0, "bench condition" | "caution" | "history question") => Some(
                    "none are defined: a bench file lists them, and the built-in one is left out here"
                        .into(),
                ),
                (0, "pack" | "line template" | "meter") => {
                    Some(format!("no {what} is loaded: give its file too"))
                }
                (0, _) => Some("none are defined in this pack".into()),
                (1..=12, _) => Some(format!("known here: {}", known.join(", "))),
                _ => None,
            };
        }
        self.push(problem);
    }

    fn lookup(&mut self, what: &str, names: &Names, name: &At<String>) -> Option<usize> {
        match names.get(name.as_str()) {
            Some((i, _)) => Some(*i),
            None => {
                self.unknown(what, name, names.keys().copied());
                None
            }
        }
    }

    fn among(&mut self, what: &str, list: &[(String, String)], name: &At<String>) -> Option<usize> {
        let found = list.iter().position(|(id, _)| *id == name.value);
        if found.is_none() {
            self.unknown(what, name, list.iter().map(|(id, _)| id.as_str()));
        }
        found
    }

    fn caution(&mut self, bench: &Bench, name: &At<String>) -> Option<usize> {
        let found = bench.cautions.iter().position(|c| c.id == name.value);
        if found.is_none() {
            let known = bench.cautions.iter().map(|c| c.id.as_str());
            self.unknown("caution", name, known);
        }
        found
    }

    /// What calls for the cautions, once the conditions are known.
    fn demands(&mut self, raw: &RawBench, bench: &mut Bench, first: usize) {
        for (at, (_, c)) in raw.cautions.iter().enumerate() {
            let demand = |v: &mut Self, d: &RawDemand| Demand {
                conditions: (d.conditions.iter())
                    .filter_map(|c| v.condition(bench, c))
                    .collect(),
                tools: d.tools.clone(),
                parts: d.parts.clone(),
            };
            let demands = c.called_for.iter().map(|d| demand(self, d));
            bench.cautions[first + at].called_for = demands.collect();
        }
    }

    fn bench(&mut self, raw: &RawBench, bench: &mut Bench) {
        self.names("caution", &raw.cautions);
        let first_caution = bench.cautions.len();
        for (id, c) in &raw.cautions {
            bench.cautions.push(Caution {
                id: id.value.clone(),
                text: c.text.clone(),
                called_for: Vec::new(),
            });
        }
        self.names("history question", &raw.history);
        for (id, h) in &raw.history {
            bench.history.push((id.value.clone(), h.ask.clone()));
        }
        let names = self.names("bench condition", &raw.conditions);
        let offset = bench.conditions.len();
        let earlier: Vec<String> = bench.conditions.iter().map(|c| c.id.clone()).collect();
        if let Some((id, _)) = raw.conditions.get(MOST_CONDITIONS.saturating_sub(offset)) {
            self.push(
                Problem::new(
                    Code::Range,
                    id.span,
                    format!("more than {MOST_CONDITIONS} bench conditions"),
                )
                .label("the first one too many")
                .help("leave out conditions that no test or remedy asks for"),
            );
        }
        for (id, c) in &raw.conditions {
            self.sourced(c.enter.span, &[&c.source, &raw.source]);
            let enter = self.range(&c.enter, 0.0, 1e4, "a time in minutes");
            let leave = self.range(&c.leave, 0.0, 1e4, "a time in minutes");
            if earlier.contains(&id.value) {
                self.push(
                    Problem::new(
                        Code::Duplicate,
                        id.span,
                        format!("another bench file already has the condition `{}`", id.value),
                    )
                    .help("give this bench the name of the other to replace it as a whole, or leave the condition out"),
                );
            }
            let mut list = |v: &[At<String>]| -> Vec<usize> {
                v.iter()
                    .filter_map(|n| match names.get(n.as_str()) {
                        Some((i, _)) => Some(i + offset),
                        None => match earlier.iter().position(|e| *e == n.value) {
                            Some(i) => Some(i),
                            None => self.lookup("bench condition", &names, n),
                        },
                    })
                    .collect()
            };
            let needs = list(&c.needs);
            let excludes = list(&c.excludes);
            for n in &c.needs {
                if n.value == id.value {
                    self.push(
                        Problem::new(
                            Code::Cycle,
                            n.span,
                            format!("bench condition `{}` needs itself", id.value),
                        )
                        .help("take it out of its own `needs:`"),
                    );
                }
            }
            bench.conditions.push(Condition {
                id: id.value.clone(),
                name: c.name.clone(),
                enter,
                leave,
                needs,
                excludes,
            });
        }
        self.demands(raw, bench, first_caution);
        let mut graph = DiGraph::<usize, ()>::new();
        let nodes: Vec<NodeIndex> = (0..bench.conditions.len())
            .map(|i| graph.add_node(i))
            .collect();
        for (i, c) in bench.conditions.iter().enumerate() {
            for n in &c.needs {
                if *n != i {
                    graph.add_edge(nodes[i], nodes[*n], ());
                }
            }
        }
        if let Err(cycle) = toposort(&graph, None) {
            let i = graph[cycle.node_id()].saturating_sub(offset);
            if let Some((id, _)) = raw.conditions.get(i) {
                self.push(
                    Problem::new(
                        Code::Cycle,
                        id.span,
                        format!("bench condition `{}` needs itself in a circle", id.value),
                    )
                    .help("take one of the `needs:` on the way out, so that one of them can come first"),
                );
            }
            for c in &mut bench.conditions {
                c.needs.clear();
            }
        }
        // Exclusion holds both ways, however it was written.
        for i in 0..bench.conditions.len() {
            for j in bench.conditions[i].excludes.clone() {
                if !bench.conditions[j].excludes.contains(&i) {
                    bench.conditions[j].excludes.push(i);
                }
            }
        }
        for (i, (id, _)) in raw.conditions.iter().enumerate() {
            if let Some((a, b)) = clash(bench, &bench.closure(&[offset + i])) {
                // Said once, at the condition that brings the two together.
                let above = bench.conditions[offset + i]
                    .needs
                    .iter()
                    .any(|n| clash(bench, &bench.closure(&[*n])).is_some());
                if !above {
                    self.push(
                        Problem::new(
                            Code::Conflict,
                            id.span,
                            format!(
                                "`{}` can never hold: it needs `{}` together with `{}`, which exclude each other",
                                id.value, bench.conditions[a].id, bench.conditions[b].id
                            ),
                        )
                        .help("look at its `needs:` and `excludes:`"),
                    );
                }
            }
        }
    }

    fn device(&mut self, raw: &RawDevice, packs: &[Pack]) -> Device {
        self.name(&raw.device, false);
        if !DEVICE_KINDS.contains(&raw.kind.as_str()) {
            self.unknown("kind of device", &raw.kind, DEVICE_KINDS);
        }
        let mut carries = Vec::new();
        for (name, units) in &raw.carries {
            match packs.iter().find(|p| p.id == name.value) {
                None => self.unknown("pack", name, packs.iter().map(|p| p.id.as_str())),
                Some(p) => {
                    if p.unit.is_none() && units.len() > 1 {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                units[1].name.span,
                                format!("pack `{}` has no `unit:` and can stand only once", p.id),
                            )
                            .help("name one copy here, or give the pack a `unit:`"),
                        );
                    }
                    self.copies(units);
                    carries.push((
                        name.value.clone(),
                        units
                            .iter()
                            .map(|u| Carried {
                                name: u.name.value.clone(),
                                also: texts(&u.also),
                            })
                            .collect(),
                    ));
                }
            }
        }
        Device {
            id: raw.device.value.clone(),
            name: raw.name.clone(),
            kind: raw.kind.value.clone(),
            model: raw.model.clone(),
            variant: raw.variant.clone(),
            carries,
            lines: Vec::new(),
            good: Vec::new(),
        }
    }

    /// Names of copies, and the words they go by, each belong to one copy.
    fn copies(&mut self, units: &[RawCopy]) {
        let mut names: HashMap<String, Span> = HashMap::new();
        for u in units {
            if let Some(first) = names.insert(slug(&u.name), u.name.span) {
                self.duplicate("copy", &u.name, first);
            }
        }
        let mut words: HashMap<String, (usize, Span)> = HashMap::new();
        for (i, u) in units.iter().enumerate() {
            words.entry(slug(&u.name)).or_insert((i, u.name.span));
        }
        for (i, u) in units.iter().enumerate() {
            for w in &u.also {
                if !w.contains(char::is_alphanumeric) {
                    self.push(
                        Problem::new(
                            Code::Type,
                            w.span,
                            format!("no word by which people call the {}", u.name.value),
                        )
                        .help("write what they say, such as `back camera`, or take it out"),
                    );
                    continue;
                }
                match words.get(&slug(w)) {
                    Some((other, first)) if *other != i => self.push(
                        Problem::new(
                            Code::Duplicate,
                            w.span,
                            format!("two copies go by `{}`", w.value),
                        )
                        .label("the second one")
                        .also(*first, "the first one")
                        .help("leave to each copy the words that mean it alone"),
                    ),
                    _ => drop(words.insert(slug(w), (i, w.span))),
                }
            }
        }
    }

    fn pack(&mut self, raw: &RawPack, bench: &Bench, kinds: &[&RawLine]) -> Pack {
        self.name(&raw.pack, false);
        let minimal = !raw.faults.is_empty() || !raw.observations.is_empty();
        let unread = |e: &Problem| {
            e.span.is_some_and(|s| s.file == raw.pack.span.file)
                && matches!(e.code, Code::Type | Code::MissingKey)
        };
        self.loose = self.problems.iter().any(unread);
        self.unread.clear();
        self.unread(&raw.functions);
        let before = self.problems.len();
        let share = |v: &mut Self, n: &Option<At<f64>>, what: &str, default: f64| match n {
            Some(n) => {
                v.sourced(n.span, &[&raw.source]);
                v.range(n, 0.0, 999.0, what) / 1000.0
            }
            None => default,
        };
        let nothing_found = share(self, &raw.nothing_found, "a share", 0.05);
        let two_or_more = share(self, &raw.two_or_more, "a share", 0.03);
        let mut pack = Pack {
            hazards: Vec::new(),
            id: raw.pack.value.clone(),
            about: raw.about.clone().unwrap_or_default(),
            unit: raw.unit.clone(),
            nothing_found,
            two_or_more,
            topic: self.patterns(&raw.topic),
            unheard: None,
            minimal,
            items: Vec::new(),
            faults: Vec::new(),
            functions: Vec::new(),
            lines: Vec::new(),
            symptoms: Vec::new(),
            tests: Vec::new(),
            remedies: Vec::new(),
            worked_out: Default::default(),
        };
        if minimal && (!raw.items.is_empty() || !raw.shared.is_empty() || !raw.functions.is_empty())
        {
            self.push(
                Problem::new(
                    Code::Mixed,
                    raw.pack.span,
                    "`faults`/`observations` (the smallest form) and `items`/`functions` in one pack",
                )
                .help("write either the one or the other; a new area starts well in the smallest form"),
            );
        }
        self.items(raw, bench, &mut pack);
        self.minimal_faults(raw, &mut pack);
        let rates_hold = !self.loose
            && !self.problems[before..]
                .iter()
                .any(|p| p.code == Code::Range);
        if pack.faults.is_empty() && !self.loose {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    raw.pack.span,
                    format!("pack `{}` has no faults", pack.id),
                )
                .help("a pack needs `items:` with `faults:`, or in the smallest form `faults:`"),
            );
        }
        let items = item_names(raw);
        let functions = self.names("function", &raw.functions);
        for (name, _) in &raw.functions {
            if let Some((_, first)) = items.get(name.as_str()) {
                self.duplicate("name", name, *first);
            }
        }
        self.functions(raw, &items, &functions, &mut pack);
        pack.lines = self.lines(raw, &items, &pack, kinds, bench);
        let (symptoms, tests, remedies, hazards) = {
            let scope = Scope {
                items,
                functions,
                pack: &pack,
            };
            let symptoms = self.symptoms(raw, &scope, bench);
            let mut tests = self.tests(raw, &scope, bench);
            tests.extend(self.observations(raw, &scope));
            let mut remedies = self.remedies(raw, &scope, bench, kinds);
            for t in &mut tests {
                (t.step).call_for_cautions(bench, &format!("{} {}", t.id, t.ask));
            }
            for r in &mut remedies {
                (r.step).call_for_cautions(bench, &format!("{} {}", r.id, r.name));
            }
            let hazards = self.hazards(raw, &scope, bench);
            (symptoms, tests, remedies, hazards)
        };
        pack.symptoms = symptoms;
        if let Some(name) = &raw.unheard {
            pack.unheard = pack.symptoms.iter().position(|s| s.id == name.value);
            if pack.unheard.is_none() {
                let known = pack.symptoms.iter().map(|s| s.id.as_str());
                self.unknown("symptom", name, known);
            }
        }
        pack.tests = tests;
        pack.remedies = remedies;
        pack.hazards = hazards;
        if !self.loose {
            self.coverage(raw, &pack);
            self.proofs(raw, &pack);
        }
        if rates_hold {
            self.shares(raw, &pack);
        }
        if raw.unit.is_none() {
            self.no_unit(raw);
        }
        pack.add_unlisted();
        pack
    }

    /// Copies that something is limited to have to be on some device, where
    /// any device says which copies it has.
    fn only_on(&mut self, raw: &[AnyFile]) {
        self.unread.clear();
        for p in raw {
            let AnyFile::Pack(p) = p else { continue };
            let mut known: Vec<&str> = Vec::new();
            let mut unread = false;
            for d in raw {
                let AnyFile::Device(d) = d else { continue };
                unread |= d.carries.dropped().contains(&p.pack.value);
                for (_, copies) in d.carries.iter().filter(|c| c.0.value == p.pack.value) {
                    known.extend(copies.iter().map(|c| c.name.as_str()));
                    if copies.is_empty() {
                        known.extend(p.unit.as_deref());
                    }
                }
            }
            if unread || known.is_empty() {
                continue;
            }
            let symptoms = p.symptoms.iter().map(|s| &s.1.only_on);
            let tests = p.tests.iter().map(|t| &t.1.only_on);
            let remedies = p.remedies.iter().map(|r| &r.1.only_on);
            for name in symptoms.chain(tests).chain(remedies).flatten() {
                if !known.contains(&name.as_str()) {
                    self.unknown("copy on any device", name, known.iter().copied());
                }
            }
        }
    }

    /// Without copies there is no name of a copy to put into texts.
    fn no_unit(&mut self, raw: &RawPack) {
        fn is(t: &str) -> bool {
            t.contains("{unit}")
        }
        fn some(t: &Option<String>) -> bool {
            t.as_deref().is_some_and(is)
        }
        let mut at: Vec<Span> = Vec::new();
        let mut named = |id: &At<String>, name: &At<String>, explain: &Option<String>| {
            if is(name) {
                at.push(name.span);
            } else if some(explain) {
                at.push(id.span);
            }
        };
        for (id, i) in raw.items.iter().chain(raw.shared.iter()) {
            named(id, &i.name, &i.explain);
        }
        for (id, f) in &raw.functions {
            named(id, &f.name, &None);
        }
        for (id, s) in &raw.symptoms {
            named(id, &s.name, &None);
        }
        for (id, l) in &raw.lines {
            named(id, &l.name, &None);
        }
        for (id, t) in &raw.tests {
            match &t.ask {
                Some(ask) => named(id, ask, &t.explain),
                None => named(id, &id.with(String::new()), &t.explain),
            }
        }
        for (id, r) in &raw.remedies {
            named(id, &r.name, &r.explain);
        }
        let items = raw.items.iter().chain(raw.shared.iter());
        let faults = items.flat_map(|(_, i)| i.faults.iter());
        at.extend(
            faults
                .filter(|(_, f)| some(&f.name) || some(&f.explain))
                .map(|(id, _)| id.span),
        );
        let outcomes = raw.tests.iter().flat_map(|(_, t)| t.shows.iter());
        at.extend(outcomes.filter(|o| some(&o.1.says)).map(|o| o.0.span));
        at.extend(
            raw.faults
                .iter()
                .filter(|f| some(&f.1.name))
                .map(|f| f.0.span),
        );
        let observations = raw.observations.iter();
        at.extend(observations.filter(|o| some(&o.1.ask)).map(|o| o.0.span));
        at.sort_by_key(|s| s.start);
        let Some(first) = at.first() else { return };
        let more = match at.len() {
            1 => String::new(),
            n => format!(" ({n} places)"),
        };
        self.push(
            Problem::new(
                Code::MissingKey,
                *first,
                format!("`{{unit}}` in a pack without `unit:`{more}"),
            )
            .help("add `unit:` with what one copy is called, or write that word here"),
        );
    }

    fn items(&mut self, raw: &RawPack, bench: &Bench, pack: &mut Pack) {
        let mut names = self.names("item", &raw.items);
        self.add_names("item", &raw.shared, raw.items.len(), &mut names);
        let all = raw
            .items
            .iter()
            .map(|e| (e, false))
            .chain(raw.shared.iter().map(|e| (e, true)));
        for ((id, item), shared) in all {
            let place = Where::from_word(&item.r#where);
            if place.is_none() {
                self.unknown(
                    "answer to `where`",
                    &item.r#where,
                    Where::ALL.map(Where::word),
                );
            }
            let start = pack.faults.len();
            self.names("fault", &item.faults);
            if item.faults.is_empty() {
                self.unread.insert(id.value.clone());
            }
            if item.faults.is_empty() && item.faults.dropped().is_empty() {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        id.span,
                        format!("item `{}` has no fault that it can have", id.value),
                    )
                    .help("add `faults:` with at least one mode, or remove the item"),
                );
            }
            // The source of a fault is that of its rate; no publication counts what
            // multiplies it.
            let of_item = [&item.source, &raw.source];
            let item_history = self.history(&item.history, bench, &of_item);
            for (fid, f) in &item.faults {
                let source = self.sourced(f.rate.span, &[&f.source, &item.source, &raw.source]);
                let rate = self.range(&f.rate, 0.0, 1000.0, "a rate") / 1000.0;
                if rate == 0.0 {
                    self.push(
                        Problem::new(Code::Range, f.rate.span, "a rate of nothing").help(
                            "a fault that never happens need not be listed; write what is rare as 0.5 or 0.1",
                        ),
                    );
                }
                let breaks = f
                    .breaks
                    .as_ref()
                    .map_or(BREAKS, |b| self.probability(b, "a strength"));
                let mut history = item_history.clone();
                history.extend(self.history(&f.history, bench, &of_item));
                let kinds = self.kinds_of_device(&f.kinds, &of_item);
                pack.faults.push(Fault {
                    item: pack.items.len(),
                    id: fid.value.clone(),
                    name: f
                        .name
                        .clone()
                        .unwrap_or_else(|| fid.value.replace('-', " ")),
                    rate,
                    breaks,
                    history,
                    kinds,
                    explain: f.explain.clone(),
                    source,
                });
            }
            let mates = item
                .mates
                .iter()
                .filter_map(|m| self.lookup("item", &names, m))
                .collect();
            let kinds = self.kinds_of_device(&item.kinds, &of_item);
            pack.items.push(Item {
                id: id.value.clone(),
                name: item.name.value.clone(),
                r#where: place.unwrap_or_default(),
                shared: shared || raw.unit.is_none(),
                faults: start..pack.faults.len(),
                mates,
                explain: item.explain.clone(),
                kinds,
            });
        }
    }

    fn kinds_of_device(
        &mut self,
        raw: &Entries<At<f64>>,
        sources: &[&Option<At<String>>],
    ) -> Vec<(String, f64)> {
        let mut out = Vec::new();
        for (k, n) in raw {
            if !DEVICE_KINDS.contains(&k.as_str()) {
                self.unknown("kind of device", k, DEVICE_KINDS);
            }
            self.sourced(n.span, sources);
            out.push((k.value.clone(), self.range(n, 0.0, 1e3, "a multiplier")));
        }
        out
    }

    fn history(
        &mut self,
        raw: &Entries<At<f64>>,
        bench: &Bench,
        sources: &[&Option<At<String>>],
    ) -> Vec<(String, f64)> {
        let mut out = Vec::new();
        for (id, n) in raw {
            self.among("history question", &bench.history, id);
            self.sourced(n.span, sources);
            out.push((id.value.clone(), self.range(n, 0.0, 1e3, "a multiplier")));
        }
        out
    }

    fn minimal_faults(&mut self, raw: &RawPack, pack: &mut Pack) {
        self.plain_names("fault", &raw.faults);
        for (id, f) in &raw.faults {
            let source = self.sourced(f.prior.span, &[&f.source, &raw.source]);
            let rate = self.probability(&f.prior, "a prior");
            let place = match &f.r#where {
                None => Where::Part,
                Some(w) => Where::from_word(w).unwrap_or_else(|| {
                    self.unknown("answer to `where`", w, Where::ALL.map(Where::word));
                    Where::Part
                }),
            };
            let start = pack.faults.len();
            let name = f.name.clone().unwrap_or_else(|| id.value.clone());
            pack.faults.push(Fault {
                item: pack.items.len(),
                id: String::new(),
                name: String::new(),
                rate,
                breaks: 1.0,
                history: Vec::new(),
                kinds: Vec::new(),
                explain: None,
                source,
            });
            pack.items.push(Item {
                id: id.value.clone(),
                name,
                r#where: place,
                shared: true,
                faults: start..start + 1,
                mates: Vec::new(),
                explain: None,
                kinds: Vec::new(),
            });
        }
    }

    /// Resolves needs over a graph of functions, items and faults, and gives
    /// every function its faults over the strongest path.
    fn functions(&mut self, raw: &RawPack, items: &Names, names: &Names, pack: &mut Pack) {
        let mut graph = DiGraph::<usize, f64>::new();
        let nodes: Vec<NodeIndex> = (0..raw.functions.len())
            .map(|i| graph.add_node(i))
            .collect();
        let mut own: Vec<Vec<Link>> = vec![Vec::new(); raw.functions.len()];
        let mut spans: HashMap<(usize, usize), Span> = HashMap::new();
        for (i, (_, f)) in raw.functions.iter().enumerate() {
            if f.needs.is_empty() {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        f.needs.span,
                        "a function that needs nothing",
                    )
                    .help("list the items, faults or functions it depends on"),
                );
            }
            for need in f.needs.iter() {
                let strength = match &need.strength {
                    Some(s) => {
                        self.sourced(s.span, &[&f.source, &raw.source]);
                        self.probability(s, "a strength")
                    }
                    None => 1.0,
                };
                if let Some((j, _)) = names.get(need.target.as_str()) {
                    graph.add_edge(nodes[i], nodes[*j], strength);
                    spans.insert((i, *j), need.target.span);
                    continue;
                }
                let found = resolve(&need.target, items, pack);
                if found.is_empty() {
                    self.unknown_fault(&need.target, items, pack, names.keys().copied());
                }
                for fault in found {
                    own[i].push((fault, strength * pack.faults[fault].breaks));
                }
            }
        }
        for circle in tarjan_scc(&graph) {
            let first = graph[circle[0]];
            if circle.len() > 1 || graph.find_edge(circle[0], circle[0]).is_some() {
                let mut members: Vec<usize> = circle.iter().map(|n| graph[*n]).collect();
                members.sort_unstable();
                let ids: Vec<&str> = members
                    .iter()
                    .map(|i| raw.functions[*i].0.as_str())
                    .collect();
                let at = members
                    .iter()
                    .flat_map(|i| members.iter().map(move |j| (*i, *j)))
                    .find_map(|k| spans.get(&k).copied())
                    .unwrap_or(raw.functions[first].0.span);
                self.push(
                    Problem::new(
                        Code::Cycle,
                        at,
                        format!("functions need each other in a circle: {}", ids.join(", ")),
                    )
                    .help("take one of these needs out, so that needs lead from the whole to its parts"),
                );
            }
        }
        let mut links: Vec<HashMap<PackFault, f64>> = vec![HashMap::new(); raw.functions.len()];
        if let Ok(order) = toposort(&graph, None) {
            for node in order.into_iter().rev() {
                let i = graph[node];
                let mut all: HashMap<PackFault, f64> = HashMap::new();
                let mut keep = |fault: PackFault, s: f64| {
                    let best = all.entry(fault).or_insert(0.0);
                    *best = best.max(s);
                };
                for (fault, s) in &own[i] {
                    keep(*fault, *s);
                }
                let mut edges = graph.neighbors(node).detach();
                while let Some((edge, to)) = edges.next(&graph) {
                    for (fault, s) in &links[graph[to]] {
                        keep(*fault, s * graph[edge]);
                    }
                }
                links[i] = all;
            }
        }
        for ((id, f), links) in raw.functions.iter().zip(links) {
            let mut links: Vec<Link> = links.into_iter().filter(|(_, s)| *s > 0.0).collect();
            links.sort_by_key(|(f, _)| *f);
            pack.functions.push(Function {
                id: id.value.clone(),
                name: f.name.value.clone(),
                needs: f.needs.iter().map(|n| n.target.value.clone()).collect(),
                links,
            });
        }
    }

    fn unknown_fault<'n>(
        &mut self,
        name: &At<String>,
        items: &Names,
        pack: &Pack,
        more: impl IntoIterator<Item = &'n str>,
    ) {
        let mut known: Vec<String> = items.keys().map(|s| (*s).to_owned()).collect();
        known.extend((0..pack.faults.len()).map(|f| pack.fault_id(f)));
        known.extend(more.into_iter().map(str::to_owned));
        self.unknown("item or fault", name, known.iter().map(String::as_str));
    }

    fn links(
        &mut self,
        raw: &Entries<At<f64>>,
        scope: &Scope,
        sources: &[&Option<At<String>>],
        what: &str,
    ) -> Vec<Link> {
        let mut out: Vec<Link> = Vec::new();
        let mut spans: HashMap<PackFault, Span> = HashMap::new();
        for (target, n) in raw {
            self.sourced(n.span, sources);
            let p = self.probability(n, what);
            let found = resolve(target, &scope.items, scope.pack);
            if found.is_empty() {
                self.unknown_fault(target, &scope.items, scope.pack, []);
            }
            let whole = !target.contains('.');
            for f in found {
                match spans.get(&f) {
                    // A single fault beside its whole item refines it.
                    Some(_) if whole => {}
                    Some(_) => {
                        if let Some(l) = out.iter_mut().find(|l| l.0 == f) {
                            l.1 = p;
                        }
                    }
                    None => {
                        spans.insert(f, target.span);
                        out.push((f, p));
                    }
                }
            }
        }
        out.sort_by_key(|l| l.0);
        out
    }

    fn symptoms(&mut self, raw: &RawPack, scope: &Scope, bench: &Bench) -> Vec<Symptom> {
        self.names("symptom", &raw.symptoms);
        let mut out = Vec::new();
        for (id, s) in &raw.symptoms {
            let sources = [&s.source, &raw.source];
            let loses = s
                .loses
                .as_ref()
                .and_then(|f| self.lookup("function", &scope.functions, f));
            let mut links = self.links(&s.links, scope, &sources, "a strength");
            if let Some(f) = loses {
                for l in &scope.pack.functions[f].links {
                    if !links.iter().any(|k| k.0 == l.0) {
                        links.push(*l);
                    }
                }
            } else if s.loses.is_none() && s.links.is_empty() {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        id.span,
                        format!("symptom `{}` says nothing about any fault", id.value),
                    )
                    .help("say which function it `loses:`, or give `links:`"),
                );
            }
            let nothing_found = match &s.nothing_found {
                None => scope.pack.nothing_found,
                Some(n) => {
                    self.sourced(n.span, &sources);
                    self.range(n, 0.0, 999.0, "a share") / 1000.0
                }
            };
            let rules_out = s.rules_out.iter();
            let rules_out = rules_out.filter_map(|c| self.condition(bench, c)).collect();
            let hear = self.patterns(&s.hear);
            let hear_in_topic = self.patterns(&s.hear_in_topic);
            let said_of = self.patterns(&s.said_of);
            out.push(Symptom {
                id: id.value.clone(),
                name: s.name.value.clone(),
                loses,
                links,
                nothing_found,
                rules_out,
                hear,
                hear_in_topic,
                said_of,
                only_on: texts(&s.only_on),
            });
        }
        out
    }

    /// The symptoms whose complaint a test is for, each with its pack.
    fn only_for(&mut self, test: &RawTest, raw: &RawPack) -> Vec<String> {
        let known = || raw.symptoms.iter().map(|s| s.0.as_str());
        for name in &test.only_for {
            if !known().any(|s| s == name.value) {
                self.unknown("symptom", name, known());
            }
        }
        let full = |name: &At<String>| format!("{}/{}", raw.pack.value, name.value);
        test.only_for.iter().map(full).collect()
    }

    /// Takes down named lists of words; a list may be made of earlier ones.
    fn name_words(&mut self, all: &Entries<At<String>>) {
        self.names("list of words", all);
        for (name, list) in all {
            let named = [list.clone()];
            if !self.patterns(&named).is_empty() {
                self.words.insert(name.value.clone(), list);
            }
        }
    }

    /// The tests that come before a test, by identifier.
    fn comes_after(&mut self, id: &str, test: &RawTest, raw: &RawPack) -> Vec<String> {
        let known = || raw.tests.iter().map(|t| t.0.as_str()).filter(|t| *t != id);
        for name in &test.after {
            if !known().any(|t| t == name.value) {
                self.unknown("test", name, known());
            }
        }
        test.after.iter().map(|n| n.value.clone()).collect()
    }

    /// Patterns for free text, as far as they are well.
    fn patterns(&mut self, all: &[At<String>]) -> Vec<Arc<Pattern>> {
        let mut out = Vec::new();
        for p in all {
            match Pattern::with(p, &self.words) {
                Err(PatternError::FitsAll) => self.push(
                    Problem::new(
                        Code::Pattern,
                        p.span,
                        "a pattern that fits every text, even an empty one",
                    )
                    .help("make at least one part of it obligatory"),
                ),
                Ok(_) if p.len() > 2000 => self.push(
                    Problem::new(Code::Pattern, p.span, "a pattern of over 2000 characters")
                        .help("split it into several"),
                ),
                Ok(pattern) => out.push(Arc::new(pattern)),
                Err(PatternError::Syntax(e)) => self.bad_pattern(p, &e),
                Err(PatternError::Unknown(name)) => {
                    let name = At {
                        value: name,
                        span: p.span,
                    };
                    let known: Vec<String> = self.words.names().map(str::to_owned).collect();
                    let known = known.iter().map(String::as_str);
                    self.unknown("list of words", &name, known);
                }
            }
        }
        out
    }

    /// Points at the position inside the pattern.
    fn bad_pattern(&mut self, p: &At<String>, e: &regex_syntax::Error) {
        let (offset, reason) = match e {
            regex_syntax::Error::Parse(e) => (e.span().start.offset, e.kind().to_string()),
            regex_syntax::Error::Translate(e) => (e.span().start.offset, e.kind().to_string()),
            _ => (0, "it cannot be read".to_owned()),
        };
        let text = self
            .files
            .get(p.span.file as usize)
            .map_or("", |f| f.text.as_str());
        let written = text
            .get(p.span.start as usize..p.span.end as usize)
            .unwrap_or("");
        // A quoted or escaped scalar is longer than its value; look the rest up in it.
        let rest = p.value.get(offset..).unwrap_or("");
        let inner = if rest.is_empty() {
            written.trim_end_matches(['\'', '"']).len()
        } else {
            written.rfind(rest).unwrap_or_else(|| {
                (offset + usize::from(written.starts_with(['\'', '"']))).min(written.len())
            })
        };
        let start = p.span.start + inner as u32;
        let span = Span {
            file: p.span.file,
            start,
            end: start
                + text
                    .get(start as usize..)
                    .and_then(|t| t.chars().next())
                    .map_or(0, |c| c.len_utf8() as u32),
        };
        self.push(
            Problem::new(
                Code::Pattern,
                span,
                format!(
                    "bad pattern: {reason} (character {} of it)",
                    p.value.get(..offset).map_or(0, |s| s.chars().count()) + 1
                ),
            )
            .label("here")
            .help("patterns are regular expressions: put a backslash before . ( ) [ ] ? * + to mean the sign itself"),
        );
    }

    #[allow(clippy::too_many_arguments)]
    fn step(
        &mut self,
        id: &At<String>,
        minutes: &Option<At<f64>>,
        parts: &Option<At<f64>>,
        conditions: &[At<String>],
        cautions: &[At<String>],
        tools: &[String],
        explain: &Option<String>,
        sources: &[&Option<At<String>>],
        bench: &Bench,
    ) -> Step {
        let mut source = sources
            .iter()
            .find_map(|s| s.as_ref())
            .map(|s| s.value.clone())
            .unwrap_or_default();
        let mut cost = |v: &mut Self, n: &Option<At<f64>>, what: &str, default: f64| match n {
            Some(n) => {
                source = v.sourced(n.span, sources);
                v.range(n, 0.0, 1e5, what)
            }
            None => default,
        };
        let minutes = cost(self, minutes, "a time in minutes", MINUTES);
        let parts = cost(self, parts, "a cost", 0.0);
        let mut set: Vec<usize> = Vec::new();
        for c in conditions {
            match bench.conditions.iter().position(|b| b.id == c.value) {
                None => self.unknown(
                    "bench condition",
                    c,
                    bench.conditions.iter().map(|b| b.id.as_str()),
                ),
                Some(i) => set.push(i),
            }
        }
        let full = bench.closure(&set);
        // A condition that can never hold is a matter of the bench.
        let sound = set
            .iter()
            .all(|i| clash(bench, &bench.closure(&[*i])).is_none());
        if sound && let Some((a, b)) = clash(bench, &full) {
            let needing = |x: usize| {
                conditions.iter().rev().find(|c| {
                    bench
                        .conditions
                        .iter()
                        .position(|b| b.id == c.value)
                        .is_some_and(|i| bench.closure(&[i]).contains(&x))
                })
            };
            let (first, second) = (needing(a), needing(b));
            let at = [first, second]
                .into_iter()
                .flatten()
                .max_by_key(|c| c.span.start);
            let by = |c: Option<&At<String>>, x: usize| match c {
                Some(c) if c.value != bench.conditions[x].id => {
                    format!("`{}` (needed by `{}`)", bench.conditions[x].id, c.value)
                }
                _ => format!("`{}`", bench.conditions[x].id),
            };
            self.push(
                Problem::new(
                    Code::Conflict,
                    at.map_or(id.span, |c| c.span),
                    format!(
                        "{} cannot hold together with {}",
                        by(first, a),
                        by(second, b)
                    ),
                )
                .help("split the step in two, or drop one of the conditions"),
            );
        }
        let cautions: Vec<usize> = cautions
            .iter()
            .filter_map(|c| self.caution(bench, c))
            .collect();
        Step {
            minutes,
            parts,
            conditions: set,
            tools: tools.to_vec(),
            cautions,
            explain: explain.clone(),
            source,
        }
    }

    fn tests(&mut self, raw: &RawPack, scope: &Scope, bench: &Bench) -> Vec<Test> {
        self.names("test", &raw.tests);
        let mut out = Vec::new();
        for (id, t) in &raw.tests {
            let sources = [&t.source, &raw.source];
            if let Some(m) = &t.measures {
                self.not_mistaken(id, t);
                out.extend(self.measurement(id, t, m, raw, scope, bench));
                continue;
            }
            let Some(ask) = &t.ask else {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        id.span,
                        format!("`ask` is missing from `{}`", id.value),
                    )
                    .help("add `ask:`"),
                );
                continue;
            };
            let how = match (&t.tries, t.shows.is_empty()) {
                (Some(f), true) => {
                    if let (Some(a), Some(b)) = (&t.swaps_in, &t.lends) {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                b.span,
                                format!("test `{}` has both `swaps-in` and `lends`", id.value),
                            )
                            .also(a.span, "swapped in")
                            .help("make two tests of it: one with a good part here, one with this part elsewhere"),
                        );
                    }
                    if let Some(l) = &t.leak {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                l.span,
                                "a `leak` goes with `shows`, not with `tries`",
                            )
                            .help("take it out; `reliability:` says how often a try goes wrong"),
                        );
                    }
                    let function = self.lookup("function", &scope.functions, f).unwrap_or(0);
                    let partly = self.partly(t, function, scope);
                    let mut item = |n: &At<String>| self.lookup("item", &scope.items, n);
                    How::Tries {
                        function,
                        partly,
                        without: t.without.iter().filter_map(&mut item).collect(),
                        swaps_in: t.swaps_in.as_ref().and_then(&mut item),
                        lends: t.lends.as_ref().and_then(&mut item),
                    }
                }
                (Some(f), false) => {
                    self.push(
                        Problem::new(
                            Code::Mixed,
                            f.span,
                            format!("test `{}` has both `tries` and `shows`", id.value),
                        )
                        .help("a test either tries a function or shows something by direct links"),
                    );
                    continue;
                }
                (None, true) if !t.shows.dropped().is_empty() => {
                    self.loose = true;
                    continue;
                }
                (None, true) => {
                    if let Some(n) = t.swaps_in.as_ref().or(t.lends.as_ref()) {
                        self.push(
                            Problem::new(
                                Code::MissingKey,
                                n.span,
                                format!(
                                    "test `{}` does not say which function it `tries:`",
                                    id.value
                                ),
                            )
                            .help(
                                "add `tries:` with the function that is looked at after the swap",
                            ),
                        );
                    } else {
                        self.push(
                            Problem::new(
                                Code::NoOutcome,
                                id.span,
                                format!("test `{}` has no outcome", id.value),
                            )
                            .help("say which function it `tries:`, list what it `shows:`, or which line it `measures:`"),
                        );
                    }
                    continue;
                }
                (None, false) => self.shows(id, t, scope, &sources),
            };
            if let (Some((n, _)), How::Shows { .. }) = (t.partly.first(), &how) {
                self.push(
                    Problem::new(Code::Mixed, n.span, "`partly` goes with `tries`")
                        .help("list it among what the test `shows:`"),
                );
            }
            let kind = match &t.kind {
                None => match &how {
                    How::Tries {
                        swaps_in, lends, ..
                    } if swaps_in.is_some() || lends.is_some() => Kind::Swap,
                    How::Tries { .. } => Kind::Try,
                    How::Shows { .. } if t.unit.is_some() => Kind::Measure,
                    _ => Kind::Look,
                },
                Some(k) => match Kind::ALL.iter().find(|(w, _)| *w == k.value) {
                    Some((_, kind)) => *kind,
                    None => {
                        self.unknown("kind of test", k, Kind::ALL.map(|(w, _)| w));
                        Kind::Look
                    }
                },
            };
            let reliability = t.reliability.as_ref().map_or(RELIABILITY, |r| {
                self.sourced(r.span, &sources);
                self.no_guess(r);
                self.probability(r, "a reliability")
            });
            let mistaken = self.mistaken(id, t, (kind, &how), reliability, &sources);
            let step = self.step(
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
            let words: Vec<String> = how.outcomes().into_iter().map(str::to_owned).collect();
            let raises = self.signs(t, &words, bench);
            out.push(Test {
                id: id.value.clone(),
                ask: ask.value.clone(),
                kind,
                how,
                unit: t.unit.as_ref().map(|u| u.value.clone()),
                reliability,
                mistaken,
                step,
                only_on: texts(&t.only_on),
                only_for: self.only_for(t, raw),
                after: self.comes_after(&id.value, t, raw),
                raises,
            });
        }
        out
    }

    /// The answer between yes and no of a try.
    fn partly(&mut self, t: &RawTest, tried: usize, scope: &Scope) -> Option<Partly> {
        let (outcome, fuller) = t.partly.first()?;
        if let Some((more, _)) = t.partly.get(1) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    more.span,
                    "only one answer stands between yes and no",
                )
                .help("keep the one that customers name, and make a test of the other function"),
            );
        }
        if TRIED.contains(&outcome.value.as_str()) {
            self.duplicate("outcome", outcome, outcome.span);
        }
        let without = self.lookup("function", &scope.functions, fuller)?;
        let links = |f: usize| &scope.pack.functions[f].links;
        let weaker = |(fault, s): &Link| {
            let own = links(without).iter().find(|l| l.0 == *fault);
            own.is_none_or(|l| l.1 + 1e-9 < *s)
        };
        if without == tried || links(tried).iter().any(weaker) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    fuller.span,
                    format!("`{}` can work where the tried function fails", fuller.value),
                )
                .help("name a function that needs the tried one and more besides"),
            );
            return None;
        }
        Some(Partly {
            outcome: outcome.value.clone(),
            without,
        })
    }

    /// A result that is right half the time or less tells nothing.
    fn no_guess(&mut self, r: &At<f64>) {
        if (0.0..=0.5).contains(&r.value) {
            self.push(
                Problem::new(
                    Code::Range,
                    r.span,
                    format!(
                        "a reliability of {} is no better than a guess",
                        number(r.value)
                    ),
                )
                .help("it is the chance that the result is right: above 0.5, up to 1"),
            );
        }
    }

    fn shows(
        &mut self,
        id: &At<String>,
        t: &RawTest,
        scope: &Scope,
        sources: &[&Option<At<String>>],
    ) -> How {
        self.names("outcome", &t.shows);
        if let Some(n) = t
            .swaps_in
            .as_ref()
            .or(t.lends.as_ref())
            .or(t.without.first())
        {
            self.push(
                Problem::new(
                    Code::Mixed,
                    n.span,
                    "`swaps-in`, `lends` and `without` go with `tries`, not with `shows`",
                )
                .help("take it out, or try a function in place of `shows:`"),
            );
        }
        let mut outcomes: Vec<Outcome> = Vec::new();
        let mut unit_missed = false;
        for (k, (oid, o)) in t.shows.iter().enumerate() {
            let links = self.links(&o.links, scope, sources, "a probability");
            if k == 0 && !links.is_empty() {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        o.links[0].0.span,
                        "the first outcome is what a healthy device shows; no fault leads to it",
                    )
                    .help("move the links to the outcome they lead to"),
                );
            }
            let between = o.between.as_ref().map(|b| {
                let nearest = [&[&o.source], sources].concat();
                self.sourced(b.span, &nearest);
                if b.value.0 > b.value.1 {
                    let (low, high) = (number(b.value.0), number(b.value.1));
                    self.push(
                        Problem::new(
                            Code::Range,
                            b.span,
                            format!("from {low} to {high} runs backwards"),
                        )
                        .help(format!("write [{high}, {low}]")),
                    );
                }
                let shared = |(a, b): (f64, f64), (c, d): (f64, f64)| a.max(c) < b.min(d);
                if let Some((other, _)) = t.shows[..k]
                    .iter()
                    .find(|(_, o)| o.between.as_ref().is_some_and(|o| shared(o.value, b.value)))
                {
                    self.push(
                        Problem::new(
                            Code::Range,
                            b.span,
                            format!("these values also count as `{}`", other.value),
                        )
                        .label("overlaps")
                        .also(other.span, "with this outcome")
                        .help("let one range end where the other begins"),
                    );
                }
                if t.unit.is_none() && !unit_missed {
                    unit_missed = true;
                    self.push(
                        Problem::new(Code::MissingKey, b.span, "measured values without a unit")
                            .help("add `unit: V` (or ohm, A, C) to the test"),
                    );
                }
                b.value
            });
            outcomes.push(Outcome {
                id: oid.value.clone(),
                says: o
                    .says
                    .clone()
                    .unwrap_or_else(|| oid.value.replace('-', " ")),
                links,
                between,
            });
        }
        let some = t.shows.dropped().is_empty();
        if some && (outcomes.len() < 2 || t.shows.iter().all(|(_, o)| o.links.is_empty())) {
            self.push(
                Problem::new(
                    Code::NoOutcome,
                    id.span,
                    format!("test `{}` cannot come out in more than one way", id.value),
                )
                .help("list the healthy outcome first, then at least one more with `links:`"),
            );
        }
        // One fault's chances over the outcomes cannot pass one.
        let mut total: HashMap<PackFault, f64> = HashMap::new();
        for o in &outcomes {
            for (f, p) in &o.links {
                *total.entry(*f).or_insert(0.0) += p;
            }
        }
        let mut over: Vec<PackFault> = total
            .iter()
            .filter(|(_, s)| **s > 1.0 + 1e-9)
            .map(|(f, _)| *f)
            .collect();
        over.sort_unstable();
        let others = over.len().saturating_sub(1);
        for (k, f) in over.into_iter().enumerate() {
            if k == 0 {
                self.push(
                Problem::new(
                    Code::Range,
                    id.span,
                    format!(
                        "in test `{}` the chances of `{}`{} over the outcomes add up to {:.2}",
                        id.value,
                        scope.pack.fault_id(f),
                        match others {
                            0 => String::new(),
                            n => format!(" (and {n} more)"),
                        },
                        total[&f]
                    ),
                )
                .help("each is the chance of this fault leading to that outcome: at most 1 in all"),
                );
            }
            for o in &mut outcomes {
                for l in &mut o.links {
                    if l.0 == f {
                        l.1 /= total[&f];
                    }
                }
            }
        }
        let leak = t.leak.as_ref().map_or(0.0, |l| {
            self.sourced(l.span, sources);
            self.probability(l, "a leak")
        });
        How::Shows { outcomes, leak }
    }

    fn observations(&mut self, raw: &RawPack, scope: &Scope) -> Vec<Test> {
        self.plain_names("observation", &raw.observations);
        let mut out = Vec::new();
        for (id, o) in &raw.observations {
            let sources = [&o.source, &raw.source];
            let links = self.links(&o.links, scope, &sources, "a strength");
            if o.links.is_empty() && o.links.dropped().is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        id.span,
                        format!("observation `{}` is tied to no fault", id.value),
                    )
                    .help("give `links:` with at least one fault"),
                );
            }
            let mut p = |n: &Option<At<f64>>, what: &str, default: f64| {
                n.as_ref().map_or(default, |n| {
                    self.sourced(n.span, &sources);
                    self.probability(n, what)
                })
            };
            let leak = p(&o.leak, "a leak", 0.0);
            let reliability = p(&o.reliability, "a reliability", 1.0);
            if let Some(r) = &o.reliability {
                self.no_guess(r);
            }
            let minutes = o.minutes.as_ref().map_or(1.0, |m| {
                self.sourced(m.span, &sources);
                self.range(m, 0.0, 1e5, "a time in minutes")
            });
            let outcome = |id: &str, links| Outcome {
                id: id.into(),
                says: id.into(),
                links,
                between: None,
            };
            out.push(Test {
                id: id.value.clone(),
                ask: o
                    .ask
                    .clone()
                    .unwrap_or_else(|| format!("Is {} seen?", id.value)),
                kind: Kind::Look,
                how: How::Shows {
                    outcomes: vec![outcome("no", Vec::new()), outcome("yes", links)],
                    leak,
                },
                unit: None,
                reliability,
                mistaken: mistaken::evenly(reliability, 2),
                step: Step {
                    minutes,
                    source: sources
                        .iter()
                        .find_map(|s| s.as_ref())
                        .map(|s| s.value.clone())
                        .unwrap_or_default(),
                    ..Step::default()
                },
                only_on: Vec::new(),
                only_for: Vec::new(),
                after: Vec::new(),
                raises: Vec::new(),
            });
        }
        out
    }

    fn remedies(
        &mut self,
        raw: &RawPack,
        scope: &Scope,
        bench: &Bench,
        kinds: &[&RawLine],
    ) -> Vec<Remedy> {
        self.names("remedy", &raw.remedies);
        // A device may have another template than the pack.
        let parts = || {
            kinds
                .iter()
                .flat_map(|k| k.parts.iter().map(|(p, _)| p.as_str()))
        };
        let mut out = Vec::new();
        for (id, r) in &raw.remedies {
            let sources = [&r.source, &raw.source];
            let clears = self.links(&r.clears, scope, &sources, "a chance");
            if r.clears.is_empty() && r.clears.dropped().is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        id.span,
                        format!("remedy `{}` clears nothing", id.value),
                    )
                    .help("list what it mends under `clears:`"),
                );
            }
            let may_break = self.links(&r.may_break, scope, &sources, "a chance");
            for part in &r.bridges {
                if !parts().any(|p| p == part.value) {
                    self.unknown("part of a line", part, parts());
                }
            }
            let step = self.step(
                id,
                &r.minutes,
                &r.parts,
                &r.conditions,
                &r.cautions,
                &r.tools,
                &r.explain,
                &sources,
                bench,
            );
            out.push(Remedy {
                id: id.value.clone(),
                name: r.name.value.clone(),
                clears,
                may_break,
                seating: r.seating,
                bridges: texts(&r.bridges),
                only_on: texts(&r.only_on),
                step,
            });
        }
        out
    }

    /// Items that nothing needs, faults that no test sees or no remedy clears.
    fn coverage(&mut self, raw: &RawPack, pack: &Pack) {
        let mut needed = vec![pack.minimal; pack.faults.len()];
        let mut seen = vec![false; pack.faults.len()];
        let mut cleared = vec![pack.minimal || pack.remedies.is_empty(); pack.faults.len()];
        for f in &pack.functions {
            f.links.iter().for_each(|l| needed[l.0] = true);
        }
        for s in &pack.symptoms {
            s.links.iter().for_each(|l| needed[l.0] = true);
        }
        for t in &pack.tests {
            match &t.how {
                How::Tries { function, .. } => pack
                    .functions
                    .get(*function)
                    .into_iter()
                    .flat_map(|f| &f.links)
                    .for_each(|l| seen[l.0] = true),
                How::Shows { outcomes, .. } => {
                    for o in outcomes {
                        o.links.iter().for_each(|l| seen[l.0] = true);
                    }
                }
                How::Measures { line, .. } => pack
                    .lines
                    .get(*line)
                    .into_iter()
                    .flat_map(|l| &l.faults)
                    .for_each(|e| seen[e.fault] = true),
            }
        }
        for r in &pack.remedies {
            r.clears.iter().for_each(|l| cleared[l.0] = true);
        }
        let items = raw
            .items
            .iter()
            .chain(raw.shared.iter())
            .map(|(id, i)| (id, i.faults.iter().map(|(n, _)| n).collect::<Vec<_>>()))
            .chain(raw.faults.iter().map(|(id, _)| (id, vec![id])));
        for (item, (id, spans)) in pack.items.iter().zip(items) {
            let unneeded = item.faults.clone().all(|f| !needed[f]) && !item.faults.is_empty();
            if unneeded {
                self.push(
                    Problem::new(
                        Code::Unneeded,
                        id.span,
                        format!("no function needs item `{}`", id.value),
                    )
                    .help("add it to the `needs:` of a function that stops when it fails, or remove it"),
                );
            }
            for (f, name) in item.faults.clone().zip(spans) {
                let fault = pack.fault_id(f);
                if !seen[f] && !unneeded {
                    self.push(
                        Problem::new(
                            Code::Unseen,
                            name.span,
                            format!("no test can see the fault `{fault}`"),
                        )
                        .help("add a test whose function needs it or whose outcomes link to it"),
                    );
                }
                if !cleared[f] {
                    self.push(
                        Problem::new(
                            Code::Unmended,
                            name.span,
                            format!("no remedy clears the fault `{fault}`"),
                        )
                        .help("add it to the `clears:` of a remedy"),
                    );
                }
            }
        }
    }

    /// What is complained of has to be seen to work again before a job counts
    /// as mended: by a try of the device as it stands.
    fn proofs(&mut self, raw: &RawPack, pack: &Pack) {
        let mut missed: Vec<usize> = Vec::new();
        for ((_, r), s) in raw.symptoms.iter().zip(&pack.symptoms) {
            let (Some(f), Some(at)) = (s.loses, &r.loses) else {
                continue;
            };
            let everywhere = |t: &Test| {
                let on = |copy| t.only_on.contains(copy);
                t.only_on.is_empty() || !s.only_on.is_empty() && s.only_on.iter().all(on)
            };
            let mut tries = pack.tests.iter().filter(|t| t.how.proves() == Some(f));
            let some = tries.clone().next().is_some();
            if tries.any(everywhere) || missed.contains(&f) {
                continue;
            }
            missed.push(f);
            let id = &pack.functions[f].id;
            self.push(
                Problem::new(
                    Code::Unproved,
                    at.span,
                    format!("no test proves that `{id}` works again"),
                )
                .label("its loss is complained of here")
                .help(if some {
                    "the test that tries it is only on some copies: limit the symptom to the same `only-on:`, or open the test to all".to_owned()
                } else {
                    format!("add a test that `tries: {id}` on the device as it stands, with nothing swapped, lent or left out")
                }),
            );
        }
    }

    /// Rates are shares of jobs; with the share of nothing found and of
    /// doubles they add up to a fixed sum.
    fn shares(&mut self, raw: &RawPack, pack: &Pack) {
        let sum: f64 = pack.faults.iter().map(|f| f.rate).sum();
        if pack.minimal || sum <= 0.0 {
            return;
        }
        let want = 1.0 - pack.nothing_found + pack.two_or_more;
        if (sum / want - 1.0).abs() > 0.01 {
            self.push(
                Problem::new(
                    Code::Shares,
                    raw.nothing_found.as_ref().map_or(raw.pack.span, |n| n.span),
                    format!(
                        "the rates add up to {:.0} of 1000 jobs; with {:.0} where nothing is found \
                         and {:.0} with two faults it should be {:.0}",
                        sum * 1e3,
                        pack.nothing_found * 1e3,
                        pack.two_or_more * 1e3,
                        want * 1e3
                    ),
                )
                .help(format!(
                    "multiply every rate by {:.3}, or change the shares",
                    want / sum
                )),
            );
        }
    }
}

/// Two of the conditions that exclude each other.
fn clash(bench: &Bench, conditions: &[usize]) -> Option<(usize, usize)> {
    conditions.iter().find_map(|i| {
        bench.conditions[*i]
            .excludes
            .iter()
            .find(|j| conditions.contains(j))
            .map(|j| (*i, *j))
    })
}

/// What a name may be turned into to be an identifier.
fn identifier(name: &str) -> Option<String> {
    let made: String = name
        .trim()
        .to_lowercase()
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '_' {
                c
            } else {
                '-'
            }
        })
        .collect();
    let made = made.trim_matches('-');
    made.starts_with(|c: char| c.is_ascii_lowercase())
        .then(|| format!("`{made}`"))
}

/// The faults a name stands for: one, or all of an item. Empty if unknown.
/// Items of a pack by name. Duplicates are told where the items are read.
fn item_names(raw: &RawPack) -> Names<'_> {
    let mut items: Names = HashMap::new();
    for (i, (n, _)) in raw.items.iter().chain(raw.shared.iter()).enumerate() {
        items.entry(n.as_str()).or_insert((i, n.span));
    }
    for (i, (n, _)) in raw.faults.iter().enumerate() {
        items.entry(n.as_str()).or_insert((i, n.span));
    }
    items
}

fn resolve(name: &str, items: &Names, pack: &Pack) -> Vec<PackFault> {
    let (item, fault) = match name.split_once('.') {
        Some((i, f)) => (i, Some(f)),
        None => (name, None),
    };
    let Some((i, _)) = items.get(item) else {
        return Vec::new();
    };
    let Some(item) = pack.items.get(*i) else {
        return Vec::new();
    };
    item.faults
        .clone()
        .filter(|f| fault.is_none_or(|id| pack.faults[*f].id == id))
        .collect()
}

fn texts(list: &[At<String>]) -> Vec<String> {
    list.iter().map(|t| t.value.clone()).collect()
}

/// A name turned into an identifier: "rear camera" becomes "rear-camera".
pub fn slug(name: &str) -> String {
    name.trim()
        .to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect()
}
