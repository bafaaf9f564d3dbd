//! What sets of several more faults can weigh at most.
//!
//! Of a result that more faults explain, neither the product of what each raises
//! its likelihood by is exceeded, nor the most that it can be raised by. So it is
//! bounded by `most^(1-t)` times the product of `raise^t`, for any `t` from 0 to
//! 1; a result that one fault explains by itself wants a small `t`. The best `t`
//! of all results make the sum least, and that is a convex problem.

/// Faults that are added to a set, up to which good outcomes count in its bound
/// and the best exponents are looked for.
const DAMPED: usize = 4;
/// A result that more faults raise by less than the exponential of this has the
/// exponent 1.
const EXPLAINED: f64 = 0.1;
/// The exponents before they are improved.
const FIRST: f64 = 0.5;
/// How often each exponent is improved for two faults; for each further one once
/// less.
const ROUNDS: usize = 3;

/// A fault that may be added, in one of its lives.
pub(super) struct Added {
    /// Its weight over that of never being there.
    pub(super) odds: f64,
    /// Logarithms of what several of them multiply the likelihoods by: the least
    /// of these, and of these too where they are two.
    pub(super) lower: f64,
    pub(super) lower_two: f64,
}

/// A result that more faults may explain.
pub(super) struct Raised {
    /// Logarithm of what it can be raised by at most.
    pub(super) most: f64,
    /// Of each fault that raises it, by place among those that may be added: the
    /// logarithm of what it raises it by.
    pub(super) by: Vec<(u32, f64)>,
}

/// For each fault that may be added, in their order: the sum over all sets of it
/// and one or more of those after it, as a multiple of what the bounds start
/// from.
pub(super) fn beyond(added: &[Added], results: &[Raised]) -> Vec<f64> {
    let mut out = vec![0.0; added.len()];
    let all: f64 = results.iter().map(|r| r.most).sum();
    // Logarithms of what each raises those that are as good as explained by.
    let mut explained = vec![0.0; added.len()];
    let (open, done): (Vec<&Raised>, Vec<&Raised>) =
        results.iter().partition(|r| r.most > EXPLAINED);
    for (at, by) in done.iter().flat_map(|r| &r.by) {
        explained[*at as usize] += by;
    }
    let mut exponents = Exponents::new(added.len(), open);
    for more in 2..=DAMPED + 1 {
        let last = more > DAMPED;
        let damped = |a: &Added| match more {
            2 => (a.lower + a.lower_two) / 2.0,
            _ if last => 0.0,
            _ => a.lower / more as f64,
        };
        let plain: Vec<f64> = added.iter().map(|a| a.odds * damped(a).exp()).collect();
        let start: Vec<f64> = (plain.iter().zip(&explained))
            .map(|(p, by)| p * by.exp())
            .collect();
        (0..ROUNDS.saturating_sub(more - 2)).for_each(|_| exponents.improve(&start, more));
        let rest = exponents.rest();
        let many = |s: f64| match last {
            true => tail(s, more - 1),
            false => nth(s, more - 1),
        };
        let (mut after, mut plain_after) = (0.0, 0.0);
        let raised = start.iter().zip(&exponents.raise).map(|(a, by)| a * by);
        let each = out.iter_mut().zip(raised.zip(&plain).collect::<Vec<_>>());
        for (out, (a, p)) in each.rev() {
            *out += f64::min(
                rest.exp() * a * many(after),
                all.exp() * p * many(plain_after),
            );
            after += a;
            plain_after += p;
        }
    }
    out
}

/// The exponents of results that more faults may explain.
struct Exponents<'r> {
    results: Vec<&'r Raised>,
    of: Vec<f64>,
    /// By fault, the product of what it raises the results by, with these.
    raise: Vec<f64>,
}

impl<'r> Exponents<'r> {
    fn new(added: usize, results: Vec<&'r Raised>) -> Self {
        let mut raise = vec![1.0; added];
        for (at, by) in results.iter().flat_map(|r| &r.by) {
            raise[*at as usize] *= (FIRST * by).exp();
        }
        Exponents {
            of: vec![FIRST; results.len()],
            results,
            raise,
        }
    }

    /// Logarithm of what is common to all sets.
    fn rest(&self) -> f64 {
        let each = self.results.iter().zip(&self.of);
        each.map(|(r, t)| (1.0 - t) * r.most).sum()
    }

    /// Lessens the sum over sets of `more` faults, which contribute `start` each
    /// but for what they raise these results by.
    fn improve(&mut self, start: &[f64], more: usize) {
        let k = more as f64;
        let mut a: Vec<f64> = start
            .iter()
            .zip(&self.raise)
            .map(|(a, by)| a * by)
            .collect();
        let mut sum: f64 = a.iter().sum();
        for (r, t) in self.results.iter().zip(&mut self.of) {
            // Newton's step on -t * most + k * ln(sum of a * exp(t * by)).
            let (mut mean, mut square) = (0.0, 0.0);
            for (at, by) in &r.by {
                let w = a[*at as usize] / sum * by;
                mean += w;
                square += w * by;
            }
            let slope = k * mean - r.most;
            let bend = k * (square - mean * mean);
            if !(slope.is_finite() && bend > 0.0) {
                continue;
            }
            // The bend falls towards either end: no step goes too far.
            let to = (*t + (-slope / bend).clamp(-FIRST, FIRST)).clamp(0.0, 1.0);
            if to == *t {
                continue;
            }
            for (at, by) in &r.by {
                let by = ((to - *t) * by).exp();
                self.raise[*at as usize] *= by;
                sum += a[*at as usize] * (by - 1.0);
                a[*at as usize] *= by;
            }
            *t = to;
        }
    }
}

/// `s^n / n!`, which no sum over products of `n` different terms exceeds, with
/// `s` the sum of the terms.
fn nth(s: f64, n: usize) -> f64 {
    (1..=n).fold(1.0, |x, i| x * s / i as f64)
}

/// The same for `n` and all that are larger.
fn tail(s: f64, n: usize) -> f64 {
    /// Beyond this the sum is past all use.
    const LARGE: f64 = 100.0;
    if s > LARGE || s.is_nan() {
        return f64::INFINITY;
    }
    let mut term = nth(s, n);
    let mut sum = term;
    let mut i = n;
    while term > 1e-17 * sum || (i as f64) < s {
        i += 1;
        term *= s / i as f64;
        sum += term;
        if term == 0.0 {
            break;
        }
    }
    sum
}
