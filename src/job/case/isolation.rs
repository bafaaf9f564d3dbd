//! Suspects that read alike at every offered point of a line, and what tells them
//! apart: tests that follow from the circuit of the line.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Case;
use crate::belief::{FaultId, Finding, likelier};
use crate::model::{LineId, Taken, TestInfo};
use crate::plan::TestId;

/// Both suspects have at least this probability, else one of them is not worth a
/// lifted part. Common practice, no source.
const WORTH: f64 = 0.1;
/// Total variation between what two suspects read, below which they read alike:
/// who knows that it is one of the two then names the right one in 6 of 10 jobs.
const ALIKE: f64 = 0.2;
/// The same from which a test tells them apart.
const APART: f64 = 0.3;
/// So many such tests are offered.
const OFFERED: usize = 3;

/// Two suspects that the offered points of a line do not tell apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Alike {
    /// The line, by index.
    pub line: LineId,
    /// The two.
    pub suspects: [FaultId; 2],
    /// The tests that do, with the total variation between the two; the
    /// cheapest for what it tells first.
    pub tests: Vec<(TestId, f64)>,
}

/// Total variation between what two faults make a test show.
fn variation(finding: &Finding, outcomes: usize, [f, g]: [FaultId; 2]) -> f64 {
    let off = |k: usize| finding.likelihood(k, &[f]) - finding.likelihood(k, &[g]);
    0.5 * (0..outcomes).map(|k| off(k).abs()).sum::<f64>()
}

impl Case {
    /// Offers what tells the two leading suspects apart where no offered point of a
    /// line that was read does.
    pub(in crate::job) fn isolate(&mut self) {
        let mut order: Vec<FaultId> = self.belief.faults.keys().collect();
        order.sort_by(|a, b| likelier(self.belief.faults[*a], self.belief.faults[*b]));
        let &[f, g, ..] = order.as_slice() else {
            return;
        };
        let two = [f, g];
        if two.iter().any(|f| self.belief.faults[*f] < WORTH) {
            return;
        }
        for line in self.model.lines.keys() {
            let has = |f: &FaultId| self.model.lines[line].faults.iter().any(|x| x.1 == *f);
            if !two.iter().all(has) {
                continue;
            }
            let taken = self.standing(line);
            if !taken.is_empty() && self.reads_alike(line, &taken, two) {
                self.offer(line, &taken, two);
                return;
            }
        }
    }

    /// Total variation between two suspects in a test of a line.
    fn tells(&self, t: &TestInfo, taken: &[Taken], two: [FaultId; 2]) -> f64 {
        let foretold = self.model.foretold_of(t, taken, &self.belief.faults);
        foretold.map_or(0.0, |f| variation(&f.finding, f.ranges.len(), two))
    }

    fn reads_alike(&self, line: LineId, taken: &[Taken], two: [FaultId; 2]) -> bool {
        let tests = self.model.tests.iter_enumerated();
        let mut open = tests.filter(|(i, t)| {
            let here = t.measures.is_some_and(|m| m.line == line);
            here && !self.blocked(*i) && !self.done(*i)
        });
        open.all(|(_, t)| self.tells(t, taken, two) < ALIKE)
    }

    fn offer(&mut self, line: LineId, taken: &[Taken], two: [FaultId; 2]) {
        let derived = self.model.isolating(line).into_iter();
        let mut all: Vec<(TestInfo, f64)> = derived
            .map(|t| {
                let tells = self.tells(&t, taken, two);
                (t, tells)
            })
            .filter(|x| x.1 >= APART)
            .collect();
        let worth = |(t, tells): &(TestInfo, f64)| {
            let there = self.model.bench.reach(self.state, &t.step.conditions);
            tells / (t.step.minutes + there.minutes).max(0.1)
        };
        all.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
        all.truncate(OFFERED);
        if all.is_empty() {
            return;
        }
        let mut tests = Vec::new();
        for (t, tells) in all {
            tests.push((self.ledger.offer(t), tells));
        }
        self.alike = Some(Alike {
            line,
            suspects: two,
            tests,
        });
    }

    /// Two suspects that read alike at every offered point, with the tests that tell
    /// them apart; `None` if there are none.
    pub fn alike(&self) -> Option<&Alike> {
        self.alike.as_ref()
    }
}

/// What tells suspects apart that read alike, as it is shown.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlikeView {
    /// The two suspects, by name.
    pub suspects: Vec<String>,
    /// What is said of them, in a sentence.
    pub says: String,
    /// The tests that tell them apart, the cheapest for what it tells first.
    pub tests: Vec<IsolationView>,
}

/// A test that follows from the circuit of a line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct IsolationView {
    /// The test.
    pub test: String,
    /// The question.
    pub text: String,
    /// Minutes, bench conditions included.
    pub minutes: f64,
    /// Cautions, the text of each.
    pub cautions: Vec<String>,
    /// How far apart the two read, as total variation, 0 to 1.
    pub tells: f64,
}

/// What tells the leading suspects of a line apart, by its index.
pub(in crate::job) fn alike_view(case: &Case, line: LineId) -> Option<AlikeView> {
    let alike = case.alike().filter(|a| a.line == line)?;
    let m = &case.model;
    let name = |f: FaultId| m.faults[f].name.clone();
    let suspects = alike.suspects.map(name).to_vec();
    let test = |(i, tells): &(TestId, f64)| {
        let t = &m.tests[*i];
        let cautions = t.step.cautions.iter();
        let there = m.bench.reach(case.state, &t.step.conditions);
        IsolationView {
            test: t.id.clone(),
            text: t.ask.clone(),
            minutes: t.step.minutes + there.minutes,
            cautions: cautions
                .map(|c| m.bench.cautions[*c].text.clone())
                .collect(),
            tells: *tells,
        }
    };
    Some(AlikeView {
        says: format!(
            "At every point that is offered {} reads like {}. Power off and battery disconnected, \
             these tell them apart:",
            suspects[0], suspects[1]
        ),
        suspects,
        tests: alike.tests.iter().map(test).collect(),
    })
}
