//! Rules and a device description to a [`Model`].

mod carried;
mod copy;
mod error;
mod steps;

use carried::carried;
pub use carried::fingerprint;
use copy::Copy;
pub use error::CompileError;
use error::describe;

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use super::joined::Joined;
use super::*;
use crate::belief::{PlaceId, Prior, convert, leak_for};
use crate::rulebase::{Carried, Device, Fault, Line, Pack, PackFault, Rulebase, slug};
use crate::units::shown;

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
    let mut carries = carried(rules, device);
    carries.retain(|(p, _)| in_play.is_none_or(|all| p.minimal || all.packs.contains(&p.id)));
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
        priors: TiVec::new(),
        history,
        kind: device.map_or(unit.kind.as_str(), |d| d.kind.as_str()),
        prefixes: HashSet::new(),
        device,
        outline,
        joining: in_play.map_or(&[], |all| &all.joined),
        joined: Joined::default(),
        solved: rules.kept.of(),
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
    priors: TiVec<FaultId, Prior>,
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
    /// What was solved for the lines of these rules.
    solved: Arc<Solved>,
}

/// The chance of each fault of a pack that it gives cause for a complaint.
fn noticed(pack: &Pack) -> TiVec<PackFault, f64> {
    let mut strength = TiVec::from(vec![0.0f64; pack.faults.len()]);
    let symptoms = pack.symptoms.iter().map(|s| &s.links);
    for links in pack.functions.iter().map(|f| &f.links).chain(symptoms) {
        for (f, s) in links {
            strength[*f] = strength[*f].max(*s);
        }
    }
    strength
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
        let mut shared_faults: HashMap<PackFault, FaultId> = HashMap::new();
        let mut shared_functions: HashMap<usize, FunctionId> = HashMap::new();
        let mut shared_lines: HashMap<usize, LineId> = HashMap::new();
        let mut lines_of: Vec<Vec<LineId>> = Vec::new();
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
                faults: vec![None; pack.faults.len()].into(),
                functions: Vec::new(),
                lines: Vec::new(),
                base: base.clone(),
            };
            self.items(&mut copy, &mut shared_faults);
            if self.joining.contains(&pack.id) {
                for (f, n) in copy.faults.iter_enumerated() {
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
                own: (pack.faults.keys())
                    .filter(|f| !pack.items[pack.faults[*f].item].shared)
                    .filter_map(|f| copy.faults[f].map(|n| (n, noticed[f])))
                    .collect(),
            });
        }
        Ok(())
    }

    /// Prior of each fault of the pack for one copy, before its history.
    fn base_priors(&self, pack: &Pack) -> Result<TiVec<PackFault, f64>, CompileError> {
        if pack.minimal {
            return Ok(pack.faults.iter().map(|f| f.rate).collect());
        }
        if self.outline {
            return Ok(vec![0.0; pack.faults.len()].into());
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
        let priors = TiVec::from(priors);
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

    fn items(&mut self, copy: &mut Copy, shared: &mut HashMap<PackFault, FaultId>) {
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
            let at = self.model.items.next_key();
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
                let n = self.model.faults.next_key();
                copy.faults[f] = Some(n);
                if item.shared {
                    shared.insert(f, n);
                }
                own.push(n);
                let place = Where::ALL
                    .iter()
                    .position(|w| *w == item.r#where)
                    .unwrap_or(0);
                self.priors.push(Prior::new(p, at, PlaceId(place)));
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
    fn break_as(&self, pack: &Pack, links: &[(PackFault, f64)]) -> Vec<(FaultId, f64)> {
        match pack.unheard {
            Some(_) => self.joined.break_as(&pack.by_place(links)),
            None => Vec::new(),
        }
    }

    fn functions(&mut self, copy: &mut Copy, shared: &mut HashMap<usize, FunctionId>) {
        let pack = copy.pack;
        for (i, f) in pack.functions.iter().enumerate() {
            let once = copy.only_shared(f.links.iter().map(|l| l.0));
            if once && !copy.first {
                copy.functions.push(shared[&i]);
                continue;
            }
            let at = self.model.functions.next_key();
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
            let mut strengths: TiVec<PackFault, f64> = vec![0.0; pack.faults.len()].into();
            for (f, p) in &s.links {
                strengths[*f] = *p;
            }
            let leak = leak_for(s.nothing_found, &copy.base.raw, &strengths.raw);
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
        shared: &mut HashMap<usize, LineId>,
    ) -> Result<(), CompileError> {
        for (i, line) in copy.pack.lines.iter().enumerate() {
            // What only shared faults touch is there once, and read once.
            let once = copy.shares(line);
            if let Some(at) = shared.get(&i).filter(|_| once) {
                copy.lines.push(*at);
                continue;
            }
            shared.insert(i, self.model.lines.next_key());
            // A device may have it with other values.
            let own = self.device.and_then(|d| {
                let same = |(p, l): &&(String, Line)| *p == copy.pack.id && l.id == line.id;
                d.lines.iter().find(same).map(|(_, l)| l)
            });
            let line = own.unwrap_or(line);
            let mut faults: Vec<(PackFault, FaultId)> = Vec::new();
            for e in &line.faults {
                if let Some(n) = copy.faults[e.fault].filter(|n| !faults.iter().any(|f| f.1 == *n))
                {
                    faults.push((e.fault, n));
                }
            }
            let id = copy.id(&line.id, once);
            let name = copy.words(&line.name);
            let info = LineInfo::new(
                id.clone(),
                name,
                line.clone(),
                faults,
                &self.priors,
                self.solved.clone(),
            )
            .map_err(|why| CompileError::Line { line: id, why })?;
            copy.lines.push(self.model.lines.next_key());
            self.model.lines.push(info);
        }
        Ok(())
    }

    /// Which lines are built alike: by the pack, as halves of one, and the same
    /// line of other copies where they have it with the same parts.
    fn alike(&mut self, copy: &Copy, others: &[Vec<LineId>]) {
        let sibling = |line: LineId, mirrored: bool| Sibling { line, mirrored };
        for (i, at) in copy.lines.iter().copied().enumerate() {
            let line = &self.model.lines[at].line;
            // A device may have one of two siblings built otherwise.
            let mutual = |other: &LineId| self.model.lines[*other].line.siblings.contains(&i);
            let of_pack = line.siblings.iter();
            let of_pack = of_pack
                .filter_map(|s| copy.lines.get(*s).copied())
                .filter(mutual);
            let same = |other: &LineId| self.model.lines[*other].line.parts == line.parts;
            let of_copies = others.iter().filter_map(|o| o.get(i).copied()).filter(same);
            let alike: Vec<LineId> = of_pack.chain(of_copies).collect();
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
}
