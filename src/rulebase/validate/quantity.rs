//! What the numbers of the rules are called, and how large they may be.

/// A number of the rules; none is negative.
#[derive(Clone, Copy)]
pub(super) struct Quantity {
    /// As messages call it, with its article.
    pub(super) words: &'static str,
    /// The most that it may be.
    pub(super) most: f64,
    /// Whether messages say that it counts jobs of a thousand.
    pub(super) of_jobs: bool,
}

impl Quantity {
    pub(super) const CHANCE: Self = probability("a chance");
    pub(super) const CHANCE_OF_MISTAKE: Self = probability("a chance of a mistake");
    pub(super) const LEAK: Self = probability("a leak");
    pub(super) const PRIOR: Self = probability("a prior");
    pub(super) const PROBABILITY: Self = probability("a probability");
    pub(super) const RELIABILITY: Self = probability("a reliability");
    pub(super) const STRENGTH: Self = probability("a strength");
    /// Of all boards.
    pub(super) const SHARE_OF_BOARDS: Self = probability("a share");
    /// Of 1000 jobs; not all of them.
    pub(super) const SHARE_OF_JOBS: Self = of_jobs(up_to(999.0, "a share"));
    /// Of 1000 jobs.
    pub(super) const RATE: Self = of_jobs(up_to(1e3, "a rate"));
    pub(super) const MULTIPLIER: Self = up_to(1e3, "a multiplier");
    /// Of a test or a remedy.
    pub(super) const MINUTES: Self = up_to(1e5, "a time in minutes");
    /// Of a bench condition or the check of a hazard.
    pub(super) const BENCH_MINUTES: Self = up_to(1e4, "a time in minutes");
    /// To get a probe to a point.
    pub(super) const REACH_MINUTES: Self = of_jobs(up_to(1e3, "a time in minutes"));
    /// In the shop's currency.
    pub(super) const COST: Self = up_to(1e5, "a cost");
    /// In the unit of its test.
    pub(super) const READING: Self = up_to(1e9, "a reading");

    /// Whether it is a probability, which may have been written in per cent.
    pub(super) fn is_probability(self) -> bool {
        self.most == 1.0
    }
}

const fn up_to(most: f64, words: &'static str) -> Quantity {
    Quantity {
        words,
        most,
        of_jobs: false,
    }
}

const fn probability(words: &'static str) -> Quantity {
    up_to(1.0, words)
}

const fn of_jobs(of: Quantity) -> Quantity {
    Quantity {
        of_jobs: true,
        ..of
    }
}
