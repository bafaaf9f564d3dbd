//! `rules hear`.

use serde::Serialize;

use super::args::Format;
use super::check::load;
use super::config::Config;
use super::error::Result;
use super::terminal::Terminal;
use super::text::fill;
use crate::job::view::VERSION;
use crate::model::{Hearing, Model, Past, Unit, hear as read, outline, past};

#[derive(Serialize)]
struct View {
    version: u32,
    /// The text as it was read.
    text: String,
    typing_errors: Vec<TypoView>,
    heard: Vec<HeardView>,
    /// History questions to confirm; none counts before that.
    history: Vec<PastView>,
    /// Symptoms that a job with this complaint opens with.
    opens_with: Vec<String>,
}

#[derive(Serialize)]
struct TypoView {
    typed: String,
    read: String,
}

#[derive(Serialize)]
struct HeardView {
    symptom: String,
    name: String,
    area: String,
    copy: Option<String>,
    /// The text names the copy; else the main one is taken.
    copy_named: bool,
    words: String,
    pattern: String,
}

/// A history question that the complaint seems to answer with yes.
#[derive(Serialize)]
pub(super) struct PastView {
    history: String,
    ask: String,
    words: String,
    pattern: String,
}

impl PastView {
    /// What a complaint says of the past.
    pub(super) fn all(model: &Model, complaint: &str) -> Vec<PastView> {
        let view = |p: Past| PastView {
            history: p.id,
            ask: p.ask,
            words: p.words,
            pattern: p.pattern,
        };
        past(model, complaint).into_iter().map(view).collect()
    }

    /// Whether it is the question of this name.
    pub(super) fn is(&self, history: &str) -> bool {
        self.history == history
    }

    /// "drop (“fell”)".
    pub(super) fn short(&self) -> String {
        format!("{} (\"{}\")", self.history, self.words.trim())
    }
}

/// Tells what is heard of a complaint, and why.
pub(super) fn hear(
    config: &Config,
    text: &str,
    kind: &str,
    device: Option<&str>,
    terminal: &mut Terminal,
) -> Result {
    let rules = load(config)?;
    let unit = Unit {
        kind: kind.to_owned(),
        model: device.map(str::to_owned),
        ..Unit::default()
    };
    let model = outline(&rules, &unit, &[])?;
    let view = view(&model, read(&model, text), text);
    match config.format {
        Format::Json => terminal.json(&view),
        _ => show(&model, &view, terminal),
    }
}

fn view(model: &Model, hearing: Hearing, complaint: &str) -> View {
    let typos = hearing.typos.into_iter();
    let heard: Vec<HeardView> = hearing
        .heard
        .into_iter()
        .map(|h| {
            let s = &model.symptoms[h.symptom];
            HeardView {
                symptom: s.id.clone(),
                name: s.name.clone(),
                area: s.pack.clone(),
                copy: s.copy.clone(),
                copy_named: !h.assumed,
                words: h.words,
                pattern: h.pattern,
            }
        })
        .collect();
    let mut opens_with: Vec<String> = heard.iter().map(|h| h.symptom.clone()).collect();
    if opens_with.is_empty() {
        opens_with.extend(model.unheard.map(|s| model.symptoms[s].id.clone()));
    }
    View {
        version: VERSION,
        text: hearing.text,
        typing_errors: typos
            .map(|t| TypoView {
                typed: t.typed,
                read: t.read,
            })
            .collect(),
        heard,
        history: PastView::all(model, complaint),
        opens_with,
    }
}

fn show(model: &Model, view: &View, terminal: &mut Terminal) -> Result {
    let width = terminal.width;
    for (i, h) in view.heard.iter().enumerate() {
        if i == 0 {
            terminal.say("Heard:")?;
        }
        let copy = match (&h.copy, h.copy_named) {
            (Some(copy), true) => format!(", {copy}"),
            (Some(copy), false) => format!(", {copy} (taken, since none is named)"),
            (None, _) => String::new(),
        };
        let head = format!("{}: {} — area {}{copy}", h.symptom, h.name, h.area);
        terminal.line(&fill(&head, width, "  ", "    "))?;
        let why = format!("by \"{}\", which fits {}", h.words, h.pattern);
        terminal.line(&fill(&why, width, "    ", "      "))?;
    }
    if view.heard.is_empty() {
        terminal.say(&match model.unheard {
            Some(s) => format!(
                "No area hears these words. A job opens with {}: {}.",
                model.symptoms[s].id, model.symptoms[s].name
            ),
            None => "No area hears these words.".to_owned(),
        })?;
    }
    for (i, p) in view.history.iter().enumerate() {
        if i == 0 {
            terminal.say("Of the past, to be confirmed:")?;
        }
        let head = format!("{}: {}", p.history, p.ask);
        terminal.line(&fill(&head, width, "  ", "    "))?;
        let why = format!("by \"{}\", which fits {}", p.words.trim(), p.pattern);
        terminal.line(&fill(&why, width, "    ", "      "))?;
    }
    for (i, t) in view.typing_errors.iter().enumerate() {
        if i == 0 {
            terminal.say("Read as typing errors:")?;
        }
        terminal.line(&format!("  {}: {}", t.typed, t.read))?;
    }
    Ok(())
}
