//! Tests of a pack, and those of them that try a function.

use super::links::Scope;
use super::mistaken::RELIABILITY;
use super::named::Named;
use super::names::texts;
use super::validator::Validator;
use crate::bench::Bench;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawPack, RawTest};
use crate::rulebase::source::At;
use crate::rulebase::typed::{How, Kind, Link, Partly, TRIED, Test};

impl Validator<'_> {
    pub(super) fn tests(&mut self, raw: &RawPack, scope: &Scope, bench: &Bench) -> Vec<Test> {
        self.names(Named::Test, &raw.tests);
        let mut out = Vec::new();
        for (id, t) in &raw.tests {
            let sources = [&t.source, &raw.source];
            if let Some(m) = &t.measures {
                self.not_mistaken(id, t);
                out.extend(self.measurement(id, t, m, raw, scope, bench));
                continue;
            }
            let Some(ask) = &t.ask else {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        id.span,
                        format!("`ask` is missing from `{}`", id.value),
                    )
                    .help("add `ask:`"),
                );
                continue;
            };
            let how = match (&t.tries, t.shows.is_empty()) {
                (Some(f), true) => {
                    if let (Some(a), Some(b)) = (&t.swaps_in, &t.lends) {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                b.span,
                                format!("test `{}` has both `swaps-in` and `lends`", id.value),
                            )
                            .also(a.span, "swapped in")
                            .help("make two tests of it: one with a good part here, one with this part elsewhere"),
                        );
                    }
                    if let Some(l) = &t.leak {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                l.span,
                                "a `leak` goes with `shows`, not with `tries`",
                            )
                            .help("take it out; `reliability:` says how often a try goes wrong"),
                        );
                    }
                    let function = self
                        .lookup(Named::Function, &scope.functions, f)
                        .unwrap_or(0);
                    let partly = self.partly(t, function, scope);
                    let mut item = |n: &At<String>| self.lookup(Named::Item, &scope.items, n);
                    How::Tries {
                        function,
                        partly,
                        without: t.without.iter().filter_map(&mut item).collect(),
                        swaps_in: t.swaps_in.as_ref().and_then(&mut item),
                        lends: t.lends.as_ref().and_then(&mut item),
                    }
                }
                (Some(f), false) => {
                    self.push(
                        Problem::new(
                            Code::Mixed,
                            f.span,
                            format!("test `{}` has both `tries` and `shows`", id.value),
                        )
                        .help("a test either tries a function or shows something by direct links"),
                    );
                    continue;
                }
                (None, true) if !t.shows.dropped().is_empty() => {
                    self.loose = true;
                    continue;
                }
                (None, true) => {
                    if let Some(n) = t.swaps_in.as_ref().or(t.lends.as_ref()) {
                        self.push(
                            Problem::new(
                                Code::MissingKey,
                                n.span,
                                format!(
                                    "test `{}` does not say which function it `tries:`",
                                    id.value
                                ),
                            )
                            .help(
                                "add `tries:` with the function that is looked at after the swap",
                            ),
                        );
                    } else {
                        self.push(
                            Problem::new(
                                Code::NoOutcome,
                                id.span,
                                format!("test `{}` has no outcome", id.value),
                            )
                            .help("say which function it `tries:`, list what it `shows:`, or which line it `measures:`"),
                        );
                    }
                    continue;
                }
                (None, false) => self.shows(id, t, scope, &sources),
            };
            if let (Some((n, _)), How::Shows { .. }) = (t.partly.first(), &how) {
                self.push(
                    Problem::new(Code::Mixed, n.span, "`partly` goes with `tries`")
                        .help("list it among what the test `shows:`"),
                );
            }
            let kind = match &t.kind {
                None => match &how {
                    How::Tries {
                        swaps_in, lends, ..
                    } if swaps_in.is_some() || lends.is_some() => Kind::Swap,
                    How::Tries { .. } => Kind::Try,
                    How::Shows { .. } if t.unit.is_some() => Kind::Measure,
                    _ => Kind::Look,
                },
                Some(k) => self.kind_of_test(k).unwrap_or(Kind::Look),
            };
            let reliability = self.reliability(&t.reliability, RELIABILITY, &sources);
            let mistaken = self.mistaken(id, t, (kind, &how), reliability, &sources);
            let step = self.step(id, t.into(), &sources, bench);
            let words: Vec<String> = how.outcomes().into_iter().map(str::to_owned).collect();
            let raises = self.signs(t, &words, bench);
            out.push(Test {
                id: id.value.clone(),
                ask: ask.value.clone(),
                kind,
                how,
                unit: t.unit.as_ref().map(|u| u.value.clone()),
                reliability,
                mistaken,
                step,
                only_on: texts(&t.only_on),
                only_for: self.only_for(t, raw),
                after: self.comes_after(&id.value, t, raw),
                raises,
            });
        }
        out
    }

    /// The answer between yes and no of a try.
    fn partly(&mut self, t: &RawTest, tried: usize, scope: &Scope) -> Option<Partly> {
        let (outcome, fuller) = t.partly.first()?;
        if let Some((more, _)) = t.partly.get(1) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    more.span,
                    "only one answer stands between yes and no",
                )
                .help("keep the one that customers name, and make a test of the other function"),
            );
        }
        if TRIED.contains(&outcome.value.as_str()) {
            self.duplicate(Named::Outcome, outcome, outcome.span);
        }
        let without = self.lookup(Named::Function, &scope.functions, fuller)?;
        let links = |f: usize| &scope.pack.functions[f].links;
        let weaker = |(fault, s): &Link| {
            let own = links(without).iter().find(|l| l.0 == *fault);
            own.is_none_or(|l| l.1 + 1e-9 < *s)
        };
        if without == tried || links(tried).iter().any(weaker) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    fuller.span,
                    format!("`{}` can work where the tried function fails", fuller.value),
                )
                .help("name a function that needs the tried one and more besides"),
            );
            return None;
        }
        Some(Partly {
            outcome: outcome.value.clone(),
            without,
        })
    }

    /// The tests that come before a test, by identifier.
    fn comes_after(&mut self, id: &str, test: &RawTest, raw: &RawPack) -> Vec<String> {
        let known = || raw.tests.iter().map(|t| t.0.as_str()).filter(|t| *t != id);
        for name in &test.after {
            if !known().any(|t| t == name.value) {
                self.unknown(Named::Test, name, known());
            }
        }
        test.after.iter().map(|n| n.value.clone()).collect()
    }
}
