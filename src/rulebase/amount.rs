//! Values as people type them: `2k2`, `4.7 kohm`, `1.8 V +- 5 %`,
//! `1 kohm to 20 kohm`.

use super::line::{Doubt, Known};
use super::problem::{Code, Problem};
use super::source::Span;
use crate::shown;

/// What a value is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    Ohm,
    Volt,
    Farad,
    Ampere,
    Hertz,
}

impl Unit {
    pub(super) fn word(self) -> &'static str {
        match self {
            Unit::Ohm => "ohm",
            Unit::Volt => "V",
            Unit::Farad => "F",
            Unit::Ampere => "A",
            Unit::Hertz => "Hz",
        }
    }

    /// A value that a person might type.
    pub(super) fn example(self) -> &'static str {
        match self {
            Unit::Ohm => "`2k2`, `4.7 kohm +- 5 %` or `1 kohm to 20 kohm`",
            Unit::Volt => "`1.8 V`, `1.8 V +- 5 %` or `0.4 V to 0.65 V`",
            Unit::Farad => "`100 nF`, `4.7 uF +- 20 %` or `10 pF to 1 nF`",
            Unit::Ampere => "`300 mA` or `1.5 A`",
            Unit::Hertz => "`400 kHz` or `1.5 GHz`",
        }
    }

    fn named(word: &str) -> Option<Unit> {
        let word = word.to_ascii_lowercase();
        Some(match word.as_str() {
            "ohm" | "ohms" | "r" => Unit::Ohm,
            "v" | "volt" | "volts" => Unit::Volt,
            "f" | "farad" | "farads" => Unit::Farad,
            "a" | "amp" | "amps" | "ampere" | "amperes" => Unit::Ampere,
            "hz" | "hertz" => Unit::Hertz,
            _ => return None,
        })
    }

    /// The smallest and largest value that makes sense.
    fn range(self) -> (f64, f64) {
        match self {
            Unit::Ohm => (1e-6, 1e12),
            Unit::Volt => (1e-6, 1e4),
            Unit::Farad => (1e-14, 10.0),
            Unit::Ampere => (1e-9, 1e3),
            Unit::Hertz => (1.0, 1e12),
        }
    }
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
                format!("write it as {}", unit.example())
            },
        }
    }
}

/// A value that is known within `usual` per cent where nothing is said of it.
pub(super) fn known(text: &str, unit: Unit, usual: f64) -> Result<Known, Trouble> {
    let plain = plainly(text);
    let lost = || Trouble::not_read(text, unit);
    if let Some((low, high)) = plain.split_once(" to ") {
        let (high, suffix) = amount(high, unit, "").ok_or_else(lost)??;
        let (low, _) = amount(low, unit, &suffix).ok_or_else(lost)??;
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
            let number = percent
                .strip_suffix('%')
                .or_else(|| percent.strip_suffix("per cent"))
                .ok_or_else(|| Trouble {
                    help: "write the tolerance in per cent, such as `+- 5 %`".into(),
                    ..lost()
                })?;
            let number: f64 = number.trim().parse().map_err(|_| lost())?;
            if !(number > 0.0 && number <= 90.0) {
                return Err(Trouble {
                    code: Code::Range,
                    message: format!(
                        "a tolerance of {} per cent is out of range",
                        shown::number(number)
                    ),
                    help: "a tolerance lies between 0 and 90 per cent; what is hardly known is \
                           written from and to, such as `1 kohm to 20 kohm`"
                        .into(),
                });
            }
            (value, number)
        }
    };
    let (typical, _) = amount(value, unit, "").ok_or_else(lost)??;
    Ok(Known {
        typical,
        doubt: Doubt::Percent(percent),
    })
}

/// A value that takes no tolerance.
pub(super) fn plain(text: &str, unit: Unit) -> Result<f64, Trouble> {
    let lost = || Trouble::not_read(text, unit);
    let (value, _) = amount(&plainly(text), unit, "").ok_or_else(lost)??;
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

/// What a prefix multiplies by.
fn factor(prefix: char) -> Option<f64> {
    Some(match prefix {
        'p' => 1e-12,
        'n' => 1e-9,
        'u' => 1e-6,
        'm' => 1e-3,
        'k' | 'K' => 1e3,
        'M' => 1e6,
        'G' => 1e9,
        _ => return None,
    })
}

/// A number with what follows it, which a bare number takes from `beside`.
/// `None` if it is no value at all.
fn amount(text: &str, unit: Unit, beside: &str) -> Option<Result<(f64, String), Trouble>> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.'))
        .unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    let mut number = digits.to_owned();
    let mut suffix: String = rest.chars().filter(|c| !c.is_whitespace()).collect();
    // 2k2: the prefix stands where the point would.
    let sign = suffix.chars().next();
    if let Some(sign) = sign.filter(|s| "RV".contains(*s) || factor(*s).is_some()) {
        let after = &suffix[1..];
        let more = after
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(after.len());
        if more > 0 && !rest.starts_with(char::is_whitespace) && !digits.contains('.') {
            number = format!("{digits}.{}", &after[..more]);
            suffix = format!("{sign}{}", &after[more..]);
        }
    }
    if suffix.is_empty() {
        suffix = beside.to_owned();
    }
    let number: f64 = number.parse().ok()?;
    let (times, found) = scale(&suffix, unit)?;
    if found != unit {
        return Some(Err(Trouble {
            code: Code::Unit,
            message: format!(
                "`{text}` is in {}, but {} is asked for",
                found.word(),
                unit.word()
            ),
            help: format!("write it as {}", unit.example()),
        }));
    }
    let value = number * times;
    let (low, high) = unit.range();
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
    Some(Ok((value, suffix)))
}

/// What a suffix such as `kohm`, `n` or nothing multiplies by, and its unit.
fn scale(suffix: &str, unit: Unit) -> Option<(f64, Unit)> {
    for (word, times) in [("milliohm", 1e-3), ("kilohm", 1e3), ("megohm", 1e6)] {
        if suffix.strip_suffix('s').unwrap_or(suffix) == word {
            return Some((times, Unit::Ohm));
        }
    }
    if suffix.is_empty() {
        return Some((1.0, unit));
    }
    if let Some(u) = Unit::named(suffix) {
        return Some((1.0, u));
    }
    let prefix = suffix.chars().next()?;
    let times = factor(prefix)?;
    let rest = &suffix[prefix.len_utf8()..];
    match rest {
        "" => Some((times, unit)),
        _ => Some((times, Unit::named(rest)?)),
    }
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
