//! Vectors of weights by combinations of digits, and how faults move them.

use super::digits::{Digit, Push};

/// What a vector of weights is indexed by.
pub(super) struct Space {
    /// The digits, the narrowest stride first.
    pub(super) digits: Vec<usize>,
    /// Stride and levels by digit; zero for digits that are not in it.
    pub(super) at: Vec<(usize, usize)>,
    pub(super) states: usize,
}

impl Space {
    pub(super) fn new(all: &[Digit], digits: Vec<usize>) -> Space {
        let mut at = vec![(0, 0); all.len()];
        let mut states = 1;
        for d in &digits {
            at[*d] = (states, all[*d].levels);
            states *= all[*d].levels;
        }
        Space { digits, at, states }
    }

    /// The level of a digit in a state.
    pub(super) fn level(&self, digit: usize, state: usize) -> usize {
        let (stride, levels) = self.at[digit];
        state / stride % levels
    }

    /// The vector whose weights are a product over the digits.
    pub(super) fn product(
        &self,
        all: &[Digit],
        constant: f64,
        of: impl Fn(&Digit) -> &[f64; 3],
    ) -> Vec<f64> {
        let mut v = Vec::with_capacity(self.states);
        v.push(constant);
        for d in &self.digits {
            let digit = &all[*d];
            let n = v.len();
            for _ in 1..digit.levels {
                v.extend_from_within(..n);
            }
            for (part, by) in v.chunks_exact_mut(n).zip(of(digit)) {
                part.iter_mut().for_each(|x| *x *= by);
            }
        }
        v
    }

    /// Where the combinations of some of its digits are in it.
    pub(super) fn places(&self, digits: impl Iterator<Item = usize>) -> Vec<u32> {
        let mut out = vec![0];
        for d in digits {
            let (stride, levels) = self.at[d];
            out = (0..levels)
                .flat_map(|l| out.iter().map(move |o| o + (l * stride) as u32))
                .collect();
        }
        out
    }

    /// Goes over the pushes of a fault where it is present, each on its own
    /// digit: `two` and `three` move the weights of one run of levels.
    /// Gives the chance that what was folded in stays possible.
    pub(super) fn sweep(
        &self,
        v: &mut [f64],
        pushes: &[Push],
        present: u64,
        two: impl Fn(&mut f64, &mut f64, f64),
        three: impl Fn([f64; 3], f64, f64) -> [f64; 3],
    ) -> f64 {
        let mut keep = 1.0;
        for p in pushes {
            if present >> p.epoch & 1 == 0 {
                continue;
            }
            keep *= p.keep;
            let Some(digit) = p.digit else { continue };
            let (step, levels) = self.at[digit];
            for block in v.chunks_exact_mut(step * levels) {
                if levels == 2 {
                    let (low, high) = block.split_at_mut(step);
                    for (l, h) in low.iter_mut().zip(high) {
                        two(l, h, p.up);
                    }
                } else {
                    for i in 0..step {
                        let was = [block[i], block[i + step], block[i + 2 * step]];
                        let [a, b, c] = three(was, p.up, p.far);
                        block[i] = a;
                        block[i + step] = b;
                        block[i + 2 * step] = c;
                    }
                }
            }
        }
        keep
    }

    /// Moves weight up as a present fault does.
    pub(super) fn push(&self, v: &mut [f64], pushes: &[Push], present: u64) -> f64 {
        self.sweep(
            v,
            pushes,
            present,
            |l, h, up| {
                *h += *l * up;
                *l *= 1.0 - up;
            },
            |[a, b, c], up, far| {
                [
                    a * (1.0 - up - far),
                    a * up + b * (1.0 - far),
                    (a + b) * far + c,
                ]
            },
        )
    }

    /// The transpose of [`Self::push`]; pushes may come in any order.
    pub(super) fn pull(&self, v: &mut [f64], pushes: &[Push], present: u64) -> f64 {
        self.sweep(
            v,
            pushes,
            present,
            |l, h, up| *l = *l * (1.0 - up) + *h * up,
            |[a, b, c], up, far| {
                [
                    a * (1.0 - up - far) + b * up + c * far,
                    b * (1.0 - far) + c * far,
                    c,
                ]
            },
        )
    }
}

/// Adds `by` times `what` to `to`.
pub(super) fn add(to: &mut [f64], what: &[f64], by: f64) {
    to.iter_mut().zip(what).for_each(|(t, w)| *t += w * by);
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl Space {
    pub(super) fn levels(&self) -> Vec<usize> {
        self.digits.iter().map(|d| self.at[*d].1).collect()
    }

    pub(super) fn by_pair(&self, pushed: &[f64]) -> Vec<f64> {
        by_pair(&self.levels(), pushed.to_vec())
    }

    pub(super) fn by_push(&self, paired: Vec<f64>) -> Vec<f64> {
        by_push(&self.levels(), paired)
    }
}

/// From the weights of what is pushed to, those of the pairs of states (from,
/// to): digit by digit, to the same level leads any push up to there, to a
/// higher one only the push to it. `levels` has those of each digit.
pub(super) fn by_pair(levels: &[usize], pushed: Vec<f64>) -> Vec<f64> {
    let mut v = pushed;
    let mut done = 1;
    for levels in levels.iter().copied() {
        let pairs = levels * (levels + 1) / 2;
        let mut next = Vec::with_capacity(v.len() / levels * pairs);
        for chunk in v.chunks_exact(done * levels) {
            for to in 0..levels {
                let push = |l: usize| &chunk[l * done..(l + 1) * done];
                for _ in 0..to {
                    next.extend_from_slice(push(to));
                }
                next.extend_from_slice(push(to));
                let at = next.len() - done;
                (0..to).for_each(|lower| add(&mut next[at..], push(lower), 1.0));
            }
        }
        v = next;
        done *= pairs;
    }
    v
}

/// The transpose of [`by_pair`].
pub(super) fn by_push(levels: &[usize], paired: Vec<f64>) -> Vec<f64> {
    let mut v = paired;
    let mut done = v.len();
    for levels in levels.iter().rev().copied() {
        let pairs = levels * (levels + 1) / 2;
        done /= pairs;
        let mut next = vec![0.0; v.len() / pairs * levels];
        let chunks = next.chunks_exact_mut(done * levels);
        for (out, chunk) in chunks.zip(v.chunks_exact(done * pairs)) {
            for (push, out) in out.chunks_exact_mut(done).enumerate() {
                for from in 0..levels {
                    let to = from.max(push);
                    let pair = to * (to + 1) / 2 + from;
                    add(out, &chunk[pair * done..(pair + 1) * done], 1.0);
                }
            }
        }
        v = next;
    }
    v
}
