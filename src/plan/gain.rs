//! What a test is expected to tell.

use rayon::prelude::*;
use typed_index_collections::TiVec;

use super::{Situation, TestId};
use crate::belief::candidates::{Candidate, Outlook};

/// How many candidates times tests are weighed at most; the lightest
/// candidates are left out beyond that.
const WORK: usize = 1 << 16;

/// A test's outcomes as foretold.
#[derive(Clone, Debug, PartialEq)]
pub struct Foretold {
    /// Probability of each outcome.
    pub outcomes: Vec<f64>,
    /// Mutual information with the candidates, in bits; never negative.
    pub bits: f64,
}

/// Foretells every test that can be done.
pub fn foretell_all(s: &Situation) -> TiVec<TestId, Option<Foretold>> {
    let kept = weighed(s.candidates, s.tests.iter().flatten().count());
    let told: Vec<Option<Foretold>> = (s.tests.raw)
        .par_iter()
        .with_min_len(16)
        .map(|t| t.as_ref().map(|t| foretell(kept, &t.outlook)))
        .collect();
    told.into()
}

/// The candidates that are weighed for so many tests, of a list in order.
pub fn weighed(candidates: &[(Candidate, f64)], tests: usize) -> &[(Candidate, f64)] {
    let take = (WORK / tests.max(1)).max(64);
    &candidates[..take.min(candidates.len())]
}

/// Foretells one test, as weights of candidates have it.
pub fn foretell(candidates: &[(Candidate, f64)], outlook: &Outlook) -> Foretold {
    let total: f64 = candidates.iter().map(|c| c.1).sum();
    let outcomes = outlook.outcomes();
    let mut mean = vec![0.0; outcomes];
    let mut inner = 0.0;
    let mut p = vec![0.0; outcomes];
    let mut spread = |c: &Candidate, w: f64| {
        outlook.of(c, &mut p);
        let mut h = 0.0;
        for (mean, x) in mean.iter_mut().zip(&p) {
            *mean += w * x;
            h += surprise(*x);
        }
        inner += w * h;
    };
    // All candidates that the test cannot see foretell the same.
    let mut blind = 0.0;
    for (c, w) in candidates {
        let w = w / total;
        if outlook.sees(c) {
            spread(c, w);
        } else {
            blind += w;
        }
    }
    if blind > 0.0 {
        spread(&Candidate::EMPTY, blind);
    }
    let outer: f64 = mean.iter().map(|x| surprise(*x)).sum();
    Foretold {
        outcomes: mean,
        bits: (outer - inner).max(0.0),
    }
}

/// What a probability adds to an uncertainty, in bits.
pub fn surprise(p: f64) -> f64 {
    if p > 0.0 { -p * p.log2() } else { 0.0 }
}
