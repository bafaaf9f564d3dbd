//! What a device carries, and which rule files say something of it.

use std::collections::HashSet;

use super::super::Unit;
use super::error::{CompileError, describe};
use crate::rulebase::{Carried, Device, Pack, Rulebase, fingerprint_over};

/// The packs that a device carries, each with its copies, the main one first;
/// without a description, all of them.
pub(super) fn carried<'r>(
    rules: &'r Rulebase,
    device: Option<&Device>,
) -> Vec<(&'r Pack, Vec<Carried>)> {
    let described: HashSet<&str> = rules
        .devices
        .iter()
        .flat_map(|d| d.carries.iter().map(|c| c.0.as_str()))
        .collect();
    let mut carries = Vec::new();
    for p in &rules.packs {
        let mut copies = match device.and_then(|d| d.carries.iter().find(|c| c.0 == p.id)) {
            Some((_, copies)) => copies.clone(),
            // A pack that no description mentions is on every device.
            None if device.is_none() || !described.contains(p.id.as_str()) => Vec::new(),
            None => continue,
        };
        if copies.is_empty() {
            copies.push(Carried {
                name: p.unit.clone().unwrap_or_else(|| p.id.clone()),
                also: Vec::new(),
            });
        }
        carries.push((p, copies));
    }
    carries
}

/// Fingerprint over the rule files that any model of a unit is compiled from. An
/// edit of what serves other kinds of device alone leaves it as it is.
///
/// # Errors
/// If no device description fits.
pub fn fingerprint(rules: &Rulebase, unit: &Unit) -> Result<String, CompileError> {
    let device = describe(rules, unit)?;
    let carries = carried(rules, device);
    let packs: Vec<&str> = carries.iter().map(|(p, _)| p.id.as_str()).collect();
    let device = device.map(|d| d.id.as_str());
    Ok(fingerprint_over(&rules.files, &packs, device))
}
