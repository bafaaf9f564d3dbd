//! Tests that show something by direct links, and observations.

use std::collections::HashMap;

use super::links::Scope;
use super::mistaken;
use super::named::Named;
use super::numbers::nearest_source;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::line::PackFault;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawPack, RawTest};
use crate::rulebase::source::At;
use crate::rulebase::typed::{How, Kind, Outcome, Step, Test};
use crate::units::number;

impl Validator<'_> {
    pub(super) fn shows(
        &mut self,
        id: &At<String>,
        t: &RawTest,
        scope: &Scope,
        sources: &[&Option<At<String>>],
    ) -> How {
        self.names(Named::Outcome, &t.shows);
        if let Some(n) = t
            .swaps_in
            .as_ref()
            .or(t.lends.as_ref())
            .or(t.without.first())
        {
            self.push(
                Problem::new(
                    Code::Mixed,
                    n.span,
                    "`swaps-in`, `lends` and `without` go with `tries`, not with `shows`",
                )
                .help("take it out, or try a function in place of `shows:`"),
            );
        }
        let mut outcomes: Vec<Outcome> = Vec::new();
        let mut unit_missed = false;
        for (k, (oid, o)) in t.shows.iter().enumerate() {
            let links = self.links(&o.links, scope, sources, Quantity::PROBABILITY);
            if k == 0 && !links.is_empty() {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        o.links[0].0.span,
                        "the first outcome is what a healthy device shows; no fault leads to it",
                    )
                    .help("move the links to the outcome they lead to"),
                );
            }
            let between = o.between.as_ref().map(|b| {
                let nearest = [&[&o.source], sources].concat();
                self.sourced(b.span, &nearest);
                if b.value.0 > b.value.1 {
                    let (low, high) = (number(b.value.0), number(b.value.1));
                    self.push(
                        Problem::new(
                            Code::Range,
                            b.span,
                            format!("from {low} to {high} runs backwards"),
                        )
                        .help(format!("write [{high}, {low}]")),
                    );
                }
                let shared = |(a, b): (f64, f64), (c, d): (f64, f64)| a.max(c) < b.min(d);
                if let Some((other, _)) = t.shows[..k]
                    .iter()
                    .find(|(_, o)| o.between.as_ref().is_some_and(|o| shared(o.value, b.value)))
                {
                    self.push(
                        Problem::new(
                            Code::Range,
                            b.span,
                            format!("these values also count as `{}`", other.value),
                        )
                        .label("overlaps")
                        .also(other.span, "with this outcome")
                        .help("let one range end where the other begins"),
                    );
                }
                if t.unit.is_none() && !unit_missed {
                    unit_missed = true;
                    self.push(
                        Problem::new(Code::MissingKey, b.span, "measured values without a unit")
                            .help("add `unit: V` (or ohm, A, C) to the test"),
                    );
                }
                b.value
            });
            outcomes.push(Outcome {
                id: oid.value.clone(),
                says: o
                    .says
                    .clone()
                    .unwrap_or_else(|| oid.value.replace('-', " ")),
                links,
                between,
            });
        }
        let some = t.shows.dropped().is_empty();
        if some && (outcomes.len() < 2 || t.shows.iter().all(|(_, o)| o.links.is_empty())) {
            self.push(
                Problem::new(
                    Code::NoOutcome,
                    id.span,
                    format!("test `{}` cannot come out in more than one way", id.value),
                )
                .help("list the healthy outcome first, then at least one more with `links:`"),
            );
        }
        // One fault's chances over the outcomes cannot pass one.
        let mut total: HashMap<PackFault, f64> = HashMap::new();
        for o in &outcomes {
            for (f, p) in &o.links {
                *total.entry(*f).or_insert(0.0) += p;
            }
        }
        let mut over: Vec<PackFault> = total
            .iter()
            .filter(|(_, s)| **s > 1.0 + 1e-9)
            .map(|(f, _)| *f)
            .collect();
        over.sort_unstable();
        let others = over.len().saturating_sub(1);
        for (k, f) in over.into_iter().enumerate() {
            if k == 0 {
                self.push(
                Problem::new(
                    Code::Range,
                    id.span,
                    format!(
                        "in test `{}` the chances of `{}`{} over the outcomes add up to {:.2}",
                        id.value,
                        scope.pack.fault_id(f),
                        match others {
                            0 => String::new(),
                            n => format!(" (and {n} more)"),
                        },
                        total[&f]
                    ),
                )
                .help("each is the chance of this fault leading to that outcome: at most 1 in all"),
                );
            }
            for o in &mut outcomes {
                for l in &mut o.links {
                    if l.0 == f {
                        l.1 /= total[&f];
                    }
                }
            }
        }
        let leak = self.leak(&t.leak, sources);
        How::Shows { outcomes, leak }
    }

    /// Chance of the second outcome with no fault at all.
    fn leak(&mut self, written: &Option<At<f64>>, sources: &[&Option<At<String>>]) -> f64 {
        written.as_ref().map_or(0.0, |l| {
            self.sourced(l.span, sources);
            self.within(l, Quantity::LEAK)
        })
    }

    pub(super) fn observations(&mut self, raw: &RawPack, scope: &Scope) -> Vec<Test> {
        self.plain_names(Named::Observation, &raw.observations);
        let mut out = Vec::new();
        for (id, o) in &raw.observations {
            let sources = [&o.source, &raw.source];
            let links = self.links(&o.links, scope, &sources, Quantity::STRENGTH);
            if o.links.is_empty() && o.links.dropped().is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        id.span,
                        format!("observation `{}` is tied to no fault", id.value),
                    )
                    .help("give `links:` with at least one fault"),
                );
            }
            let leak = self.leak(&o.leak, &sources);
            let reliability = self.reliability(&o.reliability, 1.0, &sources);
            let minutes = o.minutes.as_ref().map_or(1.0, |m| {
                self.sourced(m.span, &sources);
                self.within(m, Quantity::MINUTES)
            });
            let outcome = |id: &str, links| Outcome {
                id: id.into(),
                says: id.into(),
                links,
                between: None,
            };
            out.push(Test {
                id: id.value.clone(),
                ask: o
                    .ask
                    .clone()
                    .unwrap_or_else(|| format!("Is {} seen?", id.value)),
                kind: Kind::Look,
                how: How::Shows {
                    outcomes: vec![outcome("no", Vec::new()), outcome("yes", links)],
                    leak,
                },
                unit: None,
                reliability,
                mistaken: mistaken::evenly(reliability, 2),
                step: Step {
                    minutes,
                    source: nearest_source(&sources),
                    ..Step::default()
                },
                only_on: Vec::new(),
                only_for: Vec::new(),
                after: Vec::new(),
                raises: Vec::new(),
            });
        }
        out
    }
}
