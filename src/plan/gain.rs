//! What a test is expected to tell.

use super::Situation;
use crate::belief::FaultId;
use crate::belief::candidates::Candidate;

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
pub(super) fn foretell_all(s: &Situation) -> Vec<Option<Foretold>> {
    let tests = s.tests.iter().flatten().count().max(1);
    let take = (WORK / tests).max(64).min(s.candidates.len());
    let kept = &s.candidates[..take];
    let total: f64 = kept.iter().map(|c| c.1).sum();
    s.tests
        .iter()
        .map(|t| {
            t.as_ref()
                .map(|t| foretell(s.faults, kept, total, &t.finding))
        })
        .collect()
}

fn foretell(
    n: usize,
    candidates: &[(Candidate, f64)],
    total: f64,
    finding: &crate::belief::Finding,
) -> Foretold {
    let outcomes = finding.outcomes();
    let mut sees = vec![false; n];
    finding.sees().for_each(|f: FaultId| sees[f] = true);
    let mut rows = vec![vec![1.0; n]; outcomes - 1];
    for (f, c) in finding.links() {
        for (k, row) in rows.iter_mut().enumerate() {
            row[*f] = c[k];
        }
    }
    let mut mean = vec![0.0; outcomes];
    let mut inner = 0.0;
    let mut p = vec![0.0; outcomes];
    let mut spread = |c: Option<&Candidate>, w: f64| {
        let mut below = 0.0;
        for (k, row) in rows.iter().enumerate() {
            let upto = c
                .into_iter()
                .flat_map(|c| c.iter())
                .fold(finding.leak()[k], |p, f| p * row[f]);
            p[k] = upto - below;
            below = upto;
        }
        p[outcomes - 1] = 1.0 - below;
        let mut h = 0.0;
        for (k, x) in p.iter().enumerate() {
            let x = (1.0 - finding.misread()) * x.max(0.0) + finding.misread() / outcomes as f64;
            mean[k] += w * x;
            h += surprise(x);
        }
        inner += w * h;
    };
    // All candidates that the test cannot see foretell the same.
    let mut blind = 0.0;
    for (c, w) in candidates {
        let w = w / total;
        if c.iter().any(|f| sees[f]) {
            spread(Some(c), w);
        } else {
            blind += w;
        }
    }
    if blind > 0.0 {
        spread(None, blind);
    }
    let outer: f64 = mean.iter().map(|x| surprise(*x)).sum();
    Foretold {
        outcomes: mean,
        bits: (outer - inner).max(0.0),
    }
}

fn surprise(p: f64) -> f64 {
    if p > 0.0 { -p * p.log2() } else { 0.0 }
}
