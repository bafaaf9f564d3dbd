//! An exact belief over faults: a small inference library that knows nothing
//! of rule files, storage or screens.
//!
//! # The model
//!
//! Faults are independent a priori. A [`Finding`] is anything that can be
//! seen; it has ordered outcomes, the healthy one first. Every fault that is
//! present pushes it, by chance, to some outcome, and the furthest push wins
//! (noisy-MAX; with two outcomes this is the noisy-OR). A link's strength
//! excludes the leak: `P(yes | C) = 1 - (1 - leak) * prod(1 - strength)`.
//! Every result can be misread: each outcome has a chance to be reported though
//! another is true ([`Finding::mistaken`]).
//!
//! In a [joint finding](Finding::joint) a few faults act together instead: it
//! has a row of chances for each set of them, as when a reading of one line
//! depends on which of the line's faults are there at once. The outcomes are
//! then in any order, and a number that was read has its density as its only
//! one. Several results of one thing that hang together beyond its faults are
//! one [record](Finding::recorded).
//!
//! A remedy is not evidence, it changes the device: a [`Change`] clears faults
//! with a chance that it takes, and may bring others. What was seen before
//! stays true of the device as it was.
//!
//! # The engines
//!
//! [`exact`] sums over *all* sets of faults by going through the faults once,
//! carrying weights indexed by what each result already has as explanation
//! (the stable form of the sum for noisy-OR networks: every term is positive).
//! Where results are many, each is carried only from its first fault to its
//! last. Faults that act together are gone through set by set, as one.
//! [`candidates`] lists sets up to a size, for explanations and for planning.
//! Each checks the other: the sum over all sets tells how much the list leaves
//! out. Where the sum is out of reach, a search lists sets best first and bounds
//! what it does not list.
//!
//! ```
//! use halfsplit::belief::{
//!     Event, FaultId, Finding, ItemId, Network, PlaceId, Prior, Size, update,
//! };
//! let prior = |p, n| Prior::new(p, ItemId(n), PlaceId(n));
//! let priors = vec![prior(0.1, 0), prior(0.2, 1)];
//! let (network, [first, second]) = (Network::new(priors.into()), [FaultId(0), FaultId(1)]);
//! let dark = Finding::yes_no(0.0, &[(first, 1.0), (second, 1.0)], 0.0);
//! let belief = update(&network, &[Event::seen(&dark, 1)], Size::All);
//! // P(first | dark) = 0.1 / (1 - 0.9 * 0.8)
//! assert!((belief.faults[first] - 0.1 / 0.28).abs() < 1e-12);
//!
//! // Either fault alone pulls the line low, both together leave it high.
//! let low = Finding::joint(&[
//!     (vec![], vec![1.0, 0.0]),
//!     (vec![first], vec![0.0, 1.0]),
//!     (vec![second], vec![0.0, 1.0]),
//!     (vec![first, second], vec![1.0, 0.0]),
//! ], 0.0);
//! let belief = update(&network, &[Event::seen(&low, 1)], Size::All);
//! assert!((belief.faults[first] - 0.08 / (0.08 + 0.18)).abs() < 1e-12);
//! ```
mod best_first;
pub mod candidates;
pub mod exact;
mod explain;
mod lives;
mod network;
mod order;
mod prior;
mod update;

pub use explain::{
    Kept, Weight, conflict_among, conflict_bits, conflict_by, evidence_log2, weights_among,
    weights_of_evidence,
};
pub use network::{Change, Event, FaultId, Finding, ItemId, Network, PlaceId, Prior, Seen, agreed};
pub use order::likelier;
pub use prior::{Conversion, ConversionError, convert, leak_for};
pub use update::{Belief, Size, update};
