//! What is printed of a job: where it stands, and answers to questions.

use serde::Serialize;

use crate::cli::args::Format;
use crate::cli::config::Config;
use crate::cli::error::{Failure, Result};
use crate::cli::hear::PastView;
use crate::cli::show;
use crate::cli::terminal::Terminal;
use crate::cli::text::fill;
use crate::desk::Desk;
use crate::job::view::why::{self, SupposedView, WhyView};
use crate::job::view::{StateView, VERSION};
use crate::job::weigh::{Weighed, weigh};
use crate::model::Found;

#[derive(Serialize)]
pub(super) struct JobView {
    version: u32,
    job: i64,
    closed: Option<String>,
    entries: usize,
    rules_moved: Option<String>,
    /// What the complaint says of the past, where the job was just opened.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    heard_history: Vec<PastView>,
    #[serde(flatten)]
    state: StateView,
}

#[derive(Serialize)]
struct WhyForm {
    version: u32,
    job: i64,
    #[serde(flatten)]
    why: WhyView,
}

#[derive(Serialize)]
struct WeighView {
    job: i64,
    steps: Vec<Weighed>,
}

#[derive(Serialize)]
struct SupposeForm {
    version: u32,
    job: i64,
    test: String,
    shows: String,
    #[serde(flatten)]
    supposed: SupposedView,
}

/// A job as a program reads it.
pub(super) fn job_view(desk: &Desk, heard_history: Vec<PastView>) -> JobView {
    let closed = desk.record.file.closed.as_ref();
    JobView {
        version: VERSION,
        job: desk.id(),
        closed: closed.map(|c| c.state.word().to_owned()),
        entries: desk.record.file.steps.len(),
        rules_moved: desk.moved(),
        heard_history,
        state: desk.state().clone(),
    }
}

/// Where a job stands.
pub(in crate::cli) fn show_job(config: &Config, desk: &Desk, terminal: &mut Terminal) -> Result {
    let state = desk.state();
    let closed = desk.record.file.closed.as_ref();
    if config.format == Format::Json {
        return terminal.json(&job_view(desk, Vec::new()));
    }
    let width = terminal.width;
    terminal.say(&format!("Job {}: {}", desk.id(), desk.record.file.case))?;
    if let Some(c) = closed {
        return terminal.say(&format!(
            "Closed, {}: {}",
            c.state.word().replace('-', " "),
            c.reason
        ));
    }
    if let Some(notice) = &state.notice {
        let sure = |n| format!("halfsplit job sure {} {n}", desk.id());
        terminal.say(&show::notice(notice, sure))?;
    }
    if let Some(moved) = desk.moved() {
        terminal.say(&moved)?;
    }
    for line in show::remarks(state) {
        terminal.say(&line)?;
    }
    terminal.line(&show::places(state, width))?;
    terminal.line(&show::suspects(state, width, 5))?;
    for d in show::doubts(state) {
        terminal.say(&d)?;
    }
    if let Some(s) = &state.next.says {
        terminal.say(s)?;
    }
    if let Some(due) = show::retests(state) {
        terminal.say(&due)?;
    }
    for (i, s) in state.next.steps.iter().enumerate() {
        terminal.line(&show::step(s, &format!("  {} ", i + 1), width, i == 0))?;
        terminal.line(&format!("    ({})", s.id))?;
    }
    Ok(())
}

pub(super) fn why(config: &Config, desk: &Desk, suspect: usize, terminal: &mut Terminal) -> Result {
    let state = desk.state();
    let why = show::suspect(desk, state, suspect)?;
    if config.format == Format::Text {
        for line in show::why(&why, state.belief.left_out).lines() {
            terminal.line(&fill(line, terminal.width, "", "    "))?;
        }
        return Ok(());
    }
    terminal.json(&WhyForm {
        version: VERSION,
        job: desk.id(),
        why,
    })
}

pub(super) fn weighed(config: &Config, desk: &Desk, terminal: &mut Terminal) -> Result {
    if config.format == Format::Text {
        return terminal.line(&show::weighed(&desk.case, terminal.width));
    }
    let view = WeighView {
        job: desk.id(),
        steps: weigh(&desk.case),
    };
    terminal.form("halfsplit-weigh", &view)
}

pub(super) fn suppose(
    config: &Config,
    desk: &Desk,
    test: &str,
    shows: &str,
    terminal: &mut Terminal,
) -> Result {
    let case = &desk.case;
    let i = match case.model.test(test) {
        Found::One(i) => i,
        found => {
            let e = Failure::no(format!("no single test is called `{test}`"));
            return Err(match found {
                Found::None(Some(near)) => e.help(format!("did you mean `{near}`?")),
                Found::Several(full) => e.help(format!("it could be {}", full.join(" or "))),
                _ => e.help("`halfsplit job show` gives the full names"),
            });
        }
    };
    let supposed = desk.suppose(&case.model.tests[i].id, shows)?;
    let then = why::supposed(case, &supposed.then);
    if config.format == Format::Text {
        return terminal.line(&show::supposed(&supposed.says, &then));
    }
    terminal.json(&SupposeForm {
        version: VERSION,
        job: desk.id(),
        test: case.model.tests[i].id.clone(),
        shows: supposed.outcome.unwrap_or_else(|| shows.trim().to_owned()),
        supposed: then,
    })
}
