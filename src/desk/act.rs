//! What is done to a job: the one way in which it is changed, whoever asks.
//!
//! What a second bench wrote meanwhile is merged here. A remark or a reference is
//! as true after it and goes behind it; all else was meant for the job as it was
//! shown, so it is refused, and the job has the news then.

use super::{Desk, DeskError, NEXT};
use crate::job::trail::Moment;
use crate::job::view::{self, StateView};
use crate::job::{Case, Closed, Closing, ClosingState, Entry};
use crate::model::behind;
use crate::plan::TestId;
use crate::store::{Logged, StoreError};

/// Something to be done to a job.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Enter something.
    Enter(Entry),
    /// Take the last entry back.
    TakeBack,
    /// Close the job; as mended only after the retests.
    Close(Closing),
    /// Open a closed job again.
    Reopen,
}

/// What came of an action.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Done {
    /// What a reading is taken for that was typed as a word or without its unit.
    pub taken_for: Option<String>,
    /// The entry that was taken back.
    pub taken_back: Option<Entry>,
}

/// How often an entry that fits anywhere is tried again after others.
const TRIES: usize = 50;

impl Action {
    /// Whether it is as true after anything else that was entered meanwhile.
    fn fits_anywhere(&self) -> bool {
        matches!(self, Action::Enter(Entry::Note(_) | Entry::Reference(_)))
    }
}

impl Desk {
    /// Does something to the job; it is durable then.
    ///
    /// # Errors
    /// If it does not fit the rules or the state of the job, if the job has gone on
    /// meanwhile ([`StoreError::Changed`]), or if the store fails. Nothing is stored
    /// then.
    pub fn act(&mut self, action: Action) -> Result<Done, DeskError> {
        for _ in 0..TRIES {
            match self.try_to(&action) {
                Err(DeskError::Store(StoreError::Changed(_))) => {
                    let read = self.catch_up();
                    if !action.fits_anywhere() {
                        break;
                    }
                    read?;
                }
                done => return done,
            }
        }
        Err(StoreError::Changed(self.id()).into())
    }

    /// The same as the job is known here.
    fn try_to(&mut self, action: &Action) -> Result<Done, DeskError> {
        match action {
            Action::Enter(entry) => self.enter(entry),
            Action::TakeBack => self.take_back(),
            Action::Close(closing) => self.close(closing),
            Action::Reopen => self.reopen(),
        }
    }

    fn enter(&mut self, entry: &Entry) -> Result<Done, DeskError> {
        self.is_open()?;
        let mut file = self.record.file.clone();
        file.steps.push(entry.clone());
        if let Some(why) = file.entries_too_much() {
            return Err(DeskError::TooMuch(why));
        }
        let mut case = self.case.further(&self.rules, &file, self.settings)?;
        if let Some(why) = case.refused(file.steps.len() - 1) {
            return Err(why.into());
        }
        // A correction has to fit where the corrected entry stands.
        if let Entry::Correct(c) = entry
            && let Some(why) = case.refused(c.entry.wrapping_sub(1))
        {
            return Err(why.into());
        }
        let typed = case.typed(file.steps.len() - 1);
        let taken_for = typed.and_then(|t| t.note.clone());
        let view = view::state(&case, &file.steps, NEXT);
        self.append(&Logged::Entered(entry.clone()), Some((case, view)))?;
        Ok(Done {
            taken_for,
            ..Done::default()
        })
    }

    fn take_back(&mut self) -> Result<Done, DeskError> {
        self.is_open()?;
        let mut file = self.record.file.clone();
        let Some(last) = file.steps.pop() else {
            return Err(DeskError::NothingEntered);
        };
        let case = self.case.further(&self.rules, &file, self.settings)?;
        let view = view::state(&case, &file.steps, NEXT);
        self.append(&Logged::TakenBack, Some((case, view)))?;
        Ok(Done {
            taken_back: Some(last),
            ..Done::default()
        })
    }

    fn close(&mut self, closing: &Closing) -> Result<Done, DeskError> {
        self.may_close(closing.state)?;
        let reason = closing.reason.trim();
        if reason.is_empty() {
            return Err(DeskError::NoReason);
        }
        let closing = Closing {
            reason: reason.to_owned(),
            ..closing.clone()
        };
        if let Some(why) = closing.too_much() {
            return Err(DeskError::TooMuch(why));
        }
        self.append(&Logged::Closed(closing), None)?;
        Ok(Done::default())
    }

    fn reopen(&mut self) -> Result<Done, DeskError> {
        if self.record.file.closed.is_none() {
            return Err(DeskError::IsOpen(self.id()));
        }
        self.append(&Logged::Reopened, None)?;
        Ok(Done::default())
    }

    fn is_open(&self) -> Result<(), DeskError> {
        match self.record.file.closed {
            Some(_) => Err(DeskError::IsClosed(self.id())),
            None => Ok(()),
        }
    }

    /// Whether the job can be closed in this way as it stands.
    ///
    /// # Errors
    /// If it is closed already, or not proved.
    pub fn may_close(&self, state: ClosingState) -> Result<(), DeskError> {
        self.is_open()?;
        if state == ClosingState::Mended {
            let words = |t: TestId| {
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

    /// Stores an event, and what the job is worked out to with it if it moves
    /// anything.
    fn append(&mut self, event: &Logged, then: Option<(Case, StateView)>) -> Result<(), DeskError> {
        let shown = match (&then, event) {
            (_, Logged::Closed(_)) => None,
            (Some((_, view)), _) => Some(Moment::from(view)),
            (None, _) => Some(Moment::from(self.state())),
        };
        let (id, last) = (self.id(), self.record.last);
        self.log
            .append(id, last, event, shown.as_ref(), &self.under)?;
        let mut came = self.log.since(id, last + 1)?.into_iter();
        if let Some((case, view)) = then {
            self.case = case;
            self.view = view.into();
        }
        if let Some(own) = came.next() {
            self.record.add(own);
        }
        if came.next().is_some() {
            // Somebody came right after. This event is stored whatever became of
            // theirs: what cannot be read now is told at the next look.
            let _ = self.catch_up();
        }
        Ok(())
    }
}
