//! Meters.

use super::named::Named;
use super::validator::Validator;
use crate::rulebase::amount::{self, Unit};
use crate::rulebase::meter::{Drive, MeterProfile, StatedAccuracy, TestRange, VoltsRange};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawMeters, RawRange};
use crate::rulebase::shape::Amount;
use crate::rulebase::source::At;

impl Validator<'_> {
    /// Adds the meters of a file; one of the same name takes the place of an
    /// earlier one, so that the first of all stays the first.
    pub(super) fn meters(&mut self, raw: &RawMeters, all: &mut Vec<MeterProfile>) {
        self.unread.clear();
        self.names(Named::Meter, &raw.meters.value);
        for (id, m) in &raw.meters.value {
            let sources = [&m.source, &raw.source];
            let source = self.sourced(id.span, &sources);
            let leads = self.stated(&m.leads, Unit::Ohm);
            let volts = VoltsRange {
                input: self.stated(&m.volts.input, Unit::Ohm),
                limit: self.stated(&m.volts.up_to, Unit::Volt),
                accuracy: self.accuracy(&m.volts.accuracy, &m.volts.digit, Unit::Volt),
            };
            let diode = self.test_range(&m.diode, Unit::Volt);
            let mut ohms: Vec<TestRange> = Vec::new();
            for r in m.ohms.iter() {
                let range = self.test_range(r, Unit::Ohm);
                if ohms.last().is_some_and(|last| last.limit >= range.limit) {
                    self.push(
                        Problem::new(
                            Code::Range,
                            r.up_to.span,
                            "a range that reads no further than the one before it",
                        )
                        .help("put the ranges in order, the lowest first"),
                    );
                }
                ohms.push(range);
            }
            if ohms.is_empty() {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        m.ohms.span,
                        format!("meter `{}` has no resistance range", id.value),
                    )
                    .help("list at least one under `ohms:`"),
                );
            }
            let profile = MeterProfile {
                id: id.value.clone(),
                name: m.name.clone(),
                leads,
                volts,
                diode,
                ohms,
                source,
            };
            match all.iter_mut().find(|other| other.id == id.value) {
                Some(other) => *other = profile,
                None => all.push(profile),
            }
        }
    }

    fn test_range(&mut self, r: &RawRange, unit: Unit) -> TestRange {
        let drive = match (&r.current, &r.series) {
            (Some(c), None) => Drive::Current(self.stated(c, Unit::Ampere)),
            (None, Some(s)) => Drive::Series(self.stated(s, Unit::Ohm)),
            (Some(c), Some(s)) => {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        s.span,
                        "a range with both a constant current and a series resistance",
                    )
                    .also(c.span, "the current")
                    .help("keep the one that the manual states"),
                );
                Drive::Current(1e-3)
            }
            (None, None) => {
                self.push(
                    Problem::new(
                        Code::MissingKey,
                        r.open.span,
                        "a range that does not say what limits its current",
                    )
                    .help("add `current:` if it is constant, else `series:` with the resistance behind the open voltage"),
                );
                Drive::Current(1e-3)
            }
        };
        TestRange {
            open: self.stated(&r.open, Unit::Volt),
            drive,
            limit: self.stated(&r.up_to, unit),
            accuracy: self.accuracy(&r.accuracy, &r.digit, unit),
        }
    }

    fn accuracy(&mut self, text: &At<String>, digit: &At<Amount>, unit: Unit) -> StatedAccuracy {
        let resolution = self.stated(digit, unit);
        let (percent, digits) = amount::accuracy(text).unwrap_or_else(|| {
            self.push(
                Problem::new(
                    Code::Type,
                    text.span,
                    format!("`{}` cannot be read as an accuracy", text.value),
                )
                .help("write per cent of the reading and counts of the last digit, such as `0.9 % + 3`"),
            );
            (1.0, 1.0)
        });
        StatedAccuracy {
            percent,
            digits,
            resolution,
        }
    }

    /// A value of a meter; what cannot be read has been reported.
    fn stated(&mut self, n: &At<Amount>, unit: Unit) -> f64 {
        self.amount(n, unit).unwrap_or(1.0)
    }
}
