//! Forty written jobs, worked from the complaint to their end by following the
//! arrow. `tests/trade/jobs.yaml` says what they rest on.
//!
//! Checks of hazards, tests and retests are answered by the faults that are
//! still there; remedies that clear one are done and change what is answered,
//! others change nothing. A job ends when the arrow says so:
//!
//! - *repaired*: closed, and nothing is wrong any more;
//! - *back*: handed back where a senior would;
//! - *wrongly*: handed back where he would not, or repaired with nothing wrong;
//! - *early*: closed although something is still wrong;
//! - *lost*: more than [`MOST_STEPS`] steps.
//!
//! The place is right if it was the likeliest when each repair was advised, and
//! of a fault that stays, at the end.
//!
//! `cargo test --test trials jobs -- --nocapture` shows what became of each job; with
//! `HALFSPLIT_JOBS=word` also the way of the jobs whose name has the word.

use std::collections::{BTreeMap, BTreeSet};

use halfsplit::belief::FaultId;
use halfsplit::job::view::state;
use halfsplit::job::{Cannot, Case, Did, Entry, Settings, StepKind};
use halfsplit::model::Found;
use halfsplit::plan::{Effort, RemedyId};
use halfsplit::rulebase::{Rulebase, Rules};
use rayon::prelude::*;
use serde::Deserialize;
use serde::de::IgnoredAny;

use crate::answers::{
    Answers, Book, LIKELY, Told, apart, comes_in, concerns, id, leaders, place, ranked, result,
    share, table, tell,
};

/// Jobs whose way is kept: a hazard with two faults, one behind the other; and a
/// cause that a plain test does not show.
const KEPT: [(&str, &str); 2] = [
    (
        "motor and its plug after the sink",
        "two_faults_after_the_sink",
    ),
    (
        "a type of code is switched off",
        "a_setting_that_a_plain_code_passes",
    ),
];

/// A job that takes more steps has lost its way.
const MOST_STEPS: usize = 60;

// The bar is what the program has to reach. The floor is what it reached when
// last measured; the test holds that. Raise it with the program.
const BAR_WHERE: f64 = 92.0;
const FLOOR_WHERE: f64 = 97.0;
/// Jobs that end as a senior would end them, per cent.
const BAR_RIGHT: f64 = 92.0;
const FLOOR_RIGHT: f64 = 97.0;
/// At most so many silly steps.
const BAR_SILLY: usize = 0;
/// At most so many jobs closed with something still wrong.
const BAR_EARLY: usize = 0;

/// A job as it is written.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Job {
    name: String,
    device: String,
    #[serde(default)]
    model: Option<String>,
    complaint: String,
    #[serde(default)]
    history: Vec<String>,
    units: Vec<String>,
    #[serde(default)]
    ends: Ends,
    faults: Vec<Fault>,
}

/// What a senior does in the end.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq)]
#[serde(rename_all = "kebab-case")]
enum Ends {
    #[default]
    Repaired,
    Back,
}

/// Something that is wrong.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Fault {
    cause: Vec<String>,
    r#where: String,
    #[serde(default)]
    repairs: Vec<String>,
    #[serde(default)]
    shows: Vec<String>,
    #[serde(default)]
    answers: Answers,
}

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Ended {
    Repaired,
    Back,
    Wrongly,
    Early,
    Lost,
}

/// What became of a job.
struct Worked {
    ended: Ended,
    r#where: bool,
    first: bool,
    three: bool,
    /// Steps until a true cause stays the first suspect.
    settled: usize,
    /// Step at which the last repair was advised.
    repair: Option<usize>,
    steps: usize,
    silly: Vec<String>,
    why: String,
    way: Vec<String>,
    steps_in_words: Vec<String>,
}

impl Fault {
    fn is(&self, fault: &str) -> bool {
        self.cause.iter().any(|c| c == fault)
    }

    /// Whether a remedy truly clears it.
    fn cleared_by(&self, case: &Case, remedy: RemedyId) -> bool {
        let r = &case.model.remedies[remedy];
        if self.repairs.is_empty() {
            let clears = r.change.clears.iter();
            let mut mine = clears.filter(|(f, _)| self.is(id(case, *f)));
            return mine.any(|(_, takes)| *takes >= LIKELY);
        }
        let (unit, bare) = apart(&r.id);
        let of_mine = self.cause.iter().any(|c| {
            let own = apart(c).0;
            unit == own || concerns(&[], unit) || concerns(&[], own)
        });
        of_mine && self.repairs.iter().any(|r| r == bare)
    }
}

impl Book<Job> {
    fn answer(&self, job: &Job, left: &[&Fault], test: &str, times: usize) -> Option<String> {
        let (unit, bare) = apart(test);
        let safety = unit == "safety";
        let told: Vec<Told> = (left.iter().filter(|_| safety || concerns(&job.units, unit)))
            .map(|f| Told {
                answers: &f.answers,
                shows: &f.shows,
            })
            .collect();
        let sound = || match safety {
            true => Some("clear".to_owned()),
            false => self.sound(&job.device, job.model.as_deref(), bare),
        };
        let text = self.wrong(&told, bare, times).or_else(sound);
        text.filter(|text| text != "cannot")
    }

    /// Follows the arrow on a job.
    fn work(&self, rules: &Rulebase, job: &Job) -> Worked {
        let name = &job.name;
        let settings = Settings {
            effort: Effort::FIRST,
            ..Settings::default()
        };
        let model = job.model.as_ref();
        let mut file = comes_in(name, &job.device, model, &job.complaint, &job.history);
        let mut left: Vec<&Fault> = job.faults.iter().collect();
        let mut asked: BTreeMap<String, usize> = BTreeMap::new();
        let (mut way, mut silly) = (Vec::new(), Vec::new());
        let mut steps_in_words: Vec<String> = Vec::new();
        // Whether a true cause was first and in the first three, step by step,
        // while one was there.
        let mut led: Vec<(bool, bool)> = Vec::new();
        let mut places: Vec<bool> = Vec::new();
        let mut repair = None;
        let mut last: Option<String> = None;
        let ended = loop {
            let case = Case::new(rules, &file, settings)
                .unwrap_or_else(|e| panic!("{name}: {}: {e}", way.join("; ")));
            for c in job.faults.iter().flat_map(|f| &f.cause) {
                assert!(case.model.faults.iter().any(|f| f.id == *c), "{name}: {c}");
            }
            let now = state(&case, &file.steps, crate::arrow::LISTED);
            let order = ranked(&case);
            let truth = |f: &FaultId| left.iter().any(|t| t.is(id(&case, *f)));
            if !left.is_empty() {
                led.push((truth(&order[0]), order.iter().take(3).any(truth)));
            }
            let steps = file.steps.len();
            let step = now.next.steps.first();
            let over = if step.is_some_and(|s| s.act == StepKind::Close) {
                Some(match (left.is_empty(), job.faults.is_empty()) {
                    (true, false) => Ended::Repaired,
                    (true, true) => Ended::Wrongly,
                    (false, _) => Ended::Early,
                })
            } else if crate::arrow::hands_back(&now) {
                let mended = left.is_empty() && !job.faults.is_empty();
                Some(match (mended, job.ends) {
                    (true, _) => Ended::Repaired,
                    (_, Ends::Back) => Ended::Back,
                    _ => Ended::Wrongly,
                })
            } else {
                (steps >= MOST_STEPS).then_some(Ended::Lost)
            };
            if let Some(ended) = over {
                if let Some(stays) = left.first() {
                    places.push(place(&case) == stays.r#where);
                }
                if job.faults.is_empty() {
                    places.push(case.belief.nothing > 0.5);
                }
                let stop = now.next.stop.as_deref().unwrap_or("no stop");
                way.push(format!("{stop}; {}; {}", place(&case), leaders(&case)));
                break ended;
            }
            let step = step.unwrap();
            let found = crate::arrow::silly(&case, &now, last.as_deref());
            silly.extend(found.into_iter().map(|s| format!("{steps}: {s}")));
            last = Some(step.id.clone());
            let said = if step.act == StepKind::Remedy {
                let Found::One(r) = case.model.remedy(&step.id) else {
                    panic!("{name}: no remedy {}", step.id)
                };
                let (gone, stay): (Vec<&Fault>, Vec<&Fault>) =
                    left.iter().partition(|f| f.cleared_by(&case, r));
                if let Some(gone) = gone.first() {
                    places.push(gone.r#where == place(&case));
                    repair = Some(steps + 1);
                }
                let words = if gone.is_empty() {
                    "changes nothing"
                } else {
                    "repairs"
                };
                left = stay;
                last = None;
                file.steps.push(Entry::Remedy(Did {
                    did: step.id.clone(),
                    note: None,
                }));
                words.to_owned()
            } else {
                let times = asked.entry(step.id.clone()).or_default();
                let answer = self.answer(job, &left, &step.id, *times);
                *times += 1;
                file.steps.push(match &answer {
                    Some(shows) => result(&step.id, shows),
                    None => Entry::Cannot(Cannot {
                        test: step.id.clone(),
                        why: "not on this bench".into(),
                    }),
                });
                answer.unwrap_or_else(|| "cannot".into())
            };
            steps_in_words.push(format!(
                "{}{}: {said}",
                step.id,
                if step.retest { " (retest)" } else { "" },
            ));
            way.push(format!(
                "{}   [{}; {}]",
                steps_in_words.last().unwrap(),
                place(&case),
                leaders(&case)
            ));
        };
        let settled = led.iter().rposition(|l| !l.0).map_or(0, |l| l + 1);
        let before = led.last().copied().unwrap_or((true, true));
        let placed = !places.is_empty() && places.iter().all(|p| *p);
        let stay: Vec<&str> = left.iter().map(|f| f.cause[0].as_str()).collect();
        Worked {
            ended,
            r#where: placed,
            first: before.0,
            three: before.1,
            settled,
            repair,
            steps: file.steps.len(),
            silly,
            why: stay.join(", "),
            way,
            steps_in_words,
        }
    }
}

fn median(mut all: Vec<usize>) -> usize {
    all.sort_unstable();
    all.get(all.len() / 2).copied().unwrap_or(0)
}

/// The rules as they stand in their folder, which are built in as well.
fn rules() -> Rulebase {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/rules");
    let rules = Rules {
        paths: vec![folder.into()],
        only_these: true,
    };
    let loaded = rules.load();
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    loaded.rulebase
}

fn book() -> Book<Job> {
    let mut book: Book<Job> = table("jobs.yaml");
    let trade: Book<IgnoredAny> = table("cases.yaml");
    book.healthy.extend(trade.healthy);
    book.sets.extend(trade.sets);
    book
}

#[test]
fn there_are_forty_jobs_ten_of_each_kind_of_device() {
    let book = book();
    for kind in ["phone", "tablet", "laptop", "handheld"] {
        let of = book.cases.iter().filter(|j| j.device == kind).count();
        assert_eq!(of, 10, "{kind}");
    }
    let names: BTreeSet<&str> = book.cases.iter().map(|j| j.name.as_str()).collect();
    assert_eq!(names.len(), 40);
    let general = |j: &&Job| j.units == ["general"];
    assert!(book.cases.iter().filter(general).count() >= 10);
}

#[test]
fn forty_jobs_end_as_a_senior_ends_them() {
    let book = book();
    let rules = rules();
    let jobs = &book.cases;
    let worked: Vec<Worked> = (jobs.par_iter().with_max_len(1))
        .map(|j| book.work(&rules, j))
        .collect();
    let shown = std::env::var("HALFSPLIT_JOBS").ok();
    for (j, w) in jobs.iter().zip(&worked) {
        let right = |yes: bool| if yes { "right" } else { "WRONG" };
        tell(&format!(
            "{:8} {:50} {:?}, where {}, {} steps, settled {}, repair {}{}",
            j.device,
            j.name,
            w.ended,
            right(w.r#where),
            w.steps,
            w.settled,
            w.repair.map_or("-".into(), |r| r.to_string()),
            if w.why.is_empty() {
                String::new()
            } else {
                format!("; stays: {}", w.why)
            },
        ));
        w.silly.iter().for_each(|s| tell(&format!("    silly {s}")));
        if shown
            .as_ref()
            .is_some_and(|word| j.name.contains(word.as_str()))
        {
            w.way
                .iter()
                .enumerate()
                .for_each(|(n, s)| tell(&format!("    {n} {s}")));
        }
    }
    let n = jobs.len();
    let of = |e: Ended| worked.iter().filter(|w| w.ended == e).count();
    let count = |is: fn(&Worked) -> bool| worked.iter().filter(|w| is(w)).count();
    let silly: usize = worked.iter().map(|w| w.silly.len()).sum();
    let right = share(of(Ended::Repaired) + of(Ended::Back), n);
    let placed = share(count(|w| w.r#where), n);
    tell(&format!(
        "\njobs, of {n}                  today     bar\n\
         end as a senior ends them {right:5.1} %  {BAR_RIGHT:4.0} %   {} repaired, {} back, {} wrongly, {} early, {} lost\n\
         place right               {placed:5.1} %  {BAR_WHERE:4.0} %\n\
         true cause first          {:5.1} %\n\
         among the first three     {:5.1} %\n\
         silly steps               {silly:5}    {BAR_SILLY:4}     of {}\n\
         closed too early          {:5}    {BAR_EARLY:4}\n\
         median: cause settled after {}, repair advised at {}, over after {} steps\n\
         more than 25 steps: {}\n",
        of(Ended::Repaired),
        of(Ended::Back),
        of(Ended::Wrongly),
        of(Ended::Early),
        of(Ended::Lost),
        share(count(|w| w.first), n),
        share(count(|w| w.three), n),
        worked.iter().map(|w| w.steps).sum::<usize>(),
        of(Ended::Early),
        median(worked.iter().map(|w| w.settled).collect()),
        median(worked.iter().filter_map(|w| w.repair).collect()),
        median(worked.iter().map(|w| w.steps).collect()),
        count(|w| w.steps > 25),
    ));
    for (name, kept) in KEPT {
        let at = jobs.iter().position(|j| j.name == name).unwrap();
        insta::assert_snapshot!(kept, worked[at].steps_in_words.join("\n"));
    }
    assert!(placed >= FLOOR_WHERE, "{placed}");
    assert!(right >= FLOOR_RIGHT, "{right}");
    assert_eq!(silly, BAR_SILLY);
    assert_eq!(of(Ended::Early), BAR_EARLY);
}
