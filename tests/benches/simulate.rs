//! How many cases the simulated bench follows in a second.
//!
//! ```text
//! cargo bench --bench simulate
//! cargo bench --bench simulate -- 20000          so many cases
//! cargo bench --bench simulate -- 20000 advice   of these ways of working
//! cargo bench --bench simulate -- "not charge"   of this complaint
//! ```
//!
//! | what | bar |
//! | --- | --- |
//! | the advice on one complaint, 50,000 cases, on two cores | 2,000 cases a second |
//!
//! The more cases, the more of them share what is worked out.

use std::time::Instant;

use halfsplit::built_in;
use halfsplit::job::{CaseFile, Settings};
use halfsplit::model::Unit;
use halfsplit::plan::TestId;
use halfsplit::rulebase::Rules;
use halfsplit::simulate::{Hidden, Luck, Policy, Start};

/// Ways of working, by name.
const WAYS: [&str; 4] = ["mend-only", "in-order", "random", "advice"];

/// As in the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

#[expect(clippy::print_stdout, reason = "what the bench was run for")]
fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args = args.iter().filter(|a| !a.starts_with("--"));
    let (numbers, names): (Vec<&String>, Vec<&String>) =
        args.partition(|a| a.parse::<u64>().is_ok());
    let cases: u64 = numbers
        .last()
        .map_or(10_000, |n| n.parse().unwrap_or(10_000));
    let (these, complaints): (Vec<&String>, Vec<&String>) =
        (names.into_iter()).partition(|n| WAYS.contains(&n.as_str()));
    let wanted = |name: &str| these.is_empty() || these.iter().any(|n| *n == name);
    let rules = built_in::rulebase(&Rules::default()).expect("the built-in rules");
    for (kind, complaint) in [
        ("phone", "rear camera shows no picture"),
        ("handheld", "scan engine won't read any barcode"),
        ("phone", "it does not charge"),
    ] {
        if !complaints.is_empty() && !complaints.iter().any(|c| complaint.contains(&***c)) {
            continue;
        }
        let file = CaseFile {
            device: Unit {
                kind: kind.to_owned(),
                ..Unit::default()
            },
            complaint: complaint.to_owned(),
            ..CaseFile::default()
        };
        let begin = Instant::now();
        let start = Start::new(&rules, &file, Settings::default()).expect("a complaint");
        let set_up = begin.elapsed().as_secs_f64();
        let luck = Luck::new(1);
        let drawn = start.draw();
        let hidden: Vec<Hidden> = (0..cases).map(|c| drawn.hide(c, luck.of(c))).collect();
        println!(
            "{kind}, {complaint}: {} faults, {} sets, set up in {set_up:.3} s",
            start.faults(),
            start.worlds.len()
        );
        let order: Vec<TestId> = start.model.tests.keys().collect();
        let policies = [
            Policy::MendOnly,
            Policy::InOrder(order),
            Policy::Random,
            Policy::Advice,
        ];
        for (name, policy) in WAYS.into_iter().zip(policies) {
            if !wanted(name) {
                continue;
            }
            let begin = Instant::now();
            let records = start.follow(&policy, &hidden, false, &|_| ());
            let took = begin.elapsed().as_secs_f64();
            let n = records.len() as f64;
            let mean = |of: &dyn Fn(&halfsplit::simulate::Record) -> f64| {
                records.iter().map(of).sum::<f64>() / n
            };
            println!(
                "  {name:<10} {:>8.0} cases a second ({took:.2} s): cost {:.1}, {:.1} steps, \
                 {:.3} wrong parts, {:.1} % unmended",
                n / took,
                mean(&|r| r.cost(&start)),
                mean(&|r| r.steps.len() as f64),
                mean(&|r| f64::from(r.wrong_parts)),
                100.0 * mean(&|r| f64::from(u8::from(!r.left.is_empty()))),
            );
        }
    }
}
