//! A job on the desk: the rules, the store and the worked-out case together.
//! Every action that the walk, the commands and later pages offer is a call
//! here; each is durable when it returns.

use std::cell::OnceCell;

use thiserror::Error;

use crate::belief::Belief;
use crate::job::line::{self, LineInPlay, LineView};
use crate::job::reading::{Asked, Typed, read};
use crate::job::trail::{Moment, Trail};
use crate::job::view::{self, StateView};
use crate::job::words;
use crate::job::{
    self, Case, CaseError, CaseFile, Closed, Closing, ClosingState, Entered, Entry, Settings, Shown,
};
use crate::line::Distrust;
use crate::model::{Found, behind};
use crate::plan::Effort;
use crate::rulebase::{MeterProfile, Rulebase};
use crate::store::{Logged, Record, Store, StoreError};

/// How many next steps are shown.
pub const NEXT: usize = 3;

/// Why an action was refused; nothing was changed.
#[derive(Debug, Error)]
pub enum DeskError {
    /// The entry does not fit the rules.
    #[error(transparent)]
    Case(#[from] CaseError),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Nothing to take back.
    #[error("there is nothing to take back")]
    NothingEntered,
    /// Nothing to confirm.
    #[error("no result was entered that could be measured again")]
    NoResult,
    /// The job is closed.
    #[error("job {0} is closed; open it again first (`halfsplit job reopen {0}`)")]
    IsClosed(i64),
    /// It is open.
    #[error("job {0} is open already")]
    IsOpen(i64),
    /// Not proved yet.
    #[error("not proved yet: {0}")]
    NotProved(String),
    /// A reason is missing.
    #[error("a reason is needed: a sentence that a colleague will understand in a month")]
    NoReason,
    /// More than a job takes.
    #[error("{0}")]
    TooMuch(String),
    /// An entry does not fit the rules of today.
    #[error("entry {entry} does not fit the rules: {why}")]
    Entry {
        /// From 1.
        entry: usize,
        /// Why.
        why: CaseError,
    },
}

/// What a result would come to.
#[derive(Clone, Debug)]
pub struct Supposed {
    /// The result in words.
    pub says: String,
    /// The outcome; `None` if it would not be counted.
    pub outcome: Option<String>,
    /// What would be believed.
    pub then: Belief,
}

/// A job that is open on the desk.
#[derive(Debug)]
pub struct Desk<'r> {
    rules: &'r Rulebase,
    settings: Settings,
    /// The job as stored.
    pub record: Record,
    /// The job worked out.
    pub case: Case,
    /// What is shown of it now.
    view: OnceCell<StateView>,
    /// What others entered meanwhile and nobody was told of yet.
    news: Vec<Logged>,
}

/// How often an entry that fits anywhere is tried again after others.
const TRIES: usize = 50;

/// Whether an entry is as true after anything else that was entered meanwhile.
fn fits_anywhere(entry: &Entry) -> bool {
    matches!(entry, Entry::Note(_) | Entry::Reference(_))
}

impl<'r> Desk<'r> {
    /// Opens a new job. Entries that `file` already has (an import) are kept.
    ///
    /// # Errors
    /// If the file does not fit the rules or the store fails.
    pub fn open(
        rules: &'r Rulebase,
        store: &mut Store,
        settings: Settings,
        file: &CaseFile,
    ) -> Result<Self, DeskError> {
        if let Some(why) = file.too_much() {
            return Err(DeskError::TooMuch(why));
        }
        let worked_out = |before: Option<&Case>, n: usize, settings: Settings| {
            let part = file.up_to(n);
            let case = Case::after(before, rules, &part, settings).map_err(|why| match n {
                0 => DeskError::Case(why),
                entry => DeskError::Entry { entry, why },
            })?;
            let moment = Moment::from(&view::state(&case, &part.steps, NEXT));
            Ok::<_, DeskError>((case, (moment, rules.fingerprint.clone())))
        };
        // Of a job that is brought along, every step is advised in retrospect.
        let quick = Settings {
            effort: Effort::FIRST,
            ..settings
        };
        let mut shown = Vec::new();
        let mut before = None;
        for n in 0..file.steps.len() {
            let (case, now) = worked_out(before.as_ref(), n, quick)?;
            shown.push(now);
            before = Some(case);
        }
        let (case, now) = worked_out(before.as_ref(), file.steps.len(), settings)?;
        shown.push(now);
        let id = store.create(file, &shown, &rules.fingerprint)?;
        Ok(Desk {
            rules,
            settings,
            record: store.load(id)?,
            case,
            view: OnceCell::new(),
            news: Vec::new(),
        })
    }

    /// Takes a job up again.
    ///
    /// # Errors
    /// If there is no such job, or the rules no longer know its kind of device.
    pub fn resume(
        rules: &'r Rulebase,
        store: &Store,
        settings: Settings,
        id: i64,
    ) -> Result<Self, DeskError> {
        let record = store.load(id)?;
        let case = Case::of_today(rules, &record.file, settings)?;
        Ok(Desk {
            rules,
            settings,
            record,
            case,
            view: OnceCell::new(),
            news: Vec::new(),
        })
    }

    /// Takes up what another process has entered since this job was read.
    ///
    /// # Errors
    /// If the job cannot be read.
    pub fn catch_up(&mut self, store: &Store) -> Result<(), DeskError> {
        if store.newest(self.id())? == self.record.last {
            return Ok(());
        }
        let came = store.read_on(&mut self.record)?;
        self.take_up(came)
    }

    /// Works the job out with what others entered.
    fn take_up(&mut self, came: Vec<Logged>) -> Result<(), DeskError> {
        self.news.extend(came);
        self.case = self
            .case
            .further(self.rules, &self.record.file, self.settings)?;
        self.view = OnceCell::new();
        Ok(())
    }

    /// What others entered meanwhile, each told once.
    pub fn news(&mut self) -> Vec<Logged> {
        std::mem::take(&mut self.news)
    }

    /// Number of the job.
    pub fn id(&self) -> i64 {
        self.record.id
    }

    /// Meters that may be on the bench.
    pub fn meters(&self) -> &'r [MeterProfile] {
        &self.rules.meters
    }

    /// What is shown now.
    pub fn state(&self) -> &StateView {
        let state = || view::state(&self.case, &self.record.file.steps, NEXT);
        self.view.get_or_init(state)
    }

    /// What to tell of the last entry, if it is a reading that was typed as a word or
    /// without its unit: what it is taken for.
    pub fn note_on_last(&self) -> Option<&str> {
        let last = self.record.file.steps.len().checked_sub(1)?;
        self.case.typed(last)?.note.as_deref()
    }

    /// A value of a test, with its unit if that stands apart, and what follows it.
    pub fn value_first<'t>(&self, test: usize, typed: &'t str) -> (&'t str, &'t str) {
        let asked = Asked::by(&self.case.model.tests[test]);
        let ends = typed.match_indices(' ').map(|(at, _)| at);
        let ends: Vec<usize> = ends.chain([typed.len()]).take(2).collect();
        let is_value = |end: &&usize| read(&typed[..**end], &asked) != Typed::NoNumber;
        let end = ends.iter().rev().find(is_value).copied().unwrap_or(ends[0]);
        (&typed[..end], typed[end..].trim())
    }

    /// Why a reading means nothing if it was taken as this job knows the device
    /// to stand: to be asked back before it is entered, unless it says that it
    /// was taken so. Empty for all else, and for what cannot be entered anyway.
    pub fn asks_back(&self, entry: &Entry) -> Vec<Distrust> {
        let Entry::Result(r) = entry else {
            return Vec::new();
        };
        let Found::One(test) = self.case.model.test(&r.test) else {
            return Vec::new();
        };
        let fits = job::outcome(&self.case.model.tests[test], &r.shows).is_ok();
        if r.as_it_stands || !fits {
            return Vec::new();
        }
        let mut all = self.case.as_it_stands(test);
        all.retain(|d| d.invalid);
        all
    }

    /// Why a value is hard to believe: to be asked about once before it is
    /// entered, and taken if it stays.
    pub fn questions(&self, entry: &Entry) -> Option<String> {
        let Entry::Result(r) = entry else { return None };
        let Found::One(test) = self.case.model.test(&r.test) else {
            return None;
        };
        job::questioned(&self.case.model, test, &r.shows)
    }

    /// What would be believed after a result, without entering it: just as if it
    /// were entered.
    ///
    /// # Errors
    /// If it does not fit.
    pub fn suppose(&self, test: &str, shows: &str) -> Result<Supposed, DeskError> {
        let mut file = self.record.file.clone();
        file.steps.push(Entry::Result(Shown {
            test: test.to_owned(),
            shows: shows.to_owned(),
            ..Shown::default()
        }));
        let last = file.steps.len() - 1;
        let mut case = self.case.further(self.rules, &file, self.settings)?;
        if let Some(why) = case.refused(last) {
            return Err(why.into());
        }
        let says = match case.void().iter().find(|v| v.0 == last) {
            Some((_, why)) => format!("{}, not counted: {why}", shows.trim()),
            None => case.says(last).unwrap_or_default().to_owned(),
        };
        let outcome = match case.entered[last] {
            Entered::Result { .. } => case.outcome(last).map(|o| o.id.clone()),
            _ => None,
        };
        Ok(Supposed {
            says,
            outcome,
            then: case.belief,
        })
    }

    /// Number of the last result's entry, from 1.
    ///
    /// # Errors
    /// If there is none.
    pub fn last_result(&self) -> Result<usize, DeskError> {
        let last = self.case.last_result().ok_or(DeskError::NoResult)?;
        Ok(last + 1)
    }

    /// Enters something. A remark or a reference goes after whatever others have
    /// entered meanwhile; all else was meant for the job as it was shown.
    ///
    /// # Errors
    /// If it does not fit, the job is closed or has changed; nothing is stored
    /// then.
    pub fn enter(&mut self, store: &mut Store, entry: Entry) -> Result<(), DeskError> {
        for _ in 0..TRIES {
            match self.enter_next(store, &entry) {
                Err(DeskError::Store(StoreError::Changed(_))) if fits_anywhere(&entry) => {
                    self.catch_up(store)?;
                }
                done => return done,
            }
        }
        Err(StoreError::Changed(self.id()).into())
    }

    fn enter_next(&mut self, store: &mut Store, entry: &Entry) -> Result<(), DeskError> {
        if self.record.file.closed.is_some() {
            return Err(DeskError::IsClosed(self.id()));
        }
        let mut file = self.record.file.clone();
        file.steps.push(entry.clone());
        if let Some(why) = file.entries_too_much() {
            return Err(DeskError::TooMuch(why));
        }
        let mut case = self.case.further(self.rules, &file, self.settings)?;
        if let Some(why) = case.refused(file.steps.len() - 1) {
            return Err(why.into());
        }
        // A correction has to fit where the corrected entry stands.
        if let Entry::Correct(c) = entry
            && let Some(why) = case.refused(c.entry.wrapping_sub(1))
        {
            return Err(why.into());
        }
        let view = view::state(&case, &file.steps, NEXT);
        let event = Logged::Entered(entry.clone());
        self.append(store, &event, Some((case, view)))
    }

    /// Takes the last entry back.
    ///
    /// # Errors
    /// If there is none, or the job is closed.
    pub fn take_back(&mut self, store: &mut Store) -> Result<Entry, DeskError> {
        if self.record.file.closed.is_some() {
            return Err(DeskError::IsClosed(self.id()));
        }
        let mut file = self.record.file.clone();
        let Some(last) = file.steps.pop() else {
            return Err(DeskError::NothingEntered);
        };
        let case = self.case.further(self.rules, &file, self.settings)?;
        let view = view::state(&case, &file.steps, NEXT);
        self.append(store, &Logged::TakenBack, Some((case, view)))?;
        Ok(last)
    }

    /// Closes the job. As mended only after the retests.
    ///
    /// # Errors
    /// If the reason is missing, or it is not proved.
    pub fn close(
        &mut self,
        store: &mut Store,
        state: ClosingState,
        reason: &str,
    ) -> Result<(), DeskError> {
        self.may_close(state)?;
        if reason.trim().is_empty() {
            return Err(DeskError::NoReason);
        }
        let closing = Closing {
            state,
            reason: reason.trim().to_owned(),
        };
        if let Some(why) = closing.too_much() {
            return Err(DeskError::TooMuch(why));
        }
        self.append(store, &Logged::Closed(closing), None)
    }

    /// Whether the job can be closed in this way as it stands.
    ///
    /// # Errors
    /// If it is closed already, or not proved.
    pub fn may_close(&self, state: ClosingState) -> Result<(), DeskError> {
        if self.record.file.closed.is_some() {
            return Err(DeskError::IsClosed(self.id()));
        }
        if state == ClosingState::Mended {
            let words = |t: usize| {
                let t = &self.case.model.tests[t];
                format!("{}{}", t.ask, behind(&t.id))
            };
            match self.case.may_close_as_mended() {
                Closed::Ready => {}
                Closed::NothingDone => {
                    return Err(DeskError::NotProved(
                        "no remedy was done; close it as no-fault-found, or enter what was done"
                            .to_owned(),
                    ));
                }
                Closed::Retests(due) => {
                    let due: Vec<String> = due.into_iter().map(words).collect();
                    return Err(DeskError::NotProved(format!(
                        "after the last remedy these have to pass: {}",
                        due.join("; ")
                    )));
                }
                Closed::StillFails(t) => {
                    return Err(DeskError::NotProved(format!(
                        "the last retest failed: {}",
                        words(t)
                    )));
                }
            }
        }
        Ok(())
    }

    /// Opens a closed job again.
    ///
    /// # Errors
    /// If it is open.
    pub fn reopen(&mut self, store: &mut Store) -> Result<(), DeskError> {
        if self.record.file.closed.is_none() {
            return Err(DeskError::IsOpen(self.id()));
        }
        self.append(store, &Logged::Reopened, None)
    }

    /// Stores an event, and what the job is worked out to with it if it moves
    /// anything.
    fn append(
        &mut self,
        store: &mut Store,
        event: &Logged,
        then: Option<(Case, StateView)>,
    ) -> Result<(), DeskError> {
        let shown = match (&then, event) {
            (_, Logged::Closed(_)) => None,
            (Some((_, view)), _) => Some(Moment::from(view)),
            (None, _) => Some(Moment::from(self.state())),
        };
        let (id, last) = (self.id(), self.record.last);
        store.append(id, last, event, shown.as_ref(), &self.rules.fingerprint)?;
        if let Some((case, view)) = then {
            self.case = case;
            self.view = OnceCell::from(view);
        }
        let mut came = store.read_on(&mut self.record)?;
        // The first is this one.
        came.drain(..came.len().min(1));
        match came.is_empty() {
            true => Ok(()),
            // Somebody came right after.
            false => self.take_up(came),
        }
    }

    /// Whether the rules have changed since the last thing shown, and what
    /// that moves: one line, or nothing.
    pub fn moved(&self) -> Option<String> {
        let (shown, rules) = match self.record.shown.last() {
            Some((_, m, r)) => (m, r),
            None => (&self.record.intake, &self.record.intake_rules),
        };
        if *rules == self.rules.fingerprint {
            return None;
        }
        let now = self.state();
        Some(moved_words(shown, &Moment::from(now)))
    }

    /// The lines of the board in play, the likeliest to be at fault first.
    pub fn lines(&self) -> Vec<LineInPlay> {
        line::lines_in_play(&self.case)
    }

    /// A line of the board, by its place in the model. A closed job has no next
    /// probe.
    pub fn line(&self, line: usize) -> LineView {
        let file = &self.record.file;
        let view = line::line_view(&self.case, &file.steps, line);
        let next = view.next.clone().filter(|_| file.closed.is_none());
        LineView { next, ..view }
    }

    /// The lines that were read, as they were known before the last remedy on
    /// each of them.
    fn lines_read(&self) -> Vec<LineView> {
        let steps = &self.record.file.steps;
        let mut then: Option<(usize, Case)> = None;
        let mut out = Vec::new();
        for at in 0..self.case.model.lines.len() {
            let Some(until) = line::read_until(&self.case, at) else {
                continue;
            };
            if until == steps.len() {
                out.push(self.line(at));
                continue;
            }
            if then.as_ref().is_none_or(|t| t.0 != until) {
                let part = self.record.file.up_to(until);
                // What could not all be then is told by the trail itself.
                let Ok(case) = self.case.further(self.rules, &part, self.settings) else {
                    continue;
                };
                then = Some((until, case));
            }
            let id = &self.case.model.lines[at].id;
            if let Some((_, case)) = &then
                && let Some(line) = case.model.lines.iter().position(|l| l.id == *id)
            {
                let view = line::line_view(case, &steps[..until], line);
                out.push(LineView { next: None, ..view });
            }
        }
        out
    }

    /// The trail.
    pub fn trail(&self) -> Trail {
        let moments = self.record.shown.iter().map(|s| s.1.clone()).collect();
        let mut t = Trail::new(
            &self.record.file,
            &self.case,
            self.record.intake.clone(),
            moments,
        );
        t.job = Some(self.id());
        t.opened = Some(self.record.opened.clone());
        t.closed = self.record.closed_at.clone();
        t.lines = self.lines_read();
        t.rules = Some(
            self.record
                .shown
                .last()
                .map_or(&self.record.intake_rules, |s| &s.2)
                .clone(),
        );
        for (n, step) in t.steps.iter_mut().enumerate() {
            step.at = self.record.shown.get(n).map(|s| s.0.clone());
        }
        if let Some(moved) = self.moved()
            && let Some(last) = t.steps.last_mut()
        {
            last.moved = Some(moved);
        }
        t
    }
}

fn moved_words(then: &Moment, now: &Moment) -> String {
    let name = |m: &Moment| {
        m.suspects.first().map_or_else(String::new, |s| {
            format!(
                "{} ({})",
                s.name,
                words::percent_within(s.posterior, m.left_out)
            )
        })
    };
    let step = |m: &Moment| {
        m.advised
            .as_ref()
            .map_or_else(String::new, |a| a.text.clone())
    };
    let mut out = "The rules have changed since.".to_owned();
    let first = |m: &Moment| m.suspects.first().map(|s| s.fault.clone());
    if first(then) == first(now) {
        out += &format!(" Still first: {}; then {}.", name(now), name(then));
    } else {
        out += &format!(" First was {}, now {}.", name(then), name(now));
    }
    if step(then) != step(now) && !step(now).is_empty() {
        out += &format!(" Advised was “{}”, now “{}”.", step(then), step(now));
    }
    out
}
