//! The simulated bench: against jobs as they are worked out, against an exact
//! expectation, and against itself.

use std::path::Path;

use crate::common::{Bench, walk_rules};
use halfsplit::belief::FaultId;
use halfsplit::job::{Case, CaseFile, Did, Entry, Settings, Shown};
use halfsplit::model::Unit;
use halfsplit::plan::{Act, RemedyId, TestId};
use halfsplit::rulebase::{DONOR_PARTS, Kind, Rulebase, Rules};
use halfsplit::simulate::{
    Done, Hidden, Luck, Mean, Policy, Record, Start, best_order, calibration, cheapest_first,
};
use typed_index_collections::TiVec;

fn load(path: &Path) -> Rulebase {
    let rules = Rules {
        paths: vec![path.to_owned()],
        only_these: true,
    };
    let loaded = rules.load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    loaded.rulebase
}

fn complaint(kind: &str, says: &str) -> CaseFile {
    CaseFile {
        device: Unit {
            kind: kind.to_owned(),
            ..Unit::default()
        },
        complaint: says.to_owned(),
        ..CaseFile::default()
    }
}

fn buzzer() -> Start {
    let file = complaint("handheld", "no sound");
    Start::new(&load(&walk_rules()), &file, Settings::default()).unwrap()
}

fn drawn(start: &Start, seed: u64, cases: u64) -> Vec<Hidden> {
    let (drawn, luck) = (start.draw(), Luck::new(seed));
    (0..cases).map(|c| drawn.hide(c, luck.of(c))).collect()
}

fn follow(start: &Start, policy: &Policy, hidden: &[Hidden]) -> Vec<Record> {
    start.follow(policy, hidden, true, &|_| ())
}

#[test]
fn a_seed_draws_the_same_on_any_number_of_threads() {
    let start = buzzer();
    let hidden = drawn(&start, 7, 400);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        let records = pool
            .build()
            .unwrap()
            .install(|| follow(&start, &Policy::Advice, &hidden));
        format!("{records:?}")
    };
    let one = on(1);
    assert!(one == on(2) && one == on(5));
    let others = follow(&start, &Policy::Advice, &drawn(&start, 8, 400));
    assert_ne!(one, format!("{others:?}"));
}

#[test]
fn what_a_shop_is_without_is_done_on_no_case() {
    let mut rules = load(&walk_rules());
    let file = complaint("handheld", "no sound");
    let swaps = |start: &Start, policy: &Policy| {
        let kinds = start.model.tests.iter().map(|t| t.kind == Kind::Swap);
        let swap: TiVec<TestId, bool> = kinds.collect();
        let records = follow(start, policy, &drawn(start, 3, 300));
        let steps = records.iter().flat_map(|r| &r.steps);
        steps
            .filter(|d| matches!(d.act, Act::Test(t) if swap[t]))
            .count()
    };
    let all = Start::new(&rules, &file, Settings::default()).unwrap();
    rules.without = vec![DONOR_PARTS.to_owned()];
    let some = Start::new(&rules, &file, Settings::default()).unwrap();
    for policy in [Policy::Random, Policy::Advice, Policy::TellMost] {
        assert!(swaps(&all, &policy) > 0, "{policy:?}");
        assert_eq!(swaps(&some, &policy), 0, "{policy:?}");
    }
    // What is left is believed as in a job.
    let records = follow(&some, &Policy::Advice, &drawn(&some, 3, 30));
    let apart = apart(&rules, &some, &records);
    assert!(apart.iter().all(|a| *a < 0.02), "{apart:?}");
}

/// By how much what the simulated bench and a job believe of each fault differs,
/// over all steps of some records, in order.
fn apart(rules: &Rulebase, start: &Start, records: &[Record]) -> Vec<f64> {
    let mut all = Vec::new();
    for r in records {
        let believed = start.believed(&r.steps).expect("what was seen can be");
        let mut file = start.file.clone();
        for (step, believed) in r.steps.iter().zip(&believed[1..]) {
            let m = &start.model;
            file.steps.push(match step.act {
                Act::Test(t) => Entry::Result(Shown {
                    test: m.tests[t].id.clone(),
                    shows: m.tests[t].outcomes[step.outcome].id.clone(),
                    ..Shown::default()
                }),
                Act::Remedy(r) => Entry::Remedy(Did {
                    did: m.remedies[r].id.clone(),
                    note: None,
                }),
            });
            let case = Case::new(rules, &file, Settings::default()).unwrap();
            let both = case.belief.faults.iter().zip(believed);
            all.extend(both.map(|(a, b)| (a - b).abs()).filter(|d| *d > 0.0));
        }
    }
    all.sort_by(f64::total_cmp);
    all
}

#[test]
fn what_is_believed_agrees_with_the_job() {
    let complete = load(&walk_rules()).assumed_complete();
    let apart_with = |rules: &Rulebase| {
        let file = complaint("handheld", "no sound");
        let start = Start::new(rules, &file, Settings::default()).unwrap();
        let records = follow(&start, &Policy::Advice, &drawn(&start, 3, 40));
        apart(rules, &start, &records)
    };
    let apart = apart_with(&complete);
    // The lightest sets are let go: 99 in 100 were 0.004 apart at most, none
    // 0.019.
    let (most, worst) = (apart[apart.len() * 99 / 100], apart[apart.len() - 1]);
    assert!(
        apart.len() > 1000 && most < 0.006 && worst < 0.02,
        "{most} {worst}"
    );
    // Sets with a fault that nobody listed are light until nothing else is left:
    // the few that were let go are missed then.
    let apart = apart_with(&load(&walk_rules()));
    let (most, worst) = (apart[apart.len() * 99 / 100], apart[apart.len() - 1]);
    assert!(most < 0.015 && worst < 0.25, "{most} {worst}");
}

#[test]
fn readings_of_lines_are_believed_as_in_the_job() {
    let rules = crate::lines::rules();
    let file = complaint("phone", "it does not charge");
    let start = Start::new(&rules, &file, Settings::default()).unwrap();
    let mut records = follow(&start, &Policy::Advice, &drawn(&start, 4, 16));
    let on_lines = |r: &Record| {
        let measures = |s: &&Done| match s.act {
            Act::Test(t) => start.model.tests[t].measures.is_some(),
            Act::Remedy(_) => false,
        };
        r.steps.iter().filter(measures).count()
    };
    records.retain(|r| on_lines(r) >= 2);
    records.truncate(4);
    assert!(records.len() >= 2);
    let apart = apart(&rules, &start, &records);
    // Of two faults of a line the one that explains more decides, and the lightest sets
    // are let go: 99 in 100 were 0.0006 apart at most, none 0.0034.
    let (most, worst) = (apart[apart.len() * 99 / 100], apart[apart.len() - 1]);
    assert!(
        apart.len() > 1000 && most < 0.003 && worst < 0.02,
        "{most} {worst}"
    );
}

#[test]
fn the_same_case_answers_the_same_test_alike_under_two_ways() {
    let start = lamp();
    let hidden = drawn(&start, 5, 300);
    let ways = [[1, 2, 0], [2, 1, 0]].map(|order| Policy::InOrder(order.map(TestId).to_vec()));
    let [one, other] = ways.map(|w| follow(&start, &w, &hidden));
    // As long as nothing was done to the device.
    let untouched = |r: &Record| -> Vec<Done> {
        let is_test = |s: &&Done| matches!(s.act, Act::Test(_));
        r.steps.iter().take_while(is_test).copied().collect()
    };
    let mut met = 0;
    for (a, b) in one.iter().zip(&other) {
        assert_eq!((a.case, a.faults), (b.case, b.faults));
        assert_ne!(a.steps[0].act, b.steps[0].act);
        for s in untouched(a) {
            for t in untouched(b).iter().filter(|t| t.act == s.act) {
                assert_eq!(s.outcome, t.outcome, "case {}: {:?}", a.case, s.act);
                met += 1;
            }
        }
    }
    assert!(met > 300, "{met}");
}

/// An invented lamp with three faults, for these tests only.
const LAMP: &str = "pack: lamp
about: An invented lamp, small enough to go through by hand.
unit: lamp
source: common practice, no source
nothing-found: 60
two-or-more: 60
items:
  bulb: {name: bulb, where: part, faults: {dead: {rate: 400}}}
  switch: {name: switch, where: part, faults: {worn: {rate: 330}}}
  wire: {name: wire, where: board, faults: {broken: {rate: 270}}}
functions:
  light: {name: it lights, needs: [bulb, switch, wire]}
symptoms:
  dark: {name: it stays dark, loses: light, hear: [dark]}
tests:
  lights: {ask: Does it light?, kind: try, tries: light, minutes: 1}
  ohms:
    ask: Does the bulb conduct?
    kind: measure
    shows:
      yes-it-does: {says: it conducts}
      no-it-does-not: {says: it does not, links: {bulb.dead: 0.95}}
    minutes: 4
    reliability: 0.97
  click:
    ask: Does the switch click?
    kind: look
    shows:
      clicks: {says: it clicks}
      mute: {says: it does not, links: {switch.worn: 0.8}}
    minutes: 2
    reliability: 0.9
remedies:
  new-bulb: {name: Fit a bulb, clears: {bulb: 0.95}, minutes: 3, parts: 9}
  new-switch: {name: Fit a switch, clears: {switch: 0.9}, minutes: 12, parts: 7}
  mend-wire: {name: Mend the wire, clears: {wire: 0.8}, minutes: 25, parts: 1}
";

fn lamp() -> Start {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("lamp.yaml"), LAMP).unwrap();
    std::fs::write(
        dir.path().join("device.yaml"),
        "device: lamp\nname: any lamp\nkind: handheld\ncarries: {lamp: [lamp]}\n",
    )
    .unwrap();
    std::fs::copy(
        walk_rules().join("bench.yaml"),
        dir.path().join("bench.yaml"),
    )
    .unwrap();
    let file = complaint("handheld", "it is dark");
    let rules = load(dir.path()).assumed_complete();
    Start::new(&rules, &file, Settings::default()).unwrap()
}

/// What a way of working costs on the lamp, by going through all that can
/// happen: written apart from the program, over sets of faults as bits.
struct Brute<'a> {
    start: &'a Start,
    /// Tests in order, none for remedies alone.
    order: &'a [TestId],
}

#[derive(Clone, Default)]
struct Here {
    belief: Vec<f64>,
    tried: Vec<TestId>,
    mended: Vec<usize>,
    owes_retest: bool,
}

impl Brute<'_> {
    fn present(mask: usize) -> Vec<FaultId> {
        let there = (0..3).filter(|f| mask >> f & 1 == 1);
        there.map(FaultId).collect()
    }

    /// Expected cost from here on, times the weight of the belief.
    fn cost(&self, here: &Here) -> f64 {
        let total: f64 = here.belief.iter().sum();
        if total < 1e-12 {
            return 0.0;
        }
        let retest = TestId(0);
        if here.owes_retest {
            return self.test(here, retest);
        }
        let p = |mask: usize| here.belief[mask] / total;
        let with = |f: usize| (0..8).filter(|m| m >> f & 1 == 1).map(p).sum::<f64>();
        let open: Vec<usize> = (0..3).filter(|r| !here.mended.contains(r)).collect();
        // In these rules remedy n is for fault n.
        if p(0) >= 0.9 || !open.iter().any(|r| with(*r) >= 0.01) {
            return (total - here.belief[0]) * self.start.costs.give_up;
        }
        let sure = (0..3).find(|f| with(*f) >= 0.9 && open.contains(f));
        if let Some(f) = sure.filter(|_| !self.order.is_empty()) {
            return self.mend(here, f);
        }
        if let Some(t) = self.order.iter().find(|t| !here.tried.contains(t)) {
            return self.test(here, *t);
        }
        let worth = |r: usize| {
            let remedy = &self.start.model.remedies[RemedyId(r)];
            with(r) * remedy.change.clears[0].1 / (remedy.step.minutes + 1.0 + remedy.step.parts)
        };
        let best = open
            .into_iter()
            .max_by(|a, b| worth(*a).total_cmp(&worth(*b)));
        self.mend(here, best.unwrap())
    }

    fn test(&self, here: &Here, t: TestId) -> f64 {
        let info = &self.start.model.tests[t];
        let total: f64 = here.belief.iter().sum();
        let mut cost = total * info.step.minutes;
        for outcome in 0..info.outcomes.len() {
            let mut next = here.clone();
            next.owes_retest = false;
            next.tried.push(t);
            for (mask, w) in next.belief.iter_mut().enumerate() {
                *w *= info.finding.likelihood(outcome, &Self::present(mask));
            }
            cost += self.cost(&next);
        }
        cost
    }

    fn mend(&self, here: &Here, r: usize) -> f64 {
        let remedy = &self.start.model.remedies[RemedyId(r)];
        let (FaultId(fault), takes) = remedy.change.clears[0];
        assert_eq!(fault, r);
        let total: f64 = here.belief.iter().sum();
        let mut next = here.clone();
        next.owes_retest = true;
        next.mended.push(r);
        for mask in (0..8).filter(|m| m >> fault & 1 == 1) {
            let moved = here.belief[mask] * takes;
            next.belief[mask] -= moved;
            next.belief[mask & !(1 << fault)] += moved;
        }
        total * (remedy.step.minutes + remedy.step.parts) + self.cost(&next)
    }
}

#[test]
fn the_mean_cost_agrees_with_what_is_expected_exactly() {
    let start = lamp();
    let mut begin = Here {
        belief: vec![0.0; 8],
        ..Here::default()
    };
    // What cannot be has no place.
    for (set, w) in start.worlds.iter().filter(|w| w.1 > 0.0) {
        begin.belief[set.iter().map(|f| 1 << f.0).sum::<usize>()] += w;
    }
    let hidden = drawn(&start, 11, 20_000);
    let orders: [&[TestId]; 3] = [&[], &[2, 1, 0].map(TestId), &[1, 2, 0].map(TestId)];
    for order in orders {
        let exact = Brute {
            start: &start,
            order,
        }
        .cost(&begin);
        let policy = match order.is_empty() {
            true => Policy::MendOnly,
            false => Policy::InOrder(order.to_vec()),
        };
        let records = follow(&start, &policy, &hidden);
        let mean = Mean::of(records.iter().map(|r| r.cost(&start)));
        assert!(
            (mean.mean - exact).abs() < 4.0 * mean.error && mean.error < 0.01 * exact,
            "{order:?}: {mean:?}, exactly {exact}"
        );
    }
}

#[test]
fn the_best_order_is_the_best_of_all_orders_on_the_training_cases() {
    let start = lamp();
    let training = drawn(&start, 13, 500);
    let cost = |order: &[TestId]| -> f64 {
        let records = follow(&start, &Policy::InOrder(order.to_vec()), &training);
        records.iter().map(|r| r.cost(&start)).sum()
    };
    let all = [
        [0, 1, 2],
        [0, 2, 1],
        [1, 0, 2],
        [1, 2, 0],
        [2, 0, 1],
        [2, 1, 0],
    ];
    let costs = all.map(|order| cost(&order.map(TestId)));
    let best = costs.iter().copied().fold(f64::INFINITY, f64::min);
    let found = best_order(&start, &training, training.len(), Luck::new(1));
    assert_eq!(cost(&found), best, "{found:?}");
    // Trying it first tells nothing that the complaint does not.
    assert!(costs[0].min(costs[1]) > best);
    assert!(cost(&cheapest_first(&start)) > best);
}

#[test]
fn what_the_advice_shows_is_true_as_often_as_it_says() {
    let start = buzzer();
    let records = follow(&start, &Policy::Advice, &drawn(&start, 17, 4_000));
    let all: Vec<&Record> = records.iter().collect();
    let tenths = calibration(&all);
    for t in &tenths {
        assert!(
            (t.said - t.true_share).abs() < 4.0 * t.error + 0.005,
            "{t:?}"
        );
        assert!(t.shown == 0 || (t.from..=t.to).contains(&t.said), "{t:?}");
    }
    assert!(tenths.iter().filter(|t| t.shown > 100).count() >= 8);
}

#[test]
fn the_advice_costs_less_than_lists_and_remedies_alone() {
    let start = buzzer();
    let hidden = drawn(&start, 19, 2_000);
    let cost = |policy: Policy| {
        let records = follow(&start, &policy, &hidden);
        Mean::of(records.iter().map(|r| r.cost(&start))).mean
    };
    let advice = cost(Policy::Advice);
    let list = cost(Policy::InOrder(cheapest_first(&start)));
    assert!(
        advice < list && advice < cost(Policy::MendOnly),
        "{advice} {list}"
    );
    assert!(cost(Policy::TellMost) < cost(Policy::Random));
}

const SIMULATE: &[&str] = &["simulate", "--kind", "handheld", "--complaint", "no sound"];

#[test]
fn a_simulation_as_text_json_and_picture_tells_the_same() {
    let bench = Bench::new();
    let picture = bench.path("plot.svg");
    let some = [
        "--cases",
        "300",
        "--seed",
        "2",
        "--policy",
        "advice",
        "--policy",
        "mend-only",
    ];
    let args = [SIMULATE, &some].concat();
    let json = bench
        .run(
            &[
                &args[..],
                &["--format", "json", "--plot", picture.to_str().unwrap()],
            ]
            .concat(),
        )
        .json();
    let text = bench.run(&args).fine();
    let ways = json["ways"].as_array().unwrap();
    assert_eq!(ways.len(), 2);
    for way in ways {
        let cost = way["all"]["cost"]["mean"].as_f64().unwrap();
        assert!(text.contains(&format!("{cost:.1} ±")), "{text}");
        let by_area: u64 = way["by_area"]
            .as_array()
            .unwrap()
            .iter()
            .map(|a| a["came"]["cases"].as_u64().unwrap())
            .sum();
        // A case with faults in two places counts in both.
        assert!(by_area >= 300);
    }
    assert_eq!(ways[0]["to_advice"], 1.0);
    let svg = std::fs::read_to_string(&picture).unwrap();
    let svg = roxmltree::Document::parse(&svg).unwrap();
    let curves = svg
        .descendants()
        .filter(|n| n.attribute("class") == Some("curve"));
    // One for each way, what is true, and where it should be.
    assert_eq!(curves.count(), 4);
    let names = svg.descendants().filter(|n| n.has_tag_name("text"));
    let names: Vec<&str> = names.filter_map(|n| n.text()).collect();
    assert!(
        names.iter().any(|n| n.starts_with("mend-only (")),
        "{names:?}"
    );
}

#[test]
fn every_complaint_is_drawn_where_none_is_named() {
    let bench = Bench::new();
    let args = [
        "simulate",
        "--cases",
        "200",
        "--policy",
        "mend-only",
        "--format",
        "json",
    ];
    let json = bench.run(&args).json();
    // Two symptoms on the one kind of device, each with and without a past.
    assert_eq!(json["complaints"], 4);
    assert_eq!(json["ways"][0]["all"]["cases"], 200);
    assert!(json["with_history"].as_f64().unwrap() > 0.0);
}

#[test]
fn rules_that_are_changed_are_set_against_these_on_the_same_cases() {
    let bench = Bench::new();
    let (same, other) = (bench.copy_of_rules("same"), bench.copy_of_rules("other"));
    let pack = other.join("buzzer.yaml");
    let text = std::fs::read_to_string(&pack).unwrap();
    // As if the driver chip failed often, the buzzer itself and its plug hardly
    // ever.
    let changed = text
        .replace("torn: {rate: 150,", "torn: {rate: 3,")
        .replace("open: {rate: 120,", "open: {rate: 3,")
        .replace("dead: {rate: 100}", "dead: {rate: 364}");
    assert_ne!(text, changed);
    std::fs::write(&pack, changed).unwrap();
    let difference = |rules: &Path| {
        let more = [
            "--cases",
            "2000",
            "--compare",
            rules.to_str().unwrap(),
            "--format",
            "json",
        ];
        let json = bench.run(&[SIMULATE, &more].concat()).json();
        let comparison = &json["comparison"];
        let of = |what: &str| comparison["difference"][what].as_f64().unwrap();
        assert_eq!(comparison["only_these"].as_array().unwrap().len(), 0);
        (of("mean"), of("error"))
    };
    assert_eq!(difference(&same), (0.0, 0.0));
    let (mean, error) = difference(&other);
    assert!(mean > 2.0 * error, "wrong rates cost more: {mean} ±{error}");
}

#[test]
fn what_cannot_be_simulated_is_told() {
    let bench = Bench::new();
    let why = bench
        .run(&[SIMULATE, &["--policy", "luck"]].concat())
        .refused(2);
    assert!(why.contains("cheapest-first"), "{why}");
    let _ = bench.run(&["simulate", "--cases", "0"]).refused(2);
    let why = bench
        .run(&[
            "simulate",
            "--kind",
            "handheld",
            "--complaint",
            "the soup is cold",
        ])
        .refused(1);
    assert!(why.contains("--symptom"), "{why}");
    let why = bench
        .run(&[SIMULATE, &["--cases", "5", "--compare", "/nowhere"]].concat())
        .refused(1);
    assert!(why.contains("compare"), "{why}");
}
