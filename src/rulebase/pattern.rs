//! Patterns that recognise something in a customer's words.
//!
//! A pattern is a regular expression that fits whole words: it begins where a
//! word begins and ends where a word ends, up to an ending of English (*charge*
//! fits "charges" and "charging"). So `well` is not heard in "swell", nor `phone
//! dead` in "microphone dead". It also knows the words it is made of: typing
//! errors are read against these.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use regex_automata::{meta::Regex, nfa::thompson::WhichCaptures};
use regex_syntax::hir::literal::{ExtractKind, Extractor, Literal, Seq};
use regex_syntax::hir::{Class, Hir, HirKind, Look};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Endings that a word may have beyond what a pattern says.
const ENDINGS: &str = "(?:'?s|e[sd]|d|ing)?";

/// A pattern for free text. The reader checks it; the first text that it may fit
/// has it compiled, since that takes far longer than searching.
#[derive(Debug, Serialize, Deserialize)]
pub struct Pattern {
    source: String,
    /// The regular expression with lists of words in the place of their names.
    full: String,
    /// Of each list one is in every text that it fits.
    needs: Vec<Vec<String>>,
    /// Whole words that it is made of.
    words: Vec<String>,
    #[serde(skip)]
    ready: OnceLock<Option<Regex>>,
}

/// Why a text is no [`Pattern`].
#[derive(Debug, Error)]
pub enum PatternError {
    /// It is no regular expression.
    #[error(transparent)]
    Syntax(#[from] Box<regex_syntax::Error>),
    /// It has the name of a list of words that there is not.
    #[error("no list of words is called `{0}`")]
    Unknown(String),
    /// It fits every text, even an empty one.
    #[error("it fits every text, even an empty one")]
    FitsAll,
}

impl Pattern {
    /// Reads a pattern for texts in lower case.
    ///
    /// # Errors
    /// If it is no regular expression, or fits all.
    pub fn new(source: &str) -> Result<Self, PatternError> {
        Self::with(source, &Words::default())
    }

    /// Reads a pattern that may have names of lists of words in it: `{camera}`.
    ///
    /// # Errors
    /// If a list is not known, and as [`Pattern::new`].
    pub fn with(source: &str, lists: &Words) -> Result<Self, PatternError> {
        let full = lists.spell_out(source)?;
        let parsed = parsed(&full)?;
        if parsed.properties().minimum_len() == Some(0) {
            return Err(PatternError::FitsAll);
        }
        Ok(Pattern {
            source: source.to_owned(),
            full,
            needs: needs(&parsed),
            words: words(&parsed),
            ready: OnceLock::new(),
        })
    }

    /// The regular expression as the rules have it.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The regular expression that is searched for, which fits whole words only.
    pub fn whole_words(&self) -> String {
        format!(r"\b{{start-half}}(?:{}){ENDINGS}\b{{end-half}}", self.full)
    }

    /// Whole words of at least [`Pattern::LONG`] letters that it is made of,
    /// without apostrophes.
    pub fn words(&self) -> &[String] {
        &self.words
    }

    /// Letters of the shortest word that typing errors are read against.
    pub const LONG: usize = 4;

    /// Where it first fits in a text that is already in lower case.
    pub fn find(&self, lower: &str) -> Option<std::ops::Range<usize>> {
        let has = |any: &Vec<String>| any.iter().any(|word| lower.contains(word));
        if !self.needs.iter().all(has) {
            return None;
        }
        let found = self.made()?.find(lower)?;
        let range = found.range();
        lower.get(range.clone()).is_some().then_some(range)
    }

    /// Whether it can be searched for: one of too many words cannot.
    pub fn is_ready(&self) -> bool {
        self.made().is_some()
    }

    fn made(&self) -> Option<&Regex> {
        let made = || {
            // What speeds up a search in long texts takes longer to make than
            // many searches in a complaint.
            let config = Regex::config()
                .utf8_empty(false)
                .which_captures(WhichCaptures::Implicit)
                .nfa_size_limit(Some(1 << 20))
                .auto_prefilter(false)
                .hybrid(false)
                .onepass(false);
            let mut builder = Regex::builder();
            let whole = Hir::concat(vec![
                Hir::look(Look::WordStartHalfAscii),
                parsed(&self.full).ok()?,
                parsed(ENDINGS).ok()?,
                Hir::look(Look::WordEndHalfAscii),
            ]);
            builder.configure(config).build_from_hir(&whole).ok()
        };
        self.ready.get_or_init(made).as_ref()
    }
}

/// Lists of words by name, each a part of a regular expression.
#[derive(Clone, Debug, Default)]
pub struct Words(Vec<(String, String)>);

impl Words {
    /// Adds a list; its names of earlier lists stand for these.
    pub fn insert(&mut self, name: String, list: &str) {
        if let Ok(list) = self.spell_out(list) {
            self.0.retain(|known| known.0 != name);
            self.0.push((name, list));
        }
    }

    /// The names.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.iter().map(|known| known.0.as_str())
    }

    /// A pattern with each list in the place of its name. Braces before anything
    /// but a letter are a count (`{0,20}`) and stay; so do those of classes
    /// (`\p{L}`).
    fn spell_out(&self, source: &str) -> Result<String, PatternError> {
        let mut out = String::with_capacity(source.len());
        let mut rest = source;
        while let Some(open) = rest.find('{') {
            let inside = &rest[open + 1..];
            let name = inside.split_once('}').map_or("", |(name, _)| name);
            let before = &rest[..open];
            out.push_str(before);
            let class = [r"\p", r"\P", r"\x", r"\u"]
                .iter()
                .any(|c| before.ends_with(c));
            if class || !name.starts_with(|c: char| c.is_ascii_lowercase()) {
                out.push('{');
                rest = inside;
                continue;
            }
            let list = self.0.iter().find(|known| known.0 == name);
            let (_, list) = list.ok_or_else(|| PatternError::Unknown(name.to_owned()))?;
            out.push_str(&format!("(?:{list})"));
            rest = &inside[name.len() + 1..];
        }
        out.push_str(rest);
        Ok(out)
    }
}

/// Reads a regular expression for texts in lower case.
fn parsed(source: &str) -> Result<Hir, Box<regex_syntax::Error>> {
    // Plain ASCII rules are read and compiled several times faster.
    let mut parser = regex_syntax::ParserBuilder::new()
        .unicode(!source.is_ascii())
        .utf8(false)
        .case_insensitive(source.contains(char::is_uppercase))
        .build();
    Ok(parser.parse(source)?)
}

/// So many bytes of a [`Pattern`]'s needs tell texts apart.
const TELLING: usize = 6;

/// Texts of which one is in all that a regular expression fits: what a match
/// begins with, and what it ends with, where that can be listed.
fn needs(parsed: &Hir) -> Vec<Vec<String>> {
    let found = |kind| Extractor::new().kind(kind).extract(parsed);
    let mut begins = found(ExtractKind::Prefix);
    begins.keep_first_bytes(TELLING);
    let mut ends = found(ExtractKind::Suffix);
    ends.keep_last_bytes(TELLING);
    let texts = |found: Seq| -> Option<Vec<String>> {
        let text = |l: &Literal| String::from_utf8(l.as_bytes().to_vec()).ok();
        let mut all: Vec<String> = found.literals()?.iter().map(text).collect::<Option<_>>()?;
        all.sort();
        all.dedup();
        all.first().is_none_or(|t| !t.is_empty()).then_some(all)
    };
    [begins, ends].into_iter().filter_map(texts).collect()
}

/// Beginnings of a word at one place of a pattern; `None` stands for a word of
/// which not every letter is known.
type Begun = BTreeSet<Option<String>>;

/// So many beginnings are followed side by side.
const BEGUN: usize = 64;

/// Whole words that a regular expression is made of.
fn words(parsed: &Hir) -> Vec<String> {
    let mut out = BTreeSet::new();
    let begun = follow(parsed, start(), &mut out);
    end(begun, &mut out);
    out.retain(|w| w.chars().count() >= Pattern::LONG);
    out.into_iter().collect()
}

/// Before the first letter of a word.
fn start() -> Begun {
    BTreeSet::from([Some(String::new())])
}

/// Takes down words that are complete, and begins another.
fn end(begun: Begun, out: &mut BTreeSet<String>) -> Begun {
    out.extend(begun.into_iter().flatten());
    start()
}

/// Beginnings with one more letter.
fn with(begun: &Begun, letter: char) -> Begun {
    let more = |w: &Option<String>| w.as_ref().map(|w| format!("{w}{letter}"));
    begun.iter().map(more).collect()
}

/// Follows words through a part of a regular expression.
fn follow(part: &Hir, begun: Begun, out: &mut BTreeSet<String>) -> Begun {
    let after = match part.kind() {
        HirKind::Empty => begun,
        HirKind::Look(_) => end(begun, out),
        HirKind::Literal(l) => {
            let text = String::from_utf8_lossy(&l.0);
            text.chars().fold(begun, |begun, c| match c {
                // Apostrophes are left out of words.
                '\'' => begun,
                c if c.is_alphabetic() => with(&begun, c),
                _ => end(begun, out),
            })
        }
        HirKind::Class(class) => match letters(class) {
            Some(letters) => letters.iter().flat_map(|c| with(&begun, *c)).collect(),
            None if goes_on(class) => BTreeSet::from([None]),
            None => end(begun, out),
        },
        // With any letters to come, the word is not known.
        HirKind::Repetition(r) if matches!(r.sub.kind(), HirKind::Class(c) if goes_on(c)) => {
            BTreeSet::from([None])
        }
        // With any signs to come, it may end here.
        HirKind::Repetition(r)
            if r.max != Some(1)
                && matches!(r.sub.kind(), HirKind::Class(c) if letters(c).is_none()) =>
        {
            end(begun, out)
        }
        HirKind::Repetition(r) => {
            // `n.?t` is one word with or without its apostrophe, not two.
            let inside = r.max == Some(1) && matches!(r.sub.kind(), HirKind::Class(_));
            let mut unused = BTreeSet::new();
            let once = match inside {
                true => follow(&r.sub, begun.clone(), &mut unused),
                false => follow(&r.sub, begun.clone(), out),
            };
            match r.min {
                0 => once.into_iter().chain(begun).collect(),
                _ => once,
            }
        }
        HirKind::Capture(c) => follow(&c.sub, begun, out),
        HirKind::Concat(parts) => parts.iter().fold(begun, |b, p| follow(p, b, out)),
        HirKind::Alternation(ways) => {
            let each = ways.iter().flat_map(|w| follow(w, begun.clone(), out));
            each.collect()
        }
    };
    match after.len() > BEGUN {
        true => BTreeSet::from([None]),
        false => after,
    }
}

/// The letters of a class of a few letters and nothing else.
fn letters(class: &Class) -> Option<Vec<char>> {
    let all: Vec<char> = match class {
        Class::Bytes(c) => c
            .iter()
            .flat_map(|r| r.start()..=r.end())
            .take(9)
            .map(char::from)
            .collect(),
        Class::Unicode(c) => c.iter().flat_map(|r| r.start()..=r.end()).take(9).collect(),
    };
    (all.len() <= 8 && all.iter().all(|c| c.is_alphabetic())).then_some(all)
}

/// Whether a class goes on with a word, as `\w` does and `.` does not.
fn goes_on(class: &Class) -> bool {
    let has = |wanted: char| match class {
        Class::Bytes(c) => c
            .iter()
            .any(|r| (r.start()..=r.end()).contains(&(wanted as u8))),
        Class::Unicode(c) => c.iter().any(|r| (r.start()..=r.end()).contains(&wanted)),
    };
    has('e') && !has(' ')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fits(pattern: &str, text: &str) -> bool {
        Pattern::new(pattern).unwrap().find(text).is_some()
    }

    #[test]
    fn patterns_fit_whole_words() {
        assert!(!fits("phone dead", "microphone dead"));
        assert!(!fits("swell", "as well aswell"));
        assert!(!fits("in use", "in useless shops"));
        assert!(fits("swell", "it swells"));
        assert!(fits("flicker", "flickering, badly"));
        assert!(fits("charg(e|er)", "charging chargers"));
        assert!(fits("a|b", "x b y"));
        assert!(!fits("a|b", "xb ay"));
        assert!(fits("only charges ?([.,]|$)", "it only charges"));
    }

    #[test]
    fn lists_of_words_stand_in_the_place_of_their_names() {
        let mut lists = Words::default();
        lists.insert("no".to_owned(), "not|never");
        lists.insert("lamp".to_owned(), "torch|flash(light)?");
        lists.insert("dark".to_owned(), "{no} on|dark");
        let pattern = Pattern::with(r"{lamp}.{0,9} {dark}", &lists).unwrap();
        assert!(pattern.find("the flashlight is never on").is_some());
        assert!(pattern.find("torch on").is_none());
        assert_eq!(pattern.source(), "{lamp}.{0,9} {dark}");
        assert!(pattern.words().contains(&"torch".to_owned()));
        let unknown = Pattern::with("{lampe} dark", &lists);
        assert!(matches!(unknown, Err(PatternError::Unknown(n)) if n == "lampe"));
    }

    #[test]
    fn patterns_know_their_words() {
        let words = |p: &str| Pattern::new(p).unwrap().words().to_vec();
        assert_eq!(
            words("does ?n.?t charg(e|ing)"),
            ["charge", "charging", "does", "doesnt"]
        );
        assert_eq!(
            words(r"recogni[sz]ed|wiggl\w*"),
            ["recognised", "recognized"]
        );
        assert_eq!(
            words(r"(camera|scanner).{0,20}black"),
            ["black", "camera", "scanner"]
        );
    }
}
