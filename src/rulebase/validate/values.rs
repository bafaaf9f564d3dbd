//! Values of parts: by name, given anew where a line is used, or as they stand.

use std::collections::HashSet;

use super::named::Named;
use super::validator::Validator;
use crate::rulebase::amount::{self, Unit};
use crate::rulebase::line::Known;
use crate::rulebase::raw::RawLine;
use crate::rulebase::shape::{Amount, Entries};
use crate::rulebase::source::At;

/// Per cent within which a value is known where nothing is said of it.
const TOLERANCE: f64 = 5.0;

/// Chance of the first of several values that a part may have.
/// Common practice, no source.
const USUAL_KIND: f64 = 0.5;

/// Values given where a line is used, with what they rest on.
pub(super) struct Anew<'a> {
    pub(super) values: &'a Entries<At<Amount>>,
    pub(super) source: Option<&'a str>,
}

impl<'a> Anew<'a> {
    pub(super) fn get(&self, name: &str) -> Option<&'a At<Amount>> {
        let name = name.trim();
        let found = self.values.iter().find(|(id, _)| id.value == name);
        found.map(|(_, a)| a)
    }
}

impl Validator<'_> {
    /// A value that a part has: by name, given anew or not, or as it stands. The
    /// first of `several`, if the part may have several.
    pub(super) fn value<'r>(
        &mut self,
        raw: &'r RawLine,
        n: &'r At<Amount>,
        unit: Unit,
        several: bool,
        anew: &[Anew],
        used: &mut HashSet<&'r str>,
    ) -> Option<Known> {
        let name = n.value.0.trim();
        let by_name = raw.values.iter().find(|(id, _)| id.value == name);
        if let Some((id, _)) = by_name {
            used.insert(id.as_str());
        }
        let given = anew.iter().find_map(|a| a.get(name));
        let amount = match (given, by_name) {
            (Some(a), _) | (None, Some((_, a))) => a,
            (None, None) if starts_as_number(name) => n,
            (None, None) => {
                if !raw.values.dropped().iter().any(|d| d == name) {
                    let known = raw.values.iter().map(|(id, _)| id.as_str());
                    self.unknown(Named::ValueOfLine, &n.with(name.to_owned()), known);
                }
                return None;
            }
        };
        let text = amount.value.0.as_str();
        // A forward voltage is stated at 1 mA, and may say so.
        let text = match several {
            true => text.split(" or ").next().unwrap_or(text),
            false => text,
        };
        let text = match unit {
            Unit::Volt => text.trim().trim_end_matches("at 1 mA"),
            _ => text,
        };
        let usual = if unit == Unit::Farad { 20.0 } else { TOLERANCE };
        match amount::known(text, unit, usual) {
            Err(t) if text.contains(" or ") => {
                self.push(t.at(amount.span).help(
                    "only supplies, and what conducts both ways, may have one of several \
                         values; write it from and to",
                ));
                None
            }
            Ok(k) => Some(k),
            Err(t) => {
                let mut problem = t.at(amount.span);
                if amount.span != n.span && amount.span.file == n.span.file {
                    problem = problem.also(n.span, "used here");
                }
                self.push(problem);
                None
            }
        }
    }

    /// The values of a part of which there are several kinds, or of a supply that is
    /// set to one of several levels, each with its chance: the first is the usual
    /// one, the others share the rest.
    pub(super) fn kinds(
        &mut self,
        raw: &RawLine,
        n: &At<Amount>,
        unit: Unit,
        anew: &[Anew],
    ) -> Vec<(f64, Known)> {
        let name = n.value.0.trim();
        let given = anew.iter().find_map(|a| a.get(name));
        let own = raw.values.iter().find(|(id, _)| id.value == name);
        let amount = given.or(own.map(|(_, a)| a)).unwrap_or(n);
        let all: Vec<&str> = amount.value.0.split(" or ").collect();
        if all.len() < 2 {
            return Vec::new();
        }
        let rest = (1.0 - USUAL_KIND) / (all.len() - 1) as f64;
        let mut out = Vec::new();
        for (i, text) in all.into_iter().enumerate() {
            match amount::known(text, unit, TOLERANCE) {
                Ok(k) => out.push((if i == 0 { USUAL_KIND } else { rest }, k)),
                // The first has been looked at.
                Err(_) if i == 0 => {}
                Err(t) => self.push(t.at(amount.span)),
            }
        }
        out
    }

    /// Values given anew have to be there, and rest on something.
    pub(super) fn given(
        &mut self,
        kind: &RawLine,
        values: &Entries<At<Amount>>,
        sources: &[&Option<At<String>>],
    ) {
        for (name, v) in values {
            self.sourced(v.span, sources);
            if !named(&kind.values, &Amount(name.value.clone())) {
                let known = kind.values.iter().map(|(id, _)| id.as_str());
                self.unknown(Named::ValueOfLine, name, known);
            }
        }
    }
}

/// Values given anew, with the nearest of their sources.
pub(super) fn with<'a>(
    values: &'a Entries<At<Amount>>,
    sources: &[&'a Option<At<String>>],
) -> Anew<'a> {
    let source = sources.iter().find_map(|s| s.as_ref());
    Anew {
        values,
        source: source.map(|s| s.value.as_str()),
    }
}

/// Whether one of the values is called so.
pub(super) fn named(values: &Entries<At<Amount>>, name: &Amount) -> bool {
    values.iter().any(|(id, _)| id.value == name.0.trim())
}

/// Whether a text is meant as a value, not as the name of one.
pub(super) fn starts_as_number(text: &str) -> bool {
    text.trim()
        .starts_with(|c: char| c.is_ascii_digit() || ".-+".contains(c))
}

pub(super) fn usual_value(usual: &str, unit: Unit) -> Option<Known> {
    amount::known(usual, unit, 50.0).ok()
}
