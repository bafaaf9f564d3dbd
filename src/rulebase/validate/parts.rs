//! Parts of a line: from a word and its nodes to what stands in the circuit.

use std::collections::HashSet;

use super::nodes::Nodes;
use super::part_words::{Sort, WORDS, Word, said};
use super::quantity::Quantity;
use super::validator::Validator;
use super::values::{Anew, usual_value};
use crate::rulebase::amount::{Unit, example};
use crate::rulebase::line::{Duty, Known, LinePart, PartKind};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawLine, RawPart};
use crate::rulebase::shape::{Amount, Ends};
use crate::rulebase::source::At;

/// What rests on nothing that an author typed.
const USUAL: &str = "common practice, no source";

/// Forward voltage at 1 mA from ground of all that a supply feeds, together.
const FED: &str = "0.25 V to 0.6 V";

/// Forward voltage at 1 mA of the junction from ground at the near side of a data switch.
/// Common practice, no source.
const DATA_SWITCH_PIN: &str = "0.45 V to 0.7 V";

/// What a part says that it is.
struct Said<'r> {
    word: &'static Word,
    /// The nodes at its word.
    ends: &'r At<Ends>,
    /// The supply that its upper junction leads to.
    rail: Option<&'r At<Ends>>,
}

impl Validator<'_> {
    /// Builds a part into its line; false if it cannot be told what it is.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn part<'r>(
        &mut self,
        raw: &'r RawLine,
        id: &At<String>,
        p: &'r RawPart,
        anew: &[Anew],
        nodes: &mut Nodes,
        parts: &mut Vec<LinePart>,
        used: &mut HashSet<&'r str>,
    ) -> bool {
        let Some(said) = self.part_word(id, p) else {
            return false;
        };
        let w = said.word;
        let Some((from, to)) = self.part_ends(id, &said, nodes) else {
            return false;
        };
        let fitted = p.fitted.as_ref().map_or(1.0, |f| {
            self.sourced(f.span, &[&p.source, &raw.source]);
            self.fitted(f, w)
        });
        let mut source = [&p.source, &raw.source]
            .into_iter()
            .find_map(|s| s.as_ref())
            .map_or_else(|| USUAL.to_owned(), |s| s.value.clone());
        let mut value = |v: &mut Self, n: &'r Option<At<Amount>>, unit: Unit, usual: &str| {
            let known = match n {
                None => usual_value(usual, unit),
                Some(n) => {
                    if let Some(a) = anew.iter().find(|a| a.get(&n.value.0).is_some()) {
                        source = a.source.unwrap_or(USUAL).to_owned();
                    }
                    let several = matches!(w.sort, Sort::Rail | Sort::Path)
                        && p.is.as_ref().is_some_and(|is| std::ptr::eq(is, n));
                    v.value(raw, n, unit, several, anew, used)
                }
            };
            // What could not be read has been reported; anything will do.
            known.unwrap_or(Known::within(1.0, 50.0))
        };
        let is = value(self, &p.is, w.sort.unit(), w.usual);
        let idle = value(self, &p.idle, Unit::Ohm, "500 ohm to 50 kohm");
        let gives = value(self, &p.gives, Unit::Ampere, "1 A");
        let alone = |n: &At<Amount>| n.value.0.trim() == "none";
        let feeds = (!p.junction.as_ref().is_some_and(alone))
            .then(|| value(self, &p.junction, Unit::Volt, FED));
        let kinds = match (w.sort, &p.is) {
            (Sort::Rail | Sort::Path, Some(n)) => self.kinds(raw, n, w.sort.unit(), anew),
            _ => Vec::new(),
        };
        if w.usual.is_empty() && p.is.is_none() && w.sort != Sort::Shifter {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    id.span,
                    format!("the {} `{}` has no value", w.word, id.value),
                )
                .help(format!("add `is:` such as {}", example(w.sort.unit()))),
            );
        }
        let protects = p.protects.unwrap_or(w.protects);
        let name = p.name.clone().unwrap_or_else(|| id.value.replace('-', " "));
        let mut put = |more: &str, kind: PartKind, from: usize, to: usize| {
            parts.push(LinePart {
                id: format!("{}{more}", id.value),
                name: name.clone(),
                kind,
                duty: w.duty,
                from,
                to,
                protects,
                fitted,
                kinds: Vec::new(),
                source: source.clone(),
            });
        };
        match w.sort {
            Sort::Path => put("", PartKind::Path(is), from, to),
            Sort::Switch => put("", PartKind::Switch(is), from, to),
            Sort::DataSwitch => {
                put("", PartKind::Switch(is), from, to);
                if let Some(clamp) = usual_value(DATA_SWITCH_PIN, Unit::Volt) {
                    put(".pin", PartKind::Junction(clamp), 0, from);
                }
            }
            Sort::Diode => put("", PartKind::Junction(is), from, to),
            Sort::Capacitor => put("", PartKind::Capacitor(is), from, to),
            Sort::Clamp | Sort::HostPin => {
                put("", PartKind::Junction(is), 0, from);
                if let Some(rail) = said.rail {
                    match &rail.value.0[..] {
                        [one] => {
                            let upper = nodes.index(one);
                            put(".upper", PartKind::Junction(is), from, upper);
                        }
                        _ => self.push(
                            Problem::new(
                                Code::Type,
                                rail.span,
                                format!("a {} leads to one rail", w.word),
                            )
                            .help("write the node of that supply, such as `rail: io`"),
                        ),
                    }
                }
                if w.sort == Sort::HostPin {
                    let leak = Known::between(1e6, 100e6);
                    put(".leak", PartKind::Path(leak), from, 0);
                }
            }
            Sort::Rail => {
                let kind = PartKind::Rail {
                    volts: is,
                    amps: gives.typical,
                    idle,
                };
                put("", kind, from, 0);
                if let Some(k) = feeds {
                    put(".lower", PartKind::Junction(k), 0, from);
                }
                // It is the pins of all that the supply feeds.
                if let Some(part) = parts.last_mut().filter(|p| p.is_piece()) {
                    part.duty = Duty::Pins;
                }
            }
            Sort::Shifter => match &p.gate {
                Some(gate) => {
                    let gate = nodes.index(gate);
                    put("", PartKind::Shifter { gate }, from, to);
                }
                None => {
                    self.push(
                        Problem::new(
                            Code::MissingKey,
                            id.span,
                            format!("the shifter `{}` does not say where its gate is", id.value),
                        )
                        .help("add `gate:` with the node of the lower supply"),
                    );
                    return false;
                }
            },
        }
        if let Some(part) = parts.iter_mut().find(|p| p.id == id.value) {
            part.kinds = kinds;
        }
        true
    }

    /// The word of a part and the nodes that go with it; reports what says nothing of
    /// such a part.
    fn part_word<'r>(&mut self, id: &At<String>, p: &'r RawPart) -> Option<Said<'r>> {
        let mut words: Vec<_> = WORDS
            .iter()
            .zip(said(p))
            .filter_map(|(w, ends)| ends.as_ref().map(|e| (w, e)))
            .collect();
        let takes_rail = |s: Sort| matches!(s, Sort::HostPin | Sort::Clamp);
        let rail = words
            .iter()
            .position(|(w, _)| w.sort == Sort::Rail)
            .filter(|_| words.iter().any(|(w, _)| takes_rail(w.sort)))
            .map(|i| words.remove(i).1);
        let Some((w, ends)) = words.first().copied() else {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    id.span,
                    format!("`{}` does not say what part it is", id.value),
                )
                .help(format!(
                    "write what it is and between which nodes, such as `resistor: [pad, bus]`; \
                     parts are {}",
                    WORDS.each_ref().map(|w| w.word).join(", ")
                )),
            );
            return None;
        };
        if let Some((other, second)) = words.get(1) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    second.span,
                    format!("`{}` is both a {} and a {}", id.value, w.word, other.word),
                )
                .also(ends.span, "the first")
                .help("make two parts of it"),
            );
        }
        let stray = [
            (
                "idle",
                p.idle.as_ref().map(|n| n.span),
                w.sort == Sort::Rail,
            ),
            (
                "gives",
                p.gives.as_ref().map(|n| n.span),
                w.sort == Sort::Rail,
            ),
            (
                "junction",
                p.junction.as_ref().map(|n| n.span),
                w.sort == Sort::Rail,
            ),
            (
                "gate",
                p.gate.as_ref().map(|n| n.span),
                w.sort == Sort::Shifter,
            ),
            ("is", p.is.as_ref().map(|n| n.span), w.sort != Sort::Shifter),
        ];
        for (key, span, fitting) in stray {
            if let (Some(span), false) = (span, fitting) {
                self.push(
                    Problem::new(
                        Code::Mixed,
                        span,
                        format!("`{key}` says nothing of a {}", w.word),
                    )
                    .help("take it out"),
                );
            }
        }
        Some(Said {
            word: w,
            ends,
            rail,
        })
    }

    /// The nodes that a part lies between.
    fn part_ends(
        &mut self,
        id: &At<String>,
        said: &Said,
        nodes: &mut Nodes,
    ) -> Option<(usize, usize)> {
        let Said { word: w, ends, .. } = said;
        let given = &ends.value.0;
        if !w.nodes.contains(&given.len()) {
            let (least, most) = (*w.nodes.start(), *w.nodes.end());
            let wants = match (least, most) {
                (1, 1) => "one node, such as `bus`".to_owned(),
                (1, _) => "one node, or two such as `[pad, bus]`".to_owned(),
                _ => "two nodes, such as `[pad, bus]`".to_owned(),
            };
            self.push(
                Problem::new(Code::Type, ends.span, format!("a {} takes {wants}", w.word)).help(
                    match given.len() {
                        1 => "write the node at its other end too",
                        _ => "write only the nodes that it lies between",
                    },
                ),
            );
            return None;
        }
        for n in given {
            self.name(n, false);
        }
        if given.len() == 2 && given[0].value == given[1].value {
            self.push(
                Problem::new(
                    Code::Mixed,
                    given[1].span,
                    format!("both ends of `{}` are at `{}`", id.value, given[1].value),
                )
                .help("a part lies between two nodes"),
            );
        }
        let mut at: Vec<usize> = given.iter().map(|n| nodes.index(n)).collect();
        if at.len() == 1 {
            at.push(0);
        }
        Some((at[0], at[1]))
    }

    /// Share of all boards that have a part which others do without.
    fn fitted(&mut self, f: &At<f64>, w: &Word) -> f64 {
        if !w.optional {
            self.push(
                Problem::new(
                    Code::Mixed,
                    f.span,
                    format!("a {} cannot be left out of a line", w.word),
                )
                .help(
                    "only clamps, capacitors, diodes, pull-ups, pull-downs, thermistors, data switches \
                     and pins of chips may be left out; take `fitted` out",
                ),
            );
        }
        let share = self.within(f, Quantity::SHARE_OF_BOARDS);
        if share == 0.0 {
            self.push(
                Problem::new(Code::Range, f.span, "a part that no board has")
                    .help("take the part out"),
            );
            return 1.0;
        }
        share
    }
}
