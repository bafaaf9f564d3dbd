//! A bench for end-to-end tests: a home and a store of its own, a clock that
//! stands still, a window of a known width, and nothing else from outside.
#![allow(dead_code, unreachable_pub)]

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// The time that every test sees.
pub const NOW: &str = "2026-03-02T09:00:00Z";

/// The folder with the small rules of these tests.
pub fn walk_rules() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/rulebases/walk")
}

/// What a run of the program came to.
#[must_use = "look at the output or at the exit code"]
pub struct Outcome {
    /// Exit code; -1 after a signal.
    pub code: i32,
    /// Standard output as it came.
    pub raw: Vec<u8>,
    /// Standard output, with paths and fingerprints replaced.
    pub out: String,
    /// Standard error, likewise.
    pub err: String,
}

impl Outcome {
    /// The output of a run that has to succeed and say nothing on the side.
    #[track_caller]
    pub fn fine(self) -> String {
        assert_eq!((self.code, self.err.as_str()), (0, ""), "{}", self.out);
        self.out
    }
    /// The same, read as JSON.
    #[track_caller]
    pub fn json(self) -> serde_json::Value {
        let text = self.fine();
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("no JSON: {e}\n{text}"))
    }
    /// The output of a run on input of which some lines were not taken.
    #[track_caller]
    pub fn not_all_taken(self) -> String {
        assert_eq!(self.code, 1, "{}{}", self.out, self.err);
        assert!(
            self.err.contains("the input was not all taken"),
            "{}",
            self.err
        );
        self.out
    }
    /// The complaint of a run that has to end with this code.
    #[track_caller]
    pub fn refused(self, code: i32) -> String {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        assert!(!self.err.is_empty(), "a refusal has to say why");
        self.err
    }
}

/// The program with its surroundings.
pub struct Bench {
    home: TempDir,
    columns: usize,
    rules: Option<PathBuf>,
    env: Vec<(String, String)>,
}

impl Bench {
    /// With the small rules, 80 columns wide.
    pub fn new() -> Self {
        Bench {
            home: tempfile::tempdir().unwrap(),
            columns: 80,
            rules: Some(walk_rules()),
            env: Vec::new(),
        }
    }
    /// With a job about a handheld without sound, its first.
    pub fn with_silent_handheld() -> Self {
        Bench::with_silent_handheld_and(&[])
    }
    /// The same where more is said of the job.
    pub fn with_silent_handheld_and(more: &[&str]) -> Self {
        let bench = Bench::new();
        let about = ["--kind", "handheld", "--complaint", "no sound"];
        let _ = bench
            .run(&[&["job", "new"], &about[..], more].concat())
            .fine();
        bench
    }
    /// With the rules that are built in.
    pub fn shipped(mut self) -> Self {
        self.rules = None;
        self
    }
    /// With other rules alone.
    pub fn rules(mut self, folder: &Path) -> Self {
        self.rules = Some(folder.to_owned());
        self
    }
    /// With a window of this width.
    pub fn columns(mut self, columns: usize) -> Self {
        self.columns = columns;
        self
    }
    /// With one more variable of the environment.
    pub fn env(mut self, name: &str, value: &str) -> Self {
        self.env.push((name.to_owned(), value.to_owned()));
        self
    }
    /// A path in the home of this bench.
    pub fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }
    /// The store of this bench.
    pub fn store(&self) -> PathBuf {
        self.path("jobs.sqlite")
    }
    /// A small copy of the rules that can be changed.
    pub fn copy_of_rules(&self, name: &str) -> PathBuf {
        let to = self.path(name);
        std::fs::create_dir_all(&to).unwrap();
        for f in std::fs::read_dir(walk_rules()).unwrap() {
            let f = f.unwrap();
            std::fs::copy(f.path(), to.join(f.file_name())).unwrap();
        }
        to
    }

    /// The program with arguments, not started yet.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut c = Command::new(env!("CARGO_BIN_EXE_halfsplit"));
        c.env_clear()
            .env("HOME", self.home.path())
            .env("HALFSPLIT_STORE", self.store())
            .env("HALFSPLIT_NOW", NOW)
            .env("COLUMNS", self.columns.to_string())
            .env("NO_COLOR", "1")
            .envs(self.env.iter().cloned())
            .current_dir(self.home.path());
        if let Some(r) = &self.rules {
            c.arg("--rules").arg(r).arg("--only-these-rules");
        }
        c.args(args);
        c
    }

    /// Started, with pipes at all three ends.
    pub fn start(&self, args: &[&str]) -> Child {
        self.command(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }

    /// Run to its end on some bytes of input.
    pub fn feed(&self, args: &[&str], input: &[u8]) -> Outcome {
        let mut child = self.start(args);
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_vec();
        let writer = std::thread::spawn(move || {
            // The program may leave before it has read everything.
            let _ = stdin.write_all(&input);
        });
        let done = child.wait_with_output().unwrap();
        writer.join().unwrap();
        Outcome {
            code: done.status.code().unwrap_or(-1),
            out: self.filtered(&String::from_utf8(done.stdout.clone()).unwrap()),
            err: self.filtered(&String::from_utf8(done.stderr).unwrap()),
            raw: done.stdout,
        }
    }
    /// Run to its end without input.
    pub fn run(&self, args: &[&str]) -> Outcome {
        self.feed(args, b"")
    }
    /// A walk through these lines.
    pub fn walk(&self, lines: &[&str]) -> Outcome {
        self.feed(&[], typed(lines).as_bytes())
    }

    /// Text without what differs from run to run: paths, fingerprints.
    pub fn filtered(&self, text: &str) -> String {
        let home = self.home.path().display().to_string();
        let text = text
            .replace(&home, "[HOME]")
            .replace(&walk_rules().display().to_string(), "[RULES]")
            .replace(env!("CARGO_MANIFEST_DIR"), "[HERE]");
        let mut out = String::with_capacity(text.len());
        let mut run = String::new();
        for c in text.chars().chain(['\n']) {
            if c.is_ascii_digit() || ('a'..='f').contains(&c) {
                run.push(c);
                continue;
            }
            out.push_str(if run.len() == 64 {
                "[FINGERPRINT]"
            } else {
                &run
            });
            run.clear();
            out.push(c);
        }
        out.pop();
        out
    }
}

/// Lines as they come through a pipe.
pub fn typed(lines: &[&str]) -> String {
    lines.iter().map(|l| format!("{l}\n")).collect()
}

/// Settings for snapshots that are read beside these tests.
pub fn snapshots() -> insta::Settings {
    let mut s = insta::Settings::clone_current();
    s.set_prepend_module_to_snapshot(true);
    s.set_omit_expression(true);
    s
}

/// The program on a pipe, answered line by line.
pub struct Talk {
    child: Child,
    pub stdin: ChildStdin,
    heard: mpsc::Receiver<Vec<u8>>,
    out: Vec<u8>,
}

impl Talk {
    pub fn start(bench: &Bench, args: &[&str]) -> Talk {
        let mut child = bench.start(args);
        let stdin = child.stdin.take().unwrap();
        let mut stdout = child.stdout.take().unwrap();
        let (say, heard) = mpsc::channel();
        std::thread::spawn(move || {
            let mut some = [0; 4096];
            while let Ok(n @ 1..) = stdout.read(&mut some) {
                if say.send(some[..n].to_vec()).is_err() {
                    break;
                }
            }
        });
        Talk {
            child,
            stdin,
            heard,
            out: Vec::new(),
        }
    }

    /// What was printed up to the next prompt; nothing if time is up first.
    pub fn prompt_by(&mut self, until: Instant) -> Option<String> {
        loop {
            let last = self.out.rsplit(|b| *b == b'\n').next().unwrap_or(&[]);
            if last.ends_with(b"> ") && last != b"-> " {
                return Some(String::from_utf8(std::mem::take(&mut self.out)).unwrap());
            }
            let left = until.checked_duration_since(Instant::now())?;
            self.out.extend(self.heard.recv_timeout(left).ok()?);
        }
    }

    /// The same within a minute.
    pub fn prompt(&mut self) -> String {
        self.prompt_by(Instant::now() + Duration::from_secs(60))
            .unwrap()
    }

    /// Types a line and waits for the next prompt; nothing if time is up first.
    pub fn say_by(&mut self, line: &str, until: Instant) -> Option<String> {
        let typed = format!("{line}\n");
        self.stdin.write_all(typed.as_bytes()).unwrap();
        self.prompt_by(until)
    }

    /// The same within a minute.
    pub fn say(&mut self, line: &str) -> String {
        self.say_by(line, Instant::now() + Duration::from_secs(60))
            .unwrap()
    }

    /// Ends the input; what is still printed, and the exit code.
    pub fn end(mut self) -> (String, i32) {
        drop(self.stdin);
        let code = self.child.wait().unwrap().code().unwrap();
        while let Ok(some) = self.heard.recv_timeout(Duration::from_secs(60)) {
            self.out.extend(some);
        }
        (String::from_utf8(self.out).unwrap(), code)
    }

    /// Ends it without a warning.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}
