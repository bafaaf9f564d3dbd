//! `replay`: a case file worked through, without the store.

use std::path::Path;

use serde::Serialize;

use super::args::Format;
use super::check::load;
use super::config::Config;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::belief::FaultId;
use crate::job::view::network::{NetworkView, network};
use crate::job::view::{self, StateView};
use crate::job::words::{self, percent_within};
use crate::job::{Case, CaseFile, Entered, Entry};
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
    #[serde(skip_serializing_if = "Option::is_none")]
    network: Option<NetworkView>,
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
    /// Just before its remedy; without one, in the end.
    posterior: f64,
    rank: usize,
    /// The entry of that remedy, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<usize>,
    #[serde(skip)]
    left_out: f64,
}

/// What replaying a case came to.
#[derive(Clone, Copy, Default)]
pub(super) struct Replayed {
    /// Each true fault was among the first as many suspects as there are true
    /// faults, just before its remedy.
    pub(super) led: bool,
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

/// The case with the meter that the arguments ask for, if they do.
pub(super) fn with_meter(config: &Config, file: CaseFile) -> CaseFile {
    CaseFile {
        meter: config
            .meter
            .clone()
            .or(file.meter)
            .or_else(|| config.shop_meter.clone()),
        ..file
    }
}

pub(super) fn replay(
    config: &Config,
    path: &Path,
    network: bool,
    terminal: &mut Terminal,
) -> Result {
    if network && config.format != Format::Json {
        return Err(Failure::Usage(
            "`--network` is for other programs: add `--format json`".to_owned(),
        ));
    }
    let file = read_case(path)?;
    replay_file(config, &file, network, terminal).map(|_| ())
}

/// Works through a case; `with_network` adds what the last belief is worked out from.
pub(super) fn replay_file(
    config: &Config,
    file: &CaseFile,
    with_network: bool,
    terminal: &mut Terminal,
) -> Result<Replayed> {
    let rules = load(config)?;
    let file = &with_meter(config, file.clone());
    let settings = config.settings;
    let mut states = Vec::new();
    let mut cases: Vec<Case> = Vec::new();
    for n in 0..=file.steps.len() {
        let case = Case::after(cases.last(), &rules, &file.up_to(n), settings).map_err(|e| {
            if n == 0 {
                Failure::from(e)
            } else {
                Failure::no(format!("step {n}: {e}"))
            }
        })?;
        states.push(view::state(&case, &file.steps, NEXT));
        cases.push(case);
    }
    let Some(case) = cases.last() else {
        return Ok(Replayed::default());
    };
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
            let remedy = remedy_for(case, i);
            let mut at = remedy.unwrap_or(file.steps.len());
            // A part that was tried may have repaired it by its seating: then
            // the last moment at which something was wrong counts.
            while at > 0 && cases[at].belief.nothing > 0.5 {
                at -= 1;
            }
            let suspects = &states[at].belief.suspects;
            let rank = suspects.iter().position(|s| s.fault == *id);
            Ok(TruthView {
                fault: id.clone(),
                posterior: rank.map_or(0.0, |r| suspects[r].posterior),
                rank: rank.map_or(0, |r| r + 1),
                remedy: remedy.map(|n| n + 1),
                left_out: states[at].belief.left_out,
            })
        })
        .collect::<Result<Vec<_>>>()?;
    let led = truth.iter().all(|t| (1..=truth.len()).contains(&t.rank));
    match config.format {
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
                network: with_network.then(|| network(case)),
            })
        }
        _ => print(file, case, &states, &truth, terminal),
    }?;
    Ok(Replayed { led })
}

/// The entry, from 0, of the remedy that a fault was cleared by: the last that
/// may clear it.
fn remedy_for(case: &Case, fault: FaultId) -> Option<usize> {
    let clears = |e: &Entered| match e {
        Entered::Remedy(r) => {
            let clears = &case.model.remedies[*r].change.clears;
            clears.iter().any(|(f, takes)| *f == fault && *takes > 0.0)
        }
        _ => false,
    };
    case.entered.iter().rposition(clears)
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
        if let Some(rests) = words::rests_on_list(state.belief.left_out) {
            terminal.say(&rests)?;
        }
        if let Some(s) = state.next.steps.first() {
            terminal.line(&format!("   next: {} — {}", s.text, s.why))?;
        }
    }
    for t in truth {
        let when = match t.remedy {
            Some(entry) => format!("before its remedy (step {entry})"),
            None => "in the end, without a remedy".to_owned(),
        };
        terminal.line(&format!(
            "\ntrue fault: {} — in place {} with {} {when}",
            t.fault,
            t.rank,
            percent_within(t.posterior, t.left_out)
        ))?;
    }
    Ok(())
}

/// A test by its name as it was typed; the check of a hazard by what it is called.
fn checked<'c>(case: &'c Case, test: &'c str) -> &'c str {
    case.model.check_name(test).unwrap_or(test)
}

/// One entry in a line.
pub(super) fn entry_words(case: &Case, entry: &Entry, n: usize, steps: &[Entry]) -> String {
    match entry {
        Entry::Result(_) => {
            let words = words::result_words(case, 0, Some(n), steps);
            let (says, id) = (words.shows(), words.of);
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
        Entry::Cannot(c) => format!("Cannot be done: {} {}", checked(case, &c.test), c.why),
        Entry::Unclear(u) => format!("Unclear: {}", checked(case, &u.test)),
        Entry::History(id) => format!("Known of its past: {id}"),
        Entry::Meter(name) => format!("From here on with the meter {name}"),
        Entry::Reference(r) => {
            format!("A good board ({}) reads {} in {}", r.from, r.reads, r.test)
        }
    }
}
