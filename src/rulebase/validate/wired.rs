//! Lines of packs that are otherwise on one device: other values, another template.

use super::links::item_names;
use super::named::Named;
use super::names::Names;
use super::validator::Validator;
use super::values::with;
use crate::bench::Bench;
use crate::rulebase::line::{Effect, Harm, Line, PackFault};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawDevice, RawLine, RawPack, RawUse};
use crate::rulebase::shape::{Entries, Harms};
use crate::rulebase::source::At;
use crate::rulebase::typed::Pack;

impl Validator<'_> {
    /// Lines of packs with the values that they have on one device.
    pub(super) fn device_lines(
        &mut self,
        raw: &RawDevice,
        files: &[&RawPack],
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
        files: &[&RawPack],
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
                    self.unknown(Named::LineTemplate, &w.line, known);
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

    /// The pack that a device speaks of, as written and as typed.
    fn pack_meant<'f>(
        &mut self,
        name: &At<String>,
        files: &[&'f RawPack],
        packs: &'f [Pack],
    ) -> Option<(&'f RawPack, &'f Pack)> {
        let written = files.iter().find(|p| p.pack.value == name.value).copied();
        let typed = packs.iter().find(|p| p.id == name.value);
        if written.is_none() || typed.is_none() {
            self.unknown(Named::Pack, name, packs.iter().map(|p| p.id.as_str()));
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
            self.unknown(Named::Line, id, known);
        }
        at.map(|at| (at, &written.lines[at].1))
    }
}
