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
    for (i, (a, seen)) in readings.iter().enumerate() {
        spread[(i, i)] += a.noise_at(*seen).powi(2).max(1e-24);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::meter::Accuracy;
    use crate::circuit::predict::Scale;

    fn outlook(centre: f64, noise: f64, by: [f64; 2]) -> Outlook {
        Outlook {
            scale: Scale::Linear,
            centre,
            noise,
            accuracy: Accuracy {
                percent: 0.0,
                digits: 1.0,
                resolution: noise * 3f64.sqrt(),
            },
            offset: 0.0,
            by: by.to_vec(),
            sizes: vec![0.0; 2],
            limit: f64::INFINITY,
            floor: f64::NEG_INFINITY,
            floor_off: 0.0,
        }
    }

    /// Worked out by hand: `x = b r / (b² + s²)`.
    #[test]
    fn one_reading_pulls_as_far_as_the_noise_lets_it() {
        let o = outlook(1.0, 0.5, [2.0, 0.0]);
        let found = likeliest(&[(&o, 2.0)], [0.0; 2]).unwrap();
        let want = 2.0 * 1.0 / (4.0 + 0.25);
        assert!((found.off[0] - want).abs() < 1e-12);
        assert_eq!(found.off[1], 0.0);
    }

    /// Two readings, each of one unknown, do not speak of the other's.
    #[test]
    fn readings_that_share_nothing_stay_apart() {
        let (a, b) = (outlook(0.0, 1.0, [1.0, 0.0]), outlook(0.0, 1.0, [0.0, 3.0]));
        let found = likeliest(&[(&a, 1.0), (&b, -2.0)], [0.0; 2]).unwrap();
        assert!((found.off[0] - 0.5).abs() < 1e-12);
        assert!((found.off[1] + 0.6).abs() < 1e-12);
    }
}
