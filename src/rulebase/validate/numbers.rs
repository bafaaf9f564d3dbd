//! Numbers: what they lie between, and where they come from.

use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::amount::{self, Unit};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::shape::Amount;
use crate::rulebase::source::{At, Span};
use crate::units::number;

impl Validator<'_> {
    /// The number, or the nearest that may be.
    pub(super) fn within(&mut self, n: &At<f64>, what: Quantity) -> f64 {
        let Quantity { words, most, .. } = what;
        if n.value < 0.0 || n.value > most {
            let hint = if what.is_probability() && (2.0..=100.0).contains(&n.value) {
                format!(
                    "{words} lies between 0 and 1; {} per cent is {}",
                    number(n.value),
                    number(n.value / 100.0)
                )
            } else {
                let per = if what.of_jobs { " (of 1000 jobs)" } else { "" };
                format!("{words} lies between 0 and {most}{per}")
            };
            self.push(
                Problem::new(
                    Code::Range,
                    n.span,
                    format!("{words} of {} is out of range", number(n.value)),
                )
                .help(hint),
            );
        }
        n.value.clamp(0.0, most)
    }

    /// A value with its unit that takes no tolerance.
    pub(super) fn amount(&mut self, n: &At<Amount>, unit: Unit) -> Option<f64> {
        let read = amount::plain(&n.value.0, unit);
        read.map_err(|t| self.push(t.at(n.span))).ok()
    }

    /// Counts a number under the nearest source, or reports that there is none.
    pub(super) fn sourced(&mut self, at: Span, sources: &[&Option<At<String>>]) -> String {
        match sources.iter().find_map(|s| s.as_ref()) {
            Some(s) if !s.trim().is_empty() => {
                let begins = |with: &str| {
                    s.get(..with.len())
                        .is_some_and(|head| head.eq_ignore_ascii_case(with))
                };
                if begins("common practice") {
                    self.tally.common_practice += 1;
                } else if begins("own jobs") || begins("the shop's own") {
                    self.tally.own_jobs += 1;
                } else {
                    self.tally.published += 1;
                }
                s.value.clone()
            }
            _ => {
                self.push(
                    Problem::new(Code::NoSource, at, "a number without a source")
                        .label("where does it come from?")
                        .help(
                            "add `source:` here or to the pack: a named publication, \
                             `common practice, no source`, or `own jobs`",
                        ),
                );
                String::new()
            }
        }
    }

    /// One problem per file for all its numbers without a source, which one
    /// line can mend.
    pub(super) fn gather_unsourced(&mut self) {
        let all = std::mem::take(self.problems);
        let (mut bare, mut rest): (Vec<Problem>, Vec<Problem>) =
            all.into_iter().partition(|p| p.code == Code::NoSource);
        bare.sort_by_key(|p| p.span.map(|s| (s.file, s.start)));
        for group in bare.chunk_by(|a, b| a.span.map(|s| s.file) == b.span.map(|s| s.file)) {
            let mut first = group[0].clone();
            if group.len() > 1 {
                let mut lines: Vec<usize> = group[1..]
                    .iter()
                    .filter_map(|p| p.line_column(self.files))
                    .map(|at| at.0)
                    .collect();
                lines.dedup();
                let more = if lines.len() > 12 { " and more" } else { "" };
                lines.truncate(12);
                let lines: Vec<String> = lines.iter().map(usize::to_string).collect();
                first.message = format!("{} numbers without a source", group.len());
                first.label = "the first; where does it come from?".into();
                first.help = Some(format!(
                    "{}; the others are in lines {}{more}",
                    first.help.unwrap_or_default(),
                    lines.join(", ")
                ));
            }
            rest.push(first);
        }
        *self.problems = rest;
    }
}

/// The first source that is given.
pub(super) fn nearest_source(sources: &[&Option<At<String>>]) -> String {
    let mut given = sources.iter().filter_map(|s| s.as_ref());
    given.next().map(|s| s.value.clone()).unwrap_or_default()
}
