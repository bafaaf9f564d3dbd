//! Lines of a job as they are drawn: the probability of each part, the
//! readings at the points, the next probe, in characters and as SVG.

use std::path::{Path, PathBuf};

use crate::common::{Bench, snapshots};
use halfsplit::job::line::{BridgeView, LineView, NodeView, PartView, line_view};
use halfsplit::job::{Case, CaseFile, Entry, Settings, Shown};
use halfsplit::model::{Found, LineId, Unit};
use halfsplit::report;
use halfsplit::rulebase::{Rulebase, Rules};

/// The folder with the small rules of these tests.
fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/rulebases/line")
}

fn rules(folder: &Path) -> Rulebase {
    let rules = Rules {
        paths: vec![folder.to_owned()],
        only_these: true,
    };
    let loaded = rules.load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    loaded.rulebase
}

/// A job with some results, `test` and what it shows.
fn job(rules: &Rulebase, complaint: &str, results: &[(&str, &str)]) -> (Case, Vec<Entry>) {
    let entry = |(test, shows): &(&str, &str)| {
        Entry::Result(Shown {
            test: (*test).to_owned(),
            shows: (*shows).to_owned(),
            note: None,
            as_it_stands: false,
        })
    };
    let steps: Vec<Entry> = results.iter().map(entry).collect();
    let file = CaseFile {
        device: Unit {
            kind: "handheld".to_owned(),
            ..Unit::default()
        },
        complaint: complaint.to_owned(),
        steps: steps.clone(),
        ..CaseFile::default()
    };
    (Case::new(rules, &file, Settings::default()).unwrap(), steps)
}

fn view(rules: &Rulebase, line: &str, complaint: &str, results: &[(&str, &str)]) -> LineView {
    let (case, steps) = job(rules, complaint, results);
    let Found::One(at) = case.model.line(line) else {
        panic!("{line}");
    };
    line_view(&case, &steps, at)
}

fn sense(rules: &Rulebase, results: &[(&str, &str)]) -> LineView {
    view(rules, "keypad/sense", "the keypad is dead", results)
}

/// All nodes of a view, those beside a wire too.
fn nodes(v: &LineView) -> Vec<&NodeView> {
    fn with<'v>(n: &'v NodeView, out: &mut Vec<&'v NodeView>) {
        out.push(n);
        for end in n.branches.iter().filter_map(|b| b.end.as_ref()) {
            with(end, out);
        }
    }
    let mut out = Vec::new();
    v.wires.iter().flatten().for_each(|n| with(n, &mut out));
    out
}

fn part<'v>(v: &'v LineView, id: &str) -> &'v PartView {
    let all = nodes(v).into_iter().flat_map(|n| {
        let beside = n.branches.iter().map(|b| &b.part);
        n.onward.iter().chain(beside)
    });
    all.into_iter().find(|p| p.part == id).expect(id)
}

fn at(v: &LineView, id: &str) -> f64 {
    part(v, id).posterior.expect(id)
}

fn posterior(case: &Case, fault: &str) -> f64 {
    match case.model.fault(fault) {
        Found::One(f) => case.belief.faults[f],
        _ => panic!("{fault}"),
    }
}

#[track_caller]
fn near(a: f64, b: f64, by: f64) {
    assert!((a - b).abs() <= by, "{a} is not within {by} of {b}");
}

#[test]
fn before_any_reading_a_part_has_its_share_by_the_chances_of_the_rules() {
    let rules = rules(&folder());
    let (case, steps) = job(&rules, "the keypad is dead", &[]);
    let v = line_view(&case, &steps, LineId(0));
    let p = |f: &str| posterior(&case, f);
    near(at(&v, "series"), 0.5 * p("wire.open"), 1e-9);
    near(at(&v, "track"), 0.5 * p("wire.open"), 1e-9);
    near(at(&v, "contact"), 0.5 * p("contact.open"), 1e-9);
    near(at(&v, "flex"), 0.25 * p("flex.open"), 1e-9);
    near(at(&v, "pull-up"), p("pull-up.missing"), 1e-9);
    near(at(&v, "io"), p("supply.dead"), 1e-9);
    // The rules know no fault of these.
    for none in ["keys", "clamp", "ball", "host"] {
        assert_eq!(part(&v, none).posterior, None, "{none}");
    }
    let bridges: Vec<(&str, &str, f64)> = nodes(&v)
        .iter()
        .flat_map(|n| {
            n.bridges
                .iter()
                .map(|b| (n.node.as_str(), b.says.as_str(), b.posterior))
        })
        .collect();
    assert_eq!((bridges[0].0, bridges[0].1), ("keys", "leak to ground"));
    assert_eq!((bridges[1].0, bridges[1].1), ("plug", "short to ground"));
    near(bridges[0].2, 0.8 * p("keys.leaky"), 1e-9);
    near(bridges[1].2, 0.2 * p("flex.short"), 1e-9);
}

#[test]
fn readings_on_both_sides_accuse_the_part_between_them() {
    let rules = rules(&folder());
    // No path from the connector, and a good wire behind the resistor.
    let v = sense(
        &rules,
        &[("sense-pad-diode", "OL"), ("sense-bus-diode", "0.48")],
    );
    assert!(at(&v, "series") > 0.8, "{}", at(&v, "series"));
    assert!(at(&v, "track") < 0.02, "{}", at(&v, "track"));
    assert!(
        v.causes[0].does == "series resistor open",
        "{}",
        v.causes[0].does
    );
    // A good wire from the connector clears both it and the contact before it.
    let v = sense(&rules, &[("sense-pad-diode", "0.5")]);
    assert!(at(&v, "series") < 0.02, "{}", at(&v, "series"));
    assert!(at(&v, "track") > 0.04, "{}", at(&v, "track"));
}

/// Rules in which what a fault may do to the wire are two faults.
fn taken_apart() -> (tempfile::TempDir, Rulebase) {
    let to = tempfile::tempdir().unwrap();
    for f in std::fs::read_dir(folder()).unwrap() {
        let f = f.unwrap();
        let text = std::fs::read_to_string(f.path()).unwrap();
        let apart = text
            .replace(
                "faults: {open: {rate: 200, name: broken}}",
                "faults: {series: {rate: 100}, track: {rate: 100}}",
            )
            .replace(
                "wire.open: {open series: 0.5, open track: 0.5}",
                "wire.series: open series\n      wire.track: open track",
            )
            .replace("clears: {wire.open: 0.9}", "clears: {wire: 0.9}");
        std::fs::write(to.path().join(f.file_name()), apart).unwrap();
    }
    let rules = rules(to.path());
    (to, rules)
}

#[test]
fn shares_are_what_two_faults_in_place_of_one_would_have() {
    let whole = rules(&folder());
    let (_kept, apart) = taken_apart();
    for results in [
        &[("sense-pad-diode", "OL")][..],
        &[("sense-bus-diode", "0.512")],
        &[("sense-bus-diode", "low")],
        &[("sense-bus-volts", "1.79"), ("sense-pad-ohms", "OL")],
    ] {
        let v = sense(&whole, results);
        let (case, _) = job(&apart, "the keypad is dead", results);
        let (series, track) = (
            posterior(&case, "wire.series"),
            posterior(&case, "wire.track"),
        );
        let (a, b) = (at(&v, "series"), at(&v, "track"));
        near(a / (a + b), series / (series + track), 0.02);
    }
}

#[test]
fn what_two_faults_do_to_one_part_is_not_counted_twice() {
    // Both readings of a dead wire: the supply and the pull-up may be gone.
    let rules = rules(&folder());
    let results = [("sense-bus-volts", "0.001"), ("sense-io-volts", "0.001")];
    let (case, steps) = job(&rules, "the keypad is dead", &results);
    let v = line_view(&case, &steps, LineId(0));
    let all: f64 = (case.belief.faults.iter()).sum();
    assert!(v.at_fault <= 1.0 && v.at_fault < all);
    // At least as likely as its likeliest part, at most all parts together.
    assert!(v.at_fault >= at(&v, "io") - 1e-9);
    assert!(v.at_fault <= 1.0 - case.belief.nothing);
}

#[test]
fn readings_stand_at_their_points_with_what_was_due() {
    let rules = rules(&folder());
    let results = [
        ("sense-pad-diode", "OL"),
        ("sense-pad-ohms", "low"),
        ("sense-bus-volts", "1.79 V"),
    ];
    let v = sense(&rules, &results);
    let point = |id: &str| {
        let mut points = nodes(&v).into_iter().filter_map(|n| n.point.as_ref());
        points.find(|p| p.point == id).unwrap().clone()
    };
    let pad = point("pad");
    let said: Vec<(usize, &str, Option<&str>, &str)> = pad
        .readings
        .iter()
        .map(|r| (r.entry, r.mode.word(), r.reads.as_deref(), r.shows.as_str()))
        .collect();
    assert_eq!(
        said,
        [(1, "diode", Some("OL"), "ol"), (2, "ohms", None, "low")]
    );
    assert!(
        pad.readings[0].good.ends_with(" V"),
        "{}",
        pad.readings[0].good
    );
    let bus = point("bus");
    assert_eq!(bus.readings.len(), 1);
    assert_eq!(bus.readings[0].shows, "good");
    assert_eq!(bus.readings[0].reads.as_deref(), Some("1.79 V"));
    assert!(point("io").readings.is_empty());
    assert_eq!(v.entries, 3);
    // A repeat takes the place of the earlier reading.
    let again = [results[0], ("sense-pad-diode", "0.47")];
    let v = sense(&rules, &again);
    let readings: Vec<&str> = nodes(&v)
        .into_iter()
        .filter_map(|n| n.point.as_ref())
        .flat_map(|p| &p.readings)
        .map(|r| r.shows.as_str())
        .collect();
    assert_eq!(readings, ["good"]);
}

#[test]
fn the_next_probe_is_the_best_step_that_measures_the_line() {
    let rules = rules(&folder());
    for results in [
        &[][..],
        &[("sense-pad-diode", "OL")],
        &[("keys-seen", "yes")],
    ] {
        let (case, steps) = job(&rules, "the keypad is dead", results);
        let v = line_view(&case, &steps, LineId(0));
        let all = case.advice(usize::MAX).steps;
        let best = all.iter().position(|p| match p.act {
            halfsplit::plan::Act::Test(t) => case.model.tests[t].measures.is_some(),
            halfsplit::plan::Act::Remedy(_) => false,
        });
        assert_eq!(v.next.as_ref().map(|n| n.rank), best.map(|b| b + 1));
        if let Some(n) = &v.next {
            let Found::One(t) = case.model.test(&n.step.id) else {
                panic!("{}", n.step.id);
            };
            let m = case.model.tests[t].measures.unwrap();
            let line = &case.model.lines[m.line].line;
            assert_eq!(line.points[m.probing.point].id, n.point);
            assert_eq!(m.probing.mode, n.mode);
            assert!(!case.done(t), "{} was done", n.step.id);
        }
    }
}

#[test]
fn after_a_remedy_earlier_readings_no_longer_accuse() {
    let bench = Bench::new().rules(&folder());
    let _ = bench.run(NEW).fine();
    for args in [
        &["job", "result", "1", "sense-pad-diode", "OL", "--ready"][..],
        &["job", "result", "1", "sense-bus-diode", "0.48", "--ready"],
    ] {
        let _ = bench.run(args).fine();
    }
    let json = |args: &[&str]| -> LineView {
        let v = bench.run(&[args, &["--format", "json"]].concat()).json();
        serde_json::from_value(v).unwrap()
    };
    let line = ["job", "line", "1", "sense"];
    let before = json(&line);
    assert!(at(&before, "series") > 0.8);
    let _ = bench.run(&["job", "remedy", "1", "mend-wire"]).fine();
    let after = json(&line);
    assert!(at(&after, "series") < at(&before, "series"));
    // What is left of it may lie on either part again.
    near(at(&after, "series"), at(&after, "track"), 1e-9);
    let marked = |v: &LineView| {
        let all = nodes(v).into_iter().filter_map(|n| n.point.clone());
        all.flat_map(|p| p.readings)
            .filter(|r| r.before_remedy)
            .count()
    };
    assert_eq!((marked(&before), marked(&after)), (0, 2));
    let text = bench.run(&line).fine();
    assert!(text.contains("before the remedy"), "{text}");
    // The trail shows the line as it was before it was mended.
    let trail = bench.run(&["trail", "1", "--format", "json"]).json();
    let drawn: LineView = serde_json::from_value(trail["lines"][0].clone()).unwrap();
    assert_eq!(drawn.entries, 2);
    near(at(&drawn, "series"), at(&before, "series"), 1e-9);
    assert!(drawn.next.is_none());
    let page = bench.run(&["trail", "1", "--html"]).fine();
    assert!(page.contains("As known after step 2."), "{page}");
    assert!(page.contains("series resistor, 10 ohm to 47 ohm"), "{page}");
    let customer = bench
        .run(&["trail", "1", "--html", "--reader", "customer"])
        .fine();
    assert!(!customer.contains("<svg"), "{customer}");
}

const NEW: &[&str] = &[
    "job",
    "new",
    "--kind",
    "handheld",
    "--complaint",
    "the keypad is dead",
];

/// A job of the small rules with a reading on either side of the resistor.
fn with_readings() -> Bench {
    let bench = Bench::new().rules(&folder()).columns(60);
    let _ = bench.run(NEW).fine();
    for (test, shows) in [
        ("sense-pad-diode", "OL"),
        ("sense-bus-diode", "0.48"),
        ("sense-bus-volts", "1.79 V"),
    ] {
        let _ = bench
            .run(&["job", "result", "1", test, shows, "--ready"])
            .fine();
    }
    bench
}

#[track_caller]
fn fits(text: &str, columns: usize) {
    for line in text.lines() {
        let wide = unicode_width::UnicodeWidthStr::width(line);
        assert!(wide <= columns, "{wide} columns:\n{line}");
    }
}

#[test]
fn a_line_in_characters() {
    let bench = with_readings();
    let text = bench.run(&["job", "line", "1"]).fine();
    fits(&text, 60);
    assert!(text.is_ascii(), "{text}");
    snapshots().bind(|| insta::assert_snapshot!("sense_60", text));
    let narrow = bench.columns(40);
    let text = narrow.run(&["job", "line", "1"]).fine();
    fits(&text, 40);
    let wide = narrow.columns(100);
    let text = wide.run(&["job", "line", "1"]).fine();
    fits(&text, 60);
}

#[test]
fn two_wires_in_characters_and_as_svg() {
    let rules = rules(&folder());
    let results = [("wires-p-diode", "OL"), ("wires-n-diode", "0.002")];
    let v = view(&rules, "lamp/wires", "the lamp stays dark", &results);
    let text = report::line_text(&v, 60);
    fits(&text, 60);
    snapshots().bind(|| insta::assert_snapshot!("pair_60", text));
    let svg = report::line_picture(&v).unwrap();
    snapshots().bind(|| insta::assert_snapshot!("pair_svg", svg));
    // What joins both wires stands at one of them and names the other.
    let results = [("wires-p-diode", "0.002"), ("wires-n-diode", "0.002")];
    let v = view(&rules, "lamp/wires", "the lamp stays dark", &results);
    let bridges: Vec<&BridgeView> = nodes(&v).iter().flat_map(|n| &n.bridges).collect();
    assert_eq!(bridges.len(), 1);
    assert_eq!(bridges[0].says, "short to wire 2");
}

#[test]
fn a_line_as_svg_says_what_the_characters_say() {
    let bench = with_readings();
    let svg = bench
        .run(&["job", "line", "1", "sense", "--format", "svg"])
        .fine();
    snapshots().bind(|| insta::assert_snapshot!("sense_svg", svg));
    let doc = roxmltree::Document::parse(&svg).unwrap();
    let words: Vec<&str> = doc.descendants().filter_map(|n| n.text()).collect();
    let words = words.join(" ").replace('\u{a0}', " ");
    let flat = |t: &str| t.split_whitespace().collect::<Vec<_>>().join(" ");
    let text = bench.run(&["job", "line", "1", "--format", "json"]).json();
    let v: LineView = serde_json::from_value(text).unwrap();
    let words = flat(&words);
    for p in nodes(&v).iter().filter_map(|n| n.onward.as_ref()) {
        assert!(words.contains(&p.name), "{}: {words}", p.name);
    }
    for p in nodes(&v).iter().filter_map(|n| n.point.as_ref()) {
        assert!(words.contains(&p.name), "{}: {words}", p.name);
        for r in &p.readings {
            assert!(words.contains(r.reads.as_ref().unwrap()), "{words}");
        }
    }
    let file = bench.path("line.svg").display().to_string();
    let said = bench
        .run(&["job", "line", "1", "--format", "svg", "-o", &file])
        .fine();
    assert_eq!(said, "Written to [HOME]/line.svg\n");
    assert_eq!(
        bench.filtered(&std::fs::read_to_string(&file).unwrap()),
        format!("{svg}<!-- halfsplit: line of a board, SVG -->\n")
    );
}

#[test]
fn hostile_text_in_a_line_is_escaped() {
    let rules = rules(&folder());
    let v = sense(&rules, &[("sense-pad-diode", "OL")]);
    let bad = "<script>alert(1)</script> & \" ' ]]> \u{202e}\u{1b}[31m";
    fn spoil(v: &mut serde_json::Value, bad: &str) {
        match v {
            serde_json::Value::String(s) => *s = format!("{bad}{s}"),
            serde_json::Value::Array(all) => all.iter_mut().for_each(|v| spoil(v, bad)),
            // What a step or a part is comes from a list of words, and the mode too.
            serde_json::Value::Object(all) => (all.iter_mut())
                .filter(|(key, _)| !["act", "kind", "mode"].contains(&key.as_str()))
                .for_each(|(_, v)| spoil(v, bad)),
            _ => {}
        }
    }
    let plain = report::line_picture(&v).unwrap();
    let mut json = serde_json::to_value(&v).unwrap();
    spoil(&mut json, bad);
    let v: LineView = serde_json::from_value(json).unwrap();
    let svg = report::line_picture(&v).unwrap();
    let tags = |s: &str| -> std::collections::BTreeSet<String> {
        let doc = roxmltree::Document::parse(s).unwrap();
        let all = doc.descendants().filter(roxmltree::Node::is_element);
        all.map(|n| n.tag_name().name().to_owned()).collect()
    };
    assert_eq!(tags(&svg), tags(&plain));
    assert!(!svg.contains("<script") && !svg.contains(['\u{202e}', '\u{1b}']));
    let text = report::line_text(&v, 60);
    assert!(!text.contains(['\u{202e}', '\u{1b}']), "{text}");
}

#[test]
fn lines_are_listed_and_found_by_name() {
    let bench = Bench::new().rules(&folder()).columns(60);
    // Both areas are in play, so there are two lines.
    let _ = bench
        .run(&[
            "job",
            "new",
            "--kind",
            "handheld",
            "--complaint",
            "the keypad is dead and the lamp stays dark",
        ])
        .fine();
    let list = bench.run(&["job", "line", "1"]).fine();
    fits(&list, 60);
    assert!(
        list.contains("(keypad/sense)") && list.contains("(lamp/wires)"),
        "{list}"
    );
    let v = bench.run(&["job", "line", "1", "--format", "json"]).json();
    assert_eq!(v["lines"].as_array().unwrap().len(), 2);
    let e = bench.run(&["job", "line", "1", "wiers"]).refused(1);
    assert!(e.contains("no single line is called `wiers`"), "{e}");
    let e = bench
        .run(&["job", "line", "1", "--format", "svg"])
        .refused(2);
    assert!(e.contains("say which line to draw"), "{e}");
    let e = bench
        .run(&["job", "show", "1", "--format", "svg"])
        .refused(2);
    assert!(e.contains("only `job line`, `trail` and `tree`"), "{e}");
}

#[test]
fn the_word_line_in_a_walk() {
    let bench = Bench::new().rules(&folder()).columns(60);
    let script = [
        "handheld",
        "",
        "",
        "the keypad is dead",
        "",
        "",
        "",
        "line",
        "others keypad/sense-pad-diode",
        "OL",
        // Asked back once: the bench has been made ready.
        "OL",
        "line sense",
        "line nonsense",
        "pause",
    ];
    // `line nonsense` is not taken.
    let out = bench.walk(&script).not_all_taken();
    snapshots().bind(|| insta::assert_snapshot!("walk", out));
    fits(&out, 60);
}
