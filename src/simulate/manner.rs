//! The ways of working that are set against each other, by name.

use super::luck::Luck;
use super::order::{best_order, cheapest_first};
use super::policy::Policy;
use super::start::Start;
use super::walk::Hidden;

/// A way of working by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Manner {
    /// What this program advises.
    Advice,
    /// The tests in order of their cost.
    CheapestFirst,
    /// The tests in the best order that is found.
    BestOrder,
    /// The test that tells most.
    TellMost,
    /// Remedies alone.
    MendOnly,
    /// At random.
    Random,
}

/// A name for chance: cases that an order is learned on are no others' cases.
const TRAINING: u64 = 201;
/// An order is learned on as many cases as it is followed on, but on so many at
/// least and at most.
const TRAINED: (usize, usize) = (50, 400);

impl Manner {
    /// All of them.
    pub const ALL: [Manner; 6] = [
        Manner::Advice,
        Manner::CheapestFirst,
        Manner::BestOrder,
        Manner::TellMost,
        Manner::MendOnly,
        Manner::Random,
    ];

    /// The word used in commands and on screens.
    pub fn word(self) -> &'static str {
        match self {
            Manner::Advice => "advice",
            Manner::CheapestFirst => "cheapest-first",
            Manner::BestOrder => "best-order",
            Manner::TellMost => "tell-most",
            Manner::MendOnly => "mend-only",
            Manner::Random => "random",
        }
    }

    /// What is done, in a sentence.
    pub fn says(self) -> &'static str {
        match self {
            Manner::Advice => "what this program advises, looking one step ahead",
            Manner::CheapestFirst => {
                "the tests in order of their cost, as a printed list, until a suspect passes 90 %; \
                 then what mends it"
            }
            Manner::BestOrder => "the same with the best order that a search found on other cases",
            Manner::TellMost => {
                "the test that tells most whatever it costs, until a suspect passes 90 %; then \
                 what mends it"
            }
            Manner::MendOnly => "no tests but the retest: what mends, by probability over cost",
            Manner::Random => "any test or any remedy that may help",
        }
    }

    /// By its word.
    pub fn from_word(word: &str) -> Option<Manner> {
        Manner::ALL.into_iter().find(|m| m.word() == word)
    }

    /// What to do on the jobs of a start, of which there are so many.
    pub fn policy(self, start: &Start, cases: usize, luck: Luck) -> Policy {
        match self {
            Manner::Advice => Policy::Advice,
            Manner::CheapestFirst => Policy::InOrder(cheapest_first(start)),
            Manner::BestOrder => {
                let drawn = start.draw();
                let luck = luck.of(TRAINING);
                let training: Vec<Hidden> = (0..cases.clamp(TRAINED.0, TRAINED.1) as u64)
                    .map(|case| drawn.hide(case, luck.of(case)))
                    .collect();
                Policy::InOrder(best_order(start, &training, cases, luck))
            }
            Manner::TellMost => Policy::TellMost,
            Manner::MendOnly => Policy::MendOnly,
            Manner::Random => Policy::Random,
        }
    }
}
