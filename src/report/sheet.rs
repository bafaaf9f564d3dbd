//! What stands on a report, cleaned and put in words, before it is Markdown or
//! a page. The customer's sheet has no room for numbers, remarks or
//! identifiers; that is what keeps them out.

mod bench;
mod customer;

pub(super) use bench::{Advice, BenchSheet, BenchStep, Known, Odds};
pub(super) use customer::{Check, CustomerSheet};

use super::words;
use crate::job::trail::{Moment, Trail, TrailKind, TrailStep};

fn cleaned(texts: &[String]) -> Vec<String> {
    texts
        .iter()
        .filter_map(|t| words::filled(Some(t)))
        .collect()
}

fn remedies(t: &Trail) -> impl Iterator<Item = &TrailStep> {
    t.steps.iter().filter(|s| s.kind == TrailKind::Remedy)
}

/// What was known last.
fn end(t: &Trail) -> &Moment {
    t.steps.last().map_or(&t.intake, |s| &s.after)
}

/// Whether something was done to the device, or tried to be.
fn was_done(s: &TrailStep) -> bool {
    matches!(
        s.kind,
        TrailKind::Result | TrailKind::Remedy | TrailKind::Unclear | TrailKind::Sure
    )
}
