//! Why an entry cannot be taken.

use thiserror::Error;

use crate::model::{CompileError, Found};

/// Why an entry cannot be taken.
#[derive(Clone, Debug, Error)]
pub enum CaseError {
    /// The device or the history does not fit the rules.
    #[error(transparent)]
    Compile(#[from] CompileError),
    /// A name that nothing has.
    #[error("no {what} is called `{name}`{}", .near.as_ref().map(|n| format!("; did you mean `{n}`?")).unwrap_or_default())]
    Unknown {
        /// test, remedy, symptom, fault.
        what: &'static str,
        /// What was typed.
        name: String,
        /// What was probably meant.
        near: Option<String>,
    },
    /// A name that several have.
    #[error("`{name}` could be {}; write it in full", .could_be.join(" or "))]
    Ambiguous {
        /// What was typed.
        name: String,
        /// Full names.
        could_be: Vec<String>,
    },
    /// A word that is no outcome of the test.
    #[error("`{shows}` is no result of `{test}`; it can be {}", .can_be.join(", "))]
    NoOutcome {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// What it can be.
        can_be: Vec<String>,
    },
    /// A value in the wrong unit.
    #[error("`{test}` is measured in {unit}, not as `{shows}`; type what it reads in {unit}")]
    WrongUnit {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// The unit.
        unit: String,
    },
    /// A value that no outcome covers.
    #[error("{shows} fits none of the results of `{test}`: {}", .can_be.join(", "))]
    OutsideAll {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// The ranges.
        can_be: Vec<String>,
    },
    /// A value that was probably meant otherwise.
    #[error("`{shows}` could be {}; write it in full", .could_be.join(" or "))]
    Doubtful {
        /// What was typed.
        shows: String,
        /// What it could be.
        could_be: Vec<String>,
    },
    /// What is true, but says too little to count.
    #[error("`{shows}` says only that {says}; type {instead}")]
    TooLittle {
        /// What was typed.
        shows: String,
        /// What it says.
        says: String,
        /// What to type instead.
        instead: String,
    },
    /// A value that no meter shows.
    #[error("`{shows}` cannot be a reading of `{test}`: {why}")]
    NoReading {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// Why not.
        why: String,
    },
    /// A reading of a good board for a test that has none.
    #[error("`{0}` measures no line, so there is nothing to compare with a good board's reading")]
    NoLine(String),
    /// A reading of a good board of nobody.
    #[error("say whose board it was, such as `donor in drawer 3`")]
    Nobodys,
    /// What no good board can read.
    #[error(
        "`{reads}` cannot be what a good board reads in `{test}`, which by the rules is {good}; \
         see whether it is the same point, mode and model"
    )]
    NotGood {
        /// The test.
        test: String,
        /// What was typed.
        reads: String,
        /// What it is by the rules.
        good: String,
    },
    /// An entry that there is not.
    #[error("{}", no_entry(*typed, *entries))]
    NoEntry {
        /// What was typed.
        typed: usize,
        /// How many there are before this one.
        entries: usize,
    },
    /// A correction of a correction.
    #[error("entry {entry} corrects entry {of}; correct entry {of} again")]
    IsCorrection {
        /// What was typed.
        entry: usize,
        /// What that one corrects.
        of: usize,
    },
    /// Another value for an entry that has none.
    #[error("entry {entry} says that a result was measured again; it can only be struck")]
    OnlyStruck {
        /// What was typed.
        entry: usize,
    },
    /// A result that cannot be confirmed.
    #[error("entry {entry} cannot be confirmed: {why}")]
    NotSure {
        /// What was typed.
        entry: usize,
        /// Why not.
        why: &'static str,
    },
    /// What was seen cannot be under the rules.
    #[error("the results cannot all be right under these rules; no set of faults explains them")]
    Impossible,
}

fn no_entry(typed: usize, entries: usize) -> String {
    match entries {
        0 => format!("there is no entry {typed}: nothing was entered yet"),
        n => format!("there is no entry {typed}; they are numbered from 1 to {n}"),
    }
}

/// Takes one of what was found, or says why not.
pub(in crate::job) fn one<I>(
    found: Found<I>,
    what: &'static str,
    name: &str,
) -> Result<I, CaseError> {
    match found {
        Found::One(i) => Ok(i),
        Found::Several(could_be) => Err(CaseError::Ambiguous {
            name: name.to_owned(),
            could_be,
        }),
        Found::None(near) => Err(CaseError::Unknown {
            what,
            name: name.to_owned(),
            near,
        }),
    }
}
