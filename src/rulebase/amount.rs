//! Values as people type them: `2k2`, `4.7 kohm`, `1.8 V +- 5 %`,
//! `1 kohm to 20 kohm`.

use super::line::{Doubt, Known};
use super::problem::{Code, Problem};
use super::source::Span;
pub(super) use crate::units::Unit;
use crate::units::{Quantity, number};

/// A value that a person might type.
pub(super) fn example(unit: Unit) -> &'static str {
    match unit {
        Unit::Ohm => "`2k2`, `4.7 kohm +- 5 %` or `1 kohm to 20 kohm`",
        Unit::Volt => "`1.8 V`, `1.8 V +- 5 %` or `0.4 V to 0.65 V`",
        Unit::Farad => "`100 nF`, `4.7 uF +- 20 %` or `10 pF to 1 nF`",
        Unit::Ampere => "`300 mA` or `1.5 A`",
        Unit::Hertz => "`400 kHz` or `1.5 GHz`",
        Unit::Watt | Unit::Celsius | Unit::Percent => "a number",
    }
}

/// The smallest and largest value that makes sense; `None` for a unit that no
/// value of a rule is in.
fn range(unit: Unit) -> Option<(f64, f64)> {
    Some(match unit {
        Unit::Ohm => (1e-6, 1e12),
        Unit::Volt => (1e-6, 1e4),
        Unit::Farad => (1e-14, 10.0),
        Unit::Ampere => (1e-9, 1e3),
        Unit::Hertz => (1.0, 1e12),
        Unit::Watt | Unit::Celsius | Unit::Percent => return None,
    })
}

/// Why a text is no value.
#[derive(Debug)]
pub(super) struct Trouble {
    pub(super) code: Code,
    pub(super) message: String,
    pub(super) help: String,
}

impl Trouble {
    /// The same as a problem of a rule file.
    pub(super) fn at(self, span: Span) -> Problem {
        Problem::new(self.code, span, self.message).help(self.help)
    }

    fn not_read(text: &str, unit: Unit) -> Self {
        let comma = text.contains(',') && text.chars().any(|c| c.is_ascii_digit());
        Trouble {
            code: Code::Type,
            message: format!(
                "`{}` cannot be read as a value in {}",
                text.trim(),
                unit.word()
            ),
            help: if comma {
                format!("with a decimal point: {}", text.trim().replace(',', "."))
            } else {
                format!("write it as {}", example(unit))
            },
        }
    }
}

/// A value that is known within `usual` per cent where nothing is said of it.
pub(super) fn known(text: &str, unit: Unit, usual: f64) -> Result<Known, Trouble> {
    let plain = plainly(text);
    let lost = || Trouble::not_read(text, unit);
    if let Some((low, high)) = plain.split_once(" to ") {
        let (high, with) = amount(high, unit, None).ok_or_else(lost)??;
        let (low, _) = amount(low, unit, Some(with)).ok_or_else(lost)??;
        if low >= high {
            return Err(Trouble {
                code: Code::Range,
                message: format!("`{}` runs backwards", text.trim()),
                help: "write the smaller value first".into(),
            });
        }
        let known = Known::between(low, high);
        // A voltage may be any of them alike, other values lie evenly over decades.
        return Ok(match unit {
            Unit::Volt => Known {
                typical: 0.5 * (low + high),
                ..known
            },
            _ => known,
        });
    }
    let (value, percent) = match plain.split_once('±') {
        None => (plain.as_str(), usual),
        Some((value, percent)) => {
            let percent = percent.trim();
            let digits = percent
                .strip_suffix('%')
                .or_else(|| percent.strip_suffix("per cent"))
                .ok_or_else(|| Trouble {
                    help: "write the tolerance in per cent, such as `+- 5 %`".into(),
                    ..lost()
                })?;
            let percent: f64 = digits.trim().parse().map_err(|_| lost())?;
            if !(percent > 0.0 && percent <= 90.0) {
                return Err(Trouble {
                    code: Code::Range,
                    message: format!(
                        "a tolerance of {} per cent is out of range",
                        number(percent)
                    ),
                    help: "a tolerance lies between 0 and 90 per cent; what is hardly known is \
                           written from and to, such as `1 kohm to 20 kohm`"
                        .into(),
                });
            }
            (value, percent)
        }
    };
    let (typical, _) = amount(value, unit, None).ok_or_else(lost)??;
    Ok(Known {
        typical,
        doubt: Doubt::Percent(percent),
    })
}

/// A value that takes no tolerance.
pub(super) fn plain(text: &str, unit: Unit) -> Result<f64, Trouble> {
    let lost = || Trouble::not_read(text, unit);
    let (value, _) = amount(&plainly(text), unit, None).ok_or_else(lost)??;
    Ok(value)
}

/// An accuracy as manuals state it, `0.9 % + 3`: per cent and counts.
pub(super) fn accuracy(text: &str) -> Option<(f64, f64)> {
    let (percent, digits) = text.split_once('%')?;
    let digits = digits.trim();
    let digits = match digits.strip_prefix('+') {
        Some(d) => d.split_whitespace().next()?.parse().ok()?,
        None if digits.is_empty() => 0.0,
        None => return None,
    };
    let percent: f64 = percent.trim().parse().ok()?;
    let fine = |n: f64, most: f64| n.is_finite() && (0.0..=most).contains(&n);
    (fine(percent, 50.0) && fine(digits, 1000.0)).then_some((percent, digits))
}

/// One spelling for what can be spelt in several ways.
fn plainly(text: &str) -> String {
    text.trim()
        .replace(['\u{3a9}', '\u{2126}'], "ohm")
        .replace(['\u{b5}', '\u{3bc}'], "u")
        .replace("+/-", "±")
        .replace("+-", "±")
}

/// A value, and how it was written; a bare number takes the prefix and the unit of
/// the one `beside` it. `None` if it is no value at all.
fn amount<'t>(
    text: &'t str,
    unit: Unit,
    beside: Option<Quantity<'t>>,
) -> Option<Result<(f64, Quantity<'t>), Trouble>> {
    let text = text.trim();
    let mut read = Quantity::read(text)?;
    // Values of parts have no sign, and a comma may stand between thousands.
    if read.sign.is_some() || read.mark == Some(',') {
        return None;
    }
    if let Some(beside) = beside.filter(|_| read.is_bare()) {
        (read.prefix, read.unit) = (beside.prefix, beside.unit);
    }
    let found = read.unit.unwrap_or(unit);
    let (low, high) = range(found).and(range(unit))?;
    if found != unit {
        return Some(Err(Trouble {
            code: Code::Unit,
            message: format!(
                "`{text}` is in {}, but {} is asked for",
                found.word(),
                unit.word()
            ),
            help: format!("write it as {}", example(unit)),
        }));
    }
    let value = read.value();
    if !(low..=high).contains(&value) {
        return Some(Err(Trouble {
            code: Code::Range,
            message: format!("`{text}` is out of range"),
            help: format!(
                "a value here lies between {low:e} and {high:e} {}; mind that m is a thousandth and M a million",
                unit.word()
            ),
        }));
    }
    Some(Ok((value, read)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9 * b.abs()
    }

    #[test]
    fn values_are_read_as_people_type_them() {
        for (text, unit, want) in [
            ("2k2", Unit::Ohm, 2200.0),
            ("4R7", Unit::Ohm, 4.7),
            ("0R1", Unit::Ohm, 0.1),
            ("22", Unit::Ohm, 22.0),
            ("22 ohm", Unit::Ohm, 22.0),
            ("22Ω", Unit::Ohm, 22.0),
            ("4.7 kohm", Unit::Ohm, 4700.0),
            ("4.7 kΩ", Unit::Ohm, 4700.0),
            ("10k", Unit::Ohm, 10e3),
            ("10 kilohm", Unit::Ohm, 10e3),
            ("1M5", Unit::Ohm, 1.5e6),
            ("1 Mohm", Unit::Ohm, 1e6),
            ("20 mohm", Unit::Ohm, 0.02),
            ("1.8 V", Unit::Volt, 1.8),
            ("1V8", Unit::Volt, 1.8),
            ("450 mV", Unit::Volt, 0.45),
            ("100 nF", Unit::Farad, 100e-9),
            ("4u7", Unit::Farad, 4.7e-6),
            ("10 µF", Unit::Farad, 10e-6),
            ("300 mA", Unit::Ampere, 0.3),
            ("400 kHz", Unit::Hertz, 400e3),
            ("1.5 GHz", Unit::Hertz, 1.5e9),
        ] {
            let got = known(text, unit, 5.0).unwrap_or_else(|t| panic!("{text}: {}", t.message));
            assert!(near(got.typical, want), "{text}: {}", got.typical);
            assert_eq!(got.doubt, Doubt::Percent(5.0), "{text}");
        }
    }

    #[test]
    fn doubt_is_per_cent_or_from_and_to() {
        assert_eq!(
            known("2k2 +- 1 %", Unit::Ohm, 5.0).unwrap().doubt,
            Doubt::Percent(1.0)
        );
        assert_eq!(
            known("2k2 ±1%", Unit::Ohm, 5.0).unwrap().doubt,
            Doubt::Percent(1.0)
        );
        for text in ["1 kohm to 20 kohm", "1 to 20 kohm", "1k to 20k"] {
            match known(text, Unit::Ohm, 5.0).unwrap().doubt {
                Doubt::Between(a, b) => assert!(near(a, 1e3) && near(b, 20e3), "{text}"),
                other => panic!("{text}: {other:?}"),
            }
        }
    }

    #[test]
    fn accuracies_are_read_as_manuals_state_them() {
        assert_eq!(accuracy("0.9 % + 3"), Some((0.9, 3.0)));
        assert_eq!(accuracy("0.9%+3 digits"), Some((0.9, 3.0)));
        assert_eq!(accuracy("1 %"), Some((1.0, 0.0)));
        for text in [
            "",
            "3",
            "0.9 % 3",
            "% + 3",
            "-1 % + 3",
            "900 % + 3",
            "1 % + many",
        ] {
            assert_eq!(accuracy(text), None, "{text}");
        }
    }

    #[test]
    fn what_is_wrong_is_told_apart() {
        for (text, unit, code) in [
            ("2.2 V", Unit::Ohm, Code::Unit),
            ("2.2 uF", Unit::Ohm, Code::Unit),
            ("2,2 kohm", Unit::Ohm, Code::Type),
            ("much", Unit::Ohm, Code::Type),
            ("", Unit::Ohm, Code::Type),
            ("2 kohn", Unit::Ohm, Code::Type),
            ("0 ohm", Unit::Ohm, Code::Range),
            ("20 to 10 ohm", Unit::Ohm, Code::Range),
            ("20 ohm +- 200 %", Unit::Ohm, Code::Range),
            ("20 ohm +- 5", Unit::Ohm, Code::Type),
            ("3 MV", Unit::Volt, Code::Range),
        ] {
            assert_eq!(known(text, unit, 5.0).unwrap_err().code, code, "{text}");
        }
    }
}
