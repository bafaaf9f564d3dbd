//! Stored jobs: the list of them, their trails, and jobs as case files.

use std::path::Path;
use std::sync::Arc;

use serde::Serialize;

use super::args::{Format, Reader};
use super::check::load;
use super::config::Config;
use super::error::{Failure, Result};
use super::intake::list_jobs;
use super::job::show_job;
use super::output::{Holds, write_out};
use super::replay::{read_case, with_meter};
use super::show;
use super::stores::{open_store, read_store, read_store_if_any};
use super::terminal::Terminal;
use super::text::escaped;
use crate::desk::Desk;
use crate::job::view::{self, VERSION};
use crate::report::{self, Audience};
use crate::store::{Listed, StoreError};

#[derive(Serialize)]
struct JobsView {
    version: u32,
    jobs: Vec<Listed>,
}

pub(super) fn jobs(
    config: &Config,
    words: &[String],
    state: Option<&str>,
    terminal: &mut Terminal,
) -> Result {
    let store = read_store_if_any(config)?;
    let jobs = match &store {
        Some(store) => store.list(words, state)?,
        None => Vec::new(),
    };
    match config.format {
        Format::Json => terminal.json(&JobsView {
            version: VERSION,
            jobs,
        }),
        _ if store.is_none() => {
            let absent = StoreError::Absent(config.store()?.to_owned());
            terminal.say(&format!("No jobs: {absent}."))
        }
        _ if jobs.is_empty() => terminal.line("No jobs."),
        _ => list_jobs(&jobs, terminal),
    }
}

pub(super) fn trail(
    config: &Config,
    job: i64,
    reader: Reader,
    html: bool,
    out: Option<&Path>,
    terminal: &mut Terminal,
) -> Result {
    let rules = Arc::new(load(config)?);
    let desk = Desk::resume(rules, Box::new(read_store(config)?), config.settings, job)?;
    let trail = desk.trail();
    let audience = match reader {
        Reader::Bench => Audience::Bench,
        Reader::Customer => Audience::Customer,
    };
    let text = match (config.format, html) {
        (Format::Json, _) if reader == Reader::Customer => {
            return Err(Failure::Usage(
                "the JSON trail is the bench's; the customer's is text or --html".to_owned(),
            ));
        }
        (Format::Json, _) => serde_json::to_string_pretty(&trail)
            .map(|t| escaped(&t).into_owned())
            .map_err(|e| Failure::no(format!("cannot write JSON: {e}")))?,
        (Format::Svg, _) if reader == Reader::Customer => {
            return Err(Failure::Usage(
                "the picture of the trail is the bench's; the customer's is text or --html"
                    .to_owned(),
            ));
        }
        (Format::Svg, _) => report::course(&trail)
            .map_err(|e| Failure::no(format!("cannot draw the trail: {e}")))?,
        (Format::Text, true) => report::html(&trail, audience)
            .map_err(|e| Failure::no(format!("cannot write the page: {e}")))?,
        (Format::Text, false) => report::markdown(&trail, audience),
    };
    let holds = match reader {
        Reader::Bench => Holds::Trail,
        Reader::Customer => Holds::CustomerTrail,
    };
    write_out(config, &text, holds, out, terminal)
}

pub(super) fn export(
    config: &Config,
    job: i64,
    out: Option<&Path>,
    terminal: &mut Terminal,
) -> Result {
    let (record, lost) = read_store(config)?.salvage(job)?;
    let text = serde_yaml::to_string(&record.file)
        .map_err(|e| Failure::no(format!("cannot write the case: {e}")))?;
    match out {
        // As it is: the writer of YAML has escaped the controls already.
        None => terminal.print(&format!("{}\n", text.trim_end()))?,
        out => write_out(config, &text, Holds::Case, out, terminal)?,
    }
    match lost.first() {
        None => Ok(()),
        Some(StoreError::Damaged { seq, why, .. }) => Err(Failure::no(format!(
            "{} of job {job} cannot be read, the first is event {seq}: {why}",
            match lost.len() {
                1 => "one event".to_owned(),
                many => format!("{many} events"),
            }
        ))
        .help("all the rest was written; a remark stands in each place")),
        Some(other) => Err(Failure::no(other.to_string())),
    }
}

pub(super) fn import(config: &Config, path: &Path, terminal: &mut Terminal) -> Result {
    let rules = Arc::new(load(config)?);
    let mut file = with_meter(config, read_case(path)?);
    if file.symptoms.is_empty() {
        // Without its entries: what is wrong with one is told with its number.
        let case = crate::job::Case::new(&rules, &file.up_to(0), config.settings)?;
        file.symptoms = case
            .symptoms
            .iter()
            .map(|s| case.model.symptoms[*s].id.clone())
            .collect();
    }
    let desk = Desk::open(rules, Box::new(open_store(config)?), config.settings, &file)?;
    if config.format == Format::Json {
        return show_job(config, &desk, terminal);
    }
    terminal.line(&format!(
        "Job {} holds {} entries of {}.",
        desk.id(),
        desk.record.file.steps.len(),
        path.display()
    ))?;
    let state = view::state(&desk.case, &desk.record.file.steps, 1);
    terminal.line(&show::suspects(&state, terminal.width, 3))
}
