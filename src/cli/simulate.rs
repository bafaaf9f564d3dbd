//! `simulate`: hidden cases, many thousand times.

use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use super::args::{Command, Format};
use super::check::load;
use super::complaint::{complained, nothing_fits};
use super::config::Config;
use super::error::{Failure, Result};
use super::output::{Holds, save};
use super::terminal::Terminal;
use crate::built_in;
use crate::job::CaseError;
use crate::model::CompileError;
use crate::report;
use crate::rulebase::{Rulebase, Rules};
use crate::simulate::{Comparison, Manner, Order, SimulationView, compare, jobs, simulate};

#[derive(Serialize)]
struct View {
    #[serde(flatten)]
    simulation: SimulationView,
    #[serde(skip_serializing_if = "Option::is_none")]
    comparison: Option<Comparison>,
}

/// `simulate`.
pub(super) fn run(config: &Config, command: &Command, terminal: &mut Terminal) -> Result {
    let Command::Simulate {
        kind,
        complaint,
        model,
        symptom,
        history,
        cases,
        seed,
        policy,
        plot,
        compare: others,
    } = command
    else {
        return Ok(());
    };
    let rules = load(config)?;
    let job = kind
        .as_ref()
        .map(|kind| complained(config, kind, model, complaint.as_deref(), symptom, history))
        .transpose()?;
    let meter = config.first_meter();
    let order = Order {
        job: job.as_ref(),
        meter: meter.as_deref(),
        cases: *cases,
        seed: *seed,
    };
    let others = others
        .as_deref()
        .map(|path| load_others(config, path))
        .transpose()?;
    let jobs = jobs(&rules, &order, config.settings)?;
    if jobs.iter().any(|j| j.start.symptoms.is_empty()) {
        return Err(nothing_fits());
    }
    let manners: Vec<Manner> = match (policy.is_empty(), others.is_some()) {
        (false, _) => policy.clone(),
        (true, true) => Vec::new(),
        (true, false) => Manner::ALL.to_vec(),
    };
    let walks = manners.len() as u64 + if others.is_some() { 2 } else { 0 };
    let bar = ProgressBar::new(walks * cases);
    if let Ok(style) =
        ProgressStyle::with_template("{bar:30} {pos} of {len} cases, {per_sec}, {eta} to go")
    {
        bar.set_style(style);
    }
    let ended = |n| bar.inc(n);
    let simulation = simulate(&order, &jobs, &manners, &ended);
    let comparison = others
        .map(|others| compare(&jobs, &others, config.settings, &ended))
        .transpose()
        .map_err(other_rules)?;
    bar.finish_and_clear();
    if let Some(path) = plot {
        let drawn = report::simulation_picture(&simulation)
            .map_err(|e| Failure::no(format!("cannot draw the simulation: {e}")))?;
        save(config, &drawn, Holds::Simulation, path)?;
    }
    match config.format {
        Format::Json => {
            let view = View {
                simulation,
                comparison,
            };
            terminal.form("halfsplit-simulation", &view)
        }
        _ => {
            let mut text = report::simulation_text(&simulation, terminal.width);
            if let Some(comparison) = &comparison {
                text += &report::comparison_text(comparison, terminal.width);
            }
            if let Some(path) = plot {
                text += &format!("\nDrawn in {}\n", path.display());
            }
            terminal.print(&text)
        }
    }
}

/// The rules that these are set against.
fn load_others(config: &Config, path: &Path) -> Result<Rulebase> {
    let rules = Rules {
        paths: vec![path.to_owned()],
        only_these: config.rules.only_these,
    };
    let mut rules = built_in::rulebase(&rules).map_err(|loaded| {
        Failure::no(format!(
            "the rules to compare with have problems:\n\n{}",
            loaded.report(false).trim_end()
        ))
        .help("`halfsplit rules check PATH` shows them alone")
    })?;
    rules.without.clone_from(&config.without);
    Ok(rules)
}

/// What does not fit the rules to compare with.
fn other_rules(e: CaseError) -> Failure {
    let help = match &e {
        CaseError::Compile(CompileError::NoMeter { .. }) => "take a meter that both have",
        _ => "take a complaint and a device that both sets of rules know",
    };
    Failure::no(format!("the rules to compare with: {e}")).help(help)
}
