//! A complaint that is named on the command line.

use super::config::Config;
use super::error::{Failure, Result};
use crate::job::CaseFile;
use crate::model::Unit;

/// A complaint about a device that is no job.
pub(super) fn complained(
    config: &Config,
    kind: &str,
    model: &Option<String>,
    complaint: Option<&str>,
    symptoms: &[String],
    history: &[String],
) -> Result<CaseFile> {
    let file = CaseFile {
        device: Unit {
            kind: kind.to_owned(),
            model: model.clone(),
            ..Unit::default()
        },
        complaint: complaint.unwrap_or_default().to_owned(),
        symptoms: symptoms.to_vec(),
        history: history.to_vec(),
        meter: config.first_meter(),
        ..CaseFile::default()
    };
    match file.too_much() {
        Some(why) => Err(Failure::no(why)),
        None => Ok(file),
    }
}

/// A complaint in which no symptom is heard.
pub(super) fn nothing_fits() -> Failure {
    Failure::no("nothing in the rules fits this complaint")
        .help("name a symptom with --symptom; `halfsplit rules explain` lists them")
}
