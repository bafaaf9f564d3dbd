//! Rules and a device description to a [`Model`].

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use thiserror::Error;

use super::joined::Joined;
use super::*;
use crate::belief::{ConversionError, Prior, convert, leak_for};
use crate::circuit::solve::SolveError;
use crate::line::Probing;
use crate::rulebase::{
    Carried, Device, Fault, How, Line, MeterMode, Pack, PackFault, Rulebase, TRIED, Test, slug,
};
use crate::shown::shown;

/// Why a device cannot be compiled.
#[derive(Debug, Error)]
pub enum CompileError {
    /// No description fits.
    #[error(
        "no device description for kind `{kind}`{}; known kinds: {known}",
        .near.as_ref().map(|n| format!(" (did you mean `{n}`?)")).unwrap_or_default()
    )]
    NoDevice {
        /// What was asked for.
        kind: String,
        /// What there is.
        known: String,
        /// What was probably meant.
        near: Option<String>,
    },
    /// A history answer that no question asks for.
    #[error("no history question is called `{0}`; known: {1}")]
    NoHistory(String, String),
    /// No meter of that name.
    #[error(
        "no meter is called `{name}`; {known}{}",
        .near.as_ref().map(|n| format!(" (did you mean `{n}`?)")).unwrap_or_default()
    )]
    NoMeter {
        /// What was asked for.
        name: String,
        /// What was probably meant.
        near: Option<String>,
        /// What there is.
        known: String,
    },
    /// A line has values that no circuit can have.
    #[error("line `{line}`: {why}")]
    Line {
        /// The line.
        line: String,
        /// What stands in the way.
        why: SolveError,
    },
    /// The rates of a pack cannot be turned into priors.
    #[error("pack `{pack}`: {why}")]
    Rates {
        /// The pack.
        pack: String,
        /// What stands in the way.
        why: ConversionError,
    },
}

/// Finds the description that fits best: model and variant, model, kind.
fn describe<'a>(
    rules: &'a Rulebase,
    unit: &super::Unit,
) -> Result<Option<&'a Device>, CompileError> {
    if rules.devices.is_empty() {
        return Ok(None);
    }
    let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
    let score = |d: &Device| -> Option<u32> {
        let mut s = 0;
        if !unit.kind.is_empty() {
            if !same(&d.kind, &unit.kind) {
                return None;
            }
            s += 1;
        }
        match (&d.model, &unit.model) {
            (Some(a), Some(b)) if same(a, b) => s += 4,
            (Some(_), _) => return None,
            (None, _) => {}
        }
        match (&d.variant, &unit.variant) {
            (Some(a), Some(b)) if same(a, b) => s += 2,
            (Some(_), Some(_)) => return None,
            _ => {}
        }
        Some(s)
    };
    let best = rules
        .devices
        .iter()
        .filter_map(|d| score(d).map(|s| (s, d)))
        .max_by_key(|(s, _)| *s)
        .filter(|(s, _)| *s > 0 || unit.kind.is_empty())
        .map(|(_, d)| d);
    if best.is_none() && !unit.kind.is_empty() {
        let mut kinds: Vec<&str> = rules.devices.iter().map(|d| d.kind.as_str()).collect();
        kinds.sort_unstable();
        kinds.dedup();
        return Err(CompileError::NoDevice {
            kind: unit.kind.clone(),
            near: crate::rulebase::nearest(&unit.kind, kinds.iter().copied()).map(str::to_owned),
            known: kinds.join(", "),
        });
    }
    Ok(if unit.kind.is_empty() && unit.model.is_none() {
        None
    } else {
        best
    })
}

/// Compiles a device with the answers about its past, for the first meter of
/// the rules. `in_play` limits it to some packs; `None` takes all that the
/// device carries.
///
/// # Errors
/// If no device description fits, a history answer is unknown, rates cannot
/// be turned into priors or a line cannot be solved.
pub fn compile(
    rules: &Rulebase,
    unit: &super::Unit,
    history: &[String],
    in_play: Option<&[String]>,
) -> Result<Model, CompileError> {
    let in_play = in_play.map(|packs| InPlay {
        packs: packs.to_vec(),
        joined: Vec::new(),
    });
    let meter = BenchMeter::of(rules, None)?;
    compile_for(rules, unit, history, in_play.as_ref(), &meter)
}

/// The same for a meter.
///
/// # Errors
/// As for [`compile`].
pub fn compile_for(
    rules: &Rulebase,
    unit: &super::Unit,
    history: &[String],
    in_play: Option<&InPlay>,
    meter: &BenchMeter,
) -> Result<Model, CompileError> {
    let mut model = build(rules, unit, history, in_play, false)?;
    for (test, good) in std::mem::take(&mut model.known_good) {
        let Some(at) = model.tests[test].measures else {
            continue;
        };
        let with = BenchMeter::of(rules, good.meter.as_deref())?.meter;
        let taken = model.refer(at, good.value, &with, &good.source);
        let of = format!("{} of a good board ({})", model.tests[test].id, good.source);
        match taken {
            Err(why) => model.refused.push(format!("{of}: {why}")),
            Ok(true) => {
                let value = shown(good.value, at.probing.mode.unit());
                model.unexpected.push(format!(
                    "{of} reads {value}, which the line of these rules does not; a good board \
                     goes before them, so it counts"
                ));
            }
            Ok(false) => {}
        }
    }
    model.take(meter)?;
    Ok(model)
}

/// The symptoms alone, without chances, of all that a device carries: enough
/// to recognise a complaint, and with it the packs to compile.
///
/// # Errors
/// As for [`compile`].
pub fn outline(
    rules: &Rulebase,
    unit: &super::Unit,
    history: &[String],
) -> Result<Model, CompileError> {
    build(rules, unit, history, None, true)
}

fn build(
    rules: &Rulebase,
    unit: &super::Unit,
    history: &[String],
    in_play: Option<&InPlay>,
    outline: bool,
) -> Result<Model, CompileError> {
    for h in history {
        if !rules.bench.history.iter().any(|(id, _)| id == h) && !rules.bench.history.is_empty() {
            let known: Vec<&str> = rules.bench.history.iter().map(|h| h.0.as_str()).collect();
            return Err(CompileError::NoHistory(h.clone(), known.join(", ")));
        }
    }
    let device = describe(rules, unit)?;
    let described: HashSet<&str> = rules
        .devices
        .iter()
        .flat_map(|d| d.carries.iter().map(|c| c.0.as_str()))
        .collect();
    let mut carries: Vec<(&Pack, Vec<Carried>)> = Vec::new();
    for p in &rules.packs {
        let copies = match device.and_then(|d| d.carries.iter().find(|c| c.0 == p.id)) {
            Some((_, copies)) => Some(copies.clone()),
            // A pack that no description mentions is on every device.
            None if device.is_none() || !described.contains(p.id.as_str()) => Some(Vec::new()),
            None => None,
        };
        if let Some(mut copies) = copies {
            if copies.is_empty() {
                copies.push(Carried {
                    name: p.unit.clone().unwrap_or_else(|| p.id.clone()),
                    also: Vec::new(),
                });
            }
            if in_play.is_none_or(|all| p.minimal || all.packs.contains(&p.id)) {
                carries.push((p, copies));
            }
        }
    }
    let mut b = Builder {
        model: Model {
            bench: rules.bench.clone(),
            device: device.map_or_else(|| "any device".to_owned(), |d| d.name.clone()),
            packs: carries.iter().map(|c| c.0.id.clone()).collect(),
            past: rules.past.clone(),
            hazards: rules.hazards.clone(),
            found: vec![Default::default(); rules.bench.gates.len()],
            ..Model::default()
        },
        priors: Vec::new(),
        history,
        kind: device.map_or(unit.kind.as_str(), |d| d.kind.as_str()),
        prefixes: HashSet::new(),
        device,
        outline,
        joining: in_play.map_or(&[], |all| &all.joined),
        joined: Joined::default(),
    };
    // What joined acts on the general pack, which therefore comes after it.
    if !b.joining.is_empty() {
        carries.sort_by_key(|(pack, _)| pack.unheard.is_some());
    }
    for (pack, copies) in carries {
        b.pack(pack, &copies)?;
    }
    b.model.network = Network::new(b.priors);
    Ok(b.model)
}

struct Builder<'a> {
    model: Model,
    priors: Vec<Prior>,
    history: &'a [String],
    kind: &'a str,
    prefixes: HashSet<String>,
    device: Option<&'a Device>,
    /// Only what a complaint is recognised by is wanted.
    outline: bool,
    /// The packs that an entry alone brought in.
    joining: &'a [String],
    /// Their faults, as far as they are built.
    joined: Joined,
}

/// The chance of each fault of a pack that it gives cause for a complaint.
fn noticed(pack: &Pack) -> Vec<f64> {
    let mut strength = vec![0.0f64; pack.faults.len()];
    let symptoms = pack.symptoms.iter().map(|s| &s.links);
    for links in pack.functions.iter().map(|f| &f.links).chain(symptoms) {
        for (f, s) in links {
            strength[*f] = strength[*f].max(*s);
        }
    }
    strength
}

/// One copy of a pack: how its names and faults map to those of the model.
struct Copy<'a> {
    pack: &'a Pack,
    name: &'a str,
    prefix: String,
    first: bool,
    /// Fault of the pack to fault of the model; `None` if not on this device.
    faults: Vec<Option<usize>>,
    /// Function of the pack to function of the model.
    functions: Vec<usize>,
    /// Line of the pack to line of the model.
    lines: Vec<usize>,
    /// Priors without history, for the leaks.
    base: Vec<f64>,
}

impl Builder<'_> {
    fn prefix(&mut self, copy: &str, pack: &str) -> String {
        let mut p = slug(copy);
        if !self.prefixes.insert(p.clone()) {
            p = format!("{pack}-{p}");
            self.prefixes.insert(p.clone());
        }
        p
    }

    fn pack(&mut self, pack: &Pack, copies: &[Carried]) -> Result<(), CompileError> {
        let topics = pack.topic.iter().map(|p| (pack.id.clone(), p.clone()));
        self.model.topics.extend(topics);
        let base = self.base_priors(pack)?;
        let noticed = noticed(pack);
        let mut shared_faults: HashMap<PackFault, usize> = HashMap::new();
        let mut shared_functions: HashMap<usize, usize> = HashMap::new();
        let mut shared_lines: HashMap<usize, usize> = HashMap::new();
        let mut lines_of: Vec<Vec<usize>> = Vec::new();
        for (c, Carried { name, also }) in copies.iter().enumerate() {
            let mut copy = Copy {
                pack,
                name,
                prefix: if pack.unit.is_some() {
                    self.prefix(name, &pack.id)
                } else {
                    pack.id.clone()
                },
                first: c == 0,
                faults: vec![None; pack.faults.len()],
                functions: Vec::new(),
                lines: Vec::new(),
                base: base.clone(),
            };
            self.items(&mut copy, &mut shared_faults);
            if self.joining.contains(&pack.id) {
                for (f, n) in copy.faults.iter().enumerate() {
                    if let Some(n) = n {
                        let place = pack.items[pack.faults[f].item].r#where;
                        self.joined.push(*n, place, noticed[f]);
                    }
                }
            }
            self.functions(&mut copy, &mut shared_functions);
            self.symptoms(&copy);
            if !self.outline {
                self.lines(&mut copy, &mut shared_lines)?;
                self.tests(&copy);
                self.remedies(&copy)?;
                self.hazards(&copy);
                self.alike(&copy, &lines_of);
                lines_of.push(copy.lines.clone());
            }
            self.model.copies.push(CopyInfo {
                pack: pack.id.clone(),
                unit: pack.unit.clone().unwrap_or_default(),
                name: name.clone(),
                also: match (also.as_slice(), name.split_once(' ')) {
                    ([], Some((first, _))) => vec![first.to_owned()],
                    _ => also.clone(),
                },
                own: (0..pack.faults.len())
                    .filter(|f| !pack.items[pack.faults[*f].item].shared)
                    .filter_map(|f| copy.faults[f].map(|n| (n, noticed[f])))
                    .collect(),
            });
        }
        Ok(())
    }

    /// Prior of each fault of the pack for one copy, before its history.
    fn base_priors(&self, pack: &Pack) -> Result<Vec<f64>, CompileError> {
        if pack.minimal {
            return Ok(pack.faults.iter().map(|f| f.rate).collect());
        }
        if self.outline {
            return Ok(vec![0.0; pack.faults.len()]);
        }
        // The same rates are asked for at every entry of every job.
        let mut known = pack
            .worked_out
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some((_, priors)) = known.iter().find(|(kind, _)| kind == self.kind) {
            return Ok(priors.clone());
        }
        let faults: Vec<(f64, f64)> = pack
            .faults
            .iter()
            .zip(&noticed(pack))
            .map(|(f, s)| (self.rate(pack, f), *s))
            .collect();
        let priors = convert(&faults, pack.nothing_found, pack.two_or_more)
            .map_err(|why| CompileError::Rates {
                pack: pack.id.clone(),
                why,
            })?
            .priors;
        known.push((self.kind.to_owned(), priors.clone()));
        Ok(priors)
    }

    /// Share of jobs with this fault on devices of this kind.
    fn rate(&self, pack: &Pack, fault: &Fault) -> f64 {
        fault.rate * self.on_kind(&pack.items[fault.item].kinds) * self.on_kind(&fault.kinds)
    }

    /// The multiplier for the kind of this device.
    fn on_kind(&self, kinds: &[(String, f64)]) -> f64 {
        let own = kinds.iter().find(|(k, _)| k == self.kind);
        own.map_or(1.0, |(_, m)| *m)
    }

    fn items(&mut self, copy: &mut Copy, shared: &mut HashMap<PackFault, usize>) {
        let pack = copy.pack;
        for item in &pack.items {
            if self.on_kind(&item.kinds) == 0.0 {
                continue;
            }
            if item.shared && !copy.first {
                for f in item.faults.clone() {
                    copy.faults[f] = shared.get(&f).copied();
                }
                continue;
            }
            let id = copy.id(&item.id, item.shared);
            let name = copy.words(&item.name);
            let at = self.model.items.len();
            let mut own = Vec::new();
            for f in item.faults.clone() {
                let fault = &pack.faults[f];
                let history: f64 = fault
                    .history
                    .iter()
                    .filter(|(h, _)| self.history.contains(h))
                    .map(|(_, m)| m)
                    .product();
                let odds = history * copy.base[f] / (1.0 - copy.base[f]).max(1e-12);
                let p = if copy.base[f] >= 1.0 {
                    1.0
                } else {
                    odds / (1.0 + odds)
                };
                let n = self.model.faults.len();
                copy.faults[f] = Some(n);
                if item.shared {
                    shared.insert(f, n);
                }
                own.push(n);
                let place = Where::ALL
                    .iter()
                    .position(|w| *w == item.r#where)
                    .unwrap_or(0);
                self.priors.push(Prior::new(p, at, place));
                self.model.faults.push(FaultInfo {
                    id: if fault.id.is_empty() {
                        id.clone()
                    } else {
                        format!("{id}.{}", fault.id)
                    },
                    name: if fault.name.is_empty() {
                        name.clone()
                    } else {
                        format!("{name}: {}", copy.words(&fault.name))
                    },
                    item: at,
                    rate: (!pack.minimal).then(|| 1000.0 * self.rate(pack, fault)),
                    history,
                    explain: fault.explain.as_deref().map(|e| copy.words(e)),
                    source: fault.source.clone(),
                    unlisted: pack.is_unlisted(f),
                });
            }
            self.model.items.push(ItemInfo {
                id,
                name,
                r#where: item.r#where,
                faults: own,
                explain: item.explain.as_deref().map(|e| copy.words(e)),
            });
        }
    }

    /// What the faults that joined do to what breaks so in the general pack.
    fn break_as(&self, pack: &Pack, links: &[(PackFault, f64)]) -> Vec<(usize, f64)> {
        match pack.unheard {
            Some(_) => self.joined.break_as(&pack.by_place(links)),
            None => Vec::new(),
        }
    }

    fn functions(&mut self, copy: &mut Copy, shared: &mut HashMap<usize, usize>) {
        let pack = copy.pack;
        for (i, f) in pack.functions.iter().enumerate() {
            let once = copy.only_shared(f.links.iter().map(|l| l.0));
            if once && !copy.first {
                copy.functions.push(shared[&i]);
                continue;
            }
            let at = self.model.functions.len();
            if once {
                shared.insert(i, at);
            }
            copy.functions.push(at);
            self.model.functions.push(FunctionInfo {
                id: copy.id(&f.id, once),
                name: copy.words(&f.name),
                needs: f.needs.clone(),
                links: [copy.links(&f.links), self.break_as(pack, &f.links)].concat(),
            });
        }
    }

    fn symptoms(&mut self, copy: &Copy) {
        let pack = copy.pack;
        for (i, s) in pack.symptoms.iter().enumerate() {
            if !copy.counts(&s.only_on) {
                continue;
            }
            let once = copy.only_shared(s.links.iter().map(|l| l.0));
            if once && !copy.first {
                continue;
            }
            let mut strengths = vec![0.0; pack.faults.len()];
            for (f, p) in &s.links {
                strengths[*f] = *p;
            }
            let leak = leak_for(s.nothing_found, &copy.base, &strengths);
            let mut links = copy.links(&s.links);
            if pack.unheard.is_some() {
                links.extend(self.joined.complained_of_as(&pack.by_place(&s.links)));
            }
            if pack.unheard == Some(i) && copy.first {
                self.model.unheard = Some(self.model.symptoms.len());
            }
            self.model.symptoms.push(SymptomInfo {
                id: copy.id(&s.id, once),
                name: copy.words(&s.name),
                copy: (!once && pack.unit.is_some()).then(|| copy.name.to_owned()),
                pack: pack.id.clone(),
                general: i == 0 && pack.symptoms.len() > 1,
                function: s.loses.map(|f| copy.functions[f]),
                rules_out: s.rules_out.clone(),
                hear: s.hear.clone(),
                hear_in_topic: s.hear_in_topic.clone(),
                said_of: s.said_of.clone(),
                finding: Arc::new(Finding::yes_no(leak, &links, 0.0)),
            });
        }
    }

    fn lines(
        &mut self,
        copy: &mut Copy,
        shared: &mut HashMap<usize, usize>,
    ) -> Result<(), CompileError> {
        for (i, line) in copy.pack.lines.iter().enumerate() {
            // What only shared faults touch is there once, and read once.
            let once = copy.shares(line);
            if let Some(at) = shared.get(&i).filter(|_| once) {
                copy.lines.push(*at);
                continue;
            }
            shared.insert(i, self.model.lines.len());
            // A device may have it with other values.
            let own = self.device.and_then(|d| {
                let same = |(p, l): &&(String, Line)| *p == copy.pack.id && l.id == line.id;
                d.lines.iter().find(same).map(|(_, l)| l)
            });
            let line = own.unwrap_or(line);
            let mut faults: Vec<(PackFault, usize)> = Vec::new();
            for e in &line.faults {
                if let Some(n) = copy.faults[e.fault].filter(|n| !faults.iter().any(|f| f.1 == *n))
                {
                    faults.push((e.fault, n));
                }
            }
            let id = copy.id(&line.id, once);
            let name = copy.words(&line.name);
            let info = LineInfo::new(id.clone(), name, line.clone(), faults, &self.priors)
                .map_err(|why| CompileError::Line { line: id, why })?;
            copy.lines.push(self.model.lines.len());
            self.model.lines.push(info);
        }
        Ok(())
    }

    /// Which lines are built alike: by the pack, as halves of one, and the same
    /// line of other copies where they have it with the same parts.
    fn alike(&mut self, copy: &Copy, others: &[Vec<usize>]) {
        let sibling = |line: usize, mirrored: bool| Sibling { line, mirrored };
        for (i, at) in copy.lines.iter().copied().enumerate() {
            let line = &self.model.lines[at].line;
            // A device may have one of two siblings built otherwise.
            let mutual = |other: &usize| self.model.lines[*other].line.siblings.contains(&i);
            let of_pack = line.siblings.iter();
            let of_pack = of_pack
                .filter_map(|s| copy.lines.get(*s).copied())
                .filter(mutual);
            let same = |other: &usize| self.model.lines[*other].line.parts == line.parts;
            let of_copies = others.iter().filter_map(|o| o.get(i).copied()).filter(same);
            let alike: Vec<usize> = of_pack.chain(of_copies).collect();
            let halved = line.halves.is_some();
            // Copies may share a line: it is no sibling of itself.
            let add = |to: &mut Vec<Sibling>, new: Sibling| {
                if !to.contains(&new) {
                    to.push(new);
                }
            };
            for other in alike.into_iter().filter(|o| *o != at) {
                add(&mut self.model.lines[at].siblings, sibling(other, false));
                add(&mut self.model.lines[other].siblings, sibling(at, false));
            }
            if halved {
                add(&mut self.model.lines[at].siblings, sibling(at, true));
            }
        }
    }

    /// A step for this copy, or for all where they share it, with the cautions
    /// that it calls for; `about` names it.
    fn step(&self, copy: &Copy, once: bool, s: &Step, about: &str) -> Step {
        let unit = if once { "" } else { copy.name };
        let about = format!("{unit} {}", copy.words(about));
        let mut step = Step {
            explain: s.explain.as_deref().map(|e| copy.words(e)),
            ..s.clone()
        };
        step.call_for_cautions(&self.model.bench, &about);
        step
    }

    fn probing(&self, t: &Test, point: usize, mode: MeterMode) -> Probing {
        let conditions = self.model.bench.closure(&t.step.conditions);
        Probing::new(point, mode, conditions.into_iter().collect())
    }

    /// The tests; what those of lines may read is [foretold](Model::take) at the
    /// end.
    fn tests(&mut self, copy: &Copy) {
        let pack = copy.pack;
        let mut order: Vec<(usize, &String)> = Vec::new();
        for (index, t) in pack.tests.iter().enumerate() {
            if !copy.counts(&t.only_on) {
                continue;
            }
            let mut before = None;
            let mut after = None;
            let mut function = None;
            let mut runs = false;
            let mut fitted = None;
            let mut proves = None;
            let mut measures = None;
            let once;
            let outcomes: Vec<OutcomeInfo>;
            let finding;
            match &t.how {
                How::Measures { line, point, mode } => {
                    once = copy.shares(&pack.lines[*line]);
                    outcomes = Vec::new();
                    finding = Finding::yes_no(0.0, &[], 0.0);
                    measures = Some(Measures {
                        line: copy.lines[*line],
                        probing: self.probing(t, *point, *mode),
                    });
                }
                How::Shows {
                    outcomes: out,
                    leak,
                } => {
                    once = copy.only_shared(out.iter().flat_map(|o| o.links.iter().map(|l| l.0)));
                    let mut pushes: Vec<(usize, Vec<f64>)> = Vec::new();
                    for (k, o) in out.iter().enumerate().skip(1) {
                        for (f, p) in copy.links(&o.links) {
                            match pushes.iter_mut().find(|x| x.0 == f) {
                                Some(x) => x.1[k - 1] = p,
                                None => {
                                    let mut v = vec![0.0; out.len() - 1];
                                    v[k - 1] = p;
                                    pushes.push((f, v));
                                }
                            }
                        }
                    }
                    finding =
                        Finding::ordered(out.len(), *leak, &pushes, 0.0).mistaken(&t.mistaken);
                    outcomes = out
                        .iter()
                        .map(|o| OutcomeInfo {
                            id: o.id.clone(),
                            says: copy.words(&o.says),
                            between: o.between,
                        })
                        .collect();
                }
                How::Tries {
                    function: f,
                    partly,
                    swaps_in,
                    lends,
                    ..
                } => {
                    let acts = |(l, s): &(PackFault, f64)| (*l, s * pack.acts_in(&t.how, *l));
                    let broken = |function: usize| {
                        let links = pack.functions[function].links.iter().map(acts);
                        let kept: Vec<(PackFault, f64)> = links.filter(|l| l.1 > 0.0).collect();
                        [copy.links(&kept), self.break_as(pack, &kept)].concat()
                    };
                    // The fuller function needs all that this one needs.
                    let widest = partly.as_ref().map_or(*f, |p| p.without);
                    let links = &pack.functions[widest].links;
                    once = copy.only_shared(links.iter().map(|l| l.0));
                    let fails = broken(*f);
                    let told = match partly {
                        None => Finding::yes_no(0.0, &fails, 0.0),
                        Some(p) => {
                            let pushes = in_part(&broken(p.without), &fails);
                            Finding::ordered(3, 0.0, &pushes, 0.0)
                        }
                    };
                    finding = told.mistaken(&t.mistaken);
                    function = Some(copy.functions[*f]);
                    runs = lends.is_none();
                    let item = swaps_in.map(|i| pack.items[i].faults.clone());
                    let known = item.and_then(|mut of| of.find_map(|f| copy.faults[f]));
                    fitted = known.map(|f| self.model.faults[f].item);
                    proves = t.how.proves().map(|f| copy.functions[f]);
                    let seated = |item: &Option<usize>| {
                        item.map(|i| copy.seating(i))
                            .filter(|c| !c.clears.is_empty())
                    };
                    before = seated(swaps_in);
                    after = seated(lends);
                    let outcome = |id: &str, says: &str| OutcomeInfo {
                        id: id.into(),
                        says: says.into(),
                        between: None,
                    };
                    let [works, fails] = TRIED;
                    let part = partly.iter().map(|p| {
                        let word = p.outcome.replace('-', " ");
                        outcome(&p.outcome, &format!("yes, but {word}"))
                    });
                    outcomes = std::iter::once(outcome(works, "yes, it works"))
                        .chain(part)
                        .chain(std::iter::once(outcome(fails, "no")))
                        .collect();
                }
            }
            if once && !copy.first {
                continue;
            }
            let foretold = match &before {
                None => finding.clone(),
                Some(change) => finding.after(change),
            };
            // A question that follows from the line follows from that of the
            // device.
            let asked = match (&t.how, measures) {
                (How::Measures { line, point, mode }, Some(m))
                    if t.ask == pack.lines[*line].question(*point, *mode, None) =>
                {
                    self.model.lines[m.line].line.question(*point, *mode, None)
                }
                _ => t.ask.clone(),
            };
            let good = self.device.into_iter().flat_map(|d| &d.good);
            let good = good.filter(|g| g.pack == pack.id && g.test == index);
            let good = good.filter(|g| copy.counts(&g.only_on));
            let at = self.model.tests.len();
            self.model.known_good.extend(good.map(|g| (at, g.clone())));
            self.model.tests.push(TestInfo {
                id: copy.id(&t.id, once),
                ask: copy.words(&asked),
                kind: t.kind,
                outcomes,
                finding: Arc::new(finding),
                foretold: Arc::new(foretold),
                before,
                after,
                swaps_in: fitted,
                proves,
                function,
                runs,
                measures,
                unit: match &t.how {
                    How::Measures { mode, .. } => Some(mode.unit().to_owned()),
                    _ => t.unit.clone(),
                },
                most_volts: None,
                reliability: t.reliability,
                mistaken: t.mistaken.clone(),
                step: self.step(copy, once, &t.step, &format!("{} {asked}", t.id)),
                only_for: t.only_for.clone(),
                raises: t.raises.clone(),
                checks: None,
                comes_after: Vec::new(),
            });
            order.extend(t.after.iter().map(|before| (at, before)));
        }
        for (at, before) in order {
            let ids = [copy.id(before, false), copy.id(before, true)];
            let mut tests = self.model.tests.iter();
            let place = tests.position(|t| ids.contains(&t.id));
            self.model.tests[at].comes_after.extend(place);
        }
    }

    /// What the checks of gates find of the faults of a copy.
    fn hazards(&mut self, copy: &Copy) {
        for h in &copy.pack.hazards {
            let found = &mut self.model.found[h.gate];
            let known = |f: &usize| found.links.iter().any(|(g, _)| g == f);
            let links = copy.links(&h.links).into_iter();
            let new: Vec<_> = links.filter(|(f, _)| !known(f)).collect();
            found.links.extend(new);
            if copy.first {
                found.clear *= 1.0 - h.leak;
            }
        }
    }

    fn remedies(&mut self, copy: &Copy) -> Result<(), CompileError> {
        for r in &copy.pack.remedies {
            if !copy.counts(&r.only_on) {
                continue;
            }
            let mut bridges = Vec::new();
            for line in &copy.lines {
                let info = &self.model.lines[*line];
                let wanted = |id: &String| r.bridges.contains(id);
                for part in (0..info.line.parts.len()).filter(|p| wanted(&info.line.parts[*p].id)) {
                    let harms = info.wire_harms(part).map_err(|why| CompileError::Line {
                        line: info.id.clone(),
                        why,
                    })?;
                    if !harms {
                        bridges.push((*line, part));
                    }
                }
            }
            if bridges.is_empty() && !r.bridges.is_empty() {
                continue;
            }
            let once = copy.only_shared(r.clears.iter().chain(&r.may_break).map(|l| l.0));
            if once && !copy.first {
                continue;
            }
            self.model.remedies.push(RemedyInfo {
                id: copy.id(&r.id, once),
                name: copy.words(&r.name),
                change: Change {
                    clears: copy.links(&r.clears),
                    brings: copy.links(&r.may_break),
                },
                bridges,
                step: self.step(copy, once, &r.step, &format!("{} {}", r.id, r.name)),
            });
        }
        Ok(())
    }
}

/// What each fault pushes a try to that may come out in part: to *in part* as far
/// as it breaks the fuller function beyond the tried one, to *fails* as far as it
/// breaks the tried one. So the chances of both functions are as stated.
fn in_part(fuller: &[(usize, f64)], tried: &[(usize, f64)]) -> Vec<(usize, Vec<f64>)> {
    let works = |links: &[(usize, f64)], fault: usize| -> f64 {
        let own = links.iter().filter(|l| l.0 == fault);
        own.map(|l| 1.0 - l.1).product()
    };
    let mut faults: Vec<usize> = fuller.iter().chain(tried).map(|l| l.0).collect();
    faults.sort_unstable();
    faults.dedup();
    let pushes = faults.into_iter().map(|f| {
        let fails = 1.0 - works(tried, f);
        let partly = 1.0 - works(fuller, f);
        (f, vec![(partly - fails).max(0.0), fails])
    });
    pushes.collect()
}

impl Copy<'_> {
    fn id(&self, id: &str, shared: bool) -> String {
        if self.pack.minimal {
            id.to_owned()
        } else if shared {
            format!("{}/{id}", self.pack.id)
        } else {
            format!("{}/{id}", self.prefix)
        }
    }

    /// Whether something limited to some copies is for this one.
    fn counts(&self, only_on: &[String]) -> bool {
        only_on.is_empty() || only_on.iter().any(|n| n == self.name)
    }

    fn words(&self, text: &str) -> String {
        text.replace("{unit}", self.name)
    }

    fn shares(&self, line: &Line) -> bool {
        self.only_shared(line.faults.iter().map(|e| e.fault))
    }

    /// Whether these are faults of shared items alone; what nobody listed of a copy
    /// makes nothing its own.
    fn only_shared(&self, mut faults: impl Iterator<Item = PackFault>) -> bool {
        let shared = |f: PackFault| self.pack.items[self.pack.faults[f].item].shared;
        faults.all(|f| shared(f) || self.pack.is_unlisted(f))
    }

    fn links(&self, links: &[(PackFault, f64)]) -> Vec<(usize, f64)> {
        links
            .iter()
            .filter_map(|(f, s)| self.faults[*f].map(|n| (n, *s)))
            .collect()
    }

    /// What fitting an item does to the contacts it mates with.
    fn seating(&self, item: usize) -> Change {
        let mates = &self.pack.items[item].mates;
        let mut clears: Vec<(usize, f64)> = Vec::new();
        for r in self.pack.remedies.iter().filter(|r| r.seating) {
            for (f, chance) in &r.clears {
                if !mates.contains(&self.pack.faults[*f].item) {
                    continue;
                }
                let Some(n) = self.faults[*f] else { continue };
                match clears.iter_mut().find(|c| c.0 == n) {
                    Some(c) => c.1 = c.1.max(*chance),
                    None => clears.push((n, *chance)),
                }
            }
        }
        Change {
            clears,
            brings: Vec::new(),
        }
    }
}
