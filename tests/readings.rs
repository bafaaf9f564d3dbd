//! Readings of lines in a job: the meter they are taken with, what is typed,
//! what the bench makes of them.
mod common;

use common::Bench;
use halfsplit::job::view::result_words;
use halfsplit::job::{Case, CaseError, CaseFile, Entry, Settings, Shown};
use halfsplit::model::{CompileError, Found, Unit};
use halfsplit::rulebase::{Rulebase, Rules};

const DIODE: &str = "rear-camera/bus-data-inner-diode";

fn rules() -> Rulebase {
    let loaded = Rules::default().load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    loaded.rulebase
}

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

fn test(case: &Case, name: &str) -> usize {
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
    bench.feed(&[], (input + "pause\n").as_bytes()).fine()
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
    let (stands, ready) = (with("15k", true), with("15k", false));
    let open = |c: &Case| match c.model.fault("rear-camera/contact.open") {
        Found::One(i) => c.belief.faults[i],
        other => panic!("{other:?}"),
    };
    assert!(open(&stands) > 1.2 * open(&ready));
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
            let at = faults
                .iter()
                .position(|f| f.id == format!("rear-camera/{fault}"));
            case.belief.faults[at.unwrap()]
        };
        odds.push(of("connector.short") / of("analogue-capacitor.short"));
    }
    // The connector may be shorted at any of its pins, the capacitor only here;
    // that is told by the first reading.
    assert!((odds[1] / odds[0]).ln().abs() < 0.2, "{odds:?}");
    assert!((odds[2] / odds[0]).ln().abs() < 0.2, "{odds:?}");
}
