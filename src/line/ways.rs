//! The ways in which a line may be built and fed, where nobody has looked: with
//! and without the parts that some boards lack, with each of the values that a part
//! or the level of a supply may have.
//!
//! A way is a fact of the board (or of the source beside it), the same for all
//! readings of the line. A part that is at fault is there.

use std::collections::BTreeSet;

use super::wiring::Wired;
use crate::circuit::network::NetworkError;
use crate::rulebase::{Known, Line, LinePart, PartKind};

/// So many ways of one line are told apart at most.
const MOST: usize = 16;

/// One way of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// How likely it is with nothing known of the board; all ways of a line add
    /// up to 1.
    pub chance: f64,
    /// The parts that it lacks, by index, with all their pieces.
    pub lacks: Vec<usize>,
    /// The values of parts that have several, by part.
    pub values: Vec<(usize, Known)>,
}

/// What one thing may be, each with its chance.
type Choice = Vec<Way>;

/// All ways of a line, the likeliest first; a single one for most lines. Where
/// they would be too many, what is least in doubt is taken to be as usual.
pub fn ways(line: &Line) -> Vec<Way> {
    let optional = optional(line).map(with_or_without);
    let mut choices: Vec<Choice> = optional.chain(kinds(line)).collect();
    for c in &mut choices {
        c.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    }
    // The most doubtful first.
    choices.sort_by(|a, b| a[0].chance.total_cmp(&b[0].chance));
    let mut all = vec![Way {
        chance: 1.0,
        lacks: Vec::new(),
        values: Vec::new(),
    }];
    for mut choice in choices {
        if all.len() * choice.len() > MOST {
            choice.truncate(1);
            choice[0].chance = 1.0;
        }
        let with = |way: &Way, more: &Way| Way {
            chance: way.chance * more.chance,
            lacks: [&way.lacks[..], &more.lacks].concat(),
            values: [&way.values[..], &more.values].concat(),
        };
        all = (all.iter())
            .flat_map(|way| choice.iter().map(move |more| with(way, more)))
            .collect();
    }
    all.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    all
}

/// The parts that some boards lack, with all their pieces and those that come with
/// them, and the share of boards that have them. The halves of a pair are built
/// alike.
pub fn optional(line: &Line) -> impl Iterator<Item = (f64, Vec<usize>)> + '_ {
    let of_second = |p: usize| line.half(&line.parts[p].id) == Some(1);
    let written = (0..line.parts.len()).filter(|p| !line.parts[*p].is_piece());
    written
        .filter(move |p| line.parts[*p].fitted < 1.0 && !of_second(*p))
        .map(|p| {
            let twin = line.twin(&line.parts[p].id);
            let twin = line.parts.iter().position(|q| Some(&q.id) == twin.as_ref());
            let parts = std::iter::once(p).chain(twin);
            let parts = parts.flat_map(|p| line.pieces(p)).collect();
            (line.parts[p].fitted, parts)
        })
}

/// With and without them.
fn with_or_without((fitted, parts): (f64, Vec<usize>)) -> Choice {
    let way = |chance, lacks| Way {
        chance,
        lacks,
        values: Vec::new(),
    };
    vec![way(fitted, Vec::new()), way(1.0 - fitted, parts)]
}

/// The parts that have one of several values. Those with equally many go together:
/// a board is of one kind.
fn kinds(line: &Line) -> impl Iterator<Item = Choice> + '_ {
    let counts: BTreeSet<usize> = line.parts.iter().map(|p| p.kinds.len()).collect();
    counts.into_iter().filter(|n| *n > 0).map(|n| {
        let of = |(_, p): &(usize, &LinePart)| p.kinds.len() == n;
        let parts: Vec<(usize, &LinePart)> = line.parts.iter().enumerate().filter(of).collect();
        let way = |k: usize| Way {
            chance: parts[0].1.kinds[k].0,
            lacks: Vec::new(),
            values: parts.iter().map(|(i, p)| (*i, p.kinds[k].1)).collect(),
        };
        (0..n).map(way).collect()
    })
}

impl Wired {
    /// Wires up a line in one of its ways.
    ///
    /// # Errors
    /// If a value is not physical.
    pub fn in_way(line: &Line, way: &Way) -> Result<Self, NetworkError> {
        let mut line = line.clone();
        for (part, value) in &way.values {
            match &mut line.parts[*part].kind {
                PartKind::Rail { volts, .. } => *volts = *value,
                PartKind::Path(ohms) => *ohms = *value,
                _ => {}
            }
        }
        Wired::lacking(&line, &way.lacks)
    }
}
