//! What can go wrong in a command, and how it is told.

use std::process::ExitCode;

use anstream::eprintln;

use super::text::clean;
use crate::rulebase::{Problem, SourceFile};
use crate::units::short;

/// The outcome of a command.
pub type Result<T = ()> = std::result::Result<T, Failure>;

/// A command that did not succeed.
#[derive(Debug)]
pub enum Failure {
    /// Said no, or found problems; exit code 1.
    No {
        /// What is wrong and where.
        message: String,
        /// What to do, if there is something.
        help: Option<String>,
    },
    /// Problems were found and have been printed; exit code 1.
    Reported,
    /// Wrong usage; exit code 2.
    Usage(String),
    /// Nobody reads the output any more; a quiet end with exit code 0.
    ClosedPipe,
}

impl Failure {
    /// Said no.
    pub fn no(message: impl Into<String>) -> Self {
        Failure::No {
            message: message.into(),
            help: None,
        }
    }
    /// A text that is not what it has to be, with its problems shown in place.
    pub(super) fn not_a(what: &str, (files, problems): &(Vec<SourceFile>, Vec<Problem>)) -> Self {
        let shown: Vec<String> = problems.iter().map(|p| p.render(files, false)).collect();
        Failure::no(format!("not a {what}\n\n{}", shown.join("\n\n").trim_end()))
    }
    /// Adds what to do.
    #[must_use]
    pub fn help(self, words: impl Into<String>) -> Self {
        match self {
            Failure::No { message, .. } => Failure::No {
                message,
                help: Some(words.into()),
            },
            other => other,
        }
    }
    /// A failed read or write; a closed pipe ends quietly.
    pub fn io(e: std::io::Error) -> Self {
        if e.kind() == std::io::ErrorKind::BrokenPipe {
            Failure::ClosedPipe
        } else {
            Failure::no(e.to_string())
        }
    }
    /// Prints the failure and gives the exit code.
    #[allow(clippy::print_stderr)]
    pub fn report(&self) -> ExitCode {
        match self {
            Failure::No { message, help } => {
                eprintln!("error: {}", clean(&short(message)));
                if let Some(h) = help {
                    eprintln!("help: {}", short(h));
                }
                ExitCode::from(1)
            }
            Failure::Reported => ExitCode::from(1),
            Failure::Usage(m) => {
                eprintln!("error: {}", clean(&short(m)));
                ExitCode::from(2)
            }
            Failure::ClosedPipe => ExitCode::SUCCESS,
        }
    }
}

impl From<crate::job::CaseError> for Failure {
    fn from(e: crate::job::CaseError) -> Self {
        Failure::no(e.to_string())
    }
}

impl From<crate::model::CompileError> for Failure {
    fn from(e: crate::model::CompileError) -> Self {
        Failure::no(e.to_string())
    }
}

impl From<crate::desk::DeskError> for Failure {
    fn from(e: crate::desk::DeskError) -> Self {
        Failure::no(e.to_string())
    }
}

impl From<crate::store::StoreError> for Failure {
    fn from(e: crate::store::StoreError) -> Self {
        Failure::no(e.to_string())
    }
}

impl From<crate::job::bypass::NoAdvice> for Failure {
    fn from(e: crate::job::bypass::NoAdvice) -> Self {
        match e {
            crate::job::bypass::NoAdvice::Line(_) => Failure::Usage(e.to_string()),
            _ => Failure::no(e.to_string()),
        }
    }
}
