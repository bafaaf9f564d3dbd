//! The rule files that a rule base is made of, each with its fingerprint, so that
//! an edit of one can be told from an edit of another.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::raw::AnyFile;
use super::source::SourceFile;

/// One rule file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RuleFile {
    /// What it holds.
    pub holds: Holds,
    /// Kinds of line that it builds on, by identifier: of a pack or a description.
    pub lines: Vec<String>,
    /// SHA-256 of its text, in hexadecimal.
    pub fingerprint: String,
}

/// What a rule file holds, by identifier where there may be several.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Holds {
    /// Bench conditions, cautions, history questions: they concern every device.
    Bench,
    /// Meters: so do they.
    Meters,
    /// A kind of line.
    Line(String),
    /// A pack.
    Pack(String),
    /// A device description.
    Device(String),
}

impl RuleFile {
    pub(super) fn of(any: &AnyFile, file: &SourceFile) -> RuleFile {
        let (holds, lines) = match any {
            AnyFile::Bench(_) => (Holds::Bench, Vec::new()),
            AnyFile::Meters(_) => (Holds::Meters, Vec::new()),
            AnyFile::Line(l) => (Holds::Line(l.line.value.clone()), Vec::new()),
            AnyFile::Pack(p) => {
                let lines = p.lines.iter().map(|(_, l)| l.line.value.clone());
                (Holds::Pack(p.pack.value.clone()), lines.collect())
            }
            AnyFile::Device(d) => {
                let wired = d.wired.iter().flat_map(|(_, of_pack)| of_pack);
                let lines = wired.map(|(_, w)| w.line.value.clone());
                (Holds::Device(d.device.value.clone()), lines.collect())
            }
        };
        RuleFile {
            holds,
            lines,
            fingerprint: file.fingerprint(),
        }
    }
}

impl SourceFile {
    /// SHA-256 of the text, in hexadecimal.
    pub fn fingerprint(&self) -> String {
        hex(Sha256::new().chain_update(self.text.as_bytes()))
    }
}

/// SHA-256 over several texts, in hexadecimal.
pub(super) fn over<'t>(texts: impl IntoIterator<Item = &'t str>) -> String {
    let mut hash = Sha256::new();
    for text in texts {
        hash.update(text.as_bytes());
        hash.update([0]);
    }
    hex(hash)
}

fn hex(hash: Sha256) -> String {
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

/// Fingerprint over those of the files that say something of a device with these
/// packs and this description: theirs, the kinds of line that they build on, the
/// bench and the meters.
pub fn fingerprint_over(files: &[RuleFile], packs: &[&str], device: Option<&str>) -> String {
    let own = |f: &RuleFile| match &f.holds {
        Holds::Pack(id) => packs.contains(&id.as_str()),
        Holds::Device(id) => device == Some(id.as_str()),
        _ => false,
    };
    let builds = files.iter().filter(|f| own(f));
    let lines: Vec<&String> = builds.flat_map(|f| &f.lines).collect();
    let says = |f: &&RuleFile| match &f.holds {
        Holds::Bench | Holds::Meters => true,
        Holds::Line(id) => lines.contains(&id),
        _ => own(f),
    };
    over(files.iter().filter(says).map(|f| f.fingerprint.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_counts_for_what_is_made_from_it() {
        let file = |holds: Holds, lines: &[&str]| RuleFile {
            holds,
            lines: lines.iter().map(|l| (*l).to_owned()).collect(),
            fingerprint: "before".to_owned(),
        };
        let named = |id: &str| id.to_owned();
        let files = vec![
            (file(Holds::Bench, &[]), true),
            (file(Holds::Meters, &[]), true),
            (file(Holds::Line(named("bus")), &[]), true),
            (file(Holds::Line(named("supply")), &[]), true),
            (file(Holds::Line(named("audio")), &[]), false),
            (file(Holds::Pack(named("camera")), &["bus"]), true),
            (file(Holds::Pack(named("sound")), &["audio"]), false),
            (file(Holds::Device(named("phone")), &["supply"]), true),
            (file(Holds::Device(named("tablet")), &[]), false),
        ];
        let mut today: Vec<RuleFile> = files.iter().map(|f| f.0.clone()).collect();
        let now = |files: &[RuleFile]| fingerprint_over(files, &["camera"], Some("phone"));
        let before = now(&today);
        for (n, (file, counts)) in files.iter().enumerate() {
            today[n].fingerprint = "after".to_owned();
            assert_eq!(now(&today) != before, *counts, "{:?}", file.holds);
            today[n].fingerprint = "before".to_owned();
        }
    }
}
