//! From "of 1000 jobs with this complaint" to priors.
//!
//! Rates are shares of jobs *given the complaint*. Used as independent
//! probabilities they would give two faults to four jobs in ten. Here the odds
//! are found so that conditioning on the complaint gives back every rate, the
//! share of jobs with nothing wrong and the share with two or more faults.

/// Priors that reproduce the stated shares.
#[derive(Clone, Debug, PartialEq)]
pub struct Conversion {
    /// Prior probability of each fault.
    pub priors: Vec<f64>,
    /// Chance of the complaint with no fault at all.
    pub leak: f64,
    /// Factor by which the rates had to be scaled to agree with the shares;
    /// within one per cent of 1 for a rule base that passes its check.
    pub scale: f64,
}

/// Why the shares cannot be met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConversionError {
    /// There is no fault, or none that can cause the complaint.
    #[error("no fault can cause the complaint")]
    NoCause,
    /// The iteration did not settle.
    #[error("no priors give back these rates; a strength may be too small for its rate")]
    Unsettled,
}

/// Finds priors such that, given the complaint alone, each fault has (its
/// scaled) rate, nothing is wrong with probability `nothing`, and two or more
/// faults are there with probability `two_or_more`.
///
/// `faults` holds the rate (0..1) of each fault and the chance that it alone
/// causes the complaint.
///
/// # Errors
/// If no fault can cause the complaint or no such priors exist.
pub fn convert(
    faults: &[(f64, f64)],
    nothing: f64,
    two_or_more: f64,
) -> Result<Conversion, ConversionError> {
    let sum: f64 = faults.iter().map(|f| f.0).sum();
    if sum <= 0.0 || faults.iter().all(|f| f.0 * f.1 <= 0.0) {
        return Err(ConversionError::NoCause);
    }
    // With scale s the expected number of faults is s * sum; it is one per job
    // that has any, plus what doubles add.
    let low = (1.0 - nothing) / sum;
    let mut solve = Solver {
        faults,
        nothing,
        odds: faults.iter().map(|f| f.0 * 0.05).collect(),
        leak: nothing,
    };
    // The share of doubles grows almost evenly with the scale: false position
    // with a safeguard settles in a few rounds.
    let (mut a, mut b) = (low * (1.0 + 1e-9), low * (1.0 + 4.0 * two_or_more + 1e-6));
    let mut scale = low * (1.0 + 1.03 * two_or_more);
    if two_or_more > 0.0 {
        for _ in 0..60 {
            let d = solve.settle(scale);
            match d {
                Some(d) if (d / two_or_more - 1.0).abs() < 1e-7 => break,
                Some(d) if d < two_or_more => a = scale,
                _ => b = scale,
            }
            let guess = match d {
                // Excess over the least scale is close to the share of doubles.
                Some(d) if d > 0.0 => low + (scale - low) * two_or_more / d,
                _ => 0.0,
            };
            scale = if guess > a && guess < b {
                guess
            } else {
                0.5 * (a + b)
            };
            if (b - a) / a < 1e-13 {
                break;
            }
        }
    } else {
        scale = low;
    }
    let doubles = solve.settle(scale).ok_or(ConversionError::Unsettled)?;
    if (doubles - two_or_more).abs() > 0.01 * two_or_more.max(1e-3) {
        return Err(ConversionError::Unsettled);
    }
    Ok(Conversion {
        priors: solve.odds.iter().map(|o| o / (1.0 + o)).collect(),
        leak: solve.leak,
        scale,
    })
}

struct Solver<'a> {
    faults: &'a [(f64, f64)],
    nothing: f64,
    odds: Vec<f64>,
    leak: f64,
}

impl Solver<'_> {
    /// Fits odds and leak for one scale; the share of two or more that follows.
    fn settle(&mut self, scale: f64) -> Option<f64> {
        let n = self.faults.len();
        for _ in 0..2000 {
            let a: f64 = self.odds.iter().map(|o| 1.0 + o).product();
            let b: f64 = (0..n)
                .map(|i| 1.0 + self.odds[i] * (1.0 - self.faults[i].1))
                .product();
            self.leak = (self.nothing * (a - b) / (1.0 - self.nothing * b)).clamp(0.0, 1.0);
            let z = a - (1.0 - self.leak) * b;
            if !z.is_finite() || z <= 0.0 {
                return None;
            }
            let mut worst: f64 = 0.0;
            let mut single = 0.0;
            for i in 0..n {
                let (rate, s) = self.faults[i];
                let o = self.odds[i];
                let m = o
                    * (a / (1.0 + o) - (1.0 - self.leak) * (1.0 - s) * b / (1.0 + o * (1.0 - s)))
                    / z;
                single += o * (1.0 - (1.0 - self.leak) * (1.0 - s)) / z;
                let target = rate * scale;
                if target <= 0.0 {
                    continue;
                }
                let ratio = target / m;
                worst = worst.max((ratio - 1.0).abs());
                self.odds[i] = o * ratio.clamp(0.2, 5.0);
                if !self.odds[i].is_finite() || self.odds[i] > 1e6 {
                    return None;
                }
            }
            if worst < 1e-11 {
                return Some((1.0 - self.nothing - single).max(0.0));
            }
        }
        None
    }
}

/// The leak of a symptom such that, given it alone, nothing is wrong with
/// probability `nothing`. `links` are the strengths of the faults that show
/// it; `priors` are theirs.
pub fn leak_for(nothing: f64, priors: &[f64], strengths: &[f64]) -> f64 {
    let odds = |p: f64| p / (1.0 - p).max(1e-12);
    let a: f64 = priors.iter().map(|p| 1.0 + odds(*p)).product();
    let b: f64 = priors
        .iter()
        .zip(strengths)
        .map(|(p, s)| 1.0 + odds(*p) * (1.0 - s))
        .product();
    (nothing * (a - b) / (1.0 - nothing * b)).clamp(0.0, 1.0)
}
