//! Where answers come from: one typed line each, the same for a terminal and
//! for a pipe.

use std::io::BufRead;

use rustyline::error::ReadlineError;

use super::error::Result;
use super::terminal::Terminal;

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

/// Lines from a terminal, with editing and history.
pub(super) struct Typed(rustyline::DefaultEditor);

impl Typed {
    /// On the terminal of the process.
    pub(super) fn new() -> Option<Self> {
        rustyline::DefaultEditor::new().ok().map(Typed)
    }
}

impl Ask for Typed {
    fn ask(&mut self, _: &mut Terminal, prompt: &str) -> Result<Reply> {
        Ok(match self.0.readline(prompt) {
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
pub(super) struct Piped<R>(pub(super) R);

impl<R: BufRead> Ask for Piped<R> {
    fn ask(&mut self, terminal: &mut Terminal, prompt: &str) -> Result<Reply> {
        terminal.print(prompt)?;
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
