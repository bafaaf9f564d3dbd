//! The definition that parsing, help, completions and the man page come from.

mod job;
mod sum;
mod values;

pub(crate) use job::JobCommand;
pub(crate) use sum::{JumpedPart, SumCommand};
use values::{cost, manner, share, size};

use std::path::PathBuf;

use clap::{Parser, Subcommand, ValueEnum};

use crate::belief::Size;
use crate::plan::Effort;
use crate::simulate::Manner;
use crate::sums::wire::Bypassed;

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
    /// The meter on the bench, by its name in the rules; without it their first.
    #[arg(long, global = true, value_name = "NAME")]
    pub meter: Option<String>,
    /// Open a new job whatever is open; for the walk.
    #[arg(long)]
    pub new: bool,
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
    /// What the shop wants of every job, see `shop`; else HALFSPLIT_SHOP, else
    /// shop.yaml beside the store.
    #[arg(long, global = true, value_name = "FILE", env = "HALFSPLIT_SHOP")]
    pub shop: Option<PathBuf>,
    /// Cost of an hour at the bench, in your currency; without it 60.
    #[arg(long, global = true, value_name = "COST", value_parser = cost)]
    pub rate: Option<f64>,
    /// What it costs when a job ends unmended, in your currency; without it 180.
    #[arg(long, global = true, value_name = "COST", value_parser = cost)]
    pub unmended: Option<f64>,
    /// A tool that is not here, or `donor parts`: what needs it is planned around
    /// (can be repeated).
    #[arg(long, global = true, value_name = "TOOL")]
    pub without: Vec<String>,
    /// Count what a step may break three times.
    #[arg(long, global = true)]
    pub careful: bool,
    /// The customer waits: count minutes twice.
    #[arg(long, global = true)]
    pub waiting: bool,
    /// Steps to look ahead at most in choosing the next one; 1 answers soonest.
    #[arg(long, global = true, value_name = "STEPS", default_value_t = Effort::REFINED.depth as u8, value_parser = clap::value_parser!(u8).range(1..=9))]
    pub look_ahead: u8,
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
    /// A picture, of `job line`, `trail` and `tree`.
    Svg,
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
        /// With `--format json`: add the network that the last belief is computed
        /// from, so that another program can compute it too.
        #[arg(long)]
        network: bool,
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
    /// Show what this shop wants of every job (rate, what it is without, care,
    /// hurry) and where to write it down.
    Shop,
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
    /// Draw the whole order of tests and remedies as a decision tree: for a
    /// complaint about a kind of device, or for a job from where it stands.
    Tree {
        /// Number of the job.
        #[arg(required_unless_present_all = ["kind", "complaint"], conflicts_with_all = ["kind", "complaint", "model", "symptom", "history"])]
        job: Option<i64>,
        /// phone, tablet, laptop, handheld or board.
        #[arg(long, requires = "complaint")]
        kind: Option<String>,
        /// What the customer says.
        #[arg(long, requires = "kind")]
        complaint: Option<String>,
        /// Model of the device.
        #[arg(long)]
        model: Option<String>,
        /// Symptom, where the complaint does not say it (can be repeated).
        #[arg(long)]
        symptom: Vec<String>,
        /// What happened to it: liquid, drop and so on (can be repeated).
        #[arg(long)]
        history: Vec<String>,
        /// Tests and remedies on the longest way.
        #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u8).range(1..=12))]
        depth: u8,
        /// Ways that are rarer than this end in an order of remedies.
        #[arg(long, value_name = "PROBABILITY", default_value_t = 0.02, value_parser = share)]
        cut: f64,
        /// As a printable page instead of plain text.
        #[arg(long)]
        html: bool,
        /// Write it to a file instead of the screen.
        #[arg(long, short, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Draw hidden faults from the rules, answer tests from the model, and follow
    /// ways of working to the end: what they cost, what is found, and whether
    /// what is shown is true. For a complaint about a kind of device, or for all.
    Simulate {
        /// phone, tablet, laptop, handheld or board; without it, every complaint
        /// about a lost function on each kind of device.
        #[arg(long)]
        kind: Option<String>,
        /// What the customer says.
        #[arg(long, requires = "kind")]
        complaint: Option<String>,
        /// Model of the device.
        #[arg(long, requires = "kind")]
        model: Option<String>,
        /// Symptom, where the complaint does not say it (can be repeated).
        #[arg(long, requires = "kind")]
        symptom: Vec<String>,
        /// What happened to it: liquid, drop and so on (can be repeated).
        #[arg(long, requires = "kind")]
        history: Vec<String>,
        /// How many hidden cases.
        #[arg(long, value_name = "N", default_value_t = 10_000, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
        cases: u64,
        /// Where chance begins: the same seed draws the same cases.
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Way of working (can be repeated); without it, all: advice,
        /// cheapest-first, best-order, tell-most, mend-only, random.
        #[arg(long, value_name = "NAME", value_parser = manner)]
        policy: Vec<Manner>,
        /// Draw what jobs cost, and whether what is shown is true, in a file.
        #[arg(long, value_name = "FILE.svg")]
        plot: Option<PathBuf>,
        /// Set the advice against that of the built-in rules with this file or
        /// folder in place of what --rules adds, on the same cases.
        #[arg(long, value_name = "RULES")]
        compare: Option<PathBuf>,
    },
    /// Practise on a hidden case from the simulated bench: choose tests and
    /// remedies, conclude, and be scored against the advice on the same case.
    Drill {
        /// Who practises; rounds are kept under this name.
        #[arg(long, value_name = "NAME")]
        trainee: Option<String>,
        /// 1: one fault, every answer right; 2: answers may be misread, and what
        /// happened to the device matters; 3: perhaps two faults, and mistakes
        /// count double.
        #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=3))]
        level: u8,
        /// What the complaint is about, by the name of its pack; without it, any.
        #[arg(long, value_name = "PACK")]
        area: Option<String>,
        /// phone, tablet, laptop, handheld or board; without it, any.
        #[arg(long)]
        kind: Option<String>,
        /// The same seed is the same round; without it, the trainee's next.
        #[arg(long)]
        seed: Option<u64>,
        /// Go on with a round that was left, or tell again what came of one.
        #[arg(long, value_name = "N", conflicts_with_all = ["trainee", "level", "area", "kind", "seed"])]
        round: Option<i64>,
        /// Show a trainee's rounds, and how the score moves.
        #[arg(long, value_name = "NAME", conflicts_with_all = ["trainee", "level", "area", "kind", "seed", "round"])]
        progress: Option<String>,
        /// Show the trainer's table: each trainee's rounds and mean score, and who
        /// takes which fault for which other.
        #[arg(long, conflicts_with_all = ["trainee", "level", "area", "kind", "seed", "round", "progress"])]
        table: bool,
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
    /// A sum beside a measurement; needs no job and keeps nothing.
    ///
    /// Values are typed as at the bench: 2k2, 100p, 412mV, 1V8, 400k.
    #[command(subcommand)]
    Sum(SumCommand),
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

impl From<JumpedPart> for Bypassed {
    fn from(part: JumpedPart) -> Self {
        match part {
            JumpedPart::Trace => Bypassed::Trace,
            JumpedPart::SeriesResistor => Bypassed::SeriesResistor,
            JumpedPart::Ferrite => Bypassed::Ferrite,
            JumpedPart::Filter => Bypassed::Filter,
            JumpedPart::Fuse => Bypassed::Fuse,
            JumpedPart::Protection => Bypassed::Protection,
            JumpedPart::Limiter => Bypassed::Limiter,
            JumpedPart::LevelShifter => Bypassed::LevelShifter,
            JumpedPart::CouplingCapacitor => Bypassed::CouplingCapacitor,
            JumpedPart::PullUp => Bypassed::PullUp,
        }
    }
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
    /// Tell in plain words what a symptom, function, item, fault, test,
    /// remedy, kind of line or meter is; without a name, list them all.
    Explain {
        /// Its identifier, or the end of it, or a pack to list.
        id: Option<String>,
        /// With `--format json`, which prints the faults with their priors, and what
        /// tests show and remedies do: the kind of device, else a phone.
        #[arg(long)]
        kind: Option<String>,
    },
    /// Tell what is heard of a complaint: area, symptom, copy, history, by
    /// which words and pattern, and what is read as a typing error.
    Hear {
        /// What the customer says.
        text: String,
        /// phone, tablet, laptop, handheld or board.
        #[arg(long, default_value = "phone")]
        kind: String,
        /// Model of the device.
        #[arg(long)]
        model: Option<String>,
    },
}
