//! Every step of the built-in rules carries the cautions of its kind. What a
//! step is is read here from its question, its conditions and its tools, in
//! words of this test; the cautions themselves are common practice, no source,
//! but for the laser: IEC 60825-1, as remembered, forbids looking into the beam
//! of any class above 1 and lets nobody but the trained run opened ones.

#![allow(clippy::print_stdout)]

use halfsplit::bench::Bench;
use halfsplit::job::{Case, CaseFile, Settings};
use halfsplit::model::Unit;
use halfsplit::rulebase::{DEVICE_KINDS, Step};

/// A step with what names it.
struct Named<'a> {
    id: &'a str,
    words: String,
    step: &'a Step,
}

impl Named<'_> {
    fn holds(&self, bench: &Bench, condition: &str) -> bool {
        let all = bench.closure(&self.step.conditions);
        all.iter().any(|c| bench.conditions[*c].id == condition)
    }

    fn uses(&self, tools: &[&str]) -> bool {
        let has = |tool: &String| tools.iter().any(|t| tool.contains(t));
        self.step.tools.iter().any(has)
    }

    fn says(&self, words: &[&str]) -> bool {
        words.iter().any(|w| self.words.contains(w))
    }
}

/// The cautions that a step of this kind must carry.
fn wanted(s: &Named, bench: &Bench) -> Vec<&'static str> {
    let on = s.holds(bench, "powered");
    let open = s.holds(bench, "opened");
    let unplugged = s.holds(bench, "battery-out");
    let hot = s.uses(&["hot air", "iron", "preheater", "rework"]);
    let rules: [(&str, bool); 18] = [
        ("static", open),
        ("lithium", open),
        ("unpowered", unplugged && s.uses(&["multimeter"])),
        ("hot-air", hot),
        ("fumes", hot || s.uses(&["flux"])),
        ("solvents", s.uses(&["isopropyl", "adhesive remover"])),
        ("cold-spray", s.uses(&["freeze"])),
        ("current-limit", s.uses(&["bench supply"])),
        ("probe-slip", s.uses(&["needle tips"])),
        ("donor", s.uses(&["known-good module", "known-good device"])),
        ("encrypted", s.uses(&["second system"])),
        ("privacy", s.uses(&["log reader", "second system"])),
        ("privacy", on && s.says(&["another user", "account"])),
        ("warm", s.uses(&["thermometer", "thermal camera"])),
        ("eyes-laser", on && s.says(&["scan engine"])),
        ("bright-lamp", on && s.says(&[" lamp"])),
        ("glass", s.uses(&["new glass"])),
        ("pack-thermistor", hot && s.says(&["thermistor"])),
    ];
    let mut all: Vec<&str> = rules.iter().filter(|r| r.1).map(|r| r.0).collect();
    all.dedup();
    all
}

#[test]
fn every_step_carries_the_cautions_of_its_kind() {
    let rules = crate::lines::rules();
    let mut counted = std::collections::BTreeMap::<String, usize>::new();
    let mut short = Vec::new();
    for kind in DEVICE_KINDS {
        let file = CaseFile {
            device: Unit {
                kind: kind.to_owned(),
                ..Unit::default()
            },
            ..CaseFile::default()
        };
        let case = Case::new(&rules, &file, Settings::default()).unwrap();
        let m = &case.model;
        let tests = m.tests.iter().map(|t| (&t.id, &t.ask, &t.step));
        let remedies = m.remedies.iter().map(|r| (&r.id, &r.name, &r.step));
        for (id, words, step) in tests.chain(remedies) {
            let named = Named {
                id,
                words: format!("{id} {words}").replace('-', " ").to_lowercase(),
                step,
            };
            let carried: Vec<&str> = (step.cautions.iter())
                .map(|c| m.bench.cautions[*c].id.as_str())
                .collect();
            if std::env::var_os("HALFSPLIT_CAUTIONS").is_some() {
                println!("{kind} {id}: {carried:?} {:?} | {words}", step.tools);
            }
            for c in wanted(&named, &m.bench) {
                *counted.entry(c.to_owned()).or_default() += 1;
                if !carried.contains(&c) {
                    short.push(format!("{kind}: {} lacks {c}", named.id));
                }
            }
        }
    }
    println!("{counted:?}");
    assert!(short.is_empty(), "{short:#?}");
    // Each kind of step is there to be judged.
    assert!(counted.len() >= 16, "{counted:?}");
}
