//! The drill: rounds from a pipe, their score and debrief, what the store keeps.

use crate::common::{Bench, NOW, typed};
use halfsplit::built_in;
use halfsplit::drill::{
    Cause, Ended, Level, Logged, Mistake, Move, Named, Order, Round, Task, debrief,
};
use halfsplit::plan::Act;
use halfsplit::rulebase::{Rulebase, Rules};
use halfsplit::simulate::Policy;
use halfsplit::store::Store;
use serde_json::Value;

fn rules() -> Rulebase {
    let rules = Rules {
        paths: vec![crate::common::walk_rules()],
        only_these: true,
    };
    built_in::rulebase(&rules).unwrap()
}

fn order(level: Level, seed: u64) -> Order {
    Order {
        trainee: "Junior One".to_owned(),
        level,
        seed,
        rate: 60.0,
        unmended: 180.0,
        ..Order::default()
    }
}

/// A drill with a seed, then these lines.
fn drill(bench: &Bench, args: &[&str], lines: &[&str]) -> String {
    let mut all = vec!["drill", "--trainee", "Junior One"];
    all.extend(args);
    bench.feed(&all, typed(lines).as_bytes()).fine()
}

/// A round that is over, as a program reads it.
fn over(bench: &Bench, round: i64) -> Value {
    let round = round.to_string();
    bench
        .run(&["drill", "--round", &round, "--format", "json"])
        .json()
}

fn reasons(round: &Value) -> Vec<&str> {
    let all = round["deductions"].as_array().unwrap();
    all.iter().map(|d| d["reason"].as_str().unwrap()).collect()
}

/// Lines that follow the advice on a case: each bench condition is brought
/// about before its step.
fn as_advised(task: &Task) -> Vec<String> {
    let m = &task.start.model;
    let mut lines = Vec::new();
    for did in &Round::advice(task).did {
        let (id, conditions) = match did.act {
            Act::Test(t) => (&m.tests[t].id, &m.tests[t].step.conditions),
            Act::Remedy(r) => (&m.remedies[r].id, &m.remedies[r].step.conditions),
        };
        for c in conditions {
            lines.push(format!("bench {}", m.bench.conditions[*c].id));
        }
        lines.push(format!("do {id}"));
    }
    lines
}

fn truth(task: &Task) -> String {
    let ids = task.hidden.faults.iter();
    let ids: Vec<&str> = ids
        .map(|f| task.start.model.faults[f].id.as_str())
        .collect();
    ids.join(" + ")
}

/// A seed of the first level with a buzzer that is silent for a dead driver.
fn silent_driver() -> String {
    let rules = rules();
    let fits = |seed: &u64| {
        let task = Task::draw(&rules, &order(Level::First, *seed)).unwrap();
        truth(&task) == "buzzer/driver.dead" && task.complaint[0].starts_with("no sound")
    };
    (1..100).find(fits).expect("one such round").to_string()
}

#[test]
fn whoever_follows_the_advice_loses_no_points() {
    let rules = rules();
    for (number, level) in [(1, Level::First), (2, Level::Second), (3, Level::Third)] {
        let mut mended = 0;
        for seed in 1..=6 {
            let task = Task::draw(&rules, &order(level, seed)).unwrap();
            let bench = Bench::new();
            let mut lines = as_advised(&task);
            lines.push(format!("conclude {}", truth(&task)));
            let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
            let (seed, level) = (seed.to_string(), number.to_string());
            let args = ["--seed", &seed, "--level", &level];
            let said = drill(&bench, &args, &lines);
            assert!(said.contains("Score: 100 of 100"), "{said}");
            assert!(said.contains("Nothing taken off."), "{said}");
            let round = over(&bench, 1);
            assert_eq!(round["score"], 100);
            assert_eq!(round["right"], true);
            assert!(round["partings"].as_array().unwrap().is_empty(), "{round}");
            assert_eq!(round["taken"], round["advice"]);
            mended += usize::from(round["taken"]["loss"] == 0.0);
        }
        assert!(mended >= 5, "{mended} of 6 were mended on level {number}");
    }
}

#[test]
fn the_same_seed_is_the_same_round() {
    let lines = [
        "1",
        "",
        "bench cell",
        "do 11",
        "hint",
        "do 4",
        "conclude torn",
    ];
    let args = ["--seed", "9", "--level", "2"];
    let (a, b) = (Bench::new(), Bench::new());
    assert_eq!(drill(&a, &args, &lines), drill(&b, &args, &lines));
    assert_eq!(over(&a, 1), over(&b, 1));
    let others = (10..20).map(|seed: u64| {
        let bench = Bench::new();
        drill(&bench, &["--seed", &seed.to_string()], &["give up"]);
        over(&bench, 1)["truth"].clone()
    });
    let others: Vec<Value> = others.collect();
    assert!(others.iter().any(|t| *t != others[0]), "{others:?}");
}

#[test]
fn by_hand_a_case_comes_out_as_the_simulation_has_it() {
    let rules = rules();
    let (mut steps, mut mended) = (0, 0);
    for seed in 1..40 {
        let task = Task::draw(&rules, &order(Level::Third, seed)).unwrap();
        let by_hand = Round::advice(&task);
        let all = (task.start).follow(&Policy::Advice, &[task.hidden], false, &|_| ());
        let record = &all[0];
        let walked: Vec<(Act, usize)> = record.steps.iter().map(|s| (s.act, s.outcome)).collect();
        let did = by_hand.did.iter();
        let did: Vec<(Act, usize)> = did.map(|d| (d.act, d.outcome.unwrap_or(0))).collect();
        assert_eq!(did, walked, "seed {seed}");
        assert_eq!(by_hand.hand.left(), record.left, "seed {seed}");
        assert!((by_hand.hand.cost() - record.cost(&task.start)).abs() < 1e-9);
        steps += did.len();
        mended += usize::from(by_hand.is_mended());
    }
    assert!(mended > 35, "{mended} of 39 that are drawn are mended");
    assert!(steps > 200, "{steps}");
}

#[test]
fn levels_hide_what_they_say() {
    let rules = rules();
    let (mut one, mut two) = (0, 0);
    for seed in 1..60 {
        for level in [Level::First, Level::Second] {
            let task = Task::draw(&rules, &order(level, seed)).unwrap();
            assert_eq!(task.hidden.faults.len(), 1);
            assert_eq!(task.past.is_empty(), level == Level::First);
            // At the first level what is complained of is there to be seen.
            if level == Level::First {
                assert!(task.start.shows_itself(task.hidden.faults));
            }
        }
        let task = Task::draw(&rules, &order(Level::Third, seed)).unwrap();
        match task.hidden.faults.len() {
            1 => one += 1,
            _ => two += 1,
        }
    }
    assert!(one > 15 && two > 15, "{one} {two}");
}

#[test]
fn unsafe_and_early_steps_and_guesses_are_told_and_scored() {
    let bench = Bench::new();
    let said = drill(
        &bench,
        &["--seed", "2"],
        &["do new-sounder", "do beeps", "do 9", "give up"],
    );
    for words in [
        "! Unsafe: worked inside with the battery or a supply connected",
        "! Opened before the free checks: “What does the volume setting show?”",
        "! A part fitted on a guess",
        "Put right: lid off; cell taken out (5 min)",
        "! Shows nothing so: it needs the device switched on, which was: cell taken out",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    let round = over(&bench, 1);
    let reasons = reasons(&round);
    assert_eq!(
        reasons,
        [
            "cost",
            "power-on",
            "opened-early",
            "guess",
            "no-power",
            "gave-up"
        ]
    );
    let points = round["deductions"].as_array().unwrap().iter();
    let sum: u64 = points.map(|d| d["points"].as_u64().unwrap()).sum();
    assert_eq!(round["score"], 100 - sum);

    // Made ready first and after the free checks nothing is said.
    let bench = Bench::new();
    let said = drill(
        &bench,
        &["--seed", "2"],
        &[
            "do 1",
            "do 2",
            "do 4",
            "do 5",
            "do 3",
            "bench opened",
            "bench powered",
            "do 9",
            "bench no powered",
            "bench cell",
            "do seat-plug",
            "give up",
        ],
    );
    assert!(
        !said.contains("! Unsafe") && !said.contains("! Opened"),
        "{said}"
    );
    assert!(
        !said.contains("Put right") && !said.contains("! The bench"),
        "{said}"
    );

    // A measurement inside needs the lid off, and it is said so.
    let bench = Bench::new();
    let said = drill(&bench, &["--seed", "2"], &["do 9", "give up"]);
    assert!(said.contains("Missing: lid off"), "{said}");
}

#[test]
fn a_resistance_with_the_battery_in_is_unsafe() {
    let bench = Bench::new().shipped();
    let order = Order {
        area: Some("charging".to_owned()),
        kind: Some("tablet".to_owned()),
        ..order(Level::First, 3)
    };
    let rules = crate::lines::rules();
    let task = Task::draw(&rules, &order).unwrap();
    let m = &task.start.model;
    let out = (m.bench.conditions.iter()).position(|c| c.id == "battery-out");
    let measured = m.tests.iter().find(|t| {
        t.measures.is_some() && m.bench.closure(&t.step.conditions).contains(&out.unwrap())
    });
    let test = &measured.expect("a line is measured without power").id;
    let args = ["--seed", "3", "--area", "charging", "--kind", "tablet"];
    let said = drill(&bench, &args, &[&format!("do {test}"), "give up"]);
    assert!(
        said.contains("! Unsafe: measured with the battery or a supply connected"),
        "{said}"
    );
    let open = [
        "bench battery-out",
        "bench part-out",
        &format!("do {test}"),
        "give up",
    ];
    let said = drill(&bench, &args, &open);
    assert!(!said.contains("Unsafe"), "{said}");
    assert_eq!(reasons(&over(&bench, 1))[1], "power-on");
}

#[test]
fn mistakes_count_double_on_the_third_level() {
    let rules = rules();
    let points = |level| -> Vec<(String, u32)> {
        let task = Task::draw(&rules, &order(level, 2)).unwrap();
        let mut round = Round::new(&task);
        round
            .take(&Move::Test("buzzer/drive-seen".to_owned()))
            .unwrap();
        let (view, _) = debrief(1, &round, &[], true).unwrap();
        let all = view.deductions.into_iter().map(|d| (d.reason, d.points));
        all.filter(|d| d.0 == "not-ready").collect()
    };
    assert_eq!(points(Level::Second), [("not-ready".to_owned(), 3)]);
    assert_eq!(points(Level::Third), [("not-ready".to_owned(), 6)]);
}

#[test]
fn a_hint_costs_points_and_tells_the_kind_first() {
    let rules = rules();
    let task = Task::draw(&rules, &order(Level::First, 1)).unwrap();
    let first = Round::advice(&task).did[0].act;
    let Act::Test(t) = first else {
        panic!("the round begins with a test")
    };
    let id = &task.start.model.tests[t].id;
    let bench = Bench::new();
    let seed = ["--seed", "1"];
    let said = drill(&bench, &seed, &["hint", "hint", "hint", "give up"]);
    assert!(said.contains("Hint: try a function."), "{said}");
    assert!(said.find("Hint: try").unwrap() < said.find(&format!("({id})")).unwrap());
    let hints = |round: &Value| {
        let all = round["deductions"].as_array().unwrap();
        let one = all.iter().find(|d| d["reason"] == "hints");
        one.map_or(0, |d| d["points"].as_u64().unwrap())
    };
    // What was told once costs once.
    assert_eq!(hints(&over(&bench, 1)), 8);
    drill(&bench, &seed, &["hint", "give up"]);
    assert_eq!(hints(&over(&bench, 2)), 3);
    // For the next step it costs again.
    drill(&bench, &seed, &["hint", "do 1", "hint", "give up"]);
    assert_eq!(hints(&over(&bench, 3)), 6);
}

#[test]
fn a_wrong_conclusion_is_told_and_an_item_or_a_number_will_do() {
    let seed = silent_driver();
    let seed = ["--seed", &seed];
    let bench = Bench::new();
    let said = drill(&bench, &seed, &["conclude torn"]);
    assert!(said.contains("It was: driver chip: dead. You took it for: buzzer itself: disc torn."));
    assert!(reasons(&over(&bench, 1)).contains(&"conclusion"));
    for right in [
        "conclude driver",
        "conclude buzzer/driver.dead",
        "conclude driver chip",
    ] {
        let said = drill(&bench, &seed, &[right]);
        assert!(said.contains("You found it."), "{said}");
        assert!(!said.contains("the wrong cause"), "{said}");
    }
    // The whole name of an item is that item, whatever else has it in its name.
    let said = drill(&bench, &seed, &["conclude Volume setting + driver chip"]);
    assert!(
        said.contains("You took it for: volume setting + driver chip"),
        "{said}"
    );
    // What several names have is asked back, and a number of that list taken.
    let said = drill(&bench, &seed, &["conclude buzzer", "conclude 1"]);
    assert!(said.contains("could be one of these"), "{said}");
    assert!(
        said.contains("You took it for: buzzer itself: disc torn"),
        "{said}"
    );
    // Something sound that is blamed as well is not all right.
    let said = drill(&bench, &seed, &["conclude driver + volume"]);
    assert!(said.contains("something sound was blamed"), "{said}");
    let said = drill(&bench, &seed, &["conclude nothing"]);
    assert!(said.contains("You took it for: nothing wrong."), "{said}");
}

#[test]
fn the_debrief_says_what_a_step_could_tell_and_what_not() {
    let bench = Bench::new();
    let seed = silent_driver();
    let said = drill(&bench, &["--seed", &seed], &["do 9", "do 4", "give up"]);
    let round = over(&bench, 1);
    let partings = round["partings"].as_array().unwrap();
    // By the rules nothing is seen with a dead driver, and a signal with a plug
    // that is not seated: so it parts these two.
    let took = &partings[0]["took"];
    assert!(
        took["says"]
            .as_str()
            .unwrap()
            .starts_with("It takes 4 min and "),
        "{took}"
    );
    let shows = |fault: &str| {
        let groups = took["groups"].as_array().unwrap().iter();
        let mut with = groups.filter(|g| {
            let all = g["suspects"].as_array().unwrap();
            all.iter().any(|s| s["id"] == fault)
        });
        with.next().expect(fault)["shows"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    assert_eq!(shows("buzzer/driver.dead"), "nothing");
    assert_eq!(shows("buzzer/volume.muted"), "nothing");
    assert_eq!(shows("buzzer/sounder-plug.open"), "signal");
    assert!(partings[0]["advised"]["text"].is_string());
    assert!(said.contains("nothing: "), "{said}");
    // The truth is likelier after what speaks for it.
    let likely = |step: usize| round["taken"]["steps"][step]["likely"][0].as_f64().unwrap();
    let task = Task::draw(&rules(), &order(Level::First, seed.parse().unwrap())).unwrap();
    let driver = task.hidden.faults.iter().next().unwrap();
    let at_intake = Round::new(&task).hand.probabilities()[driver];
    assert!(likely(0) > at_intake + 0.02, "{at_intake} {round}");
}

#[test]
fn at_the_first_level_the_advice_comes_to_an_end_soon() {
    let rules = crate::lines::rules();
    for seed in 1..=12 {
        let task = Task::draw(&rules, &order(Level::First, seed)).unwrap();
        let advice = Round::advice(&task);
        let steps = advice.did.len();
        assert!(
            steps < 60,
            "seed {seed}: {steps} steps for {}",
            truth(&task)
        );
    }
}

#[test]
fn a_repeat_takes_the_place_of_a_result_and_counts_once() {
    let rules = rules();
    let task = Task::draw(&rules, &order(Level::First, 2)).unwrap();
    let mut round = Round::new(&task);
    let test = Move::Test("buzzer/drive-seen".to_owned());
    round.take(&test).unwrap();
    let once = round.hand.probabilities();
    let minutes = round.hand.minutes();
    round.take(&test).unwrap();
    let twice = round.hand.probabilities();
    for (a, b) in once.iter().zip(&twice) {
        assert!((a - b).abs() < 1e-9, "{once:?} {twice:?}");
    }
    assert!(round.hand.minutes() > minutes);
    assert_eq!(round.did[1].look.gain, 0.0);
}

#[test]
fn a_round_that_is_left_is_gone_on_with() {
    let whole = Bench::new();
    let lines = [
        "do 1",
        "hint",
        "bench cell",
        "do 9",
        "do 4",
        "conclude torn",
    ];
    drill(&whole, &["--seed", "7", "--level", "2"], &lines);
    let parted = Bench::new();
    let said = drill(
        &parted,
        &["--seed", "7", "--level", "2"],
        &[lines[0], lines[1], "quit"],
    );
    assert!(said.contains("Round 1 is left unfinished"), "{said}");
    let e = parted
        .run(&["drill", "--round", "1", "--format", "json"])
        .refused(1);
    assert!(e.contains("not over yet"), "{e}");
    // The end of the input leaves it as well.
    let round = ["drill", "--round", "1"];
    let said = parted.feed(&round, typed(&lines[2..4]).as_bytes()).fine();
    assert!(said.contains("Done so far:"), "{said}");
    parted.feed(&round, typed(&lines[4..]).as_bytes()).fine();
    assert_eq!(over(&whole, 1), over(&parted, 1));
    // Once it is over it is told again.
    let said = parted.run(&round).fine();
    assert!(said.contains("It was: "), "{said}");
    // Under other rules it is not the same round.
    let rules = parted.copy_of_rules("changed");
    let file = rules.join("buzzer.yaml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("name: disc torn", "name: disc cracked")).unwrap();
    let e = parted.rules(&rules).run(&round).refused(1);
    assert!(e.contains("the rules have changed since round 1"), "{e}");
}

#[test]
fn progress_and_the_table_are_kept() {
    let bench = Bench::new();
    let run = |who: &str, seed: &str, line: &str| {
        let args = ["drill", "--trainee", who, "--seed", seed];
        bench.feed(&args, typed(&[line]).as_bytes()).fine();
    };
    let seed = silent_driver();
    run("Junior One", &seed, "conclude torn");
    run("Junior One", &seed, "conclude torn");
    run("Junior One", &seed, "conclude driver");
    run("Junior Two", &seed, "conclude volume");
    run("Junior Two", &seed, "give up");
    run("Junior Two", &seed, "quit");
    let json = |args: &[&str]| bench.run(args).json();
    let one = json(&["drill", "--progress", "Junior One", "--format", "json"]);
    assert_eq!(one["ended"], 3);
    assert_eq!(one["rounds"][0]["begun"], NOW);
    assert_eq!(one["rounds"][0]["truth"][0]["id"], "buzzer/driver.dead");
    assert_eq!(one["rounds"][0]["right"], false);
    assert_eq!(one["rounds"][2]["right"], true);
    let scores = one["rounds"].as_array().unwrap().iter();
    let scores: Vec<f64> = scores.map(|r| r["score"].as_f64().unwrap()).collect();
    assert!(scores[2] > scores[1], "{scores:?}");
    let mean = scores.iter().sum::<f64>() / 3.0;
    assert!((one["mean"].as_f64().unwrap() - mean).abs() < 1e-9);
    let all = json(&["drill", "--table", "--format", "json"]);
    assert_eq!(all["trainees"][0]["trainee"], "Junior One");
    assert_eq!(all["trainees"][0]["right"], 1);
    assert_eq!(all["trainees"][1]["ended"], 2);
    assert_eq!(all["trainees"][1]["unfinished"], 1);
    let confused = all["confusions"].as_array().unwrap();
    assert_eq!(confused.len(), 2, "{all}");
    assert_eq!(confused[0]["trainee"], "Junior One");
    assert_eq!(confused[0]["times"], 2);
    assert_eq!(confused[0]["truth"]["id"], "buzzer/driver.dead");
    assert_eq!(confused[0]["taken_for"]["id"], "buzzer/sounder.torn");
    assert_eq!(confused[1]["taken_for"]["id"], "buzzer/volume");
    let text = bench.run(&["drill", "--table"]).fine();
    assert!(
        text.contains("driver chip: dead  buzzer itself: disc torn"),
        "{text}"
    );
    let text = bench.run(&["drill", "--progress", "Junior Two"]).fine();
    assert!(
        text.contains("Junior Two: 2 rounds, 1 not finished."),
        "{text}"
    );
    // Without a seed it is the trainee's next.
    let args = ["drill", "--trainee", "Junior One"];
    let said = bench.feed(&args, b"quit\n").fine();
    assert!(said.contains("(seed 4)"), "{said}");
}

#[test]
fn events_of_a_round_follow_each_other() {
    let bench = Bench::new();
    let mut store = Store::open(&bench.store()).unwrap();
    let id = store.begin_round(&order(Level::Second, 5), "r").unwrap();
    let did = Logged::Did(Move::Hint);
    assert_eq!(store.append_round(id, 0, &did, "r").unwrap(), 1);
    let e = store.append_round(id, 0, &did, "r").unwrap_err();
    assert!(e.to_string().contains("somebody else"), "{e}");
    assert!(store.append_round(id + 1, 0, &did, "r").is_err());
    let ended = Ended {
        concluded: vec![Cause::Nothing],
        gave_up: false,
        complaint: "a lamp: dark".to_owned(),
        score: 40,
        cost: 12.5,
        advice_cost: 6.0,
        truth: vec![Named {
            id: "lamp.dead".to_owned(),
            name: "lamp: dead".to_owned(),
        }],
        taken_for: Vec::new(),
        right: false,
    };
    let event = Logged::Ended(ended.clone());
    store.append_round(id, 1, &event, "r").unwrap();
    drop(store);
    let kept = Store::open(&bench.store()).unwrap().round(id).unwrap();
    assert_eq!(kept.order, order(Level::Second, 5));
    assert_eq!(kept.moves, [Move::Hint]);
    assert_eq!(kept.ended, Some(ended));
}

#[test]
fn a_store_from_before_the_drill_is_brought_along() {
    let bench = Bench::new();
    bench
        .walk(&["handheld", "", "", "no sound", "", "", "", "pause"])
        .fine();
    let before = bench.run(&["jobs", "--format", "json"]).json();
    // As an earlier program left it.
    rusqlite::Connection::open(bench.store())
        .unwrap()
        .execute_batch("DROP TABLE round_event; DROP TABLE round; PRAGMA user_version = 1;")
        .unwrap();
    let said = drill(&bench, &["--seed", &silent_driver()], &["conclude driver"]);
    assert!(said.contains("Round 1 for Junior One"), "{said}");
    assert_eq!(bench.run(&["jobs", "--format", "json"]).json(), before);
    assert_eq!(over(&bench, 1)["right"], true);
}

#[test]
fn what_cannot_be_is_refused_in_words() {
    let bench = Bench::new();
    for (args, code, words) in [
        (&["--area", "buzer"][..], 1, "did you mean `buzzer`"),
        (&["--kind", "handhelt"], 1, "did you mean `handheld`"),
        (&["--level", "4"], 2, "1..=3"),
        (&["--round", "9"], 1, "there is no round 9"),
        (&["--progress", "Junior Nine"], 1, "has begun no round"),
        (&["--table", "--seed", "2"], 2, "cannot be used with"),
        (&["--trainee", " "], 2, "name is empty"),
        (&["--format", "json"], 2, "in text"),
        (&["--format", "svg"], 2, "picture"),
    ] {
        let all: Vec<&str> = ["drill"].iter().chain(args).copied().collect();
        let e = bench.run(&all).refused(code);
        assert!(e.contains(words), "{args:?}: {e}");
    }
    let empty = bench.run(&["drill", "--table"]).fine();
    assert_eq!(empty, "Nobody has begun a round yet.\n");
    let lines = [
        "xyz",
        "99",
        "0",
        "bench zzz",
        "conclude",
        "conclude qqq",
        "conclude 99",
        "do",
        "explain",
        "list qqq",
        "suspects qqq",
        "conclude + +",
        "",
        "\u{1b}[2J",
    ];
    let args = ["drill", "--trainee", "Junior One", "--seed", "1"];
    let said = bench.feed(&args, typed(&lines).as_bytes()).not_all_taken();
    for words in [
        "`xyz` is no step and no command",
        "there is no step 99; they are numbered from 1 to 16",
        "there is no step 0",
        "no bench condition is called `zzz`",
        "say what it was, such as",
        "nothing that may be wrong is called `qqq`",
        "there is no suspect 99",
        "no step is taken up",
        "no step has `qqq` in its words",
        "nothing that may be wrong has `qqq` in it",
        "Take up a step",
        "Round 1 is left unfinished",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    assert!(!said.contains('\u{1b}'));
}

#[test]
fn lists_are_narrowed_by_words() {
    let bench = Bench::new();
    let said = drill(
        &bench,
        &["--seed", "1"],
        &["list measure rail", "swap loud", "quit"],
    );
    let after = said.split("list measure rail\n").nth(1).unwrap();
    let (first, second) = after.split_once("swap loud\n").unwrap();
    assert!(
        first.contains("   6  What does the 3.3 V rail measure?"),
        "{first}"
    );
    assert!(!first.contains("drive line"), "{first}");
    // Words that fit one step take it up.
    assert!(
        second.starts_with("With a known-good buzzer fitted, is the buzzer loud?"),
        "{second}"
    );
}

#[test]
fn nothing_shown_during_a_round_says_how_likely_anything_is() {
    let bench = Bench::new();
    let lines = [
        "list all", "1", "explain", "", "suspects", "bench", "trail", "hint", "quit",
    ];
    let said = drill(&bench, &["--seed", "2"], &lines);
    assert!(!said.contains('%'), "{said}");
    assert!(
        !said.contains(&Mistake::Guess(0.5).word().to_owned()),
        "{said}"
    );
}

#[test]
fn the_examples_of_the_documentation_come_out() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/drill.md");
    let mut document = std::fs::read_to_string(&path).unwrap();
    // As for snapshots; read the difference.
    let rewrite = std::env::var("INSTA_UPDATE").is_ok_and(|v| v == "always");
    let bench = Bench::new().shipped();
    let mut tried = 0;
    for block in document.clone().split("```console\n").skip(1) {
        let block = block.split("```").next().unwrap();
        let (line, shown) = block.split_once('\n').unwrap();
        let line = line.strip_prefix("$ ").unwrap();
        let (typed, command) = match line.split_once(" | ") {
            Some((lines, command)) => (lines.strip_prefix("printf '%s\\n' ").unwrap(), command),
            None => ("", line),
        };
        let typed = words(typed).join("\n") + "\n";
        let args = words(command.strip_prefix("halfsplit ").unwrap());
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let out = bench.feed(&args, typed.as_bytes()).fine();
        if rewrite {
            let old = format!("{line}\n{shown}");
            let new = format!("{line}\n{}\n", out.trim_end());
            document = document.replacen(&old, &new, 1);
        } else {
            assert_eq!(out.trim_end(), shown.trim_end(), "{line}");
        }
        tried += 1;
    }
    if rewrite {
        std::fs::write(path, &document).unwrap();
    }
    assert!(tried >= 3, "only {tried} examples");
    // Every field of the forms for programs is named.
    for schema in [
        schemars::schema_for!(halfsplit::drill::DebriefView),
        schemars::schema_for!(halfsplit::drill::ProgressView),
        schemars::schema_for!(halfsplit::drill::TableView),
    ] {
        let value = serde_json::to_value(&schema).unwrap();
        let others = value["$defs"]
            .as_object()
            .into_iter()
            .flat_map(|d| d.values());
        for object in std::iter::once(&value).chain(others) {
            for field in object["properties"].as_object().unwrap().keys() {
                assert!(document.contains(&format!("`{field}`")), "{field}");
            }
        }
    }
}

/// Words of a shell line, quoted ones whole.
fn words(line: &str) -> Vec<String> {
    let mut out = Vec::new();
    for (n, piece) in line.split('\'').enumerate() {
        match n % 2 {
            1 => out.push(piece.to_owned()),
            _ => out.extend(piece.split_whitespace().map(str::to_owned)),
        }
    }
    out
}
