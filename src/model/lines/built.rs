//! The ways in which a line may be built, fed and bent: what is worked out for each
//! is put together by how likely each is.
//!
//! A way is a fact of the board, the same for all readings of the line. Where a
//! part is at fault, it is there; so how likely a way is depends on the faults.

use std::borrow::Cow;

use super::LineInfo;
use super::together::Rows;
use crate::belief::FaultId;
use crate::circuit::calibrate::CalibrateError;
use crate::circuit::solve::SolveError;
use crate::line::{Forecast, GoodReading, Wired, ways};
use crate::rulebase::{Harm, Line, PackFault};

/// How likely a way is, and what it lacks.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::model) struct Share {
    /// With nothing known of the board.
    chance: f64,
    /// The parts that it lacks, by index.
    lacks: Vec<usize>,
}

impl Share {
    /// How likely it is, up to a factor, with these things at fault.
    pub(super) fn with(&self, harms: impl IntoIterator<Item = Harm>) -> f64 {
        let lacking = |h: Harm| h.part().is_some_and(|p| self.lacks.contains(&p));
        match harms.into_iter().any(lacking) {
            true => 0.0,
            false => self.chance,
        }
    }
}

/// One way with its circuit.
#[derive(Clone, Debug)]
pub(in crate::model) struct Built {
    pub(in crate::model) share: Share,
    pub(in crate::model) wired: Wired,
}

impl Built {
    /// All ways of a line as the rules have it, the likeliest first.
    ///
    /// # Errors
    /// If a value is not physical.
    pub(in crate::model) fn all(line: &Line) -> Result<Vec<Built>, SolveError> {
        let built = |way| -> Result<Built, SolveError> {
            Ok(Built {
                wired: Wired::in_way(line, &way)?,
                share: Share {
                    chance: way.chance,
                    lacks: way.lacks,
                },
            })
        };
        ways(line).into_iter().map(built).collect()
    }
}

impl LineInfo {
    /// All ways, [bent](Wired::ways) to good readings; those that cannot read so are
    /// none.
    pub(in crate::model) fn bent(
        &self,
        bend: &[GoodReading],
    ) -> Result<Cow<'_, [Built]>, CalibrateError> {
        if bend.is_empty() {
            return Ok(Cow::Borrowed(&self.plain));
        }
        let mut all = Vec::new();
        let mut failed = None;
        for built in &self.plain {
            match built.wired.ways(&self.line, bend) {
                Err(why) => failed = failed.or(Some(why)),
                Ok(bent) => {
                    let chance = built.share.chance / bent.len() as f64;
                    all.extend(bent.into_iter().map(|wired| Built {
                        share: Share {
                            chance,
                            ..built.share.clone()
                        },
                        wired,
                    }));
                }
            }
        }
        match (all.is_empty(), failed) {
            (true, Some(why)) => Err(why),
            _ => Ok(Cow::Owned(all)),
        }
    }

    /// What a fault of the pack may do to the line.
    fn harms_of(&self, fault: PackFault) -> impl Iterator<Item = Harm> + '_ {
        let effects = self.line.faults.iter();
        effects.filter(move |e| e.fault == fault).map(|e| e.harm)
    }

    /// How likely a way is, up to a factor, with these faults of the model.
    fn weight(&self, share: &Share, faults: &[FaultId]) -> f64 {
        let pack = |f: &FaultId| self.faults.iter().find(|x| x.1 == *f).map(|x| x.0);
        let harms = faults.iter().filter_map(pack);
        share.with(harms.flat_map(|f| self.harms_of(f)))
    }

    /// The mean of rows worked out for each way.
    pub(super) fn mean_rows(&self, all: Vec<(Share, Rows)>) -> Rows {
        let mut all = all.into_iter();
        let Some((first, mut rows)) = all.next() else {
            return Rows::new();
        };
        let mut totals: Vec<f64> = rows.iter().map(|r| self.weight(&first, &r.0)).collect();
        for ((_, row), total) in rows.iter_mut().zip(&totals) {
            row.iter_mut().for_each(|x| *x *= total);
        }
        for (share, more) in all {
            for (((faults, row), total), (_, of)) in rows.iter_mut().zip(&mut totals).zip(more) {
                let weight = self.weight(&share, faults);
                *total += weight;
                row.iter_mut().zip(of).for_each(|(x, y)| *x += weight * y);
            }
        }
        for ((_, row), total) in rows.iter_mut().zip(totals) {
            row.iter_mut().for_each(|x| *x /= f64::max(total, 1e-300));
        }
        rows
    }

    /// The mean of forecasts made for each way.
    pub(super) fn mean_forecast(&self, all: Vec<(Share, Forecast)>) -> Option<Forecast> {
        let mut before: Vec<Share> = Vec::new();
        let mut mean: Option<Forecast> = None;
        for (share, forecast) in all {
            mean = Some(match mean {
                None => forecast,
                Some(mean) => mean.or_else(&forecast, |faults| {
                    let with = |s: &Share| s.with(faults.iter().flat_map(|f| self.harms_of(*f)));
                    let so_far: f64 = before.iter().map(with).sum();
                    so_far / f64::max(so_far + with(&share), 1e-300)
                }),
            });
            before.push(share);
        }
        mean
    }
}
