//! x
pub mod bench;
pub mod belief;
pub mod job;
pub mod model;
pub mod plan;
pub mod rulebase;
