//! A complaint on its way into a job: `rules hear`, the intake of the walk, `job
//! new` and `replay`, with words that an area hears and words that none does.

use crate::common::Bench;
use serde_json::Value;

/// A job opened by a command, as JSON.
fn opened(bench: &Bench, complaint: &str, more: &[&str]) -> Value {
    let mut args = vec![
        "job",
        "new",
        "--kind",
        "phone",
        "--complaint",
        complaint,
        "--format",
        "json",
    ];
    args.extend(more);
    bench.run(&args).json()
}

/// What the belief of a state holds of each suspect.
fn suspects(state: &Value) -> Vec<(String, u64)> {
    let all = state["belief"]["suspects"].as_array().unwrap();
    let one = |s: &Value| {
        let share = (s["posterior"].as_f64().unwrap() * 1e9).round() as u64;
        (s["fault"].as_str().unwrap().to_owned(), share)
    };
    all.iter().map(one).collect()
}

#[test]
fn rules_hear_tells_area_symptom_copy_history_and_typing_errors() {
    let bench = Bench::new().shipped();
    let complaint = "my front camra is blakc since it fell, never wet";
    let said = bench.run(&["rules", "hear", complaint]).fine();
    for words in [
        "front-camera/black-picture",
        "area imaging",
        "\"fell\"",
        "camra: camera",
        "blakc: black",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let view = bench
        .run(&["rules", "hear", complaint, "--format", "json"])
        .json();
    assert_eq!(
        view["opens_with"],
        serde_json::json!(["front-camera/black-picture"])
    );
    assert_eq!(view["heard"][0]["copy"], "front camera");
    assert_eq!(view["heard"][0]["copy_named"], true);
    let past: Vec<&str> = view["history"]
        .as_array()
        .unwrap()
        .iter()
        .map(|h| h["history"].as_str().unwrap())
        .collect();
    assert_eq!(past, ["drop"], "what is denied is not heard");
    // Words that once were heard within others.
    for (kind, words) in [
        ("phone", "microphone dead"),
        ("phone", "it is slow as well, aswell as the sound"),
        ("laptop", "fan noise, also when not in use"),
        (
            "laptop",
            "dead, nothing happens when I press the power button",
        ),
    ] {
        let view = bench
            .run(&["rules", "hear", words, "--kind", kind, "--format", "json"])
            .json();
        for h in view["heard"].as_array().unwrap() {
            assert_eq!(h["area"], "general", "{words}: {view}");
        }
    }
}

#[test]
fn what_is_said_of_the_past_counts_only_once_it_is_confirmed() {
    let bench = Bench::new().shipped();
    let plain = opened(&bench, "the battery drains fast", &[]);
    let told = opened(&bench, "the battery drains fast since it got wet", &[]);
    assert!(plain["heard_history"].is_null());
    assert_eq!(told["heard_history"][0]["history"], "liquid");
    assert_eq!(suspects(&plain), suspects(&told));
    let confirmed = opened(
        &bench,
        "the battery drains fast since it got wet",
        &["--history", "liquid"],
    );
    assert!(confirmed["heard_history"].is_null());
    assert_ne!(suspects(&told), suspects(&confirmed));
    let said = bench
        .run(&[
            "job",
            "new",
            "--kind",
            "phone",
            "--complaint",
            "won't charge after the update",
        ])
        .fine();
    assert!(
        said.contains("recent-update") && said.contains("does not count yet"),
        "{said}"
    );
}

#[test]
fn the_walk_ticks_what_was_said_of_the_past() {
    for (answer, history) in [
        ("", vec!["liquid", "drop"]),
        ("0", vec![]),
        ("2", vec!["drop"]),
    ] {
        let bench = Bench::new().shipped();
        let out = bench
            .walk(&[
                "1",
                "",
                "",
                "no charging since it fell in the sink",
                "",
                answer,
                "",
                "pause",
            ])
            .fine();
        assert!(out.contains("Enter: 1 2, as heard; 0: none"), "{out}");
        let case = bench.run(&["export", "1"]).fine();
        for word in ["liquid", "drop"] {
            assert_eq!(
                case.contains(&format!("- {word}\n")),
                history.contains(&word),
                "{case}"
            );
        }
    }
}

/// Complaints that no area hears, or one without a pack of its own.
const OTHERS: &[(&str, &str)] = &[
    ("phone", "the zorbles are frobbed"),
    ("phone", "es macht komische Sachen"),
    ("phone", "nobody hears me"),
    (
        "laptop",
        "spilled juice on the keyboard and half the keys are gone",
    ),
    ("laptop", "screen is very dark"),
    ("tablet", "stuck on the logo"),
    ("tablet", "touch types by itself"),
    ("handheld", "unit wont pair with the printer"),
    ("board", "console fan is loud"),
    ("phone", "?"),
];

#[test]
fn any_complaint_opens_a_job_that_can_be_worked_closed_and_printed() {
    for (kind, complaint) in OTHERS {
        let bench = Bench::new().shipped();
        let new = [
            "job",
            "new",
            "--kind",
            kind,
            "--complaint",
            complaint,
            "--format",
            "json",
        ];
        let mut state = bench.run(&new).json();
        let mut done = Vec::new();
        for _ in 0..6 {
            let Some(step) = state["next"]["steps"].get(0).cloned() else {
                break;
            };
            let id = step["id"].as_str().unwrap().to_owned();
            let of_all = id.starts_with("general/") || id.starts_with("safety/");
            assert!(of_all, "{complaint}: {id}");
            state = match step["act"].as_str().unwrap() {
                "remedy" => bench
                    .run(&["job", "remedy", "1", &id, "--format", "json"])
                    .json(),
                _ => {
                    let outcomes = step["outcomes"].as_array().unwrap();
                    let last = outcomes.last().unwrap()["shows"].as_str().unwrap();
                    let args = ["job", "result", "1", &id, last, "--format", "json"];
                    bench.run(&args).json()
                }
            };
            done.push(id);
        }
        assert!(done.len() >= 3, "{complaint}: {done:?}");
        let note = bench.run(&["job", "note", "1", "asked the owner"]).fine();
        assert!(!note.is_empty());
        let closed = bench
            .run(&[
                "job",
                "close",
                "1",
                "not-worth-it",
                "costs more than it is worth",
            ])
            .fine();
        assert!(closed.contains("losed"), "{closed}");
        for reader in ["bench", "customer"] {
            let trail = bench.run(&["trail", "1", "--reader", reader]).fine();
            assert!(trail.contains(complaint.trim_end_matches('?')), "{trail}");
        }
    }
}

#[test]
fn none_of_these_is_an_answer_where_areas_are_offered() {
    for answers in [vec![""], vec!["n"], vec!["general", "5"]] {
        let bench = Bench::new().shipped();
        let mut lines = vec!["1", "", "", "the zorbles are frobbed"];
        // The number of the last area on offer, and of the last symptom of one.
        let asked = bench.walk(&lines).out;
        let list = asked
            .lines()
            .rev()
            .find(|l| l.contains("none of these"))
            .unwrap()
            .to_owned();
        assert!(list.contains("Enter: none of these"), "{asked}");
        let count = asked.matches("none of these").count();
        assert!(count >= 2, "{asked}");
        match answers.as_slice() {
            [""] => lines.push(""),
            ["n"] => {
                let number = asked.split(" none of these (").next().unwrap();
                lines.push(number.rsplit([' ', '\n']).next().unwrap());
            }
            _ => lines.extend(["1", "999", ""]),
        }
        if answers.len() == 1 {
            lines.extend(["", "", "pause"]);
            let out = bench.walk(&lines).fine();
            assert!(out.contains("Job 1 is open"), "{out}");
            let case = bench.run(&["export", "1"]).fine();
            assert!(case.contains("- general/anything-else"), "{case}");
        } else {
            let out = bench.walk(&lines).out;
            assert!(out.contains("Numbers from the list"), "{out}");
            assert!(out.contains("none of these\nNumbers that fit"), "{out}");
        }
    }
}

#[test]
fn a_complaint_that_no_area_hears_replays_by_place() {
    let bench = Bench::new().shipped();
    let case = bench.path("case.yaml");
    std::fs::write(
        &case,
        "case: odd\ndevice: {kind: phone}\ncomplaint: the zorbles are frobbed\nsteps: []\n",
    )
    .unwrap();
    let view = bench
        .run(&["replay", case.to_str().unwrap(), "--format", "json"])
        .json();
    let text = view.to_string();
    assert!(text.contains("general/"), "{text}");
    assert!(
        !text.contains("rear-camera/") && !text.contains("charging-port/"),
        "{text}"
    );
}

/// A line at 0 or some ohms is shorted or half shorted whatever the customer
/// said; a complaint that no area hears must not turn it into a slip of the hand.
#[test]
fn a_short_read_after_an_unheard_complaint_is_believed() {
    for complaint in [
        "it hums all the time",
        "restarts at the logo",
        "touch screen does not react",
        "it gets hot at the back",
    ] {
        for reading in ["0.2 ohm", "10 ohm"] {
            let bench = Bench::new().shipped();
            let new = ["job", "new", "--kind", "laptop", "--complaint", complaint];
            bench.run(&new).fine();
            let result = ["job", "result", "1", "main-rail-ohms", reading, "--ready"];
            let view = bench.run(&[&result[..], &["--format", "json"]].concat());
            let view = view.json();
            let at = format!("{complaint}, {reading}");
            assert!(view["notice"].is_null(), "{at}: {}", view["notice"]);
            let places = view["belief"]["where"].as_array().unwrap();
            let board = places.iter().find(|w| w["name"] == "board").unwrap();
            let board = board["posterior"].as_f64().unwrap();
            assert!(board > 0.5, "{at}: board {board}");
            // A good reading there does not make the area the complaint.
            let good = ["job", "correct", "1", "1", "200 kohm", "--format", "json"];
            let view = bench.run(&good).json();
            let first = &view["belief"]["suspects"][0]["posterior"];
            assert!(first.as_f64().unwrap() < 0.25, "{at}: {}", view["belief"]);
        }
    }
}
