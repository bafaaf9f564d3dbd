//! The definition that parsing, help, completions and the man page come from.

use std::path::PathBuf;

use clap::{Parser, Subcommand, ValueEnum};

use crate::belief::Size;
use crate::job::Settings;
use crate::plan::Costs;
use crate::rulebase::Rules;

/// Find the fault, one step at a time.
///
/// Without a command, opens a new job or goes on with an old one, asking one
/// thing after another. Every action is also a command of its own for scripts.
#[derive(Clone, Debug, Parser)]
#[command(name = "halfsplit", version, max_term_width = 92, after_help = EXIT_CODES)]
pub struct Args {
    /// What to do; without it, walk through a job.
    #[command(subcommand)]
    pub command: Option<Command>,
    /// Rule file or folder that adds to or replaces the built-in rules (can be repeated).
    #[arg(long, global = true, value_name = "PATH")]
    pub rules: Vec<PathBuf>,
    /// Leave the built-in rules out.
    #[arg(long, global = true)]
    pub only_these_rules: bool,
    /// Largest set of faults considered together: a number, or `all`. Without
    /// it, pairs, and larger sets by themselves where pairs do not suffice.
    #[arg(long, global = true, value_name = "N", value_parser = size)]
    pub candidates: Option<Size>,
    /// How to print.
    #[arg(long, global = true, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Where jobs are kept; else HALFSPLIT_STORE, else the platform's data folder.
    #[arg(long, global = true, value_name = "FILE")]
    pub store: Option<PathBuf>,
    /// Cost of an hour at the bench, in your currency.
    #[arg(long, global = true, value_name = "COST", default_value_t = 60.0, value_parser = cost)]
    pub rate: f64,
    /// What it costs when a job ends unmended, in your currency.
    #[arg(long, global = true, value_name = "COST", default_value_t = 180.0, value_parser = cost)]
    pub unmended: f64,
}

const EXIT_CODES: &str = "Exit codes: 0 fine; 1 problems found, or the answer is no; 2 wrong usage.";

/// How to print.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Plain words for people.
    #[default]
    Text,
    /// Versioned JSON for programs.
    Json,
}

/// What to do.
#[derive(Clone, Debug, Subcommand)]
pub enum Command {
    /// Check, describe or explain the rules.
    #[command(subcommand)]
    Rules(RulesCommand),
    /// Work through a case file without touching the store.
    Replay {
        /// The case file.
        case: PathBuf,
    },
    /// Print a completion script for a shell.
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page.
    Man,
}

/// Commands on rules.
#[derive(Clone, Debug, Subcommand)]
pub enum RulesCommand {
    /// Print every problem of the rules, and what they hold.
    Check {
        /// Rule files or folders; without them, the built-in rules.
        paths: Vec<PathBuf>,
    },
    /// Print a JSON Schema of rule files, for editors.
    Schema,
    /// Tell in plain words what an item, fault, test or remedy is.
    Explain {
        /// Its identifier, or the end of it.
        id: String,
    },
}

impl Args {
    /// The rules that the arguments ask for.
    pub fn rules(&self) -> Rules {
        Rules {
            paths: self.rules.clone(),
            only_these: self.only_these_rules,
        }
    }
    /// The settings that the arguments ask for.
    pub fn settings(&self) -> Settings {
        Settings {
            size: self.candidates.unwrap_or_default(),
            costs: Costs {
                rate: self.rate,
                give_up: self.unmended,
                limit: None,
            },
        }
    }
}

fn size(text: &str) -> Result<Size, String> {
    if text == "all" {
        return Ok(Size::All);
    }
    match text.parse() {
        Ok(n @ 1..=6) => Ok(Size::UpTo(n)),
        _ => Err("a number from 1 to 6, or `all`".to_owned()),
    }
}

fn cost(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(c) if c.is_finite() && c >= 0.0 => Ok(c),
        _ => Err("a cost such as 60 or 42.50".to_owned()),
    }
}
