//! What people type as a reading, and what it is read as.

use super::*;

#[test]
fn a_typed_value_stands_for_itself_within_half_its_last_digit() {
    for (text, asked, half) in [
        ("0.4", in_ohms(), 0.05),
        ("2.9 V", Asked::line(), 0.05),
        ("1V8", Asked::line(), 0.05),
        ("0.412", Asked::diode(), 0.0005),
        ("412 mV", Asked::diode(), 0.0005),
        ("412", Asked::diode(), 0.0005),
        ("4k7", in_ohms(), 50.0),
        ("4.70 kilohm", in_ohms(), 5.0),
        ("12k", in_ohms(), 500.0),
        ("0,22", in_ohms(), 0.005),
        ("0.45 reversed", Asked::diode(), 0.005),
        ("~2k", in_ohms(), 500.0),
        ("~20.0k", in_ohms(), 2000.0),
        ("<1", in_ohms(), 0.5),
        // What the display shows then is the meter's matter.
        ("0", Asked::diode(), 0.0),
        ("0.00", in_ohms(), 0.0),
        ("short", in_ohms(), 0.0),
        ("OL", in_ohms(), 0.0),
        (">20M", in_ohms(), 0.0),
        ("low", in_ohms(), 0.0),
    ] {
        let off = AsTyped::of(text, &asked).rounded;
        assert!((off - half).abs() < 1e-9 * half.max(1.0), "{text}: {off}");
    }
}

#[test]
fn values_are_read_as_people_type_them() {
    for (text, unit, value) in [
        ("0.412", "V", 0.412),
        ("412 mV", "V", 0.412),
        ("412mv", "V", 0.412),
        (".41", "V", 0.41),
        ("1,8 V", "V", 1.8),
        ("1V8", "V", 1.8),
        ("-0.002", "V", -0.002),
        ("\u{2212}0,002", "V", -0.002),
        ("4.8 volts", "V", 4.8),
        ("412", "V", 412.0),
        ("2k2", "ohm", 2200.0),
        ("2R2", "ohm", 2.2),
        ("4k7", "ohm", 4700.0),
        ("4.7 kΩ", "ohm", 4700.0),
        ("4.7 k\u{2126}", "Ω", 4700.0),
        ("4.7 kilohm", "ohm", 4700.0),
        ("12 kilohms", "ohm", 12e3),
        ("2,2k", "ohm", 2200.0),
        ("1.8v", "V", 1.8),
        ("0", "V", 0.0),
        ("0", "ohm", 0.0),
        ("1", "ohm", 1.0),
        ("0.47 megohm", "ohm", 470e3),
        ("0.47 Meg", "ohm", 470e3),
        ("0.47M", "ohm", 470e3),
        ("50 milliohms", "ohm", 0.05),
        ("10k", "ohm", 10_000.0),
        ("0R22", "ohm", 0.22),
        ("1,8", "ohm", 1.8),
        ("1,800 k", "ohm", 1800.0),
        ("-5", "V", -5.0),
        ("25 C", "C", 25.0),
        ("100 pF", "F", 100e-12),
        ("400k", "Hz", 400e3),
        ("20 mA", "A", 0.02),
    ] {
        assert_eq!(parse(text, unit), Typed::Value(value), "{text}");
    }
    for text in ["OL", "ol", "0L", "O.L", "open", " OL "] {
        assert_eq!(parse(text, "ohm"), Typed::Value(f64::INFINITY), "{text}");
        assert_eq!(
            read(text, &Asked::diode()),
            Typed::Value(f64::INFINITY),
            "{text}"
        );
    }
    for (text, unit) in [("5 A", "V"), ("2R2", "V"), ("1V8", "ohm"), ("5 ohm", "V")] {
        assert_eq!(parse(text, unit), Typed::OtherUnit, "{text}");
    }
    for bad in [
        "",
        ".",
        "1.234,5",
        "perhaps 3",
        "1k2k",
        "3 min",
        "1kilo2",
        "V",
        "1e3",
        "nan",
    ] {
        assert_eq!(parse(bad, "V"), Typed::NoNumber, "{bad}");
    }
}

fn in_ohms() -> Asked<'static> {
    Asked {
        display: true,
        ..Asked::of("ohm")
    }
}

#[test]
fn words_around_a_value_are_understood() {
    let about = |value| Typed::About { value };
    assert_eq!(read("~2k", &in_ohms()), about(2000.0));
    assert_eq!(read("~1", &in_ohms()), about(1.0));
    assert_eq!(read("about 0.4 V", &Asked::diode()), about(0.4));
    let reversed = |value| Typed::Reversed { value };
    assert_eq!(read("0.45 reversed", &Asked::diode()), reversed(0.45));
    assert_eq!(read("OL reversed", &in_ohms()), reversed(f64::INFINITY));
    assert_eq!(read("later reversed", &in_ohms()), Typed::NoNumber);
    for (text, asked, value) in [
        (">20M", in_ohms(), f64::INFINITY),
        ("over 2 Mohm", in_ohms(), f64::INFINITY),
        (">2", Asked::diode(), f64::INFINITY),
        (">5 V", Asked::diode(), f64::INFINITY),
        ("<1", in_ohms(), 0.5),
        ("< 10 mV", Asked::diode(), 0.005),
        ("nothing", Asked::line(), 0.0),
        ("nothing", Asked::of("A"), 0.0),
    ] {
        match read(text, &asked) {
            Typed::Noted { value: v, note } => {
                assert_eq!(v, value, "{text}");
                assert!(note.starts_with("taken as"), "{note}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
}

#[test]
fn what_says_too_little_is_asked_back_with_what_to_type() {
    for (text, asked, says, instead) in [
        ("beeps", in_ohms(), "below some tens", "such as 0.3"),
        ("no beep", in_ohms(), "above some tens", "or OL"),
        ("beeps", Asked::diode(), "below some tens", "0.002"),
        (">1k", in_ohms(), "above 1 kilohm", "or OL"),
        ("<1k", in_ohms(), "below 1 kilohm", "the number"),
        (">1.5 V", Asked::line(), "above 1.5 V", "the number"),
        ("<1", Asked::line(), "below 1 V", "the number"),
    ] {
        match read(text, &asked) {
            Typed::TooLittle {
                says: s,
                instead: i,
            } => assert!(s.contains(says) && i.contains(instead), "{text}: {s}, {i}"),
            other => panic!("{text}: {other:?}"),
        }
    }
    assert!(matches!(
        read("beeps", &Asked::line()),
        Typed::Impossible { .. }
    ));
}

#[test]
fn a_short_is_a_resistance_and_no_voltage() {
    assert!(matches!(
        parse("short", "ohm"),
        Typed::Noted { value: 0.0, .. }
    ));
    for asked in [Asked::of("V"), Asked::diode()] {
        assert!(matches!(read("short", &asked), Typed::Impossible { .. }));
    }
    assert_eq!(parse("short", "A"), Typed::NoNumber);
}

#[test]
fn doubtful_ones_are_asked_back() {
    let doubtful = |text: &str, asked: &Asked| match read(text, asked) {
        Typed::Doubtful { could_be } => could_be.join(" or "),
        other => panic!("{text}: {other:?}"),
    };
    assert_eq!(doubtful("412 MV", &Asked::diode()), "412 MV or 412 mV");
    assert_eq!(doubtful("412", &Asked::line()), "412 V or 412 mV");
    assert_eq!(doubtful("1800", &Asked::of("V")), "1800 V or 1800 mV");
    assert_eq!(doubtful("5 MV", &Asked::of("V")), "5 MV or 5 mV");
    assert_eq!(
        doubtful("1,800", &Asked::of("ohm")),
        "1.800 ohm or 1800 ohm"
    );
    assert_eq!(doubtful("1", &in_ohms()), "1 ohm or OL");
    assert_eq!(doubtful("1", &Asked::diode()), "1 V or OL");
    assert_eq!(doubtful("nothing", &in_ohms()), "OL or 0 ohm");
    assert_eq!(doubtful("nothing", &Asked::diode()), "OL or 0 V");
    assert_eq!(
        doubtful("1.8 V reversed", &Asked::line()),
        "1.8 V or -1.8 V"
    );
}

#[test]
fn a_diode_test_that_shows_hundreds_shows_millivolts() {
    for (text, volts) in [("412", 0.412), ("412.5", 0.4125), ("1800", 1.8)] {
        match read(text, &Asked::diode()) {
            Typed::Noted { value, note } => {
                assert!((value - volts).abs() < 1e-12, "{text}: {value}");
                assert!(note.contains("millivolts"), "{note}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
    // With its unit it is what it says, and that cannot be.
    assert!(matches!(
        read("412 V", &Asked::diode()),
        Typed::Impossible { .. }
    ));
}

#[test]
fn nothing_reads_below_ground() {
    for text in ["-0.05", "-412", "-412 mV"] {
        match read(text, &Asked::diode()) {
            Typed::Impossible { why } => assert!(why.contains("still charged"), "{why}"),
            other => panic!("{text}: {other:?}"),
        }
    }
    let line = Asked {
        line: true,
        ..Asked::line()
    };
    match read("-1.8 V", &line) {
        Typed::Noted { value, note } => {
            assert_eq!(value, 1.8);
            assert!(note.contains("leads changed over"), "{note}");
        }
        other => panic!("{other:?}"),
    }
    // What a meter is off by.
    for asked in [Asked::diode(), line] {
        assert_eq!(read("-0.004 V", &asked), Typed::Value(-0.004));
    }
    // Elsewhere the rules may have a supply below ground.
    assert_eq!(read("-3.3 V", &Asked::of("V")), Typed::Value(-3.3));
}

#[test]
fn what_was_asked_back_reads_when_written_in_full() {
    assert_eq!(read("412 mV", &Asked::diode()), Typed::Value(0.412));
    assert_eq!(parse("1.800 ohm", "ohm"), Typed::Value(1.8));
    assert_eq!(parse("1800 ohm", "ohm"), Typed::Value(1800.0));
    assert_eq!(read("1 ohm", &in_ohms()), Typed::Value(1.0));
    assert_eq!(read("1 V", &Asked::diode()), Typed::Value(1.0));
}

#[test]
fn what_no_meter_shows_is_refused_with_the_reason() {
    for (text, asked, word) in [
        ("-3", Asked::of("ohm"), "below 0"),
        ("-0.002", Asked::of("ohm"), "below 0"),
        ("412 V", Asked::diode(), "diode mode"),
        ("4.12", Asked::diode(), "diode mode"),
        ("4120", Asked::diode(), "diode mode"),
        ("1200 V", Asked::of("V"), "1000 V"),
        ("412 V", Asked::line(), "50 V"),
        ("1.2 kV", Asked::of("V"), "1000 V"),
        ("-300 C", Asked::of("C"), "-273.15"),
    ] {
        match read(text, &asked) {
            Typed::Impossible { why } => assert!(why.contains(word), "{text}: {why}"),
            other => panic!("{text}: {other:?}"),
        }
    }
    // A meter with a higher test voltage may show it.
    let high = Asked {
        most_volts: 8.0,
        ..Asked::diode()
    };
    assert_eq!(read("4.12", &high), Typed::Value(4.12));
}
