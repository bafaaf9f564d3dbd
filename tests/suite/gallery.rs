//! The gallery of malformed rule files: every message that a writer of rules
//! can meet, in one snapshot to read; and the valid files that the
//! documentation quotes.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use halfsplit::rulebase::{Code, Harm, Line, Loaded, PartKind, Problem, Rules};
use proptest::prelude::*;

const INVALID: &str = "tests/rulebases/invalid";
const VALID: &str = "tests/rulebases/valid";
const BENCH: &str = "tests/rulebases/bench.yaml";

fn load(paths: &[&Path]) -> Loaded {
    Rules {
        paths: paths.iter().map(|p| p.to_path_buf()).collect(),
        only_these: true,
    }
    .load()
}

/// The YAML files of a folder, by name.
fn files(folder: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "yaml"))
        .collect();
    found.sort();
    found
}

/// One file of the gallery with the code that its first line names.
struct Picture {
    name: String,
    expected: String,
    loaded: Loaded,
}

fn gallery() -> Vec<Picture> {
    files(INVALID)
        .into_iter()
        .map(|path| {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let text = fs::read_to_string(&path).unwrap();
            let expected = text
                .lines()
                .next()
                .and_then(|l| l.strip_prefix("# expect: "))
                .unwrap_or_else(|| panic!("{name}: the first line is not `# expect: code`"))
                .trim()
                .to_owned();
            // Files that this one refers to come first.
            let mut paths: Vec<PathBuf> = text
                .lines()
                .nth(1)
                .and_then(|l| l.strip_prefix("# with: "))
                .into_iter()
                .flat_map(|names| names.split(", "))
                .map(|n| Path::new("tests/rulebases").join(n))
                .collect();
            paths.push(path);
            let paths: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
            Picture {
                expected,
                loaded: load(&paths),
                name,
            }
        })
        .collect()
}

fn codes(loaded: &Loaded) -> Vec<&'static str> {
    loaded.problems.iter().map(|p| p.code.name()).collect()
}

/// `file:line:column` as it is printed, or `None` for a whole-file problem.
fn position(p: &Problem, loaded: &Loaded) -> Option<String> {
    let (line, column) = p.line_column(&loaded.files)?;
    let file = &loaded.files[p.span?.file as usize].name;
    Some(format!("{file}:{line}:{column}"))
}

/// Files that are made here because they are large, or no text.
fn generated(folder: &Path) -> Vec<(&'static str, Code, PathBuf)> {
    let smallest = fs::read_to_string(format!("{VALID}/smallest.yaml")).unwrap();
    let put = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        fs::write(&path, bytes).unwrap();
        path
    };
    let large = {
        let path = folder.join("fifty-megabytes.yaml");
        let file = fs::File::create(&path).unwrap();
        file.set_len(50 << 20).unwrap();
        path
    };
    let latin = [
        smallest.as_bytes(),
        b"about: the d\xe9tail is in Latin-1\n".as_slice(),
    ]
    .concat();
    let nul = smallest.replace("0.3", "0.3\0");
    let deep = format!("pack: a\nfaults: {}", "[".repeat(5000));
    let anchor = vec!["x"; 2000].join(",");
    let alias = vec!["*a"; 2000].join(",");
    let bomb = format!("pack: a\nabout: &a [{anchor}]\nfaults: [{alias}]\n");
    let empty = folder.join("no-rules-here");
    fs::create_dir(&empty).unwrap();
    fs::write(empty.join("notes.txt"), "pack: a").unwrap();
    vec![
        ("fifty-megabytes", Code::Budget, large),
        ("latin-1", Code::File, put("latin-1.yaml", &latin)),
        (
            "nul-byte",
            Code::Syntax,
            put("nul-byte.yaml", nul.as_bytes()),
        ),
        (
            "five-thousand-deep",
            Code::Budget,
            put("five-thousand-deep.yaml", deep.as_bytes()),
        ),
        (
            "quadratic-aliases",
            Code::Budget,
            put("quadratic-aliases.yaml", bomb.as_bytes()),
        ),
        ("folder-without-rules", Code::File, empty),
        ("missing-path", Code::File, folder.join("not-there.yaml")),
    ]
}

#[test]
fn every_invalid_file_is_refused_for_the_reason_in_its_first_line() {
    let pictures = gallery();
    assert!(pictures.len() >= 48, "{} files", pictures.len());
    let mut wrong = Vec::new();
    for p in &pictures {
        let found = codes(&p.loaded);
        if !found.contains(&p.expected.as_str()) {
            wrong.push(format!(
                "{}: expected {}, found {found:?}",
                p.name, p.expected
            ));
        }
        for problem in &p.loaded.problems {
            let shown = problem.render(&p.loaded.files, false);
            problem.render(&p.loaded.files, true);
            match position(problem, &p.loaded) {
                Some(at) => assert!(shown.contains(&at), "{}: no {at} in\n{shown}", p.name),
                None => assert!(
                    problem.span.is_none(),
                    "{}: a place that is not there",
                    p.name
                ),
            }
            assert!(!problem.message.is_empty());
            for word in [
                "RawPack", "struct", "f64", "String", "serde", "unwrap", "None",
            ] {
                assert!(!shown.contains(word), "{}: `{word}` in\n{shown}", p.name);
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn one_mistake_gives_one_problem() {
    // What these files hold besides is meant.
    let several = ["five-mistakes"];
    let wrong: Vec<String> = gallery()
        .iter()
        .filter(|p| p.loaded.problems.len() != 1 && !several.contains(&p.name.as_str()))
        .map(|p| format!("{}: {:?}", p.name, codes(&p.loaded)))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A file for each code, with what is said of each picture of it.
#[test]
fn the_gallery() {
    let mut by_code: BTreeMap<String, String> = BTreeMap::new();
    let mut show = |code: &str, name: &str, loaded: &Loaded| {
        let text = format!("==== {name} ====\n{}", loaded.report(false));
        *by_code.entry(code.to_owned()).or_default() += &text;
    };
    for p in gallery() {
        show(&p.expected, &p.name, &p.loaded);
    }
    let folder = tempfile::tempdir().unwrap();
    for (name, code, path) in generated(folder.path()) {
        show(code.name(), name, &load(&[&path]));
    }
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("snapshots/gallery");
    settings.set_prepend_module_to_snapshot(false);
    for (code, text) in &by_code {
        let text = text.replace(&folder.path().display().to_string(), "[folder]");
        let text = text.replace('\0', "\\0");
        settings.bind(|| insta::assert_snapshot!(code.as_str(), text));
    }
    // None is left of a code that has no picture any more.
    let kept = fs::read_dir("tests/suite/snapshots/gallery").unwrap();
    let kept = kept.map(|e| e.unwrap().path());
    let kept: BTreeSet<PathBuf> = kept
        .filter(|p| p.extension().is_some_and(|e| e == "snap"))
        .collect();
    let named = |code: &String| format!("tests/suite/snapshots/gallery/{code}.snap").into();
    assert_eq!(kept, by_code.keys().map(named).collect());
}

#[test]
fn what_is_no_rule_file_at_all_is_refused_and_said() {
    let folder = tempfile::tempdir().unwrap();
    for (name, code, path) in generated(folder.path()) {
        let loaded = load(&[&path]);
        assert_eq!(codes(&loaded), [code.name()], "{name}");
        let shown = loaded.report(false);
        assert!(shown.contains(&*path.to_string_lossy()), "{name}:\n{shown}");
    }
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_are_fine() {
    let folder = tempfile::tempdir().unwrap();
    for change in [
        |text: &str| format!("\u{feff}{text}"),
        |text: &str| text.replace('\n', "\r\n"),
    ] {
        for source in files(VALID) {
            let text = fs::read_to_string(&source).unwrap();
            let path = folder.path().join(source.file_name().unwrap());
            fs::write(path, change(&text)).unwrap();
        }
        let loaded = load(&[folder.path()]);
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    }
    // Places are counted as in a file without the mark.
    let path = folder.path().join("bom.yaml");
    fs::write(&path, "\u{feff}pakc: a\r\nfaults: {}\r\n").unwrap();
    let loaded = load(&[&path]);
    assert_eq!(loaded.problems[0].line_column(&loaded.files), Some((1, 1)));
}

#[test]
fn five_different_mistakes_in_one_file_are_all_reported() {
    let loaded = load(&[Path::new(&format!("{INVALID}/five-mistakes.yaml"))]);
    let found: BTreeSet<&str> = codes(&loaded).into_iter().collect();
    let wanted = [
        "bad-pattern",
        "out-of-range",
        "unknown-key",
        "unknown-name",
        "wrong-type",
    ];
    assert_eq!(
        found.into_iter().collect::<Vec<_>>(),
        wanted,
        "{}",
        loaded.report(false)
    );
}

#[test]
fn a_file_that_cannot_be_read_does_not_make_others_wrong() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("bench.yaml"),
        "bench: b\n\tconditions: {}\n",
    )
    .unwrap();
    fs::write(
        folder.path().join("device.yaml"),
        "device: d\nname: D\nkind: phone\ncarries: {torch: []}\n",
    )
    .unwrap();
    let missing = fs::read_to_string(format!("{INVALID}/unknown-caution.yaml")).unwrap();
    fs::write(folder.path().join("torch.yaml"), missing).unwrap();
    let loaded = load(&[folder.path()]);
    assert_eq!(codes(&loaded), ["syntax"], "{}", loaded.report(false));
}

#[test]
fn every_code_is_met_once_and_described() {
    let names: BTreeSet<&str> = Code::ALL.iter().map(|c| c.name()).collect();
    assert_eq!(names.len(), Code::ALL.len());
    let mut met: BTreeSet<String> = gallery().into_iter().map(|p| p.expected).collect();
    let folder = tempfile::tempdir().unwrap();
    met.extend(
        generated(folder.path())
            .iter()
            .map(|g| g.1.name().to_owned()),
    );
    let met: BTreeSet<&str> = met.iter().map(String::as_str).collect();
    assert_eq!(met, names);
    for c in Code::ALL {
        assert!(c.meaning().ends_with('.'), "{}", c.name());
    }
}

// ---- valid files ------------------------------------------------------------

#[test]
fn every_valid_file_loads() {
    let alone = [
        "valid/smallest.yaml",
        "valid/torch.yaml",
        "valid/bench.yaml",
        "valid/line.yaml",
        "valid/every-part.yaml",
        "valid/meters.yaml",
        "bench.yaml",
        "wire.yaml",
    ];
    for path in alone.map(|n| Path::new("tests/rulebases").join(n)) {
        let loaded = load(&[&path]);
        assert!(
            loaded.problems.is_empty(),
            "{path:?}:\n{}",
            loaded.report(false)
        );
    }
    let folder = Path::new("tests/rulebases");
    let line = ["bench.yaml", "wire.yaml", "pack-with-line.yaml"].map(|f| folder.join(f));
    let line = load(&line.each_ref().map(PathBuf::as_path));
    assert!(line.problems.is_empty(), "{}", line.report(false));
    // The others refer to each other.
    let all = load(&[Path::new(VALID)]);
    assert!(all.problems.is_empty(), "{}", all.report(false));
    assert_eq!(all.rulebase.packs.len(), 4);
    assert_eq!(all.rulebase.devices[0].carries[0].1.len(), 2);
}

#[test]
fn a_device_may_have_a_line_built_otherwise() {
    let dir = tempfile::tempdir().unwrap();
    let device = dir.path().join("device.yaml");
    fs::write(
        &device,
        "device: torch-phone\nname: Phone with a torch\nkind: phone\nsource: own jobs\n\
         carries: {torch: []}\nwired:\n  torch:\n    feed:\n      line: bare-wire\n      \
         with: {level: 1.8 V}\n      faults: {wire-open: {open pull-up: 0.7}}\n",
    )
    .unwrap();
    let folder = Path::new("tests/rulebases");
    let files = [
        "bench.yaml",
        "wire.yaml",
        "bare-wire.yaml",
        "pack-with-line.yaml",
    ];
    let mut paths: Vec<PathBuf> = files.iter().map(|f| folder.join(f)).collect();
    let before = load(&paths.iter().map(PathBuf::as_path).collect::<Vec<_>>());
    paths.push(device);
    let loaded = load(&paths.iter().map(PathBuf::as_path).collect::<Vec<_>>());
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    let (pack, line) = &loaded.rulebase.devices[0].lines[0];
    assert_eq!((pack.as_str(), line.id.as_str()), ("torch", "feed"));
    let names: Vec<&str> = line.points.iter().map(|p| p.id.as_str()).collect();
    assert_eq!(names, ["plug", "pad"]);
    // What it does here goes before what the pack says; the rest is taken over.
    let part = |id: &str| line.parts.iter().position(|p| p.id == id).unwrap();
    let node = |id: &str| line.nodes.iter().position(|n| n == id).unwrap();
    let harms: Vec<(usize, Harm, f64)> = line
        .faults
        .iter()
        .map(|e| (e.fault.0, e.harm, e.chance))
        .collect();
    assert_eq!(
        harms,
        [
            (0, Harm::Open(part("pull-up")), 0.7),
            (1, Harm::Grounded(node("bus")), 0.6),
            (1, Harm::LeakyNode(node("bus")), 0.3),
        ]
    );
    // What is taken over was counted where it stands.
    let own = loaded.rulebase.sources.own_jobs - before.rulebase.sources.own_jobs;
    assert_eq!(own, 2);
    let rest = |l: &Loaded| l.rulebase.sources.common_practice;
    assert_eq!(rest(&loaded), rest(&before));
}

#[test]
fn values_of_a_line_come_from_the_nearest_place() {
    let all = load(&[Path::new(VALID)]).rulebase;
    let ohms = |line: &Line| {
        let part = line.parts.iter().find(|p| p.id == "pull-up").unwrap();
        match part.kind {
            PartKind::Path(k) => (k.typical, part.source.clone()),
            ref other => panic!("{other:?}"),
        }
    };
    let speaker = all.packs.iter().find(|p| p.id == "speaker").unwrap();
    let kind = all.templates.iter().find(|l| l.id == "wake-line").unwrap();
    let (pack, line) = &all.devices[0].lines[0];
    assert_eq!((pack.as_str(), line.id.as_str()), ("speaker", "sense"));
    let own = "own jobs, spring".to_owned();
    assert_eq!(ohms(kind), (100e3, "common practice, no source".to_owned()));
    assert_eq!(ohms(&speaker.lines[0]), (47e3, own.clone()));
    assert_eq!(ohms(line), (22e3, own));
    assert_eq!(line.faults, speaker.lines[0].faults);
}

#[test]
fn a_pin_is_two_junctions_and_a_leak_and_faults_say_what_they_do() {
    let all = load(&[Path::new(VALID)]).rulebase;
    let speaker = all.packs.iter().find(|p| p.id == "speaker").unwrap();
    let line = &speaker.lines[0];
    let node = |name: &str| line.nodes.iter().position(|n| n == name).unwrap();
    let ends: Vec<(usize, usize)> = line
        .parts
        .iter()
        .filter(|p| p.id.starts_with("host"))
        .map(|p| (p.from, p.to))
        .collect();
    let (pin, io) = (node("pin"), node("io"));
    assert_eq!(ends, [(0, pin), (pin, io), (pin, 0)]);
    let contact = line.parts.iter().position(|p| p.id == "contact").unwrap();
    let condition = |id: &str| all.bench.conditions.iter().position(|c| c.id == id);
    assert_eq!(line.unplugged, [(contact, condition("part-out").unwrap())]);
    let told: Vec<(String, Harm, f64)> = line
        .faults
        .iter()
        .map(|e| (speaker.fault_id(e.fault), e.harm, e.chance))
        .collect();
    let trace = line.parts.iter().position(|p| p.id == "trace").unwrap();
    assert_eq!(
        told,
        [
            ("contact.dirty".to_owned(), Harm::Open(contact), 0.5),
            ("contact.loose".to_owned(), Harm::Open(contact), 0.5),
            ("flex.broken".to_owned(), Harm::Open(trace), 1.0),
            ("amplifier.dead".to_owned(), Harm::Grounded(pin), 0.1),
            ("amplifier.dead".to_owned(), Harm::LeakyNode(pin), 0.1),
            // What nobody listed comes with each pack.
            ("other-interconnect.unlisted".to_owned(), Harm::Strange, 0.5),
            ("other-board.unlisted".to_owned(), Harm::Strange, 0.5),
        ]
    );
    let test = speaker.tests.iter().find(|t| t.id == "sense-line").unwrap();
    assert_eq!(
        test.ask,
        "In diode mode, red on ground, black on the pad of the board connector: what does it read, \
         on the sense line of the {unit}?"
    );
    assert_eq!((test.step.minutes, test.unit.as_deref()), (2.0, Some("V")));
}

#[test]
fn the_smallest_file_is_two_faults_and_one_observation() {
    let loaded = load(&[Path::new("tests/rulebases/valid/smallest.yaml")]);
    let pack = &loaded.rulebase.packs[0];
    assert!(pack.minimal);
    assert_eq!((pack.faults.len(), pack.tests.len()), (2, 1));
}

#[test]
fn the_full_example_uses_every_key() {
    let used: BTreeSet<String> = [
        "one-unit.yaml",
        "bench.yaml",
        "device.yaml",
        "other-device.yaml",
        "smallest.yaml",
        "every-part.yaml",
        "meters.yaml",
        "all-others.yaml",
    ]
    .iter()
    .flat_map(|f| {
        let text = fs::read_to_string(format!("{VALID}/{f}")).unwrap();
        text.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-' || c == ':'))
            .filter_map(|w| w.strip_suffix(':').map(str::to_owned))
            .collect::<Vec<_>>()
    })
    .collect();
    let unused: Vec<String> = keys_of_schema().difference(&used).cloned().collect();
    assert!(unused.is_empty(), "{unused:?}");
}

#[test]
fn a_second_bench_adds_to_the_first_and_may_not_contradict_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("more.yaml");
    let more = "bench: more\nsource: own jobs\nconditions:\n  cooled: {name: cooled down, enter: 9, leave: 0, needs: [opened]}\n";
    fs::write(&path, more).unwrap();
    let loaded = load(&[Path::new(BENCH), &path]);
    assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
    fs::write(&path, more.replace("cooled:", "powered:")).unwrap();
    assert_eq!(codes(&load(&[Path::new(BENCH), &path])), ["duplicate"]);
}

// ---- the schema -------------------------------------------------------------

fn schema() -> serde_json::Value {
    let out = assert_cmd::Command::cargo_bin("halfsplit")
        .unwrap()
        .args(["rules", "schema"])
        .assert()
        .success();
    serde_json::from_slice(&out.get_output().stdout).unwrap()
}

fn keys_of_schema() -> BTreeSet<String> {
    fn walk(v: &serde_json::Value, keys: &mut BTreeSet<String>) {
        if let Some(o) = v.as_object() {
            if let Some(p) = o.get("properties").and_then(|p| p.as_object()) {
                keys.extend(p.keys().cloned());
            }
            o.values().for_each(|v| walk(v, keys));
        } else if let Some(a) = v.as_array() {
            a.iter().for_each(|v| walk(v, keys));
        }
    }
    let mut keys = BTreeSet::new();
    walk(&schema(), &mut keys);
    keys
}

/// Whether a value fits a schema: the part of JSON Schema that ours uses. A
/// keyword outside it fails the test, so that nothing goes unchecked.
fn fits(value: &serde_json::Value, schema: &serde_json::Value, root: &serde_json::Value) -> bool {
    use serde_json::Value;
    let rules = match schema {
        Value::Bool(b) => return *b,
        Value::Object(o) => o,
        _ => panic!("not a schema: {schema}"),
    };
    rules.iter().all(|(keyword, rule)| match keyword.as_str() {
        "$schema" | "$defs" | "title" | "description" | "default" | "format" => true,
        "$ref" => {
            let path = rule.as_str().unwrap().strip_prefix('#').unwrap();
            fits(value, root.pointer(path).expect(path), root)
        }
        "anyOf" => rule
            .as_array()
            .unwrap()
            .iter()
            .any(|s| fits(value, s, root)),
        "type" => {
            let named = |t: &Value| match (t.as_str().unwrap(), value) {
                ("object", Value::Object(_))
                | ("array", Value::Array(_))
                | ("string", Value::String(_))
                | ("number", Value::Number(_))
                | ("boolean", Value::Bool(_))
                | ("null", Value::Null) => true,
                ("integer", Value::Number(n)) => n.is_i64() || n.is_u64(),
                _ => false,
            };
            rule.as_array()
                .map_or_else(|| named(rule), |l| l.iter().any(named))
        }
        "required" => value.as_object().is_none_or(|o| {
            rule.as_array()
                .unwrap()
                .iter()
                .all(|k| o.contains_key(k.as_str().unwrap()))
        }),
        "properties" => value.as_object().is_none_or(|o| {
            o.iter()
                .all(|(k, v)| rule.get(k).is_none_or(|s| fits(v, s, root)))
        }),
        "additionalProperties" => value.as_object().is_none_or(|o| {
            let known = rules.get("properties");
            o.iter()
                .filter(|(k, _)| known.is_none_or(|p| p.get(k.as_str()).is_none()))
                .all(|(_, v)| fits(v, rule, root))
        }),
        "items" => value
            .as_array()
            .is_none_or(|a| a.iter().all(|v| fits(v, rule, root))),
        "prefixItems" => value.as_array().is_none_or(|a| {
            a.iter()
                .zip(rule.as_array().unwrap())
                .all(|(v, s)| fits(v, s, root))
        }),
        "minItems" => value
            .as_array()
            .is_none_or(|a| a.len() as u64 >= rule.as_u64().unwrap()),
        "maxItems" => value
            .as_array()
            .is_none_or(|a| a.len() as u64 <= rule.as_u64().unwrap()),
        "minProperties" => value
            .as_object()
            .is_none_or(|o| o.len() as u64 >= rule.as_u64().unwrap()),
        "maxProperties" => value
            .as_object()
            .is_none_or(|o| o.len() as u64 <= rule.as_u64().unwrap()),
        other => panic!("the schema has `{other}`, which this test does not check"),
    })
}

fn as_json(path: &Path) -> serde_json::Value {
    serde_yaml::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn the_schema_accepts_valid_files_and_the_built_in_rules() {
    let schema = schema();
    assert!(
        schema["$schema"]
            .as_str()
            .unwrap()
            .contains("json-schema.org")
    );
    let all = files(VALID)
        .into_iter()
        .chain(files("rules"))
        .chain(files("rules/devices"))
        .chain(files("rules/lines"));
    for path in all {
        assert!(fits(&as_json(&path), &schema, &schema), "{path:?}");
    }
}

#[test]
fn the_schema_refuses_what_an_editor_should_underline() {
    let schema = schema();
    for name in [
        "unknown-key",
        "unknown-key-deep",
        "item-without-name",
        "fault-without-rate",
        "prior-a-word",
        "needs-not-a-list",
        "items-a-list",
        "need-of-two",
        "range-of-three",
        "key-near-pack",
        "line-part-unknown",
        "line-part-with-three-ends",
        "measures-without-mode",
        "a-list",
    ] {
        let path = PathBuf::from(format!("{INVALID}/{name}.yaml"));
        assert!(!fits(&as_json(&path), &schema, &schema), "{name}");
    }
}

// ---- the command ------------------------------------------------------------

fn command(args: &[&str]) -> assert_cmd::assert::Assert {
    assert_cmd::Command::cargo_bin("halfsplit")
        .unwrap()
        .args(args)
        .assert()
}

#[test]
fn rules_check_prints_the_place_and_says_so_in_its_exit_code() {
    let file = format!("{INVALID}/prior-above-one.yaml");
    let out = command(&["rules", "check", &file, "--only-these-rules"]).code(1);
    let shown = String::from_utf8_lossy(&out.get_output().stdout).into_owned();
    assert!(shown.contains("prior-above-one.yaml:5:14"), "{shown}");
    assert!(shown.contains("out-of-range"), "{shown}");
    let out = command(&[
        "--format",
        "json",
        "rules",
        "check",
        &file,
        "--only-these-rules",
    ])
    .code(1);
    let json: serde_json::Value = serde_json::from_slice(&out.get_output().stdout).unwrap();
    assert_eq!(json["problems"][0]["line"], 5);
    assert_eq!(json["problems"][0]["column"], 14);
    assert_eq!(json["problems"][0]["code"], "out-of-range");
}

#[test]
fn rules_check_is_content_with_the_built_in_rules_and_the_valid_ones() {
    command(&["rules", "check"]).code(0);
    command(&["rules", "check", &format!("{VALID}/smallest.yaml")]).code(0);
    command(&[
        "rules",
        "check",
        &format!("{VALID}/smallest.yaml"),
        "--only-these-rules",
    ])
    .code(0);
}

#[test]
fn a_wrong_option_is_wrong_usage() {
    command(&["rules", "check", "--only-this-rules"]).code(2);
    command(&["rules", "chekc"]).code(2);
}

// ---- the documentation ------------------------------------------------------

struct Block {
    line: usize,
    mark: String,
    text: String,
}

fn blocks(document: &str) -> Vec<Block> {
    let mut found = Vec::new();
    let mut open: Option<Block> = None;
    for (i, line) in document.lines().enumerate() {
        match (&mut open, line.strip_prefix("```")) {
            (None, Some(mark)) => {
                open = Some(Block {
                    line: i + 1,
                    mark: mark.to_owned(),
                    text: String::new(),
                });
            }
            (Some(_), Some(_)) => found.extend(open.take()),
            (Some(b), None) => {
                b.text.push_str(line);
                b.text.push('\n');
            }
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a block that is never closed");
    found
}

#[test]
fn every_example_in_the_documentation_is_a_file_that_loads() {
    let document = fs::read_to_string("docs/rules.md").unwrap();
    let valid: Vec<String> = files(VALID)
        .iter()
        .map(|p| fs::read_to_string(p).unwrap())
        .collect();
    let plain = |s: &str| -> String { s.lines().map(str::trim).collect::<Vec<_>>().join("\n") };
    let (mut whole, mut parts) = (0, 0);
    for b in blocks(&document) {
        match b.mark.as_str() {
            "yaml" => {
                whole += 1;
                assert!(
                    valid.contains(&b.text),
                    "docs/rules.md:{}: not the content of a file in {VALID}",
                    b.line
                );
            }
            "yaml fragment" => {
                parts += 1;
                let parsed: Result<serde_json::Value, _> = serde_yaml::from_str(&b.text);
                assert!(parsed.is_ok(), "docs/rules.md:{}: {parsed:?}", b.line);
                assert!(
                    valid.iter().any(|v| plain(v).contains(&plain(&b.text))),
                    "docs/rules.md:{}: the fragment is in no file of {VALID}",
                    b.line
                );
            }
            mark => assert!(
                !mark.starts_with("yaml"),
                "docs/rules.md:{}: {mark}",
                b.line
            ),
        }
    }
    assert!(whole >= 3 && parts >= 8, "{whole} whole, {parts} parts");
}

#[test]
fn the_documentation_has_a_row_for_every_code_and_every_key() {
    let document = fs::read_to_string("docs/rules.md").unwrap();
    for c in Code::ALL {
        let row = format!("| `{}` |", c.name());
        assert_eq!(document.matches(&row).count(), 1, "{row}");
    }
    let missing: Vec<String> = keys_of_schema()
        .into_iter()
        .filter(|k| !document.contains(&format!("`{k}")) && !document.contains(&format!("{k}:")))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}

// ---- damage -----------------------------------------------------------------

/// What can happen to a file: a byte changed, cut off, doubled or put in.
#[derive(Clone, Debug)]
enum Damage {
    Set(usize, u8),
    Cut(usize),
    Remove(usize, usize),
    Repeat(usize, usize),
    Insert(usize, &'static str),
}

fn damage() -> impl Strategy<Value = Damage> {
    let at = 0..10_000usize;
    let signs = prop::sample::select(vec![
        ":", " ", "\n", "\t", "-", "{", "}", "[", "]", "'", "\"", "&a ", "*a", "#", "|", ">", "%",
        "!!int ", "? ", "~", "é", "\u{feff}", "\u{2028}", "😀", "\r", "\0", "---\n", "<<: ", "0x",
        ".inf", "1e400", "-0", "null",
    ]);
    prop_oneof![
        (at.clone(), any::<u8>()).prop_map(|(i, b)| Damage::Set(i, b)),
        at.clone().prop_map(Damage::Cut),
        (at.clone(), 1..40usize).prop_map(|(i, n)| Damage::Remove(i, n)),
        (at.clone(), 1..40usize).prop_map(|(i, n)| Damage::Repeat(i, n)),
        (at, signs).prop_map(|(i, s)| Damage::Insert(i, s)),
    ]
}

fn damaged(mut bytes: Vec<u8>, what: &[Damage]) -> Vec<u8> {
    for d in what {
        let len = bytes.len().max(1);
        match *d {
            Damage::Set(i, b) => {
                if let Some(x) = bytes.get_mut(i % len) {
                    *x = b;
                }
            }
            // A cut near the start leaves little to test.
            Damage::Cut(i) => bytes.truncate(len / 2 + i % len),
            Damage::Remove(i, n) => {
                let from = (i % len).min(bytes.len());
                let to = (from + n).min(bytes.len());
                bytes.drain(from..to);
            }
            Damage::Repeat(i, n) => {
                let from = (i % len).min(bytes.len());
                let to = (from + n).min(bytes.len());
                let part = bytes[from..to].to_vec();
                bytes.splice(from..from, part);
            }
            Damage::Insert(i, s) => {
                let from = (i % len).min(bytes.len());
                bytes.splice(from..from, s.bytes());
            }
        }
    }
    bytes
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn damaged_files_never_bring_the_reader_down(
        which in any::<prop::sample::Index>(),
        what in prop::collection::vec(damage(), 1..6),
    ) {
        let mut all = files(VALID);
        all.extend(files(INVALID));
        let source = which.get(&all);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("damaged.yaml");
        fs::write(&path, damaged(fs::read(source).unwrap(), &what)).unwrap();
        let loaded = load(&[Path::new(BENCH), &path]);
        for p in &loaded.problems {
            p.render(&loaded.files, false);
            p.line_column(&loaded.files);
        }
    }
}
