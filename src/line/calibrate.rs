//! A line bent to what good ones read: boards of the same model, or the line's
//! own siblings.

use std::sync::Arc;

use super::forecast::{Forecast, Probing, bounds};
use super::wiring::{Wired, Wiring, apart, meter_mode};
use crate::circuit::calibrate::{CalibrateError, GoodReading as Read, Reach, calibrate, leans};
use crate::circuit::edit::Edit;
use crate::circuit::meter::Meter;
use crate::circuit::predict::{Prediction, Spread};
use crate::circuit::solve::Parameter;
use crate::rulebase::{Line, MeterMode, PackFault};

/// By how much a junction, volt, and a resistance, per cent, of a sibling may
/// differ from the line's, on top of what differs between boards. Common
/// practice, no source: lines that are alike agree within some 20 mV.
const SIBLING: (f64, f64) = (0.02, 10.0);

/// Which good line it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GoodLine {
    /// The same line of a good board of the model.
    OfModel,
    /// A line of a good board of the model that is built alike.
    BesideModel,
    /// A line of this board that is built alike.
    Sibling,
}

/// A reading of a good line, taken as the line itself would be.
#[derive(Clone, Debug, PartialEq)]
pub struct GoodReading {
    /// Which line it was.
    pub of: GoodLine,
    /// Where and how, on the line itself.
    pub probing: Probing,
    /// The meter it was read with.
    pub meter: Arc<Meter>,
    /// What it showed, volt or ohm.
    pub value: f64,
}

impl Wired {
    /// The line bent to readings of good ones; those with the device on bend it
    /// as it is on, the others as it is off.
    ///
    /// # Errors
    /// If a good line of this kind cannot read so.
    pub fn bent(
        &self,
        line: &Line,
        good: &[GoodReading],
        reach: Reach,
    ) -> Result<Self, CalibrateError> {
        let powered = |r: &&GoodReading| r.probing.mode == MeterMode::Volts;
        let (on, off): (Vec<_>, Vec<_>) = good.iter().partition(powered);
        Ok(Wired {
            off: self.off.bent(line, &off, reach)?,
            on: self.on.bent(line, &on, reach)?,
        })
    }

    /// The same in several ways, each as likely as the others. Two junctions side
    /// by side are known in sum from what they read. Which of them conducts most
    /// is not, and everything hangs on it once one is cut off. No straight line
    /// reaches from the one case to the other, so each is bent by itself.
    ///
    /// # Errors
    /// If a good line of this kind cannot read so.
    pub fn ways(
        &self,
        line: &Line,
        good: &[GoodReading],
        reach: Reach,
    ) -> Result<Vec<Self>, CalibrateError> {
        let even = self.bent(line, good, reach)?;
        let unpowered = good.iter().filter(|r| r.probing.mode != MeterMode::Volts);
        let readings: Vec<Read> = unpowered.map(|g| self.off.read(line, g)).collect();
        let mut ways = Vec::new();
        for lean in leans(
            &self.off.network,
            &self.off.spreads,
            &self.off.shared,
            &readings,
        )? {
            let mut leaning = self.clone();
            leaning.off.network = lean.network;
            leaning.off.spreads = lean.spreads;
            leaning.off.shared = lean.shared;
            // Some would have to be bent too far.
            ways.extend(leaning.bent(line, good, reach));
        }
        if ways.is_empty() {
            ways.push(even);
        }
        Ok(ways)
    }

    /// The values of the two halves of a line that are alike, by their places
    /// among `unknowns`, with their correlation. None where good lines have told
    /// more of them.
    pub(super) fn twins(
        &self,
        line: &Line,
        unknowns: &[(usize, Parameter)],
    ) -> Vec<(usize, usize, f64)> {
        if !self.off.told.is_empty() || !self.on.told.is_empty() {
            return Vec::new();
        }
        let twin = |(part, parameter): (usize, Parameter)| {
            let first = line.half(&line.parts[part].id) == Some(0);
            let other = line.twin(&line.parts[part].id).filter(|_| first)?;
            let other = line.parts.iter().position(|p| p.id == other)?;
            let place = unknowns.iter().position(|u| *u == (other, parameter))?;
            let alike = |w: &Wiring| w.alike((part, parameter));
            Some((place, alike(&self.off).or_else(|| alike(&self.on))?))
        };
        let all = unknowns.iter().enumerate();
        all.filter_map(|(i, u)| twin(*u).map(|(place, alike)| (i, place, alike)))
            .filter(|t| t.2 > 0.0)
            .collect()
    }
}

impl Forecast {
    /// This forecast as far as `share` says, with some faults in the device, and
    /// for the rest another of the same reading.
    #[must_use]
    pub fn or_else(&self, other: &Forecast, share: impl Fn(&[PackFault]) -> f64) -> Self {
        let mix = |faults: &[PackFault], a: &Prediction, b: &Prediction| {
            let share = share(faults);
            let both = [(share, a.clone()), (1.0 - share, b.clone())];
            Prediction::mixture(&both).unwrap_or_else(|| b.clone())
        };
        let good = mix(&[], &self.good, &other.good);
        let faulty = self.faulty.iter().zip(&other.faulty);
        let harmed = self.harmed.iter().zip(&other.harmed);
        Forecast {
            bounds: bounds(&good),
            good,
            faulty: faulty
                .map(|((f, a), (_, b))| (*f, mix(&[*f], a, b)))
                .collect(),
            harmed: harmed
                .map(|((f, a), (_, b))| (*f, mix(&[*f], a, b)))
                .collect(),
        }
    }
}

impl Wiring {
    /// Correlation of a value of a part with the same of a sibling.
    fn alike(&self, value: (usize, Parameter)) -> Option<f64> {
        let at = self.unknowns().iter().position(|u| *u == value)?;
        let (s, shared) = (&self.spreads[at], self.shared[at]);
        let all = s.deviation * s.deviation.hypot(apart(s, SIBLING));
        Some(shared.powi(2) / all).filter(|a| a.is_finite())
    }

    fn bent(
        &self,
        line: &Line,
        good: &[&GoodReading],
        reach: Reach,
    ) -> Result<Self, CalibrateError> {
        if good.is_empty() {
            return Ok(self.clone());
        }
        let readings: Vec<Read> = good.iter().map(|g| self.read(line, g)).collect();
        let c = calibrate(&self.network, &self.spreads, &self.shared, &readings, reach)?;
        let mut bent = self.clone();
        (bent.network, bent.told) = (c.network, c.told);
        Ok(bent)
    }

    fn read<'g>(&self, line: &Line, g: &'g GoodReading) -> Read<'g> {
        let node = self.nodes[line.points[g.probing.point].node];
        let (red, black) = g.probing.ends(node);
        // What a value of that board is off the model's, and that of a sibling
        // off this line's.
        let off = |s: &Spread, shared: f64| {
            let own = (s.deviation.powi(2) - shared.powi(2)).max(0.0).sqrt();
            match g.of {
                GoodLine::OfModel => own,
                GoodLine::BesideModel | GoodLine::Sibling => own.hypot(apart(s, SIBLING)),
            }
        };
        let spreads = self.spreads.iter().zip(&self.shared);
        Read {
            meter: &g.meter,
            edits: (g.probing.open(line))
                .flat_map(|part| &self.parts[part])
                .map(|element| Edit::Remove { element: *element })
                .collect(),
            red,
            black,
            mode: meter_mode(g.probing.mode),
            value: g.value,
            apart: spreads.map(|(s, shared)| off(s, *shared)).collect(),
        }
    }
}
