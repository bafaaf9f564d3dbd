//! What a reading can tell of each fault of its line.

use super::case::Case;
use super::words::percent;
use crate::belief::{FaultId, likelier};
use crate::circuit::meter::Reading;
use crate::line::{GoodReading, Probing};
use crate::model::{LineInfo, RestsOn, TestInfo};
use crate::plan::TestId;
use crate::rulebase::{Kind, MeterMode, PackFault};
use crate::units::shown;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a reading of a line can tell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CanTell {
    /// What a good line reads, with its unit.
    pub good: String,
    /// What that rests on: `good-board`, `sibling` or `practice`.
    pub rests_on: String,
    /// The same in words.
    pub rests_on_says: String,
    /// Each fault that the line can have, the likeliest first.
    pub faults: Vec<CanTellFault>,
}

/// Whether a reading can tell a fault.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CanTellFault {
    /// Full identifier.
    pub fault: String,
    /// Name on screens.
    pub name: String,
    /// What it typically reads, with its unit.
    pub reads: String,
    /// Shift against a good line in combined standard deviations.
    pub shift: f64,
    /// Whether it can be told from a good line.
    pub seen: bool,
    /// If not: the quickest test of the same line that can; where none can, the
    /// measurement that shows it and the fewest others.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seen_by: Option<String>,
}

impl Case {
    /// What a reading can tell about each fault of its line; `None` if the
    /// test does not measure a line.
    pub fn can_tell(&self, test: TestId) -> Option<CanTell> {
        let m = &self.model;
        let measures = m.tests[test].measures?;
        let line = &m.lines[measures.line];
        let forecast = line.forecast(measures.probing).ok()?;
        let words = |r: Reading| match r {
            Reading::Value(v) => line.displayed(measures.probing.mode, v),
            Reading::OL => "OL".to_owned(),
        };
        // Others that measure the same line, the quickest first.
        let mut others: Vec<TestId> = (m.tests.keys())
            .filter(|t| {
                m.tests[*t]
                    .measures
                    .is_some_and(|x| x.line == measures.line)
            })
            .collect();
        others.sort_by(|a, b| {
            m.tests[*a]
                .step
                .minutes
                .total_cmp(&m.tests[*b].step.minutes)
        });
        let sees = |t: TestId, fault: PackFault| {
            let of = m.tests[t]
                .measures
                .and_then(|x| line.forecast(x.probing).ok());
            of.is_some_and(|f| {
                let told = f.tells().into_iter().find(|x| x.fault == fault);
                told.is_some_and(|x| x.visibility.is_seen())
            })
        };
        // Where no reading of the line can: the measurement that shows the fault
        // and the fewest others.
        const OTHERS: usize = 12;
        let sees_few = |t: &TestInfo| t.finding.sees().count();
        let shows = |t: &&TestInfo, fault: FaultId| {
            t.measures.is_none()
                && matches!(t.kind, Kind::Measure | Kind::Continuity)
                && sees_few(t) <= OTHERS
                && t.finding.likelihood(0, &[fault]) < 0.5
                && t.finding.likelihood(0, &[]) > 0.5
        };
        let elsewhere = |fault: FaultId| {
            let all = m.tests.iter().filter(|t| shows(t, fault));
            all.min_by_key(|t| sees_few(t))
        };
        let mut faults: Vec<(f64, CanTellFault)> = forecast
            .tells()
            .into_iter()
            .filter_map(|t| {
                let (_, fault) = line.faults.iter().find(|f| f.0 == t.fault)?;
                let seen = t.visibility.is_seen();
                let other = (others.iter().copied()).find(|o| !seen && sees(*o, t.fault));
                let other = other.map(|o| &m.tests[o]);
                let other = other.or_else(|| elsewhere(*fault).filter(|_| !seen));
                let view = CanTellFault {
                    fault: m.faults[*fault].id.clone(),
                    name: m.faults[*fault].name.clone(),
                    reads: words(t.typical),
                    shift: t.visibility.shift,
                    seen,
                    seen_by: other.map(|o| o.id.clone()),
                };
                Some((self.belief.faults[*fault], view))
            })
            .collect();
        faults.sort_by(|a, b| likelier(a.0, b.0));
        let (rests_on, rests_on_says) = self.rests_on(line, measures.probing);
        Some(CanTell {
            good: words(forecast.good.typical()),
            rests_on: rests_on.to_owned(),
            rests_on_says,
            faults: faults.into_iter().map(|f| f.1).collect(),
        })
    }

    /// What a forecast rests on, for programs and in words.
    fn rests_on(&self, line: &LineInfo, probing: Probing) -> (&'static str, String) {
        let reads = |r: &GoodReading| {
            let place = &line.line.points[r.probing.point].name;
            let value = shown(r.value, r.probing.mode.unit());
            match r.probing.mode {
                _ if r.probing.turned => format!("{value} with the leads swapped at the {place}"),
                MeterMode::Diode => format!("{value} in diode mode at the {place}"),
                MeterMode::Volts | MeterMode::Ohms => format!("{value} at the {place}"),
            }
        };
        match line.rests_on(probing) {
            RestsOn::GoodBoards(all) => {
                let all: Vec<String> = all
                    .iter()
                    .map(|r| format!("{} ({})", reads(&r.reading), r.from))
                    .collect();
                let says = format!("a good board of the model reads {}", all.join(", "));
                ("good-board", says)
            }
            RestsOn::Siblings(all) => {
                let all: Vec<String> = all
                    .iter()
                    .map(|s| {
                        let id = &self.model.tests[s.test].id;
                        let value = shown(s.reading.value, s.reading.probing.mode.unit());
                        format!(
                            "{id} reads {value}, taken for well with {}",
                            percent(s.well)
                        )
                    })
                    .collect();
                let says = format!(
                    "a line of this board that is built alike: {}",
                    all.join(", ")
                );
                ("sibling", says)
            }
            RestsOn::Practice => (
                "practice",
                "what is usual; what a good board of the model reads here would narrow it \
                 (`reference`)"
                    .to_owned(),
            ),
        }
    }
}
