//! Items with their faults, in full and in the smallest form.

use super::named::Named;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawPack;
use crate::rulebase::shape::Entries;
use crate::rulebase::source::At;
use crate::rulebase::typed::{Fault, Item, Pack, Where};

/// Chance that a fault breaks a need at one try, where nothing is said.
const BREAKS: f64 = 0.98;

impl Validator<'_> {
    pub(super) fn items(&mut self, raw: &RawPack, bench: &Bench, pack: &mut Pack) {
        let mut names = self.names(Named::Item, &raw.items);
        self.add_names(Named::Item, &raw.shared, raw.items.len(), &mut names);
        let all = raw
            .items
            .iter()
            .map(|e| (e, false))
            .chain(raw.shared.iter().map(|e| (e, true)));
        for ((id, item), shared) in all {
            let place = self.place(&item.r#where);
            let start = pack.faults.next_key();
            self.names(Named::Fault, &item.faults);
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
                let rate = self.within(&f.rate, Quantity::RATE) / 1000.0;
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
                    .map_or(BREAKS, |b| self.within(b, Quantity::STRENGTH));
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
                .filter_map(|m| self.lookup(Named::Item, &names, m))
                .collect();
            let kinds = self.kinds_of_device(&item.kinds, &of_item);
            pack.items.push(Item {
                id: id.value.clone(),
                name: item.name.value.clone(),
                r#where: place,
                shared: shared || raw.unit.is_none(),
                faults: pack.faults.keys().skip(start.0).collect(),
                mates,
                explain: item.explain.clone(),
                kinds,
            });
        }
    }

    fn place(&mut self, word: &At<String>) -> Where {
        Where::from_word(word).unwrap_or_else(|| {
            self.unknown(Named::AnswerToWhere, word, Where::ALL.map(Where::word));
            Where::default()
        })
    }

    fn kinds_of_device(
        &mut self,
        raw: &Entries<At<f64>>,
        sources: &[&Option<At<String>>],
    ) -> Vec<(String, f64)> {
        let mut out = Vec::new();
        for (k, n) in raw {
            self.kind_of_device(k);
            self.sourced(n.span, sources);
            out.push((k.value.clone(), self.within(n, Quantity::MULTIPLIER)));
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
            self.history_question(bench, id);
            self.sourced(n.span, sources);
            out.push((id.value.clone(), self.within(n, Quantity::MULTIPLIER)));
        }
        out
    }

    pub(super) fn minimal_faults(&mut self, raw: &RawPack, pack: &mut Pack) {
        self.plain_names(Named::Fault, &raw.faults);
        for (id, f) in &raw.faults {
            let source = self.sourced(f.prior.span, &[&f.source, &raw.source]);
            let rate = self.within(&f.prior, Quantity::PRIOR);
            let place = f.r#where.as_ref().map(|w| self.place(w));
            let name = f.name.clone().unwrap_or_else(|| id.value.clone());
            let fault = pack.faults.push_and_get_key(Fault {
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
                r#where: place.unwrap_or_default(),
                shared: true,
                faults: vec![fault],
                mates: Vec::new(),
                explain: None,
                kinds: Vec::new(),
            });
        }
    }
}
