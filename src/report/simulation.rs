//! A simulation in plain characters.

use std::fmt::Write as _;

use comfy_table::{CellAlignment, Table, presets};
use textwrap::WordSeparator;

use crate::job::words::percent;
use crate::simulate::{Came, Comparison, Manner, Mean, Part, Short, SimulationView};

/// How many of a long list are named.
const NAMED: usize = 8;
/// Shown and true may differ so much, in this share of one.
const NEAR: f64 = 0.03;

pub(super) fn fill(text: &str, columns: usize) -> String {
    let options = textwrap::Options::new(columns.max(30))
        .word_separator(WordSeparator::AsciiSpace)
        .subsequent_indent("  ");
    format!("{}\n", textwrap::fill(text, options))
}

fn table(header: &[&str], rows: Vec<Vec<String>>) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_header(header.to_vec());
    for row in rows {
        table.add_row(row);
    }
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    let lines = table.to_string();
    let lines: Vec<&str> = lines.lines().map(str::trim_end).collect();
    format!("{}\n", lines.join("\n"))
}

fn with_error(m: Mean) -> String {
    format!("{:.1} ±{:.1}", m.mean, m.error)
}

/// A share, with the ends kept honest.
fn share(p: f64) -> String {
    match p {
        p if p > 0.0 && p < 0.1 => format!("{:.1} %", p * 100.0),
        p => percent(p),
    }
}

/// What was simulated, in a sentence.
pub(super) fn title(view: &SimulationView) -> String {
    match (&view.device, view.symptoms.is_empty()) {
        (Some(device), false) => format!("{device}: {}", view.symptoms.join("; ")),
        _ => format!("{} complaints about devices", view.complaints),
    }
}

/// A simulation in plain characters, no line wider than `columns` where words
/// allow.
pub(super) fn text(view: &SimulationView, columns: usize) -> String {
    let mut out = fill(&title(view), columns);
    out += &fill(
        &format!(
            "{} hidden cases (seed {}), drawn from the rules with their faults, single and \
             several, and answered from the rules with their noise.",
            view.cases, view.seed
        ),
        columns,
    );
    if let Some(share) = view.with_history {
        out += &fill(
            &format!(
                "{} of the jobs come with one answer about the past of the device, the others \
                 with none (common practice, no source).",
                percent(share)
            ),
            columns,
        );
    }
    if view.ways.is_empty() {
        return out;
    }
    out.push('\n');
    let row = |name: &str, c: &Came, rest: &[String]| -> Vec<String> {
        let all = [
            name.to_owned(),
            with_error(c.cost),
            format!("{:.1}", c.steps),
            format!("{:.0}", c.minutes),
            share(c.right_first),
            format!("{:.2}", c.wrong_parts),
            share(c.unmended),
        ];
        all.into_iter().chain(rest.iter().cloned()).collect()
    };
    let head = ["", "cost", "steps", "min", "right", "wrong", "left"];
    // Only where there is the advice to measure by.
    let measured = view.ways.iter().any(|w| w.to_advice.is_some());
    let rows = view.ways.iter().map(|w| {
        let times = w.to_advice.map(|r| format!("{r:.2}"));
        row(&w.policy, &w.all, &times.into_iter().collect::<Vec<_>>())
    });
    let times = measured.then_some("times");
    let header: Vec<&str> = head.iter().copied().chain(times).collect();
    out += &table(&header, rows.collect());
    out.push('\n');
    for says in [
        "cost: of a job on average, in time and parts, with the loss where something is left; \
         ± is how far chance may have moved it (twice that at most in 19 of 20 simulations)",
        "steps, min: tests and remedies, and minutes at the bench, of a job on average",
        "right: the first remedy was for something that was wrong",
        "wrong: remedies with parts that were for nothing that was wrong, per job",
        "left: something is left wrong at the end",
    ] {
        out += &fill(says, columns);
    }
    if measured {
        out += &fill("times: the cost, over that of the advice", columns);
    }
    out.push('\n');
    for w in &view.ways {
        let says = Manner::from_word(&w.policy).map_or("", Manner::says);
        out += &fill(
            &format!(
                "{}: {says}. Half the jobs cost up to {:.0}, nine of ten up to {:.0}.",
                w.policy, w.cost_at[50], w.cost_at[90]
            ),
            columns,
        );
    }
    let advice = view.ways.iter().find(|w| w.policy == Manner::Advice.word());
    let Some(advice) = advice else { return out };
    let parts = |title: &str, parts: &[Part]| -> String {
        let rows = parts.iter().map(|p| {
            let mut row = row(&p.name, &p.came, &[p.came.cases.to_string()]);
            // Names are long where columns are few.
            row[0] = shorten(&row[0], columns.saturating_sub(52).max(16));
            row
        });
        let header: Vec<&str> = [title]
            .into_iter()
            .chain(head[1..].iter().copied())
            .collect();
        let header: Vec<&str> = header.into_iter().chain(["cases"]).collect();
        table(&header, rows.collect())
    };
    out.push('\n');
    out += &fill("With the advice, by where the faults were:", columns);
    out += &parts("", &advice.by_area);
    out.push('\n');
    out += &fill(
        "With the advice, by fault (those with most cases):",
        columns,
    );
    let most = advice.by_fault.len().min(NAMED);
    out += &parts("", &advice.by_fault[..most]);
    out.push('\n');
    out += &fill(
        "Is what the advice shows true as often as it says?",
        columns,
    );
    let rows = view.calibration.iter().filter(|t| t.shown > 0).map(|t| {
        vec![
            format!("{:.0} to {:.0} %", t.from * 100.0, t.to * 100.0),
            format!("{:.1} %", t.said * 100.0),
            format!("{:.1} %", t.true_share * 100.0),
            format!("±{:.1}", t.error * 100.0),
            t.shown.to_string(),
        ]
    });
    out += &table(
        &["suspects at", "said", "true", "", "shown"],
        rows.collect(),
    );
    let off = view
        .calibration
        .iter()
        .filter(|t| t.shown > 0 && (t.said - t.true_share).abs() > NEAR + 2.0 * t.error);
    out += &fill(
        match off.count() {
            0 => "Said and true agree to 3 in 100, as far as chance lets see.",
            _ => "Said and true are more than 3 in 100 apart where chance cannot explain it.",
        },
        columns,
    );
    if let Some(short) = &view.short {
        out += &short_of(short, columns);
    }
    out
}

fn shorten(text: &str, most: usize) -> String {
    match text.chars().count() > most {
        true => text.chars().take(most - 1).chain(['…']).collect(),
        false => text.to_owned(),
    }
}

/// What the rules are short of.
fn short_of(short: &Short, columns: usize) -> String {
    let mut out = String::from("\n");
    let list = |title: &str, all: Vec<String>, out: &mut String| {
        if all.is_empty() {
            return;
        }
        *out += &fill(&format!("{title} ({}):", all.len()), columns);
        for one in all.iter().take(NAMED) {
            *out += &fill(&format!("- {one}"), columns);
        }
        if all.len() > NAMED {
            *out += &fill(
                &format!("and {} more; `--format json` has all.", all.len() - NAMED),
                columns,
            );
        }
    };
    let rare = short.rarely_found.iter().map(|p| {
        format!(
            "{} ({} cases): the first remedy is right in {}, something is left in {}",
            p.name,
            p.came.cases,
            share(p.came.right_first),
            share(p.came.unmended)
        )
    });
    list("Faults that are rarely found", rare.collect(), &mut out);
    let pairs = short.not_told_apart.iter();
    let pairs = pairs.map(|p| format!("{} | {}", p.one_name, p.other_name));
    list(
        "Faults that no test tells apart, with no remedy for both",
        pairs.collect(),
        &mut out,
    );
    let never = short.never_taken.iter();
    let never = never.map(|t| format!("{} ({}; {} cases)", t.ask, t.test, t.cases));
    list(
        "Tests that were never worth taking",
        never.collect(),
        &mut out,
    );
    if out == "\n" {
        out += &fill("Nothing is found that the rules are short of.", columns);
    }
    out
}

/// Two sets of rules on the same cases.
pub(super) fn comparison(c: &Comparison, columns: usize) -> String {
    let mut out = String::from("\n");
    out += &fill(
        "The advice of these rules and of the others, on the same cases with the same luck. What \
         is wrong, and how tests come out, is by these rules.",
        columns,
    );
    let [these, others] = [0, 1].map(|i| {
        let cost = [c.these, c.others][i];
        vec![
            ["these rules", "the others"][i].to_owned(),
            with_error(cost),
            format!("{:.2}", c.wrong_parts[i]),
            share(c.unmended[i]),
        ]
    });
    out += &table(&["", "cost", "wrong", "left"], vec![these, others]);
    let d = c.difference;
    let verdict = match d.mean.abs() > 2.0 * d.error {
        true if d.mean > 0.0 => "the others cost more, and chance alone hardly explains it",
        true => "the others cost less, and chance alone hardly explains it",
        false => "no more than chance may explain",
    };
    out += &fill(
        &format!(
            "A job with the others costs {:+.2} ±{:.2}: {verdict}.",
            d.mean, d.error
        ),
        columns,
    );
    let most = c
        .by_fault
        .iter()
        .filter(|f| f.difference.mean != 0.0)
        .take(NAMED);
    let rows: Vec<Vec<String>> = most
        .map(|f| {
            vec![
                shorten(&f.name, columns.saturating_sub(30).max(16)),
                format!("{:+.1} ±{:.1}", f.difference.mean, f.difference.error),
                f.cases.to_string(),
            ]
        })
        .collect();
    if !rows.is_empty() {
        out.push('\n');
        out += &fill("Where that comes from, by fault:", columns);
        out += &table(&["", "difference", "cases"], rows);
    }
    for (says, all) in [
        ("Only these rules have", &c.only_these),
        ("Only the others have", &c.only_others),
    ] {
        if !all.is_empty() {
            let named: Vec<&str> = all.iter().take(NAMED).map(String::as_str).collect();
            let mut text = format!("{says}: {}", named.join(", "));
            if all.len() > NAMED {
                let _ = write!(text, ", and {} more", all.len() - NAMED);
            }
            out += &fill(&format!("{text}."), columns);
        }
    }
    out
}
