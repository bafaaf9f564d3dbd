//! A meter of the rules as one that can be put to a circuit.

use crate::circuit::edit::TestSource;
use crate::circuit::meter::{Accuracy, DiodeTest, Meter, OhmsRange, VoltsTest};
use crate::rulebase::{Drive, MeterProfile, StatedAccuracy, TestRange};

impl From<StatedAccuracy> for Accuracy {
    fn from(a: StatedAccuracy) -> Self {
        Accuracy {
            percent: a.percent,
            digits: a.digits,
            resolution: a.resolution,
        }
    }
}

fn source(r: &TestRange) -> TestSource {
    match r.drive {
        Drive::Current(amps) => TestSource::current(amps, r.open),
        Drive::Series(ohms) => TestSource::behind(r.open, ohms),
    }
}

impl From<&MeterProfile> for Meter {
    fn from(m: &MeterProfile) -> Self {
        Meter {
            volts: VoltsTest {
                input: m.volts.input,
                limit: m.volts.limit,
                accuracy: m.volts.accuracy.into(),
            },
            diode: DiodeTest {
                source: source(&m.diode),
                limit: m.diode.limit,
                accuracy: m.diode.accuracy.into(),
            },
            ohms: m
                .ohms
                .iter()
                .map(|r| OhmsRange {
                    source: source(r),
                    full_scale: r.limit,
                    accuracy: r.accuracy.into(),
                })
                .collect(),
            leads: m.leads,
        }
    }
}
