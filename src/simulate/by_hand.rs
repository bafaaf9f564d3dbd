//! One hidden case that is worked by hand: somebody else chooses each step, and
//! the simulated bench answers.

use typed_index_collections::TiVec;

use super::known::Known;
use super::luck::Luck;
use super::policy::{Can, Policy};
use super::start::Start;
use super::walk::{AFTER, BEFORE, Hidden, SHOWS, TAKES, becomes, happens};
use crate::belief::candidates::{Candidate, Outlook};
use crate::belief::{Change, FaultId};
use crate::bench::{BenchState, Move};
use crate::plan::{Act, Foretold, RemedyId, TestId, foretell};

/// What chance may do to a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chance {
    /// Nothing: tests come out as they do most often, remedies take, and what is
    /// rare does not happen.
    Steady,
    /// What the rules say, misreadings among it.
    AsRuled,
}

/// From this chance on a thing happens where chance has no say.
const MOSTLY: f64 = 0.5;

/// A hidden case with what was done to it.
#[derive(Clone, Debug)]
pub struct ByHand<'a> {
    start: &'a Start,
    chance: Chance,
    luck: Luck,
    now: Candidate,
    known: Known,
    /// What was seen and done, tests with their outcome; a result that a repeat
    /// has taken the place of is not among it.
    past: Vec<(Act, usize)>,
    /// How often each test was done.
    tested: TiVec<TestId, u64>,
    /// How often each remedy was done.
    mended: TiVec<RemedyId, u64>,
    minutes: f64,
    parts: f64,
}

impl<'a> ByHand<'a> {
    /// A hidden case before its first step.
    pub fn new(start: &'a Start, hidden: &Hidden, chance: Chance) -> Self {
        ByHand {
            chance,
            luck: hidden.luck,
            now: hidden.faults,
            known: Known::new(start),
            past: Vec::new(),
            tested: vec![0; start.tests.len()].into(),
            mended: vec![0; start.remedies.len()].into(),
            minutes: 0.0,
            parts: 0.0,
            start,
        }
    }

    /// How the device stands.
    pub fn state(&self) -> BenchState {
        self.known.state
    }

    /// Minutes at the bench so far.
    pub fn minutes(&self) -> f64 {
        self.minutes
    }

    /// Cost of parts so far, in currency.
    pub fn parts(&self) -> f64 {
        self.parts
    }

    /// What is wrong with it now.
    pub fn left(&self) -> Candidate {
        self.now
    }

    /// The loss in currency if it went back now: none where nothing is left.
    pub fn loss(&self) -> f64 {
        match self.now.is_empty() {
            true => 0.0,
            false => self.start.costs.give_up,
        }
    }

    /// Time, parts and loss if it went back now, in currency.
    pub fn cost(&self) -> f64 {
        self.start.costs.of(self.minutes, self.parts) + self.loss()
    }

    /// Probability of each fault, by what was seen.
    pub fn probabilities(&self) -> TiVec<FaultId, f64> {
        self.known.faults(self.start)
    }

    /// Whether a test's last result still holds.
    pub fn holds(&self, test: TestId) -> bool {
        self.known.done[test]
    }

    /// Tests that the last remedy still owes.
    pub fn due(&self) -> &[TestId] {
        &self.known.due
    }

    /// What a test is going to show.
    pub fn foretold(&self, test: TestId) -> Foretold {
        foretell(&self.known.worlds, &self.known.outlook(self.start, test))
    }

    /// What a test would show with these faults alone.
    pub fn shows_with(&self, test: TestId, faults: Candidate) -> Vec<f64> {
        let outlook = self.known.outlook(self.start, test);
        let mut p = vec![0.0; outlook.outcomes()];
        outlook.of(&faults, &mut p);
        p
    }

    /// Probability that a fault is there which a remedy may clear.
    pub fn helps(&self, remedy: RemedyId) -> f64 {
        let cures = |f: FaultId| self.start.cures[f].iter().any(|c| c.0 == remedy);
        let worlds = self.known.worlds.iter();
        let some = worlds.filter(|w| w.0.iter().any(cures));
        some.map(|w| w.1).sum()
    }

    /// What the advice is now; `None` if nothing is left to be done.
    pub fn advised(&self) -> Option<Act> {
        let all = Can::new(self.start, |_| true, |_| true);
        Policy::Advice.act(self.start, &self.known, &all, self.luck)
    }

    /// Brings the device into a state, which takes its minutes.
    pub fn bring(&mut self, change: &Move) {
        self.minutes += change.minutes;
        self.known.state = change.to;
    }

    /// Does a test as the rules say, the bench made ready for it; gives the
    /// outcome, by index. A repeat takes the place of a result that still holds.
    pub fn test(&mut self, test: TestId) -> usize {
        let start = self.start;
        let info = &start.model.tests[test];
        let state = self.known.state;
        if self.holds(test) {
            let at = self.past.iter().rposition(|p| p.0 == Act::Test(test));
            at.map(|at| self.past.remove(at));
            self.know_again();
            self.known.state = state;
        }
        let plan = &start.tests[test].plan;
        self.minutes += plan.minutes + start.moves.reach(state, plan.conditions).1;
        let foretold = self.known.outlook(start, test);
        let outlook = start.tests[test].during.as_ref().unwrap_or(&foretold);
        let luck = self.luck.of(start.tests[test].name).of(self.tested[test]);
        self.tested[test] += 1;
        if let Some(change) = &info.before {
            self.now = self.comes(change, luck.of(BEFORE));
        }
        let outcome = match start.sure(test, self.known.signs) {
            Some(outcome) => outcome,
            None => self.shows(outlook, luck.of(SHOWS)),
        };
        if let Some(change) = &info.after {
            self.now = self.comes(change, luck.of(AFTER));
        }
        self.know(Act::Test(test), outcome);
        self.past.push((Act::Test(test), outcome));
        outcome
    }

    /// Does a remedy as the rules say, the bench made ready for it.
    pub fn mend(&mut self, remedy: RemedyId) {
        let start = self.start;
        let step = &start.remedies[remedy];
        let moving = start.moves.reach(self.known.state, step.conditions).1;
        self.minutes += step.minutes + moving;
        self.parts += step.parts;
        let luck = self.luck.of(start.remedy_names[remedy]);
        let luck = luck.of(self.mended[remedy]);
        let change = &start.model.remedies[remedy].change;
        let change = change.again(self.mended[remedy] as usize);
        self.mended[remedy] += 1;
        self.now = self.comes(&change, luck);
        self.know(Act::Remedy(remedy), 0);
        self.past.push((Act::Remedy(remedy), 0));
    }

    /// What chance lets a test show.
    fn shows(&self, outlook: &Outlook, luck: Luck) -> usize {
        let mut p = vec![0.0; outlook.outcomes()];
        outlook.of(&self.now, &mut p);
        match self.chance {
            Chance::AsRuled => luck.weighed(p.iter().copied()),
            Chance::Steady => likeliest(&p),
        }
    }

    /// What chance lets a change make of the device.
    fn comes(&self, change: &Change, luck: Luck) -> Candidate {
        match self.chance {
            Chance::AsRuled => happens(self.now, change, luck),
            Chance::Steady => becomes(self.now, change, |_, chance, of| {
                chance
                    >= if of == TAKES {
                        f64::MIN_POSITIVE
                    } else {
                        MOSTLY
                    }
            }),
        }
    }

    /// Takes up what was seen or done.
    fn know(&mut self, act: Act, outcome: usize) {
        let start = self.start;
        let test = match act {
            Act::Remedy(remedy) => return self.known.remedied(start, remedy),
            Act::Test(test) => test,
        };
        let mut due = std::mem::take(&mut self.known.due);
        let mut wanted = vec![false; start.model.tests[test].outcomes.len()];
        wanted[outcome] = true;
        let then = self.known.tested(start, test, &wanted).swap_remove(outcome);
        self.known = then.unwrap_or_else(|| self.known.unclear(start, test));
        // A retest that fails leaves the others for later.
        if due.contains(&test) {
            match outcome {
                0 => due.retain(|t| *t != test),
                _ => due.clear(),
            }
        }
        self.known.due = due;
    }

    /// Works out anew what is known.
    fn know_again(&mut self) {
        self.known = Known::new(self.start);
        for (act, outcome) in self.past.clone() {
            self.know(act, outcome);
        }
    }
}

impl Start {
    /// Whether what is complained of is seen by the test that proves it more
    /// often than not, with these faults.
    pub fn shows_itself(&self, faults: Candidate) -> bool {
        self.due(&[]).into_iter().all(|test| {
            let outlook = &self.tests[test].plan.outlook;
            let mut p = vec![0.0; outlook.outcomes()];
            outlook.of(&faults, &mut p);
            likeliest(&p) != 0
        })
    }
}

/// The greatest of some chances, the first of equal ones.
fn likeliest(p: &[f64]) -> usize {
    let by_chance = |a: &usize, b: &usize| p[*a].total_cmp(&p[*b]).then(b.cmp(a));
    (0..p.len()).max_by(by_chance).unwrap_or(0)
}
