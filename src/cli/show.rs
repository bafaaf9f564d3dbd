//! How a state is shown in a terminal.

use crate::job::view::{StateView, StepView, percent};

/// Columns of a bar.
const BAR: usize = 12;

fn bar(p: f64) -> String {
    let full = (p * BAR as f64).round() as usize;
    format!("{}{}", "#".repeat(full.min(BAR)), "·".repeat(BAR - full.min(BAR)))
}

/// The likeliest suspects with bars.
pub(super) fn suspects(state: &StateView, width: usize, many: usize) -> String {
    let mut rows: Vec<(f64, String)> = state
        .belief
        .suspects
        .iter()
        .take(many)
        .filter(|s| s.posterior >= 0.005)
        .map(|s| (s.posterior, format!("{} [{}]", s.name, s.r#where)))
        .collect();
    if state.belief.nothing_found >= 0.005 {
        rows.push((state.belief.nothing_found, "nothing is wrong".to_owned()));
    }
    rows.sort_by(|a, b| b.0.total_cmp(&a.0));
    rows.iter()
        .map(|(p, name)| {
            let head = format!("   {} {:>5}  ", bar(*p), percent(*p));
            let room = width.saturating_sub(head.chars().count()).max(20);
            let wrapped = textwrap::wrap(name, room);
            let indent = " ".repeat(head.chars().count());
            let mut lines = wrapped.iter();
            let mut out = format!("{head}{}", lines.next().map_or("", |l| l));
            for l in lines {
                out.push_str(&format!("\n{indent}{l}"));
            }
            out
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// The five places in a line or two.
pub(super) fn places(state: &StateView, width: usize) -> String {
    let mut parts: Vec<String> = state
        .belief
        .r#where
        .iter()
        .map(|s| format!("{} {}", s.name, percent(s.posterior)))
        .collect();
    parts.push(format!("nothing {}", percent(state.belief.nothing_found)));
    textwrap::fill(
        &parts.join("  "),
        textwrap::Options::new(width)
            .initial_indent("Where: ")
            .subsequent_indent("       "),
    )
}

/// A step with its cost, why, and cautions.
pub(super) fn step(s: &StepView, number: usize, width: usize, cautions: bool) -> String {
    let indent = "     ";
    let fill = |first: &str, text: &str| {
        textwrap::fill(
            text,
            textwrap::Options::new(width)
                .initial_indent(first)
                .subsequent_indent(indent),
        )
    };
    let word = if s.act == "remedy" { "MEND: " } else { "" };
    let mut out = fill(&format!("  {number}. "), &format!("{word}{}", s.text));
    let mut cost = format!("{:.0} min", s.minutes);
    if s.moving_minutes >= 0.5 {
        cost += &format!(" ({:.0} of them to get there)", s.moving_minutes);
    }
    if s.parts > 0.0 {
        cost += &format!(" + {:.0} for parts", s.parts);
    }
    out += "\n";
    out += &fill(indent, &format!("{cost}; {}", s.why));
    if !s.prepare.is_empty() {
        out += "\n";
        out += &fill(indent, &format!("first: {}", s.prepare.join("; ")));
    }
    if cautions {
        for c in &s.cautions {
            out += "\n";
            out += &fill(indent, &format!("! {c}"));
        }
    }
    out
}
