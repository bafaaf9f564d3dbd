//! How hard a round is.

use serde::{Deserialize, Serialize};

use crate::belief::candidates::Candidate;
use crate::simulate::{Chance, Hidden, Luck, Start};

/// How hard a round is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(into = "u8", try_from = "u8")]
pub enum Level {
    /// One fault that shows itself; tests come out as they do most often, and
    /// remedies take.
    #[default]
    First,
    /// One fault of any kind; answers are misread as often as the rules say, and
    /// something has happened to the device.
    Second,
    /// Often two faults, and mistakes count double.
    Third,
}

/// Share of the rounds of the third level with two faults, where two can be
/// behind the complaint. Ours: two faults are rare, and have to be practised.
const TWO: f64 = 0.5;
/// Names of what chance decides.
const HOW_MANY: u64 = 311;
const WHICH: u64 = 312;

impl Level {
    /// What is different about it, in a sentence.
    pub fn says(self) -> &'static str {
        match self {
            Level::First => "one fault, and every answer is right",
            Level::Second => {
                "one fault, answers may be misread, and what happened to the device matters"
            }
            Level::Third => "perhaps two faults, answers may be misread, and mistakes count double",
        }
    }

    /// What chance may do.
    pub fn chance(self) -> Chance {
        match self {
            Level::First => Chance::Steady,
            Level::Second | Level::Third => Chance::AsRuled,
        }
    }

    /// Whether the device has a past.
    pub(super) fn has_past(self) -> bool {
        self != Level::First
    }

    /// What the points of a mistake are multiplied by.
    pub(super) fn dear(self) -> u32 {
        match self {
            Level::First | Level::Second => 1,
            Level::Third => 2,
        }
    }

    /// A hidden case; `None` if the rules have no fault behind the complaint.
    pub(super) fn hide(self, start: &Start, luck: Luck) -> Option<Hidden> {
        let of = |fits: &dyn Fn(&Candidate) -> bool| -> Vec<(Candidate, f64)> {
            let worlds = start.worlds.iter().filter(|w| fits(&w.0));
            worlds.copied().collect()
        };
        let one = |c: &Candidate| c.len() == 1;
        let mut sets = match self {
            Level::First => of(&|c| one(c) && start.shows_itself(*c)),
            Level::Second => of(&one),
            Level::Third if luck.of(HOW_MANY).number() < TWO => of(&|c| c.len() > 1),
            Level::Third => of(&one),
        };
        if sets.is_empty() {
            sets = of(&|c| !c.is_empty());
        }
        let at = luck.of(WHICH).weighed(sets.iter().map(|s| s.1));
        Some(Hidden {
            case: 0,
            luck,
            faults: sets.get(at)?.0,
        })
    }
}

impl From<Level> for u8 {
    fn from(level: Level) -> u8 {
        match level {
            Level::First => 1,
            Level::Second => 2,
            Level::Third => 3,
        }
    }
}

impl TryFrom<u8> for Level {
    type Error = String;

    fn try_from(n: u8) -> Result<Level, String> {
        match n {
            1 => Ok(Level::First),
            2 => Ok(Level::Second),
            3 => Ok(Level::Third),
            _ => Err(format!("there is no level {n}; they are 1, 2 and 3")),
        }
    }
}
