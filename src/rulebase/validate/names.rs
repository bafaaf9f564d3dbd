//! Names: how they are written, which there are, and what is told of one that nothing has.

use std::collections::HashMap;

use super::named::{Home, Named};
use super::validator::Validator;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::shape::Entries;
use crate::rulebase::source::{At, Span};

/// Names of one kind within a pack, with their places.
pub(super) type Names<'a> = HashMap<&'a str, (usize, Span)>;

impl Validator<'_> {
    /// Notes the entries that could not be read.
    pub(super) fn unread<T>(&mut self, entries: &Entries<T>) {
        self.unread.extend(entries.dropped().iter().cloned());
    }

    /// The files of each name, without those that have the name of an earlier one.
    pub(super) fn each_once<'r, T>(
        &mut self,
        what: Named,
        files: &[&'r T],
        name: impl Fn(&'r T) -> &'r At<String>,
    ) -> Vec<&'r T> {
        let mut seen: HashMap<&str, Span> = HashMap::new();
        let mut once = Vec::new();
        for file in files {
            let name = name(file);
            match seen.insert(&name.value, name.span) {
                Some(first) => self.duplicate(what, name, first),
                None => once.push(*file),
            }
        }
        once
    }

    pub(super) fn duplicate(&mut self, what: Named, name: &At<String>, first: Span) {
        self.twice(
            [first, name.span],
            format!("{what} `{}` is defined twice", name.value),
            "give one of them another name, or remove it",
        );
    }

    /// What stands at two places and may stand at one.
    pub(super) fn twice(&mut self, [first, second]: [Span; 2], message: String, help: &str) {
        self.push(
            Problem::new(Code::Duplicate, second, message)
                .label("the second one")
                .also(first, "the first one")
                .help(help),
        );
    }

    /// A name has to be an identifier, but in the `minimal` form.
    pub(super) fn name(&mut self, name: &At<String>, minimal: bool) {
        let ok = name.starts_with(|c: char| c.is_ascii_lowercase())
            && name
                .chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_');
        // The smallest form carries over names of published networks as they are.
        let ok = ok
            || minimal
                && !name.value.is_empty()
                && !name.value.contains(['.', '/', ':'])
                && !name
                    .value
                    .contains(|c: char| c.is_whitespace() || c.is_control());
        if !ok {
            self.push(
                Problem::new(
                    Code::BadName,
                    name.span,
                    format!("`{}` cannot be an identifier", name.value),
                )
                .help(format!(
                    "write {}; a name for screens may have capitals and spaces",
                    identifier(name).unwrap_or_else(|| {
                        "lower-case letters, digits and hyphens, a letter first".into()
                    })
                )),
            );
        }
    }

    /// Indexes the names of `entries`, reporting duplicates and bad names.
    pub(super) fn names<'e, T>(&mut self, what: Named, entries: &'e Entries<T>) -> Names<'e> {
        let mut names: Names<'e> = HashMap::new();
        self.add_names(what, entries, 0, &mut names);
        names
    }

    /// The same for the smallest form, which may name things as they are
    /// named elsewhere.
    pub(super) fn plain_names<'e, T>(&mut self, what: Named, entries: &'e Entries<T>) {
        let mut names: Names<'e> = HashMap::new();
        self.add_names_of(what, entries, 0, &mut names, true);
    }

    pub(super) fn add_names<'e, T>(
        &mut self,
        what: Named,
        entries: &'e Entries<T>,
        offset: usize,
        names: &mut Names<'e>,
    ) {
        self.add_names_of(what, entries, offset, names, false);
    }

    fn add_names_of<'e, T>(
        &mut self,
        what: Named,
        entries: &'e Entries<T>,
        offset: usize,
        names: &mut Names<'e>,
        minimal: bool,
    ) {
        self.unread(entries);
        for (i, (name, _)) in entries.iter().enumerate() {
            self.name(name, minimal);
            match names.get(name.as_str()) {
                Some((_, first)) => self.duplicate(what, name, *first),
                None => {
                    names.insert(name.as_str(), (offset + i, name.span));
                }
            }
        }
    }

    pub(super) fn unknown<'n>(
        &mut self,
        what: Named,
        name: &At<String>,
        known: impl IntoIterator<Item = &'n str>,
    ) {
        self.loose |= what.has_links();
        if name.split('.').any(|part| self.unread.contains(part)) {
            return;
        }
        if !self.complete && what.home() != Home::Here {
            return;
        }
        let known: Vec<&str> = known.into_iter().collect();
        let mut problem = Problem::new(
            Code::UnknownName,
            name.span,
            match what {
                Named::AnswerToWhere => format!("`{}` is no {what}", name.value),
                _ => format!("no {what} is called `{}`", name.value),
            },
        )
        .near(name, known.iter().copied());
        if problem.meant.is_none() {
            let mut known: Vec<&str> = known.into_iter().filter(|k| !k.contains('.')).collect();
            known.sort_unstable();
            known.dedup();
            problem.help = match (known.len(), what.home()) {
                (0, Home::Bench) => Some(
                    "none are defined: a bench file lists them, and the built-in one is left out here"
                        .into(),
                ),
                (0, Home::OwnFile) => {
                    Some(format!("no {what} is loaded: give its file too"))
                }
                (0, Home::Here | Home::Templates) => Some("none are defined in this pack".into()),
                (1..=12, _) => Some(format!("known here: {}", known.join(", "))),
                _ => None,
            };
        }
        self.push(problem);
    }

    pub(super) fn lookup(
        &mut self,
        what: Named,
        names: &Names,
        name: &At<String>,
    ) -> Option<usize> {
        match names.get(name.as_str()) {
            Some((i, _)) => Some(*i),
            None => {
                self.unknown(what, name, names.keys().copied());
                None
            }
        }
    }

    /// Which of the known names it is.
    pub(super) fn among<'n>(
        &mut self,
        what: Named,
        name: &At<String>,
        mut known: impl Iterator<Item = &'n str> + Clone,
    ) -> Option<usize> {
        let all = known.clone();
        let found = known.position(|k| k == name.value);
        if found.is_none() {
            self.unknown(what, name, all);
        }
        found
    }
}

/// What a name may be turned into to be an identifier.
pub(super) fn identifier(name: &str) -> Option<String> {
    let made: String = name
        .trim()
        .to_lowercase()
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '_' {
                c
            } else {
                '-'
            }
        })
        .collect();
    let made = made.trim_matches('-');
    made.starts_with(|c: char| c.is_ascii_lowercase())
        .then(|| format!("`{made}`"))
}

/// A name turned into an identifier: "rear camera" becomes "rear-camera".
pub fn slug(name: &str) -> String {
    name.trim()
        .to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect()
}

pub(super) fn texts(list: &[At<String>]) -> Vec<String> {
    list.iter().map(|t| t.value.clone()).collect()
}
