//! The nodes of a line while it is built.

use super::validator::Validator;
use crate::rulebase::problem::{Code, Problem, nearest};
use crate::rulebase::source::{At, Span};

/// The node that all others are measured against.
pub(super) const GROUND: &str = "ground";

/// The nodes of a line while it is being built.
#[derive(Default)]
pub(super) struct Nodes {
    pub(super) names: Vec<String>,
    /// Where each is mentioned.
    pub(super) at: Vec<Vec<Span>>,
}

impl Nodes {
    pub(super) fn index(&mut self, name: &At<String>) -> usize {
        let i = self.names.iter().position(|n| *n == name.value);
        let i = i.unwrap_or_else(|| {
            self.names.push(name.value.clone());
            self.at.push(Vec::new());
            self.names.len() - 1
        });
        self.at[i].push(name.span);
        i
    }
}

impl Validator<'_> {
    /// A node at which a single part ends is mostly a slip of the pen.
    pub(super) fn loose_ends(&mut self, nodes: &Nodes) {
        let loose = |i: usize| nodes.at[i].len() == 1;
        for (i, at) in nodes.at.iter().enumerate().skip(1) {
            if let [only] = at[..] {
                let name = &nodes.names[i];
                let others = nodes.names.iter().filter(|n| *n != name);
                let near = nearest(name, others.clone().map(String::as_str));
                let twin = near.and_then(|n| nodes.names.iter().position(|m| m == n));
                if twin.is_some_and(|t| t > i && loose(t)) {
                    // Two spellings of one node: said at the second.
                    continue;
                }
                self.push(
                    Problem::new(
                        Code::LooseEnd,
                        only,
                        format!("nothing else is at the node `{name}`"),
                    )
                    .near(name, others.map(String::as_str))
                    .help(
                        "write the name of a node that other parts have too, or make it a point \
                         if a probe can be held there",
                    ),
                );
            }
        }
    }
}
