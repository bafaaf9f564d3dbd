//! Nothing that may harm is advised while there is a sign of a hazard: smoke,
//! heat, liquid, a swollen cell, a shorted rail. What a step applies is derived
//! here from its conditions and tools, never from the rules of the gates.

use halfsplit::job::{Case, CaseFile, Entry, Settings, Shown};
use halfsplit::model::{TestInfo, Unit};
use halfsplit::plan::{Act, Effort};
use halfsplit::rulebase::{Rulebase, Rules};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

fn rules() -> Rulebase {
    Rules::default().load().rulebase
}

fn file(kind: &str, complaint: &str, steps: Vec<Entry>) -> CaseFile {
    CaseFile {
        complaint: complaint.to_owned(),
        device: Unit {
            kind: kind.to_owned(),
            ..Unit::default()
        },
        steps,
        ..CaseFile::default()
    }
}

fn case(rules: &Rulebase, file: &CaseFile) -> Case {
    let settings = Settings {
        effort: Effort::FIRST,
        ..Settings::default()
    };
    Case::new(rules, file, settings).expect("a job")
}

fn result(test: &str, shows: &str) -> Entry {
    Entry::Result(Shown {
        test: test.to_owned(),
        shows: shows.to_owned(),
        ..Shown::default()
    })
}

/// Whether a step puts power into the device, by what it needs. Into a rail that
/// is known to be shorted, by a bench supply that is held to a low current and
/// with the device not switched on, power is put to find the short: common
/// practice, no source.
fn powers(case: &Case, act: Act) -> bool {
    let step = case.model.named(act).step;
    let conditions = case.model.bench.closure(&step.conditions);
    let holds = |id: &str| {
        let named = |c: &usize| case.model.bench.conditions[*c].id == id;
        conditions.iter().any(named)
    };
    let bench = &case.model.bench;
    let limited = step
        .cautions
        .iter()
        .any(|c| bench.cautions[*c].id == "current-limit");
    let mut up = case.gates_up().map(|(g, _)| bench.gates[g].id.as_str());
    if up.all(|g| g == "shorted") && limited && !holds("powered") {
        return false;
    }
    let tool = |t: &String| {
        ["supply", "source", "known-good battery"]
            .iter()
            .any(|w| t.contains(w))
    };
    holds("powered") || step.tools.iter().any(tool)
}

/// Whether a step heats the device.
fn heats(case: &Case, act: Act) -> bool {
    let tools = &case.model.named(act).step.tools;
    tools.iter().any(|t| {
        ["hot air", "iron", "preheater", "rework"]
            .iter()
            .any(|w| t.contains(w))
    })
}

/// Orders of answers tried for each complaint: a few, or as many as
/// `HALFSPLIT_ORDERS` says.
fn orders() -> u64 {
    let wanted = std::env::var("HALFSPLIT_ORDERS").ok();
    wanted.and_then(|n| n.parse().ok()).unwrap_or(3)
}

const HAZARDS: [(&str, &str, &str); 12] = [
    (
        "phone",
        "there was smoke from the port when I plugged it in",
        "burnt",
    ),
    (
        "tablet",
        "it smells burnt near the charging port and does not charge",
        "burnt",
    ),
    (
        "laptop",
        "spark at the charging port, now it won't charge",
        "burnt",
    ),
    (
        "phone",
        "the battery gets very hot and it does not charge",
        "hot",
    ),
    ("tablet", "burning hot while charging", "hot"),
    (
        "phone",
        "fell in the toilet, does not charge any more",
        "wet",
    ),
    (
        "laptop",
        "I spilled coffee over it and now it does not charge",
        "wet",
    ),
    ("handheld", "the scanner got wet, no picture", "wet"),
    (
        "phone",
        "battery is swollen, the screen lifts",
        "swollen-cell",
    ),
    (
        "tablet",
        "back cover is bulging and it does not charge",
        "swollen-cell",
    ),
    (
        "laptop",
        "the trackpad is pushed up, battery bloated",
        "swollen-cell",
    ),
    (
        "phone",
        "someone pierced the battery when opening it",
        "swollen-cell",
    ),
];

#[test]
fn nothing_is_applied_before_its_gate_is_lifted() {
    let rules = rules();
    let mut steps = 0;
    for (n, (kind, complaint, hazard)) in HAZARDS.iter().enumerate() {
        for order in 0..orders() {
            let mut rng = StdRng::seed_from_u64(100 * n as u64 + order);
            let mut job = file(kind, complaint, Vec::new());
            for at in 0..5 {
                let now = case(&rules, &job);
                let up: Vec<String> = (now.gates_up())
                    .map(|(g, _)| now.model.bench.gates[g].id.clone())
                    .collect();
                if at == 0 {
                    assert!(up.iter().any(|g| g == hazard), "{complaint}: {up:?}");
                }
                let advice = now.advice(usize::MAX);
                for p in &advice.steps {
                    let name = now.model.named(p.act).id;
                    assert!(
                        up.is_empty() || !powers(&now, p.act),
                        "{complaint}: {name}, {up:?}"
                    );
                    let cell = up.iter().any(|g| g == "swollen-cell");
                    assert!(!cell || !heats(&now, p.act), "{complaint}: {name}, {up:?}");
                }
                // The check is asked for before all else, once.
                let due = now.gates_up().find(|(g, _)| !now.found(*g));
                if let Some((_, test)) = due {
                    let first = advice.steps.first().map(|p| p.act);
                    assert!(
                        matches!(first, Some(Act::Test(t)) if now.model.tests[t].checks.is_some()),
                        "{complaint}: {first:?} instead of {}",
                        now.model.tests[test].id
                    );
                }
                let many = advice.steps.len().min(4);
                if many == 0 {
                    break;
                }
                let entry = match advice.steps[rng.random_range(0..many)].act {
                    Act::Test(t) => {
                        let test: &TestInfo = &now.model.tests[t];
                        let o = rng.random_range(0..test.outcomes.len());
                        result(&test.id, &test.outcomes[o].id)
                    }
                    Act::Remedy(_) => continue,
                };
                job.steps.push(entry);
                steps += 1;
            }
        }
    }
    assert!(steps > 100, "{steps} steps");
}

#[test]
fn a_check_that_is_clear_opens_the_way_and_one_that_is_not_keeps_it_shut() {
    let rules = rules();
    let smoke = "there was smoke from the port";
    let powered = |steps: Vec<Entry>| {
        let now = case(&rules, &file("phone", smoke, steps));
        let advice = now.advice(usize::MAX);
        advice.steps.iter().any(|p| powers(&now, p.act))
    };
    assert!(!powered(Vec::new()));
    assert!(powered(vec![result("safety/burnt", "clear")]));
    assert!(!powered(vec![result("safety/burnt", "found")]));
    // A look that is unclear lifts nothing.
    let unclear = Entry::Unclear(halfsplit::job::Unclear {
        test: "safety/burnt".to_owned(),
        ..Default::default()
    });
    assert!(!powered(vec![unclear]));
    // What was found once is looked for again when something was done.
    let found = case(
        &rules,
        &file("phone", smoke, vec![result("safety/burnt", "found")]),
    );
    let first = |c: &Case| c.advice(1).steps.first().map(|p| p.act);
    let is_check = |c: &Case| match first(c) {
        Some(Act::Test(t)) => c.model.tests[t].checks.is_some(),
        _ => false,
    };
    assert!(!is_check(&found));
}

#[test]
fn a_shorted_rail_that_was_read_bars_power() {
    let rules = rules();
    let dead = "dead, does nothing";
    let read = |shows: &str| {
        let now = case(
            &rules,
            &file("laptop", dead, vec![result("main-rail-ohms", shows)]),
        );
        let up: Vec<String> = (now.gates_up())
            .map(|(g, _)| now.model.bench.gates[g].id.clone())
            .collect();
        let advice = now.advice(usize::MAX);
        let powering = advice.steps.iter().find(|p| powers(&now, p.act));
        (up, powering.map(|p| now.model.named(p.act).id.to_owned()))
    };
    for short in ["0 ohm", "0.4 ohm", "9 ohm"] {
        assert_eq!(read(short), (vec!["shorted".to_owned()], None), "{short}");
    }
    // The reading is as good as the check, which is not asked for beside it; a
    // good one afterwards asks for it.
    let due = |readings: &[&str]| {
        let readings = readings
            .iter()
            .map(|r| result("main-rail-ohms", r))
            .collect();
        let now = case(&rules, &file("laptop", dead, readings));
        let due = now.gates_up().filter(|(g, _)| !now.found(*g)).count();
        (now.gates_up().count(), due)
    };
    assert_eq!(due(&["0.4 ohm"]), (1, 0));
    assert_eq!(due(&["0.4 ohm", "2.2 kohm"]), (1, 1));
    let (up, powers) = read("2.2 kohm");
    assert!(up.is_empty() && powers.is_some());
}

#[test]
fn what_is_entered_against_a_gate_counts_and_is_said() {
    let rules = rules();
    let job = file(
        "phone",
        "there was smoke from the port, it does not charge",
        vec![result("charge-try", "fails")],
    );
    let now = case(&rules, &job);
    assert_eq!(now.against_gates().len(), 1);
    assert!(now.unfit().is_empty());
}

#[test]
fn plain_complaints_raise_no_gate() {
    let rules = rules();
    for (kind, complaint) in [
        ("phone", "it will not charge, the plug falls out"),
        ("tablet", "rear camera is black"),
        ("laptop", "the webcam is not found since the update"),
        ("handheld", "does not read labels any more"),
        ("phone", "it never got wet, but the port is dead"),
    ] {
        let now = case(&rules, &file(kind, complaint, Vec::new()));
        assert_eq!(now.gates_up().count(), 0, "{complaint}");
    }
}

/// A device that does not start shows no menu and passes no data: such steps
/// are not advised, whatever is answered, until something was done about it.
#[test]
fn a_dead_device_is_not_asked_for_what_only_a_started_one_shows() {
    let rules = rules();
    let started = |case: &Case, act: Act| {
        let words = case.model.named(act);
        let words = format!("{} {}", words.id, words.text).to_lowercase();
        [
            "settings",
            "data pass",
            "see the device",
            "battery page",
            "health page",
            "shown level",
            "another user",
        ]
        .iter()
        .any(|w| words.contains(w))
    };
    let mut rng = StdRng::seed_from_u64(41);
    for (kind, complaint) in [
        (
            "laptop",
            "dead, nothing happens when I press the power button",
        ),
        ("phone", "it does not switch on at all"),
        ("tablet", "stuck at the logo"),
        ("handheld", "completely dead, no sign of life"),
    ] {
        let mut file = file(kind, complaint, Vec::new());
        for _ in 0..6 {
            let case = case(&rules, &file);
            let Some(p) = case.advice(1).steps.first().cloned() else {
                break;
            };
            assert!(
                !started(&case, p.act),
                "{complaint}: {}",
                case.model.named(p.act).text
            );
            let Act::Test(i) = p.act else { break };
            let t = &case.model.tests[i];
            let o = rng.random_range(0..t.outcomes.len());
            let entry = result(&t.id, &t.outcomes[o].id);
            file.steps.push(entry);
        }
    }
}

/// The trail says which hazard there was a sign of, from when on, and what was
/// done against it.
#[test]
fn the_trail_tells_of_hazards() {
    let rules = rules();
    let job = file(
        "phone",
        "there was smoke from the port, it does not charge",
        vec![
            result("charge-try", "fails"),
            result("safety/burnt", "clear"),
        ],
    );
    let now = case(&rules, &job);
    let view = halfsplit::job::view::state(&now, &job.steps, 1);
    let moment = halfsplit::job::trail::Moment::from(&view);
    assert_eq!(moment.hazards.len(), 1, "{:?}", moment.hazards);
    assert!(moment.hazards[0].contains("entry 1"));
    let first = case(&rules, &file(&job.device.kind, &job.complaint, Vec::new()));
    let view = halfsplit::job::view::state(&first, &[], 1);
    let moment = halfsplit::job::trail::Moment::from(&view);
    assert!(moment.hazards[0].contains("smoke"), "{:?}", moment.hazards);
}

/// Words of hazards in another sense raise no gate; in their own they do.
#[test]
fn figurative_words_raise_no_gate() {
    let rules = rules();
    let up = |complaint: &str| -> Vec<String> {
        let now = case(&rules, &file("phone", complaint, Vec::new()));
        let gates = now.gates_up();
        gates
            .map(|(g, _)| now.model.bench.gates[g].id.clone())
            .collect()
    };
    for complaint in [
        "it was a smoking hot deal, but the camera is black",
        "burning through battery since last week",
        "the speaker hisses in calls",
        "we expanded the storage, now it is slow",
        "the screen has burn in at the top",
    ] {
        assert!(up(complaint).is_empty(), "{complaint}: {:?}", up(complaint));
    }
    for (complaint, gate) in [
        ("it was smoking when I plugged it in", "burnt"),
        ("the port is burned", "burnt"),
        ("something is burning inside", "burnt"),
        ("burnt plastic smell", "burnt"),
        ("the back burns my finger", "hot"),
        ("it is smoking hot when charging", "hot"),
        ("the battery has expanded", "swollen-cell"),
        (
            "battery pack stuck, looks like it has expanded",
            "swollen-cell",
        ),
        ("there is a hissing from the battery", "swollen-cell"),
    ] {
        assert!(
            up(complaint).iter().any(|g| g == gate),
            "{complaint}: {:?}",
            up(complaint)
        );
    }
    assert!(!up("the back burns my finger").contains(&"burnt".to_owned()));
}
