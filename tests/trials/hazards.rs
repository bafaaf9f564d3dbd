//! Nothing that may harm is advised while there is a sign of a hazard: smoke,
//! heat, liquid, a swollen cell, a shorted rail. What a step applies is derived
//! here from its conditions, its tools and what it tries, and which signs there
//! are from the entries; never from the rules of the gates.

use std::collections::{BTreeMap, BTreeSet};

use crate::lines::rules;
use halfsplit::job::{
    Cannot, Case, CaseFile, Correction, Did, Entered, Entry, Ledger, Settings, Shown, Unclear,
};
use halfsplit::model::{Found, TestInfo, Unit, hazards, outline};
use halfsplit::plan::{Act, Effort, RemedyId, TestId};
use halfsplit::rulebase::Rulebase;
use halfsplit::simulate::{Hidden, Luck, Policy, Record, Start, cheapest_first};
use rand::rngs::StdRng;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;

fn file(kind: &str, complaint: &str, steps: Vec<Entry>) -> CaseFile {
    CaseFile {
        complaint: complaint.to_owned(),
        device: Unit {
            kind: kind.to_owned(),
            ..Unit::default()
        },
        steps,
        ..CaseFile::default()
    }
}

fn settings() -> Settings {
    Settings {
        effort: Effort::FIRST,
        ..Settings::default()
    }
}

fn case(rules: &Rulebase, file: &CaseFile) -> Case {
    Case::new(rules, file, settings()).expect("a job")
}

fn result(test: &str, shows: &str) -> Entry {
    Entry::Result(Shown {
        test: test.to_owned(),
        shows: shows.to_owned(),
        ..Shown::default()
    })
}

/// What a step needs.
struct Needs {
    conditions: Vec<String>,
    tools: Vec<String>,
    cautions: Vec<String>,
    /// It tries a function, so something runs.
    tries: bool,
}

impl Needs {
    fn of(job: &Ledger, act: Act) -> Needs {
        let m = &job.model;
        let step = m.named(act).step;
        let conditions = m.bench.closure(&step.conditions).into_iter();
        Needs {
            conditions: conditions
                .map(|c| m.bench.conditions[c].id.clone())
                .collect(),
            tools: step.tools.iter().map(|t| t.to_lowercase()).collect(),
            cautions: (step.cautions.iter())
                .map(|c| m.bench.cautions[*c].id.clone())
                .collect(),
            tries: matches!(act, Act::Test(t) if m.tests[t].function.is_some()),
        }
    }

    fn uses(&self, parts: &[&str]) -> bool {
        let named = |t: &String| parts.iter().any(|p| t.contains(p));
        self.tools.iter().any(named)
    }

    /// The device, or a part of it in another one, gets power.
    fn powers(&self) -> bool {
        self.conditions.iter().any(|c| c == "powered")
            || self.tries
            || self.uses(&["supply", "source", "charger", "known-good"])
    }

    /// A bench supply that is held to a low current, the device not switched on.
    /// Into a rail that is known to be shorted it is put to find the short:
    /// common practice, no source.
    fn is_held_low(&self) -> bool {
        let held = self.cautions.iter().any(|c| c == "current-limit");
        held && self.uses(&["bench supply"])
            && !self.tries
            && !self.conditions.iter().any(|c| c == "powered")
    }

    fn heats(&self) -> bool {
        self.uses(&["hot air", "iron", "preheater", "rework"])
    }

    fn presses(&self) -> bool {
        self.uses(&["clamp", "stick", "plastic pick"])
    }

    /// The customer's own charger is plugged in, if only into a tester.
    fn takes_the_charger(&self) -> bool {
        self.uses(&["cc tester"])
    }

    /// Why a step must wait for a hazard.
    fn harms(&self, hazard: &str) -> Option<&'static str> {
        let cell = hazard == "swollen-cell";
        match hazard {
            // Whatever runs elsewhere does not feed this rail or this cell.
            "shorted" | "deep-cell" if self.uses(&["known-good device"]) => None,
            "shorted" | "deep-cell" if self.is_held_low() => None,
            _ if self.powers() => Some("power"),
            _ if cell && self.heats() => Some("heat"),
            _ if cell && self.presses() => Some("pressure"),
            "burnt" if self.takes_the_charger() => Some("the customer's charger"),
            _ => None,
        }
    }
}

/// Whether a step puts power into the device, against a hazard that is up.
fn powers(case: &Case, act: Act) -> bool {
    let needs = Needs::of(case, act);
    let gates = &case.model.bench.gates;
    let mut up = case
        .gates_up()
        .map(|(g, _)| gates[g].id.as_str())
        .peekable();
    match up.peek() {
        Some(_) => up.any(|gate| needs.harms(gate) == Some("power")),
        None => needs.powers(),
    }
}

/// Orders of answers tried for each complaint: a few, or as many as
/// `HALFSPLIT_ORDERS` says.
fn orders() -> u64 {
    let wanted = std::env::var("HALFSPLIT_ORDERS").ok();
    wanted.and_then(|n| n.parse().ok()).unwrap_or(3)
}

/// In so many orders of each complaint what is advised is worked out as well.
const ADVISED: u64 = 1;

/// Answers in each order.
const ANSWERS: usize = 5;

/// How often an answer that is refused is answered anew.
const TRIES: usize = 5;

/// Complaints as people say them, some in a second language, each with the
/// hazard in it.
const HAZARDS: [(&str, &str, &str); 20] = [
    (
        "phone",
        "there was smoke from the port when I plugged it in",
        "burnt",
    ),
    (
        "tablet",
        "it smells burnt near the charging port and does not charge",
        "burnt",
    ),
    (
        "laptop",
        "spark at the charging port, now it won't charge",
        "burnt",
    ),
    (
        "handheld",
        "bang and then nothing, was in the charger, smell like plastic",
        "burnt",
    ),
    (
        "phone",
        "the plug is melted, charging not possible since",
        "burnt",
    ),
    (
        "phone",
        "the battery gets very hot and it does not charge",
        "hot",
    ),
    ("tablet", "burning hot while charging", "hot"),
    (
        "laptop",
        "laptop is becoming too hot, burns my legs, camera off then",
        "hot",
    ),
    (
        "handheld",
        "device overheat when it stand in the charger",
        "hot",
    ),
    (
        "phone",
        "fell in the toilet, does not charge any more",
        "wet",
    ),
    (
        "laptop",
        "I spilled coffee over it and now it does not charge",
        "wet",
    ),
    ("handheld", "the scanner got wet, no picture", "wet"),
    (
        "tablet",
        "my son has let it fall in the bath, camera has no picture",
        "wet",
    ),
    (
        "phone",
        "water came in, is dead, not react on nothing",
        "wet",
    ),
    (
        "phone",
        "battery is swollen, the screen lifts",
        "swollen-cell",
    ),
    (
        "tablet",
        "back cover is bulging and it does not charge",
        "swollen-cell",
    ),
    (
        "laptop",
        "the trackpad is pushed up, battery bloated",
        "swollen-cell",
    ),
    (
        "handheld",
        "accu is thick, puffed, the cover not close, no scan",
        "swollen-cell",
    ),
    (
        "phone",
        "someone pierced the battery when opening it",
        "swollen-cell",
    ),
    // A sign that is read on the way.
    ("laptop", "dead, does nothing when I press power", ""),
];

/// The signs that entries are, as the trade knows them (common practice, no
/// source): what must be up after them. A correction counts where the corrected
/// entry stands.
fn signs(case: &Ledger, hazard: &str, steps: &[Entry]) -> BTreeSet<String> {
    let mut up: BTreeSet<String> = BTreeSet::new();
    if !hazard.is_empty() {
        up.insert(hazard.to_owned());
    }
    for (n, entry) in steps.iter().enumerate() {
        if matches!(entry, Entry::History(h) if h == "liquid") && !case.struck(n) {
            up.insert("wet".to_owned());
        }
    }
    for (n, entry) in steps.iter().enumerate() {
        let (Entry::Result(r), Entered::Result { test, .. }) = (entry, &case.entered[n]) else {
            continue;
        };
        if case.struck(n) {
            continue;
        }
        let id = &case.model.tests[*test].id;
        if let Some(of) = id.strip_prefix("safety/") {
            let shows = case.outcome(n).map(|o| o.id.as_str());
            match shows == Some("clear") {
                true => up.remove(of),
                false => up.insert(of.to_owned()),
            };
            continue;
        }
        let shows = case.outcome(n).map_or("", |o| o.id.as_str());
        let number = number(&r.shows);
        // A value that is not said in numbers may be any of the word.
        let below = |most: f64, words: &[&str]| match number {
            Some(v) => v.abs() < most,
            None => words.contains(&r.shows.as_str()),
        };
        let sign: &[&str] = match id.rsplit('/').next().unwrap_or(id) {
            "swollen-look" if shows == "bulged" => &["swollen-cell"],
            "port-look" if shows == "crust" => &["burnt"],
            "port-look" if shows == "wet" => &["wet"],
            "touch-heat" if shows.ends_with("hot") => &["hot"],
            "main-rail-ohms" | "vbus-ohms" | "vbus-input-ohms" if below(10.0, &["low"]) => {
                &["shorted"]
            }
            "main-rail-diode" | "vbus-diode" | "vbus-input-diode" if below(0.05, &["low"]) => {
                &["shorted"]
            }
            "battery-volts" if below(2.0, &["below-two", "none"]) => &["deep-cell"],
            _ => &[],
        };
        up.extend(sign.iter().map(|s| (*s).to_owned()));
    }
    up
}

/// A number as it is typed here: a value, its unit behind a blank.
fn number(typed: &str) -> Option<f64> {
    let (value, unit) = typed.split_once(' ')?;
    let times = match unit {
        "kohm" => 1e3,
        "Mohm" => 1e6,
        "mV" => 1e-3,
        _ => 1.0,
    };
    Some(value.parse::<f64>().ok()? * times)
}

/// A value that a meter may show: the edges of what outcomes and gates go by,
/// nothing, and over limit.
fn value(rng: &mut StdRng, test: &TestInfo) -> String {
    let unit = test.unit.as_deref().unwrap_or_default();
    let edge = test.outcomes.choose(rng).and_then(|o| o.between);
    let edges = edge.map_or(Vec::new(), |(a, b)| vec![a, b]);
    let edges: Vec<f64> = edges.into_iter().filter(|v| v.abs() < 1e7).collect();
    if let Some(v) = edges.choose(rng).filter(|_| rng.random_bool(0.3)) {
        let off = [0.0, -1e-3, 1e-3][rng.random_range(0..3)];
        return format!("{:.4} {unit}", v + off);
    }
    let typed: &[&str] = match unit {
        "ohm" => &[
            "0 ohm",
            "0.3 ohm",
            "9.9 ohm",
            "9.999 ohm",
            "10 ohm",
            "10.01 ohm",
            "47 ohm",
            "2.2 kohm",
            "1 Mohm",
            "OL",
        ],
        "V" => &[
            "0 V", "0.049 V", "0.05 V", "51 mV", "0.45 V", "1.99 V", "2 V", "3.7 V", "5 V", "OL",
        ],
        _ => &["0", "OL"],
    };
    (*typed.choose(rng).expect("values")).to_owned()
}

/// Something that a person may enter now: mostly an answer to what may be advised,
/// at times to anything else, against a gate too.
fn entry(rng: &mut StdRng, now: &Ledger, open: &[Act], steps: &[Entry]) -> Option<Entry> {
    let m = &now.model;
    let tests: Vec<TestId> = (open.iter())
        .filter_map(|a| match a {
            Act::Test(t) => Some(*t),
            Act::Remedy(_) => None,
        })
        .collect();
    let remedies: Vec<RemedyId> = (open.iter())
        .filter_map(|a| match a {
            Act::Remedy(r) => Some(*r),
            Act::Test(_) => None,
        })
        .collect();
    let any = TestId(rng.random_range(0..m.tests.len()));
    let test = match rng.random_bool(0.75) {
        true => tests.choose(rng).copied().unwrap_or(any),
        false => any,
    };
    let test = &m.tests[test];
    match rng.random_range(0..100) {
        0..7 => Some(Entry::Unclear(Unclear {
            test: test.id.clone(),
            ..Unclear::default()
        })),
        7..12 => Some(Entry::Cannot(Cannot {
            test: test.id.clone(),
            ..Cannot::default()
        })),
        12..17 => {
            let (asked, _) = m.bench.history.choose(rng)?;
            Some(Entry::History(asked.clone()))
        }
        17..27 => {
            let any = RemedyId(rng.random_range(0..m.remedies.len()));
            let remedy = match rng.random_bool(0.7) {
                true => remedies.choose(rng).copied().unwrap_or(any),
                false => any,
            };
            Some(Entry::Remedy(Did {
                did: m.remedies[remedy].id.clone(),
                ..Did::default()
            }))
        }
        27..32 if !steps.is_empty() => Some(Entry::Correct(Correction {
            entry: rng.random_range(1..=steps.len()),
            ..Correction::default()
        })),
        _ => {
            let measured = test.unit.is_some();
            let shows = match measured && rng.random_bool(0.7) {
                true => value(rng, test),
                false => test.outcomes.choose(rng)?.id.clone(),
            };
            Some(Entry::Result(Shown {
                test: test.id.clone(),
                shows,
                as_it_stands: measured && rng.random_bool(0.05),
                note: None,
            }))
        }
    }
}

/// Checks that no step applies what a gate that is up stands against.
fn check_harmless(now: &Ledger, acts: &[Act], complaint: &str, steps: &[Entry]) {
    let gates = &now.model.bench.gates;
    for act in acts.iter().copied() {
        let needs = Needs::of(now, act);
        for (gate, _) in now.gates_up() {
            let gate = &gates[gate].id;
            if let Some(what) = needs.harms(gate) {
                let id = now.model.named(act).id;
                panic!("{complaint}: {id} applies {what} at {gate} after {steps:?}");
            }
        }
    }
}

/// Checks the gates, and every step that may be advised now, whatever is believed;
/// gives these.
fn check(now: &Ledger, complaint: &str, hazard: &str, steps: &[Entry]) -> Vec<Act> {
    let gates = &now.model.bench.gates;
    let up: BTreeSet<String> = now.gates_up().map(|(g, _)| gates[g].id.clone()).collect();
    let must = signs(now, hazard, steps);
    assert!(
        must.is_subset(&up),
        "{complaint}: {must:?} but {up:?} after {steps:?}"
    );
    let tests = now.model.tests.keys().map(Act::Test);
    let all = tests.chain(now.model.remedies.keys().map(Act::Remedy));
    let open = |act: &Act| now.is_open(*act) && now.barred_by(*act).is_empty();
    let open: Vec<Act> = all.filter(open).collect();
    check_harmless(now, &open, complaint, steps);
    // A check that was not made yet is due, so before all else.
    for (gate, test) in now.gates_up() {
        let due = now.retests_due().contains(&test);
        assert!(
            due || now.found(gate),
            "{complaint}: {} is not due after {steps:?}",
            now.model.tests[test].id
        );
    }
    open
}

/// Checks what is advised: nothing but what may be, and what is due first.
fn check_advised(now: &Case, complaint: &str, open: &[Act], steps: &[Entry]) {
    let advice = now.advice(usize::MAX);
    let advised: Vec<Act> = advice.steps.iter().map(|p| p.act).collect();
    // Tests that follow from the circuit of a line are among these alone.
    check_harmless(now, &advised, complaint, steps);
    for act in advised {
        let derived = matches!(act, Act::Test(t) if now.is_on_offer(t));
        assert!(
            derived || open.contains(&act),
            "{complaint}: {} is advised after {steps:?}",
            now.model.named(act).id
        );
    }
    let due = now
        .gates_up()
        .find(|(g, t)| !now.found(*g) && !now.blocked(*t));
    if let Some((_, test)) = due {
        let first = advice.steps.first().map(|p| p.act);
        assert!(
            matches!(first, Some(Act::Test(t)) if now.model.tests[t].checks.is_some()),
            "{complaint}: {first:?} instead of {} after {steps:?}",
            now.model.tests[test].id
        );
    }
}

/// The trial of one complaint.
struct Trial<'r> {
    rules: &'r Rulebase,
    job: CaseFile,
    hazard: &'static str,
    /// The job with each history that came up: what takes longest, compiling the
    /// device with it, is done once.
    bases: BTreeMap<Vec<String>, Ledger>,
    /// Answers that were taken, and those that were refused.
    count: [u64; 2],
}

impl Trial<'_> {
    /// What a job comes to that goes on from `now`; `None` if that is refused.
    fn enter(&mut self, now: &Ledger, job: &CaseFile) -> Option<Ledger> {
        let then = match job.steps.last() {
            Some(Entry::History(_)) => {
                let past = job.steps.iter().filter(|e| matches!(e, Entry::History(_)));
                let mut past: Vec<Entry> = past.cloned().collect();
                past.sort_by_key(|e| format!("{e:?}"));
                let key = past.iter().map(|e| format!("{e:?}")).collect();
                let base = self.bases.entry(key).or_insert_with(|| {
                    let with = CaseFile {
                        steps: past,
                        ..self.job.clone()
                    };
                    Ledger::new(self.rules, &with).expect("a job")
                });
                base.further(self.rules, job)
            }
            _ => now.further(self.rules, job),
        };
        then.ok().filter(|t| t.unfit().is_empty())
    }

    /// Goes through one order of answers.
    fn go_through(&mut self, first: &Ledger, mut rng: StdRng, advised: bool) {
        let mut job = self.job.clone();
        let mut now = first.clone();
        loop {
            let open = check(&now, &job.complaint, self.hazard, &job.steps);
            if advised {
                check_advised(&case(self.rules, &job), &job.complaint, &open, &job.steps);
            }
            if job.steps.len() == ANSWERS {
                return;
            }
            // What is refused, as a value outside of all ranges is, is answered anew.
            let then = (0..TRIES).find_map(|_| {
                let answer = entry(&mut rng, &now, &open, &job.steps)?;
                job.steps.push(answer);
                let then = self.enter(&now, &job);
                if then.is_none() {
                    job.steps.pop();
                    self.count[1] += 1;
                }
                then
            });
            let Some(then) = then else { return };
            self.count[0] += 1;
            now = then;
        }
    }
}

#[test]
#[allow(clippy::print_stdout)]
fn nothing_is_applied_before_its_gate_is_lifted() {
    let rules = rules();
    let all = HAZARDS.par_iter().enumerate();
    let sum = |a: [u64; 2], b: [u64; 2]| [a[0] + b[0], a[1] + b[1]];
    let went = all.map(|(n, (kind, complaint, hazard))| {
        let job = file(kind, complaint, Vec::new());
        let first = Ledger::new(&rules, &job).expect("a job");
        let mut trial = Trial {
            rules: &rules,
            job,
            hazard,
            bases: BTreeMap::new(),
            count: [0; 2],
        };
        for order in 0..orders() {
            let rng = StdRng::seed_from_u64(1_000_000 * n as u64 + order);
            trial.go_through(&first, rng, order < ADVISED);
        }
        trial.count
    });
    let [taken, refused] = went.reduce(|| [0; 2], sum);
    let tried = HAZARDS.len() as u64 * orders();
    println!("{tried} orders, {taken} answers taken, {refused} refused");
    assert!(
        taken > (ANSWERS as u64 - 1) * tried,
        "few answers were taken"
    );
}

#[test]
fn a_check_that_is_clear_opens_the_way_and_one_that_is_not_keeps_it_shut() {
    let rules = rules();
    let smoke = "there was smoke from the port";
    let powered = |steps: Vec<Entry>| {
        let now = case(&rules, &file("phone", smoke, steps));
        let advice = now.advice(usize::MAX);
        advice.steps.iter().any(|p| powers(&now, p.act))
    };
    assert!(!powered(Vec::new()));
    assert!(powered(vec![result("safety/burnt", "clear")]));
    assert!(!powered(vec![result("safety/burnt", "found")]));
    // A look that is unclear lifts nothing.
    let unclear = Entry::Unclear(halfsplit::job::Unclear {
        test: "safety/burnt".to_owned(),
        ..Default::default()
    });
    assert!(!powered(vec![unclear]));
    // What was found once is looked for again when something was done.
    let found = case(
        &rules,
        &file("phone", smoke, vec![result("safety/burnt", "found")]),
    );
    let first = |c: &Case| c.advice(1).steps.first().map(|p| p.act);
    let is_check = |c: &Case| match first(c) {
        Some(Act::Test(t)) => c.model.tests[t].checks.is_some(),
        _ => false,
    };
    assert!(!is_check(&found));
}

#[test]
fn a_shorted_rail_that_was_read_bars_power() {
    let rules = rules();
    let dead = "dead, does nothing";
    let read = |shows: &str| {
        let now = case(
            &rules,
            &file("laptop", dead, vec![result("main-rail-ohms", shows)]),
        );
        let up: Vec<String> = (now.gates_up())
            .map(|(g, _)| now.model.bench.gates[g].id.clone())
            .collect();
        let advice = now.advice(usize::MAX);
        let powering = advice.steps.iter().find(|p| powers(&now, p.act));
        (up, powering.map(|p| now.model.named(p.act).id.to_owned()))
    };
    for short in ["0 ohm", "0.4 ohm", "9 ohm"] {
        assert_eq!(read(short), (vec!["shorted".to_owned()], None), "{short}");
    }
    // The reading is as good as the check, which is not asked for beside it; a
    // good one afterwards asks for it.
    let due = |readings: &[&str]| {
        let readings = readings
            .iter()
            .map(|r| result("main-rail-ohms", r))
            .collect();
        let now = case(&rules, &file("laptop", dead, readings));
        let due = now.gates_up().filter(|(g, _)| !now.found(*g)).count();
        (now.gates_up().count(), due)
    };
    assert_eq!(due(&["0.4 ohm"]), (1, 0));
    assert_eq!(due(&["0.4 ohm", "2.2 kohm"]), (1, 1));
    // A word may stand for a short: the number is asked for before power.
    assert_eq!(read("low"), (vec!["shorted".to_owned()], None));
    assert_eq!(due(&["low"]), (1, 1));
    assert_eq!(due(&["low", "0.4 ohm"]), (1, 0));
    // The check of it takes the number too.
    for (shows, up) in [
        ("0.4", 1),
        ("10 ohm", 1),
        ("2k2", 0),
        ("OL", 0),
        ("clear", 0),
    ] {
        let steps = vec![
            result("main-rail-ohms", "low"),
            result("safety/shorted", shows),
        ];
        let now = case(&rules, &file("laptop", dead, steps));
        assert_eq!(now.gates_up().count(), up, "{shows}");
    }
    assert!(read("good").0.is_empty());
    let (up, powers) = read("2.2 kohm");
    assert!(up.is_empty() && powers.is_some());
}

#[test]
fn what_is_entered_against_a_gate_counts_and_is_said() {
    let rules = rules();
    let job = file(
        "phone",
        "there was smoke from the port, it does not charge",
        vec![result("charge-try", "fails")],
    );
    let now = case(&rules, &job);
    assert_eq!(now.against_gates().len(), 1);
    assert!(now.unfit().is_empty());
}

#[test]
fn plain_complaints_raise_no_gate() {
    let rules = rules();
    for (kind, complaint) in [
        ("phone", "it will not charge, the plug falls out"),
        ("tablet", "rear camera is black"),
        ("laptop", "the webcam is not found since the update"),
        ("handheld", "does not read labels any more"),
        ("phone", "it never got wet, but the port is dead"),
    ] {
        let now = case(&rules, &file(kind, complaint, Vec::new()));
        assert_eq!(now.gates_up().count(), 0, "{complaint}");
    }
}

/// A device that does not start shows no menu and passes no data: such steps
/// are not advised, whatever is answered, until something was done about it.
#[test]
fn a_dead_device_is_not_asked_for_what_only_a_started_one_shows() {
    let rules = rules();
    let started = |case: &Case, act: Act| {
        let words = case.model.named(act);
        let words = format!("{} {}", words.id, words.text).to_lowercase();
        [
            "settings",
            "data pass",
            "see the device",
            "battery page",
            "health page",
            "shown level",
            "another user",
        ]
        .iter()
        .any(|w| words.contains(w))
    };
    let mut rng = StdRng::seed_from_u64(41);
    for (kind, complaint) in [
        (
            "laptop",
            "dead, nothing happens when I press the power button",
        ),
        ("phone", "it does not switch on at all"),
        ("tablet", "stuck at the logo"),
        ("handheld", "completely dead, no sign of life"),
    ] {
        let mut file = file(kind, complaint, Vec::new());
        for _ in 0..6 {
            let case = case(&rules, &file);
            let Some(p) = case.advice(1).steps.first().cloned() else {
                break;
            };
            assert!(
                !started(&case, p.act),
                "{complaint}: {}",
                case.model.named(p.act).text
            );
            let Act::Test(i) = p.act else { break };
            let t = &case.model.tests[i];
            let o = rng.random_range(0..t.outcomes.len());
            let entry = result(&t.id, &t.outcomes[o].id);
            file.steps.push(entry);
        }
    }
}

/// The trail says which hazard there was a sign of, from when on, and what was
/// done against it.
#[test]
fn the_trail_tells_of_hazards() {
    let rules = rules();
    let job = file(
        "phone",
        "there was smoke from the port, it does not charge",
        vec![
            result("charge-try", "fails"),
            result("safety/burnt", "clear"),
        ],
    );
    let now = case(&rules, &job);
    let view = halfsplit::job::view::state(&now, &job.steps, 1);
    let moment = halfsplit::job::trail::Moment::from(&view);
    assert_eq!(moment.hazards.len(), 1, "{:?}", moment.hazards);
    assert!(moment.hazards[0].contains("entry 1"));
    let first = case(&rules, &file(&job.device.kind, &job.complaint, Vec::new()));
    let view = halfsplit::job::view::state(&first, &[], 1);
    let moment = halfsplit::job::trail::Moment::from(&view);
    assert!(moment.hazards[0].contains("smoke"), "{:?}", moment.hazards);
}

/// Words of hazards in another sense raise no gate; in their own they do.
#[test]
fn figurative_words_raise_no_gate() {
    let rules = rules();
    // A job raises what it hears so: nothing of it is worked out for that.
    let phone = file("phone", "", Vec::new()).device;
    let model = outline(&rules, &phone, &[]).expect("a phone");
    let up = |complaint: &str| -> Vec<String> {
        let gates = hazards(&model, complaint);
        let gates = gates.iter();
        gates.map(|g| model.bench.gates[g].id.clone()).collect()
    };
    for complaint in [
        "it was a smoking hot deal, but the camera is black",
        "burning through battery since last week",
        "the speaker hisses in calls",
        "we expanded the storage, now it is slow",
        "the screen has burn in at the top",
    ] {
        assert!(up(complaint).is_empty(), "{complaint}: {:?}", up(complaint));
    }
    for (complaint, gate) in [
        ("it was smoking when I plugged it in", "burnt"),
        ("the port is burned", "burnt"),
        ("something is burning inside", "burnt"),
        ("burnt plastic smell", "burnt"),
        ("the back burns my finger", "hot"),
        ("it is smoking hot when charging", "hot"),
        ("the battery has expanded", "swollen-cell"),
        (
            "battery pack stuck, looks like it has expanded",
            "swollen-cell",
        ),
        ("there is a hissing from the battery", "swollen-cell"),
    ] {
        assert!(
            up(complaint).iter().any(|g| g == gate),
            "{complaint}: {:?}",
            up(complaint)
        );
    }
    assert!(!up("the back burns my finger").contains(&"burnt".to_owned()));
}

/// Probabilities of faults by the end of their names, as `port.short`.
fn suspects(case: &Case, ends: &[&str]) -> f64 {
    let named = |id: &str| ends.iter().any(|e| id.ends_with(&format!("/{e}")));
    let faults = case.model.faults.iter().zip(&case.belief.faults);
    faults.filter(|(f, _)| named(&f.id)).map(|(_, p)| p).sum()
}

const BURNT: [&str; 5] = [
    "port.short",
    "surge-clamp.short",
    "vbus-capacitor.short",
    "power-path.short",
    "battery-plug.short",
];

/// What the check of a hazard finds speaks for what makes it.
#[test]
fn what_a_check_finds_raises_what_burns_swells_and_corrodes() {
    let rules = rules();
    let after = |complaint: &str, check: &str, shows: &str, ends: &[&str]| {
        let steps = vec![result(&format!("safety/{check}"), shows)];
        let before = case(&rules, &file("phone", complaint, Vec::new()));
        let now = case(&rules, &file("phone", complaint, steps));
        let odds = |c: &Case| {
            let p = suspects(c, ends);
            p / (1.0 - p).max(1e-9)
        };
        odds(&now) / odds(&before)
    };
    for (complaint, check, ends) in [
        (
            "smoke from the port, it does not charge",
            "burnt",
            &BURNT[..],
        ),
        (
            "battery is swollen, it does not charge",
            "swollen-cell",
            &["battery.swollen"],
        ),
        (
            "fell in the toilet, does not charge",
            "wet",
            &["port.wet", "port.corroded"],
        ),
        (
            "battery gets very hot and does not charge",
            "hot",
            &["battery.short", "power-path.short"],
        ),
    ] {
        let (found, clear) = (
            after(complaint, check, "found", ends),
            after(complaint, check, "clear", ends),
        );
        assert!(
            found > 1.5 && clear < 0.9,
            "{complaint}: {found:.2} found, {clear:.2} clear"
        );
    }
}

/// A check that contradicts what was seen or read of the same spot counts too.
#[test]
fn a_check_that_says_otherwise_is_not_dropped() {
    let rules = rules();
    for (complaint, before, shows, check, fault) in [
        (
            "it does not charge",
            "charging/main-rail-ohms",
            "500k",
            "safety/shorted",
            "charging/power-path.short",
        ),
        (
            "it does not charge",
            "charging/swollen-look",
            "flat",
            "safety/swollen-cell",
            "charging/battery.swollen",
        ),
    ] {
        let believed = |steps: Vec<Entry>| {
            let now = case(&rules, &file("phone", complaint, steps));
            let Found::One(f) = now.model.fault(fault) else {
                panic!("{fault}")
            };
            now.belief.faults[f]
        };
        let alone = believed(vec![result(before, shows)]);
        let both = believed(vec![result(before, shows), result(check, "found")]);
        assert!(both > 3.0 * alone, "{check}: {alone} {both}");
    }
}

/// The same spot seen by a check and by a look counts once, in either order.
#[test]
fn what_was_seen_counts_once() {
    let rules = rules();
    let smoke = "smoke from the port, it does not charge";
    let believed = |steps: Vec<Entry>| {
        let now = case(&rules, &file("phone", smoke, steps));
        now.belief.faults
    };
    let look = result("charging-port/port-look", "crust");
    let check = result("safety/burnt", "found");
    let alone = believed(vec![look.clone()]);
    for both in [
        vec![look.clone(), check.clone()],
        vec![check.clone(), look.clone()],
    ] {
        let apart = believed(both);
        let apart = apart.iter().zip(&alone).map(|(a, b)| (a - b).abs());
        let most = apart.fold(0.0, f64::max);
        assert!(most < 1e-6, "{most}");
    }
    // A clean port leaves the rest of the board under suspicion.
    let clean = result("charging-port/port-look", "clean");
    let with = case(&rules, &file("phone", smoke, vec![clean.clone(), check]));
    let without = case(&rules, &file("phone", smoke, vec![clean]));
    let board = ["power-path.short", "surge-clamp.short"];
    assert!(suspects(&with, &board) > 1.5 * suspects(&without, &board));
}

/// A reading that bars power is an end of the ranges that the plan goes by, with
/// the cheapest effort too, which else thinks of a first reading in words.
#[test]
fn a_plan_knows_which_readings_bar_power() {
    let rules = rules();
    let dead = file("laptop", "dead, does nothing", Vec::new());
    for effort in [Effort::FIRST, Effort::BEST] {
        let settings = Settings {
            effort,
            ..Settings::default()
        };
        let now = Case::new(&rules, &dead, settings).expect("a job");
        let m = &now.model;
        let at = m.tests.position(|t| t.id.ends_with("/main-rail-ohms"));
        let at = at.expect("a test of the main rail");
        let shorted = m.bench.gates.iter().position(|g| g.id == "shorted");
        let shorted = shorted.expect("a gate");
        let situation = now.situation();
        let plan = situation.tests[at].as_ref().expect("an open test");
        let raises: Vec<bool> = (plan.turns.iter()).map(|t| t.raises.has(shorted)).collect();
        assert!(raises.contains(&true) && raises.contains(&false));
        for (k, raises) in raises.iter().enumerate() {
            if let (_, Some((from, to))) = now.foreseen(at, k) {
                assert!(from.abs() >= 10.0 || to.abs() <= 10.0, "{from} to {to}");
                assert_eq!(*raises, from >= -10.0 && to <= 10.0, "{from} to {to}");
            }
        }
    }
}

/// The simulated bench answers in words: the word of a rail that most likely is
/// shorted bars power as the reading does, until something was done about it.
#[test]
fn a_rail_that_reads_low_on_the_simulated_bench_bars_power() {
    let rules = rules();
    let dead = file("laptop", "dead, does nothing", Vec::new());
    let start = Start::new(&rules, &dead, settings()).expect("a job");
    let m = &start.model;
    let named = |end: &str| m.tests.position(|t| t.id.ends_with(end));
    let rail = named("/main-rail-ohms").expect("a test of the main rail");
    let check = named("/shorted").expect("its check");
    let low = m.tests[rail].outcomes.iter().position(|o| o.id == "low");
    let low = low.expect("a word");
    let powered = |t: TestId| {
        let step = &m.tests[t].step;
        let needed = m.bench.closure(&step.conditions);
        let lends = step.tools.iter().any(|t| t.contains("known-good device"));
        let on = |c: &usize| m.bench.conditions[*c].id == "powered";
        needed.iter().any(on) || m.tests[t].function.is_some() && !lends
    };
    let (drawn, luck) = (start.draw(), Luck::new(5));
    let hidden: Vec<Hidden> = (0..1500).map(|c| drawn.hide(c, luck.of(c))).collect();
    let order = Policy::InOrder(cheapest_first(&start));
    let mut barred = 0;
    for record in start.follow(&order, &hidden, false, &|_| ()) {
        let mut up = false;
        for s in &record.steps {
            match s.act {
                Act::Test(t) => {
                    assert!(!up || !powered(t), "{} on a short", m.tests[t].id);
                    up |= t == rail && s.outcome == low;
                    up &= t != check || s.outcome > 0;
                    barred += usize::from(t == rail && s.outcome == low);
                }
                // The check is asked for again.
                Act::Remedy(_) => up = false,
            }
        }
    }
    assert!(barred > 5, "{barred} read low");
}

/// A short of what the charger feeds bars power as one of the main rail does; a
/// short behind a regulator that limits its current does not.
#[test]
fn a_shorted_supply_bars_power_where_nothing_limits_it() {
    let rules = rules();
    let up = |complaint: &str, test: &str| {
        let steps = vec![result(test, "0.4 ohm")];
        let now = case(&rules, &file("phone", complaint, steps));
        now.gates_up().count()
    };
    assert_eq!(up("does not charge", "charging-port/vbus-ohms"), 1);
    assert_eq!(up("rear camera is black", "rear-camera/analogue-ohms"), 0);
}

/// On the simulated bench a check finds what is hidden in the device.
#[test]
fn a_simulated_check_shows_what_is_hidden() {
    let rules = rules();
    let smoke = file(
        "phone",
        "smoke from the port, it does not charge",
        Vec::new(),
    );
    let start = Start::new(&rules, &smoke, settings()).expect("a job");
    let check = start.model.tests.position(|t| t.id == "safety/burnt");
    let check = check.expect("a check");
    let (drawn, luck) = (start.draw(), Luck::new(3));
    let hidden: Vec<Hidden> = (0..800).map(|c| drawn.hide(c, luck.of(c))).collect();
    let records = start.follow(
        &Policy::InOrder(cheapest_first(&start)),
        &hidden,
        false,
        &|_| (),
    );
    let share = |there: &dyn Fn(&[&str]) -> bool| {
        let names = |r: &Record| -> Vec<String> {
            let faults = r.faults.iter();
            faults.map(|f| start.model.faults[f].id.clone()).collect()
        };
        let of = records.iter().filter(|r| {
            let names = names(r);
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            there(&names)
        });
        let shown: Vec<usize> = of
            .filter_map(|r| r.steps.iter().find(|s| s.act == Act::Test(check)))
            .map(|s| s.outcome)
            .collect();
        assert!(shown.len() > 10, "{} cases", shown.len());
        shown.iter().filter(|o| **o > 0).count() as f64 / shown.len() as f64
    };
    let burnt = |names: &[&str]| {
        let ends = |n: &&str| BURNT.iter().any(|e| n.ends_with(&format!("/{e}")));
        names.iter().any(ends)
    };
    // By the rules 50 to 90 of 100 with such a fault, and some by chance without
    // anything that burns.
    let with = share(&burnt);
    let sound = share(&|names| {
        let software = |n: &&str| n.starts_with("charging/") && n.contains("settings");
        names.is_empty() || names.iter().all(software)
    });
    assert!(with > 0.5 && sound < 0.15, "{with} with, {sound} without");
}
