//! Rule files: read, checked, typed.
//!
//! ```text
//! text -> yaml (values with places) -> decode (raw form) -> validate -> Rulebase
//! ```
//!
//! Loading goes in two steps, so that one run shows every mistake: the raw
//! form keeps the place of each name and number, and the typed form holds only
//! what is valid.
mod amount;
mod decode;
mod files;
mod kept;
mod line;
mod load;
mod meter;
mod packed;
mod pattern;
pub mod problem;
pub mod raw;
mod shape;
mod source;
mod typed;
mod unlisted;
mod validate;
mod yaml;

pub use files::{Holds, RuleFile, fingerprint_over};
pub use kept::Kept;
pub use line::*;
pub(crate) use load::read_text;
pub use load::{Loaded, Rules};
pub use meter::*;
pub use pattern::{Pattern, PatternError};
pub use problem::{Code, Problem, nearest};
pub use source::{At, SourceFile, Span};
pub use typed::*;
pub use validate::{DEVICE_KINDS, slug};

/// Reads a YAML text into a type of the caller's, with every problem placed.
/// For files other than rules, such as case files.
pub fn read_yaml<T: serde::de::DeserializeOwned>(
    name: &str,
    text: String,
) -> Result<T, (Vec<SourceFile>, Vec<Problem>)> {
    let files = vec![SourceFile {
        name: name.to_owned(),
        text,
    }];
    let mut problems = Vec::new();
    match yaml::parse(0, &files[0].text) {
        Err(p) => problems.push(p),
        Ok(node) => {
            if let Some(t) = decode::decode(&node, &files, &mut problems)
                && problems.is_empty()
            {
                return Ok(t);
            }
        }
    }
    Err((files, problems))
}
