//! Patterns for free text, and the lists of words that they name.

use std::sync::Arc;

use super::named::Named;
use super::validator::Validator;
use crate::rulebase::pattern::{Pattern, PatternError};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::shape::Entries;
use crate::rulebase::source::{At, Span};

impl Validator<'_> {
    /// Takes down named lists of words; a list may be made of earlier ones.
    pub(super) fn name_words(&mut self, all: &Entries<At<String>>) {
        self.names(Named::ListOfWords, all);
        for (name, list) in all {
            let named = [list.clone()];
            if !self.patterns(&named).is_empty() {
                self.words.insert(name.value.clone(), list);
            }
        }
    }

    /// Patterns for free text, as far as they are well.
    pub(super) fn patterns(&mut self, all: &[At<String>]) -> Vec<Arc<Pattern>> {
        let mut out = Vec::new();
        for p in all {
            match Pattern::with(p, &self.words) {
                Err(PatternError::FitsAll) => self.push(
                    Problem::new(
                        Code::Pattern,
                        p.span,
                        "a pattern that fits every text, even an empty one",
                    )
                    .help("make at least one part of it obligatory"),
                ),
                Ok(_) if p.len() > 2000 => self.push(
                    Problem::new(Code::Pattern, p.span, "a pattern of over 2000 characters")
                        .help("split it into several"),
                ),
                Ok(pattern) => out.push(Arc::new(pattern)),
                Err(PatternError::Syntax(e)) => self.bad_pattern(p, &e),
                Err(PatternError::Unknown(name)) => {
                    let name = At {
                        value: name,
                        span: p.span,
                    };
                    let known: Vec<String> = self.words.names().map(str::to_owned).collect();
                    let known = known.iter().map(String::as_str);
                    self.unknown(Named::ListOfWords, &name, known);
                }
            }
        }
        out
    }

    /// Points at the position inside the pattern.
    fn bad_pattern(&mut self, p: &At<String>, e: &regex_syntax::Error) {
        let (offset, reason) = match e {
            regex_syntax::Error::Parse(e) => (e.span().start.offset, e.kind().to_string()),
            regex_syntax::Error::Translate(e) => (e.span().start.offset, e.kind().to_string()),
            _ => (0, "it cannot be read".to_owned()),
        };
        let text = self
            .files
            .get(p.span.file as usize)
            .map_or("", |f| f.text.as_str());
        let written = text
            .get(p.span.start as usize..p.span.end as usize)
            .unwrap_or("");
        // A quoted or escaped scalar is longer than its value; look the rest up in it.
        let rest = p.value.get(offset..).unwrap_or("");
        let inner = if rest.is_empty() {
            written.trim_end_matches(['\'', '"']).len()
        } else {
            written.rfind(rest).unwrap_or_else(|| {
                (offset + usize::from(written.starts_with(['\'', '"']))).min(written.len())
            })
        };
        let start = p.span.start + inner as u32;
        let span = Span {
            file: p.span.file,
            start,
            end: start
                + text
                    .get(start as usize..)
                    .and_then(|t| t.chars().next())
                    .map_or(0, |c| c.len_utf8() as u32),
        };
        self.push(
            Problem::new(
                Code::Pattern,
                span,
                format!(
                    "bad pattern: {reason} (character {} of it)",
                    p.value.get(..offset).map_or(0, |s| s.chars().count()) + 1
                ),
            )
            .label("here")
            .help("patterns are regular expressions: put a backslash before . ( ) [ ] ? * + to mean the sign itself"),
        );
    }
}
