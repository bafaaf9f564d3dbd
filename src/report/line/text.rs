//! A line in plain characters, narrow enough for a terminal beside the board.

use super::{Row, What, causes, likeliest, rows, says};
use crate::job::line::LineView;
use crate::job::words::percent_within;
use crate::report::words;

/// No wider than this, whatever the window.
const WIDEST: usize = 60;
/// Columns for a mark and a probability.
const ODDS: usize = 9;

/// Draws a line within so many columns.
pub(in crate::report) fn text(view: &LineView, width: usize) -> String {
    let width = width.min(WIDEST);
    let rows = rows(view);
    let likeliest = likeliest(&rows);
    let mut out = wrapped(&format!("{} ({})", view.name, view.line), width, "", "  ");
    out.extend(wrapped(&says(view), width, "", "  "));
    out.push(String::new());
    for (i, row) in rows.iter().enumerate() {
        if matches!(row.what, What::Wire(_)) && i > 0 {
            out.push(String::new());
        }
        out.extend(drawn(row, likeliest, view.left_out, width));
    }
    out.push(String::new());
    let named = causes(view);
    if !named.is_empty() {
        out.push("Likeliest here:".to_owned());
    }
    for (odds, text) in named {
        out.extend(wrapped(
            &text,
            width,
            &format!("{odds:>7}  ").replace('–', "-"),
            &" ".repeat(ODDS),
        ));
    }
    if let Some(alike) = &view.alike {
        out.extend(wrapped(&alike.says, width, "", "  "));
        for t in &alike.tests {
            let text = format!("{} ({}), {:.0} min", t.text, t.test, t.minutes);
            out.extend(wrapped(&text, width, "- ", "  "));
        }
    }
    out.extend(wrapped(
        "O a place to probe, # a part of the wire, +-- beside it",
        width,
        "",
        "  ",
    ));
    out.join("\n")
}

/// One row, wrapped.
fn drawn(row: &Row, likeliest: Option<f64>, left_out: f64, width: usize) -> Vec<String> {
    let p = row.what.posterior();
    let odds = p.map_or_else(String::new, |p| percent_within(p, left_out));
    // A range takes more room.
    let odds = match odds.chars().count() > 6 {
        true => odds.replace(" %", "%"),
        false => odds,
    };
    let odds = format!("{odds:>6}");
    let gap = " ".repeat(8_usize.saturating_sub(odds.chars().count()));
    let mark = if p.is_some() && p == likeliest {
        '>'
    } else {
        ' '
    };
    let trunk = |goes: &bool| if *goes { "|   " } else { "    " };
    let left: String = row.left.iter().map(trunk).collect();
    let (head, hang) = match row.what {
        What::Wire(_) => ("", ""),
        What::Part(_) => ("# ", "  "),
        What::Branch(_) | What::Bridge(_) => ("+-- ", "    "),
        What::Point(_) => ("O ", "  "),
        What::Reading(_) => ("    ", "      "),
        What::Next(_) => ("   <- ", "      "),
    };
    // Further rows of the same text stand beside the wire.
    let beside = |text: &str, goes: bool| match (goes, text.strip_prefix(' ')) {
        (true, Some(rest)) => format!("|{rest}"),
        _ => text.to_owned(),
    };
    let first = beside(head, row.below && row.what.is_remark());
    let rest = beside(hang, row.below);
    let (first, rest) = match row.what {
        What::Wire(_) => (String::new(), String::new()),
        _ => (
            format!("{mark}{odds}{gap}{left}{first}").replace('–', "-"),
            format!("{}{left}{rest}", " ".repeat(ODDS)),
        ),
    };
    wrapped(&row.what.words(left_out), width, &first, &rest)
}

/// Text within so many columns. A number stays with its unit or sign, a name is
/// broken only if it fits no row, and signs that a plain terminal may lack are
/// replaced.
fn wrapped(text: &str, width: usize, first: &str, rest: &str) -> Vec<String> {
    let mut plain = words::line(text).replace('µ', "u").replace('–', "-") + " ";
    for unit in ["%", "V", "mV", "ohm", "kilohm", "megohm"] {
        for end in [",", ")", ":", " "] {
            plain = plain.replace(&format!(" {unit}{end}"), &format!("\u{a0}{unit}{end}"));
        }
    }
    let options = textwrap::Options::new(width)
        .initial_indent(first)
        .subsequent_indent(rest)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::wrap(&plain, options)
        .into_iter()
        .map(|l| l.replace('\u{a0}', " ").trim_end().to_owned())
        .collect()
}
