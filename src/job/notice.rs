//! What is said at once of the result that was just entered: that it is more
//! likely a mistake than true, or that nothing explains it well, and why.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::{Case, Entered};
use super::file::Entry;
use super::view::{
    NARROWS, UNLISTED, UNSURE, percent, percent_within, result_words, unlisted_leads,
};
use crate::belief::{conflict_among, update};
use crate::bench::BenchState;
use crate::model::{Read, Slip};

/// A result that wants a second look.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    /// The entry, from 0.
    pub entry: usize,
    /// The test.
    pub test: usize,
    /// Why it is said.
    pub reason: Reason,
    /// Probability that the result is a mistake.
    pub misread: f64,
    /// The slip that it looks like, where it is more likely a mistake.
    pub slip: Option<Slip>,
    /// The place among the results of the one that it goes against most.
    pub against: Option<usize>,
    /// How likely this result was before it, where it is a word.
    pub expected: Option<f64>,
    /// The test to repeat, and its minutes with what it takes to get there.
    pub repeat: (usize, f64),
}

/// Why a result wants a second look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// It is more likely a mistake than true.
    LikelyWrong,
    /// It may be true, but no faults explain it together with the others.
    Unexplained,
    /// It makes a fault lead that nobody listed: the rules do not explain the
    /// device.
    Unlisted,
}

/// Above this a result is more likely a mistake than true.
const LIKELY_WRONG: f64 = 0.5;
/// By so many bits a result has to make the results disagree, and they have to
/// disagree in all, to count as unexplained.
const UNEXPLAINED_BITS: f64 = 1.0;
/// Another result is named as what a doubtful one goes against if the two alone
/// disagree by this much, in bits.
const AGAINST_BITS: f64 = 0.5;
/// A result with a smaller chance of a mistake is not offered for a repeat.
const WORTH_REPEATING: f64 = 0.1;

impl Case {
    /// What is to be said of the last entry, if it is a result that wants a
    /// second look.
    pub fn notice(&self) -> Option<&Notice> {
        self.noticed.get_or_init(|| self.look_again()).as_ref()
    }

    fn look_again(&self) -> Option<Notice> {
        let entry = self.speaks_of(self.entered.len().checked_sub(1)?)?;
        let Entered::Result { test, .. } = self.entered[entry] else {
            return None;
        };
        let results = self.results();
        let at = results.iter().position(|e| *e == Some(entry))?;
        let misread = *self.belief.misread.get(at)?;
        let reason = match misread > LIKELY_WRONG {
            true => Reason::LikelyWrong,
            false if self.brings_unlisted(at) => Reason::Unlisted,
            false if self.makes_disagree(at) => Reason::Unexplained,
            false => return None,
        };
        let against = self.goes_against(at);
        let again = |result: usize| match self.entered[results[result]?] {
            Entered::Result { test, .. } if self.done(test) => Some(test),
            _ => None,
        };
        let doubtful = |result: &usize| {
            reason != Reason::LikelyWrong || self.belief.misread[*result] > WORTH_REPEATING
        };
        let other = against.filter(doubtful).and_then(again);
        let minutes = |test: usize| (test, self.minutes_to_repeat(test, self.state));
        // What was measured again already is done again last.
        let confirmed = self.times(at).is_some_and(|t| t.0 > 1);
        let this = (!confirmed || other.is_none()).then_some(test);
        let repeat = this.into_iter().chain(other).map(minutes);
        let repeat = repeat.min_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(Notice {
            entry,
            test,
            reason,
            misread,
            slip: (reason == Reason::LikelyWrong)
                .then(|| self.slipped(test, at))
                .flatten(),
            against,
            expected: self.expected(at),
            repeat,
        })
    }

    /// The slip that a reading, by its place among the results, looks like.
    fn slipped(&self, test: usize, at: usize) -> Option<Slip> {
        let test = &self.model.tests[test];
        let mut readings = self.readings(test.measures?.line);
        let (_, taken) = readings.find(|r| r.0 == at)?;
        match taken.read {
            Read::Number(reading) => self.model.slip_of(test, reading),
            Read::Word(_) => None,
        }
    }

    /// The result that an entry is about, both from 0: itself, or the one that it
    /// confirms or corrects.
    fn speaks_of(&self, entry: usize) -> Option<usize> {
        match self.entered[entry] {
            Entered::Result { .. } => Some(entry),
            Entered::About(of) => Some(of),
            _ => None,
        }
    }

    /// Whether a result, by its place, makes the results disagree.
    fn makes_disagree(&self, at: usize) -> bool {
        let now = self.conflict();
        if now <= UNEXPLAINED_BITS {
            return false;
        }
        let given = self.symptoms.len();
        let others = self.results().len() - 1;
        let without = conflict_among(&self.model.network, others, given, |keep| {
            self.events(&|r| r != at && keep(r - usize::from(r > at)))
        });
        now - without > UNEXPLAINED_BITS
    }

    /// Whether a fault that nobody listed leads, and is likelier for a result, by
    /// its place.
    fn brings_unlisted(&self, at: usize) -> bool {
        let Some(first) = unlisted_leads(self) else {
            return false;
        };
        let without = self.events(&|r| r != at);
        let without = update(&self.model.network, &without, self.settings.size);
        self.belief.faults[first] > without.faults[first]
    }

    /// The place of the result that goes worst together with another one, given
    /// the complaint.
    fn goes_against(&self, at: usize) -> Option<usize> {
        let given = self.symptoms.len();
        let bits = |r: usize| {
            conflict_among(&self.model.network, given + 2, given, |keep| {
                let (first, second) = (r.min(at), r.max(at));
                self.events(&|k| match k {
                    k if k < given => keep(k),
                    k if k == first => keep(given),
                    k => k == second && keep(given + 1),
                })
            })
        };
        let others = (given..self.results().len()).filter(|r| *r != at);
        let all = others.map(|r| (r, bits(r)));
        let worst = all.max_by(|a, b| a.1.total_cmp(&b.1));
        worst.filter(|w| w.1 > AGAINST_BITS).map(|w| w.0)
    }

    /// How likely a result was before it, all others given; `None` for a number,
    /// which has a density, and for one that was confirmed.
    fn expected(&self, at: usize) -> Option<f64> {
        if self.times(at)? != (1, true) {
            return None;
        }
        let without = update(
            &self.model.network,
            &self.events(&|r| r != at),
            self.settings.size,
        );
        let p = (self.belief.evidence_log2 - without.evidence_log2).exp2();
        (0.0..=1.0).contains(&p).then_some(p)
    }

    fn minutes_to_repeat(&self, test: usize, state: BenchState) -> f64 {
        let step = &self.model.tests[test].step;
        step.minutes + self.model.bench.reach(state, &step.conditions).minutes
    }
}

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
    let (test, shows) = result_words(case, 0, Some(n.entry), steps);
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
        let (id, other) = result_words(case, place, entry, steps);
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
