//! `tree`: the whole plan for a complaint or a job.

use serde::Serialize;

use super::args::{Args, Command, Format};
use super::check::load;
use super::error::{Failure, Result};
use super::jobs::write_out;
use super::terminal::Terminal;
use super::walk::open_store;
use crate::desk::Desk;
use crate::job::tree::{TreeView, tree_view};
use crate::job::view::VERSION;
use crate::job::{Case, CaseFile};
use crate::model::Unit;
use crate::plan::Extent;
use crate::report;

#[derive(Serialize)]
struct Form {
    format: &'static str,
    version: u32,
    #[serde(flatten)]
    tree: TreeView,
}

/// `tree`.
pub(super) fn tree(args: &Args, terminal: &mut Terminal) -> Result {
    let Some(Command::Tree {
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
    }) = &args.command
    else {
        return Ok(());
    };
    let rules = load(args)?;
    let extent = Extent {
        depth: (*depth).into(),
        cut: *cut,
    };
    let view = match job {
        Some(id) => {
            let desk = Desk::resume(&rules, &open_store(args)?, args.settings(), *id)?;
            tree_view(&desk.case, extent)
        }
        None => {
            let file = CaseFile {
                device: Unit {
                    kind: kind.clone().unwrap_or_default(),
                    model: model.clone(),
                    ..Unit::default()
                },
                complaint: complaint.clone().unwrap_or_default(),
                symptoms: symptom.clone(),
                history: history.clone(),
                meter: args.meter.clone(),
                ..CaseFile::default()
            };
            let case = Case::new(&rules, &file, args.settings())?;
            if case.symptoms.is_empty() {
                return Err(Failure::no("nothing in the rules fits this complaint")
                    .help("name a symptom with --symptom; `halfsplit rules explain` lists them"));
            }
            tree_view(&case, extent)
        }
    };
    let drawn = |text: std::result::Result<String, askama::Error>| {
        text.map_err(|e| Failure::no(format!("cannot draw the tree: {e}")))
    };
    let text = match args.format {
        Format::Json => {
            return terminal.json(&Form {
                format: "halfsplit-tree",
                version: VERSION,
                tree: view,
            });
        }
        Format::Svg => drawn(report::tree_picture(&view))?,
        Format::Text if *html => drawn(report::tree_html(&view))?,
        Format::Text => report::tree_text(&view, terminal.width),
    };
    write_out(&text, out.as_deref(), terminal)
}
