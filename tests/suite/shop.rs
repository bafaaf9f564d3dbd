//! What a shop wants of every job, and why one step comes before another.

use crate::common::Bench;
use serde_json::Value;

const PORT: &[&str] = &[
    "job",
    "new",
    "--kind",
    "tablet",
    "--complaint",
    "does not charge",
];

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("no number: {v}"))
}

const TREE: &[&str] = &[
    "tree",
    "--kind",
    "tablet",
    "--complaint",
    "does not charge",
    "--format",
    "json",
];

/// The steps of the plan of a new job.
fn steps(bench: &Bench, more: &[&str]) -> Vec<String> {
    let args = [TREE, &["--depth", "6"], more].concat();
    let tree = bench.run(&args).json().to_string();
    let steps = tree.split("\"id\":\"").skip(1);
    let mut all: Vec<String> = steps
        .map(|s| s.split('"').next().unwrap().to_owned())
        .collect();
    all.sort();
    all.dedup();
    all
}

#[test]
fn what_the_shop_is_without_is_planned_around() {
    let bench = Bench::new().shipped();
    let all = steps(&bench, &[]);
    let needs = |id: &String| {
        let said = bench.run(&["rules", "explain", id.rsplit('/').next().unwrap()]);
        (said.code == 0 && said.out.contains("hot air"))
            && !said.out.contains("hot air or")
            && !said.out.contains("or hot air")
    };
    let hot: Vec<&String> = all.iter().filter(|id| needs(id)).collect();
    assert!(!hot.is_empty(), "{all:?}");
    let without = steps(&bench, &["--without", "Hot air"]);
    for id in hot {
        assert!(!without.contains(id), "{id}");
    }
    assert!(!without.is_empty());
    // The same from the shop's own file, which lies beside the store.
    std::fs::write(bench.path("shop.yaml"), "without: [hot air]\n").unwrap();
    assert_eq!(steps(&bench, &[]), without);
    let _ = bench.run(PORT).fine();
    let shop = bench.run(&["shop"]).fine();
    assert!(shop.contains("Not here (`without`): hot air."), "{shop}");
}

#[test]
fn a_tool_that_nothing_needs_is_refused() {
    let bench = Bench::new().shipped();
    let said = bench
        .run(&[PORT, &["--without", "hot aire"]].concat())
        .refused(1);
    assert!(said.contains("did you mean `hot air`?"), "{said}");
    std::fs::write(bench.path("shop.yaml"), "rates: 50\n").unwrap();
    let said = bench.run(PORT).refused(1);
    assert!(said.contains("shop.yaml:1:1"), "{said}");
    std::fs::write(bench.path("shop.yaml"), "rate: -5\n").unwrap();
    assert!(bench.run(PORT).refused(1).contains("0 or more"));
    let said = bench.run(&["--shop", "nowhere.yaml", "jobs"]).refused(1);
    assert!(said.contains("cannot read nowhere.yaml"), "{said}");
}

#[test]
fn care_and_hurry_count() {
    let bench = Bench::new().shipped();
    let cost = |more: &[&str]| {
        let tree = bench.run(&[TREE, more].concat()).json();
        number(&tree["expected_cost"])
    };
    let plain = cost(&[]);
    // Nothing is cheaper with more care, and every minute counts twice for who
    // waits, but parts and the loss do not.
    let dear = ["--unmended", "1800"];
    assert!(cost(&[&dear[..], &["--careful"]].concat()) > cost(&dear));
    let waiting = cost(&["--waiting"]);
    assert!(waiting > plain && waiting < 2.0 * plain);
    // Twice the minutes is twice the rate.
    assert!((waiting - cost(&["--rate", "120"])).abs() < 1e-6 * waiting);
}

#[test]
fn the_best_steps_are_weighed_with_what_they_lead_to() {
    let bench = Bench::with_silent_handheld();
    let near = ["--look-ahead", "1", "--format", "json"];
    let shown = bench
        .run(&[&["job", "show", "1"], &near[..]].concat())
        .json();
    let weighed = bench
        .run(&[&["job", "weigh", "1"], &near[..]].concat())
        .json();
    let steps = weighed["steps"].as_array().unwrap();
    assert_eq!(steps.len(), 3);
    for (w, s) in steps.iter().zip(shown["next"]["steps"].as_array().unwrap()) {
        assert_eq!(w["id"], s["id"]);
        let leads = w["leads"].as_array().unwrap();
        let sum = |of: &dyn Fn(&Value) -> f64| leads.iter().map(of).sum::<f64>();
        assert!(
            (sum(&|l| number(&l["probability"])) - 1.0).abs() < 1e-9,
            "{w}"
        );
        // A second look finds nothing dearer than what the first thought.
        let after = sum(&|l| number(&l["probability"]) * number(&l["expected_cost"]));
        let now = number(&w["minutes"]) + number(&w["parts"]);
        let whole = number(&w["expected_cost"]);
        assert!(now + after <= whole + 1e-6, "{now} {after} {whole}");
        // Nor much cheaper.
        assert!(now + after > 0.8 * whole, "{now} {after} {whole}");
        assert!(after > 0.0 && !w["reason"].as_str().unwrap().is_empty());
        // What it leads to is another step.
        assert!(leads.iter().all(|l| l["then"] != w["id"]));
    }
    assert_eq!(number(&steps[0]["more"]), 0.0);
    let text = bench.run(&["job", "weigh", "1"]).fine();
    assert!(text.starts_with("a. ") && text.contains("then"), "{text}");
}

#[test]
fn a_tree_begins_with_the_retest_that_is_due() {
    let bench = Bench::with_silent_handheld();
    let done = [
        "job",
        "remedy",
        "1",
        "buzzer/new-sounder",
        "--format",
        "json",
    ];
    let due = bench.run(&done).json()["retests_due"][0].clone();
    let tree = bench.run(&["tree", "1", "--format", "json"]).json();
    assert_eq!(tree["root"]["step"]["id"], due);
}

/// What is said to be too dear: the numbers in it.
fn too_dear(bench: &Bench, more: &[&str]) -> Option<Vec<f64>> {
    let shown = bench.run(&[&["job", "show", "1", "--format", "json"], more].concat());
    let json = shown.json();
    if json["next"]["stop"] != "too-dear" {
        return None;
    }
    let says = json["next"]["says"].as_str()?;
    let words = says.split(|c: char| !c.is_ascii_digit());
    Some(words.filter_map(|w| w.parse().ok()).collect())
}

fn silent_handheld_for(limit: &str) -> Bench {
    Bench::with_silent_handheld_and(&["--limit", limit])
}

#[test]
fn what_was_spent_counts_towards_the_limit() {
    let [to_go, limit] = too_dear(&silent_handheld_for("1"), &[]).unwrap()[..] else {
        panic!("neither what it takes nor the limit");
    };
    assert!(to_go > limit);
    // A part that was for nothing makes it too dear.
    let bench = silent_handheld_for(&format!("{:.0}", to_go + 1.0));
    assert_eq!(too_dear(&bench, &[]), None);
    let _ = bench
        .run(&["job", "remedy", "1", "buzzer/new-sounder"])
        .fine();
    let [so_far, to_go, limit] = too_dear(&bench, &[]).unwrap()[..] else {
        panic!("not what was spent too");
    };
    assert!(so_far > 1.0 && to_go < limit && so_far + to_go > limit);
}

#[test]
fn what_costs_more_than_handing_it_back_is_not_worth_it() {
    let bench = Bench::with_silent_handheld();
    let stop = |more: &[&str]| {
        let shown = bench.run(&[&["job", "show", "1", "--format", "json"], more].concat());
        shown.json()["next"]["stop"].clone()
    };
    assert_eq!(stop(&["--unmended", "1"]), "not-worth-it");
    assert_eq!(stop(&[]), Value::Null);
}

#[test]
fn minutes_that_count_twice_are_paid_once() {
    let bench = silent_handheld_for("1");
    let to_go = |more: &[&str]| too_dear(&bench, more).unwrap()[0];
    let twice_the_rate = to_go(&["--rate", "120"]);
    let waiting = to_go(&["--waiting"]);
    // The plan is the same, the parts in it cost the same.
    assert!(
        waiting < 0.95 * twice_the_rate,
        "{waiting} {twice_the_rate}"
    );
    assert!(2.0 * waiting >= twice_the_rate - 1.0);
}
