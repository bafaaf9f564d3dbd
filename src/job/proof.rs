//! What has to be tried before a device counts as mended.

use crate::belief::ItemId;
use crate::model::{FunctionId, Model};
use crate::plan::{RemedyId, TestId};

/// The functions whose loss is complained of.
pub(crate) fn complained(model: &Model, symptoms: &[usize]) -> Vec<FunctionId> {
    let functions = symptoms.iter().map(|s| model.symptoms[*s].function);
    let mut out: Vec<FunctionId> = functions.flatten().collect();
    out.dedup();
    out
}

/// The items that a remedy works on.
pub(crate) fn worked_on(model: &Model, remedy: RemedyId) -> impl Iterator<Item = ItemId> + '_ {
    let clears = model.remedies[remedy].change.clears.iter();
    clears.map(|(f, _)| model.faults[*f].item)
}

/// The cheapest test that tries a function as the device stands; one that
/// cannot be done only if there is no other.
pub(crate) fn of(
    model: &Model,
    function: FunctionId,
    blocked: impl Fn(TestId) -> bool,
) -> Option<TestId> {
    model
        .tests
        .keys()
        .filter(|t| model.tests[*t].proves == Some(function))
        .min_by(|a, b| {
            let m = |t: TestId| model.tests[t].step.minutes;
            (blocked(*a).cmp(&blocked(*b)))
                .then(m(*a).total_cmp(&m(*b)))
                .then(a.cmp(b))
        })
}

/// What breaks the small function breaks the big one at least as surely.
pub(crate) fn contains(model: &Model, big: FunctionId, small: FunctionId) -> bool {
    let links = &model.functions[big].links;
    model.functions[small]
        .links
        .iter()
        .all(|(l, s)| links.iter().any(|(b, t)| b == l && *t >= s - 1e-9))
}

/// Functions that have to pass before a job counts as mended: those complained
/// of first, then those that share the items worked on; one that is
/// [contained](contains) in another is proved by it. `provable` tells which some
/// test proves.
pub(crate) fn due(
    model: &Model,
    complained: &[FunctionId],
    worked: &[ItemId],
    provable: impl Fn(FunctionId) -> bool,
    contains: impl Fn(FunctionId, FunctionId) -> bool,
) -> Vec<FunctionId> {
    let touches = |f: FunctionId| {
        let links = &model.functions[f].links;
        links
            .iter()
            .any(|(l, _)| worked.contains(&model.faults[*l].item))
    };
    let all: Vec<FunctionId> = (model.functions.keys())
        .filter(|f| (complained.contains(f) || touches(*f)) && provable(*f))
        .collect();
    let proved_by =
        |g: FunctionId, f: FunctionId| g != f && contains(g, f) && (!contains(f, g) || g < f);
    let (mut first, mut rest) = all
        .iter()
        .copied()
        .filter(|f| complained.contains(f) || !all.iter().any(|g| proved_by(*g, *f)))
        .partition::<Vec<FunctionId>, _>(|f| complained.contains(f));
    first.append(&mut rest);
    first
}
