//! The walk on a terminal: typed lines, Ctrl-C and Ctrl-D, a narrow window.
#![cfg(unix)]

use std::process::Command;
use std::time::Duration;

use crate::common::{Bench, NOW, walk_rules};
use expectrl::process::unix::WaitStatus;
use expectrl::session::OsSession;
use expectrl::{ControlCode, Eof, Expect, Session};

/// The program in a window of this width.
struct Window {
    session: OsSession,
    /// Everything that was printed.
    seen: Vec<u8>,
}

impl Window {
    fn open(bench: &Bench, columns: usize) -> Window {
        let mut c = Command::new("/bin/sh");
        c.env_clear()
            .env("PATH", "/usr/local/bin:/usr/bin:/bin")
            .env("HOME", bench.path(""))
            .env("TERM", "xterm")
            .env("HALFSPLIT_NOW", NOW)
            .env("HALFSPLIT_STORE", bench.store())
            .env("PROGRAM", env!("CARGO_BIN_EXE_halfsplit"))
            .env("RULES", walk_rules())
            .arg("-c")
            .arg(format!(
                "read -r go && stty cols {columns} rows 30 && exec \"$PROGRAM\" --rules \"$RULES\" --only-these-rules"
            ));
        let mut session = Session::spawn(c).unwrap();
        session.set_expect_timeout(Some(Duration::from_secs(30)));
        // The pseudo-terminal gets a size of its own at the start.
        session.send_line("go").unwrap();
        Window {
            session,
            seen: Vec::new(),
        }
    }

    /// Waits for some text.
    #[track_caller]
    fn wait(&mut self, text: &str) {
        match self.session.expect(text) {
            Ok(found) => self.seen.extend(found.as_bytes()),
            Err(e) => panic!("no `{text}`: {e}\n{}", self.text()),
        }
    }

    /// Types lines, each after some texts have come, one after the other. The
    /// editor draws a prompt again while a line is typed, so the prompt alone
    /// does not tell that the last line was taken.
    #[track_caller]
    fn talk(&mut self, lines: &[(&str, &str)]) {
        for (texts, line) in lines {
            texts.split('|').for_each(|t| self.wait(t));
            self.session.send_line(line).unwrap();
        }
    }

    fn press(&mut self, key: ControlCode) {
        self.session.send(key).unwrap();
    }

    /// Waits for the end, which has to be a good one.
    #[track_caller]
    fn end(mut self) -> String {
        match self.session.expect(Eof) {
            Ok(found) => self.seen.extend(found.as_bytes()),
            Err(e) => panic!("it does not end: {e}\n{}", self.text()),
        }
        match self.session.get_process().wait().unwrap() {
            WaitStatus::Exited(_, 0) => self.text(),
            other => panic!("{other:?}\n{}", self.text()),
        }
    }

    /// What was printed, without what moves the cursor.
    fn text(&self) -> String {
        let plain = anstream::adapter::strip_bytes(&self.seen).into_vec();
        String::from_utf8_lossy(&plain).replace('\r', "")
    }
}

const INTAKE: &[(&str, &str)] = &[
    ("Device:", "4"),
    ("Model", "Pip 3"),
    ("Variant", ""),
    ("Serial", "SN-7"),
    ("customer say?", "no sound"),
    ("Right?", "1"),
    ("that apply", ""),
    ("it may cost", ""),
];

fn entries(bench: &Bench) -> serde_json::Value {
    bench.run(&["job", "show", "1", "--format", "json"]).json()["entries"].clone()
}

#[test]
fn a_short_walk_typed_in_a_narrow_window() {
    let bench = Bench::new();
    let mut w = Window::open(&bench, 60);
    w.talk(INTAKE);
    w.talk(&[
        ("Where:|(or ?) >", "?"),
        ("are enough.|(or ?) >", "b"),
        ("1 yes, 2 no (or ?) >", "n"),
        ("Where:|(or ?) >", "note seen on a terminal"),
        ("Noted.|(or ?) >", "why"),
        ("The rules count it|(or ?) >", "close"),
        ("not yet) >", "3"),
        ("or why?", "it beeps on the bench"),
    ]);
    let text = w.end();
    assert!(text.contains("Job 1 is closed: no fault found."), "{text}");
    for line in text.lines() {
        // The editor draws a prompt anew while a line is typed; those lines
        // are its own.
        if !line.contains("> ") && !line.contains("or why?") {
            assert!(line.chars().count() <= 60, "{line}");
        }
    }
    assert_eq!(entries(&bench), 2);
    assert!(
        bench
            .run(&["export", "1"])
            .fine()
            .contains("seen on a terminal")
    );
}

#[test]
fn both_keys_end_an_intake_with_nothing_kept() {
    for key in [ControlCode::EndOfText, ControlCode::EndOfTransmission] {
        for asked in [0, 1, 4, 5, 7] {
            let bench = Bench::new();
            let mut w = Window::open(&bench, 80);
            w.talk(&INTAKE[..asked]);
            w.wait(INTAKE[asked].0);
            w.press(key);
            let text = w.end();
            assert!(text.contains("nothing is kept"), "{text}");
            let jobs = bench.run(&["jobs", "--format", "json"]).json();
            assert_eq!(jobs["jobs"].as_array().unwrap().len(), 0);
        }
    }
}

#[test]
fn both_keys_end_a_walk_with_the_job_kept() {
    for key in [ControlCode::EndOfText, ControlCode::EndOfTransmission] {
        let bench = Bench::new();
        let mut w = Window::open(&bench, 80);
        w.talk(INTAKE);
        w.talk(&[
            ("Where:|(or ?) >", "note kept"),
            ("Noted.|(or ?) >", "b"),
            ("1 yes, 2 no (or ?) >", "y"),
        ]);
        w.wait("Where:");
        w.wait("(or ?) >");
        w.press(key);
        let text = w.end();
        assert!(text.contains("Job 1 is kept as it stands"), "{text}");
        assert_eq!(entries(&bench), 2);
        // And at the list of open jobs.
        let mut w = Window::open(&bench, 80);
        w.wait("Number to go on with");
        w.press(key);
        let _ = w.end();
        assert_eq!(entries(&bench), 2);
    }
}

#[test]
fn both_keys_at_a_question_within_a_step_enter_nothing() {
    for key in [ControlCode::EndOfText, ControlCode::EndOfTransmission] {
        let bench = Bench::new();
        let mut w = Window::open(&bench, 80);
        w.talk(INTAKE);
        w.talk(&[("Where:|(or ?) >", "note")]);
        w.wait("Remark");
        w.press(key);
        w.talk(&[("(or ?) >", "close not-mended")]);
        w.wait("or why?");
        w.press(key);
        w.talk(&[("(or ?) >", "pause")]);
        let text = w.end();
        assert!(text.contains("Job 1 is kept as it stands"), "{text}");
        assert_eq!(entries(&bench), 0);
    }
}

#[test]
fn lines_typed_ahead_and_pasted_lines_are_all_taken() {
    let bench = Bench::new();
    let mut w = Window::open(&bench, 80);
    w.wait("Device:");
    // All at once, as a terminal sends what is pasted.
    let lines: Vec<&str> = INTAKE.iter().map(|(_, l)| *l).collect();
    let notes: Vec<String> = (0..60).map(|n| format!("note remark number {n}")).collect();
    let all = lines.join("\r") + "\r" + &notes.join("\r") + "\r";
    w.session.send(&all).unwrap();
    w.wait("Job 1 is open.");
    // While the program works out the advice.
    w.session.send("note busy\r").unwrap();
    w.session.send("pause\r").unwrap();
    let text = w.end();
    assert!(text.contains("Job 1 is kept as it stands"), "{text}");
    let case = bench.run(&["export", "1"]).fine();
    assert_eq!(entries(&bench), notes.len() + 1, "{case}");
    for (n, at) in (0..60).map(|n| (n, case.find(&format!("remark number {n}\n")))) {
        assert!(at.is_some(), "remark {n}: {case}");
    }
    assert!(case.contains("busy"), "{case}");
}

#[test]
fn controls_in_what_was_typed_are_not_sent_to_a_terminal() {
    let bench = Bench::new();
    let mut input = "4\n\n\nno sound\n1\n\n\nnote \u{1b}]0;title\u{7} \u{1b}[2J seen\n".to_owned();
    input += "trail\n";
    let _ = bench.feed(&[], input.as_bytes()).fine();
    let mut w = Window::open(&bench, 80);
    w.talk(&[
        ("go on with", "1"),
        ("Where:|(or ?) >", "trail"),
        ("title|Rules:|(or ?) >", "undo"),
        ("Taken back|Where:|(or ?) >", "pause"),
    ]);
    let raw = {
        w.session
            .expect(Eof)
            .map(|f| w.seen.extend(f.as_bytes()))
            .unwrap();
        w.seen
    };
    let has = |what: &[u8]| raw.windows(what.len()).any(|x| x == what);
    assert!(has(b"title") && has(b"seen"));
    assert!(!has(b"\x1b]0;title") && !has(b"\x1b[2J"));
}
