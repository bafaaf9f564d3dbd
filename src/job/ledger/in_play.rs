//! Which packs a job is about.

use super::{CaseError, one};
use crate::job::file::Entry;
use crate::model::{InPlay, Model};
use crate::rulebase::Rulebase;

/// Packs that the complaint or an entry speaks of; all if there is no complaint.
pub(super) fn packs_in_play(
    whole: &Model,
    rules: &Rulebase,
    symptoms: &[String],
    steps: &[Entry],
) -> Result<InPlay, CaseError> {
    let mut packs: Vec<String> = Vec::new();
    for s in symptoms {
        let i = one(whole.symptom(s), "symptom", s)?;
        packs.push(whole.symptoms[i].pack.clone());
    }
    if packs.is_empty() {
        return Ok(InPlay {
            packs: whole.packs.clone(),
            joined: Vec::new(),
        });
    }
    let pack = |id: &String| rules.packs.iter().find(|r| r.id == *id);
    let unheard = packs
        .iter()
        .all(|p| pack(p).is_some_and(|p| p.unheard.is_some()));
    let complained_of = packs.clone();
    for e in steps {
        let name = match e {
            Entry::Result(r) => r.test.as_str(),
            Entry::Remedy(d) => d.did.as_str(),
            Entry::Reference(r) => r.test.as_str(),
            _ => continue,
        };
        let last = name.rsplit('/').next().unwrap_or(name);
        let head = name.split('/').next().unwrap_or("");
        let owners: Vec<&str> = rules
            .packs
            .iter()
            .filter(|p| {
                p.tests.iter().any(|t| t.id == last) || p.remedies.iter().any(|r| r.id == last)
            })
            .map(|p| p.id.as_str())
            .collect();
        let owner = match owners.as_slice() {
            [one] => Some(*one),
            many => many.iter().copied().find(|p| *p == head),
        };
        if let Some(p) = owner.filter(|p| !packs.iter().any(|q| q == p)) {
            packs.push(p.to_owned());
        }
    }
    let mut joined = Vec::new();
    if unheard {
        joined.clone_from(&packs);
        joined.retain(|p| !complained_of.contains(p));
    }
    let all = whole.packs.iter();
    let all = all.filter(|p| packs.contains(p) || pack(p).is_some_and(|r| r.minimal));
    Ok(InPlay {
        packs: all.cloned().collect(),
        joined,
    })
}
