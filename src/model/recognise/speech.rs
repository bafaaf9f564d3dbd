//! A text cut into clauses, with what each names and denies.

use std::ops::Range;
use std::sync::Arc;

use super::overlap;
use super::vocabulary::{
    ALL, BESIDE, CONTRASTS, DENIALS, DENIES, DOUBTS, FILLERS, JOINS, OF, PRAISE, SUBJECTS, TURNS,
    WHEN, WHOSE, Word, begin_with, ends, words,
};
use crate::model::{CopyInfo, SymptomInfo};
use crate::rulebase::Pattern;

/// Where a pattern fits.
pub(super) struct Hit {
    pub(super) at: Range<usize>,
    pub(super) pattern: Arc<Pattern>,
}

/// One copy or several of which the same is said.
pub(super) struct Named {
    pub(super) copies: Vec<usize>,
    pub(super) at: Range<usize>,
}

/// A text as it concerns one pack.
pub(super) struct Speech<'t> {
    pub(super) text: &'t str,
    pub(super) words: &'t [Word],
    /// The pack.
    pub(super) pack: &'t str,
    /// How many copies it has.
    pub(super) copies: usize,
    /// It is the pack of all other complaints.
    pub(super) gives_way: bool,
    /// Where areas are named, each with its pack, in order.
    pub(super) mentions: Vec<(&'t str, Range<usize>)>,
    pub(super) named: Vec<Named>,
    pub(super) clauses: Vec<Range<usize>>,
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
pub(in crate::model) fn denied_before(text: &str) -> bool {
    let start = text.rfind(|c| ends(c) || c == ',').map_or(0, |i| i + 1);
    denies(words(&text[start..]).iter().map(|w| w.text.as_str()))
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

impl<'t> Speech<'t> {
    pub(super) fn new(
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
    pub(super) fn name(&mut self, copies: &[&CopyInfo]) {
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
    pub(super) fn clause(&self, at: usize) -> usize {
        self.clauses
            .iter()
            .rposition(|c| c.start <= at)
            .unwrap_or(0)
    }

    /// Where the patterns of a symptom fit, and speak of this pack.
    pub(super) fn hits(&self, symptom: &SymptomInfo) -> Vec<Hit> {
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
    pub(super) fn names_all(&self, at: &Range<usize>) -> bool {
        let all = |n: &&Named| n.copies.len() == self.copies;
        self.named.iter().filter(all).any(|n| overlap(&n.at, at))
    }

    /// Whether a place has nothing but the name of this pack's area.
    pub(super) fn names_only(&self, at: &Range<usize>) -> bool {
        let name = |m: &(&str, Range<usize>)| {
            m.0 == self.pack && m.1.start <= at.start && at.end <= m.1.end
        };
        self.mentions.iter().any(name)
    }

    /// The clauses that a place is in, from the first to the last.
    pub(super) fn around(&self, at: &Range<usize>) -> Range<usize> {
        let first = &self.clauses[self.clause(at.start)];
        let last = &self.clauses[self.clause(at.end.max(1) - 1)];
        first.start..last.end.max(at.end)
    }

    /// The copies that something said at a place is of, and whether they are
    /// named in the same clause.
    pub(super) fn bind(&self, at: &Range<usize>) -> Option<(&Named, bool)> {
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
    pub(super) fn denied(&self, at: &Range<usize>) -> bool {
        let start = self.clauses[self.clause(at.start)].start;
        denies(self.within(start..at.start))
    }

    /// Whether a clause speaks well of what it is about.
    pub(super) fn praised(&self, clause: usize) -> bool {
        let mut words = self.within(self.clauses[clause].clone());
        words.any(|w| PRAISE.contains(&w))
            && !self
                .within(self.clauses[clause].clone())
                .any(|w| DENIALS.contains(&w) || DOUBTS.contains(&w))
    }
}
