//! The next step: what to do now so that the whole repair is expected to cost
//! least.
//!
//! The measure is the expected cost of repair: do remedies in the order of
//! probability over cost until mended, or first pay for a test and then do so
//! with what it showed (Heckerman, Breese and Rommelse 1995,
//! "Decision-theoretic troubleshooting"). Every test is tried one step ahead;
//! information per cost only picks which tests are worth the look.
//!
//! This module knows candidates, findings and costs; it knows nothing of rule
//! files, storage or screens.
mod gain;
mod repair;
mod turn;

use std::sync::Arc;

use crate::belief::candidates::Candidate;
use crate::belief::{FaultId, Finding};
use crate::bench::{BenchState, Moves};

pub use gain::Foretold;
pub use repair::{Masses, order_by_probability_over_cost};
pub use turn::{Turn, turning_point};

/// What a shop counts as cost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// Shop currency for an hour at the bench.
    pub rate: f64,
    /// What it costs, in currency, when a job ends unmended.
    pub give_up: f64,
    /// What the repair may cost at most, in currency, before the customer is
    /// asked; `None` if the customer did not say.
    pub limit: Option<f64>,
}

impl Default for Costs {
    fn default() -> Self {
        Costs {
            rate: 60.0,
            give_up: 180.0,
            limit: None,
        }
    }
}

impl Costs {
    /// Minutes and parts as one sum of currency.
    pub fn of(&self, minutes: f64, parts: f64) -> f64 {
        minutes * self.rate / 60.0 + parts
    }
}

/// A test as the planner sees it.
#[derive(Clone, Debug)]
pub struct PlanTest {
    /// Its outcome as foretold before it is done.
    pub finding: Arc<Finding>,
    /// Minutes, bench conditions not counted.
    pub minutes: f64,
    /// Bench conditions, with all that they need.
    pub conditions: BenchState,
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
    /// Bench conditions, with all that they need.
    pub conditions: BenchState,
}

/// Everything the planner needs to know.
#[derive(Clone, Copy, Debug)]
pub struct Situation<'a> {
    /// Number of faults of the network.
    pub faults: usize,
    /// Sets of faults with their probability, likeliest first.
    pub candidates: &'a [(Candidate, f64)],
    /// What can be done to learn; `None` where it cannot be done or has been.
    pub tests: &'a [Option<PlanTest>],
    /// What can be done to mend; `None` where it cannot be done.
    pub remedies: &'a [Option<PlanRemedy>],
    /// The test that shows whether a remedy mended the complaint.
    pub retest: Option<&'a PlanTest>,
    /// Tests that the last remedy still owes, by index: they come first.
    pub due: &'a [usize],
    /// What changing bench conditions takes.
    pub moves: &'a Moves,
    /// What state the device is in.
    pub state: BenchState,
    /// What counts as cost.
    pub costs: Costs,
}

/// Share of the probability that planning looks at where the list is long.
const ENOUGH: f64 = 0.985;
/// How many candidates are always looked at.
const SHORT: usize = 512;

impl Situation<'_> {
    /// The same with the lightest candidates of a long list left out.
    fn trimmed(&self) -> Self {
        let mut sum = 0.0;
        let mut keep = 0;
        for (_, w) in self.candidates {
            if keep >= SHORT && sum >= ENOUGH {
                break;
            }
            sum += w;
            keep += 1;
        }
        Situation {
            candidates: &self.candidates[..keep],
            ..*self
        }
    }
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// A test, by index.
    Test(usize),
    /// A remedy, by index.
    Remedy(usize),
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
    /// The same without that loss: what is expected to be spent.
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
    /// The expected cost passes the limit: ask the customer.
    TooDear {
        /// What going on is expected to take in work and parts, in currency.
        spent: f64,
        /// The limit, in currency.
        limit: f64,
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
}

/// Least gain, in bits, for a test to count as telling something.
const TELLING: f64 = 1e-3;
/// How many tests are looked at one step ahead.
const LOOKED_AT: usize = 12;
/// Probability that nothing is wrong above which that is the advice.
const NOTHING_WRONG: f64 = 0.90;

/// The next steps, the best first, at most `many`.
pub fn advise(s: &Situation, many: usize) -> Advice {
    let s = &s.trimmed();
    let gains = gain::foretell_all(s);
    let masses = Masses::of(s, None);
    let ahead = repair::expected_cost(s, &masses, s.state, None);
    let mut ranked: Vec<(usize, f64)> = gains
        .iter()
        .enumerate()
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
    let mut steps: Vec<Proposal> = ranked
        .iter()
        .take(LOOKED_AT.max(many))
        .map(|(i, _)| look_ahead(s, &masses, *i, gains[*i].as_ref()))
        .collect();
    for r in ahead.order.iter().take(many.max(3)) {
        let Some(remedy) = &s.remedies[*r] else {
            continue;
        };
        let first = repair::expected_cost(s, &masses, s.state, Some(*r));
        let moving = s.moves.reach(s.state, remedy.conditions).1;
        steps.push(Proposal {
            act: Act::Remedy(*r),
            minutes: remedy.minutes + moving,
            moving,
            parts: remedy.parts,
            expected: first.cost,
            spent: first.spent,
            gain: 0.0,
            outcomes: vec![mends_all(s, *r)],
        });
    }
    steps.sort_by(|a, b| {
        a.expected
            .total_cmp(&b.expected)
            .then(rank(a).cmp(&rank(b)))
    });
    // A mend that is not proved is no mend: what it owes goes before all else.
    for t in s.due.iter().rev().filter(|t| s.tests[**t].is_some()) {
        steps.retain(|p| p.act != Act::Test(*t));
        steps.insert(0, look_ahead(s, &masses, *t, gains[*t].as_ref()));
    }
    let expected = steps
        .first()
        .map_or(ahead.cost, |p| p.expected.min(ahead.cost));
    let spent = steps.first().map_or(ahead.spent, |p| p.spent);
    let nothing: f64 = s
        .candidates
        .iter()
        .find(|c| c.0.is_empty())
        .map_or(0.0, |c| c.1);
    let stop = if nothing >= NOTHING_WRONG {
        Some(Stop::NothingWrong)
    } else if steps.is_empty() {
        Some(Stop::NothingLeft)
    } else if let Some(limit) = s.costs.limit.filter(|l| spent > *l) {
        Some(Stop::TooDear { spent, limit })
    } else if matches!(steps[0].act, Act::Remedy(_)) {
        Some(Stop::EnoughKnown)
    } else {
        None
    };
    steps.truncate(many);
    Advice {
        steps,
        stop,
        expected,
    }
}

/// Ties go to tests, in the order of the rules.
fn rank(p: &Proposal) -> (u8, usize) {
    match p.act {
        Act::Test(i) => (0, i),
        Act::Remedy(i) => (1, i),
    }
}

fn look_ahead(s: &Situation, now: &Masses, i: usize, foretold: Option<&Foretold>) -> Proposal {
    let t = s.tests[i].as_ref().expect("ranked tests can be done");
    let (to, moving) = s.moves.reach(s.state, t.conditions);
    let outcomes = foretold.map_or_else(Vec::new, |f| f.outcomes.clone());
    let mut expected = s.costs.of(t.minutes + moving, 0.0);
    let mut spent = expected;
    for (p, masses) in outcomes.iter().zip(now.after(s, &t.finding)) {
        if *p > 1e-9 {
            let ahead = repair::expected_cost(s, &masses, to, None);
            expected += p * ahead.cost;
            spent += p * ahead.spent;
        }
    }
    Proposal {
        act: Act::Test(i),
        minutes: t.minutes + moving,
        moving,
        parts: 0.0,
        expected,
        spent,
        gain: foretold.map_or(0.0, |f| f.bits),
        outcomes,
    }
}

/// Probability that a remedy alone clears everything that is wrong, given that
/// something is.
fn mends_all(s: &Situation, r: usize) -> f64 {
    let Some(remedy) = &s.remedies[r] else {
        return 0.0;
    };
    let take = |f: FaultId| remedy.clears.iter().find(|c| c.0 == f).map_or(0.0, |c| c.1);
    s.candidates
        .iter()
        .filter(|(c, _)| !c.is_empty())
        .map(|(c, w)| w * c.iter().map(take).product::<f64>())
        .sum()
}
