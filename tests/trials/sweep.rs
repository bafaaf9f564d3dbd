//! Every measuring test swept over what its meter can show: no value is written
//! off, a short or an open is taken for one, and the word that is offered is the
//! word that counts.
//!
//! Bars, all common practice without a source:
//! * a misreading is the likelier explanation of a value only where slips land: in
//!   the span of a pin beside, of another mode, of a decade more or less, and for
//!   at most [`WRITTEN_OFF`] of the values;
//! * a fault that nobody listed leads for at most [`UNLISTED`] of them;
//! * 0 to 2 ohm raise what shorts the line and OL raises what opens it, where a
//!   good line reads neither;
//! * no listed suspect goes up and down again by more than [`BUMP`] between values
//!   that lie close together, but where slips land that explain more than that, and
//!   where drawn devices do the same: a meter shows a junction just below the end of
//!   each of its ranges, and hardly just above;
//! * what a test is predicted to show is what counts when it is shown.

use std::sync::Arc;

use crate::lines::rules;
use halfsplit::belief::{Belief, Event, FaultId, Seen, Size, exact, update};
use halfsplit::circuit::meter::{Meter, Reading};
use halfsplit::line::{Probing, Wired, ways};
use halfsplit::model::{self, BenchMeter, LineInfo, Model, Read, Slip, TestInfo, Unit};
use halfsplit::rulebase::{Harm, MeterMode, PackFault, Rulebase};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;

use crate::lines::{Drawn, edits, metered};

/// Most values of all that may be written off or explained by nothing listed, as
/// shares. What was reached when last measured stands as the floor that the test
/// holds; raise it with the program.
const WRITTEN_OFF: f64 = 0.10;
const WRITTEN_OFF_FLOOR: f64 = 0.10;
/// Those of them where no slip lands; the bar is none.
const NOWHERE_FLOOR: f64 = 0.004;
const UNLISTED: f64 = 0.10;
const UNLISTED_FLOOR: f64 = 0.08;

/// Kinds of device with an area that is complained of, and the meter at hand; the
/// first ones are swept by default, all with `HALFSPLIT_SWEEP` set to `all`; set to a
/// part of a name, it tells of each value of the tests that have it in theirs.
const DEVICES: [(&str, &str, &str); 6] = [
    ("handheld", "imaging", "handheld"),
    ("phone", "charging", "plain"),
    ("tablet", "imaging", "fine"),
    ("laptop", "charging", "handheld"),
    ("laptop", "imaging", "bench"),
    ("phone", "imaging", "pocket"),
];
const BY_DEFAULT: usize = 1;

/// A device of a kind with one of its areas complained of.
struct Device {
    name: String,
    model: Model,
    before: Vec<Event>,
    prior: Belief,
}

impl Device {
    fn new(rules: &Rulebase, (kind, pack, meter): (&str, &str, &str)) -> Device {
        let unit = Unit {
            kind: kind.to_owned(),
            ..Unit::default()
        };
        let meter = BenchMeter::of(rules, Some(meter)).unwrap();
        let packs = model::InPlay {
            packs: vec![pack.to_owned()],
            joined: Vec::new(),
        };
        let mut model = model::compile_for(rules, &unit, &[], Some(&packs), &meter).unwrap();
        let symptom = model.symptoms.iter().position(|s| s.general).unwrap();
        model.unsaid(&[symptom]);
        let before = vec![Event::Seen(Seen {
            finding: model.symptoms[symptom].finding.clone(),
            outcome: 1,
        })];
        Device {
            name: format!("{kind} {pack}"),
            prior: update(&model.network, &before, Size::Auto),
            before,
            model,
        }
    }

    fn all() -> Vec<Device> {
        let all = std::env::var("HALFSPLIT_SWEEP").is_ok();
        Device::some(if all { DEVICES.len() } else { BY_DEFAULT })
    }

    fn some(some: usize) -> Vec<Device> {
        let rules = rules();
        let device = |d: &(&str, &str, &str)| Device::new(&rules, *d);
        DEVICES[..some].iter().map(device).collect()
    }

    /// The measuring tests of the copy that is complained of, and of what copies
    /// share.
    fn measuring(&self) -> impl Iterator<Item = (&TestInfo, &LineInfo, Probing)> {
        let head = |id: &str| id.split('/').next().unwrap().to_owned();
        let symptom = self.model.symptoms.iter().find(|s| s.general).unwrap();
        let own = [head(&symptom.id), symptom.pack.clone()];
        self.model.tests.iter().filter_map(move |t| {
            let m = t.measures?;
            let line = &self.model.lines[m.line];
            own.contains(&head(&t.id)).then_some((t, line, m.probing))
        })
    }

    /// The belief after a reading.
    fn after(&self, t: &TestInfo, read: Read) -> Belief {
        let taken = self.model.taken(t, read).unwrap();
        let finding = self.model.recorded(&[taken], &[]);
        let finding = Arc::new(finding.unwrap_or_else(|| panic!("{} is not solved", t.id)));
        let seen = Event::Seen(Seen {
            finding,
            outcome: 0,
        });
        let events: Vec<Event> = self.before.iter().cloned().chain([seen]).collect();
        update(&self.model.network, &events, Size::Auto)
    }

    /// Log of the factor on the odds of having one of some faults.
    fn raised(&self, after: &Belief, faults: &[FaultId]) -> f64 {
        let log_odds = |b: &Belief| {
            let none: f64 = faults.iter().map(|f| 1.0 - b.faults[*f]).product();
            ((1.0 - none) / none.max(1e-300)).ln()
        };
        log_odds(after) - log_odds(&self.prior)
    }

    /// The listed faults that do something to a line.
    fn that(&self, line: &LineInfo, does: impl Fn(Harm) -> bool) -> Vec<FaultId> {
        let of = |(pack, f): &(PackFault, FaultId)| {
            let mut harms = line.line.faults.iter().filter(|e| e.fault == *pack);
            harms.any(|e| does(e.harm)).then_some(*f)
        };
        line.faults.iter().filter_map(of).collect()
    }

    fn is_unlisted(&self, fault: FaultId) -> bool {
        self.model.faults[fault].id.ends_with(".unlisted")
    }
}

/// What a meter can show: three steps a decade up to the end of its last range, 0 and
/// OL; or volts up to some more than a port is fed with. Nothing is below ground: a
/// diode test that reads less than 0 is refused when it is typed, and a voltage counts
/// as with the leads changed over.
fn grid(meter: &Meter, mode: MeterMode) -> Vec<Reading> {
    let value = |v: f64| Reading::Value((v * 1e4).round() / 1e4);
    let within = |r: &Reading, most: f64| matches!(r, Reading::Value(v) if *v <= most);
    let steps = |low: f64, high: f64, n: u32| {
        (0..=n).map(move |i| value(low + (high - low) * f64::from(i) / f64::from(n)))
    };
    match mode {
        MeterMode::Ohms => std::iter::once(value(0.0))
            .chain((0..=24).map(|i| value(0.2 * 10f64.powf(f64::from(i) / 3.0))))
            .filter(|r| {
                meter
                    .ohms
                    .last()
                    .is_some_and(|last| within(r, last.full_scale))
            })
            .chain([Reading::OL])
            .collect(),
        MeterMode::Diode => steps(0.0, 1.4, 28)
            .filter(|r| within(r, meter.diode.limit))
            .chain([Reading::OL])
            .collect(),
        MeterMode::Volts => steps(0.0, 5.4, 40).chain([value(0.004)]).collect(),
    }
}

/// One value of a sweep.
struct Swept {
    misread: f64,
    /// It is usual for a pin beside, another mode or a decade more or less.
    slipped: bool,
    unlisted_leads: bool,
    told: String,
}

fn sweep(d: &Device, t: &TestInfo, value: Reading) -> Swept {
    let b = d.after(t, Read::Number(value));
    let mut top: Vec<FaultId> = b.faults.keys().collect();
    top.sort_by(|x, y| b.faults[*y].total_cmp(&b.faults[*x]));
    let misread = *b.misread.last().unwrap();
    let told: Vec<String> = top[..3]
        .iter()
        .map(|f| format!("{} {:.2}", d.model.faults[*f].id, b.faults[*f]))
        .collect();
    let slip = d.model.slip_of(t, value);
    Swept {
        misread,
        slipped: slip.is_some_and(|s| !matches!(s, Slip::OpenLead | Slip::OnGround)),
        unlisted_leads: d.is_unlisted(top[0]),
        told: format!("misread {misread:.2} {slip:?}; {}", told.join(", ")),
    }
}

/// Says what the sweep came to; with `HALFSPLIT_SWEEP` set, also each value of the
/// tests whose names have that in them.
#[expect(clippy::print_stdout, reason = "asked for with --nocapture")]
fn tell(text: &str) {
    println!("{text}");
}

#[test]
fn no_value_is_written_off() {
    let want = std::env::var("HALFSPLIT_SWEEP").ok();
    let (mut all, mut off, mut outside, mut unlisted) = (0, 0, 0, 0);
    for d in Device::all() {
        let asked = |t: &TestInfo| {
            let id = format!("{} {}", d.name, t.id);
            want.as_ref().is_none_or(|w| id.contains(w) || w == "all")
        };
        let tests: Vec<_> = d.measuring().filter(|m| asked(m.0)).collect();
        let swept: Vec<Vec<(Reading, Swept)>> = tests
            .par_iter()
            .map(|(t, line, probing)| {
                let values = grid(&line.meter, probing.mode).into_iter();
                values.map(|v| (v, sweep(&d, t, v))).collect()
            })
            .collect();
        for ((t, line, _), values) in tests.iter().zip(&swept) {
            let count = |of: &dyn Fn(&Swept) -> bool| values.iter().filter(|v| of(&v.1)).count();
            let (bad, leads) = (count(&|s| s.misread > 0.5), count(&|s| s.unlisted_leads));
            let nowhere = count(&|s| s.misread > 0.5 && !s.slipped);
            all += values.len();
            off += bad;
            outside += nowhere;
            unlisted += leads;
            let id = format!("{} {}", d.name, t.id);
            if want.as_ref().is_some_and(|w| id.contains(w)) {
                for (v, s) in values {
                    tell(&format!("{v:?}: {}", s.told));
                }
            }
            tell(&format!(
                "{id} ({}; good {}): {bad} written off, {nowhere} of them where no slip lands, {leads} \
                 unlisted, of {}",
                line.line.id,
                t.good_reads(),
                values.len()
            ));
        }
    }
    let share = |n: usize| n as f64 / all as f64;
    let (off, outside, unlisted) = (share(off), share(outside), share(unlisted));
    tell(&format!(
        "of {all} values {off:.3} written off (bar {WRITTEN_OFF}), {outside:.3} where no slip lands \
         (bar 0), unlisted leads for {unlisted:.3} (bar {UNLISTED})"
    ));
    assert!(off <= WRITTEN_OFF_FLOOR && outside <= NOWHERE_FLOOR && unlisted <= UNLISTED_FLOOR);
}

/// By how much a suspect may go up and down again within a factor of 4, or 0.2 V.
const BUMP: f64 = 0.1;
/// Values close together: ten a decade, or 25 mV apart.
fn fine(meter: &Meter, mode: MeterMode) -> (Vec<f64>, usize) {
    match mode {
        MeterMode::Ohms => {
            let most = meter.ohms.last().map_or(0.0, |r| r.full_scale);
            let values = (0..=80).map(|i| 0.2 * 10f64.powf(f64::from(i) / 10.0));
            (values.filter(|v| *v <= most).collect(), 6)
        }
        MeterMode::Diode => ((0..=56).map(|i| 0.025 * f64::from(i)).collect(), 8),
        MeterMode::Volts => ((0..=120).map(|i| 0.025 * f64::from(i)).collect(), 8),
    }
}

/// The lowest values on either side of a place, within half of so many steps.
fn beside(of: &[f64], at: usize, within: usize) -> [usize; 2] {
    let (from, to) = (
        at.saturating_sub(within / 2),
        (at + within / 2).min(of.len() - 1),
    );
    let least = |mut part: std::ops::RangeInclusive<usize>| {
        let first = part.next().unwrap_or(at);
        part.fold(first, |a, b| if of[b] < of[a] { b } else { a })
    };
    [least(from..=at), least(at..=to)]
}

/// Devices drawn for each thing that may be wrong, and by how many bits the likelihood
/// may move more than their share does (the bar for a likelihood).
const DRAWN: usize = 20_000;
const MORE: f64 = 1.0;

/// What drawn devices read with a fault of a line, or with nothing wrong: what the fault
/// does, and how the board is built, by their chances.
fn drawn(line: &LineInfo, probing: Probing, fault: Option<FaultId>) -> Vec<f64> {
    let pack = fault.and_then(|f| line.faults.iter().find(|x| x.1 == f));
    let does = line
        .line
        .faults
        .iter()
        .filter(|e| pack.is_some_and(|p| e.fault == p.0));
    let does: Vec<(f64, Harm)> = does.map(|e| (e.chance, e.harm)).collect();
    let all: Vec<(f64, Wired)> = (ways(&line.line).iter())
        .map(|w| (w.chance, Wired::in_way(&line.line, w).unwrap()))
        .collect();
    let chances: Vec<f64> = all.iter().map(|w| w.0).collect();
    let harmful: Vec<f64> = does.iter().map(|d| d.0).collect();
    let mode = probing.mode;
    let one = |n: usize| {
        let mut rng = StdRng::seed_from_u64(n as u64);
        let by_chance = |chances: &[f64], u: f64| {
            let mut left = u;
            chances.iter().position(|c| {
                left -= c;
                left < 0.0
            })
        };
        let way = by_chance(&chances, rng.random_range(0.0..1.0));
        let wired = &all[way.unwrap_or(0)].1;
        let harm = by_chance(&harmful, rng.random_range(0.0..1.0));
        let mut device = Drawn::of_model(&line.line, wired, &mut rng);
        let more = harm.map_or_else(Vec::new, |harm| {
            let size = rng.random_range(0.0..1.0);
            edits(wired.for_mode(mode), &line.line, does[harm].1, size)
        });
        let truth = device.reads((&line.line, wired), &line.meter, probing, &more);
        metered(&line.meter, mode, truth, &mut rng)
    };
    (0..DRAWN).into_par_iter().filter_map(one).collect()
}

/// Whether drawn devices make a fault likelier at a value and less likely at those
/// beside it, nearly as much as the likelihood does.
fn as_drawn(
    (line, t, probing): (&LineInfo, &TestInfo, Probing),
    m: &Model,
    fault: FaultId,
    values: [f64; 3],
) -> bool {
    let (with, without) = (
        drawn(line, probing, Some(fault)),
        drawn(line, probing, None),
    );
    let count = |of: &[f64], v: f64| {
        let (low, high) = match probing.mode {
            MeterMode::Ohms => (v / 10f64.powf(0.05), v * 10f64.powf(0.05)),
            _ => (v - 0.0125, v + 0.0125),
        };
        of.iter().filter(|x| **x >= low && **x < high).count() as f64
    };
    let harms = line.harms();
    let likely = |v: f64| {
        let taken = m.taken(t, Read::Number(Reading::Value(v))).unwrap();
        let all = line.explained(&[taken]).unwrap();
        let pack = line.faults.iter().find(|x| x.1 == fault).unwrap().0;
        let does = line.line.faults.iter().filter(|e| e.fault == pack);
        let (mut with, mut left) = (0.0, 1.0);
        for e in does {
            let at = harms.iter().position(|h| *h == e.harm).unwrap();
            with += e.chance * all[at + 1];
            left -= e.chance;
        }
        ((with + left * all[0]) / all[0]).log2()
    };
    let [low, at, high] = values;
    [low, high].into_iter().all(|side| {
        let n = [(&with, at), (&with, side), (&without, side), (&without, at)];
        let n = n.map(|(of, v)| count(of, v) + 0.5);
        let moves = (n[0] / n[1] * n[2] / n[3]).log2();
        let sampled = n.iter().map(|n| 1.0 / n).sum::<f64>().sqrt() / std::f64::consts::LN_2;
        tell(&format!(
            "  {} {at:.4} beside {side:.4}: likelihood moves {:.2} bits, devices {moves:.2} +-{sampled:.2} of {n:?}",
            t.id,
            likely(at) - likely(side)
        ));
        likely(at) - likely(side) <= moves + MORE + 2.0 * sampled
    })
}

/// A fault that goes up and down again, by how much, and the values below, at and
/// above.
type Bump = (FaultId, f64, [f64; 3]);

#[test]
fn no_suspect_goes_up_and_down_again() {
    let (mut all, mut bumps, mut drawn_too) = (0, 0, 0);
    for d in Device::some(1) {
        let tests: Vec<_> = d.measuring().collect();
        let told: Vec<(usize, Vec<Bump>)> = tests
            .par_iter()
            .map(|(t, line, probing)| {
                let (values, within) = fine(&line.meter, probing.mode);
                let after: Vec<Belief> = (values.iter())
                    .map(|v| d.after(t, Read::Number(Reading::Value(*v))))
                    .collect();
                let slips: Vec<bool> = (values.iter().zip(&after))
                    .map(|(v, b)| {
                        *b.misread.last().unwrap() > BUMP
                            && d.model.slip_of(t, Reading::Value(*v)).is_some()
                    })
                    .collect();
                let mut told = Vec::new();
                for f in d.model.faults.keys().filter(|f| !d.is_unlisted(*f)) {
                    let of: Vec<f64> = after.iter().map(|b| b.faults[f]).collect();
                    for at in 0..values.len() {
                        let from = at.saturating_sub(within);
                        let near = from..=(at + within).min(of.len() - 1);
                        let [low, high] = beside(&of, at, within);
                        let by = of[at] - of[low].max(of[high]);
                        if by > BUMP && !slips[near].iter().any(|s| *s) {
                            told.push((f, by, [values[low], values[at], values[high]]));
                        }
                    }
                }
                (values.len(), told)
            })
            .collect();
        for ((t, line, probing), (values, told)) in tests.iter().zip(told) {
            all += values;
            for (f, by, values) in told {
                let same = as_drawn((line, t, *probing), &d.model, f, values);
                drawn_too += usize::from(same);
                bumps += usize::from(!same);
                let (fault, also) = (&d.model.faults[f].id, if same { ", as drawn" } else { "" });
                tell(&format!("{} {:.4}: {fault} {by:.2}{also}", t.id, values[1]));
            }
        }
    }
    tell(&format!(
        "{bumps} bumps at {all} values (bar 0), {drawn_too} where drawn devices do the same"
    ));
    assert_eq!(bumps, 0);
}

#[test]
fn shorts_and_opens_are_taken_for_what_they_are() {
    let shorts = |h| matches!(h, Harm::Grounded(_) | Harm::Short(_));
    let opens = |h| matches!(h, Harm::Open(_));
    let mut wrong = Vec::new();
    for d in Device::all() {
        for (t, line, probing) in d.measuring().filter(|m| m.2.mode == MeterMode::Ohms) {
            let Some((low, _)) = line.forecast(probing).unwrap().bounds else {
                continue;
            };
            let mut hold = |what: &str, value: Reading, faults: Vec<FaultId>, up: bool| {
                let after = d.after(t, Read::Number(value));
                let raised = d.raised(&after, &faults);
                if !faults.is_empty() && (raised > 0.0) != up {
                    wrong.push(format!(
                        "{} {}: {value:?} {what} {raised:+.2}",
                        d.name, t.id
                    ));
                }
            };
            if low > 10.0 {
                for v in [0.0, 0.4, 2.0] {
                    hold("shorts", Reading::Value(v), d.that(line, shorts), true);
                }
            }
            let pure = d.that(line, shorts);
            let also = d.that(line, |h| !shorts(h));
            let pure: Vec<FaultId> = pure.into_iter().filter(|f| !also.contains(f)).collect();
            hold("pure shorts", Reading::OL, pure, false);
        }
    }
    let opens_seen = Device::all().iter().any(|d| {
        d.measuring().any(|(t, line, _)| {
            let faults = d.that(line, opens);
            !faults.is_empty() && d.raised(&d.after(t, Read::Number(Reading::OL)), &faults) > 0.0
        })
    });
    assert!(opens_seen, "OL raises no open at all");
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn the_word_that_is_offered_is_the_word_that_counts() {
    for d in Device::all() {
        let m = &d.model;
        let evidence = |events: &[Event]| exact::evidence(&m.network, events).unwrap();
        let none = evidence(&d.before);
        for (t, _, _) in d.measuring() {
            let mut sum = 0.0;
            for k in 0..t.outcomes.len() {
                let with = |finding, outcome| {
                    let seen = Event::Seen(Seen { finding, outcome });
                    let events: Vec<Event> = d.before.iter().cloned().chain([seen]).collect();
                    evidence(&events) / none
                };
                let predicted = with(t.foretold.clone(), k);
                let taken = m.taken(t, Read::Word(k)).unwrap();
                let counts = with(Arc::new(m.recorded(&[taken], &[]).unwrap()), 0);
                let id = &t.outcomes[k].id;
                assert!(
                    (predicted - counts).abs() < 0.02,
                    "{} {} {id}: predicted {predicted:.4}, counts {counts:.4}",
                    d.name,
                    t.id
                );
                sum += predicted;
            }
            // The sum over sets of faults leaves out what is negligible.
            assert!((sum - 1.0).abs() < 1e-3, "{} {}: {sum}", d.name, t.id);
        }
    }
}
