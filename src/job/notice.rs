//! What is said at once of the result that was just entered: that it is more
//! likely a mistake than true, or that nothing explains it well, and why.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::{Case, Reason};
use super::file::Entry;
use super::ledger::Entered;
use super::words::{NARROWS, UNLISTED, UNSURE, percent, percent_within, result_words};
use crate::model::Slip;

/// What is said of the last result, as it is shown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NoticeView {
    /// Number of the entry, from 1.
    pub entry: usize,
    /// The test.
    pub test: String,
    /// What it showed, in words.
    pub shows: String,
    /// `likely-wrong`, or `unexplained`: it may be true, but fits badly with the
    /// rest.
    pub reason: String,
    /// Probability that the result is a mistake, 0 to 1.
    pub misread: f64,
    /// How likely this result was before it, 0 to 1; absent for a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected: Option<f64>,
    /// Number of the entry that it goes against most; absent if that is the
    /// complaint, or none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<usize>,
    /// What is said, in a sentence.
    pub says: String,
    /// Why, in a sentence or two.
    pub why: String,
    /// The cheapest repeat.
    pub repeat: RepeatView,
}

/// A test that is worth repeating.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RepeatView {
    /// Number of the entry that it repeats, from 1.
    pub entry: usize,
    /// The test.
    pub test: String,
    /// The question.
    pub text: String,
    /// Minutes, bench conditions included.
    pub minutes: f64,
}

/// What a reading looks like that is more likely a mistake, in a sentence.
fn looks_like(slip: Slip) -> String {
    let what = match slip {
        Slip::PinBeside => "A healthy pin beside this one reads so.",
        Slip::LeadsSwapped => "With the leads changed over a healthy line reads so.",
        Slip::OtherMode => {
            "It is what another mode of the meter shows here, or a device that is not switched on."
        }
        Slip::OpenLead => "A lead that does not touch reads so.",
        Slip::OnGround => "A tip on ground reads so.",
        Slip::Decade => "A healthy line reads ten times or a tenth of that.",
    };
    what.to_owned()
}

/// What is said of the last result.
pub(super) fn notice_view(case: &Case, steps: &[Entry]) -> Option<NoticeView> {
    let n = case.notice()?;
    let results = case.results();
    let words = result_words(case, 0, Some(n.entry), steps);
    let (shows, test) = (words.shows(), words.of);
    let of = format!("entry {}, {test}: “{shows}”", n.entry + 1);
    let (reason, says) = match n.reason {
        Reason::LikelyWrong => (
            "likely-wrong",
            match case.belief.left_out {
                most if most > UNSURE => format!("More likely a mistake than true: {of}."),
                most => format!(
                    "More likely a mistake than true ({}): {of}.",
                    percent_within(n.misread, most)
                ),
            },
        ),
        Reason::Unexplained => (
            "unexplained",
            format!("Nothing explains this well together with the rest: {of}."),
        ),
        Reason::Unlisted => ("unexplained", format!("{UNLISTED} Last entered: {of}.")),
    };
    let mut why: Vec<String> = n.slip.map(looks_like).into_iter().collect();
    if n.reason == Reason::Unlisted {
        why.push(NARROWS.to_owned());
    }
    if let Some(place) = n.against {
        let entry = results.get(place).copied().flatten();
        let words = result_words(case, place, entry, steps);
        let (other, id) = (words.shows(), words.of);
        why.push(match entry {
            Some(e) => format!("It goes against entry {}, {id}: “{other}”.", e + 1),
            None => format!("It goes against the complaint: {other}."),
        });
    }
    match n.expected {
        Some(p) => why.push(format!(
            "Before it, this answer was expected with {}.",
            percent(p)
        )),
        None if why.is_empty() => {
            why.push("By these rules hardly any device with this complaint reads so.".to_owned());
        }
        None => {}
    }
    let (test_again, minutes) = n.repeat;
    let repeats =
        |e: &usize| matches!(case.entered[*e], Entered::Result { test, .. } if test == test_again);
    let entry = results.iter().flatten().copied().filter(repeats).max();
    let again = &case.model.tests[test_again];
    Some(NoticeView {
        entry: n.entry + 1,
        test,
        shows,
        reason: reason.to_owned(),
        misread: n.misread,
        expected: n.expected,
        against: n.against.and_then(|p| results[p]).map(|e| e + 1),
        says,
        why: why.join(" "),
        repeat: RepeatView {
            entry: entry.unwrap_or(n.entry) + 1,
            test: again.id.clone(),
            text: again.ask.clone(),
            minutes,
        },
    })
}
