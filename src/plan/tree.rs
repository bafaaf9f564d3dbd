//! The whole plan drawn out: a decision tree to a depth, or to a probability.

use super::layout::Layout;
use super::problem::Step;
use super::search::{Effort, Moment, Search};
use super::{Act, LOOKED_AT, RemedyId, Situation, gain, worth_a_look};
use crate::bench::BenchState;

/// How far a tree goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// Tests and remedies on the longest way.
    pub depth: usize,
    /// Ways that are rarer end in an order of remedies.
    pub cut: f64,
}

/// A plan as a tree. Its costs are over the likeliest sets of faults.
#[derive(Clone, Debug)]
pub struct Tree {
    /// Where it begins.
    pub root: Node,
    /// No plan is expected to cost less, in currency.
    pub at_least: f64,
}

/// A moment of the plan.
#[derive(Clone, Debug)]
pub struct Node {
    /// That the plan comes here.
    pub probability: f64,
    /// Expected cost from here on, in currency.
    pub cost: f64,
    /// Expected number of tests and remedies from here on.
    pub steps: f64,
    /// Conditions that the device is in.
    pub state: BenchState,
    /// What is done.
    pub then: Then,
}

/// What is done at a moment.
#[derive(Clone, Debug)]
pub enum Then {
    /// A test or remedy, and what it leads to.
    Do {
        /// The step.
        act: Act,
        /// Cost in currency with the changes of bench condition, for a remedy
        /// with parts and the retest.
        price: f64,
        /// Each outcome of a test; for a remedy, that it mended and that it
        /// did not.
        branches: Vec<Branch>,
    },
    /// Remedies one after the other until it is mended; then the device goes
    /// back as it is.
    End {
        /// In order.
        remedies: Vec<Mending>,
        /// Expected loss, in currency, where none of them mended.
        loss: f64,
        /// Whether the tree ends here while the plan may not: the way is too
        /// long or too rare to be drawn on.
        cut: bool,
    },
}

/// An outcome.
#[derive(Clone, Debug)]
pub struct Branch {
    /// By index of the test's outcomes; for a remedy 0 is mended, 1 is not.
    pub outcome: usize,
    /// Its probability at this moment.
    pub probability: f64,
    /// What follows; nothing where it is mended.
    pub node: Option<Node>,
}

/// A remedy at the end of a way.
#[derive(Clone, Debug)]
pub struct Mending {
    /// The remedy.
    pub remedy: RemedyId,
    /// Cost in currency with parts, changes of bench condition and retest.
    pub price: f64,
    /// That all is well after it, where it comes to it.
    pub mends: f64,
}

/// The plan as a tree.
pub fn tree(s: &Situation, extent: Extent, effort: Effort) -> Tree {
    let gains = gain::foretell_all(s);
    let (due, mut tests) = worth_a_look(s, &gains);
    tests.truncate(due.len() + LOOKED_AT);
    let layout = Layout::new(s, tests);
    let start = Moment::start(&layout.belief, s.state);
    let mut search = Search::new(&layout.problem, effort);
    let at_least = search.plan(&start).cost.low;
    let mut grower = Grower {
        layout: &layout,
        search,
        cut: extent.cut,
    };
    // The tests that are due stand first in the layout.
    let owed: Vec<usize> = (0..due.len()).collect();
    Tree {
        root: grower.node(&start, extent.depth, &owed),
        at_least,
    }
}

struct Grower<'a> {
    layout: &'a Layout<'a>,
    search: Search<'a>,
    cut: f64,
}

impl Grower<'_> {
    /// From a moment on, in which some tests are `owed`: they come before all
    /// else, as long as those before them pass.
    fn node(&mut self, m: &Moment, depth: usize, owed: &[usize]) -> Node {
        let (remedies, without_tests) = self.search.remedies(m);
        if depth == 0 || m.mass < self.cut {
            return self.end(m, remedies, true);
        }
        let p = &self.layout.problem;
        let open = |t: &&usize| !p.barred(Step::Trial(**t), m.state);
        let step = match owed.first().filter(open) {
            Some(test) => Step::Trial(*test),
            None => {
                let found = self.search.plan(m);
                let step = found.steps.first().map_or(Step::GiveUp, |s| s.0);
                if found.cost.high >= without_tests * (1.0 - 1e-9) || step == Step::GiveUp {
                    return self.end(m, remedies, false);
                }
                step
            }
        };
        let (price, then) = self.search.after(m, step);
        let share = |x: &Moment| x.mass / m.mass;
        let mut branches = Vec::new();
        if let Step::Mend(_) = step {
            branches.push(Branch {
                outcome: 0,
                probability: 1.0 - then.iter().map(share).sum::<f64>(),
                node: None,
            });
        }
        for (i, next) in then.iter().enumerate().filter(|(_, n)| n.mass > 0.0) {
            branches.push(Branch {
                outcome: i + branches
                    .first()
                    .map_or(0, |b| usize::from(b.node.is_none())),
                probability: share(next),
                node: {
                    let left = owed.get(1..).filter(|_| i == 0).unwrap_or_default();
                    Some(self.node(next, depth - 1, left))
                },
            });
        }
        let after = |of: fn(&Node) -> f64| -> f64 {
            let each = branches
                .iter()
                .map(|b| b.probability * b.node.as_ref().map_or(0.0, of));
            each.sum()
        };
        Node {
            probability: m.mass,
            cost: price.counts + after(|n| n.cost),
            steps: 1.0 + after(|n| n.steps),
            state: m.state,
            then: Then::Do {
                act: match step {
                    Step::Trial(i) => Act::Test(self.layout.tests[i]),
                    Step::Mend(i) => Act::Remedy(self.layout.remedies[i]),
                    Step::GiveUp => return self.end(m, remedies, false),
                },
                price: price.counts,
                branches,
            },
        }
    }

    /// A way that ends in these remedies, or is `cut` there.
    fn end(&self, m: &Moment, order: Vec<Step>, cut: bool) -> Node {
        let p = &self.layout.problem;
        let (mut cost, mut steps) = (0.0, 0.0);
        let mut at = m.clone();
        let mut remedies = Vec::new();
        for step in order {
            let Step::Mend(i) = step else { continue };
            let (price, then) = self.search.after(&at, step);
            let Some(next) = then.into_iter().next().filter(|_| at.mass > 0.0) else {
                continue;
            };
            cost += price.counts * at.mass;
            steps += at.mass;
            remedies.push(Mending {
                remedy: self.layout.remedies[i],
                price: price.counts,
                mends: 1.0 - next.mass / at.mass,
            });
            at = next;
        }
        let lost = p.wrong(&at.belief) * p.give_up;
        Node {
            probability: m.mass,
            cost: (cost + lost) / m.mass,
            steps: steps / m.mass,
            state: m.state,
            then: Then::End {
                remedies,
                loss: if at.mass > 0.0 { lost / at.mass } else { 0.0 },
                cut,
            },
        }
    }
}
