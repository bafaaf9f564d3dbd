//! Jobs on a log in memory: what is done to them, and two desks at one of them.

use std::path::Path;
use std::sync::{Arc, Mutex};

use super::{Action, Desk, DeskError};
use crate::job::trail::Moment;
use crate::job::{CaseFile, Closing, ClosingState, Entry, Settings, Shown};
use crate::model::Unit;
use crate::rulebase::{Rulebase, Rules};
use crate::store::{Event, Log, Logged, StoreError, UnderRules};

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

fn event(seq: usize, what: Logged, shown: Option<&Moment>, rules: &UnderRules) -> Event {
    Event {
        seq: seq as i64,
        at: format!("minute {seq}"),
        what,
        shown: shown.cloned().unwrap_or_default(),
        rules: rules.clone(),
    }
}

impl Log for InMemory {
    fn create(
        &mut self,
        file: &CaseFile,
        shown: &[Moment],
        rules: &UnderRules,
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
        rules: &UnderRules,
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
    loaded(Path::new("tests/rulebases/walk"))
}

fn loaded(folder: &Path) -> Arc<Rulebase> {
    let loaded = Rules {
        paths: vec![folder.to_owned()],
        only_these: true,
    }
    .load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    Arc::new(loaded.rulebase)
}

/// The same rules in a folder of their own, and beside them those of a tablet,
/// which has another pack.
fn with_a_tablet() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir("tests/rulebases/walk").unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
    }
    let pack = std::fs::read_to_string(folder.path().join("buzzer.yaml")).unwrap();
    let bell = pack.replacen("pack: buzzer", "pack: bell", 1);
    let tablet = "device: slate\nname: Slate\nkind: tablet\ncarries: {bell: [bell]}\n";
    std::fs::write(folder.path().join("bell.yaml"), bell).unwrap();
    std::fs::write(folder.path().join("slate.yaml"), tablet).unwrap();
    folder
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

#[test]
fn an_edit_of_a_rule_file_marks_the_jobs_that_it_touches_alone() {
    let folder = with_a_tablet();
    let log = InMemory::default();
    let before = loaded(folder.path());
    let mut desk = opened(&log, &before);
    desk.act(result("buzzer/beeps", "no")).unwrap();
    let edited = |file: &str| {
        let path = folder.path().join(file);
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, format!("{text}\n# Looked at again.\n")).unwrap();
        let rules = loaded(folder.path());
        std::fs::write(&path, text).unwrap();
        assert_ne!(rules.fingerprint, before.fingerprint);
        rules
    };
    for file in ["bell.yaml", "slate.yaml"] {
        let today = again(&desk, &log, &edited(file));
        assert_eq!(today.moved(), None, "{file}");
        // What it was shown under is told as before.
        assert_eq!(today.trail().rules.as_ref(), Some(&before.fingerprint));
    }
    for file in ["buzzer.yaml", "handheld.yaml", "bench.yaml"] {
        let today = again(&desk, &log, &edited(file));
        assert!(today.moved().is_some(), "{file}");
    }

    // A job of before has the fingerprint over all files alone.
    for event in log.0.lock().unwrap().iter_mut().flatten() {
        event.rules.own = None;
    }
    assert_eq!(again(&desk, &log, &before).moved(), None);
    assert!(again(&desk, &log, &edited("bell.yaml")).moved().is_some());
}
