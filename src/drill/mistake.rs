//! Mistakes of order and of safety, worked out from the bench conditions and the
//! kinds of steps.

use crate::bench::{Bench, BenchState, OPENED, POWERED};
use crate::model::Model;
use crate::plan::{Act, TestId};
use crate::rulebase::{Kind, MeterMode};
use crate::simulate::{ByHand, Start};

/// Something that was done in the wrong condition or at the wrong time.
#[derive(Clone, Debug, PartialEq)]
pub enum Mistake {
    /// A step that wants no power was done with a supply connected; true for a
    /// measurement.
    PowerOn {
        /// Whether something was measured, not worked on.
        measured: bool,
    },
    /// A step that needs power was done where something keeps it off: the
    /// conditions, by index.
    NoPower(Vec<usize>),
    /// Conditions that a step needs did not hold, by index.
    NotReady(Vec<usize>),
    /// The device was opened while quick tests that tell something were left,
    /// and the advice was to do without opening it.
    OpenedEarly(Vec<TestId>),
    /// A part was fitted while there was so little reason to.
    Guess(f64),
}

/// Tests that take no longer, in minutes, are as good as free. Common practice,
/// no source.
const FREE: f64 = 3.0;
/// From so many bits on a test tells something worth the while: it rules a few
/// suspects in or out.
const TELLING: f64 = 0.1;
/// Below this probability that it is for something that is wrong, a part is
/// fitted on a guess. Common practice, no source.
pub(super) const GUESS: f64 = 0.3;

impl Mistake {
    /// Points that it takes off. Common practice, no source.
    pub fn points(&self) -> u32 {
        match self {
            Mistake::PowerOn { .. } | Mistake::Guess(_) => 10,
            Mistake::OpenedEarly(_) => 5,
            Mistake::NoPower(_) | Mistake::NotReady(_) => 3,
        }
    }

    /// For programs.
    pub fn word(&self) -> &'static str {
        match self {
            Mistake::PowerOn { .. } => "power-on",
            Mistake::NoPower(_) => "no-power",
            Mistake::NotReady(_) => "not-ready",
            Mistake::OpenedEarly(_) => "opened-early",
            Mistake::Guess(_) => "guess",
        }
    }

    /// In a sentence or two.
    pub fn says(&self, model: &Model) -> String {
        let names = |all: &[usize]| {
            let all: Vec<&str> = (all.iter())
                .map(|c| model.bench.conditions[*c].name.as_str())
                .collect();
            all.join("; ")
        };
        match self {
            Mistake::PowerOn { measured: true } => "Unsafe: measured with the battery or a supply \
                connected. A live rail gives a wrong reading and can harm the meter or the board."
                .to_owned(),
            Mistake::PowerOn { measured: false } => "Unsafe: worked inside with the battery or a \
                supply connected. A slip makes a short."
                .to_owned(),
            Mistake::NoPower(held) => format!(
                "Shows nothing so: it needs the device switched on, which was: {}.",
                names(held)
            ),
            Mistake::NotReady(missing) => {
                format!(
                    "The bench was not ready for it. Missing: {}.",
                    names(missing)
                )
            }
            Mistake::OpenedEarly(left) => {
                let asks: Vec<String> = (left.iter().take(3))
                    .map(|t| format!("“{}”", model.tests[*t].ask))
                    .collect();
                format!(
                    "Opened before the free checks: {} would have told something first.",
                    asks.join(" ")
                )
            }
            Mistake::Guess(helps) => format!(
                "A part fitted on a guess: with what was known then, something it cures was there \
                 in {:.0} of 100 such cases.",
                helps * 100.0
            ),
        }
    }
}

/// Whether a state keeps the device from being switched on: the conditions that
/// do, by index.
fn against_power(bench: &Bench, state: BenchState) -> Vec<usize> {
    let powered = bench.conditions.iter().position(|c| c.id == POWERED);
    let against = |c: &usize| {
        powered.is_some_and(|on| {
            bench.conditions[*c].excludes.contains(&on) || bench.conditions[on].excludes.contains(c)
        })
    };
    state.iter().filter(against).collect()
}

/// What is wrong with doing a step as the device stands.
pub(super) fn in_condition(model: &Model, state: BenchState, act: Act) -> Option<Mistake> {
    let bench = &model.bench;
    let conditions = &model.named(act).step.conditions;
    let wanted: BenchState = bench.closure(conditions).into_iter().collect();
    let off = against_power(bench, state);
    if !against_power(bench, wanted).is_empty() && off.is_empty() {
        return Some(Mistake::PowerOn {
            measured: matches!(act, Act::Test(t) if measures(model, t)),
        });
    }
    let is_power = |c: &usize| bench.conditions[*c].id == POWERED;
    if wanted.iter().any(|c| is_power(&c)) && !off.is_empty() {
        return Some(Mistake::NoPower(off));
    }
    // To switch it on is part of what is tried.
    let missing = wanted.iter().filter(|c| !state.has(*c) && !is_power(c));
    let missing: Vec<usize> = missing.collect();
    (!missing.is_empty()).then_some(Mistake::NotReady(missing))
}

/// Whether a test is a measurement.
fn measures(model: &Model, test: TestId) -> bool {
    let t = &model.tests[test];
    let mode = t.measures.map(|m| m.probing.mode);
    matches!(t.kind, Kind::Measure | Kind::Continuity)
        || matches!(mode, Some(MeterMode::Diode | MeterMode::Ohms))
}

/// Whether the device is opened too early by a change of its state.
pub(super) fn opened_early(
    start: &Start,
    hand: &ByHand,
    to: BenchState,
    advised: Option<Act>,
) -> Option<Mistake> {
    let model = &start.model;
    let opened = (model.bench.conditions.iter()).position(|c| c.id == OPENED)?;
    if hand.state().has(opened) || !to.has(opened) {
        return None;
    }
    let opens = |conditions: &[usize]| model.bench.closure(conditions).contains(&opened);
    // What the advice does as well is no mistake.
    let closed = match advised? {
        Act::Test(t) => !opens(&model.tests[t].step.conditions),
        Act::Remedy(r) => !opens(&model.remedies[r].step.conditions),
    };
    let mut left: Vec<(TestId, f64)> = (model.tests.keys())
        .filter(|t| {
            let step = &model.tests[*t].step;
            step.minutes <= FREE && !opens(&step.conditions) && !hand.holds(*t)
        })
        .map(|t| (t, hand.foretold(t).bits))
        .filter(|t| t.1 >= TELLING)
        .collect();
    left.sort_by(|a, b| b.1.total_cmp(&a.1));
    let left: Vec<TestId> = left.into_iter().map(|t| t.0).collect();
    (closed && !left.is_empty()).then_some(Mistake::OpenedEarly(left))
}

/// Whether a part is fitted on a guess.
pub(super) fn guessed(
    start: &Start,
    hand: &ByHand,
    act: Act,
    advised: Option<Act>,
) -> Option<Mistake> {
    let Act::Remedy(remedy) = act else {
        return None;
    };
    if start.model.remedies[remedy].step.parts <= 0.0 || advised == Some(act) {
        return None;
    }
    let helps = hand.helps(remedy);
    (helps < GUESS).then_some(Mistake::Guess(helps))
}
