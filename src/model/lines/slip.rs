//! Readings that have nothing to do with what a test asks for: what a slip shows,
//! and what a line shows that is not as the rules say.
//!
//! People measure the pin beside, leave the meter in another mode, have a lead
//! that does not touch, or touch ground. None of that hangs on the faults, so a
//! reading is judged a slip only where it looks like one. The shares are common
//! practice without a source; they stand here alone.

use std::sync::Arc;

use crate::circuit::meter::{Meter, Reading, offset};
use crate::circuit::predict::Prediction;
use crate::line::meter_mode;
use crate::rulebase::MeterMode;

/// Share of slips that are a pin beside, on a healthy line.
const BESIDE: f64 = 0.5;
/// Share of the pins of a connector that are ground, and chance that the pin beside is
/// that of a given other line: a connector has some thirty pins, and a line mostly has
/// one of them. Of the rest the rules say nothing; they are among anything.
const GROUND_PINS: f64 = 1.0 / 3.0;
const GIVEN_PIN: f64 = 0.04;
/// A lead that does not touch: 0.15 of slips. OL and 0 V make people touch again, so
/// that one in twenty of them is entered.
const OPEN_LEAD: f64 = 0.0075;
/// The same point with the leads changed over, or in another mode.
const OTHER_WAY: f64 = 0.2;
/// The part of it that is another mode or a device that is not switched on, where
/// there is such a one. A meter in diode mode shows volts, which few enter as ohms;
/// and 0 V makes people look again.
const OTHER_MODE: f64 = 0.003;
/// A tip on ground, 0.1 of slips and those on a ground pin beside; it shows 0 too, and
/// one in fifty is entered.
const ON_GROUND: f64 = 0.02 * (0.1 + BESIDE * GROUND_PINS);
/// A decade too many or too few.
const DECADE: f64 = 0.03;
/// Anything.
const ANYTHING: f64 = 0.02;
/// What of all slips is entered; the rest is seen at once and measured again.
const ENTERED: f64 =
    BESIDE * (1.0 - GROUND_PINS) + OTHER_WAY + OPEN_LEAD + ON_GROUND + DECADE + ANYTHING;
/// What a healthy line does not show makes most people look at the tip and measure
/// again: this share of such readings of a pin beside is entered. Leads that are changed
/// over and the mode of the meter stay as they are then.
const ODD: f64 = 0.1;

/// What a floating tip picks up, standard deviation in volt.
const FLOATING: f64 = 0.02;
/// Of what a strange line shows: the share at 0 and at OL in ohms, at 0 and at OL
/// in diode mode, at 0 in volts.
const STRANGE_OHMS: (f64, f64) = (0.1, 0.1);
const STRANGE_DIODE: (f64, f64) = (0.1, 0.2);
const STRANGE_VOLTS: f64 = 0.2;
/// Between these a strange line's resistance is spread evenly over the decades,
/// ohm.
const STRANGE_BETWEEN: (f64, f64) = (0.1, 100e6);
/// The lowest voltage of a strange line that is on, volt: a junction below ground.
/// Without power nothing is below ground.
const LOWEST: f64 = -0.6;
/// Share of volts that are higher than anything in the device, up to what a
/// handheld meter measures, volt.
const BEYOND: (f64, f64) = (0.01, 1000.0);

/// What slipped where a reading has nothing to do with what a test asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slip {
    /// A pin beside was measured.
    PinBeside,
    /// The leads were changed over.
    LeadsSwapped,
    /// The meter was in another mode, or the device not switched on.
    OtherMode,
    /// A lead did not touch.
    OpenLead,
    /// The tip was on ground.
    OnGround,
    /// A decade too many or too few was read or typed.
    Decade,
}

/// A healthy line shows values between these shares of what is predicted. What is
/// not known of it is spread evenly between limits, which lie there, while a
/// prediction goes on beyond them as a normal distribution does.
const USUAL: (f64, f64) = (0.05, 0.95);

/// What may be shown, in the unit of the mode.
#[derive(Clone, Debug)]
enum Law {
    /// What is usual, times a factor.
    Usual(Arc<Usual>, f64),
    /// A normal distribution: middle and standard deviation.
    Around(f64, f64),
    /// Evenly between two values.
    Even(f64, f64),
    /// Evenly over the decades between two values.
    Decades(f64, f64),
    /// Over limit.
    Over,
    /// Another one, of which little is entered where a healthy line does not read so.
    Looked(Box<Law>, Expected),
}

/// What a healthy line usually shows: between which values, and whether OL too.
#[derive(Clone, Copy, Debug)]
struct Expected {
    between: (f64, f64),
    over: bool,
}

impl Expected {
    fn new(of: &Usual) -> Self {
        let over = of.shown.ol();
        Expected {
            between: match over > USUAL.1 {
                true => (f64::INFINITY, f64::INFINITY),
                false => of.between,
            },
            over: over > USUAL.0,
        }
    }

    /// Share of the slips to a reading that are entered.
    fn entered(&self, reading: Reading) -> f64 {
        let expected = match reading {
            Reading::OL => self.over,
            Reading::Value(v) => (self.between.0..=self.between.1).contains(&v),
        };
        if expected { 1.0 } else { ODD }
    }
}

impl Law {
    fn density(&self, v: f64) -> f64 {
        match self {
            Law::Usual(u, by) => u.density(v / by) / by.abs(),
            Law::Around(middle, deviation) => {
                let off = (v - middle) / deviation;
                (-0.5 * off * off).exp() / (deviation * std::f64::consts::TAU.sqrt())
            }
            Law::Even(low, high) if (*low..=*high).contains(&v) => 1.0 / (high - low),
            Law::Decades(low, high) if (*low..=*high).contains(&v) => 1.0 / (v * (high / low).ln()),
            Law::Looked(law, expected) => expected.entered(Reading::Value(v)) * law.density(v),
            Law::Even(..) | Law::Decades(..) | Law::Over => 0.0,
        }
    }

    fn over(&self) -> f64 {
        match self {
            Law::Usual(u, _) => u.shown.ol(),
            Law::Over => 1.0,
            Law::Looked(law, expected) => expected.entered(Reading::OL) * law.over(),
            Law::Around(..) | Law::Even(..) | Law::Decades(..) => 0.0,
        }
    }

    /// A density for a value, in the unit of the mode, a chance for OL.
    fn likelihood(&self, reading: Reading) -> f64 {
        match reading {
            Reading::Value(v) => self.density(v),
            Reading::OL => self.over(),
        }
    }

    /// Whether a reading is one of the usual ones.
    fn is_usual(&self, reading: Reading) -> bool {
        let over = self.over();
        match (self, reading) {
            (_, Reading::OL) => over > USUAL.0,
            (_, Reading::Value(_)) if over > USUAL.1 => false,
            (Law::Usual(u, by), Reading::Value(v)) => u.holds(v / by),
            (_, Reading::Value(v)) => (USUAL.0..=USUAL.1).contains(&(self.upto(v) / (1.0 - over))),
        }
    }

    /// Chance of a value up to this one.
    fn upto(&self, v: f64) -> f64 {
        match self {
            Law::Usual(u, by) if *by > 0.0 => u.upto(v / by),
            Law::Usual(u, by) => 1.0 - u.shown.ol() - u.upto(v / by),
            Law::Around(middle, deviation) => {
                let off = (v - middle) / deviation;
                0.5 * libm::erfc(-off * std::f64::consts::FRAC_1_SQRT_2)
            }
            Law::Even(low, high) => ((v - low) / (high - low)).clamp(0.0, 1.0),
            Law::Decades(low, high) => {
                ((v.max(*low) / low).ln() / (high / low).ln()).clamp(0.0, 1.0)
            }
            Law::Over => 0.0,
            Law::Looked(
                law,
                Expected {
                    between: (low, high),
                    ..
                },
            ) => {
                let expected = law.upto(v.clamp(*low, *high)) - law.upto(*low);
                ODD * law.upto(v) + (1.0 - ODD) * expected
            }
        }
    }
}

/// What a healthy line shows.
#[derive(Clone, Debug)]
pub(super) struct Usual {
    shown: Prediction,
    /// Between which values, in the unit of the mode.
    between: (f64, f64),
}

impl Usual {
    pub(super) fn new(shown: Prediction) -> Self {
        let values = 1.0 - shown.ol();
        let end = |share: f64, over: f64| match shown.quantile(share * values) {
            Reading::Value(v) => v,
            Reading::OL => over,
        };
        let between = (end(USUAL.0, 0.0), end(USUAL.1, f64::INFINITY));
        Usual { shown, between }
    }

    fn holds(&self, v: f64) -> bool {
        (self.between.0..=self.between.1).contains(&v)
    }

    fn density(&self, v: f64) -> f64 {
        match self.holds(v) {
            true => self.shown.density(v) / (USUAL.1 - USUAL.0),
            false => 0.0,
        }
    }

    /// Chance of a value up to this one.
    fn upto(&self, v: f64) -> f64 {
        let values = 1.0 - self.shown.ol();
        let from = USUAL.0 * values;
        let upto = (self.shown.cdf(v) - from) / (USUAL.1 - USUAL.0);
        upto.clamp(0.0, values)
    }
}

/// A mixture of such laws.
#[derive(Clone, Debug, Default)]
pub(in crate::model) struct Shows {
    all: Vec<(f64, Law)>,
    /// What of all slips is entered.
    entered: f64,
}

/// What healthy lines show that a slip may land on, in the unit of the test's
/// mode.
#[derive(Clone, Debug, Default)]
pub(super) struct Healthy {
    /// The point itself.
    pub(super) here: Option<Arc<Usual>>,
    /// The pins of other lines at the same place.
    pub(super) beside: Vec<Arc<Usual>>,
    /// The point with the leads changed over.
    pub(super) turned: Option<Arc<Usual>>,
    /// The number that another mode shows.
    pub(super) other_mode: Option<Arc<Usual>>,
}

impl Healthy {
    /// What slips show, each with its share; what is left to one is anything.
    fn slips(&self, mode: MeterMode) -> Vec<(Slip, f64, Law)> {
        let unit = meter_mode(mode);
        let mut all = Vec::new();
        let mut share = |slip: Slip, weight: f64, of: Vec<Law>| {
            let each = weight / ENTERED / of.len() as f64;
            all.extend(of.into_iter().map(|law| (slip, each, law)));
        };
        let usual = |u: &Arc<Usual>, by: f64| Law::Usual(u.clone(), by);
        let here = self.here.iter();
        let beside: Vec<Law> = match self.beside.is_empty() {
            true => here.clone().map(|p| usual(p, 1.0)).collect(),
            false => self.beside.iter().map(|p| usual(p, 1.0)).collect(),
        };
        // Where the rules know of no other line, the pin beside is like this one.
        let named = match self.beside.is_empty() {
            true => 1.0 - GROUND_PINS,
            false => (beside.len() as f64 * GIVEN_PIN).min(1.0 - GROUND_PINS),
        };
        let ground = Law::Around(0.0, offset(unit));
        // In volts they only change the sign, which is seen when it is typed.
        let turned: Vec<Law> = self.turned.iter().map(|p| usual(p, 1.0)).collect();
        let other_mode = self.other_mode.iter();
        let mut other_mode: Vec<Law> = other_mode.map(|p| usual(p, 1.0)).collect();
        let open = match mode {
            MeterMode::Volts => {
                // Not switched on.
                other_mode.push(ground.clone());
                Law::Around(0.0, FLOATING)
            }
            MeterMode::Diode | MeterMode::Ohms => Law::Over,
        };
        let decade = here.flat_map(|p| [usual(p, 10.0), usual(p, 0.1)]);
        share(Slip::PinBeside, BESIDE * named, beside);
        let in_other_mode = if other_mode.is_empty() {
            0.0
        } else {
            OTHER_MODE
        };
        share(Slip::LeadsSwapped, OTHER_WAY - in_other_mode, turned);
        share(Slip::OtherMode, in_other_mode, other_mode);
        share(Slip::OpenLead, OPEN_LEAD, vec![open]);
        share(Slip::OnGround, ON_GROUND, vec![ground]);
        share(Slip::Decade, DECADE, decade.collect());
        all
    }

    /// The slip that shows a reading most likely, if it is a usual one for it.
    pub(super) fn slip_of(&self, mode: MeterMode, reading: Reading) -> Option<Slip> {
        let usual = self.slips(mode).into_iter();
        let usual = usual.filter(|(_, _, law)| law.is_usual(reading));
        let each = usual.map(|(slip, weight, law)| (slip, weight * law.likelihood(reading)));
        each.max_by(|a, b| a.1.total_cmp(&b.1)).map(|x| x.0)
    }
}

impl Shows {
    /// What a slip shows.
    pub(super) fn slip(mode: MeterMode, healthy: &Healthy, strange: &Shows) -> Self {
        let expected = healthy.here.as_ref().map(|here| Expected::new(here));
        let looked = |law: Law| match expected {
            Some(expected) => Law::Looked(Box::new(law), expected),
            None => law,
        };
        let slips = healthy.slips(mode).into_iter();
        let slips = slips.map(|(slip, weight, law)| match slip {
            Slip::PinBeside => (weight, looked(law)),
            _ => (weight, law),
        });
        let mut all: Vec<(f64, Law)> = slips.collect();
        let anything = ANYTHING / ENTERED;
        all.extend((strange.all.iter()).map(|(w, law)| (anything * w, law.clone())));
        let entered: f64 = (all.iter())
            .map(|(w, law)| w * (law.over() + law.upto(f64::INFINITY)))
            .sum();
        all.iter_mut().for_each(|(w, _)| *w /= entered);
        let entered = ENTERED * entered;
        Shows { all, entered }
    }

    /// The chance that a reading which was entered is a slip, where people measure
    /// right with this chance.
    pub(super) fn misread(&self, reliability: f64) -> f64 {
        let wrong = (1.0 - reliability) * self.entered;
        wrong / (reliability + wrong)
    }

    /// What a line shows that is not as the rules say, where `most` is the highest
    /// voltage in the device, volt.
    pub(super) fn strange(mode: MeterMode, meter: &Meter, most: f64) -> Self {
        let zero = Law::Around(0.0, offset(meter_mode(mode)));
        let all = match mode {
            MeterMode::Ohms => {
                let (at_zero, over) = STRANGE_OHMS;
                let (low, high) = STRANGE_BETWEEN;
                vec![
                    (at_zero, zero),
                    (over, Law::Over),
                    (1.0 - at_zero - over, Law::Decades(low, high)),
                ]
            }
            MeterMode::Diode => {
                let (at_zero, over) = STRANGE_DIODE;
                vec![
                    (at_zero, zero),
                    (over, Law::Over),
                    (1.0 - at_zero - over, Law::Even(0.0, meter.diode.limit)),
                ]
            }
            MeterMode::Volts => {
                let (beyond, highest) = BEYOND;
                vec![
                    (STRANGE_VOLTS, zero),
                    (1.0 - STRANGE_VOLTS - beyond, Law::Even(LOWEST, most)),
                    (beyond, Law::Even(-highest, highest)),
                ]
            }
        };
        Shows { all, entered: 1.0 }
    }

    /// How likely a reading is: a density for a value, in the unit of the mode, a
    /// chance for OL.
    pub(in crate::model) fn likelihood(&self, reading: Reading) -> f64 {
        let each = (self.all.iter()).map(|(w, law)| w * law.likelihood(reading));
        each.sum()
    }

    /// The same of a number that may be off by so much either way because it was
    /// rounded: the mean of the density there.
    pub(super) fn within(&self, reading: Reading, rounded: f64) -> f64 {
        let Reading::Value(v) = reading else {
            return self.likelihood(reading);
        };
        if rounded <= 0.0 {
            return self.likelihood(reading);
        }
        let between = |law: &Law| law.upto(v + rounded) - law.upto(v - rounded);
        let sum: f64 = self.all.iter().map(|(w, law)| w * between(law)).sum();
        sum / (2.0 * rounded)
    }

    /// The slips that may show a reading: the share of each of all slips, and how
    /// likely it shows this.
    pub(super) fn each(&self, reading: Reading, rounded: f64) -> Vec<(f64, f64)> {
        let each = self.all.iter().map(|(weight, law)| {
            let alone = Shows {
                all: vec![(1.0, law.clone())],
                entered: self.entered,
            };
            (*weight, alone.within(reading, rounded))
        });
        each.filter(|x| x.1 > 0.0).collect()
    }

    /// Chance of a value below the first of some cuts, between each two, above the
    /// last, and of OL.
    pub(super) fn parted(&self, cuts: &[f64]) -> Vec<f64> {
        let sum =
            |of: &dyn Fn(&Law) -> f64| -> f64 { self.all.iter().map(|(w, law)| w * of(law)).sum() };
        let over = sum(&Law::over);
        let ends = cuts.iter().map(|c| sum(&|law| law.upto(*c)));
        let mut from = 0.0;
        let mut parts: Vec<f64> = ends
            .chain([1.0 - over])
            .map(|end| {
                let part = (end - from).max(0.0);
                from = f64::max(from, end);
                part
            })
            .collect();
        parts.push(over);
        parts
    }
}
