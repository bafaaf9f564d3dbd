//! Jobs on a log in memory: what is done to them, and two desks at one of them.

use std::sync::{Arc, Mutex};

use super::{Action, Desk, DeskError};
use crate::job::trail::Moment;
use crate::job::{CaseFile, Closing, ClosingState, Entry, Settings, Shown};
use crate::model::Unit;
use crate::rulebase::{Rulebase, Rules};
use crate::store::{Event, Log, Logged, StoreError};

/// The events of each job, shared by all desks that work on it.
#[derive(Clone, Debug, Default)]
struct InMemory(Arc<Mutex<Vec<Vec<Event>>>>);

impl InMemory {
    fn with<T>(&self, job: i64, f: impl FnOnce(&mut Vec<Event>) -> T) -> Result<T, StoreError> {
        let mut jobs = self.0.lock().unwrap();
        let events = jobs.get_mut(job as usize).ok_or(StoreError::NoJob(job))?;
        Ok(f(events))
    }
}

fn event(seq: usize, what: Logged, shown: Option<&Moment>, rules: &str) -> Event {
    Event {
        seq: seq as i64,
        at: format!("minute {seq}"),
        what,
        shown: shown.cloned().unwrap_or_default(),
        rules: rules.to_owned(),
    }
}

impl Log for InMemory {
    fn create(
        &mut self,
        file: &CaseFile,
        shown: &[Moment],
        rules: &str,
    ) -> Result<i64, StoreError> {
        let begins = Logged::beginning(file).into_iter().enumerate();
        let events = begins.map(|(n, what)| event(n, what, shown.get(n), rules));
        let mut jobs = self.0.lock().unwrap();
        jobs.push(events.collect());
        Ok(jobs.len() as i64 - 1)
    }

    fn append(
        &mut self,
        job: i64,
        last: i64,
        what: &Logged,
        shown: Option<&Moment>,
        rules: &str,
    ) -> Result<i64, StoreError> {
        self.with(job, |events| {
            if events.len() as i64 != last + 1 {
                return Err(StoreError::Changed(job));
            }
            events.push(event(events.len(), what.clone(), shown, rules));
            Ok(last + 1)
        })?
    }

    fn since(&self, job: i64, from: i64) -> Result<Vec<Event>, StoreError> {
        self.with(job, |events| events[from as usize..].to_vec())
    }

    fn newest(&self, job: i64) -> Result<i64, StoreError> {
        self.with(job, |events| events.len() as i64 - 1)
    }
}

fn rules() -> Arc<Rulebase> {
    let loaded = Rules {
        paths: vec!["tests/rulebases/walk".into()],
        only_these: true,
    }
    .load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    Arc::new(loaded.rulebase)
}

/// A handheld without sound, opened on this log.
fn opened(log: &InMemory, rules: &Arc<Rulebase>) -> Desk {
    let file = CaseFile {
        device: Unit {
            kind: "handheld".to_owned(),
            ..Unit::default()
        },
        complaint: "no sound".to_owned(),
        ..CaseFile::default()
    };
    let log = Box::new(log.clone());
    Desk::open(rules.clone(), log, Settings::default(), &file).unwrap()
}

fn again(desk: &Desk, log: &InMemory, rules: &Arc<Rulebase>) -> Desk {
    let log = Box::new(log.clone());
    Desk::resume(rules.clone(), log, Settings::default(), desk.id()).unwrap()
}

fn result(test: &str, shows: &str) -> Action {
    Action::Enter(Entry::Result(Shown {
        test: test.to_owned(),
        shows: shows.to_owned(),
        ..Shown::default()
    }))
}

fn note(text: &str) -> Action {
    Action::Enter(Entry::Note(text.to_owned()))
}

fn close(state: ClosingState, reason: &str) -> Action {
    Action::Close(Closing {
        state,
        reason: reason.to_owned(),
    })
}

fn changed<T: std::fmt::Debug>(outcome: &Result<T, DeskError>) -> bool {
    matches!(outcome, Err(DeskError::Store(StoreError::Changed(_))))
}

#[test]
fn a_desk_can_move_to_another_thread() {
    fn moves<T: Send>() {}
    moves::<Desk>();
}

#[test]
fn a_job_is_opened_entered_taken_back_closed_and_reopened() {
    let (log, rules) = (InMemory::default(), rules());
    let mut desk = opened(&log, &rules);
    let at_first = desk.case.belief.faults.clone();
    desk.act(result("buzzer/beeps", "no")).unwrap();
    assert_ne!(desk.case.belief.faults, at_first);
    assert_eq!(desk.record.file.steps.len(), 1);

    let done = desk.act(Action::TakeBack).unwrap();
    assert!(matches!(done.taken_back, Some(Entry::Result(_))));
    assert_eq!(desk.case.belief.faults, at_first);
    let refused = desk.act(Action::TakeBack);
    assert!(matches!(refused, Err(DeskError::NothingEntered)));

    let refused = desk.act(close(ClosingState::Mended, "it beeps"));
    assert!(matches!(refused, Err(DeskError::NotProved(_))));
    let refused = desk.act(close(ClosingState::NotWorthIt, "  "));
    assert!(matches!(refused, Err(DeskError::NoReason)));
    desk.act(close(ClosingState::NotWorthIt, " too old "))
        .unwrap();
    let closed = desk.record.file.closed.as_ref().unwrap();
    assert_eq!(closed.reason, "too old");
    let refused = desk.act(note("late"));
    assert!(matches!(refused, Err(DeskError::IsClosed(_))));

    desk.act(Action::Reopen).unwrap();
    assert!(matches!(
        desk.act(Action::Reopen),
        Err(DeskError::IsOpen(_))
    ));
    desk.act(note("open again")).unwrap();
    // Opened, entered, taken back, closed, reopened, a remark; nothing refused.
    assert_eq!(desk.record.last, 5);
    let fresh = again(&desk, &log, &rules);
    assert_eq!(fresh.record.file.steps, desk.record.file.steps);
    assert_eq!(fresh.case.belief.faults, desk.case.belief.faults);
    assert!(desk.news().is_empty());
}

#[test]
fn a_remark_fits_after_what_another_wrote_and_a_result_does_not() {
    let (log, rules) = (InMemory::default(), rules());
    let mut one = opened(&log, &rules);
    let mut two = again(&one, &log, &rules);

    one.act(result("buzzer/beeps", "no")).unwrap();
    two.act(note("seen from here")).unwrap();
    assert!(matches!(
        two.news()[..],
        [Logged::Entered(Entry::Result(_))]
    ));

    let late = result("volume-shown", "up");
    assert!(changed(&one.act(late.clone())));
    assert!(matches!(one.news()[..], [Logged::Entered(Entry::Note(_))]));
    assert!(one.news().is_empty(), "told once");

    // Now it is meant for the job as it is.
    one.act(late).unwrap();
    two.catch_up().unwrap();
    assert!(matches!(
        two.news()[..],
        [Logged::Entered(Entry::Result(_))]
    ));
    assert_eq!(one.record.file.steps, two.record.file.steps);
    assert_eq!(one.case.belief.faults, two.case.belief.faults);
}

#[test]
fn what_another_did_to_the_job_counts_for_every_action() {
    let (log, rules) = (InMemory::default(), rules());
    let mut one = opened(&log, &rules);
    let mut two = again(&one, &log, &rules);
    one.act(close(ClosingState::NotWorthIt, "too old")).unwrap();
    // A remark does not go into a closed job, though it fits anywhere.
    assert!(matches!(two.act(note("late")), Err(DeskError::IsClosed(_))));
    assert!(matches!(two.news()[..], [Logged::Closed(_)]));
    one.act(Action::Reopen).unwrap();
    assert!(changed(&two.act(Action::Reopen)));
    assert!(matches!(two.act(Action::Reopen), Err(DeskError::IsOpen(_))));
    two.act(note("from here")).unwrap();
    one.act(note("from there")).unwrap();
    assert!(changed(&two.act(Action::TakeBack)));
    let done = two.act(Action::TakeBack).unwrap();
    assert_eq!(done.taken_back, Some(Entry::Note("from there".to_owned())));
}
