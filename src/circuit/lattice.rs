//! Places spread evenly over the unit cube of as many axes as are wanted.
//!
//! A lattice of rank one (Korobov 1959): along each axis by itself the places lie at
//! equal distances, each value once, and along any two axes together they leave no
//! large hole.

/// How many places there are: a prime, so that no axis repeats a value.
pub const PLACES: usize = 127;

/// By how many values each place is further along an axis than the one before.
///
/// Chosen one after the other so that the places of two axes do not lie on few lines.
/// They do where `u x + v y` is a whole number at all places for small whole `u` and
/// `v`: `|u v|` is at least 6 among the first sixteen, and at least 2 among all. The
/// most important axes come first.
const GENERATORS: [usize; 28] = [
    1, 34, 35, 47, 45, 12, 39, 52, 38, 27, 18, 11, 30, 28, 21, 62, 16, 5, 20, 43, 25, 13, 7, 48,
    29, 55, 4, 49,
];

/// Where each place lies on an axis, between 0 and 1.
pub fn axis(which: usize) -> impl Iterator<Item = f64> {
    let generator = GENERATORS[which % GENERATORS.len()];
    (0..PLACES).map(move |n| ((n * generator % PLACES) as f64 + 0.5) / PLACES as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_axis_has_every_value_once() {
        for which in 0..GENERATORS.len() {
            let mut all: Vec<f64> = axis(which).collect();
            all.sort_by(f64::total_cmp);
            for (n, x) in all.iter().enumerate() {
                assert!((x - (n as f64 + 0.5) / PLACES as f64).abs() < 1e-12);
            }
        }
    }

    /// For any two axes some `u x + v y` is a whole number at all places; small `u` and
    /// `v` mean that the places lie on few lines.
    #[test]
    fn two_axes_together_leave_no_large_hole() {
        let n = PLACES as i64;
        for (i, a) in GENERATORS.iter().enumerate() {
            for b in &GENERATORS[..i] {
                let whole = |u: i64, v: i64| (u * *a as i64 + v * *b as i64) % n == 0;
                let all = (0..=8).flat_map(|u| (-8..=8).map(move |v| (u, v)));
                let few = all
                    .filter(|(u, v)| (*u, *v) != (0, 0) && whole(*u, *v))
                    .map(|(u, v)| u.max(1) * v.abs().max(1));
                let least = if i < 16 { 6 } else { 2 };
                assert!(few.min().is_none_or(|m| m >= least), "{a} {b}");
            }
        }
    }
}
