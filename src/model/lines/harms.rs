//! How well each thing that can be wrong with a line explains what was read
//! on it.

use super::{LineInfo, misread_density};
use crate::circuit::meter::Reading;
use crate::circuit::solve::SolveError;
use crate::line::{Forecast, Probing};
use crate::rulebase::{Effect, Harm, Line};

/// What a measurement of a line came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Taken {
    /// What the meter showed, in the unit of its mode.
    Number(Reading),
    /// Only how it compares with a good line: a place in
    /// [`crate::line::CATEGORIES`].
    Category(usize),
}

impl LineInfo {
    /// The things that the faults of the pack do to this line, each once.
    pub fn harms(&self) -> Vec<Harm> {
        let mut harms: Vec<Harm> = Vec::new();
        for e in &self.line.faults {
            if !harms.contains(&e.harm) {
                harms.push(e.harm);
            }
        }
        harms
    }

    /// How likely a measurement was to come out so: with nothing wrong on the
    /// line, then with each of [`LineInfo::harms`] by itself. Of a number that
    /// is its density; all values of one call are on one scale. `misread` is
    /// the chance that the result had nothing to do with the line.
    ///
    /// # Errors
    /// If the line cannot be solved.
    pub fn explained(
        &self,
        probing: Probing,
        taken: Taken,
        misread: f64,
    ) -> Result<Vec<f64>, SolveError> {
        // Each harm as a fault of its own, which does nothing else.
        let alone = self.harms().into_iter().enumerate();
        let line = Line {
            faults: alone
                .map(|(fault, harm)| Effect {
                    fault,
                    harm,
                    chance: 1.0,
                })
                .collect(),
            ..self.line.clone()
        };
        let f = Forecast::new(&line, &self.wired, &self.meter, probing, false)?;
        let flat = match taken {
            Taken::Number(reading) => misread_density(reading, probing.mode),
            Taken::Category(_) if f.bounds.is_none() => 0.5,
            Taken::Category(_) => 0.25,
        };
        let predictions = std::iter::once(&f.good).chain(f.harmed.iter().map(|h| &h.1));
        Ok(predictions
            .map(|p| {
                let right = match taken {
                    Taken::Number(reading) => p.likelihood(reading),
                    Taken::Category(k) => f.outcomes(p)[k],
                };
                (1.0 - misread) * right + misread * flat
            })
            .collect())
    }
}
