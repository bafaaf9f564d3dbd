//! A round of the drill in plain characters: its debrief, a trainee's progress,
//! the trainer's table.

use std::fmt::Write as _;

use comfy_table::{CellAlignment, ContentArrangement, Table, presets};

use super::simulation::fill;
use crate::drill::{Could, CourseView, DebriefView, Named, ProgressView, StepTaken, TableView};
use crate::job::StepKind;
use crate::job::words::percent;

/// A table as wide as the window, without lines.
fn table(header: &[&str], rows: Vec<Vec<String>>, columns: usize, numbers: &[usize]) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(columns as u16)
        .set_header(header.to_vec());
    for row in rows {
        // A figure stays with its unit.
        let whole = |cell: String| cell.replace(" %", "\u{a0}%").replace(" min", "\u{a0}min");
        table.add_row(row.into_iter().map(whole));
    }
    for at in numbers {
        if let Some(column) = table.column_mut(*at) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    let lines = table.to_string().replace('\u{a0}', " ");
    let lines: Vec<&str> = lines.lines().map(str::trim_end).collect();
    format!("{}\n", lines.join("\n"))
}

fn names(all: &[Named]) -> String {
    match all.is_empty() {
        true => "-".to_owned(),
        false => {
            let all: Vec<&str> = all.iter().map(|n| n.name.as_str()).collect();
            all.join(" + ")
        }
    }
}

/// How likely, of faults that are true: never quite 0.
fn likely(all: &[f64]) -> String {
    let all: Vec<String> = all.iter().map(|p| percent(p.max(1e-6))).collect();
    all.join(" and ")
}

/// A step with its answer and how likely the truth stood after it.
fn cell(step: Option<&StepTaken>) -> String {
    let Some(s) = step else { return String::new() };
    let minutes = format!("{:.0} min", s.minutes);
    if s.act == StepKind::Remedy {
        return format!("MEND: {} ({minutes})", s.text);
    }
    let shows = s
        .shows
        .as_ref()
        .map_or_else(String::new, |o| format!(" {o}."));
    format!("{}{shows} ({minutes}; {})", s.text, likely(&s.likely))
}

fn sum(course: &CourseView) -> String {
    let mut text = format!("{} steps, {:.0} min", course.steps.len(), course.minutes);
    if course.parts > 0.0 {
        let _ = write!(text, ", parts {:.0}", course.parts);
    }
    if course.loss > 0.0 {
        let _ = write!(text, ", lost {:.0} as it is not mended", course.loss);
    }
    format!("{text}: {:.0} in all", course.cost)
}

/// A step as it is spoken of.
fn quoted(text: &str) -> String {
    match text.ends_with(['?', '.']) {
        true => format!("“{text}”"),
        false => format!("“{text}”."),
    }
}

/// Wrapped, what follows the first line set in.
fn hung(text: &str, columns: usize) -> String {
    let options = textwrap::Options::new(columns.max(30))
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .subsequent_indent("      ");
    let whole = text.replace(" %", "\u{a0}%").replace(" min", "\u{a0}min");
    format!("{}\n", textwrap::fill(&whole, options)).replace('\u{a0}', " ")
}

/// What a step could tell, and how it comes out with whom.
fn could(head: &str, step: &Could, columns: usize) -> String {
    let mut out = hung(
        &format!("{head}{} {}", quoted(&step.text), step.says),
        columns,
    );
    for group in &step.groups {
        let names: Vec<&str> = group.suspects.iter().map(|n| n.name.as_str()).collect();
        let line = format!("      {}: {}", group.shows, names.join("; "));
        let options = textwrap::Options::new(columns.max(30))
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .word_splitter(textwrap::WordSplitter::NoHyphenation)
            .subsequent_indent("        ");
        let _ = writeln!(out, "{}", textwrap::fill(&line, options));
    }
    out
}

/// A round that is over, no line wider than `columns` where words allow.
pub fn debrief_text(view: &DebriefView, columns: usize) -> String {
    let mut out = String::new();
    let verdict = match (view.gave_up, view.right) {
        (true, _) => "You gave it up.".to_owned(),
        (_, true) => "You found it.".to_owned(),
        _ => format!("You took it for: {}.", names(&view.concluded)),
    };
    out += &fill(
        &format!("It was: {}. {verdict}", names(&view.truth)),
        columns,
    );
    let _ = writeln!(out, "Score: {} of 100", view.score);
    for d in &view.deductions {
        out += &hung(&format!("  -{:<3}{}", d.points, d.says), columns);
    }
    if view.deductions.is_empty() {
        out += "  Nothing taken off.\n";
    }
    out += "\n";
    let rows = (0..view.taken.steps.len().max(view.advice.steps.len()))
        .map(|n| {
            vec![
                (n + 1).to_string(),
                cell(view.taken.steps.get(n)),
                cell(view.advice.steps.get(n)),
            ]
        })
        .chain([vec![String::new(), sum(&view.taken), sum(&view.advice)]]);
    out += &table(&["", "You", "The advice"], rows.collect(), columns, &[0]);
    out += &fill(
        "The figure behind an answer is how likely what it truly was stood then, by all that had \
         been seen; once it is mended, it is not there any more.",
        columns,
    );
    if view.taken.steps.is_empty() {
        return out;
    }
    if view.partings.is_empty() {
        out += "\nEach of your steps was the one advised at that moment.\n";
        return out;
    }
    out += "\n";
    out += &fill(
        "Where you went another way than advised at that moment. Suspects that stand in one line \
         come out alike, so the step could not part them; those in different lines it could, \
         less surely where it comes out either way.",
        columns,
    );
    for p in &view.partings {
        out += &could(&format!("{:>3} You: ", p.step), &p.took, columns);
        out += &match &p.advised {
            Some(advised) => could("    Advised: ", advised, columns),
            None => "    Advised: nothing was left to be done, so hand it back.\n".to_owned(),
        };
    }
    out
}

/// A trainee's rounds.
pub fn progress_text(view: &ProgressView, columns: usize) -> String {
    let mut out = String::new();
    let unfinished = match view.unfinished {
        0 => String::new(),
        n => format!(", {n} not finished"),
    };
    let s = if view.ended == 1 { "" } else { "s" };
    let mut head = format!("{}: {} round{s}{unfinished}.", view.trainee, view.ended);
    if let Some(mean) = view.mean {
        let _ = write!(head, " Mean score {mean:.0}.");
    }
    if let (Some(last), Some(before)) = (view.last_five, view.five_before) {
        let _ = write!(
            head,
            " The last five came to {last:.0}, those before them to {before:.0}."
        );
    }
    out += &fill(&head, columns);
    out += "\n";
    let rows = view.rounds.iter().map(|r| {
        let score = r.score.map_or_else(String::new, |s| s.to_string());
        let bar = r.score.map_or(0, |s| s as usize / 10);
        let what = match (&r.complaint, r.right) {
            (None, _) => format!(
                "not finished; `halfsplit drill --round {}` goes on",
                r.round
            ),
            (Some(c), true) => format!("{c}. It was: {}", names(&r.truth)),
            (Some(c), false) => format!(
                "{c}. It was: {}; taken for: {}",
                names(&r.truth),
                names(&r.concluded)
            ),
        };
        vec![
            r.round.to_string(),
            r.begun.get(..10).unwrap_or("").to_owned(),
            r.level.to_string(),
            score,
            "#".repeat(bar),
            what,
        ]
    });
    let header = ["round", "day", "level", "score", "", ""];
    out += &table(&header, rows.collect(), columns, &[0, 2, 3]);
    out
}

/// The trainer's table.
pub fn trainees_text(view: &TableView, columns: usize) -> String {
    if view.trainees.is_empty() {
        return "Nobody has begun a round yet.\n".to_owned();
    }
    let rows = view.trainees.iter().map(|t| {
        vec![
            t.trainee.clone(),
            t.ended.to_string(),
            t.unfinished.to_string(),
            t.right.to_string(),
            t.mean.map_or_else(|| "-".to_owned(), |m| format!("{m:.0}")),
        ]
    });
    let header = [
        "trainee",
        "rounds",
        "not finished",
        "cause found",
        "mean score",
    ];
    let mut out = table(&header, rows.collect(), columns, &[1, 2, 3, 4]);
    if view.confusions.is_empty() {
        return out;
    }
    out += "\nWho takes what for what:\n";
    let rows = view.confusions.iter().map(|c| {
        vec![
            c.times.to_string(),
            c.trainee.clone(),
            c.truth.name.clone(),
            c.taken_for.name.clone(),
        ]
    });
    let header = ["times", "trainee", "it was", "taken for"];
    out += &table(&header, rows.collect(), columns, &[0]);
    out
}
