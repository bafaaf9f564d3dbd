//! The sheet for the customer.

use super::{cleaned, end, remedies, was_done};
use crate::job::ClosingState;
use crate::job::trail::{Trail, TrailKind, TrailStep};
use crate::job::view::Suspect;
use crate::report::words;
use crate::rulebase::Kind;

/// From here on a fault is said to have been there, or to be the likeliest.
const LIKELY: f64 = 0.5;

/// What the customer reads.
pub(in crate::report) struct CustomerSheet {
    pub(in crate::report) job: Option<i64>,
    /// Kind of device, in words.
    pub(in crate::report) kind: String,
    pub(in crate::report) model: Option<String>,
    pub(in crate::report) serial: Option<String>,
    pub(in crate::report) opened: Option<String>,
    pub(in crate::report) closed: Option<String>,
    pub(in crate::report) complaint: Vec<String>,
    pub(in crate::report) symptoms: Vec<String>,
    pub(in crate::report) history: Vec<String>,
    /// How what follows is to be read.
    pub(in crate::report) wrong_says: &'static str,
    /// What was wrong.
    pub(in crate::report) wrong: Vec<String>,
    pub(in crate::report) work: Vec<Work>,
    /// Checks after the last work.
    pub(in crate::report) tested: Vec<Check>,
    pub(in crate::report) proved: Vec<String>,
    /// Checks before it, by hand and eye.
    pub(in crate::report) looked: Vec<Check>,
    /// Measurements before it.
    pub(in crate::report) measured: Vec<Check>,
    /// What was not done, a sentence each.
    pub(in crate::report) not_done: Vec<String>,
    pub(in crate::report) ended: &'static str,
    pub(in crate::report) reason: Option<String>,
    /// A step that was done, or comes next, takes care with the battery.
    pub(in crate::report) battery: bool,
    /// A step that was done was on or close to it.
    pub(in crate::report) at_the_battery: bool,
}

/// A piece of work, for the customer.
pub(in crate::report) struct Work {
    pub(in crate::report) text: String,
    /// What was worked on, where the text does not name it.
    pub(in crate::report) items: Vec<String>,
}

/// A check, for the customer.
pub(in crate::report) struct Check {
    pub(in crate::report) text: String,
    pub(in crate::report) result: String,
    /// What has to be known with it.
    pub(in crate::report) remark: Option<String>,
}

/// The words of a step; none where the rules no longer know it.
fn plain_text(s: &TrailStep) -> Option<String> {
    words::named(&s.text, s.id.as_deref()?)
}

/// Names of the items that were worked on, where they have any.
fn item_names(s: &TrailStep) -> impl Iterator<Item = String> {
    s.items
        .iter()
        .filter_map(|i| words::named(&i.name, &i.item))
}

/// What was wrong, as far as it is known, and how that is said.
fn wrong(t: &Trail) -> (&'static str, Vec<String>) {
    let likely = |all: &mut dyn Iterator<Item = &Suspect>| -> Vec<String> {
        let mut out: Vec<String> = Vec::new();
        let likely = all.filter(|s| s.posterior >= LIKELY);
        for n in likely.filter_map(|s| words::named(&s.name, &s.fault)) {
            if !out.contains(&n) {
                out.push(n);
            }
        }
        out
    };
    let was = likely(&mut remedies(t).flat_map(|s| &s.was_there));
    if !was.is_empty() {
        return ("Our checks point to this:", was);
    }
    match t.ended {
        Some(ClosingState::NoFaultFound) => ("Our checks showed nothing wrong.", Vec::new()),
        Some(ClosingState::Mended) => {
            let mut items: Vec<String> = Vec::new();
            for i in remedies(t).flat_map(item_names) {
                if !items.contains(&i) {
                    items.push(i);
                }
            }
            if items.is_empty() {
                ("", items)
            } else {
                ("It lay here; more closely it cannot be told:", items)
            }
        }
        ended => {
            let now = likely(&mut end(t).suspects.iter());
            match (now.is_empty(), ended) {
                (false, _) => ("Most likely this, though it is not proved:", now),
                (true, None) => ("That is not known yet.", now),
                (true, Some(_)) => ("Our checks did not narrow it down to one fault.", now),
            }
        }
    }
}

/// What the customer might expect to have been done and was not.
fn not_done(t: &Trail) -> Vec<String> {
    let mut out = Vec::new();
    for (n, s) in t.steps.iter().enumerate() {
        let done_later = t.steps[n + 1..].iter().any(|l| l.id == s.id && was_done(l));
        if s.kind != TrailKind::Cannot || done_later {
            continue;
        }
        if let Some(text) = plain_text(s) {
            out.push(format!("Could not be done: {text}"));
        } else {
            out.push("Another check could not be done.".to_owned());
        }
    }
    for f in cleaned(&t.unproved) {
        out.push(format!("Not yet shown to work again: {f}"));
    }
    if let Some(ClosingState::NotMended | ClosingState::NotWorthIt) = t.ended
        && let Some(a) = &end(t).advised
        && let Some(text) = words::named(&a.text, &a.id)
    {
        out.push(format!("The next step would have been: {text}"));
    }
    out
}

/// The questions answered with yes that the rules still ask.
fn history(t: &Trail) -> Vec<String> {
    let mut asked = t.history.clone();
    asked.retain(|h| !t.history_gone.contains(h));
    cleaned(&asked)
}

impl CustomerSheet {
    pub(in crate::report) fn new(t: &Trail) -> CustomerSheet {
        let mended = t.ended == Some(ClosingState::Mended);
        let work: Vec<Work> = remedies(t).filter_map(Work::new).collect();
        let last = t.steps.iter().rposition(|s| s.kind == TrailKind::Remedy);
        let (mut looked, mut measured, mut tested) = (Vec::new(), Vec::new(), Vec::new());
        let mut repairs = 0;
        for (n, s) in t.steps.iter().enumerate() {
            repairs += usize::from(s.kind == TrailKind::Remedy);
            let Some(mut check) = Check::new(s) else {
                continue;
            };
            if last.is_some_and(|l| n > l) {
                tested.push(check);
                continue;
            }
            if repairs > 0 {
                let after = format!("after repair {repairs}");
                check.remark = Some(match check.remark {
                    Some(remark) => format!("{after}; {remark}"),
                    None => after,
                });
            }
            match s.manner {
                Some(Kind::Measure | Kind::Continuity) => measured.push(check),
                _ => looked.push(check),
            }
        }
        let proved = cleaned(&t.proved);
        let (wrong_says, wrong) = wrong(t);
        let done_cautions: Vec<&str> = t
            .steps
            .iter()
            .filter(|s| was_done(s))
            .flat_map(|s| s.cautions.iter().map(String::as_str))
            .collect();
        let ahead = end(t).advised.as_ref().filter(|_| !mended);
        let ahead_cautions = t
            .cautions
            .iter()
            .filter(|c| ahead.is_some_and(|a| a.cautions.contains(&c.text)))
            .map(|c| c.id.as_str());
        CustomerSheet {
            job: t.job,
            kind: words::filled(Some(&t.kind.replace('-', " "))).unwrap_or_else(|| "device".into()),
            model: words::filled(t.model.as_deref()),
            serial: words::filled(t.serial.as_deref()),
            opened: t.opened.as_deref().map(words::day),
            closed: t.closed.as_deref().map(words::day),
            complaint: words::lines(&t.complaint),
            symptoms: cleaned(&t.symptoms),
            history: history(t),
            wrong_says,
            wrong,
            work,
            tested,
            proved,
            looked,
            measured,
            not_done: not_done(t),
            ended: words::ended_for_customer(t.ended),
            reason: words::filled(t.reason.as_deref()),
            battery: done_cautions
                .iter()
                .copied()
                .chain(ahead_cautions)
                .any(words::concerns_battery),
            at_the_battery: done_cautions.contains(&words::AT_THE_BATTERY),
        }
    }
}

impl CustomerSheet {
    /// Heading of the checks that were not made after the work.
    pub(in crate::report) fn checked_heading(&self) -> &'static str {
        match self.work.is_empty() {
            true => "What we checked",
            false => "What we had checked before",
        }
    }
}

impl Work {
    pub(in crate::report) fn new(s: &TrailStep) -> Option<Work> {
        let text = plain_text(s)?;
        let known = text.to_lowercase();
        let mut items: Vec<String> = item_names(s).collect();
        items.retain(|i| !known.contains(&i.to_lowercase()));
        Some(Work { text, items })
    }
}

impl Check {
    pub(in crate::report) fn new(s: &TrailStep) -> Option<Check> {
        let (result, remark) = match s.kind {
            TrailKind::Result => (
                words::shown(s).unwrap_or_default(),
                if s.repeated_in.is_some() {
                    Some("checked again later")
                } else if words::uncertain(s.misread) {
                    Some("this result is not certain")
                } else {
                    None
                },
            ),
            TrailKind::Unclear => ("gave no clear result".to_owned(), None),
            // Remarks are for the bench; what could not be done stands by itself.
            _ => return None,
        };
        Some(Check {
            text: plain_text(s).unwrap_or_else(|| "Another check".into()),
            result,
            remark: remark.map(str::to_owned),
        })
    }
}
