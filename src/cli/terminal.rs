//! Where output goes.

use std::io::{IsTerminal, Write};

use serde::Serialize;

use super::error::{Failure, Result};
use super::text::{clean, escaped, fill};
use crate::job::view::VERSION;

/// Standard output, with or without colour, as wide as the window.
#[derive(Debug)]
pub struct Terminal {
    out: anstream::AutoStream<std::io::Stdout>,
    /// Columns to write in.
    pub width: usize,
    /// Whether colour is wanted.
    pub colour: bool,
}

impl Terminal {
    /// On the standard output of the process; `columns` is how wide it is, where
    /// the environment says so.
    pub(super) fn new(columns: Option<usize>) -> Self {
        let stdout = std::io::stdout();
        let colour = anstream::AutoStream::choice(&stdout) != anstream::ColorChoice::Never;
        let width = columns
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
        self.print(&format!("{}\n", clean(text)))
    }

    /// Writes text, wrapped to the window; what is set off by blanks keeps
    /// its column.
    ///
    /// # Errors
    /// If nobody reads any more.
    pub fn say(&mut self, text: &str) -> Result {
        for line in text.lines() {
            let lead = line.chars().take_while(|c| *c == ' ').count();
            let column = line.trim_start().find("  ").map(|at| {
                let rest = &line.trim_start()[at..];
                lead + at + rest.len() - rest.trim_start().len()
            });
            let hang = match column {
                Some(c) if lead > 0 && c < self.width / 2 => c,
                _ => lead + 2,
            };
            self.line(&fill(line, self.width, "", &" ".repeat(hang)))?;
        }
        Ok(())
    }

    /// Writes a view as JSON under the name of its form.
    ///
    /// # Errors
    /// If nobody reads any more.
    pub fn form<T: Serialize>(&mut self, format: &'static str, view: &T) -> Result {
        let text = form_text(format, view)?;
        self.print(&(text + "\n"))
    }

    /// Writes a value as JSON.
    ///
    /// # Errors
    /// If nobody reads any more.
    pub fn json<T: Serialize>(&mut self, value: &T) -> Result {
        let text = json_text(value)?;
        self.print(&(text + "\n"))
    }
}

/// A view as JSON under the name of its form.
pub(super) fn form_text<T: Serialize>(format: &'static str, view: &T) -> Result<String> {
    json_text(&Form {
        format,
        version: VERSION,
        view,
    })
}

/// A value as JSON.
pub(super) fn json_text<T: Serialize>(value: &T) -> Result<String> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|e| Failure::no(format!("cannot write JSON: {e}")))?;
    Ok(escaped(&text).into_owned())
}

/// A view as a program reads it: what it is, then what is in it.
#[derive(Serialize)]
struct Form<'v, T> {
    format: &'static str,
    version: u32,
    #[serde(flatten)]
    view: &'v T,
}
