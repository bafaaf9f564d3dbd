//! The meter on the bench, and what follows from it.

use std::sync::Arc;

use rayon::prelude::*;

use super::{CompileError, Measures, Model, lines};
use crate::belief::Finding;
use crate::circuit::meter::Meter;
use crate::circuit::solve::SolveError;
use crate::plan::TestId;
use crate::rulebase::{MeterMode, Rulebase, nearest};

/// The meter on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchMeter {
    /// Its name in the rules.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// What it does in a circuit.
    pub meter: Arc<Meter>,
}

impl Default for BenchMeter {
    /// That of rules without any meter.
    fn default() -> Self {
        BenchMeter {
            id: "handheld".to_owned(),
            name: "handheld meter".to_owned(),
            meter: Arc::new(Meter::handheld()),
        }
    }
}

impl BenchMeter {
    /// The meter of that name in the rules; without a name their first.
    ///
    /// # Errors
    /// If none is called so.
    pub fn of(rules: &Rulebase, name: Option<&str>) -> Result<Self, CompileError> {
        match (rules.meter(name), name) {
            (Some(m), _) => Ok(BenchMeter {
                id: m.id.clone(),
                name: m.name.clone(),
                meter: Arc::new(Meter::from(m)),
            }),
            (None, None) => Ok(BenchMeter::default()),
            (None, Some(name)) => {
                let known: Vec<&str> = rules.meters.iter().map(|m| m.id.as_str()).collect();
                Err(CompileError::NoMeter {
                    name: name.to_owned(),
                    near: nearest(name.trim(), known.iter().copied()).map(str::to_owned),
                    known: match known.is_empty() {
                        true => "the rules have none".to_owned(),
                        false => format!("there are {}", known.join(", ")),
                    },
                })
            }
        }
    }
}

impl Model {
    /// Takes another meter to hand: foretells anew what every test of a line
    /// may read. Findings that were handed out stay as they are.
    ///
    /// # Errors
    /// If a line cannot be solved.
    pub fn take(&mut self, meter: &BenchMeter) -> Result<(), CompileError> {
        self.meter = meter.clone();
        for line in &mut self.lines {
            line.meter = meter.meter.clone();
        }
        self.foretell(|_| true)
    }

    /// Foretells what tests of lines may read.
    pub(super) fn foretell(&mut self, of: impl Fn(&Measures) -> bool) -> Result<(), CompileError> {
        let measured: Vec<(TestId, Measures)> = (self.tests.keys())
            .filter_map(|t| Some((t, self.tests[t].measures.filter(&of)?)))
            .collect();
        let wanted: Vec<_> = measured
            .iter()
            .map(|(_, m)| (&self.lines[m.line], m.probing))
            .collect();
        lines::prepare(&wanted);
        for (t, m) in &measured {
            let line = &self.lines[m.line];
            let outcomes = line.outcomes(m.probing);
            let outcomes = outcomes.map_err(|why| CompileError::Line {
                line: line.id.clone(),
                why,
            })?;
            self.tests[*t].most_volts = match m.probing.mode {
                MeterMode::Diode => Some(line.meter.diode.source.volts.max(line.meter.diode.limit)),
                MeterMode::Volts | MeterMode::Ohms => None,
            };
            self.tests[*t].outcomes = outcomes;
        }
        let findings: Vec<Option<Finding>> = measured
            .par_iter()
            .with_max_len(1)
            .map(|(t, _)| self.foretold_in_words(&self.tests[*t], &[]))
            .collect();
        for ((t, m), finding) in measured.into_iter().zip(findings) {
            let finding = finding.ok_or_else(|| CompileError::Line {
                line: self.lines[m.line].id.clone(),
                why: SolveError::Singular,
            })?;
            self.tests[t].finding = Arc::new(finding);
            self.tests[t].foretold = self.tests[t].finding.clone();
        }
        Ok(())
    }
}
