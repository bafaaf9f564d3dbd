//! The grammar of one quantity: `22`, `4.7 kohm`, `-0,002 V`, `412mV`, `2k2`, `1V8`,
//! `0.47 megohm`.

use super::Unit;
use super::prefix::{PREFIXES, of_letter};

/// A quantity as it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Quantity<'t> {
    /// The sign, if one is written.
    pub(crate) sign: Option<char>,
    /// Digits before the decimal mark.
    pub(crate) whole: &'t str,
    /// What stands in the decimal place: `.`, `,`, or the letter of a prefix or a
    /// unit, as in `2k2` and `1V8`.
    pub(crate) mark: Option<char>,
    /// Digits after the decimal mark.
    pub(crate) part: &'t str,
    /// The prefix of the unit.
    pub(crate) prefix: Written<'t>,
    /// The unit, if one is written.
    pub(crate) unit: Option<Unit>,
}

/// A prefix as it is written.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Written<'t> {
    /// Its letter or word; empty if there is none. `R` counts as one that
    /// multiplies by nothing.
    pub(crate) text: &'t str,
    /// Power of ten that it multiplies by.
    pub(crate) power: i32,
}

impl<'t> Quantity<'t> {
    /// Reads a quantity; `None` if the text is none.
    pub(crate) fn read(text: &'t str) -> Option<Self> {
        let text = text.trim();
        let rest = text.trim_start_matches(['+', '-', '\u{2212}']);
        let signs = &text[..text.len() - rest.len()];
        let sign = signs.chars().next();
        if signs.chars().count() > 1 {
            return None;
        }
        let (whole, rest) = digits(rest);
        let mark = rest.chars().next().filter(|c| matches!(c, '.' | ','));
        let (part, rest) = match mark {
            Some(_) => digits(&rest[1..]),
            None => ("", rest),
        };
        let number = Quantity {
            sign,
            whole,
            mark,
            part,
            prefix: Written::default(),
            unit: None,
        };
        if !(whole.is_empty() && part.is_empty())
            && let Some((prefix, unit)) = prefix_and_unit(rest.trim_start())
        {
            return Some(Quantity {
                prefix,
                unit,
                ..number
            });
        }
        number.marked_by_letter(rest)
    }

    /// `2k2`, `1V8`: a letter stands in the decimal place. What follows a prefix
    /// there may be the unit.
    fn marked_by_letter(self, rest: &'t str) -> Option<Self> {
        let from = rest.trim_start();
        let letter = from.chars().next().filter(|_| self.mark.is_none())?;
        let (text, after) = from.split_at(letter.len_utf8());
        let (part, after) = digits(after);
        if part.is_empty() {
            return None;
        }
        let unit = unit_or_none(after.trim_start());
        let prefix = |power| Written { text, power };
        let (prefix, unit) = match letter {
            'R' => (prefix(0), ohm_or_none(unit?)?),
            'V' | 'v' | 'A' if after.is_empty() && from.len() == rest.len() => {
                (Written::default(), Unit::named(text))
            }
            _ => (prefix(of_letter(letter)?.power), unit?),
        };
        Some(Quantity {
            mark: Some(letter),
            part,
            prefix,
            unit,
            ..self
        })
    }

    /// The value in its unit without a prefix: the nearest number to what is
    /// written, so that 412 mV is 0.412 to the last digit.
    pub(crate) fn value(&self) -> f64 {
        let Quantity { whole, part, .. } = self;
        let size = format!("0{whole}.{part}0e{}", self.prefix.power);
        // Digits with an exponent are a number.
        let size: f64 = size.parse().unwrap_or(f64::NAN);
        if self.is_negative() { -size } else { size }
    }

    /// Whether it is below zero, or a zero with a minus.
    pub(crate) fn is_negative(&self) -> bool {
        matches!(self.sign, Some('-' | '\u{2212}'))
    }

    /// Whether a letter stands in the decimal place.
    pub(crate) fn is_marked_by_letter(&self) -> bool {
        self.mark.is_some_and(char::is_alphabetic)
    }

    /// Whether nothing follows the number.
    pub(crate) fn is_bare(&self) -> bool {
        self.prefix.text.is_empty() && self.unit.is_none()
    }

    /// Power of ten of the last digit.
    pub(crate) fn last_digit(&self) -> i32 {
        self.prefix.power - self.part.len() as i32
    }
}

/// ASCII digits at the beginning, and the rest.
fn digits(text: &str) -> (&str, &str) {
    let end = text.find(|c: char| !c.is_ascii_digit());
    text.split_at(end.unwrap_or(text.len()))
}

/// A prefix with its unit, each of which may be missing; `None` if it is neither.
fn prefix_and_unit(text: &str) -> Option<(Written<'_>, Option<Unit>)> {
    // `22R`, and `22 R ohm`.
    if let Some(rest) = text.strip_prefix('R')
        && let Some(unit) = unit_or_none(rest.trim_start()).and_then(ohm_or_none)
    {
        let text = &text[..1];
        return Some((Written { text, power: 0 }, unit));
    }
    if let Some(unit) = unit_or_none(text) {
        return Some((Written::default(), unit));
    }
    PREFIXES.iter().find_map(|p| {
        let letters = p.letters.iter().map(|l| l.len_utf8());
        let letter = letters.zip(p.letters).find(|(_, l)| text.starts_with(**l));
        let words = p.words.iter().map(|w| w.len());
        let worded = words.zip(p.words).filter(|(n, w)| {
            let head = text.get(..*n);
            head.is_some_and(|h| h.eq_ignore_ascii_case(w))
        });
        let ends = letter.map(|l| l.0).into_iter().chain(worded.map(|w| w.0));
        ends.into_iter().find_map(|end| {
            let (text, rest) = text.split_at(end);
            let power = p.power;
            Some((Written { text, power }, unit_or_none(rest.trim_start())?))
        })
    })
}

/// A unit, or nothing at all.
fn unit_or_none(text: &str) -> Option<Option<Unit>> {
    match text {
        "" => Some(None),
        word => Unit::named(word).map(Some),
    }
}

/// Ohm, which `R` says already; `None` if it is another unit.
fn ohm_or_none(unit: Option<Unit>) -> Option<Option<Unit>> {
    matches!(unit, None | Some(Unit::Ohm)).then_some(Some(Unit::Ohm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_are_read_as_people_write_them() {
        use Unit::{Ampere, Celsius, Farad, Hertz, Ohm, Percent, Volt};
        for (text, value, unit) in [
            ("22", 22.0, None),
            (" .41 ", 0.41, None),
            ("5.", 5.0, None),
            ("-0.002", -0.002, None),
            ("\u{2212}0,002 V", -0.002, Some(Volt)),
            ("+5", 5.0, None),
            ("2k2", 2200.0, None),
            ("2 k2 ohm", 2200.0, Some(Ohm)),
            ("4.7k", 4700.0, None),
            ("4.7 k ohm", 4700.0, Some(Ohm)),
            ("4.7 K\u{2126}", 4700.0, Some(Ohm)),
            ("22R", 22.0, Some(Ohm)),
            ("22 r", 22.0, Some(Ohm)),
            ("5 kR", 5e3, Some(Ohm)),
            ("4R7", 4.7, Some(Ohm)),
            ("4R7 ohm", 4.7, Some(Ohm)),
            ("R47", 0.47, Some(Ohm)),
            ("1V8", 1.8, Some(Volt)),
            ("1v8", 1.8, Some(Volt)),
            ("1A5", 1.5, Some(Ampere)),
            ("412mV", 0.412, Some(Volt)),
            ("0.47 Megohm", 470e3, Some(Ohm)),
            ("2 gigohm", 2e9, Some(Ohm)),
            ("50 milliohms", 0.05, Some(Ohm)),
            ("4 mega", 4e6, None),
            ("3 milliamps", 0.003, Some(Ampere)),
            ("4u7", 4.7e-6, None),
            ("100 nF", 1e-7, Some(Farad)),
            ("10 \u{b5}F", 1e-5, Some(Farad)),
            ("400k hertz", 400e3, Some(Hertz)),
            ("25 \u{b0}C", 25.0, Some(Celsius)),
            ("5 %", 5.0, Some(Percent)),
        ] {
            let read = Quantity::read(text).unwrap_or_else(|| panic!("{text}"));
            assert_eq!((read.value(), read.unit), (value, unit), "{text}");
        }
    }

    #[test]
    fn what_is_no_quantity_is_refused() {
        for text in [
            "",
            ".",
            "-",
            "V",
            "k",
            "--5",
            "- 5",
            "1.2.3",
            "1.234,5",
            "1e3",
            "nan",
            "5 3",
            "5 3 V",
            "1k2k",
            "1V8V",
            "1 V8",
            "1.5k2",
            "2R2 V",
            "2k 2",
            "4.7 ko hm",
            "1kilo2",
            "3 min",
            "5 kk",
        ] {
            assert_eq!(Quantity::read(text), None, "{text}");
        }
    }

    #[test]
    fn how_a_quantity_was_written_is_known() {
        let read = |text| Quantity::read(text).unwrap();
        assert_eq!(read("1,800").mark, Some(','));
        assert!(read("1,800").is_bare() && !read("1,800 R").is_bare());
        assert!(read("2k2").is_marked_by_letter() && !read("2.2k").is_marked_by_letter());
        assert!(read("\u{2212}0").is_negative() && !read("+0").is_negative());
        for (text, power) in [("1V8", -1), ("4k7", 2), ("4.70 kilohm", 1), ("12k", 3)] {
            assert_eq!(read(text).last_digit(), power, "{text}");
        }
    }
}
