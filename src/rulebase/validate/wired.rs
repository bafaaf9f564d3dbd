//! Lines of packs that are otherwise on one device: other values, another template.

use super::links::item_names;
use super::named::Named;
use super::names::Names;
use super::validator::Validator;
use super::values::with;
use crate::bench::Bench;
use crate::rulebase::line::{Effect, Harm, Line, PackFault};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawDevice, RawLine, RawPack, RawUse, RawWired};
use crate::rulebase::shape::{Entries, Harms};
use crate::rulebase::source::At;
use crate::rulebase::typed::Pack;

/// A line of a pack that a device speaks of.
struct Meant<'f> {
    /// The pack as it is written.
    written: &'f RawPack,
    /// The pack as it is typed.
    typed: &'f Pack,
    /// The line as it is written.
    used: &'f RawUse,
    /// The line as it is typed, if it could be.
    line: Option<&'f Line>,
}

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
        let own = [&raw.source];
        self.each_line(&raw.lines, files, packs, |v, _, meant, values| {
            let Meant { written, used, .. } = meant;
            let kind = kinds.iter().find(|k| k.line.value == used.line.value)?;
            let sources = [&used.source, &written.source];
            v.given(kind, values, &own);
            let anew = [with(values, &own), with(&used.with, &sources)];
            let line = v.anew(kind, &anew, bench);
            let of_pack = meant.line?;
            Some(Line {
                faults: of_pack.faults.clone(),
                siblings: of_pack.siblings.clone(),
                ..line
            })
        })
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
        let own = [&raw.source];
        self.each_line(&raw.wired, files, packs, |v, (name, id), meant, w| {
            let of_pack = meant.line?;
            let Some(kind) = kinds.iter().find(|k| k.line.value == w.line.value) else {
                let known = kinds.iter().map(|k| k.line.as_str());
                v.unknown(Named::LineTemplate, &w.line, known);
                return None;
            };
            v.stands_once(raw, name, id);
            v.given(kind, &w.with, &own);
            let mut line = v.anew(kind, &[with(&w.with, &own)], bench);
            v.order_points(&mut line, of_pack, w, meant.typed);
            line.faults = v.wired_faults(&line, &of_pack.faults, &meant, w, (kind, &raw.source));
            Some(line)
        })
    }

    /// Goes through what a device says of the lines of packs, and makes a line of each
    /// that there is: it keeps the name that it has in its pack.
    fn each_line<'f, T>(
        &mut self,
        said: &Entries<Entries<T>>,
        files: &[&'f RawPack],
        packs: &'f [Pack],
        mut make: impl FnMut(&mut Self, (&At<String>, &At<String>), Meant<'f>, &T) -> Option<Line>,
    ) -> Vec<(String, Line)> {
        self.unread.clear();
        let mut out = Vec::new();
        for (name, lines) in said {
            let Some((written, typed)) = self.pack_meant(name, files, packs) else {
                continue;
            };
            for (id, what) in lines {
                let Some((at, used)) = self.line_meant(id, written) else {
                    continue;
                };
                let line = typed.lines.get(at);
                let meant = Meant {
                    written,
                    typed,
                    used,
                    line,
                };
                let made = make(self, (name, id), meant, what);
                if let (Some(mut made), Some(line)) = (made, line) {
                    made.id = line.id.clone();
                    made.name = line.name.clone();
                    out.push((name.value.clone(), made));
                }
            }
        }
        out
    }

    /// A line of a pack stands under `lines` or under `wired`.
    fn stands_once(&mut self, raw: &RawDevice, pack: &At<String>, id: &At<String>) {
        let lines = raw.lines.iter().filter(|(p, _)| p.value == pack.value);
        let mut lines = lines.flat_map(|(_, lines)| lines.iter());
        if let Some((twice, _)) = lines.find(|(l, _)| l.value == id.value) {
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
    }

    /// Puts the points of the pack's line first, in their order: tests know points by
    /// their place in it.
    fn order_points(&mut self, line: &mut Line, of_pack: &Line, w: &RawWired, pack: &Pack) {
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
                        pack.id,
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
    }

    /// What the faults of a pack do to a line that is built otherwise.
    fn wired_faults(
        &mut self,
        line: &Line,
        of_pack: &[Effect],
        meant: &Meant,
        w: &RawWired,
        (kind, source): (&RawLine, &Option<At<String>>),
    ) -> Vec<Effect> {
        let typed = meant.typed;
        let items = item_names(meant.written);
        let mut faults = self.effects(&w.faults, kind, line, &items, typed, &[source]);
        let taken = self.taken_over(&meant.used.faults, kind, line, &items, typed);
        let elsewhere = |f: PackFault| faults.iter().any(|e| e.fault == f);
        let left: Vec<Effect> = (taken.into_iter())
            .filter(|e| !elsewhere(e.fault))
            .collect();
        let lost = of_pack.iter().map(|e| e.fault).find(|f| {
            let count = |of: &[Effect]| of.iter().filter(|e| e.fault == *f).count();
            let listed = !typed.is_unlisted(*f);
            listed && !elsewhere(*f) && count(&left) < count(of_pack)
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
        let strange = of_pack.iter().filter(|e| e.harm == Harm::Strange);
        faults.extend(strange);
        faults.sort_by_key(|e| e.fault);
        faults
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
