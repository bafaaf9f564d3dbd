//! The case walk: intake, then one step after another until the job is closed.

use super::args::Args;
use super::ask::{Ask, Reply, asker};
use super::check::load;
use super::closing::closing_state;
use super::error::{Failure, Result};
use super::intake::Intake;
use super::line;
use super::show;
use super::stores::{open_store, store_place};
use super::terminal::Terminal;
use crate::belief::likelier;
use crate::desk::Desk;
use crate::job::line::line_at_hand;
use crate::job::view::{self, StateView, StepView};
use crate::job::{
    Cannot, ClosingState, Correction, Did, Entry, Reference, Shown, StepKind, Sure, Unclear,
};
use crate::line::USUAL_LENGTH;
use crate::model::{BenchMeter, Found, Model, past};
use crate::report;
use crate::shown::short;
use crate::store::{Logged, Store};

/// What follows a reading that was taken without making the bench ready.
const AS_IT_STANDS: &str = "as it stands";

/// Asked after a swap.
const FITTED: &str = "Which part is fitted now? 1 the old one, 2 the known-good one (Enter: 1) > ";
/// Said of that question.
const ABOUT_FITTED: &str = "1 or Enter: the old part is back in, as after most trials. 2: the \
     known-good one stays, which is entered as the remedy. `undo` takes the result of the swap \
     back, `pause` leaves.";

/// Why the walk goes on or ends.
pub(super) enum Flow {
    /// Ask on.
    On,
    /// Leave the job as it is.
    Pause,
}

const HELP: &str = "\
Answer the step marked with an arrow: yes or no, its number, or the value you read.
  b, c          take the second or third step instead
  others [WORD] every other test and remedy, or those with the word in them
  done [NAME]   a remedy was done
  stays         the known-good part that was just tried stays in the device
  cannot [WHY]  this step cannot be done here
  unclear       it was done, but the result is unclear
  why [N]       what speaks for and against suspect N (1 if not given)
  explain       more on this step: how, why, and what it rests on
  weigh         the best steps side by side: what each comes to and leads to
  suppose       what a result would change, without entering it
  line [NAME]   a line of the board, drawn with what may be wrong where
  0.4 as it stands
                the bench was not made ready before this was read
  0.4 reversed  it was read with the leads swapped: counts so on a line
  bypass [PART] whether a wire may go round a part of a line, and which
  reference 0.4 WHOSE
                what a good board of the same model reads here
  sure [N]      measured again at the same points: it is the same
  correct N NEW entry N should have said NEW; `correct N not done` strikes it
  note TEXT     a remark for the trail
  meter NAME    another meter from here on; `meter` alone lists them
  history [N]   what the device has been through: the questions, or yes to one
  undo          take the last entry back
  trail         what was done so far
  close         end the job
  pause         leave the job for later; everything entered is kept
The first letters of a word are enough.";

pub(super) fn walk(args: &Args, terminal: &mut Terminal) -> Result {
    let mut asker = asker()?;
    work(args, asker.as_mut(), terminal)?;
    asker.all_taken()
}

fn work(args: &Args, ask: &mut dyn Ask, terminal: &mut Terminal) -> Result {
    let rules = load(args)?;
    let place = store_place(args)?;
    let new = !place.exists();
    let mut store = open_store(args)?;
    terminal
        .say("halfsplit: find the fault, one step at a time. Type ? for help at any prompt.")?;
    // Perhaps its name was mistyped.
    if new && args.store.is_some() {
        terminal.say(&format!("A new store was made: {}", place.display()))?;
    }
    // Asked for by a wrong name, it is better said before the questions.
    BenchMeter::of(&rules, args.meter_at_first().as_deref())?;
    let intake = Intake {
        rules: &rules,
        settings: args.settings(),
        meter: args.meter.as_deref(),
        first_meter: args.meter_at_first(),
        new: args.new,
    };
    let Some(desk) = intake.begin(&mut store, ask, terminal)? else {
        return Ok(());
    };
    Walk {
        desk,
        store,
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

/// A result that was asked about and is not entered yet.
#[derive(Clone)]
struct Pending {
    result: Shown,
    /// The line that it was typed in.
    line: usize,
}

struct Walk<'a> {
    desk: Desk<'a>,
    store: Store,
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
        for line in show::remarks(&self.desk.state()) {
            self.say(&line)?;
        }
        let mut anew = Anew::All;
        loop {
            let state = self.desk.state();
            match anew {
                Anew::All => self.picture(&state)?,
                Anew::Steps => self.next(&state)?,
                Anew::Nothing => {}
            }
            loop {
                let step = self.step(&state);
                let prompt = self.prompt(step.as_ref());
                let line = match self.ask.ask(self.terminal, &prompt)? {
                    Reply::Line(l) => l,
                    Reply::Ended | Reply::Interrupted => {
                        self.ask.may_end();
                        return self.leave();
                    }
                };
                let before = self.desk.record.last;
                let steps = self.desk.record.file.steps.len();
                match self.take(&line, step.as_ref(), &state) {
                    Ok(Flow::Pause) => return self.leave(),
                    Ok(Flow::On) => {}
                    Err(Failure::No { message, help }) => {
                        self.ask.refuse();
                        self.say(&short(&format!("Not taken: {message}")))?;
                        if let Some(h) = help {
                            self.say(&short(&h))?;
                        }
                        // Perhaps because somebody else went on with the job.
                        if let Err(e) = self.desk.catch_up(&self.store) {
                            self.say(&short(&format!("The job was not read again: {e}")))?;
                        }
                    }
                    Err(e) => return Err(e),
                }
                self.tell_news()?;
                if self.leaving {
                    return self.leave();
                }
                if self.desk.record.file.closed.is_some() {
                    return self.farewell();
                }
                if self.desk.record.last != before {
                    self.asked_back = None;
                    self.questioned = None;
                    anew = self.anew(steps);
                    if anew != Anew::Nothing {
                        self.at = 0;
                        self.chosen = None;
                    }
                    // What was taken back is mostly to be entered otherwise.
                    if let Some(id) = self.undone.take() {
                        let all = view::all_steps(&self.desk.case);
                        self.chosen = all.into_iter().find(|a| a.id == id);
                    }
                    // With another yardstick it is still the same step.
                    if let (true, Some(s)) = (self.has_yardstick(steps), step) {
                        let all = view::all_steps(&self.desk.case);
                        self.chosen = all.into_iter().find(|a| a.id == s.id);
                    }
                    break;
                }
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

    fn farewell(&mut self) -> Result {
        let id = self.desk.id();
        let ended = self
            .desk
            .record
            .file
            .closed
            .as_ref()
            .map_or("", |c| c.state.word())
            .replace('-', " ");
        self.terminal.say(&format!(
            "Job {id} is closed: {ended}. `halfsplit trail {id}` prints its trail."
        ))
    }

    fn say(&mut self, text: &str) -> Result {
        self.terminal.say(text)
    }

    /// Where, suspects, doubts, and the next steps.
    fn picture(&mut self, state: &StateView) -> Result {
        let width = self.terminal.width;
        self.terminal.line("")?;
        if let Some(n) = &state.notice {
            let sure = |entry| match entry == n.entry {
                true => "sure".to_owned(),
                false => format!("sure {entry}"),
            };
            self.say(&show::notice(n, sure))?;
            self.terminal.line("")?;
        }
        self.terminal.line(&show::places(state, width))?;
        self.terminal.line(&show::suspects(state, width, 5))?;
        for line in show::doubts(state) {
            self.say(&line)?;
        }
        self.next(state)
    }

    /// What to do next.
    fn next(&mut self, state: &StateView) -> Result {
        self.terminal.line("")?;
        if let Some(s) = &state.next.says {
            self.say(s)?;
        }
        if let Some(due) = show::retests(state) {
            self.say(&due)?;
        }
        self.steps(state)
    }

    fn steps(&mut self, state: &StateView) -> Result {
        let width = self.terminal.width;
        let current = self.step(state);
        if let Some(c) = &self.chosen {
            let text = show::step(c, "-> ", width, true);
            return self.terminal.line(&text);
        }
        for (i, s) in state.next.steps.iter().enumerate() {
            let mark = if current.as_ref().is_some_and(|c| c.id == s.id) {
                "->"
            } else {
                "  "
            };
            let letter = (b'A' + i as u8) as char;
            let text = show::step(s, &format!("{mark} {letter} "), width, i == self.at);
            self.terminal.line(&text)?;
        }
        Ok(())
    }

    /// The step that an answer would be for.
    fn step(&self, state: &StateView) -> Option<StepView> {
        self.chosen
            .clone()
            .or_else(|| state.next.steps.get(self.at).cloned())
    }

    fn prompt(&self, step: Option<&StepView>) -> String {
        if let Some(p) = &self.asked_back {
            let read = &p.result.shows;
            return format!("Enter takes {read}; or what you read now (or ?) > ");
        }
        let Some(s) = step else {
            return "(others, close, ? for help) > ".to_owned();
        };
        if s.act == StepKind::Remedy {
            return "1 done (or ?) > ".to_owned();
        }
        if s.act == StepKind::Close {
            return "1 close (or ?) > ".to_owned();
        }
        let Found::One(t) = self.desk.case.model.test(&s.id) else {
            return "> ".to_owned();
        };
        let t = &self.desk.case.model.tests[t];
        if let Some(unit) = &t.unit {
            return format!("value in {unit} (or ?) > ");
        }
        let answers = (0..t.outcomes.len()).map(|o| format!("{} {}", o + 1, t.answer(o)));
        let answers: Vec<String> = answers.collect();
        let one_line = format!("{} (or ?) > ", answers.join(", "));
        if one_line.chars().count() <= self.terminal.width {
            one_line
        } else {
            format!("{}\n(or ?) > ", answers.join("\n"))
        }
    }

    /// Takes one line.
    fn take(&mut self, line: &str, step: Option<&StepView>, state: &StateView) -> Result<Flow> {
        let (head, rest) = line
            .split_once(char::is_whitespace)
            .map_or((line, ""), |(h, r)| (h, r.trim()));
        let head = head.to_lowercase();
        let (head, rest) = match line.to_lowercase().as_str() {
            "i am sure" | "i'm sure" => ("sure".to_owned(), ""),
            _ => (head, rest),
        };
        if let (true, Some(p)) = (line.is_empty(), self.asked_back.clone()) {
            self.enter(Entry::Result(p.result))?;
            return Ok(Flow::On);
        }
        if line.is_empty() {
            self.steps(state)?;
            return Ok(Flow::On);
        }
        if line == "?" || head == "help" {
            self.say(HELP)?;
            return Ok(Flow::On);
        }
        if let (1, Some(i)) = (line.len(), ["a", "b", "c"].iter().position(|l| *l == head))
            && i < state.next.steps.len()
        {
            self.at = i;
            self.chosen = None;
            self.asked_back = None;
            self.steps(state)?;
            return Ok(Flow::On);
        }
        let closes = step.is_some_and(|s| s.act == StepKind::Close);
        if closes && matches!(head.as_str(), "1" | "y" | "yes" | "done") {
            self.close(ClosingState::Mended.word())?;
            return Ok(Flow::On);
        }
        // All that is said of a step is of a test or a remedy.
        let step = step.filter(|_| !closes);
        if let Some(s) = step
            && let Some(entry) = self.answer(s, line)
        {
            self.enter(entry)?;
            return Ok(Flow::On);
        }
        if matches!(head.as_str(), "y" | "n" | "yes" | "no")
            && let Some(s) = step
        {
            if s.act == StepKind::Remedy {
                return Err(
                    Failure::no(format!("`{line}` is no answer to a remedy")).help(
                        "type done when it has been done, cannot if it can't be, or ? for more",
                    ),
                );
            }
            // Meant as an answer; let the test say what it can be.
            self.enter(Entry::Result(Shown {
                test: s.id.clone(),
                shows: line.to_owned(),
                ..Shown::default()
            }))?;
            return Ok(Flow::On);
        }
        const WORDS: [&str; 23] = [
            "others",
            "done",
            "cannot",
            "unclear",
            "why",
            "explain",
            "weigh",
            "suppose",
            "note",
            "undo",
            "line",
            "bypass",
            "trail",
            "close",
            "pause",
            "quit",
            "what",
            "meter",
            "reference",
            "sure",
            "correct",
            "stays",
            "history",
        ];
        let fits: Vec<&str> = WORDS
            .into_iter()
            .filter(|w| w.starts_with(head.as_str()))
            .collect();
        let word = match fits.as_slice() {
            [one] => *one,
            many if many.contains(&head.as_str()) => {
                many.iter().find(|w| **w == head).copied().unwrap_or("")
            }
            [] => {
                // Perhaps it is an answer; let the test say what it can be.
                if let Some(s) = step.filter(|s| s.act == StepKind::Test) {
                    self.enter(Entry::Result(Shown {
                        test: s.id.clone(),
                        shows: line.to_owned(),
                        ..Shown::default()
                    }))?;
                    return Ok(Flow::On);
                }
                return Err(Failure::no(format!("`{line}` is not understood"))
                    .help("type ? for what can be typed"));
            }
            many => {
                return Err(Failure::no(format!(
                    "`{head}` could be {}",
                    many.join(" or ")
                )));
            }
        };
        match word {
            "pause" | "quit" => return Ok(Flow::Pause),
            "others" => self.others(rest)?,
            "done" => self.done(step, rest)?,
            "cannot" => {
                let s = need(step)?;
                self.enter(Entry::Cannot(Cannot {
                    test: s.id.clone(),
                    why: rest.to_owned(),
                }))?;
            }
            "unclear" => {
                let s = need(step)?;
                if s.act == StepKind::Remedy {
                    return Err(Failure::no("a remedy has no result; enter it with `done`"));
                }
                self.enter(Entry::Unclear(Unclear {
                    test: s.id.clone(),
                    note: (!rest.is_empty()).then(|| rest.to_owned()),
                }))?;
            }
            "why" => {
                let text = show::why(&self.desk, state, rest)?;
                self.say(&text)?;
            }
            "explain" => {
                let step = need(step)?;
                let text = show::explain(&self.desk, step);
                self.say(&text)?;
                self.say(&show::whole_cost(&self.desk, step, state))?;
            }
            "weigh" => {
                let text = show::weighed(&self.desk.case, self.terminal.width);
                self.terminal.line(&text)?;
            }
            // "what if" is how people ask for it.
            "suppose" | "what" => self.suppose(need(step)?, rest)?,
            "line" => self.line(step, rest)?,
            "bypass" => {
                let (what, to) = match rest.split_once(' ') {
                    Some((what, to)) => (what, Some(to)),
                    None => (rest, None),
                };
                let all = self.desk.case.bypass(what, to, USUAL_LENGTH)?;
                self.say(&super::bypass::advice(&all))?;
            }
            "note" => {
                let text = if rest.is_empty() {
                    match self.question("Remark (Enter: none) > ", "A remark for the trail.")? {
                        Some(t) => t,
                        None => return Ok(Flow::On),
                    }
                } else {
                    rest.to_owned()
                };
                self.enter(Entry::Note(text))?;
                self.say("Noted.")?;
            }
            "undo" => self.undo()?,
            "meter" => self.meter(rest)?,
            "reference" => self.reference(need(step)?, rest)?,
            "sure" => {
                let entry = match rest {
                    "" => self.desk.last_result()?,
                    n => entry_number(n)?,
                };
                self.enter(Entry::Sure(Sure { entry, note: None }))?;
                self.say(&format!("Entry {entry} counts as measured twice."))?;
            }
            "correct" => self.correct(rest)?,
            "stays" => self.stays()?,
            "history" => self.history(rest)?,
            "trail" => {
                let text = report::markdown(&self.desk.trail(), report::Audience::Bench);
                self.say(&text)?;
            }
            "close" => self.close(rest)?,
            _ => {}
        }
        Ok(Flow::On)
    }

    /// The test or remedy of an entry, by its full name.
    fn about(&self, entry: &Entry) -> Option<String> {
        let m = &self.desk.case.model;
        let test = |typed: &str| match m.test(typed) {
            Found::One(i) => Some(m.tests[i].id.clone()),
            _ => None,
        };
        let remedy = |typed: &str| match m.remedy(typed) {
            Found::One(i) => Some(m.remedies[i].id.clone()),
            _ => None,
        };
        match entry {
            Entry::Result(r) => test(&r.test),
            Entry::Unclear(u) => test(&u.test),
            Entry::Reference(r) => test(&r.test),
            Entry::Cannot(c) => test(&c.test).or_else(|| remedy(&c.test)),
            Entry::Remedy(d) => remedy(&d.did),
            Entry::Note(_)
            | Entry::Meter(_)
            | Entry::History(_)
            | Entry::Sure(_)
            | Entry::Correct(_) => None,
        }
    }

    /// An answer to the step, if that is what was typed.
    fn answer(&self, s: &StepView, line: &str) -> Option<Entry> {
        if s.act == StepKind::Remedy {
            return (line == "1").then(|| {
                Entry::Remedy(Did {
                    did: s.id.clone(),
                    note: None,
                })
            });
        }
        let Found::One(i) = self.desk.case.model.test(&s.id) else {
            return None;
        };
        let t = &self.desk.case.model.tests[i];
        let (line, as_it_stands) = match line.strip_suffix(AS_IT_STANDS) {
            Some(head) if t.measures.is_some() => (head.trim_end(), true),
            _ => (line, false),
        };
        // A number is the value of a measurement, else the number of an answer,
        // perhaps with its words, as the prompt prints them.
        let is_number = |n: &str, at: usize| n.parse() == Ok(at + 1);
        let line = match line.split_once(' ') {
            Some((n, words)) => match crate::job::outcome(t, words) {
                Ok(at) if is_number(n, at) => words,
                _ => line,
            },
            None => line,
        };
        let shows = match line.parse::<usize>() {
            Ok(n) if t.unit.is_none() && n >= 1 && n <= t.outcomes.len() => {
                t.outcomes[n - 1].id.clone()
            }
            _ => line.to_owned(),
        };
        crate::job::outcome(t, &shows).ok()?;
        // First letters of an answer count unless a command is spelled out.
        Some(Entry::Result(Shown {
            test: s.id.clone(),
            shows,
            as_it_stands,
            note: None,
        }))
    }

    fn enter(&mut self, entry: Entry) -> Result {
        let doubts = self.desk.asks_back(&entry);
        // A reading of the test that was asked back settles it: typed again, by
        // Enter, or another one.
        let settles = |p: &Pending| matches!(&entry, Entry::Result(r) if r.test == p.result.test);
        let asked = self.asked_back.take().filter(settles);
        if let (false, None, Entry::Result(r)) = (doubts.is_empty(), &asked, &entry) {
            self.asked_back = Some(Pending {
                result: r.clone(),
                line: self.ask.refuse(),
            });
            let keeps = match doubts.iter().any(|d| d.why.is_power()) {
                true => "keeps it without counting it",
                false => "has it judged so",
            };
            let why = show::not_yet(&doubts).replacen("not", "Not", 1);
            return self.say(&format!(
                "{why}\nIf the bench was made ready before you measured, press Enter; else make it \
                 ready and type what you read then. `{} {AS_IT_STANDS}` {keeps}.",
                r.shows
            ));
        }
        if let Some(asked) = asked {
            self.ask.settle(asked.line);
        }
        if let (Some(doubt), Entry::Result(r)) = (self.desk.questions(&entry), &entry)
            && self.questioned.as_ref().map(|q| &q.result) != Some(r)
        {
            self.questioned = Some(Pending {
                result: r.clone(),
                line: self.ask.refuse(),
            });
            return self.say(&format!(
                "Not taken yet. {doubt} Measure again: type it again if it stays, or type what it \
                 is."
            ));
        }
        // Typed again, or measured again.
        if let Some(q) = self.questioned.take().filter(settles) {
            self.ask.settle(q.line);
        }
        let note = self.desk.note_on(&entry);
        self.desk.enter(&mut self.store, entry)?;
        if let Some(note) = note {
            self.say(&note)?;
        }
        match self.desk.case.part_tried() {
            Some(item) if self.desk.case.fits_part(item).is_some() => self.ask_what_is_fitted(),
            _ => Ok(()),
        }
    }

    /// Asks which part is in the device after a swap; that the known-good one is
    /// counts as the remedy.
    fn ask_what_is_fitted(&mut self) -> Result {
        loop {
            let line = match self.ask.ask(self.terminal, FITTED)? {
                Reply::Line(l) => l.to_lowercase(),
                Reply::Ended | Reply::Interrupted => {
                    self.ask.may_end();
                    self.leaving = true;
                    return Ok(());
                }
            };
            match line.as_str() {
                "" | "1" | "old" => return Ok(()),
                "2" | "new" | "stays" => return self.stays(),
                "undo" => return self.undo(),
                "pause" | "quit" => {
                    self.leaving = true;
                    return Ok(());
                }
                "?" | "help" => self.say(ABOUT_FITTED)?,
                _ => {
                    self.ask.refuse();
                    self.say(&format!("`{line}` is no answer to that. {ABOUT_FITTED}"))?;
                }
            }
        }
    }

    /// Takes the last entry back.
    fn undo(&mut self) -> Result {
        let taken = self.desk.take_back(&mut self.store);
        let entry = taken.map_err(|e| Failure::no(e.to_string()))?;
        let word = words(&self.desk.case.model, &entry);
        self.undone = self.about(&entry);
        self.say(&format!("Taken back: {word}"))
    }

    /// The part that was just tried stays in the device, which is a remedy.
    fn stays(&mut self) -> Result {
        let Some(item) = self.desk.case.part_tried() else {
            return Err(Failure::no("no known-good part was tried just now")
                .help("type it after the result of the swap; else `done` with the remedy"));
        };
        let Some(remedy) = self.desk.case.fits_part(item) else {
            let name = &self.desk.case.model.items[item].name;
            return Err(
                Failure::no(format!("these rules have no remedy that fits a new {name}"))
                    .help("`others` lists the remedies"),
            );
        };
        let did = self.desk.case.model.remedies[remedy].id.clone();
        let note = Some("the known-good part that was tried stays".to_owned());
        self.enter(Entry::Remedy(Did { did, note }))
    }

    /// Lists the questions about the past, or answers one with yes.
    fn history(&mut self, typed: &str) -> Result {
        let case = &self.desk.case;
        let asked = &case.model.bench.history;
        let known = case.past();
        if typed.is_empty() {
            let heard = past(&case.model, &self.desk.record.file.complaint);
            let line = |(i, (id, ask)): (usize, &(String, String))| {
                let words = heard.iter().find(|p| p.id == *id);
                let mark = match words {
                    _ if known.contains(id) => " yes".to_owned(),
                    Some(p) => format!(" (heard: \"{}\")", p.words.trim()),
                    None => String::new(),
                };
                format!("  {} {ask}{mark}", i + 1)
            };
            let list: Vec<String> = asked.iter().enumerate().map(line).collect();
            self.say(&format!(
                "Has it:\n{}\n`history N` answers one with yes.",
                list.join("\n")
            ))?;
            return Ok(());
        }
        let by_number = typed.parse::<usize>().ok();
        let by_number = by_number.and_then(|n| asked.get(n.wrapping_sub(1)));
        let chosen = by_number.or_else(|| asked.iter().find(|h| h.0 == typed));
        let Some((id, ask)) = chosen.cloned() else {
            return Err(
                Failure::no(format!("`{typed}` is no question about the past"))
                    .help("`history` lists them with their numbers"),
            );
        };
        if known.contains(&id) {
            return self.say("That is known already.");
        }
        self.enter(Entry::History(id))?;
        self.say(&format!("Taken up: {ask} Yes."))
    }

    /// Corrects an earlier entry: its number, then what it should have said.
    fn correct(&mut self, typed: &str) -> Result {
        let (number, to) = typed.split_once(char::is_whitespace).unwrap_or((typed, ""));
        if number.is_empty() {
            return Err(Failure::no("say which entry to correct, by its number")
                .help("`trail` shows the numbers; then `correct 2 yes`"));
        }
        let entry = entry_number(number)?;
        let prompt =
            format!("What should entry {entry} say? (`not done` strikes it, Enter: back) > ");
        let to = match to.trim() {
            "" => match self.question(&prompt, "The result, the remedy or the remark.")? {
                Some(to) => to,
                None => return Ok(()),
            },
            to => to.to_owned(),
        };
        let struck = to.eq_ignore_ascii_case("not done");
        self.enter(Entry::Correct(Correction {
            entry,
            to: (!struck).then_some(to),
            note: None,
        }))?;
        let done = if struck { "struck" } else { "corrected" };
        self.say(&format!("Entry {entry} is {done}; the trail keeps both."))
    }

    /// Takes another meter to hand, or lists them.
    fn meter(&mut self, name: &str) -> Result {
        let now = self.desk.case.model.meter.id.clone();
        if name.is_empty() {
            let mut list = String::new();
            for m in self.desk.meters() {
                let mark = if m.id == now { " (in use)" } else { "" };
                list += &format!("  {}: {}{mark}\n", m.id, m.name);
            }
            return self.say(list.trim_end());
        }
        if name != now {
            self.enter(Entry::Meter(name.to_owned()))?;
        }
        let said = format!(
            "Read from here on with the {}.",
            self.desk.case.model.meter.name
        );
        self.say(&said)
    }

    /// Takes up what a good board reads in the step: its value, then whose it was.
    fn reference(&mut self, s: &StepView, typed: &str) -> Result {
        let Found::One(test) = self.desk.case.model.test(&s.id) else {
            return Err(Failure::no(
                "a remedy reads nothing; choose a test of a line",
            ));
        };
        let unit = self.desk.case.model.tests[test].unit.clone();
        let unit = unit.unwrap_or_default();
        let typed = if typed.is_empty() {
            let prompt = format!("What does a good board read here, in {unit}? (Enter: none) > ");
            match self.question(&prompt, "A value, and after it whose board it was.")? {
                Some(t) => t,
                None => return Ok(()),
            }
        } else {
            typed.to_owned()
        };
        let (reads, from) = self.desk.value_first(test, &typed);
        let from = if from.is_empty() {
            let prompt = "Whose board was it, or where was it read? (Enter: none) > ";
            match self.question(prompt, "So that a colleague can go and look.")? {
                Some(t) => t,
                None => return Ok(()),
            }
        } else {
            from.to_owned()
        };
        self.enter(Entry::Reference(Reference {
            test: s.id.clone(),
            reads: reads.to_owned(),
            from,
            meter: None,
        }))?;
        let good = self.desk.case.model.tests[test].good_reads();
        self.say(&format!(
            "Taken up. From now on {good} counts as good here."
        ))?;
        let last = self.desk.record.file.steps.len();
        let mut odd = self.desk.case.unexpected().iter();
        match odd.find(|(n, _)| n + 1 == last) {
            Some((_, why)) => {
                let why = why.clone();
                self.say(&format!("Careful: {why}."))
            }
            None => Ok(()),
        }
    }

    /// Asks for a line within a step; `None` if the user went back.
    fn question(&mut self, prompt: &str, help: &str) -> Result<Option<String>> {
        loop {
            let line = match self.ask.ask(self.terminal, prompt)? {
                Reply::Line(l) => l,
                Reply::Ended | Reply::Interrupted => return Ok(None),
            };
            match line.to_lowercase().as_str() {
                "" | "undo" | "back" => return Ok(None),
                "pause" | "quit" => {
                    self.leaving = true;
                    return Ok(None);
                }
                "?" | "help" => {
                    self.say(&format!("{help} Enter goes back, `pause` leaves."))?;
                }
                _ => return Ok(Some(line)),
            }
        }
    }

    /// All tests and remedies, to choose one from; or those that have what was
    /// typed in their words.
    fn others(&mut self, typed: &str) -> Result {
        let all = view::all_steps(&self.desk.case);
        if typed.is_empty() {
            return self.list(&all);
        }
        let word = typed.to_lowercase();
        let fits: Vec<StepView> = all
            .iter()
            .filter(|s| s.id.contains(&word) || s.text.to_lowercase().contains(&word))
            .cloned()
            .collect();
        let named = self.desk.case.model.test(typed).is_one()
            || self.desk.case.model.remedy(typed).is_one()
            || typed.parse::<usize>().is_ok();
        if named || fits.is_empty() {
            return self.choose(typed, &all);
        }
        self.list(&fits)
    }

    /// Lists steps, numbered from 1, and lets one of them be chosen.
    fn list(&mut self, some: &[StepView]) -> Result {
        let mut plain = false;
        for (n, s) in (1..).zip(some) {
            // Those that the planner did not look at come last.
            if !plain && s.outcomes.is_empty() && s.mends.is_none() {
                plain = true;
                self.say("Of little use now:")?;
            }
            let mend = if s.act == StepKind::Remedy {
                "MEND: "
            } else {
                ""
            };
            let after = match (plain, s.prepare.is_empty()) {
                (true, _) => format!("; {}", s.why),
                (false, true) => String::new(),
                (false, false) => format!("; first: {}", s.prepare.join("; ")),
            };
            self.say(&format!(
                "{n:>3} {mend}{} ({:.0} min{after})",
                s.text,
                s.minutes.max(1.0)
            ))?;
        }
        match self.question(
            "Number or name (Enter: back) > ",
            "The number of a step, or a word of it.",
        )? {
            Some(t) => self.choose(&t, some),
            None => Ok(()),
        }
    }

    fn choose(&mut self, typed: &str, all: &[StepView]) -> Result {
        if let Some(s) = typed
            .parse::<usize>()
            .ok()
            .and_then(|n| all.get(n.wrapping_sub(1)))
        {
            self.chosen = Some(s.clone());
        } else {
            let m = &self.desk.case.model;
            let act = match m.test(typed) {
                Found::One(i) => crate::plan::Act::Test(i),
                found => match m.remedy(typed) {
                    Found::One(i) => crate::plan::Act::Remedy(i),
                    _ => {
                        let names: Vec<&str> = m
                            .tests
                            .iter()
                            .map(|t| t.id.as_str())
                            .chain(m.remedies.iter().map(|r| r.id.as_str()))
                            .filter(|id| id.contains(typed))
                            .take(12)
                            .collect();
                        let e = Failure::no(format!("no single step is called `{typed}`"));
                        return Err(match found {
                            _ if !names.is_empty() => {
                                e.help(format!("perhaps: {}", names.join(", ")))
                            }
                            Found::None(Some(n)) => e.help(format!("did you mean `{n}`?")),
                            _ => e,
                        });
                    }
                },
            };
            let id = match act {
                crate::plan::Act::Test(i) => &m.tests[i].id,
                crate::plan::Act::Remedy(i) => &m.remedies[i].id,
            };
            let listed = all.iter().find(|s| s.id == *id).cloned();
            // A name may be of a step beside the list.
            let any = || {
                view::all_steps(&self.desk.case)
                    .into_iter()
                    .find(|s| s.id == *id)
            };
            self.chosen = listed.or_else(any);
        }
        if let Some(c) = &self.chosen {
            self.asked_back = None;
            let text = show::step(c, "-> ", self.terminal.width, true);
            self.terminal.line(&text)?;
        }
        Ok(())
    }

    fn done(&mut self, step: Option<&StepView>, typed: &str) -> Result {
        // Of copies of one remedy the one that the step is about.
        let meant = match self.desk.case.model.remedy(typed) {
            Found::Several(all) => step.filter(|s| all.contains(&s.id)),
            _ => None,
        };
        let did = if let Some(s) = meant {
            s.id.clone()
        } else if !typed.is_empty() {
            typed.to_owned()
        } else if let Some(s) = step.filter(|s| s.act == StepKind::Remedy) {
            s.id.clone()
        } else {
            let m = &self.desk.case.model;
            let likely = |r: usize| -> f64 {
                m.remedies[r]
                    .change
                    .clears
                    .iter()
                    .map(|(f, take)| self.desk.case.belief.faults[*f] * take)
                    .sum()
            };
            let mut order: Vec<usize> = (0..m.remedies.len()).collect();
            order.sort_by(|a, b| likelier(likely(*a), likely(*b)));
            order.truncate(9);
            let lines: Vec<String> = order
                .iter()
                .enumerate()
                .map(|(i, r)| {
                    format!(
                        "{:>3} {} ({})",
                        i + 1,
                        m.remedies[*r].name,
                        m.remedies[*r].id
                    )
                })
                .collect();
            let ids: Vec<String> = order.iter().map(|r| m.remedies[*r].id.clone()).collect();
            self.say(&lines.join("\n"))?;
            match self.question(
                "Which was done? Number or name (Enter: none) > ",
                "The number of a remedy, or its name; `others` lists more.",
            )? {
                Some(t) => t
                    .parse::<usize>()
                    .ok()
                    .and_then(|n| ids.get(n.wrapping_sub(1)).cloned())
                    .unwrap_or(t),
                None => return Ok(()),
            }
        };
        self.enter(Entry::Remedy(Did { did, note: None }))
    }

    fn suppose(&mut self, s: &StepView, typed: &str) -> Result {
        let Found::One(i) = self.desk.case.model.test(&s.id) else {
            return Err(Failure::no("suppose a result of a test, not of a remedy"));
        };
        let typed = typed.trim_start_matches("if").trim();
        let outcomes: Vec<usize> = if typed.is_empty() {
            (0..self.desk.case.model.tests[i].outcomes.len()).collect()
        } else {
            let t = &self.desk.case.model.tests[i];
            let shows = match typed.parse::<usize>() {
                Ok(n) if t.unit.is_none() && n >= 1 && n <= t.outcomes.len() => {
                    t.outcomes[n - 1].id.clone()
                }
                _ => typed.to_owned(),
            };
            let supposed = self.desk.suppose(&s.id, &shows)?;
            let text = show::supposed(&self.desk.case, &supposed.says, &supposed.then);
            self.say(&text)?;
            Vec::new()
        };
        for o in outcomes {
            let case = &self.desk.case;
            let says = &case.model.tests[i].outcomes[o].says;
            let text = show::supposed(case, says, &case.what_if(i, o));
            self.say(&text)?;
        }
        self.say("(Nothing was entered.)")
    }

    /// A line of the board: the one that the step measures, else the one read
    /// last, else a list.
    fn line(&mut self, step: Option<&StepView>, typed: &str) -> Result {
        let test = step.and_then(|s| match self.desk.case.model.test(&s.id) {
            Found::One(i) => Some(i),
            _ => None,
        });
        let width = self.terminal.width;
        let at = match typed {
            "" => line_at_hand(&self.desk.case, test),
            name => Some(line::find(&self.desk, name)?),
        };
        let text = match at {
            None => {
                let list = line::list(&self.desk, width);
                let some = !self.desk.case.model.lines.is_empty();
                format!(
                    "{list}{}",
                    if some { "\n`line NAME` draws one." } else { "" }
                )
            }
            Some(i) => {
                let view = self.desk.line(i);
                // The step at hand is on the screen already.
                let new = |s: &StepView| step.is_none_or(|at| at.id != s.id);
                let tell = view.next.as_ref().is_some_and(|n| new(&n.step));
                line::drawn(&view, width, tell)
            }
        };
        self.terminal.line(&text)
    }

    fn close(&mut self, typed: &str) -> Result {
        let state = if typed.is_empty() {
            let list: Vec<String> = ClosingState::ALL
                .iter()
                .enumerate()
                .map(|(i, (w, _))| format!("{} {}", i + 1, w.replace('-', " ")))
                .collect();
            let prompt = format!("{} (Enter: not yet) > ", list.join(", "));
            match self.question(&prompt, "How the job ends: its number or first letters.")? {
                Some(t) => t,
                None => return Ok(()),
            }
        } else {
            typed.to_owned()
        };
        let state = closing_state(&state)?;
        // Asked before the sentence, so that it is not typed for nothing.
        self.desk.may_close(state)?;
        let Some(reason) = self.question(
            "In a sentence, what was it, or why? (Enter: not yet) > ",
            "What the next one at this bench should know.",
        )?
        else {
            return Ok(());
        };
        self.desk
            .close(&mut self.store, state, &reason)
            .map_err(|e| Failure::no(e.to_string()))
    }
}

/// An entry in a few words; the check of a hazard by what it is called.
fn words(model: &Model, entry: &Entry) -> String {
    let named = |test: &str| model.check_name(test).unwrap_or(test).to_owned();
    match entry {
        Entry::Result(r) => format!("{} = {}", named(&r.test), r.shows),
        Entry::Remedy(d) => d.did.clone(),
        Entry::Note(t) => t.clone(),
        Entry::Cannot(c) => format!("cannot {}", named(&c.test)),
        Entry::Unclear(u) => format!("unclear {}", named(&u.test)),
        Entry::Meter(m) => format!("meter {m}"),
        Entry::History(id) => format!("history {id}"),
        Entry::Reference(r) => format!("reference {} = {}", r.test, r.reads),
        Entry::Sure(s) => format!("sure of entry {}", s.entry),
        Entry::Correct(c) => format!("the correction of entry {}", c.entry),
    }
}

/// The number of an entry.
fn entry_number(typed: &str) -> Result<usize> {
    let number = typed.trim().parse();
    number.map_err(|_| Failure::no(format!("`{typed}` is no number of an entry")))
}

fn need(step: Option<&StepView>) -> Result<&StepView> {
    step.ok_or_else(|| Failure::no("there is no step to speak of; choose one with `others`"))
}
