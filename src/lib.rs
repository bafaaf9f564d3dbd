//! Fault finding for component-level device repair.
//!
//! A rule base of faults, functions, tests and remedies; an exact belief over
//! the faults of one device; the next step by expected cost of repair; and the
//! trail of each job. `DEVELOPERS.md` tells how the rooms hang together.
//!
//! ```text
//! rules -> rulebase (built_in) -> model -> belief -> plan -> job -> simulate -> drill -> store, desk -> report, cli
//! ```
pub mod belief;
pub mod bench;
pub mod built_in;
pub mod circuit;
pub mod cli;
pub mod desk;
pub mod drill;
mod index;
pub mod job;
pub mod line;
pub mod model;
pub mod plan;
pub mod report;
pub mod rulebase;
pub mod simulate;
pub mod store;
pub mod sums;
mod units;
