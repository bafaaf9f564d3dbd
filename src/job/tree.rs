//! The whole plan of a job as a tree, as it is shown and written for programs.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Case;
use super::kind::StepKind;
use super::view::foreseen;
use crate::bench::BenchState;
use crate::plan::{Act, Extent, Node, Then, tree};

/// A plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TreeView {
    /// The device.
    pub device: String,
    /// What is complained of, in words.
    pub symptoms: Vec<String>,
    /// Longest way, in tests and remedies.
    pub depth: usize,
    /// Rarer ways end in an order of remedies.
    pub cut: f64,
    /// Expected cost, in currency.
    pub expected_cost: f64,
    /// Expected number of tests and remedies.
    pub expected_steps: f64,
    /// No plan is expected to cost less.
    pub at_least_cost: f64,
    /// Where it begins.
    pub root: TreeNode,
}

/// A moment of a plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TreeNode {
    /// That the plan comes here.
    pub probability: f64,
    /// Expected cost from here on, in currency.
    pub expected_cost: f64,
    /// Expected number of tests and remedies from here on.
    pub expected_steps: f64,
    /// What is done; absent at the end of a way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<TreeStep>,
    /// What it leads to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub branches: Vec<TreeBranch>,
    /// At the end of a way: remedies one after the other until it is mended.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remedies: Vec<TreeStep>,
    /// At the end of a way: expected loss where none of them mended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loss: Option<f64>,
    /// Whether the tree is cut here, by its depth or because the way is rare:
    /// tests may well be better than the remedies by themselves, so go on from
    /// here in the job.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub cut: bool,
}

/// A test or a remedy of a plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TreeStep {
    /// `test` or `remedy`.
    pub act: StepKind,
    /// Full identifier.
    pub id: String,
    /// In words.
    pub text: String,
    /// Cost in currency with the changes of bench condition, for a remedy with
    /// parts and the retest.
    pub cost: f64,
    /// For a remedy at the end of a way: that all is well after it, where it
    /// comes to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mends: Option<f64>,
    /// Bench conditions to bring about first, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub prepare: Vec<String>,
    /// Cautions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
}

/// An outcome of a step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TreeBranch {
    /// The outcome: an identifier, or `mended` and `not-mended`.
    pub shows: String,
    /// In words.
    pub says: String,
    /// Where the plan tells values of one outcome apart: which, with the unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reads: Option<String>,
    /// Its probability at this moment.
    pub probability: f64,
    /// What follows; absent where it is mended.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub then: Option<TreeNode>,
}

impl TreeBranch {
    /// The outcome with the values that it stands for here.
    pub fn led_by(&self) -> String {
        match &self.reads {
            Some(reads) => format!("{}: {reads}", self.says),
            None => self.says.clone(),
        }
    }
}

/// The plan from where a job stands.
pub fn tree_view(case: &Case, extent: Extent) -> TreeView {
    let tree = tree(&case.situation(), extent, case.settings.effort);
    let m = &case.model;
    TreeView {
        device: m.device.clone(),
        symptoms: (case.symptoms.iter())
            .map(|s| m.symptoms[*s].name.clone())
            .collect(),
        depth: extent.depth,
        cut: extent.cut,
        expected_cost: tree.root.cost,
        expected_steps: tree.root.steps,
        at_least_cost: tree.at_least.min(tree.root.cost),
        root: node(case, &tree.root),
    }
}

fn node(case: &Case, n: &Node) -> TreeNode {
    let mut out = TreeNode {
        probability: n.probability,
        expected_cost: n.cost,
        expected_steps: n.steps,
        step: None,
        branches: Vec::new(),
        remedies: Vec::new(),
        loss: None,
        cut: false,
    };
    match &n.then {
        Then::Do {
            act,
            price,
            branches,
        } => {
            out.step = Some(step(case, n.state, *act, *price));
            for b in branches {
                let (shows, says, reads) = match act {
                    Act::Test(t) => {
                        let (outcome, reads) = foreseen(case, *t, b.outcome);
                        let o = &case.model.tests[*t].outcomes[outcome];
                        (o.id.clone(), o.says.clone(), reads)
                    }
                    Act::Remedy(_) => {
                        let (shows, says) = match b.outcome {
                            0 => ("mended", "mended"),
                            _ => ("not-mended", "not mended"),
                        };
                        (shows.to_owned(), says.to_owned(), None)
                    }
                };
                out.branches.push(TreeBranch {
                    shows,
                    says,
                    reads,
                    probability: b.probability,
                    then: b.node.as_ref().map(|n| node(case, n)),
                });
            }
        }
        Then::End {
            remedies,
            loss,
            cut,
        } => {
            out.loss = Some(*loss);
            out.cut = *cut;
            let mut state = n.state;
            for r in remedies {
                let act = Act::Remedy(r.remedy);
                out.remedies.push(TreeStep {
                    mends: Some(r.mends),
                    ..step(case, state, act, r.price)
                });
                let conditions = &case.model.remedies[r.remedy].step.conditions;
                state = case.model.bench.reach(state, conditions).to;
            }
        }
    }
    out
}

fn step(case: &Case, state: BenchState, act: Act, price: f64) -> TreeStep {
    let m = &case.model;
    let named = m.named(act);
    let info = named.step;
    let change = m.bench.reach(state, &info.conditions);
    let name = |c: &usize| m.bench.conditions[*c].name.clone();
    let leave = change
        .leave
        .iter()
        .map(|c| format!("no longer: {}", name(c)));
    TreeStep {
        act: act.into(),
        id: named.id.to_owned(),
        text: named.text.to_owned(),
        cost: price,
        mends: None,
        prepare: leave.chain(change.enter.iter().map(name)).collect(),
        cautions: (info.cautions.iter())
            .map(|c| m.bench.cautions[*c].text.clone())
            .collect(),
    }
}
