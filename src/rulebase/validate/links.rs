//! Links: the faults of a pack that a name stands for, each with a strength.

use std::collections::HashMap;

use super::named::Named;
use super::names::Names;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::line::PackFault;
use crate::rulebase::raw::RawPack;
use crate::rulebase::shape::Entries;
use crate::rulebase::source::{At, Span};
use crate::rulebase::typed::{Link, Pack};

/// What names in a pack can stand for, while it is being built.
pub(super) struct Scope<'a> {
    pub(super) items: Names<'a>,
    pub(super) functions: Names<'a>,
    pub(super) pack: &'a Pack,
}

impl Validator<'_> {
    pub(super) fn links(
        &mut self,
        raw: &Entries<At<f64>>,
        scope: &Scope,
        sources: &[&Option<At<String>>],
        what: Quantity,
    ) -> Vec<Link> {
        let mut out: Vec<Link> = Vec::new();
        let mut spans: HashMap<PackFault, Span> = HashMap::new();
        for (target, n) in raw {
            self.sourced(n.span, sources);
            let p = self.within(n, what);
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

    pub(super) fn unknown_fault<'n>(
        &mut self,
        name: &At<String>,
        items: &Names,
        pack: &Pack,
        more: impl IntoIterator<Item = &'n str>,
    ) {
        let mut known: Vec<String> = items.keys().map(|s| (*s).to_owned()).collect();
        known.extend(pack.faults.keys().map(|f| pack.fault_id(f)));
        known.extend(more.into_iter().map(str::to_owned));
        self.unknown(Named::ItemOrFault, name, known.iter().map(String::as_str));
    }
}

/// Items of a pack by name. Duplicates are told where the items are read.
pub(super) fn item_names(raw: &RawPack) -> Names<'_> {
    let mut items: Names = HashMap::new();
    for (i, (n, _)) in raw.items.iter().chain(raw.shared.iter()).enumerate() {
        items.entry(n.as_str()).or_insert((i, n.span));
    }
    for (i, (n, _)) in raw.faults.iter().enumerate() {
        items.entry(n.as_str()).or_insert((i, n.span));
    }
    items
}

/// The faults a name stands for: one, or all of an item. Empty if unknown.
pub(super) fn resolve(name: &str, items: &Names, pack: &Pack) -> Vec<PackFault> {
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
    (item.faults.iter().copied())
        .filter(|f| fault.is_none_or(|id| pack.faults[*f].id == id))
        .collect()
}
