//! Reads rule files: those built into the program, and folders or files that
//! replace or extend them.

use std::path::{Path, PathBuf};

use include_dir::{Dir, include_dir};

use super::decode::decode;
use super::files::{RuleFile, over};
use super::problem::{Code, Problem};
use super::raw::{AnyFile, RawBench, RawDevice, RawLine, RawMeters, RawPack};
use super::source::{At, SourceFile, Span};
use super::typed::Rulebase;
use super::validate::validate;
use super::yaml;

static EMBEDDED: Dir = include_dir!("$CARGO_MANIFEST_DIR/rules");

/// Which rule files to load.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rules {
    /// Files or folders, in order; a pack, line, device or bench of the same name
    /// replaces an earlier one.
    pub paths: Vec<PathBuf>,
    /// Leave the built-in rules out.
    pub only_these: bool,
}

/// The outcome of loading: a rule base if nothing was wrong, and what was.
#[derive(Debug)]
pub struct Loaded {
    /// The rule base; incomplete if there are problems.
    pub rulebase: Rulebase,
    /// The files that were read.
    pub files: Vec<SourceFile>,
    /// What is wrong.
    pub problems: Vec<Problem>,
}

impl Loaded {
    /// The problems as they are shown, one after another.
    pub fn report(&self, colour: bool) -> String {
        let mut out = String::new();
        for p in &self.problems {
            out.push_str(p.render(&self.files, colour).trim_end());
            out.push_str("\n\n");
        }
        out
    }
}

impl Rules {
    /// Reads and checks.
    pub fn load(&self) -> Loaded {
        let mut files = Vec::new();
        let mut problems = Vec::new();
        let mut builtin = 0;
        if !self.only_these {
            embedded(&EMBEDDED, &mut files);
            builtin = files.len();
        }
        for path in &self.paths {
            read(path, &mut files, &mut problems, 0);
        }
        let mut raw: Vec<AnyFile> = Vec::new();
        let mut replaced = 0;
        for (i, (any, mut found)) in decode_all(&files).into_iter().enumerate() {
            problems.append(&mut found);
            if let Some(any) = any {
                if i >= builtin {
                    // What is given replaces what is built in.
                    let before = raw.len();
                    raw.retain(|old| place(old) as usize >= builtin || !same(old, &any));
                    replaced += before - raw.len();
                }
                raw.push(any);
            }
        }
        if files.is_empty() && problems.is_empty() && self.paths.is_empty() {
            problems.push(
                Problem::of_file(Code::File, "no rules at all")
                    .help("give rule files or a folder of them, or use the built-in rules"),
            );
        }
        // What an unreadable file holds may be what others refer to.
        let complete = raw.len() + replaced == files.len()
            && !problems
                .iter()
                .any(|p| matches!(p.code, Code::File | Code::Budget));
        let mut rulebase = validate(&raw, &files, complete, &mut problems);
        rulebase.fingerprint = over(files.iter().map(|f| f.text.as_str()));
        let of = |any| RuleFile::of(any, &files[place(any) as usize]);
        rulebase.files = raw.iter().map(of).collect();
        problems.sort_by_key(|p| p.span.map(|s| (s.file, s.start)));
        Loaded {
            rulebase,
            files,
            problems,
        }
    }
}

/// What a file says, as far as it can be read, and what is wrong with it.
type Decoded = (Option<AnyFile>, Vec<Problem>);

/// Reads every file, on as many cores as there are.
fn decode_all(files: &[SourceFile]) -> Vec<Decoded> {
    let one = |i: usize| -> Decoded {
        let mut problems = Vec::new();
        let any = yaml::parse(i as u32, &files[i].text)
            .map_err(|p| problems.push(p))
            .ok()
            .and_then(|node| any_file(&node, files, &mut problems));
        (any, problems)
    };
    let one = &one;
    std::thread::scope(|s| {
        let started: Vec<_> = (0..files.len())
            .map(|i| match files[i].text.len() {
                0..20_000 => Ok(one(i)),
                // A thread pays for a large file only.
                _ => Err(s.spawn(move || one(i))),
            })
            .collect();
        let gave_up = |_| Problem::of_file(Code::Syntax, "the YAML reader gave up");
        started
            .into_iter()
            .map(|file| file.or_else(|thread| thread.join()))
            .map(|file| file.unwrap_or_else(|e| (None, vec![gave_up(e)])))
            .collect()
    })
}

fn embedded(dir: &Dir, out: &mut Vec<SourceFile>) {
    let mut found: Vec<_> = dir.files().collect();
    found.sort_by_key(|f| f.path());
    for f in found {
        if is_yaml(f.path())
            && let Some(text) = f.contents_utf8()
        {
            out.push(SourceFile {
                name: format!("built-in {}", f.path().display()),
                text: text.to_owned(),
            });
        }
    }
    for d in dir.dirs() {
        embedded(d, out);
    }
}

fn is_yaml(p: &Path) -> bool {
    p.extension().is_some_and(|e| e == "yaml" || e == "yml")
}

fn read(path: &Path, files: &mut Vec<SourceFile>, problems: &mut Vec<Problem>, depth: usize) {
    let name = path.display().to_string();
    let cannot = |e: std::io::Error| {
        Problem::of_file(Code::File, format!("cannot read {name}: {e}"))
            .help("give the path of a rule file or of a folder of rule files")
    };
    let meta = match std::fs::metadata(path) {
        Ok(m) => m,
        Err(e) => return problems.push(cannot(e)),
    };
    if meta.is_dir() {
        if depth > 4 {
            return;
        }
        match std::fs::read_dir(path) {
            Err(e) => problems.push(cannot(e)),
            Ok(entries) => {
                let mut entries: Vec<PathBuf> =
                    entries.filter_map(|e| e.ok().map(|e| e.path())).collect();
                // In the order of those built in: files, then folders.
                entries.sort_by_cached_key(|e| (e.is_dir(), e.clone()));
                let before = files.len() + problems.len();
                for e in entries {
                    if e.is_dir() || is_yaml(&e) {
                        read(&e, files, problems, depth + 1);
                    }
                }
                if depth == 0 && files.len() + problems.len() == before {
                    problems.push(
                        Problem::of_file(Code::File, format!("no rule file in the folder {name}"))
                            .help("rule files end in .yaml or .yml"),
                    );
                }
            }
        }
        return;
    }
    match read_text(path) {
        Err(mut p) => {
            p.message = format!("{name}: {}", p.message);
            problems.push(p);
        }
        Ok(text) => files.push(SourceFile { name, text }),
    }
}

/// Reads a text file of limited size.
pub(crate) fn read_text(path: &Path) -> Result<String, Problem> {
    use std::io::Read;
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(yaml::MAX_BYTES as u64 + 1).read_to_end(&mut bytes))
        .map_err(|e| Problem::of_file(Code::File, format!("cannot read: {e}")))?;
    if bytes.len() > yaml::MAX_BYTES {
        let size = std::fs::metadata(path).map_or(bytes.len() as u64, |m| m.len());
        return Err(Problem::of_file(
            Code::Budget,
            format!(
                "the file has {:.1} MB; the largest that is read is {} MB",
                size as f64 / 1e6,
                yaml::MAX_BYTES >> 20
            ),
        )
        .help("split it into packs of one function area each"));
    }
    yaml::text_of(bytes)
}

/// Decodes a file by its first key.
fn any_file(
    node: &At<yaml::Node<'_>>,
    files: &[SourceFile],
    problems: &mut Vec<Problem>,
) -> Option<AnyFile> {
    let yaml::Node::Map(entries) = &node.value else {
        problems.push(
            match node.value {
                yaml::Node::Null => Problem::new(
                    Code::Syntax,
                    Span {
                        start: 0,
                        end: 0,
                        ..node.span
                    },
                    "the file is empty",
                ),
                _ => Problem::new(Code::Type, first_word(node.span, files), "not a rule file"),
            }
            .help("a rule file starts with `pack:`, `line:`, `meters:`, `device:` or `bench:`"),
        );
        return None;
    };
    let has = |k: &str| entries.iter().any(|(key, _)| key.value == k);
    if has("pack") {
        decode::<RawPack>(node, files, problems).map(AnyFile::Pack)
    } else if has("device") {
        decode::<RawDevice>(node, files, problems).map(AnyFile::Device)
    } else if has("bench") {
        decode::<RawBench>(node, files, problems).map(AnyFile::Bench)
    } else if has("line") {
        decode::<RawLine>(node, files, problems).map(AnyFile::Line)
    } else if has("meters") {
        decode::<RawMeters>(node, files, problems).map(AnyFile::Meters)
    } else {
        let span = entries.first().map_or(node.span, |(k, _)| k.span);
        let typed = entries.first().map_or("", |(k, _)| &*k.value);
        problems.push(
            Problem::new(
                Code::MissingKey,
                span,
                "neither a pack, a line, meters, a device description nor a bench",
            )
            .near(typed, ["pack", "line", "meters", "device", "bench"])
            .help(
                "a rule file names itself with `pack:`, `line:`, `meters:`, `device:` or `bench:`",
            ),
        );
        None
    }
}

fn first_word(span: Span, files: &[SourceFile]) -> Span {
    let len = files
        .get(span.file as usize)
        .map_or(0, |f| f.text.len() as u32);
    Span {
        end: span.end.min(len).max(span.start),
        ..span
    }
}

fn place(f: &AnyFile) -> u32 {
    match f {
        AnyFile::Pack(p) => p.pack.span.file,
        AnyFile::Device(d) => d.device.span.file,
        AnyFile::Bench(b) => b.bench.span.file,
        AnyFile::Line(l) => l.line.span.file,
        AnyFile::Meters(m) => m.meters.span.file,
    }
}

fn same(a: &AnyFile, b: &AnyFile) -> bool {
    match (a, b) {
        (AnyFile::Pack(a), AnyFile::Pack(b)) => a.pack.value == b.pack.value,
        (AnyFile::Device(a), AnyFile::Device(b)) => a.device.value == b.device.value,
        (AnyFile::Bench(a), AnyFile::Bench(b)) => a.bench.value == b.bench.value,
        (AnyFile::Line(a), AnyFile::Line(b)) => a.line.value == b.line.value,
        _ => false,
    }
}
