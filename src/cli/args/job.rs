//! The commands that work on one job.

use std::path::PathBuf;

use clap::Subcommand;

use super::values::{cost, plain};

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

impl JobCommand {
    /// Number of the job; `None` for one that is to be opened.
    pub(crate) fn job(&self) -> Option<i64> {
        match self {
            JobCommand::New { .. } => None,
            JobCommand::Show { job }
            | JobCommand::Result { job, .. }
            | JobCommand::Remedy { job, .. }
            | JobCommand::Note { job, .. }
            | JobCommand::Cannot { job, .. }
            | JobCommand::Unclear { job, .. }
            | JobCommand::Reference { job, .. }
            | JobCommand::Meter { job, .. }
            | JobCommand::History { job, .. }
            | JobCommand::Sure { job, .. }
            | JobCommand::Correct { job, .. }
            | JobCommand::Undo { job }
            | JobCommand::Why { job, .. }
            | JobCommand::Weigh { job }
            | JobCommand::Suppose { job, .. }
            | JobCommand::Line { job, .. }
            | JobCommand::Bypass { job, .. }
            | JobCommand::Close { job, .. }
            | JobCommand::Reopen { job } => Some(*job),
        }
    }

    /// Whether nothing is done to the job.
    pub(crate) fn only_asks(&self) -> bool {
        matches!(
            self,
            JobCommand::Show { .. }
                | JobCommand::Why { .. }
                | JobCommand::Weigh { .. }
                | JobCommand::Suppose { .. }
                | JobCommand::Line { .. }
                | JobCommand::Bypass { .. }
        )
    }
}
