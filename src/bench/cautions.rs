//! Cautions: warnings that a step carries because of what it needs and touches.

use serde::{Deserialize, Serialize};

use super::Bench;

/// A warning shown before a step.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Caution {
    /// Identifier.
    pub id: String,
    /// What is shown.
    pub text: String,
    /// What calls for it: a step carries it if any of these fits.
    pub called_for: Vec<Demand>,
}

/// What calls for a caution. A step has to fit all that is stated.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Demand {
    /// Bench conditions, by index: all of them hold in the step.
    pub conditions: Vec<usize>,
    /// Tools, each a part of the tool's name in any case: the step needs one.
    pub tools: Vec<String>,
    /// Whole words in any case: the step's name, its question or the unit that
    /// it is about has one of them.
    pub parts: Vec<String>,
}

/// Whether a tool is meant by a part of its name, in any case.
pub(super) fn meant(tool: &str, part: &str) -> bool {
    tool.to_lowercase().contains(&part.to_lowercase())
}

/// A text as words in lower case, with a blank before and after each.
fn as_words(text: &str) -> String {
    let letters = text.chars().map(|c| match c.is_alphanumeric() {
        true => c.to_ascii_lowercase(),
        false => ' ',
    });
    let letters: String = letters.collect();
    let words: Vec<&str> = letters.split_whitespace().collect();
    format!(" {} ", words.join(" "))
}

impl Bench {
    /// The cautions, by index, that a step calls for by what it needs, `about`
    /// being the words that name it and what it touches.
    pub fn called_for(&self, conditions: &[usize], tools: &[String], about: &str) -> Vec<usize> {
        let holds = self.closure(conditions);
        let about = as_words(about);
        let fits = |d: &Demand| {
            let uses = |part: &String| tools.iter().any(|t| meant(t, part));
            let named = |part: &String| about.contains(&as_words(part));
            d.conditions.iter().all(|c| holds.contains(c))
                && (d.tools.is_empty() || d.tools.iter().any(uses))
                && (d.parts.is_empty() || d.parts.iter().any(named))
        };
        let all = self.cautions.iter().enumerate();
        let all = all.filter(|(_, c)| c.called_for.iter().any(fits));
        all.map(|(i, _)| i).collect()
    }
}
