//! Every measuring test swept over what a meter can show: no value may be written
//! off, and no small step of the value may turn the belief about.

use std::sync::Arc;
use std::time::Instant;

use halfsplit::belief::{Event, Seen, Size, update};
use halfsplit::circuit::meter::Reading;
use halfsplit::model::{self, Model, Read, Unit};
use halfsplit::rulebase::{MeterMode, Rulebase, Rules};

fn rules() -> Rulebase {
    halfsplit::built_in::rulebase(&Rules::default())
        .unwrap_or_else(|_| panic!("the built-in rules"))
}

/// A device of a kind with one of its areas complained of.
fn device(rules: &Rulebase, kind: &str, pack: &str) -> Option<(Model, Vec<Event>)> {
    let unit = Unit {
        kind: kind.to_owned(),
        ..Unit::default()
    };
    let mut m = model::compile(rules, &unit, &[], Some(&[pack.to_owned()])).ok()?;
    let symptom = m.symptoms.iter().position(|s| s.general)?;
    m.unsaid(&[symptom]);
    let complaint = Event::Seen(Seen {
        finding: m.symptoms[symptom].finding.clone(),
        outcome: 1,
    });
    Some((m, vec![complaint]))
}

/// What a meter can show: steps of a third of a decade, 0 and OL; or volts.
fn grid(mode: MeterMode, most: f64) -> Vec<Reading> {
    match mode {
        MeterMode::Ohms => {
            let steps = (0..=25).map(|i| Reading::Value(0.2 * 10f64.powf(f64::from(i) / 3.0)));
            std::iter::once(Reading::Value(0.0))
                .chain(steps.filter(|r| matches!(r, Reading::Value(v) if *v < 40e6)))
                .chain([Reading::OL])
                .collect()
        }
        MeterMode::Diode => (-2..=40)
            .map(|i| Reading::Value(f64::from(i) * 0.05))
            .chain([Reading::OL])
            .collect(),
        MeterMode::Volts => {
            let n = 40;
            (0..=n)
                .map(|i| Reading::Value(-0.6 + (most + 0.6) * f64::from(i) / f64::from(n)))
                .chain([Reading::Value(0.0), Reading::Value(0.004)])
                .collect()
        }
    }
}

#[test]
#[ignore = "prints the sweep for whoever works on it"]
fn printed() {
    let rules = rules();
    let want = std::env::var("HALFSPLIT_SWEEP").unwrap_or_default();
    let (mut all, mut off) = (0, 0);
    for (kind, pack) in [
        ("phone", "imaging"),
        ("phone", "charging"),
        ("tablet", "imaging"),
        ("laptop", "charging"),
        ("handheld", "imaging"),
    ] {
        let Some((m, before)) = device(&rules, kind, pack) else {
            continue;
        };
        let prior = update(&m.network, &before, Size::Auto);
        for t in m.tests.iter().filter(|t| t.measures.is_some()) {
            let at = t.measures.unwrap();
            let id = format!("{kind} {}", t.id);
            if !id.contains(&want) {
                continue;
            }
            let start = Instant::now();
            let mut bad = Vec::new();
            let values = grid(at.probing.mode, 6.0);
            for v in &values {
                let Some(taken) = m.taken(t, Read::Number(*v)) else {
                    continue;
                };
                let Some(finding) = m.recorded(&[taken], &[]) else {
                    bad.push(format!("{v:?} unsolved"));
                    continue;
                };
                let mut events = before.clone();
                events.push(Event::Seen(Seen {
                    finding: Arc::new(finding),
                    outcome: 0,
                }));
                let b = update(&m.network, &events, Size::Auto);
                let wrong = *b.misread.last().unwrap();
                all += 1;
                if wrong > 0.5 {
                    off += 1;
                }
                let mut top: Vec<usize> = (0..m.faults.len()).collect();
                top.sort_by(|x, y| b.faults[*y].total_cmp(&b.faults[*x]));
                let told: Vec<String> = top[..3]
                    .iter()
                    .map(|f| {
                        format!(
                            "{} {:.2}({:+.1})",
                            m.faults[*f].id,
                            b.faults[*f],
                            (b.faults[*f]
                                / (1.0 - b.faults[*f])
                                / (prior.faults[*f] / (1.0 - prior.faults[*f])))
                                .log2()
                        )
                    })
                    .collect();
                if !want.is_empty() {
                    println!("{v:?}: misread {wrong:.3}; {}", told.join(", "));
                }
                if wrong > 0.5 {
                    bad.push(format!("{v:?}"));
                }
            }
            println!(
                "{id} ({}; good {}): {} of {} written off, {:.0} ms a value",
                m.lines[at.line].line.id,
                t.good_reads(),
                bad.len(),
                values.len(),
                start.elapsed().as_secs_f64() * 1e3 / values.len() as f64
            );
        }
    }
    println!("{off} of {all}");
}
