//! A device that is nothing but one line, with a test for every reading of it.

use std::fmt::Write as _;
use std::sync::Arc;

use halfsplit::belief::candidates::Outlook;
use halfsplit::belief::{Belief, Event, FaultId, Finding, ItemId, Seen, Size, update};
use halfsplit::bench::{BenchState, Moves};
use halfsplit::circuit::meter::{Meter, Reading};
use halfsplit::line::Wired;
use halfsplit::model::{Model, Read, Taken, Unit, compile};
use halfsplit::plan::{
    Act, Costs, Effort, PlanRemedy, PlanTest, RemedyId, Situation, TestId, advise,
};
use halfsplit::rulebase::{Duty, Line, MeterMode, Rules};
use rand::Rng;
use typed_index_collections::TiVec;

use super::*;

/// Minutes for a reading, and for the remedy of an element: about what they are
/// in the packs.
const READING: f64 = 3.0;
const REMEDY: f64 = 20.0;

const BENCH: &str = "bench: a bench where nothing takes time
source: common practice, no source
conditions:
  powered: {name: device switched on, enter: 0, leave: 0, excludes: [battery-out, part-out]}
  battery-out: {name: battery disconnected, enter: 0, leave: 0}
  part-out: {name: part unplugged, enter: 0, leave: 0, needs: [battery-out]}
";

fn outlook(model: &Model, finding: &Arc<Finding>) -> Arc<Outlook> {
    Arc::new(Outlook::new(model.network.len(), finding))
}

/// One line as a device.
pub struct Device {
    pub line: Line,
    pub wired: Wired,
    pub model: Model,
    /// All that can happen; the index is the fault.
    pub happenings: Vec<Happening>,
    /// Names of the elements, by item.
    pub elements: TiVec<ItemId, String>,
    pub meter: Meter,
    tests: TiVec<TestId, Option<PlanTest>>,
    remedies: TiVec<RemedyId, Option<PlanRemedy>>,
    moves: Moves,
}

/// What came of following the advice.
pub struct Outcome {
    pub belief: Belief,
    /// The tests that were done, in order, with what was read.
    pub readings: Vec<(TestId, Reading)>,
}

impl Outcome {
    /// The fault in the first place.
    pub fn first(&self) -> FaultId {
        let p = &self.belief.faults;
        p.keys().max_by(|a, b| p[*a].total_cmp(&p[*b])).unwrap()
    }
}

/// The pack of a line: everything happens equally often; a reading of each
/// point in each mode, all of the same cost. `elsewhere` is how many of 1000
/// jobs have a fault that does nothing to the line.
fn pack(line: &Line, happenings: &[Happening], modes: &[MeterMode], elsewhere: f64) -> String {
    let mut elements: Vec<&str> = happenings.iter().map(|h| h.element.as_str()).collect();
    elements.dedup();
    let rate = (1000.0 - elsewhere) / happenings.len() as f64;
    let mut t = String::from(
        "pack: probed\nabout: One line.\nsource: common practice, no source\n\
         nothing-found: 10\ntwo-or-more: 10\nitems:\n",
    );
    let verb = |h: &Happening| h.words.split(' ').next().unwrap().to_owned();
    for e in &elements {
        let _ = writeln!(t, "  {e}:\n    name: {e}\n    where: board\n    faults:");
        for h in happenings.iter().filter(|h| h.element == *e) {
            let _ = writeln!(t, "      {}: {rate:.9}", verb(h));
        }
    }
    if elsewhere > 0.0 {
        let _ = writeln!(
            t,
            "  elsewhere:\n    name: elsewhere\n    where: board\n    faults: {{broken: {elsewhere}}}"
        );
        elements.push("elsewhere");
    }
    let all = elements.join(", ");
    let _ = writeln!(
        t,
        "functions:\n  carries: {{name: the line works, needs: [{all}]}}"
    );
    let _ = writeln!(
        t,
        "symptoms:\n  fails: {{name: it fails, loses: carries, hear: [fails]}}"
    );
    let _ = writeln!(
        t,
        "lines:\n  the-line:\n    line: {}\n    name: the line\n    faults:",
        line.id
    );
    for h in happenings {
        let _ = writeln!(t, "      {}.{}: {}", h.element, verb(h), h.words);
    }
    let _ = writeln!(
        t,
        "tests:\n  works: {{ask: Does it work?, tries: carries, minutes: 1}}"
    );
    let mut test = |point: &str, mode: &str, conditions: &str, more: &str| {
        let _ = writeln!(
            t,
            "  {point}-{mode}{more}:\n    measures: {{line: the-line, at: {point}, mode: {mode}}}\n    \
             minutes: {READING}\n    reliability: 0.98\n    conditions: [{conditions}]"
        );
    };
    let part_out = line.unplugged.iter().any(|(_, c)| *c == PART_OUT);
    for p in &line.points {
        for mode in modes {
            if *mode == MeterMode::Volts {
                test(&p.id, mode.word(), "powered", "");
                continue;
            }
            // With the part in and with it out.
            test(&p.id, mode.word(), "battery-out", "");
            if part_out {
                test(&p.id, mode.word(), "part-out", "-part-out");
            }
        }
    }
    let _ = writeln!(t, "remedies:");
    for e in &elements {
        let _ = writeln!(
            t,
            "  fix-{e}: {{name: mend {e}, clears: {{{e}: 0.98}}, minutes: {REMEDY}}}"
        );
    }
    t
}

/// Index of the condition in [`BENCH`].
const PART_OUT: usize = 2;

/// A line by its template, what may happen to it, and rules of nothing else, in
/// which so many of 1000 jobs have their fault elsewhere.
pub fn alone(
    template: &str,
    may: impl Fn(&Happening) -> bool,
    modes: &[MeterMode],
    elsewhere: f64,
) -> (Line, Vec<Happening>, Rulebase) {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    };
    let bench = write("bench.yaml", BENCH);
    let own = write("line.yaml", template);
    let load = |more: &[std::path::PathBuf]| {
        let loaded = Rules {
            paths: [&[bench.clone(), own.clone()], more].concat(),
            only_these: true,
        }
        .load();
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
        loaded.rulebase
    };
    let line = load(&[]).templates.swap_remove(0);
    let mut happenings = happenings(&line);
    happenings.retain(may);
    // No more faults than one reading can depend on. What reads like something else
    // goes first.
    let joint = |h: &Happening| match h.harm {
        Harm::Resistive(p) => line.parts[p].duty == Duty::Joins,
        _ => false,
    };
    let open_joint = |h: &Happening| match h.harm {
        Harm::Open(p) => line.parts[p].duty == Duty::Joins,
        _ => false,
    };
    let alike: [&dyn Fn(&Happening) -> bool; 4] = [
        &|h| matches!(h.harm, Harm::Damaged(_)),
        &|h| matches!(h.harm, Harm::LeakyNode(_)),
        &joint,
        &open_joint,
    ];
    for alike in alike {
        if happenings.len() > 64 {
            happenings.retain(|h| !alike(h));
        }
    }
    let pack = write("pack.yaml", &pack(&line, &happenings, modes, elsewhere));
    let rules = load(&[pack]);
    (line, happenings, rules)
}

impl Device {
    /// Of a line, by its template, with all that can happen to it and all
    /// readings.
    pub fn new(template: &str) -> Self {
        let modes = MeterMode::ALL.map(|m| m.1);
        Self::with(template, |_| true, &modes)
    }

    /// The same with only some of what can happen, and only some readings.
    pub fn with(template: &str, may: impl Fn(&Happening) -> bool, modes: &[MeterMode]) -> Self {
        let (line, happenings, rules) = alone(template, may, modes, 0.0);
        let unit = Unit::default();
        let model = compile(&rules, &unit, &[], None).unwrap();
        let of_model = model
            .faults
            .iter()
            .map(|f| f.id.rsplit('/').next().unwrap());
        let of_line: Vec<String> = (happenings.iter())
            .map(|h| format!("{}.{}", h.element, h.words.split(' ').next().unwrap()))
            .collect();
        // What nobody listed comes after.
        let listed = of_model.take(of_line.len());
        assert!(listed.eq(of_line.iter().map(String::as_str)));
        let state = |conditions: &[usize]| model.bench.closure(conditions).into_iter().collect();
        let tests = model.tests.iter().map(|t| {
            t.measures.map(|_| PlanTest {
                outlook: outlook(&model, &t.foretold),
                minutes: t.step.minutes,
                conditions: state(&t.step.conditions),
                after: Vec::new(),
                handy: false,
                turns: Vec::new(),
            })
        });
        let remedies = model.remedies.iter().map(|r| {
            Some(PlanRemedy {
                clears: r.change.clears.clone(),
                minutes: r.step.minutes,
                parts: r.step.parts,
                breaks: 0.0,
                conditions: state(&r.step.conditions),
                handy: false,
            })
        });
        Device {
            wired: Wired::new(&line).unwrap(),
            tests: tests.collect(),
            remedies: remedies.collect(),
            moves: Moves::new(&model.bench),
            elements: model.items.iter().map(|i| i.name.clone()).collect(),
            meter: Meter::handheld(),
            line,
            model,
            happenings,
        }
    }

    /// The line with all that can happen to it.
    pub fn line_with(&self) -> Line {
        with_happenings(&self.line).0
    }

    /// Tests that measure the line.
    pub fn measuring(&self) -> impl Iterator<Item = TestId> {
        (self.tests.keys()).filter(|t| self.tests[*t].is_some())
    }

    /// The item that a fault belongs to.
    pub fn element(&self, fault: usize) -> ItemId {
        self.model.faults[FaultId(fault)].item
    }

    /// What a device truly reads in a test, with some fault at some size.
    pub fn truly(&self, device: &mut Drawn, test: TestId, fault: Option<(usize, f64)>) -> Reading {
        let probing = self.model.tests[test].measures.unwrap().probing;
        let wiring = self.wired.for_mode(probing.mode);
        let does = |(fault, size): (usize, f64)| {
            edits(wiring, &self.line, self.happenings[fault].harm, size)
        };
        let more = fault.map_or_else(Vec::new, does);
        device.reads((&self.line, &self.wired), &self.meter, probing, &more)
    }

    /// Tells of a run that ended with a wrong element.
    #[expect(clippy::print_stderr, reason = "asked for by who follows the trial")]
    pub fn tell(&self, fault: usize, size: f64, found: &Outcome) {
        let mut out = format!("{} at {size:.2}:", self.happenings[fault].words);
        for (test, reading) in &found.readings {
            let _ = write!(out, " {} {reading:?}", self.model.tests[*test].id);
        }
        let items = &found.belief.items;
        let mut order: Vec<ItemId> = items.keys().collect();
        order.sort_by(|a, b| items[*b].total_cmp(&items[*a]));
        for item in &order[..3.min(order.len())] {
            let _ = write!(out, "; {} {:.2}", self.elements[*item], items[*item]);
        }
        let _ = write!(out, "; truly {:.3}", found.belief.faults[FaultId(fault)]);
        eprintln!("{out}");
    }

    /// Follows the advice on a drawn device with a hidden fault until a remedy
    /// is advised or nothing is left that tells anything.
    pub fn follow(&self, fault: usize, size: f64, rng: &mut impl Rng) -> Outcome {
        let mut device = Drawn::of_line(&self.line, &self.wired, rng);
        let mut tests = self.tests.clone();
        let mut state = BenchState::default();
        let complaint = Event::Seen(Seen {
            finding: self.model.symptoms[0].finding.clone(),
            outcome: 1,
        });
        let mut readings = Vec::new();
        let mut taken: Vec<Taken> = Vec::new();
        loop {
            let recorded = self.model.recorded(&taken, &[]).map(|finding| {
                Event::Seen(Seen {
                    finding: Arc::new(finding),
                    outcome: 0,
                })
            });
            let events: Vec<Event> = [complaint.clone()].into_iter().chain(recorded).collect();
            let belief = update(&self.model.network, &events, Size::Auto);
            for (i, t) in tests.iter_mut_enumerated() {
                let Some(t) = t else { continue };
                let foretold = self.model.foretold_after(i, &taken, &belief.faults);
                t.outlook = outlook(&self.model, &foretold.unwrap().finding);
            }
            assert!(!belief.impossible);
            let advice = advise(
                &Situation {
                    faults: self.model.network.len(),
                    candidates: &belief.candidates,
                    tests: &tests,
                    remedies: &self.remedies,
                    retest: None,
                    due: &[],
                    so_far: 0.0,
                    moves: &self.moves,
                    state,
                    costs: Costs::default(),
                },
                1,
                Effort::REFINED,
            );
            let Some(Act::Test(test)) = advice.steps.first().map(|s| s.act) else {
                return Outcome { belief, readings };
            };
            let probing = self.model.tests[test].measures.unwrap().probing;
            let truth = self.truly(&mut device, test, Some((fault, size)));
            let reading = shown(&self.meter, probing.mode, truth, rng);
            let read = self
                .model
                .taken(&self.model.tests[test], Read::Number(reading));
            taken.push(read.unwrap());
            readings.push((test, reading));
            if let Some(t) = tests[test].take() {
                state = self.moves.reach(state, t.conditions).0;
            }
        }
    }
}
