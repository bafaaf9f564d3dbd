//! `rules check` and `rules schema`.

use std::path::PathBuf;

use serde::Serialize;

use super::args::Format;
use super::config::Config;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::built_in;
use crate::rulebase::raw::AnyFile;
use crate::rulebase::{Loaded, Rulebase, Rules, SourceTally};

/// Loads the rules the arguments ask for, or prints what is wrong with them.
///
/// # Errors
/// If there is any problem.
pub(super) fn load(config: &Config) -> Result<Rulebase> {
    let mut rules = built_in::rulebase(&config.rules).map_err(|loaded| {
        let count = loaded.problems.len();
        Failure::no(format!(
            "the rules have {count} problem{}:\n\n{}",
            if count == 1 { "" } else { "s" },
            loaded.report(false).trim_end()
        ))
        .help("`halfsplit rules check PATH` shows them alone")
    })?;
    super::shop::known(config, &rules)?;
    rules.without.clone_from(&config.without);
    Ok(rules)
}

#[derive(Serialize)]
struct CheckView {
    version: u32,
    problems: Vec<ProblemView>,
    packs: Vec<PackView>,
    line_templates: usize,
    meters: usize,
    devices: usize,
    numbers: SourceTally,
    fingerprint: String,
    files: Vec<FileView>,
}

#[derive(Serialize)]
struct FileView {
    file: String,
    fingerprint: String,
}

#[derive(Serialize)]
struct ProblemView {
    code: &'static str,
    message: String,
    file: Option<String>,
    line: Option<usize>,
    column: Option<usize>,
    help: Option<String>,
    did_you_mean: Option<String>,
}

#[derive(Serialize)]
struct PackView {
    pack: String,
    faults: usize,
    symptoms: usize,
    tests: usize,
    remedies: usize,
    lines: usize,
}

pub(super) fn check(config: &Config, paths: &[PathBuf], terminal: &mut Terminal) -> Result {
    let mut rules = config.rules.clone();
    if !paths.is_empty() {
        // A pack is checked beside the built-in bench, which it may refer to.
        rules = Rules {
            paths: rules.paths.into_iter().chain(paths.to_vec()).collect(),
            only_these: rules.only_these,
        };
    }
    let loaded = rules.load();
    match config.format {
        Format::Json => terminal.json(&view(&loaded))?,
        _ => {
            terminal.print(&loaded.report(terminal.colour))?;
            terminal.print(&summary(&loaded))?;
        }
    }
    if loaded.problems.is_empty() {
        Ok(())
    } else {
        Err(Failure::Reported)
    }
}

fn packs(loaded: &Loaded) -> Vec<PackView> {
    loaded
        .rulebase
        .packs
        .iter()
        .map(|p| PackView {
            pack: p.id.clone(),
            faults: p.faults.len(),
            symptoms: p.symptoms.len(),
            tests: p.tests.len(),
            remedies: p.remedies.len(),
            lines: p.lines.len(),
        })
        .collect()
}

fn view(loaded: &Loaded) -> CheckView {
    CheckView {
        version: crate::job::view::VERSION,
        problems: loaded
            .problems
            .iter()
            .map(|p| {
                let at = p.line_column(&loaded.files);
                ProblemView {
                    code: p.code.name(),
                    message: p.message.clone(),
                    file: p
                        .span
                        .and_then(|s| loaded.files.get(s.file as usize))
                        .map(|f| f.name.clone()),
                    line: at.map(|a| a.0),
                    column: at.map(|a| a.1),
                    help: p.help.clone(),
                    did_you_mean: p.meant.clone(),
                }
            })
            .collect(),
        packs: packs(loaded),
        line_templates: loaded.rulebase.templates.len(),
        meters: loaded.rulebase.meters.len(),
        devices: loaded.rulebase.devices.len(),
        numbers: loaded.rulebase.sources,
        fingerprint: loaded.rulebase.fingerprint.clone(),
        files: loaded
            .files
            .iter()
            .map(|f| FileView {
                file: f.name.clone(),
                fingerprint: f.fingerprint(),
            })
            .collect(),
    }
}

fn summary(loaded: &Loaded) -> String {
    let mut table = comfy_table::Table::new();
    table
        .load_style(comfy_table::presets::NOTHING)
        .set_header(["pack", "faults", "symptoms", "tests", "remedies", "lines"]);
    for p in packs(loaded) {
        table.add_row([
            p.pack,
            p.faults.to_string(),
            p.symptoms.to_string(),
            p.tests.to_string(),
            p.remedies.to_string(),
            p.lines.to_string(),
        ]);
    }
    let n = loaded.rulebase.sources;
    let total = n.published + n.common_practice + n.own_jobs;
    let count = loaded.problems.len();
    format!(
        "{table}\n\n{} kinds of line, {} meters, {} device descriptions\n\
         {total} numbers: {} from published sources, {} from common practice, \
         {} from own jobs\n{}\n",
        loaded.rulebase.templates.len(),
        loaded.rulebase.meters.len(),
        loaded.rulebase.devices.len(),
        n.published,
        n.common_practice,
        n.own_jobs,
        match count {
            0 => "no problems".to_owned(),
            1 => "1 problem".to_owned(),
            n => format!("{n} problems"),
        }
    )
}

pub(super) fn schema(terminal: &mut Terminal) -> Result {
    let schema = schemars::schema_for!(AnyFile);
    terminal.json(&schema)
}
