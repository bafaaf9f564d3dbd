//! The house stays in order: no modules that use one another in a circle, also
//! inside a room, no file that is longer than one idea, no environment read below
//! the command line, nothing that changes kept for the whole process.
//!
//! A file and those in its own folder are one idea in parts, so what goes back and
//! forth between them is no circle.

use std::collections::BTreeMap;
use std::path::Path;

use petgraph::algo::tarjan_scc;
use petgraph::graphmap::DiGraphMap;
use regex::Regex;

/// Most lines of a file whose head gives no reason for more.
const LINES: usize = 600;
/// How such a reason begins, in the head of a file.
const REASON: &str = "//! Long, because";

/// The modules by name, with their source.
fn modules() -> BTreeMap<String, String> {
    fn walk(folder: &Path, root: &Path, all: &mut BTreeMap<String, String>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, root, all);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let name = path.strip_prefix(root).unwrap().with_extension("");
                let name = name.to_str().unwrap().replace('/', "::");
                let name = name.strip_suffix("::mod").unwrap_or(&name).to_owned();
                all.insert(name, std::fs::read_to_string(&path).unwrap());
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = BTreeMap::new();
    walk(&root, &root, &mut all);
    all
}

/// The single paths of a tree such as `a::{b, c::{d, e as f}}`.
fn paths(tree: &str, before: &str, all: &mut Vec<String>) {
    let Some((head, inside)) = tree.split_once('{') else {
        let path = tree.split(" as ").next().unwrap_or(tree).trim();
        if !path.is_empty() {
            all.push(format!("{before}{path}"));
        }
        return;
    };
    let inside = inside.rsplit_once('}').map_or(inside, |x| x.0);
    let (mut depth, mut from) = (0, 0);
    for (at, c) in inside.char_indices().chain([(inside.len(), ',')]) {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                paths(&inside[from..at], &format!("{before}{}", head.trim()), all);
                from = at + 1;
            }
            _ => {}
        }
    }
}

/// What a path in a module means from the root; `None` if it leads outside.
fn absolute(path: &str, module: &str, all: &BTreeMap<String, String>) -> Option<Vec<String>> {
    let mut parts = path.split("::").map(str::to_owned).collect::<Vec<_>>();
    let mut here: Vec<String> = module.split("::").map(str::to_owned).collect();
    match parts[0].as_str() {
        "crate" => return Some(parts.split_off(1)),
        "self" => parts.remove(0),
        "super" => {
            while parts.first().is_some_and(|p| p == "super") {
                parts.remove(0);
                here.pop();
            }
            here.extend(parts);
            return Some(here);
        }
        first if all.contains_key(&format!("{module}::{first}")) => String::new(),
        _ => return None,
    };
    here.extend(parts);
    Some(here)
}

type Exports = BTreeMap<(String, String), Vec<String>>;

/// The module that a path leads to, through what modules pass on.
fn leads_to(
    path: &[String],
    all: &BTreeMap<String, String>,
    exports: &Exports,
    deep: usize,
) -> Option<String> {
    let at = (1..=path.len())
        .rev()
        .find(|n| all.contains_key(&path[..*n].join("::")))?;
    let module = path[..at].join("::");
    let passed = path
        .get(at)
        .and_then(|name| exports.get(&(module.clone(), name.clone())));
    match passed.filter(|_| deep < 5) {
        Some(on) => {
            let on: Vec<String> = on
                .iter()
                .cloned()
                .chain(path[at + 1..].iter().cloned())
                .collect();
            leads_to(&on, all, exports, deep + 1)
        }
        None => Some(module),
    }
}

/// Which module uses which.
fn uses(all: &BTreeMap<String, String>) -> Vec<(String, String)> {
    let comment = Regex::new(r"//[^\n]*").unwrap();
    let tests = Regex::new(r"(?s)#\[cfg\(test\)\]\s*mod tests \{.*").unwrap();
    let statement = Regex::new(r"(?m)^\s*(pub(?:\([^)]*\))?\s+)?use ([^;]+);").unwrap();
    let written = Regex::new(r"\b(?:crate|super)(?:::\w+)+").unwrap();
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    let mut exports = Exports::new();
    for (module, text) in all {
        let text = comment.replace_all(text, "");
        let text = tests.replace(&text, "");
        for s in statement.captures_iter(&text) {
            let mut each = Vec::new();
            paths(
                &s[2].split_whitespace().collect::<Vec<_>>().join(" "),
                "",
                &mut each,
            );
            for path in each.iter().filter_map(|p| absolute(p, module, all)) {
                if let (Some(_), Some(name)) = (s.get(1), path.last()) {
                    exports.insert((module.clone(), name.clone()), path.clone());
                }
                found.push((module.clone(), path));
            }
        }
        let all_written = written.find_iter(&text);
        found.extend(
            all_written.filter_map(|w| Some((module.clone(), absolute(w.as_str(), module, all)?))),
        );
    }
    let lead = |(from, path): (String, Vec<String>)| {
        let to = leads_to(&path, all, &exports, 0)?;
        let inside = |a: &str, b: &str| a == b || a.starts_with(&format!("{b}::"));
        (!inside(&from, &to) && !inside(&to, &from)).then_some((from, to))
    };
    found.into_iter().filter_map(lead).collect()
}

#[test]
fn no_modules_use_one_another_in_a_circle() {
    let all = modules();
    let uses = uses(&all);
    // That nothing is found would hold of any house.
    let knows = |from: &str, to: &str| uses.iter().any(|u| u.0 == from && u.1 == to);
    assert!(knows("plan::search", "plan::first"));
    assert!(knows("job::history", "belief"));
    let graph: DiGraphMap<&str, ()> = uses.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    let circles = tarjan_scc(&graph).into_iter().filter(|c| c.len() > 1);
    let circles: Vec<Vec<&str>> = circles.collect();
    assert!(circles.is_empty(), "{circles:?}");
}

#[test]
fn a_file_holds_one_idea() {
    let long = |(name, text): &(String, String)| {
        let head = text.lines().take_while(|l| l.starts_with("//!"));
        let lines = text.lines().count();
        let too_long = lines > LINES && !head.into_iter().any(|l| l.starts_with(REASON));
        too_long.then(|| format!("{name}: {lines} lines"))
    };
    let all: Vec<(String, String)> = modules().into_iter().collect();
    let long: Vec<String> = all.iter().filter_map(long).collect();
    assert!(
        long.is_empty(),
        "{long:?}; part them, or say why in the head"
    );
}

/// The text of a module without comments and without its tests.
fn code(text: &str) -> String {
    let comment = Regex::new(r"//[^\n]*").unwrap();
    let tests = Regex::new(r"(?s)#\[cfg\(test\)\]\s*mod tests \{.*").unwrap();
    tests
        .replace(&comment.replace_all(text, ""), "")
        .into_owned()
}

/// The modules that are part of the program, with their code alone.
fn program() -> impl Iterator<Item = (String, String)> {
    let of_program = |name: &String| !name.ends_with("::tests") && name != "built_in::build";
    let all = modules().into_iter();
    all.filter(move |(name, _)| of_program(name))
        .map(|(name, text)| (name, code(&text)))
}

#[test]
fn only_the_command_line_reads_the_environment() {
    let reads = Regex::new(r"\benv::|\bstd::env\b|\betcetera::").unwrap();
    let found: Vec<String> = program()
        .filter(|(_, text)| reads.is_match(text))
        .map(|(name, _)| name)
        .collect();
    assert_eq!(
        found,
        ["cli::config"],
        "the environment is read once, by the configuration; hand its value down"
    );
}

#[test]
fn nothing_that_changes_is_kept_for_the_whole_process() {
    let statics =
        Regex::new(r"\bstatic\s+(mut\s+)?[A-Z_0-9]+\s*:\s*([^=]+)=|\bthread_local!").unwrap();
    // Fixed data, and what is worked out once and stays.
    let fixed = Regex::new(r"^(&|Dir\b|\[Word;|mimalloc::|LazyLock<|\[?OnceLock<)").unwrap();
    let changes = Regex::new(r"Mutex|RwLock|Atomic|\b(Ref)?Cell<").unwrap();
    let changing = |text: &str| {
        statics.captures_iter(text).any(|s| {
            let of = s.get(2).map_or("", |t| t.as_str());
            s.get(1).is_some() || !fixed.is_match(of) || changes.is_match(of)
        })
    };
    let found: Vec<String> = program()
        .filter(|(_, text)| changing(text))
        .map(|(name, _)| name)
        .collect();
    assert!(found.is_empty(), "{found:?}; let a value own it");
}
