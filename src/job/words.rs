//! Words for what is known: probabilities, results, what rests on a list.

use super::case::Case;
use super::file::Entry;
use super::ledger::Entered;
use crate::units::short;

/// A result in words.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ResultWords {
    /// What it is a result of: a test, or a symptom of the complaint.
    pub of: String,
    /// The value that was read, as it was typed.
    pub reads: Option<String>,
    /// What it says.
    pub says: String,
}

impl ResultWords {
    /// Both in a line.
    pub fn shows(&self) -> String {
        match &self.reads {
            Some(reads) => format!("{reads}: {}", self.says),
            None => self.says.clone(),
        }
    }
}

/// A result's test and outcome in words.
pub fn result_words(case: &Case, n: usize, entry: Option<usize>, steps: &[Entry]) -> ResultWords {
    let plain = |of: &str, says: &str| ResultWords {
        of: of.to_owned(),
        reads: None,
        says: says.to_owned(),
    };
    let as_it_holds = |e: usize| case.corrected(e).unwrap_or(&steps[e]);
    match entry.map(|e| (&case.entered[e], as_it_holds(e))) {
        Some((Entered::Result { test, .. }, _)) => {
            let t = &case.model.tests[*test];
            let says = entry.and_then(|e| case.says(e)).unwrap_or_default();
            let typed = entry.and_then(|e| case.typed(e));
            let value = typed.filter(|typed| t.unit.is_some() && typed.in_digits);
            ResultWords {
                reads: value.map(|typed| short(&typed.text)),
                ..plain(&t.id, says)
            }
        }
        Some((Entered::Unfit | Entered::Void, Entry::Result(r))) => plain(&r.test, r.shows.trim()),
        _ => {
            let s = &case.model.symptoms[case.symptoms[n.min(case.symptoms.len() - 1)]];
            plain(&s.id, &s.name)
        }
    }
}

/// What is said while such a fault leads.
pub(super) const UNLISTED: &str = "These rules do not explain what was seen: what leads is a fault \
     that they do not list.";

/// What is left to do then.
pub(super) const NARROWS: &str = "What still narrows it down: looking, comparing with a good board \
     of the model, and readings on other lines. Ask somebody who knows this circuit, or hand it \
     back.";

/// Above this bound on what a belief leaves out, no probability is shown as a
/// percentage: the order of the suspects is all that it tells.
pub const UNSURE: f64 = 0.1;

/// Up to this bound the digits of a percentage hold anyway.
pub(super) const SHARP: f64 = 0.005;

/// A probability of a belief that leaves out up to `left_out`, no sharper than
/// that: a range where the bound moves its digits, and no figure above
/// [`UNSURE`].
pub fn percent_within(p: f64, left_out: f64) -> String {
    if left_out <= SHARP {
        return percent(p);
    }
    if left_out > UNSURE {
        return "?".to_owned();
    }
    // It is a share of what is listed; all that is left out may be for it.
    let low = p * (1.0 - left_out);
    let (low, high) = ((100.0 * low).floor(), (100.0 * (low + left_out)).ceil());
    format!("{low:.0}–{:.0} %", high.min(100.0))
}

/// What is to be known of probabilities that rest on a list of sets of faults;
/// `None` where next to nothing can be left out.
pub fn rests_on_list(left_out: f64) -> Option<String> {
    if left_out <= 0.01 {
        return None;
    }
    let most = percent(left_out);
    Some(if left_out > UNSURE {
        format!(
            "So many results could be wrong that sets of faults which were not counted may hold \
             up to {most} of the probability. The order of the suspects, and the steps that rest \
             on it, are a guess: repeat the most doubtful results."
        )
    } else {
        format!(
            "Sets of faults that were not counted may hold up to {most} of the probability; the \
             steps rest on those that were."
        )
    })
}

/// A probability for people: whole per cent, with the ends kept honest.
pub fn percent(p: f64) -> String {
    if p > 0.995 && p < 1.0 {
        ">99 %".to_owned()
    } else if p < 0.01 && p > 0.0 {
        "<1 %".to_owned()
    } else {
        format!("{:.0} %", p * 100.0)
    }
}
