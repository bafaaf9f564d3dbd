//! What a customer's own words say.
//!
//! The patterns of the rules say which symptom is heard, the words that a copy
//! goes by say of which copy. The text is cut into clauses, so that "the front
//! camera is black but the rear one is fine" is heard for the front one alone:
//! a symptom belongs to the copy named nearest in its clause, else to the one
//! named last. Where none is named it counts once, for the main copy.

use std::ops::Range;

use super::{CopyInfo, Model};
use crate::rulebase::Pattern;

/// A symptom recognised in free text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    /// The symptom, by index.
    pub symptom: usize,
    /// The words that gave it away.
    pub words: String,
    /// It could be of another copy just as well: the text names none.
    pub assumed: bool,
}

/// Where a clause ends, beside the marks of punctuation.
const TURNS: &[&str] = &[
    "but", "while", "whereas", "though", "although", "however", "only", "and",
];
/// What stands between two copies of which the same is said.
const JOINS: &[&str] = &["and", "or", "nor"];
/// What may stand there too.
const BESIDE: &[&str] = &["the", "my", "its", "also", "of", "on", "at"];
/// All copies at once: "both cameras", "none of the ports".
const ALL: &[&str] = &["both", "all", "every", "each", "neither", "either", "none"];
/// What may stand between these and the copies.
const OF: &[&str] = &["of", "the", "my", "its", "these", "those", "two"];
/// What denies the words that follow it.
const DENIALS: &[&str] = &[
    "not", "no", "never", "without", "isnt", "arent", "wasnt", "werent", "doesnt", "dont", "didnt",
    "hasnt",
];
/// What may stand between a denial and what it denies.
const FILLERS: &[&str] = &["a", "any", "longer", "very", "really", "so", "too"];
/// What speaks well of something.
const PRAISE: &[&str] = &[
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
const DOUBTS: &[&str] = &[
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
];

/// Finds the symptoms that a text speaks of, the most telling first. Where a
/// particular symptom is heard, the general one of its pack says no more and
/// is left out.
pub fn recognise(model: &Model, text: &str) -> Vec<Heard> {
    let lower = text.to_lowercase().replace(['’', '‘'], "'");
    let words = words(&lower);
    let mut heard: Vec<Heard> = Vec::new();
    let mut faint: Vec<Heard> = Vec::new();
    for pack in &model.packs {
        let copies: Vec<&CopyInfo> = model.copies.iter().filter(|c| c.pack == *pack).collect();
        let speech = Speech::new(&lower, &words, &copies);
        let before = heard.len();
        let (general, particular): (Vec<_>, Vec<_>) = kinds(model, pack)
            .into_iter()
            .partition(|k| model.symptoms[k[0]].general);
        for kind in particular {
            for at in speech.hits(&model.symptoms[kind[0]].hear) {
                if !speech.denied(&at) {
                    let bound = speech.bind(&at);
                    note(&mut heard, model, &copies, &kind, bound, &lower[at]);
                }
            }
        }
        if heard.len() > before {
            continue;
        }
        for kind in general {
            let hits = speech.hits(&model.symptoms[kind[0]].hear);
            let Some(longest) = hits.iter().max_by_key(|h| h.len()) else {
                continue;
            };
            let said = &lower[longest.clone()];
            let bad = |at: usize| !speech.praised(speech.clause(at));
            for at in hits.iter().filter(|h| bad(h.start)) {
                let bound = speech.bind(at);
                note(&mut heard, model, &copies, &kind, bound, &lower[at.clone()]);
            }
            if heard.len() > before {
                continue;
            }
            // The words of the general symptom were praise: it is of a copy
            // named elsewhere ("but the main one is broken"), if of any.
            for n in speech.named.iter().filter(|n| bad(n.at.start)) {
                note(&mut heard, model, &copies, &kind, Some((n, true)), said);
            }
            if heard.len() == before {
                let last = speech.named.last().map(|n| (n, false));
                note(&mut faint, model, &copies, &kind, last, said);
            }
        }
    }
    if heard.is_empty() {
        heard = faint;
    }
    heard.sort_by_key(|h| {
        let s = &model.symptoms[h.symptom];
        (s.general, std::cmp::Reverse(h.words.len()))
    });
    heard
}

/// The symptoms of a pack, those of its copies together, the main one first.
fn kinds(model: &Model, pack: &str) -> Vec<Vec<usize>> {
    let mut out: Vec<(&str, Vec<usize>)> = Vec::new();
    for (i, s) in model.symptoms.iter().enumerate() {
        if s.pack != pack {
            continue;
        }
        let id = s.id.rsplit_once('/').map_or(s.id.as_str(), |x| x.1);
        match out.iter_mut().find(|k| k.0 == id) {
            Some(k) => k.1.push(i),
            None => out.push((id, vec![i])),
        }
    }
    out.into_iter().map(|k| k.1).collect()
}

/// Takes down a symptom for the copies that it is bound to.
fn note(
    heard: &mut Vec<Heard>,
    model: &Model,
    copies: &[&CopyInfo],
    kind: &[usize],
    bound: Option<(&Named, bool)>,
    words: &str,
) {
    let of = |copy: &&usize| -> Option<usize> {
        kind.iter()
            .copied()
            .find(|s| model.symptoms[*s].copy.as_ref() == Some(&copies[**copy].name))
    };
    let mut assumed = false;
    let mut symptoms: Vec<usize> = match bound {
        Some((named, _)) if model.symptoms[kind[0]].copy.is_some() => {
            named.copies.iter().filter_map(|c| of(&c)).collect()
        }
        _ => Vec::new(),
    };
    if symptoms.is_empty() {
        // A copy named in the clause that cannot have this symptom.
        if copies.len() > 1 && model.symptoms[kind[0]].copy.is_some() && bound.is_some_and(|b| b.1)
        {
            return;
        }
        assumed = kind.len() > 1;
        symptoms.push(kind[0]);
    }
    for symptom in symptoms {
        let words = words.trim();
        match heard.iter_mut().find(|h| h.symptom == symptom) {
            Some(h) => {
                h.assumed &= assumed;
                if words.len() > h.words.len() {
                    h.words = words.to_owned();
                }
            }
            None => heard.push(Heard {
                symptom,
                words: words.to_owned(),
                assumed,
            }),
        }
    }
}

/// A word without its apostrophes, with its place.
struct Word {
    text: String,
    at: Range<usize>,
}

fn words(text: &str) -> Vec<Word> {
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

/// One copy or several of which the same is said.
struct Named {
    copies: Vec<usize>,
    at: Range<usize>,
}

/// A text as it concerns one pack.
struct Speech<'t> {
    text: &'t str,
    words: &'t [Word],
    named: Vec<Named>,
    clauses: Vec<Range<usize>>,
}

impl<'t> Speech<'t> {
    fn new(text: &'t str, words: &'t [Word], copies: &[&CopyInfo]) -> Self {
        let mut speech = Speech {
            text,
            words,
            named: Vec::new(),
            clauses: Vec::new(),
        };
        if copies.len() > 1 {
            speech.name(copies);
        }
        speech.cut();
        speech
    }

    /// Finds where copies are named.
    fn name(&mut self, copies: &[&CopyInfo]) {
        let spoken: Vec<(usize, Vec<String>)> = copies
            .iter()
            .enumerate()
            .flat_map(|(i, c)| {
                std::iter::once(&c.name)
                    .chain(&c.also)
                    .map(move |n| (i, n.to_lowercase()))
            })
            .map(|(i, n)| (i, words(&n).into_iter().map(|w| w.text).collect()))
            .collect();
        let mut i = 0;
        let mut last = 0;
        while i < self.words.len() {
            let rest = &self.words[i..];
            let fits = |name: &[String]| {
                name.len() <= rest.len() && name.iter().zip(rest).all(|(n, w)| *n == w.text)
            };
            let mut length = 0;
            let mut meant: Vec<usize> = Vec::new();
            for (c, name) in spoken.iter().filter(|s| !s.1.is_empty() && fits(&s.1)) {
                if name.len() > length {
                    length = name.len();
                    meant.clear();
                }
                if name.len() == length && !meant.contains(c) {
                    meant.push(*c);
                }
            }
            if meant.len() > 1 {
                // A word that several go by tells nothing.
                meant.clear();
            }
            if let Some(n) = all_of(rest, &copies[0].unit) {
                length = n;
                meant = (0..copies.len()).collect();
            }
            if meant.is_empty() {
                i += 1;
                continue;
            }
            let at = rest[0].at.start..rest[length - 1].at.end;
            let between = &self.words[last..i];
            let joined = between.iter().any(|w| JOINS.contains(&w.text.as_str()))
                && between
                    .iter()
                    .all(|w| JOINS.contains(&w.text.as_str()) || BESIDE.contains(&w.text.as_str()));
            match self.named.last_mut() {
                Some(n) if joined && !self.text[n.at.end..at.start].contains(ends) => {
                    n.copies.extend(meant);
                    n.at.end = at.end;
                }
                _ => self.named.push(Named { copies: meant, at }),
            }
            i += length;
            last = i;
        }
    }

    /// Cuts the text into clauses, but not between copies named together.
    fn cut(&mut self) {
        let mut marks: Vec<Range<usize>> = self
            .text
            .char_indices()
            .filter(|(_, c)| ends(*c) || matches!(c, ',' | ':' | '(' | ')'))
            .map(|(i, c)| i..i + c.len_utf8())
            .collect();
        let turns = self
            .words
            .iter()
            .filter(|w| TURNS.contains(&w.text.as_str()));
        marks.extend(turns.map(|w| w.at.clone()));
        marks.retain(|m| {
            let within = |n: &Named| n.at.start <= m.start && m.end <= n.at.end;
            !self.named.iter().any(within)
        });
        marks.sort_by_key(|m| m.start);
        let mut start = 0;
        for m in marks {
            self.clauses.push(start..m.start.max(start));
            start = m.end;
        }
        self.clauses.push(start..self.text.len());
    }

    /// The clause that a place is in.
    fn clause(&self, at: usize) -> usize {
        self.clauses
            .iter()
            .rposition(|c| c.start <= at)
            .unwrap_or(0)
    }

    /// Where patterns fit: within clauses, else across them.
    fn hits(&self, patterns: &[std::sync::Arc<Pattern>]) -> Vec<Range<usize>> {
        let mut out = Vec::new();
        for p in patterns {
            let Some(across) = p.find(self.text) else {
                continue;
            };
            let before = out.len();
            for c in &self.clauses {
                let mut from = c.start;
                while let Some(m) = p.find(&self.text[from..c.end]) {
                    out.push(from + m.start..from + m.end);
                    from += m.end;
                }
            }
            if out.len() == before {
                out.push(across);
            }
        }
        out
    }

    /// The copies that something said at a place is of, and whether they are
    /// named in the same clause.
    fn bind(&self, at: &Range<usize>) -> Option<(&Named, bool)> {
        let (first, last) = (self.clause(at.start), self.clause(at.end.max(1) - 1));
        for c in (first..=last).rev() {
            let mut here = self
                .named
                .iter()
                .filter(|n| self.clause(n.at.start) == c)
                .peekable();
            let next = here.peek().copied();
            if let Some(n) = here.rfind(|n| n.at.start < at.end).or(next) {
                return Some((n, true));
            }
        }
        let before = self.named.iter().rfind(|n| n.at.start < at.start);
        before.or(self.named.first()).map(|n| (n, false))
    }

    /// Words of a stretch of the text.
    fn within(&self, at: Range<usize>) -> impl DoubleEndedIterator<Item = &str> {
        self.words
            .iter()
            .filter(move |w| at.start <= w.at.start && w.at.end <= at.end)
            .map(|w| w.text.as_str())
    }

    /// Whether what stands right before a place denies it: "not blurred".
    fn denied(&self, at: &Range<usize>) -> bool {
        let start = self.clauses[self.clause(at.start)].start;
        self.within(start..at.start)
            .rev()
            .find(|w| !FILLERS.contains(w))
            .is_some_and(|w| DENIALS.contains(&w))
    }

    /// Whether a clause speaks well of what it is about.
    fn praised(&self, clause: usize) -> bool {
        let mut words = self.within(self.clauses[clause].clone());
        words.any(|w| PRAISE.contains(&w))
            && !self
                .within(self.clauses[clause].clone())
                .any(|w| DENIALS.contains(&w) || DOUBTS.contains(&w))
    }
}

/// Whether a character ends a sentence or a part of it.
fn ends(c: char) -> bool {
    matches!(c, '.' | ';' | '!' | '?' | '\n')
}

/// How many words at the beginning name all copies at once.
fn all_of(words: &[Word], unit: &str) -> Option<usize> {
    if unit.is_empty() || !ALL.contains(&words.first()?.text.as_str()) {
        return None;
    }
    let unit = unit.to_lowercase();
    let of = words[1..]
        .iter()
        .take_while(|w| OF.contains(&w.text.as_str()));
    let n = 1 + of.count();
    let word = &words.get(n)?.text;
    (word.strip_suffix('s').unwrap_or(word) == unit || *word == unit).then_some(n + 1)
}
