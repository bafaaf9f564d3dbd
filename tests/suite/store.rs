//! The store: what it keeps, what it refuses, and that nothing confirmed is
//! lost when a process is killed.

use std::path::Path;
use std::time::{Duration, Instant};

use crate::common::{Bench, Talk};
use halfsplit::job::trail::Moment;
use halfsplit::job::{CaseFile, Closing, ClosingState, Entry};
use halfsplit::model::Unit;
use halfsplit::store::{Log, Logged, Store, StoreError};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rusqlite::Connection;

fn case(model: &str, serial: &str, complaint: &str) -> CaseFile {
    CaseFile {
        case: format!("{model}: {complaint}"),
        device: Unit {
            kind: "handheld".into(),
            model: Some(model.into()),
            serial: Some(serial.into()),
            ..Unit::default()
        },
        complaint: complaint.into(),
        ..CaseFile::default()
    }
}

fn create(s: &mut Store, file: &CaseFile) -> i64 {
    s.create(file, &[Moment::default()], &"rules".into())
        .unwrap()
}

fn note(text: &str) -> Logged {
    Logged::Entered(Entry::Note(text.into()))
}

fn notes(s: &Store, job: i64) -> Vec<String> {
    s.load(job)
        .unwrap()
        .file
        .steps
        .into_iter()
        .map(|e| match e {
            Entry::Note(t) => t,
            other => format!("{other:?}"),
        })
        .collect()
}

/// The file is sound and no event of any job is missing.
fn sound(path: &Path) {
    let db = Connection::open(path).unwrap();
    let check: String = db
        .query_row("PRAGMA integrity_check", [], |r| r.get(0))
        .unwrap();
    assert_eq!(check, "ok");
    let gaps: i64 = db
        .query_row(
            "SELECT count(*) FROM (SELECT job FROM event GROUP BY job
             HAVING min(seq) <> 0 OR max(seq) <> count(*) - 1)",
            [],
            |r| r.get(0),
        )
        .unwrap();
    assert_eq!(gaps, 0);
    let empty: i64 = db
        .query_row(
            "SELECT count(*) FROM job WHERE id NOT IN (SELECT job FROM event)",
            [],
            |r| r.get(0),
        )
        .unwrap();
    assert_eq!(empty, 0, "a job without its first event");
}

#[test]
fn a_job_is_there_after_the_store_was_closed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir
        .path()
        .join("a folder that is not there yet/jobs.sqlite");
    let file = case("Pip 3", "SN-7", "no sound");
    let id = {
        let mut s = Store::open(&path).unwrap();
        let id = create(&mut s, &file);
        assert_eq!(
            s.append(id, 0, &note("one"), None, &"rules".into())
                .unwrap(),
            1
        );
        assert_eq!(
            s.append(id, 1, &note("two"), None, &"rules".into())
                .unwrap(),
            2
        );
        assert_eq!(
            s.append(id, 2, &Logged::TakenBack, None, &"rules".into())
                .unwrap(),
            3
        );
        id
    };
    let s = Store::open(&path).unwrap();
    let r = s.load(id).unwrap();
    assert_eq!((r.id, r.last), (id, 3));
    assert_eq!(r.file.device, file.device);
    assert_eq!(notes(&s, id), ["one"]);
    assert_eq!(r.shown.len(), 1);
    assert!(matches!(s.load(id + 1), Err(StoreError::NoJob(_))));
    sound(&path);
}

#[test]
fn closing_and_opening_again_are_events_too() {
    let dir = tempfile::tempdir().unwrap();
    let mut s = Store::open(&dir.path().join("s")).unwrap();
    let id = create(&mut s, &case("Pip 3", "", "no sound"));
    let closing = Closing {
        state: ClosingState::NotWorthIt,
        reason: "too old".into(),
    };
    s.append(id, 0, &Logged::Closed(closing.clone()), None, &"r".into())
        .unwrap();
    assert_eq!(s.load(id).unwrap().file.closed, Some(closing));
    assert_eq!(s.list(&[], Some("not-worth-it")).unwrap().len(), 1);
    assert!(s.list(&[], Some("open")).unwrap().is_empty());
    s.append(id, 1, &Logged::Reopened, None, &"r".into())
        .unwrap();
    let r = s.load(id).unwrap();
    assert_eq!((r.file.closed, r.closed_at, r.last), (None, None, 2));
    assert_eq!(s.list(&[], Some("open")).unwrap().len(), 1);
}

#[test]
fn words_narrow_the_list_and_a_serial_number_finds_its_history() {
    let dir = tempfile::tempdir().unwrap();
    let mut s = Store::open(&dir.path().join("s")).unwrap();
    let first = create(&mut s, &case("Pip 3", "SN-7", "no sound"));
    let second = create(&mut s, &case("Pip 4", "SN-8", "Kein Ton, ärgerlich"));
    let third = create(&mut s, &case("Pip 3", "sn-7", "100 % too_quiet"));
    let found = |words: &[&str]| -> Vec<i64> {
        let words: Vec<String> = words.iter().map(|w| (*w).to_owned()).collect();
        s.list(&words, None)
            .unwrap()
            .iter()
            .map(|l| l.job)
            .collect()
    };
    assert_eq!(found(&[]), [third, second, first]);
    assert_eq!(found(&["pip 3"]), [third, first]);
    assert_eq!(found(&["PIP", "sound"]), [first]);
    assert_eq!(found(&["ÄRGERLICH"]), [second]);
    assert_eq!(found(&["%"]), [third], "no wildcards");
    assert!(found(&["sound", "ärgerlich"]).is_empty());
    assert_eq!(found(&["open"]), [third, second, first]);
    let of =
        |serial: &str| -> Vec<i64> { s.of_serial(serial).unwrap().iter().map(|l| l.job).collect() };
    assert_eq!(of("SN-7"), [third, first]);
    assert_eq!(of(" sn-8 "), [second]);
    assert!(of("SN").is_empty());
    assert!(of("").is_empty());
}

#[test]
fn a_store_of_a_newer_program_is_refused_and_left_alone() {
    let bench = Bench::new();
    let path = bench.store();
    create(
        &mut Store::open(&path).unwrap(),
        &case("Pip 3", "", "no sound"),
    );
    Connection::open(&path)
        .unwrap()
        .execute_batch("PRAGMA user_version = 99")
        .unwrap();
    let before = std::fs::read(&path).unwrap();
    match Store::open(&path) {
        Err(StoreError::Newer { found: 99, .. }) => {}
        other => panic!("{other:?}"),
    }
    let e = bench.run(&["jobs"]).refused(1);
    assert!(
        e.contains("newer") && e.contains("nothing was changed"),
        "{e}"
    );
    let e = bench.walk(&["4"]).refused(1);
    assert!(e.contains("newer"), "{e}");
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn another_programs_database_is_refused_and_left_alone() {
    for sql in [
        "CREATE TABLE recipe (name TEXT); INSERT INTO recipe VALUES ('bread');",
        "PRAGMA application_id = 7; CREATE TABLE t (x);",
        "PRAGMA application_id = 7;",
        "CREATE TABLE job (id); CREATE TABLE event (id); PRAGMA user_version = 1;",
    ] {
        let bench = Bench::new();
        let path = bench.store();
        Connection::open(&path).unwrap().execute_batch(sql).unwrap();
        let before = std::fs::read(&path).unwrap();
        assert!(
            matches!(Store::open(&path), Err(StoreError::Foreign(_))),
            "{sql}"
        );
        let e = bench.run(&["jobs"]).refused(1);
        assert!(e.contains("another program"), "{e}");
        assert_eq!(std::fs::read(&path).unwrap(), before, "{sql}");
        let files = std::fs::read_dir(path.parent().unwrap()).unwrap();
        assert_eq!(files.count(), 1, "no file was left beside it");
    }
}

#[test]
fn a_file_that_is_no_database_is_refused_and_left_alone() {
    for bytes in [
        b"model,serial,complaint\nPip 3,SN-7,no sound\n".repeat(40),
        b"short".to_vec(),
        b"SQLite format 3\0 and then something else ".repeat(30),
    ] {
        let bench = Bench::new();
        let path = bench.store();
        std::fs::write(&path, &bytes).unwrap();
        assert!(matches!(Store::open(&path), Err(StoreError::Place { .. })));
        let e = bench.run(&["jobs"]).refused(1);
        assert!(e.contains("cannot use the store [HOME]/jobs.sqlite"), "{e}");
        assert_eq!(std::fs::read(&path).unwrap(), bytes);
    }
    // A folder is no database either; an empty file may become one.
    let dir = tempfile::tempdir().unwrap();
    assert!(Store::open(dir.path()).is_err());
    let empty = dir.path().join("empty");
    std::fs::write(&empty, "").unwrap();
    assert!(Store::open(&empty).is_ok());
}

#[test]
fn two_at_one_store_work_side_by_side_and_the_stale_one_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("s");
    let mut a = Store::open(&path).unwrap();
    let mut b = Store::open(&path).unwrap();
    let one = create(&mut a, &case("Pip 3", "", "no sound"));
    let two = create(&mut b, &case("Pip 4", "", "too quiet"));
    for n in 0..10 {
        a.append(one, n, &note(&format!("a{n}")), None, &"r".into())
            .unwrap();
        b.append(two, n, &note(&format!("b{n}")), None, &"r".into())
            .unwrap();
    }
    assert_eq!((notes(&b, one).len(), notes(&a, two).len()), (10, 10));
    // On the same job, who comes second has to look first.
    b.append(one, 10, &note("b was here"), None, &"r".into())
        .unwrap();
    match a.append(one, 10, &note("a is late"), None, &"r".into()) {
        Err(StoreError::Changed(j)) => assert_eq!(j, one),
        other => panic!("{other:?}"),
    }
    assert_eq!(
        a.append(one, 11, &note("a has looked"), None, &"r".into())
            .unwrap(),
        12
    );
    assert!(matches!(
        a.append(99, 0, &note("nowhere"), None, &"r".into()),
        Err(StoreError::NoJob(99))
    ));
    assert_eq!(notes(&a, one)[10..], ["b was here", "a has looked"]);
    sound(&path);
}

#[test]
fn eight_threads_append_to_jobs_of_their_own() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("s");
    // The store is made by whoever comes first.
    std::thread::scope(|scope| {
        for t in 0..8 {
            let path = &path;
            scope.spawn(move || {
                let mut s = Store::open(path).unwrap();
                let id = create(&mut s, &case(&format!("Pip {t}"), "", "no sound"));
                for n in 0..25 {
                    s.append(id, n, &note(&format!("{t} {n}")), None, &"r".into())
                        .unwrap();
                }
            });
        }
    });
    let s = Store::open(&path).unwrap();
    let jobs = s.list(&[], None).unwrap();
    assert_eq!(jobs.len(), 8);
    for j in jobs {
        let t = j.device.strip_prefix("Pip ").unwrap();
        let expected: Vec<String> = (0..25).map(|n| format!("{t} {n}")).collect();
        assert_eq!(notes(&s, j.job), expected);
    }
    sound(&path);
}

#[test]
fn eight_threads_on_one_job_keep_every_entry_that_was_taken() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("s");
    let id = create(
        &mut Store::open(&path).unwrap(),
        &case("Pip 3", "", "no sound"),
    );
    std::thread::scope(|scope| {
        for t in 0..8 {
            let path = &path;
            scope.spawn(move || {
                let mut s = Store::open(path).unwrap();
                for n in 0..10 {
                    loop {
                        let last = s.load(id).unwrap().last;
                        match s.append(id, last, &note(&format!("{t} {n}")), None, &"r".into()) {
                            Ok(_) => break,
                            Err(StoreError::Changed(_)) => {}
                            Err(e) => panic!("{e}"),
                        }
                    }
                }
            });
        }
    });
    let s = Store::open(&path).unwrap();
    let mut all = notes(&s, id);
    all.sort();
    let mut expected: Vec<String> = (0..8)
        .flat_map(|t| (0..10).map(move |n| format!("{t} {n}")))
        .collect();
    expected.sort();
    assert_eq!(all, expected);
    sound(&path);
}

#[test]
fn eight_processes_make_one_store_and_keep_their_jobs_apart() {
    let bench = Bench::new();
    std::thread::scope(|scope| {
        for t in 0..8 {
            let bench = &bench;
            scope.spawn(move || {
                let shown = bench
                    .run(&[
                        "job",
                        "new",
                        "--kind",
                        "handheld",
                        "--complaint",
                        "no sound",
                        "--serial",
                        &t.to_string(),
                        "--format",
                        "json",
                    ])
                    .json();
                let id = shown["job"].to_string();
                for n in 0..4 {
                    let text = format!("{t} {n}");
                    let _ = bench.run(&["job", "note", &id, &text]).fine();
                }
            });
        }
    });
    let s = Store::open(&bench.store()).unwrap();
    let jobs = s.list(&[], None).unwrap();
    assert_eq!(jobs.len(), 8);
    for j in jobs {
        let expected: Vec<String> = (0..4).map(|n| format!("{} {n}", j.serial)).collect();
        assert_eq!(notes(&s, j.job), expected);
    }
    sound(&bench.store());
}

// ---- kills --------------------------------------------------------------

/// How many times a process is killed, over all stores.
const KILLS: usize = 200;
/// Stores that this is spread over.
const STORES: usize = 4;
/// A job with so many entries is left for a new one: it takes 400, and a fast machine
/// makes some fifty between two kills.
const FULL: usize = 200;

/// What a store has to hold.
#[derive(Default)]
struct Promised {
    jobs: usize,
    /// Of the newest job: entries confirmed, and the remarks among them.
    entries: usize,
    remarks: Vec<String>,
    confirmed: usize,
    /// Kills while an entry or a new job was on its way, and of these, how
    /// often it had come to the store.
    midway: usize,
    arrived: usize,
}

fn kill_once(bench: &Bench, promised: &mut Promised, random: &mut StdRng, round: usize) {
    // What is tried here is the store; the advice may be quick.
    let mut fed = Talk::start(bench, &["--look-ahead", "1"]);
    let until = Instant::now() + Duration::from_micros(random.random_range(0..150_000));
    let mut sent_job = false;
    let mut sent_entry = false;
    let new = promised.jobs == 0 || promised.entries >= FULL || random.random_ratio(1, 4);
    let mut work = || -> Option<()> {
        let mut asked = fed.prompt_by(until)?;
        if new {
            if promised.jobs > 0 {
                fed.say_by("", until)?;
            }
            for line in ["handheld", "", "", "no sound", "", ""] {
                fed.say_by(line, until)?;
            }
            sent_job = true;
            let out = fed.say_by("", until)?;
            asked.clone_from(&out);
            assert!(
                out.contains(&format!("Job {} is open.", promised.jobs + 1)),
                "{out}"
            );
            sent_job = false;
            *promised = Promised {
                jobs: promised.jobs + 1,
                confirmed: promised.confirmed,
                midway: promised.midway,
                arrived: promised.arrived,
                ..Promised::default()
            };
        } else {
            asked = fed.say_by(&promised.jobs.to_string(), until)?;
        }
        for n in 0.. {
            // To close the job is no entry.
            let remark = (random.random_bool(0.6) || asked.contains("1 close"))
                .then(|| format!("round {round} remark {n}"));
            let line = remark
                .as_ref()
                .map_or("1".to_owned(), |r| format!("note {r}"));
            sent_entry = true;
            let out = fed.say_by(&line, until)?;
            sent_entry = false;
            asked.clone_from(&out);
            if out.contains("Not taken") {
                assert!(remark.is_none(), "{out}");
                continue;
            }
            promised.entries += 1;
            promised.confirmed += 1;
            promised.remarks.extend(remark);
        }
        None
    };
    let _ = work();
    fed.kill();
    promised.midway += usize::from(sent_job || sent_entry);

    // Whatever had been confirmed is there; what was on its way may be.
    if !bench.store().exists() {
        assert_eq!(promised.jobs, 0);
        return;
    }
    let store = Store::open(&bench.store()).unwrap();
    let jobs = store.list(&[], None).unwrap();
    assert!(
        jobs.len() == promised.jobs || sent_job && jobs.len() == promised.jobs + 1,
        "{} jobs, {} promised",
        jobs.len(),
        promised.jobs
    );
    if jobs.len() > promised.jobs {
        *promised = Promised {
            jobs: jobs.len(),
            confirmed: promised.confirmed,
            midway: promised.midway,
            arrived: promised.arrived + 1,
            ..Promised::default()
        };
    }
    if promised.jobs > 0 {
        let record = store.load(promised.jobs as i64).unwrap();
        let entries = record.file.steps.len();
        assert!(
            entries == promised.entries || sent_entry && entries == promised.entries + 1,
            "{entries} entries, {} promised",
            promised.entries
        );
        let remarks: Vec<String> = record
            .file
            .steps
            .iter()
            .filter_map(|e| match e {
                Entry::Note(t) => Some(t.clone()),
                _ => None,
            })
            .collect();
        assert_eq!(remarks[..promised.remarks.len()], promised.remarks);
        assert_eq!(record.shown.len(), entries);
        promised.arrived += entries - promised.entries;
        promised.entries = entries;
        promised.remarks = remarks;
    }
    drop(store);
    sound(&bench.store());
}

#[test]
#[allow(clippy::print_stdout)]
fn nothing_confirmed_is_lost_when_the_program_is_killed() {
    let (confirmed, midway, arrived) = std::thread::scope(|scope| {
        let runs: Vec<_> = (0..STORES)
            .map(|s| {
                scope.spawn(move || {
                    let bench = Bench::new();
                    let mut random = StdRng::seed_from_u64(20 + s as u64);
                    let mut promised = Promised::default();
                    for round in 0..KILLS / STORES {
                        kill_once(&bench, &mut promised, &mut random, round);
                    }
                    (promised.confirmed, promised.midway, promised.arrived)
                })
            })
            .collect();
        runs.into_iter()
            .map(|r| r.join().unwrap())
            .fold((0, 0, 0), |a, b| (a.0 + b.0, a.1 + b.1, a.2 + b.2))
    });
    // How much falls between depends on the machine; some of it has to.
    assert!(confirmed > 50, "too few entries to tell: {confirmed}");
    assert!(midway > 10, "too few kills amid an entry to tell: {midway}");
    println!(
        "{KILLS} kills, {confirmed} confirmed; {midway} amid an entry, {arrived} of them kept"
    );
}
