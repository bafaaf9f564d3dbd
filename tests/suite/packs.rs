//! What the built-in packs hold for likely, against physics and the practice of
//! the bench: one test for each thing that they once had wrong. Without a named
//! publication an expectation is common practice, no source.

use crate::lines::rules;
use halfsplit::job::{Case, CaseFile, Did, Entry, Reference, Settings, Shown};
use halfsplit::model::{Found, Unit};
use halfsplit::plan::{Act, Effort};
use halfsplit::rulebase::{Fault, Harm, Pack, Rulebase, Rules, read_yaml};

fn read(test: &str, shows: &str) -> Entry {
    Entry::Result(Shown {
        test: test.to_owned(),
        shows: shows.to_owned(),
        ..Shown::default()
    })
}

fn good_one(test: &str, reads: &str) -> Entry {
    Entry::Reference(Reference {
        test: test.to_owned(),
        reads: reads.to_owned(),
        from: "a like one".to_owned(),
        meter: None,
    })
}

/// A device of a kind, what is said of it and its past, and what was entered.
fn job(
    rules: &Rulebase,
    (kind, model): (&str, Option<&str>),
    complaint: &str,
    history: &[&str],
    steps: Vec<Entry>,
) -> Case {
    let file = CaseFile {
        device: Unit {
            kind: kind.to_owned(),
            model: model.map(str::to_owned),
            ..Unit::default()
        },
        complaint: complaint.to_owned(),
        history: history.iter().map(|h| (*h).to_owned()).collect(),
        steps,
        ..CaseFile::default()
    };
    let settings = Settings {
        effort: Effort::FIRST,
        ..Settings::default()
    };
    Case::new(rules, &file, settings).unwrap_or_else(|e| panic!("{complaint}: {e}"))
}

fn p(case: &Case, name: &str) -> f64 {
    match case.model.fault(name) {
        Found::One(f) => case.belief.faults[f],
        other => panic!("`{name}` is no fault: {other:?}"),
    }
}

fn odds(p: f64) -> f64 {
    p / (1.0 - p)
}

/// The first suspects, likeliest first.
fn leaders(case: &Case, many: usize) -> Vec<String> {
    let mut all: Vec<_> = case.belief.faults.keys().collect();
    all.sort_by(|a, b| case.belief.faults[*b].total_cmp(&case.belief.faults[*a]));
    all.truncate(many);
    all.iter()
        .map(|f| case.model.faults[*f].id.clone())
        .collect()
}

/// Names of all steps that are advised.
fn advised(case: &Case) -> Vec<String> {
    let steps = case.advice(usize::MAX).steps;
    let name = |act: Act| case.model.named(act).id.to_string();
    steps.iter().map(|s| name(s.act)).collect()
}

fn pack<'r>(rules: &'r Rulebase, name: &str) -> &'r Pack {
    rules.packs.iter().find(|p| p.id == name).unwrap()
}

/// Faults of an item with their rate of 1000 jobs.
fn faults<'r>(pack: &'r Pack, item: &str) -> Vec<&'r Fault> {
    let item = pack.items.iter().find(|i| i.id == item).unwrap();
    item.faults.iter().map(|f| &pack.faults[*f]).collect()
}

const PHONE: (&str, Option<&str>) = ("phone", None);
const LAPTOP: (&str, Option<&str>) = ("laptop", None);

#[test]
fn a_sensor_answers_without_its_analogue_supply() {
    let rules = rules();
    let black = "the rear camera is black";
    let listed = |shows: &str| {
        let steps = vec![read("rear-camera/hardware-list", shows)];
        job(&rules, PHONE, black, &[], steps)
    };
    let before = job(&rules, PHONE, black, &[], Vec::new());
    let (yes, no) = (listed("yes"), listed("no"));
    for analogue in ["analogue-regulator.dead", "analogue-filter.open"] {
        let name = format!("rear-camera/{analogue}");
        assert!(p(&yes, &name) > p(&before, &name), "{name}");
        assert!(p(&no, &name) < p(&before, &name), "{name}");
    }
    // The I/O supply feeds the very pins that answer.
    for io in ["io-switch.open", "io-filter.open", "core-regulator.dead"] {
        let name = format!("rear-camera/{io}");
        assert!(p(&yes, &name) < 0.3 * p(&before, &name), "{name}");
        assert!(p(&no, &name) > p(&before, &name), "{name}");
    }
}

/// MIL-HDBK-338B, failure-mode distributions, silicon FET: short 0.51, output low
/// 0.22, parameter change 0.17, open 0.05, output high 0.05.
#[test]
fn a_level_shifter_fails_as_a_transistor_does() {
    let rules = rules();
    let all = faults(pack(&rules, "imaging"), "shifter");
    let rate = |id: &str| 1000.0 * all.iter().find(|f| f.id == id).unwrap().rate;
    let open = 0.5; // beside it the joints, which the row does not count
    let whole = rate("short") + rate("stuck-low") + rate("weak") + rate("stuck-high") + open;
    for (id, share) in [
        ("short", 0.51),
        ("stuck-low", 0.22),
        ("weak", 0.17),
        ("stuck-high", 0.05),
    ] {
        assert!((rate(id) / whole - share).abs() < 0.01, "{id}");
    }
    // Shorted through, a processor side of 1.8 V is drawn towards the 3.3 V of the
    // engine: with two like pull-ups to some 2.5 V, less by its clamp.
    let reads = read("scan-engine/bus-data-inner-volts", "2.3 V");
    let h3 = ("handheld", Some("Lodestar H3"));
    let case = job(&rules, h3, "the scanner is not detected", &[], vec![reads]);
    let first = leaders(&case, 3);
    assert!(
        first.contains(&"scan-engine/shifter.short".to_owned()),
        "{first:?}"
    );
}

#[test]
fn firmware_seldom_kills_a_flash() {
    let rules = rules();
    for (kind, complaint) in [
        ("phone", "the flash of the rear camera does not work"),
        ("tablet", "the torch does not light any more"),
        ("handheld", "there is no red light when I pull the trigger"),
    ] {
        let case = job(&rules, (kind, None), complaint, &[], Vec::new());
        let firmware = p(&case, "imaging/firmware.corrupt");
        assert!(firmware < 0.03, "{complaint}: {firmware}");
    }
}

#[test]
fn lint_is_a_matter_of_pockets() {
    let rules = rules();
    let lint = |kind: &str, port: &str| {
        let case = job(
            &rules,
            (kind, None),
            "it does not charge any more",
            &[],
            Vec::new(),
        );
        p(&case, &format!("{port}/port.dirty"))
    };
    let phone = lint("phone", "charging-port");
    assert!(phone > lint("handheld", "charging-port"));
    assert!(phone > 3.0 * lint("laptop", "left-port"));
    // Small boards have round jacks and stay where they are.
    assert!(lint("board", "charging-port") < 0.015);
    let case = job(
        &rules,
        LAPTOP,
        "it does not charge any more",
        &[],
        Vec::new(),
    );
    let first = leaders(&case, 3);
    assert!(
        first.contains(&"charging/adapter.dead".to_owned()),
        "{first:?}"
    );
}

/// Rows of published tables of thermistors of 10 kohm, B 3380 to 3950: 12.1 to
/// 12.5 kohm at 20 C, 8.1 to 8.3 kohm at 30 C. The other kinds go with them.
#[test]
fn a_thermistor_is_not_judged_without_a_like_one() {
    let rules = rules();
    let complaint = "it does not charge any more";
    let before = job(&rules, PHONE, complaint, &[], Vec::new());
    let ways = ["open", "short", "drifted"];
    let all = |case: &Case| {
        let one = |way: &&str| p(case, &format!("charging/thermistor.{way}"));
        ways.iter().map(one).sum::<f64>()
    };
    let reading = |reads: &str| vec![read("charging/thermistor-ohms", reads)];
    for kind in [10.0, 47.0, 100.0] {
        for share in [1.25, 1.0, 0.81] {
            let reads = format!("{} kohm", kind * share);
            let case = job(&rules, PHONE, complaint, &[], reading(&reads));
            assert!(all(&case) <= all(&before), "{reads}: {}", all(&case));
        }
    }
    // In between, or none at all to measure: nothing is settled.
    for reads in ["5 kohm", "22 kohm", "27 kohm", "220 kohm", "OL"] {
        let case = job(&rules, PHONE, complaint, &[], reading(reads));
        assert!(all(&case) < 0.3, "{reads}: {}", all(&case));
    }
    // Beside a like pack of 10 kohm it is.
    let mut steps = reading("47 kohm");
    steps.insert(0, good_one("charging/thermistor-ohms", "10.2 kohm"));
    let case = job(&rules, PHONE, complaint, &[], steps);
    assert_eq!(leaders(&case, 1), ["charging/thermistor.drifted"]);
}

#[test]
fn a_cell_below_two_volts_is_not_charged_again() {
    let rules = rules();
    let dead = "the phone is dead since it lay in a drawer";
    let wake = "charging/wake-battery".to_owned();
    let at = |reads: &str, more: Vec<Entry>| {
        let mut steps = vec![read("charging/battery-volts", reads)];
        steps.extend(more);
        job(&rules, PHONE, dead, &[], steps)
    };
    let powered = |case: &Case| {
        let bench = &case.model.bench;
        let on = |act: Act| {
            let all = bench.closure(&case.model.named(act).step.conditions);
            all.iter().any(|c| bench.conditions[*c].id == "powered")
        };
        case.advice(usize::MAX).steps.iter().any(|s| on(s.act))
    };
    for reads in ["2.05 V", "2.4 V", "2.7 V"] {
        let case = at(reads, Vec::new());
        assert_eq!(case.gates_up().count(), 0, "{reads}");
        assert!(
            advised(&case).contains(&wake),
            "{reads}: {:?}",
            advised(&case)
        );
    }
    for reads in ["1.95 V", "1.2 V", "0.3 V", "0 V"] {
        for found in [Vec::new(), vec![read("safety/deep-cell", "found")]] {
            let case = at(reads, found);
            assert!(case.gates_up().count() > 0, "{reads}");
            assert!(!advised(&case).contains(&wake), "{reads}");
            assert!(!powered(&case), "{reads}");
        }
    }
    // With another battery the way is open.
    let done = Entry::Remedy(Did {
        did: "charging/replace-battery".to_owned(),
        ..Did::default()
    });
    let case = at("1.2 V", vec![done, read("safety/deep-cell", "clear")]);
    assert!(powered(&case));
    // The step says so itself.
    let Found::One(remedy) = case.model.remedy(&wake) else {
        panic!("no {wake}");
    };
    let step = &case.model.remedies[remedy].step;
    assert!((step.cautions.iter()).any(|c| case.model.bench.cautions[*c].id == "deep-cell"));
}

#[test]
fn a_corroded_port_resists_and_cleaning_helps() {
    let rules = rules();
    let charging = pack(&rules, "charging");
    let at = charging.faults.position(|f| f.id == "corroded").unwrap();
    let vbus = charging.lines.iter().find(|l| l.id == "vbus").unwrap();
    let (mut resists, mut all) = (0.0, 0.0);
    for e in vbus.faults.iter().filter(|e| e.fault == at) {
        all += e.chance;
        if matches!(e.harm, Harm::Resistive(_)) {
            resists += e.chance;
        }
    }
    assert!(resists > 0.7 * all && all > 0.5, "{resists} of {all}");
    let slow = "it charges slowly since it fell into the sink";
    let steps = vec![
        read("safety/wet", "clear"),
        read("charging-port/port-look", "crust"),
    ];
    let case = job(&rules, PHONE, slow, &["liquid"], steps);
    assert_eq!(leaders(&case, 1), ["charging-port/port.corroded"]);
    let clean = charging
        .remedies
        .iter()
        .find(|r| r.id == "clean-port")
        .unwrap();
    let helps = clean.clears.iter().find(|c| c.0 == at).map(|c| c.1);
    assert!(helps.is_some_and(|chance| chance > 0.5), "{helps:?}");
}

#[test]
fn a_laptop_has_its_cells_in_series() {
    let rules = rules();
    let off = "it goes off as soon as I unplug it";
    let after = |device, reads: &str| {
        let steps = vec![read("charging/battery-sense-volts", reads)];
        job(&rules, device, off, &[], steps)
    };
    let deep = |case: &Case| p(case, "charging/battery.deep-discharged");
    // No fault of the rules makes that reading, or it is a slip.
    let strange = |case: &Case| {
        let all = case.model.faults.iter().zip(&case.belief.faults);
        let unlisted = all.filter(|(f, _)| f.id.ends_with(".unlisted"));
        unlisted.map(|(_, p)| p).sum::<f64>() + case.belief.misread.last().unwrap()
    };
    let before = |device| deep(&job(&rules, device, off, &[], Vec::new()));
    // Two, three and four cells of 3.7 V.
    for reads in ["7.4 V", "11.1 V", "14.8 V"] {
        let case = after(LAPTOP, reads);
        assert!(deep(&case) < 1.1 * before(LAPTOP), "{reads}");
        assert!(strange(&case) < 0.2, "{reads}: {}", strange(&case));
        // A phone has one cell.
        let case = after(PHONE, reads);
        assert!(strange(&case) > 0.8, "{reads}: {}", strange(&case));
    }
    assert!(deep(&after(LAPTOP, "3.7 V")) > 3.0 * before(LAPTOP));
    assert!(deep(&after(PHONE, "3.7 V")) < before(PHONE));
}

/// USB Type-C Specification: a sink shows Rd, 5.1 kohm, on each CC pin; nothing
/// says that it has a controller.
#[test]
fn a_cc_line_may_have_no_controller() {
    let rules = rules();
    let complaint = "it does not charge any more";
    for kind in ["phone", "board"] {
        let before = job(&rules, (kind, None), complaint, &[], Vec::new());
        let steps = vec![
            read("charging-port/cc-first-diode", "OL"),
            read("charging-port/cc-first-ohms", "5.1 kohm"),
            read("charging-port/cc-second-diode", "OL"),
            read("charging-port/cc-second-ohms", "5.09 kohm"),
        ];
        let case = job(&rules, (kind, None), complaint, &[], steps);
        let misread = case.belief.misread.iter().copied().fold(0.0, f64::max);
        assert!(misread < 0.5, "{kind}: {misread}");
        for fault in ["cc-line.open", "cc-pull-down.open", "cc-controller.dead"] {
            let name = format!("charging-port/{fault}");
            let (now, then) = (p(&case, &name), p(&before, &name));
            assert!(now < 2.0 * then && now < 0.03, "{kind}: {name} {now}");
        }
    }
}

#[test]
fn a_wrong_variant_needs_someone_who_fitted_it() {
    let rules = rules();
    let wrong = |history: &[&str]| {
        let black = "the rear camera is black";
        let case = job(&rules, PHONE, black, history, Vec::new());
        p(&case, "rear-camera/module.wrong-variant")
    };
    let never = wrong(&[]);
    assert!(never < 0.005, "{never}");
    assert!(odds(wrong(&["earlier-repair"])) > 4.0 * odds(never));
    assert!(odds(wrong(&["third-party-part"])) > 10.0 * odds(never));
}

#[test]
fn an_ear_at_the_lens_proves_little() {
    let rules = rules();
    let drive = |steps: Vec<Entry>| {
        let blurred = "the rear camera is blurred";
        let case = job(&rules, PHONE, blurred, &[], steps);
        odds(p(&case, "rear-camera/module.focus-stuck"))
    };
    let before = drive(Vec::new());
    let silent = drive(vec![read("rear-camera/focus-listen", "still")]) / before;
    assert!((1.2..4.0).contains(&silent), "{silent}");
    let moves = drive(vec![read("rear-camera/focus-listen", "moves")]) / before;
    assert!((0.25..0.9).contains(&moves), "{moves}");
}

#[test]
fn a_permission_seldom_takes_both_cameras_of_a_phone() {
    let rules = rules();
    let case = job(&rules, PHONE, "both cameras are black", &[], Vec::new());
    let refused = p(&case, "imaging/permission.refused");
    assert!(refused < 0.06, "{refused}");
    let first = leaders(&case, 3);
    assert!(!first.iter().any(|f| f.contains("permission")), "{first:?}");
}

/// Ohm's law: what empties a cell of 2 Ah within hours is half an ampere, and at
/// 3.8 V that is some 7 ohm.
#[test]
fn the_demo_of_half_a_short_drains_what_it_says() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-cases/half-a-short.yaml");
    let text = std::fs::read_to_string(path).unwrap();
    let file: CaseFile = read_yaml(path, text).unwrap_or_else(|_| panic!("{path}"));
    let reads = file.steps.iter().find_map(|s| match s {
        Entry::Result(r) if r.test.ends_with("main-rail-ohms") => Some(r.shows.clone()),
        _ => None,
    });
    let ohms: f64 = reads.unwrap().trim_end_matches(" ohm").parse().unwrap();
    assert!((6.0..=8.0).contains(&ohms), "{ohms}");
    let hours = 2.0 / (3.8 / ohms);
    assert!((3.0..4.5).contains(&hours), "{hours}");
}

/// The published ratio is published. What is beside it is not.
#[test]
fn a_multiplier_beside_a_published_ratio_is_practice() {
    let text = "\
pack: bulb
source: common practice, no source
nothing-found: 50
two-or-more: 30
items:
  bulb:
    name: bulb
    where: part
    kinds: {laptop: 0.5}
    faults:
      open:
        rate: 700
        history: {drop: 2}
        kinds: {phone: 1.5}
        source: 'MIL-HDBK-338B, failure-mode distributions, lamp: no light 0.67, dim 0.33'
      dim: 280
functions:
  lights: {name: it lights, needs: [bulb]}
symptoms:
  dark: {name: it stays dark, loses: lights}
tests:
  try: {ask: Does it light?, tries: lights}
  volts:
    ask: What is on it?
    kind: measure
    unit: V
    shows:
      good: {between: [4.75, 5.25], source: 'USB 2.0 Specification, Table 7-7'}
      low: {between: [0, 4.75], links: {bulb.open: 0.1}}
remedies:
  new: {name: fit a new one, clears: {bulb: 0.9}}
";
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bulb.yaml");
    std::fs::write(&path, text).unwrap();
    let of = |paths: Vec<std::path::PathBuf>| {
        let loaded = Rules {
            paths,
            only_these: false,
        }
        .load();
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
        loaded.rulebase.sources
    };
    let (with, without) = (of(vec![path]), of(Vec::new()));
    assert_eq!(with.published - without.published, 2);
}

#[test]
fn published_sources_are_standards_and_handbook_tables() {
    let rules = rules();
    let practice = |s: &str| s.starts_with("common practice");
    let mut published = 0;
    for f in rules.packs.iter().flat_map(|p| &p.faults) {
        if !practice(&f.source) {
            assert!(
                f.source
                    .starts_with("MIL-HDBK-338B, failure-mode distributions, "),
                "{}: {}",
                f.id,
                f.source
            );
            published += 1;
        }
    }
    // Lithium cells have no row: the one that there is is of primary cells.
    let battery = faults(pack(&rules, "charging"), "battery");
    assert!(battery.iter().all(|f| practice(&f.source)));
    // The standards of the limits: what USB says of VBUS and CC.
    let limits = rules.sources.published - published;
    assert!((5..20).contains(&limits), "{limits}");
    let parts = rules.templates.iter().flat_map(|l| &l.parts);
    for part in parts.filter(|p| !practice(&p.source)) {
        assert!(
            part.source.starts_with("USB "),
            "{}: {}",
            part.id,
            part.source
        );
    }
}
