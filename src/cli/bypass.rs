//! Advice on a wire, as a terminal shows it.

use serde::Serialize;

use super::args::Format;
use super::config::Config;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::desk::Desk;
use crate::job::bypass::BypassView;
use crate::job::view::VERSION;
use crate::units::shown;

#[derive(Serialize)]
struct Answer {
    version: u32,
    job: i64,
    bypasses: Vec<BypassView>,
}

/// `job bypass`. The exit code is 1 when no wire is sound.
pub(super) fn bypass(
    config: &Config,
    desk: &Desk,
    what: &str,
    to: Option<&str>,
    metres: f64,
    terminal: &mut Terminal,
) -> Result {
    let all = desk.case.bypass(what, to, metres)?;
    let no = all.iter().all(BypassView::is_no);
    match config.format {
        Format::Json => terminal.json(&Answer {
            version: VERSION,
            job: desk.id(),
            bypasses: all,
        })?,
        _ => terminal.say(&advice(&all))?,
    }
    if no { Err(Failure::Reported) } else { Ok(()) }
}

/// Above this many, only what differs is said of each.
const IN_FULL: usize = 2;

/// The advice on each, with what all share said once.
pub(super) fn advice(all: &[BypassView]) -> String {
    let mut out = Vec::new();
    if all.len() > IN_FULL {
        out.extend(grouped(all));
    } else {
        out.extend(all.iter().flat_map(in_full));
    }
    let mut cautions: Vec<&str> = Vec::new();
    for c in all.iter().filter(|b| !b.is_no()).flat_map(|b| &b.cautions) {
        if !cautions.contains(&c.as_str()) {
            cautions.push(c);
        }
    }
    out.extend(cautions.into_iter().map(|c| format!("Caution: {c}")));
    out.join("\n")
}

fn in_full(b: &BypassView) -> Vec<String> {
    let mut out = vec![format!("A wire round the {}, {}:", b.name, b.line_name)];
    let mut reasons = b.reasons.iter();
    let first = reasons.next().map_or("", String::as_str);
    out.push(format!("  {}. {first}", b.verdict.says()));
    out.extend(reasons.map(|r| format!("  {r}")));
    if b.is_no() {
        return out;
    }
    out.push(format!(
        "  From: {}; to: {} ({}).",
        b.from,
        b.to,
        levels(b.from_volts, b.to_volts)
    ));
    let w = &b.wire;
    out.push(format!(
        "  Wire: {} of AWG {} ({} bare), {}. The line can push {} through it, which drops {}; it melts at about {}, for long carry no more than {}.",
        shown(w.metres, "m"),
        w.awg,
        shown(w.metres_thick, "m"),
        shown(w.ohms, "ohm"),
        shown(w.amps, "A"),
        shown(w.drop_volts, "V"),
        shown(w.fusing_amps, "A"),
        shown(w.carries_amps, "A"),
    ));
    if let Some(longest) = w.longest_metres {
        out.push(format!(
            "  No longer than {}, and the shortest way: the line is fast.",
            shown(longest, "m")
        ));
    }
    out
}

/// Those with the same verdict for the same reasons under one heading.
fn grouped(all: &[BypassView]) -> Vec<String> {
    let mut out = Vec::new();
    let mut left: Vec<&BypassView> = all.iter().collect();
    while let Some(first) = left.first().copied() {
        let alike = |b: &&BypassView| b.verdict == first.verdict && b.reasons == first.reasons;
        out.push(format!(
            "{}. {}",
            first.verdict.says(),
            first.reasons.join(" ")
        ));
        for b in left.iter().filter(|b| alike(b)) {
            let wire = match b.is_no() {
                true => String::new(),
                false => format!(": AWG {} or thicker", b.wire.awg),
            };
            let part = b.parts.first().map_or("", String::as_str);
            out.push(format!("  {} ({}/{part}){wire}", b.name, b.line));
        }
        left.retain(|b| !alike(b));
    }
    out.push("`bypass` with the name in brackets tells more of one.".to_owned());
    out
}

fn levels(from: f64, to: f64) -> String {
    let (from, to) = (shown(from, "V"), shown(to, "V"));
    if from == to {
        format!("{from} on both sides")
    } else {
        format!("{from} and {to}")
    }
}

/// In a line or two, for the explanation of a remedy.
pub(super) fn in_short(b: &BypassView) -> String {
    let reason = b.reasons.first().map_or("", String::as_str);
    let wire = match b.is_no() {
        true => String::new(),
        false => format!(" AWG {}.", b.wire.awg),
    };
    format!(
        "  round the {} of {}: {}.{wire} {reason}",
        b.name,
        b.line_name,
        b.verdict.says().to_lowercase()
    )
}
