//! A job that goes on entry by entry comes to what it comes to when it is worked out
//! from its beginning, whatever is entered in whatever order.

use std::fmt::Write as _;

use halfsplit::job::view::state;
use halfsplit::job::{
    Cannot, Case, CaseFile, Correction, Did, Entry, Reference, Settings, Shown, Sure, Unclear,
};
use halfsplit::model::{TestInfo, Unit};
use halfsplit::plan::{Effort, TestId};
use halfsplit::rulebase::Rulebase;
use rand::rngs::StdRng;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use serde_json::Value;

const JOBS: u64 = 8;
const ENTRIES: usize = 9;

fn settings() -> Settings {
    Settings {
        effort: Effort::FIRST,
        ..Settings::default()
    }
}

/// What may be typed as the result of a test.
fn shows(rng: &mut StdRng, test: &TestInfo) -> String {
    let typed: &[&str] = match test.unit.as_deref() {
        Some("ohm") => &["0.4 ohm", "12 ohm", "2.2 kohm", "47 kohm", "550 kohm", "OL"],
        Some("V") => &["0 V", "0.41 V", "1.25 V", "1.8 V", "3.3 V", "5.1 V"],
        _ => &[],
    };
    match typed.choose(rng).filter(|_| rng.random_bool(0.7)) {
        Some(typed) => (*typed).to_owned(),
        None => test.outcomes[rng.random_range(0..test.outcomes.len())]
            .id
            .clone(),
    }
}

/// Anything that can be entered now.
fn entry(rng: &mut StdRng, rules: &Rulebase, now: &Case, steps: &[Entry]) -> Entry {
    let m = &now.model;
    // The tests of lines are where entries hang together; the last are on offer.
    let measuring: Vec<TestId> = (m.tests.keys())
        .filter(|t| m.tests[*t].measures.is_some())
        .collect();
    let any = TestId(rng.random_range(0..m.tests.len()));
    let test = match rng.random_range(0..10) {
        0..4 => measuring.choose(rng).copied().unwrap_or(any),
        4 => m.tests.last_key().expect("a test"),
        _ => any,
    };
    let test = &m.tests[test];
    let earlier = |rng: &mut StdRng| rng.random_range(1..=steps.len().max(1));
    match rng.random_range(0..100) {
        0..8 => Entry::Note("seen from the side".into()),
        8..13 => Entry::Unclear(Unclear {
            test: test.id.clone(),
            ..Unclear::default()
        }),
        13..18 => Entry::Cannot(Cannot {
            test: test.id.clone(),
            ..Cannot::default()
        }),
        18..22 => Entry::History(m.bench.history.choose(rng).expect("a question").0.clone()),
        22..32 => Entry::Remedy(Did {
            did: m.remedies.raw.choose(rng).expect("a remedy").id.clone(),
            ..Did::default()
        }),
        32..37 => Entry::Meter(rules.meters.choose(rng).expect("a meter").id.clone()),
        37..42 => Entry::Reference(Reference {
            test: test.id.clone(),
            reads: shows(rng, test),
            from: "donor in drawer 3".into(),
            ..Reference::default()
        }),
        42..50 => Entry::Sure(Sure {
            entry: earlier(rng),
            ..Sure::default()
        }),
        50..56 => Entry::Correct(Correction {
            entry: earlier(rng),
            ..Correction::default()
        }),
        _ => Entry::Result(Shown {
            test: test.id.clone(),
            shows: shows(rng, test),
            as_it_stands: rng.random_bool(0.1),
            note: None,
        }),
    }
}

/// Where two views differ, numbers by more than sums in another order do.
fn differ(one: &Value, other: &Value, at: &str, out: &mut String) {
    match (one, other) {
        (Value::Object(a), Value::Object(b)) if a.len() == b.len() => {
            for (key, value) in a {
                let other = b.get(key).unwrap_or(&Value::Null);
                differ(value, other, &format!("{at}/{key}"), out);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (n, (a, b)) in a.iter().zip(b).enumerate() {
                differ(a, b, &format!("{at}/{n}"), out);
            }
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            if (a - b).abs() > 1e-9 * a.abs().max(1.0) {
                writeln!(out, "{at}: {a} and {b}").unwrap();
            }
        }
        _ if one == other => {}
        _ => writeln!(out, "{at}: {one} and {other}").unwrap(),
    }
}

/// A job that goes on from `now`, held to the same worked out at once; `None` if neither
/// can be.
fn goes_on(rules: &Rulebase, now: &Case, file: &CaseFile) -> Option<Case> {
    let next = now.further(rules, file, settings());
    let anew = Case::of_today(rules, file, settings());
    let (next, anew) = match (next, anew) {
        (Ok(next), Ok(anew)) => (next, anew),
        (Err(one), Err(other)) => {
            assert_eq!(one.to_string(), other.to_string());
            return None;
        }
        (one, other) => panic!("{:?} and {:?}: {file:#?}", one.err(), other.err()),
    };
    let mut out = String::new();
    let view = |case: &Case| serde_json::to_value(state(case, &file.steps, 5)).unwrap();
    differ(&view(&next), &view(&anew), "", &mut out);
    assert!(out.is_empty(), "{out}after {:#?}", file.steps);
    assert_eq!(next.entered, anew.entered);
    assert_eq!(next.state, anew.state);
    assert_eq!(next.retests_due(), anew.retests_due());
    let unfit = |c: &Case| format!("{:?}", c.unfit());
    assert_eq!(unfit(&next), unfit(&anew));
    Some(next)
}

fn job(kind: &str, complaint: &str) -> CaseFile {
    CaseFile {
        complaint: complaint.to_owned(),
        device: Unit {
            kind: kind.to_owned(),
            ..Unit::default()
        },
        ..CaseFile::default()
    }
}

#[test]
fn a_job_that_goes_on_is_the_one_worked_out_at_once() {
    let rules = crate::lines::rules();
    let mut went_on = 0;
    for seed in 0..JOBS {
        let mut rng = StdRng::seed_from_u64(seed);
        let (kind, complaint) = [
            ("phone", "it does not charge and the rear camera is black"),
            (
                "laptop",
                "dead, nothing happens when I press the power button",
            ),
            ("tablet", "front camera shows lines"),
        ][seed as usize % 3];
        let mut file = job(kind, complaint);
        let mut now = Case::new(&rules, &file, settings()).expect("a job");
        for _ in 0..ENTRIES {
            let entry = entry(&mut rng, &rules, &now, &file.steps);
            file.steps.push(entry);
            let next = goes_on(&rules, &now, &file);
            went_on += usize::from(next.is_some());
            // What the desk refuses is not kept.
            match next.filter(|n| n.unfit().is_empty()) {
                Some(next) => now = next,
                None => drop(file.steps.pop()),
            }
        }
    }
    assert!(went_on > 50, "{went_on} entries");
}

/// Tests that follow from the circuit of a line are on offer for a while: remarks, one of
/// them, and another entry.
#[test]
fn what_is_on_offer_is_offered_and_taken_up_the_same() {
    let rules = crate::lines::rules();
    let result = |test: &str, shows: &str| {
        Entry::Result(Shown {
            test: format!("charging-port/{test}"),
            shows: shows.to_owned(),
            ..Shown::default()
        })
    };
    let mut file = job("phone", "it does not charge");
    file.symptoms = vec!["charging-port/charging-trouble".into()];
    let mut now = Case::new(&rules, &file, settings()).expect("a job");
    let mut offered = 0;
    for entry in [
        result("vbus-ohms", "0.4"),
        result("vbus-diode", "0.001"),
        result("vbus-fused-diode", "0.001"),
        result("vbus-input-ohms", "5k"),
        result("vbus-input-diode", "0.45"),
        Entry::Note("the fuse looks well".into()),
        result("vbus-lift-fuse-fused", "45k"),
        Entry::Note("lifted with two irons".into()),
        result("plug-grip", "firm"),
    ] {
        file.steps.push(entry);
        now = goes_on(&rules, &now, &file).expect("it can be");
        assert!(now.unfit().is_empty(), "{:?}", now.unfit());
        offered += usize::from(now.alike().is_some());
    }
    assert!(offered >= 2, "{offered} moments with tests on offer");
}
