//! Lines of a device: what is read on them becomes findings.
//!
//! | file | what it is for |
//! | --- | --- |
//! | `built` | the ways in which a line may be built, put together |
//! | `slip` | readings that have nothing to do with what a test asks for |
//! | `solved` | what was solved for lines, once for all models of some rules
//! | `together` | what readings of a line say together of its faults |
//! | `foretold` | what a further reading is going to be |
//! | `isolation` | tests that the circuit of a line brings along |

mod built;
mod foretold;
mod isolation;
mod known;
mod ranges;
mod rows;
mod slip;
mod solved;
mod taken;
mod together;

use std::sync::Arc;

use rayon::prelude::*;
use typed_index_collections::TiSlice;

use super::{Found, LineId, Model, OutcomeInfo, TestInfo};
use crate::belief::{FaultId, Prior};
use crate::bench::{BenchState, Power};
use crate::circuit::calibrate::CalibrateError;
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::predict::Prediction;
use crate::circuit::solve::SolveError;
use crate::line::{
    Bypass, BypassError, CATEGORIES, Distrust, Forecast, GoodReading, PORT_VOLTS, Probing, Stretch,
    USUAL_LENGTH, Wired, bypass, distrust, healthy,
};
use crate::plan::TestId;
use crate::rulebase::{Line, LinePart, MeterMode, PackFault};
use crate::units::shown;

use built::{Built, Share, on_each_way};
use slip::{Healthy, Shows, Usual};
pub(super) use solved::Solved;

pub use foretold::Foretold;
pub use known::{Reference, RestsOn, Sibling, SiblingReading};
pub use ranges::Range;
pub use slip::Slip;
pub use taken::{Read, Taken};

/// A line of the device.
#[derive(Clone, Debug)]
pub struct LineInfo {
    /// `rear-camera/bus-data`.
    pub id: String,
    /// Name.
    pub name: String,
    /// The line, with the faults of its pack.
    pub line: Line,
    /// Faults of the pack that it can have, with those of the model.
    pub faults: Vec<(PackFault, FaultId)>,
    /// The meter on the bench.
    pub meter: Arc<Meter>,
    /// What good boards are known to read.
    pub references: Vec<Reference>,
    /// Lines that are built alike.
    pub siblings: Vec<Sibling>,
    /// What was read on them.
    pub(super) seen: Vec<SiblingReading>,
    /// In each way that the rules have it, the likeliest first.
    pub(super) plain: Vec<Built>,
    /// How likely each of them is.
    shares: Vec<Share>,
    solved: Arc<Solved>,
    /// The likeliest of them, bent to what good boards read.
    pub(super) wired: Wired,
}

/// Which reading a test takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measures {
    /// The line.
    pub line: LineId,
    /// Where and how.
    pub probing: Probing,
}

impl LineInfo {
    pub(super) fn new(
        id: String,
        name: String,
        line: Line,
        faults: Vec<(PackFault, FaultId)>,
        priors: &TiSlice<FaultId, Prior>,
        solved: Arc<Solved>,
    ) -> Result<Self, SolveError> {
        let mut well = vec![1.0; line.parts.len()];
        for e in &line.faults {
            let of_pack = faults.iter().find(|f| f.0 == e.fault);
            if let (Some((_, f)), Some(part)) = (of_pack, e.harm.part()) {
                well[part] *= 1.0 - priors[*f].probability * e.chance;
            }
        }
        let at_fault: Vec<f64> = well.into_iter().map(|w| 1.0 - w).collect();
        let plain = Built::all(&line, &at_fault)?;
        Ok(LineInfo {
            id,
            name,
            wired: plain.first().ok_or(SolveError::Singular)?.wired.clone(),
            shares: plain.iter().map(|b| b.share.clone()).collect(),
            plain,
            line,
            faults,
            meter: Arc::new(Meter::handheld()),
            references: Vec::new(),
            siblings: Vec::new(),
            seen: Vec::new(),
            solved,
        })
    }

    /// What is expected to be read, with each fault by itself.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn forecast(&self, probing: Probing) -> Result<Arc<Forecast>, SolveError> {
        let RestsOn::Siblings(seen) = self.rests_on(probing) else {
            return self.by_itself(&self.meter, probing);
        };
        let id = |f: &PackFault| self.faults.iter().find(|x| x.0 == *f).map(|x| x.1);
        self.as_seen(
            &seen,
            |bend| self.forecast_as(bend, &self.meter, probing),
            |narrow, broad, well| {
                let well = |faults: &[PackFault]| {
                    let faults: Vec<FaultId> = faults.iter().filter_map(id).collect();
                    well(&faults)
                };
                Arc::new(narrow.or_else(&broad, well))
            },
        )
    }

    /// The same whatever was read on siblings.
    pub(super) fn by_itself(
        &self,
        meter: &Arc<Meter>,
        probing: Probing,
    ) -> Result<Arc<Forecast>, SolveError> {
        self.as_seen(
            &[],
            |bend| self.forecast_as(bend, meter, probing),
            |f, _, _| f,
        )
    }

    fn forecast_as(
        &self,
        bend: &[GoodReading],
        meter: &Arc<Meter>,
        probing: Probing,
    ) -> Result<Arc<Forecast>, CalibrateError> {
        let forecasts = &self.solved.forecasts;
        forecasts.get(self, bend, (meter, probing, None), |bent| {
            let all = on_each_way(bent, probing.mode, |b| {
                Forecast::new(&self.line, &b.wired, meter, probing)
            });
            self.mean_forecast(all?).ok_or(SolveError::Singular)
        })
    }

    /// Why a reading is not to be trusted that is taken in a bench condition;
    /// `wanted` is how the test wants it taken. Empty if the line cannot be
    /// solved.
    pub fn distrust(&self, wanted: Probing, state: BenchState, power: Power) -> Vec<Distrust> {
        distrust(&self.line, &self.wired, &self.meter, wanted, state, power).unwrap_or_default()
    }

    /// A value as the meter shows it, with its unit: nothing below its last
    /// digit.
    pub fn displayed(&self, mode: MeterMode, value: f64) -> String {
        let digit = match mode {
            MeterMode::Volts => self.meter.volts.accuracy.resolution,
            MeterMode::Diode => self.meter.diode.accuracy.resolution,
            MeterMode::Ohms => {
                let range = self.meter.range_of(Reading::Value(value));
                self.meter
                    .ohms
                    .get(range)
                    .map_or(0.0, |r| r.accuracy.resolution)
            }
        };
        match digit > 0.0 && value.abs() < digit / 2.0 {
            true => shown(0.0, mode.unit()),
            false => shown(value, mode.unit()),
        }
    }

    /// Whether a wire may go round a stretch of it, and which.
    ///
    /// # Errors
    /// If the line cannot be solved, or the length is not above 0.
    pub fn bypass(&self, stretch: &Stretch, metres: f64) -> Result<Bypass, BypassError> {
        let plain = self.plain.first().map_or(&self.wired, |b| &b.wired);
        bypass(&self.line, plain, stretch, metres)
    }

    /// Whether a wire round a part would do harm.
    pub(super) fn wire_harms(&self, part: usize) -> Result<bool, SolveError> {
        match self.bypass(&Stretch::of(&self.line, part), USUAL_LENGTH) {
            Ok(b) => Ok(b.reason.harms()),
            Err(BypassError::Solve(why)) => Err(why),
            Err(BypassError::NotPhysical(_)) => Ok(true),
        }
    }

    /// The outcomes of a reading in words.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub(super) fn outcomes(&self, probing: Probing) -> Result<Vec<OutcomeInfo>, SolveError> {
        let unit = probing.mode.unit();
        let outcome = |id: &str, says: String, between| OutcomeInfo {
            id: id.to_owned(),
            says,
            between: Some(between),
        };
        let over = (f64::INFINITY, f64::INFINITY);
        Ok(match self.forecast(probing)?.bounds {
            None => vec![
                outcome(
                    "ol",
                    "over limit (OL), as a good line reads".to_owned(),
                    over,
                ),
                outcome(
                    "value",
                    "a value where a good line reads OL".to_owned(),
                    (f64::MIN, f64::MAX),
                ),
            ],
            Some((low, high)) => {
                let between = [
                    (low, high.min(f64::MAX)),
                    (f64::MIN, low),
                    (high, f64::MAX),
                    over,
                ];
                let all = CATEGORIES.iter().zip(between);
                // Where a good line may read any higher value, none is too high.
                let all = all.filter(|((_, id, _), _)| *id != "high" || high.is_finite());
                all.map(|((_, id, says), between)| {
                    let says = match *id {
                        "good" => format!("{says} ({})", bounds(low, high, unit)),
                        _ => (*says).to_owned(),
                    };
                    outcome(id, says, between)
                })
                .collect()
            }
        })
    }

    /// What it shows healthy, where good lines read so.
    fn healthy(
        &self,
        bend: &[GoodReading],
        meter: &Arc<Meter>,
        probing: Probing,
    ) -> Option<Arc<Usual>> {
        let known = &self.solved.healthy;
        let known = known.get(self, bend, (meter, probing, None), |built| {
            let all = on_each_way(built, probing.mode, |b| {
                healthy(&self.line, &b.wired, meter, probing)
            });
            let all = all?
                .into_iter()
                .map(|(share, shown)| (share.with([]), shown));
            let all: Vec<_> = all.collect();
            let shown = Prediction::mixture(&all).ok_or(SolveError::Singular)?;
            Ok(Usual::new(shown))
        });
        known.ok()
    }
}

/// Works out the forecasts that will be asked for, on as many cores as there
/// are. What cannot be solved is found again, and told, when it is asked for.
pub(super) fn prepare(wanted: &[(&LineInfo, Probing)]) {
    wanted
        .par_iter()
        .with_max_len(1)
        .for_each(|(line, probing)| {
            let _ = line.forecast(*probing);
        });
}

/// Bounds of a value with sensible digits; open where they are as far as numbers
/// go.
pub(crate) fn bounds(low: f64, high: f64, unit: &str) -> String {
    if low <= f64::MIN {
        format!("below {}", shown(high, unit))
    } else if high < f64::MAX {
        format!("{} to {}", shown(low, unit), shown(high, unit))
    } else {
        format!("above {}", shown(low, unit))
    }
}

impl Model {
    /// A test of a line as it comes out in another bench condition than it
    /// wants; `None` if it does not measure a line.
    pub(crate) fn test_in(&self, test: TestId, state: BenchState) -> Option<TestInfo> {
        let t = &self.tests[test];
        self.test_as(t, |probing| Probing { state, ..probing })
    }

    /// The same with the leads changed over.
    pub(crate) fn test_turned(&self, test: &TestInfo) -> Option<TestInfo> {
        let turned = |probing: Probing| Probing {
            turned: !probing.turned,
            ..probing
        };
        self.test_as(test, turned)
    }

    fn test_as(&self, test: &TestInfo, other: impl Fn(Probing) -> Probing) -> Option<TestInfo> {
        let mut t = test.clone();
        let m = t.measures.as_mut()?;
        m.probing = other(m.probing);
        let m = *m;
        let line = &self.lines[m.line];
        t.outcomes = line.outcomes(m.probing).ok()?;
        let finding = self.foretold_in_words(&t, &[])?;
        t.finding = Arc::new(finding);
        Some(t)
    }

    /// The highest voltage that a supply in the device may have, volt. Any device
    /// has a port or an adapter, whether or not its area is in play.
    fn most_volts(&self) -> f64 {
        let parts = self.lines.iter().flat_map(|l| &l.line.parts);
        parts
            .filter_map(LinePart::most_volts)
            .fold(PORT_VOLTS, f64::max)
    }

    /// What a slip shows where a reading is taken, and what a line shows that is
    /// not as the rules say.
    fn shows(&self, at: Measures, meter: &Arc<Meter>) -> (Shows, Shows) {
        let mode = at.probing.mode;
        let strange = Shows::strange(mode, meter, self.most_volts());
        (
            Shows::slip(mode, &self.may_slip_to(at, meter), &strange),
            strange,
        )
    }

    /// The slip that a reading of a test looks like: what it usually shows on a healthy
    /// line. `None` if it looks like none, or the test measures no line.
    pub fn slip_of(&self, test: &TestInfo, reading: Reading) -> Option<Slip> {
        let at = test.measures?;
        let meter = &self.lines[at.line].meter;
        let healthy = self.may_slip_to(at, meter);
        healthy.slip_of(at.probing.mode, reading)
    }

    /// What healthy lines show that a slip may land on.
    fn may_slip_to(&self, at: Measures, meter: &Arc<Meter>) -> Healthy {
        let mode = at.probing.mode;
        let line = &self.lines[at.line];
        let good = line.good();
        let here = |probing| line.healthy(&good, meter, probing);
        let turned = Probing {
            turned: !at.probing.turned,
            ..at.probing
        };
        let other = match mode {
            MeterMode::Ohms => Some(MeterMode::Diode),
            MeterMode::Diode | MeterMode::Volts => None,
        };
        Healthy {
            here: here(at.probing),
            beside: self.beside(at, meter),
            turned: (mode != MeterMode::Volts).then(|| here(turned)).flatten(),
            other_mode: other.and_then(|mode| here(Probing { mode, ..at.probing })),
        }
    }

    /// What the pins beside show, healthy: the other lines of the copy at the same
    /// point, since the rules do not say in which order they lie on the connector. A
    /// point that none of them has has none beside it that the rules know.
    fn beside(&self, at: Measures, meter: &Arc<Meter>) -> Vec<Arc<Usual>> {
        let line = &self.lines[at.line];
        let copy = |l: &LineInfo| l.id.split('/').next().unwrap_or_default().to_owned();
        let others = self.lines.iter_enumerated().filter(|(l, _)| *l != at.line);
        let same = others.filter(|(_, l)| copy(l) == copy(line)).map(|l| l.1);
        let point = &line.line.points[at.probing.point].id;
        same.filter_map(|l| {
            let probing = Probing {
                point: l.line.points.iter().position(|p| p.id == *point)?,
                // No part of that line is lifted.
                lifted: None,
                ..at.probing
            };
            l.healthy(&l.good_beside(at.line, line), meter, probing)
        })
        .collect()
    }

    /// A line by name.
    pub fn line(&self, typed: &str) -> Found<LineId> {
        Self::find(self.lines.iter().map(|l| l.id.as_str()), typed)
    }
}

#[cfg(test)]
mod tests {
    use crate::model::{Unit, compile};
    use crate::rulebase::Rules;

    #[test]
    fn a_port_may_be_fed_with_the_highest_of_its_levels() {
        let rules = Rules::default().load().rulebase;
        let laptop = Unit {
            kind: "laptop".into(),
            ..Unit::default()
        };
        let charging = ["charging".to_owned()];
        let model = compile(&rules, &laptop, &[], Some(&charging)).unwrap();
        // USB PD goes up to 20 V in its standard range.
        let most = model.most_volts();
        assert!((20.0..30.0).contains(&most), "{most}");
    }
}
