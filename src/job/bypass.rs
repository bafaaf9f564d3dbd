//! Advice on a wire round a part of a line of the job.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::case::Case;
use super::ledger::{self, CaseError};
use crate::belief::{FaultId, ItemId, likelier};
use crate::line::{self, Stretch};
use crate::model::{Found, LineId, Model};
use crate::plan::RemedyId;
use crate::rulebase::{Duty, Harm, LinePart, Point};
use crate::sums::wire::Verdict;

/// Advice on a wire round a part, or between two points, of a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BypassView {
    /// The line.
    pub line: String,
    /// Its name.
    pub line_name: String,
    /// The parts that the wire goes round, in order.
    pub parts: Vec<String>,
    /// Their names.
    pub name: String,
    /// Whether it may be there.
    pub verdict: Verdict,
    /// Why, a sentence each, the gravest first.
    pub reasons: Vec<String>,
    /// Where one end is soldered.
    pub from: String,
    /// Where the other.
    pub to: String,
    /// Voltage there, volt.
    pub from_volts: f64,
    /// And there.
    pub to_volts: f64,
    /// The wire to take.
    pub wire: WireView,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// A wire with its figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WireView {
    /// AWG number.
    pub awg: u8,
    /// Diameter of the bare wire, metre.
    pub metres_thick: f64,
    /// Length, metre.
    pub metres: f64,
    /// The longest that the line bears, where it is fast enough to care, metre.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub longest_metres: Option<f64>,
    /// Resistance, ohm.
    pub ohms: f64,
    /// The most that the line can push through it, ampere.
    pub amps: f64,
    /// What drops across it then, volt.
    pub drop_volts: f64,
    /// Where it melts, ampere.
    pub fusing_amps: f64,
    /// What it may carry for long, ampere.
    pub carries_amps: f64,
}

/// Why there is no advice.
#[derive(Debug, Error)]
pub enum NoAdvice {
    /// The name is none, or could be several.
    #[error(transparent)]
    Name(#[from] CaseError),
    /// A point where only one end of a wire can be.
    #[error("`{0}` is a point; name the point too where the wire ends")]
    OneEnd(String),
    /// Something that lies on no line.
    #[error("{0} is on no line that the rules have: no wire goes round it")]
    OnNoLine(String),
    /// No point of the line is called so.
    #[error("no point of {line} is called `{name}`; there are {}", .points.join(", "))]
    NoPoint {
        /// The line.
        line: String,
        /// What was typed.
        name: String,
        /// What there is.
        points: Vec<String>,
    },
    /// Two points that nothing joins.
    #[error("nothing leads from one of these points to the other")]
    NotJoined,
    /// The line cannot be solved, or the length is none.
    #[error(transparent)]
    Line(#[from] line::BypassError),
}

/// Ambiguous names listed at most.
const LISTED: usize = 6;

/// A part of a line, by index.
type Place = (LineId, usize);

/// Whether a wire could be meant to go round a part: what has its ends at two
/// nodes that are not ground. The inner parts of a pin are none.
fn can_be_meant(p: &LinePart) -> bool {
    !p.is_piece() && p.duty != Duty::Pins
}

impl Case {
    /// Advice on a wire: round a part (by its name, that of a suspect or its
    /// place among them, from 1), or from one point of a line `to` another.
    /// Without a name, round what the likeliest suspects break.
    ///
    /// # Errors
    /// If the name is none or could be several, or the line cannot be solved.
    pub fn bypass(
        &self,
        what: &str,
        to: Option<&str>,
        metres: f64,
    ) -> Result<Vec<BypassView>, NoAdvice> {
        let what = what.trim();
        if let Some(to) = to {
            let (line, from) = self.point(what)?;
            let info = &self.model.lines[line];
            let end = info.line.points.iter().find(|p| p.id == to.trim());
            let end = end.ok_or_else(|| NoAdvice::NoPoint {
                line: info.name.clone(),
                name: to.to_owned(),
                points: info.line.points.iter().map(|p| p.id.clone()).collect(),
            })?;
            let stretch = Stretch::between(&info.line, from, end.node);
            let stretch = stretch.ok_or(NoAdvice::NotJoined)?;
            return Ok(vec![self.round(line, &stretch, metres)?]);
        }
        self.meant(what)?
            .into_iter()
            .map(|(line, part)| {
                let stretch = Stretch::of(&self.model.lines[line].line, part);
                self.round(line, &stretch, metres)
            })
            .collect()
    }

    /// Advice on a stretch of a line.
    fn round(&self, line: LineId, stretch: &Stretch, metres: f64) -> Result<BypassView, NoAdvice> {
        let info = &self.model.lines[line];
        let b = info.bypass(stretch, metres)?;
        let parts = || stretch.parts.iter().map(|p| &info.line.parts[*p]);
        let names: Vec<&str> = parts().map(|p| p.name.as_str()).collect();
        Ok(BypassView {
            line: info.id.clone(),
            line_name: info.name.clone(),
            parts: parts().map(|p| p.id.clone()).collect(),
            name: names.join(", "),
            verdict: b.verdict,
            reasons: b.says,
            from: b.from,
            to: b.to,
            from_volts: b.volts.0,
            to_volts: b.volts.1,
            wire: WireView {
                awg: b.wire.gauge.awg(),
                metres_thick: b.wire.gauge.diameter(),
                metres: b.wire.metres,
                longest_metres: b.wire.longest,
                ohms: b.wire.ohms,
                amps: b.wire.amps,
                drop_volts: b.wire.drop,
                fusing_amps: b.wire.fusing,
                carries_amps: b.wire.carries,
            },
            cautions: b.cautions.into_iter().map(str::to_owned).collect(),
        })
    }

    /// What a remedy goes round with a wire, as far as a fault that it clears
    /// opens it and is not out of the question; the likeliest first. All that it
    /// could go round, if none is.
    ///
    /// # Errors
    /// If a line cannot be solved.
    pub fn bridged(&self, remedy: RemedyId) -> Result<Vec<BypassView>, NoAdvice> {
        /// Below this a fault is out of the question.
        const NOT_LIKELY: f64 = 0.005;
        let r = &self.model.remedies[remedy];
        let clears = |f: FaultId| r.change.clears.iter().any(|(c, _)| *c == f);
        let now = |(line, part): &Place| {
            self.opened_by(*line, *part)
                .into_iter()
                .filter(|f| clears(*f))
                .map(|f| self.belief.faults[f])
                .fold(0.0, f64::max)
        };
        let mut all = r.bridges.clone();
        all.sort_by(|a, b| likelier(now(a), now(b)));
        let likely = all.iter().filter(|p| now(p) >= NOT_LIKELY).count();
        if likely > 0 {
            all.truncate(likely);
        }
        all.into_iter()
            .map(|(line, part)| {
                let stretch = Stretch::of(&self.model.lines[line].line, part);
                self.round(line, &stretch, line::USUAL_LENGTH)
            })
            .collect()
    }

    /// Faults that open a part of a line, or make it resistive.
    fn opened_by(&self, line: LineId, part: usize) -> Vec<FaultId> {
        let info = &self.model.lines[line];
        let opens = |h: Harm| matches!(h, Harm::Open(p) | Harm::Resistive(p) if p == part);
        info.line
            .faults
            .iter()
            .filter(|e| opens(e.harm))
            .filter_map(|e| info.faults.iter().find(|f| f.0 == e.fault).map(|f| f.1))
            .collect()
    }

    /// Parts that some faults open.
    fn opened(&self, faults: &[FaultId]) -> Vec<Place> {
        let mut out = Vec::new();
        for (l, info) in self.model.lines.iter_enumerated() {
            for p in 0..info.line.parts.len() {
                let by = || self.opened_by(l, p).iter().any(|f| faults.contains(f));
                if can_be_meant(&info.line.parts[p]) && by() {
                    out.push((l, p));
                }
            }
        }
        out
    }

    /// The parts that a name stands for.
    fn meant(&self, what: &str) -> Result<Vec<Place>, NoAdvice> {
        let m = &self.model;
        let mut ranked: Vec<FaultId> = m.faults.keys().collect();
        ranked.sort_by(|a, b| likelier(self.belief.faults[*a], self.belief.faults[*b]));
        if what.is_empty() {
            let first = ranked.iter().map(|f| self.opened(&[*f]));
            let first = first.into_iter().find(|o| !o.is_empty());
            return first.ok_or_else(|| NoAdvice::OnNoLine("none of the suspects".to_owned()));
        }
        let of_faults = |faults: &[FaultId], name: &str| match self.opened(faults) {
            none if none.is_empty() => Err(NoAdvice::OnNoLine(name.to_owned())),
            some => Ok(some),
        };
        if let Ok(n) = what.parse::<usize>() {
            let fault = n.checked_sub(1).and_then(|n| ranked.get(n));
            let fault = fault.map_or(Found::None(None), |f| Found::One(*f));
            let fault = one(fault, what)?;
            return of_faults(&[fault], &m.faults[fault].name);
        }
        let mut places: Vec<(String, Place)> = Vec::new();
        for (l, info) in m.lines.iter_enumerated() {
            for (p, part) in info.line.parts.iter().enumerate() {
                if can_be_meant(part) {
                    places.push((format!("{}/{}", info.id, part.id), (l, p)));
                }
            }
        }
        let near = match Model::find::<usize>(places.iter().map(|p| p.0.as_str()), what) {
            Found::None(near) => near,
            Found::One(i) => return Ok(vec![places[i].1]),
            // Several lines have such a part: all of them are meant.
            Found::Several(all) => {
                let named = places.into_iter().filter(|p| all.contains(&p.0));
                return Ok(named.map(|p| p.1).collect());
            }
        };
        if let Found::One(f) = m.fault(what) {
            return of_faults(&[f], &m.faults[f].name);
        }
        match Model::find::<ItemId>(m.items.iter().map(|i| i.id.as_str()), what) {
            Found::None(_) if self.point(what).is_ok() => Err(NoAdvice::OneEnd(what.to_owned())),
            found => {
                let found = match found {
                    Found::None(item) => Found::None(near.or(item)),
                    found => found,
                };
                let item = &m.items[one(found, what)?];
                of_faults(&item.faults, &item.name)
            }
        }
    }

    /// A point of a line: the line, and the node by index.
    fn point(&self, what: &str) -> Result<(LineId, usize), NoAdvice> {
        let mut points: Vec<(String, (LineId, usize))> = Vec::new();
        for (l, info) in self.model.lines.iter_enumerated() {
            let id = |p: &Point| format!("{}/{}", info.id, p.id);
            points.extend(info.line.points.iter().map(|p| (id(p), (l, p.node))));
        }
        let found = Model::find::<usize>(points.iter().map(|p| p.0.as_str()), what);
        Ok(points[one(found, what)?].1)
    }
}

/// Takes one of what was found, or says why not.
fn one<I>(mut found: Found<I>, name: &str) -> Result<I, CaseError> {
    if let Found::Several(could_be) = &mut found {
        could_be.truncate(LISTED);
    }
    ledger::one(found, "part of a line", name)
}

impl BypassView {
    /// Whether the wire may not be there.
    pub fn is_no(&self) -> bool {
        self.verdict == Verdict::No
    }
}
