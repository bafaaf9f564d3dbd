//! What each result of a step would lead to.

use super::layout::Layout;
use super::problem::Step;
use super::search::{Effort, Moment, Search};
use super::{Act, LOOKED_AT, Situation, gain, worth_a_look};

/// What one result of a step leads to.
#[derive(Clone, Debug, PartialEq)]
pub struct Lead {
    /// By index of the outcomes that the planner sees; for a remedy 0 is mended,
    /// 1 is not.
    pub outcome: usize,
    /// Its probability.
    pub probability: f64,
    /// What would be done then; nothing where it is mended, or the device goes
    /// back as it is.
    pub then: Option<Act>,
    /// Expected cost from there on, in currency.
    pub expected: f64,
}

/// What some steps would lead to, each result by itself; nothing for a step that
/// cannot be done.
pub fn leads(s: &Situation, acts: &[Act], effort: Effort) -> Vec<Vec<Lead>> {
    let gains = gain::foretell_all(s);
    let (due, mut tests) = worth_a_look(s, &gains);
    tests.truncate(due.len() + LOOKED_AT);
    for act in acts {
        if let Act::Test(t) = act
            && s.tests[*t].is_some()
            && !tests.contains(t)
        {
            tests.push(*t);
        }
    }
    let layout = Layout::new(s, tests);
    let start = Moment::start(&layout.belief, s.state);
    let mut search = Search::new(&layout.problem, effort);
    let mut of = |act: &Act| {
        let trial = |i| layout.tests.iter().position(|t| *t == i);
        let mend = |i| layout.remedies.iter().position(|r| *r == i);
        let step = match *act {
            Act::Test(i) => trial(i).map(Step::Trial),
            Act::Remedy(i) => mend(i).map(Step::Mend),
        };
        let Some(step) = step else { return Vec::new() };
        let (_, then) = search.after(&start, step);
        let mends = matches!(step, Step::Mend(_));
        let mut all = Vec::new();
        if mends {
            let left: f64 = then.iter().map(|m| m.mass).sum();
            all.push(Lead {
                outcome: 0,
                probability: 1.0 - left / start.mass,
                then: None,
                expected: 0.0,
            });
        }
        for (i, next) in then.iter().enumerate().filter(|(_, m)| m.mass > 0.0) {
            let found = search.plan(next);
            let then = match found.steps.first().map(|s| s.0) {
                Some(Step::Trial(i)) => Some(Act::Test(layout.tests[i])),
                Some(Step::Mend(i)) => Some(Act::Remedy(layout.remedies[i])),
                Some(Step::GiveUp) | None => None,
            };
            all.push(Lead {
                outcome: i + usize::from(mends),
                probability: next.mass / start.mass,
                then,
                // The search counts costs times the weight of the moment.
                expected: found.cost.high / next.mass,
            });
        }
        all
    };
    acts.iter().map(&mut of).collect()
}
