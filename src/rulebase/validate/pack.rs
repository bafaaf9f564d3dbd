//! Packs: the sections of a pack file, one after another.

use typed_index_collections::TiVec;

use super::links::{Scope, item_names};
use super::named::Named;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawLine, RawPack};
use crate::rulebase::source::{At, Span};
use crate::rulebase::typed::Pack;

impl Validator<'_> {
    pub(super) fn pack(&mut self, raw: &RawPack, bench: &Bench, kinds: &[&RawLine]) -> Pack {
        let shared = self.words.clone();
        self.name_words(&raw.words);
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
        let share = |v: &mut Self, n: &Option<At<f64>>, default: f64| match n {
            Some(n) => {
                v.sourced(n.span, &[&raw.source]);
                v.within(n, Quantity::SHARE_OF_JOBS) / 1000.0
            }
            None => default,
        };
        let nothing_found = share(self, &raw.nothing_found, 0.05);
        let two_or_more = share(self, &raw.two_or_more, 0.03);
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
            faults: TiVec::new(),
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
        let functions = self.names(Named::Function, &raw.functions);
        for (name, _) in &raw.functions {
            if let Some((_, first)) = items.get(name.as_str()) {
                self.duplicate(Named::Name, name, *first);
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
                self.unknown(Named::Symptom, name, known);
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
        self.words = shared;
        pack
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
}
