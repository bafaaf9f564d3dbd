//! What a trainee takes for the cause, set against what it was.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::task::DrillError;
use crate::belief::FaultId;
use crate::belief::candidates::Candidate;
use crate::model::{Found, Model};

/// What is taken for the cause, by identifier.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// A fault.
    Fault(String),
    /// An item, whatever is wrong with it.
    Item(String),
    /// Nothing is wrong.
    Nothing,
}

/// Something with its identifier and its name.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct Named {
    /// Identifier.
    pub id: String,
    /// Name on screens.
    pub name: String,
}

impl Named {
    /// A fault.
    pub(super) fn fault(model: &Model, f: FaultId) -> Named {
        let f = &model.faults[f];
        Named {
            id: f.id.clone(),
            name: f.name.clone(),
        }
    }
}

impl Cause {
    /// Which faults it may be, by index, with its name.
    fn meant(&self, model: &Model) -> Result<(Vec<FaultId>, Named), DrillError> {
        let gone = |what, name: &String| DrillError::Gone {
            what,
            name: name.clone(),
        };
        match self {
            Cause::Nothing => Ok((
                Vec::new(),
                Named {
                    id: "nothing".to_owned(),
                    name: "nothing wrong".to_owned(),
                },
            )),
            Cause::Fault(id) => match model.fault(id) {
                Found::One(f) => Ok((vec![f], Named::fault(model, f))),
                _ => Err(gone("fault", id)),
            },
            Cause::Item(id) => {
                let item = model.items.iter().find(|i| i.id == *id);
                let item = item.ok_or_else(|| gone("item", id))?;
                let named = Named {
                    id: item.id.clone(),
                    name: item.name.clone(),
                };
                Ok((item.faults.clone(), named))
            }
        }
    }
}

/// A conclusion beside the truth.
#[derive(Clone, Debug)]
pub(super) struct Verdict {
    /// What was concluded, by name.
    pub(super) taken_for: Vec<Named>,
    /// How many of the true faults were named.
    pub(super) found: usize,
    /// How many were named that are not true.
    pub(super) false_ones: usize,
}

impl Verdict {
    /// # Errors
    /// If something concluded is not in the rules.
    pub(super) fn new(
        model: &Model,
        truth: Candidate,
        concluded: &[Cause],
    ) -> Result<Verdict, DrillError> {
        let mut verdict = Verdict {
            taken_for: Vec::new(),
            found: 0,
            false_ones: 0,
        };
        let mut named = Vec::new();
        for cause in concluded {
            let (faults, name) = cause.meant(model)?;
            verdict.taken_for.push(name);
            let hits: Vec<FaultId> = truth.iter().filter(|f| faults.contains(f)).collect();
            verdict.false_ones += usize::from(hits.is_empty());
            named.extend(hits);
        }
        verdict.found = truth.iter().filter(|f| named.contains(f)).count();
        Ok(verdict)
    }

    /// Whether all that was wrong was named, and nothing else.
    pub(super) fn is_right(&self, truth: Candidate) -> bool {
        self.found == truth.len() && self.false_ones == 0
    }
}
