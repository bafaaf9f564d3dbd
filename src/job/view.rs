//! What is shown of a job, as versioned structs: the JSON form of every
//! command, and what screens and reports are made of. Documented in
//! `docs/json.md`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::notice::unlisted_leads;
use super::case::{Case, Closed, Entered};
use super::file::Entry;
use super::kind::StepKind;
use super::notice::{NoticeView, notice_view};
use super::words::{NARROWS, UNLISTED, UNSURE, percent_within, result_words};
use crate::belief::likelier;
use crate::line::Distrust;
use crate::model::{Model, bounds};
use crate::plan::{Act, Proposal, Stop};
use crate::rulebase::{MeterMode, Where};

/// Version of these structs.
pub const VERSION: u32 = 1;

/// A suspect: a fault with its probability now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Suspect {
    /// Full identifier.
    pub fault: String,
    /// Name on screens.
    pub name: String,
    /// Its item.
    pub item: String,
    /// software, setting, part, interconnect or board.
    pub r#where: String,
    /// Probability, 0 to 1.
    pub posterior: f64,
}

/// A probability with its name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Share {
    /// An item's identifier, or one of the five places.
    pub name: String,
    /// Probability that at least one fault lies there, 0 to 1.
    pub posterior: f64,
}

/// A set of faults that together explain the results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CandidateView {
    /// Faults; empty for "nothing is wrong".
    pub faults: Vec<String>,
    /// Probability, 0 to 1.
    pub posterior: f64,
}

/// A result with how far it is to be trusted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResultView {
    /// Number of the entry, from 1; absent for the complaint.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<usize>,
    /// The test or symptom.
    pub of: String,
    /// Its outcome in plain words.
    pub shows: String,
    /// Probability that it was a misreading, 0 to 1.
    pub misread: f64,
}

/// The belief at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BeliefView {
    /// All suspects, likeliest first.
    pub suspects: Vec<Suspect>,
    /// The five places.
    pub r#where: Vec<Share>,
    /// All items, likeliest first.
    pub items: Vec<Share>,
    /// Probability that nothing is wrong (any more).
    pub nothing_found: f64,
    /// The likeliest sets of faults, at most twenty.
    pub candidates: Vec<CandidateView>,
    /// Size of the largest sets that were listed.
    pub candidate_size: usize,
    /// Bound on the probability that the numbers above leave out.
    pub left_out: f64,
    /// Bound on the probability of sets that are not listed.
    pub candidates_left_out: f64,
    /// Binary logarithm of the probability of everything seen.
    pub evidence_log2: f64,
    /// How far the results disagree, in bits; positive is disagreement.
    pub conflict_bits: f64,
    /// Results in force.
    pub results: Vec<ResultView>,
}

/// An outcome with its probability.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OutcomeView {
    /// Identifier.
    pub shows: String,
    /// In plain words.
    pub says: String,
    /// Probability, 0 to 1.
    pub probability: f64,
}

/// A possible next step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StepView {
    /// `test`, `remedy`, or `close` for closing the job as repaired.
    pub act: StepKind,
    /// Identifier; `close` for closing the job.
    pub id: String,
    /// The question, or the order.
    pub text: String,
    /// Minutes now, bench conditions included.
    pub minutes: f64,
    /// Of these, for changing the bench condition.
    pub moving_minutes: f64,
    /// Cost of parts, in currency.
    pub parts: f64,
    /// What it is expected to tell, in bits.
    pub gain_bits: f64,
    /// Expected cost of the whole repair if done first, in currency.
    pub expected_cost: f64,
    /// Probabilities of the outcomes of a test.
    pub outcomes: Vec<OutcomeView>,
    /// For a remedy: probability that it clears all that is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mends: Option<f64>,
    /// Changes of bench condition to make first, in words.
    pub prepare: Vec<String>,
    /// Tools.
    pub tools: Vec<String>,
    /// Cautions, in words.
    pub cautions: Vec<String>,
    /// Why a reading is not to be trusted, or not to be misled by.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub do_not_trust: Vec<DistrustView>,
    /// For a voltage on a line: what there only an oscilloscope shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scope: Option<String>,
    /// Why this step, in a sentence.
    pub why: String,
    /// Whether the last remedy owes it: it proves the mend, or disproves it.
    #[serde(default)]
    pub retest: bool,
    /// Whether it is the check of a hazard, which comes before all else.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub safety: bool,
}

/// Why a reading is not to be trusted, or not to be misled by.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DistrustView {
    /// powered, connected, unpowered, plugged-in, charging, charged,
    /// series-capacitor or back-fed.
    pub reason: String,
    /// The physics in a sentence.
    pub says: String,
    /// Whether such a reading means nothing; else it means something else than
    /// it seems.
    pub invalid: bool,
    /// Whether it holds only until the device is in the bench conditions of the
    /// step.
    pub as_it_stands: bool,
}

/// The advice at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AdviceView {
    /// Next steps, best first.
    pub steps: Vec<StepView>,
    /// `enough-known`, `nothing-wrong`, `too-dear`, `not-worth-it` or
    /// `nothing-left`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stop: Option<String>,
    /// The same in plain words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub says: Option<String>,
    /// Expected cost of the whole repair, in currency.
    pub expected_cost: f64,
    /// No plan is expected to cost less, as far as looking ahead has proved.
    #[serde(default)]
    pub at_least_cost: f64,
}

/// A job at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StateView {
    /// What is to be said first of the result that was just entered; absent if
    /// it fits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notice: Option<NoticeView>,
    /// The belief.
    pub belief: BeliefView,
    /// The advice.
    pub next: AdviceView,
    /// Conditions the device is in, in words.
    pub bench: Vec<String>,
    /// The meter that lines are foretold for, by its name in the rules; absent
    /// if no line is in play.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meter: Option<String>,
    /// Tests that have to pass before the job counts as mended.
    pub retests_due: Vec<String>,
    /// Hazards that bar steps now, and results entered against one, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hazards: Vec<String>,
    /// What does not fit the rules of today and does not count, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_counted: Vec<String>,
    /// Readings of good boards that the rules do not expect and that count all the
    /// same, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unexpected: Vec<String>,
}

/// The hazards of a case in words: what bars which acts until when.
fn hazards(case: &Case) -> Vec<String> {
    let gate = |(gate, _): (usize, usize)| {
        let g = &case.model.bench.gates[gate];
        let acts = case.barred_acts(gate);
        let check = &g.check.name;
        match case.found(gate) {
            true => format!(
                "{}, and it was found. No {acts} until something was done about it and the safety \
                 check ({check}) is clear. Handing back is always right.",
                g.name
            ),
            false => format!(
                "{}. No {acts} until the safety check ({check}) is clear.",
                g.name
            ),
        }
    };
    let against = case.against_gates().iter();
    let against = against.map(|(n, why)| format!("entry {} was {why}.", n + 1));
    case.gates_up().map(gate).chain(against).collect()
}

/// What is shown of a case now.
pub fn state(case: &Case, steps: &[Entry], many: usize) -> StateView {
    StateView {
        notice: notice_view(case, steps),
        belief: belief(case, steps),
        next: advice(case, many),
        bench: case
            .state
            .iter()
            .map(|c| case.model.bench.conditions[c].name.clone())
            .collect(),
        meter: (!case.model.lines.is_empty()).then(|| case.model.meter.id.clone()),
        retests_due: match case.may_close_as_mended() {
            Closed::Retests(t) => t.iter().map(|t| case.model.tests[*t].id.clone()).collect(),
            Closed::StillFails(t) => vec![case.model.tests[t].id.clone()],
            _ => Vec::new(),
        },
        hazards: hazards(case),
        not_counted: case
            .unfit()
            .iter()
            .map(|(entry, why)| match entry {
                Some(n) => format!("entry {}: {why}", n + 1),
                None => format!("intake: {why}"),
            })
            .chain(case.model.refused.iter().map(|r| format!("rules: {r}")))
            .chain(case.void().iter().map(|(n, why)| {
                let why = why.trim_end_matches('.');
                let stood = matches!(&steps[*n], Entry::Result(r) if r.as_it_stands);
                let how = if stood {
                    "read as the device stood: "
                } else {
                    ""
                };
                format!("entry {}, {how}{why}", n + 1)
            }))
            .collect(),
        unexpected: (case.model.unexpected.iter().map(|r| format!("rules: {r}")))
            .chain((case.unexpected().iter()).map(|(n, why)| format!("entry {}: {why}", n + 1)))
            .collect(),
    }
}

fn belief(case: &Case, steps: &[Entry]) -> BeliefView {
    let m = &case.model;
    let b = &case.belief;
    let mut suspects: Vec<Suspect> = (0..m.faults.len())
        .map(|f| suspect(m, f, b.faults[f]))
        .collect();
    suspects.sort_by(|a, b| likelier(a.posterior, b.posterior));
    let mut items: Vec<Share> = m
        .items
        .iter()
        .zip(&b.items)
        .map(|(i, p)| Share {
            name: i.id.clone(),
            posterior: *p,
        })
        .collect();
    items.sort_by(|a, b| likelier(a.posterior, b.posterior));
    let results = case
        .results()
        .into_iter()
        .zip(&b.misread)
        .enumerate()
        .map(|(n, (entry, misread))| {
            let (of, shows) = result_words(case, n, entry, steps);
            ResultView {
                entry: entry.map(|e| e + 1),
                of,
                shows,
                misread: *misread,
            }
        })
        .collect();
    BeliefView {
        suspects,
        r#where: Where::ALL
            .iter()
            .enumerate()
            .map(|(i, w)| Share {
                name: w.word().to_owned(),
                posterior: b.places.get(i).copied().unwrap_or(0.0),
            })
            .collect(),
        items,
        nothing_found: b.nothing,
        candidates: b
            .candidates
            .iter()
            .take(20)
            .map(|(c, p)| CandidateView {
                faults: c.iter().map(|f| m.faults[f].id.clone()).collect(),
                posterior: *p,
            })
            .collect(),
        candidate_size: b.size,
        left_out: b.left_out,
        candidates_left_out: b.candidates_left_out,
        evidence_log2: b.evidence_log2,
        conflict_bits: case.conflict(),
        results,
    }
}

/// A fault as a suspect.
pub(super) fn suspect(m: &Model, fault: usize, posterior: f64) -> Suspect {
    let f = &m.faults[fault];
    Suspect {
        fault: f.id.clone(),
        name: f.name.clone(),
        item: m.items[f.item].id.clone(),
        r#where: m.items[f.item].r#where.word().to_owned(),
        posterior,
    }
}

fn advice(case: &Case, many: usize) -> AdviceView {
    let a = case.advice(many);
    // No certainty rests on a list that may leave out much.
    let unsure = case.belief.left_out > UNSURE;
    // Nor on a fault that nobody knows.
    let strange = unlisted_leads(case).is_some();
    let hazard = case.gates_up().next().is_some();
    let stop = (a.stop).filter(|s| !((unsure || strange || hazard) && *s == Stop::EnoughKnown));
    // A hazard is no matter of what is wrong.
    let stop = stop.filter(|s| !(hazard && *s == Stop::NothingWrong));
    let close = (case.is_proved() && !case.doubts(&a)).then(|| close_step(case));
    let stop = if close.is_some() {
        Some(Stop::NothingWrong)
    } else {
        stop
    };
    let unexplained = (strange && stop.is_none()).then(|| format!("{UNLISTED} {NARROWS}"));
    AdviceView {
        steps: (close.into_iter())
            .chain(a.steps.iter().map(|p| step(case, p)))
            .take(many)
            .collect(),
        stop: stop.map(|s| {
            match s {
                Stop::EnoughKnown => "enough-known",
                Stop::NothingWrong => "nothing-wrong",
                Stop::TooDear { .. } => "too-dear",
                Stop::NotWorthIt { .. } => "not-worth-it",
                Stop::NothingLeft => "nothing-left",
            }
            .to_owned()
        }),
        says: stop.map(|s| match s {
            Stop::EnoughKnown => {
                "Enough is known: no further test pays for itself before this repair.".to_owned()
            }
            Stop::NothingWrong if case.may_close_as_mended() == Closed::Ready => {
                "Mended, and proved by its retests: close the job.".to_owned()
            }
            Stop::NothingWrong if case.entered.iter().any(|e| matches!(e, Entered::Remedy(_))) => {
                "Most likely it is mended: do the retests and close the job.".to_owned()
            }
            Stop::NothingWrong => {
                "Most likely nothing is wrong: show the owner, and close as no fault found."
                    .to_owned()
            }
            Stop::TooDear {
                so_far,
                spent,
                limit,
            } if so_far >= 0.5 => format!(
                "Work and parts so far come to about {so_far:.0}, and going on is expected to take \
                 about {spent:.0}: more than the {limit:.0} agreed. Ask the customer first."
            ),
            Stop::TooDear { spent, limit, .. } => format!(
                "Going on is expected to take about {spent:.0} in work and parts, more than the {limit:.0} \
                 agreed: ask the customer first."
            ),
            Stop::NotWorthIt { loss } => format!(
                "Whatever is done next is expected to cost more than handing it back unmended, \
                 which counts as {loss:.0}: ask the customer first."
            ),
            Stop::NothingLeft => {
                "Nothing left that tells anything: hand it back, or pass it on.".to_owned()
            }
        }).or(unexplained),
        expected_cost: a.expected,
        at_least_cost: a.at_least,
    }
}

/// The identifier of closing a job, as a step.
const CLOSE: &str = "close";

/// Closing the job as repaired, as a step.
fn close_step(case: &Case) -> StepView {
    let proved = case.proved().into_iter();
    let proved = proved.map(|f| case.model.functions[f].name.clone());
    let proved: Vec<String> = proved.collect();
    StepView {
        act: StepKind::Close,
        id: CLOSE.to_owned(),
        text: "Close the job as repaired".to_owned(),
        minutes: 0.0,
        moving_minutes: 0.0,
        parts: 0.0,
        gain_bits: 0.0,
        expected_cost: 0.0,
        outcomes: Vec::new(),
        mends: None,
        prepare: Vec::new(),
        tools: Vec::new(),
        cautions: Vec::new(),
        do_not_trust: Vec::new(),
        scope: None,
        why: format!("seen after the repair: {}", proved.join("; ")),
        retest: false,
        safety: false,
    }
}

/// A proposal as shown.
pub fn step(case: &Case, p: &Proposal) -> StepView {
    let m = &case.model;
    let due = matches!(p.act, Act::Test(i) if case.retests_due().contains(&i));
    let safety = matches!(p.act, Act::Test(i) if m.tests[i].checks.is_some());
    let named = m.named(p.act);
    let info = named.step;
    let change = m.bench.reach(case.state, &info.conditions);
    let mut prepare: Vec<String> = change
        .leave
        .iter()
        .map(|c| format!("no longer: {}", m.bench.conditions[*c].name))
        .collect();
    prepare.extend(
        change
            .enter
            .iter()
            .map(|c| m.bench.conditions[*c].name.clone()),
    );
    let outcomes = match p.act {
        Act::Remedy(_) => Vec::new(),
        Act::Test(i) => m.tests[i]
            .outcomes
            .iter()
            .zip(&p.outcomes)
            .map(|(o, p)| OutcomeView {
                shows: o.id.clone(),
                says: o.says.clone(),
                probability: *p,
            })
            .collect(),
    };
    let why = match p.act {
        Act::Test(i) => why_test(case, i, p),
        Act::Remedy(i) => why_remedy(case, i, p),
    };
    StepView {
        act: p.act.into(),
        id: named.id.to_owned(),
        text: named.text.to_owned(),
        minutes: p.minutes,
        moving_minutes: p.moving,
        parts: p.parts,
        gain_bits: p.gain,
        expected_cost: p.expected,
        outcomes,
        mends: matches!(p.act, Act::Remedy(_)).then(|| p.outcomes[0]),
        prepare,
        tools: info.tools.clone(),
        cautions: info
            .cautions
            .iter()
            .map(|c| m.bench.cautions[*c].text.clone())
            .collect(),
        do_not_trust: match p.act {
            Act::Test(i) => do_not_trust(case, i),
            Act::Remedy(_) => Vec::new(),
        },
        scope: match p.act {
            Act::Test(i) => only_a_scope(m, i),
            Act::Remedy(_) => None,
        },
        why,
        retest: due && !safety,
        safety,
    }
}

/// What not to trust in a reading: first as the device stands, then what stays
/// so when it is made ready.
fn do_not_trust(case: &Case, test: usize) -> Vec<DistrustView> {
    let view = |as_it_stands: bool| {
        move |d: Distrust| DistrustView {
            reason: d.why.word().to_owned(),
            says: d.says,
            invalid: d.invalid,
            as_it_stands,
        }
    };
    let ready = case.made_ready(test);
    let mut now = case.as_it_stands(test);
    now.retain(|d| d.invalid && !ready.contains(d));
    let now = now.into_iter().map(view(true));
    now.chain(ready.into_iter().map(view(false))).collect()
}

/// What a voltage that a test takes cannot show and an oscilloscope can.
fn only_a_scope(m: &Model, test: usize) -> Option<String> {
    let measures = m.tests[test].measures?;
    let says = m.lines[measures.line].line.scope.clone();
    says.filter(|_| measures.probing.mode == MeterMode::Volts)
}

/// Every step there is: those that the planner has looked at, the best first,
/// then the other tests and remedies in the order of the rules.
pub fn all_steps(case: &Case) -> Vec<StepView> {
    let m = &case.model;
    let looked_at = case.advice(usize::MAX).steps;
    let acts = (0..m.tests.len())
        .map(Act::Test)
        .chain((0..m.remedies.len()).map(Act::Remedy));
    let rest = acts.filter(|a| !looked_at.iter().any(|p| p.act == *a));
    let rest = rest.map(|a| not_looked_at(case, a));
    let looked_at = looked_at.iter().map(|p| step(case, p));
    looked_at.chain(rest).collect()
}

/// A step that the planner did not look at, with what it takes and why it was
/// left out.
fn not_looked_at(case: &Case, act: Act) -> StepView {
    let (info, outcomes) = match act {
        Act::Test(i) => {
            let t = &case.model.tests[i];
            (&t.step, vec![0.0; t.outcomes.len()])
        }
        Act::Remedy(i) => (&case.model.remedies[i].step, vec![0.0]),
    };
    let moving = case.model.bench.reach(case.state, &info.conditions).minutes;
    let proposal = Proposal {
        act,
        minutes: info.minutes + moving,
        moving,
        parts: info.parts,
        expected: 0.0,
        spent: 0.0,
        gain: 0.0,
        outcomes,
    };
    let why = match act {
        Act::Test(i) if case.done(i) => "done already; a repeat takes its place",
        _ if case.beyond(info) => "not with a device that does not get so far",
        Act::Test(i) if case.blocked(i) => "cannot be done here, or was unclear",
        Act::Test(i) if case.before(i).is_some() => "another test comes before it",
        Act::Test(_) => "tells nothing new now",
        Act::Remedy(i) if case.ruled_out(i) => "cannot be done here",
        Act::Remedy(_) => "not likely to help now",
    };
    StepView {
        why: match case.lacks(act) {
            Some(what) => format!("needs {what}, which this shop is without"),
            None => why.to_owned(),
        },
        outcomes: Vec::new(),
        mends: None,
        ..step(case, &proposal)
    }
}

/// What the planner takes for one outcome of a test: the outcome, by index, and
/// where it is only some of that one's values, which, in words.
pub fn foreseen(case: &Case, test: usize, outcome: usize) -> (usize, Option<String>) {
    let (outcome, between) = case.foreseen(test, outcome);
    let t = &case.model.tests[test];
    let reads = between.map(|(low, high)| bounds(low, high, t.unit.as_deref().unwrap_or("")));
    (outcome, reads)
}

/// What a test tells that is expected to tell so much, in bits; `None` if it is
/// little.
pub(crate) fn telling(gain: f64) -> Option<&'static str> {
    match gain {
        g if g > 0.75 => Some("halves the suspects"),
        g if g > 0.35 => Some("splits the suspects well"),
        g if g > 0.1 => Some("rules a few suspects in or out"),
        _ => None,
    }
}

/// How a test splits the suspects, in plain words.
fn why_test(case: &Case, i: usize, p: &Proposal) -> String {
    let how = if case.model.tests[i].checks.is_some() {
        "shows whether the hazard is gone"
    } else if case.retests_due().contains(&i) {
        "shows whether it is mended"
    } else {
        telling(p.gain).unwrap_or("tells a little")
    };
    let t = &case.model.tests[i];
    let left_out = case.belief.left_out;
    let percent = |p: f64| percent_within(p, left_out);
    let split = if left_out > UNSURE {
        String::new()
    } else {
        let words = p.outcomes.iter().enumerate();
        let words: Vec<String> = words
            .filter(|(_, q)| **q >= 0.005 || t.function.is_some())
            .map(|(o, q)| format!("{} {}", t.answer(o), percent(*q)))
            .collect();
        format!(": {}", words.join(", "))
    };
    let cost = if p.minutes <= 3.0 {
        "; costs next to nothing"
    } else {
        ""
    };
    format!("{how}{split}{cost}")
}

fn why_remedy(case: &Case, i: usize, p: &Proposal) -> String {
    let r = &case.model.remedies[i];
    let best = r
        .change
        .clears
        .iter()
        .map(|(f, _)| *f)
        .min_by(|a, b| likelier(case.belief.faults[*a], case.belief.faults[*b]));
    let left_out = case.belief.left_out;
    let percent = |p: f64| percent_within(p, left_out);
    match best {
        Some(f) if left_out > UNSURE => format!("against {}", case.model.faults[f].name),
        Some(f) => format!(
            "would mend it with {}; against {} ({})",
            percent(p.outcomes[0]),
            case.model.faults[f].name,
            percent(case.belief.faults[f])
        ),
        None => String::new(),
    }
}

/// Whether there is nothing to write down.
#[allow(clippy::trivially_copy_pass_by_ref)]
pub(super) fn is_zero(value: &f64) -> bool {
    *value == 0.0
}
