//! What good boards of a device are known to read.

use super::named::Named;
use super::names::texts;
use super::validator::Validator;
use crate::rulebase::amount::Unit;
use crate::rulebase::meter::{MeterMode, MeterProfile};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawDevice;
use crate::rulebase::shape::Amount;
use crate::rulebase::source::At;
use crate::rulebase::typed::{How, KnownGood, Pack, Test};

impl Validator<'_> {
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
            let Some(pack) = self.among(Named::Pack, name, packs.iter().map(|p| p.id.as_str()))
            else {
                continue;
            };
            let pack = &packs[pack];
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
                    self.unknown(Named::TestOfLine, id, known.map(|t| t.id.as_str()));
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
                    self.unknown(Named::Copy, copy, copies.iter().copied());
                }
                if let Some(m) = &g.meter
                    && !meters.iter().any(|known| known.id == m.value)
                {
                    self.unknown(Named::Meter, m, meters.iter().map(|m| m.id.as_str()));
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
    fn reads(&mut self, n: &At<Amount>, mode: MeterMode) -> Option<f64> {
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
        self.amount(n, unit)
    }
}
