//! The case walk: intake, then one step after another until the job is closed.
//!
//! A line that was typed is read once (`command`); what it says is done by the
//! other files, each for its kind of work. Here is the loop.

mod answer;
mod close;
mod command;
mod entries;
mod lists;
mod prompt;
mod remedy;

use std::sync::Arc;

use super::ask::{Ask, Reply, asker};
use super::check::load;
use super::config::Config;
use super::error::{Failure, Result};
use super::intake::Intake;
use super::stores::open_store;
use super::terminal::Terminal;
use super::{bypass, show};
use crate::desk::Desk;
use crate::job::view::{self, StateView, StepView};
use crate::job::{Cannot, Entry, Shown, StepKind, Unclear};
use crate::line::USUAL_LENGTH;
use crate::model::BenchMeter;
use crate::report;
use crate::store::Logged;
use crate::units::short;

use answer::Pending;
use command::{At, Command, HELP};
use entries::words;

/// Works through a job with whoever types.
pub(super) fn walk(config: &Config, terminal: &mut Terminal) -> Result {
    let mut asker = asker()?;
    work(config, asker.as_mut(), terminal)?;
    asker.all_taken()
}

fn work(config: &Config, ask: &mut dyn Ask, terminal: &mut Terminal) -> Result {
    let rules = Arc::new(load(config)?);
    let place = config.store()?;
    let new = !place.exists();
    let store = open_store(config)?;
    terminal
        .say("halfsplit: find the fault, one step at a time. Type ? for help at any prompt.")?;
    // Perhaps its name was mistyped.
    if new && config.store_named {
        terminal.say(&format!("A new store was made: {}", place.display()))?;
    }
    // Asked for by a wrong name, it is better said before the questions.
    BenchMeter::of(&rules, config.first_meter().as_deref())?;
    let intake = Intake {
        rules,
        store,
        settings: config.settings,
        meter: config.meter.as_deref(),
        first_meter: config.first_meter(),
        new: config.new,
    };
    let Some(desk) = intake.begin(ask, terminal)? else {
        return Ok(());
    };
    Walk {
        desk,
        ask,
        terminal,
        at: 0,
        chosen: None,
        leaving: false,
        asked_back: None,
        questioned: None,
        undone: None,
    }
    .run()
}

struct Walk<'a> {
    desk: Desk,
    ask: &'a mut dyn Ask,
    terminal: &'a mut Terminal,
    /// Which of the steps shown is meant.
    at: usize,
    /// A step chosen from all, in place of those advised.
    chosen: Option<StepView>,
    /// Whether a question within a step was answered with `pause`.
    leaving: bool,
    /// The reading that was asked back: Enter takes it.
    asked_back: Option<Pending>,
    /// The result that was asked about for its value.
    questioned: Option<Pending>,
    /// The test or remedy whose entry was just taken back.
    undone: Option<String>,
}

/// How much is shown anew after an entry.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Anew {
    /// The belief has changed.
    All,
    /// Only what to do next has.
    Steps,
    /// Nothing has.
    Nothing,
}

impl Walk<'_> {
    fn run(&mut self) -> Result {
        if let Some(moved) = self.desk.moved() {
            self.say(&moved)?;
        }
        for line in show::remarks(self.desk.state()) {
            self.say(&line)?;
        }
        let mut anew = Anew::All;
        loop {
            let state = self.desk.state().clone();
            match anew {
                Anew::All => self.picture(&state)?,
                Anew::Steps => self.next(&state)?,
                Anew::Nothing => {}
            }
            anew = match self.until_an_entry(&state)? {
                Some(anew) => anew,
                None => return Ok(()),
            };
        }
    }

    /// Takes lines until one is an entry, and tells what is to be shown anew; `None`
    /// if the walk is over.
    fn until_an_entry(&mut self, state: &StateView) -> Result<Option<Anew>> {
        loop {
            let step = self.step(state);
            let prompt = self.prompt(step.as_ref());
            let line = match self.ask.ask(self.terminal, &prompt)? {
                Reply::Line(l) => l,
                Reply::Ended | Reply::Interrupted => {
                    self.ask.may_end();
                    return self.leave().map(|()| None);
                }
            };
            let before = self.desk.record.last;
            let steps = self.desk.record.file.steps.len();
            match self.take(&line, step.as_ref(), state) {
                Ok(()) => {}
                Err(Failure::No { message, help }) => self.refuse(&message, help.as_deref())?,
                Err(e) => return Err(e),
            }
            self.tell_news()?;
            if self.leaving {
                return self.leave().map(|()| None);
            }
            if self.desk.record.file.closed.is_some() {
                return self.farewell().map(|()| None);
            }
            if self.desk.record.last != before {
                return Ok(Some(self.moved_on(steps, step)));
            }
        }
    }

    /// Says why a line was not taken.
    fn refuse(&mut self, message: &str, help: Option<&str>) -> Result {
        self.ask.refuse();
        self.say(&short(&format!("Not taken: {message}")))?;
        if let Some(help) = help {
            self.say(&short(help))?;
        }
        // Perhaps because somebody else went on with the job.
        match self.desk.catch_up() {
            Ok(()) => Ok(()),
            Err(e) => self.say(&short(&format!("The job was not read again: {e}"))),
        }
    }

    /// Which step is at hand after an entry, given how many entries there were and
    /// which step it was; and what is to be shown anew.
    fn moved_on(&mut self, steps: usize, step: Option<StepView>) -> Anew {
        self.asked_back = None;
        self.questioned = None;
        let anew = self.anew(steps);
        if anew != Anew::Nothing {
            self.at = 0;
            self.chosen = None;
        }
        // What was taken back is mostly to be entered otherwise.
        if let Some(id) = self.undone.take() {
            self.chosen = self.step_called(&id);
        }
        // With another yardstick it is still the same step.
        if let (true, Some(s)) = (self.has_yardstick(steps), step) {
            self.chosen = self.step_called(&s.id);
        }
        anew
    }

    /// A step by its full identifier.
    fn step_called(&self, id: &str) -> Option<StepView> {
        let all = view::all_steps(&self.desk.case);
        all.into_iter().find(|s| s.id == id)
    }

    /// Takes one line.
    fn take(&mut self, line: &str, step: Option<&StepView>, state: &StateView) -> Result {
        let at = At {
            advised: state.next.steps.len(),
            step: step.map(|s| s.act),
        };
        let command = Command::parse(line, at);
        // All that is said of a step is of a test or a remedy.
        let step = step.filter(|s| s.act != StepKind::Close);
        let first = command.as_ref().is_ok_and(Command::goes_before_answers);
        if let (false, Some(s)) = (first, step)
            && let Some(entry) = self.answer(s, line)
        {
            return self.enter(entry);
        }
        match command? {
            Command::Enter => match self.asked_back.clone() {
                Some(p) => self.enter(Entry::Result(p.result)),
                None => self.steps(state),
            },
            Command::Help => self.say(HELP),
            Command::Advised(at) => {
                self.at = at;
                self.chosen = None;
                self.asked_back = None;
                self.steps(state)
            }
            Command::Answer => self.enter(Entry::Result(Shown {
                test: need(step)?.id.clone(),
                shows: line.to_owned(),
                ..Shown::default()
            })),
            Command::Others(typed) => self.others(typed),
            Command::Done(typed) => self.done(step, typed),
            Command::Cannot(why) => self.enter(Entry::Cannot(Cannot {
                test: need(step)?.id.clone(),
                why: why.to_owned(),
            })),
            Command::Unclear(note) => {
                let s = need(step)?;
                if s.act == StepKind::Remedy {
                    return Err(Failure::no("a remedy has no result; enter it with `done`"));
                }
                self.enter(Entry::Unclear(Unclear {
                    test: s.id.clone(),
                    note: note.map(str::to_owned),
                }))
            }
            Command::Why(suspect) => {
                let why = show::suspect(&self.desk, state, suspect)?;
                let text = show::why(&why, state.belief.left_out);
                self.say(&text)
            }
            Command::Explain => {
                let step = need(step)?;
                let text = show::explain(&self.desk, step);
                self.say(&text)?;
                self.say(&show::whole_cost(&self.desk, step, state))
            }
            Command::Weigh => {
                let text = show::weighed(&self.desk.case, self.terminal.width);
                self.terminal.line(&text)
            }
            Command::Suppose(typed) => self.suppose(need(step)?, typed),
            Command::Line(name) => self.line(step, name),
            Command::Bypass(what, to) => {
                let all = self.desk.case.bypass(what, to, USUAL_LENGTH)?;
                self.say(&bypass::advice(&all))
            }
            Command::Note(text) => self.note(text),
            Command::Undo => self.undo(),
            Command::Meter(name) => self.meter(name),
            Command::Reference(typed) => self.reference(need(step)?, typed),
            Command::Sure(entry) => self.sure(entry),
            Command::Correct(entry, to) => self.correct(entry, to),
            Command::Stays => self.stays(),
            Command::History(typed) => self.history(typed),
            Command::Trail => {
                let text = report::markdown(&self.desk.trail(), report::Audience::Bench);
                self.say(&text)
            }
            Command::Close(how) => self.close(how),
            Command::Pause => {
                self.leaving = true;
                Ok(())
            }
        }
    }

    /// What somebody else has entered meanwhile.
    fn tell_news(&mut self) -> Result {
        let news = self.desk.news();
        if news.is_empty() {
            return Ok(());
        }
        self.say("Somebody else went on with this job meanwhile:")?;
        for event in news {
            let words = match event {
                Logged::Opened(_) => continue,
                Logged::Entered(e) => words(&self.desk.case.model, &e),
                Logged::TakenBack => "the last entry was taken back".to_owned(),
                Logged::Closed(c) => format!("it was closed: {}", c.reason),
                Logged::Reopened => "it was opened again".to_owned(),
            };
            self.say(&format!("  {words}"))?;
        }
        self.say("This job has it now. What was not taken: type it again if it still holds.")
    }

    /// What an entry has changed, given how many there were before it.
    fn anew(&self, before: usize) -> Anew {
        let steps = &self.desk.record.file.steps;
        match steps.last() {
            _ if steps.len() <= before => Anew::All,
            Some(Entry::Note(_)) => Anew::Nothing,
            Some(Entry::Cannot(_) | Entry::Unclear(_) | Entry::Meter(_)) => Anew::Steps,
            _ => Anew::All,
        }
    }

    /// Whether the last of the entries, of which there were so many before it, is
    /// what readings are judged by.
    fn has_yardstick(&self, before: usize) -> bool {
        let steps = &self.desk.record.file.steps;
        let last = steps.last().filter(|_| steps.len() > before);
        matches!(last, Some(Entry::Meter(_) | Entry::Reference(_)))
    }

    fn leave(&mut self) -> Result {
        let id = self.desk.id();
        self.terminal.say(&format!(
            "Job {id} is kept as it stands; `halfsplit` takes it up again."
        ))
    }

    fn say(&mut self, text: &str) -> Result {
        self.terminal.say(text)
    }
}

/// The step at hand, where a command is about one.
fn need(step: Option<&StepView>) -> Result<&StepView> {
    step.ok_or_else(|| Failure::no("there is no step to speak of; choose one with `others`"))
}
