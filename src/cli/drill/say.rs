//! What a trainee is told: never how likely anything is.

use super::read::{all, group, words};
use crate::drill::{Cause, Hint, Round, Told};
use crate::model::behind;
use crate::plan::Act;
use crate::rulebase::Step;

/// So many steps are listed at once.
const FEW: usize = 24;

/// What comes in.
pub(super) fn head(id: i64, round: &Round) -> String {
    let task = round.task;
    let order = &task.order;
    let mut out = format!(
        "Round {id} for {}, level {} (seed {}): {}.\n",
        order.trainee,
        u8::from(order.level),
        order.seed,
        order.level.says()
    );
    out += &format!("On the bench: {}\n", round.model().device);
    out += &format!("Complaint: {}\n", task.complaint.join("; "));
    for question in &task.past {
        out += &format!("{question} Yes.\n");
    }
    if !round.did.is_empty() {
        out += &format!("Done so far:\n{}\n", trail(round));
    }
    out
}

/// The groups of steps; all steps where they are few.
pub(super) fn groups(round: &Round) -> String {
    let all = all(round);
    if all.len() <= FEW {
        return list(round, &all);
    }
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for act in all {
        let group = group(round, act);
        match counts.iter_mut().find(|c| c.0 == group) {
            Some(c) => c.1 += 1,
            None => counts.push((group, 1)),
        }
    }
    let counts: Vec<String> = counts.iter().map(|(g, n)| format!("{g} ({n})")).collect();
    format!(
        "Steps: {}. `list WORD` shows a group by its first word, or what has a word in it; `list \
         all` shows all.",
        counts.join(", ")
    )
}

/// Steps under their numbers, group by group.
pub(super) fn list(round: &Round, some: &[Act]) -> String {
    let numbers = all(round);
    let mut out = String::new();
    let mut seen: Vec<&str> = Vec::new();
    for act in some {
        let of = group(round, *act);
        if seen.contains(&of) {
            continue;
        }
        seen.push(of);
        out += &format!("{}:\n", capital(of));
        for act in some.iter().filter(|a| group(round, **a) == of) {
            let n = numbers.iter().position(|a| a == act).unwrap_or(0) + 1;
            let held = matches!(act, Act::Test(t) if round.hand.holds(*t));
            let done = if held { "; done" } else { "" };
            let (_, text) = words(round, *act);
            out += &format!("{n:>4}  {text} ({}{done})\n", takes(step_of(round, *act)));
        }
    }
    out
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

fn step_of<'r>(round: &Round<'r>, act: Act) -> &'r Step {
    round.model().named(act).step
}

fn takes(step: &Step) -> String {
    let minutes = format!("{:.0} min", step.minutes.max(1.0));
    match step.parts > 0.0 {
        true => format!("{minutes} + {:.0} for parts", step.parts),
        false => minutes,
    }
}

/// A step that is taken up: what it takes, and its cautions.
pub(super) fn step(round: &Round, act: Act) -> String {
    let (id, text) = words(round, act);
    let step = step_of(round, act);
    let mend = if matches!(act, Act::Remedy(_)) {
        "MEND: "
    } else {
        ""
    };
    let mut out = format!("{mend}{text}{}\n  {}\n", behind(id), takes(step));
    if !step.tools.is_empty() {
        out += &format!("  with: {}\n", step.tools.join(", "));
    }
    for c in &step.cautions {
        out += &format!("  ! {}\n", round.model().bench.cautions[*c].text);
    }
    out
}

/// More on a step.
pub(super) fn explain(round: &Round, act: Act) -> String {
    let info = step_of(round, act);
    let mut out = step(round, act);
    if let Some(text) = &info.explain {
        out += &format!("  {text}\n");
    }
    if let Act::Test(t) = act {
        for o in &round.model().tests[t].outcomes {
            out += &format!("  {}: {}\n", o.id.replace('-', " "), o.says);
        }
    }
    out + &format!("  source: {}\n", info.source)
}

/// How the bench was changed, in words; nothing if it was not.
fn change(round: &Round, told: &Told) -> String {
    let name = |c: &usize| round.model().bench.conditions[*c].name.clone();
    let left = told
        .change
        .leave
        .iter()
        .map(|c| format!("no longer {}", name(c)));
    let all: Vec<String> = left.chain(told.change.enter.iter().map(name)).collect();
    all.join("; ")
}

fn mistakes(round: &Round, told: &Told) -> String {
    let says = |m: &crate::drill::Mistake| format!("! {}\n", m.says(round.model()));
    told.mistakes.iter().map(says).collect()
}

/// What came of a step.
pub(super) fn told(round: &Round, act: Act, told: &Told) -> String {
    let mut out = mistakes(round, told);
    let ready = change(round, told);
    if !ready.is_empty() {
        let right = match told.mistakes.is_empty() {
            true => "First",
            false => "Put right",
        };
        out += &format!("{right}: {ready} ({:.0} min).\n", told.change.minutes);
    }
    out += &match (act, told.outcome) {
        (Act::Test(t), Some(o)) => {
            let o = &round.model().tests[t].outcomes[o];
            format!("It shows: {}.", o.says.trim_end_matches('.'))
        }
        _ => "Done.".to_owned(),
    };
    let hand = &round.hand;
    out += &format!(" {:.0} min so far", hand.minutes());
    if hand.parts() > 0.0 {
        out += &format!(", {:.0} for parts", hand.parts());
    }
    out += ".\n";
    if !hand.due().is_empty() {
        let due: Vec<&str> = (hand.due().iter())
            .map(|t| round.model().tests[*t].id.as_str())
            .collect();
        out += &format!(
            "To be seen to work before it counts as mended: {}.\n",
            due.join(", ")
        );
    }
    out
}

/// How the device stands, and what can be done about it.
pub(super) fn bench(round: &Round) -> String {
    let bench = &round.model().bench;
    let state = round.hand.state();
    let held: Vec<&str> = state
        .iter()
        .map(|c| bench.conditions[c].name.as_str())
        .collect();
    let mut out = match held.is_empty() {
        true => "The device stands as it came in.\n".to_owned(),
        false => format!("The device stands: {}.\n", held.join("; ")),
    };
    for c in &bench.conditions {
        out += &format!(
            "  {}: {} ({:.0} min, {:.0} to undo it)\n",
            c.id, c.name, c.enter, c.leave
        );
    }
    out
}

/// What came of a change of the bench.
pub(super) fn brought(round: &Round, told: &Told) -> String {
    let words = change(round, told);
    match words.is_empty() {
        true => "It stands so already.".to_owned(),
        false => format!(
            "{}Now: {words} ({:.0} min).",
            mistakes(round, told),
            told.change.minutes
        ),
    }
}

/// What is advised, as far as a hint tells.
pub(super) fn hint(round: &Round, told: &Told) -> String {
    match told.hint {
        None | Some((Hint::None, _)) => String::new(),
        Some((_, None)) => "Hint: nothing is left to be done; conclude.".to_owned(),
        Some((Hint::Kind, Some(act))) => format!("Hint: {}.", group(round, act)),
        Some((Hint::Step, Some(act))) => {
            let n = all(round).iter().position(|a| *a == act).unwrap_or(0) + 1;
            let (id, text) = words(round, act);
            format!("Hint: {n} {text}{}", behind(id))
        }
    }
}

/// What was done so far.
pub(super) fn trail(round: &Round) -> String {
    if round.did.is_empty() {
        return "Nothing yet.".to_owned();
    }
    let line = |(n, did): (usize, &crate::drill::Did)| {
        let (_, text) = words(round, did.act);
        let shows = match (did.act, did.outcome) {
            (Act::Test(t), Some(o)) => format!(" {}", round.model().tests[t].outcomes[o].says),
            _ => String::new(),
        };
        format!("{:>4}  {text}{shows}", n + 1)
    };
    let lines: Vec<String> = round.did.iter().enumerate().map(line).collect();
    lines.join("\n")
}

/// Suspects under their numbers, in the order of the rules.
pub(super) fn suspects(round: &Round, some: &[Cause]) -> String {
    let m = round.model();
    let name = |c: &Cause| match c {
        Cause::Fault(id) => (m.faults.iter().find(|f| f.id == *id)).map(|f| f.name.clone()),
        Cause::Item(id) => (m.items.iter().find(|i| i.id == *id)).map(|i| i.name.clone()),
        Cause::Nothing => Some("nothing wrong".to_owned()),
    };
    let lines = some.iter().enumerate().map(|(n, c)| {
        let name = name(c).unwrap_or_default();
        format!("{:>4}  {name}", n + 1)
    });
    lines.collect::<Vec<_>>().join("\n")
}
