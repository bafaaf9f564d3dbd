//! The words for what a fault does to a line: `open contact`, `short bus to ground`,
//! `leaky clamp`, `fed land`.

use super::named::Named;
use super::validator::Validator;
use crate::rulebase::line::{Harm, Line, PartKind};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawLine;
use crate::rulebase::source::{At, Span};

/// What happens to a part or a node.
#[derive(Clone, Copy, PartialEq)]
enum Verb {
    Open,
    Off,
    Short,
    Leaky,
    Resistive,
    Damaged,
    Above,
    Fed,
}

impl Verb {
    const ALL: [Verb; 8] = [
        Verb::Open,
        Verb::Off,
        Verb::Short,
        Verb::Leaky,
        Verb::Resistive,
        Verb::Damaged,
        Verb::Above,
        Verb::Fed,
    ];

    /// The word used in rules.
    fn word(self) -> &'static str {
        match self {
            Verb::Open => "open",
            Verb::Off => "off",
            Verb::Short => "short",
            Verb::Leaky => "leaky",
            Verb::Resistive => "resistive",
            Verb::Damaged => "damaged",
            Verb::Above => "above",
            Verb::Fed => "fed",
        }
    }
}

impl Validator<'_> {
    /// What a text says that happens to a line, which is built from a template.
    pub(super) fn harm(&mut self, text: &At<String>, kind: &RawLine, line: &Line) -> Option<Harm> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let (verb, what, to) = match words[..] {
            [verb, what] => (verb, what, None),
            [verb, what, "to", other] => (verb, what, Some(other)),
            _ => {
                self.push(
                    Problem::new(
                        Code::Type,
                        text.span,
                        format!("`{}` does not say what happens to the line", text.value),
                    )
                    .help(
                        "write `open`, `off`, `short`, `leaky`, `resistive`, `damaged` or `above` and a \
                         part, or `short NODE to ground`, `short NODE to NODE`, `leaky NODE to \
                         ground`, `fed NODE`",
                    ),
                );
                return None;
            }
        };
        let place = |w: &str| At {
            value: w.to_owned(),
            span: self.inside(text, w),
        };
        let (typed, what, to) = (place(verb), place(what), to.map(place));
        let Some(verb) = Verb::ALL.into_iter().find(|v| v.word() == verb) else {
            let words = Verb::ALL.map(Verb::word);
            self.push(
                Problem::new(
                    Code::UnknownName,
                    typed.span,
                    format!("nothing happens to a line that is called `{}`", typed.value),
                )
                .near(&typed, words)
                .help(format!("write one of {}", words.join(", "))),
            );
            return None;
        };
        if kind.parts.dropped().contains(&what.value) {
            return None;
        }
        match (verb, to) {
            (Verb::Short | Verb::Leaky, Some(other)) => {
                self.harm_between(verb, &what, &other, line)
            }
            (_, Some(other)) => {
                let verb = verb.word();
                self.push(
                    Problem::new(
                        Code::Mixed,
                        other.span,
                        format!("`{verb}` takes one part, with no `to`"),
                    )
                    .help(format!("write `{verb}` and the name of a part")),
                );
                None
            }
            (Verb::Fed, None) => {
                let fed = node(line, &what).filter(|n| *n > 0);
                if fed.is_none() {
                    self.unknown(Named::NodeOfLine, &what, nodes(line));
                }
                fed.map(Harm::Fed)
            }
            (_, None) => self.harm_of_part(verb, &what, kind, line),
        }
    }

    /// What is short or leaky from one node to another.
    fn harm_between(
        &mut self,
        verb: Verb,
        what: &At<String>,
        other: &At<String>,
        line: &Line,
    ) -> Option<Harm> {
        let a = self.among(Named::NodeOfLine, what, nodes(line));
        let b = self.among(Named::NodeOfLine, other, nodes(line));
        let (a, b) = (a?, b?);
        let (low, high) = (a.min(b), a.max(b));
        let what = &what.value;
        let (message, help) = match (verb, low) {
            _ if low == high => (
                format!("`{what}` is the same node at both ends"),
                "name two nodes, or one and `ground`".to_owned(),
            ),
            (Verb::Leaky, 0) => return Some(Harm::LeakyNode(high)),
            (Verb::Leaky, _) => (
                "a node leaks to `ground`, or a part leaks".to_owned(),
                format!("write `leaky {what} to ground`, or `leaky` and a part"),
            ),
            (_, 0) => return Some(Harm::Grounded(high)),
            _ => return Some(Harm::Joined(low, high)),
        };
        self.push(Problem::new(Code::Mixed, other.span, message).help(help));
        None
    }

    /// What happens to a part.
    fn harm_of_part(
        &mut self,
        verb: Verb,
        what: &At<String>,
        kind: &RawLine,
        line: &Line,
    ) -> Option<Harm> {
        let written = || kind.parts.iter().map(|(id, _)| id.as_str());
        let part = written().find(|p| *p == what.value);
        let part = part.and_then(|_| line.parts.iter().position(|p| p.id == what.value));
        let Some(i) = part else {
            if node(line, what).is_some() && matches!(verb, Verb::Short | Verb::Leaky) {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        what.span,
                        format!("`{}` is a node, not a part", what.value),
                    )
                    .help(format!(
                        "write `{} {} to ground`",
                        verb.word(),
                        what.value
                    )),
                );
            } else {
                self.unknown(Named::PartOfLine, what, written());
            }
            return None;
        };
        let kind = &line.parts[i].kind;
        let supply = matches!(kind, PartKind::Rail { .. });
        let switch = matches!(kind, PartKind::Switch(_));
        let (lacks, help) = match verb {
            Verb::Open => return Some(Harm::Open(i)),
            Verb::Short => return Some(Harm::Short(i)),
            Verb::Leaky => return Some(Harm::Leaky(i)),
            Verb::Off if switch || supply => return Some(Harm::Off(i)),
            Verb::Off => (
                "is nothing that is switched on",
                "supplies and load switches may be `off`; write `open` here",
            ),
            Verb::Above if supply => return Some(Harm::Above(i)),
            Verb::Above => (
                "has no level that it could be above",
                "supplies may be `above` their level; write `fed` and a node here",
            ),
            Verb::Damaged if matches!(kind, PartKind::Junction(_)) => {
                return Some(Harm::Damaged(i));
            }
            Verb::Damaged => (
                "has no junction that could be damaged",
                "clamps, diodes and pins of chips may be `damaged`; write `open`, `leaky` or `resistive` here",
            ),
            _ if switch || supply || matches!(kind, PartKind::Path(_)) => {
                return Some(Harm::Resistive(i));
            }
            _ => (
                "has no resistance that could be too high",
                "contacts, joints, traces, resistors and the like become resistive; write `open` or `leaky` here",
            ),
        };
        self.push(
            Problem::new(Code::Mixed, what.span, format!("`{}` {lacks}", what.value)).help(help),
        );
        None
    }

    /// Where a word stands in a text.
    fn inside(&self, text: &At<String>, word: &str) -> Span {
        let Span { file, start, end } = text.span;
        let written = self
            .files
            .get(file as usize)
            .and_then(|f| f.text.get(start as usize..end as usize))
            .unwrap_or("");
        let sign = |c: char| !(c.is_alphanumeric() || c == '-' || c == '_');
        let at = written.match_indices(word).map(|(i, _)| i).find(|i| {
            let (before, after) = (&written[..*i], &written[i + word.len()..]);
            before.chars().next_back().is_none_or(sign) && after.chars().next().is_none_or(sign)
        });
        match at {
            Some(i) => Span {
                file,
                start: start + i as u32,
                end: start + (i + word.len()) as u32,
            },
            None => text.span,
        }
    }
}

fn node(line: &Line, name: &str) -> Option<usize> {
    line.nodes.iter().position(|n| n == name)
}

fn nodes(line: &Line) -> impl Iterator<Item = &str> + Clone {
    line.nodes.iter().map(String::as_str)
}
