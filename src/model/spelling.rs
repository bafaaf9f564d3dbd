//! Typing errors in a customer's words.
//!
//! A word that is neither a word of the rules nor a common English one is read
//! as the word of the rules that is one slip away (a letter too many, too few,
//! wrong, or two changed over), in a long word two. Nothing is read into short
//! words, and nothing where two words of the rules are as near.

use std::collections::HashSet;
use std::ops::Range;

use strsim::osa_distance;

use super::Model;
use super::recognise::words;
use crate::rulebase::Pattern;

/// Common English words that are a slip or two away from words of the rules, or
/// come often in complaints. None of them is a typing error.
const COMMON: &str = include_str!("english.txt");
/// Letters of the shortest word in which two slips are taken. Common practice,
/// no source.
const TWO_SLIPS: usize = 9;
/// Letters of the shortest word that a typing error is looked for in: in shorter
/// ones most errors make another word.
const LONG: usize = 5;
/// Two words of the rules that begin with so many letters alike (*smell* and
/// *smelt*) are as good as one.
const ALIKE: usize = 4;
/// Words that are often written together with the next ("aswell", "alot").
const RUN_ON: [&str; 18] = [
    "a", "all", "an", "as", "at", "be", "by", "each", "every", "in", "is", "it", "my", "no", "of",
    "on", "to", "up",
];
/// Endings that are looked at apart from their word.
const ENDINGS: [&str; 6] = ["", "s", "es", "d", "ed", "ing"];
/// Words with *not* that are written in many ways, without their apostrophes.
const CONTRACTIONS: [&str; 14] = [
    "dont", "doesnt", "didnt", "wont", "cant", "isnt", "arent", "wasnt", "werent", "couldnt",
    "wouldnt", "shouldnt", "hasnt", "havent",
];

/// A word that was read as a typing error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Typo {
    /// As it was typed, in lower case.
    pub typed: String,
    /// As it was read.
    pub read: String,
}

/// A text ready for the patterns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Read {
    /// In lower case, with plain apostrophes and typing errors put right.
    pub(super) text: String,
    /// Words that were read as typing errors.
    pub(super) typos: Vec<Typo>,
}

impl Read {
    /// Reads a text by the words of a device's rules.
    pub(super) fn new(model: &Model, text: &str) -> Read {
        let lower = text.to_lowercase().replace(['’', '‘', '`', '´'], "'");
        let known = known(model);
        let mut out = Read {
            text: String::with_capacity(lower.len()),
            typos: Vec::new(),
        };
        let mut done = 0;
        for word in words(&lower) {
            let Some((read, slip)) = read(&word.text, &known) else {
                continue;
            };
            let typed = &lower[word.at.clone()];
            if slip {
                out.typos.push(Typo {
                    typed: typed.to_owned(),
                    read: read.clone(),
                });
            }
            out.text.push_str(&lower[done..word.at.start]);
            out.text.push_str(&read);
            done = word.at.end;
        }
        out.text.push_str(&lower[done..]);
        out
    }
}

/// The words that typing errors are read against: those of the patterns, also
/// of hazards, and what copies go by.
fn known(model: &Model) -> HashSet<String> {
    let symptoms = model.symptoms.iter();
    let heard = symptoms.flat_map(|s| s.hear.iter().chain(&s.hear_in_topic));
    let topics = model.topics.iter().map(|t| &t.1);
    let past = model.past.iter().flat_map(|p| &p.1);
    let hazards = model.hazards.iter().flatten();
    let patterns = heard.chain(topics).chain(past).chain(hazards);
    let mut all: HashSet<String> = patterns.flat_map(|p| p.words().iter().cloned()).collect();
    for copy in &model.copies {
        for name in std::iter::once(&copy.name).chain(&copy.also) {
            let named = words(&name.to_lowercase()).into_iter().map(|w| w.text);
            all.extend(named.filter(|w| w.chars().count() >= Pattern::LONG));
        }
    }
    all
}

/// A word as it should be spelt, and whether it was a typing error; `None` to
/// leave it as it is.
fn read(word: &str, known: &HashSet<String>) -> Option<(String, bool)> {
    if CONTRACTIONS.contains(&word) {
        let (head, _) = word.split_at(word.len() - 1);
        return Some((format!("{head}'t"), false));
    }
    let letters = word.chars().count();
    if letters + 1 < LONG || !word.chars().all(char::is_alphabetic) {
        return None;
    }
    let stems = || {
        ENDINGS
            .iter()
            .filter_map(|e| Some((word.strip_suffix(e)?, *e)))
    };
    let common = |w: &str| COMMON.split_whitespace().any(|c| c == w);
    let right = |stem: &str| known.contains(stem) || common(stem);
    let joined = |first: &&str| {
        let second = word.strip_prefix(*first);
        second.is_some_and(|s| s.chars().count() >= 3 && right(s))
    };
    // Two words without the space between them ("aswell") are no typing error.
    if right(word) || RUN_ON.iter().any(joined) {
        return None;
    }
    let plain = single(word);
    let mut doubled = known.iter().filter(|k| single(k) == plain);
    if let (Some(k), None) = (doubled.next(), doubled.next()) {
        return Some((k.clone(), true));
    }
    // "replacing", "stopping": an e is left out, a letter is doubled.
    let changed = |stem: &str| right(&format!("{stem}e")) || right(&single(stem));
    if stems().any(|(stem, e)| right(stem) || !e.is_empty() && changed(stem)) {
        return None;
    }
    // Of a word of four letters ("trun") that two are changed over.
    if letters + 1 == LONG {
        let same = |k: &&String| sorted(k) == sorted(word) && osa_distance(k, word) == 1;
        let mut swapped = known.iter().filter(same);
        if let (Some(k), None) = (swapped.next(), swapped.next()) {
            return Some((k.clone(), true));
        }
    }
    for (stem, ending) in stems() {
        let letters = stem.chars().count();
        // Of a word of four letters only that it lacks one.
        if letters + 1 < LONG || letters < LONG && stem != word {
            continue;
        }
        let slips = if letters < TWO_SLIPS { 1 } else { 2 };
        if let Some(near) = nearest(stem, slips, known) {
            let contracted = CONTRACTIONS.contains(&near);
            let (head, tail) = near.split_at(near.len() - usize::from(contracted));
            let apostrophe = if contracted { "'" } else { "" };
            return Some((format!("{head}{apostrophe}{tail}{ending}"), true));
        }
    }
    None
}

/// The one word that is nearest; of several as near the one that is as long, then
/// the one that begins alike.
fn nearest<'k>(word: &str, slips: usize, known: &'k HashSet<String>) -> Option<&'k str> {
    let length = word.chars().count();
    let plain = single(word);
    let lengths: Range<usize> = length.saturating_sub(2)..length + 3;
    let rules = known.iter().map(String::as_str);
    let mut near: Vec<((usize, usize, usize), &str)> = rules
        .chain(CONTRACTIONS.into_iter().filter(|c| c.len() >= LONG))
        .filter(|k| lengths.contains(&k.chars().count()))
        .map(|k| {
            // Which letter is doubled is the commonest slip of all.
            let (distance, longer) = match single(k) == plain {
                true => (1, 0),
                false => (
                    osa_distance(word, k),
                    1 + length.abs_diff(k.chars().count()),
                ),
            };
            ((distance, longer, usize::MAX - alike(word, k)), k)
        })
        .filter(|n| n.0.0 <= slips)
        // In a short word of the rules nothing else is taken.
        .filter(|n| n.0.1 == 0 || n.1.chars().count() >= LONG)
        .collect();
    near.sort_unstable();
    near.dedup();
    match near.as_slice() {
        [a, b, ..] if a.0 == b.0 && alike(a.1, b.1) < ALIKE => None,
        [a, ..] => Some(a.1),
        [] => None,
    }
}

/// Letters that two words begin with alike.
fn alike(a: &str, b: &str) -> usize {
    a.chars().zip(b.chars()).take_while(|(a, b)| a == b).count()
}

/// The letters of a word in the order of the alphabet.
fn sorted(word: &str) -> Vec<char> {
    let mut letters: Vec<char> = word.chars().collect();
    letters.sort_unstable();
    letters
}

/// A word with each doubled letter once: which letter is doubled is one slip.
fn single(word: &str) -> String {
    let mut letters: Vec<char> = word.chars().collect();
    letters.dedup();
    letters.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_by(rules: &[&str], word: &str) -> Option<String> {
        let known = rules.iter().map(|w| (*w).to_owned()).collect();
        read(word, &known).map(|r| r.0)
    }

    #[test]
    fn slips_are_read_against_the_words_of_the_rules() {
        let rules = [
            "charge",
            "charging",
            "camera",
            "blurry",
            "recognised",
            "flicker",
            "black",
            "turn",
        ];
        for (typed, meant) in [
            ("chrage", "charge"),
            ("camra", "camera"),
            ("flikering", "flickering"),
            ("charing", "charging"),
            ("reconized", "recognised"),
            ("dosent", "doesn't"),
            ("cammerra", "camera"),
            ("blck", "black"),
            ("doesnt", "doesn't"),
            ("trun", "turn"),
        ] {
            assert_eq!(read_by(&rules, typed).as_deref(), Some(meant), "{typed}");
        }
    }

    #[test]
    fn words_that_are_right_or_short_are_left() {
        let rules = ["charge", "charges", "screen", "black", "cable"];
        for word in [
            "change", "changed", "charge", "charges", "block", "back", "scrn", "scream", "able",
            "ascreen",
        ] {
            assert_eq!(read_by(&rules, word), None, "{word}");
        }
    }
}
