//! The sum over all sets of faults.
//!
//! The faults are gone through once. Every result carries a digit that says
//! how far it has been pushed relative to what was seen: *below* it, *at* it or
//! *beyond* it. The weights over all combinations of digits are kept; a fault
//! that is present moves weight up, a fault that is absent leaves it. At the
//! end each digit has its own likelihood. All terms are positive, so nothing
//! is lost to cancellation, unlike in the inclusion-exclusion form (Heckerman
//! 1989, "A tractable inference algorithm for diagnosing multiple diseases",
//! which this replaces).
//!
//! Remedies make a fault a variable with several *lives*: never there, there
//! all along, cleared by the second remedy, and so on. Lives are independent
//! between faults, so the sum stays exact over any number of remedies.
//!
//! Faults that touch the same few digits are packed. Everything outside a pack
//! is contracted once to the digits that the pack touches, and its faults are
//! gone through there: what is pushed by a set of independent causes is the
//! furthest push of each (Díez 1993, "Parameter adjustment in Bayes networks:
//! the generalized noisy OR-gate"), so a pack acts on the rest as one
//! distribution over the pushes of its own digits.
//!
//! Faults that act together in some finding (a joint one) are not independent
//! given its result. They form a *block*, and blocks that share a fault are
//! one. A block is a pack that is gone through set by set instead of fault by
//! fault: all its sets where they are few enough, else those up to a size;
//! each has the likelihood of the joint results as a factor. What the sets left
//! out can weigh is bounded, and the sum stands only where that is next to
//! nothing.
//!
//! Where the digits have more combinations than can be carried at once, each is
//! carried from the first fault that pushes it to the last: see `tree`.
//!
//! Cost: number of digit combinations times number of packs, some twenty
//! times over; and for each pack the same again over its own digits and faults.
//!
//! | file | idea |
//! | --- | --- |
//! | `digits` | how far a result has been pushed, and what pushes it |
//! | `blocks` | faults that act together, set by set |
//! | `model` | results and faults laid out for the sum |
//! | `space` | vectors of weights by combinations of digits |
//! | `sums` | what the sum gives |
//! | `sweep` | the sum with all digits carried, there and back; `packs`: faults that push few digits |
//! | `tree` | the sum with each digit carried from its first fault to its last |

mod blocks;
mod digits;
mod model;
mod space;
mod sums;
mod sweep;
mod tree;

pub use blocks::MAX_LIVES;

use typed_index_collections::TiVec;

use super::network::{Event, FaultId, ItemId, Network, PlaceId};
use model::Model;
use space::dot;
use sums::Sums;
use sweep::Sweep;
use tree::Tree;

/// Most combinations of digits that are all carried at once.
pub const MAX_STATES: usize = 1 << 14;

/// Exact answers over all sets of faults. "Now" is after all events.
#[derive(Clone, Debug)]
pub struct Exact {
    /// Probability of everything that was seen.
    pub evidence: f64,
    /// Probability of each fault now.
    pub faults: TiVec<FaultId, f64>,
    /// Probability that an item has some fault now.
    pub items: TiVec<ItemId, f64>,
    /// Probability that a place has some fault now.
    pub places: TiVec<PlaceId, f64>,
    /// Probability that nothing is at fault now.
    pub nothing: f64,
    /// For each result, in order, the probability that it was a misreading:
    /// that the device really was in another outcome.
    pub misread: Vec<f64>,
    /// Upper bound on the share of the evidence that is left out: zero unless
    /// more faults act together than can be gone through set by set.
    pub left_out: f64,
}

/// Sets of up to the first size are gone through at first; if those left out
/// could weigh too much, larger ones.
const SIZES: std::ops::RangeInclusive<usize> = 2..=4;

/// Most of the evidence that sets left out may have.
const NEGLIGIBLE: f64 = 1e-2;
/// The same where only the evidence is asked for, which is then wrong by 0.07
/// bits at most.
const ROUGH: f64 = 5e-2;

/// A sum with its way ahead done.
struct Ahead<'m> {
    sweep: Sweep<'m>,
    /// The likelihoods after it.
    end: Vec<f64>,
    /// Probability of what was seen, and a bound on what is left out of it.
    total: f64,
    lost: f64,
}

impl Ahead<'_> {
    fn new(model: &Model) -> Ahead<'_> {
        let sweep = Sweep::over(model);
        let end = sweep.space.product(&model.digits, 1.0, |d| &d.last);
        Ahead {
            total: dot(sweep.result(), &end),
            lost: sweep
                .lost
                .iter()
                .zip(&end)
                .fold(0.0, |sum, (l, e)| sum + l * e),
            sweep,
            end,
        }
    }

    /// Takes all answers.
    fn back(&self, model: &Model, sums: &mut Sums) {
        let (sweep, end) = (&self.sweep, &self.end);
        // What no result touches stays as it was.
        for f in model.faults.iter().filter(|f| f.pushes.is_empty()) {
            sums.faults[f.id] = f.now();
            let not = 1.0 - sums.faults[f.id];
            sums.no_item[f.item] *= not;
            sums.no_place[f.place] *= not;
            sums.nothing *= not;
        }
        for (d, digit) in model.digits.iter().enumerate().filter(|d| d.1.misread) {
            let wrong: f64 = sweep
                .result()
                .iter()
                .zip(end)
                .enumerate()
                .filter(|(state, _)| sweep.space.level(d, *state) != digit.seen)
                .map(|(_, (w, e))| w * e)
                .sum();
            sums.misread[digit.result] = (wrong / self.total).clamp(0.0, 1.0);
        }
        sweep.back(end.clone(), sums);
    }
}

/// A sum, in the way that it is done.
enum Way<'m> {
    /// With all digits carried at once.
    Sweep(Ahead<'m>),
    /// With each digit summed out after its last fault.
    Tree(Tree<'m>),
}

impl<'m> Way<'m> {
    /// `None` if either takes too much.
    fn new(model: &'m Model) -> Option<Way<'m>> {
        if model.states <= MAX_STATES {
            return Some(Way::Sweep(Ahead::new(model)));
        }
        let alone = model.blocks.is_empty();
        alone.then(|| Tree::new(model)).flatten().map(Way::Tree)
    }

    /// Probability of what was seen, and a bound on what is left out of it.
    fn total(&self) -> (f64, f64) {
        match self {
            Way::Sweep(ahead) => (ahead.total, ahead.lost),
            Way::Tree(tree) => (tree.total, 0.0),
        }
    }
}

/// Does something with the sum over sets large enough that those left out have
/// at most this share of the evidence. `None` if that is out of reach.
fn reach<T>(
    network: &Network,
    events: &[Event],
    share: f64,
    work: impl FnOnce(&Model, &Way) -> T,
) -> Option<T> {
    for least in SIZES {
        let model = Model::new(network, events, least)?;
        let way = Way::new(&model)?;
        let (total, lost) = way.total();
        if lost <= share * total {
            return Some(work(&model, &way));
        }
    }
    None
}

/// Whether the sum over all sets is within reach for these events.
pub fn within_reach(network: &Network, events: &[Event]) -> bool {
    reach(network, events, NEGLIGIBLE, |_, _| ()).is_some()
}

/// Sums over all sets. `None` if there are too many results for it, or too many
/// faults act together ([`MAX_LIVES`]), or if what was seen is impossible under
/// the model.
pub fn sum(network: &Network, events: &[Event]) -> Option<Exact> {
    attempt(network, events).flatten()
}

/// The same, with nothing inside if what was seen is impossible, and nothing at
/// all if the sum is out of reach.
pub(super) fn attempt(network: &Network, events: &[Event]) -> Option<Option<Exact>> {
    reach(network, events, NEGLIGIBLE, |model, way| {
        let total = way.total().0;
        (total > 0.0 && total.is_finite()).then(|| back(network, model, way))
    })
}

fn back(network: &Network, model: &Model, way: &Way) -> Exact {
    let (total, lost) = way.total();
    let prior = network.faults().iter().map(|f| f.probability);
    let mut sums = Sums {
        total,
        faults: prior.collect(),
        no_item: vec![1.0; network.items()].into(),
        no_place: vec![1.0; network.places()].into(),
        nothing: 1.0,
        misread: vec![0.0; model.results],
    };
    match way {
        Way::Sweep(ahead) => ahead.back(model, &mut sums),
        Way::Tree(tree) => tree.back(&mut sums),
    }
    let some = |p: &f64| (1.0 - p).clamp(0.0, 1.0);
    Exact {
        evidence: total,
        faults: sums.faults,
        items: sums.no_item.iter().map(some).collect(),
        places: sums.no_place.iter().map(some).collect(),
        nothing: sums.nothing.clamp(0.0, 1.0),
        misread: sums.misread,
        left_out: lost / (total + lost),
    }
}

/// Only the probability of what was seen, roughly where many faults act
/// together: one way instead of both.
pub fn evidence(network: &Network, events: &[Event]) -> Option<f64> {
    reach(network, events, ROUGH, |_, way| way.total().0)
}

/// The same with a bound on what is left out of it, whatever that is.
pub(super) fn weight(network: &Network, events: &[Event]) -> Option<(f64, f64)> {
    let model = Model::new(network, events, *SIZES.start())?;
    Some(Way::new(&model)?.total())
}
