//! Chance that can be asked for twice: numbers that depend on nothing but their
//! names, so that two ways of working meet the same luck.

/// A place from which numbers can be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Luck(u64);

impl Luck {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Luck(mix(seed))
    }

    /// The place of that name below this one.
    #[must_use]
    pub fn of(self, name: u64) -> Self {
        Luck(mix(self.0 ^ mix(name.wrapping_add(0x9e37_79b9_7f4a_7c15))))
    }

    /// An even number from 0 on, below 1.
    pub fn number(self) -> f64 {
        (mix(self.0) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// One of so many, evenly.
    pub fn one_of(self, many: usize) -> usize {
        ((self.number() * many as f64) as usize).min(many.saturating_sub(1))
    }

    /// One of these by their weights; the last that has any if they sum to less.
    pub fn weighed(self, weights: impl Iterator<Item = f64> + Clone) -> usize {
        let total: f64 = weights.clone().sum();
        let mut left = self.number() * total;
        let mut last = 0;
        for (i, w) in weights.enumerate() {
            if w > 0.0 {
                last = i;
                if left < w {
                    return i;
                }
            }
            left -= w;
        }
        last
    }
}

/// A name in words as a number (FNV-1a).
pub fn named(words: &str) -> u64 {
    words.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// Spreads a number over all 64 bits: the last step of the SplitMix64 generator
/// (Steele, Lea and Flood 2014).
fn mix(x: u64) -> u64 {
    let x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_even_and_do_not_hang_together() {
        let n = 20_000;
        let luck = Luck::new(1);
        let mut tenths = [0u32; 10];
        let (mut sum, mut product) = (0.0, 0.0);
        for i in 0..n {
            let (a, b) = (luck.of(i).number(), luck.of(i + 1).number());
            tenths[(a * 10.0) as usize] += 1;
            sum += a;
            product += (a - 0.5) * (b - 0.5);
        }
        let n = n as f64;
        // Four standard deviations of each.
        let deviation = (n * 0.09).sqrt();
        assert!(
            tenths
                .iter()
                .all(|t| (f64::from(*t) - n / 10.0).abs() < 4.0 * deviation),
            "{tenths:?}"
        );
        assert!((sum / n - 0.5).abs() < 4.0 / (12.0 * n).sqrt());
        assert!((product / n).abs() < 4.0 / 12.0 / n.sqrt());
    }

    #[test]
    fn one_is_drawn_as_often_as_it_weighs() {
        let weights = [0.0, 1.0, 3.0, 0.0];
        let n = 10_000;
        let mut hits = [0u32; 4];
        for i in 0..n {
            hits[Luck::new(i).weighed(weights.iter().copied())] += 1;
        }
        assert_eq!((hits[0], hits[3]), (0, 0));
        let share = f64::from(hits[1]) / n as f64;
        assert!((share - 0.25).abs() < 4.0 * (0.1875 / n as f64).sqrt());
    }
}
