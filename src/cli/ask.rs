//! Where answers come from: one typed line each, the same for a terminal and
//! for a pipe.

use std::io::BufRead;

use rustyline::error::ReadlineError;

use super::error::{Failure, Result};
use super::terminal::{Terminal, fill};

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
}

/// Whoever works here: on the terminal of the process, or from a pipe.
///
/// # Errors
/// If the terminal cannot be used.
pub(super) fn asker() -> Result<Box<dyn Ask>> {
    if !Terminal::interactive() {
        return Ok(Box::new(Piped(std::io::stdin().lock())));
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
        rustyline::DefaultEditor::new().ok().map(Typed)
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

/// Lines from a pipe; each is repeated after its prompt, so that the output
/// reads like a session.
struct Piped<R>(R);

impl<R: BufRead> Ask for Piped<R> {
    fn ask(&mut self, terminal: &mut Terminal, prompt: &str) -> Result<Reply> {
        terminal.print(&fit(prompt, terminal.width))?;
        let mut line = Vec::new();
        let n = self.0.read_until(b'\n', &mut line).unwrap_or(0);
        if n == 0 {
            terminal.line("")?;
            return Ok(Reply::Ended);
        }
        let line = String::from_utf8_lossy(&line).trim().to_owned();
        terminal.line(&line)?;
        Ok(Reply::Line(line))
    }
}
