//! How long advice takes.
//!
//! ```text
//! cargo bench --bench advice
//! HALFSPLIT_BENCH_OUT=times.txt cargo bench --bench advice
//! python tests/reference/bench_pyagrum.py times.txt
//! ```
//!
//! | bench | bar |
//! | --- | --- |
//! | `result_to_advice`: 300 faults, 400 tests, 60 remedies, after so many results | 10 ms |
//! | `result_to_refined_advice`: the same, looked at further ahead | 200 ms |
//! | `rules_to_first_advice`: all built-in rules, as the build left them, to the advice on a complaint | 40 ms |
//! | `posteriors`: all posteriors of the networks in bench_networks.json | a tenth of what pyagrum takes |
//!
//! With HALFSPLIT_BENCH_OUT the best time of each network is written there as
//! `NAME seconds`, for bench_pyagrum.py to set against its own in the same run.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, LazyLock};
use std::time::Instant;

use divan::{Bencher, black_box};
use halfsplit::belief::candidates::Outlook;
use halfsplit::belief::{
    Event, FaultId, Finding, ItemId, Network, PlaceId, Prior, Size, convert, exact, update,
};
use halfsplit::bench::{Bench, BenchState, Condition, Moves};
use halfsplit::built_in;
use halfsplit::job::{Case, CaseFile, Settings};
use halfsplit::model::Unit;
use halfsplit::plan::{
    Advice, Costs, Effort, PlanRemedy, PlanTest, RemedyId, Situation, TestId, advise,
};
use halfsplit::rulebase::Rules;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng, seq::index};
use serde::Deserialize;
use typed_index_collections::TiVec;

fn main() {
    if let Some(path) = std::env::var_os("HALFSPLIT_BENCH_OUT") {
        let lines: String = NETWORKS
            .iter()
            .map(|(name, network, seen)| format!("{name} {:.9}\n", best_time(network, seen)))
            .collect();
        std::fs::write(path, lines).expect("the file that HALFSPLIT_BENCH_OUT names");
    }
    divan::main();
}

// ---- a result to new advice ---------------------------------------------------

const FAULTS: usize = 300;
const TESTS: usize = 400;
const REMEDIES: usize = 60;

/// What is wrong with the device of most benches, and with a worse one.
const ONE_FAULT: [FaultId; 1] = [FaultId(17)];
const THREE_FAULTS: [FaultId; 3] = [FaultId(17), FaultId(120), FaultId(230)];

/// A large device with faults, and results as these faults would give them.
struct Device {
    network: Network,
    tests: TiVec<TestId, Option<PlanTest>>,
    remedies: TiVec<RemedyId, Option<PlanRemedy>>,
    events: Vec<Event>,
    moves: Moves,
}

impl Device {
    fn new(results: usize, truth: &[FaultId]) -> Self {
        let mut rng = StdRng::seed_from_u64(300);
        // Rates as a pack states them: one job in twenty with nothing wrong,
        // one in twenty-five with two faults.
        let parts: Vec<f64> = (0..FAULTS).map(|_| 20f64.powf(rng.random())).collect();
        let sum: f64 = parts.iter().sum();
        let rates: Vec<(f64, f64)> = parts
            .iter()
            .map(|p| (p / sum * 0.99, rng.random_range(0.5..0.98)))
            .collect();
        let c = convert(&rates, 0.05, 0.04).expect("priors that give the rates back");
        let priors = c.priors.iter().enumerate();
        let network = Network::new(
            priors
                .map(|(f, p)| Prior::new(*p, ItemId(f / 2), PlaceId(f * 5 / FAULTS)))
                .collect(),
        );
        let bench = Bench {
            conditions: ["opened", "battery-out", "powered"]
                .map(|id| Condition {
                    id: id.into(),
                    name: id.into(),
                    enter: 4.0,
                    leave: 3.0,
                    needs: Vec::new(),
                    excludes: Vec::new(),
                })
                .to_vec(),
            ..Bench::default()
        };
        let conditions =
            |rng: &mut StdRng| -> BenchState { (0..3).filter(|_| rng.random_bool(0.3)).collect() };
        let mut tests: TiVec<TestId, Option<PlanTest>> = (0..TESTS)
            .map(|_| {
                let sees = index::sample(&mut rng, FAULTS, 25);
                let finding = if rng.random_bool(0.7) {
                    let links: Vec<(FaultId, f64)> = sees
                        .iter()
                        .map(|f| (FaultId(f), rng.random_range(0.3..0.98)))
                        .collect();
                    Finding::yes_no(0.0, &links, 0.06)
                } else {
                    let links: Vec<(FaultId, Vec<f64>)> = sees
                        .iter()
                        .map(|f| {
                            let p: f64 = rng.random_range(0.1..0.9);
                            (FaultId(f), vec![p, (1.0 - p) * 0.9])
                        })
                        .collect();
                    Finding::ordered(3, 0.01, &links, 0.045)
                };
                Some(PlanTest {
                    outlook: Arc::new(Outlook::new(FAULTS, &Arc::new(finding))),
                    minutes: rng.random_range(1.0..15.0),
                    conditions: conditions(&mut rng),
                    after: Vec::new(),
                    handy: false,
                    turns: Vec::new(),
                })
            })
            .collect();
        let remedies = (0..REMEDIES)
            .map(|r| {
                Some(PlanRemedy {
                    clears: (0..5).map(|i| (FaultId(r * 5 + i), 0.95)).collect(),
                    minutes: rng.random_range(2.0..40.0),
                    parts: rng.random_range(0.0..30.0),
                    breaks: 0.0,
                    conditions: conditions(&mut rng),
                    handy: false,
                })
            })
            .collect();
        let all: TiVec<FaultId, f64> = rates.iter().map(|r| r.1).collect();
        let all: Vec<(FaultId, f64)> = all.into_iter_enumerated().collect();
        let mut events = vec![Event::seen(&Finding::yes_no(c.leak, &all, 0.0), 1)];
        for slot in tests.iter_mut().take(results) {
            let Some(test) = slot.take() else { continue };
            let mut left: f64 = rng.random();
            let last = test.outlook.outcomes() - 1;
            let outcome = (0..last)
                .find(|k| {
                    left -= test.outlook.finding().likelihood(*k, truth);
                    left < 0.0
                })
                .unwrap_or(last);
            events.push(Event::seen(test.outlook.finding(), outcome));
        }
        Device {
            network,
            tests,
            remedies,
            events,
            moves: Moves::new(&bench),
        }
    }

    fn advice(&self, effort: Effort) -> Advice {
        let belief = update(&self.network, &self.events, Size::Auto);
        advise(
            &Situation {
                faults: FAULTS,
                candidates: &belief.candidates,
                tests: &self.tests,
                remedies: &self.remedies,
                retest: None,
                due: &[],
                so_far: 0.0,
                moves: &self.moves,
                state: BenchState::default(),
                costs: Costs::default(),
            },
            5,
            effort,
        )
    }
}

#[divan::bench(args = [1, 4, 8, 10, 12])]
fn result_to_advice(bencher: Bencher, results: usize) {
    let device = Device::new(results, &ONE_FAULT);
    bencher.bench_local(|| black_box(&device).advice(Effort::FIRST));
}

/// The same with the first few steps looked at further ahead.
#[divan::bench(args = [1, 4, 8, 10, 12])]
fn result_to_refined_advice(bencher: Bencher, results: usize) {
    let device = Device::new(results, &ONE_FAULT);
    bencher.bench_local(|| black_box(&device).advice(Effort::REFINED));
}

/// The belief's share of it.
#[divan::bench(args = [1, 4, 8, 10, 12, 20])]
fn result_to_belief(bencher: Bencher, results: usize) {
    let device = Device::new(results, &ONE_FAULT);
    bencher.bench_local(|| update(&device.network, black_box(&device.events), Size::Auto));
}

/// The same with three faults.
#[divan::bench(args = [12, 20])]
fn result_to_belief_of_three_faults(bencher: Bencher, results: usize) {
    let device = Device::new(results, &THREE_FAULTS);
    bencher.bench_local(|| update(&device.network, black_box(&device.events), Size::Auto));
}

/// The sum's share of that.
#[divan::bench(args = [1, 4, 8, 10, 12])]
fn result_to_sum(bencher: Bencher, results: usize) {
    let device = Device::new(results, &ONE_FAULT);
    bencher.bench_local(|| exact::sum(&device.network, black_box(&device.events)));
}

// ---- rules to first advice ------------------------------------------------------

#[divan::bench]
fn rules_to_first_advice() -> Advice {
    let mut rules = built_in::rulebase(&Rules::default()).expect("the built-in rules");
    // Another meter each time: nothing that was foretold for the last one helps.
    static LEADS: AtomicU32 = AtomicU32::new(0);
    let leads = f64::from(LEADS.fetch_add(1, Ordering::Relaxed));
    for meter in &mut rules.meters {
        meter.leads += 1e-6 * leads;
    }
    let file = CaseFile {
        case: "Rear camera of a phone".into(),
        device: Unit {
            kind: "phone".into(),
            ..Unit::default()
        },
        complaint: "The rear camera just shows a black picture since I dropped it".into(),
        history: vec!["drop".into()],
        ..CaseFile::default()
    };
    let case = Case::new(&rules, &file, Settings::default()).expect("the complaint is understood");
    case.advice(5)
}

// ---- posteriors ------------------------------------------------------------------

#[derive(Deserialize)]
struct File {
    networks: Vec<Row>,
}

#[derive(Deserialize)]
struct Row {
    id: String,
    faults: BTreeMap<String, f64>,
    observations: BTreeMap<String, Observation>,
    evidence: BTreeMap<String, bool>,
    posterior: BTreeMap<String, f64>,
}

#[derive(Deserialize)]
struct Observation {
    leak: f64,
    links: BTreeMap<String, f64>,
}

/// Name, network and what was seen; the answers are checked on the way.
static NETWORKS: LazyLock<Vec<(String, Network, Vec<Event>)>> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/bench_networks.json");
    let text = std::fs::read_to_string(path).expect("bench_networks.json");
    let file: File = serde_json::from_str(&text).expect("bench_networks.json");
    file.networks
        .into_iter()
        .map(|row| {
            let id = |f: &String| FaultId(row.faults.keys().position(|k| k == f).expect("a fault"));
            let priors = row.faults.values().enumerate();
            let network = Network::new(
                priors
                    .map(|(i, p)| Prior::new(*p, ItemId(i), PlaceId(0)))
                    .collect(),
            );
            let seen: Vec<Event> = row
                .evidence
                .iter()
                .map(|(o, yes)| {
                    let o = &row.observations[o];
                    let links: Vec<(FaultId, f64)> =
                        o.links.iter().map(|(f, s)| (id(f), *s)).collect();
                    Event::seen(&Finding::yes_no(o.leak, &links, 0.0), usize::from(*yes))
                })
                .collect();
            let got = exact::sum(&network, &seen).expect("within reach");
            for (f, want) in &row.posterior {
                assert!((got.faults[id(f)] - want).abs() <= 1e-9, "{} {f}", row.id);
            }
            (row.id, network, seen)
        })
        .collect()
});

#[divan::bench(args = ["faults-15", "faults-120"])]
fn posteriors(bencher: Bencher, name: &str) {
    let (_, network, seen) = NETWORKS.iter().find(|n| n.0 == name).expect("the network");
    bencher.bench_local(|| exact::sum(network, black_box(seen)));
}

/// Seconds of the best of many single runs, as bench_pyagrum.py takes its own.
fn best_time(network: &Network, seen: &[Event]) -> f64 {
    (0..2000)
        .map(|_| {
            let start = Instant::now();
            black_box(exact::sum(black_box(network), black_box(seen)));
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}
