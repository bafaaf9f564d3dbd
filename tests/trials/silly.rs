//! Jobs that follow the arrow to their end, on hidden causes drawn from the
//! rules and answered from the model: steps that a technician would call silly
//! are counted; `arrow` says which those are.

#![allow(clippy::print_stdout)]

use crate::lines::rules;
use halfsplit::belief::FaultId;
use halfsplit::job::view::state;
use halfsplit::job::{Case, CaseFile, Did, Entry, Settings, Shown, StepKind};
use halfsplit::model::{Found, Unit};
use halfsplit::plan::Effort;
use halfsplit::simulate::{ByHand, Chance, Luck, Start};

use crate::arrow::{hands_back, silly};

/// Jobs, by kind of device and complaint.
const JOBS: [(&str, &str); 2] = [
    ("laptop", "the webcam is not found"),
    ("handheld", "the scanner does not read any labels"),
];
/// Hidden causes for each of them, unless `HALFSPLIT_SILLY` says how many.
const CAUSES: u64 = 1;
/// A job that takes more steps has lost its way.
const MOST_STEPS: usize = 100;

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Ended {
    /// The arrow said close, and nothing is wrong any more.
    Repaired,
    /// The arrow said close, and something is.
    NotRepaired,
    /// Nothing that pays was left, or nothing seems wrong.
    HandedBack,
    /// It took too many steps.
    Lost,
}

/// What following the arrow came to.
struct Job {
    steps: usize,
    ended: Ended,
    silly: Vec<String>,
    hidden: Vec<String>,
}

/// Follows the arrow on a hidden cause.
fn follow(start: &Start, mut hand: ByHand, settings: Settings, file: &CaseFile) -> Job {
    let rules = rules();
    let mut file = file.clone();
    let mut all = Vec::new();
    let name = |f: FaultId| start.model.faults[f].id.clone();
    let hidden = hand.left().iter().map(name).collect();
    let mut last: Option<String> = None;
    let mut steps = 0;
    let ended = loop {
        let case = Case::new(&rules, &file, settings).expect("a job");
        let now = state(&case, &file.steps, crate::arrow::LISTED);
        let Some(step) = now.next.steps.first() else {
            break Ended::HandedBack;
        };
        if step.act == StepKind::Close {
            break match hand.left().is_empty() {
                true => Ended::Repaired,
                false => Ended::NotRepaired,
            };
        }
        if hands_back(&now) {
            break Ended::HandedBack;
        }
        if steps >= MOST_STEPS {
            break Ended::Lost;
        }
        steps += 1;
        all.extend(silly(&case, &now, last.as_deref()));
        last = Some(step.id.clone());
        let entry = match step.act {
            StepKind::Remedy => {
                hand.mend(one(start.model.remedy(&step.id)).expect("a remedy"));
                last = None;
                Entry::Remedy(Did {
                    did: step.id.clone(),
                    note: None,
                })
            }
            _ => match one(start.model.test(&step.id)) {
                Some(t) => {
                    let outcome = hand.test(t);
                    Entry::Result(Shown {
                        test: step.id.clone(),
                        shows: start.model.tests[t].outcomes[outcome].id.clone(),
                        ..Shown::default()
                    })
                }
                // Made of the circuit in this job alone: the bench cannot tell.
                None => Entry::Cannot(halfsplit::job::Cannot {
                    test: step.id.clone(),
                    why: "not on this bench".to_owned(),
                }),
            },
        };
        file.steps.push(entry);
        // What cannot be under these rules ends the job as well.
        if Case::new(&rules, &file, settings).is_err() {
            break Ended::HandedBack;
        }
    };
    Job {
        steps,
        ended,
        silly: all,
        hidden,
    }
}

/// Follows the arrow in all jobs; tells what came of it.
fn work(effort: Effort, causes: u64) -> Vec<Job> {
    use rayon::prelude::*;
    let settings = Settings {
        effort,
        ..Settings::default()
    };
    let jobs: Vec<Vec<Job>> = (JOBS.par_iter())
        .map(|(kind, complaint)| {
            let file = CaseFile {
                complaint: (*complaint).to_owned(),
                device: Unit {
                    kind: (*kind).to_owned(),
                    ..Unit::default()
                },
                ..CaseFile::default()
            };
            let start = Start::new(&rules(), &file, settings).expect("a start");
            let luck = Luck::new(7);
            let draw = start.draw();
            let jobs = (0..causes).map(|n| {
                let hidden = draw.hide(n, luck.of(n));
                let hand = ByHand::new(&start, &hidden, Chance::AsRuled);
                follow(&start, hand, settings, &file)
            });
            jobs.collect()
        })
        .collect();
    for ((kind, complaint), jobs) in JOBS.iter().zip(&jobs) {
        for j in jobs {
            println!(
                "{kind}: {complaint}: {:?}, {} steps, {:?}",
                j.hidden, j.steps, j.ended
            );
            j.silly.iter().for_each(|s| println!("    {s}"));
        }
    }
    jobs.into_iter().flatten().collect()
}

#[test]
fn the_arrow_points_at_no_silly_step() {
    let causes = std::env::var("HALFSPLIT_SILLY").ok();
    let causes = causes.and_then(|n| n.parse().ok()).unwrap_or(CAUSES);
    let jobs = work(Effort::FIRST, causes);
    let steps: usize = jobs.iter().map(|j| j.steps).sum();
    let silly: Vec<&String> = jobs.iter().flat_map(|j| &j.silly).collect();
    let of = |e: Ended| jobs.iter().filter(|j| j.ended == e).count();
    println!(
        "{} jobs, {steps} steps, {} silly; {} repaired, {} handed back, {} closed too early, {} lost",
        jobs.len(),
        silly.len(),
        of(Ended::Repaired),
        of(Ended::HandedBack),
        of(Ended::NotRepaired),
        of(Ended::Lost),
    );
    assert!(steps > 10, "{steps}");
    assert_eq!(of(Ended::Lost), 0);
    assert!(silly.is_empty(), "{silly:#?}");
}

/// What a name leads to, if that is one thing.
fn one<I>(all: Found<I>) -> Option<I> {
    match all {
        Found::One(i) => Some(i),
        _ => None,
    }
}
