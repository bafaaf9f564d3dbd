//! Which step comes first: the one judge of the plan and of the job.
//!
//! It is the cheapest, but
//!
//! - never one that a technician would call silly: a test whose outcome is known
//!   before, or a remedy on a guess while what is complained of works;
//! - where the cheapest needs an open device or a tool, a handy test that costs
//!   about the same and tells enough stands in for it;
//! - of tests that cost about the same and are as handy, the one that tells most
//!   is taken;
//! - where no step is clearly cheaper than handing the device back, every cheap
//!   test looks good because it puts off the loss. Then the repair of a known cause
//!   that costs hardly more comes first, else the test that tells most for its
//!   time, and where none tells anything the device goes back.
//!
//! All numbers are common practice, no source.

/// Steps whose expected cost is within this share of the cheapest are equally
/// good: the rates that the costs rest on are known to about a third, and a
/// third more or less on single rates moves the difference between two good
/// steps by one to three hundredths of the cost.
pub const TIE: f64 = 0.02;
/// Nobody opens a device or fetches a tool to save less than this share.
pub const HANDY: f64 = 0.03;
/// A step tells more than another from this ratio of information on.
const TELLS_MORE: f64 = 1.05;
/// A handy test stands in for one that tells up to this many times as much.
const STANDS_IN_FOR: f64 = 2.0;
/// A test that tells this many bits is worth doing: before a remedy that needs
/// more than the test does, and before the device is handed back.
const WORTH: f64 = 0.05;
/// From this chance on the outcome of a test is known before.
const KNOWN_BEFORE: f64 = 0.97;
/// Minutes up to which a look or a question costs next to nothing.
const FREE: f64 = 3.0;
/// Chance that a remedy mends all from which on it is no guess.
pub const NO_GUESS: f64 = 0.5;
/// Within this share of the loss a step is not clearly cheaper than handing back.
const CLEARLY: f64 = 0.02;
/// A shop repairs a known cause though that costs up to this share more than
/// handing back: a customer is kept by it.
const KEPT: f64 = 0.1;

/// A step as it is weighed against others.
#[derive(Clone, Copy, Debug)]
pub struct Weighed {
    /// Expected cost of the whole if it is taken now.
    pub cost: f64,
    /// Minutes that it takes now.
    pub minutes: f64,
    /// Whether it needs neither an open device nor a tool.
    pub handy: bool,
    /// What it comes to.
    pub comes_to: ComesTo,
}

/// What a step comes to.
#[derive(Clone, Copy, Debug)]
pub enum ComesTo {
    /// A test tells something.
    Told {
        /// What it is expected to tell, in bits.
        bits: f64,
        /// Chance of its likeliest outcome, 0 where that is not asked.
        likeliest: f64,
        /// Whether it is a look or a question.
        look: bool,
        /// Whether it tries what is complained of, which is done whatever is known.
        control: bool,
    },
    /// A remedy mends all that is wrong with this chance.
    Mended(f64),
}

/// What a device is like to which the steps are done.
#[derive(Clone, Copy, Debug)]
pub struct Standing {
    /// Whether what is complained of works now.
    pub works: bool,
    /// What handing it back now is expected to count.
    pub loss: f64,
}

impl Weighed {
    fn bits(&self) -> Option<f64> {
        match self.comes_to {
            ComesTo::Told { bits, .. } => Some(bits),
            ComesTo::Mended(_) => None,
        }
    }

    /// Whether a test tells what is known already. A free look may, and so may a
    /// try of what is complained of.
    fn is_known(&self) -> bool {
        match self.comes_to {
            ComesTo::Told {
                likeliest,
                look,
                control,
                ..
            } => {
                let free = look && self.handy && self.minutes <= FREE;
                likeliest >= KNOWN_BEFORE && !free && !control
            }
            ComesTo::Mended(_) => false,
        }
    }

    /// Whether it is a remedy that most likely does not mend all.
    fn is_guess(&self) -> bool {
        matches!(self.comes_to, ComesTo::Mended(all) if all < NO_GUESS)
    }
}

/// The step to take, by index; none if the device is handed back, or there is no
/// step.
pub fn first(steps: &[Weighed], now: Standing) -> Option<usize> {
    let sensible = |i: &usize| {
        let s = &steps[*i];
        !(s.is_known() || now.works && s.is_guess())
    };
    let all = || (0..steps.len()).filter(sensible);
    let cheaper = |a: &usize, b: &usize| steps[*a].cost.total_cmp(&steps[*b].cost);
    // A handy test that stands in for a step that needs more.
    let beside = |at: usize| {
        let most = steps[at].cost * (1.0 + HANDY);
        let enough = steps[at].bits().map_or(WORTH, |b| b / STANDS_IN_FOR);
        let stands_in = |i: &usize| {
            let s = &steps[*i];
            s.handy && s.cost <= most && s.bits().is_some_and(|b| b > 0.0 && b >= enough)
        };
        let of = all().filter(stands_in).min_by(cheaper);
        of.filter(|_| !steps[at].handy)
    };
    let cheapest = all().min_by(cheaper)?;
    if steps[cheapest].bits().is_some() && steps[cheapest].cost >= now.loss * (1.0 - CLEARLY) {
        let repairs = |i: &usize| {
            let s = &steps[*i];
            s.bits().is_none() && !s.is_guess() && s.cost <= now.loss * (1.0 + KEPT)
        };
        let rate = |i: usize| steps[i].bits().unwrap_or(0.0) / steps[i].minutes.max(1.0);
        let telling = all().filter(|i| steps[*i].bits().is_some_and(|b| b >= WORTH));
        let most = telling.max_by(|a, b| rate(*a).total_cmp(&rate(*b)).then(b.cmp(a)));
        let most = most.map(|m| beside(m).unwrap_or(m));
        return all().filter(repairs).min_by(cheaper).or(most);
    }
    let base = beside(cheapest).unwrap_or(cheapest);
    let Some(told) = steps[base].bits() else {
        return Some(base);
    };
    let tells_more = |i: &usize| {
        let s = &steps[*i];
        s.handy == steps[base].handy
            && s.cost <= steps[base].cost * (1.0 + TIE)
            && s.bits().is_some_and(|b| b > told * TELLS_MORE)
            && beside(*i).is_none()
    };
    let bits = |i: usize| steps[i].bits().unwrap_or(0.0);
    let most = (all().filter(tells_more)).max_by(|a, b| bits(*a).total_cmp(&bits(*b)));
    most.or(Some(base))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Nothing is known of the device, and handing it back is no way out.
    const OPEN: Standing = Standing {
        works: false,
        loss: f64::INFINITY,
    };

    fn test(cost: f64, bits: f64, handy: bool) -> Weighed {
        Weighed {
            cost,
            minutes: 5.0,
            handy,
            comes_to: ComesTo::Told {
                bits,
                likeliest: 0.6,
                look: false,
                control: false,
            },
        }
    }

    fn remedy(cost: f64, handy: bool) -> Weighed {
        Weighed {
            cost,
            minutes: 5.0,
            handy,
            comes_to: ComesTo::Mended(0.3),
        }
    }

    fn repair(cost: f64) -> Weighed {
        Weighed {
            comes_to: ComesTo::Mended(0.8),
            ..remedy(cost, false)
        }
    }

    /// The same test, its outcome known before with this chance.
    fn known(mut step: Weighed, chance: f64, is_look: bool, tries: bool) -> Weighed {
        if let ComesTo::Told {
            likeliest,
            look,
            control,
            ..
        } = &mut step.comes_to
        {
            (*likeliest, *look, *control) = (chance, is_look, tries);
        }
        step
    }

    #[test]
    fn a_tie_goes_to_the_test_that_tells_most() {
        let close = [test(100.0, 0.4, true), test(101.9, 0.8, true)];
        assert_eq!(first(&close, OPEN), Some(1));
        let apart = [test(100.0, 0.4, true), test(102.1, 0.8, true)];
        assert_eq!(first(&apart, OPEN), Some(0));
        let same = [test(100.0, 0.40, true), test(101.0, 0.41, true)];
        assert_eq!(first(&same, OPEN), Some(0));
        // A tool is not fetched for it.
        let tool = [test(100.0, 0.4, true), test(101.0, 0.8, false)];
        assert_eq!(first(&tool, OPEN), Some(0));
        // The cheapest remedy is not put off for a test that needs as much.
        let mend = [remedy(100.0, false), test(101.0, 0.8, false)];
        assert_eq!(first(&mend, OPEN), Some(0));
        assert_eq!(first(&[], OPEN), None);
    }

    #[test]
    fn no_step_that_needs_more_is_taken_beside_a_handy_test() {
        let near = [test(100.0, 0.8, false), test(102.9, 0.5, true)];
        assert_eq!(first(&near, OPEN), Some(1));
        let far = [test(100.0, 0.8, false), test(103.1, 0.8, true)];
        assert_eq!(first(&far, OPEN), Some(0));
        let mend = [remedy(100.0, false), test(102.0, 0.06, true)];
        assert_eq!(first(&mend, OPEN), Some(1));
        let blind = [test(100.0, 0.8, false), test(101.0, 0.3, true)];
        assert_eq!(first(&blind, OPEN), Some(0));
        // The second tells most, but would have the third beside it.
        let three = [
            test(100.0, 0.4, false),
            test(101.5, 0.8, false),
            test(104.0, 0.9, true),
        ];
        assert_eq!(first(&three, OPEN), Some(0));
    }

    #[test]
    fn nothing_is_asked_that_is_known_before() {
        let of = |chance, look, tries| {
            let steps = [
                known(test(100.0, 0.1, true), chance, look, tries),
                test(110.0, 0.1, true),
            ];
            first(&steps, OPEN)
        };
        assert_eq!(of(0.98, false, false), Some(1));
        assert_eq!(of(0.96, false, false), Some(0));
        // A try of what is complained of may be.
        assert_eq!(of(0.98, false, true), Some(0));
        // And a look of some minutes, but not a long one.
        let mut steps = [
            known(test(100.0, 0.1, true), 0.98, true, false),
            test(110.0, 0.1, true),
        ];
        assert_eq!(first(&steps, OPEN), Some(1));
        steps[0].minutes = 2.0;
        assert_eq!(first(&steps, OPEN), Some(0));
    }

    #[test]
    fn what_works_is_not_repaired_on_a_guess() {
        let works = Standing {
            works: true,
            ..OPEN
        };
        let steps = [remedy(100.0, true), test(120.0, 0.1, false)];
        assert_eq!(first(&steps, OPEN), Some(0));
        assert_eq!(first(&steps, works), Some(1));
        assert_eq!(first(&steps[..1], works), None);
        assert_eq!(first(&[repair(100.0)], works), Some(0));
    }

    #[test]
    fn a_test_that_only_puts_off_the_loss_is_weighed_by_what_it_tells() {
        let now = Standing {
            works: false,
            loss: 100.0,
        };
        let quick = Weighed {
            minutes: 1.0,
            ..test(99.5, 0.3, true)
        };
        let slow = test(99.0, 0.4, true);
        assert_eq!(first(&[slow, quick], now), Some(1));
        // A known cause is repaired for hardly more, a guess is not.
        assert_eq!(first(&[slow, quick, repair(109.0)], now), Some(2));
        assert_eq!(first(&[slow, quick, repair(111.0)], now), Some(1));
        assert_eq!(first(&[slow, quick, remedy(101.0, false)], now), Some(1));
        // A step that saves something is taken as usual.
        let saves = [test(97.0, 0.4, true), quick, repair(109.0)];
        assert_eq!(first(&saves, now), Some(0));
        // None tells anything: the device goes back.
        assert_eq!(first(&[test(99.0, 0.04, true)], now), None);
    }
}
