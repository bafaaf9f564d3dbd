//! A line of the rules as a circuit: what the meter should read at each of its
//! points, healthy and with each fault, and what a reading can and cannot tell.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `wiring` | a line as a network, with power and without, and its faults as changes |
//! | `forecast` | the readings of one point and mode under every fault and pair of faults |
mod forecast;
mod wiring;

pub use forecast::{CATEGORIES, Category, Forecast, Tells};
pub use wiring::{Wired, Wiring};
