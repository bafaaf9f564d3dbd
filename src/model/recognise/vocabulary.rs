//! Words that turn, deny, praise and join, and the words of a text.

use std::ops::Range;

/// Where a clause ends, beside the marks of punctuation.
pub(super) const TURNS: &[&str] = &[
    "but", "while", "whereas", "though", "although", "however", "only", "and", "except",
];

/// Those after which another thing is spoken of.
pub(super) const CONTRASTS: &[&str] =
    &["but", "whereas", "though", "although", "however", "except"];

/// Those that tell when something happens.
pub(super) const WHEN: &[&str] = &[
    "when", "whenever", "while", "during", "since", "after", "before", "if", "until", "because",
    "as", "middle",
];

/// Those that a clause is about which names no area.
pub(super) const SUBJECTS: &[&str] = &[
    "it",
    "its",
    "phone",
    "tablet",
    "laptop",
    "handheld",
    "device",
    "computer",
    "unit",
    "thing",
    "terminal",
    "everything",
    "i",
    "we",
    "my",
];

/// What stands between two copies of which the same is said.
pub(super) const JOINS: &[&str] = &["and", "or", "nor"];

/// What may stand there too.
pub(super) const BESIDE: &[&str] = &["the", "my", "its", "also", "of", "on", "at"];

/// All copies at once: "both cameras", "none of the ports", "no camera".
pub(super) const ALL: &[&str] = &[
    "both", "all", "every", "each", "neither", "either", "none", "no", "any",
];

/// What may stand between these and the copies.
pub(super) const OF: &[&str] = &["of", "the", "my", "its", "these", "those", "two"];

/// Who has several has all of them in mind: "my cameras".
pub(super) const WHOSE: &[&str] = &[
    "the", "my", "its", "our", "his", "her", "these", "those", "two",
];

/// What denies the words that follow it.
pub(super) const DENIALS: &[&str] = &[
    "not", "no", "never", "without", "isnt", "arent", "wasnt", "werent", "doesnt", "dont", "didnt",
    "hasnt",
];

/// A pattern that has one of these means to be denied.
pub(super) const DENIES: &[&str] = &["not", "no", "never", "without", "broken"];

/// What may stand between a denial and what it denies.
pub(super) const FILLERS: &[&str] = &[
    "a", "any", "longer", "very", "really", "so", "too", "been", "ever", "got", "get", "had",
];

/// What speaks well of something.
pub(super) const PRAISE: &[&str] = &[
    "work",
    "works",
    "working",
    "fine",
    "ok",
    "okay",
    "good",
    "great",
    "well",
    "lovely",
    "nice",
    "perfect",
    "perfectly",
    "excellent",
    "alright",
    "normal",
    "normally",
];

/// What takes praise back.
pub(super) const DOUBTS: &[&str] = &[
    "cannot",
    "hardly",
    "barely",
    "nothing",
    "sometimes",
    "used",
    "stopped",
    "wont",
    "cant",
    "couldnt",
    "wouldnt",
    "havent",
    "neither",
    "none",
    "nor",
    "refuses",
    "fails",
    "unable",
];

/// A word without its apostrophes, with its place.
pub(in crate::model) struct Word {
    pub(in crate::model) text: String,
    pub(in crate::model) at: Range<usize>,
}

/// The words of a text in lower case.
pub(in crate::model) fn words(text: &str) -> Vec<Word> {
    let inside = |c: char| c.is_alphanumeric() || c == '\'';
    let mut out = Vec::new();
    let mut from = 0;
    while let Some(start) = text[from..].find(inside).map(|i| from + i) {
        let end = text[start..]
            .find(|c| !inside(c))
            .map_or(text.len(), |i| start + i);
        out.push(Word {
            text: text[start..end].replace('\'', ""),
            at: start..end,
        });
        from = end;
    }
    out
}

/// Whether a character ends a sentence or a part of it.
pub(super) fn ends(c: char) -> bool {
    matches!(c, '.' | ';' | '!' | '?' | '\n')
}

/// Whether words begin with a name, which may be in the plural.
pub(super) fn begin_with(words: &[Word], name: &[String]) -> bool {
    let fits = |(n, w): (&String, &Word)| *n == w.text || w.text.strip_suffix('s') == Some(n);
    name.len() <= words.len() && name.iter().zip(words).all(fits)
}
