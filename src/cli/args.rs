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

const EXIT_CODES: &str =
    "Exit codes: 0 fine; 1 problems found, or the answer is no; 2 wrong usage.";

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
    /// List jobs, the latest first; words narrow the list.
    Jobs {
        /// Words to find in model, serial, complaint, state or cause.
        words: Vec<String>,
        /// Only jobs in this state: open, mended, not-mended, no-fault-found, not-worth-it.
        #[arg(long, value_parser = ["open", "mended", "not-mended", "no-fault-found", "not-worth-it"], hide_possible_values = true)]
        state: Option<String>,
    },
    /// One action on a stored job, as the walk does it.
    #[command(subcommand)]
    Job(JobCommand),
    /// Print the trail of a job.
    Trail {
        /// Number of the job.
        job: i64,
        /// Who reads it.
        #[arg(long, value_enum, default_value_t = Reader::Bench)]
        reader: Reader,
        /// As a printable page instead of plain text.
        #[arg(long)]
        html: bool,
        /// Write it to a file instead of the screen.
        #[arg(long, short, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Write a job as a case file.
    Export {
        /// Number of the job.
        job: i64,
        /// The file; without it, the screen.
        out: Option<PathBuf>,
    },
    /// Read a case file into the store as a new job.
    Import {
        /// The case file.
        case: PathBuf,
    },
    /// List the demo cases, or play one.
    Demo {
        /// Its name; without it, list them.
        name: Option<String>,
    },
    /// Print a completion script for a shell.
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page.
    Man,
}

/// Who reads a trail.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Reader {
    /// A colleague or a junior: everything.
    Bench,
    /// The customer: plain words, no internals.
    Customer,
}

/// Actions on a stored job.
#[derive(Clone, Debug, Subcommand)]
pub enum JobCommand {
    /// Open a job.
    New {
        /// phone, tablet, laptop, handheld or board.
        #[arg(long)]
        kind: String,
        /// What the customer says.
        #[arg(long)]
        complaint: String,
        /// Model of the device.
        #[arg(long)]
        model: Option<String>,
        /// Variant or board revision.
        #[arg(long)]
        variant: Option<String>,
        /// Serial number.
        #[arg(long)]
        serial: Option<String>,
        /// Symptom, where the complaint does not say it (can be repeated).
        #[arg(long)]
        symptom: Vec<String>,
        /// What happened to it: liquid, drop and so on (can be repeated).
        #[arg(long)]
        history: Vec<String>,
        /// Most it may cost before the customer is asked.
        #[arg(long, value_parser = cost)]
        limit: Option<f64>,
    },
    /// Show where a job stands and what comes next.
    Show {
        /// Number of the job.
        job: i64,
    },
    /// Enter what a test showed.
    Result {
        /// Number of the job.
        job: i64,
        /// The test.
        test: String,
        /// What it showed: yes, no, an outcome or a value.
        #[arg(allow_hyphen_values = true)]
        shows: String,
        /// A remark.
        #[arg(long)]
        note: Option<String>,
    },
    /// Enter a remedy that was done.
    Remedy {
        /// Number of the job.
        job: i64,
        /// The remedy.
        remedy: String,
        /// A remark.
        #[arg(long)]
        note: Option<String>,
    },
    /// Enter a remark.
    Note {
        /// Number of the job.
        job: i64,
        /// The remark.
        text: String,
    },
    /// Enter that a test or remedy cannot be done.
    Cannot {
        /// Number of the job.
        job: i64,
        /// The test or remedy.
        step: String,
        /// Why not.
        #[arg(default_value = "")]
        why: String,
    },
    /// Enter that the result of a test is unclear.
    Unclear {
        /// Number of the job.
        job: i64,
        /// The test.
        test: String,
        /// A remark.
        #[arg(long)]
        note: Option<String>,
    },
    /// Take the last entry back.
    Undo {
        /// Number of the job.
        job: i64,
    },
    /// Tell what speaks for and against a suspect.
    Why {
        /// Number of the job.
        job: i64,
        /// Its place among the suspects, from 1.
        #[arg(default_value_t = 1)]
        suspect: usize,
    },
    /// Tell what a result would change, without entering it.
    Suppose {
        /// Number of the job.
        job: i64,
        /// The test.
        test: String,
        /// What it would show.
        #[arg(allow_hyphen_values = true)]
        shows: String,
    },
    /// Close a job.
    Close {
        /// Number of the job.
        job: i64,
        /// mended, not-mended, no-fault-found or not-worth-it.
        state: String,
        /// Why, in a sentence.
        reason: String,
    },
    /// Open a closed job again.
    Reopen {
        /// Number of the job.
        job: i64,
    },
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
    /// Tell in plain words what a symptom, function, item, fault, test or
    /// remedy is; without a name, list them all.
    Explain {
        /// Its identifier, or the end of it, or a pack to list.
        id: Option<String>,
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
