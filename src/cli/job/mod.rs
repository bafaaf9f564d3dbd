//! One action on a stored job, or one question to it, a command each.
//!
//! | file | what it is for |
//! | --- | --- |
//! | `open` | a new job |
//! | `action` | what a command does to a job |
//! | `say` | what is printed of it |
mod action;
mod open;
mod say;

use std::sync::Arc;

use super::args::{Format, JobCommand};
use super::check::load;
use super::config::Config;
use super::error::{Failure, Result};
use super::stores::{open_existing_store, read_store};
use super::terminal::Terminal;
use super::{bypass, line, show};
use crate::desk::{Action, Desk};

use action::action;
pub(super) use say::show_job;

/// `job`.
pub(super) fn job(config: &Config, command: &JobCommand, terminal: &mut Terminal) -> Result {
    let rules = Arc::new(load(config)?);
    let Some(id) = command.job() else {
        return open::open(config, rules, command, terminal);
    };
    if let Some(name) = &config.meter {
        return Err(Failure::Usage(format!(
            "`--meter` is for a job that is opened; `halfsplit job meter {id} {name}` takes another meter to this one"
        )));
    }
    let store = match command.only_asks() {
        true => read_store(config)?,
        false => open_existing_store(config)?,
    };
    let mut desk = Desk::resume(rules, Box::new(store), config.settings, id)?;
    if let Some(action) = action(command, &desk)? {
        if !matches!(command, JobCommand::Result { ready: true, .. }) {
            refuse_doubtful(&desk, &action)?;
        }
        let done = desk.act(action)?;
        if let (Some(taken_for), Format::Text) = (done.taken_for, config.format) {
            terminal.say(&taken_for)?;
        }
    }
    answer(config, command, &desk, terminal)
}

/// Refuses a reading that means nothing if the bench was not made ready, or whose
/// value is hard to believe: who typed it can say that it stays.
fn refuse_doubtful(desk: &Desk, action: &Action) -> Result {
    let Action::Enter(entry) = action else {
        return Ok(());
    };
    let doubts = desk.asks_back(entry);
    if !doubts.is_empty() {
        return Err(Failure::no(show::not_yet(&doubts)).help(
            "say --ready if the bench was made ready before it was read, or --as-it-stands",
        ));
    }
    match desk.questions(entry) {
        Some(doubt) => Err(Failure::no(format!("not taken yet. {doubt}"))
            .help("measure again; say --ready if it stays, or type what it is")),
        None => Ok(()),
    }
}

/// What a question asked for; after an action, where the job stands.
fn answer(config: &Config, command: &JobCommand, desk: &Desk, terminal: &mut Terminal) -> Result {
    match command {
        JobCommand::Why { suspect, .. } => say::why(config, desk, *suspect, terminal),
        JobCommand::Weigh { .. } => say::weighed(config, desk, terminal),
        JobCommand::Suppose { test, shows, .. } => {
            say::suppose(config, desk, test, shows, terminal)
        }
        JobCommand::Line { line, out, .. } => {
            line::line(config, desk, line.as_deref(), out.as_deref(), terminal)
        }
        JobCommand::Bypass { what, to, mm, .. } => {
            let what = what.as_deref().unwrap_or("");
            bypass::bypass(config, desk, what, to.as_deref(), mm / 1e3, terminal)
        }
        _ => show_job(config, desk, terminal),
    }
}
