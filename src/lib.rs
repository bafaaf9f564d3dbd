//! Fault finding for component-level device repair.
pub mod bench;
pub mod cli;
pub mod desk;
pub mod belief;
pub mod job;
pub mod model;
pub mod plan;
pub mod report;
pub mod rulebase;
pub mod store;
