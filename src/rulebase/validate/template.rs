//! Templates of lines.

use std::collections::HashSet;

use super::named::Named;
use super::nodes::{GROUND, Nodes};
use super::part_words::said;
use super::quantity::Quantity;
use super::validator::Validator;
use super::values::{Anew, named, starts_as_number};
use crate::bench::Bench;
use crate::rulebase::amount::Unit;
use crate::rulebase::line::{Line, LinePart, Point};
use crate::rulebase::problem::{Code, Problem};
use crate::rulebase::raw::RawLine;
use crate::rulebase::source::{At, Span};

/// Minutes to get a probe to a point, where nothing is said.
const REACH: f64 = 1.0;

impl Validator<'_> {
    /// Checks a template and gives it with its own values.
    pub(super) fn template(&mut self, raw: &RawLine, bench: &Bench) -> Line {
        self.unread.clear();
        self.name(&raw.line, false);
        self.names(Named::Value, &raw.values);
        self.names(Named::Part, &raw.parts);
        self.names(Named::Point, &raw.points);
        let whole = |dropped: &[String]| dropped.is_empty();
        if raw.parts.is_empty() && whole(raw.parts.dropped()) {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    raw.line.span,
                    format!("line `{}` has no parts", raw.line.value),
                )
                .help("list them under `parts:`, in the order of the path from the connector on"),
            );
        }
        if raw.points.is_empty() && whole(raw.points.dropped()) {
            self.push(
                Problem::new(
                    Code::MissingKey,
                    raw.line.span,
                    format!("line `{}` has no point to measure at", raw.line.value),
                )
                .help("name the places for a probe under `points:`"),
            );
        }
        for (_, v) in &raw.values {
            self.sourced(v.span, &[&raw.source]);
        }
        if let Some(r) = &raw.rate {
            self.sourced(r.span, &[&raw.source]);
        }
        for (_, p) in &raw.points {
            if let Some(m) = &p.minutes {
                self.sourced(m.span, &[&raw.source]);
            }
        }
        for (_, p) in &raw.parts {
            for n in [&p.is, &p.idle, &p.gives].into_iter().flatten() {
                if !named(&raw.values, &n.value) && starts_as_number(&n.value.0) {
                    self.sourced(n.span, &[&p.source, &raw.source]);
                }
            }
        }
        let before = self.problems.len();
        let (line, used) = self.build(raw, &[], bench);
        let whole = raw.parts.dropped().is_empty() && self.problems.len() == before;
        for (name, _) in &raw.values {
            if whole && !used.contains(name.as_str()) {
                self.push(
                    Problem::new(
                        Code::Unneeded,
                        name.span,
                        format!("no part has the value `{}`", name.value),
                    )
                    .help(format!(
                        "write `is: {}` at a part, or remove it",
                        name.value
                    )),
                );
            }
        }
        line
    }

    /// Turns a template into a line with some values given anew; also says which
    /// values were used.
    fn build<'r>(
        &mut self,
        raw: &'r RawLine,
        anew: &[Anew],
        bench: &Bench,
    ) -> (Line, HashSet<&'r str>) {
        let mut used = HashSet::new();
        let mut nodes = Nodes::default();
        nodes.index(&At {
            value: GROUND.into(),
            span: raw.line.span,
        });
        let mut parts = Vec::new();
        let mut whole = raw.parts.dropped().is_empty() && raw.points.dropped().is_empty();
        for (k, (id, p)) in raw.parts.iter().enumerate() {
            let next = raw
                .parts
                .get(k + 1)
                .map_or(u32::MAX, |(id, _)| id.span.start);
            let within = |s: Span| s.file == id.span.file && (id.span.end..next).contains(&s.start);
            let misspelt = |p: &Problem| p.code == Code::UnknownKey && p.span.is_some_and(within);
            if said(p).iter().all(|ends| ends.is_none()) && self.problems.iter().any(misspelt) {
                whole = false;
                continue;
            }
            whole &= self.part(raw, id, p, anew, &mut nodes, &mut parts, &mut used);
        }
        let mut points = Vec::new();
        for (id, p) in &raw.points {
            let at = p.at.as_ref().unwrap_or(id);
            let minutes = p
                .minutes
                .as_ref()
                .map_or(REACH, |m| self.within(m, Quantity::REACH_MINUTES));
            match nodes.names.iter().position(|n| *n == at.value) {
                None => {
                    let known = nodes.names.iter().map(String::as_str);
                    self.unknown(Named::Node, at, known);
                }
                Some(0) => self.push(
                    Problem::new(
                        Code::Mixed,
                        at.span,
                        "ground is what all else is measured against",
                    )
                    .help("take a point at another node"),
                ),
                Some(node) => {
                    nodes.at[node].push(at.span);
                    points.push(Point {
                        id: id.value.clone(),
                        name: p.name.value.clone(),
                        node,
                        minutes,
                    });
                }
            }
        }
        if whole {
            self.loose_ends(&nodes);
        }
        let mut unplugged = Vec::new();
        for (name, condition) in &raw.unplugged {
            let part = raw.parts.iter().find(|(id, _)| id.value == name.value);
            match part {
                Some((_, p)) if p.contact.is_some() => {}
                Some(_) => self.push(
                    Problem::new(
                        Code::Mixed,
                        name.span,
                        format!("`{}` is no contact and cannot be unplugged", name.value),
                    )
                    .help("name a part that is a `contact:`"),
                ),
                None => {
                    let contacts = raw.parts.iter().filter(|(_, p)| p.contact.is_some());
                    self.unknown(Named::PartOfLine, name, contacts.map(|(id, _)| id.as_str()));
                }
            }
            // Without a bench there is nothing to look the condition up in.
            let holds = match bench.conditions.is_empty() {
                true => None,
                false => self.condition(bench, condition),
            };
            let part = parts.iter().position(|q: &LinePart| q.id == name.value);
            unplugged.extend(part.zip(holds));
        }
        let rate = raw
            .rate
            .as_ref()
            .map_or(0.0, |r| self.amount(r, Unit::Hertz).unwrap_or(0.0));
        let line = Line {
            id: raw.line.value.clone(),
            name: raw.line.value.replace('-', " "),
            about: raw.about.clone().unwrap_or_default(),
            nodes: nodes.names,
            parts,
            points,
            rate,
            scope: raw.scope.clone(),
            unplugged,
            faults: Vec::new(),
            siblings: Vec::new(),
            halves: self.halves(raw),
        };
        (line, used)
    }

    /// A template with values given anew, the nearest first. What is wrong with the template itself
    /// has been said.
    pub(super) fn anew(&mut self, kind: &RawLine, anew: &[Anew], bench: &Bench) -> Line {
        let (before, loose) = (self.problems.len(), self.loose);
        let (line, _) = self.build(kind, anew, bench);
        let new = self.problems.split_off(before);
        let own = anew.iter().take(1).flat_map(|a| a.values);
        let own: Vec<Span> = own.map(|(_, v)| v.span).collect();
        let mut seen = HashSet::new();
        for p in new {
            let here = |s: Span| own.contains(&s);
            if let Some(s) = p.span.filter(|s| here(*s))
                && seen.insert(s)
            {
                self.problems.push(p);
            }
        }
        self.loose = loose;
        line
    }
}
