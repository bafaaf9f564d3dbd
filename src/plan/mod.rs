//! The next step: what to do now so that the whole repair is expected to cost
//! least.
//!
//! The measure is the expected cost of repair (Heckerman, Breese and Rommelse
//! 1995, "Decision-theoretic troubleshooting"): every test and remedy with the
//! changes of bench condition it needs, and the loss where a device goes back
//! unmended. Information per cost only picks which tests are worth the look;
//! [`search`] then looks ahead as far as the effort allows, and proves how near
//! to the cheapest plan it came.
//!
//! This module knows candidates, findings and costs; it knows nothing of rule
//! files, storage or screens.
mod bounds;
pub mod first;
mod gain;
mod layout;
mod leads;
pub mod problem;
pub mod search;
mod tree;
mod turn;

use std::sync::Arc;

use typed_index_collections::TiSlice;

use crate::belief::FaultId;
use crate::belief::candidates::{Candidate, Outlook};
use crate::bench::{BenchState, Moves, Turns};
use crate::index::index_of;
use layout::Layout;
use problem::{Price, Step};
use search::{Bounds, Found, Moment, Search};

pub use bounds::order_by_probability_over_cost;
pub use first::TIE;
pub use gain::{Foretold, foretell, foretell_all, surprise, weighed};
pub use leads::{Lead, leads};
pub use search::Effort;
pub use tree::{Branch, Extent, Mending, Node, Then, Tree, tree};
pub use turn::{Turn, turning_point};

index_of! {
    /// Index of a test of a device.
    TestId
}

index_of! {
    /// Index of a remedy of a device.
    RemedyId
}

/// What a shop counts as cost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// Shop currency for an hour at the bench.
    pub rate: f64,
    /// What it costs, in currency, when a job ends unmended.
    pub give_up: f64,
    /// What the repair may cost at most in work and parts, in currency, before
    /// the customer is asked; `None` if the customer did not say.
    pub limit: Option<f64>,
    /// Whether what a step may break counts [`CAREFUL`] times.
    pub careful: bool,
    /// Whether the customer waits: minutes count twice then, as the customer's
    /// time beside that at the bench.
    pub waiting: bool,
}

/// How many times what a step may break counts with who is careful.
pub const CAREFUL: f64 = 3.0;

impl Default for Costs {
    fn default() -> Self {
        Costs {
            rate: 60.0,
            give_up: 180.0,
            limit: None,
            careful: false,
            waiting: false,
        }
    }
}

impl Costs {
    /// What minutes and parts count, as one sum of currency.
    pub fn of(&self, minutes: f64, parts: f64) -> f64 {
        let waiting = if self.waiting { 2.0 } else { 1.0 };
        self.paid(minutes * waiting, parts)
    }

    /// What is paid for minutes and parts, in currency.
    pub fn paid(&self, minutes: f64, parts: f64) -> f64 {
        minutes * self.rate / 60.0 + parts
    }

    /// Both.
    fn price(&self, minutes: f64, parts: f64) -> Price {
        Price {
            counts: self.of(minutes, parts),
            paid: self.paid(minutes, parts),
        }
    }

    /// What it counts in currency that a step breaks something with some chance:
    /// as if the job then ended unmended.
    pub fn risk(&self, breaks: f64) -> f64 {
        let careful = if self.careful { CAREFUL } else { 1.0 };
        breaks * self.give_up * careful
    }
}

/// A test as the planner sees it.
#[derive(Clone, Debug)]
pub struct PlanTest {
    /// Its outcome as foretold before it is done.
    pub outlook: Arc<Outlook>,
    /// Minutes, bench conditions not counted.
    pub minutes: f64,
    /// Bench conditions, with all that they need, and the gates that bar it.
    pub conditions: BenchState,
    /// By outcome, what it does to gates; empty: nothing.
    pub turns: Vec<Turns>,
    /// Whether it needs neither an open device nor a tool.
    pub handy: bool,
    /// Tests that have to be done before it.
    pub after: Vec<TestId>,
}

/// A remedy as the planner sees it.
#[derive(Clone, Debug)]
pub struct PlanRemedy {
    /// Faults it clears, with the chance that it takes.
    pub clears: Vec<(FaultId, f64)>,
    /// Minutes, bench conditions not counted.
    pub minutes: f64,
    /// Cost of parts.
    pub parts: f64,
    /// Chance that it breaks something.
    pub breaks: f64,
    /// Bench conditions, with all that they need, and the gates that bar it.
    pub conditions: BenchState,
    /// Whether it needs neither an open device nor a tool.
    pub handy: bool,
}

/// Everything the planner needs to know.
#[derive(Clone, Copy, Debug)]
pub struct Situation<'a> {
    /// Number of faults of the network.
    pub faults: usize,
    /// Sets of faults with their probability, likeliest first.
    pub candidates: &'a [(Candidate, f64)],
    /// What can be done to learn; `None` where it cannot be done or has been.
    pub tests: &'a TiSlice<TestId, Option<PlanTest>>,
    /// What can be done to mend; `None` where it cannot be done.
    pub remedies: &'a TiSlice<RemedyId, Option<PlanRemedy>>,
    /// The test that shows whether a remedy mended the complaint.
    pub retest: Option<&'a PlanTest>,
    /// Tests that the last remedy still owes: they come first.
    pub due: &'a [TestId],
    /// What was paid so far in work and parts, in currency.
    pub so_far: f64,
    /// What changing bench conditions takes.
    pub moves: &'a Moves,
    /// What state the device is in.
    pub state: BenchState,
    /// What counts as cost.
    pub costs: Costs,
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// A test.
    Test(TestId),
    /// A remedy.
    Remedy(RemedyId),
}

/// One possible next step.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The step.
    pub act: Act,
    /// Minutes it takes now, with the changes of bench condition it needs.
    pub minutes: f64,
    /// Of these, minutes for the changes of bench condition.
    pub moving: f64,
    /// Cost of parts.
    pub parts: f64,
    /// Expected cost of the whole repair if this is done first, in currency,
    /// the loss of ending unmended included.
    pub expected: f64,
    /// What of that is expected to be paid from now on in work and parts.
    pub spent: f64,
    /// For a test: what it is expected to tell, in bits. Nought for a remedy.
    pub gain: f64,
    /// For a test: the probability of each outcome. For a remedy: that it
    /// mends all that is wrong.
    pub outcomes: Vec<f64>,
}

/// Why going on as before is not the advice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// Enough is known: no test pays for itself, do the remedy.
    EnoughKnown,
    /// Most likely nothing is wrong any more.
    NothingWrong,
    /// What was paid and what is expected to be pass the limit: ask the customer.
    TooDear {
        /// What was paid so far in work and parts, in currency.
        so_far: f64,
        /// What going on is expected to take, in currency.
        spent: f64,
        /// The limit, in currency.
        limit: f64,
    },
    /// Whatever is done costs more than that the device goes back as it is.
    NotWorthIt {
        /// What that is expected to count, in currency.
        loss: f64,
    },
    /// No test tells anything and no remedy is likely to help.
    NothingLeft,
}

/// The advice.
#[derive(Clone, Debug)]
pub struct Advice {
    /// Steps, the best first.
    pub steps: Vec<Proposal>,
    /// Whether it is time to stop testing, and why.
    pub stop: Option<Stop>,
    /// Expected cost of the whole repair, in currency.
    pub expected: f64,
    /// No order of the tests that were looked at, and of the remedies, is
    /// expected to cost less, in currency.
    pub at_least: f64,
    /// How many steps ahead were looked at.
    pub depth: usize,
}

/// Least gain, in bits, for a test to count as telling something.
const TELLING: f64 = 1e-3;
/// How many tests are looked at, besides those that are due.
const LOOKED_AT: usize = 12;
/// Probability that a remedy clears something from which on it is proposed.
const HELPFUL: f64 = 0.01;
/// Probability that nothing is wrong above which that is the advice.
pub const NOTHING_WRONG: f64 = 0.90;

/// The next steps, the best first, at most `many`. `effort` is spent on the
/// order of the first few.
pub fn advise(s: &Situation, many: usize, effort: Effort) -> Advice {
    advise_foretold(s, &gain::foretell_all(s), many, effort)
}

/// The same where the tests are [foretold](foretell_all) already.
pub fn advise_foretold(
    s: &Situation,
    gains: &TiSlice<TestId, Option<Foretold>>,
    many: usize,
    effort: Effort,
) -> Advice {
    let (due, tests) = worth_a_look(s, gains);
    let [wide, _] = effort.gone_into(effort.first);
    let few = tests.len().min(due.len() + LOOKED_AT.min(wide));
    let (mut steps, found) = look(s, &tests[..few], gains, effort);
    // Where few first steps are priced the best is wanted, no list of all.
    if many > steps.len() && few < tests.len() && wide > LOOKED_AT {
        // What was not looked at ahead comes after, as one step shows it.
        let (more, _) = look(s, &tests, gains, Effort::FIRST);
        let new = |p: &Proposal| !steps.iter().any(|q| q.act == p.act);
        let more: Vec<Proposal> = more.into_iter().filter(new).collect();
        steps.extend(more);
    }
    for t in due.iter().rev() {
        if let Some(at) = steps.iter().position(|p| p.act == Act::Test(*t)) {
            let first = steps.remove(at);
            steps.insert(0, first);
        }
    }
    let spent = steps.first().map_or(0.0, |p| p.spent);
    let nothing: f64 = s
        .candidates
        .iter()
        .find(|c| c.0.is_empty())
        .map_or(0.0, |c| c.1);
    let stop = if nothing >= NOTHING_WRONG {
        Some(Stop::NothingWrong)
    } else if steps.is_empty() {
        Some(Stop::NothingLeft)
    } else if let Some(limit) = s.costs.limit.filter(|l| s.so_far + spent > *l) {
        let so_far = s.so_far;
        Some(Stop::TooDear {
            so_far,
            spent,
            limit,
        })
    } else if found.cost.is_exact() && found.steps.first().is_some_and(|s| s.0 == Step::GiveUp) {
        let loss = found.cost.high;
        Some(Stop::NotWorthIt { loss })
    } else if matches!(steps[0].act, Act::Remedy(_)) && steps[0].outcomes[0] >= first::NO_GUESS {
        Some(Stop::EnoughKnown)
    } else {
        None
    };
    steps.truncate(many);
    Advice {
        steps,
        stop,
        expected: found.cost.high,
        at_least: found.cost.low,
        depth: found.depth,
    }
}

/// Tests that are due, and all that tell something: those that are due first,
/// then those that tell most for their cost.
fn worth_a_look(
    s: &Situation,
    gains: &TiSlice<TestId, Option<Foretold>>,
) -> (Vec<TestId>, Vec<TestId>) {
    let mut ranked: Vec<(TestId, f64)> = gains
        .iter_enumerated()
        .filter_map(|(i, g)| {
            let g = g.as_ref().filter(|g| g.bits > TELLING)?;
            let t = s.tests[i].as_ref()?;
            let cost = s
                .costs
                .of(t.minutes + s.moves.reach(s.state, t.conditions).1, 0.0);
            Some((i, g.bits / cost.max(0.1)))
        })
        .collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    // A mend that is not proved is no mend: what it owes goes before all else.
    let due: Vec<TestId> = (s.due.iter().copied())
        .filter(|t| s.tests[*t].is_some())
        .collect();
    let mut tests = due.clone();
    for (t, _) in ranked {
        // With a test comes what has to be done before it.
        let before = s.tests[t].iter().flat_map(|t| t.after.iter().copied());
        for t in before.chain([t]) {
            if !tests.contains(&t) && s.tests[t].is_some() {
                tests.push(t);
            }
        }
    }
    (due, tests)
}

/// Steps with these tests and every remedy, the cheapest first.
fn look(
    s: &Situation,
    tests: &[TestId],
    gains: &TiSlice<TestId, Option<Foretold>>,
    effort: Effort,
) -> (Vec<Proposal>, Found) {
    let layout = Layout::new(s, tests.to_vec());
    let start = Moment::start(&layout.belief, s.state);
    let found = Search::new(&layout.problem, effort).plan(&start);
    let proposal = |(step, cost): &(Step, Bounds)| match step {
        Step::GiveUp => None,
        Step::Trial(t) => Some(test_proposal(s, layout.tests[*t], gains, cost)),
        Step::Mend(r) if layout.helps(*r) < HELPFUL => None,
        Step::Mend(r) => Some(remedy_proposal(
            s,
            layout.remedies[*r],
            layout.mends(*r),
            cost,
        )),
    };
    let proposals = found.steps.iter().filter_map(proposal).collect();
    (proposals, found)
}

fn test_proposal(
    s: &Situation,
    i: TestId,
    gains: &TiSlice<TestId, Option<Foretold>>,
    cost: &Bounds,
) -> Proposal {
    let foretold = gains[i].as_ref();
    let (minutes, conditions) = match &s.tests[i] {
        Some(t) => (t.minutes, t.conditions),
        None => (0.0, s.state),
    };
    let moving = s.moves.reach(s.state, conditions).1;
    Proposal {
        act: Act::Test(i),
        minutes: minutes + moving,
        moving,
        parts: 0.0,
        expected: cost.high,
        spent: cost.spent,
        gain: foretold.map_or(0.0, |f| f.bits),
        outcomes: foretold.map_or_else(Vec::new, |f| f.outcomes.clone()),
    }
}

fn remedy_proposal(s: &Situation, i: RemedyId, mends: f64, cost: &Bounds) -> Proposal {
    let (minutes, parts, conditions) = match &s.remedies[i] {
        Some(r) => (r.minutes, r.parts, r.conditions),
        None => (0.0, 0.0, s.state),
    };
    let moving = s.moves.reach(s.state, conditions).1;
    Proposal {
        act: Act::Remedy(i),
        minutes: minutes + moving,
        moving,
        parts,
        expected: cost.high,
        spent: cost.spent,
        gain: 0.0,
        outcomes: vec![mends],
    }
}
