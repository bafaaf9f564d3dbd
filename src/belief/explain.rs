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

/// For a suspect, the weight of each result, all others given.
pub fn weights_of_evidence(network: &Network, events: &[Event], fault: FaultId) -> Vec<Weight> {
    let odds = |events: &[Event]| {
        let p = update(network, events, Size::Auto).faults[fault];
        p / (1.0 - p).max(1e-300)
    };
    let with = odds(events);
    results(events)
        .enumerate()
        .map(|(result, at)| Weight {
            result,
            factor: with / odds(&without(events, at)).max(1e-300),
        })
        .collect()
}

/// Positions of the results among the events.
fn results(events: &[Event]) -> impl Iterator<Item = usize> + '_ {
    events
        .iter()
        .enumerate()
        .filter(|(_, e)| matches!(e, Event::Seen(_)))
        .map(|(i, _)| i)
}

fn without(events: &[Event], at: usize) -> Vec<Event> {
    let mut rest = events.to_vec();
    rest.remove(at);
    rest
}

/// Conflict of the results, in bits: the binary logarithm of the product of
/// their single probabilities over their joint one, all given the first
/// `given` results (the complaint). Positive when they are less probable
/// together than each by itself suggests (Jensen, Chamberlain, Nordahl and
/// Jensen 1990, "Analysis in HUGIN of data conflict").
pub fn conflict_bits(network: &Network, events: &[Event], given: usize) -> f64 {
    let p = |events: &[Event]| match exact::evidence(network, events) {
        Some(p) => p.log2(),
        None => update(network, events, Size::Auto).evidence_log2,
    };
    let at: Vec<usize> = results(events).collect();
    if at.len() < given + 2 {
        return 0.0;
    }
    let only = |keep: &[usize]| -> Vec<Event> {
        events
            .iter()
            .enumerate()
            .filter(|(i, e)| matches!(e, Event::Changed(_)) || keep.contains(i))
            .map(|(_, e)| e.clone())
            .collect()
    };
    let complaint = &at[..given];
    let base = p(&only(complaint));
    let joint = p(events) - base;
    let single: f64 = at[given..]
        .iter()
        .map(|i| {
            let mut keep = complaint.to_vec();
            keep.push(*i);
            p(&only(&keep)) - base
        })
        .sum();
    let bits = single - joint;
    if bits.is_finite() { bits } else { 0.0 }
}
