//! What happened to a device: results and changes.

use std::sync::Arc;

use super::change::Change;
use super::finding::Finding;

/// A finding with the outcome that was seen.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The finding.
    pub finding: Arc<Finding>,
    /// Index of the outcome.
    pub outcome: usize,
}

/// Something that happened, in the order of the job.
#[derive(Clone, Debug)]
pub enum Event {
    /// A result.
    Seen(Seen),
    /// A remedy, or the reseating that a swap does.
    Changed(Change),
}

impl Event {
    /// A result.
    pub fn seen(finding: &Finding, outcome: usize) -> Event {
        Event::Seen(Seen {
            finding: Arc::new(finding.clone()),
            outcome,
        })
    }
}
