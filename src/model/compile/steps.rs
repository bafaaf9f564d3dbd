//! Tests and remedies of a device.

use std::sync::Arc;

use super::Builder;
use super::copy::{Copy, in_part};
use super::error::CompileError;
use crate::line::Probing;
use crate::model::*;
use crate::rulebase::{How, MeterMode, PackFault, TRIED, Test};

impl Builder<'_> {
    /// A step for this copy, or for all where they share it, with the cautions
    /// that it calls for; `about` names it.
    fn step(&self, copy: &Copy, once: bool, s: &Step, about: &str) -> Step {
        let unit = if once { "" } else { copy.name };
        let about = format!("{unit} {}", copy.words(about));
        let mut step = Step {
            explain: s.explain.as_deref().map(|e| copy.words(e)),
            ..s.clone()
        };
        step.call_for_cautions(&self.model.bench, &about);
        step
    }

    pub(super) fn probing(&self, t: &Test, point: usize, mode: MeterMode) -> Probing {
        let conditions = self.model.bench.closure(&t.step.conditions);
        Probing::new(point, mode, conditions.into_iter().collect())
    }

    /// The tests; what those of lines may read is [foretold](Model::take) at the
    /// end.
    pub(super) fn tests(&mut self, copy: &Copy) {
        let pack = copy.pack;
        let mut order: Vec<(TestId, &String)> = Vec::new();
        for (index, t) in pack.tests.iter().enumerate() {
            if !copy.counts(&t.only_on) {
                continue;
            }
            let mut before = None;
            let mut after = None;
            let mut function = None;
            let mut runs = false;
            let mut fitted = None;
            let mut proves = None;
            let mut measures = None;
            let once;
            let outcomes: Vec<OutcomeInfo>;
            let finding;
            match &t.how {
                How::Measures { line, point, mode } => {
                    once = copy.shares(&pack.lines[*line]);
                    outcomes = Vec::new();
                    finding = Finding::yes_no(0.0, &[], 0.0);
                    measures = Some(Measures {
                        line: copy.lines[*line],
                        probing: self.probing(t, *point, *mode),
                    });
                }
                How::Shows {
                    outcomes: out,
                    leak,
                } => {
                    once = copy.only_shared(out.iter().flat_map(|o| o.links.iter().map(|l| l.0)));
                    let mut pushes: Vec<(FaultId, Vec<f64>)> = Vec::new();
                    for (k, o) in out.iter().enumerate().skip(1) {
                        for (f, p) in copy.links(&o.links) {
                            match pushes.iter_mut().find(|x| x.0 == f) {
                                Some(x) => x.1[k - 1] = p,
                                None => {
                                    let mut v = vec![0.0; out.len() - 1];
                                    v[k - 1] = p;
                                    pushes.push((f, v));
                                }
                            }
                        }
                    }
                    finding =
                        Finding::ordered(out.len(), *leak, &pushes, 0.0).mistaken(&t.mistaken);
                    outcomes = out
                        .iter()
                        .map(|o| OutcomeInfo {
                            id: o.id.clone(),
                            says: copy.words(&o.says),
                            between: o.between,
                        })
                        .collect();
                }
                How::Tries {
                    function: f,
                    partly,
                    swaps_in,
                    lends,
                    ..
                } => {
                    let acts = |(l, s): &(PackFault, f64)| (*l, s * pack.acts_in(&t.how, *l));
                    let broken = |function: usize| {
                        let links = pack.functions[function].links.iter().map(acts);
                        let kept: Vec<(PackFault, f64)> = links.filter(|l| l.1 > 0.0).collect();
                        [copy.links(&kept), self.break_as(pack, &kept)].concat()
                    };
                    // The fuller function needs all that this one needs.
                    let widest = partly.as_ref().map_or(*f, |p| p.without);
                    let links = &pack.functions[widest].links;
                    once = copy.only_shared(links.iter().map(|l| l.0));
                    let fails = broken(*f);
                    let told = match partly {
                        None => Finding::yes_no(0.0, &fails, 0.0),
                        Some(p) => {
                            let pushes = in_part(&broken(p.without), &fails);
                            Finding::ordered(3, 0.0, &pushes, 0.0)
                        }
                    };
                    finding = told.mistaken(&t.mistaken);
                    function = Some(copy.functions[*f]);
                    runs = lends.is_none();
                    let item = swaps_in.map(|i| pack.items[i].faults.iter());
                    let known = item.and_then(|mut of| of.find_map(|f| copy.faults[*f]));
                    fitted = known.map(|f| self.model.faults[f].item);
                    proves = t.how.proves().map(|f| copy.functions[f]);
                    let seated = |item: &Option<usize>| {
                        item.map(|i| copy.seating(i))
                            .filter(|c| !c.clears.is_empty())
                    };
                    before = seated(swaps_in);
                    after = seated(lends);
                    let outcome = |id: &str, says: &str| OutcomeInfo {
                        id: id.into(),
                        says: says.into(),
                        between: None,
                    };
                    let [works, fails] = TRIED;
                    let part = partly.iter().map(|p| {
                        let word = p.outcome.replace('-', " ");
                        outcome(&p.outcome, &format!("yes, but {word}"))
                    });
                    outcomes = std::iter::once(outcome(works, "yes, it works"))
                        .chain(part)
                        .chain(std::iter::once(outcome(fails, "no")))
                        .collect();
                }
            }
            if once && !copy.first {
                continue;
            }
            let foretold = match &before {
                None => finding.clone(),
                Some(change) => finding.after(change),
            };
            // A question that follows from the line follows from that of the
            // device.
            let asked = match (&t.how, measures) {
                (How::Measures { line, point, mode }, Some(m))
                    if t.ask == pack.lines[*line].question(*point, *mode, None) =>
                {
                    self.model.lines[m.line].line.question(*point, *mode, None)
                }
                _ => t.ask.clone(),
            };
            let good = self.device.into_iter().flat_map(|d| &d.good);
            let good = good.filter(|g| g.pack == pack.id && g.test == index);
            let good = good.filter(|g| copy.counts(&g.only_on));
            let at = self.model.tests.next_key();
            self.model.known_good.extend(good.map(|g| (at, g.clone())));
            self.model.tests.push(TestInfo {
                id: copy.id(&t.id, once),
                ask: copy.words(&asked),
                kind: t.kind,
                outcomes,
                finding: Arc::new(finding),
                foretold: Arc::new(foretold),
                before,
                after,
                swaps_in: fitted,
                proves,
                function,
                runs,
                measures,
                unit: match &t.how {
                    How::Measures { mode, .. } => Some(mode.unit().to_owned()),
                    _ => t.unit.clone(),
                },
                most_volts: None,
                reliability: t.reliability,
                mistaken: t.mistaken.clone(),
                step: self.step(copy, once, &t.step, &format!("{} {asked}", t.id)),
                only_for: t.only_for.clone(),
                raises: t.raises.clone(),
                checks: None,
                comes_after: Vec::new(),
            });
            order.extend(t.after.iter().map(|before| (at, before)));
        }
        for (at, before) in order {
            let ids = [copy.id(before, false), copy.id(before, true)];
            let place = self.model.tests.position(|t| ids.contains(&t.id));
            self.model.tests[at].comes_after.extend(place);
        }
    }

    /// What the checks of gates find of the faults of a copy.
    pub(super) fn hazards(&mut self, copy: &Copy) {
        for h in &copy.pack.hazards {
            let found = &mut self.model.found[h.gate];
            let known = |f: &FaultId| found.links.iter().any(|(g, _)| g == f);
            let links = copy.links(&h.links).into_iter();
            let new: Vec<_> = links.filter(|(f, _)| !known(f)).collect();
            found.links.extend(new);
            if copy.first {
                found.clear *= 1.0 - h.leak;
            }
        }
    }

    pub(super) fn remedies(&mut self, copy: &Copy) -> Result<(), CompileError> {
        for r in &copy.pack.remedies {
            if !copy.counts(&r.only_on) {
                continue;
            }
            let mut bridges = Vec::new();
            for line in &copy.lines {
                let info = &self.model.lines[*line];
                let wanted = |id: &String| r.bridges.contains(id);
                for part in (0..info.line.parts.len()).filter(|p| wanted(&info.line.parts[*p].id)) {
                    let harms = info.wire_harms(part).map_err(|why| CompileError::Line {
                        line: info.id.clone(),
                        why,
                    })?;
                    if !harms {
                        bridges.push((*line, part));
                    }
                }
            }
            if bridges.is_empty() && !r.bridges.is_empty() {
                continue;
            }
            let once = copy.only_shared(r.clears.iter().chain(&r.may_break).map(|l| l.0));
            if once && !copy.first {
                continue;
            }
            self.model.remedies.push(RemedyInfo {
                id: copy.id(&r.id, once),
                name: copy.words(&r.name),
                change: Change {
                    clears: copy.links(&r.clears),
                    brings: copy.links(&r.may_break),
                },
                bridges,
                step: self.step(copy, once, &r.step, &format!("{} {}", r.id, r.name)),
            });
        }
        Ok(())
    }
}
