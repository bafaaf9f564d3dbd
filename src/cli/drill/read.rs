//! What a trainee names: steps, bench conditions, causes.

use crate::belief::{FaultId, ItemId};
use crate::cli::error::{Failure, Result};
use crate::drill::{Cause, Round};
use crate::model::Found;
use crate::plan::Act;
use crate::rulebase::Kind;

/// Every step in the order of its number: tests, then remedies.
pub(super) fn all(round: &Round) -> Vec<Act> {
    let m = round.model();
    let tests = m.tests.keys().map(Act::Test);
    tests.chain(m.remedies.keys().map(Act::Remedy)).collect()
}

/// The group of a step: how it is done, in a word or two.
pub(super) fn group(round: &Round, act: Act) -> &'static str {
    match act {
        Act::Remedy(_) => "mend",
        Act::Test(t) => match round.model().tests[t].kind {
            Kind::Ask => "ask the owner",
            Kind::Look => "look",
            Kind::Try => "try a function",
            Kind::Swap => "swap a part",
            Kind::Measure => "measure",
            Kind::Continuity => "probe for a path",
        },
    }
}

/// Identifier and words of a step.
pub(super) fn words<'r>(round: &Round<'r>, act: Act) -> (&'r str, &'r str) {
    let named = round.model().named(act);
    (named.id, named.text)
}

/// Steps by number or name; at least one.
pub(super) fn steps(round: &Round, typed: &str) -> Result<Vec<Act>> {
    let all = all(round);
    if let Ok(n) = typed.parse::<usize>() {
        let act = n.checked_sub(1).and_then(|at| all.get(at));
        return match act {
            Some(act) => Ok(vec![*act]),
            None => Err(Failure::no(format!(
                "there is no step {n}; they are numbered from 1 to {}",
                all.len()
            ))),
        };
    }
    let m = round.model();
    match (m.test(typed), m.remedy(typed)) {
        (Found::One(t), _) => return Ok(vec![Act::Test(t)]),
        (_, Found::One(r)) => return Ok(vec![Act::Remedy(r)]),
        _ => {}
    }
    let typed = typed.to_lowercase();
    let fits = |begins: bool| -> Vec<Act> {
        let fit = |act: &Act| {
            let (id, text) = words(round, *act);
            let name = id.rsplit('/').next().unwrap_or(id);
            match begins {
                true => id.starts_with(&typed) || name.starts_with(&typed),
                false => id.contains(&typed) || text.to_lowercase().contains(&typed),
            }
        };
        all.iter().copied().filter(fit).collect()
    };
    [fits(true), fits(false), listed(round, &typed)]
        .into_iter()
        .find(|fits| !fits.is_empty())
        .ok_or_else(|| {
            Failure::no(format!("`{typed}` is no step and no command"))
                .help("`list` shows the steps, ? what can be typed")
        })
}

/// Steps of a group, or with a word; of several words each has to fit.
pub(super) fn listed(round: &Round, typed: &str) -> Vec<Act> {
    let typed = typed.to_lowercase();
    let mut left = all(round);
    if typed == "all" {
        return left;
    }
    for word in typed.split_whitespace() {
        let is_group = left.iter().any(|act| group(round, *act).starts_with(word));
        left.retain(|act| {
            let (id, text) = words(round, *act);
            match is_group {
                true => group(round, *act).starts_with(word),
                false => id.contains(word) || text.to_lowercase().contains(word),
            }
        });
    }
    left
}

/// A bench condition by identifier, its beginning, or a word of its name.
pub(super) fn condition(round: &Round, typed: &str) -> Result<String> {
    let all = &round.model().bench.conditions;
    let typed = typed.to_lowercase();
    if let Some(c) = all.iter().find(|c| c.id == typed) {
        return Ok(c.id.clone());
    }
    let by = |fits: &dyn Fn(&str, &str) -> bool| -> Vec<&str> {
        let fit = all.iter().filter(|c| fits(&c.id, &c.name.to_lowercase()));
        fit.map(|c| c.id.as_str()).collect()
    };
    let begins = by(&|id, _| id.starts_with(&typed));
    let fits = match begins.is_empty() {
        true => by(&|_, name| name.contains(&typed)),
        false => begins,
    };
    match fits.as_slice() {
        [one] => Ok((*one).to_owned()),
        [] => Err(
            Failure::no(format!("no bench condition is called `{typed}`"))
                .help("`bench` lists them"),
        ),
        many => Err(Failure::no(format!(
            "`{typed}` could be {}",
            many.join(" or ")
        ))),
    }
}

/// All that may be wrong, or what has a word in its name.
pub(super) fn suspects(round: &Round, word: &str) -> Vec<Cause> {
    let m = round.model();
    let word = word.to_lowercase();
    let fits = |f: &&crate::model::FaultInfo| {
        f.id.contains(&word) || f.name.to_lowercase().contains(&word)
    };
    let all = m.faults.iter().filter(fits);
    all.map(|f| Cause::Fault(f.id.clone())).collect()
}

/// What is concluded: by number of the list shown last, by identifier, or by
/// words that a name has; at least one.
pub(super) fn causes(round: &Round, shown: &[Cause], typed: &str) -> Result<Vec<Cause>> {
    let m = round.model();
    if typed.eq_ignore_ascii_case("nothing") {
        return Ok(vec![Cause::Nothing]);
    }
    if let Ok(n) = typed.parse::<usize>() {
        let all;
        let list = match shown.is_empty() {
            true => {
                all = suspects(round, "");
                &all[..]
            }
            false => shown,
        };
        return match n.checked_sub(1).and_then(|at| list.get(at)) {
            Some(cause) => Ok(vec![cause.clone()]),
            None => Err(Failure::no(format!(
                "there is no suspect {n}; `suspects` numbers them from 1 to {}",
                list.len()
            ))),
        };
    }
    if let Found::One(f) = m.fault(typed) {
        return Ok(vec![Cause::Fault(m.faults[f].id.clone())]);
    }
    let ends = |id: &str| id == typed || id.strip_suffix(typed).is_some_and(|h| h.ends_with('/'));
    let items: Vec<_> = m.items.iter().filter(|i| ends(&i.id)).collect();
    if let [one] = items.as_slice() {
        return Ok(vec![Cause::Item(one.id.clone())]);
    }
    let typed = typed.to_lowercase();
    let called = |i: &&crate::model::ItemInfo| i.name.to_lowercase() == typed;
    let called: Vec<_> = m.items.iter().filter(called).collect();
    if let [one] = called.as_slice() {
        return Ok(vec![Cause::Item(one.id.clone())]);
    }
    let has = |name: &str| {
        let name = name.to_lowercase();
        typed.split_whitespace().all(|w| name.contains(w))
    };
    let items: Vec<ItemId> = (m.items.keys())
        .filter(|i| has(&m.items[*i].name))
        .collect();
    let faults: Vec<FaultId> = (m.faults.keys())
        .filter(|f| has(&m.faults[*f].name))
        .collect();
    match (items.as_slice(), faults.as_slice()) {
        (_, [one]) => Ok(vec![Cause::Fault(m.faults[*one].id.clone())]),
        ([one], all) if all.iter().all(|f| m.faults[*f].item == *one) => {
            Ok(vec![Cause::Item(m.items[*one].id.clone())])
        }
        (_, []) => Err(
            Failure::no(format!("nothing that may be wrong is called `{typed}`"))
                .help("`suspects` lists all of it, `suspects WORD` some"),
        ),
        (_, many) => Ok(many
            .iter()
            .map(|f| Cause::Fault(m.faults[*f].id.clone()))
            .collect()),
    }
}
