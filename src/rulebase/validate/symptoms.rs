//! Symptoms, and the words of customers that they are heard in.

use super::links::Scope;
use super::named::Named;
use super::names::texts;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawPack, RawTest};
use crate::rulebase::source::At;
use crate::rulebase::typed::Symptom;

impl Validator<'_> {
    pub(super) fn symptoms(&mut self, raw: &RawPack, scope: &Scope, bench: &Bench) -> Vec<Symptom> {
        self.names(Named::Symptom, &raw.symptoms);
        let mut out = Vec::new();
        for (id, s) in &raw.symptoms {
            let sources = [&s.source, &raw.source];
            let loses = s
                .loses
                .as_ref()
                .and_then(|f| self.lookup(Named::Function, &scope.functions, f));
            let mut links = self.links(&s.links, scope, &sources, Quantity::STRENGTH);
            if let Some(f) = loses {
                for l in &scope.pack.functions[f].links {
                    if !links.iter().any(|k| k.0 == l.0) {
                        links.push(*l);
                    }
                }
            } else if s.loses.is_none() && s.links.is_empty() {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        id.span,
                        format!("symptom `{}` says nothing about any fault", id.value),
                    )
                    .help("say which function it `loses:`, or give `links:`"),
                );
            }
            let nothing_found = match &s.nothing_found {
                None => scope.pack.nothing_found,
                Some(n) => {
                    self.sourced(n.span, &sources);
                    self.within(n, Quantity::SHARE_OF_JOBS) / 1000.0
                }
            };
            let rules_out = s.rules_out.iter();
            let rules_out = rules_out.filter_map(|c| self.condition(bench, c)).collect();
            let hear = self.patterns(&s.hear);
            let hear_in_topic = self.patterns(&s.hear_in_topic);
            let said_of = self.patterns(&s.said_of);
            out.push(Symptom {
                id: id.value.clone(),
                name: s.name.value.clone(),
                loses,
                links,
                nothing_found,
                rules_out,
                hear,
                hear_in_topic,
                said_of,
                only_on: texts(&s.only_on),
            });
        }
        out
    }

    /// The symptoms whose complaint a test is for, each with its pack.
    pub(super) fn only_for(&mut self, test: &RawTest, raw: &RawPack) -> Vec<String> {
        let known = || raw.symptoms.iter().map(|s| s.0.as_str());
        for name in &test.only_for {
            if !known().any(|s| s == name.value) {
                self.unknown(Named::Symptom, name, known());
            }
        }
        let full = |name: &At<String>| format!("{}/{}", raw.pack.value, name.value);
        test.only_for.iter().map(full).collect()
    }
}
