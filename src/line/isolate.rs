//! Tests that follow from a line's circuit where its offered points read alike: a
//! series part lifted and either side of it read, its two ends compared in
//! milliohm, a plug pulled.

use std::collections::VecDeque;

use crate::bench::BenchState;
use crate::rulebase::{Duty, Line, PartKind};

/// How a line is taken apart, or read closer. Parts are by index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Isolation {
    /// A series part is lifted, and one side of it is read to ground.
    Lift(usize),
    /// One end of a series part is read in milliohm, to be compared with the other.
    Compare(usize),
    /// A contact is unplugged by a bench condition.
    Unplug {
        /// The contact.
        contact: usize,
        /// The condition, by index.
        condition: usize,
    },
}

/// Minutes to lift a small part and to solder it back. Common practice, no source.
const LIFTING: f64 = 10.0;
/// Minutes to hold both tips still until milliohm can be read. Common practice, no
/// source.
const STEADYING: f64 = 1.0;

impl Isolation {
    /// A name within the line, without the point.
    pub fn id(self, line: &Line) -> String {
        match self {
            Isolation::Lift(part) => format!("lift-{}", line.parts[part].id),
            Isolation::Compare(part) => format!("compare-{}", line.parts[part].id),
            Isolation::Unplug { contact, .. } => format!("unplug-{}", line.parts[contact].id),
        }
    }

    /// The question, read in ohms to ground at a point, by index.
    pub fn ask(self, line: &Line, point: usize) -> String {
        let place = &line.points[point].name;
        let name = |p: usize| &line.parts[p].name;
        let line = &line.name;
        match self {
            Isolation::Lift(p) => format!(
                "With the {} lifted, what does the {place} read in ohms to ground, on the {line}?",
                name(p)
            ),
            Isolation::Compare(p) => format!(
                "In milliohm to ground, what does the {place} read, at one end of the {}, on the \
                 {line}?",
                name(p)
            ),
            Isolation::Unplug { contact, .. } => format!(
                "With the {} unplugged, what does the {place} read in ohms to ground, on the \
                 {line}?",
                name(contact)
            ),
        }
    }

    /// What to know of it, for a junior.
    pub fn explain(self, line: &Line) -> String {
        let name = |p: usize| &line.parts[p].name;
        match self {
            Isolation::Lift(p) => format!(
                "Battery and every supply disconnected. Lift the {} at one end, read this side, \
                 and solder it back. A short that stays lies on this side of it.",
                name(p)
            ),
            Isolation::Compare(p) => format!(
                "Battery and every supply disconnected. Read both ends of the {} with the same \
                 leads: the short lies on the side that reads less.",
                name(p)
            ),
            Isolation::Unplug { .. } => "Battery and every supply disconnected. A short that goes \
                                         lies behind the plug, one that stays lies on this side."
                .to_owned(),
        }
    }

    /// Minutes at a point, by index, bench conditions not counted.
    pub fn minutes(self, line: &Line, point: usize) -> f64 {
        let extra = match self {
            Isolation::Lift(_) => LIFTING,
            Isolation::Compare(_) => STEADYING,
            Isolation::Unplug { .. } => 0.0,
        };
        line.points[point].minutes + extra
    }

    /// The part that is lifted, if one is.
    pub fn lifted(self) -> Option<usize> {
        match self {
            Isolation::Lift(part) => Some(part),
            Isolation::Compare(_) | Isolation::Unplug { .. } => None,
        }
    }
}

/// Whether a part can be lifted: soldered, in series, small.
fn lifts(line: &Line, p: usize) -> bool {
    let part = &line.parts[p];
    let series = matches!(
        part.duty,
        Duty::Resists | Duty::Chokes | Duty::Filters | Duty::Fuses
    );
    series && matches!(part.kind, PartKind::Path(_)) && part.from != 0 && part.to != 0
}

/// The nodes on the way from one without a part, the nearest first; ground leads
/// nowhere.
fn side(line: &Line, from: usize, without: usize) -> Vec<usize> {
    let mut found = vec![from];
    let mut next = VecDeque::from([from]);
    while let Some(node) = next.pop_front() {
        let parts = line.parts.iter().enumerate().filter(|(p, _)| *p != without);
        for (_, part) in parts {
            let other = match (part.from, part.to) {
                (a, b) if a == node => b,
                (a, b) if b == node => a,
                _ => continue,
            };
            if other != 0 && !found.contains(&other) {
                found.push(other);
                next.push_back(other);
            }
        }
    }
    found
}

/// The nearest point on either side of a part; none where something leads round
/// it, or a side has no place for a probe.
fn sides(line: &Line, p: usize) -> Option<[usize; 2]> {
    let part = &line.parts[p];
    let both = [side(line, part.from, p), side(line, part.to, p)];
    if both[0].contains(&part.to) {
        return None;
    }
    let point = |nodes: &Vec<usize>| {
        let at = |n: &usize| line.points.iter().position(|p| p.node == *n);
        nodes.iter().find_map(at)
    };
    Some([point(&both[0])?, point(&both[1])?])
}

/// The tests that follow from a line, each with its point, by index. `resting` is
/// the bench condition of its other readings without power; `fine` says that the
/// meter resolves milliohm.
pub fn isolations(line: &Line, resting: BenchState, fine: bool) -> Vec<(Isolation, usize)> {
    let mut all = Vec::new();
    for p in (0..line.parts.len()).filter(|p| lifts(line, *p)) {
        for point in sides(line, p).into_iter().flatten() {
            all.push((Isolation::Lift(p), point));
            if fine {
                all.push((Isolation::Compare(p), point));
            }
        }
    }
    for (contact, condition) in line.unplugged.iter().copied() {
        if resting.has(condition) {
            continue;
        }
        let how = Isolation::Unplug { contact, condition };
        for point in sides(line, contact).into_iter().flatten() {
            all.push((how, point));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rulebase::Rules;

    #[test]
    fn a_series_part_is_lifted_and_both_sides_are_read() {
        let rules = Rules::default().load().rulebase;
        let mut lines = rules.packs.iter().flat_map(|p| &p.lines);
        let line = lines.find(|l| l.id == "analogue").expect("a supply rail");
        let said = |resting, fine| -> Vec<String> {
            let of = |(how, point): &(Isolation, usize)| {
                format!("{} {}", how.id(line), line.points[*point].id)
            };
            isolations(line, resting, fine).iter().map(of).collect()
        };
        let out = line.unplugged[0].1;
        let resting = BenchState::from_iter([out]);
        assert_eq!(
            said(resting, false),
            ["lift-ferrite land", "lift-ferrite out"]
        );
        let fine = said(resting, true);
        assert!(fine.contains(&"compare-ferrite out".to_owned()), "{fine:?}");
        // Plugged in, the plug can be pulled; its far side has no place for a probe.
        assert_eq!(said(BenchState::default(), false).len(), 2);
    }
}
