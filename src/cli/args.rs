//! The definition that parsing, help, completions and the man page come from.

use std::path::PathBuf;

use clap::{Parser, Subcommand, ValueEnum};

use crate::belief::Size;
use crate::circuit::wire::Bypassed;
use crate::job::Settings;
use crate::job::reading::{Asked, Typed, read};
use crate::plan::{Costs, Effort};
use crate::rulebase::Rules;
use crate::simulate::Manner;

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
    /// The meter of the shop's file: for what is opened, never for a job that has
    /// its own.
    #[arg(skip)]
    pub shop_meter: Option<String>,
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
        /// The bench was made ready for it first, and the value is right.
        #[arg(long)]
        ready: bool,
        /// It was read as the device stood, without making the bench ready.
        #[arg(long, conflicts_with = "ready")]
        as_it_stands: bool,
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
    /// Enter what a good board of the same model and variant reads: no evidence
    /// on this device, but what its reading is compared with.
    Reference {
        /// Number of the job.
        job: i64,
        /// The test.
        test: String,
        /// What it reads, with its unit.
        reads: String,
        /// Whose board it was, or where it was read.
        #[arg(long, value_name = "WHOSE")]
        from: String,
        /// The meter it was read with; without it, the one in use.
        #[arg(long, value_name = "NAME")]
        read_with: Option<String>,
    },
    /// Answer a question about the past with yes: liquid, a drop and so on. It
    /// counts for all that was entered.
    History {
        /// Number of the job.
        job: i64,
        /// The question, by its name in the rules.
        question: String,
    },
    /// Go on with another meter; what was read before stays as it was.
    Meter {
        /// Number of the job.
        job: i64,
        /// Its name in the rules.
        name: String,
    },
    /// Enter that a result was measured again, at the same points, and is the
    /// same.
    Sure {
        /// Number of the job.
        job: i64,
        /// Number of the result's entry; without it, the last result.
        entry: Option<usize>,
        /// A remark.
        #[arg(long)]
        note: Option<String>,
    },
    /// Correct an earlier entry; the log keeps both, and the corrected one counts
    /// at the place of the first.
    Correct {
        /// Number of the job.
        job: i64,
        /// Number of the entry.
        entry: usize,
        /// What it should say: the result of the test, the remedy, the remark.
        #[arg(
            allow_hyphen_values = true,
            required_unless_present = "not_done",
            conflicts_with = "not_done"
        )]
        to: Option<String>,
        /// It was never done: strike the entry.
        #[arg(long)]
        not_done: bool,
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
    /// Weigh the best steps against each other: what each comes to in all, and
    /// what each of its results would lead to.
    Weigh {
        /// Number of the job.
        job: i64,
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
    /// Draw a line of the board: its parts with what may be wrong with each,
    /// the readings taken, and where to probe next.
    Line {
        /// Number of the job.
        job: i64,
        /// The line; without it, the lines in play are listed, or the only one
        /// is drawn.
        line: Option<String>,
        /// Write it to a file instead of the screen.
        #[arg(long, short, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Tell whether a wire may go round a part of a line, and which.
    Bypass {
        /// Number of the job.
        job: i64,
        /// The part, the suspect (by name or place, from 1), or with TO the
        /// point where the wire begins; without it, what the likeliest suspect
        /// breaks.
        what: Option<String>,
        /// The point of the same line where the wire ends.
        to: Option<String>,
        /// Length in millimetres.
        #[arg(long, value_parser = plain, default_value = "20")]
        mm: f64,
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

/// Sums beside a measurement.
#[derive(Clone, Debug, Subcommand)]
pub enum SumCommand {
    /// What the pull-ups of a two-wire bus may be, or which speeds one suits.
    PullUp {
        /// Supply of the bus.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        supply: f64,
        /// Capacitance of the line; 100 pF is common practice for a short one.
        #[arg(long, value_name = "FARADS", value_parser = farads, default_value = "100p")]
        farads: f64,
        /// Clock rate; without it, all speeds.
        #[arg(long, value_name = "HERTZ", value_parser = hertz)]
        speed: Option<f64>,
        /// The pull-up that is fitted.
        #[arg(long, value_name = "OHMS", value_parser = ohms)]
        ohms: Option<f64>,
    },
    /// What the idle level of a two-wire bus line means.
    Idle {
        /// The measured voltage.
        #[arg(value_parser = volts, allow_hyphen_values = true)]
        volts: f64,
        /// Supply of the bus.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        supply: f64,
    },
    /// Whether a jumper wire may go around a part, and what it does.
    Jumper {
        /// What it goes around.
        #[arg(value_enum)]
        part: JumpedPart,
        /// Supply of the circuit on one side.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        from: f64,
        /// Supply of the circuit on the other side.
        #[arg(long, value_name = "VOLTS", value_parser = volts)]
        to: f64,
        /// Bits per second of the line; leave it out for a supply.
        #[arg(long, value_parser = rate, default_value = "0")]
        bits: f64,
        /// Length in millimetres.
        #[arg(long, value_parser = plain, default_value = "20")]
        mm: f64,
        /// Current it is to carry.
        #[arg(long, value_name = "AMPS", value_parser = amps, default_value = "10mA")]
        amps: f64,
        /// Wire, by AWG number.
        #[arg(long, default_value_t = 40)]
        awg: u8,
    },
    /// What a CC voltage of a Type-C port means.
    Cc {
        /// The measured voltage.
        #[arg(value_parser = volts, allow_hyphen_values = true)]
        volts: f64,
    },
    /// What the idle level of a USB D+ line means.
    DPlus {
        /// The measured voltage.
        #[arg(value_parser = volts, allow_hyphen_values = true)]
        volts: f64,
    },
    /// Temperature of an NTC thermistor, or its resistance at one.
    Thermistor {
        /// Its resistance, or with its unit the voltage of its divider.
        #[arg(required_unless_present = "celsius", conflicts_with = "celsius")]
        reading: Option<String>,
        /// Tell the resistance at this temperature.
        #[arg(long, value_parser = celsius, allow_hyphen_values = true)]
        celsius: Option<f64>,
        /// B in kelvin; without it, the table of a common 10 kilohm part.
        #[arg(long, value_parser = plain)]
        beta: Option<f64>,
        /// Resistance at 25 °C, where B is given.
        #[arg(long, value_name = "OHMS", value_parser = ohms, default_value = "10k", requires = "beta")]
        r25: f64,
        /// Supply of its divider.
        #[arg(long, value_name = "VOLTS", value_parser = volts, requires = "pull_up")]
        supply: Option<f64>,
        /// Upper resistor of its divider.
        #[arg(long, value_name = "OHMS", value_parser = ohms, requires = "supply")]
        pull_up: Option<f64>,
    },
    /// Voltage of a string of lamps and what its boost supply takes.
    Lamps {
        /// How many in series.
        lamps: u32,
        /// Forward voltage of each.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "3.2")]
        each: f64,
        /// How much that may be off.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "0.2")]
        spread: f64,
        /// What the driver needs on top.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "0")]
        margin: f64,
        /// Current of the string.
        #[arg(long, value_name = "AMPS", value_parser = amps, default_value = "20mA")]
        amps: f64,
        /// What feeds the boost supply.
        #[arg(long, value_name = "VOLTS", value_parser = volts, default_value = "3.7")]
        supply: f64,
    },
    /// How much a voltmeter takes off what it measures.
    Loading {
        /// Resistance that the voltage stands behind.
        #[arg(value_parser = ohms)]
        ohms: f64,
        /// Input resistance of the meter.
        #[arg(long, value_name = "OHMS", value_parser = ohms, default_value = "10M")]
        input: f64,
        /// What the meter shows.
        #[arg(long, value_name = "VOLTS", value_parser = volts, allow_hyphen_values = true)]
        shown: Option<f64>,
    },
}

/// What a jumper goes around.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum JumpedPart {
    /// An open trace, via, contact or flex.
    Trace,
    /// A series resistor that damps a line.
    SeriesResistor,
    /// A ferrite bead.
    Ferrite,
    /// A noise filter or common-mode choke.
    Filter,
    /// A fuse.
    Fuse,
    /// Protects against surge, reversal or overvoltage.
    Protection,
    /// Limits a current.
    Limiter,
    /// A level shifter.
    LevelShifter,
    /// Coupling capacitor of a fast pair.
    CouplingCapacitor,
    /// A pull-up.
    PullUp,
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

impl Args {
    /// The rules that the arguments ask for.
    pub fn rules(&self) -> Rules {
        Rules {
            paths: self.rules.clone(),
            only_these: self.only_these_rules,
        }
    }
    /// The meter that a new job begins with, if one was named.
    pub fn meter_at_first(&self) -> Option<String> {
        self.meter.clone().or_else(|| self.shop_meter.clone())
    }
    /// The settings that the arguments ask for.
    pub fn settings(&self) -> Settings {
        let usual = Costs::default();
        Settings {
            size: self.candidates.unwrap_or_default(),
            costs: Costs {
                rate: self.rate.unwrap_or(usual.rate),
                give_up: self.unmended.unwrap_or(usual.give_up),
                careful: self.careful,
                waiting: self.waiting,
                ..usual
            },
            effort: match self.look_ahead {
                0 | 1 => Effort::FIRST,
                steps => Effort {
                    depth: steps.into(),
                    ..Effort::REFINED
                },
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

fn manner(text: &str) -> Result<Manner, String> {
    Manner::from_word(text).ok_or_else(|| {
        let all: Vec<&str> = Manner::ALL.iter().map(|m| m.word()).collect();
        format!("one of {}", all.join(", "))
    })
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(p) if (0.0..=1.0).contains(&p) => Ok(p),
        _ => Err("a probability from 0 to 1, such as 0.02".to_owned()),
    }
}

/// A value as it is typed at the bench.
fn value(text: &str, asked: &Asked, such_as: &str) -> Result<f64, String> {
    match read(text, asked) {
        Typed::Value(v) | Typed::Noted { value: v, .. } | Typed::About { value: v }
            if v.is_finite() =>
        {
            Ok(v)
        }
        Typed::TooLittle { says, instead } => Err(format!("says only that {says}; type {instead}")),
        Typed::Doubtful { could_be } => Err(format!(
            "could be {}; write it in full",
            could_be.join(" or ")
        )),
        Typed::Impossible { why } => Err(why),
        _ => Err(format!("a value such as {such_as}")),
    }
}

fn volts(text: &str) -> Result<f64, String> {
    value(text, &Asked::line(), "1.8, 1V8 or 412mV")
}

fn amps(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("A"), "0.5 or 20mA")
}

fn ohms(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("ohm"), "470, 2k2 or 10M")
}

fn farads(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("F"), "100p or 0.2nF")
}

fn hertz(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("Hz"), "100k or 400kHz")
}

fn celsius(text: &str) -> Result<f64, String> {
    value(text, &Asked::of("C"), "25")
}

fn rate(text: &str) -> Result<f64, String> {
    value(text, &Asked::of(""), "400k or 1.5G")
}

fn plain(text: &str) -> Result<f64, String> {
    value(text, &Asked::of(""), "20")
}
