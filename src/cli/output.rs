//! Files that a command writes: whole or not at all, and never over something
//! that is not an earlier output of the same kind.

use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

use super::config::Config;
use super::error::{Failure, Result};
use super::terminal::Terminal;
use crate::store::Store;

/// The largest file that is looked through for the mark of an earlier output.
const LARGEST: u64 = 64 << 20;

/// What a file holds. Two outputs are of one kind if they hold the same in the
/// same form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    Trail,
    CustomerTrail,
    Line,
    Tree,
    Simulation,
    Case,
}

impl Holds {
    fn words(self) -> &'static str {
        match self {
            Holds::Trail => "trail of a job",
            Holds::CustomerTrail => "report for the customer",
            Holds::Line => "line of a board",
            Holds::Tree => "decision tree",
            Holds::Simulation => "simulation",
            Holds::Case => "case file",
        }
    }
}

/// The form of a text, by its beginning.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Svg,
    Html,
    Json,
    Yaml,
    Text,
}

impl Form {
    fn of(text: &str, holds: Holds) -> Form {
        match text {
            t if t.starts_with("<svg") => Form::Svg,
            t if t.starts_with("<!DOCTYPE html") => Form::Html,
            t if t.starts_with('{') => Form::Json,
            _ if holds == Holds::Case => Form::Yaml,
            _ => Form::Text,
        }
    }

    /// The line by which an output is known again; JSON is known by its keys.
    fn mark(self, holds: Holds) -> Option<String> {
        let words = format!("halfsplit: {}", holds.words());
        match self {
            Form::Svg => Some(format!("<!-- {words}, SVG -->")),
            Form::Html => Some(format!("<!-- {words}, HTML -->")),
            Form::Yaml => Some(format!("# {words}")),
            Form::Text => Some(format!("[{words}]")),
            Form::Json => None,
        }
    }
}

/// The first keys of a JSON object as it is written here, one a line.
fn keys(text: &str) -> Vec<&str> {
    let from_key = text.lines().filter_map(|l| l.strip_prefix("  \""));
    let keys = from_key.filter_map(|l| l.split_once("\":"));
    keys.map(|(key, _)| key).take(3).collect()
}

/// Writes a text to a file, or without one to the screen.
///
/// # Errors
/// If the file cannot be written, or holds something else.
pub(super) fn write_out(
    config: &Config,
    text: &str,
    holds: Holds,
    out: Option<&Path>,
    terminal: &mut Terminal,
) -> Result {
    match out {
        None => terminal.line(text.trim_end()),
        Some(path) => {
            save(config, text, holds, path)?;
            terminal.line(&format!("Written to {}", path.display()))
        }
    }
}

/// Writes a text to a file.
///
/// # Errors
/// If the file cannot be written, or holds something else.
pub(super) fn save(config: &Config, text: &str, holds: Holds, path: &Path) -> Result {
    let cannot = |e: std::io::Error| Failure::no(format!("cannot write {}: {e}", path.display()));
    let form = Form::of(text, holds);
    let text = text.trim_end();
    let text = match form.mark(holds) {
        None => format!("{text}\n"),
        Some(mark) if form == Form::Yaml => format!("{mark}\n{text}\n"),
        Some(mark) if form == Form::Text => format!("{text}\n\n{mark}\n"),
        Some(mark) => format!("{text}\n{mark}\n"),
    };
    let target = target(path)?;
    refuse_own(config, &target)?;
    let before = match std::fs::metadata(&target) {
        Ok(m) if m.is_dir() => {
            return Err(Failure::no(format!("{} is a folder", path.display()))
                .help("give the name of a file in it"));
        }
        // A pipe or a device keeps nothing that could be lost.
        Ok(m) if !m.is_file() => {
            let mut to = std::fs::OpenOptions::new()
                .write(true)
                .open(&target)
                .map_err(cannot)?;
            return to.write_all(text.as_bytes()).map_err(cannot);
        }
        Ok(m) => {
            if !is_earlier(&target, &text, form, holds) {
                return Err(foreign(path, holds));
            }
            Some(m.permissions())
        }
        Err(e) if e.kind() == ErrorKind::NotFound => None,
        Err(e) => return Err(cannot(e)),
    };
    let folder = match target.parent() {
        Some(f) if !f.as_os_str().is_empty() => f,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".halfsplit-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As other programs make files; the user's mask applies.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let mut temporary = builder.tempfile_in(folder).map_err(cannot)?;
    temporary.write_all(text.as_bytes()).map_err(cannot)?;
    if let Some(rights) = &before {
        temporary
            .as_file()
            .set_permissions(rights.clone())
            .map_err(cannot)?;
    }
    temporary.as_file().sync_all().map_err(cannot)?;
    match before {
        Some(_) => temporary
            .persist(&target)
            .map(drop)
            .map_err(|e| cannot(e.error)),
        // Refused if somebody has made a file of that name meanwhile.
        None => match temporary.persist_noclobber(&target) {
            Ok(_) => Ok(()),
            Err(e) if e.error.kind() == ErrorKind::AlreadyExists => Err(foreign(path, holds)),
            Err(e) => Err(cannot(e.error)),
        },
    }
}

/// The file that is meant: behind a link the one that it leads to.
fn target(path: &Path) -> Result<PathBuf> {
    // What stands for a pipe or a device need not lead to a name.
    if std::fs::metadata(path).is_ok_and(|m| !m.is_file() && !m.is_dir()) {
        return Ok(path.to_owned());
    }
    match std::fs::symlink_metadata(path) {
        Ok(m) if m.file_type().is_symlink() => std::fs::canonicalize(path).map_err(|e| {
            Failure::no(format!("the link {} leads nowhere: {e}", path.display()))
                .help("give another name")
        }),
        _ => Ok(path.to_owned()),
    }
}

/// Refuses the store, what SQLite may put beside it, and the shop's file.
fn refuse_own(config: &Config, target: &Path) -> Result {
    let own = config.store().ok();
    let own = own.iter().flat_map(|s| Store::files(s));
    let shop = config.shop.iter().map(|s| s.path.clone());
    for own in own.chain(shop) {
        if same(&own, target) {
            return Err(Failure::no(format!(
                "{} belongs to the store; it is never written over",
                target.display()
            ))
            .help("give another name"));
        }
    }
    Ok(())
}

/// Whether two paths name one file, be it there or not.
fn same(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    if let (Ok(a), Ok(b)) = (std::fs::metadata(a), std::fs::metadata(b)) {
        use std::os::unix::fs::MetadataExt;
        if (a.dev(), a.ino()) == (b.dev(), b.ino()) {
            return true;
        }
    }
    let full = |p: &Path| -> Option<(PathBuf, String)> {
        let p = std::fs::canonicalize(p)
            .or_else(|_| std::path::absolute(p))
            .ok()?;
        let folder = std::fs::canonicalize(p.parent()?).ok()?;
        // Some file systems take capitals for small letters.
        Some((folder, p.file_name()?.to_string_lossy().to_lowercase()))
    };
    matches!((full(a), full(b)), (Some(a), Some(b)) if a == b)
}

/// Whether a file is an earlier output of the same kind as a text.
fn is_earlier(path: &Path, text: &str, form: Form, holds: Holds) -> bool {
    let mut bytes = Vec::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(LARGEST).read_to_end(&mut bytes));
    let Ok(earlier) = String::from_utf8(bytes) else {
        return false;
    };
    read.is_ok()
        && match form.mark(holds) {
            None => earlier.starts_with('{') && keys(&earlier) == keys(text),
            Some(mark) if form == Form::Yaml => earlier.lines().next() == Some(&mark),
            Some(mark) => earlier.lines().next_back() == Some(&mark),
        }
}

fn foreign(path: &Path, holds: Holds) -> Failure {
    Failure::no(format!(
        "{} is there already and is no earlier {} of this form; it was left alone",
        path.display(),
        holds.words()
    ))
    .help("give another name, or remove that file first")
}
