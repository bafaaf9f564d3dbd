//! Intake: which job, which device, what the customer says, what happened to it.

use std::sync::Arc;

use super::ask::{Ask, Reply};
use super::error::{Failure, Result};
use super::terminal::Terminal;
use super::text::fill;
use crate::desk::{Action, Desk};
use crate::job::{CaseFile, Entry, LONGEST_COMPLAINT, LONGEST_NAME, Settings};
use crate::model::{Model, Past, Unit, hear, outline, past};
use crate::rulebase::{DEVICE_KINDS, Rulebase};
use crate::store::{Listed, Log, Store};

/// What intake needs.
pub(super) struct Intake<'r> {
    pub(super) rules: Arc<Rulebase>,
    /// Where jobs are kept; a desk opens it once more for itself.
    pub(super) store: Store,
    pub(super) settings: Settings,
    /// The meter that was asked for.
    pub(super) meter: Option<&'r str>,
    /// The meter that a new job begins with.
    pub(super) first_meter: Option<String>,
    /// A new job whatever is open.
    pub(super) new: bool,
}

/// The answer that a complaint is of none of the areas.
const NONE: &str = "none of these";

/// What came of one question.
enum Answer {
    Next,
    Back,
    Again,
    Leave,
}

impl<'r> Intake<'r> {
    /// A new job, or an old one taken up again; `None` if the user left.
    pub(super) fn begin(&self, ask: &mut dyn Ask, terminal: &mut Terminal) -> Result<Option<Desk>> {
        let open = match self.new {
            true => Vec::new(),
            false => self.store.list(&[], Some("open"))?,
        };
        if !open.is_empty() {
            terminal.say("Open jobs:")?;
            list_jobs(&open[..open.len().min(8)], terminal)?;
            loop {
                let line =
                    match ask.ask(terminal, "Number to go on with, or Enter for a new job > ")? {
                        Reply::Line(l) => l,
                        _ => return Ok(None),
                    };
                if line.is_empty() || "new".starts_with(&line.to_lowercase()) {
                    break;
                }
                if matches!(line.as_str(), "?" | "help") {
                    terminal.say(
                        "The number at the head of a job takes it up again, Enter opens a new one, \
                         `pause` leaves. `halfsplit jobs` lists every job.",
                    )?;
                    continue;
                }
                if matches!(line.as_str(), "pause" | "quit") {
                    return Ok(None);
                }
                match line.parse::<i64>() {
                    Ok(id) => {
                        match Desk::resume(self.rules.clone(), self.log()?, self.settings, id) {
                            Ok(d) if d.record.file.closed.is_some() => {
                                ask.refuse();
                                terminal.say(&format!(
                                "Job {id} is closed; `halfsplit job reopen {id}` opens it again."
                            ))?;
                            }
                            Ok(d) => return self.taken_up(d, terminal).map(Some),
                            Err(e) => {
                                ask.refuse();
                                terminal.say(&format!("Not taken: {e}"))?;
                            }
                        }
                    }
                    Err(_) => {
                        ask.refuse();
                        terminal.say(&format!("`{line}` is no number of a job"))?;
                    }
                }
            }
        }
        self.new_job(ask, terminal)
    }

    /// The store once more, for a desk.
    fn log(&self) -> Result<Box<dyn Log>> {
        Ok(Box::new(self.store.again()?))
    }

    /// A job taken up again, with the meter that was asked for.
    fn taken_up(&self, mut desk: Desk, terminal: &mut Terminal) -> Result<Desk> {
        if let Some(name) = self.meter.filter(|m| *m != desk.case.model.meter.id) {
            desk.act(Action::Enter(Entry::Meter(name.to_owned())))?;
            terminal.say(&format!(
                "From here on with the {}.",
                desk.case.model.meter.name
            ))?;
        }
        Ok(desk)
    }

    fn new_job(&self, ask: &mut dyn Ask, terminal: &mut Terminal) -> Result<Option<Desk>> {
        let mut file = CaseFile {
            meter: self.first_meter.clone(),
            ..CaseFile::default()
        };
        let mut heard: Vec<String> = Vec::new();
        let mut at = 0usize;
        while at < 7 {
            let answer = match at {
                0 => self.kind(&mut file, ask, terminal)?,
                1 => self.text("Model (Enter: not known) > ", ask, terminal, |t| {
                    file.device.model = (!t.is_empty()).then_some(t);
                })?,
                2 if file.device.model.is_none() => Answer::Next,
                2 => self.text(
                    "Variant or board revision (Enter: not known) > ",
                    ask,
                    terminal,
                    |t| {
                        file.device.variant = (!t.is_empty()).then_some(t);
                    },
                )?,
                3 => {
                    let a = self.text("Serial number (Enter: none) > ", ask, terminal, |t| {
                        file.device.serial = (!t.is_empty()).then_some(t);
                    })?;
                    if let (Answer::Next, Some(serial)) = (&a, &file.device.serial) {
                        let before = self
                            .store
                            .of_serial(serial)
                            .map_err(|e| Failure::no(e.to_string()))?;
                        if !before.is_empty() {
                            terminal.say("This unit has been here before:")?;
                            list_jobs(&before, terminal)?;
                        }
                    }
                    a
                }
                4 => self.complaint(&mut file, &mut heard, ask, terminal)?,
                5 => self.history(&mut file, ask, terminal)?,
                _ => self.limit(&mut file, ask, terminal)?,
            };
            match answer {
                Answer::Next => at += 1,
                Answer::Again => {}
                Answer::Leave => {
                    terminal.say("Left before the job was opened; nothing is kept.")?;
                    return Ok(None);
                }
                Answer::Back => {
                    at = at.saturating_sub(1);
                    if at == 2 && file.device.model.is_none() {
                        at = 1;
                    }
                }
            }
        }
        file.symptoms = heard;
        let device = file
            .device
            .model
            .clone()
            .unwrap_or_else(|| file.device.kind.clone());
        file.case = format!("{device}: {}", file.complaint);
        let desk = Desk::open(self.rules.clone(), self.log()?, self.settings, &file)?;
        terminal.say(&format!("Job {} is open.", desk.id()))?;
        Ok(Some(desk))
    }

    fn kind(
        &self,
        file: &mut CaseFile,
        ask: &mut dyn Ask,
        terminal: &mut Terminal,
    ) -> Result<Answer> {
        let list: Vec<String> = DEVICE_KINDS
            .iter()
            .enumerate()
            .map(|(i, k)| format!("{} {k}", i + 1))
            .collect();
        let prompt = format!("Device: {} > ", list.join(", "));
        let line = match common(ask.ask(terminal, &prompt)?, terminal)? {
            Ok(l) => l,
            Err(a) => return Ok(a),
        };
        let by_number = line
            .parse::<usize>()
            .ok()
            .and_then(|n| DEVICE_KINDS.get(n.wrapping_sub(1)).copied());
        let by_letters: Vec<&str> = DEVICE_KINDS
            .into_iter()
            .filter(|k| !line.is_empty() && k.starts_with(&line.to_lowercase()))
            .collect();
        let only = match by_letters.as_slice() {
            [one] => Some(*one),
            _ => None,
        };
        match by_number.or(only) {
            Some(k) => {
                file.device = Unit {
                    kind: k.to_owned(),
                    ..Unit::default()
                };
                Ok(Answer::Next)
            }
            None => {
                ask.refuse();
                terminal.say("A number, or the first letters of the word.")?;
                Ok(Answer::Again)
            }
        }
    }

    fn text(
        &self,
        prompt: &str,
        ask: &mut dyn Ask,
        terminal: &mut Terminal,
        set: impl FnOnce(String),
    ) -> Result<Answer> {
        match common(ask.ask(terminal, prompt)?, terminal)? {
            Ok(line) if line.chars().nth(LONGEST_NAME).is_some() => {
                ask.refuse();
                terminal.say(&format!(
                    "Not taken: that is longer than {LONGEST_NAME} characters."
                ))?;
                Ok(Answer::Again)
            }
            Ok(line) => {
                set(line);
                Ok(Answer::Next)
            }
            Err(a) => Ok(a),
        }
    }

    fn complaint(
        &self,
        file: &mut CaseFile,
        heard: &mut Vec<String>,
        ask: &mut dyn Ask,
        terminal: &mut Terminal,
    ) -> Result<Answer> {
        let line = match common(
            ask.ask(terminal, "What does the customer say? > ")?,
            terminal,
        )? {
            Ok(l) => l,
            Err(a) => return Ok(a),
        };
        if line.is_empty() {
            ask.refuse();
            terminal.say("A few words, as the customer says it.")?;
            return Ok(Answer::Again);
        }
        if line.chars().nth(LONGEST_COMPLAINT).is_some() {
            ask.refuse();
            terminal.say(&format!(
                "Not taken: that is longer than {LONGEST_COMPLAINT} characters. Type what is \
                 wrong, and put the rest into a remark later."
            ))?;
            return Ok(Answer::Again);
        }
        let model = match outline(&self.rules, &file.device, &[]) {
            Ok(m) => m,
            Err(e) => {
                ask.refuse();
                terminal.say(&format!("Not taken: {e}"))?;
                return Ok(Answer::Back);
            }
        };
        file.complaint = line;
        let hearing = hear(&model, &file.complaint);
        if !hearing.typos.is_empty() {
            let read = hearing
                .typos
                .iter()
                .map(|t| format!("{}: {}", t.typed, t.read));
            let read: Vec<String> = read.collect();
            terminal.say(&format!("Read as typing errors: {}.", read.join(", ")))?;
        }
        let said = hearing.heard;
        if said.is_empty() {
            terminal.say("No area of the rules hears these words.")?;
            return self.pick(&model, heard, ask, terminal);
        }
        terminal.say("Understood as:")?;
        for (i, h) in said.iter().enumerate() {
            let name = &model.symptoms[h.symptom].name;
            let doubt = if h.assumed {
                " (which one was not said; n for another)"
            } else {
                ""
            };
            terminal.say(&format!("  {} {name}{doubt}", i + 1))?;
        }
        let found: Vec<usize> = said.iter().map(|h| h.symptom).collect();
        loop {
            let prompt = "Right? Enter for all, numbers to keep, or n to choose others > ";
            let line = match common(ask.ask(terminal, prompt)?, terminal)? {
                Ok(l) => l,
                Err(Answer::Again) => continue,
                Err(a) => return Ok(within(a)),
            };
            let lower = line.to_lowercase();
            if lower.is_empty() || "yes".starts_with(&lower) {
                *heard = found
                    .iter()
                    .map(|s| model.symptoms[*s].id.clone())
                    .collect();
                return Ok(Answer::Next);
            }
            if "no".starts_with(&lower) {
                return self.pick(&model, heard, ask, terminal);
            }
            match numbers(&line, found.len()) {
                Some(n) => {
                    *heard = n
                        .iter()
                        .map(|i| model.symptoms[found[*i]].id.clone())
                        .collect();
                    return Ok(Answer::Next);
                }
                None => {
                    ask.refuse();
                    terminal.say("Numbers from the list, such as `1 3`.")?;
                }
            }
        }
    }

    /// Symptoms chosen by area, then by number.
    fn pick(
        &self,
        model: &Model,
        heard: &mut Vec<String>,
        ask: &mut dyn Ask,
        terminal: &mut Terminal,
    ) -> Result<Answer> {
        let mut areas: Vec<String> = Vec::new();
        let area = |s: usize| {
            let s = &model.symptoms[s];
            s.copy.clone().unwrap_or_else(|| s.pack.clone())
        };
        for s in 0..model.symptoms.len() {
            if !areas.contains(&area(s)) {
                areas.push(area(s));
            }
        }
        // A complaint of none of the areas goes to the pack of all the others.
        let none = model.unheard.map(|s| model.symptoms[s].id.clone());
        let other = none.iter().map(|_| NONE.to_owned());
        let list: Vec<String> = areas
            .iter()
            .cloned()
            .chain(other)
            .enumerate()
            .map(|(i, a)| format!("{} {a}", i + 1))
            .collect();
        let chosen = loop {
            let enter = none.as_ref().map_or("", |_| " (Enter: none of these)");
            let prompt = format!("Which area? {}{enter} > ", list.join(", "));
            match common(ask.ask(terminal, &prompt)?, terminal)? {
                Err(Answer::Again) => {}
                Err(a) => return Ok(within(a)),
                Ok(l) => match (numbers(&l, list.len()), &none) {
                    (Some(n), Some(none)) if n.is_empty() || n == [areas.len()] => {
                        *heard = vec![none.clone()];
                        return Ok(Answer::Next);
                    }
                    (Some(n), _) if n.len() == 1 => break areas[n[0]].clone(),
                    _ => {
                        ask.refuse();
                        terminal.say("One number from the list.")?;
                    }
                },
            }
        };
        let here: Vec<usize> = (0..model.symptoms.len())
            .filter(|s| area(*s) == chosen)
            .collect();
        for (i, s) in here.iter().enumerate() {
            terminal.say(&format!("  {} {}", i + 1, model.symptoms[*s].name))?;
        }
        if none.is_some() {
            terminal.say(&format!("  {} {NONE}", here.len() + 1))?;
        }
        loop {
            match common(ask.ask(terminal, "Numbers that fit > ")?, terminal)? {
                Err(Answer::Again) => {}
                Err(a) => return Ok(within(a)),
                Ok(l) => match (numbers(&l, here.len() + usize::from(none.is_some())), &none) {
                    (Some(n), Some(none)) if n == [here.len()] => {
                        *heard = vec![none.clone()];
                        return Ok(Answer::Next);
                    }
                    (Some(n), _) if !n.is_empty() && !n.contains(&here.len()) => {
                        *heard = n
                            .iter()
                            .map(|i| model.symptoms[here[*i]].id.clone())
                            .collect();
                        return Ok(Answer::Next);
                    }
                    _ => {
                        ask.refuse();
                        terminal.say("Numbers from the list, such as `1 3`.")?;
                    }
                },
            }
        }
    }

    fn history(
        &self,
        file: &mut CaseFile,
        ask: &mut dyn Ask,
        terminal: &mut Terminal,
    ) -> Result<Answer> {
        let questions = &self.rules.bench.history;
        if questions.is_empty() {
            return Ok(Answer::Next);
        }
        terminal.say("Has it:")?;
        let said = self.said_of_the_past(file);
        let mut ticked = Vec::new();
        for (i, (id, q)) in questions.iter().enumerate() {
            let words = said.iter().find(|p| p.id == *id).map(|p| p.words.trim());
            let heard = words.map_or_else(String::new, |w| format!(" (heard: \"{w}\")"));
            if words.is_some() {
                ticked.push((i + 1).to_string());
            }
            terminal.say(&format!("  {} {q}{heard}", i + 1))?;
        }
        let ticked = ticked.join(" ");
        let prompt = match ticked.as_str() {
            "" => "Numbers that apply (Enter: none) > ".to_owned(),
            t => format!("Numbers that apply (Enter: {t}, as heard; 0: none) > "),
        };
        let line = match common(ask.ask(terminal, &prompt)?, terminal)?.map(|l| l.trim().to_owned())
        {
            Ok(l) if l.is_empty() => ticked,
            Ok(l) if l == "0" => String::new(),
            Ok(l) => l,
            Err(a) => return Ok(a),
        };
        match numbers(&line, questions.len()) {
            Some(n) => {
                file.history = n.iter().map(|i| questions[*i].0.clone()).collect();
                Ok(Answer::Next)
            }
            None => {
                ask.refuse();
                terminal.say("Numbers from the list, such as `1 2`, or Enter.")?;
                Ok(Answer::Again)
            }
        }
    }

    /// What the complaint says of the past; the technician confirms it.
    fn said_of_the_past(&self, file: &CaseFile) -> Vec<Past> {
        match outline(&self.rules, &file.device, &[]) {
            Ok(model) => past(&model, &file.complaint),
            Err(_) => Vec::new(),
        }
    }

    fn limit(
        &self,
        file: &mut CaseFile,
        ask: &mut dyn Ask,
        terminal: &mut Terminal,
    ) -> Result<Answer> {
        let prompt = "Most it may cost before you ask the customer (Enter: not agreed) > ";
        let line = match common(ask.ask(terminal, prompt)?, terminal)? {
            Ok(l) => l,
            Err(a) => return Ok(a),
        };
        if line.is_empty() {
            file.limit = None;
            return Ok(Answer::Next);
        }
        match line.replace(',', ".").parse::<f64>() {
            Ok(l) if l > 0.0 && l.is_finite() => {
                file.limit = Some(l);
                Ok(Answer::Next)
            }
            _ => {
                ask.refuse();
                terminal.say("A sum such as 80, or Enter.")?;
                Ok(Answer::Again)
            }
        }
    }
}

/// What can be typed at every question of the intake.
fn common(reply: Reply, terminal: &mut Terminal) -> Result<std::result::Result<String, Answer>> {
    Ok(match reply {
        Reply::Ended | Reply::Interrupted => Err(Answer::Leave),
        Reply::Line(l) => match l.to_lowercase().as_str() {
            "?" | "help" => {
                terminal.say("Answer the question; `undo` goes back one, `pause` leaves.")?;
                Err(Answer::Again)
            }
            "undo" | "back" => Err(Answer::Back),
            "pause" | "quit" => Err(Answer::Leave),
            _ => Ok(l),
        },
    })
}

/// Going back from a question that belongs to the complaint asks for the
/// complaint again, not for what came before it.
fn within(answer: Answer) -> Answer {
    match answer {
        Answer::Back => Answer::Again,
        other => other,
    }
}

/// Numbers from 1 to `most`, as indexes; `None` if anything else was typed.
fn numbers(line: &str, most: usize) -> Option<Vec<usize>> {
    line.split([' ', ',', ';'])
        .filter(|w| !w.is_empty())
        .map(|w| match w.parse::<usize>() {
            Ok(n) if n >= 1 && n <= most => Some(n - 1),
            _ => None,
        })
        .collect()
}

/// One line a job.
pub(super) fn list_jobs(jobs: &[Listed], terminal: &mut Terminal) -> Result {
    let width = terminal.width;
    for j in jobs {
        let serial = if j.serial.is_empty() {
            String::new()
        } else {
            format!(" ({})", j.serial)
        };
        let day = j.opened.get(..10).unwrap_or("");
        let line = format!(
            "{:>5}  {day}  {}{serial}: {} — {}, {}",
            j.job,
            j.device,
            j.complaint,
            j.state.replace('-', " "),
            j.cause
        );
        terminal.line(&fill(&line, width, "", "       "))?;
    }
    Ok(())
}
