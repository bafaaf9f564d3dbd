//! Tests that the circuit of a line brings along, beyond those that the rules
//! write down.

use std::sync::Arc;

use super::super::{Found, LineId, Model, TestInfo};
use super::Measures;
use crate::line::{Isolation, Probing, isolations};
use crate::rulebase::{Kind, MeterMode, Step};

/// A meter whose lowest range shows this, ohm, resolves milliohm.
const MILLIOHM: f64 = 1e-3;
/// What a small part is lifted with.
const IRON: &str = "fine iron or hot air";

impl Model {
    /// The tests that follow from the circuit of a line; what they may show is not
    /// worked out. None where the rules read the line nowhere without power: then
    /// nothing says how the bench has to be made ready.
    fn isolations(&self, line: LineId) -> Vec<TestInfo> {
        let info = &self.lines[line];
        let reads = |t: &&TestInfo, mode: MeterMode| {
            let here = t.measures.filter(|m| m.line == line);
            here.is_some_and(|m| m.probing.mode == mode && m.probing.lifted.is_none())
        };
        let first = |mode| self.tests.iter().find(|t| reads(t, mode));
        let Some(base) = first(MeterMode::Ohms).or_else(|| first(MeterMode::Diode)) else {
            return Vec::new();
        };
        let resting = base.measures.map(|m| m.probing.state).unwrap_or_default();
        let fine = info
            .meter
            .ohms
            .iter()
            .any(|r| r.accuracy.resolution <= MILLIOHM);
        let derived = |(how, point): (Isolation, usize)| {
            let mut step = base.step.clone();
            step.minutes = how.minutes(&info.line, point);
            step.explain = Some(how.explain(&info.line));
            step.source = "follows from the circuit of the line; minutes: common practice, no \
                           source"
                .to_owned();
            self.make_ready(&mut step, how);
            let state = self.bench.closure(&step.conditions).into_iter().collect();
            TestInfo {
                id: format!(
                    "{}-{}-{}",
                    info.id,
                    how.id(&info.line),
                    info.line.points[point].id
                ),
                ask: how.ask(&info.line, point),
                kind: Kind::Measure,
                measures: Some(Measures {
                    line,
                    probing: Probing {
                        lifted: how.lifted(),
                        ..Probing::new(point, MeterMode::Ohms, state)
                    },
                }),
                unit: Some(MeterMode::Ohms.unit().to_owned()),
                most_volts: None,
                before: None,
                after: None,
                raises: Vec::new(),
                step,
                ..base.clone()
            }
        };
        let all = isolations(&info.line, resting, fine).into_iter();
        // What the rules read anyway is no new test.
        let known = |t: &TestInfo| self.tests.iter().any(|o| o.measures == t.measures);
        all.map(derived).filter(|t| !known(t)).collect()
    }

    /// The conditions, tools and cautions that taking a line apart adds.
    fn make_ready(&self, step: &mut Step, how: Isolation) {
        match how {
            Isolation::Lift(_) => {
                step.tools.push(IRON.to_owned());
            }
            Isolation::Unplug { condition, .. } => step.conditions.push(condition),
            Isolation::Compare(_) => {}
        }
        step.call_for_cautions(&self.bench, "");
    }

    /// What a derived test may show, worked out.
    fn worked_out(&self, t: &TestInfo) -> Option<TestInfo> {
        let mut t = self.test_as(t, |probing| probing)?;
        t.foretold = Arc::clone(&t.finding);
        Some(t)
    }

    /// All tests that follow from the circuit of a line and are none of the model's
    /// yet.
    pub(crate) fn isolating(&self, line: LineId) -> Vec<TestInfo> {
        let all = self.isolations(line);
        all.iter().filter_map(|t| self.worked_out(t)).collect()
    }

    /// Takes up the test of that name, if it follows from the circuit of a line.
    pub(crate) fn take_isolation(&mut self, id: &str) {
        let all = self.lines.keys().filter(|line| {
            let name = &self.lines[*line].id;
            let tail = name.rsplit('/').next().unwrap_or(name);
            id.starts_with(name) || id.starts_with(tail)
        });
        let all: Vec<TestInfo> = all.flat_map(|line| self.isolations(line)).collect();
        if let Found::One(at) = Self::find::<usize>(all.iter().map(|t| t.id.as_str()), id) {
            self.tests.extend(self.worked_out(&all[at]));
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::model::{Found, Unit, compile};
    use crate::rulebase::{MeterMode, Rules};

    #[test]
    fn a_supply_brings_the_lifting_of_its_ferrite_along() {
        let rules = Rules::default().load().rulebase;
        let phone = Unit {
            kind: "phone".into(),
            ..Unit::default()
        };
        let imaging = ["imaging".to_owned()];
        let mut model = compile(&rules, &phone, &[], Some(&imaging)).unwrap();
        let Found::One(line) = model.line("rear-camera/analogue") else {
            panic!("no line");
        };
        let ids: Vec<String> = model.isolations(line).into_iter().map(|t| t.id).collect();
        let lift = "rear-camera/analogue-lift-ferrite-out".to_owned();
        assert!(ids.contains(&lift), "{ids:?}");
        let before = model.tests.next_key();
        // By the end of its name, as any other test; the front camera has one too.
        model.take_isolation("analogue-lift-ferrite-out");
        assert_eq!(model.tests.next_key(), before);
        model.take_isolation(&lift);
        let test = &model.tests[before];
        assert_eq!(test.measures.unwrap().probing.mode, MeterMode::Ohms);
        assert!(test.outcomes.len() >= 2);
        // Soldering takes longer than reading, and it burns.
        let plain = model
            .tests
            .iter()
            .find(|t| t.id == "rear-camera/analogue-ohms");
        let plain = plain.unwrap();
        assert!(test.step.minutes > plain.step.minutes + 5.0);
        let burns = |t: &crate::model::TestInfo| {
            let cautions = &model.bench.cautions;
            t.step.cautions.iter().any(|c| cautions[*c].id == "hot-air")
        };
        assert!(burns(test) && !burns(plain));
    }
}
