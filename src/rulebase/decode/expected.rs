//! What is expected at a place of a file, and what to write there instead.

use std::fmt;

use crate::rulebase::source::At;
use crate::rulebase::yaml::Node;

/// What is expected at a place.
#[derive(Clone, Copy)]
pub(super) enum Expected {
    Number,
    WholeNumber,
    /// A number alone, or this key for it beside others.
    NumberOrMore(&'static str),
    Bool,
    Text,
    List,
    /// So many values in a list.
    Values(usize),
    Mapping,
    OneOf(&'static [&'static str]),
}

impl fmt::Display for Expected {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Expected::Number => f.write_str("a number such as 3 or 0.5"),
            Expected::WholeNumber => f.write_str("a whole number such as 3"),
            Expected::NumberOrMore(key) => {
                write!(f, "a number, or `{key}:` and more in braces")
            }
            Expected::Bool => f.write_str("true or false"),
            Expected::Text => f.write_str("a text"),
            Expected::List => f.write_str("a list such as `[a, b]`"),
            Expected::Values(n) => write!(f, "{n} values in brackets"),
            Expected::Mapping => f.write_str("a mapping (`name: value` lines)"),
            Expected::OneOf(words) => write!(f, "one of {}", words.join(", ")),
        }
    }
}

impl Expected {
    /// What to write instead, where it can be told from the node that is there and
    /// from how it is written.
    pub(super) fn advice(self, node: &At<Node>, written: &str) -> Option<String> {
        match (self, &node.value) {
            (Expected::Number | Expected::WholeNumber, Node::Text(t)) => as_number(t),
            (Expected::List, Node::Text(_) | Node::Number(_)) => {
                Some(format!("in brackets: [{}]", clip(written)))
            }
            (Expected::Bool, Node::Text(_)) => Some("write true or false, without quotes".into()),
            (Expected::Mapping, Node::Text(_) | Node::Number(_)) => {
                Some("write one name to a line, each with a colon and what belongs to it".into())
            }
            (Expected::Mapping, Node::List(l)) => Some(match l.first().map(|n| &n.value) {
                Some(Node::Text(t)) => format!(
                    "write `{}:` with its own keys indented below it, without the hyphen",
                    clip(t)
                ),
                _ => "write names with colons, without hyphens or brackets".into(),
            }),
            _ => None,
        }
    }
}

/// How a text that means a number is written as one.
fn as_number(text: &str) -> Option<String> {
    let number = |s: &str| s.parse::<f64>().is_ok_and(f64::is_finite);
    let point = text.replacen(',', ".", 1);
    let first = text.split_whitespace().next().unwrap_or("");
    if number(text) {
        Some(format!("without quotes: {text}"))
    } else if text.contains(',') && number(&point) {
        Some(format!("with a decimal point: {point}"))
    } else if let Some(p) = text.strip_suffix('%').filter(|p| number(p.trim())) {
        Some(format!(
            "without the sign; {p} per cent is {} as a chance",
            tidy(p.trim().parse::<f64>().ok()? / 100.0)
        ))
    } else if number(first) {
        Some(format!("the number alone: {first}"))
    } else {
        None
    }
}

/// A number without the dust of binary fractions.
fn tidy(n: f64) -> f64 {
    (n * 1e9).round() / 1e9
}

/// The first line of a text, as far as it has room in a message.
pub(super) fn clip(s: &str) -> String {
    let line = s.lines().next().unwrap_or("");
    if line.chars().count() > 40 {
        line.chars().take(40).chain(['…']).collect()
    } else {
        line.to_owned()
    }
}
