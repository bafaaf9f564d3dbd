//! A second look at what was entered: the notice about a result that is more
//! likely a mistake than true, results that were measured again, and entries
//! that are corrected. The numbers are worked out here from the model's own
//! table of mistakes; the rest is held against jobs that were entered right at
//! once.

use crate::common::Bench;
use crate::lines::rules;
use halfsplit::job::{Case, CaseFile, Correction, Did, Entry, Settings, Shown, Sure};
use halfsplit::model::{Found, Unit};
use halfsplit::rulebase::Rulebase;
use serde_json::Value;

fn result(test: &str, shows: &str) -> Entry {
    Entry::Result(Shown {
        test: test.into(),
        shows: shows.into(),
        ..Shown::default()
    })
}

fn sure(entry: usize) -> Entry {
    Entry::Sure(Sure { entry, note: None })
}

fn correct(entry: usize, to: &str) -> Entry {
    Entry::Correct(Correction {
        entry,
        to: Some(to.into()),
        note: None,
    })
}

fn struck(entry: usize) -> Entry {
    Entry::Correct(Correction {
        entry,
        ..Correction::default()
    })
}

/// A tablet whose rear camera is not found.
fn file(steps: Vec<Entry>) -> CaseFile {
    CaseFile {
        case: "no rear camera".into(),
        device: Unit {
            kind: "tablet".into(),
            ..Unit::default()
        },
        symptoms: vec!["rear-camera/not-found".into()],
        steps,
        ..CaseFile::default()
    }
}

fn job(rules: &Rulebase, steps: Vec<Entry>) -> Case {
    Case::new(rules, &file(steps), Settings::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn refused(rules: &Rulebase, steps: Vec<Entry>) -> String {
    match Case::new(rules, &file(steps), Settings::default()) {
        Err(e) => e.to_string(),
        Ok(_) => panic!("it was taken"),
    }
}

#[track_caller]
fn same_belief(a: &Case, b: &Case) {
    assert_eq!(a.belief.faults.len(), b.belief.faults.len());
    for (x, y) in a.belief.faults.iter().zip(&b.belief.faults) {
        assert!((x - y).abs() < 1e-12, "{x} {y}");
    }
}

fn odds(p: f64) -> f64 {
    p / (1.0 - p)
}

const SWAP: &str = "rear-camera/good-module-identity";
const LIST: &str = "rear-camera/hardware-list";

#[test]
fn what_was_measured_again_is_as_unlikely_a_mistake_as_two() {
    let rules = rules();
    let seen = vec![result(SWAP, "no")];
    let once = job(&rules, seen.clone());
    let Found::One(test) = once.model.test(SWAP) else {
        panic!("no {SWAP}");
    };
    let mistaken = &once.model.tests[test].mistaken;
    let (works, fails) = (mistaken[0], mistaken[1]);
    let doubt = |case: &Case| *case.belief.misread.last().unwrap();
    let mut before = odds(doubt(&once));
    for times in 2..4 {
        let steps = [seen.clone(), vec![sure(1); times - 1]].concat();
        let again = odds(doubt(&job(&rules, steps)));
        // The odds of a mistake fall by those of one that errs by itself.
        let want = before * fails / (1.0 - works);
        assert!((again / want - 1.0).abs() < 1e-6, "{again} {want}");
        before = again;
    }
}

#[test]
fn a_reading_that_was_taken_again_is_doubted_less() {
    let rules = rules();
    for shows in ["0.43 V", "good"] {
        let seen = vec![result("rear-camera/bus-data-inner-diode", shows)];
        let again = [seen.clone(), vec![sure(1)]].concat();
        let (once, twice) = (job(&rules, seen), job(&rules, again));
        let doubt = |case: &Case| odds(*case.belief.misread.last().unwrap());
        assert!(doubt(&twice) < 0.2 * doubt(&once), "{shows}");
        assert_eq!(once.belief.misread.len(), twice.belief.misread.len());
    }
}

#[test]
fn only_a_result_that_holds_can_be_confirmed() {
    let rules = rules();
    let seat = Entry::Remedy(Did {
        did: "rear-camera/reseat".into(),
        note: None,
    });
    for (steps, says) in [
        (vec![sure(1)], "nothing was entered yet"),
        (vec![result(SWAP, "no"), sure(3)], "numbered from 1 to 1"),
        (
            vec![Entry::Note("hm".into()), sure(1)],
            "it is no result that counts",
        ),
        (
            vec![result(SWAP, "no"), result(SWAP, "yes"), sure(1)],
            "the test was repeated since",
        ),
        (
            vec![result(LIST, "no"), seat, sure(1)],
            "the device was worked on",
        ),
    ] {
        let said = refused(&rules, steps);
        assert!(said.contains(says), "{said}");
    }
}

#[test]
fn a_corrected_entry_counts_at_its_place_in_time() {
    let rules = rules();
    let did = |did: &str| {
        Entry::Remedy(Did {
            did: did.into(),
            note: None,
        })
    };
    let seat = "rear-camera/reseat";
    let right = vec![result(LIST, "no"), did(seat), result(LIST, "yes")];
    let wrong = vec![result(LIST, "yes"), did(seat), result(LIST, "yes")];
    let mended = [wrong.clone(), vec![correct(1, "no")]].concat();
    same_belief(&job(&rules, mended.clone()), &job(&rules, right.clone()));
    // The last correction counts; a struck entry never was.
    let twice = [mended.clone(), vec![correct(1, "yes")]].concat();
    same_belief(&job(&rules, twice), &job(&rules, wrong));
    let gone = [mended, vec![struck(2)]].concat();
    let never = vec![result(LIST, "no"), result(LIST, "yes")];
    same_belief(&job(&rules, gone), &job(&rules, never));
    // A remedy, and a result that was unclear at first.
    let other = vec![
        result(LIST, "no"),
        did("rear-camera/replace-module"),
        result(LIST, "yes"),
        correct(2, seat),
    ];
    same_belief(&job(&rules, other), &job(&rules, right));
    let unclear = Entry::Unclear(halfsplit::job::Unclear {
        test: SWAP.into(),
        note: None,
    });
    let clear = vec![unclear, correct(1, "no")];
    same_belief(&job(&rules, clear), &job(&rules, vec![result(SWAP, "no")]));
}

#[test]
fn what_was_measured_again_is_what_was_entered_then() {
    let rules = rules();
    let corrected = vec![result(SWAP, "yes"), sure(1), correct(1, "no")];
    same_belief(
        &job(&rules, corrected),
        &job(&rules, vec![result(SWAP, "no")]),
    );
    let confirmed = vec![result(SWAP, "yes"), correct(1, "no"), sure(1)];
    let plain = vec![result(SWAP, "no"), sure(1)];
    same_belief(&job(&rules, confirmed), &job(&rules, plain));
    let taken_out = vec![result(SWAP, "no"), sure(1), struck(2)];
    same_belief(
        &job(&rules, taken_out),
        &job(&rules, vec![result(SWAP, "no")]),
    );
}

#[test]
fn a_correction_that_cannot_be_is_refused() {
    let rules = rules();
    for (steps, says) in [
        (vec![correct(1, "no")], "nothing was entered yet"),
        (vec![result(SWAP, "no"), correct(0, "no")], "no entry 0"),
        (
            vec![result(SWAP, "no"), correct(1, "yes"), correct(2, "no")],
            "entry 2 corrects entry 1; correct entry 1 again",
        ),
        (
            vec![result(SWAP, "no"), sure(1), correct(2, "no")],
            "it can only be struck",
        ),
        (vec![result(SWAP, "no"), correct(1, "maybe")], "`maybe`"),
    ] {
        let said = refused(&rules, steps);
        assert!(said.contains(says), "{said}");
    }
}

const RAIL: &str = "buzzer/rail-voltage";

/// A silent handheld whose drive line was seen to work, and its rail to be low.
fn at_odds() -> Bench {
    let bench = Bench::with_silent_handheld();
    let ready = [
        "job",
        "result",
        "1",
        "buzzer/drive-seen",
        "signal",
        "--ready",
    ];
    let _ = bench.run(&ready).fine();
    bench
}

#[test]
fn a_result_that_is_likely_wrong_is_said_to_be_at_once() {
    let bench = at_odds();
    let low = ["job", "result", "1", RAIL, "2.4 V", "--ready"];
    let said = bench.run(&low).fine();
    let mut lines = said.lines();
    assert!(lines.next().unwrap().starts_with("Job 1:"), "{said}");
    assert!(
        lines.next().unwrap().starts_with("More likely a mistake"),
        "{said}"
    );
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "entry 2, buzzer/rail-voltage: “2.4 V: too low”",
        "It goes against entry 1, buzzer/drive-seen: “a square wave”.",
        "Do it again at the same points",
        "`halfsplit job sure 1 2`",
    ] {
        assert!(flat.contains(words), "{words}\n{said}");
    }
    let show = ["job", "show", "1", "--format", "json"];
    let notice = bench.run(&show).json()["notice"].clone();
    assert_eq!(notice["reason"], "likely-wrong");
    assert_eq!(
        (&notice["entry"], &notice["against"]),
        (&2.into(), &1.into())
    );
    assert_eq!(notice["repeat"]["test"], RAIL);
    assert!(notice["misread"].as_f64().unwrap() > 0.5);
    assert!(notice["expected"].as_f64().unwrap() < 0.1);

    // Measured again it is believed: a low rail may still let the line move.
    let _ = bench.run(&["job", "sure", "1"]).fine();
    let state = bench.run(&show).json();
    let doubt = |n: usize| -> f64 {
        let results = state["belief"]["results"].as_array().unwrap();
        let of = results.iter().find(|r| r["entry"] == n).unwrap();
        of["misread"].as_f64().unwrap()
    };
    assert!(doubt(2) < 0.1 && doubt(1) > 0.1, "{state}");
    assert_eq!(state["belief"]["suspects"][0]["fault"], "buzzer/rail.low");
    // Together they still are hard to explain: the other one is to be repeated.
    let notice = &state["notice"];
    assert_eq!(notice["reason"], "unexplained");
    assert_eq!(
        (&notice["entry"], &notice["against"]),
        (&2.into(), &1.into())
    );
    assert_eq!(notice["repeat"]["test"], "buzzer/drive-seen");
}

#[test]
fn what_the_rules_do_not_explain_is_said_at_once() {
    let rules = rules();
    let state = |steps: Vec<Entry>| {
        let case = job(&rules, steps.clone());
        let state = halfsplit::job::view::state(&case, &steps, 1);
        let first = state.belief.suspects[0].fault.clone();
        (state, first)
    };
    // A drop that leaks and a resistance that is next to none: no fault of the list
    // reads both.
    let diode = result("rear-camera/bus-data-inner-diode", "0.200");
    let ohms = result("rear-camera/bus-data-ohms", "33");
    let (odd, first) = state(vec![diode.clone(), ohms]);
    assert!(first.ends_with(".unlisted"), "{first}");
    let notice = odd.notice.expect("nothing of the list leads");
    assert_eq!((notice.entry, notice.reason.as_str()), (2, "unexplained"));
    assert!(
        notice
            .says
            .contains("These rules do not explain what was seen")
    );
    assert!(notice.says.contains("rear-camera/bus-data-ohms"));
    assert!(notice.why.contains("comparing with a good board"));
    // While something of the list leads nothing of the kind is said.
    let (plain, first) = state(vec![result("rear-camera/bus-data-inner-diode", "0.500")]);
    assert!(!first.ends_with(".unlisted"), "{first}");
    assert!(plain.notice.is_none(), "{:?}", plain.notice);
}

#[test]
fn a_result_that_fits_is_not_remarked_on() {
    let bench = Bench::with_silent_handheld();
    let fits = [
        "job",
        "result",
        "1",
        "buzzer/volume-shown",
        "up",
        "--format",
        "json",
    ];
    assert_eq!(bench.run(&fits).json()["notice"], Value::Null);
}

#[test]
fn the_walk_takes_sure_and_corrections() {
    let bench = at_odds();
    let said = bench
        .walk(&[
            "1",
            "others rail-voltage",
            "2.4 V",
            "i am sure",
            "correct 1 nothing",
            "correct 1 maybe",
            "correct 9 no",
            "trail",
            "undo",
            "correct 2 not done",
            "pause",
        ])
        .not_all_taken();
    for words in [
        "More likely a mistake than true",
        "Entry 2 counts as measured twice.",
        "Entry 1 is corrected; the trail keeps both.",
        "Not taken: `maybe` is no result of `buzzer/drive-seen`",
        "Not taken: there is no entry 9; they are numbered from 1 to 4",
        "Corrected in step 4; entered first",
        "Measured again, the same",
        "Taken back: the correction of entry 1",
        "Entry 2 is struck; the trail keeps both.",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
}

#[test]
fn corrections_are_kept_exported_and_read_again() {
    let bench = at_odds();
    let low = ["job", "result", "1", RAIL, "2.4 V", "--ready"];
    let _ = bench.run(&low).fine();
    let _ = bench.run(&["job", "sure", "1", "2"]).fine();
    let _ = bench.run(&["job", "correct", "1", "1", "nothing"]).fine();
    let _ = bench.run(&["job", "note", "1", "left the probe on"]).fine();
    let _ = bench
        .run(&["job", "correct", "1", "5", "--not-done"])
        .fine();
    let case = bench.path("case.yaml");
    let case = case.to_str().unwrap();
    let _ = bench.run(&["export", "1", case]).fine();
    let text = std::fs::read_to_string(case).unwrap();
    assert!(
        text.contains("sure:") && text.contains("correct:"),
        "{text}"
    );
    let _ = bench.run(&["import", case]).fine();
    let belief = |job: &str| {
        let show = ["job", "show", job, "--format", "json"];
        bench.run(&show).json()["belief"].clone()
    };
    assert_eq!(belief("1"), belief("2"));
    let replayed = bench.run(&["replay", case, "--format", "json"]).json();
    assert_eq!(
        replayed["end"]["belief"]["suspects"],
        belief("1")["suspects"]
    );

    let trail = bench.run(&["trail", "1", "--format", "json"]).json();
    let steps = trail["steps"].as_array().unwrap();
    let kinds: Vec<&str> = steps.iter().map(|s| s["kind"].as_str().unwrap()).collect();
    assert_eq!(
        kinds,
        [
            "result",
            "result",
            "sure",
            "correction",
            "struck",
            "correction"
        ]
    );
    assert_eq!(steps[0]["shows"], "nothing at all");
    assert_eq!(steps[0]["was"], "buzzer/drive-seen: signal");
    assert_eq!(steps[0]["corrected_in"], 4);
    assert_eq!(steps[2]["about"], 2);
    let page = bench.run(&["trail", "1", "--html"]).fine();
    assert!(page.contains("<del>"), "{page}");
    let customer = bench.run(&["trail", "1", "--reader", "customer"]).fine();
    assert!(!customer.contains("left the probe on"), "{customer}");
}
