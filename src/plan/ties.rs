//! Which of the steps that cost about the same is taken.

/// Steps whose expected cost is within this share of the cheapest are equally
/// good: the rates that the costs rest on are known to about a third, and a
/// third more or less on single rates moves the difference between two good
/// steps by one to three hundredths of the cost. Common practice, no source.
pub const TIE: f64 = 0.02;
/// Nobody opens a device or fetches a tool to save less than this share.
/// Common practice, no source.
pub const HANDY: f64 = 0.03;
/// A step tells more than another from this ratio of information on.
const TELLS_MORE: f64 = 1.05;
/// A handy test stands in for one that tells up to this many times as much.
const STANDS_IN_FOR: f64 = 2.0;
/// And for a remedy if it tells this many bits.
const BEFORE_A_REMEDY: f64 = 0.05;

/// A step as it is weighed against others.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tied {
    /// Expected cost of the whole if it is taken now.
    pub(super) cost: f64,
    /// What a test tells, in bits; `None` for a remedy.
    pub(super) bits: Option<f64>,
    /// Whether it needs neither an open device nor a tool.
    pub(super) handy: bool,
}

/// The one to take, by index; none of no steps.
///
/// It is the cheapest. But where that needs an open device or a tool, a handy
/// test within [`HANDY`] of its cost that tells enough stands in for it; and of
/// tests as handy as it and within [`TIE`] of its cost the one that tells most is
/// taken, as long as no handy test stands beside that one.
pub(super) fn first(steps: &[Tied]) -> Option<usize> {
    let all = 0..steps.len();
    let cheaper = |a: &usize, b: &usize| steps[*a].cost.total_cmp(&steps[*b].cost);
    let beside = |at: usize| {
        let most = steps[at].cost * (1.0 + HANDY);
        let enough = (steps[at].bits).map_or(BEFORE_A_REMEDY, |b| b / STANDS_IN_FOR);
        let stands_in = |i: &usize| {
            let s = &steps[*i];
            s.handy && s.bits.is_some_and(|b| b > 0.0 && b >= enough) && s.cost <= most
        };
        let of = all.clone().filter(stands_in).min_by(cheaper);
        of.filter(|_| !steps[at].handy)
    };
    let cheapest = all.clone().min_by(cheaper)?;
    let base = beside(cheapest).unwrap_or(cheapest);
    let Some(told) = steps[base].bits else {
        return Some(base);
    };
    let bits = |i: usize| steps[i].bits.unwrap_or(0.0);
    let tells_more = |i: &usize| {
        let s = &steps[*i];
        s.handy == steps[base].handy
            && s.cost <= steps[base].cost * (1.0 + TIE)
            && bits(*i) > told * TELLS_MORE
            && beside(*i).is_none()
    };
    let most = (all.clone().filter(tells_more)).max_by(|a, b| bits(*a).total_cmp(&bits(*b)));
    most.or(Some(base))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn test(cost: f64, bits: f64, handy: bool) -> Tied {
        Tied {
            cost,
            bits: Some(bits),
            handy,
        }
    }

    fn remedy(cost: f64, handy: bool) -> Tied {
        Tied {
            cost,
            bits: None,
            handy,
        }
    }

    #[test]
    fn a_tie_goes_to_the_test_that_tells_most() {
        let close = [test(100.0, 0.4, true), test(101.9, 0.8, true)];
        assert_eq!(first(&close), Some(1));
        let apart = [test(100.0, 0.4, true), test(102.1, 0.8, true)];
        assert_eq!(first(&apart), Some(0));
        let same = [test(100.0, 0.40, true), test(101.0, 0.41, true)];
        assert_eq!(first(&same), Some(0));
        // A tool is not fetched for it.
        let tool = [test(100.0, 0.4, true), test(101.0, 0.8, false)];
        assert_eq!(first(&tool), Some(0));
        // The cheapest remedy is not put off for a test that needs as much.
        let mend = [remedy(100.0, false), test(101.0, 0.8, false)];
        assert_eq!(first(&mend), Some(0));
        assert_eq!(first(&[]), None);
    }

    #[test]
    fn no_step_that_needs_more_is_taken_beside_a_handy_test() {
        let near = [test(100.0, 0.8, false), test(102.9, 0.5, true)];
        assert_eq!(first(&near), Some(1));
        let far = [test(100.0, 0.8, false), test(103.1, 0.8, true)];
        assert_eq!(first(&far), Some(0));
        let mend = [remedy(100.0, false), test(102.0, 0.1, true)];
        assert_eq!(first(&mend), Some(1));
        let blind = [test(100.0, 0.8, false), test(101.0, 0.3, true)];
        assert_eq!(first(&blind), Some(0));
        // The second tells most, but would have the third beside it.
        let three = [
            test(100.0, 0.4, false),
            test(101.5, 0.8, false),
            test(104.0, 0.9, true),
        ];
        assert_eq!(first(&three), Some(0));
    }
}
