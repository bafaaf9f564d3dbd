//! A job: one device from intake to hand-back.
//!
//! A job is an append-only list of entries ([`CaseFile`]); everything shown is
//! recomputed from it: what the entries came to ([`Ledger`]), and what is believed
//! and advised by that ([`Case`]).
mod amend;
pub mod bypass;
pub mod can_tell;
mod case;
mod file;
mod history;
mod kind;
mod ledger;
pub mod line;
pub mod notice;
pub(crate) mod proof;
mod question;
pub mod reading;
mod said;
pub mod trail;
pub mod tree;
pub mod view;
pub mod weigh;
pub mod words;

pub use case::{Case, Settings};
pub(crate) use case::{plan_remedy, plan_test, turns_in_words};
pub use file::{
    Cannot, CaseFile, Closing, ClosingState, Correction, Did, Entry, LONGEST_COMPLAINT,
    LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, Reference, Shown, Sure, Unclear,
};
pub use kind::StepKind;
pub(crate) use ledger::outcome;
pub use ledger::{CaseError, Closed, Entered, Ledger};
pub(crate) use question::questioned;
