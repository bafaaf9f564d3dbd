//! How far the results of looks, tries and swaps are believed under the built-in
//! rules. What is expected here is common practice, no source: a dead part all
//! but never works by mistake, a good one may fail by a bad seat, what was seen
//! torn, burnt or loose is there, and damage is overlooked far more often than
//! imagined.

use crate::lines::rules;
use halfsplit::belief::FaultId;
use halfsplit::belief::candidates::{Candidate, Outlook};
use halfsplit::job::{Case, CaseFile, Entry, Settings, Shown};
use halfsplit::model::{Found, Unit};
use halfsplit::rulebase::Rulebase;

/// A device of a kind with one symptom and some results.
fn job(rules: &Rulebase, kind: &str, symptom: &str, results: &[(&str, &str)]) -> Case {
    let result = |(test, shows): &(&str, &str)| {
        Entry::Result(Shown {
            test: (*test).into(),
            shows: (*shows).into(),
            ..Shown::default()
        })
    };
    let file = CaseFile {
        case: "a result".into(),
        device: Unit {
            kind: kind.into(),
            ..Unit::default()
        },
        symptoms: vec![symptom.into()],
        steps: results.iter().map(result).collect(),
        ..CaseFile::default()
    };
    Case::new(rules, &file, Settings::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// Probability that the last result was a mistake.
fn doubt(case: &Case) -> f64 {
    *case.belief.misread.last().unwrap()
}

fn fault(case: &Case, name: &str) -> f64 {
    match case.model.fault(name) {
        Found::One(f) => case.belief.faults[f],
        other => panic!("{name}: {other:?}"),
    }
}

fn odds(p: f64) -> f64 {
    p / (1.0 - p)
}

#[test]
fn what_works_with_a_good_flex_clears_the_module() {
    let rules = rules();
    for symptom in ["rear-camera/black-picture", "rear-camera/not-found"] {
        let works = [("rear-camera/good-flex-picture", "works")];
        let case = job(&rules, "tablet", symptom, &works);
        // A module that fails when warm may work in any try, and a dead one
        // spares 2 tries of 100 by the rules.
        let clean = ["dead", "no-picture", "supply-short", "bus-short"];
        let of = |f: &&str| fault(&case, &format!("rear-camera/module.{f}"));
        let left: f64 = clean.iter().map(of).sum();
        assert!(left < 0.03, "{symptom}: the module keeps {left:.3}");
        assert!(doubt(&case) < 0.05, "{symptom}: {:.3}", doubt(&case));
    }
}

#[test]
fn what_fails_with_a_good_part_may_be_a_bad_seat() {
    let rules = rules();
    let symptom = "rear-camera/black-picture";
    let before = job(&rules, "tablet", symptom, &[]);
    let fails = [("rear-camera/good-module-picture", "fails")];
    let after = job(&rules, "tablet", symptom, &fails);
    let module = |case: &Case| odds(fault(case, "rear-camera/module.dead"));
    let kept = module(&after) / module(&before);
    assert!((0.02..0.15).contains(&kept), "{kept:.3}");
    // What works by mistake is far rarer than what fails by mistake.
    let works = [("rear-camera/good-module-picture", "works")];
    let after = job(&rules, "tablet", symptom, &works);
    let host = |case: &Case| odds(fault(case, "rear-camera/host.pin-dead"));
    assert!(host(&after) / host(&before) < 0.5 * kept);
}

#[test]
fn what_was_seen_damaged_is_there() {
    let rules = rules();
    let camera = ("tablet", "rear-camera/black-picture");
    let port = ("phone", "charging-port/charging-trouble");
    let mut wrong = Vec::new();
    for ((kind, symptom), test, shows) in [
        (port, "charging-port/plug-grip", "rocks"),
        (port, "charging-port/plug-grip", "loose"),
        (port, "charging-port/port-look", "damaged"),
        (port, "charging-port/port-look", "crust"),
        (port, "charging/battery-seat-look", "damaged"),
        (port, "charging/battery-seat-look", "loose"),
        (port, "charging-port/flex-seat-look", "marked"),
        (port, "charging-port/flex-seat-look", "bridged"),
        (port, "charging-port/board-look", "damaged"),
        (port, "charging-port/board-look", "crust"),
        (camera, "rear-camera/connector-look", "damaged"),
        (camera, "rear-camera/connector-look", "bridged"),
        (camera, "rear-camera/seat-look", "loose"),
        (camera, "rear-camera/flex-look", "marked"),
        (camera, "rear-camera/board-near-look", "damaged"),
        (camera, "rear-camera/board-near-look", "crust"),
        (camera, "rear-camera/front-look", "covered"),
    ] {
        let case = job(&rules, kind, symptom, &[(test, shows)]);
        let doubt = doubt(&case);
        if doubt >= 0.25 {
            wrong.push(format!("{test} {shows}: imagined with {doubt:.2}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn damage_is_overlooked_more_often_than_imagined() {
    let rules = rules();
    let kept = |kind: &str, symptom: &str, look: (&str, &str), of: &str| {
        let before = job(&rules, kind, symptom, &[]);
        let after = job(&rules, kind, symptom, &[look]);
        odds(fault(&after, of)) / odds(fault(&before, of))
    };
    let port = kept(
        "phone",
        "charging-port/charging-trouble",
        ("charging-port/port-look", "clean"),
        "charging-port/port.bent",
    );
    let shutter = kept(
        "tablet",
        "rear-camera/black-picture",
        ("rear-camera/front-look", "clear"),
        "rear-camera/shutter.closed",
    );
    assert!((0.08..0.35).contains(&port), "{port:.3}");
    assert!((0.08..0.35).contains(&shutter), "{shutter:.3}");
}

#[test]
fn the_chances_of_what_a_test_shows_are_those_that_it_is_weighed_by() {
    let rules = rules();
    for (kind, symptom) in [
        ("tablet", "rear-camera/black-picture"),
        ("phone", "charging-port/charging-trouble"),
    ] {
        let case = job(&rules, kind, symptom, &[]);
        let n = case.model.network.len();
        for t in &case.model.tests {
            let outlook = Outlook::new(n, &t.finding);
            let mut p = vec![0.0; outlook.outcomes()];
            for faults in [vec![], vec![0], vec![3, n - 1]] {
                let faults: Vec<FaultId> = faults.into_iter().map(FaultId).collect();
                outlook.of(&Candidate::new(&faults).unwrap(), &mut p);
                let sum: f64 = p.iter().sum();
                assert!((sum - 1.0).abs() < 1e-9, "{}: {sum}", t.id);
                for (k, p) in p.iter().enumerate() {
                    let weighed = t.finding.likelihood(k, &faults);
                    assert!((p - weighed).abs() < 1e-12, "{} {k}", t.id);
                }
            }
        }
    }
}

/// Chance that a try comes out so with these faults there, mistakes left out.
fn true_chance(case: &Case, test: &str, outcome: usize, present: &[FaultId]) -> f64 {
    let Found::One(t) = case.model.test(test) else {
        panic!("{test}")
    };
    let t = &case.model.tests[t];
    let all: f64 = t.mistaken.iter().sum();
    // Reported = true * (1 - mistakes of the others) + mistakes of this one.
    let reported = t.finding.likelihood(outcome, present);
    (reported - t.mistaken[outcome]) / (1.0 - all)
}

#[test]
fn an_answer_in_part_is_what_both_functions_say() {
    let rules = rules();
    let case = job(&rules, "phone", "charging-port/charging-trouble", &[]);
    let fault = |name: &str| match case.model.fault(name) {
        Found::One(f) => f,
        other => panic!("{name}: {other:?}"),
    };
    let sets: [&[&str]; 5] = [
        &[],
        &["adapter.no-fast"],
        &["charging-port/port.dirty"],
        &["battery.worn", "charging-port/cc-controller.dead"],
        &[
            "cable.weak",
            "charging-port/port.corroded",
            "system.bad-update",
        ],
    ];
    for names in sets {
        let set: Vec<FaultId> = names.iter().map(|n| fault(n)).collect();
        let at = |outcome: usize| true_chance(&case, "charging-port/charge-try", outcome, &set);
        let links = |function: &str| {
            let f = case.model.functions.iter().find(|f| f.id == function);
            let links = f.unwrap_or_else(|| panic!("{function}")).links.iter();
            let there = links.filter(|l| set.contains(&l.0));
            there.map(|l| 1.0 - l.1).product::<f64>()
        };
        let (charges, fast) = (
            links("charging-port/charges"),
            links("charging-port/fast-charge"),
        );
        assert!((at(0) - fast).abs() < 1e-9, "{names:?}: {} {fast}", at(0));
        assert!((at(0) + at(1) - charges).abs() < 1e-9, "{names:?}");
        assert!((at(0) + at(1) + at(2) - 1.0).abs() < 1e-9, "{names:?}");
    }
}

#[test]
fn what_charges_slowly_is_no_dead_port() {
    let rules = rules();
    let at = |answer: &str| {
        let case = job(
            &rules,
            "phone",
            "charging-port/charging-trouble",
            &[("charging-port/charge-try", answer)],
        );
        let no_fast = fault(&case, "adapter.no-fast") + fault(&case, "cable.weak");
        (no_fast, fault(&case, "cable.broken"))
    };
    let (slowly, no) = (at("slowly"), at("no"));
    // As a trail prints it, and by its beginning.
    assert_eq!(at("Yes, but slowly"), slowly);
    assert_eq!(at("slow"), slowly);
    assert!(slowly.0 > 5.0 * no.0, "{slowly:?} {no:?}");
    assert!(slowly.1 < 0.2 * no.1, "{slowly:?} {no:?}");
}
