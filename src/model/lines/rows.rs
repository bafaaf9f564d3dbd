//! Rows of a finding: sets of faults, each with what readings come to.

use crate::belief::FaultId;
use crate::circuit::joint::Joint;

/// The chances of what a fault may do to a line; `None` if it spares it.
pub(super) type Alternatives = Vec<(f64, Option<usize>)>;

/// `by` times the parts of what readings come to, onto `to`.
pub(super) fn add(to: &mut Vec<f64>, by: f64, joint: &Joint, parts: impl Fn(&Joint) -> &[f64]) {
    let of = std::iter::once(&joint.likelihood).chain(parts(joint));
    if to.is_empty() {
        to.extend(of.map(|x| by * x));
    } else {
        to.iter_mut().zip(of).for_each(|(t, x)| *t += by * x);
    }
}

/// Rows of a finding: sets of faults, each with what readings come to.
pub(super) type Rows = Vec<(Vec<FaultId>, Vec<f64>)>;

/// `share` of one thing and the rest of another.
pub(super) fn mix(one: &[f64], other: &[f64], share: f64) -> Vec<f64> {
    let both = one.iter().zip(other);
    both.map(|(a, b)| share * a + (1.0 - share) * b).collect()
}

/// Rows with siblings and without, by how likely the siblings are well.
pub(super) fn mixed(narrow: Rows, broad: Rows, well: &dyn Fn(&[FaultId]) -> f64) -> Rows {
    let both = narrow.into_iter().zip(broad);
    both.map(|((faults, a), (_, b))| {
        let share = well(&faults);
        (faults, mix(&a, &b, share))
    })
    .collect()
}
