//! Which single result would change the order of the suspects most.

use typed_index_collections::{TiSlice, TiVec};

use super::{Situation, TestId, gain};
use crate::belief::candidates::Likelihood;
use crate::belief::{FaultId, Seen, likelier};

/// A result that would put another suspect first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// The test.
    pub test: TestId,
    /// The outcome, by index.
    pub outcome: usize,
    /// Probability of that outcome.
    pub probability: f64,
    /// The suspect that would then be first.
    pub first: FaultId,
    /// Its probability then.
    pub becomes: f64,
}

/// Least probability for an outcome to be worth mentioning.
const POSSIBLE: f64 = 0.03;

/// The result that moves most probability among those that change who is first.
pub fn turning_point(s: &Situation) -> Option<Turn> {
    let now = marginals(s, None);
    let first = top(&now)?;
    let foretold = gain::foretell_all(s);
    let mut best: Option<(f64, Turn)> = None;
    for (test, f) in foretold.iter_enumerated() {
        let (Some(f), Some(t)) = (f, &s.tests[test]) else {
            continue;
        };
        if f.bits < super::TELLING {
            continue;
        }
        for (outcome, probability) in f.outcomes.iter().enumerate() {
            if *probability < POSSIBLE {
                continue;
            }
            let seen = Seen {
                finding: t.outlook.finding().clone(),
                outcome,
            };
            let then = marginals(s, Some(&Likelihood::new(s.faults, &seen)));
            let Some(leader) = top(&then).filter(|l| *l != first) else {
                continue;
            };
            let moved: f64 = now.iter().zip(&then).map(|(a, b)| (a - b).abs()).sum();
            if best.as_ref().is_none_or(|b| moved > b.0) {
                best = Some((
                    moved,
                    Turn {
                        test,
                        outcome,
                        probability: *probability,
                        first: leader,
                        becomes: then[leader],
                    },
                ));
            }
        }
    }
    best.map(|b| b.1)
}

fn marginals(s: &Situation, seen: Option<&Likelihood>) -> TiVec<FaultId, f64> {
    let mut out = TiVec::from(vec![0.0; s.faults]);
    let mut total = 0.0;
    for (c, w) in s.candidates {
        let w = w * seen.map_or(1.0, |l| l.of(c));
        total += w;
        c.iter().for_each(|f| out[f] += w);
    }
    if total > 0.0 {
        out.iter_mut().for_each(|x| *x /= total);
    }
    out
}

fn top(p: &TiSlice<FaultId, f64>) -> Option<FaultId> {
    p.keys().min_by(|a, b| likelier(p[*a], p[*b]))
}
