//! The network that a belief is worked out with, complete enough that another
//! program works out the same: the faults with their priors, and what results and
//! repairs of a job are to them. `docs/json.md` has the formulas.

use schemars::JsonSchema;
use serde::Serialize;
use typed_index_collections::TiSlice;

use crate::belief::{Change, Event, FaultId, Finding, Network};
use crate::job::case::Case;
use crate::model::Model;

/// A fault before anything was seen.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PriorView {
    /// Identifier.
    pub fault: String,
    /// Name.
    pub name: String,
    /// Probability that the device has it, whatever it was brought in for.
    pub prior: f64,
    /// Probability after everything that was entered; absent without a job.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub posterior: Option<f64>,
}

/// A fault with a chance.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ChanceView {
    /// Identifier.
    pub fault: String,
    /// The chance.
    pub chance: f64,
}

/// A fault that acts on its own, with what it pushes a finding to.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LinkView {
    /// Identifier.
    pub fault: String,
    /// For each outcome but the last, the chance that it pushes no further.
    pub at_most: Vec<f64>,
}

/// What a finding shows with a set of faults that act together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RowView {
    /// The faults that are there, of all that act together.
    pub faults: Vec<String>,
    /// For each outcome its chance, or on one scale with the other rows its density.
    pub chances: Vec<f64>,
}

/// How a finding comes to its outcomes.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ActsView {
    /// Every fault on its own; the furthest push wins.
    Alone {
        /// For each outcome but the last, the chance of no further one with no
        /// fault: less than 1 is a false alarm.
        no_fault_at_most: Vec<f64>,
        /// What each fault pushes to.
        links: Vec<LinkView>,
    },
    /// Some faults together.
    Together {
        /// What each set of them shows.
        rows: Vec<RowView>,
    },
}

/// Something that can be seen.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FindingView {
    /// Chance that the outcome is a misreading, drawn at random.
    pub misread: f64,
    /// The chance (or density) of each outcome when it is drawn at random.
    pub at_random: Vec<f64>,
    /// How it comes to its outcomes when it is not.
    pub acts: ActsView,
}

/// What is done to the faults.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ChangeView {
    /// Faults it clears, each with the chance that it takes.
    pub clears: Vec<ChanceView>,
    /// Faults it may bring about, after that.
    pub brings: Vec<ChanceView>,
}

/// What happened, in order.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EventView {
    /// A finding came out in this way.
    Seen {
        /// The outcome, from 0.
        outcome: usize,
        /// The finding.
        finding: FindingView,
    },
    /// Something was done to the device.
    Changed(ChangeView),
}

/// What happened with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ToldView {
    /// The entry, from 1; of readings of one line together the first. Absent for
    /// the complaint.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<usize>,
    /// What happened.
    #[serde(flatten)]
    pub event: EventView,
}

/// What a belief is worked out from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct NetworkView {
    /// The faults, independent of one another before anything was seen.
    pub faults: Vec<PriorView>,
    /// What happened, in order; it begins with the complaint.
    pub events: Vec<ToldView>,
}

/// A symptom or a test with what it sees.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SeesView {
    /// The symptom, or the test.
    pub id: String,
    /// Its outcomes, the healthy one first.
    pub outcomes: Vec<String>,
    /// What is done to the device before it is seen, as a swap does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<ChangeView>,
    /// The finding. Readings of a line are told together with those before them,
    /// so that theirs are in the events of a job alone.
    pub finding: FindingView,
    /// What is done to the device afterwards.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<ChangeView>,
}

/// A remedy with what it does.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DoesView {
    /// The remedy.
    pub id: String,
    /// What it does to the faults, done for the first time.
    pub change: ChangeView,
}

/// What the rules say of a device as a network.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct RulesView {
    /// The faults.
    pub faults: Vec<PriorView>,
    /// What a customer may complain of.
    pub symptoms: Vec<SeesView>,
    /// The tests.
    pub tests: Vec<SeesView>,
    /// The remedies.
    pub remedies: Vec<DoesView>,
}

/// Names of faults for a view.
struct Named<'m>(&'m Model);

impl Named<'_> {
    fn fault(&self, f: FaultId) -> String {
        self.0.faults[f].id.clone()
    }

    fn chances(&self, all: &[(FaultId, f64)]) -> Vec<ChanceView> {
        let of = |(f, chance): &(FaultId, f64)| ChanceView {
            fault: self.fault(*f),
            chance: *chance,
        };
        all.iter().map(of).collect()
    }

    fn change(&self, change: &Change) -> ChangeView {
        ChangeView {
            clears: self.chances(&change.clears),
            brings: self.chances(&change.brings),
        }
    }

    fn finding(&self, finding: &Finding) -> FindingView {
        let link = |(f, at_most): &(FaultId, Vec<f64>)| LinkView {
            fault: self.fault(*f),
            at_most: at_most.clone(),
        };
        let row = |(faults, chances): (Vec<FaultId>, &[f64])| RowView {
            faults: faults.into_iter().map(|f| self.fault(f)).collect(),
            chances: chances.to_vec(),
        };
        FindingView {
            misread: finding.misread(),
            at_random: finding.drawn().to_vec(),
            acts: match finding.rows() {
                Some(rows) => ActsView::Together {
                    rows: rows.map(row).collect(),
                },
                None => ActsView::Alone {
                    no_fault_at_most: finding.leak().to_vec(),
                    links: finding.links().iter().map(link).collect(),
                },
            },
        }
    }

    fn faults(
        &self,
        network: &Network,
        posterior: Option<&TiSlice<FaultId, f64>>,
    ) -> Vec<PriorView> {
        let faults = self.0.faults.iter_enumerated().zip(network.faults());
        let of = |((f, info), prior): ((FaultId, &crate::model::FaultInfo), _)| {
            let prior: &crate::belief::Prior = prior;
            PriorView {
                fault: info.id.clone(),
                name: info.name.clone(),
                prior: prior.probability,
                posterior: posterior.map(|p| p[f]),
            }
        };
        faults.map(of).collect()
    }
}

/// What the belief of a job is worked out from.
pub fn network(case: &Case) -> NetworkView {
    let named = Named(&case.model);
    let event = |(event, entry): (Event, Option<usize>)| ToldView {
        entry: entry.map(|e| e + 1),
        event: match event {
            Event::Seen(seen) => EventView::Seen {
                outcome: seen.outcome,
                finding: named.finding(&seen.finding),
            },
            Event::Changed(change) => EventView::Changed(named.change(&change)),
        },
    };
    NetworkView {
        faults: named.faults(&case.model.network, Some(&case.belief.faults)),
        events: case.told_in().map(event).collect(),
    }
}

/// What the rules say of a device as a network.
pub fn rules_as_network(model: &Model) -> RulesView {
    let named = Named(model);
    let symptoms = model.symptoms.iter().map(|s| SeesView {
        id: s.id.clone(),
        outcomes: vec!["absent".to_owned(), "shown".to_owned()],
        before: None,
        finding: named.finding(&s.finding),
        after: None,
    });
    let tests = model.tests.iter().map(|t| SeesView {
        id: t.id.clone(),
        outcomes: t.outcomes.iter().map(|o| o.id.clone()).collect(),
        before: t.before.as_ref().map(|c| named.change(c)),
        finding: named.finding(&t.finding),
        after: t.after.as_ref().map(|c| named.change(c)),
    });
    let remedies = model.remedies.iter().map(|r| DoesView {
        id: r.id.clone(),
        change: named.change(&r.change),
    });
    RulesView {
        faults: named.faults(&model.network, None),
        symptoms: symptoms.collect(),
        tests: tests.collect(),
        remedies: remedies.collect(),
    }
}
