//! `replay`: a case file worked through, without the store.

use std::path::Path;

use serde::Serialize;

use super::args::{Args, Format};
use super::check::load;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::job::view::{self, StateView, percent_within};
use crate::job::{Case, CaseFile, Entry, Settings};
use crate::plan::Effort;
use crate::rulebase::read_yaml;

/// How many next steps are listed.
const NEXT: usize = 3;

#[derive(Serialize)]
struct ReplayView {
    format: &'static str,
    version: u32,
    case: String,
    device: String,
    symptoms: Vec<String>,
    rules: String,
    intake: StateView,
    steps: Vec<StepState>,
    end: StateView,
    truth: Vec<TruthView>,
}

#[derive(Serialize)]
struct StepState {
    number: usize,
    entry: Entry,
    #[serde(flatten)]
    state: StateView,
}

#[derive(Serialize)]
struct TruthView {
    fault: String,
    posterior: f64,
    rank: usize,
}

/// Reads a case file, or tells what is wrong with it and where.
///
/// # Errors
/// If it cannot be read or is no case file.
pub(super) fn read_case(path: &Path) -> Result<CaseFile> {
    let text = crate::rulebase::read_text(path)
        .map_err(|p| Failure::no(format!("{}: {}", path.display(), p.message)))?;
    parse_case(&path.display().to_string(), text)
}

/// Reads a case from text.
///
/// # Errors
/// If it is no case file.
pub(super) fn parse_case(name: &str, text: String) -> Result<CaseFile> {
    let file: CaseFile = read_yaml(name, text).map_err(|e| Failure::not_a("case file", &e))?;
    match file.too_much() {
        Some(why) => Err(Failure::no(format!("{name}: {why}"))),
        None => Ok(file),
    }
}

/// The case with only its first `n` entries.
pub(super) fn up_to(file: &CaseFile, n: usize) -> CaseFile {
    CaseFile {
        steps: file.steps[..n].to_vec(),
        ..file.clone()
    }
}

/// The case with the meter that the arguments ask for, if they do.
pub(super) fn with_meter(args: &Args, file: CaseFile) -> CaseFile {
    CaseFile {
        meter: args
            .meter
            .clone()
            .or(file.meter)
            .or_else(|| args.shop_meter.clone()),
        ..file
    }
}

pub(super) fn replay(args: &Args, path: &Path, terminal: &mut Terminal) -> Result {
    let file = read_case(path)?;
    replay_file(args, &file, terminal)
}

/// Works through a case.
pub(super) fn replay_file(args: &Args, file: &CaseFile, terminal: &mut Terminal) -> Result {
    let rules = load(args)?;
    let file = &with_meter(args, file.clone());
    // Step after step is shown: what one look ahead tells is enough.
    let settings = Settings {
        effort: Effort::FIRST,
        ..args.settings()
    };
    let mut states = Vec::new();
    let mut last = None;
    for n in 0..=file.steps.len() {
        let case = Case::new(&rules, &up_to(file, n), settings).map_err(|e| {
            if n == 0 {
                Failure::from(e)
            } else {
                Failure::no(format!("step {n}: {e}"))
            }
        })?;
        states.push(view::state(&case, &file.steps, NEXT));
        last = Some(case);
    }
    let Some(case) = last else { return Ok(()) };
    let end = states.last().cloned().unwrap_or_default();
    let truth = file
        .truth
        .iter()
        .map(|t| {
            let i = match case.model.fault(t) {
                crate::model::Found::One(i) => i,
                _ => {
                    return Err(Failure::no(format!(
                        "the true fault `{t}` is not in the rules"
                    )));
                }
            };
            let id = &case.model.faults[i].id;
            let rank = end.belief.suspects.iter().position(|s| s.fault == *id);
            Ok(TruthView {
                fault: id.clone(),
                posterior: case.belief.faults[i],
                rank: rank.map_or(0, |r| r + 1),
            })
        })
        .collect::<Result<Vec<_>>>()?;
    match args.format {
        Format::Json => {
            let mut states = states.into_iter();
            let intake = states.next().unwrap_or_default();
            terminal.json(&ReplayView {
                format: "halfsplit-replay",
                version: view::VERSION,
                case: file.case.clone(),
                device: case.model.device.clone(),
                symptoms: case
                    .symptoms
                    .iter()
                    .map(|s| case.model.symptoms[*s].id.clone())
                    .collect(),
                rules: rules.fingerprint.clone(),
                intake,
                steps: states
                    .enumerate()
                    .map(|(i, state)| StepState {
                        number: i + 1,
                        entry: file.steps[i].clone(),
                        state,
                    })
                    .collect(),
                end,
                truth,
            })
        }
        _ => print(file, &case, &states, &truth, terminal),
    }
}

fn print(
    file: &CaseFile,
    case: &Case,
    states: &[StateView],
    truth: &[TruthView],
    terminal: &mut Terminal,
) -> Result {
    terminal.line(&format!("{} ({})", file.case, case.model.device))?;
    if !file.complaint.is_empty() {
        terminal.line(&format!("The customer: {}", file.complaint))?;
    }
    for s in &case.symptoms {
        terminal.line(&format!("Understood as: {}", case.model.symptoms[*s].name))?;
    }
    for (n, state) in states.iter().enumerate() {
        if n > 0 {
            terminal.line(&format!(
                "\n{n}. {}",
                entry_words(case, &file.steps[n - 1], n - 1, &file.steps)
            ))?;
        }
        terminal.line(&super::show::suspects(state, terminal.width, 3))?;
        if let Some(rests) = view::rests_on_list(state.belief.left_out) {
            terminal.say(&rests)?;
        }
        if let Some(s) = state.next.steps.first() {
            terminal.line(&format!("   next: {} — {}", s.text, s.why))?;
        }
    }
    for t in truth {
        terminal.line(&format!(
            "\ntrue fault: {} — in place {} with {}",
            t.fault,
            t.rank,
            percent_within(t.posterior, case.belief.left_out)
        ))?;
    }
    Ok(())
}

/// One entry in a line.
pub(super) fn entry_words(case: &Case, entry: &Entry, n: usize, steps: &[Entry]) -> String {
    match entry {
        Entry::Result(_) => {
            let (id, says) = view::result_words(case, 0, Some(n), steps);
            let ask = match case.model.test(&id) {
                crate::model::Found::One(i) => case.model.tests[i].ask.clone(),
                _ => id,
            };
            format!("{ask} — {says}")
        }
        Entry::Remedy(d) => match case.model.remedy(&d.did) {
            crate::model::Found::One(i) => format!("Done: {}", case.model.remedies[i].name),
            _ => format!("Done: {}", d.did),
        },
        Entry::Note(t) => format!("Remark: {t}"),
        Entry::Sure(s) => format!("Entry {} measured again, the same", s.entry),
        Entry::Correct(c) => match &c.to {
            Some(to) => format!("Entry {} corrected: {to}", c.entry),
            None => format!("Entry {} never was", c.entry),
        },
        Entry::Cannot(c) => format!("Cannot be done: {} {}", c.test, c.why),
        Entry::Unclear(u) => format!("Unclear: {}", u.test),
        Entry::Meter(name) => format!("From here on with the meter {name}"),
        Entry::Reference(r) => {
            format!("A good board ({}) reads {} in {}", r.from, r.reads, r.test)
        }
    }
}
