//! How a state is shown in a terminal.

use super::bypass;
use super::error::{Failure, Result};
use super::text::fill;
use crate::belief::{FaultId, likelier};
use crate::desk::Desk;
use crate::job::can_tell::CanTell;
use crate::job::notice::NoticeView;
use crate::job::view::why::{self, SupposedView, WhyView};
use crate::job::view::{DistrustView, StateView, StepView};
use crate::job::weigh::weigh;
use crate::job::words::{UNSURE, percent, percent_within, rests_on_list};
use crate::job::{Case, StepKind};
use crate::line::Distrust;
use crate::model::{Found, behind, shown_id};

/// Columns of a bar.
const BAR: usize = 12;

fn bar(p: f64) -> String {
    let full = ((p * BAR as f64).round() as usize).min(BAR);
    format!("{}{}", "#".repeat(full), "·".repeat(BAR - full))
}

/// The likeliest suspects with bars.
pub(super) fn suspects(state: &StateView, width: usize, many: usize) -> String {
    let mut rows: Vec<(f64, String)> = state
        .belief
        .suspects
        .iter()
        .take(many)
        .filter(|s| s.posterior >= 0.005)
        .enumerate()
        .map(|(i, s)| (s.posterior, format!("{} {} [{}]", i + 1, s.name, s.r#where)))
        .collect();
    if state.belief.nothing_found >= 0.005 {
        rows.push((state.belief.nothing_found, "- nothing is wrong".to_owned()));
    }
    rows.sort_by(|a, b| likelier(a.0, b.0));
    let left_out = state.belief.left_out;
    rows.iter()
        .map(|(p, name)| {
            // A bar would be as sharp as a figure.
            let bar = match left_out > UNSURE {
                true => " ".repeat(BAR),
                false => bar(*p),
            };
            let head = format!("  {bar} {:>5} ", percent_within(*p, left_out));
            let indent = " ".repeat(head.chars().count() + 2);
            fill(name, width, &head, &indent)
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// The five places in a line or two.
pub(super) fn places(state: &StateView, width: usize) -> String {
    let mut parts: Vec<String> = state
        .belief
        .r#where
        .iter()
        .map(|s| {
            format!(
                "{}\u{a0}{}",
                s.name,
                percent_within(s.posterior, state.belief.left_out).replace(' ', "\u{a0}")
            )
        })
        .collect();
    parts.push(format!(
        "nothing\u{a0}wrong\u{a0}{}",
        percent_within(state.belief.nothing_found, state.belief.left_out).replace(' ', "\u{a0}")
    ));
    fill(&parts.join(" | "), width, "Where: ", "       ")
}

/// Bits above which results are said to disagree.
const DISAGREE: f64 = 1.0;

/// What is said first of the result that was just entered; `sure` is how it is
/// confirmed, by the number of its entry.
pub(super) fn notice(n: &NoticeView, sure: impl Fn(usize) -> String) -> String {
    let again = match n.repeat.entry == n.entry {
        true => "Do it again at the same points".to_owned(),
        false => format!(
            "The cheapest repeat is “{}”{}",
            n.repeat.text,
            behind(&n.repeat.test)
        ),
    };
    format!(
        "{} {}\n{again}, {:.0} min. If it shows the same, answer `{}`; else enter what it shows.",
        n.says,
        n.why,
        n.repeat.minutes.max(1.0),
        sure(n.repeat.entry)
    )
}

/// What to doubt: results that do not fit together, and what may be misread.
pub(super) fn doubts(state: &StateView) -> Vec<String> {
    let mut out = Vec::new();
    let b = &state.belief;
    // Said already of the result that was just entered.
    if b.conflict_bits > DISAGREE && state.notice.is_none() {
        let mut s = "These results do not fit together well.".to_owned();
        let worst = b
            .results
            .iter()
            .filter(|r| r.entry.is_some())
            .max_by(|x, y| x.misread.total_cmp(&y.misread));
        if let Some(r) = worst.filter(|r| r.misread > 0.05) {
            s += &format!(
                " Most doubtful: {} = {} ({} a misreading); repeat it.",
                r.of,
                r.shows,
                percent_within(r.misread, b.left_out)
            );
        }
        if let Some(c) = b.candidates.iter().find(|c| c.faults.len() > 1)
            && c.posterior > 0.05
        {
            s += &format!(
                " Or two faults: {} ({}).",
                c.faults.join(" and "),
                percent_within(c.posterior, b.left_out)
            );
        }
        out.push(s);
    }
    out.extend(rests_on_list(b.left_out));
    out
}

/// A step with its cost, why, and cautions.
pub(super) fn step(s: &StepView, head: &str, width: usize, whole: bool) -> String {
    let indent = " ".repeat(head.chars().count());
    let fill = |first: &str, text: &str| fill(text, width, first, &indent);
    let word = match (s.act == StepKind::Remedy, s.retest) {
        (true, _) => "MEND: ",
        (_, true) => "RETEST: ",
        _ if s.safety => "SAFETY: ",
        _ => "",
    };
    let mut out = fill(head, &format!("{word}{}", s.text));
    let mut cost = format!("{:.0} min", s.minutes.max(1.0));
    if s.moving_minutes >= 0.5 {
        cost += &format!(" ({:.0} of them to get there)", s.moving_minutes);
    }
    if s.parts > 0.0 {
        cost += &format!(" + {:.0} for parts", s.parts);
    }
    if !s.why.is_empty() {
        cost += &format!("; {}", s.why);
    }
    out += "\n";
    out += &fill(&indent, &cost);
    if whole {
        if !s.prepare.is_empty() {
            out += "\n";
            out += &fill(&indent, &format!("first: {}", s.prepare.join("; ")));
        }
        if !s.tools.is_empty() {
            out += "\n";
            out += &fill(&indent, &format!("with: {}", s.tools.join(", ")));
        }
        for d in &s.do_not_trust {
            out += "\n";
            out += &fill(&indent, &mistrusted(d));
        }
        if let Some(scope) = &s.scope {
            out += "\n";
            out += &fill(&indent, &format!("only an oscilloscope shows: {scope}"));
        }
        for c in &s.cautions {
            out += "\n";
            out += &fill(&indent, &format!("! {c}"));
        }
    }
    out
}

/// What the whole repair is expected to cost with this step taken now, and how
/// much less it could be at best.
pub(super) fn whole_cost(desk: &Desk, step: &StepView, state: &StateView) -> String {
    format!(
        "Taken now, the whole repair comes to about {:.0} on average (time at {:.0} an hour, and \
         parts); of the tests looked at, no order comes to less than {:.0}.",
        step.expected_cost,
        desk.case.settings.costs.rate,
        state.next.at_least_cost.floor()
    )
}
/// The best steps side by side, with what each result would lead to.
pub(super) fn weighed(case: &Case, width: usize) -> String {
    let mut out = String::new();
    for (i, w) in weigh(case).iter().enumerate() {
        let mut head = format!(
            "{}. {} ({:.0} min now, {:.0} in all)",
            ["a", "b", "c"].get(i).unwrap_or(&""),
            w.text,
            w.minutes,
            w.expected_cost
        );
        head += &format!(": {}.", w.reason);
        out += &fill(&head, width, "", "   ");
        out.push('\n');
        for l in &w.leads {
            let reads = l
                .reads
                .as_ref()
                .map_or_else(String::new, |r| format!(", {r}"));
            let line = format!(
                "{}{reads} ({}): then {} ({:.0} from there)",
                l.says,
                percent(l.probability),
                l.then_says,
                l.expected_cost
            );
            out += &fill(&line, width, "   - ", "     ");
            out.push('\n');
        }
    }
    match out.is_empty() {
        true => "No step is worth taking now.".to_owned(),
        false => out.trim_end().to_owned(),
    }
}

/// Why not to trust a reading, or not to be misled by it.
fn mistrusted(d: &DistrustView) -> String {
    match (d.as_it_stands, d.invalid) {
        (true, _) => format!("do not trust it before that: {}", d.says),
        (false, true) => format!("do not trust it: {}", d.says),
        (false, false) => format!("mind: {}", d.says),
    }
}

/// Why a reading is asked back.
pub(super) fn not_yet(doubts: &[Distrust]) -> String {
    let says: Vec<&str> = doubts.iter().map(|d| d.says.as_str()).collect();
    format!("not taken yet, by what this job knows. {}", says.join(" "))
}

/// A factor on the odds in plain words.
fn factor_words(f: f64) -> String {
    let times = |x: f64| {
        if x >= 10.0 {
            format!("{x:.0}")
        } else {
            format!("{x:.1}")
        }
    };
    let (strength, side) = if f >= 1.0 {
        (f, "for")
    } else {
        (1.0 / f, "against")
    };
    let how = match strength {
        s if s >= 20.0 => "very strongly ",
        s if s >= 5.0 => "strongly ",
        s if s >= 2.0 => "",
        s if s >= 1.1 => "slightly ",
        _ => return "says next to nothing".to_owned(),
    };
    let times = if strength > 999.0 {
        "more than 999".to_owned()
    } else {
        times(strength)
    };
    let less = if f >= 1.0 { "as likely" } else { "less likely" };
    format!("{how}{side}: {times} times {less}")
}

/// A rate with the digits that mean something.
fn per_thousand(rate: f64) -> String {
    if rate >= 10.0 {
        format!("{rate:.0}")
    } else {
        format!("{rate:.1}").trim_end_matches(".0").to_owned()
    }
}

/// What the last remedy still owes, in a line; nothing if it owes nothing.
pub(super) fn retests(state: &StateView) -> Option<String> {
    // The checks of hazards are said with the hazards.
    let due = state.retests_due.iter().filter_map(|id| shown_id(id));
    let due: Vec<&str> = due.collect();
    (!due.is_empty()).then(|| {
        format!(
            "To be seen to work before it counts as mended: {}.",
            due.join(", ")
        )
    })
}

/// What does not count, and what counts against the rules, a line each.
pub(super) fn remarks(state: &StateView) -> Vec<String> {
    let not = |n: &String| format!("Kept, but not counted: {n}.");
    let odd = |n: &String| format!("Counted, against the rules: {n}.");
    let hazard = |h: &String| format!("Hazard: {h}");
    let hazards = state.hazards.iter().map(hazard);
    let not = state.not_counted.iter().map(not);
    hazards
        .chain(not)
        .chain(state.unexpected.iter().map(odd))
        .collect()
}

/// The doubt about one result, in words.
fn doubt(misread: f64) -> String {
    if misread > 0.1 {
        format!(" (may be a misreading: {})", percent(misread))
    } else {
        String::new()
    }
}

/// What speaks for and against a suspect, by its number from 1.
///
/// # Errors
/// If there is none of this number.
pub(super) fn suspect(desk: &Desk, state: &StateView, n: usize) -> Result<WhyView> {
    let view = n
        .checked_sub(1)
        .and_then(|i| why::why(&desk.case, state, i));
    view.ok_or_else(|| {
        Failure::no(format!(
            "there is no suspect {n}; they are numbered from 1 to {}",
            state.belief.suspects.len()
        ))
    })
}

/// The same in words.
pub(super) fn why(view: &WhyView, left_out: f64) -> String {
    let mut out = format!(
        "{} ({}): {}\n",
        view.name,
        view.fault,
        percent_within(view.posterior, left_out)
    );
    if let Some(e) = &view.explain {
        out += &format!("{e}\n");
    }
    for w in &view.weights {
        out += &format!(
            "  {}, {}: {}{}\n",
            w.of,
            w.shows,
            factor_words(w.factor),
            doubt(w.misread)
        );
    }
    out += &match view.per_1000_jobs {
        Some(rate) => format!(
            "The rules count it in {} of 1000 jobs with a complaint about this area",
            per_thousand(rate)
        ),
        None => format!("Before any of this: {}", percent(view.prior)),
    };
    if view.history != 1.0 {
        out += &format!(
            "; what this one has been through makes that {:.1} times as likely",
            view.history
        );
    }
    out += &format!(" (source: {}).\n", view.source);
    if let Some(t) = &view.turn {
        let reads = t.reads.as_ref();
        out += &format!(
            "What would change the order most: “{}” — {}{} ({} likely) would put {} first with {}.\n",
            t.ask,
            t.says,
            reads.map_or_else(String::new, |r| format!(", {r}")),
            percent(t.probability),
            t.first_name,
            percent(t.becomes)
        );
    }
    out
}

/// How often a test errs, by its outcomes where they differ in that.
pub(super) fn errs(outcomes: &[&str], mistaken: &[f64], reliability: f64) -> String {
    let of_100 = |p: f64| {
        let text = format!("{:.1}", p * 100.0);
        text.trim_end_matches(".0").to_owned()
    };
    let Some((first, rest)) = mistaken.split_first() else {
        return format!("right in {} of 100 readings", of_100(reliability));
    };
    if rest.iter().all(|e| (e - first).abs() < 1e-9) {
        let right = 1.0 - rest.iter().sum::<f64>();
        return format!("right in {} of 100", of_100(right));
    }
    let each = outcomes.iter().zip(mistaken);
    let each: Vec<String> = each
        .map(|(o, e)| format!("{o} in {} of 100", of_100(*e)))
        .collect();
    format!("shown by mistake: {}", each.join(", "))
}

/// More on a step.
pub(super) fn explain(desk: &Desk, s: &StepView) -> String {
    let m = &desk.case.model;
    let (info, more) = match (m.test(&s.id), m.remedy(&s.id)) {
        (Found::One(i), _) => {
            let t = &m.tests[i];
            let mut more: Vec<String> = t
                .outcomes
                .iter()
                .zip(&s.outcomes)
                .map(|(o, v)| format!("  {}: {} ({})", o.id, o.says, percent(v.probability)))
                .collect();
            more.extend(desk.case.can_tell(i).iter().flat_map(can_tell));
            if let Some(scope) = &s.scope {
                more.push(format!("Only an oscilloscope shows: {scope}."));
            }
            let shown: Vec<&str> = t.outcomes.iter().map(|o| o.id.as_str()).collect();
            more.push(format!(
                "How often it errs: {}.",
                errs(&shown, &t.mistaken, t.reliability)
            ));
            (&t.step, more)
        }
        (_, Found::One(i)) => {
            let r = &m.remedies[i];
            // Those it is most likely done for first; the rest by number.
            let now = |f: FaultId| desk.case.belief.faults[f];
            let mut clears = r.change.clears.clone();
            clears.sort_by(|a, b| likelier(now(a.0), now(b.0)));
            let likely = clears.iter().filter(|c| now(c.0) >= 0.005).count().max(1);
            let mut more: Vec<String> = clears[..likely]
                .iter()
                .map(|(f, take)| {
                    format!(
                        "  clears {} ({} now), takes in {:.0} of 100",
                        m.faults[*f].name,
                        percent_within(now(*f), desk.case.belief.left_out),
                        take * 100.0
                    )
                })
                .collect();
            if clears.len() > likely {
                more.push(format!(
                    "  and {} more that are not likely now",
                    clears.len() - likely
                ));
            }
            more.extend(r.change.brings.iter().map(|(f, p)| {
                format!(
                    "  may break {} (in {:.1} of 100)",
                    m.faults[*f].name,
                    p * 100.0
                )
            }));
            let bridged = desk.case.bridged(i).unwrap_or_default();
            more.extend(bridged.iter().map(bypass::in_short));
            (&r.step, more)
        }
        _ => return String::new(),
    };
    let mut out = format!("{}{}\n", s.text, behind(&s.id));
    if let Some(e) = &info.explain {
        out += &format!("{e}\n");
    }
    out += &more.join("\n");
    out += &format!("\nSource: {}\n", info.source);
    for d in &s.do_not_trust {
        out += &format!("{}\n", mistrusted(d));
    }
    for c in &s.cautions {
        out += &format!("! {c}\n");
    }
    out
}

/// What a reading can and cannot tell.
fn can_tell(c: &CanTell) -> Vec<String> {
    let mut out = vec![
        format!(
            "A good one reads {}. That rests on: {}.",
            c.good, c.rests_on_says
        ),
        "What it can tell, where the fault is on this line:".to_owned(),
    ];
    for s in &c.faults {
        out.push(match (s.seen, &s.seen_by) {
            (true, _) => format!("  {}: {}", s.name, s.reads),
            (false, Some(test)) => format!("  {}: {}, not to be told; {test} can", s.name, s.reads),
            (false, None) => format!("  {}: {}, not to be told", s.name, s.reads),
        });
    }
    out
}

/// What a result, in words, would change.
pub(super) fn supposed(says: &str, view: &SupposedView) -> String {
    let mut out = format!("If {says}:\n");
    for s in view.suspects.iter().take(3) {
        out += &format!(
            "  {:>5} {} (now {})\n",
            percent_within(s.posterior, view.left_out),
            s.name,
            percent_within(s.now, view.left_out_now)
        );
    }
    out += &format!(
        "  {:>5} nothing is wrong (now {})",
        percent_within(view.nothing_found, view.left_out),
        percent_within(view.nothing_now, view.left_out_now)
    );
    out
}
