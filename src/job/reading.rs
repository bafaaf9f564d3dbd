//! Measured values as people type them: `4.7k`, `0,41 V`, `412 mV`, `OL`.

use std::sync::LazyLock;

use regex::Regex;

/// What was typed for a measured value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Typed {
    /// A value in the unit of the test.
    Value(f64),
    /// A value in another unit than the test's.
    OtherUnit,
    /// Not a number.
    NoNumber,
}

static FORM: LazyLock<Regex> = LazyLock::new(|| {
    // Either ohm sign, either micro sign, a true minus as well as a hyphen.
    Regex::new(
        r"^([+\u{2212}-]?)(\d*)([.,]?)(\d*)\s*([pnu\u{b5}\u{3bc}mkKMR]?)(\d*)\s*(V|A|\u{3a9}|\u{2126}|ohms?|Ohm|C|\u{b0}C|%|W)?$",
    )
        .expect("the pattern is well-formed")
});

/// Reads a value given the test's unit. `OL` reads as infinite.
pub(super) fn parse(text: &str, unit: &str) -> Typed {
    let t = text.trim();
    if t.eq_ignore_ascii_case("ol") || t.eq_ignore_ascii_case("open") {
        return Typed::Value(f64::INFINITY);
    }
    let Some(c) = FORM.captures(t) else {
        return Typed::NoNumber;
    };
    let (whole, part, tail) = (&c[2], &c[4], &c[6]);
    if whole.is_empty() && part.is_empty() {
        return Typed::NoNumber;
    }
    // 4k7: the multiplier stands for the decimal mark.
    if !tail.is_empty() && (!c[3].is_empty() || c[5].is_empty()) {
        return Typed::NoNumber;
    }
    let digits = if tail.is_empty() {
        format!("{whole}.{part}0")
    } else {
        format!("{whole}.{tail}")
    };
    // As a decimal exponent, so that 412 mV is 0.412 to the last digit.
    let exponent = match &c[5] {
        "p" => -12,
        "n" => -9,
        "u" | "\u{b5}" | "\u{3bc}" => -6,
        "m" => -3,
        "k" | "K" => 3,
        "M" => 6,
        _ => 0,
    };
    let Ok(mut value) = format!("0{digits}e{exponent}").parse::<f64>() else {
        return Typed::NoNumber;
    };
    if !c[1].is_empty() && &c[1] != "+" {
        value = -value;
    }
    if let Some(u) = c.get(7)
        && canonical(u.as_str()) != canonical(unit)
    {
        return Typed::OtherUnit;
    }
    Typed::Value(value)
}

fn canonical(unit: &str) -> &str {
    match unit.trim() {
        "\u{3a9}" | "\u{2126}" | "ohm" | "ohms" | "Ohm" => "ohm",
        "°C" | "C" => "C",
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_read_as_people_type_them() {
        for (text, unit, value) in [
            ("0.412", "V", 0.412),
            ("412 mV", "V", 0.412),
            (".41", "V", 0.41),
            ("1,8 V", "V", 1.8),
            ("4k7", "ohm", 4700.0),
            ("4.7 kΩ", "ohm", 4700.0),
            ("10k", "ohm", 10_000.0),
            ("0R22", "ohm", 0.22),
            ("-5", "V", -5.0),
            ("25 C", "C", 25.0),
        ] {
            assert_eq!(parse(text, unit), Typed::Value(value), "{text}");
        }
        assert_eq!(parse("OL", "ohm"), Typed::Value(f64::INFINITY));
        assert_eq!(parse("5 A", "V"), Typed::OtherUnit);
        for bad in ["", ".", "1.234,5", "about 3", "1k2k", "3 min"] {
            assert_eq!(parse(bad, "V"), Typed::NoNumber, "{bad}");
        }
    }
}
