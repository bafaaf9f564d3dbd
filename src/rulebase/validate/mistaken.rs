//! Kinds of test, and how often each outcome is reported though another is true.

use super::manner::{Manner, Usual};
use super::named::Named;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawBench, RawTest};
use crate::rulebase::source::{At, Span};
use crate::rulebase::typed::{How, Kind};
use crate::units::number;

/// Chance that a result is right, where nothing is said.
pub(super) const RELIABILITY: f64 = 0.97;

/// Each outcome is reported by mistake as often as every other: so that the
/// result is right with this chance.
pub(super) fn evenly(reliability: f64, outcomes: usize) -> Vec<f64> {
    let others = outcomes.saturating_sub(1).max(1) as f64;
    vec![(1.0 - reliability) / others; outcomes]
}

impl Validator<'_> {
    /// The usual mistakes that a bench states.
    pub(super) fn usual_mistakes(&mut self, raw: &RawBench) {
        self.names(Named::MannerOfTest, &raw.mistaken);
        for (name, m) in &raw.mistaken {
            let sources = [&m.source, &raw.source];
            let mut chance = |n: &At<f64>| {
                self.sourced(n.span, &sources);
                self.within(n, Quantity::CHANCE_OF_MISTAKE)
            };
            let (healthy, others) = (chance(&m.healthy), chance(&m.others));
            let Some(manner) = Manner::ALL.into_iter().find(|m| m.word() == name.value) else {
                self.unknown(Named::MannerOfTest, name, Manner::ALL.map(Manner::word));
                continue;
            };
            for (n, p, of) in [
                (&m.healthy, healthy, "another outcome"),
                (&m.others, others, "the healthy outcome"),
            ] {
                self.still_right(n.span, 1.0 - p, of);
            }
            if self.usual.iter().any(|u| u.manner == manner) {
                self.push(
                    Problem::new(
                        Code::Duplicate,
                        name.span,
                        format!("another bench file already says how `{}` errs", manner.word()),
                    )
                    .help("give this bench the name of the other to replace it as a whole, or leave this out"),
                );
                continue;
            }
            self.usual.push(Usual {
                manner,
                healthy,
                others,
            });
        }
    }

    /// The same for a look with two outcomes that says nothing of it.
    pub(super) fn usual_looks(&self) -> [f64; 2] {
        let look = self.usual.iter().find(|u| u.manner == Manner::Look);
        look.map_or([0.5 * (1.0 - RELIABILITY); 2], |u| [u.healthy, u.others])
    }

    pub(super) fn kind_of_test(&mut self, word: &At<String>) -> Option<Kind> {
        let words = Kind::ALL.iter().map(|(w, _)| *w);
        let at = self.among(Named::KindOfTest, word, words)?;
        Some(Kind::ALL[at].1)
    }

    /// For each outcome of a test, the chance that it is reported though
    /// another is true.
    pub(super) fn mistaken(
        &mut self,
        id: &At<String>,
        t: &RawTest,
        (kind, how): (Kind, &How),
        reliability: f64,
        sources: &[&Option<At<String>>],
    ) -> Vec<f64> {
        let names = how.outcomes();
        let manner = Manner::of(kind, how);
        let usual = self
            .usual
            .iter()
            .find(|u| Some(u.manner) == manner)
            .copied();
        let mut chances = match (usual, &t.reliability) {
            (Some(u), None) => {
                let mut all = evenly(1.0 - u.others, names.len());
                // Shared among all but the healthy one.
                all[0] = u.healthy;
                all
            }
            _ => evenly(reliability, names.len()),
        };
        let mut named: Vec<(usize, Span)> = Vec::new();
        for (name, e) in &t.mistaken {
            self.sourced(e.span, sources);
            let chance = self.within(e, Quantity::CHANCE_OF_MISTAKE);
            let Some(k) = names.iter().position(|n| *n == name.value) else {
                // Where an outcome could not be read, it may be that one.
                if t.shows.dropped().is_empty() {
                    let what = Named::OutcomeOf(&id.value);
                    self.unknown(what, name, names.iter().copied());
                }
                continue;
            };
            match named.iter().find(|n| n.0 == k) {
                Some((_, first)) => self.duplicate(Named::Outcome, name, *first),
                None => named.push((k, name.span)),
            }
            chances[k] = chance;
        }
        if let Some(r) = t
            .reliability
            .as_ref()
            .filter(|_| named.len() == names.len())
        {
            self.push(
                Problem::new(
                    Code::Mixed,
                    r.span,
                    format!("`reliability` counts for no outcome of `{}`", id.value),
                )
                .help("`mistaken` names them all: take the reliability out"),
            );
        }
        let sure = |n: &&(At<String>, At<f64>)| (0.0..=1.0).contains(&n.1.value);
        let named = t.mistaken.iter().filter(sure);
        if let Some((_, largest)) = named.max_by(|a, b| a.1.value.total_cmp(&b.1.value)) {
            let all: f64 = chances.iter().sum();
            let right = |k: usize| 1.0 - (all - chances[k]);
            let worst = (0..names.len()).min_by(|a, b| right(*a).total_cmp(&right(*b)));
            if let Some(k) = worst {
                self.still_right(largest.span, right(k), &format!("`{}`", names[k]));
            }
        }
        chances
    }

    /// The chance that a result is right. One that is right half the time or less
    /// tells nothing.
    pub(super) fn reliability(
        &mut self,
        written: &Option<At<f64>>,
        unsaid: f64,
        sources: &[&Option<At<String>>],
    ) -> f64 {
        let Some(r) = written else { return unsaid };
        self.sourced(r.span, sources);
        if (0.0..=0.5).contains(&r.value) {
            self.push(
                Problem::new(
                    Code::Range,
                    r.span,
                    format!(
                        "a reliability of {} is no better than a guess",
                        number(r.value)
                    ),
                )
                .help("it is the chance that the result is right: above 0.5, up to 1"),
            );
        }
        self.within(r, Quantity::RELIABILITY)
    }

    /// An outcome that is reported in fewer than half of the cases in which it
    /// is true tells nothing.
    fn still_right(&mut self, at: Span, right: f64, outcome: &str) {
        if right < 0.5 {
            self.push(
                Problem::new(
                    Code::Range,
                    at,
                    format!(
                        "{outcome} would be reported in only {} of 100 cases where it is true",
                        number((100.0 * right.max(0.0)).round())
                    ),
                )
                .help(
                    "make the chances smaller: those of all other outcomes leave it at least 0.5",
                ),
            );
        }
    }

    /// What a line reads has mistakes of its own.
    pub(super) fn not_mistaken(&mut self, id: &At<String>, t: &RawTest) {
        if let Some((first, _)) = t.mistaken.first() {
            self.push(
                Problem::new(
                    Code::Mixed,
                    first.span,
                    format!(
                        "`mistaken` goes with `tries` and `shows`; `{}` measures a line",
                        id.value
                    ),
                )
                .help("take it out; `reliability:` says how often a reading of a line is right"),
            );
        }
    }
}
