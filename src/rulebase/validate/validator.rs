//! What all sections share: the texts, the problems found, what is known so far.

use std::collections::HashSet;

use super::manner::Usual;
use crate::rulebase::pattern::Words;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::source::{SourceFile, Span};
use crate::rulebase::typed::SourceTally;

/// Collects the problems of all files.
pub(super) struct Validator<'a> {
    pub(super) files: &'a [SourceFile],
    pub(super) problems: &'a mut Vec<Problem>,
    pub(super) tally: SourceTally,
    /// No file is missing that others may refer to.
    pub(super) complete: bool,
    /// Names whose entries could not be read; a problem is known for each.
    pub(super) unread: HashSet<String>,
    /// Links of the pack at hand are known to be incomplete, so that what they
    /// leave out says nothing.
    pub(super) loose: bool,
    /// What the benches say of mistakes.
    pub(super) usual: Vec<Usual>,
    /// Lists of words that patterns may name.
    pub(super) words: Words,
}

impl<'a> Validator<'a> {
    pub(super) fn new(
        files: &'a [SourceFile],
        complete: bool,
        problems: &'a mut Vec<Problem>,
    ) -> Self {
        Validator {
            files,
            problems,
            tally: SourceTally::default(),
            complete,
            unread: HashSet::new(),
            loose: false,
            usual: Vec::new(),
            words: Words::default(),
        }
    }

    /// More of something than there can be; `first` is the first one too many.
    pub(super) fn too_many(&mut self, first: Span, most: usize, what: &str, help: &str) {
        self.push(
            Problem::new(Code::Range, first, format!("more than {most} {what}"))
                .label("the first one too many")
                .help(help),
        );
    }

    /// Takes down a problem.
    pub(super) fn push(&mut self, p: Problem) {
        self.loose |= matches!(
            p.code,
            Code::Cycle | Code::NoOutcome | Code::Mixed | Code::MissingKey | Code::Duplicate
        );
        self.problems.push(p);
    }
}
