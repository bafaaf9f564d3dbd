//! Tests that measure a line.

use super::links::Scope;
use super::mistaken::RELIABILITY;
use super::named::Named;
use super::names::texts;
use super::validator::Validator;
use crate::bench::{Bench, POWERED, UNPOWERED};
use crate::rulebase::meter::MeterMode;
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::{RawMeasures, RawPack, RawTest};
use crate::rulebase::source::At;
use crate::rulebase::typed::{How, Kind, Test};

impl Validator<'_> {
    /// A test that measures a line.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn measurement(
        &mut self,
        id: &At<String>,
        t: &RawTest,
        m: &RawMeasures,
        raw: &RawPack,
        scope: &Scope,
        bench: &Bench,
    ) -> Option<Test> {
        let sources = [&t.source, &raw.source];
        let other = [
            ("tries", t.tries.as_ref().map(|n| n.span)),
            ("shows", t.shows.first().map(|o| o.0.span)),
            ("swaps-in", t.swaps_in.as_ref().map(|n| n.span)),
            ("lends", t.lends.as_ref().map(|n| n.span)),
            ("without", t.without.first().map(|n| n.span)),
            ("leak", t.leak.as_ref().map(|n| n.span)),
            ("unit", t.unit.as_ref().map(|n| n.span)),
        ];
        if let Some((key, Some(span))) = other.into_iter().find(|o| o.1.is_some()) {
            self.push(
                Problem::new(
                    Code::Mixed,
                    span,
                    format!("test `{}` has both `measures` and `{key}`", id.value),
                )
                .help("what a line reads, healthy or not, follows from the line itself; make two tests of it"),
            );
        }
        let mode = MeterMode::ALL.iter().find(|(w, _)| *w == m.mode.value);
        if mode.is_none() {
            self.unknown(Named::MeterMode, &m.mode, MeterMode::ALL.map(|(w, _)| w));
        }
        let lines = &scope.pack.lines;
        let at = raw.lines.iter().position(|(n, _)| n.value == m.line.value);
        let Some(at) = at else {
            if !raw.lines.dropped().contains(&m.line.value) {
                self.unknown(
                    Named::Line,
                    &m.line,
                    raw.lines.iter().map(|(n, _)| n.as_str()),
                );
            }
            self.loose = true;
            return None;
        };
        // Of a line without a template nothing is known.
        let line = lines.get(at).filter(|l| !l.nodes.is_empty())?;
        let point = line.points.iter().position(|p| p.id == m.at.value);
        if point.is_none() {
            let known = line.points.iter().map(|p| p.id.as_str());
            self.unknown(Named::PointOfLine, &m.at, known);
        }
        let mut step = self.step(id, t.into(), &sources, bench);
        let (mode, point) = (mode?.1, point?);
        if t.minutes.is_none() {
            step.minutes = line.points[point].minutes;
        }
        let needed = match mode {
            MeterMode::Volts => POWERED,
            MeterMode::Diode | MeterMode::Ohms => UNPOWERED,
        };
        let full = bench.closure(&step.conditions);
        if self.complete && full.iter().all(|c| bench.conditions[*c].id != needed) {
            self.push(
                Problem::new(
                    Code::NoCondition,
                    id.span,
                    format!(
                        "`{}` measures {}, which demands the condition `{needed}`",
                        id.value,
                        match mode {
                            MeterMode::Volts => "volts",
                            MeterMode::Diode => "in diode mode",
                            MeterMode::Ohms => "ohms",
                        }
                    ),
                )
                .help(format!("add `{needed}` to its `conditions:`")),
            );
        }
        let reliability = self.reliability(&t.reliability, RELIABILITY, &sources);
        let kind = match &t.kind {
            None => Kind::Measure,
            Some(k) => self.kind_of_test(k).unwrap_or(Kind::Measure),
        };
        let ask = t.ask.as_ref().map(|a| a.value.as_str());
        let ask = line.question(point, mode, ask);
        Some(Test {
            id: id.value.clone(),
            ask,
            kind,
            how: How::Measures {
                line: at,
                point,
                mode,
            },
            unit: Some(mode.unit().to_owned()),
            reliability,
            mistaken: Vec::new(),
            step,
            only_on: texts(&t.only_on),
            only_for: self.only_for(t, raw),
            after: Vec::new(),
            raises: self.signs(t, &[], bench),
        })
    }
}
