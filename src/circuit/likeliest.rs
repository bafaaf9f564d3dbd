//! Where the unknown values of a circuit most likely lie, given what was read.
//!
//! What is unknown is normal before any reading, and each reading a straight
//! line of it with the meter's noise on top; so what is known after is normal
//! too, and its middle is the likeliest place (Kalman 1960, "A new approach to
//! linear filtering and prediction problems", written for all readings at once).

use nalgebra::{DMatrix, DVector};

use super::predict::Outlook;

/// The likeliest place.
#[derive(Clone, Debug, PartialEq)]
pub struct Likeliest {
    /// By how many standard deviations each unknown value is off its middle; in
    /// the order of [`Outlook::by`].
    pub off: Vec<f64>,
    /// Natural logarithm of how likely the readings are, up to a term that is
    /// the same for all circuits.
    pub log_likelihood: f64,
}

/// Where the unknown values most likely lie when readings of one circuit, each
/// with its outlook, show these places on their scales. `reach` is how far the
/// natural logarithm of the size of each fault goes, as standard deviation.
/// `None` where the readings leave nothing to be told.
#[must_use]
pub fn likeliest(readings: &[(&Outlook, f64)], reach: [f64; 2]) -> Option<Likeliest> {
    let n = readings.len();
    let unknown = readings.first()?.0.by.len();
    let by = DMatrix::from_fn(n, unknown, |i, j| readings[i].0.by[j]);
    let mut spread = &by * by.transpose();
    for (i, (a, _)) in readings.iter().enumerate() {
        spread[(i, i)] += a.noise.powi(2).max(1e-24);
        for (j, (b, _)) in readings.iter().enumerate() {
            let sizes = a.sizes.iter().zip(&b.sizes).zip(reach);
            spread[(i, j)] += sizes.map(|((x, y), r)| x * y * r * r).sum::<f64>();
        }
    }
    let missed = DVector::from_fn(n, |i, _| readings[i].1 - readings[i].0.centre);
    let factors = spread.cholesky()?;
    let pull = factors.solve(&missed);
    let size: f64 = factors.l_dirty().diagonal().iter().map(|d| d.ln()).sum();
    Some(Likeliest {
        off: (by.transpose() * &pull).iter().copied().collect(),
        log_likelihood: -0.5 * missed.dot(&pull) - size,
    })
}
