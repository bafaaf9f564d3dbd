//! The order of suspects.

use std::cmp::Ordering;

/// Bits of a probability that sums may leave to rounding: what is above them
/// is some twelve decimal digits.
const NOISE: u32 = 12;

/// A probability without its noise, in the order of the probabilities.
fn steady(p: f64) -> u64 {
    // The bits of numbers from 0 up are in the order of their values.
    (p.max(0.0).to_bits() + (1 << (NOISE - 1))) >> NOISE
}

/// The likelier first. Probabilities that agree to some twelve digits are
/// equal, so that a stable sort leaves such suspects in the order of the rules
/// however the sums were rounded.
pub fn likelier(a: f64, b: f64) -> Ordering {
    steady(b).cmp(&steady(a))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_noise_does_not_order() {
        for p in [1.0, 0.5, 0.3, 0.1 / 0.28, 1e-9, 3e-200] {
            for q in [p * (1.0 + 4e-16), p * (1.0 - 4e-16)] {
                assert_eq!(likelier(p, q), Ordering::Equal, "{p:e}");
            }
            assert_eq!(likelier(p * (1.0 + 1e-11), p), Ordering::Less, "{p:e}");
            assert_eq!(likelier(p, p * (1.0 + 1e-11)), Ordering::Greater, "{p:e}");
        }
        assert_eq!(likelier(0.0, -0.0), Ordering::Equal);
        let third = 1.0 / 3.0;
        let mut order = [0, 1, 2, 3];
        let p = [third, 0.4, 1.0 - 2.0 * third, third + 1e-17];
        order.sort_by(|a, b| likelier(p[*a], p[*b]));
        assert_eq!(order, [1, 0, 2, 3]);
    }
}
