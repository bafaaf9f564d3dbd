//! What is built alike: the halves of a line, and lines that are siblings.

use super::named::Named;
use super::validator::Validator;
use crate::rulebase::line::Line;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawLine, RawPack};

/// The end of a name, written with its hyphen or without.
fn end_of(text: &str) -> &str {
    text.trim().trim_start_matches('-')
}

impl Validator<'_> {
    /// The two halves of a template: the ends of their names.
    pub(super) fn halves(&mut self, raw: &RawLine) -> Option<[String; 2]> {
        let (one, other) = match &raw.halves[..] {
            [] => return None,
            [one, other] if end_of(one) != end_of(other) => (one, other),
            [first, ..] => {
                self.push(
                    Problem::new(Code::Type, first.span, "halves come in two")
                        .help("write the ends of their names, such as `halves: [-p, -n]`"),
                );
                return None;
            }
        };
        let (first, second) = (end_of(one), end_of(other));
        let has = |name: &str| {
            let point = raw.points.iter().any(|(id, _)| id.value == name);
            point || raw.parts.iter().any(|(id, _)| id.value == name)
        };
        let names = raw.points.iter().map(|(id, _)| id);
        let names = names.chain(raw.parts.iter().map(|(id, _)| id));
        let mut any = false;
        for name in names {
            let Some((stem, end)) = name.rsplit_once('-') else {
                continue;
            };
            let twin = match end {
                e if e == first => second,
                e if e == second => first,
                _ => continue,
            };
            any = true;
            let twin = format!("{stem}-{twin}");
            let dropped = |d: &[String]| d.contains(&twin);
            if !has(&twin) && !dropped(raw.parts.dropped()) && !dropped(raw.points.dropped()) {
                self.push(
                    Problem::new(
                        Code::UnknownName,
                        name.span,
                        format!("`{}` has no `{twin}` in the other half", name.value),
                    )
                    .also(one.span, "the halves")
                    .help("give both halves the same parts and points, or take `halves` out"),
                );
                return None;
            }
        }
        if !any {
            self.push(
                Problem::new(
                    Code::UnknownName,
                    one.span,
                    format!("no part or point ends in `-{first}`"),
                )
                .help("write the ends of names that both halves have, such as `[-p, -n]`"),
            );
            return None;
        }
        Some([first.to_owned(), second.to_owned()])
    }

    /// Lines of a pack that are built alike; said once, it holds both ways.
    pub(super) fn siblings(&mut self, raw: &RawPack, lines: &mut [Line]) {
        for (at, (id, u)) in raw.lines.iter().enumerate() {
            for name in &u.siblings {
                let other = raw.lines.iter().position(|(l, _)| l.value == name.value);
                let Some(other) = other else {
                    if !raw.lines.dropped().contains(&name.value) {
                        let known = raw.lines.iter().map(|(l, _)| l.as_str());
                        self.unknown(Named::Line, name, known);
                    }
                    continue;
                };
                let kind = &raw.lines[other].1.line;
                if other == at || kind.value != u.line.value {
                    self.push(
                        Problem::new(
                            Code::Mixed,
                            name.span,
                            match other == at {
                                true => format!("`{}` is no sibling of itself", id.value),
                                false => format!(
                                    "`{}` is a {} and `{}` is a {}",
                                    id.value, u.line.value, name.value, kind.value
                                ),
                            },
                        )
                        .help("siblings are other lines of the pack from the same template"),
                    );
                    continue;
                }
                for (one, two) in [(at, other), (other, at)] {
                    if let Some(l) = lines.get_mut(one).filter(|l| !l.siblings.contains(&two)) {
                        l.siblings.push(two);
                    }
                }
            }
        }
    }
}
