//! What readings of good boards have told of the values of a circuit.

/// What a reading has told of the unknown values: one direction, in standard
/// deviations of each in the order of the spreads, along which less is unknown
/// now. What is left unknown is as a matrix `1 - v v'` for the direction `v`; its
/// root turns what each unknown does to a reading into what it does from now on,
/// so that readings go on sharing what they shared.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    along: Vec<f64>,
    /// The root is `1 - c v v'` with this `c`.
    less: f64,
}

impl Told {
    pub(super) fn new(along: Vec<f64>) -> Self {
        let square: f64 = along.iter().map(|a| a * a).sum();
        let left = (1.0 - square).max(0.0).sqrt();
        Told {
            less: match square > 0.0 {
                true => (1.0 - left) / square,
                false => 0.0,
            },
            along,
        }
    }

    fn with(&self, all: &[f64]) -> f64 {
        self.along.iter().zip(all).map(|(v, a)| v * a).sum()
    }

    /// Takes off what is known from what a standard deviation of each unknown
    /// does to a reading.
    pub(super) fn leave(&self, pulls: &mut [f64]) {
        let known = self.less * self.with(pulls);
        pulls
            .iter_mut()
            .zip(&self.along)
            .for_each(|(p, v)| *p -= known * v);
    }

    /// The other way round: unknowns before, of unknowns after.
    pub(super) fn undo(&self, all: &mut [f64]) {
        let square: f64 = self.along.iter().map(|a| a * a).sum();
        let more = self.less / (1.0 - self.less * square).max(1e-9) * self.with(all);
        all.iter_mut()
            .zip(&self.along)
            .for_each(|(a, v)| *a += more * v);
    }
}
