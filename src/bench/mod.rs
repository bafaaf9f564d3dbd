//! Bench conditions, what it takes to bring a device from one to another, and
//! the gates that bar steps while a hazard is not cleared up.

mod cautions;

use serde::{Deserialize, Serialize};

pub use cautions::{Caution, Demand};

/// The condition in which a device is on.
pub const POWERED: &str = "powered";
/// The condition in which a device is open.
pub const OPENED: &str = "opened";
/// The condition in which a device is without any power.
pub const UNPOWERED: &str = "battery-out";

/// How a device is supplied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Power {
    /// Not at all.
    Off,
    /// The battery or a supply is connected, the device is not known to be on.
    Connected,
    /// The device is on.
    On,
}

/// The bench.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Bench {
    /// Conditions a device can be in.
    pub conditions: Vec<Condition>,
    /// Cautions.
    pub cautions: Vec<Caution>,
    /// History questions: identifier and text.
    pub history: Vec<(String, String)>,
    /// Acts that may harm a device or people, by what steps need for them.
    pub acts: Vec<HarmfulAct>,
    /// Gates.
    pub gates: Vec<Gate>,
}

/// Something that a step does to the device and that a hazard forbids: power,
/// heat, pressure. A step does it if it needs one of these.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct HarmfulAct {
    /// Identifier, which is its name on screens.
    pub id: String,
    /// Bench conditions, by index.
    pub conditions: Vec<usize>,
    /// Tools, each a part of the tool's name in any case.
    pub tools: Vec<String>,
}

/// A hazard that bars steps from when there is a sign of it until its check
/// shows that it is gone.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Gate {
    /// Identifier.
    pub id: String,
    /// What was seen or said, on screens.
    pub name: String,
    /// Acts that are barred, by index.
    pub bars: Vec<usize>,
    /// History questions that raise it when ticked, by identifier.
    pub history: Vec<String>,
    /// The check that lifts it.
    pub check: GateCheck,
}

/// The look that lifts a gate.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct GateCheck {
    /// What it is called.
    pub name: String,
    /// The question.
    pub ask: String,
    /// The outcome that lifts the gate, in plain words.
    pub clear: String,
    /// The outcome that keeps it up, in plain words.
    pub found: String,
    /// Where the check reads a resistance: above so many ohms it is clear.
    pub clear_above: Option<f64>,
    /// Minutes, bench conditions not counted.
    pub minutes: f64,
    /// Bench conditions, by index.
    pub conditions: Vec<usize>,
    /// Tools.
    pub tools: Vec<String>,
    /// Cautions, by index.
    pub cautions: Vec<usize>,
    /// For each outcome, `clear` first, the chance that it is reported though the
    /// other is true.
    pub mistaken: [f64; 2],
    /// For a junior.
    pub explain: Option<String>,
    /// Where the numbers come from.
    pub source: String,
}

/// A set of gates, by their index.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Gates(u16);

impl Gates {
    /// Most gates of a bench.
    pub const MOST: usize = 16;

    /// Whether a gate is among them.
    pub fn has(self, gate: usize) -> bool {
        self.0 >> gate & 1 == 1
    }
    /// Whether there is none.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// With or without one.
    #[must_use]
    pub fn with(self, gate: usize, up: bool) -> Self {
        match up {
            true => Gates(self.0 | 1 << gate),
            false => Gates(self.0 & !(1 << gate)),
        }
    }
    /// Those in both.
    pub fn and(self, other: Gates) -> Gates {
        Gates(self.0 & other.0)
    }
    /// The gates, by index.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        (0..Gates::MOST).filter(move |g| self.has(*g))
    }
}

impl FromIterator<usize> for Gates {
    fn from_iter<I: IntoIterator<Item = usize>>(i: I) -> Self {
        Gates(i.into_iter().fold(0, |set, gate| set | 1 << gate))
    }
}

/// What an outcome does to gates.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Turns {
    /// Gates that it raises.
    pub raises: Gates,
    /// Gates that it lifts.
    pub lifts: Gates,
}

/// A state a device can be in on the bench.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Condition {
    /// Identifier.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// Minutes to get there.
    pub enter: f64,
    /// Minutes to get back.
    pub leave: f64,
    /// Conditions that must hold first, by index.
    pub needs: Vec<usize>,
    /// Conditions that cannot hold at the same time, by index.
    pub excludes: Vec<usize>,
}

/// The conditions a device is in, as a set of indexes into [`Bench::conditions`],
/// and the gates that are up. As a target: the conditions that a step needs, and
/// the gates that bar it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct BenchState(u64);

/// Most conditions of a bench; the gates stand above them.
pub const MOST_CONDITIONS: usize = 48;
const CONDITIONS: u64 = (1 << MOST_CONDITIONS) - 1;

impl BenchState {
    /// Whether a condition holds.
    pub fn has(self, condition: usize) -> bool {
        self.0 >> condition & 1 == 1
    }
    /// The conditions that hold.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        (0..MOST_CONDITIONS).filter(move |i| self.has(*i))
    }
    /// The gates.
    pub fn gates(self) -> Gates {
        Gates((self.0 >> MOST_CONDITIONS) as u16)
    }
    /// The same conditions without any gate.
    #[must_use]
    pub fn conditions(self) -> Self {
        BenchState(self.0 & CONDITIONS)
    }
    /// The same conditions with these gates beside those that there are.
    #[must_use]
    pub fn gated(self, gates: Gates) -> Self {
        BenchState(self.0 | u64::from(gates.0) << MOST_CONDITIONS)
    }
    /// After an outcome that raises and lifts gates.
    #[must_use]
    pub fn turned(self, by: Turns) -> Self {
        let lifted = BenchState(self.0 & !(u64::from(by.lifts.0) << MOST_CONDITIONS));
        lifted.gated(by.raises)
    }
    /// Gates that are up and bar a step with this target.
    pub fn bars(self, target: BenchState) -> Gates {
        self.gates().and(target.gates())
    }
    fn with(self, condition: usize) -> Self {
        BenchState(self.0 | 1 << condition)
    }
}

impl FromIterator<usize> for BenchState {
    fn from_iter<I: IntoIterator<Item = usize>>(i: I) -> Self {
        i.into_iter().fold(BenchState(0), BenchState::with)
    }
}

/// A change of bench condition.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Move {
    /// The state afterwards.
    pub to: BenchState,
    /// Conditions to undo, by index.
    pub leave: Vec<usize>,
    /// Conditions to bring about, by index.
    pub enter: Vec<usize>,
    /// What both take together.
    pub minutes: f64,
}

impl Bench {
    /// How a device is supplied in a state.
    pub fn power(&self, state: BenchState) -> Power {
        let holds = |id: &str| state.iter().any(|c| self.conditions[c].id == id);
        if holds(POWERED) {
            Power::On
        } else if holds(UNPOWERED) {
            Power::Off
        } else {
            Power::Connected
        }
    }

    /// The gates that bar a step which needs these conditions and tools.
    pub fn barred_by(&self, conditions: &[usize], tools: &[String]) -> Gates {
        let conditions = self.closure(conditions);
        let uses = |part: &String| tools.iter().any(|t| cautions::meant(t, part));
        let does = |act: &HarmfulAct| {
            act.conditions.iter().any(|c| conditions.contains(c)) || act.tools.iter().any(uses)
        };
        let bars = |g: &Gate| g.bars.iter().any(|a| does(&self.acts[*a]));
        let gates = self.gates.iter().enumerate();
        gates.filter(|(_, g)| bars(g)).map(|(i, _)| i).collect()
    }

    /// The conditions with all that they need.
    pub fn closure(&self, conditions: &[usize]) -> Vec<usize> {
        let mut out: Vec<usize> = Vec::new();
        let mut todo = conditions.to_vec();
        while let Some(c) = todo.pop() {
            if !out.contains(&c) {
                out.push(c);
                todo.extend(&self.conditions[c].needs);
            }
        }
        out.sort_unstable();
        out
    }

    /// The cheapest way from a state to one in which `conditions` hold: only
    /// what clashes is undone, the device stays open if it is open.
    pub fn reach(&self, from: BenchState, conditions: &[usize]) -> Move {
        let target: BenchState = self.closure(conditions).into_iter().collect();
        let clashes = |c: usize| self.conditions[c].excludes.iter().any(|x| target.has(*x));
        let mut stay: Vec<usize> = from.iter().filter(|c| !clashes(*c)).collect();
        // What loses its footing has to be undone too.
        loop {
            let before = stay.len();
            let now: BenchState = stay.iter().copied().collect();
            stay.retain(|c| {
                self.conditions[*c]
                    .needs
                    .iter()
                    .all(|n| now.has(*n) || target.has(*n))
            });
            if stay.len() == before {
                break;
            }
        }
        let stay: BenchState = stay.into_iter().collect();
        let leave: Vec<usize> = from.iter().filter(|c| !stay.has(*c)).collect();
        let enter: Vec<usize> = target.iter().filter(|c| !stay.has(*c)).collect();
        let minutes = leave.iter().map(|c| self.conditions[*c].leave).sum::<f64>()
            + enter.iter().map(|c| self.conditions[*c].enter).sum::<f64>();
        Move {
            to: (stay.iter().chain(target.iter()).collect::<BenchState>()).gated(from.gates()),
            leave,
            enter,
            minutes,
        }
    }
}

/// Changes of bench condition as bit operations, for planning.
#[derive(Clone, Debug, Default)]
pub struct Moves {
    /// Per condition: minutes to get there and back, what it needs, what it excludes.
    table: Vec<(f64, f64, u64, u64)>,
}

impl Moves {
    /// Lays a bench out.
    pub fn new(bench: &Bench) -> Self {
        let mask = |c: &[usize]| c.iter().copied().collect::<BenchState>().0;
        Moves {
            table: bench
                .conditions
                .iter()
                .map(|c| (c.enter, c.leave, mask(&c.needs), mask(&c.excludes)))
                .collect(),
        }
    }

    /// The same as [`Bench::reach`] for a target that is closed under needs:
    /// the state afterwards, with the gates that were up, and the minutes it
    /// takes.
    pub fn reach(&self, from: BenchState, target: BenchState) -> (BenchState, f64) {
        let target = target.conditions();
        if from.0 & target.0 == target.0 {
            return (from, 0.0);
        }
        let mut stay = from.0;
        for (i, (_, _, _, excludes)) in self.table.iter().enumerate() {
            if excludes & target.0 != 0 {
                stay &= !(1 << i);
            }
        }
        loop {
            let before = stay;
            for (i, (_, _, needs, _)) in self.table.iter().enumerate() {
                if needs & !(stay | target.0) != 0 {
                    stay &= !(1 << i);
                }
            }
            if stay == before {
                break;
            }
        }
        let mut minutes = 0.0;
        for (i, (enter, leave, _, _)) in self.table.iter().enumerate() {
            let bit = 1 << i;
            if from.0 & bit != 0 && stay & bit == 0 {
                minutes += leave;
            }
            if target.0 & bit != 0 && stay & bit == 0 {
                minutes += enter;
            }
        }
        (BenchState(stay | target.0), minutes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bench() -> Bench {
        let c = |id: &str, enter, leave, needs: &[usize], excludes: &[usize]| Condition {
            id: id.into(),
            name: id.into(),
            enter,
            leave,
            needs: needs.to_vec(),
            excludes: excludes.to_vec(),
        };
        Bench {
            conditions: vec![
                c("opened", 8.0, 7.0, &[], &[]),
                c("battery-out", 1.0, 2.0, &[0], &[2]),
                c("powered", 3.0, 0.5, &[], &[1, 3]),
                c("part-out", 4.0, 5.0, &[0, 1], &[2]),
            ],
            ..Bench::default()
        }
    }

    #[test]
    fn a_device_that_is_open_stays_open() {
        let b = bench();
        let open: BenchState = b.closure(&[3]).into_iter().collect();
        let m = b.reach(open, &[2]);
        // Part back in, battery back on, switched on; still open.
        assert_eq!(m.minutes, 5.0 + 2.0 + 3.0);
        assert!(m.to.has(0) && m.to.has(2) && !m.to.has(1) && !m.to.has(3));
    }

    #[test]
    fn both_ways_of_working_out_a_move_agree() {
        let b = bench();
        let moves = Moves::new(&b);
        for from in 0..16u64 {
            let from: BenchState = b
                .closure(&BenchState(from).iter().collect::<Vec<_>>())
                .into_iter()
                .collect();
            for target in 0..16u64 {
                let wanted: Vec<usize> = BenchState(target).iter().collect();
                let slow = b.reach(from, &wanted);
                let closed: BenchState = b.closure(&wanted).into_iter().collect();
                let (to, minutes) = moves.reach(from, closed);
                if closed.0 & from.0 != closed.0 {
                    assert_eq!((to, minutes), (slow.to, slow.minutes));
                }
            }
        }
    }
}
