//! Amounts as people read them: three digits and a unit.

/// Three digits, without idle zeros.
pub(crate) fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
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
    const STEPS: [(f64, &str); 8] = [
        (1e9, "G"),
        (1e6, "M"),
        (1e3, "k"),
        (1.0, ""),
        (1e-3, "m"),
        (1e-6, "µ"),
        (1e-9, "n"),
        (1e-12, "p"),
    ];
    // Rounded first, so that 999.7 is not shown as 1000.
    let rounded: f64 = format!("{value:.2e}").parse().unwrap_or(value);
    if rounded == 0.0 {
        return format!("0 {unit}");
    }
    // Tenths of a volt stay volts, as a meter shows them.
    let scale = if unit == "V" { 10.0 } else { 1.0 };
    let step = STEPS
        .iter()
        .find(|(s, p)| rounded.abs() * if p.is_empty() { scale } else { 1.0 } >= s * 0.999_999);
    let (size, prefix) = *step.unwrap_or(&STEPS[7]);
    let unit = match (unit, prefix) {
        ("ohm", "G") => "gigohm".to_owned(),
        ("ohm", "M") => "megohm".to_owned(),
        ("ohm", "k") => "kilohm".to_owned(),
        ("ohm", "m") => "milliohm".to_owned(),
        ("ohm", "µ") => "microhm".to_owned(),
        _ => format!("{prefix}{unit}"),
    };
    format!("{} {unit}", digits(rounded / size))
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
