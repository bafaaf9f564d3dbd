//! Measured values as people type them: `4.7k`, `0,41 V`, `412 mV`, `1V8`,
//! `0.47 megohm`, `OL`, `short`, `~2k`, `>20M`, `0.45 reversed`.
//!
//! What no meter can have shown is refused with the reason, and what was
//! probably meant otherwise, or says too little, is asked back with what to
//! type. Nothing is guessed. A result is read once, when it is entered: [`AsTyped`]
//! keeps all that its words tell.

#[cfg(test)]
mod tests;

use super::said::{Manner, manner};
use crate::circuit::meter::Mode;
use crate::model::TestInfo;
use crate::rulebase::MeterMode;
use crate::units::{Quantity, Unit, shown};

/// What was typed for a measured value.
#[derive(Clone, Debug, PartialEq)]
pub enum Typed {
    /// A value in the unit of the test; infinite for over limit.
    Value(f64),
    /// A value for a word, with what it was taken for.
    Noted {
        /// In the unit of the test.
        value: f64,
        /// What to tell.
        note: String,
    },
    /// About so much, within [`ABOUT`].
    About {
        /// In the unit of the test.
        value: f64,
    },
    /// Read with the leads swapped.
    Reversed {
        /// In the unit of the test; infinite for over limit.
        value: f64,
    },
    /// True, but not enough to count.
    TooLittle {
        /// What it says, in words.
        says: String,
        /// What to type instead.
        instead: String,
    },
    /// Probably meant otherwise.
    Doubtful {
        /// What it could be, written in full.
        could_be: Vec<String>,
    },
    /// What no meter can show.
    Impossible {
        /// Why not.
        why: String,
    },
    /// A value in another unit than the test's.
    OtherUnit,
    /// Not a number.
    NoNumber,
}

impl Typed {
    /// The value in the unit asked for, infinite for over limit; `None` if it is
    /// none.
    #[must_use]
    pub fn value(&self) -> Option<f64> {
        match *self {
            Typed::Value(value)
            | Typed::Noted { value, .. }
            | Typed::About { value }
            | Typed::Reversed { value } => Some(value),
            _ => None,
        }
    }
}

/// A result in the words that were typed, and what they are read as.
#[derive(Clone, Debug, PartialEq)]
pub struct AsTyped {
    /// The words.
    pub text: String,
    /// What they are read as.
    pub typed: Typed,
    /// By how much the value may be off because of how it was typed, in the unit
    /// asked for: half its last digit, the tenth of an [`ABOUT`], what lies below a
    /// limit. 0 for a bare zero, which stands for a display of zeros, whose last
    /// digit only the meter tells.
    pub rounded: f64,
    /// Whether there is a number in digits among the words.
    pub in_digits: bool,
    /// What to tell of it, if it was taken for something.
    pub note: Option<String>,
    manner: Manner,
}

impl AsTyped {
    /// Reads what was typed for what was asked.
    #[must_use]
    pub fn of(text: &str, asked: &Asked) -> Self {
        let (manner, words) = manner(text);
        let plain = plain(words, asked);
        let number = quantity(words);
        let half_digit = number.map_or(0.0, |n| half_digit(&n, &plain));
        let typed = as_said(manner, words, plain, asked);
        AsTyped {
            text: text.trim().to_owned(),
            rounded: rounded(manner, half_digit, typed.value()),
            in_digits: number.is_some(),
            note: note(text, &typed, asked),
            typed,
            manner,
        }
    }

    /// Whether it was read with the leads swapped.
    pub(super) fn is_reversed(&self) -> bool {
        matches!(self.typed, Typed::Reversed { .. })
    }

    /// Whether it is no exact reading: about so much, taken for something, or with
    /// the leads swapped.
    pub(super) fn is_rough(&self) -> bool {
        self.manner != Manner::Plain
    }

    /// Whether the meter was said to beep; `None` if nothing was said of it.
    pub(super) fn beeps(&self) -> Option<bool> {
        match self.manner {
            Manner::Beep => Some(true),
            Manner::NoBeep => Some(false),
            _ => None,
        }
    }
}

/// What was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked<'a> {
    /// Unit of the test.
    pub unit: &'a str,
    /// What the meter is set to, where that is known.
    pub mode: Option<Mode>,
    /// The most volts that there can be: what the meter puts out in diode
    /// mode, what it measures or what the line can carry in volts mode.
    pub most_volts: f64,
    /// It is read off a meter, and no value that someone chose: then a bare `1`
    /// may be the sign for over limit of an older display.
    pub display: bool,
    /// It is read on a line, whose circuit says what the leads show when swapped.
    pub line: bool,
}

/// Open-circuit voltage of a diode test above which a reading cannot be, volt:
/// the highest that a bench meter's manual has for open leads.
pub const OPEN_VOLTS: f64 = 3.4;

/// The most that a handheld meter measures, volt: common practice, no source.
pub const MOST_VOLTS: f64 = 1000.0;

/// The most that a data line or its supply can have met, volt: the highest
/// VBUS and some more; common practice, no source.
pub const LINE_VOLTS: f64 = 50.0;

impl<'a> Asked<'a> {
    /// What a test asks for.
    #[must_use]
    pub fn by(test: &'a TestInfo) -> Self {
        let unit = test.unit.as_deref().unwrap_or("");
        let asked = match test.measures.map(|m| m.probing.mode) {
            Some(MeterMode::Diode) => Asked::diode(),
            Some(MeterMode::Volts) => Asked::line(),
            Some(MeterMode::Ohms) | None => Asked::of(unit),
        };
        Asked {
            unit,
            most_volts: test.most_volts.unwrap_or(asked.most_volts),
            display: true,
            line: test.measures.is_some(),
            ..asked
        }
    }

    /// A value in a unit; volts and ohms are taken for those ranges of a meter.
    #[must_use]
    pub fn of(unit: &'a str) -> Self {
        let mode = match Unit::named(unit.trim()) {
            Some(Unit::Volt) => Some(Mode::Volts),
            Some(Unit::Ohm) => Some(Mode::Ohms),
            _ => None,
        };
        Asked {
            unit,
            mode,
            most_volts: MOST_VOLTS,
            display: false,
            line: false,
        }
    }

    /// The voltage of a low-voltage line.
    #[must_use]
    pub fn line() -> Self {
        Asked {
            most_volts: LINE_VOLTS,
            ..Asked::of("V")
        }
    }

    /// A reading in diode mode.
    #[must_use]
    pub fn diode() -> Self {
        Asked {
            mode: Some(Mode::Diode),
            most_volts: OPEN_VOLTS,
            display: true,
            ..Asked::of("V")
        }
    }
}

/// How far off a value said to be about so much may be, as a share of it:
/// common practice, no source.
pub const ABOUT: f64 = 0.1;

/// `>` so many ohm, or volt in diode mode, is over limit: about where the last
/// range of the smallest meters ends. Common practice, no source.
const OVER_OHMS: f64 = 1.9e6;
const OVER_DIODE: f64 = 1.3;

/// `<` so many ohm, or volt, is as good as a value half as large: a short, or
/// no voltage. Common practice, no source.
const UNDER_OHMS: f64 = 10.0;
const UNDER_VOLTS: f64 = 0.05;
/// A value below 0 by less than this is what a meter is off by, volt. Common practice, no
/// source.
const NEAR_ZERO: f64 = 0.02;

/// Reads a value given the test's unit. `OL` reads as infinite.
#[must_use]
pub fn parse(text: &str, unit: &str) -> Typed {
    read(text, &Asked::of(unit))
}

/// Reads a value for what was asked. `OL` reads as infinite.
#[must_use]
pub fn read(text: &str, asked: &Asked) -> Typed {
    AsTyped::of(text, asked).typed
}

/// What words are read as, by what they are as they stand and how they were said.
fn as_said(manner: Manner, words: &str, plain: Typed, asked: &Asked) -> Typed {
    if manner == Manner::Plain && asked.display && is_one(words, asked) {
        return Typed::Doubtful {
            could_be: vec![format!("1 {}", canonical(asked.unit)), "OL".to_owned()],
        };
    }
    let known = plain.value();
    match (manner, known.filter(|v| v.is_finite())) {
        (Manner::Plain, _) => plain,
        (Manner::Beep | Manner::NoBeep, _) => beep(manner == Manner::Beep, asked),
        (Manner::Nothing, _) => nothing(asked),
        (Manner::Reversed, _) => known.map_or(plain, |v| reversed(v, words, asked)),
        (Manner::About, Some(value)) => Typed::About { value },
        (Manner::Above, Some(limit)) => above(limit, asked),
        (Manner::Below, Some(limit)) => below(limit, asked),
        // More than a diode test can show.
        (Manner::Above, None)
            if asked.mode == Some(Mode::Diode) && matches!(plain, Typed::Impossible { .. }) =>
        {
            over()
        }
        _ => plain,
    }
}

/// A bare `1`: one ohm or volt, or, on an older display, the sign for over
/// limit.
fn is_one(text: &str, asked: &Asked) -> bool {
    matches!(text, "1" | "1.") && matches!(asked.mode, Some(Mode::Ohms | Mode::Diode))
}

fn over() -> Typed {
    Typed::Noted {
        value: f64::INFINITY,
        note: "taken as OL, since the last range of a meter ends there".to_owned(),
    }
}

fn above(limit: f64, asked: &Asked) -> Typed {
    match asked.mode {
        Some(Mode::Ohms) if limit >= OVER_OHMS => over(),
        Some(Mode::Diode) if limit >= OVER_DIODE => over(),
        _ => Typed::TooLittle {
            says: format!("it is above {}", shown(limit, canonical(asked.unit))),
            instead: match asked.mode {
                Some(Mode::Ohms | Mode::Diode) => "the number that the meter shows, or OL",
                _ => "the number that the meter shows",
            }
            .to_owned(),
        },
    }
}

fn below(limit: f64, asked: &Asked) -> Typed {
    let least = match asked.mode {
        Some(Mode::Ohms) => UNDER_OHMS,
        Some(_) => UNDER_VOLTS,
        None => 0.0,
    };
    let unit = canonical(asked.unit);
    if limit > 0.0 && limit <= least {
        let value = limit / 2.0;
        return Typed::Noted {
            value,
            note: format!("taken as {}, half of the limit", shown(value, unit)),
        };
    }
    Typed::TooLittle {
        says: format!("it is below {}", shown(limit, unit)),
        instead: "the number that the meter shows".to_owned(),
    }
}

/// What a beep of the meter says: with a resistance below some tens of ohm it
/// sounds, which meters differ in.
fn beep(beeps: bool, asked: &Asked) -> Typed {
    let instead = match (asked.mode, beeps) {
        (Some(Mode::Ohms), true) => "the number that the meter shows in ohms, such as 0.3",
        (Some(Mode::Ohms), false) => "the number that the meter shows in ohms, such as 4.7k, or OL",
        (Some(Mode::Diode), true) => "the number that the meter shows, such as 0.002",
        (Some(Mode::Diode), false) => "the number that the meter shows, such as 0.412, or OL",
        (Some(Mode::Volts), _) => {
            return Typed::Impossible {
                why: "a beep is no voltage; type what the meter shows, such as 1.8 V".to_owned(),
            };
        }
        (None, _) => return Typed::NoNumber,
    };
    let side = if beeps { "below" } else { "above" };
    Typed::TooLittle {
        says: format!("it is {side} some tens of ohm"),
        instead: instead.to_owned(),
    }
}

/// No voltage or no current is one; in the other modes it may be either end.
fn nothing(asked: &Asked) -> Typed {
    let unit = canonical(asked.unit);
    match asked.mode {
        Some(Mode::Ohms | Mode::Diode) => Typed::Doubtful {
            could_be: vec!["OL".to_owned(), format!("0 {unit}")],
        },
        _ if matches!(unit, "V" | "A") => Typed::Noted {
            value: 0.0,
            note: format!("taken as 0 {unit}"),
        },
        _ => Typed::NoNumber,
    }
}

fn reversed(value: f64, typed: &str, asked: &Asked) -> Typed {
    match asked.mode {
        Some(Mode::Ohms | Mode::Diode) => Typed::Reversed { value },
        // The other way round a voltage only has the other sign.
        Some(Mode::Volts) => {
            let bare = typed.trim_start_matches(['-', '+', '\u{2212}']);
            Typed::Doubtful {
                could_be: vec![bare.to_owned(), format!("-{bare}")],
            }
        }
        None => Typed::NoNumber,
    }
}

/// A value as it stands.
fn plain(text: &str, asked: &Asked) -> Typed {
    let t = text.trim();
    match t.to_lowercase().as_str() {
        "ol" | "o.l" | "o.l." | "o/l" | "0l" | "open" | "overload" | "over limit" => {
            return Typed::Value(f64::INFINITY);
        }
        "short" | "shorted" | "dead short" => return short(asked),
        _ => {}
    }
    let Some(typed) = quantity(t) else {
        return Typed::NoNumber;
    };
    if typed.unit.is_some() && typed.unit != Unit::named(asked.unit.trim()) {
        return Typed::OtherUnit;
    }
    judge(&typed, asked).unwrap_or_else(|| {
        let bare = typed.prefix.text.is_empty();
        if bare && is_thousands(&typed) && asked.mode == Some(Mode::Ohms) {
            let Quantity { whole, part, .. } = typed;
            return Typed::Doubtful {
                could_be: vec![format!("{whole}.{part} ohm"), format!("{whole}{part} ohm")],
            };
        }
        Typed::Value(typed.value())
    })
}

/// The quantity that was typed. `R47` is the name of a part as well.
fn quantity(text: &str) -> Option<Quantity<'_>> {
    Quantity::read(text).filter(|q| !(q.whole.is_empty() && q.is_marked_by_letter()))
}

/// What cannot be, or was probably meant otherwise.
fn judge(typed: &Quantity, asked: &Asked) -> Option<Typed> {
    let (value, bare, mega) = (typed.value(), typed.is_bare(), typed.prefix.text == "M");
    let impossible = |why: String| Some(Typed::Impossible { why });
    let most = asked.most_volts;
    let why = match asked.mode {
        Some(Mode::Diode) if value < -NEAR_ZERO => {
            return impossible(
                "a diode test cannot read below 0; a supply is still on, or a capacitor still charged. See to that, and type what the meter shows then, such as 0.412 or OL".to_owned(),
            );
        }
        Some(Mode::Volts) if asked.line && value < -NEAR_ZERO && -value <= most => {
            let volts = shown(-value, canonical(asked.unit));
            return Some(Typed::Noted {
                value: -value,
                note: format!(
                    "taken as {volts} with the leads changed over, since nothing here lies below ground"
                ),
            });
        }
        Some(Mode::Ohms) if value < 0.0 => {
            return impossible(
                "a resistance cannot be below 0; a supply is still on, a capacitor still charged, or the relative reading still set. See to that, and type what the meter shows then, such as 4.7k or OL".to_owned(),
            );
        }
        Some(Mode::Diode) => format!(
            "in diode mode a meter puts out no more than about {most} V and cannot show more; type what it shows, such as 0.412, or OL"
        ),
        Some(Mode::Volts) if most < MOST_VOLTS => {
            format!("there can be no more than {most} V; type what the meter shows, such as 1.8 V")
        }
        Some(Mode::Volts) => format!(
            "a handheld meter measures no more than {most} V; type what it shows, such as 12 V"
        ),
        _ if canonical(asked.unit) == Unit::Celsius.word() && value < -273.15 => {
            return impossible(
                "nothing is colder than -273.15 °C; type degrees such as 25 C".to_owned(),
            );
        }
        _ => return None,
    };
    if value.abs() <= most {
        return None;
    }
    // 412 for 412 mV, and MV for mV.
    let milli = if mega { value / 1e9 } else { value / 1e3 };
    let plain = value.abs() >= 10.0 && milli.abs() <= most;
    if plain && bare && asked.mode == Some(Mode::Diode) {
        return Some(Typed::Noted {
            value: milli,
            note: "taken as millivolts, since in diode mode no meter shows so many volts"
                .to_owned(),
        });
    }
    if plain && (bare || mega) {
        let unit = if mega { "MV" } else { "V" };
        let number = number(typed);
        return Some(Typed::Doubtful {
            could_be: vec![format!("{number} {unit}"), format!("{number} mV")],
        });
    }
    impossible(why)
}

/// The number as it was typed, without its unit.
fn number(typed: &Quantity) -> String {
    let minus = if typed.is_negative() { "-" } else { "" };
    let mark = match typed.mark {
        Some(letter) if letter.is_alphabetic() => ".".to_owned(),
        mark => mark.map(String::from).unwrap_or_default(),
    };
    format!("{minus}{}{mark}{}", typed.whole, typed.part)
}

/// `1,800`: a decimal comma, or one between thousands.
fn is_thousands(typed: &Quantity) -> bool {
    let Quantity { whole, part, .. } = typed;
    typed.mark == Some(',')
        && part.len() == 3
        && (1..=3).contains(&whole.len())
        && !whole.starts_with('0')
}

fn short(asked: &Asked) -> Typed {
    match asked.mode {
        Some(Mode::Ohms) => Typed::Noted {
            value: 0.0,
            note: "taken as 0 ohm; the number that the meter shows, less that of the leads, tells more"
                .to_owned(),
        },
        Some(_) => Typed::Impossible {
            why: "a short is no voltage; type what the meter shows, such as 0.002".to_owned(),
        },
        None => Typed::NoNumber,
    }
}

/// The unit asked for, as screens show it.
fn canonical(unit: &str) -> &str {
    let unit = unit.trim();
    Unit::named(unit).map_or(unit, |u| u.word())
}

/// Why a reading with the leads swapped is kept and not counted.
pub(super) const SWAPPED: &str = "read with the leads swapped; no circuit is known that says what \
     is due then, so read it the usual way round too";

/// What to tell of what was typed, if it was taken for something.
fn note(text: &str, typed: &Typed, asked: &Asked) -> Option<String> {
    let shows = text.trim();
    match typed {
        Typed::Noted { note, .. } => Some(format!("{shows}: {note}.")),
        Typed::Reversed { .. } if asked.line => Some(format!(
            "{shows}: counted as read with the leads swapped, {}.",
            match asked.mode {
                Some(Mode::Diode) => "red on the point and black on ground",
                _ => "red on ground and black on the point",
            }
        )),
        Typed::Reversed { .. } => Some(format!("{shows}: kept, and not counted: {SWAPPED}.")),
        Typed::About { .. } => Some(format!(
            "{shows}: counted as that number, give or take a tenth."
        )),
        _ => None,
    }
}

/// By how much a value may be off because of how it was said.
fn rounded(manner: Manner, half_digit: f64, value: Option<f64>) -> f64 {
    let Some(value) = value.filter(|v| v.is_finite() && *v != 0.0) else {
        return 0.0;
    };
    match manner {
        Manner::Plain | Manner::Reversed => half_digit,
        Manner::About => half_digit.max(ABOUT * value.abs()),
        // Taken as half of the limit: from 0 up to it.
        Manner::Below => value,
        _ => 0.0,
    }
}

/// Half the last digit of a number, by what it is read as; 0 if that is no value.
fn half_digit(number: &Quantity, plain: &Typed) -> f64 {
    let milli = match plain {
        Typed::Value(_) => 0,
        // Hundreds in diode mode are millivolts.
        Typed::Noted { .. } => 3,
        _ => return 0.0,
    };
    0.5 * 10f64.powi(number.last_digit() - milli)
}
