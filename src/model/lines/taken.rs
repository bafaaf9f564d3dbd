//! A reading of a line as it was taken.

use std::sync::Arc;

use super::super::{LineId, Model, TestInfo};
use super::ranges::by_word;
use crate::belief::agreed;
use crate::circuit::joint::{self, Shown};
use crate::circuit::meter::{Meter, Reading};
use crate::line::Probing;

/// What a measurement of a line came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Read {
    /// What the meter showed, in the unit of its mode.
    Number(Reading),
    /// Only which outcome of the test it was, by index.
    Word(usize),
}

/// A reading of a line that was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// The line, by index.
    pub line: LineId,
    /// Where and how.
    pub probing: Probing,
    /// The meter it was taken with.
    pub meter: Arc<Meter>,
    /// What it came to.
    pub read: Read,
    /// The same for the circuit.
    pub(in crate::model) what: joint::Taken,
    /// The slips that may show a number: the share of each of all slips, and how likely
    /// it shows this.
    slips: Vec<(f64, f64)>,
}

impl Taken {
    /// How likely it is to be a slip that shows this: a density for a value, in the
    /// unit of its mode.
    pub fn slip(&self) -> f64 {
        self.what.misread * self.what.flat
    }

    /// The same reading taken so many times, each by itself: they err as
    /// independent ones do.
    #[must_use]
    pub fn agreed(&self, times: i32) -> Taken {
        let mut taken = self.clone();
        let what = &mut taken.what;
        match self.read {
            _ if times <= 1 => {}
            Read::Number(_) => {
                what.misread = agreed(what.misread, 1.0 - what.misread, times);
                // Slips agree where they are the same one.
                let same = self.slips.iter().map(|(w, p)| w.powi(times) * p);
                what.flat = same.sum();
            }
            Read::Word(_) => {
                let wrong = what.misread * what.flat;
                let wrong = agreed(wrong, 1.0 - what.misread + wrong, times);
                (what.misread, what.flat) = (2.0 * wrong, 0.5);
            }
        }
        taken
    }
}

/// What is shown as an outcome of a test.
fn shown(t: &TestInfo, outcome: usize) -> Option<Shown> {
    let (low, high) = t.outcomes.get(outcome)?.between?;
    Some(match (low, high) {
        (f64::INFINITY, f64::INFINITY) => Shown::Just(Reading::OL),
        _ => Shown::Between(low, high),
    })
}

impl Model {
    /// A reading that was taken in a test; `None` if the test does not measure
    /// a line.
    pub fn taken(&self, test: &TestInfo, read: Read) -> Option<Taken> {
        self.taken_rounded(test, read, 0.0)
    }

    /// The same of a number that may be off by so much because it was rounded when
    /// it was typed, in the unit of the test.
    pub fn taken_rounded(&self, test: &TestInfo, read: Read, rounded: f64) -> Option<Taken> {
        let m = test.measures?;
        let meter = self.lines[m.line].meter.clone();
        let (slip, strange) = self.shows(m, &meter);
        let misread = slip.misread(test.reliability);
        let mut slips = Vec::new();
        if let Read::Number(number) = read {
            slips = slip.each(number, rounded);
        }
        let what = match read {
            Read::Number(number) => joint::Taken {
                shown: Shown::Just(number),
                // Rectangular within its limits (JCGM 100:2008, 4.3.7).
                rounded: rounded / 3f64.sqrt(),
                misread,
                flat: slip.within(number, rounded),
                lucky: false,
                strange: strange.within(number, rounded),
            },
            Read::Word(k) => joint::Taken {
                shown: shown(test, k)?,
                rounded: 0.0,
                misread,
                flat: *by_word(test, &slip).get(k)?,
                lucky: true,
                strange: *by_word(test, &strange).get(k)?,
            },
        };
        Some(Taken {
            line: m.line,
            probing: m.probing,
            meter,
            read,
            what,
            slips,
        })
    }
}
