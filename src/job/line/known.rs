//! What a job knows of a line: its readings and what may be wrong where.

use typed_index_collections::TiVec;

use super::view::{CauseView, ReadingView};
use crate::belief::candidates::Candidate;
use crate::belief::{FaultId, likelier};
use crate::circuit::meter::Reading;
use crate::job::case::Case;
use crate::job::ledger::Entered;
use crate::line::CATEGORIES;
use crate::model::{LineId, LineInfo, Read, Taken, bounds};
use crate::plan::TestId;
use crate::rulebase::{Harm, Line, LinePart, PartKind};
use crate::units::shown;

/// A reading of a line that is in force.
pub(super) struct TakenHere<'c> {
    /// From 0.
    entry: usize,
    test: TestId,
    outcome: usize,
    taken: &'c Taken,
    misread: f64,
}

/// A fault of the line with one thing that it may do to it.
pub(super) struct Cause {
    pub(super) fault: FaultId,
    pub(super) harm: Harm,
    /// Probability that it does that here, given that it is there.
    pub(super) share: f64,
}

/// What is known of a line.
pub(super) struct Known<'c> {
    pub(super) case: &'c Case,
    pub(super) info: &'c LineInfo,
    pub(super) taken: Vec<TakenHere<'c>>,
    pub(super) causes: Vec<Cause>,
}

/// Below this a cause is not named.
const NAMED_FROM: f64 = 0.005;

/// The readings of a line that are in force.
fn taken(case: &Case, line: LineId) -> Vec<TakenHere<'_>> {
    let results = case.results();
    case.readings(line)
        .filter_map(|(entry, taken)| {
            let Entered::Result { test, outcome } = *case.entered.get(entry)? else {
                return None;
            };
            let result = results.iter().position(|e| *e == Some(entry))?;
            Some(TakenHere {
                entry,
                test,
                outcome,
                taken,
                misread: case.belief.misread.get(result).copied()?,
            })
        })
        .collect()
}

/// What a harm does to a line, in plain words.
pub(super) fn does(line: &Line, harm: Harm) -> String {
    let part = |p: usize| &line.parts[p].name;
    match harm {
        Harm::Open(p) if matches!(line.parts[p].kind, PartKind::Rail { .. }) => {
            format!("{} gives nothing", part(p))
        }
        Harm::Open(p) => format!("{} open", part(p)),
        Harm::Off(p) => format!("{} not switched on", part(p)),
        Harm::Damaged(p) => format!("{} damaged", part(p)),
        Harm::Above(p) => format!("{} above its level", part(p)),
        Harm::Fed(n) => format!("bridge from another supply to the {}", place(line, n)),
        Harm::Short(p) => format!("{} shorted", part(p)),
        Harm::Leaky(p) => format!("{} leaky", part(p)),
        Harm::Resistive(p) if matches!(line.parts[p].kind, PartKind::Rail { .. }) => {
            format!("{} below its level", part(p))
        }
        Harm::Resistive(p) => format!("{} too high in resistance", part(p)),
        Harm::Grounded(n) => format!("short to ground at the {}", place(line, n)),
        Harm::LeakyNode(n) => format!("leak to ground at the {}", place(line, n)),
        Harm::Strange => "not as these rules describe it".to_owned(),
        Harm::Joined(a, b) => format!(
            "short from the {} to the {}",
            place(line, a),
            place(line, b)
        ),
    }
}

impl<'c> Known<'c> {
    pub(super) fn new(case: &'c Case, line: LineId) -> Self {
        let info = &case.model.lines[line];
        let mut known = Known {
            case,
            info,
            taken: taken(case, line),
            causes: Vec::new(),
        };
        known.causes = known.shared_out();
        known
    }

    /// Shares each fault's probability out among the things that it may do.
    fn shared_out(&self) -> Vec<Cause> {
        let harms = self.info.harms();
        // The same readings count for many faults.
        let mut known: Vec<(Vec<Taken>, Vec<f64>)> = Vec::new();
        let mut out = Vec::new();
        for (of_pack, fault) in &self.info.faults {
            let counts: Vec<Taken> = (self.taken.iter())
                .filter(|t| !self.changed_since(t.entry, *fault))
                .map(|t| t.taken.clone())
                .collect();
            let explained = match known.iter().position(|k| k.0 == counts) {
                Some(i) => known[i].1.clone(),
                None => {
                    // A line that cannot be solved has no finding either.
                    let even = || vec![1.0; harms.len() + 1];
                    let new = self.info.explained(&counts);
                    let new = new.unwrap_or_else(|_| even());
                    known.push((counts, new.clone()));
                    new
                }
            };
            // In `explained`, a line with nothing wrong comes first.
            let weigh = |chance: f64, thing: usize| chance * explained[thing];
            let things: Vec<(Harm, f64, usize)> = (self.info.line.faults.iter())
                .filter(|e| e.fault == *of_pack)
                .filter_map(|e| Some((e.harm, e.chance, harms.iter().position(|h| *h == e.harm)?)))
                .collect();
            let spared = (1.0 - things.iter().map(|t| t.1).sum::<f64>()).max(0.0);
            let weights: Vec<f64> = things.iter().map(|t| weigh(t.1, t.2 + 1)).collect();
            let total = weigh(spared, 0) + weights.iter().sum::<f64>();
            for ((harm, chance, _), weight) in things.iter().zip(weights) {
                out.push(Cause {
                    fault: *fault,
                    harm: *harm,
                    share: if total > 0.0 { weight / total } else { *chance },
                });
            }
        }
        out
    }

    /// Whether something was done about a fault after an entry.
    fn changed_since(&self, entry: usize, fault: FaultId) -> bool {
        let m = &self.case.model;
        let counts = self.case.results();
        (self.case.entered.iter().enumerate().skip(entry + 1)).any(|(n, e)| match e {
            Entered::Remedy(r) => m.remedies[*r].change.touches(fault),
            Entered::Result { test, .. } if counts.contains(&Some(n)) => {
                let t = &m.tests[*test];
                let both = t.before.iter().chain(&t.after);
                both.into_iter().any(|c| c.touches(fault))
            }
            _ => false,
        })
    }

    /// Probability that some fault does one of these things here.
    pub(super) fn probability(&self, things: impl Fn(Harm) -> bool) -> f64 {
        let b = &self.case.belief;
        let mut shares: TiVec<FaultId, f64> = vec![0.0; b.faults.len()].into();
        for c in self.causes.iter().filter(|c| things(c.harm)) {
            shares[c.fault] += c.share;
        }
        let sum: f64 = b.faults.iter().zip(&shares).map(|(p, s)| p * s).sum();
        // What two faults of one set do is in the sum twice.
        let twice = |set: &Candidate| {
            let sum: f64 = set.iter().map(|f| shares[f]).sum();
            let any = 1.0 - set.iter().map(|f| 1.0 - shares[f]).product::<f64>();
            sum - any
        };
        let sets = b.candidates.iter().filter(|(set, _)| set.len() > 1);
        // The list may leave out up to a hundredth of them.
        let counted_twice: f64 = sets.map(|(set, p)| p * twice(set)).sum();
        (sum - counted_twice).clamp(0.0, (1.0 - b.nothing).max(0.0))
    }

    pub(super) fn at_fault(&self) -> f64 {
        self.probability(|_| true)
    }

    pub(super) fn causes(&self) -> Vec<CauseView> {
        let m = &self.case.model;
        let mut all: Vec<CauseView> = (self.causes.iter())
            .map(|c| CauseView {
                fault: m.faults[c.fault].id.clone(),
                name: m.faults[c.fault].name.clone(),
                does: does(&self.info.line, c.harm),
                posterior: self.case.belief.faults[c.fault] * c.share,
            })
            .filter(|c| c.posterior >= NAMED_FROM)
            .collect();
        all.sort_by(|a, b| likelier(a.posterior, b.posterior));
        all
    }

    pub(super) fn readings(&self, point: usize) -> Vec<ReadingView> {
        let here = |t: &&TakenHere| t.taken.probing.point == point;
        self.taken
            .iter()
            .filter(here)
            .map(|t| self.reading(t))
            .collect()
    }

    fn reading(&self, t: &TakenHere) -> ReadingView {
        let probing = t.taken.probing;
        let unit = probing.mode.unit();
        let faults = &self.info.faults;
        // Where a good line reads OL, that is the good one, and any value too low.
        let shows = match self.case.outcome(t.entry).map(|o| o.id.as_str()) {
            Some("value") => CATEGORIES[1].1,
            Some(id) if t.outcome > 0 => id,
            _ => CATEGORIES[0].1,
        };
        ReadingView {
            entry: t.entry + 1,
            test: self.case.model.tests[t.test].id.clone(),
            mode: probing.mode,
            turned: probing.turned,
            reads: match t.taken.read {
                Read::Number(Reading::Value(v)) => Some(shown(v, unit)),
                Read::Number(Reading::OL) => Some("OL".to_owned()),
                Read::Word(_) => None,
            },
            good: match self.info.forecast(probing).map(|f| f.bounds) {
                Ok(Some((low, high))) => bounds(low, high, unit),
                _ => "OL".to_owned(),
            },
            shows: shows.to_owned(),
            misread: t.misread,
            before_remedy: faults.iter().any(|f| self.changed_since(t.entry, f.1)),
        }
    }
}

/// A node in plain words: its point, its supply, or the first part at it.
pub(super) fn place(line: &Line, node: usize) -> &str {
    let point = line.points.iter().find(|p| p.node == node).map(|p| &p.name);
    let supply = line
        .parts
        .iter()
        .find(|p| p.from == node && matches!(p.kind, PartKind::Rail { .. }));
    let touches = |p: &&LinePart| !p.is_piece() && (p.from == node || p.to == node);
    let part = || line.parts.iter().find(touches);
    point
        .or_else(|| supply.or_else(part).map(|p| &p.name))
        .unwrap_or(&line.nodes[node])
}
