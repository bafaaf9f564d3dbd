//! Which of the steps that cost about the same is taken.

use super::gain::surprise;

/// Steps whose expected cost is within this share of the cheapest are equally
/// good: the rates that the costs rest on are known to about a third, and a
/// third more or less on single rates moves the difference between two good
/// steps by one to three hundredths of the cost. Common practice, no source.
pub const TIE: f64 = 0.02;
/// Nobody opens a device or fetches a tool to save less than this share.
/// Common practice, no source.
pub const HANDY: f64 = 0.03;
/// Shares of information that count as the same.
const SAME_BITS: f64 = 0.05;

/// A step as it is weighed against others.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tied {
    /// Expected cost of the whole if it is taken now.
    pub(super) cost: f64,
    /// What its result tells, in bits.
    pub(super) bits: f64,
    /// What it takes now.
    pub(super) price: f64,
    /// Whether it needs neither an open device nor a tool.
    pub(super) handy: bool,
}

/// The one to take, by index; none of no steps.
///
/// A handy step goes before one that is not, where it costs no more than
/// [`HANDY`] above it and tells about as much: to open a device or fetch a tool
/// beside it would be silly. So no step is taken that has such a step beside it.
/// Of the others within [`TIE`] of the cheapest the one that tells most is
/// taken, then the one that takes least.
pub(super) fn first(steps: &[Tied]) -> Option<usize> {
    // A handy step that stands in for one that is not.
    let beside = |x: &Tied| {
        let stands_in = |h: &Tied| {
            h.handy && h.cost <= x.cost * (1.0 + HANDY) && h.bits >= x.bits * (1.0 - SAME_BITS)
        };
        !x.handy && steps.iter().any(stands_in)
    };
    let mut of: Vec<usize> = (0..steps.len()).filter(|i| !beside(&steps[*i])).collect();
    let costs = of.iter().map(|i| steps[*i].cost);
    let most = costs.fold(f64::INFINITY, f64::min) * (1.0 + TIE);
    of.retain(|i| steps[*i].cost <= most);
    let bits = of.iter().map(|i| steps[*i].bits).fold(0.0, f64::max);
    of.retain(|i| steps[*i].bits >= bits * (1.0 - SAME_BITS));
    let by = |a: &usize, b: &usize| {
        let (a, b) = (&steps[*a], &steps[*b]);
        a.price.total_cmp(&b.price).then(a.cost.total_cmp(&b.cost))
    };
    of.into_iter().min_by(by)
}

/// What trying a remedy tells: whether what is wrong was what it mends, bits.
pub(super) fn told_by_mending(mends: f64) -> f64 {
    let mends = mends.clamp(0.0, 1.0);
    surprise(mends) + surprise(1.0 - mends)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(cost: f64, bits: f64, price: f64, handy: bool) -> Tied {
        Tied {
            cost,
            bits,
            price,
            handy,
        }
    }

    #[test]
    fn a_tie_goes_to_what_tells_most_then_to_what_takes_least() {
        let close = [step(100.0, 0.4, 5.0, true), step(101.9, 0.8, 9.0, true)];
        assert_eq!(first(&close), Some(1));
        let apart = [step(100.0, 0.4, 5.0, true), step(102.1, 0.8, 9.0, true)];
        assert_eq!(first(&apart), Some(0));
        let same = [step(100.0, 0.40, 5.0, true), step(101.0, 0.39, 4.0, true)];
        assert_eq!(first(&same), Some(1));
        assert_eq!(first(&[]), None);
    }

    #[test]
    fn no_step_is_taken_beside_a_handy_one_that_tells_about_as_much() {
        let near = [step(100.0, 0.8, 5.0, false), step(102.9, 0.79, 5.0, true)];
        assert_eq!(first(&near), Some(1));
        let far = [step(100.0, 0.8, 5.0, false), step(103.1, 0.79, 5.0, true)];
        assert_eq!(first(&far), Some(0));
        let blind = [step(100.0, 0.8, 5.0, false), step(101.0, 0.1, 1.0, true)];
        assert_eq!(first(&blind), Some(0));
        // The second tells most, and would bring the third within reach.
        let three = [
            step(100.0, 0.4, 5.0, false),
            step(101.5, 0.8, 5.0, false),
            step(104.0, 0.9, 5.0, true),
        ];
        assert_eq!(first(&three), Some(0));
    }
}
