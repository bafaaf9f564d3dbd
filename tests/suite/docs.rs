//! The README and `docs/` say what the program does.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::process::Command;

use assert_cmd::prelude::*;
use clap::CommandFactory;
use halfsplit::cli::Args;
use halfsplit::job::line::{LineInPlay, LineView};
use halfsplit::job::trail::Trail;
use halfsplit::job::tree::TreeView;
use halfsplit::job::view::StateView;
use halfsplit::job::view::network::{NetworkView, RulesView};
use halfsplit::job::view::why::{SupposedView, WhyView};
use halfsplit::simulate::{Comparison, SimulationView};

fn text(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn program(store: &tempfile::TempDir) -> Command {
    let mut c = Command::cargo_bin("halfsplit").expect("the program is built");
    c.env_clear()
        .env("HALFSPLIT_STORE", store.path().join("jobs.sqlite"));
    c
}

/// Blocks of a document fenced with a language.
fn blocks(document: &str, language: &str) -> Vec<String> {
    document
        .split("\n```")
        .skip(1)
        .step_by(2)
        .filter_map(|b| b.strip_prefix(language)?.strip_prefix('\n'))
        .map(str::to_owned)
        .collect()
}

/// Names of fields anywhere in a schema.
fn fields(schema: &serde_json::Value, names: &mut BTreeSet<String>) {
    match schema {
        serde_json::Value::Object(of) => {
            if let Some(serde_json::Value::Object(own)) = of.get("properties") {
                names.extend(own.keys().cloned());
            }
            of.values().for_each(|v| fields(v, names));
        }
        serde_json::Value::Array(all) => all.iter().for_each(|v| fields(v, names)),
        _ => {}
    }
}

#[test]
fn every_field_of_the_json_forms_is_documented() {
    let doc = text("docs/json.md");
    let mut missing = Vec::new();
    for schema in [
        schemars::schema_for!(StateView),
        schemars::schema_for!(Trail),
        schemars::schema_for!(LineView),
        schemars::schema_for!(LineInPlay),
        schemars::schema_for!(TreeView),
        schemars::schema_for!(NetworkView),
        schemars::schema_for!(RulesView),
        schemars::schema_for!(WhyView),
        schemars::schema_for!(SupposedView),
        schemars::schema_for!(SimulationView),
        schemars::schema_for!(Comparison),
    ] {
        let value = serde_json::to_value(&schema).unwrap();
        let mut names = BTreeSet::new();
        fields(&value, &mut names);
        missing.extend(
            names
                .into_iter()
                .filter(|f| !doc.contains(&format!("`{f}`"))),
        );
    }
    assert!(missing.is_empty(), "not in docs/json.md: {missing:?}");
}

#[test]
fn the_case_file_of_the_documentation_replays() {
    let case = blocks(&text("docs/json.md"), "yaml").remove(0);
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("case.yaml");
    std::fs::write(&path, case).unwrap();
    program(&dir)
        .args(["replay", path.to_str().unwrap()])
        .assert()
        .success();
}

#[test]
fn the_piped_job_of_the_readme_runs() {
    let readme = text("README.md");
    let line = readme
        .lines()
        .find(|l| l.trim_start().starts_with("printf"))
        .expect("the README pipes a job");
    let program_path = assert_cmd::cargo::cargo_bin("halfsplit");
    let script = line.trim().replace(
        "cargo run --release",
        &format!("'{}'", program_path.display()),
    );
    let dir = tempfile::tempdir().unwrap();
    let out = Command::new("sh")
        .args(["-c", &script])
        .env("HALFSPLIT_STORE", dir.path().join("jobs.sqlite"))
        .output()
        .unwrap();
    let shown = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success(), "{shown}");
    assert!(shown.contains("Job 1 is kept"), "{shown}");
    assert!(shown.contains("Understood as"), "{shown}");
    assert!(!shown.contains("Not taken"), "{shown}");
}

#[test]
fn every_command_stands_in_the_readme_and_the_other_way_round() {
    let readme = text("README.md");
    let command = Args::command();
    for c in command.get_subcommands() {
        let name = c.get_name();
        assert!(
            readme.contains(name),
            "the README does not mention `{name}`"
        );
        for sub in c.get_subcommands() {
            assert!(
                readme.contains(&format!("`{}`", sub.get_name()))
                    || readme.contains(&format!("{name} {}", sub.get_name())),
                "the README does not mention `{name} {}`",
                sub.get_name()
            );
        }
    }
}

#[test]
fn the_sums_and_simulations_of_the_documentation_come_out() {
    let dir = tempfile::tempdir().unwrap();
    let mut tried = 0;
    let both = text("docs/sums.md") + &text("docs/simulate.md");
    for block in blocks(&both, "console") {
        for example in block.split("$ halfsplit ").skip(1) {
            let (line, shown) = example.split_once('\n').unwrap();
            let out = program(&dir)
                .args(line.split_whitespace())
                .env("COLUMNS", "80")
                .output()
                .unwrap();
            assert_eq!(
                String::from_utf8_lossy(&out.stdout).trim_end(),
                shown.trim_end(),
                "{line}"
            );
            // 1: the answer is no.
            assert!(matches!(out.status.code(), Some(0 | 1)), "{line}");
            tried += 1;
        }
    }
    assert!(tried >= 8, "only {tried} examples");
}

#[test]
fn the_wires_of_the_documentation_come_out() {
    let dir = tempfile::tempdir().unwrap();
    let demo =
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-cases/tablet-takes-no-charge.yaml");
    let import = program(&dir).arg("import").arg(demo).output().unwrap();
    assert!(import.status.success());
    let json = text("docs/json.md");
    let mut tried = 0;
    for block in blocks(&text("docs/bypass.md"), "console") {
        for example in block.split("$ halfsplit ").skip(1) {
            let (line, shown) = example.split_once('\n').unwrap_or((example, ""));
            let run = |more: &[&str]| {
                let mut c = program(&dir);
                c.args(line.split_whitespace()).args(more);
                c.env("COLUMNS", "80").output().unwrap()
            };
            let out = run(&[]);
            let said = String::from_utf8_lossy(&out.stdout);
            assert_eq!(said.trim_end(), shown.trim_end(), "{line}");
            let value: serde_json::Value =
                serde_json::from_slice(&run(&["--format", "json"]).stdout).expect(line);
            let one = value["bypasses"][0].as_object().unwrap();
            for f in one.keys().chain(one["wire"].as_object().unwrap().keys()) {
                assert!(json.contains(&format!("`{f}`")), "{line}: {f}");
            }
            tried += 1;
        }
    }
    assert!(tried >= 4, "only {tried} examples");
}

#[test]
fn every_figure_of_the_sums_is_documented() {
    let doc = text("docs/json.md");
    let dir = tempfile::tempdir().unwrap();
    for line in [
        "pull-up --supply 1.8 --ohms 2k2",
        "idle 0.9 --supply 1.8",
        "jumper fuse --from 5 --to 5",
        "cc 0.42",
        "d-plus 3",
        "thermistor 0.9V --supply 1.8 --pull-up 10k",
        "lamps 9",
        "loading 100k --shown 1.65",
    ] {
        let out = program(&dir)
            .args(["sum", "--format", "json"])
            .args(line.split_whitespace())
            .output()
            .unwrap();
        let value: serde_json::Value = serde_json::from_slice(&out.stdout).expect(line);
        let mut fields: Vec<&String> = value.as_object().unwrap().keys().collect();
        if let Some(rows) = value["speeds"].as_array() {
            fields.extend(rows.iter().flat_map(|r| r.as_object().unwrap().keys()));
        }
        for f in fields {
            assert!(doc.contains(&format!("`{f}`")), "{line}: {f}");
        }
    }
}

#[test]
fn sums_refuse_what_cannot_be() {
    let dir = tempfile::tempdir().unwrap();
    for (line, code, word) in [
        ("cc 412", 2, "412 V or 412 mV"),
        ("cc 412V", 2, "no more than 50 V"),
        ("idle 1.8 --supply 0", 2, "above 0"),
        ("thermistor OL", 1, "open"),
        ("thermistor short", 1, "shorted"),
        ("thermistor -5", 2, ""),
        ("thermistor 0.9V", 2, "--pull-up"),
        ("thermistor 1.8V --supply 1.8 --pull-up 10k", 2, "open"),
        ("pull-up --supply 1.8 --speed 2M", 1, "beyond"),
        ("jumper trace --from 1 --to 1 --mm 0", 2, "length"),
        ("jumper trace --from 1 --to 1 --awg 60", 2, "AWG"),
        ("lamps 0", 2, "number of lamps"),
        ("loading 2R2V", 2, "such as"),
    ] {
        let out = program(&dir)
            .arg("sum")
            .args(line.split_whitespace())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stderr);
        assert_eq!(out.status.code(), Some(code), "{line}: {said}");
        assert!(said.contains(word), "{line}: {said}");
    }
}

#[test]
fn every_link_of_the_documents_leads_somewhere() {
    for name in [
        "README.md",
        "DEVELOPERS.md",
        "docs/json.md",
        "docs/rules.md",
        "docs/demos.md",
        "docs/readings.md",
        "docs/sums.md",
        "docs/simulate.md",
    ] {
        let document = text(name);
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name);
        for target in document.split("](").skip(1) {
            let target = target.split([')', '#']).next().unwrap_or("");
            if target.is_empty() || target.starts_with("http") {
                continue;
            }
            let path = folder.parent().unwrap().join(target);
            assert!(
                path.exists(),
                "{name} links to {target}, which is not there"
            );
        }
    }
}

#[test]
fn the_tests_that_the_guide_names_exist() {
    let guide = text("DEVELOPERS.md");
    for word in guide.split('`').filter(|w| w.starts_with("tests/")) {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(word);
        assert!(
            path.exists(),
            "DEVELOPERS.md names {word}, which is not there"
        );
    }
}
