//! What a customer's own words say.
//!
//! The patterns of the rules say which symptom is heard, the words that a copy
//! goes by say of which copy. The text is cut into clauses, so that "the front
//! camera is black but the rear one is fine" is heard for the front one alone:
//! a symptom belongs to the copy named nearest in its clause, else to the one
//! named last. Where none is named it counts once, for the main copy.
//!
//! Areas compete for a clause by the words that name them: what is said of the
//! screen is not heard of the camera. The pack of all other complaints
//! ([`Model::unheard`]) hears only clauses in which no particular symptom of
//! another pack is heard.

use std::ops::Range;
use std::sync::Arc;

use super::spelling::{Read, Typo};
use super::{CopyInfo, Model, SymptomInfo};
use crate::rulebase::Pattern;

/// A symptom recognised in free text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    /// The symptom, by index.
    pub symptom: usize,
    /// The words that gave it away.
    pub words: String,
    /// The pattern that fits them, as the rules have it.
    pub pattern: String,
    /// It could be of another copy just as well: the text names none.
    pub assumed: bool,
}

/// Where a clause ends, beside the marks of punctuation.
const TURNS: &[&str] = &[
    "but", "while", "whereas", "though", "although", "however", "only", "and", "except",
];
/// Those after which another thing is spoken of.
const CONTRASTS: &[&str] = &["but", "whereas", "though", "although", "however", "except"];
/// Those that tell when something happens.
const WHEN: &[&str] = &[
    "when", "whenever", "while", "during", "since", "after", "before", "if", "until", "because",
    "as", "middle",
];
/// Those that a clause is about which names no area.
const SUBJECTS: &[&str] = &[
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
const JOINS: &[&str] = &["and", "or", "nor"];
/// What may stand there too.
const BESIDE: &[&str] = &["the", "my", "its", "also", "of", "on", "at"];
/// All copies at once: "both cameras", "none of the ports", "no camera".
const ALL: &[&str] = &[
    "both", "all", "every", "each", "neither", "either", "none", "no", "any",
];
/// What may stand between these and the copies.
const OF: &[&str] = &["of", "the", "my", "its", "these", "those", "two"];
/// Who has several has all of them in mind: "my cameras".
const WHOSE: &[&str] = &[
    "the", "my", "its", "our", "his", "her", "these", "those", "two",
];
/// What denies the words that follow it.
const DENIALS: &[&str] = &[
    "not", "no", "never", "without", "isnt", "arent", "wasnt", "werent", "doesnt", "dont", "didnt",
    "hasnt",
];
/// A pattern that has one of these means to be denied.
const DENIES: &[&str] = &["not", "no", "never", "without", "broken"];
/// What may stand between a denial and what it denies.
const FILLERS: &[&str] = &[
    "a", "any", "longer", "very", "really", "so", "too", "been", "ever", "got", "get", "had",
];
/// What speaks well of something.
const PRAISE: &[&str] = &[
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
    "neither",
    "none",
    "nor",
    "refuses",
    "fails",
    "unable",
];

/// What a text says, and how it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hearing {
    /// The text in lower case, with typing errors put right.
    pub text: String,
    /// Words that were read as typing errors.
    pub typos: Vec<Typo>,
    /// The symptoms, the most telling first.
    pub heard: Vec<Heard>,
}

/// Finds the symptoms that a text speaks of, the most telling first.
pub fn recognise(model: &Model, text: &str) -> Vec<Heard> {
    hear(model, text).heard
}

/// Reads a text and finds the symptoms that it speaks of. Where a particular
/// symptom is heard, the general one of its pack says no more and is left out.
pub fn hear(model: &Model, text: &str) -> Hearing {
    let Read { text, typos } = Read::new(model, text);
    let heard = symptoms(model, &text);
    Hearing { text, typos, heard }
}

fn symptoms(model: &Model, text: &str) -> Vec<Heard> {
    let words = words(text);
    let mentions = mentions(model, text);
    let rest = model.unheard.map(|s| model.symptoms[s].pack.as_str());
    let mut heard: Vec<Heard> = Vec::new();
    let mut faint: Vec<Heard> = Vec::new();
    // Where the packs of their own areas hear something, and the others.
    let mut taken: Vec<Range<usize>> = Vec::new();
    let mut by_others: Vec<Range<usize>> = Vec::new();
    // What tells of the past is a complaint only where there is no other.
    let told = told_of_the_past(model, text);
    let mut past: Vec<Heard> = Vec::new();
    let mut later = Vec::new();
    // Symptoms that say no more than that it is every copy.
    let mut of_all: Vec<usize> = Vec::new();
    let (own, other): (Vec<&String>, Vec<&String>) =
        model.packs.iter().partition(|p| rest != Some(p.as_str()));
    for pack in own.iter().chain(&other) {
        let copies: Vec<&CopyInfo> = model.copies.iter().filter(|c| c.pack == **pack).collect();
        let gives_way = rest == Some(pack.as_str());
        let speech = Speech::new(text, &words, &copies, pack, gives_way, &mentions);
        let before = heard.len();
        let (general, particular): (Vec<_>, Vec<_>) = kinds(model, pack)
            .into_iter()
            .partition(|k| model.symptoms[k[0]].general);
        for kind in particular {
            for hit in speech.hits(&model.symptoms[kind[0]]) {
                let all = speech.around(&hit.at);
                let meets = |t: &Range<usize>| overlap(t, &all);
                if speech.denied(&hit.at) || gives_way && taken.iter().any(meets) {
                    continue;
                }
                if model.symptoms[kind[0]].copy.is_none() && speech.names_all(&hit.at) {
                    if speech.praised(speech.clause(hit.at.start)) {
                        continue;
                    }
                    of_all.push(kind[0]);
                }
                let bound = speech.bind(&hit.at);
                if gives_way && told.iter().any(|t| overlap(t, &hit.at)) {
                    note(&mut past, model, &copies, &kind, bound, &hit, text);
                    continue;
                }
                note(&mut heard, model, &copies, &kind, bound, &hit, text);
                match gives_way {
                    true => by_others.push(all),
                    false => taken.push(hit.at),
                }
            }
        }
        if heard.len() == before {
            later.push((copies, speech, general));
        }
    }
    let particular = !heard.is_empty();
    for (copies, speech, general) in &later {
        let before = heard.len();
        for kind in general {
            let mut hits = speech.hits(&model.symptoms[kind[0]]);
            // What is said there is said of something else; and who says more
            // than the name of an area complains of that.
            hits.retain(|h| !by_others.iter().any(|t| overlap(t, &h.at)));
            hits.retain(|h| !particular || !speech.names_only(&h.at));
            let Some(longest) = hits.iter().max_by_key(|h| h.at.len()) else {
                continue;
            };
            let bad = |at: usize| !speech.praised(speech.clause(at));
            for hit in hits.iter().filter(|h| bad(h.at.start)) {
                let bound = speech.bind(&hit.at);
                note(&mut heard, model, copies, kind, bound, hit, text);
            }
            if heard.len() > before {
                continue;
            }
            // The words of the general symptom were praise: it is of a copy
            // named elsewhere ("but the main one is broken"), if of any.
            for n in speech.named.iter().filter(|n| bad(n.at.start)) {
                note(
                    &mut heard,
                    model,
                    copies,
                    kind,
                    Some((n, true)),
                    longest,
                    text,
                );
            }
            if heard.len() == before {
                let last = speech.named.last().map(|n| (n, false));
                note(&mut faint, model, copies, kind, last, longest, text);
            }
        }
    }
    if heard.is_empty() {
        heard = past;
    }
    if heard.is_empty() {
        heard = faint;
    }
    if heard.is_empty() {
        heard = area_named_first(model, text, &words, &mentions);
    }
    // Who says of each copy what is wrong with it has said that it is all.
    let each: Vec<&String> = (own.iter())
        .filter(|pack| said_of_each(model, pack, &heard))
        .copied()
        .collect();
    heard.retain(|h| {
        !(of_all.contains(&h.symptom) && each.contains(&&model.symptoms[h.symptom].pack))
    });
    heard.sort_by_key(|h| {
        let s = &model.symptoms[h.symptom];
        let gives_way = rest == Some(s.pack.as_str());
        (s.general, gives_way, std::cmp::Reverse(h.words.len()))
    });
    heard
}

/// Whether a symptom of a pack is heard of each of its copies.
fn said_of_each(model: &Model, pack: &str, heard: &[Heard]) -> bool {
    let is_heard = |s: &usize| heard.iter().any(|h| h.symptom == *s);
    let of_each =
        |k: &Vec<usize>| k.len() > 1 && !model.symptoms[k[0]].general && k.iter().all(is_heard);
    kinds(model, pack).iter().any(of_each)
}

/// The general symptom of the area that a text names first, where it says no more
/// that is understood.
fn area_named_first(
    model: &Model,
    text: &str,
    words: &[Word],
    mentions: &[(&str, Range<usize>)],
) -> Vec<Heard> {
    let mut heard = Vec::new();
    let rest = model.unheard.map(|s| model.symptoms[s].pack.as_str());
    let Some((pack, at)) = mentions.first().filter(|m| rest != Some(m.0)) else {
        return heard;
    };
    let kinds = kinds(model, pack);
    let named = model.topics.iter().filter(|t| t.0 == *pack).map(|t| &t.1);
    let pattern = named.clone().find(|p| p.find(&text[at.clone()]).is_some());
    if let (Some(kind), Some(pattern)) = (kinds.first(), pattern)
        && model.symptoms[kind[0]].general
    {
        let copies: Vec<&CopyInfo> = model.copies.iter().filter(|c| c.pack == *pack).collect();
        let speech = Speech::new(text, words, &copies, pack, false, mentions);
        let hit = Hit {
            at: at.clone(),
            pattern: pattern.clone(),
        };
        note(
            &mut heard,
            model,
            &copies,
            kind,
            speech.bind(at),
            &hit,
            text,
        );
    }
    heard
}

/// Whether two places have something in common.
fn overlap(a: &Range<usize>, b: &Range<usize>) -> bool {
    a.start < b.end && b.start < a.end
}

/// Where a text tells of the device's past.
fn told_of_the_past(model: &Model, text: &str) -> Vec<Range<usize>> {
    let patterns = model.past.iter().flat_map(|p| &p.1);
    patterns.filter_map(|p| p.find(text)).collect()
}

/// Where areas are named, each with its pack; of names that overlap the longest.
fn mentions<'m>(model: &'m Model, text: &str) -> Vec<(&'m str, Range<usize>)> {
    let mut all: Vec<(&str, Range<usize>)> = Vec::new();
    for (pack, pattern) in &model.topics {
        let mut from = 0;
        while let Some(m) = text.get(from..).and_then(|rest| pattern.find(rest)) {
            all.push((pack, from + m.start..from + m.end));
            from += m.end;
        }
    }
    all.sort_by_key(|(_, at)| std::cmp::Reverse(at.len()));
    let mut kept: Vec<(&str, Range<usize>)> = Vec::new();
    for (pack, at) in all {
        if !kept.iter().any(|(_, k)| overlap(k, &at)) {
            kept.push((pack, at));
        }
    }
    kept.sort_by_key(|(_, at)| at.start);
    kept
}

/// Where a pattern fits.
struct Hit {
    at: Range<usize>,
    pattern: Arc<Pattern>,
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
    hit: &Hit,
    text: &str,
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
        let words = text[hit.at.clone()].trim();
        match heard.iter_mut().find(|h| h.symptom == symptom) {
            Some(h) => {
                h.assumed &= assumed;
                if words.len() > h.words.len() {
                    h.words = words.to_owned();
                    h.pattern = hit.pattern.source().to_owned();
                }
            }
            None => heard.push(Heard {
                symptom,
                words: words.to_owned(),
                pattern: hit.pattern.source().to_owned(),
                assumed,
            }),
        }
    }
}

/// A word without its apostrophes, with its place.
pub(super) struct Word {
    pub(super) text: String,
    pub(super) at: Range<usize>,
}

/// The words of a text in lower case.
pub(super) fn words(text: &str) -> Vec<Word> {
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
    /// The pack.
    pack: &'t str,
    /// How many copies it has.
    copies: usize,
    /// It is the pack of all other complaints.
    gives_way: bool,
    /// Where areas are named, each with its pack, in order.
    mentions: Vec<(&'t str, Range<usize>)>,
    named: Vec<Named>,
    clauses: Vec<Range<usize>>,
}

impl<'t> Speech<'t> {
    fn new(
        text: &'t str,
        words: &'t [Word],
        copies: &[&CopyInfo],
        pack: &'t str,
        gives_way: bool,
        mentions: &'t [(&'t str, Range<usize>)],
    ) -> Self {
        let mut speech = Speech {
            text,
            words,
            pack,
            copies: copies.len(),
            gives_way,
            mentions: mentions.to_vec(),
            named: Vec::new(),
            clauses: Vec::new(),
        };
        if copies.len() > 1 {
            speech.name(copies);
        }
        // Who names a copy names its area.
        for n in &speech.named {
            if !speech.mentions.iter().any(|m| overlap(&m.1, &n.at)) {
                speech.mentions.push((pack, n.at.clone()));
            }
        }
        speech.mentions.sort_by_key(|m| m.1.start);
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
            let fits = |name: &[String]| begin_with(rest, name);
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
            let before = i.checked_sub(1).map(|b| self.words[b].text.as_str());
            let n = all_of(rest, copies, &spoken);
            // "One of my cameras" is not all.
            if let Some(n) = n.filter(|_| before != Some("of")) {
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

    /// Where the patterns of a symptom fit, and speak of this pack.
    fn hits(&self, symptom: &SymptomInfo) -> Vec<Hit> {
        let anywhere = symptom.hear.iter().map(|p| (p, None));
        let of = Some(symptom.said_of.as_slice());
        let in_topic = symptom.hear_in_topic.iter().map(|p| (p, of));
        let mut out = Vec::new();
        for (pattern, topic) in anywhere.chain(in_topic) {
            let fits = self.fits(pattern).into_iter();
            out.extend(fits.filter(|at| self.concerns(at, topic)).map(|at| Hit {
                at,
                pattern: pattern.clone(),
            }));
        }
        out
    }

    /// Where a pattern fits: within clauses, else across them.
    fn fits(&self, pattern: &Pattern) -> Vec<Range<usize>> {
        let Some(across) = pattern.find(self.text) else {
            return Vec::new();
        };
        let mut out = Vec::new();
        for c in &self.clauses {
            let mut from = c.start;
            while let Some(m) = pattern.find(&self.text[from..c.end]) {
                out.push(from + m.start..from + m.end);
                from += m.end;
            }
        }
        let of = pattern.source().split(|c: char| !c.is_alphabetic());
        let denies =
            pattern.source().contains("n.?t") || of.into_iter().any(|w| DENIES.contains(&w));
        let denied = |at: &Range<usize>| !denies && denied_within(&self.text[at.clone()]);
        out.retain(|at| !denied(at));
        if denied(&across) {
            return out;
        }
        // What is said after a "but" is said of something else, unless the
        // pattern has it.
        let turned = |w: &str| CONTRASTS.contains(&w) && !pattern.source().contains(w);
        if out.is_empty() && !self.within(across.clone()).any(turned) {
            out.push(across);
        }
        out
    }

    /// Whether what is said at a place is said of this pack: its words name the
    /// area, or the clause names no other nearer. With `topic` the area has to
    /// be named, if need be in another clause, and by words that fit one of
    /// these patterns if there are any.
    fn concerns(&self, at: &Range<usize>, topic: Option<&[Arc<Pattern>]>) -> bool {
        let fits = |named: &str, of: &[Arc<Pattern>]| {
            of.is_empty() || of.iter().any(|p| p.find(named).is_some())
        };
        let own = |m: &(&str, Range<usize>)| {
            m.0 == self.pack && topic.is_none_or(|of| fits(&self.text[m.1.clone()], of))
        };
        // What is named after it tells only when it happens ("during calls").
        let when = |m: &(&str, Range<usize>), from: usize| {
            !own(m) && self.within(from..m.1.start).any(|w| WHEN.contains(&w))
        };
        let inside = |m: &&(&str, Range<usize>)| overlap(&m.1, at) && !when(m, at.start);
        let within: Vec<bool> = self.mentions.iter().filter(inside).map(own).collect();
        if !within.is_empty() {
            return within.contains(&true);
        }
        let clause = self.around(at);
        let here = |m: &&(&str, Range<usize>)| clause.start <= m.1.start && m.1.start < clause.end;
        let mut beside = self.mentions.iter().filter(here);
        let outside = |m: &&(&str, Range<usize>)| m.1.start >= at.end && !when(m, at.end);
        let first = beside.clone().find(outside);
        if let Some(nearest) = beside
            .rfind(|m| m.1.start < at.end && !when(m, at.start))
            .or(first)
        {
            return own(nearest);
        }
        // The subject of the last clause that has one: its first name.
        let last = self.mentions.iter().rfind(|m| m.1.start < at.start);
        let subject = last.and_then(|last| {
            let clause = &self.clauses[self.clause(last.1.start)];
            let there = |m: &&(&str, Range<usize>)| m.1.start >= clause.start;
            self.mentions.iter().find(there)
        });
        match (topic, subject) {
            (Some(_), _) => subject.or(self.mentions.first()).is_some_and(own),
            // A clause without a subject has that of the same sentence.
            (None, Some(m)) => {
                let between = self.text.get(m.1.end..at.start).unwrap_or("");
                own(m)
                    || self.gives_way
                    || between.contains(ends)
                    || self.subject_in(&clause)
                    || self
                        .within(m.1.end..at.start)
                        .any(|w| CONTRASTS.contains(&w))
            }
            (None, None) => true,
        }
    }

    /// Whether a clause begins with a subject of its own: "it won't turn on".
    fn subject_in(&self, clause: &Range<usize>) -> bool {
        let mut words = self.within(clause.clone());
        words.by_ref().take(3).any(|w| SUBJECTS.contains(&w))
    }

    /// Whether a place has the name of all copies at once.
    fn names_all(&self, at: &Range<usize>) -> bool {
        let all = |n: &&Named| n.copies.len() == self.copies;
        self.named.iter().filter(all).any(|n| overlap(&n.at, at))
    }

    /// Whether a place has nothing but the name of this pack's area.
    fn names_only(&self, at: &Range<usize>) -> bool {
        let name = |m: &(&str, Range<usize>)| {
            m.0 == self.pack && m.1.start <= at.start && at.end <= m.1.end
        };
        self.mentions.iter().any(name)
    }

    /// The clauses that a place is in, from the first to the last.
    fn around(&self, at: &Range<usize>) -> Range<usize> {
        let first = &self.clauses[self.clause(at.start)];
        let last = &self.clauses[self.clause(at.end.max(1) - 1)];
        first.start..last.end.max(at.end)
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
        denies(self.within(start..at.start))
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

/// Whether the last word or two of a match are denied within it: "camera is not
/// blurry".
fn denied_within(said: &str) -> bool {
    let last = said.rfind(' ');
    let last_but_one = last.and_then(|at| said[..at].rfind(' '));
    let cuts = [last, last_but_one].into_iter().flatten();
    cuts.map(|at| &said[..at]).any(denied_before)
}

/// Whether words end in a denial of what comes next.
fn denies<'w>(before: impl DoubleEndedIterator<Item = &'w str>) -> bool {
    before
        .rev()
        .find(|w| !FILLERS.contains(w))
        .is_some_and(|w| DENIALS.contains(&w))
}

/// Whether a text ends in a denial of what comes next.
pub(super) fn denied_before(text: &str) -> bool {
    let start = text.rfind(|c| ends(c) || c == ',').map_or(0, |i| i + 1);
    denies(words(&text[start..]).iter().map(|w| w.text.as_str()))
}

/// Whether a character ends a sentence or a part of it.
fn ends(c: char) -> bool {
    matches!(c, '.' | ';' | '!' | '?' | '\n')
}

/// Whether words begin with a name, which may be in the plural.
fn begin_with(words: &[Word], name: &[String]) -> bool {
    let fits = |(n, w): (&String, &Word)| *n == w.text || w.text.strip_suffix('s') == Some(n);
    name.len() <= words.len() && name.iter().zip(words).all(fits)
}

/// How many words at the beginning name all copies at once: "both cameras", "none
/// of the usb ports", "my cameras". A singular that one copy goes by means that one.
fn all_of(words: &[Word], copies: &[&CopyInfo], names: &[(usize, Vec<String>)]) -> Option<usize> {
    let unit = copies[0].unit.to_lowercase();
    let word = |at: usize| words.get(at).map_or("", |w| w.text.as_str());
    let first = word(0);
    let not_one = first == "not" && word(1) == "one";
    let all = ALL.contains(&first) || not_one;
    let whose = WHOSE.contains(&first) && (first != "two" || copies.len() == 2);
    if unit.is_empty() || !(all || whose) {
        return None;
    }
    let from = if not_one { 2 } else { 1 };
    let of = (words[from..].iter()).take_while(|w| all && OF.contains(&w.text.as_str()));
    let n = from + of.count();
    // Whether it is the unit, in the plural.
    let plural = |at: usize| {
        let word = words.get(at)?.text.as_str();
        let many = word.strip_suffix('s') == Some(unit.as_str());
        (many || word == unit).then_some(many)
    };
    let begins_a_name = |at: usize| {
        let rest = &words[at..];
        let begins = |name: &Vec<String>| {
            name.len() > 1 && begin_with(rest, name)
                || begin_with(rest, &name[..1]) && name[0] != unit
        };
        names
            .iter()
            .any(|(_, name)| !name.is_empty() && begins(name))
    };
    let is_a_name = || names.iter().any(|(_, name)| *name == [unit.as_str()]);
    let length = match (plural(n), plural(n + 1)) {
        (Some(true), _) if !begins_a_name(n) => n + 1,
        (Some(false), _) if all && !is_a_name() && !begins_a_name(n) => n + 1,
        // A word more: "both charging ports".
        (None, Some(true)) if all && !begins_a_name(n) && !JOINS.contains(&word(n)) => n + 2,
        _ => return None,
    };
    Some(length)
}
