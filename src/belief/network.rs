//! Faults, findings, changes: what a belief is about.

mod change;
mod event;
mod finding;
mod joint;

pub use change::Change;
pub use event::{Event, Seen};
pub use finding::{Finding, agreed};
pub(super) use joint::Joint;

use typed_index_collections::{TiSlice, TiVec};

use crate::index::index_of;

index_of! {
    /// Index of a fault in its [`Network`].
    FaultId
}

index_of! {
    /// Index of an item, which faults belong to.
    ItemId
}

index_of! {
    /// Index of a place, which items lie in.
    PlaceId
}

/// A fault before anything is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Probability, 0..=1.
    pub probability: f64,
    /// Which item it belongs to.
    pub item: ItemId,
    /// Which place it belongs to.
    pub place: PlaceId,
}

impl Prior {
    /// A fault with its probability, item and place.
    pub fn new(probability: f64, item: ItemId, place: PlaceId) -> Self {
        Prior {
            probability,
            item,
            place,
        }
    }
}

/// All faults that a device can have.
#[derive(Clone, Debug, Default)]
pub struct Network {
    faults: TiVec<FaultId, Prior>,
}

impl Network {
    /// A network of independent faults.
    pub fn new(faults: TiVec<FaultId, Prior>) -> Self {
        Network { faults }
    }
    /// The faults.
    pub fn faults(&self) -> &TiSlice<FaultId, Prior> {
        &self.faults
    }
    /// How many faults.
    pub fn len(&self) -> usize {
        self.faults.len()
    }
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }
    /// How many items the faults belong to.
    pub fn items(&self) -> usize {
        self.faults.iter().map(|f| f.item.0 + 1).max().unwrap_or(0)
    }
    /// How many places the faults belong to.
    pub fn places(&self) -> usize {
        self.faults.iter().map(|f| f.place.0 + 1).max().unwrap_or(0)
    }
}
