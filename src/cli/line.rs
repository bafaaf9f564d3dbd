//! A line of a job in a terminal: the list of those in play, and one drawn.

use std::path::Path;

use serde::Serialize;

use super::args::Format;
use super::config::Config;
use super::error::{Failure, Result};
use super::output::{Holds, write_out};
use super::show;
use super::terminal::{Terminal, json_text};
use super::text::fill;
use crate::desk::Desk;
use crate::job::line::{LineInPlay, LineView};
use crate::job::view::VERSION;
use crate::job::words::percent_within;
use crate::model::{Found, LineId};
use crate::report;

#[derive(Serialize)]
struct LinesForm {
    version: u32,
    job: i64,
    lines: Vec<LineInPlay>,
}

#[derive(Serialize)]
struct LineForm {
    version: u32,
    job: i64,
    #[serde(flatten)]
    line: LineView,
}

/// `job line`: one line, or all that are in play.
pub(super) fn line(
    config: &Config,
    desk: &Desk,
    name: Option<&str>,
    out: Option<&Path>,
    terminal: &mut Terminal,
) -> Result {
    let at = match name {
        Some(n) => Some(find(desk, n)?),
        None => Some(LineId(0)).filter(|_| desk.case.model.lines.len() == 1),
    };
    let job = desk.id();
    let version = VERSION;
    match (config.format, at) {
        (Format::Json, Some(at)) => {
            let text = json_text(&LineForm {
                version,
                job,
                line: desk.line(at),
            })?;
            write_out(config, &text, Holds::Line, out, terminal)
        }
        (Format::Json, None) => {
            let text = json_text(&LinesForm {
                version,
                job,
                lines: desk.lines(),
            })?;
            write_out(config, &text, Holds::Line, out, terminal)
        }
        (Format::Svg, Some(at)) => {
            let text = report::line_picture(&desk.line(at))
                .map_err(|e| Failure::no(format!("cannot draw the line: {e}")))?;
            write_out(config, &text, Holds::Line, out, terminal)
        }
        (Format::Svg, None) => Err(Failure::Usage(format!(
            "say which line to draw; `halfsplit job line {job}` lists them"
        ))),
        (Format::Text, Some(at)) => {
            let view = desk.line(at);
            let text = drawn(&view, terminal.width, true);
            write_out(config, &text, Holds::Line, out, terminal)
        }
        (Format::Text, None) => terminal.line(&list(desk, terminal.width)),
    }
}

/// The line that a name means.
pub(super) fn find(desk: &Desk, name: &str) -> Result<LineId> {
    match desk.case.model.line(name) {
        Found::One(i) => Ok(i),
        found => {
            let e = Failure::no(format!("no single line is called `{name}`"));
            Err(match found {
                Found::None(Some(near)) => e.help(format!("did you mean `{near}`?")),
                Found::Several(full) => e.help(format!("it could be {}", full.join(" or "))),
                _ => e.help(format!(
                    "`halfsplit job line {}` lists those in play",
                    desk.id()
                )),
            })
        }
    }
}

/// A line drawn; below it the step that is the next probe, if that is wanted.
pub(super) fn drawn(view: &LineView, width: usize, step: bool) -> String {
    let mut out = report::line_text(view, width);
    if let Some(n) = view.next.as_ref().filter(|_| step) {
        out += "\n\n";
        out += &show::step(&n.step, "-> ", width.min(60), true);
        out += &format!("\n   ({})", n.step.id);
    }
    out
}

/// The lines in play, the likeliest to be at fault first.
pub(super) fn list(desk: &Desk, width: usize) -> String {
    let lines = desk.lines();
    if lines.is_empty() {
        let none = "No line of the board is in play: the rules know none for this complaint.";
        return fill(none, width, "", "");
    }
    let left_out = desk.case.belief.left_out;
    let row = |l: &LineInPlay| {
        let mut text = format!("{} ({})", l.name, l.line);
        if l.readings > 0 {
            let plural = if l.readings == 1 { "" } else { "s" };
            text += &format!(", {} reading{plural}", l.readings);
        }
        if l.next {
            text += " <- next probe";
        }
        fill(
            &text,
            width,
            &format!("{:>7} ", percent_within(l.at_fault, left_out)),
            "          ",
        )
    };
    let rows: Vec<String> = lines.iter().map(row).collect();
    format!("Something wrong on it:\n{}", rows.join("\n"))
}
