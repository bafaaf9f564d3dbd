//! Where a text tells of the past, the symptoms of a pack by kind, and how one is taken
//! down for the copies that it is bound to.

use std::ops::Range;

use super::Heard;
use super::speech::{Hit, Named};
use crate::model::{CopyInfo, Model};

/// Where a text tells of the device's past.
pub(super) fn told_of_the_past(model: &Model, text: &str) -> Vec<Range<usize>> {
    let patterns = model.past.iter().flat_map(|p| &p.1);
    patterns.filter_map(|p| p.find(text)).collect()
}

/// The symptoms of a pack, those of its copies together, the main one first.
pub(super) fn kinds(model: &Model, pack: &str) -> Vec<Vec<usize>> {
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
pub(super) fn note(
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
