//! Quantities as people read them: three digits and a unit.

use super::prefix::{PREFIXES, Prefix};

/// The most digits of a number that a message has.
const MOST_DIGITS: usize = 6;

/// A number as it was given, with six digits at most.
pub(crate) fn number(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let size = value.abs().log10().floor();
    if !(-4.0..MOST_DIGITS as f64).contains(&size) {
        let text = format!("{value:.2e}");
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let mantissa = mantissa.trim_end_matches('0').trim_end_matches('.');
        return format!("{mantissa}e{exponent}");
    }
    let places = (MOST_DIGITS as f64 - 1.0 - size.max(0.0)) as usize;
    let text = format!("{value:.places$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// A text in which no number has more than six digits: the rest of a longer one
/// is left out. What is part of a name or of a path stays as it is.
pub(crate) fn short(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        let (head, from) = rest.split_at(at);
        out.push_str(head);
        let end = from.find(|c: char| !(c.is_ascii_digit() || ".,".contains(c)));
        // A full stop ends the sentence.
        let run = from[..end.unwrap_or(from.len())].trim_end_matches(['.', ',']);
        let after = &from[run.len()..];
        let inside = |c: char| c.is_alphanumeric() || "_/\\".contains(c);
        let mut before = out.chars().rev();
        let part = match before.next() {
            Some('-') => before.next().is_some_and(inside),
            last => last.is_some_and(inside),
        };
        let goes_on = after.starts_with(['-', '_', '/', '\\', ':']);
        let many = run.chars().filter(char::is_ascii_digit).count();
        if part || goes_on || many <= MOST_DIGITS {
            out.push_str(run);
        } else {
            let mut left = MOST_DIGITS;
            for c in run.chars() {
                if left == 0 {
                    break;
                }
                left -= usize::from(c.is_ascii_digit());
                out.push(c);
            }
            out.push('…');
        }
        rest = after;
    }
    out + rest
}

/// Three digits, without idle zeros.
pub(crate) fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    if value.abs() >= 1e6 {
        return number(value);
    }
    let places = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0);
    let text = format!("{value:.*}", places as usize);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A value with three digits and its unit, multiplied as people say it.
pub(crate) fn shown(value: f64, unit: &str) -> String {
    // Rounded first, so that 999.7 is not shown as 1000.
    let rounded: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    if rounded == 0.0 {
        return format!("0 {unit}");
    }
    // Tenths of a volt stay volts, as a meter shows them.
    let scale = if unit == "V" { 10.0 } else { 1.0 };
    let prefix = largest(|p| {
        let scale = if p.power == 0 { scale } else { 1.0 };
        rounded.abs() * scale >= p.size * 0.999_999
    });
    let before = match unit {
        "ohm" => prefix.before_ohm,
        _ => prefix.symbol,
    };
    format!("{} {before}{unit}", digits(rounded / prefix.size))
}

/// A value as rule files write it: `4.7 kohm`, with three decimal places.
pub(crate) fn written(value: f64, unit: &str) -> String {
    let prefix = largest(|p| value.abs() >= p.size * 0.9995);
    let digits = format!("{:.3}", value / prefix.size);
    let digits = digits.trim_end_matches('0').trim_end_matches('.');
    let symbol = prefix.symbol.replace('\u{b5}', "u");
    format!("{digits} {symbol}{unit}")
}

/// The largest prefix that suits, or the smallest of all.
fn largest(suits: impl Fn(&Prefix) -> bool) -> &'static Prefix {
    let [.., smallest] = &PREFIXES;
    PREFIXES.iter().find(|p| suits(p)).unwrap_or(smallest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Quantity, Unit};

    #[test]
    fn no_number_has_more_than_six_digits() {
        for (value, text) in [
            (0.0, "0"),
            (25_604.225_062, "25604.2"),
            (0.366_599_394_8, "0.3666"),
            (-1.5, "-1.5"),
            (1e308, "1e308"),
            (f64::MIN, "-1.8e308"),
            (12_345_678_901.0, "1.23e10"),
            (1.234_567_89e-9, "1.23e-9"),
        ] {
            assert_eq!(number(value), text);
        }
        let long = "9".repeat(309);
        assert_eq!(
            short(&format!("`{long}` is no result")),
            "`999999…` is no result"
        );
        for (text, shown) in [
            ("read 0.00000000123456789 V.", "read 0.00000… V."),
            ("-12345678901k, then 1.5", "-123456…k, then 1.5"),
            ("`12.3456789`", "`12.3456…`"),
            ("12345678.", "123456…."),
            (
                "see /tmp/12345678/case-20260302.yaml",
                "see /tmp/12345678/case-20260302.yaml",
            ),
            ("unit LH2-03377412, 123456", "unit LH2-03377412, 123456"),
            ("2026-03-02T09:00:00Z", "2026-03-02T09:00:00Z"),
        ] {
            assert_eq!(short(text), shown);
        }
    }

    #[test]
    fn values_are_shown_as_people_say_them() {
        for (value, unit, words) in [
            (966.667, "ohm", "967 ohm"),
            (1770.3, "ohm", "1.77 kilohm"),
            (10e6, "ohm", "10 megohm"),
            (0.0688, "ohm", "68.8 milliohm"),
            (0.412, "V", "0.412 V"),
            (0.0412, "V", "41.2 mV"),
            (1.8, "V", "1.8 V"),
            (-0.002, "V", "-2 mV"),
            (0.0, "V", "0 V"),
            (100e-12, "F", "100 pF"),
            (400e3, "Hz", "400 kHz"),
            (999.7, "ohm", "1 kilohm"),
            (0.02, "m", "20 mm"),
            (7.99e-5, "m", "79.9 µm"),
        ] {
            assert_eq!(shown(value, unit), words);
        }
    }

    #[test]
    fn rule_files_are_shown_as_they_are_written() {
        for (value, unit, text) in [
            (4700.0, "ohm", "4.7 kohm"),
            (0.412, "V", "412 mV"),
            (1e-5, "F", "10 uF"),
            (999.7, "ohm", "1 kohm"),
            (2.5e-13, "F", "0.25 pF"),
        ] {
            assert_eq!(written(value, unit), text);
        }
    }

    #[test]
    fn what_is_shown_is_read_back() {
        for unit in ["ohm", "V", "F", "Hz"] {
            for power in -11..10 {
                for digits in [1.0, -2.5, 47.1] {
                    let value = digits * 10f64.powi(power);
                    for text in [shown(value, unit), written(value, unit)] {
                        let read = Quantity::read(&text).expect(&text);
                        let off = (read.value() - value).abs();
                        assert!(off < 0.01 * value.abs(), "{text}: {value}");
                        assert_eq!(read.unit.map(Unit::word), Some(unit), "{text}");
                    }
                }
            }
        }
    }
}
