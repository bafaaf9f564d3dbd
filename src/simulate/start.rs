//! Where the jobs of one complaint begin: the device as the rules have it, what
//! may be wrong with it, and what can be done.

use std::sync::{Arc, PoisonError, RwLock};

use rustc_hash::FxHashMap;
use typed_index_collections::{TiSlice, TiVec};

use super::luck::named;
use crate::belief::candidates::{Candidate, Outlook};
use crate::belief::{Change, FaultId, ItemId};
use crate::bench::{BenchState, Gates, Moves};
use crate::job::{
    Case, CaseError, CaseFile, Settings, plan_remedy, plan_test, proof, turns_in_words,
};
use crate::model::{FunctionId, LineId, Model, Read, Taken, TestInfo};
use crate::plan::{Costs, Effort, PlanRemedy, PlanTest, RemedyId, Situation, TestId};
use crate::rulebase::Rulebase;

/// Readings of a line in the words of their tests: each a test and an outcome,
/// by index.
pub(super) type Words = Vec<(TestId, usize)>;

/// What a test may read next, by what was read before.
type Outlooks = RwLock<FxHashMap<Words, Arc<Outlook>>>;

/// A test as the simulated bench does it.
#[derive(Debug)]
pub(super) struct Probe {
    /// As foretold before it is done.
    pub(super) plan: PlanTest,
    /// What is seen while it is done, with what it does to the device done.
    pub(super) during: Option<Outlook>,
    /// Its name for chance.
    pub(super) name: u64,
    /// The faults that its result tells of, in order.
    pub(super) sees: Vec<FaultId>,
}

/// What can be done.
#[derive(Debug)]
pub(super) struct Able {
    pub(super) tests: TiVec<TestId, bool>,
    pub(super) remedies: TiVec<RemedyId, bool>,
}

/// Jobs of one complaint about one device.
#[derive(Debug)]
pub struct Start {
    /// The job at intake.
    pub file: CaseFile,
    /// The device under the rules.
    pub model: Model,
    /// Symptoms of the complaint, by index.
    pub symptoms: Vec<usize>,
    /// Sets of faults with their probability, likeliest first.
    pub worlds: Vec<(Candidate, f64)>,
    /// Upper bound on the probability of sets that are not among them.
    pub left_out: f64,
    /// What counts as cost.
    pub costs: Costs,
    pub(super) state: BenchState,
    pub(super) moves: Moves,
    pub(super) tests: TiVec<TestId, Probe>,
    pub(super) remedies: TiVec<RemedyId, PlanRemedy>,
    /// What the shop can do of them.
    pub(super) able: Able,
    pub(super) remedy_names: TiVec<RemedyId, u64>,
    pub(super) retest: Option<PlanTest>,
    /// By fault, the remedies that clear it, with the chance.
    pub(super) cures: TiVec<FaultId, Vec<(RemedyId, f64)>>,
    complained: Vec<FunctionId>,
    /// By function, the test that proves it.
    proofs: TiVec<FunctionId, Option<TestId>>,
    /// By function, those that it contains.
    contains: TiVec<FunctionId, TiVec<FunctionId, bool>>,
    /// By test.
    outlooks: TiVec<TestId, Outlooks>,
}

/// The faults that the result of a test tells of, in order, each once.
fn sees(test: &TestInfo) -> Vec<FaultId> {
    let mut all: Vec<FaultId> = test.sees().collect();
    all.sort_unstable();
    all.dedup();
    all
}

impl Start {
    /// Works out where a job begins; entries that it has do not count.
    ///
    /// # Errors
    /// If the device or the complaint does not fit the rules.
    pub fn new(rules: &Rulebase, file: &CaseFile, settings: Settings) -> Result<Start, CaseError> {
        let file = CaseFile {
            steps: Vec::new(),
            ..file.clone()
        };
        // The bench answers in words, so words are what is foretold.
        let settings = Settings {
            effort: Effort::FIRST,
            ..settings
        };
        let case = Case::new(rules, &file, settings)?;
        let s = case.situation();
        let n = s.faults;
        let (moves, state, costs) = (s.moves.clone(), s.state, s.costs);
        let retest = s.retest.cloned();
        // What the shop is without has its place all the same.
        let able = Able {
            tests: s.tests.iter().map(Option::is_some).collect(),
            remedies: s.remedies.iter().map(Option::is_some).collect(),
        };
        let m = &case.model;
        let plan = |(i, t): (TestId, &TestInfo)| {
            let plan = plan_test(m, t, &t.foretold, &[]);
            match turns_in_words(m, i, &case.belief) {
                Some(turns) => PlanTest { turns, ..plan },
                None => plan,
            }
        };
        let plans: Vec<PlanTest> = m.tests.iter_enumerated().map(plan).collect();
        let remedies = m.remedies.iter().map(|r| plan_remedy(m, r, 0));
        let remedies: TiVec<RemedyId, PlanRemedy> = remedies.collect();
        let (model, symptoms, belief) = case.into_parts();
        let mut worlds = belief.candidates;
        if worlds.is_empty() {
            worlds.push((Candidate::EMPTY, 1.0));
        }
        let left_out = belief.candidates_left_out;
        let tests = plans.into_iter().zip(&model.tests).map(|(plan, t)| Probe {
            during: (t.before.is_some()).then(|| Outlook::new(n, &t.finding)),
            plan,
            name: named(&t.id),
            sees: sees(t),
        });
        let mut cures = TiVec::from(vec![Vec::new(); n]);
        for (r, info) in model.remedies.iter_enumerated() {
            for (f, take) in info.change.clears.iter().filter(|c| c.1 > 0.0) {
                cures[*f].push((r, *take));
            }
        }
        let outlooks = model.tests.iter().map(|_| Outlooks::default()).collect();
        let functions = || model.functions.keys();
        Ok(Start {
            tests: tests.collect(),
            remedy_names: model.remedies.iter().map(|r| named(&r.id)).collect(),
            complained: proof::complained(&model, &symptoms),
            proofs: functions()
                .map(|f| proof::of(&model, f, |t| !able.tests[t]))
                .collect(),
            contains: functions()
                .map(|big| {
                    functions()
                        .map(|small| proof::contains(&model, big, small))
                        .collect()
                })
                .collect(),
            file,
            model,
            symptoms,
            worlds,
            left_out,
            costs,
            state,
            moves,
            remedies,
            able,
            retest,
            cures,
            outlooks,
        })
    }

    /// What the planner works on; retests are no matter of its.
    pub(super) fn situation<'a>(
        &'a self,
        worlds: &'a [(Candidate, f64)],
        tests: &'a TiSlice<TestId, Option<PlanTest>>,
        remedies: &'a TiSlice<RemedyId, Option<PlanRemedy>>,
        state: BenchState,
    ) -> Situation<'a> {
        Situation {
            faults: self.faults(),
            candidates: worlds,
            tests,
            remedies,
            retest: self.retest.as_ref(),
            due: &[],
            so_far: 0.0,
            moves: &self.moves,
            state,
            costs: self.costs,
        }
    }

    /// The check of a gate that is up, where it was not done since something was
    /// last done about the hazard.
    pub(super) fn check_due(
        &self,
        state: BenchState,
        done: &TiSlice<TestId, bool>,
    ) -> Option<TestId> {
        let mut tests = self.model.tests.iter_enumerated();
        tests.find_map(|(t, info)| {
            let due = state.gates().has(info.checks?) && !done[t] && self.able.tests[t];
            due.then_some(t)
        })
    }

    /// What the check of a hazard shows whatever is wrong: the hazard, where a sign
    /// of it was `signs`, seen on this device, and no hazard where nothing that can
    /// be wrong makes one. Otherwise it shows what is wrong, as any look does.
    pub(super) fn sure(&self, test: TestId, signs: Gates) -> Option<usize> {
        let info = &self.model.tests[test];
        let gate = info.checks?;
        match signs.has(gate) {
            true => Some(1),
            false => info.finding.sees().next().is_none().then_some(0),
        }
    }

    /// Whether a gate that is up bars a test.
    pub(super) fn bars_test(&self, state: BenchState, test: TestId) -> bool {
        !state.bars(self.tests[test].plan.conditions).is_empty()
    }

    /// Whether a gate that is up bars a remedy.
    pub(super) fn bars_remedy(&self, state: BenchState, remedy: RemedyId) -> bool {
        !state.bars(self.remedies[remedy].conditions).is_empty()
    }

    /// How many faults the device can have.
    pub fn faults(&self) -> usize {
        self.model.network.len()
    }

    /// Tests that have to pass after these remedies.
    pub(super) fn due(&self, done: &[RemedyId]) -> Vec<TestId> {
        let items = done.iter().flat_map(|r| proof::worked_on(&self.model, *r));
        let worked: Vec<ItemId> = items.collect();
        let functions = proof::due(
            &self.model,
            &self.complained,
            &worked,
            |f| self.proofs[f].is_some(),
            |big, small| self.contains[big][small],
        );
        let mut due: Vec<TestId> = functions.iter().filter_map(|f| self.proofs[*f]).collect();
        due.dedup();
        due
    }

    /// Lets go of what was worked out on the way.
    pub(super) fn forget(&self) {
        for of_test in &self.outlooks {
            *of_test.write().unwrap_or_else(PoisonError::into_inner) = FxHashMap::default();
        }
    }

    /// The line that a test measures.
    pub(super) fn line(&self, test: TestId) -> Option<LineId> {
        self.model.tests[test].measures.map(|m| m.line)
    }

    /// What a test is going to show where these words were read on its line.
    pub(super) fn outlook(&self, test: TestId, words: Option<&Words>) -> Arc<Outlook> {
        let plain = &self.tests[test].plan.outlook;
        let Some(words) = words.filter(|w| !w.is_empty()) else {
            return plain.clone();
        };
        let of_test = &self.outlooks[test];
        let known = of_test.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(outlook) = known.get(words) {
            return outlook.clone();
        }
        // Not held while one is worked out: others may be at work on theirs.
        drop(known);
        let m = &self.model;
        let taken = (words.iter()).filter_map(|(t, o)| m.taken(&m.tests[*t], Read::Word(*o)));
        let taken: Vec<Taken> = taken.collect();
        let outlook = match m.foretold_in_words(&m.tests[test], &taken) {
            None => plain.clone(),
            Some(finding) => Arc::new(Outlook::new(self.faults(), &Arc::new(finding))),
        };
        let mut all = of_test.write().unwrap_or_else(PoisonError::into_inner);
        all.entry(words.clone()).or_insert(outlook).clone()
    }
}

/// What was read on each line since something was last done about its faults.
#[derive(Clone, Debug, Default)]
pub(super) struct Lines(Vec<(LineId, Words)>);

impl Lines {
    pub(super) fn of(&self, line: Option<LineId>) -> Option<&Words> {
        let line = line?;
        self.0.iter().find(|l| l.0 == line).map(|l| &l.1)
    }

    /// A reading was taken.
    pub(super) fn read(&mut self, start: &Start, test: TestId, outcome: usize) {
        let Some(line) = start.line(test) else { return };
        let at = self.0.iter().position(|l| l.0 == line);
        let at = at.unwrap_or_else(|| {
            self.0.push((line, Words::new()));
            self.0.len() - 1
        });
        // In whatever order they were taken, they say the same.
        let words = &mut self.0[at].1;
        let place = words.partition_point(|w| *w < (test, outcome));
        words.insert(place, (test, outcome));
    }

    /// Something was done to the device.
    pub(super) fn changed(&mut self, start: &Start, change: &Change) {
        self.0.retain(|(line, _)| {
            let faults = &start.model.lines[*line].faults;
            !faults.iter().any(|f| change.touches(f.1))
        });
    }
}
