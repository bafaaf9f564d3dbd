//! Following the arrow: when a job is over, and which steps a technician would
//! call silly. A step is silly
//!
//! 1. whose likeliest outcome has 0.97 or more, and that is no free look, no
//!    control, no retest and no check of a hazard;
//! 2. beside which, among the first five, a test is offered that costs no more
//!    than 3 % above it, tells as much (before a remedy: 0.05 bit), and needs
//!    neither an open device nor a tool, where it needs one;
//! 3. that asks again though nothing was done between.
#![allow(dead_code, unreachable_pub)]

use halfsplit::job::view::{StateView, StepView};
use halfsplit::job::{Case, StepKind};
use halfsplit::model::{Found, TestInfo};
use halfsplit::plan::Act;
use halfsplit::rulebase::Kind;

/// From this chance on the outcome of a test is known before.
const KNOWN: f64 = 0.97;
/// Within this share a step costs about the same.
const NEAR: f64 = 0.03;
/// A test that tells this many bits is worth doing before a remedy.
const BEFORE_A_REMEDY: f64 = 0.05;
/// Steps that are listed on a screen.
pub const LISTED: usize = 5;
/// Minutes up to which a look costs next to nothing.
const FREE: f64 = 3.0;

/// Whether the advice is to hand the device back as it is. A retest that is still
/// to be done comes first; one that failed is none.
pub fn hands_back(now: &StateView) -> bool {
    let over = ["nothing-wrong", "not-worth-it", "nothing-left"];
    let stop = now.next.stop.as_deref();
    let first = now.next.steps.first();
    let owed = first.is_some_and(|s| s.retest || s.safety);
    first.is_none() || !owed && stop.is_some_and(|s| over.contains(&s))
}

fn handy(case: &Case, step: &StepView) -> bool {
    let act = match (case.model.test(&step.id), case.model.remedy(&step.id)) {
        (Found::One(t), _) => Act::Test(t),
        (_, Found::One(r)) => Act::Remedy(r),
        _ => return false,
    };
    let info = case.model.named(act).step;
    let conditions = case.model.bench.closure(&info.conditions);
    let opened = |c: &usize| case.model.bench.conditions[*c].id == "opened";
    info.tools.iter().all(|t| t == "loupe" || t == "torch") && !conditions.iter().any(opened)
}

/// Whether a look or a question costs next to nothing.
fn free(case: &Case, test: &TestInfo, step: &StepView) -> bool {
    matches!(test.kind, Kind::Look | Kind::Ask) && step.minutes <= FREE && handy(case, step)
}

/// Whether a try only shows that the complaint is true, or repeats it with the
/// old part back in.
fn control(case: &Case, test: &TestInfo) -> bool {
    let complained = case.complaint_functions();
    test.proves.is_some_and(|f| complained.contains(&f))
}

/// Why a step is silly; nothing if it is not.
pub fn silly(case: &Case, now: &StateView, last: Option<&str>) -> Vec<String> {
    let mut why = Vec::new();
    let step = &now.next.steps[0];
    let test = match case.model.test(&step.id) {
        Found::One(t) => Some(&case.model.tests[t]),
        _ => None,
    };
    let owed = step.retest || step.safety;
    if let Some(t) = test.filter(|_| !owed) {
        let likeliest = step.outcomes.iter().map(|o| o.probability);
        let likeliest = likeliest.fold(0.0, f64::max);
        if likeliest >= KNOWN && !free(case, t, step) && !control(case, t) {
            why.push(format!("known before: {} {likeliest:.3}", step.id));
        }
    }
    if !owed && !handy(case, step) {
        let tells = match step.act {
            StepKind::Remedy => BEFORE_A_REMEDY,
            _ => step.gain_bits,
        };
        let near = |o: &&StepView| {
            o.expected_cost <= step.expected_cost * (1.0 + NEAR)
                && o.act == StepKind::Test
                && o.gain_bits >= tells
                && handy(case, o)
        };
        if let Some(o) = now.next.steps.iter().take(LISTED).skip(1).find(near) {
            why.push(format!(
                "beside a handy one: {} {:.2}, {} {:.2}",
                step.id, step.expected_cost, o.id, o.expected_cost
            ));
        }
    }
    if last == Some(step.id.as_str()) {
        why.push(format!("asked again: {}", step.id));
    }
    why
}
