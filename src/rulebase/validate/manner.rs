//! The manners of test that a bench may state usual mistakes for.

use crate::rulebase::typed::{How, Kind};

/// A try by what is done for it, all else by its kind.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Manner {
    Ask,
    Look,
    Try,
    Swap,
    Loan,
    Measure,
    Continuity,
}

impl Manner {
    pub(super) const ALL: [Manner; 7] = [
        Manner::Ask,
        Manner::Look,
        Manner::Try,
        Manner::Swap,
        Manner::Loan,
        Manner::Measure,
        Manner::Continuity,
    ];

    /// The word used in rules.
    pub(super) fn word(self) -> &'static str {
        match self {
            Manner::Ask => "ask",
            Manner::Look => "look",
            Manner::Try => "try",
            Manner::Swap => "swap",
            Manner::Loan => "loan",
            Manner::Measure => "measure",
            Manner::Continuity => "continuity",
        }
    }

    /// The manner of a test; `None` where its reliability alone counts.
    pub(super) fn of(kind: Kind, how: &How) -> Option<Manner> {
        match (how, kind) {
            (How::Tries { lends: Some(_), .. }, _) => Some(Manner::Loan),
            (
                How::Tries {
                    swaps_in: Some(_), ..
                },
                _,
            ) => Some(Manner::Swap),
            (How::Tries { .. }, _) => Some(Manner::Try),
            (How::Shows { .. }, Kind::Ask) => Some(Manner::Ask),
            (How::Shows { .. }, Kind::Look) => Some(Manner::Look),
            (How::Shows { .. }, Kind::Measure) => Some(Manner::Measure),
            (How::Shows { .. }, Kind::Continuity) => Some(Manner::Continuity),
            (How::Shows { .. }, Kind::Try | Kind::Swap) | (How::Measures { .. }, _) => None,
        }
    }
}

/// Usual mistakes of one manner of test.
#[derive(Clone, Copy)]
pub(super) struct Usual {
    pub(super) manner: Manner,
    /// That the healthy outcome is reported though another is true.
    pub(super) healthy: f64,
    /// That any of the others is, all together.
    pub(super) others: f64,
}
