//! What a customer's words say of the device's past.
//!
//! Who says "since it fell" answers a history question before it is asked. The
//! answer is only proposed: it counts once the technician confirms it.

use std::ops::Range;
use std::sync::Arc;

use super::Model;
use super::recognise::denied_before;
use super::spelling::Read;
use crate::rulebase::Pattern;

/// A history question that the words seem to answer with yes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Past {
    /// The question, by its identifier.
    pub id: String,
    /// The question in words.
    pub ask: String,
    /// The words that gave it away.
    pub words: String,
    /// The pattern that fits them, as the rules have it.
    pub pattern: String,
}

/// The first of these patterns that a text says and does not deny, and where.
pub(super) fn said<'p>(
    patterns: &'p [Arc<Pattern>],
    text: &str,
) -> Option<(&'p Pattern, Range<usize>)> {
    patterns.iter().find_map(|p| {
        let mut from = 0;
        loop {
            let m = p.find(text.get(from..)?)?;
            let at = from + m.start..from + m.end;
            if !denied_before(&text[..at.start]) {
                return Some((&**p, at));
            }
            from = at.end;
        }
    })
}

/// The history questions that a text answers with yes, in the order of the rules.
pub fn past(model: &Model, text: &str) -> Vec<Past> {
    let text = Read::new(model, text).text;
    let mut out: Vec<Past> = Vec::new();
    for (id, patterns) in &model.past {
        let fits = said(patterns, &text);
        let asked = model.bench.history.iter().find(|h| h.0 == *id);
        if let (Some((pattern, at)), Some((_, ask))) = (fits, asked) {
            out.push(Past {
                id: id.clone(),
                ask: ask.clone(),
                words: text[at].to_owned(),
                pattern: pattern.source().to_owned(),
            });
        }
    }
    out
}
