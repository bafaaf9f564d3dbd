//! Hidden cases walked to their end.
//!
//! A way of working depends on nothing but what was seen. So all cases with the
//! same history are one group: what is known and what is done next is worked out
//! once, the group parts by what each case shows, and the parts go on by
//! themselves, on as many cores as there are.

use rayon::prelude::*;
use typed_index_collections::TiVec;

use super::known::Known;
use super::luck::Luck;
use super::policy::{Can, Policy};
use super::start::{Lines, Start};
use crate::belief::candidates::Candidate;
use crate::belief::{Change, FaultId};
use crate::bench::BenchState;
use crate::plan::{Act, RemedyId, TestId};

/// Steps after which a job is given up, whatever is known: no way of working
/// should come near.
const STEPS: usize = 300;

/// A hidden case before its first step.
#[derive(Clone, Copy, Debug)]
pub struct Hidden {
    /// Its number.
    pub case: u64,
    /// Its luck.
    pub luck: Luck,
    /// What is wrong with it.
    pub faults: Candidate,
}

/// How a case ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// Handed back as well.
    AsWell,
    /// Handed back as it was: nothing likely to help was left to do.
    GivenUp,
}

/// What was done at a step, with what it showed; a remedy shows nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Done {
    /// The step, by index in the rules that hide the case.
    pub act: Act,
    /// The outcome, by index.
    pub outcome: usize,
}

/// Suspects that were shown in one tenth of probability, over all steps of a
/// case.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Looks {
    /// How many.
    pub shown: u32,
    /// How many of them were true.
    pub there: u32,
    /// Sum of what was shown.
    pub sum: f64,
}

/// From this probability on a suspect counts as shown.
pub const SHOWN: f64 = 0.01;

/// A case that was walked to its end.
#[derive(Clone, Debug)]
pub struct Record {
    /// Its number.
    pub case: u64,
    /// What was wrong with it.
    pub faults: Candidate,
    /// What still is.
    pub left: Candidate,
    /// How it ended.
    pub ended: Ended,
    /// What was done.
    pub steps: Vec<Done>,
    /// Minutes at the bench.
    pub minutes: f64,
    /// Cost of parts.
    pub parts: f64,
    /// Remedies with parts that were for nothing that was wrong.
    pub wrong_parts: u32,
    /// Whether the first remedy was for something that was wrong; `None` if
    /// there was none.
    pub first: Option<bool>,
    /// What was shown by tenths of probability, if that was asked for.
    pub looks: Option<Box<[Looks; 10]>>,
}

/// Names of what chance decides.
const FAULTS: u64 = 1;
pub(super) const SHOWS: u64 = 2;
pub(super) const BEFORE: u64 = 3;
pub(super) const AFTER: u64 = 4;
pub(super) const TAKES: u64 = 5;
const BRINGS: u64 = 6;
const WAY: u64 = 7;

/// What may be wrong at intake, to draw from.
#[derive(Debug)]
pub struct Drawn<'a> {
    start: &'a Start,
    /// The sum of the weights up to each set.
    sums: Vec<f64>,
}

impl Start {
    /// What hidden cases are drawn from.
    pub fn draw(&self) -> Drawn<'_> {
        let mut sum = 0.0;
        let add = |w: &(Candidate, f64)| {
            sum += w.1;
            sum
        };
        Drawn {
            sums: self.worlds.iter().map(add).collect(),
            start: self,
        }
    }
}

impl Drawn<'_> {
    /// A hidden case.
    pub fn hide(&self, case: u64, luck: Luck) -> Hidden {
        let total = self.sums.last().copied().unwrap_or(0.0);
        let number = luck.of(FAULTS).number() * total;
        let at = self.sums.partition_point(|s| *s <= number);
        let faults = self.start.worlds[at.min(self.sums.len() - 1)].0;
        Hidden { case, luck, faults }
    }
}

/// Names of one set of rules found in another: where hidden cases are of other
/// rules than those that are believed.
#[derive(Debug)]
pub(super) struct Same {
    /// By believed test, the true one.
    tests: TiVec<TestId, Option<TestId>>,
    /// By true test and outcome, the believed outcome.
    outcomes: TiVec<TestId, Vec<Option<usize>>>,
    /// By believed remedy, the true one.
    remedies: TiVec<RemedyId, Option<RemedyId>>,
    /// By true fault, the believed one.
    faults: TiVec<FaultId, Option<FaultId>>,
}

impl Same {
    pub(super) fn new(truth: &Start, mind: &Start) -> Self {
        let (t, m) = (&truth.model, &mind.model);
        let tests: TiVec<TestId, Option<TestId>> = (m.tests.iter())
            .map(|a| t.tests.position(|b| b.id == a.id))
            .collect();
        let mut outcomes: TiVec<TestId, _> = vec![Vec::new(); t.tests.len()].into();
        for (believed, at) in tests.iter_enumerated() {
            let Some(at) = at else { continue };
            let all = &m.tests[believed].outcomes;
            outcomes[*at] = (t.tests[*at].outcomes.iter())
                .map(|o| all.iter().position(|b| b.id == o.id))
                .collect();
        }
        Same {
            tests,
            outcomes,
            remedies: (m.remedies.iter())
                .map(|a| t.remedies.position(|b| b.id == a.id))
                .collect(),
            faults: (t.faults.iter())
                .map(|a| m.faults.position(|b| b.id == a.id))
                .collect(),
        }
    }

    /// What can be done: some tests and remedies are in the rules of one only.
    pub(super) fn can<'a>(&self, mind: &'a Start) -> Can<'a> {
        let test = |t: TestId| self.tests[t].is_some();
        Can::new(mind, test, |r| self.remedies[r].is_some())
    }
}

/// A way of working on the cases of a start.
pub(super) struct Walk<'a> {
    /// What is true.
    pub(super) truth: &'a Start,
    /// What is believed.
    pub(super) mind: &'a Start,
    pub(super) same: &'a Same,
    pub(super) can: &'a Can<'a>,
    pub(super) policy: &'a Policy,
    /// Whether to keep what was shown.
    pub(super) looks: bool,
    /// Is told how many cases have come to their end.
    pub(super) ended: &'a (dyn Fn(u64) + Sync),
}

/// Cases with the same history.
struct Group {
    known: Known,
    /// How the device stands, and what was read, for the true rules.
    state: BenchState,
    lines: Lines,
    /// By true test, how often it was done; remedies after the tests.
    times: Vec<u16>,
    way: Luck,
    steps: usize,
    cases: Vec<Walked>,
}

/// A case on its way.
struct Walked {
    luck: Luck,
    now: Candidate,
    record: Record,
}

impl Walk<'_> {
    /// Walks cases to their end; in the order of their numbers.
    pub(super) fn run(&self, hidden: &[Hidden], way: Luck) -> Vec<Record> {
        let begin = |h: &Hidden| Walked {
            luck: h.luck,
            now: h.faults,
            record: Record {
                case: h.case,
                faults: h.faults,
                left: h.faults,
                ended: Ended::GivenUp,
                steps: Vec::new(),
                minutes: 0.0,
                parts: 0.0,
                wrong_parts: 0,
                first: None,
                looks: self.looks.then(Box::default),
            },
        };
        let mut records = self.walk(Group {
            known: Known::new(self.mind),
            state: self.truth.state,
            lines: Lines::default(),
            times: vec![0; self.truth.tests.len() + self.truth.remedies.len()],
            way: way.of(WAY),
            steps: 0,
            cases: hidden.iter().map(begin).collect(),
        });
        records.sort_by_key(|r| r.case);
        records
    }

    fn walk(&self, mut group: Group) -> Vec<Record> {
        loop {
            if group.cases.is_empty() {
                return Vec::new();
            }
            if self.looks {
                self.look(&mut group);
            }
            let act = match group.steps >= STEPS {
                true => None,
                false => (self.policy).act(self.mind, &group.known, self.can, group.way),
            };
            group.steps += 1;
            match act {
                None => return self.end(group),
                Some(Act::Remedy(remedy)) => self.mend(&mut group, remedy),
                Some(Act::Test(test)) => {
                    let mut groups = self.test(group, test);
                    match groups.len() {
                        1 => group = groups.swap_remove(0),
                        _ => {
                            let walked = groups.into_par_iter().map(|g| self.walk(g));
                            return walked.flatten_iter().collect();
                        }
                    }
                }
            }
        }
    }

    /// Keeps what is shown.
    fn look(&self, group: &mut Group) {
        let mut of = TiVec::from(vec![None; self.mind.faults()]);
        for (truth, mind) in self.same.faults.iter_enumerated() {
            if let Some(mind) = mind {
                of[*mind] = Some(truth);
            }
        }
        let p = group.known.faults(self.mind);
        let shown: Vec<(usize, Option<FaultId>, f64)> = (p.iter().zip(of))
            .filter(|(p, _)| **p >= SHOWN)
            .map(|(p, truth)| (((p * 10.0) as usize).min(9), truth, *p))
            .collect();
        for case in &mut group.cases {
            let Some(looks) = &mut case.record.looks else {
                continue;
            };
            for (tenth, fault, p) in &shown {
                let tenth = &mut looks[*tenth];
                tenth.shown += 1;
                tenth.sum += p;
                tenth.there += u32::from(fault.is_some_and(|f| case.now.has(f)));
            }
        }
    }

    /// The device goes back.
    fn end(&self, group: Group) -> Vec<Record> {
        let well = group.known.nothing() >= super::policy::WELL;
        (self.ended)(group.cases.len() as u64);
        let each = group.cases.into_iter().map(|c| Record {
            left: c.now,
            ended: match well {
                true => Ended::AsWell,
                false => Ended::GivenUp,
            },
            ..c.record
        });
        each.collect()
    }

    fn mend(&self, group: &mut Group, believed: RemedyId) {
        let truth = self.truth;
        let Some(remedy) = self.same.remedies[believed] else {
            return;
        };
        let step = &truth.remedies[remedy];
        let (state, moving) = truth.moves.reach(group.state, step.conditions);
        group.state = state;
        group.known.remedied(self.mind, believed);
        let time = group.done(truth.tests.len() + remedy.0);
        let change = &truth.model.remedies[remedy].change.again(time as usize);
        group.lines.changed(truth, change);
        for case in &mut group.cases {
            let r = &mut case.record;
            let due = case.now.iter().any(|f| cures(truth, f, remedy));
            r.first.get_or_insert(due);
            r.wrong_parts += u32::from(step.parts > 0.0 && !due);
            r.minutes += step.minutes + moving;
            r.parts += step.parts;
            r.steps.push(Done {
                act: Act::Remedy(remedy),
                outcome: 0,
            });
            let luck = case.luck.of(truth.remedy_names[remedy]).of(time);
            case.now = happens(case.now, change, luck);
        }
    }

    /// A test parts a group by what each case shows.
    fn test(&self, mut group: Group, believed: TestId) -> Vec<Group> {
        let truth = self.truth;
        let Some(test) = self.same.tests[believed] else {
            return vec![group];
        };
        let info = &truth.model.tests[test];
        let foretold = truth.outlook(test, group.lines.of(truth.line(test)));
        let outlook = truth.tests[test].during.as_ref();
        let outlook = outlook.unwrap_or(&foretold);
        let plan = &truth.tests[test].plan;
        let (state, moving) = truth.moves.reach(group.state, plan.conditions);
        let minutes = plan.minutes + moving;
        if let Some(change) = &info.before {
            group.lines.changed(truth, change);
        }
        let time = group.done(test.0);
        let mut parts: Vec<Vec<Walked>> = Vec::new();
        parts.resize_with(outlook.outcomes(), Vec::new);
        let mut p = vec![0.0; parts.len()];
        let sure = truth.sure(test, group.known.signs);
        for mut case in std::mem::take(&mut group.cases) {
            let luck = case.luck.of(truth.tests[test].name).of(time);
            if let Some(change) = &info.before {
                case.now = happens(case.now, change, luck.of(BEFORE));
            }
            outlook.of(&case.now, &mut p);
            let outcome = match sure {
                Some(outcome) => outcome,
                None => luck.of(SHOWS).weighed(p.iter().copied()),
            };
            if let Some(change) = &info.after {
                case.now = happens(case.now, change, luck.of(AFTER));
            }
            case.record.minutes += minutes;
            case.record.steps.push(Done {
                act: Act::Test(test),
                outcome,
            });
            parts[outcome].push(case);
        }
        let believes = &self.same.outcomes[test];
        let mut wanted = vec![false; self.mind.model.tests[believed].outcomes.len()];
        for (outcome, _) in parts.iter().enumerate().filter(|p| !p.1.is_empty()) {
            if let Some(believed) = believes[outcome] {
                wanted[believed] = true;
            }
        }
        let due: Vec<TestId> = group.known.due.drain(..).collect();
        let mut known = group.known.tested(self.mind, believed, &wanted);
        let mut groups = Vec::new();
        for (outcome, cases) in parts.into_iter().enumerate() {
            if cases.is_empty() {
                continue;
            }
            // What is not believed possible tells nothing.
            let then = believes[outcome].and_then(|o| known[o].take());
            let mut then = then.unwrap_or_else(|| group.known.unclear(self.mind, believed));
            // A retest that fails leaves the others for later.
            if due.first() == Some(&believed) && info.passed(outcome) {
                then.due = due[1..].to_vec();
            }
            let mut lines = group.lines.clone();
            lines.read(truth, test, outcome);
            if let Some(change) = &info.after {
                lines.changed(truth, change);
            }
            groups.push(Group {
                known: then,
                state,
                lines,
                times: group.times.clone(),
                way: group.way.of(test.0 as u64).of(outcome as u64),
                steps: group.steps,
                cases,
            });
        }
        groups
    }
}

impl Group {
    /// Counts that a test or a remedy is done, and tells how often it was before.
    fn done(&mut self, place: usize) -> u64 {
        self.times[place] += 1;
        self.way = self.way.of(place as u64);
        u64::from(self.times[place] - 1)
    }
}

/// Whether a remedy may clear a fault.
fn cures(truth: &Start, fault: FaultId, remedy: RemedyId) -> bool {
    truth.cures[fault].iter().any(|c| c.0 == remedy)
}

/// What a change makes of a device: fault by fault, as chance has it.
pub(super) fn happens(now: Candidate, change: &Change, luck: Luck) -> Candidate {
    becomes(now, change, |f, chance, of| {
        luck.of(of).of(f.0 as u64).number() < chance
    })
}

/// The same where `takes` tells whether a fault is cleared or brought, of which
/// there is some chance.
pub(super) fn becomes(
    now: Candidate,
    change: &Change,
    takes: impl Fn(FaultId, f64, u64) -> bool,
) -> Candidate {
    let clears = |f: &FaultId| {
        let mut all = change.clears.iter();
        all.any(|(g, chance)| g == f && takes(*f, *chance, TAKES))
    };
    let mut faults: Vec<FaultId> = now.iter().filter(|f| !clears(f)).collect();
    for (f, chance) in &change.brings {
        if !faults.contains(f) && takes(*f, *chance, BRINGS) {
            faults.push(*f);
        }
    }
    // More than a set can hold is next to impossible.
    Candidate::new(&faults).unwrap_or(now)
}
