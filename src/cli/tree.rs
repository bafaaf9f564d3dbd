//! `tree`: the whole plan for a complaint or a job.

use std::sync::Arc;

use super::args::{Command, Format};
use super::check::load;
use super::complaint::{complained, nothing_fits};
use super::config::Config;
use super::error::{Failure, Result};
use super::output::{Holds, write_out};
use super::stores::read_store;
use super::terminal::{Terminal, form_text};
use crate::desk::Desk;
use crate::job::Case;
use crate::job::tree::tree_view;
use crate::plan::Extent;
use crate::report;

/// `tree`.
pub(super) fn tree(config: &Config, command: &Command, terminal: &mut Terminal) -> Result {
    let Command::Tree {
        job,
        kind,
        complaint,
        model,
        symptom,
        history,
        depth,
        cut,
        html,
        out,
    } = command
    else {
        return Ok(());
    };
    let rules = Arc::new(load(config)?);
    let extent = Extent {
        depth: (*depth).into(),
        cut: *cut,
    };
    let view = match job {
        Some(id) => {
            let desk = Desk::resume(rules, Box::new(read_store(config)?), config.settings, *id)?;
            tree_view(&desk.case, extent)
        }
        None => {
            let kind = kind.as_deref().unwrap_or_default();
            let file = complained(config, kind, model, complaint.as_deref(), symptom, history)?;
            let case = Case::new(&rules, &file, config.settings)?;
            if case.symptoms.is_empty() {
                return Err(nothing_fits());
            }
            tree_view(&case, extent)
        }
    };
    let drawn = |text: std::result::Result<String, askama::Error>| {
        text.map_err(|e| Failure::no(format!("cannot draw the tree: {e}")))
    };
    let text = match config.format {
        Format::Json => form_text("halfsplit-tree", &view)?,
        Format::Svg => drawn(report::tree_picture(&view))?,
        Format::Text if *html => drawn(report::tree_html(&view))?,
        Format::Text => report::tree_text(&view, terminal.width),
    };
    write_out(config, &text, Holds::Tree, out.as_deref(), terminal)
}
