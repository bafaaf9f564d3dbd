//! Devices and the copies of packs on them.

use std::collections::HashMap;

use super::named::Named;
use super::names::{slug, texts};
use super::validator::Validator;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawCopy, RawDevice, RawPack};
use crate::rulebase::source::{At, Span};
use crate::rulebase::typed::{Carried, Device, Pack};

/// The kinds of device that exist.
pub const DEVICE_KINDS: [&str; 5] = ["phone", "tablet", "laptop", "handheld", "board"];

impl Validator<'_> {
    pub(super) fn device(&mut self, raw: &RawDevice, packs: &[Pack]) -> Device {
        self.name(&raw.device, false);
        self.kind_of_device(&raw.kind);
        let mut carries = Vec::new();
        for (name, units) in &raw.carries {
            let Some(p) = self.among(Named::Pack, name, packs.iter().map(|p| p.id.as_str())) else {
                continue;
            };
            let p = &packs[p];
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
            let copies = units.iter().map(|u| Carried {
                name: u.name.value.clone(),
                also: texts(&u.also),
            });
            carries.push((name.value.clone(), copies.collect()));
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

    pub(super) fn kind_of_device(&mut self, word: &At<String>) {
        self.among(Named::KindOfDevice, word, DEVICE_KINDS.into_iter());
    }

    /// Names of copies, and the words they go by, each belong to one copy.
    fn copies(&mut self, units: &[RawCopy]) {
        let mut names: HashMap<String, Span> = HashMap::new();
        for u in units {
            if let Some(first) = names.insert(slug(&u.name), u.name.span) {
                self.duplicate(Named::Copy, &u.name, first);
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
                    Some((other, first)) if *other != i => self.twice(
                        [*first, w.span],
                        format!("two copies go by `{}`", w.value),
                        "leave to each copy the words that mean it alone",
                    ),
                    _ => drop(words.insert(slug(w), (i, w.span))),
                }
            }
        }
    }

    /// Copies that something is limited to have to be on some device, where
    /// any device says which copies it has.
    pub(super) fn only_on(&mut self, packs: &[&RawPack], devices: &[&RawDevice]) {
        self.unread.clear();
        for p in packs {
            let mut known: Vec<&str> = Vec::new();
            let mut unread = false;
            for d in devices {
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
                    self.unknown(Named::CopyOnAnyDevice, name, known.iter().copied());
                }
            }
        }
    }
}
