//! What stands on a report, cleaned and put in words, before it is Markdown or
//! a page. The customer's sheet has no room for numbers, remarks or
//! identifiers; that is what keeps them out.

use std::collections::BTreeSet;

use super::words;
use crate::belief::likelier;
use crate::job::ClosingState;
use crate::job::trail::{Advised, Moment, Trail, TrailKind, TrailStep};
use crate::job::view::{Suspect, percent_within};
use crate::model::shown_id;
use crate::rulebase::Kind;

/// At most this many suspects are named after a step.
const LEADING: usize = 4;
/// A suspect below this is not worth naming, unless it is the first.
const NAMED_FROM: f64 = 0.02;
/// Nor is one that is less likely than this share of the first.
const NAMED_SHARE: f64 = 0.15;
/// From here on a fault is said to have been there, or to be the likeliest.
const LIKELY: f64 = 0.5;

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
    pub(super) work: Vec<BenchWork>,
    pub(super) proved: Vec<String>,
    pub(super) unproved: Vec<String>,
    pub(super) intake: Known,
    pub(super) steps: Vec<BenchStep>,
    /// Where a fault may lie now, likeliest first.
    pub(super) places: Vec<Odds>,
    /// What is advised now.
    pub(super) next: Option<Advice>,
    pub(super) cautions: Vec<Caution>,
    pub(super) ended: &'static str,
    pub(super) reason: Option<String>,
    pub(super) rules: Option<String>,
}

/// A remedy that was done, for the bench.
pub(super) struct BenchWork {
    pub(super) number: usize,
    pub(super) text: String,
    /// What was worked on.
    pub(super) items: Vec<String>,
    /// What it cleared, as known in the end.
    pub(super) was_there: Vec<Odds>,
}

/// One step, for the bench.
pub(super) struct BenchStep {
    pub(super) number: usize,
    pub(super) at: Option<String>,
    /// "Checked", "Remedy" and so on.
    pub(super) did: &'static str,
    /// A word for the style: what kind of step it is.
    pub(super) class: &'static str,
    /// Whether it is about something done to the device, or that could not be.
    is_step: bool,
    pub(super) text: String,
    pub(super) id: Option<String>,
    pub(super) shows: Option<String>,
    pub(super) doubt: Option<String>,
    /// The step whose result took the place of this one's.
    pub(super) repeated_in: Option<usize>,
    /// What was entered first, where a later step corrected it.
    pub(super) was: Option<String>,
    /// The step that corrected this one.
    pub(super) corrected_in: Option<usize>,
    pub(super) note: Option<String>,
    pub(super) moved: Option<String>,
    /// What had been advised, and why.
    pub(super) advised: Option<Advice>,
    /// That very step had been advised.
    pub(super) as_advised: bool,
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
    /// Hazards that came up at this moment, in words.
    pub(super) hazards: Vec<String>,
}

/// A name with its probability.
pub(super) struct Odds {
    pub(super) name: String,
    pub(super) percent: String,
    /// Length of its bar in per cent.
    pub(super) bar: u32,
}

/// A step that was advised.
pub(super) struct Advice {
    pub(super) text: String,
    pub(super) id: Option<String>,
    pub(super) minutes: String,
    pub(super) why: Option<String>,
}

/// A caution, with the steps it held for.
pub(super) struct Caution {
    pub(super) text: String,
    /// "steps 2 to 4", or that it came with a step that was only advised.
    pub(super) held: String,
}

impl BenchSheet {
    pub(super) fn new(t: &Trail) -> BenchSheet {
        let mut before = &t.intake;
        let mut clock = t.opened.as_deref().unwrap_or("");
        // Advice stands until it has been told with a step.
        let mut untold = t.intake.advised.as_ref();
        let mut steps = Vec::new();
        for s in &t.steps {
            let mut step = BenchStep::new(s, end(t).left_out, Known::new(&s.after, Some(before)));
            step.at = s.at.as_deref().map(|at| words::later(at, clock));
            clock = s.at.as_deref().unwrap_or(clock);
            if s.kind != TrailKind::Note
                && let Some(a) = untold
            {
                step.as_advised = s.id.as_deref() == Some(&a.id);
                step.advised = Some(Advice::new(a));
                untold = None;
            }
            if s.after.advised != before.advised {
                untold = s.after.advised.as_ref();
            }
            before = &s.after;
            steps.push(step);
        }
        let open = t.ended != Some(ClosingState::Mended);
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
            work: (remedies(t).map(|s| BenchWork::new(s, end(t).left_out))).collect(),
            proved: cleaned(&t.proved),
            unproved: cleaned(&t.unproved),
            intake: Known::new(&t.intake, None),
            steps,
            places: places(end(t)),
            next: end(t).advised.as_ref().filter(|_| open).map(Advice::new),
            cautions: cautions(t),
            ended: words::ended(t.ended),
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

fn remedies(t: &Trail) -> impl Iterator<Item = &TrailStep> {
    t.steps.iter().filter(|s| s.kind == TrailKind::Remedy)
}

/// What was known last.
fn end(t: &Trail) -> &Moment {
    t.steps.last().map_or(&t.intake, |s| &s.after)
}

/// Whether something was done to the device, or tried to be.
fn was_done(s: &TrailStep) -> bool {
    matches!(
        s.kind,
        TrailKind::Result | TrailKind::Remedy | TrailKind::Unclear | TrailKind::Sure
    )
}

/// Each caution once: those known by their identifiers with the steps they held
/// for, then any that came with an advised step and are in no rule any more.
fn cautions(t: &Trail) -> Vec<Caution> {
    let mut out = Vec::new();
    let mut known = BTreeSet::new();
    for c in &t.cautions {
        let steps: Vec<usize> = t
            .steps
            .iter()
            .filter(|s| was_done(s) && s.cautions.contains(&c.id))
            .map(|s| s.number)
            .collect();
        known.insert(words::line(&c.text));
        out.push((steps, words::line(&c.text)));
    }
    // Those that held come first.
    out.sort_by_key(|(steps, _)| steps.is_empty());
    for text in std::iter::once(&t.intake)
        .chain(t.steps.iter().map(|s| &s.after))
        .filter_map(|m| m.advised.as_ref())
        .flat_map(|a| cleaned(&a.cautions))
    {
        if known.insert(text.clone()) {
            out.push((Vec::new(), text));
        }
    }
    let caution = |(steps, text): (Vec<usize>, String)| Caution {
        text,
        held: match steps.as_slice() {
            [] => "advised only".to_owned(),
            held => words::steps(held),
        },
    };
    out.into_iter().map(caution).collect()
}

impl BenchWork {
    fn new(s: &TrailStep, left_out: f64) -> BenchWork {
        BenchWork {
            number: s.number,
            text: step_text(s),
            items: item_names(s),
            was_there: s
                .was_there
                .iter()
                .take(LEADING)
                .map(|s| Odds::new(&s.name, s.posterior, left_out))
                .collect(),
        }
    }
}

/// The question or the order; failing that, the identifier.
fn step_text(s: &TrailStep) -> String {
    words::filled(Some(&s.text))
        .or_else(|| words::filled(s.id.as_deref()))
        .unwrap_or_default()
}

fn item_names(s: &TrailStep) -> Vec<String> {
    s.items
        .iter()
        .filter_map(|i| words::filled(Some(&i.name)))
        .collect()
}

impl BenchStep {
    /// A remark, after which everything is as it was.
    pub(super) fn is_plain_remark(&self) -> bool {
        !self.is_step
            && self.after.unchanged
            && !self.after.conflict
            && self.after.hazards.is_empty()
    }

    /// `left_out` bounds what the belief in the end leaves out.
    fn new(s: &TrailStep, left_out: f64, after: Known) -> BenchStep {
        let (did, class) = match s.kind {
            TrailKind::Result => ("Checked", "result"),
            TrailKind::Remedy => ("Remedy", "remedy"),
            TrailKind::Note => ("Remark", "note"),
            TrailKind::Cannot => ("Could not be done", "cannot"),
            TrailKind::Unclear => ("Checked, unclear", "unclear"),
            TrailKind::Meter => ("Another meter", "note"),
            TrailKind::Reference => ("Read on a good board", "note"),
            TrailKind::History => ("Entered", "note"),
            TrailKind::Sure => ("Measured again, the same", "result"),
            TrailKind::Correction => ("Corrected", "note"),
            TrailKind::Struck => ("Struck", "note"),
        };
        let is_step = was_done(s) || s.kind == TrailKind::Cannot;
        let text = step_text(s);
        BenchStep {
            number: s.number,
            at: None,
            did,
            class,
            is_step,
            id: words::filled(s.id.as_deref().and_then(shown_id)).filter(|i| *i != text),
            text,
            shows: s
                .shows
                .as_deref()
                .map(words::shown)
                .filter(|s| !s.is_empty()),
            doubt: words::doubt(s.misread, left_out),
            repeated_in: s.repeated_in,
            was: words::filled(s.was.as_deref()),
            corrected_in: s.corrected_in,
            note: words::filled(s.note.as_deref()),
            moved: words::filled(s.moved.as_deref()),
            advised: None,
            as_advised: false,
            after,
        }
    }
}

impl Known {
    fn new(m: &Moment, before: Option<&Moment>) -> Known {
        let unchanged =
            before.is_some_and(|b| b.suspects == m.suspects && b.nothing_found == m.nothing_found);
        let mut leading: Vec<(&str, f64)> = Vec::new();
        if !unchanged {
            let first = m.suspects.first().map_or(0.0, |s| s.posterior);
            let from = NAMED_FROM.max(first * NAMED_SHARE);
            leading.extend(
                m.suspects
                    .iter()
                    .take(LEADING)
                    .enumerate()
                    .filter(|(i, s)| *i == 0 || s.posterior >= from)
                    .map(|(_, s)| (s.name.as_str(), s.posterior)),
            );
            if !m.suspects.is_empty() && m.nothing_found >= NAMED_FROM {
                leading.push(("nothing wrong", m.nothing_found));
            }
            leading.sort_by(|a, b| likelier(a.1, b.1));
        }
        Known {
            leading: (leading.iter().map(|(n, p)| Odds::new(n, *p, m.left_out))).collect(),
            unchanged,
            places: places(m),
            conflict: words::conflict(m.conflict_bits),
            hazards: (m.hazards.iter())
                .filter(|h| !before.is_some_and(|b| b.hazards.contains(h)))
                .map(|h| words::line(h))
                .collect(),
        }
    }
}

fn places(m: &Moment) -> Vec<Odds> {
    let mut places: Vec<_> = m.r#where.iter().collect();
    places.sort_by(|a, b| likelier(a.posterior, b.posterior));
    places
        .into_iter()
        .map(|p| Odds::new(&p.name, p.posterior, m.left_out))
        .collect()
}

impl Advice {
    fn new(a: &Advised) -> Advice {
        Advice {
            text: words::line(&a.text),
            id: shown_id(&a.id).map(words::line),
            minutes: words::minutes(a.minutes),
            why: words::filled(Some(&a.why)),
        }
    }
}

impl Odds {
    /// No sharper than what the belief leaves out at most.
    fn new(name: &str, p: f64, left_out: f64) -> Odds {
        Odds {
            name: words::line(name),
            percent: percent_within(p, left_out),
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
    /// How what follows is to be read.
    pub(super) wrong_says: &'static str,
    /// What was wrong.
    pub(super) wrong: Vec<String>,
    pub(super) work: Vec<Work>,
    /// Checks after the last work.
    pub(super) tested: Vec<Check>,
    pub(super) proved: Vec<String>,
    /// Checks before it, by hand and eye.
    pub(super) looked: Vec<Check>,
    /// Measurements before it.
    pub(super) measured: Vec<Check>,
    /// What was not done, a sentence each.
    pub(super) not_done: Vec<String>,
    pub(super) ended: &'static str,
    pub(super) reason: Option<String>,
    /// A step that was done, or comes next, takes care with the battery.
    pub(super) battery: bool,
    /// A step that was done was on or close to it.
    pub(super) at_the_battery: bool,
}

/// A piece of work, for the customer.
pub(super) struct Work {
    pub(super) text: String,
    /// What was worked on, where the text does not name it.
    pub(super) items: Vec<String>,
}

/// A check, for the customer.
pub(super) struct Check {
    pub(super) text: String,
    pub(super) result: String,
    /// What has to be known with it.
    pub(super) remark: Option<String>,
}

impl CustomerSheet {
    pub(super) fn new(t: &Trail) -> CustomerSheet {
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
        let proved = named(&t.proved);
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
            symptoms: named(&t.symptoms),
            history: named(&t.history),
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
    pub(super) fn checked_heading(&self) -> &'static str {
        match self.work.is_empty() {
            true => "What we checked",
            false => "What we had checked before",
        }
    }
}

/// Texts without those that are bare identifiers.
fn named(texts: &[String]) -> Vec<String> {
    let mut all = cleaned(texts);
    all.retain(|t| !words::is_identifier(t));
    all
}

/// The words of a step; none where only its identifier is left.
fn plain_text(s: &TrailStep) -> Option<String> {
    words::filled(Some(&s.text)).filter(|t| {
        !words::is_identifier(t) && s.id.as_deref().is_none_or(|id| words::line(id) != *t)
    })
}

impl Work {
    fn new(s: &TrailStep) -> Option<Work> {
        let text = plain_text(s)?;
        let known = text.to_lowercase();
        let mut items = named(&item_names(s));
        items.retain(|i| !known.contains(&i.to_lowercase()));
        Some(Work { text, items })
    }
}

impl Check {
    fn new(s: &TrailStep) -> Option<Check> {
        let (result, remark) = match s.kind {
            TrailKind::Result => (
                s.shows.as_deref().map(words::shown).unwrap_or_default(),
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

/// What was wrong, as far as it is known, and how that is said.
fn wrong(t: &Trail) -> (&'static str, Vec<String>) {
    let likely = |all: &mut dyn Iterator<Item = &Suspect>| -> Vec<String> {
        let mut out: Vec<String> = Vec::new();
        for s in all.filter(|s| s.posterior >= LIKELY) {
            for n in named(std::slice::from_ref(&s.name)) {
                if !out.contains(&n) {
                    out.push(n);
                }
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
                if !words::is_identifier(&i) && !items.contains(&i) {
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
    for f in named(&t.unproved) {
        out.push(format!("Not yet shown to work again: {f}"));
    }
    if let Some(ClosingState::NotMended | ClosingState::NotWorthIt) = t.ended
        && let Some(a) = &end(t).advised
        && let Some(text) = named(std::slice::from_ref(&a.text)).pop()
    {
        out.push(format!("The next step would have been: {text}"));
    }
    out
}
