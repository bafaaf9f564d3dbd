//! A jumper wire: what it does to the circuit, and whether it may be there.
//!
//! | what | formula | source |
//! | --- | --- | --- |
//! | diameter | `0.005 in · 92^((36 - n) / 39)` | ASTM B258, formula from memory; gives the published rows |
//! | resistance | `1.7241e-8 ohm m · length / area` at 20 °C | IACS copper |
//! | fusing current | `10244 A · (d / inch)^1.5` | Preece, as Ness Engineering prints it |
//!
//! Fusing is when the wire melts in free air, not what it may carry.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::led::TOUCH_LIMIT;
use super::physical::{NotPhysical, check, not_negative, positive};
use std::f64::consts::PI;

/// Resistivity of copper at 20 °C, ohm metre (IACS).
pub const COPPER: f64 = 1.7241e-8;
/// Metres in an inch.
const INCH: f64 = 0.0254;
/// Preece's constant for copper, ampere per inch to the 1.5.
const PREECE: f64 = 10_244.0;
/// Share of the fusing current that a jumper may carry for long: common
/// practice, no source.
pub const SAFE_SHARE: f64 = 0.25;
/// Relative difference of two supplies that still counts as the same: common
/// practice, no source.
pub const SAME_DOMAIN: f64 = 0.05;
/// Bits per second from which a plain wire spoils a line: common practice, no
/// source. There [`longest`] is down to what a hand can solder.
pub const FAST: f64 = 100e6;
/// How far a signal gets along a wire on a board, metre per second: common
/// practice, no source.
const SIGNAL: f64 = 2e8;
/// Share of the way of one bit that a wire may be long, so that the line does
/// not ring: common practice, no source.
const SHORT_SHARE: f64 = 0.01;
/// Drop as a share of the supply that deserves a remark: common practice, no
/// source.
pub const DROP_SHARE: f64 = 0.02;

/// A solid copper wire by its AWG number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gauge(u8);

impl Gauge {
    /// By its number, 0 (thick) to 50 (thin).
    ///
    /// # Errors
    /// If there is no such number.
    pub fn new(awg: u8) -> Result<Self, NotPhysical> {
        check(awg <= 50, "AWG", f64::from(awg), "from 0 to 50")?;
        Ok(Gauge(awg))
    }

    /// Its number.
    #[must_use]
    pub fn awg(self) -> u8 {
        self.0
    }

    /// Diameter of the bare wire, metre.
    #[must_use]
    pub fn diameter(self) -> f64 {
        0.005 * INCH * 92.0_f64.powf((36.0 - f64::from(self.0)) / 39.0)
    }

    /// Resistance of one metre at 20 °C, ohm.
    #[must_use]
    pub fn ohms_per_metre(self) -> f64 {
        COPPER / (PI * (self.diameter() / 2.0).powi(2))
    }

    /// Fusing current, ampere.
    #[must_use]
    pub fn fusing(self) -> f64 {
        fusing(self.diameter())
    }

    /// What it may carry as a jumper, ampere.
    #[must_use]
    pub fn carries(self) -> f64 {
        SAFE_SHARE * self.fusing()
    }

    /// The thinnest even number from 44 to 20 that may carry a current.
    #[must_use]
    pub fn thinnest(amps: f64) -> Option<Self> {
        let even = (20..=44).rev().step_by(2).map(Gauge);
        even.into_iter().find(|g| amps <= g.carries())
    }
}

/// Longest plain wire on a line of so many bits per second, metre.
#[must_use]
pub fn longest(rate: f64) -> f64 {
    SHORT_SHARE * SIGNAL / rate
}

/// Fusing current of a copper wire of a diameter in metre, ampere (Preece).
#[must_use]
pub fn fusing(diameter: f64) -> f64 {
    PREECE * (diameter / INCH).powf(1.5)
}

/// What a jumper goes around.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bypassed {
    /// A trace, via, contact or flex that is open.
    Trace,
    /// A series resistor that damps a line.
    SeriesResistor,
    /// A ferrite bead.
    Ferrite,
    /// A noise filter or common-mode choke.
    Filter,
    /// A fuse.
    Fuse,
    /// A part that protects: against surge, reversal or overvoltage.
    Protection,
    /// A part that limits a current, such as a load switch or a lamp's
    /// resistor.
    Limiter,
    /// A level shifter.
    LevelShifter,
    /// The coupling capacitor of a fast pair.
    CouplingCapacitor,
    /// A pull-up, from its supply to the line.
    PullUp,
    /// A part that does the work: a lamp string, a coil, a sensor.
    Load,
    /// A part from the line to ground or to a supply.
    Hanging,
}

/// A wire and where it is to go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jumper {
    /// What it goes around.
    pub bypassed: Bypassed,
    /// Supply of the circuit on one side, volt.
    pub from: f64,
    /// Supply of the circuit on the other side, volt.
    pub to: f64,
    /// Bits per second of one line; 0 for a supply or a slow signal.
    pub rate: f64,
    /// Length, metre.
    pub metres: f64,
    /// Current it is to carry, ampere.
    pub amps: f64,
    /// The wire.
    pub gauge: Gauge,
}

/// Whether a jumper may be there.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Verdict {
    /// It may.
    #[default]
    Sound,
    /// It may, with what is said along with it in mind.
    WithCare,
    /// It may not.
    No,
}

impl Verdict {
    /// As programs read it: `sound`, `with-care` or `no`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Sound => "sound",
            Verdict::WithCare => "with-care",
            Verdict::No => "no",
        }
    }

    /// In plain words.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Verdict::Sound => "Sound",
            Verdict::WithCare => "Sound with care",
            Verdict::No => "Not sound",
        }
    }
}

/// Why a jumper is sound, or is not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Both sides are one line.
    OneLine,
    /// The part only damps or keeps noise down.
    OnlyDamps,
    /// Both sides have different supplies.
    DifferentDomains,
    /// The part joins domains and keeps them apart.
    KeepsDomainsApart,
    /// The part could keep domains apart, but both sides have one level.
    OneLevel,
    /// The part protects.
    Protects,
    /// The part limits a current.
    Limits,
    /// The part blocks DC on a fast pair.
    BlocksDc,
    /// The line is too fast for a wire.
    FastPair,
    /// The pull-up has to stay.
    PullUpStays,
    /// The part does the work.
    DoesTheWork,
    /// The part does not lie in the way of the signal.
    NotInSeries,
    /// The voltage is above what may be touched.
    Hazardous,
    /// The wire is too long for the line.
    TooLong,
    /// The wire is too thin for the current.
    TooThin,
}

impl Reason {
    /// Whether the jumper is sound.
    #[must_use]
    pub fn verdict(self) -> Verdict {
        match self {
            Reason::OneLine | Reason::OnlyDamps => Verdict::Sound,
            Reason::OneLevel => Verdict::WithCare,
            _ => Verdict::No,
        }
    }

    /// Whether the jumper would do harm, rather than just not do.
    #[must_use]
    pub fn harms(self) -> bool {
        !matches!(
            self,
            Reason::FastPair | Reason::TooLong | Reason::TooThin | Reason::NotInSeries
        ) && self.verdict() == Verdict::No
    }

    /// One plain sentence.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Reason::OneLine => "Both sides are the same line in the same voltage domain.",
            Reason::OnlyDamps => {
                "Both sides are in the same voltage domain, and the part only damps or keeps noise down: the line works without it, with less margin."
            }
            Reason::DifferentDomains => {
                "The two sides are in different voltage domains: a wire would feed the lower from the higher."
            }
            Reason::KeepsDomainsApart => {
                "A level shifter keeps two voltage domains apart, also while one of them is off: replace it."
            }
            Reason::OneLevel => {
                "Both sides of the level shifter have the same level here, so a wire joins them as it does. While one side's supply is off and the other's on, the wire feeds it backwards through the pull-ups: see that both go on and off together."
            }
            Reason::Protects => {
                "The part is there to protect: without it the next fault goes on to the board or the battery; replace it by the same kind and rating."
            }
            Reason::Limits => {
                "The part limits the current: a wire in its place lets through all that the supply can give; replace it."
            }
            Reason::BlocksDc => {
                "The capacitor blocks DC between the two sides: a wire in its place lets it through; replace it, on a pair best both."
            }
            Reason::FastPair => {
                "The line is a fast one: a wire will not do, since its impedance and length spoil the signal; mend the trace or replace the part."
            }
            Reason::PullUpStays => {
                "The pull-up must be kept: a wire across it ties the line to the supply, and no part could pull it low; solder to the line side of the pull-up."
            }
            Reason::DoesTheWork => {
                "The part does the work on this line: a wire in its place is a short; replace it."
            }
            Reason::NotInSeries => {
                "The part lies between the line and ground or a supply, not in the way of the signal: a wire across it shorts the line."
            }
            Reason::Hazardous => {
                "The voltage is above what may be touched: no jumper here; only for those trained for it, by local rules."
            }
            Reason::TooLong => {
                "The wire is too long for how fast the line is: it rings and picks up noise; take a shorter way."
            }
            Reason::TooThin => {
                "The wire is too thin for the current: it would run hot or melt; take a thicker one."
            }
        }
    }
}

/// What to know before soldering a jumper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advice {
    /// Whether it is sound, and why.
    pub reason: Reason,
    /// Resistance, ohm.
    pub ohms: f64,
    /// Drop at the current, volt.
    pub drop: f64,
    /// Fusing current, ampere.
    pub fusing: f64,
    /// Whether the drop is a noticeable share of the supply.
    pub drops_much: bool,
    /// The thinnest wire that may carry the current.
    pub thinnest: Option<Gauge>,
}

/// To be shown with every advice on a jumper.
pub const CAUTIONS: [&str; 2] = [
    "Battery and supply off before soldering, and let boost supplies discharge; static protection, and air to keep the fumes away. Local rules come first.",
    "Find out why the line was open or the part failed before power comes back: no short to ground, none to a neighbour. Glue the wire down and insulate it.",
];

/// To be shown with a jumper on a line that may have a pull-up.
pub const PULL_UP_NOTE: &str =
    "If the line has a pull-up, leave it fitted and solder to its line side.";

impl Jumper {
    /// Whether the jumper is sound, and its figures. The gravest reason
    /// against it is the one given.
    ///
    /// # Errors
    /// If a voltage, a rate or a current is below 0, the length is not above
    /// 0, or one of them is not finite.
    pub fn advice(&self) -> Result<Advice, NotPhysical> {
        let from = not_negative("supply on one side", self.from)?;
        let to = not_negative("supply on the other side", self.to)?;
        let rate = not_negative("data rate", self.rate)?;
        let amps = not_negative("current", self.amps)?;
        let ohms = self.gauge.ohms_per_metre() * positive("length", self.metres)?;
        let apart = (from - to).abs() > SAME_DOMAIN * from.max(to);
        let reason = match self.bypassed {
            _ if from.max(to) > TOUCH_LIMIT => Reason::Hazardous,
            Bypassed::LevelShifter if apart => Reason::KeepsDomainsApart,
            Bypassed::Fuse | Bypassed::Protection => Reason::Protects,
            Bypassed::Limiter => Reason::Limits,
            Bypassed::PullUp => Reason::PullUpStays,
            Bypassed::Load => Reason::DoesTheWork,
            Bypassed::Hanging => Reason::NotInSeries,
            Bypassed::CouplingCapacitor => Reason::BlocksDc,
            _ if apart => Reason::DifferentDomains,
            _ if rate >= FAST => Reason::FastPair,
            _ if rate > 0.0 && self.metres > longest(rate) => Reason::TooLong,
            _ if amps > self.gauge.carries() => Reason::TooThin,
            Bypassed::LevelShifter => Reason::OneLevel,
            Bypassed::Trace => Reason::OneLine,
            Bypassed::SeriesResistor | Bypassed::Ferrite | Bypassed::Filter => Reason::OnlyDamps,
        };
        let drop = ohms * amps;
        Ok(Advice {
            reason,
            ohms,
            drop,
            fusing: self.gauge.fusing(),
            drops_much: from.min(to) > 0.0 && drop > DROP_SHARE * from.min(to),
            thinnest: Gauge::thinnest(amps),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on_a_bus(bypassed: Bypassed) -> Jumper {
        Jumper {
            bypassed,
            from: 1.8,
            to: 1.8,
            rate: 400e3,
            metres: 0.02,
            amps: 3e-3,
            gauge: Gauge(40),
        }
    }

    fn reason(jumper: Jumper) -> Reason {
        jumper.advice().unwrap().reason
    }

    #[test]
    fn what_only_damps_may_be_bypassed() {
        for part in [
            Bypassed::SeriesResistor,
            Bypassed::Ferrite,
            Bypassed::Filter,
        ] {
            assert_eq!(reason(on_a_bus(part)), Reason::OnlyDamps);
        }
        assert_eq!(reason(on_a_bus(Bypassed::Trace)), Reason::OneLine);
    }

    #[test]
    fn what_does_something_may_not() {
        for (part, why) in [
            (Bypassed::Fuse, Reason::Protects),
            (Bypassed::Protection, Reason::Protects),
            (Bypassed::Limiter, Reason::Limits),
            (Bypassed::LevelShifter, Reason::KeepsDomainsApart),
            (Bypassed::CouplingCapacitor, Reason::BlocksDc),
            (Bypassed::PullUp, Reason::PullUpStays),
        ] {
            let jumper = Jumper {
                to: 3.3,
                ..on_a_bus(part)
            };
            assert_eq!(reason(jumper), why);
            assert!(why.verdict() == Verdict::No && why.harms());
        }
    }

    #[test]
    fn domains_rates_and_currents_are_looked_at() {
        let trace = on_a_bus(Bypassed::Trace);
        assert_eq!(
            reason(Jumper { to: 3.3, ..trace }),
            Reason::DifferentDomains
        );
        assert_eq!(reason(Jumper { to: 1.85, ..trace }), Reason::OneLine);
        let shifter = on_a_bus(Bypassed::LevelShifter);
        assert_eq!(reason(shifter), Reason::OneLevel);
        assert_eq!(Reason::OneLevel.verdict(), Verdict::WithCare);
        let boost = Jumper {
            from: 62.0,
            to: 62.0,
            ..trace
        };
        assert_eq!(reason(boost), Reason::Hazardous);
        // 27 MHz: 2e8 / 27e6 / 100 = 74 mm.
        let clock = Jumper {
            rate: 27e6,
            ..trace
        };
        assert_eq!(reason(clock), Reason::OneLine);
        let long = Jumper {
            metres: 0.075,
            ..clock
        };
        assert_eq!(reason(long), Reason::TooLong);
        assert!(!Reason::TooLong.harms());
        assert!((longest(FAST) - 0.02).abs() < 1e-12);
        assert_eq!(
            reason(Jumper {
                rate: 1.5e9,
                ..trace
            }),
            Reason::FastPair
        );
        assert_eq!(reason(Jumper { amps: 1.0, ..trace }), Reason::TooThin);
        assert!(
            Jumper {
                metres: 0.0,
                ..trace
            }
            .advice()
            .is_err()
        );
        assert!(
            Jumper {
                amps: -1.0,
                ..trace
            }
            .advice()
            .is_err()
        );
    }

    #[test]
    fn a_thicker_wire_is_named() {
        let g = Gauge::thinnest(1.0).unwrap();
        assert!(g.carries() >= 1.0);
        assert!(Gauge(g.awg() + 2).carries() < 1.0);
        assert_eq!(Gauge::thinnest(1000.0), None);
        assert!(Gauge::new(51).is_err());
    }
}
