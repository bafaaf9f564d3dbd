//! What stands on a report, cleaned and put in words, before it is Markdown or
//! a page. The customer's sheet has no room for numbers, remarks or
//! identifiers; that is what keeps them out.

mod bench;
mod customer;

pub(super) use bench::{Advice, BenchSheet, BenchStep, Known, Odds};
pub(super) use customer::{Check, CustomerSheet};
