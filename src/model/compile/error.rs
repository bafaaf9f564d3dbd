//! Why a device cannot be compiled.

use thiserror::Error;

use crate::belief::ConversionError;
use crate::circuit::solve::SolveError;
use crate::rulebase::{Device, Rulebase};

/// Why a device cannot be compiled.
#[derive(Clone, Debug, Error)]
pub enum CompileError {
    /// No description fits.
    #[error(
        "no device description for kind `{kind}`{}; known kinds: {known}",
        .near.as_ref().map(|n| format!(" (did you mean `{n}`?)")).unwrap_or_default()
    )]
    NoDevice {
        /// What was asked for.
        kind: String,
        /// What there is.
        known: String,
        /// What was probably meant.
        near: Option<String>,
    },
    /// A history answer that no question asks for.
    #[error("no history question is called `{0}`; known: {1}")]
    NoHistory(String, String),
    /// No meter of that name.
    #[error(
        "no meter is called `{name}`; {known}{}",
        .near.as_ref().map(|n| format!(" (did you mean `{n}`?)")).unwrap_or_default()
    )]
    NoMeter {
        /// What was asked for.
        name: String,
        /// What was probably meant.
        near: Option<String>,
        /// What there is.
        known: String,
    },
    /// A line has values that no circuit can have.
    #[error("line `{line}`: {why}")]
    Line {
        /// The line.
        line: String,
        /// What stands in the way.
        why: SolveError,
    },
    /// The rates of a pack cannot be turned into priors.
    #[error("pack `{pack}`: {why}")]
    Rates {
        /// The pack.
        pack: String,
        /// What stands in the way.
        why: ConversionError,
    },
}

/// Finds the description that fits best: model and variant, model, kind.
pub(super) fn describe<'a>(
    rules: &'a Rulebase,
    unit: &super::Unit,
) -> Result<Option<&'a Device>, CompileError> {
    if rules.devices.is_empty() {
        return Ok(None);
    }
    let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
    let score = |d: &Device| -> Option<u32> {
        let mut s = 0;
        if !unit.kind.is_empty() {
            if !same(&d.kind, &unit.kind) {
                return None;
            }
            s += 1;
        }
        match (&d.model, &unit.model) {
            (Some(a), Some(b)) if same(a, b) => s += 4,
            (Some(_), _) => return None,
            (None, _) => {}
        }
        match (&d.variant, &unit.variant) {
            (Some(a), Some(b)) if same(a, b) => s += 2,
            (Some(_), Some(_)) => return None,
            _ => {}
        }
        Some(s)
    };
    let best = rules
        .devices
        .iter()
        .filter_map(|d| score(d).map(|s| (s, d)))
        .max_by_key(|(s, _)| *s)
        .filter(|(s, _)| *s > 0 || unit.kind.is_empty())
        .map(|(_, d)| d);
    if best.is_none() && !unit.kind.is_empty() {
        let mut kinds: Vec<&str> = rules.devices.iter().map(|d| d.kind.as_str()).collect();
        kinds.sort_unstable();
        kinds.dedup();
        return Err(CompileError::NoDevice {
            kind: unit.kind.clone(),
            near: crate::rulebase::nearest(&unit.kind, kinds.iter().copied()).map(str::to_owned),
            known: kinds.join(", "),
        });
    }
    Ok(if unit.kind.is_empty() && unit.model.is_none() {
        None
    } else {
        best
    })
}
