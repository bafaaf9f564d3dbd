//! The meter: part of the circuit while it measures.
//!
//! A diode test and a resistance test are sources with a limit; a voltmeter is
//! a resistance. What a range shows follows from the operating point with that
//! at the tips of the leads, never from a rule.

use super::edit::{Edit, TestSource};
use super::network::Node;
use super::solve::{Gradient, OperatingPoint, SolveError, Solver};

/// What the meter is set to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mode {
    /// DC volts, in a powered circuit.
    Volts,
    /// Diode test, in an unpowered circuit; shows volt.
    Diode,
    /// Resistance, in an unpowered circuit.
    Ohms,
}

/// What the meter shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A number, in volt or ohm.
    Value(f64),
    /// Over limit. A result, not an error.
    OL,
}

/// By how much a meter with its leads may be off throughout a job, as standard
/// deviation: people null their leads or do not, tips are worn. Common practice,
/// no source.
const OFFSET_OHMS: f64 = 0.3;
/// The same of its volts, volt.
const OFFSET_VOLTS: f64 = 5e-3;

/// More volts than any current of a diode test takes through what it can still
/// tell apart, volt.
const AMPLE_VOLTS: f64 = 100.0;

/// By how much a meter with its leads may be off in a mode, the same for all
/// readings of a job: standard deviation in volt or ohm.
#[must_use]
pub fn offset(mode: Mode) -> f64 {
    match mode {
        Mode::Volts | Mode::Diode => OFFSET_VOLTS,
        Mode::Ohms => OFFSET_OHMS,
    }
}

/// Stated accuracy: percent of the reading plus counts of the last digit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Percent of the reading.
    pub percent: f64,
    /// Counts of the last digit.
    pub digits: f64,
    /// Worth of the last digit, volt or ohm.
    pub resolution: f64,
}

impl Accuracy {
    /// Largest error at a reading, in its unit.
    #[must_use]
    pub fn limit(&self, reading: f64) -> f64 {
        reading.abs() * self.percent / 100.0 + self.digits * self.resolution
    }

    /// Standard deviation at a reading: the limits of a rectangular
    /// distribution over the square root of 3 (JCGM 100:2008, 4.3.7).
    #[must_use]
    pub fn deviation(&self, reading: f64) -> f64 {
        self.limit(reading) / 3.0_f64.sqrt()
    }
}

impl TestSource {
    /// A test current in ampere, as long as the circuit takes it below the
    /// open-circuit voltage.
    #[must_use]
    pub fn current(amps: f64, open_volts: f64) -> Self {
        TestSource {
            volts: open_volts,
            series: 0.0,
            gives: amps,
            takes: 0.0,
        }
    }

    /// A voltage behind a resistance.
    #[must_use]
    pub fn behind(volts: f64, series: f64) -> Self {
        TestSource {
            volts,
            series,
            gives: f64::INFINITY,
            takes: f64::INFINITY,
        }
    }
}

/// The diode test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiodeTest {
    /// What the meter puts out.
    pub source: TestSource,
    /// Shows OL above this, volt.
    pub limit: f64,
    /// Stated accuracy.
    pub accuracy: Accuracy,
}

/// One range of the resistance test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OhmsRange {
    /// What the meter puts out.
    pub source: TestSource,
    /// Largest reading of the range, ohm.
    pub full_scale: f64,
    /// Stated accuracy.
    pub accuracy: Accuracy,
}

/// DC volts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltsTest {
    /// Input resistance, ohm.
    pub input: f64,
    /// Shows OL above this amount, volt.
    pub limit: f64,
    /// Stated accuracy.
    pub accuracy: Accuracy,
}

impl VoltsTest {
    /// What of a voltage behind `source` ohm is shown, as a share:
    /// `Ri / (Rs + Ri)`. The error is `-Rs / (Rs + Ri)` (user guide of the
    /// Agilent 34970A, loading errors due to input resistance).
    #[must_use]
    pub fn share_shown(&self, source: f64) -> f64 {
        self.input / (source + self.input)
    }
}

/// A meter.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// DC volts.
    pub volts: VoltsTest,
    /// Diode test.
    pub diode: DiodeTest,
    /// Resistance ranges, lowest first; the meter takes the first that the
    /// reading fits.
    pub ohms: Vec<OhmsRange>,
    /// Both leads with their contacts, ohm.
    pub leads: f64,
}

impl Meter {
    /// A handheld meter: diode test of 1 mA up to 3 V, resistance below a
    /// junction's voltage, 10 megohm. Common practice, no source; replace it
    /// by what the manual of the meter on the bench says.
    #[must_use]
    pub fn handheld() -> Self {
        let ohms = [
            (600.0, 0.5e-3),
            (6e3, 50e-6),
            (60e3, 5e-6),
            (600e3, 0.5e-6),
            (6e6, 50e-9),
            (60e6, 5e-9),
        ];
        Meter {
            volts: VoltsTest {
                input: 10e6,
                limit: 600.0,
                accuracy: Accuracy {
                    percent: 0.5,
                    digits: 2.0,
                    resolution: 1e-3,
                },
            },
            diode: DiodeTest {
                source: TestSource::current(1e-3, 3.0),
                limit: 2.0,
                accuracy: Accuracy {
                    percent: 1.0,
                    digits: 3.0,
                    resolution: 1e-3,
                },
            },
            ohms: ohms
                .into_iter()
                .map(|(full_scale, amps)| OhmsRange {
                    source: TestSource::current(amps, 0.6),
                    full_scale,
                    accuracy: Accuracy {
                        percent: if full_scale < 10e6 { 0.9 } else { 1.5 },
                        digits: 3.0,
                        resolution: full_scale / 6000.0,
                    },
                })
                .collect(),
            leads: 0.2,
        }
    }

    /// What the meter puts out where it shows this reading.
    #[must_use]
    pub fn source(&self, mode: Mode, reading: Reading) -> TestSource {
        match mode {
            Mode::Volts => TestSource::behind(0.0, self.volts.input),
            Mode::Diode => self.diode.source,
            Mode::Ohms => {
                let range = self.ohms.get(self.range_of(reading));
                range.map_or(self.diode.source, |r| r.source)
            }
        }
    }

    /// Reads between two points of a circuit with some changes made to it. The
    /// circuit is taken as it is: for diode and resistance mode give the
    /// [unpowered](super::network::Network::unpowered) one.
    ///
    /// # Errors
    /// If the circuit with its changes has no operating point.
    pub fn read(
        &self,
        solver: &mut Solver,
        edits: &[Edit],
        red: Node,
        black: Node,
        mode: Mode,
    ) -> Result<Reading, SolveError> {
        Ok(self.measure(solver, edits, red, black, mode)?.reading())
    }

    /// The same with everything a prediction needs.
    pub(super) fn measure<'s>(
        &self,
        solver: &'s mut Solver,
        edits: &[Edit],
        red: Node,
        black: Node,
        mode: Mode,
    ) -> Result<Measured<'s>, SolveError> {
        let (shown, limit, accuracy) = match mode {
            Mode::Volts => {
                let input = TestSource::behind(0.0, self.volts.input);
                let at = self.apply(solver, edits, red, black, input)?;
                let shown = Shown {
                    value: -at.amps * self.volts.input,
                    slope: -at.amps_slope * self.volts.input,
                    port: at.port,
                };
                (shown, self.volts.limit, self.volts.accuracy)
            }
            Mode::Diode => {
                let at = self.apply(solver, edits, red, black, self.diode.source)?;
                let shown = Shown {
                    value: at.volts,
                    slope: at.volts_slope,
                    port: at.port,
                };
                (shown, self.diode.limit, self.diode.accuracy)
            }
            Mode::Ohms => return self.measure_ohms(solver, edits, red, black),
        };
        Ok(Measured {
            shown,
            limit,
            accuracy,
            range: 0,
            passed: f64::INFINITY,
            point: solver.last(),
        })
    }

    /// A diode test as if the meter put out as many volts as its current takes: it
    /// reads the same below its limit, and goes on to tell of the circuit where it
    /// shows OL.
    pub(super) fn measure_beyond<'s>(
        &self,
        solver: &'s mut Solver,
        edits: &[Edit],
        red: Node,
        black: Node,
    ) -> Result<Measured<'s>, SolveError> {
        let ample = Meter {
            diode: DiodeTest {
                source: TestSource {
                    volts: AMPLE_VOLTS.copysign(self.diode.source.volts),
                    ..self.diode.source
                },
                ..self.diode
            },
            ..self.clone()
        };
        ample.measure(solver, edits, red, black, Mode::Diode)
    }

    /// In resistance mode, in the range that the meter takes.
    fn measure_ohms<'s>(
        &self,
        solver: &'s mut Solver,
        edits: &[Edit],
        red: Node,
        black: Node,
    ) -> Result<Measured<'s>, SolveError> {
        let last = self.ohms.len().saturating_sub(1);
        let mut taken = (0, Shown::default());
        let mut passed = f64::INFINITY;
        for (i, range) in self.ohms.iter().enumerate() {
            let below = taken.1.value;
            if i > 0 {
                passed = below / self.ohms[i - 1].full_scale;
            }
            // A higher range drives less current, at which junctions conduct
            // less: what one range reads is out of reach of those that end
            // below it.
            if below > range.full_scale && i < last {
                continue;
            }
            let at = self.apply(solver, edits, red, black, range.source)?;
            taken = (i, quotient(&at));
            if taken.1.value <= range.full_scale {
                break;
            }
        }
        let (range, shown) = taken;
        Ok(Measured {
            shown,
            limit: self.ohms.get(range).map_or(0.0, |r| r.full_scale),
            accuracy: self
                .ohms
                .get(range)
                .map_or(self.diode.accuracy, |r| r.accuracy),
            range,
            passed,
            point: solver.last(),
        })
    }

    /// In resistance mode, in a range by its place; what does not fit it is
    /// above its limit.
    pub(super) fn measure_in<'s>(
        &self,
        solver: &'s mut Solver,
        edits: &[Edit],
        red: Node,
        black: Node,
        range: usize,
    ) -> Result<Measured<'s>, SolveError> {
        let OhmsRange {
            source,
            full_scale,
            accuracy,
        } = self.ohms[range];
        let at = self.apply(solver, edits, red, black, source)?;
        Ok(Measured {
            shown: quotient(&at),
            limit: full_scale,
            accuracy,
            range,
            passed: f64::INFINITY,
            point: solver.last(),
        })
    }

    /// The range, by its place, in which the meter shows a resistance: the first
    /// that it fits, else the last.
    #[must_use]
    pub fn range_of(&self, reading: Reading) -> usize {
        let fits = |r: &OhmsRange| match reading {
            Reading::Value(v) => v <= r.full_scale,
            Reading::OL => false,
        };
        let last = self.ohms.len().saturating_sub(1);
        self.ohms.iter().position(fits).unwrap_or(last)
    }

    /// Solves with a source at the tips; voltage and current at the meter's
    /// own terminals.
    fn apply(
        &self,
        solver: &mut Solver,
        edits: &[Edit],
        red: Node,
        black: Node,
        source: TestSource,
    ) -> Result<Terminals, SolveError> {
        let source = TestSource {
            series: source.series + self.leads,
            ..source
        };
        let probe = Edit::Probe { red, black, source };
        solver.run(edits, Some(&probe))?;
        let probed = solver.last().probe(edits.len());
        let at = probed.ok_or(SolveError::Singular)?;
        Ok(Terminals {
            volts: at.volts + self.leads * at.amps,
            amps: at.amps,
            volts_slope: at.volts_slope + self.leads * at.amps_slope,
            amps_slope: at.amps_slope,
            port: at.port,
        })
    }
}

struct Terminals {
    volts: f64,
    amps: f64,
    volts_slope: f64,
    amps_slope: f64,
    port: usize,
}

/// What would be shown by a display without end, and its slope along the law
/// of the meter's port.
#[derive(Clone, Copy, Debug, Default)]
struct Shown {
    value: f64,
    slope: f64,
    port: usize,
}

/// Resistance as the meter computes it: volts over amperes.
fn quotient(at: &Terminals) -> Shown {
    if at.amps.abs() < 1e-18 {
        return Shown {
            value: f64::INFINITY,
            slope: 0.0,
            port: at.port,
        };
    }
    Shown {
        value: at.volts / at.amps,
        slope: (at.volts_slope - at.amps_slope * at.volts / at.amps) / at.amps,
        port: at.port,
    }
}

/// A reading with the operating point it was taken at.
pub(super) struct Measured<'s> {
    shown: Shown,
    /// Not shown above this: OL, or the next range of a resistance.
    pub(super) limit: f64,
    pub(super) accuracy: Accuracy,
    /// Of a resistance, the place of its range.
    pub(super) range: usize,
    /// By what factor it is at least too large for the range before.
    pub(super) passed: f64,
    point: OperatingPoint<'s>,
}

impl Measured<'_> {
    /// The value before OL and the last digit; may be infinite.
    pub(super) fn value(&self) -> f64 {
        self.shown.value
    }

    pub(super) fn reading(&self) -> Reading {
        if self.shown.value.abs() > self.limit {
            Reading::OL
        } else {
            Reading::Value(self.shown.value)
        }
    }

    /// Slopes of the value with everything in the circuit.
    pub(super) fn gradient(&mut self) -> Gradient<'_> {
        self.point.gradient(self.shown.port, self.shown.slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn published_accuracy_examples() {
        // 2.000 V on +-(0.08 % + 2): 1.9964 to 2.0036 V.
        let a = Accuracy {
            percent: 0.08,
            digits: 2.0,
            resolution: 1e-3,
        };
        assert!(near(a.limit(2.0), 0.0036));
        // 100.0 V on +-(1 % + 2): 98.8 to 101.2 V.
        let a = Accuracy {
            percent: 1.0,
            digits: 2.0,
            resolution: 0.1,
        };
        assert!(near(a.limit(100.0), 1.2));
        // 2 V, digit 1 mV, on +-(0.5 % + 3): 1.987 to 2.013 V.
        let a = Accuracy {
            percent: 0.5,
            digits: 3.0,
            resolution: 1e-3,
        };
        assert!(near(a.limit(2.0), 0.013));
    }
}
