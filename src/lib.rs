//! x
pub mod belief;
pub mod rulebase;
