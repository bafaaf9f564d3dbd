//! Where answers come from: one typed line each, the same for a terminal and
//! for a pipe.

use std::io::{BufRead, BufReader, Read};

use rustyline::error::ReadlineError;

use super::error::{Failure, Result};
use super::terminal::Terminal;
use super::text::fill;

/// What came of asking.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Reply {
    /// A line, without surrounding blanks.
    Line(String),
    /// The input has ended (Ctrl-D, the end of a pipe).
    Ended,
    /// Ctrl-C.
    Interrupted,
}

/// Asks for lines.
pub(super) trait Ask {
    /// Prints the prompt and reads one line.
    ///
    /// # Errors
    /// If nobody reads the prompt any more.
    fn ask(&mut self, terminal: &mut Terminal, prompt: &str) -> Result<Reply>;
    /// The last line was not taken; its number is returned. A person types
    /// another, from a pipe it is lost.
    fn refuse(&mut self) -> usize {
        0
    }
    /// A line that was not taken at first was taken after all.
    fn settle(&mut self, _line: usize) {}
    /// The input may end at this prompt: all that was entered is kept.
    fn may_end(&mut self) {}
    /// That all of the input came to something.
    ///
    /// # Errors
    /// If something did not, with what.
    fn all_taken(&self) -> Result {
        Ok(())
    }
}

/// Whoever works here: on the terminal of the process, or from a pipe.
///
/// # Errors
/// If the terminal cannot be used.
pub(super) fn asker() -> Result<Box<dyn Ask>> {
    if !Terminal::interactive() {
        return Ok(Box::new(Piped::new(std::io::stdin().lock())));
    }
    let typed = Typed::new().ok_or_else(|| Failure::no("the terminal cannot be used"))?;
    Ok(Box::new(typed))
}

/// Columns left for the answer beside a prompt.
const ANSWER: usize = 6;

/// The prompt in the window, with room for an answer.
fn fit(prompt: &str, width: usize) -> String {
    // A number stays with its word, and what is in brackets together.
    let whole = |piece: &str| {
        let (name, more) = piece.split_at(piece.find(" (").unwrap_or(piece.len()));
        let keep = |t: &str| t.replace(' ', "\u{a0}");
        let name = match name.starts_with(|c: char| c.is_ascii_digit()) {
            true => keep(name),
            false => name.to_owned(),
        };
        match more.strip_prefix(' ') {
            Some(more) => format!("{name} {}", keep(more)),
            None => name,
        }
    };
    let lines: Vec<String> = prompt
        .trim_end()
        .lines()
        .map(|l| {
            let pieces: Vec<String> = l.split(", ").map(whole).collect();
            let text = pieces.join(", ").replace(" >", "\u{a0}>");
            fill(&text, width.saturating_sub(ANSWER), "", "")
        })
        .collect();
    format!("{} ", lines.join("\n"))
}

/// Lines from a terminal, with editing and history.
struct Typed(rustyline::DefaultEditor);

impl Typed {
    /// On the terminal of the process.
    fn new() -> Option<Self> {
        // Pasted lines are answers one after the other, as if they were typed;
        // taken as one paste they would be one answer with line ends in it.
        let config = rustyline::Config::builder().bracketed_paste(false).build();
        rustyline::DefaultEditor::with_config(config)
            .ok()
            .map(Typed)
    }
}

impl Ask for Typed {
    fn ask(&mut self, terminal: &mut Terminal, prompt: &str) -> Result<Reply> {
        Ok(match self.0.readline(&fit(prompt, terminal.width)) {
            Ok(line) => {
                let _ = self.0.add_history_entry(&line);
                Reply::Line(line.trim().to_owned())
            }
            Err(ReadlineError::Interrupted) => Reply::Interrupted,
            Err(_) => Reply::Ended,
        })
    }
}

/// Most lines that are named when they were not taken.
const NAMED: usize = 5;

/// Lines from a pipe; each is repeated after its prompt, so that the output
/// reads like a session. Nobody is there to answer again, so what was not taken
/// is told at the end.
struct Piped<R> {
    input: BufReader<R>,
    /// Lines read.
    read: usize,
    last: String,
    /// Lines that were not taken, by number from 1.
    refused: Vec<(usize, String)>,
    /// The prompt at which the input ended.
    unanswered: Option<String>,
    /// How often it was asked after the end.
    ends: usize,
}

impl<R: Read> Piped<R> {
    fn new(input: R) -> Self {
        Piped {
            input: BufReader::new(input),
            read: 0,
            last: String::new(),
            refused: Vec::new(),
            unanswered: None,
            ends: 0,
        }
    }
}

impl<R: Read> Ask for Piped<R> {
    fn ask(&mut self, terminal: &mut Terminal, prompt: &str) -> Result<Reply> {
        let prompt = fit(prompt, terminal.width);
        terminal.print(&prompt)?;
        let mut line = Vec::new();
        let n = self.input.read_until(b'\n', &mut line).unwrap_or(0);
        if n == 0 {
            terminal.line("")?;
            self.ends += 1;
            self.unanswered.get_or_insert(prompt.trim_end().to_owned());
            return Ok(Reply::Ended);
        }
        self.read += 1;
        let line = String::from_utf8_lossy(&line).trim().to_owned();
        terminal.line(&line)?;
        self.last.clone_from(&line);
        Ok(Reply::Line(line))
    }

    fn refuse(&mut self) -> usize {
        if self.refused.last().is_none_or(|r| r.0 != self.read) {
            self.refused.push((self.read, self.last.clone()));
        }
        self.read
    }

    fn settle(&mut self, line: usize) {
        self.refused.retain(|r| r.0 != line);
    }

    fn may_end(&mut self) {
        // A question within a step may have been left before.
        if self.ends == 1 {
            self.unanswered = None;
        }
    }

    fn all_taken(&self) -> Result {
        let mut all = Vec::new();
        if !self.refused.is_empty() {
            let named = self.refused.iter().take(NAMED);
            let mut named: Vec<String> = named
                .map(|(n, text)| {
                    format!("line {n} `{}`", text.chars().take(40).collect::<String>())
                })
                .collect();
            if self.refused.len() > NAMED {
                named.push(format!("{} more", self.refused.len() - NAMED));
            }
            all.push(format!("the input was not all taken: {}", named.join(", ")));
        }
        if let Some(prompt) = &self.unanswered {
            let prompt = prompt.replace('\n', " ");
            all.push(format!("the input ended before an answer to: {prompt}"));
        }
        let rest = String::from_utf8_lossy(self.input.buffer());
        let rest = rest.lines().filter(|l| !l.trim().is_empty()).count();
        if rest > 0 {
            let first = self.read + 1;
            all.push(format!(
                "the input goes on after the end: nobody read from line {first} on"
            ));
        }
        match all.is_empty() {
            true => Ok(()),
            false => Err(Failure::no(all.join("; "))),
        }
    }
}
