//! Actions on stored jobs, one command each.

use std::path::Path;

use serde::Serialize;

use super::args::{Args, Format, JobCommand, Reader};
use super::bypass;
use super::check::load;
use super::closing::closing_state;
use super::complaint::nothing_fits;
use super::error::{Failure, Result};
use super::hear::PastView;
use super::intake::list_jobs;
use super::line;
use super::output::{Holds, write_out};
use super::replay::{read_case, with_meter};
use super::show;
use super::stores::{open_store, read_store, read_store_if_any, store_place};
use super::terminal::Terminal;
use super::text::{escaped, fill};
use crate::desk::Desk;
use crate::job::view::why::{self, SupposedView, WhyView};
use crate::job::view::{self, StateView, VERSION};
use crate::job::weigh::{Weighed, weigh};
use crate::job::{Cannot, CaseFile, Correction, Did, Entry, Reference, Shown, Sure, Unclear};
use crate::model::{Found, Unit};
use crate::report::{self, Audience};
use crate::store::{Listed, Store, StoreError};

#[derive(Serialize)]
struct JobsView {
    version: u32,
    jobs: Vec<Listed>,
}

#[derive(Serialize)]
struct JobView {
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

pub(super) fn jobs(
    args: &Args,
    words: &[String],
    state: Option<&str>,
    terminal: &mut Terminal,
) -> Result {
    let store = read_store_if_any(args)?;
    let jobs = match &store {
        Some(store) => store.list(words, state)?,
        None => Vec::new(),
    };
    match args.format {
        Format::Json => terminal.json(&JobsView {
            version: VERSION,
            jobs,
        }),
        _ if store.is_none() => {
            let absent = StoreError::Absent(store_place(args)?);
            terminal.say(&format!("No jobs: {absent}."))
        }
        _ if jobs.is_empty() => terminal.line("No jobs."),
        _ => list_jobs(&jobs, terminal),
    }
}

pub(super) fn job(args: &Args, command: &JobCommand, terminal: &mut Terminal) -> Result {
    let rules = load(args)?;
    let settings = args.settings();
    if let JobCommand::New {
        kind,
        complaint,
        model,
        variant,
        serial,
        symptom,
        history,
        limit,
    } = command
    {
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
            meter: args.meter_at_first(),
            ..CaseFile::default()
        };
        if let Some(why) = file.too_much() {
            return Err(Failure::no(why));
        }
        // What was understood is kept, so that later rules cannot change it.
        let case = crate::job::Case::new(&rules, &file, settings)?;
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
        let desk = Desk::open(&rules, &mut open_store(args)?, settings, &file)?;
        let mut past = PastView::all(&case.model, complaint);
        past.retain(|p| !history.iter().any(|h| p.is(h)));
        return opened(args, &desk, past, terminal);
    }
    let id = match command {
        JobCommand::New { .. } => return Ok(()),
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
        | JobCommand::Reopen { job } => *job,
    };
    if let Some(name) = &args.meter {
        return Err(Failure::Usage(format!(
            "`--meter` is for a job that is opened; `halfsplit job meter {id} {name}` takes another meter to this one"
        )));
    }
    let only_reads = matches!(
        command,
        JobCommand::Show { .. }
            | JobCommand::Why { .. }
            | JobCommand::Weigh { .. }
            | JobCommand::Suppose { .. }
            | JobCommand::Line { .. }
            | JobCommand::Bypass { .. }
    );
    let mut store = match only_reads {
        true => read_store(args)?,
        false => Store::open_existing(&store_place(args)?)?,
    };
    let mut desk = Desk::resume(&rules, &store, settings, id)?;
    let entry = match command {
        JobCommand::Result {
            test,
            shows,
            as_it_stands,
            note,
            ..
        } => Some(Entry::Result(Shown {
            test: test.clone(),
            shows: shows.clone(),
            as_it_stands: *as_it_stands,
            note: note.clone(),
        })),
        JobCommand::Remedy { remedy, note, .. } => Some(Entry::Remedy(Did {
            did: remedy.clone(),
            note: note.clone(),
        })),
        JobCommand::Note { text, .. } => Some(Entry::Note(text.clone())),
        JobCommand::Reference {
            test,
            reads,
            from,
            read_with,
            ..
        } => Some(Entry::Reference(Reference {
            test: test.clone(),
            reads: reads.clone(),
            from: from.clone(),
            meter: read_with.clone(),
        })),
        JobCommand::Meter { name, .. } => Some(Entry::Meter(name.clone())),
        JobCommand::History { question, .. } => Some(Entry::History(question.clone())),
        JobCommand::Sure { entry, note, .. } => Some(Entry::Sure(Sure {
            entry: match entry {
                Some(n) => *n,
                None => desk.last_result()?,
            },
            note: note.clone(),
        })),
        JobCommand::Correct {
            entry, to, note, ..
        } => Some(Entry::Correct(Correction {
            entry: *entry,
            to: to.clone(),
            note: note.clone(),
        })),
        JobCommand::Cannot { step, why, .. } => Some(Entry::Cannot(Cannot {
            test: step.clone(),
            why: why.clone(),
        })),
        JobCommand::Unclear { test, note, .. } => Some(Entry::Unclear(Unclear {
            test: test.clone(),
            note: note.clone(),
        })),
        _ => None,
    };
    if let Some(entry) = entry {
        let doubts = match command {
            JobCommand::Result { ready: true, .. } => Vec::new(),
            _ => desk.asks_back(&entry),
        };
        if !doubts.is_empty() {
            return Err(Failure::no(show::not_yet(&doubts)).help(
                "say --ready if the bench was made ready before it was read, or --as-it-stands",
            ));
        }
        if let (false, Some(doubt)) = (
            matches!(command, JobCommand::Result { ready: true, .. }),
            desk.questions(&entry),
        ) {
            return Err(Failure::no(format!("not taken yet. {doubt}"))
                .help("measure again; say --ready if it stays, or type what it is"));
        }
        desk.enter(&mut store, entry)?;
        if let (Some(note), Format::Text) = (desk.note_on_last(), args.format) {
            terminal.say(note)?;
        }
    }
    match command {
        JobCommand::Undo { .. } => drop(desk.take_back(&mut store)?),
        JobCommand::Close { state, reason, .. } => {
            desk.close(&mut store, closing_state(state)?, reason)?;
        }
        JobCommand::Reopen { .. } => desk.reopen(&mut store)?,
        JobCommand::Why { suspect, .. } => return why(args, &desk, *suspect, terminal),
        JobCommand::Weigh { .. } => return weighed(args, &desk, terminal),
        JobCommand::Suppose { test, shows, .. } => {
            return suppose(args, &desk, test, shows, terminal);
        }
        JobCommand::Line { line, out, .. } => {
            return line::line(args, &desk, line.as_deref(), out.as_deref(), terminal);
        }
        JobCommand::Bypass { what, to, mm, .. } => {
            let what = what.as_deref().unwrap_or("");
            return bypass::bypass(args, &desk, what, to.as_deref(), mm / 1e3, terminal);
        }
        _ => {}
    }
    show_job(args, &desk, terminal)
}

/// A job just opened, with what its complaint says of the past, which does not
/// count before someone confirms it.
fn opened(args: &Args, desk: &Desk, past: Vec<PastView>, terminal: &mut Terminal) -> Result {
    if args.format == Format::Json {
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
    show_job(args, desk, terminal)
}

fn job_view(desk: &Desk, heard_history: Vec<PastView>) -> JobView {
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

fn show_job(args: &Args, desk: &Desk, terminal: &mut Terminal) -> Result {
    let state = desk.state();
    let closed = desk.record.file.closed.as_ref();
    if args.format == Format::Json {
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

fn why(args: &Args, desk: &Desk, suspect: usize, terminal: &mut Terminal) -> Result {
    let state = desk.state();
    let why = show::suspect(desk, state, suspect)?;
    if args.format == Format::Text {
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

fn weighed(args: &Args, desk: &Desk, terminal: &mut Terminal) -> Result {
    if args.format == Format::Text {
        return terminal.line(&show::weighed(&desk.case, terminal.width));
    }
    let view = WeighView {
        job: desk.id(),
        steps: weigh(&desk.case),
    };
    terminal.form("halfsplit-weigh", &view)
}

fn suppose(args: &Args, desk: &Desk, test: &str, shows: &str, terminal: &mut Terminal) -> Result {
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
    if args.format == Format::Text {
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

pub(super) fn trail(
    args: &Args,
    job: i64,
    reader: Reader,
    html: bool,
    out: Option<&Path>,
    terminal: &mut Terminal,
) -> Result {
    let rules = load(args)?;
    let store = read_store(args)?;
    let desk = Desk::resume(&rules, &store, args.settings(), job)?;
    let trail = desk.trail();
    let audience = match reader {
        Reader::Bench => Audience::Bench,
        Reader::Customer => Audience::Customer,
    };
    let text = match (args.format, html) {
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
    write_out(args, &text, holds, out, terminal)
}

pub(super) fn export(args: &Args, job: i64, out: Option<&Path>, terminal: &mut Terminal) -> Result {
    let (record, lost) = read_store(args)?.salvage(job)?;
    let text = serde_yaml::to_string(&record.file)
        .map_err(|e| Failure::no(format!("cannot write the case: {e}")))?;
    match out {
        // As it is: the writer of YAML has escaped the controls already.
        None => terminal.print(&format!("{}\n", text.trim_end()))?,
        out => write_out(args, &text, Holds::Case, out, terminal)?,
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

pub(super) fn import(args: &Args, path: &Path, terminal: &mut Terminal) -> Result {
    let rules = load(args)?;
    let mut file = with_meter(args, read_case(path)?);
    if file.symptoms.is_empty() {
        // Without its entries: what is wrong with one is told with its number.
        let case = crate::job::Case::new(&rules, &file.up_to(0), args.settings())?;
        file.symptoms = case
            .symptoms
            .iter()
            .map(|s| case.model.symptoms[*s].id.clone())
            .collect();
    }
    let desk = Desk::open(&rules, &mut open_store(args)?, args.settings(), &file)?;
    if args.format == Format::Json {
        return show_job(args, &desk, terminal);
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
