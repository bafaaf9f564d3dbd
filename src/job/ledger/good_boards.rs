//! What good boards and the siblings of lines read.

use super::answer::measured;
use super::{CaseError, Ledger, one};
use crate::circuit::calibrate::CalibrateError;
use crate::job::file::{Entry, Reference};
use crate::job::reading::{AsTyped, Asked};
use crate::model::{BenchMeter, CompileError, LineId};
use crate::rulebase::Rulebase;
use crate::units::shown;

impl Ledger {
    /// Takes up what good boards read, whenever it was entered: it is knowledge
    /// of the model, and no evidence on this device.
    pub(super) fn references(
        &mut self,
        rules: &Rulebase,
        steps: &[Entry],
    ) -> Result<(), CaseError> {
        let mut meter = self.model.meter.clone();
        let mut lines = Vec::new();
        for (n, entry) in steps.iter().enumerate() {
            match entry {
                Entry::Meter(name) => {
                    meter = BenchMeter::of(rules, Some(name)).unwrap_or(meter);
                }
                Entry::Reference(r) => match self.refer(rules, &meter, (n, r)) {
                    Ok(line) => lines.push(line),
                    Err(e) => self.unfit.push((Some(n), e)),
                },
                _ => {}
            }
        }
        Ok(self.model.foretell_lines(&lines)?)
    }

    /// Takes up what one good board reads, by the entry; gives the line.
    fn refer(
        &mut self,
        rules: &Rulebase,
        meter: &BenchMeter,
        (n, r): (usize, &Reference),
    ) -> Result<LineId, CaseError> {
        let test = one(self.model.test(&r.test), "test", &r.test)?;
        let t = &self.model.tests[test];
        let Some(at) = t.measures else {
            return Err(CaseError::NoLine(t.id.clone()));
        };
        if r.from.trim().is_empty() {
            return Err(CaseError::Nobodys);
        }
        let with = match &r.meter {
            Some(name) => BenchMeter::of(rules, Some(name))?,
            None => meter.clone(),
        };
        let refused = |why: &str| CaseError::NoReading {
            test: t.id.clone(),
            shows: r.reads.trim().to_owned(),
            why: why.to_owned(),
        };
        let typed = AsTyped::of(&r.reads, &Asked::by(t));
        let value = match measured(t, &typed)? {
            Some(_) if typed.is_rough() => {
                return Err(refused("type the very number, read the usual way round"));
            }
            Some(v) if v.is_finite() => v,
            Some(_) => {
                return Err(refused("OL says nothing of what a good board is like"));
            }
            None => return Err(refused("it is no value")),
        };
        let (id, good) = (t.id.clone(), t.good_reads());
        let reads = shown(value, t.unit.as_deref().unwrap_or_default());
        match self.model.refer(at, value, &with.meter, r.from.trim()) {
            Ok(false) => Ok(at.line),
            Ok(true) => {
                self.unexpected.push((
                    n,
                    format!(
                        "{reads} is not what these rules expect of a good board in `{id}` \
                         ({good}); a good board goes before the rules, so it counts; see once \
                         more whether it is the same point, mode and model"
                    ),
                ));
                Ok(at.line)
            }
            Err(CalibrateError::Solve(why)) => Err(CaseError::Compile(CompileError::Line {
                line: self.model.lines[at.line].id.clone(),
                why,
            })),
            Err(_) => Err(CaseError::NotGood {
                test: id,
                reads: r.reads.trim().to_owned(),
                good,
            }),
        }
    }

    /// Takes up what was read on the siblings of lines, so that what is foretold
    /// of them rests on it.
    pub(super) fn see_siblings(
        &mut self,
        lines: impl Iterator<Item = LineId>,
    ) -> Result<(), CaseError> {
        let mut changed = Vec::new();
        for line in lines {
            let seen = self.history.seen(&self.model, line);
            if self.model.lines[line].see(seen) {
                changed.push(line);
            }
        }
        Ok(self.model.foretell_lines(&changed)?)
    }
}
