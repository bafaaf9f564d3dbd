//! Nothing lost, nothing overwritten: two at one job, files that are in the way,
//! a store that can only be read, a disk without room, input that nobody takes.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use crate::common::{Bench, Outcome, Talk, walk_rules};
use halfsplit::desk::{Action, Desk, DeskError};
use halfsplit::job::{
    CaseFile, Entry, LONGEST_COMPLAINT, LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, Settings, Shown,
};
use halfsplit::model::Unit;
use halfsplit::rulebase::{Rulebase, Rules};
use halfsplit::store::{Log, Store, StoreError};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rusqlite::Connection;

const SILENT: [&str; 4] = ["--kind", "handheld", "--complaint", "no sound"];

fn rules() -> Arc<Rulebase> {
    let loaded = Rules {
        paths: vec![walk_rules()],
        only_these: true,
    }
    .load();
    assert!(loaded.problems.is_empty());
    Arc::new(loaded.rulebase)
}

fn silent() -> CaseFile {
    CaseFile {
        case: "Pip 3: no sound".into(),
        device: Unit {
            kind: "handheld".into(),
            ..Unit::default()
        },
        complaint: "no sound".into(),
        ..CaseFile::default()
    }
}

fn shown(test: &str, shows: &str) -> Action {
    Action::Enter(Entry::Result(Shown {
        test: test.into(),
        shows: shows.into(),
        ..Shown::default()
    }))
}

fn note(text: &str) -> Action {
    Action::Enter(Entry::Note(text.into()))
}

fn store(path: &Path) -> Box<Store> {
    Box::new(Store::open(path).unwrap())
}

fn entries(bench: &Bench) -> u64 {
    let job = bench.run(&["job", "show", "1", "--format", "json"]).json();
    job["entries"].as_u64().unwrap()
}

/// Every file below a folder, with a hash of its bytes.
fn files(folder: &Path) -> BTreeMap<String, u64> {
    let mut all = BTreeMap::new();
    for f in std::fs::read_dir(folder).unwrap() {
        let path = f.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            // A link that leads nowhere has no bytes.
            let bytes = std::fs::read(&path).unwrap_or_default();
            let mut hash = DefaultHasher::new();
            bytes.hash(&mut hash);
            all.insert(path.display().to_string(), hash.finish());
        }
    }
    all
}

/// Every command that only reads.
const READS: &[&[&str]] = &[
    &["jobs"],
    &["job", "show", "1"],
    &["job", "why", "1"],
    &["job", "weigh", "1"],
    &["job", "suppose", "1", "buzzer/beeps", "no"],
    &["job", "line", "1"],
    &["trail", "1"],
    &["trail", "1", "--html"],
    &["tree", "1", "--depth", "1"],
    &["export", "1"],
    &["drill", "--table"],
];

// ---- two at one job -------------------------------------------------------

#[test]
fn a_walk_takes_up_what_somebody_else_entered() {
    let bench = Bench::with_silent_handheld();
    let mut walk = Talk::start(&bench, &[]);
    walk.prompt();
    walk.say("1");
    let _ = bench
        .run(&["job", "result", "1", "volume-shown", "up"])
        .fine();
    let out = walk.say("others buzzer/beeps");
    assert!(!out.contains("Somebody"), "{out}");
    // An answer was meant for the job as it was on the screen.
    let out = walk.say("no");
    for said in [
        "Not taken: job 1 was changed by somebody else",
        "Somebody else went on with this job meanwhile:",
        "volume-shown = up",
        "Where:",
    ] {
        assert!(out.contains(said), "{said}: {out}");
    }
    assert_eq!(entries(&bench), 1);
    // From here on the walk goes on as ever.
    walk.say("others buzzer/beeps");
    let out = walk.say("no");
    assert!(!out.contains("Not taken"), "{out}");
    assert_eq!(entries(&bench), 2);
    // A remark simply goes after.
    let _ = bench.run(&["job", "note", "1", "from the desk"]).fine();
    let out = walk.say("note from the bench");
    assert!(
        out.contains("Noted.") && out.contains("from the desk"),
        "{out}"
    );
    assert_eq!(entries(&bench), 4);
    let _ = bench.run(&["job", "note", "1", "not to be lost"]).fine();
    let out = walk.say("undo");
    assert!(
        out.contains("not to be lost") && !out.contains("Taken back"),
        "{out}"
    );
    assert_eq!(entries(&bench), 5);
    // Closed by somebody else, it ends.
    let close = ["job", "close", "1", "not-worth-it", "too old"];
    let _ = bench.run(&close).fine();
    writeln!(walk.stdin, "note late").unwrap();
    let (out, code) = walk.end();
    assert!(out.contains("it was closed: too old"), "{out}");
    assert!(out.contains("Job 1 is closed: not worth it."), "{out}");
    assert_eq!(code, 1, "three lines were not taken");
    let case = bench.run(&["export", "1"]).fine();
    for text in ["from the desk", "from the bench", "not to be lost"] {
        assert!(case.contains(text), "{case}");
    }
    assert!(!case.contains("late"), "{case}");
}

#[test]
fn remarks_of_many_are_all_kept_whatever_else_is_entered() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("s");
    let rules = rules();
    let settings = Settings::default();
    let id = Desk::open(rules.clone(), store(&path), settings, &silent())
        .unwrap()
        .id();
    std::thread::scope(|scope| {
        for t in 0..4 {
            let mut desk = Desk::resume(rules.clone(), store(&path), settings, id).unwrap();
            scope.spawn(move || {
                for n in 0..5 {
                    desk.act(note(&format!("{t} {n}"))).unwrap();
                }
            });
        }
    });
    let store = Store::open_to_read(&path).unwrap();
    let mut notes: Vec<String> = store
        .load(id)
        .unwrap()
        .file
        .steps
        .iter()
        .map(|e| match e {
            Entry::Note(t) => t.clone(),
            other => panic!("{other:?}"),
        })
        .collect();
    notes.sort();
    let expected: Vec<String> = (0..4)
        .flat_map(|t| (0..5).map(move |n| format!("{t} {n}")))
        .collect();
    assert_eq!(notes, expected);
}

#[test]
fn a_result_is_refused_after_another_and_a_remark_is_not() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("s");
    let rules = rules();
    let settings = Settings::default();
    let mut a = Desk::open(rules.clone(), store(&path), settings, &silent()).unwrap();
    let mut b = Desk::resume(rules.clone(), store(&path), settings, a.id()).unwrap();
    a.act(shown("buzzer/beeps", "no")).unwrap();
    let late = shown("volume-shown", "up");
    assert!(matches!(
        b.act(late.clone()),
        Err(DeskError::Store(StoreError::Changed(_)))
    ));
    // What stood in the way is known now.
    assert_eq!((b.news().len(), b.record.file.steps.len()), (1, 1));
    a.act(note("seen")).unwrap();
    b.act(note("and here")).unwrap();
    assert_eq!(b.news().len(), 1);
    b.act(late).unwrap();
    // What is believed is what a fresh look believes.
    a.catch_up().unwrap();
    assert_eq!((a.news().len(), b.news().len()), (2, 0));
    assert_eq!(a.case.belief.faults, b.case.belief.faults);
    let fresh = Desk::resume(rules, store(&path), settings, a.id()).unwrap();
    assert_eq!(fresh.case.belief.faults, b.case.belief.faults);
}

#[test]
fn two_that_are_killed_again_and_again_lose_nothing_confirmed() {
    let bench = Bench::with_silent_handheld();
    let outcomes: Vec<(String, Option<i32>)> = std::thread::scope(|scope| {
        let work = |who: u64| {
            let bench = &bench;
            move || {
                let mut random = StdRng::seed_from_u64(who);
                let one = |n: usize| {
                    let text = format!("{who} remark {n} ends");
                    let mut child = bench.start(&["--look-ahead", "1", "job", "note", "1", &text]);
                    if random.random_bool(0.4) {
                        std::thread::sleep(Duration::from_micros(random.random_range(0..40_000)));
                        child.kill().unwrap();
                    }
                    let done = child.wait_with_output().unwrap();
                    (text, done.status.code())
                };
                (0..60).map(one).collect::<Vec<_>>()
            }
        };
        let both = [scope.spawn(work(1)), scope.spawn(work(2))];
        both.into_iter().flat_map(|t| t.join().unwrap()).collect()
    });
    let case = bench.run(&["export", "1"]).fine();
    let confirmed = outcomes.iter().filter(|o| o.1 == Some(0));
    let lost: Vec<_> = confirmed.clone().filter(|o| !case.contains(&o.0)).collect();
    assert!(lost.is_empty(), "{lost:?}");
    // Nobody is refused because the other was faster.
    assert!(
        outcomes.iter().all(|o| o.1.is_none_or(|code| code == 0)),
        "{outcomes:?}"
    );
    let killed = outcomes.iter().filter(|o| o.1.is_none()).count();
    assert!(killed >= 5, "too few kills to tell: {killed}");
    assert!(confirmed.count() >= 40);
    let _ = bench.run(&["job", "note", "1", "last"]).fine();
    assert_eq!(files(&bench.path("")).len(), 1);
}

// ---- the shop's file ------------------------------------------------------

#[test]
fn the_shops_meter_is_for_new_jobs_and_disables_nothing() {
    let bench = Bench::new().shipped();
    let about = ["--kind", "phone", "--complaint", "does not charge"];
    let _ = bench.run(&[&["job", "new"], &about[..]].concat()).fine();
    std::fs::write(bench.path("shop.yaml"), "meter: bench\n").unwrap();
    for args in [
        &["job", "show", "1"][..],
        &["job", "note", "1", "seen"],
        &["job", "cannot", "1", "charging-port/flip-try", "no cable"],
        &["job", "undo", "1"],
        &["job", "meter", "1", "pocket"],
        &["trail", "1"],
    ] {
        let _ = bench.run(args).fine();
    }
    // A job has its own meter, and a walk does not change it.
    let out = bench.walk(&["1", "meter", "pause"]).fine();
    assert!(
        out.contains("pocket") && !out.contains("From here on with"),
        "{out}"
    );
    assert_eq!(entries(&bench), 2);
    // A new job begins with the shop's.
    let _ = bench.run(&[&["job", "new"], &about[..]].concat()).fine();
    assert!(bench.run(&["export", "2"]).fine().contains("meter: bench"));
    // Asked for by name it is still for a job that is opened.
    let said = bench
        .run(&["--meter", "bench", "job", "show", "1"])
        .refused(2);
    assert!(said.contains("job meter 1 bench"), "{said}");
}

#[test]
fn too_large_a_shop_file_is_refused() {
    let bench = Bench::with_silent_handheld();
    std::fs::write(bench.path("shop.yaml"), "# x\n".repeat(20_000)).unwrap();
    let said = bench.run(&["job", "show", "1"]).refused(1);
    assert!(said.contains("larger than 64 kB"), "{said}");
    let said = bench.run(&["--shop", "/dev/zero", "jobs"]).refused(1);
    assert!(said.contains("larger than 64 kB"), "{said}");
    std::fs::write(bench.path("shop.yaml"), b"rate: \xff\n").unwrap();
    let said = bench.run(&["jobs"]).refused(1);
    assert!(said.contains("no text in UTF-8"), "{said}");
}

// ---- files that are written ------------------------------------------------

#[test]
fn no_output_is_written_over_the_store_or_a_foreign_file() {
    let bench = Bench::with_silent_handheld();
    let store = bench.store().display().to_string();
    let other = bench.path("notes.txt");
    std::fs::write(&other, "the only copy\n").unwrap();
    std::fs::write(bench.path("case.yaml"), "case: written by hand\n").unwrap();
    std::fs::write(bench.path("x.svg"), "<svg>drawn by hand</svg>\n").unwrap();
    std::fs::write(
        bench.path("x.json"),
        "{\n  \"version\": 1,\n  \"a\": 2\n}\n",
    )
    .unwrap();
    std::fs::create_dir(bench.path("folder")).unwrap();
    let mut targets: Vec<String> = ["", "-wal", "-shm", "-journal"]
        .iter()
        .map(|end| format!("{store}{end}"))
        .collect();
    let names = [
        "notes.txt",
        "case.yaml",
        "x.svg",
        "x.json",
        "folder",
        "shop.yaml",
        "JOBS.SQLITE-wal",
    ];
    targets.extend(names.map(|n| bench.path(n).display().to_string()));
    // A path with a turn in it, and the bare name.
    targets.push(
        bench
            .path("folder/../jobs.sqlite-journal")
            .display()
            .to_string(),
    );
    targets.push("jobs.sqlite".into());
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(bench.store(), bench.path("link")).unwrap();
        std::os::unix::fs::symlink("nowhere", bench.path("dangling")).unwrap();
        std::fs::hard_link(bench.store(), bench.path("hard")).unwrap();
        for name in ["link", "dangling", "hard"] {
            targets.push(bench.path(name).display().to_string());
        }
    }
    let before = files(&bench.path(""));
    let commands: &[&[&str]] = &[
        &["export", "1"],
        &["trail", "1", "-o"],
        &["trail", "1", "--html", "-o"],
        &["trail", "1", "--format", "json", "-o"],
        &["trail", "1", "--format", "svg", "-o"],
        &["tree", "1", "--depth", "1", "-o"],
        &["tree", "1", "--depth", "1", "--format", "json", "-o"],
    ];
    for command in commands {
        for target in &targets {
            let said = bench
                .run(&[command, &[target.as_str()][..]].concat())
                .refused(1);
            assert!(said.contains("help: give "), "{target}: {said}");
        }
        assert_eq!(files(&bench.path("")), before, "{command:?}");
    }
    assert_eq!(entries(&bench), 0);
}

#[test]
fn an_earlier_output_of_the_same_kind_is_replaced_whole() {
    let bench = Bench::with_silent_handheld();
    let out = bench.path("out");
    std::fs::create_dir(&out).unwrap();
    let kinds: &[&[&str]] = &[
        &["export", "1"],
        &["trail", "1", "-o"],
        &["trail", "1", "--reader", "customer", "-o"],
        &["trail", "1", "--html", "-o"],
        &["trail", "1", "--html", "--reader", "customer", "-o"],
        &["trail", "1", "--format", "json", "-o"],
        &["trail", "1", "--format", "svg", "-o"],
        &["tree", "1", "--depth", "1", "-o"],
        &["tree", "1", "--depth", "1", "--html", "-o"],
        &["tree", "1", "--depth", "1", "--format", "json", "-o"],
        &["tree", "1", "--depth", "1", "--format", "svg", "-o"],
    ];
    let write = |n: usize, at: usize| -> Outcome {
        let file = out.join(at.to_string()).display().to_string();
        bench.run(&[kinds[n], &[file.as_str()][..]].concat())
    };
    for n in 0..kinds.len() {
        let _ = write(n, n).fine();
    }
    // The first of each, then one that has more in it.
    let before = files(&out);
    let _ = bench
        .run(&["job", "result", "1", "buzzer/beeps", "no"])
        .fine();
    for n in 0..kinds.len() {
        let _ = write(n, n).fine();
    }
    let after = files(&out);
    assert_eq!(after.len(), kinds.len(), "nothing is left beside them");
    for (file, hash) in &after {
        assert_ne!(&before[file], hash, "{file}");
    }
    // Of another kind, or in another form, it is left alone.
    for n in 0..kinds.len() {
        for at in (0..kinds.len()).filter(|at| *at != n) {
            let said = write(n, at).refused(1);
            assert!(said.contains("is there already"), "{n} {at}: {said}");
        }
    }
    assert_eq!(files(&out), after);
    // A case file that was written can be read.
    let case = out.join("0").display().to_string();
    let _ = bench.run(&["import", &case]).fine();
}

#[cfg(unix)]
#[test]
fn a_pipe_and_a_device_take_what_is_written() {
    let bench = Bench::with_silent_handheld();
    let out = bench.run(&["trail", "1", "-o", "/dev/stdout"]).fine();
    assert!(out.contains("[halfsplit: trail of a job]"), "{out}");
    let said = bench.run(&["trail", "1", "-o", "/dev/full"]);
    assert!(said.refused(1).contains("cannot write /dev/full"));
}

// ---- reading ---------------------------------------------------------------

#[test]
fn what_only_reads_changes_nothing_on_the_disk() {
    let bench = Bench::with_silent_handheld();
    let _ = bench.run(&["job", "note", "1", "kept"]).fine();
    let before = files(&bench.path(""));
    let time = |p: &Path| std::fs::metadata(p).unwrap().modified().unwrap();
    let (store, folder) = (time(&bench.store()), time(&bench.path("")));
    for args in READS {
        let _ = bench.run(args).fine();
    }
    assert_eq!(files(&bench.path("")), before);
    assert_eq!(
        (time(&bench.store()), time(&bench.path(""))),
        (store, folder)
    );
}

/// As the form of the store was before there were rounds, with a write-ahead log.
fn made_old(path: &Path) {
    let db = Connection::open(path).unwrap();
    db.execute_batch(
        "DROP TABLE round_event; DROP TABLE round; PRAGMA user_version = 1;
         PRAGMA journal_mode = WAL;",
    )
    .unwrap();
}

#[test]
fn an_older_store_is_read_as_it_is_and_migrated_by_the_first_entry() {
    let bench = Bench::with_silent_handheld();
    made_old(&bench.store());
    let before = files(&bench.path(""));
    for args in READS {
        let _ = bench.run(args).fine();
        assert_eq!(files(&bench.path("")), before, "{args:?}");
    }
    let _ = bench.run(&["job", "note", "1", "new"]).fine();
    let db = Connection::open(bench.store()).unwrap();
    let form: (i64, String) = db
        .query_row(
            "SELECT user_version, journal_mode FROM pragma_user_version, pragma_journal_mode",
            [],
            |r| Ok((r.get(0)?, r.get(1)?)),
        )
        .unwrap();
    assert_eq!(form, (2, "delete".to_owned()));
}

/// Leaves the store as a program does that was killed amid an entry: with a
/// journal that has to be played back.
fn killed_amid_an_entry(bench: &Bench) {
    // A copy taken while the entry is half in the file; with so small a cache
    // the pages are written before it is confirmed.
    let half = bench.path("half");
    std::fs::create_dir(&half).unwrap();
    let db = Connection::open(bench.store()).unwrap();
    db.execute_batch("PRAGMA cache_size = 1; PRAGMA cache_spill = 1; BEGIN IMMEDIATE;")
        .unwrap();
    let mut more = db
        .prepare("INSERT INTO event VALUES (1, ?1, 'n', '{}', ?2, 'r')")
        .unwrap();
    for n in 100..400 {
        more.execute(rusqlite::params![n, "x".repeat(2_000)])
            .unwrap();
    }
    for end in ["", "-journal"] {
        let name = format!("jobs.sqlite{end}");
        std::fs::copy(bench.path(&name), half.join(&name)).unwrap();
    }
    drop(more);
    db.execute_batch("ROLLBACK").unwrap();
    drop(db);
    for end in ["", "-journal"] {
        let name = format!("jobs.sqlite{end}");
        std::fs::copy(half.join(&name), bench.path(&name)).unwrap();
    }
    std::fs::remove_dir_all(half).unwrap();
}

#[test]
fn what_a_killed_program_left_is_read_without_touching_it() {
    let bench = Bench::with_silent_handheld();
    let _ = bench.run(&["job", "note", "1", "confirmed"]).fine();
    killed_amid_an_entry(&bench);
    let before = files(&bench.path(""));
    assert!(before.len() > 1, "there is a journal");
    for args in READS {
        let _ = bench.run(args).fine();
    }
    assert!(bench.run(&["export", "1"]).fine().contains("confirmed"));
    assert_eq!(files(&bench.path("")), before);
    // The next entry plays it back, and one file is left.
    let _ = bench.run(&["job", "note", "1", "after"]).fine();
    assert_eq!(entries(&bench), 2);
    assert_eq!(files(&bench.path("")).len(), 1);
}

#[test]
fn what_an_older_program_left_in_its_log_is_read_and_kept() {
    let bench = Bench::with_silent_handheld();
    let db = Connection::open(bench.store()).unwrap();
    db.execute_batch("PRAGMA journal_mode = WAL; PRAGMA wal_autocheckpoint = 0;")
        .unwrap();
    let body = r#"{"entered":{"note":"in the log"}}"#;
    db.execute(
        "INSERT INTO event VALUES (1, 1, 'n', ?1, NULL, 'r')",
        [body],
    )
    .unwrap();
    let kept: Vec<(String, Vec<u8>)> = ["", "-wal"]
        .map(|end| format!("jobs.sqlite{end}"))
        .map(|name| (name.clone(), std::fs::read(bench.path(&name)).unwrap()))
        .into();
    drop(db);
    // As after a kill; on a copy medium the index may be gone.
    for (name, bytes) in &kept {
        std::fs::write(bench.path(name), bytes).unwrap();
    }
    let before = files(&bench.path(""));
    assert!(bench.run(&["export", "1"]).fine().contains("in the log"));
    assert_eq!(files(&bench.path("")), before);
    let _ = bench.run(&["job", "note", "1", "after"]).fine();
    assert_eq!(entries(&bench), 2);
    assert_eq!(files(&bench.path("")).len(), 1);
}

#[cfg(unix)]
#[test]
fn a_read_only_folder_reads_and_says_why_it_takes_nothing() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let bench = Bench::with_silent_handheld();
    let _ = bench.run(&["job", "note", "1", "kept"]).fine();
    let place = bench.path("");
    let mode = |path: &Path, mode: u32| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    // Whom no right stops has to be somebody else.
    let everybody = std::fs::metadata("/proc/self").is_ok_and(|m| m.uid() == 0);
    for (form, file, folder) in [
        ("new", 0o444, 0o555),
        ("old", 0o444, 0o555),
        ("folder", 0o666, 0o555),
    ] {
        if form == "old" {
            made_old(&bench.store());
        }
        mode(&bench.store(), file);
        mode(&place, folder);
        let run = |args: &[&str]| {
            let mut c = bench.command(args);
            if everybody {
                c.uid(65_534);
            }
            let done = c.stdin(Stdio::null()).output().unwrap();
            let err = String::from_utf8_lossy(&done.stderr).into_owned();
            (
                done.status.code(),
                err,
                String::from_utf8_lossy(&done.stdout).into_owned(),
            )
        };
        for args in READS {
            let (code, err, out) = run(args);
            assert_eq!((code, err.as_str()), (Some(0), ""), "{form} {args:?} {out}");
        }
        let (code, err, _) = run(&["job", "note", "1", "no"]);
        assert_eq!(code, Some(1), "{err}");
        assert!(err.contains("is read-only"), "{form}: {err}");
        mode(&place, 0o755);
        mode(&bench.store(), 0o644);
    }
    assert_eq!(entries(&bench), 1);
}

#[cfg(unix)]
#[test]
fn a_disk_that_takes_no_more_keeps_what_was_confirmed_and_reads() {
    let bench = Bench::with_silent_handheld();
    let _ = bench.run(&["job", "note", "1", "kept"]).fine();
    let before = files(&bench.path(""));
    let limit = std::fs::metadata(bench.store()).unwrap().len() / 1024;
    // No file may grow beyond what the store has.
    let short = |args: &[&str], input: &str| {
        let inner = bench.command(args);
        let mut c = Command::new("/bin/sh");
        c.env_clear()
            .envs(inner.get_envs().filter_map(|(k, v)| Some((k, v?))))
            .current_dir(bench.path(""))
            .args([
                "-c",
                &format!("trap '' XFSZ; ulimit -f {}; exec \"$@\"", limit * 2),
                "sh",
            ])
            .arg(inner.get_program())
            .args(inner.get_args())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = c.spawn().unwrap();
        child
            .stdin
            .take()
            .unwrap()
            .write_all(input.as_bytes())
            .unwrap();
        let done = child.wait_with_output().unwrap();
        (
            done.status.code().unwrap(),
            String::from_utf8_lossy(&done.stdout).into_owned()
                + &String::from_utf8_lossy(&done.stderr),
        )
    };
    for args in READS {
        let (code, out) = short(args, "");
        assert_eq!(code, 0, "{args:?} {out}");
    }
    // A walk goes on, too.
    let long = format!("note {}", "x".repeat(9_000));
    let script = format!("1\n{long}\n{long}\n{long}\n{long}\ntrail\npause\n");
    let (code, out) = short(&[], &script);
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("the disk is full, or it fails: this was not entered"),
        "{out}"
    );
    assert!(out.contains("Job 1 is kept as it stands"), "{out}");
    assert_eq!(code, 1);
    let kept = entries(&bench);
    assert_eq!(kept as usize, 1 + out.matches("Noted.").count());
    assert_eq!(files(&bench.path("")).len(), before.len());
    let _ = bench.run(&["job", "note", "1", "room again"]).fine();
    assert_eq!(entries(&bench), kept + 1);
}

#[cfg(unix)]
#[test]
fn the_store_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::new().env("HALFSPLIT_STORE", "");
    let _ = bench.run(&[&["job", "new"], &SILENT[..]].concat()).fine();
    let mode = |name: &str| {
        std::fs::metadata(bench.path(name))
            .unwrap()
            .permissions()
            .mode()
            & 0o777
    };
    assert_eq!(mode(".local/share/halfsplit/jobs.sqlite"), 0o600);
    assert_eq!(mode(".local/share/halfsplit"), 0o700);
    // One that a shop has shared stays shared.
    let store = bench.path(".local/share/halfsplit/jobs.sqlite");
    std::fs::set_permissions(&store, std::fs::Permissions::from_mode(0o660)).unwrap();
    let _ = bench.run(&["job", "note", "1", "shared"]).fine();
    assert_eq!(mode(".local/share/halfsplit/jobs.sqlite"), 0o660);
}

#[test]
fn the_one_file_is_the_store_while_a_walk_is_open() {
    let bench = Bench::with_silent_handheld();
    let mut walk = Talk::start(&bench, &[]);
    walk.prompt();
    walk.say("1");
    for n in 0..5 {
        walk.say(&format!("note remark {n}"));
        assert_eq!(files(&bench.path("")).len(), 1, "one file is the store");
        let copy = bench.path("copy");
        std::fs::copy(bench.store(), &copy).unwrap();
        let store = Store::open_to_read(&copy).unwrap();
        assert_eq!(store.load(1).unwrap().file.steps.len(), n + 1);
        std::fs::remove_file(&copy).unwrap();
    }
    let (_, code) = walk.end();
    assert_eq!(code, 0, "all that was typed is kept");
    assert_eq!(files(&bench.path("")).len(), 1);
}

#[cfg(unix)]
#[test]
fn a_store_behind_a_link_is_kept_as_well() {
    let bench = Bench::with_silent_handheld();
    let _ = bench.run(&["job", "note", "1", "confirmed"]).fine();
    killed_amid_an_entry(&bench);
    let elsewhere = tempfile::tempdir().unwrap();
    let link = elsewhere.path().join("link.sqlite");
    std::os::unix::fs::symlink(bench.store(), &link).unwrap();
    let link = link.display().to_string();
    let before = files(&bench.path(""));
    let out = bench.run(&["--store", &link, "export", "1"]).fine();
    assert!(out.contains("confirmed"), "{out}");
    // The journal lies beside the file, not beside the link.
    let _ = std::fs::remove_file(bench.path("jobs.sqlite-wal"));
    for end in ["", "-wal", "-journal"] {
        let target = format!("{}{end}", bench.store().display());
        let _ = bench
            .run(&["--store", &link, "trail", "1", "-o", &target])
            .refused(1);
    }
    assert_eq!(files(&bench.path("")), before);
    assert_eq!(files(elsewhere.path()).len(), 1);
}

#[test]
fn a_mistyped_store_makes_nothing_and_says_so() {
    let bench = Bench::with_silent_handheld();
    let wrong = bench.path("no/jobs.sqlte").display().to_string();
    let before = files(&bench.path(""));
    let mut all: Vec<&[&str]> = READS.to_vec();
    all.push(&["job", "note", "1", "lost?"]);
    all.push(&["job", "undo", "1"]);
    for args in all {
        let said = bench.run(&[&["--store", &wrong], args].concat()).refused(1);
        assert!(
            said.contains("there is no store [HOME]/no/jobs.sqlte; nothing was created"),
            "{said}"
        );
    }
    assert_eq!(files(&bench.path("")), before);
    assert!(!bench.path("no").exists());
    // Before the first job there is none at the usual place.
    let bench = Bench::new();
    let said = bench.run(&["jobs"]).fine();
    assert!(said.starts_with("No jobs: there is no store"), "{said}");
    assert!(
        bench.run(&["jobs", "--format", "json"]).json()["jobs"]
            .as_array()
            .unwrap()
            .is_empty()
    );
    assert!(!bench.store().exists());
}

// ---- input that nobody takes -------------------------------------------------

#[test]
fn input_that_is_lost_or_left_unanswered_ends_with_a_code() {
    let open = ["4", "", "", "no sound", "1", "", ""];
    let with = |more: &[&str]| -> Outcome { Bench::new().walk(&[&open[..], more].concat()) };
    // All that was typed is kept.
    let _ = with(&[]).fine();
    let _ = with(&["note kept", "pause"]).fine();
    for (more, said) in [
        (&["note"][..], "the input ended before an answer to: Remark"),
        (
            &["close 3"],
            "the input ended before an answer to: In a sentence",
        ),
        (&["perhaps", "pause"], "not all taken: line 8 `perhaps`"),
        (
            &["pause", "note more", "note and more"],
            "nobody read from line 9 on",
        ),
    ] {
        let done = with(more);
        assert_eq!(done.code, 1, "{}", done.out);
        assert!(done.err.contains(said), "{said}: {}", done.err);
    }
    let done = Bench::new().walk(&open[..4]);
    assert!(done.out.contains("nothing is kept"), "{}", done.out);
    assert!(done.refused(1).contains("before an answer to: Right?"));
}

#[test]
fn a_new_job_is_opened_whatever_is_open() {
    let bench = Bench::with_silent_handheld();
    let script = ["4", "", "", "no sound", "1", "", "", "pause"];
    let out = bench
        .feed(&["--new"], crate::common::typed(&script).as_bytes())
        .fine();
    assert!(
        out.contains("Job 2 is open.") && !out.contains("Open jobs"),
        "{out}"
    );
    let said = bench.run(&["--new", "jobs"]).refused(2);
    assert!(said.contains("for the walk"), "{said}");
}

// ---- limits ------------------------------------------------------------------

#[test]
fn what_is_too_long_is_refused_with_its_limit() {
    let bench = Bench::with_silent_handheld();
    let complaint = "no sound ".repeat(LONGEST_COMPLAINT / 9 + 1);
    let limit = format!("longer than {LONGEST_COMPLAINT} characters");
    let about = ["--kind", "handheld", "--complaint", &complaint];
    for command in ["job new", "tree --depth 1"] {
        let words: Vec<&str> = command.split(' ').collect();
        let said = bench.run(&[&words[..], &about[..]].concat()).refused(1);
        assert!(said.contains(&limit), "{said}");
    }
    let script = [
        "new", "4", "", "", &complaint, "no sound", "1", "", "", "pause",
    ];
    let out = bench.walk(&script).not_all_taken();
    assert!(out.contains("Not taken: that is longer than"), "{out}");
    assert!(out.contains("Job 2 is open."), "{out}");
    let serial = "7".repeat(LONGEST_NAME + 1);
    let said = bench
        .run(&[&["job", "new", "--serial", &serial], &SILENT[..]].concat())
        .refused(1);
    assert!(said.contains("is longer than"), "{said}");
    let said = bench
        .run(&["job", "note", "1", &"x".repeat(LONGEST_TEXT + 1)])
        .refused(1);
    assert!(said.contains("entry 1 has a text of more than"), "{said}");
    let _ = bench
        .run(&["job", "note", "1", &"x".repeat(LONGEST_TEXT)])
        .fine();
    let reason = "x".repeat(LONGEST_TEXT + 1);
    let said = bench
        .run(&["job", "close", "1", "not-worth-it", &reason])
        .refused(1);
    assert!(said.contains("the reason is longer"), "{said}");
    // A case file of any length that the reader takes.
    let mut case = "case: long\ndevice: {kind: handheld}\ncomplaint: no sound\nsteps:\n".to_owned();
    case += &"- note: x\n".repeat(MOST_ENTRIES + 1);
    std::fs::write(bench.path("long.yaml"), &case).unwrap();
    for command in ["import", "replay"] {
        let said = bench.run(&[command, "long.yaml"]).refused(1);
        assert!(
            said.contains(&format!("a job takes {MOST_ENTRIES} entries")),
            "{said}"
        );
    }
}

// ---- a step that is wrong, an event that cannot be read ----------------------

#[test]
fn an_import_names_the_step_that_is_wrong() {
    let bench = Bench::new();
    for symptoms in ["", "symptoms: [buzzer/silent]\n"] {
        let case = format!(
            "case: odd\ndevice: {{kind: handheld}}\ncomplaint: no sound\n{symptoms}steps:\n\
             - note: one\n- result: {{test: buzzer/beeps, shows: no}}\n\
             - result: {{test: buzzer/beeps, shows: perhaps}}\n- note: four\n"
        );
        std::fs::write(bench.path("odd.yaml"), case).unwrap();
        let said = bench.run(&["import", "odd.yaml"]).refused(1);
        assert!(said.contains("entry 3 does not fit"), "{said}");
        assert!(said.contains("perhaps"), "{said}");
    }
    let jobs = bench.run(&["jobs", "--format", "json"]).json();
    assert!(jobs["jobs"].as_array().unwrap().is_empty());
}

#[test]
fn one_unreadable_event_does_not_block_the_export_of_the_rest() {
    let bench = Bench::with_silent_handheld();
    for text in ["first", "second", "third"] {
        let _ = bench.run(&["job", "note", "1", text]).fine();
    }
    let damage = |seq: i64, column: &str, what: &str| {
        let db = Connection::open(bench.store()).unwrap();
        db.execute_batch(&format!(
            "DROP TRIGGER IF EXISTS event_is_kept; UPDATE event SET {column} = {what} WHERE seq = {seq}"
        ))
        .unwrap();
    };
    for (seq, column, what) in [
        (2, "shown", "'{'"),
        (2, "body", "'{\"entered\": '"),
        (2, "body", "x'00ff'"),
    ] {
        damage(seq, column, what);
        let said = bench.run(&["job", "show", "1"]).refused(1);
        assert!(
            said.contains("event 2 cannot be read") && said.contains("halfsplit export 1"),
            "{said}"
        );
        let done = bench.run(&["export", "1"]);
        assert!(
            done.out.contains("first") && done.out.contains("third"),
            "{}",
            done.out
        );
        // Of the moment alone nothing is exported, so nothing is missing.
        assert_eq!(
            done.out.contains("second"),
            column == "shown",
            "{}",
            done.out
        );
        assert_eq!(
            done.out.contains("could not be read: event 2"),
            column == "body"
        );
        assert!(
            done.refused(1)
                .contains("one event of job 1 cannot be read")
        );
    }
    // Its head is in the list of jobs.
    damage(0, "body", "'gone'");
    let file = bench.path("case.yaml").display().to_string();
    let said = bench.run(&["export", "1", &file]).refused(1);
    assert!(said.contains("2 events of job 1 cannot be read"), "{said}");
    let out = bench.run(&["import", &file]).fine();
    assert!(out.contains("holds 3 entries"), "{out}");
    let case = bench.run(&["export", "2"]).fine();
    assert!(
        case.contains("no sound") && case.contains("handheld"),
        "{case}"
    );
}

// ---- the screen ----------------------------------------------------------------

#[test]
fn a_filtered_list_is_numbered_from_one() {
    let bench = Bench::with_silent_handheld();
    let out = bench.walk(&["1", "others grille", "1", "pause"]).fine();
    let list = out.split("others grille").nth(1).unwrap();
    assert!(list.trim_start().starts_with("1 "), "{list}");
    let first = list
        .lines()
        .find(|l| l.trim_start().starts_with("1 "))
        .unwrap();
    let name = first.trim_start()[2..].trim_start_matches("MEND: ");
    let name: String = name.chars().take(25).collect();
    let chosen = list.split("Number or name").nth(1).unwrap();
    assert!(
        chosen.contains("->") && chosen.contains(&name),
        "{name}: {chosen}"
    );
}

#[test]
fn after_undo_the_step_undone_is_at_hand() {
    let bench = Bench::with_silent_handheld();
    let script = [
        "1",
        "others rail-voltage",
        "3.2 V",
        "undo",
        "2.2 V",
        "pause",
    ];
    let out = bench.walk(&script).fine();
    let after = out
        .split("Taken back: buzzer/rail-voltage = 3.2 V")
        .nth(1)
        .unwrap();
    assert!(
        after.contains("-> What does the 3.3 V rail measure?"),
        "{after}"
    );
    let case = bench.run(&["export", "1"]).fine();
    assert!(case.contains("2.2 V") && !case.contains("3.2 V"), "{case}");
    // A remedy too.
    let script = ["1", "done buzzer/clean-grille", "undo", "1", "pause"];
    let _ = bench.walk(&script).fine();
    assert_eq!(entries(&bench), 2);
}

#[test]
fn answers_are_taken_as_they_are_printed() {
    let bench = Bench::new().shipped();
    let about = ["--kind", "phone", "--complaint", "does not charge"];
    let _ = bench.run(&[&["job", "new"], &about[..]].concat()).fine();
    let flip = "charging-port/flip-try";
    for typed in ["one way", "2 one way", "one-way", "2"] {
        let script = ["1", &format!("others {flip}"), typed, "pause"];
        let out = bench.walk(&script).fine();
        assert!(out.contains("2 one way"), "{out}");
        let case = bench.run(&["export", "1"]).fine();
        assert!(
            case.contains("one-way") || case.contains("one way"),
            "{typed}: {case}"
        );
        let _ = bench.run(&["job", "undo", "1"]).fine();
    }
    // A number beside the words of another answer is neither.
    let script = ["1", &format!("others {flip}"), "1 one way", "pause"];
    let _ = bench.walk(&script).not_all_taken();
    let _ = bench.run(&["job", "result", "1", flip, "one way"]).fine();
}

#[test]
fn a_retest_that_was_unclear_is_offered_again() {
    let bench = Bench::with_silent_handheld();
    let _ = bench
        .run(&["job", "remedy", "1", "buzzer/new-sounder"])
        .fine();
    let steps = || -> Vec<(String, bool)> {
        let job = bench.run(&["job", "show", "1", "--format", "json"]).json();
        let all = job["next"]["steps"].as_array().unwrap().clone();
        let of =
            |s: &serde_json::Value| (s["id"].as_str().unwrap().to_owned(), s["retest"] == true);
        all.iter().map(of).collect()
    };
    let (first, retest) = steps()[0].clone();
    assert!(retest, "{first}");
    let _ = bench.run(&["job", "unclear", "1", &first]).fine();
    assert!(
        steps().iter().any(|(id, retest)| *id == first && *retest),
        "{:?}",
        steps()
    );
    // One that cannot be done is not offered; another proves the function or none.
    let _ = bench.run(&["job", "cannot", "1", &first]).fine();
    assert!(!steps().iter().any(|(id, _)| *id == first), "{:?}", steps());
}
