//! What faults of a pack do to a line, each with its chance.

use std::collections::HashSet;

use super::links::resolve;
use super::names::Names;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::line::{Effect, Line, MOST_FAULTS, PackFault};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawLine;
use crate::rulebase::shape::{Entries, Harms};
use crate::rulebase::source::At;
use crate::rulebase::typed::Pack;

impl Validator<'_> {
    pub(super) fn effects(
        &mut self,
        faults: &Entries<At<Harms>>,
        kind: &RawLine,
        line: &Line,
        items: &Names,
        pack: &Pack,
        sources: &[&Option<At<String>>],
    ) -> Vec<Effect> {
        let mut out: Vec<Effect> = Vec::new();
        // A single fault beside its whole item refines it.
        let single: HashSet<PackFault> = faults
            .iter()
            .filter(|(t, _)| t.contains('.'))
            .flat_map(|(t, _)| resolve(t, items, pack))
            .collect();
        for (target, harms) in faults {
            let found = resolve(target, items, pack);
            if found.is_empty() {
                self.unknown_fault(target, items, pack, []);
            }
            if harms.0.is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        harms.span,
                        format!("`{}` does nothing to the line", target.value),
                    )
                    .help("write what it does, such as `open contact`, or take it out"),
                );
            }
            let mut total = 0.0;
            for (text, chance) in &harms.0 {
                let p = match chance {
                    None => 1.0,
                    Some(n) => {
                        self.sourced(n.span, sources);
                        self.within(n, Quantity::CHANCE)
                    }
                };
                total += chance
                    .as_ref()
                    .map_or(1.0, |n| if n.value > 1.0 { 0.0 } else { n.value });
                let Some(harm) = self.harm(text, kind, line) else {
                    self.loose = true;
                    continue;
                };
                let before: HashSet<PackFault> = out.iter().map(|e| e.fault).collect();
                let more = found.iter().filter(|f| !before.contains(f)).count();
                if before.len() <= MOST_FAULTS && before.len() + more > MOST_FAULTS {
                    self.too_many(
                        target.span,
                        MOST_FAULTS,
                        "faults on one line",
                        "leave out those that do next to nothing to it",
                    );
                }
                for f in &found {
                    if (target.contains('.') || !single.contains(f)) && p > 0.0 {
                        out.push(Effect {
                            fault: *f,
                            harm,
                            chance: p,
                        });
                    }
                }
            }
            if total > 1.0 + 1e-9 && harms.0.len() > 1 {
                self.push(
                    Problem::new(
                        Code::Range,
                        harms.span,
                        format!(
                            "the chances of what `{}` does add up to {:.2}",
                            target.value, total
                        ),
                    )
                    .help("it does one of these things or none: at most 1 in all"),
                );
            }
        }
        out.sort_by_key(|e| e.fault);
        out
    }
}
