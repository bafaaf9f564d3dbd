//! What faults of a pack do to a line.

use std::collections::HashSet;

use super::links::resolve;
use super::named::Named;
use super::names::Names;
use super::quantity::Quantity;
use super::validator::Validator;
use crate::rulebase::line::{Effect, Harm, Line, MOST_FAULTS, PackFault, PartKind};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawLine;
use crate::rulebase::shape::{Entries, Harms};
use crate::rulebase::source::{At, Span};
use crate::rulebase::typed::Pack;

impl Validator<'_> {
    pub(super) fn effects(
        &mut self,
        faults: &Entries<At<Harms>>,
        kind: &RawLine,
        line: &Line,
        items: &Names,
        pack: &Pack,
        sources: &[&Option<At<String>>],
    ) -> Vec<Effect> {
        let mut out: Vec<Effect> = Vec::new();
        // A single fault beside its whole item refines it.
        let single: HashSet<PackFault> = faults
            .iter()
            .filter(|(t, _)| t.contains('.'))
            .flat_map(|(t, _)| resolve(t, items, pack))
            .collect();
        for (target, harms) in faults {
            let found = resolve(target, items, pack);
            if found.is_empty() {
                self.unknown_fault(target, items, pack, []);
            }
            if harms.0.is_empty() {
                self.push(
                    Problem::new(
                        Code::NoOutcome,
                        harms.span,
                        format!("`{}` does nothing to the line", target.value),
                    )
                    .help("write what it does, such as `open contact`, or take it out"),
                );
            }
            let mut total = 0.0;
            for (text, chance) in &harms.0 {
                let p = match chance {
                    None => 1.0,
                    Some(n) => {
                        self.sourced(n.span, sources);
                        self.within(n, Quantity::CHANCE)
                    }
                };
                total += chance
                    .as_ref()
                    .map_or(1.0, |n| if n.value > 1.0 { 0.0 } else { n.value });
                let Some(harm) = self.harm(text, kind, line) else {
                    self.loose = true;
                    continue;
                };
                let before: HashSet<PackFault> = out.iter().map(|e| e.fault).collect();
                let more = found.iter().filter(|f| !before.contains(f)).count();
                if before.len() <= MOST_FAULTS && before.len() + more > MOST_FAULTS {
                    self.push(
                        Problem::new(
                            Code::Range,
                            target.span,
                            format!("more than {MOST_FAULTS} faults on one line"),
                        )
                        .label("the first one too many")
                        .help("leave out those that do next to nothing to it"),
                    );
                }
                for f in &found {
                    if (target.contains('.') || !single.contains(f)) && p > 0.0 {
                        out.push(Effect {
                            fault: *f,
                            harm,
                            chance: p,
                        });
                    }
                }
            }
            if total > 1.0 + 1e-9 && harms.0.len() > 1 {
                self.push(
                    Problem::new(
                        Code::Range,
                        harms.span,
                        format!(
                            "the chances of what `{}` does add up to {:.2}",
                            target.value, total
                        ),
                    )
                    .help("it does one of these things or none: at most 1 in all"),
                );
            }
        }
        out.sort_by_key(|e| e.fault);
        out
    }

    /// `open contact`, `short bus to ground`, `leaky clamp`, `fed land`.
    fn harm(&mut self, text: &At<String>, kind: &RawLine, line: &Line) -> Option<Harm> {
        const VERBS: [&str; 8] = [
            "open",
            "off",
            "short",
            "leaky",
            "resistive",
            "damaged",
            "above",
            "fed",
        ];
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
        let (verb_at, what_at, to_at) = (place(verb), place(what), to.map(place));
        if !VERBS.contains(&verb) {
            self.push(
                Problem::new(
                    Code::UnknownName,
                    verb_at.span,
                    format!("nothing happens to a line that is called `{verb}`"),
                )
                .near(verb, VERBS)
                .help(format!("write one of {}", VERBS.join(", "))),
            );
            return None;
        }
        let written = || kind.parts.iter().map(|(id, _)| id.as_str());
        let part = |name: &str| {
            written().find(|p| *p == name)?;
            line.parts.iter().position(|p| p.id == name)
        };
        let node = |name: &str| line.nodes.iter().position(|n| n == name);
        let nodes = || line.nodes.iter().map(String::as_str);
        let unread = |name: &str| kind.parts.dropped().iter().any(|d| d == name);
        if unread(what) {
            return None;
        }
        match (verb, to_at) {
            ("short" | "leaky", Some(other)) => {
                let (a, b) = (node(what), node(&other));
                if a.is_none() {
                    self.unknown(Named::NodeOfLine, &what_at, nodes());
                }
                if b.is_none() {
                    self.unknown(Named::NodeOfLine, &other, nodes());
                }
                let (a, b) = (a?, b?);
                let (low, high) = (a.min(b), a.max(b));
                match (verb, low) {
                    _ if low == high => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                other.span,
                                format!("`{what}` is the same node at both ends"),
                            )
                            .help("name two nodes, or one and `ground`"),
                        );
                        None
                    }
                    ("leaky", 0) => Some(Harm::LeakyNode(high)),
                    ("leaky", _) => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                other.span,
                                "a node leaks to `ground`, or a part leaks",
                            )
                            .help(format!(
                                "write `leaky {what} to ground`, or `leaky` and a part"
                            )),
                        );
                        None
                    }
                    (_, 0) => Some(Harm::Grounded(high)),
                    _ => Some(Harm::Joined(low, high)),
                }
            }
            (_, Some(other)) => {
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
            ("fed", None) => {
                let fed = node(what).filter(|n| *n > 0);
                if fed.is_none() {
                    self.unknown(Named::NodeOfLine, &what_at, nodes());
                }
                fed.map(Harm::Fed)
            }
            (_, None) => {
                let Some(i) = part(what) else {
                    if node(what).is_some() && matches!(verb, "short" | "leaky") {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` is a node, not a part"),
                            )
                            .help(format!("write `{verb} {what} to ground`")),
                        );
                    } else {
                        self.unknown(Named::PartOfLine, &what_at, written());
                    }
                    return None;
                };
                let kind = &line.parts[i].kind;
                match verb {
                    "open" => Some(Harm::Open(i)),
                    "off" if matches!(kind, PartKind::Switch(_) | PartKind::Rail { .. }) => {
                        Some(Harm::Off(i))
                    }
                    "off" => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` is nothing that is switched on"),
                            )
                            .help("supplies and load switches may be `off`; write `open` here"),
                        );
                        None
                    }
                    "above" if matches!(kind, PartKind::Rail { .. }) => Some(Harm::Above(i)),
                    "above" => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` has no level that it could be above"),
                            )
                            .help(
                                "supplies may be `above` their level; write `fed` and a node here",
                            ),
                        );
                        None
                    }
                    "damaged" if matches!(kind, PartKind::Junction(_)) => Some(Harm::Damaged(i)),
                    "damaged" => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` has no junction that could be damaged"),
                            )
                            .help("clamps, diodes and pins of chips may be `damaged`; write `open`, `leaky` or `resistive` here"),
                        );
                        None
                    }
                    "short" => Some(Harm::Short(i)),
                    "leaky" => Some(Harm::Leaky(i)),
                    _ if matches!(
                        kind,
                        PartKind::Path(_) | PartKind::Switch(_) | PartKind::Rail { .. }
                    ) =>
                    {
                        Some(Harm::Resistive(i))
                    }
                    _ => {
                        self.push(
                            Problem::new(
                                Code::Mixed,
                                what_at.span,
                                format!("`{what}` has no resistance that could be too high"),
                            )
                            .help("contacts, joints, traces, resistors and the like become resistive; write `open` or `leaky` here"),
                        );
                        None
                    }
                }
            }
        }
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
