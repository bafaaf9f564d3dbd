//! Advice on a wire in place of a part: on the lines of the built-in rules, as
//! the circuit has it, and as the program shows it.

use std::process::Command;

use crate::lines::rules;
use assert_cmd::prelude::*;
use halfsplit::job::bypass::{BypassView, NoAdvice};
use halfsplit::job::{Case, CaseError, CaseFile, Settings};
use halfsplit::line::{Bypass, Stretch, USUAL_LENGTH, Wired, bypass};
use halfsplit::model::{Found, Unit};
use halfsplit::rulebase::{Known, Line, PartKind, Rulebase};
use halfsplit::sums::wire::{Reason, Verdict};

fn template(rules: &Rulebase, id: &str) -> Line {
    let found = rules.templates.iter().find(|t| t.id == id);
    found
        .unwrap_or_else(|| panic!("no template `{id}`"))
        .clone()
}

fn part(line: &Line, id: &str) -> usize {
    line.parts.iter().position(|p| p.id == id).unwrap()
}

fn node(line: &Line, point: &str) -> usize {
    line.points.iter().find(|p| p.id == point).unwrap().node
}

fn round(line: &Line, id: &str, metres: f64) -> Bypass {
    let wired = Wired::new(line).unwrap();
    bypass(line, &wired, &Stretch::of(line, part(line, id)), metres).unwrap()
}

fn across(line: &Line, from: &str, to: &str) -> Bypass {
    let wired = Wired::new(line).unwrap();
    let stretch = Stretch::between(line, node(line, from), node(line, to)).unwrap();
    bypass(line, &wired, &stretch, USUAL_LENGTH).unwrap()
}

#[test]
fn a_damping_resistor_of_a_slow_bus_may_be_bypassed() {
    let line = template(&rules(), "control-bus");
    let b = round(&line, "series", USUAL_LENGTH);
    assert_eq!((b.verdict, b.reason), (Verdict::Sound, Reason::OnlyDamps));
    assert!((b.volts.0 - 1.8).abs() < 0.01 && (b.volts.1 - 1.8).abs() < 0.01);
    // The line pulled low: 1.8 V over the pull-up of 2.2 kilohm, 0.818 mA.
    assert!(
        (b.wire.amps / 0.818e-3 - 1.0).abs() < 0.01,
        "{}",
        b.wire.amps
    );
    // AWG 40 by the table, 3.44 ohm/m: 68.8 milliohm for 20 mm.
    assert_eq!(b.wire.gauge.awg(), 40);
    assert!((b.wire.ohms - 0.0688).abs() < 1e-4);
    assert!((b.wire.fusing - 1.81).abs() < 0.01);
    assert_eq!(b.wire.longest, None);
}

#[test]
fn the_wire_goes_to_the_line_side_of_the_pull_up() {
    let line = template(&rules(), "control-bus");
    let right = across(&line, "pad", "bus");
    assert_eq!(right.verdict, Verdict::Sound);
    let told = |b: &Bypass| b.says.iter().any(|s| s.contains("solder to its line side"));
    assert!(told(&right), "{:?}", right.says);
    let wrong = across(&line, "pad", "io");
    assert_eq!(
        (wrong.verdict, wrong.reason),
        (Verdict::No, Reason::PullUpStays)
    );
    assert_eq!(
        round(&line, "pull-up", USUAL_LENGTH).reason,
        Reason::PullUpStays
    );
    // A wire past the node that the pull-up hangs on may cut it off.
    let past = Stretch::between(&line, node(&line, "pad"), {
        let ball = part(&line, "ball");
        line.parts[ball].to
    });
    let past = bypass(
        &line,
        &Wired::new(&line).unwrap(),
        &past.unwrap(),
        USUAL_LENGTH,
    )
    .unwrap();
    assert_eq!(past.verdict, Verdict::WithCare);
    assert!(past.says.iter().any(|s| s.contains("hangs in between")));
}

#[test]
fn a_level_shifter_may_be_bypassed_only_between_equal_levels() {
    let mut line = template(&rules(), "control-bus-shifted");
    let apart = round(&line, "shifter", USUAL_LENGTH);
    assert_eq!(
        (apart.verdict, apart.reason),
        (Verdict::No, Reason::KeepsDomainsApart)
    );
    assert!(apart.reason.harms());
    assert_eq!(apart.volts, (1.8, 3.3));
    // The whole way from the connector to the processor crosses it.
    assert_eq!(across(&line, "pad", "bus").verdict, Verdict::No);
    let supply = part(&line, "supply");
    let PartKind::Rail { volts, .. } = &mut line.parts[supply].kind else {
        panic!("no rail");
    };
    *volts = Known::within(1.8, 5.0);
    let alike = round(&line, "shifter", USUAL_LENGTH);
    assert_eq!(
        (alike.verdict, alike.reason),
        (Verdict::WithCare, Reason::OneLevel)
    );
    // 4.7 kilohm on either side: 2.35 kilohm together.
    let said = alike.says.join(" ");
    assert!(said.contains("2.35 kilohm"), "{said}");
    for id in ["pull-up", "host-pull-up"] {
        let p = part(&line, id);
        line.parts[p].kind = PartKind::Path(Known::within(1e3, 5.0));
    }
    // 500 ohm is below 1.44 V / 2 mA = 720 ohm.
    let strong = round(&line, "shifter", USUAL_LENGTH).says.join(" ");
    assert!(strong.contains("below the 720 ohm"), "{strong}");
}

#[test]
fn what_protects_limits_or_works_stays() {
    let rules = rules();
    for (line, part, reason) in [
        ("fused-rail", "fuse", Reason::Protects),
        ("vbus", "fuse", Reason::Protects),
        ("vbus", "switch", Reason::Protects),
        ("switched-rail", "switch", Reason::Limits),
        ("sense-line", "series", Reason::Limits),
        ("enable-line", "output", Reason::Limits),
        ("microphone-line", "series", Reason::BlocksDc),
        ("lane-with-capacitors", "series-p", Reason::BlocksDc),
        ("clock-line-coupled", "coupling", Reason::BlocksDc),
        ("led-string", "leds", Reason::DoesTheWork),
        ("led-string", "diode", Reason::Protects),
        ("thermistor-line", "thermistor", Reason::DoesTheWork),
        ("control-bus", "clamp", Reason::NotInSeries),
        ("control-bus", "io", Reason::NotInSeries),
    ] {
        let b = round(&template(&rules, line), part, USUAL_LENGTH);
        assert_eq!(
            (b.verdict, b.reason),
            (Verdict::No, reason),
            "{line} {part}"
        );
    }
}

#[test]
fn a_wire_will_not_do_on_a_fast_pair() {
    let rules = rules();
    for (line, parts) in [
        ("lane", ["filter-p", "track-n"]),
        ("data-pair", ["filter-p", "contact-n"]),
        ("lane-with-capacitors", ["track-p", "ball-n"]),
    ] {
        let line = template(&rules, line);
        for p in parts {
            let b = round(&line, p, USUAL_LENGTH);
            assert_eq!((b.verdict, b.reason), (Verdict::No, Reason::FastPair));
            assert!(!b.reason.harms());
        }
    }
    // A clock of 27 MHz bears a short one.
    let clock = template(&rules, "clock-line");
    let b = round(&clock, "series", 0.02);
    assert_eq!(b.verdict, Verdict::Sound);
    assert!((b.wire.longest.unwrap() - 0.0741).abs() < 1e-4);
    assert_eq!(round(&clock, "series", 0.1).reason, Reason::TooLong);
}

#[test]
fn a_supply_wants_a_wire_that_carries_what_it_gives() {
    let rules = rules();
    let vbus = round(&template(&rules, "vbus"), "port-joint", USUAL_LENGTH);
    assert_eq!(vbus.verdict, Verdict::Sound);
    assert!((vbus.wire.amps - 3.0).abs() < 0.01, "{}", vbus.wire.amps);
    assert!(vbus.wire.carries >= 3.0 && vbus.wire.gauge.awg() < 40);
    assert!(vbus.cautions[0].contains("lithium"), "{:?}", vbus.cautions);
    // A ferrite in a supply gave way to something.
    let rail = round(&template(&rules, "supply-rail"), "ferrite", USUAL_LENGTH);
    assert_eq!(rail.verdict, Verdict::WithCare);
    assert!(rail.says.join(" ").contains("find the short"));
    assert!((rail.wire.amps - 0.3).abs() < 0.01);
    // A resistor that is more than damping.
    let button = round(&template(&rules, "button-line"), "series", USUAL_LENGTH);
    assert_eq!(button.verdict, Verdict::WithCare);
}

#[test]
fn boosted_and_hazardous_voltages_are_cautioned() {
    let mut line = template(&rules(), "led-string");
    let b = round(&line, "contact", USUAL_LENGTH);
    assert_eq!(b.verdict, Verdict::WithCare);
    assert!(b.cautions[0].contains("boost supply"), "{:?}", b.cautions);
    let raised = part(&line, "raised");
    let PartKind::Rail { volts, .. } = &mut line.parts[raised].kind else {
        panic!("no rail");
    };
    *volts = Known::within(75.0, 5.0);
    let b = round(&line, "contact", USUAL_LENGTH);
    assert_eq!((b.verdict, b.reason), (Verdict::No, Reason::Hazardous));
    assert!(b.cautions[0].contains("60 V"), "{:?}", b.cautions);
}

fn case(
    rules: &Rulebase,
    kind: &str,
    model: Option<&str>,
    variant: Option<&str>,
    complaint: &str,
) -> Case {
    let file = CaseFile {
        device: Unit {
            kind: kind.to_owned(),
            model: model.map(str::to_owned),
            variant: variant.map(str::to_owned),
            ..Unit::default()
        },
        complaint: complaint.to_owned(),
        ..CaseFile::default()
    };
    Case::new(rules, &file, Settings::default()).unwrap()
}

#[test]
fn a_shifter_is_bridged_only_on_a_device_where_that_does_no_harm() {
    let rules = rules();
    let not_found = "scanner not found, says the screen";
    let on = |variant| case(&rules, "handheld", Some("Lodestar H3"), variant, not_found);
    let bridge = |c: &Case| c.model.remedy("scan-engine/bridge-shifter");
    assert!(matches!(bridge(&on(None)), Found::None(_)));
    // No shifter is known there.
    let plain = case(&rules, "handheld", None, None, not_found);
    assert!(matches!(bridge(&plain), Found::None(_)));
    let low = on(Some("low-volt engine"));
    let Found::One(r) = bridge(&low) else {
        panic!("no remedy");
    };
    let advice = low.bridged(r).unwrap();
    assert_eq!(advice.len(), 2, "one for each wire of the bus");
    assert!(advice.iter().all(|b| b.verdict.word() == "with-care"));
    // Harmless, but no good: the remedy stays, and says so.
    let black = "The rear camera only shows black";
    let phone = case(&rules, "phone", None, None, black);
    let Found::One(trace) = phone.model.remedy("rear-camera/repair-trace") else {
        panic!("no remedy");
    };
    let words = |b: &BypassView| format!("{} {}", b.line, b.verdict.word());
    let all: Vec<String> = phone.bridged(trace).unwrap().iter().map(words).collect();
    for said in ["rear-camera/lane no", "rear-camera/reset sound"] {
        assert!(all.contains(&said.to_owned()), "{all:?}");
    }
}

#[test]
fn a_part_is_found_by_its_name_its_item_and_its_place_among_the_suspects() {
    let rules = rules();
    let c = case(&rules, "phone", None, None, "It does not charge any more");
    let ask = |what: &str| c.bypass(what, None, USUAL_LENGTH);
    let fuse = ask("vbus-fuse").unwrap();
    assert_eq!(fuse.len(), 1);
    assert_eq!(
        (fuse[0].line.as_str(), fuse[0].verdict.word()),
        ("charging-port/vbus", "no")
    );
    assert_eq!(ask("charging-port/vbus/fuse").unwrap(), fuse);
    assert_eq!(ask("vbus-fuse.open").unwrap(), fuse);
    // The same part of several lines.
    assert!(ask("contact").unwrap().len() > 2);
    let of_first = ask("").unwrap();
    assert!(!of_first.is_empty());
    assert!(matches!(ask("adapter"), Err(NoAdvice::OnNoLine(_))));
    assert!(matches!(
        ask("vbus/fusee"),
        Err(NoAdvice::Name(CaseError::Unknown { near: Some(_), .. }))
    ));
    assert!(matches!(ask("vbus/land"), Err(NoAdvice::OneEnd(_))));
    assert!(matches!(
        ask("999"),
        Err(NoAdvice::Name(CaseError::Unknown { .. }))
    ));
    let between = |a: &str, b: &str| c.bypass(a, Some(b), USUAL_LENGTH);
    assert_eq!(
        between("vbus/land", "fused").unwrap()[0].verdict.word(),
        "no"
    );
    assert!(matches!(
        between("vbus/land", "nowhere"),
        Err(NoAdvice::NoPoint { .. })
    ));
    assert!(matches!(
        c.bypass("vbus-fuse", None, 0.0),
        Err(NoAdvice::Line(_))
    ));
}

#[test]
fn the_program_shows_it() {
    let dir = tempfile::tempdir().unwrap();
    let program = |args: &[&str]| {
        let mut c = Command::cargo_bin("halfsplit").expect("the program is built");
        c.env_clear()
            .env("HALFSPLIT_STORE", dir.path().join("jobs.sqlite"))
            .args(args);
        c.output().unwrap()
    };
    let text = |o: &std::process::Output| String::from_utf8(o.stdout.clone()).unwrap();
    program(&[
        "job",
        "new",
        "--kind",
        "phone",
        "--complaint",
        "It does not charge any more",
    ]);
    let no = program(&["job", "bypass", "1", "vbus-fuse"]);
    assert_eq!(no.status.code(), Some(1));
    assert!(text(&no).contains("Not sound. The part is there to protect"));
    let sound = program(&["job", "bypass", "1", "cc-first/track", "--mm", "15"]);
    assert_eq!(sound.status.code(), Some(0));
    for words in [
        "Sound.",
        "From: ",
        "15 mm of AWG 40",
        "melts at about",
        "Caution: ",
    ] {
        assert!(text(&sound).contains(words), "{words}: {}", text(&sound));
    }
    let json = program(&["job", "bypass", "1", "vbus/port-joint", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(value["bypasses"][0]["verdict"], "sound");
    let wire = &value["bypasses"][0]["wire"];
    assert!((wire["amps"].as_f64().unwrap() - 3.0).abs() < 0.01);
    let unknown = program(&["job", "bypass", "1", "nothing-of-the-kind"]);
    assert_eq!(unknown.status.code(), Some(1));
    let none = program(&["job", "bypass", "1", "vbus-fuse", "--mm", "0"]);
    assert_eq!(none.status.code(), Some(2));
    // In the walk, and where a remedy is a wire.
    let mut c = Command::cargo_bin("halfsplit").unwrap();
    c.env_clear()
        .env("HALFSPLIT_STORE", dir.path().join("jobs.sqlite"));
    let walk = assert_cmd::Command::from_std(c)
        .write_stdin("1\nbypass cc-first/track\nby vbus-fuse\nothers repair-line\nexplain\npause\n")
        .assert()
        .success();
    let out = String::from_utf8(walk.get_output().stdout.clone()).unwrap();
    assert!(
        out.contains("A wire round the trace to the CC controller"),
        "{out}"
    );
    assert!(
        out.contains("Not sound. The part is there to protect"),
        "{out}"
    );
    assert!(
        out.contains("round the trace to the CC controller of first CC line"),
        "{out}"
    );
}
