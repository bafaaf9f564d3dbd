//! What is built alike: siblings and halves of lines, and good boards of a model.

use super::super::amount::{self, Unit};
use super::*;

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
                        self.unknown("line", name, known);
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

    /// What good boards of a device are known to read.
    pub(super) fn good_readings(
        &mut self,
        raw: &RawDevice,
        packs: &[Pack],
        meters: &[MeterProfile],
    ) -> Vec<KnownGood> {
        let mut out = Vec::new();
        if let (Some((pack, _)), None) = (raw.good_readings.first(), &raw.model) {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    pack.span,
                    "what a good board reads holds for one model, and this description names none",
                )
                .help("add `model:`, or move `good-readings` to the description of the model"),
            );
        }
        for (name, tests) in &raw.good_readings {
            let Some(pack) = packs.iter().find(|p| p.id == name.value) else {
                self.unknown("pack", name, packs.iter().map(|p| p.id.as_str()));
                continue;
            };
            let copies = raw.carries.iter().filter(|(p, _)| p.value == name.value);
            let mut copies: Vec<&str> = copies
                .flat_map(|(_, copies)| copies)
                .map(|c| c.name.as_str())
                .collect();
            if copies.is_empty() {
                copies.push(pack.unit.as_deref().unwrap_or(&pack.id));
            }
            for (id, g) in tests {
                let source = self.sourced(g.reads.span, &[&g.source, &raw.source]);
                let measures = |t: &Test| match t.how {
                    How::Measures { mode, .. } => Some(mode),
                    _ => None,
                };
                let Some(test) = pack.tests.iter().position(|t| t.id == id.value) else {
                    let known = pack.tests.iter().filter(|t| measures(t).is_some());
                    self.unknown("test of a line", id, known.map(|t| t.id.as_str()));
                    continue;
                };
                let Some(mode) = measures(&pack.tests[test]) else {
                    self.push(
                        Problem::new(
                            Code::Mixed,
                            id.span,
                            format!("test `{}` measures no line", id.value),
                        )
                        .help("name a test that `measures` a line"),
                    );
                    continue;
                };
                for copy in g.only_on.iter().filter(|c| !copies.contains(&c.as_str())) {
                    self.unknown("copy", copy, copies.iter().copied());
                }
                if let Some(m) = &g.meter
                    && !meters.iter().any(|known| known.id == m.value)
                {
                    self.unknown("meter", m, meters.iter().map(|m| m.id.as_str()));
                }
                let Some(value) = self.reads(&g.reads, mode) else {
                    continue;
                };
                out.push(KnownGood {
                    pack: pack.id.clone(),
                    test,
                    value,
                    meter: g.meter.as_ref().map(|m| m.value.clone()),
                    only_on: texts(&g.only_on),
                    source,
                });
            }
        }
        out
    }

    /// What a good board reads, volt or ohm.
    fn reads(&mut self, n: &At<super::super::decode::Amount>, mode: MeterMode) -> Option<f64> {
        let unit = match mode {
            MeterMode::Volts | MeterMode::Diode => Unit::Volt,
            MeterMode::Ohms => Unit::Ohm,
        };
        if n.value.0.trim().eq_ignore_ascii_case("ol") {
            self.push(
                Problem::new(
                    Code::Type,
                    n.span,
                    "OL says nothing of what a good board is like",
                )
                .help("where OL is right, the line itself has to say so, by a capacitor in series"),
            );
            return None;
        }
        match amount::plain(&n.value.0, unit) {
            Ok(v) => Some(v),
            Err(t) => {
                self.push(Problem::new(t.code, n.span, t.message).help(t.help));
                None
            }
        }
    }
}
