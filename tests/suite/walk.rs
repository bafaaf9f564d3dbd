//! The walk from a pipe, and every command, as a user meets them.

use std::collections::BTreeSet;
use std::io::{Read, Write};

use crate::common::{Bench, snapshots, typed};
use clap::CommandFactory;
use serde_json::Value;

/// A whole job: intake by numbers with a complaint that nothing fits, wrong
/// answers, every word of the walk, a repair that does not help and one that
/// does. Beside each line: how many entries the job has after it, if it is open.
const BY_NUMBERS: &[(&str, Option<usize>)] = &[
    ("7", None),
    ("4", None),
    ("Pip 3", None),
    ("undo", None),
    ("Pip 3", None),
    ("", None),
    ("SN-7", None),
    ("it does odd things", None),
    ("9", None),
    ("1", None),
    ("x", None),
    ("1", None),
    ("2", None),
    ("free of charge", None),
    ("60", Some(0)),
    ("?", Some(0)),
    ("maybe", Some(0)),
    ("why", Some(0)),
    ("why 2", Some(0)),
    ("why 99", Some(0)),
    ("explain", Some(0)),
    ("others", Some(0)),
    ("", Some(0)),
    ("others grille", Some(0)),
    ("?", Some(0)),
    ("back", Some(0)),
    ("b", Some(0)),
    ("suppose", Some(0)),
    ("what if no", Some(0)),
    ("line", Some(0)),
    ("line top", Some(0)),
    ("a", Some(0)),
    ("note it fell on a stone floor", Some(1)),
    ("note", Some(1)),
    ("the lid has a dent", Some(2)),
    ("yes", Some(3)),
    ("others top-buzzer/loud-enough", Some(3)),
    ("2", Some(4)),
    ("cannot it has no service menu", Some(5)),
    ("undo", Some(4)),
    ("others top-buzzer/safe-start", Some(4)),
    ("unclear it crackled", Some(5)),
    ("others rail-voltage", Some(5)),
    ("about three", Some(5)),
    ("3.3 A", Some(5)),
    ("99 V", Some(5)),
    ("3280 mV", Some(6)),
    ("close mended", Some(6)),
    ("done clean-grille", Some(6)),
    ("done top-buzzer/clean-grille", Some(7)),
    ("close", Some(7)),
    ("1", Some(7)),
    ("others top-buzzer/beeps", Some(7)),
    ("n", Some(8)),
    ("close mended", Some(8)),
    ("others top-buzzer/good-sounder", Some(8)),
    ("y", Some(9)),
    ("perhaps", Some(9)),
    ("", Some(9)),
    ("b", Some(9)),
    ("done", Some(9)),
    ("top-buzzer/new-sounder", Some(10)),
    ("close mended", Some(10)),
    ("others top-buzzer/beeps", Some(10)),
    ("yes", Some(11)),
    ("others top-buzzer/loud-enough", Some(11)),
    ("yes", Some(12)),
    ("trail", Some(12)),
    ("close", Some(12)),
    ("mended", Some(12)),
    ("undo", Some(12)),
    ("close", Some(12)),
    ("m", Some(12)),
    ("the disc was torn", Some(12)),
];

/// The line that an exported case file begins with.
const CASE_MARK: &str = "# halfsplit: case file\n";

/// A short job: intake by letters, nothing found.
const BY_LETTERS: &[&str] = &[
    "h",
    "",
    "",
    "No sound at all since yesterday",
    "",
    "",
    "",
    "b",
    "y",
    "close no fault found",
    "it beeps on the bench",
];

fn lines(script: &[(&'static str, Option<usize>)]) -> Vec<&'static str> {
    script.iter().map(|(l, _)| *l).collect()
}

/// Nothing that the program says is wider than the window; what is typed
/// after a prompt may be.
#[track_caller]
fn fits(out: &str, typed: &[&str], columns: usize) {
    for line in out.lines() {
        let wide = unicode_width::UnicodeWidthStr::width(line);
        if wide > columns {
            let prompt = typed
                .iter()
                .filter_map(|t| line.strip_suffix(t))
                .filter(|p| p.ends_with("> ") || p.ends_with("? ") || p.ends_with(": "))
                .map(unicode_width::UnicodeWidthStr::width)
                .min();
            assert!(
                prompt.is_some_and(|p| p <= columns),
                "{wide} columns in a window of {columns}:\n{line}"
            );
        }
    }
}

#[test]
fn a_job_from_intake_to_a_proved_repair_in_a_wide_window() {
    let script = lines(BY_NUMBERS);
    let out = Bench::new().columns(80).walk(&script).not_all_taken();
    fits(&out, &script, 80);
    snapshots().bind(|| insta::assert_snapshot!("whole_job_80", out));
}

#[test]
fn a_job_from_intake_to_a_proved_repair_in_a_narrow_window() {
    let script = lines(BY_NUMBERS);
    let out = Bench::new().columns(60).walk(&script).not_all_taken();
    fits(&out, &script, 60);
    snapshots().bind(|| insta::assert_snapshot!("whole_job_60", out));
}

#[test]
fn a_short_job_answered_by_first_letters() {
    for columns in [60, 80] {
        let out = Bench::new()
            .columns(columns)
            .walk(BY_LETTERS)
            .not_all_taken();
        fits(&out, BY_LETTERS, columns);
        snapshots().bind(|| insta::assert_snapshot!(format!("short_job_{columns}"), out));
    }
}

#[test]
fn the_narrowest_window_holds_every_line_too() {
    let script = lines(BY_NUMBERS);
    let out = Bench::new().columns(40).walk(&script).not_all_taken();
    fits(&out, &script, 40);
}

#[test]
fn input_may_end_at_any_line_and_nothing_confirmed_is_lost() {
    let script = lines(BY_NUMBERS);
    for n in 0..=script.len() {
        let bench = Bench::new();
        let done = bench.walk(&script[..n]);
        // The first line is not taken, and before it nothing is answered.
        assert_eq!(done.code, 1, "after {n} lines: {}", done.out);
        let jobs = bench.run(&["jobs", "--format", "json"]).json();
        let jobs = jobs["jobs"].as_array().unwrap();
        let expected = n.checked_sub(1).and_then(|i| BY_NUMBERS[i].1);
        assert_eq!(
            jobs.len(),
            usize::from(expected.is_some()),
            "after {n} lines"
        );
        if let Some(entries) = expected {
            let job = bench.run(&["job", "show", "1", "--format", "json"]).json();
            assert_eq!(job["entries"], entries, "after {n} lines");
            let ended = n == script.len();
            assert_eq!(jobs[0]["state"], if ended { "mended" } else { "open" });
            if entries > 0 {
                let case = bench.run(&["export", "1"]).fine();
                assert!(case.contains("it fell on a stone floor"), "{case}");
            }
        }
    }
}

/// After a swap the walk asks which part is in: Enter is the old one, and the
/// known-good one is the remedy.
#[test]
fn the_walk_asks_which_part_is_fitted_after_a_swap() {
    let swap = ["others buzzer/good-sounder", "y"];
    for (answer, stays, results) in [
        ("", false, 1),
        ("1", false, 1),
        ("2", true, 1),
        ("stays", true, 1),
        ("undo", false, 0),
    ] {
        let bench = Bench::new();
        let script = [&BY_LETTERS[..7], &swap, &[answer, "pause"]].concat();
        let out = bench.walk(&script).fine();
        assert!(out.contains("Which part is fitted now?"), "{out}");
        let case = bench.run(&["export", "1"]).fine();
        assert_eq!(case.contains("new-sounder"), stays, "{answer}: {case}");
        let swaps = case.matches("good-sounder").count();
        assert_eq!(swaps, results, "{answer}: {case}");
    }
}

#[test]
fn a_last_line_without_an_end_counts() {
    let bench = Bench::new();
    let mut input = typed(&["4", "", "", "no sound", "", "", ""]);
    input += "note half a line";
    let _ = bench.feed(&[], input.as_bytes()).fine();
    let job = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(job["entries"], 1);
}

#[test]
fn a_closed_output_pipe_ends_the_program_quietly() {
    let script = typed(&lines(BY_NUMBERS));
    for read in [0, 1, 100, 2000] {
        let bench = Bench::new();
        let mut child = bench.start(&[]);
        let mut out = child.stdout.take().unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = script.clone();
        let writer = std::thread::spawn(move || {
            let _ = stdin.write_all(input.as_bytes());
        });
        let mut some = vec![0; read];
        out.read_exact(&mut some).unwrap();
        drop(out);
        let done = child.wait_with_output().unwrap();
        writer.join().unwrap();
        assert_eq!(done.status.code(), Some(0), "after {read} bytes");
        assert_eq!(String::from_utf8_lossy(&done.stderr), "");
    }
    let bench = Bench::with_silent_handheld();
    for args in [
        &["job", "show", "1"][..],
        &["--help"],
        &["man"],
        &["rules", "schema"],
    ] {
        let mut child = bench.start(args);
        drop(child.stdout.take());
        drop(child.stdin.take());
        let done = child.wait_with_output().unwrap();
        assert_eq!(String::from_utf8_lossy(&done.stderr), "", "{args:?}");
        assert_eq!(done.status.code(), Some(0), "{args:?}");
    }
}

#[test]
fn a_job_is_taken_up_where_it_was_left() {
    let bench = Bench::new();
    let first = [
        "4",
        "Pip 3",
        "",
        "SN-7",
        "no sound",
        "1",
        "",
        "",
        "note first day",
        "pause",
    ];
    let _ = bench.walk(&first).fine();
    let again = ["12", "one", "?", "1", "undo", "note second day", "pause"];
    let out = bench.walk(&again).not_all_taken();
    fits(&out, &again, 80);
    snapshots().bind(|| insta::assert_snapshot!("taken_up_again", out));
    let case = bench.run(&["export", "1"]).fine();
    assert!(
        case.contains("second day") && !case.contains("first day"),
        "{case}"
    );
    // Enter opens a new one; the serial number tells of the old one.
    let new = ["", "4", "Pip 3", "", "sn-7", "pause"];
    let out = bench.walk(&new).fine();
    assert!(out.contains("This unit has been here before:"), "{out}");
    assert!(out.contains("nothing is kept"), "{out}");
    let _ = bench
        .run(&["job", "close", "1", "not-worth-it", "too old"])
        .fine();
    let out = bench.walk(&["pause"]).fine();
    assert!(!out.contains("Open jobs"), "{out}");
}

#[test]
fn undo_at_intake_goes_back_one_question() {
    let bench = Bench::new();
    let script = [
        "undo",
        "phone",
        "undo",
        "handheld",
        "undo",
        "4",
        "Pip 9",
        "undo",
        "Pip 3",
        "rev 2",
        "undo",
        "rev 3",
        "S1",
        "undo",
        "S2",
        "no idea",
        "undo",
        "no idea",
        "1",
        "undo",
        "no sound",
        "undo",
        "no sound from either buzzer",
        "2",
        "undo",
        "no sound",
        "1",
        "1",
        "undo",
        "2",
        "30",
        "pause",
    ];
    let out = bench.walk(&script).fine();
    fits(&out, &script, 80);
    snapshots().bind(|| insta::assert_snapshot!("undo_at_intake", out));
    let case = bench.run(&["export", "1"]).fine();
    snapshots().bind(|| insta::assert_snapshot!("undo_at_intake_case", case));
}

#[test]
fn help_at_intake_asks_the_same_question_again() {
    let script = ["4", "", "", "odd", "?", "1", "?", "1", "?", "", "", "pause"];
    let out = Bench::new().walk(&script).fine();
    assert_eq!(
        out.matches("What does the customer say?").count(),
        1,
        "{out}"
    );
    assert_eq!(out.matches("Which area?").count(), 2, "{out}");
    assert_eq!(out.matches("Numbers that fit").count(), 2, "{out}");
    assert!(out.contains("Job 1 is open."), "{out}");
}

/// Bytes that a terminal would act on, and others that are hard to show.
fn hostile() -> Vec<Vec<u8>> {
    let mut long = vec![b'x'; 490];
    let mut spaced = "a bc def ".repeat(50).into_bytes();
    spaced.push(b'.');
    long.push(b'.');
    let mut all: Vec<u8> = (1..=255u8).filter(|b| *b != b'\n').collect();
    all.extend(b"end");
    vec![
        long,
        spaced,
        all,
        b"\x1b[31mred\x1b[0m \x1b]0;title\x07 \x1b[2J\x08\x08 \r over \x00 \x7f".to_vec(),
        "\u{9b}31m \u{85} \u{202e}reversed\u{202c} \u{2028} \u{feff}"
            .as_bytes()
            .to_vec(),
        "\u{2066}left\u{2067}right\u{2068}own\u{2069} \u{200e}\u{200f}\u{61c} marks"
            .as_bytes()
            .to_vec(),
        "שלום עולם, אין צליל بدون صوت".as_bytes().to_vec(),
        "無音です 音が出ない 🔇 e\u{301}\u{301}\u{301}"
            .as_bytes()
            .to_vec(),
        b"\xff\xfe\x80 not a text \xc3".to_vec(),
        b"' OR 1=1; -- \\ \"quoted\" {{braces}} <b>bold</b> %s %n".to_vec(),
        b"- 1. # | > & ```".to_vec(),
    ]
}

/// Characters that turn the direction of the text after them.
const TURNS: [char; 12] = [
    '\u{61c}', '\u{200e}', '\u{200f}', '\u{202a}', '\u{202b}', '\u{202c}', '\u{202d}', '\u{202e}',
    '\u{2066}', '\u{2067}', '\u{2068}', '\u{2069}',
];

#[track_caller]
fn harmless(raw: &[u8], what: &str) {
    // A case file has to hold what was typed, to the letter.
    let turns = !what.contains("export");
    let text = std::str::from_utf8(raw).unwrap();
    let bad: Vec<char> = text
        .chars()
        .filter(|c| c.is_control() && *c != '\n' || turns && TURNS.contains(c))
        .collect();
    assert!(bad.is_empty(), "{what}: {bad:?}");
}

#[test]
fn hostile_lines_are_kept_and_never_reach_the_terminal_raw() {
    for (n, line) in hostile().into_iter().enumerate() {
        // As on a terminal with colour: nothing is stripped on the way.
        let bench = Bench::new().env("NO_COLOR", "").env("CLICOLOR_FORCE", "1");
        let mut input: Vec<u8> = Vec::new();
        let mut put = |l: &[u8]| {
            input.extend(l);
            input.push(b'\n');
        };
        // A device kind, a model, a variant, a serial number, a complaint.
        put(&line);
        put(b"4");
        for _ in 0..3 {
            put(&line);
        }
        put(&line);
        for l in ["1", "1", "", ""] {
            put(l.as_bytes());
        }
        put(&line);
        put(&[b"note ", &line[..]].concat());
        put(&[b"cannot ", &line[..]].concat());
        put(&[b"others ", &line[..]].concat());
        put(&[b"done ", &line[..]].concat());
        put(&[b"suppose ", &line[..]].concat());
        put(&[b"why ", &line[..]].concat());
        put(&[b"line ", &line[..]].concat());
        put(b"trail");
        put(b"close not worth it");
        put(&line);
        let done = bench.feed(&[], &input);
        harmless(&done.raw, &format!("walk {n}"));
        let out = done.not_all_taken();
        assert!(out.contains("Job 1 is closed"), "{n}: {out}");
        for args in [
            &["jobs"][..],
            &["jobs", "--format", "json"],
            &["job", "show", "1"],
            &["job", "show", "1", "--format", "json"],
            &["trail", "1"],
            &["trail", "1", "--html"],
            &["trail", "1", "--reader", "customer"],
            &["trail", "1", "--format", "json"],
            &["export", "1"],
        ] {
            let done = bench.run(args);
            harmless(&done.raw, &format!("{args:?} {n}"));
            let out = done.fine();
            if args.contains(&"json") {
                let _: Value = serde_json::from_str(&out).unwrap();
            }
        }
        // What was typed is kept to the letter, and survives the way out and in.
        let whole = |job: &str| {
            let mut t = bench.run(&["trail", job, "--format", "json"]).json();
            t.as_object_mut().unwrap().remove("job");
            t
        };
        let file = bench.path("case.yaml").display().to_string();
        let _ = bench.run(&["export", "1", &file]).fine();
        let screen = bench.run(&["export", "1"]).raw;
        let written = std::fs::read(&file).unwrap();
        assert_eq!(screen, written[CASE_MARK.len()..], "{n}");
        let _ = bench.run(&["import", &file]).fine();
        assert_eq!(whole("1"), whole("2"), "{n}");
        assert_eq!(
            whole("1")["reason"],
            String::from_utf8_lossy(&line).trim(),
            "{n}"
        );
    }
}

// ---- commands -----------------------------------------------------------

/// A bench with one open job.
fn with_job() -> Bench {
    let bench = Bench::new();
    let _ = bench
        .run(&[
            "job",
            "new",
            "--kind",
            "handheld",
            "--model",
            "Pip 3",
            "--serial",
            "SN-7",
            "--complaint",
            "no sound",
            "--symptom",
            "top-buzzer/silent",
            "--history",
            "drop",
            "--limit",
            "90",
        ])
        .fine();
    bench
}

#[test]
fn every_action_of_a_job_as_a_command_in_words() {
    let bench = with_job();
    let mut all = String::new();
    for args in [
        &["job", "show", "1"][..],
        &["job", "note", "1", "fell on a stone floor"],
        &[
            "job",
            "result",
            "1",
            "rail-voltage",
            "3,28 V",
            "--note",
            "at the capacitor",
        ],
        &["job", "cannot", "1", "top-buzzer/good-sounder", "no spare"],
        &[
            "job",
            "unclear",
            "1",
            "volume-shown",
            "--note",
            "cracked display",
        ],
        &["job", "result", "1", "top-buzzer/beeps", "no"],
        &["job", "undo", "1"],
        &["job", "why", "1"],
        &["job", "why", "1", "2"],
        &["job", "suppose", "1", "top-buzzer/beeps", "yes"],
        &[
            "job",
            "remedy",
            "1",
            "top-buzzer/new-sounder",
            "--note",
            "from stock",
        ],
        &["job", "result", "1", "top-buzzer/beeps", "yes"],
        &["job", "result", "1", "top-buzzer/loud-enough", "yes"],
        &["job", "close", "1", "mended", "the disc was torn"],
        &["job", "show", "1"],
        &["jobs"],
        &["job", "reopen", "1"],
        &["jobs", "--state", "open", "pip"],
        &["jobs", "no such words"],
    ] {
        let out = bench.run(args).fine();
        fits(&out, &[], 80);
        all += &format!("$ {}\n{out}\n", args.join(" "));
    }
    snapshots().bind(|| insta::assert_snapshot!("commands", all));
}

#[test]
fn what_is_in_the_rules_is_listed_and_explained() {
    let bench = Bench::new();
    let mut all = String::new();
    for id in [
        "",
        "side-buzzer/silent",
        "loud",
        "buzzer/beep",
        "sounder.torn",
        "good-sounder",
        "seat-plug",
        "sounder-plug",
    ] {
        let args: Vec<&str> = ["rules", "explain", id]
            .into_iter()
            .filter(|a| !a.is_empty())
            .collect();
        let out = bench.run(&args).fine();
        fits(&out, &[], 80);
        all += &format!("$ {}\n{out}\n", args.join(" "));
    }
    snapshots().bind(|| insta::assert_snapshot!("explained", all));
    assert_eq!(
        bench.run(&["rules", "explain", "buzzer"]).fine(),
        bench.run(&["rules", "explain"]).fine()
    );
    let e = bench
        .run(&["rules", "explain", "left-buzzer/silent"])
        .refused(1);
    assert!(e.contains("did you mean `buzzer/silent`?"), "{e}");
    let e = bench.run(&["rules", "explain", "xyzzy"]).refused(1);
    assert!(e.contains("`halfsplit rules explain` lists all"), "{e}");
}

#[test]
fn every_action_of_a_job_as_a_command_in_json() {
    let bench = with_job();
    let run = |args: &[&str]| {
        let v = bench.run(&[&["--format", "json"], args].concat()).json();
        assert_eq!(v["version"], 1, "{args:?}");
        v
    };
    for (args, entries) in [
        (&["job", "show", "1"][..], 0),
        (&["job", "note", "1", "a remark"], 1),
        (&["job", "result", "1", "rail-voltage", "-0"], 2),
        (&["job", "undo", "1"], 1),
        (&["job", "cannot", "1", "top-buzzer/mend-line"], 2),
        (&["job", "unclear", "1", "volume-shown"], 3),
        (&["job", "remedy", "1", "turn-up"], 4),
        (&["job", "close", "1", "not", "worth"], 4),
    ] {
        if args[1] == "close" {
            // Two ways begin with `not`.
            let e = bench
                .run(&[&["--format", "json"], args].concat())
                .refused(1);
            assert!(
                e.contains("not-mended, no-fault-found, not-worth-it"),
                "{e}"
            );
            continue;
        }
        let v = run(args);
        assert_eq!(v["job"], 1);
        assert_eq!(v["entries"], entries, "{args:?}");
        let sum: f64 = v["belief"]["candidates"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c["posterior"].as_f64().unwrap())
            .sum();
        assert!(sum > 0.8 && sum < 1.0 + 1e-9, "{sum}");
    }
    assert!(run(&["job", "why", "1"])["weights"].is_array());
    assert_eq!(
        run(&["job", "suppose", "1", "top-buzzer/beeps", "n"])["shows"],
        "fails"
    );
    assert_eq!(
        run(&["job", "close", "1", "not-m", "gave up"])["closed"],
        "not-mended"
    );
    assert!(run(&["job", "reopen", "1"])["closed"].is_null());
    assert_eq!(run(&["jobs"])["jobs"].as_array().unwrap().len(), 1);
    assert!(
        run(&["jobs", "--state", "mended"])["jobs"]
            .as_array()
            .unwrap()
            .is_empty()
    );
    assert_eq!(run(&["trail", "1"])["steps"].as_array().unwrap().len(), 4);
    let new = run(&[
        "job",
        "new",
        "--kind",
        "handheld",
        "--complaint",
        "too quiet",
    ]);
    assert_eq!((&new["job"], &new["entries"]), (&2.into(), &0.into()));
}

#[test]
fn the_list_of_jobs_follows_an_undo_and_a_closing() {
    let bench = with_job();
    let line = || {
        let v = bench.run(&["jobs", "--format", "json"]).json();
        v["jobs"][0]["cause"].as_str().unwrap().to_owned()
    };
    let before = line();
    let _ = bench
        .run(&["job", "result", "1", "volume-shown", "down"])
        .fine();
    assert_ne!(line(), before);
    let _ = bench.run(&["job", "undo", "1"]).fine();
    assert_eq!(line(), before);
    let _ = bench
        .run(&["job", "close", "1", "not-worth-it", "too old"])
        .fine();
    assert_eq!(line(), "too old");
    let _ = bench.run(&["job", "reopen", "1"]).fine();
    assert_eq!(line(), before);
}

#[test]
fn refusals_say_what_is_wrong_and_end_with_their_code() {
    let bench = with_job();
    let not_a_case = bench.path("list.yaml");
    std::fs::write(&not_a_case, "- 1\n- 2\n").unwrap();
    let not_a_case = not_a_case.display().to_string();
    let mut all = String::new();
    for (code, args) in [
        (1, &["job", "show", "7"][..]),
        (1, &["trail", "7"]),
        (1, &["export", "7"]),
        (1, &["job", "result", "1", "top-buzzer/beps", "yes"]),
        (1, &["job", "result", "1", "beeps", "yes"]),
        (1, &["job", "result", "1", "volume-shown", "sideways"]),
        (1, &["job", "result", "1", "top-buzzer/beeps", "perhaps"]),
        (1, &["job", "result", "1", "rail-voltage", "3 A"]),
        (1, &["job", "result", "1", "rail-voltage", "-5"]),
        (1, &["job", "result", "1", "rail-voltage", "some"]),
        (1, &["job", "result", "1", "rail-voltage", "1800"]),
        (1, &["job", "result", "1", "rail-voltage", "1200 V"]),
        (1, &["job", "result", "1", "rail-voltage", "short"]),
        (1, &["job", "remedy", "1", "turn-down"]),
        (1, &["job", "cannot", "1", "nothing-like-it"]),
        (1, &["job", "why", "1", "0"]),
        (1, &["job", "suppose", "1", "top-buzzer/beps", "yes"]),
        (1, &["job", "undo", "1"]),
        (1, &["job", "reopen", "1"]),
        (1, &["job", "close", "1", "mended", "it works"]),
        (1, &["job", "close", "1", "exploded", "it does"]),
        (1, &["job", "close", "1", "not-mended", "  "]),
        (
            1,
            &["job", "new", "--kind", "handheld", "--complaint", "odd"],
        ),
        (
            1,
            &["job", "new", "--kind", "toaster", "--complaint", "no sound"],
        ),
        (
            1,
            &[
                "job",
                "new",
                "--kind",
                "handheld",
                "--complaint",
                "no sound",
                "--symptom",
                "silnt",
            ],
        ),
        (
            1,
            &[
                "job",
                "new",
                "--kind",
                "handheld",
                "--complaint",
                "no sound",
                "--history",
                "fire",
            ],
        ),
        (1, &["import", "missing.yaml"]),
        (1, &["import", &not_a_case]),
        (1, &["rules", "explain", "buzer"]),
        (1, &["demo", "no-such-demo"]),
        (2, &["job", "show"]),
        (2, &["job", "show", "one"]),
        (2, &["job", "shwo", "1"]),
        (2, &["jobs", "--state", "ajar"]),
        (
            2,
            &["trail", "1", "--reader", "customer", "--format", "json"],
        ),
        (
            2,
            &["trail", "1", "--reader", "customer", "--format", "svg"],
        ),
        (2, &["job", "show", "1", "--format", "svg"]),
        (1, &["job", "line", "1", "rail"]),
        (2, &["--candidates", "9", "jobs"]),
        (2, &["--rate", "free", "jobs"]),
        (2, &["completions", "abacus"]),
    ] {
        let done = bench.run(args);
        assert!(done.out.is_empty(), "{args:?}: {}", done.out);
        let words = bench.filtered(&args.join(" "));
        // How a place in a file is shown is no matter of these tests.
        let said = done.refused(code);
        all += &format!(
            "$ {words}\n{}\n\n",
            said.split("\n\n").next().unwrap().trim()
        );
    }
    snapshots().bind(|| insta::assert_snapshot!("refusals", all));
    let v = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(v["entries"], 0, "a refusal enters nothing");
}

#[test]
fn an_exported_job_comes_back_with_the_same_belief() {
    let bench = with_job();
    for args in [
        &[
            "job",
            "result",
            "1",
            "rail-voltage",
            "3.3 V",
            "--note",
            "steady",
        ][..],
        &["job", "note", "1", "yes"],
        &["job", "result", "1", "top-buzzer/good-sounder", "yes"],
        &["job", "remedy", "1", "top-buzzer/seat-plug"],
        &["job", "result", "1", "top-buzzer/beeps", "no"],
        &["job", "unclear", "1", "volume-shown"],
        &["job", "cannot", "1", "side-buzzer/beeps", "no"],
    ] {
        let _ = bench.run(args).fine();
    }
    let file = bench.path("out/case.yaml");
    std::fs::create_dir(file.parent().unwrap()).unwrap();
    let file = file.display().to_string();
    let _ = bench.run(&["export", "1", &file]).fine();
    let screen = bench.run(&["export", "1"]).fine();
    let written = bench.filtered(&std::fs::read_to_string(&file).unwrap());
    assert_eq!(written.strip_prefix(CASE_MARK), Some(&*screen));
    let show = |job: &str| {
        let mut v = bench.run(&["job", "show", job, "--format", "json"]).json();
        v.as_object_mut().unwrap().remove("job");
        v
    };
    let imported = bench.run(&["import", &file, "--format", "json"]).json();
    assert_eq!(imported["job"], 2);
    assert_eq!(show("1"), show("2"));
    assert_eq!(screen, bench.run(&["export", "2"]).fine());
    let text = bench.run(&["import", &file]).fine();
    assert!(text.starts_with("Job 3 holds 7 entries"), "{text}");
    // Replayed without the store, it ends at the same belief too.
    let replayed = bench.run(&["replay", &file, "--format", "json"]).json();
    assert_eq!(replayed["end"]["belief"], show("1")["belief"]);
}

#[test]
fn the_trail_in_all_its_forms() {
    let bench = with_job();
    for args in [
        &["job", "result", "1", "top-buzzer/beeps", "no"][..],
        &["job", "remedy", "1", "top-buzzer/new-sounder"],
        &["job", "result", "1", "top-buzzer/beeps", "yes"],
    ] {
        let _ = bench.run(args).fine();
    }
    let bench_text = bench.run(&["trail", "1"]).fine();
    snapshots().bind(|| insta::assert_snapshot!("trail_bench", bench_text));
    let customer = bench.run(&["trail", "1", "--reader", "customer"]).fine();
    snapshots().bind(|| insta::assert_snapshot!("trail_customer", customer));
    assert!(!customer.contains("top-buzzer/"), "{customer}");
    for reader in ["bench", "customer"] {
        let page = bench
            .run(&["trail", "1", "--html", "--reader", reader])
            .fine();
        assert!(page.starts_with("<!DOCTYPE html>") || page.starts_with("<!doctype html>"));
        assert!(page.contains("Pip 3"));
        let file = bench.path(&format!("{reader}.html")).display().to_string();
        let said = bench
            .run(&["trail", "1", "--html", "--reader", reader, "-o", &file])
            .fine();
        assert_eq!(said, format!("Written to [HOME]/{reader}.html\n"));
        let written = std::fs::read_to_string(&file).unwrap();
        let written = bench.filtered(&written);
        let mark = written.strip_prefix(&page).unwrap();
        assert!(mark.starts_with("<!-- halfsplit: ") && mark.lines().count() == 1);
    }
    let picture = bench.run(&["trail", "1", "--format", "svg"]).fine();
    assert!(picture.starts_with("<svg "), "{picture}");
    let e = bench
        .run(&["trail", "1", "--out", "no/such/folder/x.md"])
        .refused(1);
    assert!(e.contains("no/such/folder/x.md"), "{e}");
}

#[test]
fn pause_at_a_question_within_a_step_leaves_with_nothing_entered() {
    for ask in ["note", "others", "done", "close", "close not mended"] {
        let bench = Bench::new();
        let script = ["4", "", "", "no sound", "1", "", "", "b", ask, "?", "pause"];
        let out = bench.walk(&script).fine();
        let words: Vec<&str> = out.split_whitespace().collect();
        let said = words.join(" ");
        assert!(said.contains("Enter goes back, `pause` leaves."), "{out}");
        assert!(out.contains("Job 1 is kept as it stands"), "{out}");
        let v = bench.run(&["job", "show", "1", "--format", "json"]).json();
        assert_eq!(v["entries"], 0, "{ask}");
    }
}

#[test]
fn after_a_remedy_its_retests_come_first() {
    let bench = with_job();
    let next = |args: &[&str]| {
        let v = bench.run(&[args, &["--format", "json"]].concat()).json();
        let first = &v["next"]["steps"][0];
        (
            first["id"].as_str().unwrap().to_owned(),
            first["retest"] == true,
            v["retests_due"].as_array().unwrap().len(),
        )
    };
    let (_, retest, due) = next(&["job", "result", "1", "top-buzzer/beeps", "no"]);
    assert_eq!((retest, due), (false, 0));
    let (id, retest, due) = next(&["job", "remedy", "1", "top-buzzer/new-sounder"]);
    assert_eq!((id.as_str(), retest), ("top-buzzer/beeps", true));
    assert!(due >= 1);
    // One that fails owes nothing more: the search goes on.
    let (_, retest, _) = next(&["job", "result", "1", "top-buzzer/beeps", "no"]);
    assert!(!retest);
}

#[test]
fn a_job_outlives_the_rules_that_its_entries_rest_on() {
    let bench = with_job();
    for args in [
        &["job", "result", "1", "rail-voltage", "3.3 V"][..],
        &["job", "result", "1", "top-buzzer/beeps", "no"],
    ] {
        let _ = bench.run(args).fine();
    }
    let folder = bench.copy_of_rules("changed");
    let pack = folder.join("buzzer.yaml");
    let text = std::fs::read_to_string(&pack).unwrap();
    std::fs::write(&pack, text.replace("rail-voltage:", "rail-volts:")).unwrap();
    let bench = bench.rules(&folder);
    let shown = bench.run(&["job", "show", "1"]).fine();
    fits(&shown, &[], 80);
    assert!(
        shown.contains("Kept, but not counted: entry 1: no test is called `rail-voltage`"),
        "{shown}"
    );
    let v = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(v["not_counted"].as_array().unwrap().len(), 1);
    assert_eq!(v["entries"], 2);
    let trail = bench.run(&["trail", "1"]).fine();
    assert!(trail.contains("rail-voltage"), "{trail}");
    assert!(trail.contains("3.3 V"), "{trail}");
    // It goes on: what fits is entered, what does not is refused.
    let e = bench
        .run(&["job", "result", "1", "rail-voltage", "3.3 V"])
        .refused(1);
    assert!(e.contains("no test is called"), "{e}");
    let v = bench
        .run(&[
            "job",
            "result",
            "1",
            "rail-volts",
            "3.3 V",
            "--format",
            "json",
        ])
        .json();
    assert_eq!(v["entries"], 3);
    // Under the old rules everything counts again but the new entry.
    let v = bench
        .rules(&crate::common::walk_rules())
        .run(&["job", "show", "1", "--format", "json"])
        .json();
    assert_eq!(v["not_counted"].as_array().unwrap().len(), 1);
}

#[test]
fn changed_rules_say_what_they_moved() {
    let bench = with_job();
    let _ = bench
        .run(&["job", "result", "1", "top-buzzer/beeps", "no"])
        .fine();
    assert!(bench.run(&["job", "show", "1", "--format", "json"]).json()["rules_moved"].is_null());
    let folder = bench.copy_of_rules("changed");
    let pack = folder.join("buzzer.yaml");
    let text = std::fs::read_to_string(&pack).unwrap();
    let changed = text.replace("torn: {rate: 150", "torn: {rate: 20").replace(
        "open: {rate: 50, name: broken",
        "open: {rate: 180, name: broken",
    );
    assert_ne!(changed, text);
    std::fs::write(&pack, changed).unwrap();
    let bench = bench.rules(&folder);
    let shown = bench.run(&["job", "show", "1"]).fine();
    fits(&shown, &[], 80);
    let trail = bench.run(&["trail", "1"]).fine();
    let walk = bench.walk(&["1", "pause"]).fine();
    snapshots().bind(|| insta::assert_snapshot!("rules_changed", format!("{shown}\n---\n{walk}")));
    assert!(
        trail.contains("Under the rules of today: The rules have changed"),
        "{trail}"
    );
    let v = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert!(
        v["rules_moved"].as_str().unwrap().contains("disc torn"),
        "{v}"
    );
    // The next entry is shown under the new rules; then nothing has moved.
    let _ = bench.run(&["job", "note", "1", "seen again"]).fine();
    assert!(bench.run(&["job", "show", "1", "--format", "json"]).json()["rules_moved"].is_null());
}

#[test]
fn rules_that_are_wrong_stop_a_walk_before_it_begins() {
    let bench = Bench::new();
    let folder = bench.copy_of_rules("wrong");
    let pack = folder.join("buzzer.yaml");
    let text = std::fs::read_to_string(&pack).unwrap();
    std::fs::write(&pack, text.replace("loses: beep", "loses: bep")).unwrap();
    let bench = bench.rules(&folder);
    let e = bench.walk(&["4"]).refused(1);
    assert!(
        e.contains("the rules have 1 problem:") && e.contains("`beep`"),
        "{e}"
    );
    assert!(!bench.store().exists());
}

#[test]
fn a_store_that_cannot_be_used_is_named() {
    let bench = Bench::new();
    std::fs::write(bench.path("file"), "text").unwrap();
    for place in ["file", "file/jobs.sqlite", "."] {
        let place = bench.path(place).display().to_string();
        let e = bench.run(&["jobs", "--store", &place]).refused(1);
        assert!(e.contains("[HOME]"), "{e}");
    }
    // Without any word on it, the store is in the platform's data folder.
    let bench = Bench::new().env("HALFSPLIT_STORE", "");
    let _ = bench.run(&["jobs"]).fine();
    assert!(!bench.path(".local").exists(), "listing makes nothing");
    let about = ["--kind", "handheld", "--complaint", "no sound"];
    let _ = bench.run(&[&["job", "new"], &about[..]].concat()).fine();
    assert!(!bench.store().exists());
    assert!(bench.path(".local/share/halfsplit/jobs.sqlite").exists());
}

// ---- help, completions, manual ------------------------------------------

/// Every command with its words, itself before its own commands.
fn commands() -> Vec<Vec<String>> {
    fn collect(c: &clap::Command, at: &[String], out: &mut Vec<Vec<String>>) {
        out.push(at.to_vec());
        for sub in c.get_subcommands() {
            let mut at = at.to_vec();
            at.push(sub.get_name().to_owned());
            collect(sub, &at, out);
        }
    }
    let mut out = Vec::new();
    collect(&halfsplit::cli::Args::command(), &[], &mut out);
    out
}

#[test]
fn the_definition_of_the_arguments_is_sound() {
    halfsplit::cli::Args::command().debug_assert();
}

/// A help text up to its options, and each option with what is said of it. Text
/// after the options counts to the last one.
fn options(help: &str) -> (String, Vec<String>) {
    let is_option = |line: &str| line.starts_with("  -") || line.starts_with("      --");
    let mut lines = help.split_inclusive('\n').peekable();
    let mut head = String::new();
    while let Some(line) = lines.next_if(|line| !is_option(line)) {
        head += line;
    }
    let mut options: Vec<String> = Vec::new();
    for line in lines {
        match options.last_mut() {
            Some(option) if !is_option(line) => *option += line,
            _ => options.push(line.to_owned()),
        }
    }
    (head, options)
}

/// The help of a command without the options that it shares with all.
fn own_help(help: &str, common: &[String]) -> String {
    let (mut out, own) = options(help);
    let is_common = |option: &String| common.iter().any(|c| c.trim_end() == option.trim_end());
    out.extend(own.iter().filter(|o| !is_common(o)).cloned());
    out = out.trim_end().to_owned() + "\n\n      [the common options]\n";
    let missing = |c: &&String| !own.iter().any(|o| o.trim_end() == c.trim_end());
    for c in common.iter().filter(missing) {
        out += &format!("      [but not this one]\n{}\n", c.trim_end());
    }
    out
}

/// The options that all commands share are shown once, with the program's own help.
#[test]
fn help_of_every_command() {
    let bench = Bench::new();
    let (_, mut common) = options(&bench.run(&["--help"]).fine());
    // These are of the program alone.
    common.retain(|o| !["--new", "--version"].iter().any(|of| o.contains(of)));
    let mut all = String::new();
    for words in commands() {
        let mut args: Vec<&str> = words.iter().map(String::as_str).collect();
        args.push("--help");
        let out = bench.run(&args).fine();
        fits(&out, &[], 80);
        let shown = match words.is_empty() {
            true => out,
            false => own_help(&out, &common),
        };
        all += &format!("$ halfsplit {}\n{shown}\n", args.join(" "));
        args.pop();
        args.push("-h");
        assert!(!bench.run(&args).fine().is_empty());
    }
    snapshots().bind(|| insta::assert_snapshot!("help", all));
}

#[test]
fn completions_and_the_manual_name_every_command() {
    let bench = Bench::new();
    let names: BTreeSet<String> = commands().into_iter().flatten().collect();
    assert!(names.len() > 20);
    for args in [
        &["completions", "bash"][..],
        &["completions", "zsh"],
        &["completions", "fish"],
        &["man"],
    ] {
        let out = bench.run(args).fine();
        let out = out.replace("\\-", "-");
        for n in &names {
            assert!(out.contains(n.as_str()), "{args:?} does not name `{n}`");
        }
    }
}

// ---- the rules that are built in ----------------------------------------

#[test]
fn a_walk_through_the_rules_that_are_built_in() {
    let bench = Bench::new().shipped().columns(60);
    let script = [
        "phone",
        "",
        "",
        "it will not charge, the plug falls out",
        "",
        "",
        "",
        "yes",
        "pause",
    ];
    // The first step is a look, which takes no `yes`.
    let out = bench.walk(&script).not_all_taken();
    fits(&out, &script, 60);
    let end: Vec<&str> = out.trim_end().lines().rev().take(2).collect();
    assert!(
        format!("{} {}", end[1], end[0]).contains("Job 1 is kept as it stands;"),
        "{out}"
    );
}
