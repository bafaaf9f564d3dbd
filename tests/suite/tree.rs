//! The plan as a tree: its numbers worked out again from what it prints.

use crate::common::Bench;
use halfsplit::plan::TIE;
use serde_json::Value;

const TREE: &[&str] = &["tree", "--kind", "handheld", "--complaint", "no sound"];

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("no number: {v}"))
}

/// Expected cost and steps from a node on, by the words of docs/json.md; checks
/// what every node says of itself.
fn again(n: &Value, probability: f64) -> (f64, f64) {
    let near = |got: f64, want: f64| (got - want).abs() <= 1e-9 * want.abs().max(1.0);
    assert!(near(number(&n["probability"]), probability), "{n}");
    let none = Vec::new();
    let (cost, steps) = if let Some(step) = n.get("step") {
        let (mut cost, mut steps, mut sum) = (number(&step["cost"]), 1.0, 0.0);
        for b in n["branches"].as_array().unwrap() {
            let p = number(&b["probability"]);
            sum += p;
            if let Some(then) = b.get("then") {
                let (c, s) = again(then, probability * p);
                cost += p * c;
                steps += p * s;
            }
        }
        assert!(near(sum, 1.0), "{n}");
        (cost, steps)
    } else {
        let (mut here, mut cost, mut steps) = (1.0, 0.0, 0.0);
        for r in n.get("remedies").map_or(&none, |r| r.as_array().unwrap()) {
            cost += here * number(&r["cost"]);
            steps += here;
            here *= 1.0 - number(&r["mends"]);
        }
        (cost + here * number(&n["loss"]), steps)
    };
    assert!(near(number(&n["expected_cost"]), cost), "{cost}: {n}");
    assert!(near(number(&n["expected_steps"]), steps), "{steps}: {n}");
    (cost, steps)
}

fn longest(n: &Value) -> usize {
    let Some(branches) = n.get("branches") else {
        return 0;
    };
    let then = branches
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|b| b.get("then"));
    1 + then.map(longest).max().unwrap_or(0)
}

#[test]
fn cost_and_steps_of_a_tree_can_be_worked_out_again() {
    let bench = Bench::new();
    let mut costs = Vec::new();
    for depth in ["1", "2", "4"] {
        for cut in ["0", "0.02", "0.3"] {
            let args = [TREE, &["--depth", depth, "--cut", cut, "--format", "json"]].concat();
            let tree = bench.run(&args).json();
            let (cost, steps) = again(&tree["root"], 1.0);
            assert!((number(&tree["expected_cost"]) - cost).abs() < 1e-9 * cost);
            assert!((number(&tree["expected_steps"]) - steps).abs() < 1e-9 * steps);
            assert!(number(&tree["at_least_cost"]) <= cost);
            assert!(longest(&tree["root"]) <= depth.parse().unwrap());
            costs.push(cost);
        }
    }
    // A tree that goes further costs less, but for what is given up among equals.
    let below = |a: usize, b: usize| costs[a] <= costs[b] * (1.0 + TIE);
    assert!(costs[6] < costs[0] && costs[3] < costs[0], "{costs:?}");
    assert!(below(6, 3) && below(6, 7) && below(7, 8), "{costs:?}");
}

#[test]
fn the_tree_of_a_job_begins_where_it_stands() {
    let bench = Bench::with_silent_handheld();
    let tree = |bench: &Bench| bench.run(&["tree", "1", "--format", "json"]).json();
    let before = tree(&bench);
    let _ = bench
        .run(&["job", "result", "1", "buzzer/beeps", "no"])
        .fine();
    let after = tree(&bench);
    assert_ne!(before["root"], after["root"]);
    again(&after["root"], 1.0);
    assert!(!after["root"].to_string().contains("buzzer/beeps"));
}

#[test]
fn a_tree_as_text_picture_and_page_names_the_same_steps() {
    let bench = Bench::new();
    let json = bench.run(&[TREE, &["--format", "json"]].concat()).json();
    let text = bench.run(TREE).fine();
    let svg = bench.run(&[TREE, &["--format", "svg"]].concat()).fine();
    let html = bench.run(&[TREE, &["--html"]].concat()).fine();
    let joined = |t: &str| t.split_whitespace().collect::<Vec<_>>().join(" ");
    let first = json["root"]["step"]["text"].as_str().unwrap();
    assert!(joined(&text).contains(first), "{text}");
    let picture = roxmltree::Document::parse(&svg).unwrap();
    let words: Vec<&str> = picture
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .filter_map(|n| n.text())
        .collect();
    assert!(joined(&words.join(" ")).contains(first), "{words:?}");
    assert!(html.contains(svg.trim_end()), "the page shows the picture");
    // Cautions are told wherever the tree is.
    let cautions = json["root"].to_string();
    assert!(cautions.contains("wrist strap"));
    assert!(joined(&text).contains("wrist strap") && html.contains("wrist strap"));
}
