//! Lines of a pack: a template with some values given anew, and the faults on it.

use super::named::Named;
use super::names::Names;
use super::validator::Validator;
use super::values::with;
use crate::bench::Bench;
use crate::rulebase::line::Line;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawLine, RawPack};
use crate::rulebase::typed::Pack;

impl Validator<'_> {
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
        self.names(Named::Line, &raw.lines);
        let mut out = Vec::new();
        for (id, u) in &raw.lines {
            let Some(kind) = kinds.iter().find(|k| k.line.value == u.line.value) else {
                let known = kinds.iter().map(|k| k.line.as_str());
                self.unknown(Named::LineTemplate, &u.line, known);
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
}
