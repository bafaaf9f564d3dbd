//! What each result did, and whether the results agree.

use super::network::{Event, FaultId, Network};
use super::{exact, update::Size, update::update};

/// What one result did to one suspect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weight {
    /// Index of the result among the results.
    pub result: usize,
    /// Odds of the suspect with the result over its odds without it, all other
    /// results given: above 1 speaks for the suspect, below 1 against it.
    pub factor: f64,
}

/// For a suspect, the weight of each result, all others given. Every event that
/// was seen is a result.
pub fn weights_of_evidence(network: &Network, events: &[Event], fault: FaultId) -> Vec<Weight> {
    weights_among(network, results(events), fault, |keep| only(events, keep))
}

/// The same of `results` results, where `events` gives the events with only some
/// of them: those recorded together change when one of them is left out.
pub fn weights_among(
    network: &Network,
    results: usize,
    fault: FaultId,
    events: impl Fn(&dyn Fn(usize) -> bool) -> Vec<Event>,
) -> Vec<Weight> {
    let odds = |events: &[Event]| {
        let p = update(network, events, Size::Auto).faults[fault];
        p / (1.0 - p).max(1e-300)
    };
    let with = odds(&events(&|_| true));
    (0..results)
        .map(|result| Weight {
            result,
            factor: with / odds(&events(&|r| r != result)).max(1e-300),
        })
        .collect()
}

fn results(events: &[Event]) -> usize {
    let seen = |e: &&Event| matches!(e, Event::Seen(_));
    events.iter().filter(seen).count()
}

/// The events with only some of those that were seen.
fn only(events: &[Event], keep: &dyn Fn(usize) -> bool) -> Vec<Event> {
    let mut results = 0..;
    let mut kept = events.to_vec();
    kept.retain(|e| matches!(e, Event::Changed(_)) || results.next().is_some_and(keep));
    kept
}

/// Conflict of the results, in bits: the binary logarithm of the product of
/// their single probabilities over their joint one, all given the first
/// `given` results (the complaint). Positive when they are less probable
/// together than each by itself suggests (Jensen, Chamberlain, Nordahl and
/// Jensen 1990, "Analysis in HUGIN of data conflict"). Every event that was seen
/// is a result.
pub fn conflict_bits(network: &Network, events: &[Event], given: usize) -> f64 {
    conflict_among(network, results(events), given, |keep| only(events, keep))
}

/// The same of `results` results, where `events` gives the events with only some
/// of them: those recorded together change when one of them is left out.
pub fn conflict_among(
    network: &Network,
    results: usize,
    given: usize,
    events: impl Fn(&dyn Fn(usize) -> bool) -> Vec<Event>,
) -> f64 {
    conflict_by(results, given, |kept| {
        evidence_log2(network, &events(&|r| kept.has(r, given)))
    })
}

/// Results of which the probability is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kept {
    /// The given ones.
    Given,
    /// The given ones and one more, by its place.
    One(usize),
    /// All.
    All,
}

impl Kept {
    /// Whether a result is among them, by its place, the first so many given.
    pub fn has(self, result: usize, given: usize) -> bool {
        result < given || self == Kept::All || self == Kept::One(result)
    }
}

/// Binary logarithm of the probability of events.
pub fn evidence_log2(network: &Network, events: &[Event]) -> f64 {
    match exact::evidence(network, events) {
        Some(p) => p.log2(),
        None => update(network, events, Size::Auto).evidence_log2,
    }
}

/// Conflict of `results` results, given the first so many, where `log2` is the
/// binary logarithm of the probability of some of them.
pub fn conflict_by(results: usize, given: usize, log2: impl Fn(Kept) -> f64) -> f64 {
    if results < given + 2 {
        return 0.0;
    }
    let base = log2(Kept::Given);
    let joint = log2(Kept::All) - base;
    let single: f64 = (given..results).map(|i| log2(Kept::One(i)) - base).sum();
    let bits = single - joint;
    if bits.is_finite() { bits } else { 0.0 }
}
