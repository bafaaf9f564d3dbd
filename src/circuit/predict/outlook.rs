//! Where a reading lies and how it moves with what is not known.

use super::scale::Scale;
use crate::circuit::meter::Accuracy;

/// One reading of a circuit whose faults have known sizes, as what it follows:
/// its middle, and how it moves with all that is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// Scale of the mode.
    pub scale: Scale,
    /// Where it lies on the scale.
    pub centre: f64,
    /// Standard deviation of the meter alone, on the scale, where it lies.
    pub noise: f64,
    /// Accuracy of the meter in the range that it was solved for.
    pub accuracy: Accuracy,
    /// By how much it moves on the scale with one standard deviation of what this
    /// meter and its leads are off by ([`offset`](super::meter::offset)): the same
    /// for all readings of a job.
    pub offset: f64,
    /// By how much it moves on the scale with one standard deviation of each
    /// unknown value of the circuit.
    pub by: Vec<f64>,
    /// How it moves with the natural logarithm of the size of each fault that
    /// was asked about.
    pub sizes: Vec<f64>,
    /// Limits on the scale: above the higher it is OL or in the next range of the
    /// meter, up to the lower in the range before.
    pub limit: f64,
    /// See there.
    pub floor: f64,
    /// By how much that may be off, as a standard deviation on the scale: it is found
    /// by a straight line, and junctions are not straight.
    pub floor_off: f64,
}

/// By how much the place up to which the range before shows a resistance is off, as a
/// standard deviation of its logarithm, and as a share of how far the reading moves
/// with all that is not known. Seen on drawn devices.
pub(super) const FLOOR: f64 = 0.2;

/// Up to where the range before shows what a range would read, given the middle
/// of what either would read and how far that moves: the same circuit that reads
/// just the limit there reads this here.
pub(super) fn floor(before: (f64, f64), limit: f64, here: (f64, f64)) -> f64 {
    let ratio = match before.1 > 1e-9 {
        true => here.1 / before.1,
        false => 1.0,
    };
    here.0 + (limit - before.0) * ratio
}

impl Outlook {
    /// Standard deviation of the meter alone where it shows a place on the scale. A
    /// high range shows little of a small resistance, yet never takes it for a
    /// large one: what counts is the accuracy where it is shown.
    #[must_use]
    pub fn noise_at(&self, place: f64) -> f64 {
        let value = self.scale.from(place);
        self.accuracy.deviation(value) * self.scale.slope(value)
    }

    /// How far it moves with all that is not known of the circuit, the meter
    /// aside.
    pub(in crate::circuit) fn moves(&self) -> f64 {
        let all = self.by.iter().chain(&self.sizes);
        all.map(|by| by * by).sum::<f64>().sqrt()
    }
}
