//! Opening a job.

use std::sync::Arc;

use super::say::{job_view, show_job};
use crate::cli::args::{Format, JobCommand};
use crate::cli::complaint::nothing_fits;
use crate::cli::config::Config;
use crate::cli::error::{Failure, Result};
use crate::cli::hear::PastView;
use crate::cli::stores::open_store;
use crate::cli::terminal::Terminal;
use crate::desk::Desk;
use crate::job::{Case, CaseFile};
use crate::model::Unit;
use crate::rulebase::Rulebase;

/// `job new`.
pub(super) fn open(
    config: &Config,
    rules: Arc<Rulebase>,
    command: &JobCommand,
    terminal: &mut Terminal,
) -> Result {
    let JobCommand::New {
        kind,
        complaint,
        model,
        variant,
        serial,
        symptom,
        history,
        limit,
    } = command
    else {
        return Ok(());
    };
    let file = CaseFile {
        case: format!("{}: {complaint}", model.as_deref().unwrap_or(kind)),
        device: Unit {
            kind: kind.clone(),
            model: model.clone(),
            variant: variant.clone(),
            serial: serial.clone(),
        },
        complaint: complaint.clone(),
        symptoms: symptom.clone(),
        history: history.clone(),
        limit: *limit,
        meter: config.first_meter(),
        ..CaseFile::default()
    };
    if let Some(why) = file.too_much() {
        return Err(Failure::no(why));
    }
    // What was understood is kept, so that later rules cannot change it.
    let case = Case::new(&rules, &file, config.settings)?;
    if case.symptoms.is_empty() {
        return Err(nothing_fits());
    }
    let file = CaseFile {
        symptoms: case
            .symptoms
            .iter()
            .map(|s| case.model.symptoms[*s].id.clone())
            .collect(),
        ..file
    };
    let desk = Desk::open(rules, Box::new(open_store(config)?), config.settings, &file)?;
    let mut past = PastView::all(&case.model, complaint);
    past.retain(|p| !history.iter().any(|h| p.is(h)));
    opened(config, &desk, past, terminal)
}

/// A job just opened, with what its complaint says of the past, which does not
/// count before someone confirms it.
fn opened(config: &Config, desk: &Desk, past: Vec<PastView>, terminal: &mut Terminal) -> Result {
    if config.format == Format::Json {
        return terminal.json(&job_view(desk, past));
    }
    if !past.is_empty() {
        let heard: Vec<String> = past.iter().map(PastView::short).collect();
        terminal.say(&format!(
            "Heard of its past: {}. That does not count yet: ask, and open the job with \
             `--history` and the word to confirm it.",
            heard.join(", ")
        ))?;
    }
    show_job(config, desk, terminal)
}
