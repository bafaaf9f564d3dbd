//! Readings of a line taken together: what they say of its faults, and what a
//! further one is going to be.
//!
//! A fault may do one of several things to a line, or spare it, each by its
//! chance. It has done one of them when the first reading is taken, and that
//! same one when the next is. So all readings of a line between which nothing
//! was done about its faults are one finding: for each set of faults the sum
//! over what they may do of the chance of that times the likelihood of all
//! readings.

use std::sync::Arc;

use rayon::prelude::*;

use super::super::{Model, SiblingReading};
use super::LineInfo;
use super::built::{Ways, on_each_way};
use super::rows::{Alternatives, Rows, add, mixed};
use super::taken::{Read, Taken};
use crate::belief::{FaultId, Finding};
use crate::circuit::calibrate::CalibrateError;
use crate::circuit::joint::{self};
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::solve::SolveError;
use crate::line::{GoodReading, Probing, Survey, Together, alone, harms};
use crate::rulebase::{Harm, MeterMode, PackFault};

/// Something worked out of the surveys of each way, on all cores; once for ways that
/// have the same.
pub(super) fn by_surveys<T: Clone + Send + Sync>(
    ways: Ways<Vec<Arc<Survey>>>,
    work: impl Fn(&[Arc<Survey>]) -> T + Sync,
) -> Ways<T> {
    let same =
        |a: &[Arc<Survey>], b: &[Arc<Survey>]| a.iter().zip(b).all(|(a, b)| Arc::ptr_eq(a, b));
    let mut unlike: Vec<Vec<Arc<Survey>>> = Vec::new();
    let mut of = Vec::with_capacity(ways.len());
    for (share, surveys) in ways {
        let known = unlike.iter().position(|u| same(u, &surveys));
        of.push((share, known.unwrap_or(unlike.len())));
        if known.is_none() {
            unlike.push(surveys);
        }
    }
    let each: Vec<T> = unlike.par_iter().map(|surveys| work(surveys)).collect();
    of.into_iter()
        .map(|(share, i)| (share, each[i].clone()))
        .collect()
}

impl LineInfo {
    /// The things that the faults of the pack do to this line, each once.
    pub fn harms(&self) -> Vec<Harm> {
        harms(&self.line)
    }

    /// The faults of the model, with what each may do.
    pub(super) fn alternatives(&self) -> Vec<(FaultId, Alternatives)> {
        let harms = self.harms();
        let of = |pack: PackFault| -> Alternatives {
            let effects = self.line.faults.iter().filter(|e| e.fault == pack);
            let mut all: Alternatives = effects
                .map(|e| (e.chance, harms.iter().position(|h| *h == e.harm)))
                .collect();
            // What is left is that this line is well.
            let left = 1.0 - all.iter().map(|a| a.0).sum::<f64>();
            if left > 1e-9 {
                all.push((left, None));
            }
            all
        };
        self.faults
            .iter()
            .map(|(pack, f)| (*f, of(*pack)))
            .collect()
    }

    fn survey(
        &self,
        bend: &[GoodReading],
        probing: Probing,
        meter: &Arc<Meter>,
        shown: Option<Reading>,
    ) -> Result<Arc<Ways<Arc<Survey>>>, CalibrateError> {
        let shown = shown.filter(|_| probing.mode == MeterMode::Ohms);
        let range = shown.map(|r| meter.range_of(r));
        let surveys = &self.solved.surveys;
        surveys.get(self, bend, (meter, probing, range), |bent| {
            on_each_way(bent, probing.mode, |b| {
                let of = Survey::new(&self.line, &b.wired, meter, probing, shown)?;
                Ok(Arc::new(of))
            })
        })
    }

    /// The surveys of readings, and of a further one, for each way of bending the
    /// line.
    pub(super) fn surveys(
        &self,
        bend: &[GoodReading],
        taken: &[Taken],
        next: Option<Probing>,
    ) -> Result<Ways<Vec<Arc<Survey>>>, CalibrateError> {
        let survey = |t: &Taken| {
            let shown = match t.read {
                Read::Number(reading) => Some(reading),
                Read::Word(_) => None,
            };
            self.survey(bend, t.probing, &t.meter, shown)
        };
        let next = next.map(|probing| self.survey(bend, probing, &self.meter, None));
        let all = taken.iter().map(survey).chain(next);
        let all = all.collect::<Result<Vec<_>, CalibrateError>>()?;
        let Some(first) = all.first() else {
            return Ok(Vec::new());
        };
        let shares = first.iter().map(|(share, _)| share.clone()).enumerate();
        let of = |i: usize| all.iter().map(|s| s[i].1.clone()).collect();
        Ok(shares.map(|(i, share)| (share, of(i))).collect())
    }

    /// What was read on other lines that are built alike. That the halves of this
    /// one are is in its surveys.
    pub(super) fn seen_elsewhere(&self) -> Vec<&SiblingReading> {
        self.seen.iter().filter(|s| !s.mirrored).collect()
    }

    /// What readings of this line say together, as they were
    /// [recorded](Finding::recorded), where other lines that are built alike
    /// were `seen` before.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn recorded(
        &self,
        taken: &[Taken],
        seen: &[SiblingReading],
    ) -> Result<Finding, SolveError> {
        let seen: Vec<&SiblingReading> = seen.iter().collect();
        let rows = self.as_seen(&seen, |bend| self.rows_of(bend, taken), mixed)?;
        Ok(Finding::recorded(&rows))
    }

    fn rows_of(&self, bend: &[GoodReading], taken: &[Taken]) -> Result<Rows, CalibrateError> {
        let what: Vec<joint::Taken> = taken.iter().map(|t| t.what).collect();
        let ways = self.surveys(bend, taken, None)?;
        let all = by_surveys(ways, |surveys| self.rows_by(surveys, &what));
        let all = all.into_iter().map(|(share, rows)| Ok((share, rows?)));
        Ok(self.mean_rows(all.collect::<Result<_, SolveError>>()?))
    }

    fn rows_by(&self, surveys: &[Arc<Survey>], what: &[joint::Taken]) -> Result<Rows, SolveError> {
        let mut together = Together::new(&self.solved.last, surveys, what);
        let faults = self.alternatives();
        let mut row = |one: &Alternatives, other: &Alternatives| -> Result<Vec<f64>, SolveError> {
            let mut row = Vec::new();
            for (p, a) in one {
                for (q, b) in other {
                    add(&mut row, p * q, together.with(*a, *b)?, |j| &j.wrong);
                }
            }
            Ok(row)
        };
        let well: Alternatives = vec![(1.0, None)];
        let mut rows = vec![(Vec::new(), row(&well, &well)?)];
        for (i, (f, one)) in faults.iter().enumerate() {
            rows.push((vec![*f], row(one, &well)?));
            for (g, other) in &faults[i + 1..] {
                rows.push((vec![*f, *g], row(one, other)?));
            }
        }
        Ok(rows)
    }

    /// How likely readings were to come out as they did: with nothing wrong on
    /// the line, then with each of [`LineInfo::harms`] by itself; all on one
    /// scale.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn explained(&self, taken: &[Taken]) -> Result<Vec<f64>, SolveError> {
        if taken.is_empty() {
            return Ok(vec![1.0; self.harms().len() + 1]);
        }
        let what: Vec<joint::Taken> = taken.iter().map(|t| t.what).collect();
        let work = |bend: &[GoodReading]| {
            let ways = self.surveys(bend, taken, None)?;
            let harms = self.harms();
            let mut all = vec![0.0; harms.len() + 1];
            let mut totals = all.clone();
            let joints = by_surveys(ways, |surveys| {
                alone(&self.solved.last, surveys, &what, None)
            });
            for (share, (none, one)) in joints {
                let joints = std::iter::once(&none).chain(&one);
                let each = std::iter::once(None).chain(harms.iter().copied().map(Some));
                for (((joint, harm), x), total) in joints.zip(each).zip(&mut all).zip(&mut totals) {
                    let weight = share.with(harm);
                    *x += weight * joint.likelihood;
                    *total += weight;
                }
            }
            let means = all.iter().zip(totals).map(|(x, w)| x / f64::max(w, 1e-300));
            Ok(vec![(Vec::new(), means.collect())])
        };
        let mut rows = self.as_seen(&self.seen_elsewhere(), work, mixed)?;
        Ok(rows.swap_remove(0).1)
    }
}

impl Model {
    /// What readings of one line say together, where other lines that are built
    /// alike were `seen` before; `None` if the line cannot be solved.
    pub fn recorded(&self, taken: &[Taken], seen: &[SiblingReading]) -> Option<Finding> {
        let line = &self.lines[taken.first()?.line];
        line.recorded(taken, seen).ok()
    }
}
