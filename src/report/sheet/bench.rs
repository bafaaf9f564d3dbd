//! The trail for the bench.

use std::collections::BTreeSet;

use super::{cleaned, end, remedies, was_done};
use crate::belief::likelier;
use crate::job::ClosingState;
use crate::job::trail::{Advised, Moment, Trail, TrailKind, TrailStep};
use crate::job::words::percent_within;
use crate::model::shown_id;
use crate::report::words;

/// At most this many suspects are named after a step.
const LEADING: usize = 4;

/// A suspect below this is not worth naming, unless it is the first.
const NAMED_FROM: f64 = 0.02;

/// Nor is one that is less likely than this share of the first.
const NAMED_SHARE: f64 = 0.15;

/// Everything, for the bench.
pub(in crate::report) struct BenchSheet {
    /// Title, with the number of the job.
    pub(in crate::report) title: String,
    pub(in crate::report) job: Option<i64>,
    /// Kind, model and variant.
    pub(in crate::report) device: String,
    pub(in crate::report) serial: Option<String>,
    pub(in crate::report) opened: Option<String>,
    pub(in crate::report) closed: Option<String>,
    pub(in crate::report) complaint: Vec<String>,
    pub(in crate::report) symptoms: Vec<String>,
    pub(in crate::report) history: Vec<String>,
    pub(in crate::report) work: Vec<BenchWork>,
    pub(in crate::report) proved: Vec<String>,
    pub(in crate::report) unproved: Vec<String>,
    pub(in crate::report) intake: Known,
    pub(in crate::report) steps: Vec<BenchStep>,
    /// Where a fault may lie now, likeliest first.
    pub(in crate::report) places: Vec<Odds>,
    /// What is advised now.
    pub(in crate::report) next: Option<Advice>,
    pub(in crate::report) cautions: Vec<Caution>,
    pub(in crate::report) ended: &'static str,
    pub(in crate::report) reason: Option<String>,
    pub(in crate::report) rules: Option<String>,
}

/// A remedy that was done, for the bench.
pub(in crate::report) struct BenchWork {
    pub(in crate::report) number: usize,
    pub(in crate::report) text: String,
    /// What was worked on.
    pub(in crate::report) items: Vec<String>,
    /// What it cleared, as known in the end.
    pub(in crate::report) was_there: Vec<Odds>,
}

/// One step, for the bench.
pub(in crate::report) struct BenchStep {
    pub(in crate::report) number: usize,
    pub(in crate::report) at: Option<String>,
    /// "Checked", "Remedy" and so on.
    pub(in crate::report) did: &'static str,
    /// A word for the style: what kind of step it is.
    pub(in crate::report) class: &'static str,
    /// Whether it is about something done to the device, or that could not be.
    is_step: bool,
    pub(in crate::report) text: String,
    pub(in crate::report) id: Option<String>,
    pub(in crate::report) shows: Option<String>,
    pub(in crate::report) doubt: Option<String>,
    /// The step whose result took the place of this one's.
    pub(in crate::report) repeated_in: Option<usize>,
    /// What was entered first, where a later step corrected it.
    pub(in crate::report) was: Option<String>,
    /// The step that corrected this one.
    pub(in crate::report) corrected_in: Option<usize>,
    pub(in crate::report) note: Option<String>,
    pub(in crate::report) moved: Option<String>,
    /// What had been advised, and why.
    pub(in crate::report) advised: Option<Advice>,
    /// That very step had been advised.
    pub(in crate::report) as_advised: bool,
    pub(in crate::report) after: Known,
}

/// What was known at a moment.
#[derive(Default)]
pub(in crate::report) struct Known {
    /// Leading suspects; empty where nothing changed or nothing is known.
    pub(in crate::report) leading: Vec<Odds>,
    /// The same as at the moment before.
    pub(in crate::report) unchanged: bool,
    /// The five places, likeliest first.
    pub(in crate::report) places: Vec<Odds>,
    /// The results do not fit together.
    pub(in crate::report) conflict: bool,
    /// Hazards that came up at this moment, in words.
    pub(in crate::report) hazards: Vec<String>,
}

/// A name with its probability.
pub(in crate::report) struct Odds {
    pub(in crate::report) name: String,
    pub(in crate::report) percent: String,
    /// Length of its bar in per cent.
    pub(in crate::report) bar: u32,
}

/// A step that was advised.
pub(in crate::report) struct Advice {
    pub(in crate::report) text: String,
    pub(in crate::report) id: Option<String>,
    pub(in crate::report) minutes: String,
    pub(in crate::report) why: Option<String>,
}

/// A caution, with the steps it held for.
pub(in crate::report) struct Caution {
    pub(in crate::report) text: String,
    /// "steps 2 to 4", or that it came with a step that was only advised.
    pub(in crate::report) held: String,
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

/// The question or the order; failing that, the identifier.
fn step_text(s: &TrailStep) -> String {
    words::filled(Some(&s.text))
        .or_else(|| words::filled(s.id.as_deref()))
        .unwrap_or_default()
}

fn places(m: &Moment) -> Vec<Odds> {
    let mut places: Vec<_> = m.r#where.iter().collect();
    places.sort_by(|a, b| likelier(a.posterior, b.posterior));
    places
        .into_iter()
        .map(|p| Odds::new(&p.name, p.posterior, m.left_out))
        .collect()
}

impl BenchSheet {
    pub(in crate::report) fn new(t: &Trail) -> BenchSheet {
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

impl BenchWork {
    pub(in crate::report) fn new(s: &TrailStep, left_out: f64) -> BenchWork {
        BenchWork {
            number: s.number,
            text: step_text(s),
            items: (s.items.iter())
                .filter_map(|i| words::filled(Some(&i.name)))
                .collect(),
            was_there: s
                .was_there
                .iter()
                .take(LEADING)
                .map(|s| Odds::new(&s.name, s.posterior, left_out))
                .collect(),
        }
    }
}

impl BenchStep {
    /// A remark, after which everything is as it was.
    pub(in crate::report) fn is_plain_remark(&self) -> bool {
        !self.is_step
            && self.after.unchanged
            && !self.after.conflict
            && self.after.hazards.is_empty()
    }

    /// `left_out` bounds what the belief in the end leaves out.
    pub(in crate::report) fn new(s: &TrailStep, left_out: f64, after: Known) -> BenchStep {
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
            shows: words::shown(s),
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
    pub(in crate::report) fn new(m: &Moment, before: Option<&Moment>) -> Known {
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

impl Advice {
    pub(in crate::report) fn new(a: &Advised) -> Advice {
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
    pub(in crate::report) fn new(name: &str, p: f64, left_out: f64) -> Odds {
        Odds {
            name: words::line(name),
            percent: percent_within(p, left_out),
            bar: (p.clamp(0.0, 1.0) * 100.0).round() as u32,
        }
    }
}
