//! What is believed of the device, as it is shown.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::belief::{FaultId, PlaceId, likelier};
use crate::job::case::Case;
use crate::job::file::Entry;
use crate::job::words::result_words;
use crate::model::Model;
use crate::rulebase::Where;

/// A suspect: a fault with its probability now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Suspect {
    /// Full identifier.
    pub fault: String,
    /// Name on screens.
    pub name: String,
    /// Its item.
    pub item: String,
    /// software, setting, part, interconnect or board.
    pub r#where: String,
    /// Probability, 0 to 1.
    pub posterior: f64,
}

/// A probability with its name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Share {
    /// An item's identifier, or one of the five places.
    pub name: String,
    /// Probability that at least one fault lies there, 0 to 1.
    pub posterior: f64,
}

/// A set of faults that together explain the results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CandidateView {
    /// Faults; empty for "nothing is wrong".
    pub faults: Vec<String>,
    /// Probability, 0 to 1.
    pub posterior: f64,
}

/// A result with how far it is to be trusted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResultView {
    /// Number of the entry, from 1; absent for the complaint.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<usize>,
    /// The test or symptom.
    pub of: String,
    /// Its outcome in plain words.
    pub shows: String,
    /// Probability that it was a misreading, 0 to 1.
    pub misread: f64,
}

/// The belief at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BeliefView {
    /// All suspects, likeliest first.
    pub suspects: Vec<Suspect>,
    /// The five places.
    pub r#where: Vec<Share>,
    /// All items, likeliest first.
    pub items: Vec<Share>,
    /// Probability that nothing is wrong (any more).
    pub nothing_found: f64,
    /// The likeliest sets of faults, at most twenty.
    pub candidates: Vec<CandidateView>,
    /// Size of the largest sets that were listed.
    pub candidate_size: usize,
    /// Bound on the probability that the numbers above leave out.
    pub left_out: f64,
    /// Bound on the probability of sets that are not listed.
    pub candidates_left_out: f64,
    /// Binary logarithm of the probability of everything seen.
    pub evidence_log2: f64,
    /// How far the results disagree, in bits; positive is disagreement.
    pub conflict_bits: f64,
    /// Results in force.
    pub results: Vec<ResultView>,
}

pub(super) fn belief(case: &Case, steps: &[Entry]) -> BeliefView {
    let m = &case.model;
    let b = &case.belief;
    let mut suspects: Vec<Suspect> = (m.faults.keys())
        .map(|f| suspect(m, f, b.faults[f]))
        .collect();
    suspects.sort_by(|a, b| likelier(a.posterior, b.posterior));
    let mut items: Vec<Share> = m
        .items
        .iter()
        .zip(&b.items)
        .map(|(i, p)| Share {
            name: i.id.clone(),
            posterior: *p,
        })
        .collect();
    items.sort_by(|a, b| likelier(a.posterior, b.posterior));
    let results = case
        .results()
        .into_iter()
        .zip(&b.misread)
        .enumerate()
        .map(|(n, (entry, misread))| {
            let words = result_words(case, n, entry, steps);
            ResultView {
                entry: entry.map(|e| e + 1),
                shows: words.shows(),
                of: words.of,
                misread: *misread,
            }
        })
        .collect();
    BeliefView {
        suspects,
        r#where: Where::ALL
            .iter()
            .enumerate()
            .map(|(i, w)| Share {
                name: w.word().to_owned(),
                posterior: b.places.get(PlaceId(i)).copied().unwrap_or(0.0),
            })
            .collect(),
        items,
        nothing_found: b.nothing,
        candidates: b
            .candidates
            .iter()
            .take(20)
            .map(|(c, p)| CandidateView {
                faults: c.iter().map(|f| m.faults[f].id.clone()).collect(),
                posterior: *p,
            })
            .collect(),
        candidate_size: b.size,
        left_out: b.left_out,
        candidates_left_out: b.candidates_left_out,
        evidence_log2: b.evidence_log2,
        conflict_bits: case.conflict(),
        results,
    }
}

/// A fault as a suspect.
pub(in crate::job) fn suspect(m: &Model, fault: FaultId, posterior: f64) -> Suspect {
    let f = &m.faults[fault];
    Suspect {
        fault: f.id.clone(),
        name: f.name.clone(),
        item: m.items[f.item].id.clone(),
        r#where: m.items[f.item].r#where.word().to_owned(),
        posterior,
    }
}
