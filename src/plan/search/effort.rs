//! How far the planner looks ahead.

/// How hard to look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Steps to look ahead at most.
    pub depth: usize,
    /// Worlds that are gone through at most in pricing plans without tests; the
    /// first look is always finished. Counted, not timed, so that the advice is
    /// the same on every machine.
    pub work: usize,
    /// Tests that are gone into at each moment, those that tell most for their
    /// cost. Where all first steps are priced the first look goes into all.
    pub width: usize,
    /// The same of remedies, those that mend most for their cost.
    pub mends: usize,
    /// First steps that are priced, even where another is cheaper, in the first
    /// look.
    pub first: usize,
    /// Whether it is proved how near to the cheapest the plan is. Without, the
    /// lower bound of its cost is 0.
    pub proof: bool,
}

impl Default for Effort {
    fn default() -> Self {
        Effort::FIRST
    }
}

impl Effort {
    /// One step: for an answer at once.
    pub const FIRST: Effort = Effort {
        depth: 1,
        work: usize::MAX,
        width: usize::MAX,
        mends: usize::MAX,
        first: usize::MAX,
        proof: true,
    };
    /// One step, and of all there are only the best, without proof of how near
    /// to the cheapest it is: for many answers.
    pub const BEST: Effort = Effort {
        depth: 1,
        work: usize::MAX,
        width: 8,
        mends: 3,
        first: 1,
        proof: false,
    };
    /// As far as an answer that comes without a wait.
    pub const REFINED: Effort = Effort {
        depth: 5,
        work: 500_000,
        width: 8,
        mends: 8,
        first: usize::MAX,
        proof: true,
    };
    /// To the end, whatever it takes.
    pub const EXACT: Effort = Effort {
        depth: usize::MAX,
        work: usize::MAX,
        width: usize::MAX,
        mends: usize::MAX,
        first: usize::MAX,
        proof: true,
    };

    /// How many tests and remedies are gone into where so many steps are priced.
    pub(in crate::plan) fn gone_into(self, priced: usize) -> [usize; 2] {
        match priced {
            usize::MAX => [usize::MAX; 2],
            _ => [self.width, self.mends],
        }
    }
}
