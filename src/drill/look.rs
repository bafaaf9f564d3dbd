//! What a step could tell at a moment, and what it could not.

use typed_index_collections::TiSlice;

use crate::belief::FaultId;
use crate::belief::candidates::Candidate;
use crate::belief::likelier;
use crate::plan::Act;
use crate::simulate::ByHand;

/// What a step could tell before it was done.
#[derive(Clone, Debug)]
pub struct Look {
    /// The step.
    pub act: Act,
    /// What it is expected to tell, in bits; 0 for a remedy.
    pub gain: f64,
    /// For a test: how the suspects come out, each outcome once.
    pub shows: Vec<Shows>,
    /// For a remedy: the probability that there is something it clears.
    pub helps: f64,
}

/// Suspects with which a test comes out alike.
#[derive(Clone, Debug)]
pub struct Shows {
    /// The outcome, by index; `None` where it comes out one way or the other.
    pub outcome: Option<usize>,
    /// Those suspects, the likeliest first.
    pub suspects: Vec<FaultId>,
}

/// From this probability on a suspect is worth parting from others.
const LIKELY: f64 = 0.03;
/// So many of them are looked at.
const MOST: usize = 6;
/// From this chance on an outcome counts as what is seen with a fault.
const CLEAR: f64 = 0.75;

/// The likeliest suspects.
pub(super) fn suspects(p: &TiSlice<FaultId, f64>) -> Vec<FaultId> {
    let mut order: Vec<FaultId> = p.keys().filter(|f| p[*f] >= LIKELY).collect();
    order.sort_by(|a, b| likelier(p[*a], p[*b]));
    order.truncate(MOST);
    order
}

impl Look {
    /// At a step as things stand.
    pub(super) fn at(hand: &ByHand, act: Act) -> Look {
        let mut look = Look {
            act,
            gain: 0.0,
            shows: Vec::new(),
            helps: 0.0,
        };
        let test = match act {
            Act::Remedy(remedy) => {
                look.helps = hand.helps(remedy);
                return look;
            }
            Act::Test(test) => test,
        };
        // Seen once and nothing done since, it only shows the same again.
        if !hand.holds(test) {
            look.gain = hand.foretold(test).bits;
        }
        for f in suspects(&hand.probabilities()) {
            let alone = Candidate::new(&[f]).unwrap_or(Candidate::EMPTY);
            let p = hand.shows_with(test, alone);
            let outcome = p.iter().position(|p| *p >= CLEAR);
            match look.shows.iter_mut().find(|s| s.outcome == outcome) {
                Some(shows) => shows.suspects.push(f),
                None => look.shows.push(Shows {
                    outcome,
                    suspects: vec![f],
                }),
            }
        }
        look
    }
}
