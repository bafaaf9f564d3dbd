//! What the sum gives.

use typed_index_collections::TiVec;

use super::super::network::{FaultId, ItemId, PlaceId};
use super::digits::Variable;

#[derive(Clone, Copy)]
pub(super) enum Whole {
    Item(ItemId),
    Place(PlaceId),
    Everything,
}

impl Whole {
    pub(super) fn has(self, f: &Variable) -> bool {
        match self {
            Whole::Item(i) => f.item == i,
            Whole::Place(p) => f.place == p,
            Whole::Everything => true,
        }
    }
}

/// What the sums give.
pub(super) struct Sums {
    /// Probability of everything that was seen.
    pub(super) total: f64,
    /// Probability of each fault now.
    pub(super) faults: TiVec<FaultId, f64>,
    /// Probability that an item, a place, everything has no fault now.
    pub(super) no_item: TiVec<ItemId, f64>,
    pub(super) no_place: TiVec<PlaceId, f64>,
    pub(super) nothing: f64,
    /// For each result, the probability that it was a misreading.
    pub(super) misread: Vec<f64>,
}

impl Sums {
    pub(super) fn none_of(&mut self, whole: Whole) -> &mut f64 {
        match whole {
            Whole::Item(i) => &mut self.no_item[i],
            Whole::Place(p) => &mut self.no_place[p],
            Whole::Everything => &mut self.nothing,
        }
    }
}
