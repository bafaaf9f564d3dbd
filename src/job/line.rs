//! A line of the device as a job sees it: its parts in the order of the path,
//! each with its probability of being at fault, what was read at its points,
//! and where to probe next.
//!
//! # What a part's probability is
//!
//! The belief is about faults, and a fault is not a part of a line. "Trace of
//! the flex broken" breaks one trace of many and may spare this line; "control
//! bus open" may be its series resistor or its track; and several faults may
//! open the same contact. So the probability shown beside a part is that *of
//! something being wrong with this part of this line*:
//!
//! 1. A fault's probability is shared out among the things that it may do to
//!    this line and that it spares it. A thing's share is its chance in the
//!    rules times how likely it by itself makes what was read on this line
//!    (Bayes' rule with the fault as given), so that a bad reading before the
//!    series resistor and a good one behind it accuse the resistor and not the
//!    track. Only readings count that were taken since something was done about
//!    that fault, as only they are of the fault that may still be there.
//! 2. The shares that fall on a part are added up over the faults, less what is
//!    counted twice where two faults are there at once (as they are in the
//!    listed candidates): the result is the probability of their union.
//!
//! Shares are worked out as if the fault were the only one on its line. Beside
//! another fault that explains the readings better, a fault is so unlikely that
//! its shares matter little. Each line is looked at by itself: the same fault
//! has its own shares on each line that it can strike. What a fault does to a
//! node (a short or a leak to ground, a bridge to another node) is shown at the
//! node, not at a part.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::{Case, Entered};
use super::file::Entry;
use super::isolation::{AlikeView, alike_view};
use super::view::{StepView, is_zero, step};
use crate::belief::candidates::Candidate;
use crate::belief::{FaultId, likelier};
use crate::circuit::meter::Reading;
use crate::circuit::wire::FAST;
use crate::line::{Branch, CATEGORIES, End, Stop, wires};
use crate::model::{LineInfo, Measures, Read, Taken, bounds};
use crate::plan::Act;
use crate::rulebase::{Doubt, Harm, Line, LinePart, PartKind};
use crate::shown::shown;

/// A line of the device in play, in a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineInPlay {
    /// Identifier.
    pub line: String,
    /// Name on screens.
    pub name: String,
    /// Probability that something is wrong on it, 0 to 1.
    pub at_fault: f64,
    /// How many readings of it are in force.
    pub readings: usize,
    /// Whether the best next step measures it.
    pub next: bool,
}

/// A line with what is known of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LineView {
    /// Identifier.
    pub line: String,
    /// Name on screens.
    pub name: String,
    /// Whether it is fast: a wire is no substitute for any part of it.
    pub fast: bool,
    /// How many entries of the job it takes into account.
    pub entries: usize,
    /// Probability that something is wrong on it, 0 to 1.
    pub at_fault: f64,
    /// What the sets of faults that were not counted may hold at most, as a
    /// probability; no other of the line is sharper. Absent where all were.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub left_out: f64,
    /// Its wires, each from the connector to its far end.
    pub wires: Vec<Vec<NodeView>>,
    /// What may be wrong on it, likeliest first.
    pub causes: Vec<CauseView>,
    /// Leading suspects that read alike at every offered point, and what tells them
    /// apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alike: Option<AlikeView>,
    /// The best next step that measures it, if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<NextProbe>,
}

/// A node of a line with what hangs on it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NodeView {
    /// Identifier within the line.
    pub node: String,
    /// The place for a probe, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub point: Option<PointView>,
    /// What it may be shorted to or leak to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bridges: Vec<BridgeView>,
    /// Parts beside the wire.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub branches: Vec<BranchView>,
    /// The part that leads on to the next node of the wire.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub onward: Option<PartView>,
}

/// A part of a line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartView {
    /// Identifier within the line.
    pub part: String,
    /// Name on screens.
    pub name: String,
    /// path, switch, junction, capacitor, supply, shifter or pin.
    pub kind: String,
    /// Its value with its unit, where one means something.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// Probability that something is wrong with it on this line, 0 to 1;
    /// absent if the rules know no fault of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub posterior: Option<f64>,
}

/// A part beside the wire.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BranchView {
    /// The part.
    pub part: PartView,
    /// The node that it leads to: `ground`, or one of this line.
    pub to: String,
    /// That node, if it stands here and nowhere else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end: Option<NodeView>,
}

/// Something that joins a node to another where nothing should.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BridgeView {
    /// The other node: `ground`, or one of this line.
    pub to: String,
    /// In plain words.
    pub says: String,
    /// Probability, 0 to 1.
    pub posterior: f64,
}

/// A place where a probe can be held.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointView {
    /// Identifier within the line.
    pub point: String,
    /// Name on screens.
    pub name: String,
    /// What was read here and is in force, in the order of the entries.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<ReadingView>,
}

/// A reading that was taken.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingView {
    /// Number of the entry, from 1.
    pub entry: usize,
    /// The test.
    pub test: String,
    /// volts, diode or ohms.
    pub mode: String,
    /// Whether the leads were swapped.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub turned: bool,
    /// The value with its unit, or OL; absent if only a word was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reads: Option<String>,
    /// What a good line reads.
    pub good: String,
    /// good, low, high or ol (over limit where a value is due).
    pub shows: String,
    /// Probability that it was a misreading, 0 to 1.
    pub misread: f64,
    /// Whether something was done since about a fault that the line can have.
    pub before_remedy: bool,
}

/// Something that may be wrong on a line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CauseView {
    /// The fault, in full.
    pub fault: String,
    /// Its name on screens.
    pub name: String,
    /// What it does to this line, in plain words.
    pub does: String,
    /// Probability that it is there and does that here, 0 to 1.
    pub posterior: f64,
}

/// Where to probe next on a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NextProbe {
    /// The point.
    pub point: String,
    /// volts, diode or ohms.
    pub mode: String,
    /// Its place among all next steps, from 1.
    pub rank: usize,
    /// The step.
    pub step: StepView,
}

/// The lines in play, the likeliest to be at fault first.
pub fn lines_in_play(case: &Case) -> Vec<LineInPlay> {
    let next = case
        .advice(1)
        .steps
        .first()
        .and_then(|p| measured(case, p.act));
    let mut all: Vec<LineInPlay> = (0..case.model.lines.len())
        .map(|line| {
            let known = Known::new(case, line);
            LineInPlay {
                line: known.info.id.clone(),
                name: known.info.name.clone(),
                at_fault: known.at_fault(),
                readings: known.taken.len(),
                next: next.is_some_and(|m| m.line == line),
            }
        })
        .collect();
    all.sort_by(|a, b| likelier(a.at_fault, b.at_fault));
    all
}

/// A line of the model, by index, with what is known of it.
pub fn line_view(case: &Case, steps: &[Entry], line: usize) -> LineView {
    let known = Known::new(case, line);
    let info = known.info;
    let all = case.advice(usize::MAX).steps;
    let next = all.iter().enumerate().find_map(|(i, p)| {
        let m = measured(case, p.act).filter(|m| m.line == line)?;
        Some(NextProbe {
            point: info.line.points[m.probing.point].id.clone(),
            mode: m.probing.mode.word().to_owned(),
            rank: i + 1,
            step: step(case, p),
        })
    });
    LineView {
        line: info.id.clone(),
        name: info.name.clone(),
        fast: info.line.rate >= FAST,
        entries: steps.len(),
        at_fault: known.at_fault(),
        left_out: case.belief.left_out,
        wires: Drawing::new(&known).wires(),
        causes: known.causes(),
        alike: alike_view(case, line),
        next,
    }
}

/// The line that is at hand: the one that a step measures, else the one that
/// was read last.
pub fn line_at_hand(case: &Case, test: Option<usize>) -> Option<usize> {
    let of = |t: usize| case.model.tests[t].measures.map(|m| m.line);
    let last = || {
        case.entered.iter().rev().find_map(|e| match e {
            Entered::Result { test, .. } => of(*test),
            _ => None,
        })
    };
    test.and_then(of).or_else(last)
}

/// How many entries there were before the last remedy that did something about
/// a line, if a reading of it was taken before; all of them if none did.
/// `None` if no reading of it counts.
pub(crate) fn read_until(case: &Case, line: usize) -> Option<usize> {
    let reads = |e: &Entered| match e {
        Entered::Result { test, .. } => {
            measured(case, Act::Test(*test)).is_some_and(|m| m.line == line)
        }
        _ => false,
    };
    let first = case.entered.iter().position(reads)?;
    let faults = &case.model.lines[line].faults;
    let acts = |e: &Entered| match e {
        Entered::Remedy(r) => {
            let change = &case.model.remedies[*r].change;
            faults.iter().any(|f| change.touches(f.1))
        }
        _ => false,
    };
    let last = case.entered.iter().rposition(acts).filter(|n| *n > first);
    Some(last.unwrap_or(case.entered.len()))
}

/// What an act measures, if it is a test that measures a line.
fn measured(case: &Case, act: Act) -> Option<Measures> {
    match act {
        Act::Test(t) => case.model.tests[t].measures,
        Act::Remedy(_) => None,
    }
}

/// A reading of a line that is in force.
struct TakenHere<'c> {
    /// From 0.
    entry: usize,
    test: usize,
    outcome: usize,
    taken: &'c Taken,
    misread: f64,
}

/// A fault of the line with one thing that it may do to it.
struct Cause {
    fault: FaultId,
    harm: Harm,
    /// Probability that it does that here, given that it is there.
    share: f64,
}

/// What is known of a line.
struct Known<'c> {
    case: &'c Case,
    info: &'c LineInfo,
    taken: Vec<TakenHere<'c>>,
    causes: Vec<Cause>,
}

impl<'c> Known<'c> {
    fn new(case: &'c Case, line: usize) -> Self {
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
    fn probability(&self, things: impl Fn(Harm) -> bool) -> f64 {
        let b = &self.case.belief;
        let mut shares = vec![0.0; b.faults.len()];
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

    fn at_fault(&self) -> f64 {
        self.probability(|_| true)
    }

    fn causes(&self) -> Vec<CauseView> {
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

    fn readings(&self, point: usize) -> Vec<ReadingView> {
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
            mode: probing.mode.word().to_owned(),
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

/// Below this a cause is not named.
const NAMED_FROM: f64 = 0.005;

/// The readings of a line that are in force.
fn taken(case: &Case, line: usize) -> Vec<TakenHere<'_>> {
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
fn does(line: &Line, harm: Harm) -> String {
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

/// A node in plain words: its point, its supply, or the first part at it.
fn place(line: &Line, node: usize) -> &str {
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

/// The parts of a line put in their places.
struct Drawing<'k, 'c> {
    known: &'k Known<'c>,
    line: &'c Line,
    /// Pairs of nodes that may be joined and have no place yet.
    bridges: Vec<(usize, usize)>,
    /// Which wire each node stands on, from 1; 0 for those beside a wire.
    wire: Vec<usize>,
}

impl<'k, 'c> Drawing<'k, 'c> {
    fn new(known: &'k Known<'c>) -> Self {
        let mut bridges: Vec<(usize, usize)> = Vec::new();
        for c in &known.causes {
            let pair = bridged(c.harm).filter(|b| !bridges.contains(b));
            bridges.extend(pair);
        }
        Drawing {
            known,
            line: &known.info.line,
            bridges,
            wire: vec![0; known.info.line.nodes.len()],
        }
    }

    fn wires(&mut self) -> Vec<Vec<NodeView>> {
        let all = wires(self.line);
        for (n, wire) in all.iter().enumerate() {
            for stop in wire {
                self.wire[stop.node] = n + 1;
            }
        }
        all.iter()
            .map(|wire| wire.iter().map(|s| self.node(s)).collect())
            .collect()
    }

    fn node(&mut self, stop: &Stop) -> NodeView {
        let line = self.line;
        let at = line.points.iter().position(|p| p.node == stop.node);
        NodeView {
            node: line.nodes[stop.node].clone(),
            point: at.map(|i| PointView {
                point: line.points[i].id.clone(),
                name: line.points[i].name.clone(),
                readings: self.known.readings(i),
            }),
            bridges: self.bridges_at(stop.node),
            branches: stop.branches.iter().map(|b| self.branch(b)).collect(),
            onward: stop.onward.map(|p| self.part(p)),
        }
    }

    fn branch(&mut self, b: &Branch) -> BranchView {
        let (to, end) = match &b.to {
            End::Ground => (0, None),
            End::Elsewhere(n) => (*n, None),
            End::Stop(s) => (s.node, Some(self.node(s))),
        };
        BranchView {
            part: self.part(b.part),
            to: self.line.nodes[to].clone(),
            end,
        }
    }

    fn part(&self, i: usize) -> PartView {
        let part = &self.line.parts[i];
        let at_it = |h: Harm| h.part() == Some(i);
        let any = self.known.causes.iter().any(|c| at_it(c.harm));
        PartView {
            part: part.id.clone(),
            name: part.name.clone(),
            kind: match part.kind {
                _ if self.line.is_pin(i) => "pin",
                PartKind::Path(_) => "path",
                PartKind::Switch(_) => "switch",
                PartKind::Junction(_) => "junction",
                PartKind::Capacitor(_) => "capacitor",
                PartKind::Rail { .. } => "supply",
                PartKind::Shifter { .. } => "shifter",
            }
            .to_owned(),
            value: value(&part.kind),
            posterior: any.then(|| self.known.probability(at_it)),
        }
    }

    /// What a node may be joined to, if that does not stand at the other node.
    fn bridges_at(&mut self, node: usize) -> Vec<BridgeView> {
        let (here, left) = (self.bridges.iter().copied())
            .partition::<Vec<_>, _>(|(a, b)| *a == node || *b == node);
        self.bridges = left;
        here.into_iter()
            .map(|(a, b)| {
                let other = if a == node { b } else { a };
                let joins = |h: Harm| bridged(h) == Some((a, b));
                let has = |kind: fn(&Harm) -> bool| {
                    let mut all = self.known.causes.iter().map(|c| c.harm);
                    all.any(|h| joins(h) && kind(&h))
                };
                let leak = has(|h| matches!(h, Harm::LeakyNode(_)));
                let short = has(|h| !matches!(h, Harm::LeakyNode(_)));
                let what = match (short, leak) {
                    (true, true) => "short or leak",
                    (false, _) => "leak",
                    (true, _) => "short",
                };
                let (mine, wire) = (self.wire[node], self.wire[other]);
                let to = match other {
                    0 => "ground".to_owned(),
                    _ if wire != 0 && wire != mine => format!("wire {wire}"),
                    n => format!("the {}", place(self.line, n)),
                };
                BridgeView {
                    to: self.line.nodes[other].clone(),
                    says: format!("{what} to {to}"),
                    posterior: self.known.probability(joins),
                }
            })
            .collect()
    }
}

/// The two nodes that a harm joins, ground first; `None` if it harms a part.
fn bridged(harm: Harm) -> Option<(usize, usize)> {
    match harm {
        Harm::Grounded(n) | Harm::LeakyNode(n) => Some((0, n)),
        Harm::Joined(a, b) => Some((a.min(b), a.max(b))),
        _ => None,
    }
}

/// Ohms from which on the value of a part is worth telling: below it is a
/// connection.
const TOLD_FROM: f64 = 4.0;

/// The value of a part as people say it, where it has one that means something.
fn value(kind: &PartKind) -> Option<String> {
    let (known, unit) = match kind {
        PartKind::Path(k) if k.typical >= TOLD_FROM => (k, "ohm"),
        PartKind::Capacitor(k) => (k, "F"),
        PartKind::Rail { volts, .. } => (volts, "V"),
        _ => return None,
    };
    Some(match known.doubt {
        Doubt::Percent(_) => shown(known.typical, unit),
        Doubt::Between(low, high) => bounds(low, high, unit),
    })
}
