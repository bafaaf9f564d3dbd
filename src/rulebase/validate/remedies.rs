//! Remedies.

use super::links::Scope;
use super::named::Named;
use super::names::texts;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawLine, RawPack};
use crate::rulebase::typed::Remedy;

impl Validator<'_> {
    pub(super) fn remedies(
        &mut self,
        raw: &RawPack,
        scope: &Scope,
        bench: &Bench,
        kinds: &[&RawLine],
    ) -> Vec<Remedy> {
        self.names(Named::Remedy, &raw.remedies);
        // A device may have another template than the pack.
        let parts = || {
            kinds
                .iter()
                .flat_map(|k| k.parts.iter().map(|(p, _)| p.as_str()))
        };
        let mut out = Vec::new();
        for (id, r) in &raw.remedies {
            let sources = [&r.source, &raw.source];
            let clears = self.links(&r.clears, scope, &sources, Quantity::CHANCE);
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
            let may_break = self.links(&r.may_break, scope, &sources, Quantity::CHANCE);
            for part in &r.bridges {
                if !parts().any(|p| p == part.value) {
                    self.unknown(Named::PartOfAnyLine, part, parts());
                }
            }
            let step = self.step(id, r.into(), &sources, bench);
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
}
