//! What good lines are known to read: good boards of the model, and the line's
//! own siblings on this device.

use std::sync::Arc;

use super::super::{CompileError, LineId, Model};
use super::taken::{Read, Taken};
use super::{LineInfo, Measures};
use crate::belief::FaultId;
use crate::circuit::calibrate::{CalibrateError, Reach};
use crate::circuit::meter::{Meter, Reading};
use crate::circuit::solve::SolveError;
use crate::line::{Category, Forecast, GoodLine, GoodReading, Probing, Wired};
use crate::plan::TestId;
use crate::rulebase::{Harm, Line, MeterMode, PackFault};

/// What a good board of the model is known to read.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// The reading, as of the line itself.
    pub reading: GoodReading,
    /// Whose board it was.
    pub from: String,
    /// The rules expect something else: no way in which they have the line reads
    /// so.
    pub unexpected: bool,
}

/// A line of the device that is built alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sibling {
    /// The line, by index.
    pub line: LineId,
    /// It is the other half of the line itself.
    pub mirrored: bool,
}

/// A reading of a sibling, with how far it is to be relied on: the sibling may
/// be at fault as well as the line.
#[derive(Clone, Debug, PartialEq)]
pub struct SiblingReading {
    /// The test it was taken in.
    pub test: TestId,
    /// The reading, as of the line itself.
    pub reading: GoodReading,
    /// It is of the other half of the line.
    pub(super) mirrored: bool,
    /// Chance that the sibling is well, as far as its reading and the faults of
    /// its own can tell.
    pub well: f64,
    /// By which factor that changes with a fault of this line in the device.
    with: Vec<(FaultId, f64)>,
}

impl SiblingReading {
    /// Chance that the sibling is well with some faults in the device.
    fn well_with(&self, faults: &[FaultId]) -> f64 {
        let factor = |f: &FaultId| self.with.iter().find(|w| w.0 == *f).map_or(1.0, |w| w.1);
        (self.well * faults.iter().map(factor).product::<f64>()).clamp(0.0, 1.0)
    }
}

/// What a forecast rests on.
#[derive(Clone, Debug, PartialEq)]
pub enum RestsOn<'l> {
    /// Readings of good boards of the model.
    GoodBoards(&'l [Reference]),
    /// Readings of siblings.
    Siblings(Vec<&'l SiblingReading>),
    /// The spread that common practice gives.
    Practice,
}

impl LineInfo {
    /// Takes up what a good board reads, `from` somebody's board; one of the same
    /// board at the same point takes the place of an earlier one. A board that the
    /// rules do not expect goes before them; tells whether it is one.
    ///
    /// # Errors
    /// If no values of the parts make the line read so; nothing is taken up then.
    pub fn refer(&mut self, reading: GoodReading, from: &str) -> Result<bool, CalibrateError> {
        let alone = self.bent_likeliest(std::slice::from_ref(&reading), Reach::Likely);
        let unexpected = alone.is_err();
        let mut all = self.references.clone();
        all.retain(|r| r.from != from || r.reading.probing != reading.probing);
        all.push(Reference {
            reading,
            from: from.to_owned(),
            unexpected,
        });
        let good: Vec<GoodReading> = all.iter().map(|r| r.reading.clone()).collect();
        let likely = self.bent_likeliest(&good, Reach::Likely);
        self.wired = likely.or_else(|_| self.bent_likeliest(&good, Reach::Any))?;
        self.references = all;
        Ok(unexpected)
    }

    /// The likeliest way that can read so; if none can, why the first cannot.
    fn bent_likeliest(&self, good: &[GoodReading], reach: Reach) -> Result<Wired, CalibrateError> {
        let ways = self.plain.iter();
        let mut bent = ways.map(|b| b.wired.bent(&self.line, good, reach));
        match bent.next() {
            Some(Err(why)) => bent.find_map(Result::ok).ok_or(why),
            Some(Ok(wired)) => Ok(wired),
            None => Err(SolveError::Singular.into()),
        }
    }

    /// What good boards read.
    pub(super) fn good(&self) -> Vec<GoodReading> {
        self.references.iter().map(|r| r.reading.clone()).collect()
    }

    /// What good boards read on this line or else, where it is built alike, on one
    /// beside it.
    pub(super) fn good_beside(&self, at: LineId, beside: &LineInfo) -> Vec<GoodReading> {
        let alike = |s: &Sibling| s.line == at && !s.mirrored;
        if !self.references.is_empty() || !self.siblings.iter().any(alike) {
            return self.good();
        }
        let of = |r: GoodReading| GoodReading {
            of: GoodLine::BesideModel,
            ..r
        };
        let whole = (beside.good().into_iter()).filter(|r| r.probing.lifted.is_none());
        whole.map(of).collect()
    }

    /// What a forecast rests on: a good board of the model before a sibling,
    /// and that before common practice.
    pub fn rests_on(&self, probing: Probing) -> RestsOn<'_> {
        if !self.references.is_empty() {
            return RestsOn::GoodBoards(&self.references);
        }
        let half = |point: usize| self.line.half(&self.line.points[point].id);
        let seen: Vec<&SiblingReading> = self
            .seen
            .iter()
            .filter(|s| !s.mirrored || half(s.reading.probing.point) == half(probing.point))
            .collect();
        match seen.is_empty() {
            true => RestsOn::Practice,
            false => RestsOn::Siblings(seen),
        }
    }

    /// Works out something of the line as far as it is known: with what `work`
    /// makes of it bent to good readings. A sibling that was seen may be at fault
    /// itself. So `both` puts together what it is bent to the siblings' readings
    /// and what it is without them, the former by the chance that the siblings
    /// are well, given some faults.
    pub(super) fn as_seen<T>(
        &self,
        seen: &[&SiblingReading],
        work: impl Fn(&[GoodReading]) -> Result<T, CalibrateError>,
        both: impl FnOnce(T, T, &dyn Fn(&[FaultId]) -> f64) -> T,
    ) -> Result<T, SolveError> {
        let broad = work(&self.good()).map_err(|e| match e {
            CalibrateError::Solve(e) => e,
            // Good boards are tried when they are taken up.
            CalibrateError::OutOfReach { .. } | CalibrateError::Unlikely { .. } => {
                SolveError::Singular
            }
        })?;
        if seen.is_empty() || !self.references.is_empty() {
            return Ok(broad);
        }
        let bend: Vec<GoodReading> = seen.iter().map(|s| s.reading.clone()).collect();
        // Siblings that do not go with this line tell nothing of it.
        let Ok(narrow) = work(&bend) else {
            return Ok(broad);
        };
        let well = |faults: &[FaultId]| {
            let all = seen.iter().map(|s| s.well_with(faults));
            all.fold(1.0, f64::min)
        };
        Ok(both(narrow, broad, &well))
    }

    /// Takes up what was read on siblings, in place of what was before.
    pub(crate) fn see(&mut self, seen: Vec<SiblingReading>) -> bool {
        let changed = self.seen != seen;
        self.seen = seen;
        changed
    }
}

impl Model {
    /// Takes up what a good board reads, volt or ohm; tells whether the rules expect
    /// something else. What was foretold before stays as it was.
    ///
    /// # Errors
    /// If no values of the parts make the line read so.
    pub(crate) fn refer(
        &mut self,
        at: Measures,
        value: f64,
        meter: &Arc<Meter>,
        from: &str,
    ) -> Result<bool, CalibrateError> {
        let reading = GoodReading {
            of: GoodLine::OfModel,
            probing: at.probing,
            meter: meter.clone(),
            value,
        };
        self.lines[at.line].refer(reading, from)
    }

    /// A reading of a sibling as it tells of a line, if it does: one that is as
    /// a good line reads, in a mode that shows what the line is made of.
    pub(crate) fn sibling_reading(
        &self,
        line: LineId,
        sibling: Sibling,
        test: TestId,
        taken: &Taken,
    ) -> Option<SiblingReading> {
        let (here, there) = (&self.lines[line], &self.lines[sibling.line]);
        let Read::Number(read @ Reading::Value(value)) = taken.read else {
            return None;
        };
        // Good boards of the model go before siblings.
        let whole = taken.probing.mode != MeterMode::Volts && taken.probing.lifted.is_none();
        if !whole || !here.references.is_empty() {
            return None;
        }
        let f = there.by_itself(&taken.meter, taken.probing).ok()?;
        if f.category(read) != Category::AsItShould {
            return None;
        }
        let point = match sibling.mirrored {
            true => here.line.mirror(taken.probing.point)?,
            false => taken.probing.point,
        };
        let half = sibling
            .mirrored
            .then(|| there.line.half(&there.line.points[taken.probing.point].id))
            .flatten();
        let good = f.good.likelihood(read);
        let wrong = taken.what.misread;
        // What else would read so: a fault of the sibling's own, or a slip.
        let slips = wrong / (1.0 - wrong).max(1e-9);
        let mut other = slips * taken.what.flat;
        let mut with = Vec::new();
        for (fault, id) in &there.faults {
            let harms = chance(&there.line, *fault, half);
            if here.faults.iter().any(|h| h.1 == *id) {
                let faulty = likelihood(&f, *fault, read);
                if faulty > 0.0 {
                    with.push((*id, (1.0 - harms) * good / faulty));
                }
            } else {
                let p = self.network.faults()[*id].probability;
                let harmed = f.harmed.iter().find(|h| h.0 == *fault);
                let harmed = harmed.map_or(0.0, |h| h.1.likelihood(read));
                other += p / (1.0 - p).max(1e-9) * harms * harmed;
            }
        }
        Some(SiblingReading {
            test,
            reading: GoodReading {
                of: GoodLine::Sibling,
                probing: Probing {
                    point,
                    ..taken.probing
                },
                meter: taken.meter.clone(),
                value,
            },
            mirrored: sibling.mirrored,
            well: good / (good + other),
            with,
        })
    }

    /// Foretells anew what the tests of some lines may read.
    ///
    /// # Errors
    /// If a line cannot be solved.
    pub(crate) fn foretell_lines(&mut self, lines: &[LineId]) -> Result<(), CompileError> {
        self.foretell(|m| lines.contains(&m.line))
    }
}

/// How likely a reading is with a fault of the pack in the device.
fn likelihood(f: &Forecast, fault: PackFault, read: Reading) -> f64 {
    let with = f.faulty.iter().find(|(of, _)| *of == fault);
    with.map_or(0.0, |(_, p)| p.likelihood(read))
}

/// Chance that a fault of the pack harms a line, or one half of it.
fn chance(line: &Line, fault: PackFault, half: Option<usize>) -> f64 {
    let of_half = |name: &str| line.half(name).is_none_or(|h| Some(h) == half);
    let part = |p: usize| of_half(&line.parts[p].id);
    let node = |n: usize| of_half(&line.nodes[n]);
    let touches = |harm: Harm| match harm {
        _ if half.is_none() => true,
        Harm::Grounded(n) | Harm::LeakyNode(n) => node(n),
        Harm::Joined(a, b) => node(a) || node(b),
        Harm::Strange => true,
        of_part => of_part.part().is_some_and(part),
    };
    let effects = line.faults.iter();
    effects
        .filter(|e| e.fault == fault && touches(e.harm))
        .map(|e| e.chance)
        .sum::<f64>()
        .min(1.0)
}
