//! `demo`: cases from an invented shop, built into the program.

use include_dir::{Dir, include_dir};

use super::config::Config;
use super::error::{Failure, Result};
use super::replay::{parse_case, replay_file};
use super::terminal::Terminal;
use super::text::fill;
use crate::rulebase::nearest;

static CASES: Dir = include_dir!("$CARGO_MANIFEST_DIR/demo-cases");

pub(super) fn demo(config: &Config, name: Option<&str>, terminal: &mut Terminal) -> Result {
    let mut cases: Vec<(String, String)> = CASES
        .files()
        .filter(|f| f.path().extension().is_some_and(|e| e == "yaml"))
        .filter_map(|f| {
            let stem = f.path().file_stem()?.to_str()?.to_owned();
            Some((stem, f.contents_utf8()?.to_owned()))
        })
        .collect();
    cases.sort();
    let Some(name) = name else {
        let widest = cases.iter().map(|c| c.0.len()).max().unwrap_or(0);
        for (stem, text) in &cases {
            let file = parse_case(stem, text.clone())?;
            let head = format!("{stem:<widest$} ");
            let indent = " ".repeat(widest + 1);
            terminal.line(&fill(&file.case, terminal.width, &head, &indent))?;
        }
        return terminal.line("`halfsplit demo NAME` plays one.");
    };
    match cases.iter().find(|(stem, _)| stem == name) {
        Some((stem, text)) => {
            let file = parse_case(stem, text.clone())?;
            match replay_file(config, &file, false, terminal)?.led {
                true => Ok(()),
                false => Err(Failure::no(
                    "the true fault did not lead before its remedy: under these rules this demo \
                     does not come out",
                )),
            }
        }
        None => {
            let e = Failure::no(format!("no demo is called `{name}`"));
            Err(match nearest(name, cases.iter().map(|c| c.0.as_str())) {
                Some(n) => e.help(format!("did you mean `{n}`?")),
                None => e.help("`halfsplit demo` lists them"),
            })
        }
    }
}
