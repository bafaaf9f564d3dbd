//! Draws a hidden case: one that the advice mends, since there is little to learn
//! from any other.

use super::round::Round;
use super::task::{DrillError, Order, Task};
use crate::job::{CaseFile, Settings};
use crate::model::{Unit, outline};
use crate::plan::Costs;
use crate::rulebase::{Rulebase, nearest};
use crate::simulate::{Hidden, Luck, Start};

/// Names of what chance decides.
const COMPLAINT: u64 = 301;
const PAST: u64 = 302;
const CASE: u64 = 303;
/// How many hidden cases are drawn at most until the advice mends one.
const TRIES: u64 = 8;

impl Task {
    /// Draws what comes in.
    ///
    /// # Errors
    /// If an area or a kind is not in the rules, or no complaint fits both.
    pub fn draw(rules: &Rulebase, order: &Order) -> Result<Task, DrillError> {
        if let Some(name) = &order.area
            && !rules.packs.iter().any(|p| p.id == *name)
        {
            let all: Vec<String> = rules.packs.iter().map(|p| p.id.clone()).collect();
            return Err(DrillError::NoArea {
                name: name.clone(),
                near: nearest(name, all.iter().map(String::as_str)).map(str::to_owned),
                all,
            });
        }
        let luck = Luck::new(order.seed).of(u8::from(order.level).into());
        let all = complaints(rules, order)?;
        let Some((device, symptom)) = all.get(luck.of(COMPLAINT).one_of(all.len())) else {
            return Err(DrillError::NoComplaint {
                area: order.area.clone(),
                kind: order.kind.clone(),
            });
        };
        let pasts = &rules.bench.history;
        let past = match order.level.has_past() {
            true => pasts.get(luck.of(PAST).one_of(pasts.len())),
            false => None,
        };
        let file = CaseFile {
            device: device.clone(),
            symptoms: vec![symptom.clone()],
            history: past.iter().map(|p| p.0.clone()).collect(),
            meter: order.meter.clone(),
            ..CaseFile::default()
        };
        let settings = Settings {
            costs: Costs {
                rate: order.rate,
                give_up: order.unmended,
                ..Costs::default()
            },
            ..Settings::default()
        };
        let start = Start::new(rules, &file, settings)?;
        let nothing = || DrillError::NoComplaint {
            area: order.area.clone(),
            kind: order.kind.clone(),
        };
        let hide = |n| order.level.hide(&start, luck.of(CASE).of(n));
        let hidden = hide(0).ok_or_else(nothing)?;
        let others: Vec<Hidden> = (1..TRIES).filter_map(hide).collect();
        let symptoms = start.symptoms.iter();
        let mut task = Task {
            complaint: symptoms
                .map(|s| start.model.symptoms[*s].name.clone())
                .collect(),
            past: past.iter().map(|p| p.1.clone()).collect(),
            order: order.clone(),
            hidden,
            start,
        };
        // There is little to learn from what the advice itself does not mend.
        for other in others {
            if Round::advice(&task).is_mended() {
                return Ok(task);
            }
            task.hidden = other;
        }
        Ok(task)
    }
}

/// Every symptom that is the loss of a function, on each kind of device.
fn complaints(rules: &Rulebase, order: &Order) -> Result<Vec<(Unit, String)>, DrillError> {
    let unit = |kind: &str| Unit {
        kind: kind.to_owned(),
        ..Unit::default()
    };
    let generic = rules.devices.iter().filter(|d| d.model.is_none());
    let mut units: Vec<Unit> = match &order.kind {
        Some(kind) => vec![unit(kind)],
        None => generic.map(|d| unit(&d.kind)).collect(),
    };
    if units.is_empty() {
        units.push(Unit::default());
    }
    let mut all = Vec::new();
    for unit in units {
        let model = outline(rules, &unit, &[])?;
        let here = |pack: &str| order.area.as_ref().is_none_or(|area| area == pack);
        let fits = (model.symptoms.iter()).filter(|s| s.function.is_some() && here(&s.pack));
        all.extend(fits.map(|s| (unit.clone(), s.id.clone())));
    }
    Ok(all)
}
