//! Cleaning of typed text, and the fixed words of reports.

use crate::job::ClosingState;
use crate::job::trail::TrailStep;
use crate::job::words::{UNSURE, percent_within};

/// Above this a result is marked as doubtful.
const DOUBTFUL: f64 = 0.1;
/// Above this many bits, results are said not to fit together.
const CONFLICT: f64 = 1.0;

/// Characters that turn the direction of the text after them: embeddings and
/// overrides, isolates, and the marks. Left in, a serial number could be made to
/// read backwards.
pub(crate) fn turns_direction(c: char) -> bool {
    matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}'
        | '\u{2066}'..='\u{2069}')
}

/// Characters that no XML may hold, even escaped.
fn not_text(c: char) -> bool {
    matches!(c, '\u{fffe}' | '\u{ffff}')
}

/// Typed text as one line: every run of white space and control characters is
/// one space.
pub(super) fn line(text: &str) -> String {
    let kept: String = text
        .chars()
        .filter(|c| !turns_direction(*c) && !not_text(*c))
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Typed text that may have several lines; empty ones are left out.
pub(super) fn lines(text: &str) -> Vec<String> {
    text.split(['\n', '\r', '\u{2028}', '\u{2029}'])
        .map(line)
        .filter(|l| !l.is_empty())
        .collect()
}

/// A line, if anything is on it.
pub(super) fn filled(text: Option<&str>) -> Option<String> {
    text.map(line).filter(|t| !t.is_empty())
}

/// A name, if it is one: where the rules give none it is the identifier, or the last
/// part of it, and that is not for customers.
pub(super) fn named(name: &str, id: &str) -> Option<String> {
    let id = line(id);
    let last = id.rsplit('/').next().unwrap_or_default().to_owned();
    filled(Some(name)).filter(|n| *n != id && *n != last)
}

/// An outcome that was typed for a test that the rules no longer know, as words;
/// other text as it is.
fn spoken(text: &str) -> String {
    let text = line(text);
    let is_outcome = text.starts_with(|c: char| c.is_ascii_lowercase())
        && text
            .chars()
            .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || "-._/".contains(c));
    match is_outcome {
        true => text.replace(['-', '.', '_', '/'], " "),
        false => text,
    }
}

/// What a step showed: a measured value, and in brackets what it counts as.
pub(super) fn shown(step: &TrailStep) -> Option<String> {
    let says = step.says.as_deref().unwrap_or_default();
    let shown = match &step.reads {
        Some(reads) => format!("{} ({})", line(reads), spoken(says)),
        None => spoken(step.shows.as_deref()?),
    };
    Some(shown).filter(|s| !s.is_empty())
}

/// Day and hh:mm of an RFC 3339 time as written there, `UTC` where it says so.
/// Anything else is shown as it is.
pub(super) fn moment(at: &str) -> String {
    match split_time(at) {
        Some((date, clock)) => format!("{}, {clock}", date.strftime("%-d %b %Y")),
        None => line(at),
    }
}

/// The same for something that followed `before`: without the day where it is
/// the same one.
pub(super) fn later(at: &str, before: &str) -> String {
    match (split_time(at), split_time(before)) {
        (Some((date, clock)), Some((day, _))) if date == day => clock,
        _ => moment(at),
    }
}

/// The day alone, for the customer.
pub(super) fn day(at: &str) -> String {
    split_time(at).map_or_else(
        || line(at),
        |(date, _)| date.strftime("%-d %B %Y").to_string(),
    )
}

fn split_time(at: &str) -> Option<(jiff::civil::Date, String)> {
    let at = at.trim();
    at.parse::<jiff::Timestamp>().ok()?;
    let date = at.get(..10)?.parse().ok()?;
    let clock = at.get(11..16).filter(|c| c.as_bytes()[2] == b':')?;
    let utc = if at.ends_with(['Z', 'z']) { " UTC" } else { "" };
    Some((date, format!("{clock}{utc}")))
}

/// Numbers of steps in words: "step 4", "steps 1 to 3 and 7".
pub(super) fn steps(numbers: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for n in numbers {
        match runs.last_mut() {
            Some(r) if r.1 + 1 == *n => r.1 = *n,
            _ => runs.push((*n, *n)),
        }
    }
    let mut said: Vec<String> = runs
        .iter()
        .map(|(a, b)| match b - a {
            0 => a.to_string(),
            1 => format!("{a}, {b}"),
            _ => format!("{a} to {b}"),
        })
        .collect();
    let word = if numbers.len() == 1 { "step" } else { "steps" };
    if said.len() > 1 {
        let end = said.split_off(said.len() - 1);
        return format!("{word} {} and {}", said.join(", "), end[0]);
    }
    format!("{word} {}", said.join(", "))
}

/// Minutes of work.
pub(super) fn minutes(m: f64) -> String {
    if m < 1.0 {
        "under 1 min".to_owned()
    } else {
        format!("about {m:.0} min")
    }
}

/// A mark on a result that is not to be trusted, where the belief leaves out so
/// much at most.
pub(super) fn doubt(misread: Option<f64>, left_out: f64) -> Option<String> {
    misread
        .filter(|p| *p > DOUBTFUL)
        .map(|p| match left_out > UNSURE {
            true => "may have been misread".to_owned(),
            false => format!("may have been misread: {}", percent_within(p, left_out)),
        })
}

/// Whether the results up to a moment disagree.
pub(super) fn conflict(bits: f64) -> bool {
    bits > CONFLICT
}

/// How the job ended, for the bench.
pub(super) fn ended(how: Option<ClosingState>) -> &'static str {
    match how {
        None => "The job is still open.",
        Some(ClosingState::Mended) => "Mended.",
        Some(ClosingState::NotMended) => "Not mended.",
        Some(ClosingState::NoFaultFound) => "No fault found.",
        Some(ClosingState::NotWorthIt) => "Not worth mending.",
    }
}

/// How the job ended, for the customer.
pub(super) fn ended_for_customer(how: Option<ClosingState>) -> &'static str {
    match how {
        None => "We are still working on it.",
        Some(ClosingState::Mended) => "Your device is mended.",
        Some(ClosingState::NotMended) => "We could not mend your device.",
        Some(ClosingState::NoFaultFound) => "We found no fault.",
        Some(ClosingState::NotWorthIt) => "Mending it would cost more than it is worth.",
    }
}

/// Whether a caution is about the battery, so that its owner has to know.
pub(super) fn concerns_battery(caution: &str) -> bool {
    [AT_THE_BATTERY, "swollen-cell"].contains(&caution)
}

/// The caution that holds for work on or near a lithium cell.
pub(super) const AT_THE_BATTERY: &str = "lithium";

/// A result that is doubtful, for the customer.
pub(super) fn uncertain(misread: Option<f64>) -> bool {
    misread.is_some_and(|p| p > DOUBTFUL)
}

/// The first twelve hexadecimal digits of the rules' fingerprint.
pub(super) fn fingerprint(sha: &str) -> String {
    sha.chars()
        .filter(char::is_ascii_hexdigit)
        .take(12)
        .collect()
}

/// That the battery was part of the work.
pub(super) const BATTERY_NEAR: &str = "We worked on or close to the battery of your device.";
/// What not to do with a battery.
pub(super) const BATTERY_NEVER: &str = "If a battery swells, is damaged, gets very hot or smells \
     sweet, stop: do not charge it, press on it or pierce it. Keep it away from anything that \
     burns, and ask us or another specialist.";
/// Where old cells go.
pub(super) const BATTERY_OLD: &str = "Hand old and damaged cells in at a collection point, never with the household waste. Local \
     rules apply.";
/// How far a report reaches, for the customer.
pub(super) const RESTS_ON: &str = "This report rests on the checks named in it. Each shows your \
     device as it was at that moment. For what was neither tried nor worked on we cannot speak.";
