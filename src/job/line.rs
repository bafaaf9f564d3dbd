//! A line of the device as a job sees it: its parts in the order of the path,
//! each with its probability of being at fault, what was read at its points,
//! and where to probe next.
//!
//! # What a part's probability is
//!
//! The belief is about faults, and a fault is not a part of a line. "Trace of
//! the flex broken" breaks one trace of many and may spare this line; "control
//! bus open" may be its series resistor or its track; and several faults may
//! open the same contact. So the probability shown beside a part is that *of
//! something being wrong with this part of this line*:
//!
//! 1. A fault's probability is shared out among the things that it may do to
//!    this line and that it spares it. A thing's share is its chance in the
//!    rules times how likely it by itself makes what was read on this line
//!    (Bayes' rule with the fault as given), so that a bad reading before the
//!    series resistor and a good one behind it accuse the resistor and not the
//!    track. Only readings count that were taken since something was done about
//!    that fault, as only they are of the fault that may still be there.
//! 2. The shares that fall on a part are added up over the faults, less what is
//!    counted twice where two faults are there at once (as they are in the
//!    listed candidates): the result is the probability of their union.
//!
//! Shares are worked out as if the fault were the only one on its line. Beside
//! another fault that explains the readings better, a fault is so unlikely that
//! its shares matter little. Each line is looked at by itself: the same fault
//! has its own shares on each line that it can strike. What a fault does to a
//! node (a short or a leak to ground, a bridge to another node) is shown at the
//! node, not at a part.

mod drawing;
mod known;
mod view;

use drawing::Drawing;
use known::Known;
pub use view::{
    BranchView, BridgeView, CauseView, LineInPlay, LineView, NextProbe, NodeView, PartSort,
    PartView, PointView, ReadingView,
};

use super::case::{Case, alike_view};
use super::file::Entry;
use super::ledger::Entered;
use super::view::step;
use crate::belief::likelier;
use crate::model::{LineId, Measures, bounds};
use crate::plan::{Act, TestId};
use crate::rulebase::{Doubt, PartKind};
use crate::sums::wire::FAST;
use crate::units::shown;

/// The lines in play, the likeliest to be at fault first.
pub fn lines_in_play(case: &Case) -> Vec<LineInPlay> {
    let next = case
        .advice(1)
        .steps
        .first()
        .and_then(|p| measured(case, p.act));
    let mut all: Vec<LineInPlay> = (case.model.lines.keys())
        .map(|line| {
            let known = Known::new(case, line);
            LineInPlay {
                line: known.info.id.clone(),
                name: known.info.name.clone(),
                at_fault: known.at_fault(),
                readings: known.taken.len(),
                next: next.is_some_and(|m| m.line == line),
            }
        })
        .collect();
    all.sort_by(|a, b| likelier(a.at_fault, b.at_fault));
    all
}

/// A line of the model, by index, with what is known of it.
pub fn line_view(case: &Case, steps: &[Entry], line: LineId) -> LineView {
    let known = Known::new(case, line);
    let info = known.info;
    let all = case.advice(usize::MAX).steps;
    let next = all.iter().enumerate().find_map(|(i, p)| {
        let m = measured(case, p.act).filter(|m| m.line == line)?;
        Some(NextProbe {
            point: info.line.points[m.probing.point].id.clone(),
            mode: m.probing.mode,
            rank: i + 1,
            step: step(case, p),
        })
    });
    LineView {
        line: info.id.clone(),
        name: info.name.clone(),
        fast: info.line.rate >= FAST,
        entries: steps.len(),
        at_fault: known.at_fault(),
        left_out: case.belief.left_out,
        wires: Drawing::new(&known).wires(),
        causes: known.causes(),
        alike: alike_view(case, line),
        next,
    }
}

/// The line that is at hand: the one that a step measures, else the one that
/// was read last.
pub fn line_at_hand(case: &Case, test: Option<TestId>) -> Option<LineId> {
    let of = |t: TestId| case.model.tests[t].measures.map(|m| m.line);
    let last = || {
        case.entered.iter().rev().find_map(|e| match e {
            Entered::Result { test, .. } => of(*test),
            _ => None,
        })
    };
    test.and_then(of).or_else(last)
}

/// How many entries there were before the last remedy that did something about
/// a line, if a reading of it was taken before; all of them if none did.
/// `None` if no reading of it counts.
pub(crate) fn read_until(case: &Case, line: LineId) -> Option<usize> {
    let reads = |e: &Entered| match e {
        Entered::Result { test, .. } => {
            measured(case, Act::Test(*test)).is_some_and(|m| m.line == line)
        }
        _ => false,
    };
    let first = case.entered.iter().position(reads)?;
    let faults = &case.model.lines[line].faults;
    let acts = |e: &Entered| match e {
        Entered::Remedy(r) => {
            let change = &case.model.remedies[*r].change;
            faults.iter().any(|f| change.touches(f.1))
        }
        _ => false,
    };
    let last = case.entered.iter().rposition(acts).filter(|n| *n > first);
    Some(last.unwrap_or(case.entered.len()))
}

/// What an act measures, if it is a test that measures a line.
fn measured(case: &Case, act: Act) -> Option<Measures> {
    match act {
        Act::Test(t) => case.model.tests[t].measures,
        Act::Remedy(_) => None,
    }
}

/// Ohms from which on the value of a part is worth telling: below it is a
/// connection.
const TOLD_FROM: f64 = 4.0;

/// The value of a part as people say it, where it has one that means something.
fn value(kind: &PartKind) -> Option<String> {
    let (known, unit) = match kind {
        PartKind::Path(k) if k.typical >= TOLD_FROM => (k, "ohm"),
        PartKind::Capacitor(k) => (k, "F"),
        PartKind::Rail { volts, .. } => (volts, "V"),
        _ => return None,
    };
    Some(match known.doubt {
        Doubt::Percent(_) => shown(known.typical, unit),
        Doubt::Between(low, high) => bounds(low, high, unit),
    })
}
