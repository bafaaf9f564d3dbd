//! x
pub mod rulebase;
