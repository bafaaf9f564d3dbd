//! Readings of lines in a job: the meter they are taken with, what is typed,
//! what the bench makes of them, and what good lines read.

use crate::common::Bench;
use crate::lines::rules;
use halfsplit::belief::FaultId;
use halfsplit::circuit::meter::Reading;
use halfsplit::job::words::result_words;
use halfsplit::job::{Case, CaseError, CaseFile, Did, Entry, Reference, Settings, Shown};
use halfsplit::model::{CompileError, Found, Unit};
use halfsplit::plan::{Act, TestId};
use halfsplit::rulebase::{Harm, Rulebase, Rules};

const DIODE: &str = "rear-camera/bus-data-inner-diode";

/// A phone whose rear camera is not found.
fn phone(steps: Vec<Entry>) -> CaseFile {
    CaseFile {
        case: "no rear camera".into(),
        device: Unit {
            kind: "phone".into(),
            ..Unit::default()
        },
        symptoms: vec!["rear-camera/not-found".into()],
        steps,
        ..CaseFile::default()
    }
}

fn read(test: &str, shows: &str) -> Entry {
    Entry::Result(Shown {
        test: test.into(),
        shows: shows.into(),
        ..Shown::default()
    })
}

fn case(rules: &Rulebase, file: &CaseFile) -> Case {
    Case::new(rules, file, Settings::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn test(case: &Case, name: &str) -> TestId {
    match case.model.test(name) {
        Found::One(i) => i,
        other => panic!("{name}: {other:?}"),
    }
}

/// What of a test counts as good, volt.
fn good(case: &Case, name: &str) -> (f64, f64) {
    let t = &case.model.tests[test(case, name)];
    assert_eq!(t.outcomes[0].id, "good");
    t.outcomes[0].between.unwrap()
}

#[test]
fn a_job_is_foretold_for_its_meter() {
    let rules = rules();
    let with = |meter: Option<&str>| {
        let file = CaseFile {
            meter: meter.map(str::to_owned),
            ..phone(Vec::new())
        };
        case(&rules, &file)
    };
    let first = with(None);
    assert_eq!(first.model.meter.id, "handheld");
    let same = with(Some("handheld"));
    assert_eq!(good(&first, DIODE), good(&same, DIODE));
    // 2.8 V behind 2 kilohm give a junction more than 1 mA, so it reads more.
    let plain = with(Some("plain"));
    let (low, high) = good(&plain, DIODE);
    assert!(low > good(&first, DIODE).0 && high > good(&first, DIODE).1);
    match Case::new(
        &rules,
        &CaseFile {
            meter: Some("plan".into()),
            ..phone(Vec::new())
        },
        Settings::default(),
    ) {
        Err(CaseError::Compile(e @ CompileError::NoMeter { .. })) => {
            assert!(e.to_string().contains("did you mean `plain`?"), "{e}");
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn another_meter_in_the_middle_of_a_job_loses_no_reading() {
    let rules = rules();
    let mut steps = vec![read(DIODE, "0.43")];
    let before = case(&rules, &phone(steps.clone()));
    let words = result_words(&before, 1, Some(0), &steps);
    steps.push(Entry::Meter("plain".into()));
    let after = case(&rules, &phone(steps.clone()));
    assert_eq!(after.model.meter.id, "plain");
    assert_eq!(after.belief.faults, before.belief.faults);
    assert_eq!(result_words(&after, 1, Some(0), &steps), words);
    // What is read next is read with the other one.
    let clock = "rear-camera/bus-clock-inner-diode";
    steps.push(read(clock, "0.43"));
    let mixed = case(&rules, &phone(steps.clone()));
    let one = |meter: &str| {
        let file = CaseFile {
            meter: Some(meter.into()),
            ..phone(vec![read(DIODE, "0.43"), read(clock, "0.43")])
        };
        case(&rules, &file)
    };
    assert_ne!(mixed.belief.faults, one("handheld").belief.faults);
    assert_ne!(mixed.belief.faults, one("plain").belief.faults);
    // A meter that is gone from the rules is told, and the job goes on.
    steps[1] = Entry::Meter("sold".into());
    let today = Case::of_today(&rules, &phone(steps), Settings::default()).unwrap();
    assert_eq!(today.model.meter.id, "handheld");
    assert_eq!(today.unfit().len(), 1);
    assert_eq!(today.belief.faults, one("handheld").belief.faults);
}

/// A stored job of a phone whose rear camera is not found.
fn stored(bench: &Bench) {
    let words = "job new --kind phone --complaint x --symptom rear-camera/not-found";
    let _ = bench.run(&words.split(' ').collect::<Vec<_>>()).fine();
}

#[test]
fn the_meter_is_chosen_at_the_start_and_changed_on_the_way() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let meter = |args: &[&str]| {
        let v = bench.run(&[&["--format", "json"], args].concat()).json();
        v["meter"].as_str().unwrap().to_owned()
    };
    assert_eq!(meter(&["job", "show", "1"]), "handheld");
    assert_eq!(meter(&["job", "meter", "1", "fine"]), "fine");
    assert_eq!(meter(&["job", "undo", "1"]), "handheld");
    let new = "job new --kind phone --complaint x --symptom rear-camera/not-found --meter pocket";
    assert_eq!(meter(&new.split(' ').collect::<Vec<_>>()), "pocket");
    let case = bench.run(&["export", "2"]).fine();
    assert!(case.contains("meter: pocket"), "{case}");
    let e = bench.run(&["job", "meter", "1", "fien"]).refused(1);
    assert!(e.contains("did you mean `fine`?"), "{e}");
    let e = bench
        .run(&["job", "show", "1", "--meter", "fine"])
        .refused(2);
    assert!(e.contains("halfsplit job meter 1 fine"), "{e}");
    // In the walk: at the start, and by its word.
    let out = bench
        .feed(
            &["--meter", "fine"],
            b"1\nmeter\nmeter bench\nundo\npause\n",
        )
        .fine();
    assert!(
        out.contains("From here on with the fine handheld meter"),
        "{out}"
    );
    assert!(
        out.contains("fine: fine handheld meter of 20000 counts (in use)"),
        "{out}"
    );
    assert!(
        out.contains("Read from here on with the bench meter"),
        "{out}"
    );
    assert!(out.contains("Taken back: meter bench"), "{out}");
    assert_eq!(meter(&["job", "show", "1"]), "fine");
    let trail = bench.run(&["trail", "1"]).fine();
    assert!(trail.contains("**Another meter:**"), "{trail}");
}

#[test]
fn a_shop_adds_its_own_meter() {
    let bench = Bench::new().shipped();
    let own = bench.path("own.yaml");
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/rules/meters.yaml"));
    let text = text.unwrap();
    let one = &text[text.find("  plain:").unwrap()..text.find("  fine:").unwrap()];
    let one = one
        .replace("  plain:", "  yellow:")
        .replace("1.5 % + 5", "2 % + 5");
    std::fs::write(
        &own,
        format!("meters:\n{one}source: own jobs, its manual\n"),
    )
    .unwrap();
    let own = own.display().to_string();
    let out = bench
        .run(&["rules", "explain", "yellow", "--rules", &own])
        .fine();
    assert!(
        out.contains("diode mode: puts out what comes through 2 kilohm"),
        "{out}"
    );
    assert!(
        out.contains("right within 2 % and 5 counts of 1 mV"),
        "{out}"
    );
    assert!(out.contains("own jobs, its manual"), "{out}");
    let new = "job new --kind phone --complaint x --symptom rear-camera/not-found --meter yellow --format json --rules";
    let args: Vec<&str> = new.split(' ').chain([own.as_str()]).collect();
    assert_eq!(bench.run(&args).json()["meter"], "yellow");
    // Without those rules the job is still there, and says what it lacks.
    let shown = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(shown["meter"], "handheld");
    assert!(shown["not_counted"][0].as_str().unwrap().contains("yellow"));
}

#[test]
fn kinds_of_line_and_meters_are_explained() {
    let bench = Bench::new().shipped();
    let out = bench.run(&["rules", "explain", "control-bus"]).fine();
    assert!(
        out.contains("One wire of a two-wire control bus with its pull-up"),
        "{out}"
    );
    let out = bench.run(&["rules", "explain", "handheld"]).fine();
    assert!(
        out.contains("volts: up to 600 V, right within 0.5 % and 2 counts of 1 mV"),
        "{out}"
    );
    let out = bench.run(&["rules", "explain"]).fine();
    assert!(out.contains("\nmeters\n    handheld: "), "{out}");
}

#[test]
fn what_is_typed_is_read_for_the_mode_of_the_test() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let out = bench
        .run(&["job", "result", "1", DIODE, "412", "--ready"])
        .fine();
    assert!(out.contains("412: taken as millivolts"), "{out}");
    let e = bench
        .run(&["job", "result", "1", DIODE, "412 V"])
        .refused(1);
    assert!(
        e.contains("in diode mode a meter puts out no more than about 3 V"),
        "{e}"
    );
    let e = bench
        .run(&["job", "result", "1", DIODE, "short"])
        .refused(1);
    assert!(e.contains("a short is no voltage"), "{e}");
    let volts = "rear-camera/bus-data-inner-volts";
    let e = bench.run(&["job", "result", "1", volts, "1800"]).refused(1);
    assert!(e.contains("`1800` could be 1800 V or 1800 mV"), "{e}");
    let ohms = "rear-camera/bus-data-ohms";
    let out = bench.feed(&[], format!("1\nothers {ohms}\nshort\npause\n").as_bytes());
    let out = out.fine();
    assert!(
        out.contains("short: taken as 0 ohm; the number that the meter"),
        "{out}"
    );
}

/// The next steps with a test put first by its name, as the walk shows it.
fn chosen(bench: &Bench, name: &str, lines: &[&str]) -> String {
    let mut input = format!("1\nothers {name}\n");
    for l in lines {
        input += &format!("{l}\n");
    }
    let done = bench.feed(&[], (input + "pause\n").as_bytes());
    // A reading that was asked back and left so is a line that was not taken.
    match done.code {
        0 => done.fine(),
        _ => done.not_all_taken(),
    }
}

#[test]
fn a_reading_that_means_nothing_as_the_device_stands_is_asked_back() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let entries = || {
        let v = bench.run(&["job", "show", "1", "--format", "json"]).json();
        v["entries"].as_u64().unwrap()
    };
    // Shown before, asked back when typed, taken when typed again.
    let out = chosen(&bench, DIODE, &["0.43"]);
    let shown = "do not trust it before that: The battery or a supply";
    assert!(out.replace("\n     ", " ").contains(shown), "{out}");
    assert!(
        out.contains("Not taken yet, by what this job knows. The battery"),
        "{out}"
    );
    assert_eq!(entries(), 0);
    // Enter takes it, since the bench was ready; it is not typed twice.
    let out = chosen(&bench, DIODE, &["0.43", "", "undo"]);
    assert_eq!(out.matches("Not taken yet").count(), 1, "{out}");
    assert!(
        out.contains("Enter takes 0.43; or what you read now"),
        "{out}"
    );
    assert!(
        out.contains(&format!("Taken back: {DIODE} = 0.43")),
        "{out}"
    );
    assert_eq!(entries(), 0);
    // Enter for another step is no answer to the question.
    let out = chosen(&bench, DIODE, &["0.43", "a", ""]);
    assert!(out.contains("Not taken yet"), "{out}");
    assert_eq!(entries(), 0);
    let out = chosen(&bench, DIODE, &["0.43", "0.44"]);
    assert_eq!(out.matches("Not taken yet").count(), 1, "{out}");
    assert_eq!(entries(), 1);
    // Now the battery is out: nothing is asked back any more.
    let out = chosen(&bench, "rear-camera/bus-clock-inner-diode", &["0.44"]);
    assert!(!out.contains("Not taken yet"), "{out}");
    assert!(!out.contains("do not trust it"), "{out}");
    assert_eq!(entries(), 2);
    // As a command it takes a word of its own.
    let volts = "rear-camera/bus-data-inner-volts";
    let e = bench.run(&["job", "result", "1", volts, "1.79"]).refused(1);
    assert!(
        e.contains("not switched on") && e.contains("--ready"),
        "{e}"
    );
    let _ = bench
        .run(&["job", "result", "1", volts, "1.79", "--ready"])
        .fine();
    let e = bench.run(&["job", "result", "1", DIODE, "0.43"]).refused(1);
    assert!(
        e.contains("The device is on: the 1.8 V that it puts on this point"),
        "{e}"
    );
    let _ = bench
        .run(&["job", "result", "1", DIODE, "0.43", "--ready"])
        .fine();
    assert_eq!(entries(), 4);
}

#[test]
fn a_reading_as_the_device_stands_is_kept_for_what_it_is() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let show = || bench.run(&["job", "show", "1", "--format", "json"]).json();
    let before = show();
    // With the battery in it means nothing: kept, and not counted.
    let out = chosen(&bench, DIODE, &["0.02 as it stands"]);
    assert!(!out.contains("Not taken yet"), "{out}");
    let after = show();
    assert_eq!(after["entries"], 1);
    assert_eq!(after["belief"]["suspects"], before["belief"]["suspects"]);
    let told = after["not_counted"][0].as_str().unwrap();
    assert!(
        told.contains("entry 1, read as the device stood: The battery"),
        "{told}"
    );
    let trail = bench.run(&["trail", "1"]).fine();
    assert!(trail.contains("not counted: The battery"), "{trail}");
    let case = bench.run(&["export", "1"]).fine();
    assert!(case.contains("as-it-stands: true"), "{case}");
    // It comes back with the case.
    let path = bench.path("case.yaml");
    std::fs::write(&path, case).unwrap();
    let _ = bench.run(&["import", &path.display().to_string()]).fine();
    let again = bench.run(&["job", "show", "2", "--format", "json"]).json();
    assert_eq!(again["not_counted"], after["not_counted"]);
}

#[test]
fn a_reading_with_the_part_plugged_in_is_judged_so() {
    let rules = rules();
    // The battery is disconnected, the camera is still plugged in: its load is a
    // second path beside that of the supply.
    let with = |shows: &str, as_it_stands: bool| {
        let reading = Entry::Result(Shown {
            test: "rear-camera/analogue-ohms".into(),
            shows: shows.into(),
            as_it_stands,
            note: None,
        });
        case(
            &rules,
            &phone(vec![read("rear-camera/board-near-look", "whole"), reading]),
        )
    };
    let out = |c: &Case| {
        let conditions = &c.model.bench.conditions;
        c.state.iter().any(|i| conditions[i].id == "part-out")
    };
    let (stands, ready) = (with("1.3k", true), with("1.3k", false));
    assert!(!out(&stands) && out(&ready));
    // So low a reading is likelier with both.
    assert!(stands.belief.evidence_log2 > ready.belief.evidence_log2 + 0.5);
    // So high a one says that the camera's load is cut off.
    let (stands, ready) = (with("150k", true), with("150k", false));
    let open = |c: &Case| match c.model.fault("rear-camera/contact.open") {
        Found::One(i) => c.belief.faults[i],
        other => panic!("{other:?}"),
    };
    assert!(
        open(&stands) > 1.2 * open(&ready),
        "{} {}",
        open(&stands),
        open(&ready)
    );
}

#[test]
fn a_line_that_all_copies_share_is_read_once() {
    let rules = rules();
    let file = CaseFile {
        device: Unit {
            kind: "laptop".into(),
            ..Unit::default()
        },
        symptoms: vec!["left-port/charging-trouble".into()],
        ..CaseFile::default()
    };
    let case = case(&rules, &file);
    let all = |end: &str| -> Vec<&str> {
        let ids = case.model.tests.iter().map(|t| t.id.as_str());
        ids.filter(|id| id.ends_with(end)).collect()
    };
    assert_eq!(all("/main-rail-ohms"), ["charging/main-rail-ohms"]);
    assert_eq!(all("/thermistor-ohms"), ["charging/thermistor-ohms"]);
    assert_eq!(
        all("/vbus-ohms"),
        ["left-port/vbus-ohms", "right-port/vbus-ohms"]
    );
}

#[test]
fn a_fault_that_may_strike_another_wire_is_charged_for_that_once() {
    let rules = rules();
    let mut file = phone(Vec::new());
    file.device.kind = "tablet".into();
    let mut odds = Vec::new();
    // A rail shorted to ground, read in three ways.
    for (name, shows) in [
        ("rear-camera/analogue-ohms", "0.6"),
        ("rear-camera/analogue-inner-diode", "0.001"),
        ("rear-camera/analogue-inner-volts", "0.002 V"),
    ] {
        file.steps.push(read(name, shows));
        let case = case(&rules, &file);
        let of = |fault: &str| {
            let faults = &case.model.faults;
            let at = faults.position(|f| f.id == format!("rear-camera/{fault}"));
            case.belief.faults[at.unwrap()]
        };
        odds.push(of("connector.short") / of("analogue-capacitor.short"));
    }
    // The connector may be shorted at any of its pins, the capacitor only here;
    // that is told by the first reading.
    assert!((odds[1] / odds[0]).ln().abs() < 0.2, "{odds:?}");
    assert!((odds[2] / odds[0]).ln().abs() < 0.2, "{odds:?}");
}

// ---- what good lines read ---------------------------------------------------

fn good_board(test: &str, reads: &str) -> Entry {
    Entry::Reference(Reference {
        test: test.into(),
        reads: reads.into(),
        from: "donor in drawer 3".into(),
        meter: None,
    })
}

fn posterior(case: &Case, id: &str) -> f64 {
    match case.model.fault(id) {
        Found::One(i) => case.belief.faults[i],
        other => panic!("{id}: {other:?}"),
    }
}

/// What a good line is foretold to read: the middle and the deviation, volt.
fn foretold(case: &Case, name: &str) -> (f64, f64) {
    let m = case.model.tests[test(case, name)].measures.unwrap();
    let good = case.model.lines[m.line].forecast(m.probing).unwrap();
    match good.good.typical() {
        Reading::Value(v) => (v, good.good.deviation()),
        Reading::OL => panic!("{name}: OL"),
    }
}

#[test]
fn with_a_good_board_a_shift_shows_that_is_hidden_without() {
    let rules = rules();
    let shifted = read(DIODE, "0.44");
    let without = case(&rules, &phone(vec![shifted.clone()]));
    let with = case(&rules, &phone(vec![good_board(DIODE, "0.48"), shifted]));
    // The forecast is the good board's reading, to the meter's last digit.
    let (middle, deviation) = foretold(&with, DIODE);
    assert!((middle - 0.48).abs() < 5e-4, "{middle}");
    let broad = foretold(&without, DIODE).1;
    // The meter and its offset, there and here, and what boards differ by.
    assert!(deviation < 0.015 && broad > 0.04, "{deviation} {broad}");
    // 40 mV lower is well by practice, and low against a good board.
    assert!(without.says(0).unwrap().starts_with("as a good line reads"));
    assert_eq!(with.says(1), Some("lower than a good line reads"));
    let leaky = "imaging/neighbour.holds-bus";
    assert!(posterior(&with, leaky) > 2.0 * posterior(&without, leaky));
    // So is a good one well, more surely than without.
    let well = vec![good_board(DIODE, "0.48"), read(DIODE, "0.482")];
    let well = case(&rules, &phone(well));
    assert!(well.says(1).unwrap().starts_with("as a good line reads"));
    assert!(posterior(&well, leaky) < posterior(&without, leaky));
    // Told: what it rests on.
    let told = |c: &Case| c.can_tell(test(c, DIODE)).unwrap();
    assert_eq!(told(&without).rests_on, "practice");
    assert_eq!(told(&with).rests_on, "good-board");
    assert!(told(&with).rests_on_says.contains("0.48 V in diode mode"));
    assert!(told(&with).rests_on_says.contains("donor in drawer 3"));
    // At the other end of the series resistor the same junctions are read.
    let m = with.model.tests[test(&with, DIODE)].measures.unwrap();
    let pad = |c: &Case| {
        let line = &c.model.lines[m.line];
        let at = line.line.points.iter().position(|p| p.id == "pad").unwrap();
        let f = line.forecast(halfsplit::line::Probing {
            point: at,
            ..m.probing
        });
        f.unwrap().good.deviation()
    };
    assert!(pad(&with) < 0.6 * pad(&without));
}

#[test]
fn a_good_board_is_no_evidence_on_this_device() {
    let rules = rules();
    let bare = case(&rules, &phone(Vec::new()));
    let referred = case(&rules, &phone(vec![good_board(DIODE, "0.48")]));
    assert_eq!(bare.belief.faults, referred.belief.faults);
    assert_eq!(bare.belief.evidence_log2, referred.belief.evidence_log2);
    // It holds for what was read before it as for what is read after.
    let reading = read(DIODE, "0.44");
    let first = case(
        &rules,
        &phone(vec![good_board(DIODE, "0.48"), reading.clone()]),
    );
    let last = case(&rules, &phone(vec![reading, good_board(DIODE, "0.48")]));
    assert_eq!(first.belief.faults, last.belief.faults);
    assert_eq!(last.says(0), Some("lower than a good line reads"));
    // Entered twice, of one board, it counts once; another board counts too.
    let twice = vec![good_board(DIODE, "0.47"), good_board(DIODE, "0.48")];
    let twice = case(&rules, &phone(twice));
    assert_eq!(foretold(&twice, DIODE), foretold(&referred, DIODE));
    let other = Entry::Reference(Reference {
        test: DIODE.into(),
        reads: "0.47".into(),
        from: "bench unit".into(),
        meter: None,
    });
    let both = case(&rules, &phone(vec![other, good_board(DIODE, "0.48")]));
    let (middle, deviation) = foretold(&both, DIODE);
    assert!((middle - 0.475).abs() < 1e-3, "{middle}");
    assert!(deviation < foretold(&referred, DIODE).1);
}

#[test]
fn a_wire_cut_off_reads_no_less_than_a_good_board() {
    let rules = rules();
    let open = "rear-camera/bus-data.open";
    let clock = "rear-camera/bus-clock-inner-diode";
    for known in [good_board(DIODE, "0.48"), read(clock, "0.48")] {
        let bare = case(&rules, &phone(vec![known.clone()]));
        // Whichever of the junctions conducts most, one less leaves a higher
        // voltage.
        let m = bare.model.tests[test(&bare, DIODE)].measures.unwrap();
        let line = &bare.model.lines[m.line];
        let fault = bare.model.faults.position(|f| f.id == open).unwrap();
        let (of_pack, _) = line.faults.iter().find(|f| f.1 == fault).unwrap();
        let forecast = line.forecast(m.probing).unwrap();
        let (_, cut) = forecast.harmed.iter().find(|h| h.0 == *of_pack).unwrap();
        assert!(cut.cdf(0.44) < 0.05, "{}", cut.cdf(0.44));
        let lower = case(&rules, &phone(vec![known, read(DIODE, "0.44")]));
        let (before, after) = (posterior(&bare, open), posterior(&lower, open));
        assert!(after < 3.0 * before, "{after} {before}");
    }
}

#[test]
fn a_good_board_that_the_rules_do_not_expect_counts_with_a_warning() {
    let rules = rules();
    let leaky = "imaging/neighbour.holds-bus";
    let bare = case(&rules, &phone(Vec::new()));
    // By the rules 0.36 V to 0.71 V.
    for (board, lower) in [("0.900 V", "0.600"), ("1.400", "0.900")] {
        let known = case(&rules, &phone(vec![good_board(DIODE, board)]));
        let warned = known.unexpected();
        assert_eq!(warned.len(), 1, "{board}");
        assert!(warned[0].1.contains("not what these rules expect"));
        assert!(known.unfit().is_empty());
        // Its own value is what a good line reads, within what boards differ by.
        let (middle, deviation) = foretold(&known, DIODE);
        let own: f64 = board.trim_end_matches(" V").parse().unwrap();
        assert!((middle - own).abs() < 2e-3, "{board}: {middle}");
        assert!(deviation < 0.02, "{board}: {deviation}");
        assert_eq!(known.belief.faults, bare.belief.faults, "{board}");
        let same = case(
            &rules,
            &phone(vec![good_board(DIODE, board), read(DIODE, board)]),
        );
        assert!(same.says(1).unwrap().starts_with("as a good line reads"));
        assert!(
            same.belief.misread[1] < 0.05,
            "{board}: {:?}",
            same.belief.misread
        );
        let low = case(
            &rules,
            &phone(vec![good_board(DIODE, board), read(DIODE, lower)]),
        );
        assert_eq!(low.says(1), Some("lower than a good line reads"));
        assert!(
            posterior(&low, leaky) > 3.0 * posterior(&same, leaky),
            "{board}"
        );
    }
}

#[test]
fn well_below_a_good_board_means_leakage_and_no_misreading() {
    let rules = rules();
    let of = |reads: &str| {
        let steps = vec![good_board(DIODE, "0.55"), read(DIODE, reads)];
        case(&rules, &phone(steps))
    };
    let (same, low) = (of("0.549"), of("0.412"));
    // Other pins of the connector have no reference and may read so.
    assert!(low.belief.misread[1] < 0.07, "{:?}", low.belief.misread);
    assert!(low.belief.nothing < 0.01);
    let line = low.model.tests[test(&low, DIODE)].measures.unwrap().line;
    let info = &low.model.lines[line];
    let with = |does: fn(&Harm) -> bool| -> Vec<FaultId> {
        let of = info.line.faults.iter().filter(|e| does(&e.harm));
        let all = of.filter_map(|e| Some(info.faults.iter().find(|f| f.0 == e.fault)?.1));
        all.collect::<std::collections::BTreeSet<_>>()
            .into_iter()
            .collect()
    };
    // Current that finds another way: over a leak, a damaged junction or a bridge.
    let drains = with(|h| {
        matches!(
            h,
            Harm::Leaky(_) | Harm::LeakyNode(_) | Harm::Damaged(_) | Harm::Joined(..)
        ) || matches!(h, Harm::Short(_) | Harm::Grounded(_))
    });
    let sum = |c: &Case, all: &[FaultId]| -> f64 { all.iter().map(|f| c.belief.faults[*f]).sum() };
    let (now, before) = (sum(&low, &drains), sum(&same, &drains));
    assert!(now > 0.6 && now > 3.0 * before, "{now} {before}");
    let leaks = with(|h| matches!(h, Harm::Leaky(_) | Harm::LeakyNode(_) | Harm::Damaged(_)));
    let (now, before) = (sum(&low, &leaks), sum(&same, &leaks));
    assert!(now > before, "{now} {before}");
}

#[test]
fn what_no_good_board_reads_is_refused() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let from = ["--from", "donor in drawer 3"];
    let refused = |test: &str, reads: &str| {
        let args = ["job", "reference", "1", test, reads];
        bench.run(&[&args[..], &from].concat()).refused(1)
    };
    let e = refused(DIODE, "412 ohm");
    assert!(e.contains("is measured in V, not as `412 ohm`"), "{e}");
    let e = refused(DIODE, "412 V");
    assert!(e.contains("in diode mode a meter puts out no more"), "{e}");
    let e = refused(DIODE, "OL");
    assert!(
        e.contains("OL says nothing of what a good board is like"),
        "{e}"
    );
    let e = refused(DIODE, "well");
    assert!(e.contains("it is no value"), "{e}");
    let e = refused("rear-camera/board-near-look", "whole");
    assert!(e.contains("measures no line"), "{e}");
    let e = refused("rear-camera/bus-data-inner-diod", "0.48");
    assert!(
        e.contains("did you mean `rear-camera/bus-data-inner-diode`?"),
        "{e}"
    );
    let nobodys = ["job", "reference", "1", DIODE, "0.48", "--from", " "];
    assert!(bench.run(&nobodys).refused(1).contains("say whose board"));
    let args = [
        "job",
        "reference",
        "1",
        DIODE,
        "0.48",
        "--read-with",
        "fnie",
    ];
    let e = bench.run(&[&args[..], &from].concat()).refused(1);
    assert!(e.contains("did you mean `fine`?"), "{e}");
    let shown = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(shown["entries"], 0);
}

#[test]
fn a_good_board_is_entered_in_the_walk_and_comes_back_with_the_case() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let out = chosen(
        &bench,
        DIODE,
        &[
            "explain",
            "reference",
            "480 mV",
            "donor in drawer 3",
            "explain",
            "undo",
            &format!("others {DIODE}"),
            "reference 0.48 the demo unit",
        ],
    );
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    let usual = "A good one reads 0.507 V. That rests on: what is usual; what a good board";
    assert!(flat.contains(usual), "{out}");
    assert!(
        flat.contains("Taken up. From now on 0.452 V to 0.51 V counts"),
        "{out}"
    );
    let board = "A good one reads 0.48 V. That rests on: a good board of the model reads 0.48 V";
    assert!(flat.contains(board), "{out}");
    assert!(
        flat.contains(&format!("Taken back: reference {DIODE} = 480 mV")),
        "{out}"
    );
    let trail = bench.run(&["trail", "1"]).fine();
    assert!(trail.contains("**Read on a good board:**"), "{trail}");
    assert!(trail.contains("the demo unit"), "{trail}");
    let text = bench.run(&["export", "1"]).fine();
    assert!(
        text.contains("reference:") && text.contains("from: the demo unit"),
        "{text}"
    );
    let path = bench.path("case.yaml");
    std::fs::write(&path, text).unwrap();
    let path = path.display().to_string();
    let _ = bench.run(&["import", &path]).fine();
    let _ = bench.run(&["replay", &path]).fine();
}

#[test]
fn a_device_file_holds_what_its_good_boards_read() {
    let bench = Bench::new();
    let own = bench.path("lark.yaml");
    let device = |reads: &str| {
        let text = format!(
            "device: lark-5\nname: Lark 5\nkind: phone\nmodel: Lark 5\n\
             carries: {{imaging: [rear camera, front camera]}}\n\
             good-readings:\n  imaging:\n    bus-data-inner-diode: {reads}\n\
             source: own jobs, the demo unit\n"
        );
        std::fs::write(&own, text).unwrap();
        let loaded = Rules {
            paths: vec![own.clone()],
            only_these: false,
        }
        .load();
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
        loaded.rulebase
    };
    let lark = |rules: &Rulebase, model: &str| {
        let mut file = phone(Vec::new());
        file.device.model = Some(model.into());
        case(rules, &file)
    };
    let rules = device("{reads: 480 mV, meter: fine, only-on: [rear camera]}");
    let this = lark(&rules, "Lark 5");
    assert!((foretold(&this, DIODE).0 - 0.48).abs() < 1e-3);
    let told = |c: &Case, t: &str| c.can_tell(test(c, t)).unwrap();
    assert_eq!(told(&this, DIODE).rests_on, "good-board");
    assert!(
        told(&this, DIODE)
            .rests_on_says
            .contains("own jobs, the demo unit")
    );
    assert_eq!(
        told(&this, "front-camera/bus-data-inner-diode").rests_on,
        "practice"
    );
    assert_eq!(told(&lark(&rules, "Lark 4"), DIODE).rests_on, "practice");
    // What the rules do not expect is told with the job.
    let rules = device("0.9 V");
    let this = lark(&rules, "Lark 5");
    assert_eq!(told(&this, DIODE).rests_on, "good-board");
    assert!((foretold(&this, DIODE).0 - 0.9).abs() < 2e-3);
    assert!(this.model.unexpected[0].contains("of a good board (own jobs, the demo unit)"));
}

#[test]
fn a_sibling_narrows_less_than_a_good_board_and_counts_once() {
    let rules = rules();
    let clock = "rear-camera/bus-clock-inner-diode";
    let seen = case(&rules, &phone(vec![read(clock, "0.48")]));
    let by_practice = case(&rules, &phone(Vec::new()));
    let by_board = case(&rules, &phone(vec![good_board(DIODE, "0.48")]));
    let deviation = |c: &Case| foretold(c, DIODE).1;
    assert!(deviation(&seen) < 0.8 * deviation(&by_practice));
    assert!(deviation(&seen) > 1.3 * deviation(&by_board));
    assert!((foretold(&seen, DIODE).0 - 0.48).abs() < 5e-3);
    let told = seen.can_tell(test(&seen, DIODE)).unwrap();
    assert_eq!(told.rests_on, "sibling");
    assert!(told.rests_on_says.contains(clock), "{}", told.rests_on_says);
    // Which of the two was read first is all one, or nearly: the second is
    // judged by the first, never the first by the second as well.
    let two = |first: (&str, &str), second: (&str, &str)| {
        case(
            &rules,
            &phone(vec![read(first.0, first.1), read(second.0, second.1)]),
        )
    };
    let (one, other) = (
        two((clock, "0.48"), (DIODE, "0.44")),
        two((DIODE, "0.44"), (clock, "0.48")),
    );
    let apart = (one.belief.evidence_log2 - other.belief.evidence_log2).abs();
    // 0.41 when last measured: one reading counts with even spreads, and one that is
    // judged by a sibling with normal ones.
    assert!(apart < 0.5, "{apart}");
    // A repeat takes the place of the first reading: as if it had come last.
    let mut steps = vec![
        read(clock, "0.46"),
        read(DIODE, "0.44"),
        read(clock, "0.48"),
    ];
    let repeated = case(&rules, &phone(steps.clone()));
    assert!((repeated.belief.evidence_log2 - other.belief.evidence_log2).abs() < 1e-9);
    steps.remove(0);
    let plain = case(&rules, &phone(steps));
    assert_eq!(repeated.belief.faults, plain.belief.faults);
    // One that is itself suspect tells nothing, nor one from before a remedy.
    let short = case(&rules, &phone(vec![read(clock, "0.01")]));
    assert_eq!(foretold(&short, DIODE), foretold(&by_practice, DIODE));
    let mended = Entry::Remedy(Did {
        did: "rear-camera/reseat".into(),
        note: None,
    });
    let before = case(&rules, &phone(vec![read(clock, "0.48"), mended]));
    assert_eq!(foretold(&before, DIODE), foretold(&by_practice, DIODE));
    // A good board goes before a sibling.
    let both = vec![read(clock, "0.44"), good_board(DIODE, "0.48")];
    let both = case(&rules, &phone(both));
    assert_eq!(foretold(&both, DIODE), foretold(&by_board, DIODE));
}

#[test]
fn the_other_half_of_a_pair_and_the_other_copy_are_siblings() {
    let rules = rules();
    let port = |steps: Vec<Entry>| {
        let symptoms = vec!["charging-port/no-data".into()];
        let file = CaseFile {
            symptoms,
            ..phone(steps)
        };
        case(&rules, &file)
    };
    let (p, n) = (
        "charging-port/data-p-inner-diode",
        "charging-port/data-n-inner-diode",
    );
    let bare = port(Vec::new());
    let practice = foretold(&bare, p);
    let seen = port(vec![read(n, "0.45")]);
    let by_half = foretold(&seen, p);
    assert!(by_half.1 < 0.8 * practice.1, "{by_half:?} {practice:?}");
    assert!((by_half.0 - 0.45).abs() < 6e-3, "{by_half:?}");
    // The half that was read does not tell of itself.
    assert_eq!(foretold(&seen, n), foretold(&bare, n));
    let bare = case(&rules, &phone(Vec::new()));
    let front = "front-camera/bus-data-inner-diode";
    let seen = case(&rules, &phone(vec![read(front, "0.45")]));
    let by_copy = foretold(&seen, DIODE);
    let practice = foretold(&bare, DIODE);
    assert!(by_copy.1 < 0.8 * practice.1, "{by_copy:?} {practice:?}");
}

#[test]
fn halves_that_differ_are_told_from_halves_that_are_off_alike() {
    let rules = rules();
    let odds = |p: &str, n: &str| {
        let steps = vec![
            read("charging-port/data-p-inner-diode", p),
            read("charging-port/data-n-inner-diode", n),
        ];
        let symptoms = vec!["charging-port/no-data".into()];
        let file = CaseFile {
            symptoms,
            ..phone(steps)
        };
        let none = case(&rules, &file).belief.nothing;
        (1.0 - none) / none
    };
    // Each of these is as a good line reads; only the two that differ speak of a
    // fault.
    let alike = odds("0.400", "0.400").max(odds("0.500", "0.500"));
    for (p, n) in [("0.500", "0.400"), ("0.400", "0.500")] {
        let differ = odds(p, n);
        assert!(differ > 1.2 * alike, "{differ} {alike}");
    }
}

#[test]
fn a_line_that_copies_share_is_no_sibling_of_itself() {
    let rules = rules();
    let mut file = phone(Vec::new());
    file.device.kind = "laptop".into();
    file.symptoms = vec!["left-port/charging-trouble".into()];
    let case = case(&rules, &file);
    let of = |id: &str| -> Vec<&str> {
        let line = case.model.lines.iter().find(|l| l.id == id).unwrap();
        let siblings = line.siblings.iter();
        siblings
            .map(|s| case.model.lines[s.line].id.as_str())
            .collect()
    };
    assert_eq!(of("charging/main-rail"), [""; 0]);
    assert_eq!(of("left-port/vbus"), ["right-port/vbus"]);
    assert_eq!(
        of("right-port/cc-first"),
        ["right-port/cc-second", "left-port/cc-first"]
    );
    for (i, line) in case.model.lines.iter_enumerated() {
        for (n, s) in line.siblings.iter().enumerate() {
            assert_eq!(s.line == i, s.mirrored, "{}", line.id);
            assert!(!line.siblings[..n].contains(s), "{}", line.id);
        }
    }
}

#[test]
fn a_reading_with_the_leads_swapped_counts_as_one_of_its_own() {
    let rules = rules();
    let before = case(&rules, &phone(Vec::new()));
    // The other way round the current leaves over the supply: 0.94 V to 1.4 V.
    let good = case(&rules, &phone(vec![read(DIODE, "1.16 reversed")]));
    assert!(good.void().is_empty());
    assert_eq!(
        good.says(0).unwrap().split(" (").next(),
        Some("as a good line reads")
    );
    let usual = case(&rules, &phone(vec![read(DIODE, "1.16")]));
    assert_eq!(usual.says(0), Some("higher than a good line reads"));
    // Nothing is let through that way where the line is cut off from its supply.
    let swapped = case(&rules, &phone(vec![read(DIODE, "OL reversed")]));
    let open = "rear-camera/bus-data.open";
    assert!(posterior(&swapped, open) > 5.0 * posterior(&before, open));
    assert!(posterior(&good, open) < posterior(&before, open));
    // A short is a short either way.
    let short = |shows: &str| {
        let c = case(&rules, &phone(vec![read(DIODE, shows)]));
        posterior(&c, "rear-camera/bus-data.short")
    };
    assert!((short("0.002 reversed") / short("0.002") - 1.0).abs() < 0.1);
    assert!(short("0.002 reversed") > 5.0 * posterior(&before, "rear-camera/bus-data.short"));
    // It takes the place of an earlier one of its kind, never of the usual one.
    let both = |first: &str, second: &str| {
        case(
            &rules,
            &phone(vec![read(DIODE, first), read(DIODE, second)]),
        )
    };
    assert_eq!(both("0.43", "0.9 reversed").belief.misread.len(), 3);
    let again = both("OL reversed", "0.002 reversed");
    assert_eq!(again.belief.misread.len(), 2);
    let once = case(&rules, &phone(vec![read(DIODE, "0.002 reversed")]));
    assert_eq!(again.belief.faults, once.belief.faults);
    // What measures no line has no circuit to say what is due.
    let bench = Bench::new().shipped();
    stored(&bench);
    let out = bench.run(&["job", "result", "1", DIODE, "0.002 reversed", "--ready"]);
    let out = out.fine();
    assert!(
        out.contains("counted as read with the leads swapped, red on the point"),
        "{out}"
    );
    let shown = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert!(shown["not_counted"].is_null(), "{shown}");
    assert_eq!(shown["entries"], 1);
    let line = bench
        .run(&[
            "job",
            "line",
            "1",
            "rear-camera/bus-data",
            "--format",
            "json",
        ])
        .json();
    assert!(line.to_string().contains("\"turned\":true"), "{line}");
    // As a voltage it has the other sign, and no good board is told so.
    let volts = "rear-camera/bus-data-inner-volts";
    let e = bench
        .run(&["job", "result", "1", volts, "1.8 V reversed"])
        .refused(1);
    assert!(e.contains("could be 1.8 V or -1.8 V"), "{e}");
    let reference = [
        "job",
        "reference",
        "1",
        DIODE,
        "0.45 reversed",
        "--from",
        "donor",
    ];
    let e = bench.run(&reference).refused(1);
    assert!(e.contains("type the very number"), "{e}");
}

#[test]
fn a_typed_value_counts_within_half_its_last_digit() {
    let rules = rules();
    let ohms = "rear-camera/analogue-ohms";
    let diode = |shows: &str| case(&rules, &phone(vec![read(DIODE, shows)]));
    let rail = |shows: &str| case(&rules, &phone(vec![read(ohms, shows)]));
    // The same number with more digits is narrower: what lies just beside goes
    // with the short one, not with the long one.
    let known = |board: &str, shows: &str| {
        let c = case(
            &rules,
            &phone(vec![good_board(DIODE, board), read(DIODE, shows)]),
        );
        posterior(&c, "imaging/neighbour.holds-bus")
    };
    assert!(known("0.440", "0.4") < 0.5 * known("0.440", "0.400"));
    // However it is written, and by its digits alone.
    let faults = |c: Case| c.belief.faults;
    assert_ne!(faults(diode("0.4")), faults(diode("0.400")));
    assert_eq!(faults(diode("0.400")), faults(diode("400 mV")));
    assert_ne!(faults(rail("5k")), faults(rail("5.00k")));
}

#[test]
fn what_says_too_little_is_asked_back_with_what_to_type() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let ohms = "rear-camera/bus-data-ohms";
    let volts = "rear-camera/bus-data-inner-volts";
    for (test, typed, says) in [
        (
            ohms,
            "beeps",
            "type the number that the meter shows in ohms, such as 0.3",
        ),
        (ohms, "no beep", "such as 4.7k, or OL"),
        (ohms, "1", "could be 1 ohm or OL"),
        (DIODE, "1", "could be 1 V or OL"),
        (ohms, "nothing", "could be OL or 0 ohm"),
        (
            ohms,
            ">10k",
            "it is above 10 kilohm; type the number that the meter shows, or OL",
        ),
        (ohms, "~250", "it is `low` or `good`; type the number"),
        (
            ohms,
            "-5",
            "type what the meter shows then, such as 4.7k or OL",
        ),
        (ohms, "1.8 V", "type what it reads in ohm"),
        (DIODE, "beeps", "such as 0.002"),
        (
            volts,
            "beeps",
            "a beep is no voltage; type what the meter shows, such as 1.8 V",
        ),
        (volts, "<1", "it is below 1 V; type the number"),
    ] {
        let e = bench
            .run(&["job", "result", "1", test, typed, "--ready"])
            .refused(1);
        assert!(e.contains(says), "{typed}: {e}");
    }
    let shown = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(shown["entries"], 0);
}

#[test]
fn about_so_much_and_bounds_count_as_what_they_are_taken_for() {
    let rules = rules();
    let ohms = "rear-camera/bus-data-ohms";
    let volts = "rear-camera/bus-data-inner-volts";
    let faults = |test: &str, shows: &str| {
        let file = phone(vec![read(test, shows)]);
        case(&rules, &file).belief.faults
    };
    for (test, typed, same) in [
        // A tenth of it is 600 ohm, and half a digit of `6.0` is 50.
        (ohms, "~6k", "about 6 kohm"),
        (ohms, ">20M", "OL"),
        (ohms, "over 2 megohm", "OL"),
        (ohms, "12 kilohms", "12k"),
        (ohms, "2,2k", "2.2k"),
        (DIODE, ">2", "OL"),
        (volts, "1.8v", "1.8"),
        (volts, "nothing", "0"),
    ] {
        assert_eq!(faults(test, typed), faults(test, same), "{typed}");
    }
}

#[test]
fn a_beep_is_an_answer_where_one_outcome_conducts() {
    let rules = rules();
    let of = |test: &str, shows: &str| {
        let file = CaseFile {
            symptoms: vec!["charging-port/charging-trouble".into()],
            ..phone(vec![read(test, shows)])
        };
        let done = Case::new(&rules, &file, Settings::default());
        done.map(|c| c.says(0).unwrap().to_owned())
    };
    let (fuse, pair) = ("charging-port/fuse-through", "charging-port/data-apart");
    assert_eq!(of(fuse, "beeps").unwrap(), "runs through");
    assert_eq!(of(fuse, "no beep").unwrap(), "open");
    assert_eq!(of(pair, "beeps").unwrap(), "joined");
    assert_eq!(of(pair, "no beep").unwrap(), "apart");
    // On a flex a wire that runs through beeps, and so do two that are joined.
    let file = phone(vec![read("rear-camera/flex-continuity", "beeps")]);
    let e = Case::new(&rules, &file, Settings::default()).unwrap_err();
    assert!(
        e.to_string().contains("it can be through, open, joined"),
        "{e}"
    );
}

#[test]
fn volts_far_above_the_device_are_asked_about_and_taken_if_they_stay() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let volts = "rear-camera/bus-data-inner-volts";
    let entries = || {
        let v = bench.run(&["job", "show", "1", "--format", "json"]).json();
        v["entries"].as_u64().unwrap()
    };
    let typed = ["job", "result", "1", volts, "40 V"];
    let on = ["job", "result", "1", volts, "1.79", "--ready"];
    let _ = bench.run(&on).fine();
    let e = bench.run(&typed).refused(1);
    assert!(e.contains("40 V is far above the 20 V"), "{e}");
    assert!(e.contains("--ready"), "{e}");
    assert_eq!(entries(), 1);
    let _ = bench.run(&[&typed[..], &["--ready"]].concat()).fine();
    assert_eq!(entries(), 2);
    // In the walk it is typed again.
    let out = chosen(&bench, volts, &["38 V", "38 V"]);
    assert_eq!(out.matches("38 V is far above").count(), 1, "{out}");
    assert_eq!(entries(), 3);
    let out = chosen(&bench, volts, &["39 V", "1.8"]);
    assert_eq!(out.matches("39 V is far above").count(), 1, "{out}");
    assert_eq!(entries(), 4);
    // What a port may be fed with is asked about nowhere.
    let _ = bench.run(&["job", "result", "1", volts, "20.5 V"]).fine();
}

#[test]
fn supposing_a_result_comes_to_what_entering_it_comes_to() {
    let bench = Bench::new().shipped();
    let mut job = 0;
    for (test, shows) in [
        ("rear-camera/bus-data-ohms", "300 ohm"),
        ("rear-camera/bus-data-ohms", "OL"),
        ("rear-camera/bus-data-ohms", "good"),
        ("rear-camera/bus-data-inner-volts", "1.2 V"),
        ("rear-camera/analogue-diode", "0.412"),
        (DIODE, "0.9 reversed"),
        (DIODE, "OL reversed"),
        (DIODE, "0.4"),
        (DIODE, "~0.48"),
        ("rear-camera/hardware-list", "no"),
    ] {
        stored(&bench);
        job += 1;
        let id = job.to_string();
        // A reading of the line that is built alike stands before it.
        let clock = "rear-camera/bus-clock-ohms";
        let _ = bench
            .run(&["job", "result", &id, clock, "5.1k", "--ready"])
            .fine();
        let supposed = bench
            .run(&["job", "suppose", &id, test, shows, "--format", "json"])
            .json();
        let _ = bench
            .run(&["job", "result", &id, test, shows, "--ready"])
            .fine();
        let shown = bench.run(&["job", "show", &id, "--format", "json"]).json();
        let by_name = |all: &serde_json::Value| {
            let all = all.as_array().unwrap().iter();
            let one = |s: &serde_json::Value| {
                let name = s["fault"].as_str().unwrap().to_owned();
                (name, s["posterior"].as_f64().unwrap().to_bits())
            };
            all.map(one).collect::<std::collections::BTreeMap<_, _>>()
        };
        let (then, after) = (&supposed["suspects"], &shown["belief"]["suspects"]);
        assert_eq!(by_name(then), by_name(after), "{test} {shows}");
    }
}

#[test]
fn every_question_in_diode_mode_says_which_lead_goes_where() {
    let rules = rules();
    let mut asked = 0;
    for kind in ["phone", "tablet", "laptop", "handheld", "board"] {
        let unit = Unit {
            kind: kind.into(),
            ..Unit::default()
        };
        let model = halfsplit::model::compile(&rules, &unit, &[], None).unwrap();
        for t in &model.tests {
            let diode = t
                .measures
                .is_some_and(|m| m.probing.mode == halfsplit::rulebase::MeterMode::Diode);
            if diode {
                assert!(t.ask.contains("red on ground, black on the "), "{}", t.ask);
                asked += 1;
            }
        }
    }
    assert!(asked > 100, "{asked}");
}

#[test]
fn over_limit_is_drawn_as_over_limit_where_no_value_is_too_high() {
    let bench = Bench::new().shipped();
    stored(&bench);
    let test = "rear-camera/lanes-ohms";
    let words = bench
        .run(&["job", "result", "1", test, "OL", "--ready"])
        .code;
    assert_eq!(words, 0);
    let line = bench.run(&["job", "line", "1", "rear-camera/lane", "--format", "json"]);
    let drawn = line.json().to_string();
    assert!(drawn.contains("\"shows\":\"ol\""), "{drawn}");
}

// ---- suspects that the offered points do not tell apart ---------------------

/// A port whose VBUS is shorted, read at all points that are offered.
fn shorted_vbus(more: &[(&str, &str)]) -> CaseFile {
    let all = [
        ("vbus-ohms", "0.4"),
        ("vbus-diode", "0.001"),
        ("vbus-fused-diode", "0.001"),
        ("vbus-input-ohms", "5k"),
        ("vbus-input-diode", "0.45"),
    ];
    let steps = all.iter().chain(more);
    CaseFile {
        symptoms: vec!["charging-port/charging-trouble".into()],
        ..phone(
            steps
                .map(|(t, s)| read(&format!("charging-port/{t}"), s))
                .collect(),
        )
    }
}

#[test]
fn a_lifted_fuse_tells_apart_what_lies_on_either_side_of_it() {
    let rules = rules();
    let (clamp, plug) = (
        "charging-port/surge-clamp.short",
        "charging-port/port-plug.short",
    );
    let before = case(&rules, &shorted_vbus(&[]));
    let alike = before.alike().expect("the fuse is next to nothing");
    let names = alike.suspects.map(|f| before.model.faults[f].id.as_str());
    assert_eq!(names, [clamp, plug]);
    let offered: Vec<&str> = alike
        .tests
        .iter()
        .map(|t| before.model.tests[t.0].id.as_str())
        .collect();
    let lift = "charging-port/vbus-lift-fuse-fused";
    assert!(offered.contains(&lift), "{offered:?}");
    // The clamp hangs behind the fuse, the plug before it.
    let (stays, goes) = (
        case(&rules, &shorted_vbus(&[("vbus-lift-fuse-fused", "0.4")])),
        case(&rules, &shorted_vbus(&[("vbus-lift-fuse-fused", "45k")])),
    );
    assert!(posterior(&stays, clamp) > posterior(&before, clamp));
    let (gone, left) = (posterior(&goes, clamp), posterior(&goes, plug));
    assert!(gone < 0.5 * posterior(&before, clamp), "{gone}");
    assert!(
        left > 3.0 * posterior(&before, plug) && left > gone,
        "{left} {gone}"
    );
    assert!(goes.unfit().is_empty());
    // The other side says the same the other way round.
    let other = case(&rules, &shorted_vbus(&[("vbus-lift-fuse-land", "0.4")]));
    let found = posterior(&other, plug);
    assert!(found > 2.0 * posterior(&before, plug), "{found}");
    // Its minutes and cautions count as those of any test.
    let t = &before.model.tests[test(&before, lift)];
    assert!(t.step.minutes > 10.0);
    let burns = |c: &usize| before.model.bench.cautions[*c].id == "hot-air";
    assert!(t.step.cautions.iter().any(burns));
    let advised = before.advice(usize::MAX).steps;
    let at = test(&before, lift);
    assert!(advised.iter().any(|p| p.act == Act::Test(at)));
}

#[test]
fn what_tells_suspects_apart_is_shown_with_the_line_and_kept() {
    let bench = Bench::new().shipped();
    let path = bench.path("vbus.yaml");
    let file = shorted_vbus(&[("vbus-lift-fuse-fused", "45k")]);
    let mut text = String::from("case: no charge\ndevice: {kind: phone}\n");
    text += "symptoms: [charging-port/charging-trouble]\nsteps:\n";
    for step in &file.steps[..5] {
        let Entry::Result(r) = step else { continue };
        text += &format!("  - result: {{test: {}, shows: '{}'}}\n", r.test, r.shows);
    }
    std::fs::write(&path, text).unwrap();
    let _ = bench.run(&["import", &path.display().to_string()]).fine();
    let line = ["job", "line", "1", "charging-port/vbus"];
    let drawn = bench.run(&line).fine();
    let flat = drawn.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("At every point that is offered"), "{drawn}");
    assert!(
        flat.contains("(charging-port/vbus-lift-fuse-fused), 1"),
        "{drawn}"
    );
    let json = bench
        .run(&[&line[..], &["--format", "json"]].concat())
        .json();
    let tests = json["alike"]["tests"].as_array().unwrap();
    assert!(tests.iter().all(|t| t["minutes"].as_f64().unwrap() > 0.0));
    let cautions = tests[0]["cautions"].to_string();
    assert!(cautions.contains("Disconnect the battery"), "{cautions}");
    let lift = [
        "job",
        "result",
        "1",
        "charging-port/vbus-lift-fuse-fused",
        "45k",
        "--ready",
    ];
    let _ = bench.run(&lift).fine();
    let shown = bench.run(&["job", "show", "1", "--format", "json"]).json();
    assert_eq!(shown["entries"], 6);
    assert!(shown["not_counted"].is_null(), "{shown}");
    let first = &shown["belief"]["suspects"][0]["fault"];
    assert_eq!(first, "charging-port/port-plug.short");
    // It comes back with the case.
    let text = bench.run(&["export", "1"]).fine();
    std::fs::write(&path, text).unwrap();
    let path = path.display().to_string();
    let _ = bench.run(&["import", &path]).fine();
    let again = bench.run(&["job", "show", "2", "--format", "json"]).json();
    assert_eq!(again["belief"], shown["belief"]);
}
