//! Where output goes.

use std::io::{IsTerminal, Write};

use super::error::{Failure, Result};

/// Standard output, with or without colour, as wide as the window.
#[derive(Debug)]
pub struct Terminal {
    out: anstream::AutoStream<std::io::Stdout>,
    /// Columns to write in.
    pub width: usize,
    /// Whether colour is wanted.
    pub colour: bool,
}

impl Default for Terminal {
    fn default() -> Self {
        Self::new()
    }
}

impl Terminal {
    /// On the standard output of the process.
    pub fn new() -> Self {
        let stdout = std::io::stdout();
        let colour =
            anstream::AutoStream::choice(&stdout) != anstream::ColorChoice::Never;
        let width = std::env::var("COLUMNS")
            .ok()
            .and_then(|c| c.parse().ok())
            .or_else(|| terminal_size::terminal_size().map(|(w, _)| w.0 as usize))
            .unwrap_or(80)
            .clamp(40, 100);
        Terminal {
            out: anstream::AutoStream::auto(stdout),
            width,
            colour,
        }
    }

    /// Whether a person sits in front of it.
    pub fn interactive() -> bool {
        std::io::stdin().is_terminal() && std::io::stdout().is_terminal()
    }

    /// Writes text as it is.
    ///
    /// # Errors
    /// If nobody reads any more.
    pub fn print(&mut self, text: &str) -> Result {
        self.out
            .write_all(text.as_bytes())
            .and_then(|()| self.out.flush())
            .map_err(Failure::io)
    }

    /// Writes text and ends the line.
    ///
    /// # Errors
    /// If nobody reads any more.
    pub fn line(&mut self, text: &str) -> Result {
        self.print(&format!("{text}\n"))
    }

    /// Writes a value as JSON.
    ///
    /// # Errors
    /// If nobody reads any more.
    pub fn json<T: serde::Serialize>(&mut self, value: &T) -> Result {
        let text = serde_json::to_string_pretty(value)
            .map_err(|e| Failure::no(format!("cannot write JSON: {e}")))?;
        self.line(&text)
    }
}
