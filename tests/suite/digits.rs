//! No message has a number of more than six digits, whatever was typed.

use crate::common::Bench;

/// The longest run of digits, a decimal mark among them not counted.
fn longest_number(text: &str) -> usize {
    let runs = text.split(|c: char| !(c.is_ascii_digit() || c == '.'));
    let digits = |run: &str| run.chars().filter(char::is_ascii_digit).count();
    runs.map(digits).max().unwrap_or(0)
}

#[test]
fn what_was_typed_is_told_in_six_digits() {
    let bench = Bench::new().shipped();
    let new = [
        "job",
        "new",
        "--kind",
        "tablet",
        "--complaint",
        "rear camera not found",
    ];
    let _ = bench.run(&new).fine();
    let nines = "9".repeat(309);
    let values = [
        nines.as_str(),
        "1e308",
        "1e300k",
        "12345678901",
        "0.00000000123456789",
    ];
    let tests = [
        "rear-camera/bus-data-ohms",
        "rear-camera/bus-data-idle",
        "rear-camera/bus-data-inner-diode",
        "rear-camera/lamp-volts",
        "rear-camera/picture-try",
        "rear-camera/nothing-like-it",
    ];
    for (i, value) in values.into_iter().enumerate() {
        for (k, test) in tests.into_iter().enumerate() {
            // Each value meets each test in one of three ways, in turn.
            let args = match (i + k) % 3 {
                0 => vec!["job", "result", "1", test, value, "--ready"],
                1 => vec!["job", "suppose", "1", test, value],
                _ => vec!["job", "reference", "1", test, value, "--from", "a donor"],
            };
            let said = bench.run(&args);
            let all = format!("{}{}", said.out, said.err);
            assert!(longest_number(&all) <= 6, "{args:?}\n{all}");
        }
        for args in [
            vec!["job", "why", "1", value],
            vec!["job", "sure", "1", value],
            vec!["job", "correct", "1", value, "yes"],
            vec!["job", "undo", value],
            vec!["job", "bypass", "1", "--mm", value],
            vec!["shop", "--rate", value],
            vec![
                "tree",
                "--kind",
                "tablet",
                "--complaint",
                "x",
                "--cut",
                value,
            ],
            vec!["sum", "idle", value],
            vec!["sum", "pull-up", value],
            vec!["sum", "thermistor", value],
        ] {
            let said = bench.run(&args);
            // What a shop may write into its file is as exact as it was typed.
            let all = match args[0] {
                "shop" => said.out.lines().next().unwrap_or("").to_owned() + &said.err,
                _ => format!("{}{}", said.out, said.err),
            };
            assert!(longest_number(&all) <= 6, "{args:?}\n{all}");
        }
    }
}

#[test]
fn numbers_in_rules_are_told_in_six_digits() {
    let bench = Bench::new();
    let rules = bench.copy_of_rules("rules");
    let pack = rules.join("buzzer.yaml");
    let text = std::fs::read_to_string(&pack).unwrap();
    for number in ["1e308", "-1e300", "123456789", "0.1234567890123"] {
        let broken = text.replacen(
            "minutes: 1\n",
            &format!("minutes: 1\n    reliability: {number}\n"),
            1,
        );
        assert_ne!(broken, text);
        std::fs::write(&pack, broken).unwrap();
        let check = [
            "rules",
            "check",
            rules.to_str().unwrap(),
            "--format",
            "json",
        ];
        let said = bench.run(&check);
        let problems: serde_json::Value = serde_json::from_str(&said.out).unwrap();
        let problems = problems["problems"].as_array().unwrap();
        assert!(!problems.is_empty(), "{}", said.out);
        for p in problems {
            let words = format!("{} {}", p["message"], p["help"]);
            assert!(longest_number(&words) <= 6, "{words}");
        }
    }
}
