//! The trials: drawn devices, written and simulated jobs, random orders of answers.
//! They take minutes; `suite` has what takes seconds.

#[path = "../answers/mod.rs"]
mod answers;
#[path = "../arrow/mod.rs"]
mod arrow;
#[path = "../common/mod.rs"]
mod common;
#[path = "../lines/mod.rs"]
mod lines;

mod belief_many;
mod density;
mod hazards;
mod jobs;
mod line_practice;
mod line_probes;
mod line_together;
mod plan;
mod silly;
mod simulate;
mod sweep;
mod trade;
