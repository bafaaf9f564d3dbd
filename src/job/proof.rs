//! What has to be tried before a device counts as mended.

use crate::belief::ItemId;
use crate::model::Model;
use crate::plan::{RemedyId, TestId};

/// The functions whose loss is complained of, by index.
pub(crate) fn complained(model: &Model, symptoms: &[usize]) -> Vec<usize> {
    let functions = symptoms.iter().map(|s| model.symptoms[*s].function);
    let mut out: Vec<usize> = functions.flatten().collect();
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
    function: usize,
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
pub(crate) fn contains(model: &Model, big: usize, small: usize) -> bool {
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
    complained: &[usize],
    worked: &[ItemId],
    provable: impl Fn(usize) -> bool,
    contains: impl Fn(usize, usize) -> bool,
) -> Vec<usize> {
    let touches = |f: usize| {
        let links = &model.functions[f].links;
        links
            .iter()
            .any(|(l, _)| worked.contains(&model.faults[*l].item))
    };
    let all: Vec<usize> = (0..model.functions.len())
        .filter(|f| (complained.contains(f) || touches(*f)) && provable(*f))
        .collect();
    let proved_by = |g: usize, f: usize| g != f && contains(g, f) && (!contains(f, g) || g < f);
    let (mut first, mut rest) = all
        .iter()
        .copied()
        .filter(|f| complained.contains(f) || !all.iter().any(|g| proved_by(*g, *f)))
        .partition::<Vec<usize>, _>(|f| complained.contains(f));
    first.append(&mut rest);
    first
}
