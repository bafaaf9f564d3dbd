//! What stands on a report, cleaned and put in words, before it is Markdown or
//! a page. The customer's sheet has no room for numbers, remarks or
//! identifiers; that is what keeps them out.

use std::collections::BTreeSet;

use super::words;
use crate::job::trail::{Moment, Trail, TrailStep};
use crate::job::view::percent;

/// At most this many suspects are named after a step.
const LEADING: usize = 4;
/// A suspect below this is not worth naming, unless it is the first.
const NAMED_FROM: f64 = 0.02;

/// Everything, for the bench.
pub(super) struct BenchSheet {
    /// Title, with the number of the job.
    pub(super) title: String,
    pub(super) job: Option<i64>,
    /// Kind, model and variant.
    pub(super) device: String,
    pub(super) serial: Option<String>,
    pub(super) opened: Option<String>,
    pub(super) closed: Option<String>,
    pub(super) complaint: Vec<String>,
    pub(super) symptoms: Vec<String>,
    pub(super) history: Vec<String>,
    pub(super) intake: Known,
    pub(super) steps: Vec<BenchStep>,
    pub(super) remedies: Vec<String>,
    pub(super) proved: Vec<String>,
    pub(super) ended: String,
    pub(super) reason: Option<String>,
    pub(super) rules: Option<String>,
}

/// One step, for the bench.
pub(super) struct BenchStep {
    pub(super) number: usize,
    pub(super) at: Option<String>,
    /// "Checked", "Remedy" and so on.
    pub(super) did: &'static str,
    /// A word for the style: what kind of step it is.
    pub(super) class: &'static str,
    pub(super) text: String,
    pub(super) id: Option<String>,
    pub(super) shows: Option<String>,
    pub(super) doubt: Option<String>,
    pub(super) note: Option<String>,
    pub(super) moved: Option<String>,
    pub(super) after: Known,
}

/// What was known at a moment.
#[derive(Default)]
pub(super) struct Known {
    /// Leading suspects; empty where nothing changed or nothing is known.
    pub(super) leading: Vec<Odds>,
    /// The same as at the moment before.
    pub(super) unchanged: bool,
    /// The five places, likeliest first.
    pub(super) places: Vec<Odds>,
    /// The results do not fit together.
    pub(super) conflict: bool,
    pub(super) advised: Option<Advice>,
}

/// A name with its probability.
pub(super) struct Odds {
    pub(super) name: String,
    pub(super) percent: String,
    /// Length of its bar in per cent.
    pub(super) bar: u32,
}

/// What was advised next.
pub(super) struct Advice {
    pub(super) text: String,
    pub(super) id: String,
    pub(super) minutes: String,
    pub(super) why: Option<String>,
    /// Cautions that were not given before.
    pub(super) cautions: Vec<String>,
    /// There are more, given before.
    pub(super) cautions_above: bool,
}

impl BenchSheet {
    pub(super) fn new(t: &Trail) -> BenchSheet {
        let mut said = BTreeSet::new();
        let intake = Known::new(&t.intake, None, &mut said);
        let mut before = &t.intake;
        let steps = t
            .steps
            .iter()
            .map(|s| {
                let step = BenchStep::new(s, Known::new(&s.after, Some(before), &mut said));
                before = &s.after;
                step
            })
            .collect();
        BenchSheet {
            title: words::filled(Some(&t.title)).unwrap_or_else(|| "Job without a title".into()),
            job: t.job,
            device: [
                Some(t.kind.replace('-', " ")),
                t.model.clone(),
                t.variant.clone(),
            ]
            .iter()
            .filter_map(|p| words::filled(p.as_deref()))
            .collect::<Vec<_>>()
            .join(", "),
            serial: words::filled(t.serial.as_deref()),
            opened: t.opened.as_deref().map(words::moment),
            closed: t.closed.as_deref().map(words::moment),
            complaint: words::lines(&t.complaint),
            symptoms: cleaned(&t.symptoms),
            history: cleaned(&t.history),
            intake,
            steps,
            remedies: cleaned(&t.remedies),
            proved: cleaned(&t.proved),
            ended: words::ended(t.ended.as_deref()),
            reason: words::filled(t.reason.as_deref()),
            rules: t
                .rules
                .as_deref()
                .map(words::fingerprint)
                .filter(|r| !r.is_empty()),
        }
    }
}

fn cleaned(texts: &[String]) -> Vec<String> {
    texts
        .iter()
        .filter_map(|t| words::filled(Some(t)))
        .collect()
}

impl BenchStep {
    fn new(s: &TrailStep, after: Known) -> BenchStep {
        let (did, class) = match s.kind.as_str() {
            "result" => ("Checked", "result"),
            "remedy" => ("Remedy", "remedy"),
            "note" => ("Remark", "note"),
            "cannot" => ("Could not be done", "cannot"),
            "unclear" => ("Checked, unclear", "unclear"),
            _ => ("Entered", "note"),
        };
        let id = words::filled(s.id.as_deref());
        let text = words::filled(Some(&s.text))
            .or_else(|| id.clone())
            .unwrap_or_default();
        BenchStep {
            number: s.number,
            at: s.at.as_deref().map(words::moment),
            did,
            class,
            id: id.filter(|i| *i != text),
            text,
            shows: words::filled(s.shows.as_deref()),
            doubt: words::doubt(s.misread),
            note: words::filled(s.note.as_deref()),
            moved: words::filled(s.moved.as_deref()),
            after,
        }
    }
}

impl Known {
    fn new(m: &Moment, before: Option<&Moment>, said: &mut BTreeSet<String>) -> Known {
        let unchanged =
            before.is_some_and(|b| b.suspects == m.suspects && b.nothing_found == m.nothing_found);
        let mut leading: Vec<(&str, f64)> = Vec::new();
        if !unchanged {
            leading.extend(
                m.suspects
                    .iter()
                    .take(LEADING)
                    .enumerate()
                    .filter(|(i, s)| *i == 0 || s.posterior >= NAMED_FROM)
                    .map(|(_, s)| (s.name.as_str(), s.posterior)),
            );
            if !m.suspects.is_empty() && m.nothing_found >= NAMED_FROM {
                leading.push(("nothing wrong", m.nothing_found));
            }
            leading.sort_by(|a, b| b.1.total_cmp(&a.1));
        }
        let mut places: Vec<_> = m.r#where.iter().collect();
        places.sort_by(|a, b| b.posterior.total_cmp(&a.posterior));
        let same_advice = before.is_some_and(|b| b.advised == m.advised);
        Known {
            leading: leading.iter().map(|(n, p)| Odds::new(n, *p)).collect(),
            unchanged,
            places: places
                .into_iter()
                .map(|p| Odds::new(&p.name, p.posterior))
                .collect(),
            conflict: words::conflict(m.conflict_bits),
            advised: m.advised.as_ref().filter(|_| !same_advice).map(|a| {
                let (new, old): (Vec<String>, Vec<String>) = cleaned(&a.cautions)
                    .into_iter()
                    .partition(|c| said.insert(c.clone()));
                Advice {
                    text: words::line(&a.text),
                    id: words::line(&a.id),
                    minutes: words::minutes(a.minutes),
                    why: words::filled(Some(&a.why)),
                    cautions: new,
                    cautions_above: !old.is_empty(),
                }
            }),
        }
    }
}

impl Odds {
    fn new(name: &str, p: f64) -> Odds {
        Odds {
            name: words::line(name),
            percent: percent(p),
            bar: (p.clamp(0.0, 1.0) * 100.0).round() as u32,
        }
    }
}

/// What the customer reads.
pub(super) struct CustomerSheet {
    pub(super) job: Option<i64>,
    /// Kind of device, in words.
    pub(super) kind: String,
    pub(super) model: Option<String>,
    pub(super) serial: Option<String>,
    pub(super) opened: Option<String>,
    pub(super) closed: Option<String>,
    pub(super) complaint: Vec<String>,
    pub(super) symptoms: Vec<String>,
    pub(super) history: Vec<String>,
    pub(super) checks: Vec<Check>,
    pub(super) work: Vec<String>,
    pub(super) proved: Vec<String>,
    pub(super) ended: String,
    pub(super) reason: Option<String>,
    /// The battery was among the items worked on, or is not safe.
    pub(super) battery: bool,
}

/// A check, for the customer.
pub(super) struct Check {
    pub(super) text: String,
    pub(super) result: String,
    /// It was done after the first remedy.
    pub(super) after_work: bool,
}

impl CustomerSheet {
    pub(super) fn new(t: &Trail) -> CustomerSheet {
        let mut worked = false;
        let mut checks = Vec::new();
        for s in &t.steps {
            let result = match s.kind.as_str() {
                "result" => s.shows.as_deref().map(words::spoken).unwrap_or_default(),
                "cannot" => "could not be checked".to_owned(),
                "unclear" => "gave no clear result".to_owned(),
                "remedy" => {
                    worked = true;
                    continue;
                }
                // Remarks are for the bench.
                _ => continue,
            };
            let text = words::line(&s.text);
            let unnamed = text.is_empty()
                || words::is_identifier(&text)
                || s.id.as_deref().is_some_and(|id| words::line(id) == text);
            checks.push(Check {
                text: if unnamed {
                    "Another check".into()
                } else {
                    text
                },
                result,
                after_work: worked,
            });
        }
        CustomerSheet {
            job: t.job,
            kind: words::filled(Some(&t.kind.replace('-', " "))).unwrap_or_else(|| "device".into()),
            model: words::filled(t.model.as_deref()),
            serial: words::filled(t.serial.as_deref()),
            opened: t.opened.as_deref().map(words::day),
            closed: t.closed.as_deref().map(words::day),
            complaint: words::lines(&t.complaint),
            symptoms: named(&t.symptoms),
            history: named(&t.history),
            checks,
            work: named(&t.remedies),
            proved: named(&t.proved),
            ended: words::ended_for_customer(t.ended.as_deref()),
            reason: words::filled(t.reason.as_deref()),
            battery: battery_matters(t),
        }
    }
}

/// Texts without those that are bare identifiers.
fn named(texts: &[String]) -> Vec<String> {
    let mut all = cleaned(texts);
    all.retain(|t| !words::is_identifier(t));
    all
}

/// Whether the customer needs the word on batteries: one was worked on, or is
/// handed back while it is still a suspect for being swollen or pierced.
fn battery_matters(t: &Trail) -> bool {
    let worked_on = t.remedies.iter().any(|r| words::names_battery(r))
        || t.steps.iter().any(|s| {
            s.kind == "remedy"
                && (words::names_battery(&s.text)
                    || s.id.as_deref().is_some_and(words::names_battery))
        });
    let end = t.steps.last().map_or(&t.intake, |s| &s.after);
    let unsafe_cell = end.suspects.iter().any(|s| {
        s.posterior >= 0.2
            && (words::names_battery(&s.fault) || words::names_battery(&s.name))
            && ["swollen", "punctured", "pierced", "damaged"]
                .iter()
                .any(|w| s.fault.contains(w) || s.name.contains(w))
    });
    worked_on || unsafe_cell
}
