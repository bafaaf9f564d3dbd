//! Why this step and not that: the best few side by side, with what each result
//! would lead to.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Case;
use super::kind::StepKind;
use super::view::foreseen;
use super::words::percent_within;
use crate::plan::{Act, Effort, Lead, Proposal, leads};
use crate::units::shown;

/// How many steps are weighed.
const BEST: usize = 3;

/// A step against the others.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Weighed {
    /// `test` or `remedy`.
    pub act: StepKind,
    /// Full identifier.
    pub id: String,
    /// In words.
    pub text: String,
    /// Minutes now, bench conditions included.
    pub minutes: f64,
    /// Cost of parts, in currency.
    pub parts: f64,
    /// Expected cost of the whole repair if it is taken now, in currency.
    pub expected_cost: f64,
    /// By how much that is more than with the first; below 0 where the first
    /// was taken among equals.
    pub more: f64,
    /// Why, in a sentence.
    pub reason: String,
    /// What each result would lead to.
    pub leads: Vec<LeadView>,
}

/// What a result would lead to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeadView {
    /// The result: an identifier, or `mended` and `not-mended`.
    pub shows: String,
    /// In words.
    pub says: String,
    /// Where values of one result are told apart: which, with the unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reads: Option<String>,
    /// Its probability, 0 to 1.
    pub probability: f64,
    /// Full identifier of the step that would come then; absent where the job
    /// ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub then: Option<String>,
    /// The same in words.
    pub then_says: String,
    /// Expected cost from there on, in currency.
    pub expected_cost: f64,
}

/// The best steps of a job, the first one first.
pub fn weigh(case: &Case) -> Vec<Weighed> {
    let best = case.advice(BEST).steps;
    let acts: Vec<Act> = best.iter().map(|p| p.act).collect();
    let leads = leads(&case.situation(), &acts, Effort::FIRST);
    let mut all = Vec::new();
    for (p, leads) in best.iter().zip(leads) {
        let named = case.model.named(p.act);
        all.push(Weighed {
            act: p.act.into(),
            id: named.id.to_owned(),
            text: named.text.to_owned(),
            minutes: p.minutes,
            parts: p.parts,
            expected_cost: p.expected,
            more: p.expected - best[0].expected,
            reason: reason(case, p, &best),
            leads: leads.iter().map(|l| lead(case, p.act, l)).collect(),
        });
    }
    all
}

fn lead(case: &Case, act: Act, l: &Lead) -> LeadView {
    let (shows, says, reads) = match act {
        Act::Test(t) => {
            let (outcome, reads) = foreseen(case, t, l.outcome);
            let o = &case.model.tests[t].outcomes[outcome];
            (o.id.clone(), o.says.clone(), reads)
        }
        Act::Remedy(_) if l.outcome == 0 => ("mended".into(), "mended".into(), None),
        Act::Remedy(_) => ("not-mended".into(), "not mended".into(), None),
    };
    let ended = matches!(act, Act::Remedy(_)) && l.outcome == 0;
    let (then, then_says) = match l.then.map(|a| case.model.named(a)) {
        Some(next) => (Some(next.id.to_owned()), next.text.to_owned()),
        None if ended => (None, "the job is done".to_owned()),
        None => (None, "nothing more that pays; ask the customer".to_owned()),
    };
    LeadView {
        shows,
        says,
        reads,
        probability: l.probability,
        then,
        then_says,
        expected_cost: l.expected,
    }
}

/// Why a step stands where it does among the best.
fn reason(case: &Case, p: &Proposal, best: &[Proposal]) -> String {
    let first = &best[0];
    let costs = &case.settings.costs;
    let now = |p: &Proposal| costs.of(p.minutes, p.parts);
    let more = p.expected - first.expected;
    if let Act::Test(t) = p.act
        && case.retests_due().contains(&t)
    {
        return "it comes first because the last remedy has to be proved".to_owned();
    }
    if p.act == first.act {
        let rest = best[1..].iter().map(|b| b.expected);
        return match rest.min_by(f64::total_cmp).map(|next| next - p.expected) {
            // Among equals it was taken for what it tells or how handy it is.
            Some(saved) if saved <= -0.5 => {
                let tools = match case.model.handy(case.model.named(p.act).step) {
                    true => "needs neither an open device nor a tool",
                    false => "tells more, or as much sooner",
                };
                format!("it leaves about as little to pay as any, and {tools}")
            }
            Some(saved) if saved >= 0.5 => {
                format!("it leaves the least to pay in all, {saved:.0} less than the next")
            }
            Some(_) => "it leaves the least to pay in all, if only just".to_owned(),
            None => "nothing else is worth doing now".to_owned(),
        };
    }
    if more < 0.5 {
        return "as good as the first; take whichever is handier".to_owned();
    }
    let dearer = now(p) - now(first);
    let what = match (p.act, first.act) {
        (Act::Remedy(_), Act::Test(_)) => format!(
            "it mends with {} only, and what it takes is lost otherwise",
            percent_within(p.outcomes[0], case.belief.left_out)
        ),
        (Act::Remedy(_), Act::Remedy(_)) if p.outcomes[0] < first.outcomes[0] => {
            format!(
                "it mends with {} only",
                percent_within(p.outcomes[0], case.belief.left_out)
            )
        }
        (Act::Test(_), _) if dearer > more => {
            format!(
                "it takes {} more now",
                shown(p.minutes - first.minutes, "min")
            )
        }
        (Act::Test(_), Act::Test(_)) if p.gain < first.gain => {
            "it tells less of what is wrong".to_owned()
        }
        (Act::Test(_), Act::Remedy(_)) => "what it tells is not worth its time now".to_owned(),
        _ => "what follows it takes longer".to_owned(),
    };
    format!("{more:.0} more in all than the first: {what}")
}
