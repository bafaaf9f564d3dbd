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

mod kinds;
mod speech;
mod vocabulary;

use kinds::{kinds, note, told_of_the_past};
pub(super) use speech::denied_before;
use speech::{Hit, Speech};
pub(super) use vocabulary::{Word, words};

use std::ops::Range;

use super::spelling::{Read, Typo};
use super::{CopyInfo, Model};

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
