//! The ways in which a line may be built, fed and bent: what is worked out for each
//! is put together by how likely each is.
//!
//! A way is a fact of the board, the same for all readings of the line. Where a
//! part is at fault, it is there; so how likely a way is depends on the faults.

use std::borrow::Cow;

use super::LineInfo;
use super::rows::Rows;
use crate::belief::FaultId;
use crate::circuit::calibrate::{CalibrateError, Reach};
use crate::circuit::solve::SolveError;
use crate::line::{Forecast, GoodLine, GoodReading, Way, Wired, optional, ways};
use crate::rulebase::{Harm, Line, MeterMode, PackFault};

/// How likely a way is, and what it lacks.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::model) struct Share {
    /// With nothing known of the board.
    chance: f64,
    /// The parts that it lacks, by index.
    lacks: Vec<usize>,
    /// What it has that some boards lack: the parts that come together, by index,
    /// and the factor on its chance where none of them is at fault.
    has: Vec<(Vec<usize>, f64)>,
}

impl Share {
    /// A way of a line whose parts are at fault with these chances. A part at fault
    /// is there, and the share of boards that have it counts those too: of the
    /// boards where it is not at fault fewer have it, `(f - p) / (1 - p)` for a
    /// share `f` of all boards and a chance `p` of a fault.
    fn new(line: &Line, way: &Way, at_fault: &[f64]) -> Self {
        let had = optional(line).filter(|(_, parts)| !parts.iter().any(|p| way.lacks.contains(p)));
        let has = had.map(|(fitted, parts)| {
            let well: f64 = parts.iter().map(|p| 1.0 - at_fault[*p]).product();
            let left = (fitted - (1.0 - well)).max(0.0) / fitted;
            (parts, left)
        });
        Share {
            chance: way.chance,
            has: has.collect(),
            lacks: way.lacks.clone(),
        }
    }

    /// How likely it is, up to a factor that all ways share, with these things at
    /// fault and no others.
    pub(super) fn with(&self, harms: impl IntoIterator<Item = Harm>) -> f64 {
        let at_fault: Vec<usize> = harms.into_iter().filter_map(Harm::part).collect();
        let touched = |parts: &[usize]| parts.iter().any(|p| at_fault.contains(p));
        if touched(&self.lacks) {
            return 0.0;
        }
        let well = self.has.iter().filter(|(parts, _)| !touched(parts));
        self.chance * well.map(|(_, left)| left).product::<f64>()
    }
}

/// What is worked out for each way of a line.
pub(in crate::model) type Ways<T> = Vec<(Share, T)>;

/// One way with its circuit.
#[derive(Clone, Debug)]
pub(in crate::model) struct Built {
    pub(in crate::model) share: Share,
    pub(in crate::model) wired: Wired,
}

impl Built {
    /// All ways of a line as the rules have it, the likeliest first; `at_fault` is
    /// the chance of a fault for each of its parts.
    ///
    /// # Errors
    /// If a value is not physical.
    pub(in crate::model) fn all(line: &Line, at_fault: &[f64]) -> Result<Vec<Built>, SolveError> {
        let built = |way: Way| -> Result<Built, SolveError> {
            Ok(Built {
                wired: Wired::in_way(line, &way)?,
                share: Share::new(line, &way, at_fault),
            })
        };
        ways(line).into_iter().map(built).collect()
    }
}

impl LineInfo {
    /// All ways, [bent](Wired::ways) to good readings; those that cannot read so are
    /// none. Where no way can and boards of the model read so, all are bent as far
    /// as it takes.
    pub(in crate::model) fn bent(
        &self,
        bend: &[GoodReading],
    ) -> Result<Cow<'_, [Built]>, CalibrateError> {
        if bend.is_empty() {
            return Ok(Cow::Borrowed(&self.plain));
        }
        let likely = self.bent_by(bend, Reach::Likely);
        let own = bend.iter().all(|r| r.of != GoodLine::Sibling);
        let bent = match likely {
            Err(_) if own => self.bent_by(bend, Reach::Any),
            likely => likely,
        };
        bent.map(Cow::Owned)
    }

    fn bent_by(&self, bend: &[GoodReading], reach: Reach) -> Result<Vec<Built>, CalibrateError> {
        let mut all = Vec::new();
        let mut failed = None;
        for built in &self.plain {
            match built.wired.ways(&self.line, bend, reach) {
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
            _ => Ok(all),
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

/// What is worked out for a mode of the meter on each way; once for ways on which
/// it reads the same.
///
/// # Errors
/// The first that the work has.
pub(super) fn on_each_way<T: Clone>(
    built: &[Built],
    mode: MeterMode,
    mut work: impl FnMut(&Built) -> Result<T, SolveError>,
) -> Result<Ways<T>, SolveError> {
    let mut all: Ways<T> = Vec::with_capacity(built.len());
    for (i, b) in built.iter().enumerate() {
        let same = built[..i]
            .iter()
            .position(|a| a.wired.reads_as(&b.wired, mode));
        let of = match same {
            Some(before) => all[before].1.clone(),
            None => work(b)?,
        };
        all.push((b.share.clone(), of));
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::ways;
    use crate::rulebase::Rules;

    #[test]
    fn a_part_that_some_boards_lack_is_rarer_where_it_is_not_at_fault() {
        let rules = Rules::default().load().rulebase;
        let mut lines = rules.packs.iter().flat_map(|p| &p.lines);
        let optional = |l: &&Line| l.parts.iter().any(|p| p.id == "beside" && p.fitted == 0.8);
        let line = lines.find(optional).expect("VBUS has one");
        let part = line.parts.iter().position(|p| p.id == "beside").unwrap();
        let mut at_fault = vec![0.0; line.parts.len()];
        at_fault[part] = 0.3;
        let all = ways(line);
        let has = |harms: &[Harm]| {
            let share = |w: &Way| Share::new(line, w, &at_fault).with(harms.iter().copied());
            let with: f64 = all.iter().filter(|w| w.lacks.is_empty()).map(share).sum();
            with / all.iter().map(share).sum::<f64>()
        };
        // Of 100 boards 80 have it, 30 of them at fault; 50 of the other 70.
        let well = has(&[]);
        assert!((well - 50.0 / 70.0).abs() < 1e-12, "{well}");
        assert_eq!(has(&[Harm::Short(part)]), 1.0);
        // Some other part at fault says nothing of it.
        let other = (0..line.parts.len()).find(|p| *p != part).unwrap();
        assert_eq!(has(&[Harm::Short(other)]), well);
    }
}
