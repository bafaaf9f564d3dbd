//! A job worked out: what its entries mean under the rules.

use std::cell::OnceCell;
use std::sync::Arc;

use rayon::prelude::*;
use thiserror::Error;

use super::amend::{Amended, earlier};
use super::file::*;
use super::history::{History, What};
use super::isolation::Alike;
use super::notice::Notice;
use super::proof;
use super::reading::{self, Asked, Typed};
use super::sensible::CHOSEN_FROM;
use super::view::{CanTell, CanTellFault, percent};
use crate::belief::candidates::Outlook;
use crate::belief::{
    Belief, Change, Event, Finding, Seen, Size, conflict_among, likelier, update, weights_among,
};
use crate::bench::{BenchState, Gate, Gates, Moves, Turns};
use crate::circuit::calibrate::CalibrateError;
use crate::circuit::meter::Reading;
use crate::line::{Distrust, GoodReading, Probing};
use crate::model::{
    BenchMeter, CompileError, Foretold, Found, InPlay, LineInfo, Model, OutcomeInfo, Range, Read,
    RemedyInfo, RestsOn, Taken, TestInfo, Unit, bounds, compile_for, hazards, outline, recognise,
};
use crate::plan::{
    Act, Advice, Costs, Effort, PlanRemedy, PlanTest, Situation, Turn, advise, foretell,
    turning_point,
};
use crate::rulebase::{DONOR_PARTS, Kind, MeterMode, Rulebase, Step};
use crate::shown::shown;

/// What can be set for working out a job.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Settings {
    /// Which sets of faults count.
    pub size: Size,
    /// What counts as cost.
    pub costs: Costs,
    /// How hard the next step is thought over.
    pub effort: Effort,
}

/// The tests as the planner sees them, `None` for one that is not open; and for
/// each of the outcomes that it sees, what part of a test's outcomes that is.
type Planned = (Vec<Option<PlanTest>>, Vec<Vec<Range>>);

/// Probability that nothing is wrong any more from which passed retests are
/// taken for the end of the job.
const LIKELY: f64 = 0.5;

/// Why an entry cannot be taken.
#[derive(Debug, Error)]
pub enum CaseError {
    /// The device or the history does not fit the rules.
    #[error(transparent)]
    Compile(#[from] CompileError),
    /// A name that nothing has.
    #[error("no {what} is called `{name}`{}", .near.as_ref().map(|n| format!("; did you mean `{n}`?")).unwrap_or_default())]
    Unknown {
        /// test, remedy, symptom, fault.
        what: &'static str,
        /// What was typed.
        name: String,
        /// What was probably meant.
        near: Option<String>,
    },
    /// A name that several have.
    #[error("`{name}` could be {}; write it in full", .could_be.join(" or "))]
    Ambiguous {
        /// What was typed.
        name: String,
        /// Full names.
        could_be: Vec<String>,
    },
    /// A word that is no outcome of the test.
    #[error("`{shows}` is no result of `{test}`; it can be {}", .can_be.join(", "))]
    NoOutcome {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// What it can be.
        can_be: Vec<String>,
    },
    /// A value in the wrong unit.
    #[error("`{test}` is measured in {unit}, not as `{shows}`; type what it reads in {unit}")]
    WrongUnit {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// The unit.
        unit: String,
    },
    /// A value that no outcome covers.
    #[error("{shows} fits none of the results of `{test}`: {}", .can_be.join(", "))]
    OutsideAll {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// The ranges.
        can_be: Vec<String>,
    },
    /// A value that was probably meant otherwise.
    #[error("`{shows}` could be {}; write it in full", .could_be.join(" or "))]
    Doubtful {
        /// What was typed.
        shows: String,
        /// What it could be.
        could_be: Vec<String>,
    },
    /// What is true, but says too little to count.
    #[error("`{shows}` says only that {says}; type {instead}")]
    TooLittle {
        /// What was typed.
        shows: String,
        /// What it says.
        says: String,
        /// What to type instead.
        instead: String,
    },
    /// A value that no meter shows.
    #[error("`{shows}` cannot be a reading of `{test}`: {why}")]
    NoReading {
        /// The test.
        test: String,
        /// What was typed.
        shows: String,
        /// Why not.
        why: String,
    },
    /// A reading of a good board for a test that has none.
    #[error("`{0}` measures no line, so there is nothing to compare with a good board's reading")]
    NoLine(String),
    /// A reading of a good board of nobody.
    #[error("say whose board it was, such as `donor in drawer 3`")]
    Nobodys,
    /// What no good board can read.
    #[error(
        "`{reads}` cannot be what a good board reads in `{test}`, which by the rules is {good}; \
         see whether it is the same point, mode and model"
    )]
    NotGood {
        /// The test.
        test: String,
        /// What was typed.
        reads: String,
        /// What it is by the rules.
        good: String,
    },
    /// An entry that there is not.
    #[error("{}", no_entry(*typed, *entries))]
    NoEntry {
        /// What was typed.
        typed: usize,
        /// How many there are before this one.
        entries: usize,
    },
    /// A correction of a correction.
    #[error("entry {entry} corrects entry {of}; correct entry {of} again")]
    IsCorrection {
        /// What was typed.
        entry: usize,
        /// What that one corrects.
        of: usize,
    },
    /// Another value for an entry that has none.
    #[error("entry {entry} says that a result was measured again; it can only be struck")]
    OnlyStruck {
        /// What was typed.
        entry: usize,
    },
    /// A result that cannot be confirmed.
    #[error("entry {entry} cannot be confirmed: {why}")]
    NotSure {
        /// What was typed.
        entry: usize,
        /// Why not.
        why: &'static str,
    },
    /// What was seen cannot be under the rules.
    #[error("the results cannot all be right under these rules; no set of faults explains them")]
    Impossible,
}

fn no_entry(typed: usize, entries: usize) -> String {
    match entries {
        0 => format!("there is no entry {typed}: nothing was entered yet"),
        n => format!("there is no entry {typed}; they are numbered from 1 to {n}"),
    }
}

/// What an entry came to.
#[derive(Clone, Debug, PartialEq)]
pub enum Entered {
    /// A symptom of the complaint, by index.
    Symptom(usize),
    /// A test with its outcome, by index.
    Result {
        /// The test.
        test: usize,
        /// The outcome.
        outcome: usize,
    },
    /// A remedy, by index.
    Remedy(usize),
    /// It confirms or corrects an earlier entry, from 0.
    About(usize),
    /// Something that does not change the belief.
    Other,
    /// A result that means nothing in the bench condition it was taken in, and
    /// does not count.
    Void,
    /// Does not fit the rules of today, and does not count.
    Unfit,
}

/// Why a job cannot be closed as mended yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Closed {
    /// It can.
    Ready,
    /// No remedy was done.
    NothingDone,
    /// These tests have to pass first, by index.
    Retests(Vec<usize>),
    /// The last retest failed, by index of the test.
    StillFails(usize),
}

/// A device as it was compiled, before anything was entered, and what from.
#[derive(Debug)]
struct Compiled {
    device: Unit,
    history: Vec<String>,
    packs: InPlay,
    meter: Option<String>,
    model: Model,
}

/// A job worked out under the rules.
#[derive(Debug)]
pub struct Case {
    /// The compiled device.
    pub model: Model,
    /// The same before anything was entered.
    compiled: Arc<Compiled>,
    /// Symptoms of the complaint, by index.
    pub symptoms: Vec<usize>,
    /// What each entry came to.
    pub entered: Vec<Entered>,
    /// The entries with their corrections.
    amended: Amended,
    /// The outcome that each result was, as it was read then.
    shows: Vec<Option<OutcomeInfo>>,
    /// Why results mean nothing, by entry.
    void: Vec<(usize, String)>,
    /// What of a good board the rules do not expect, by entry.
    unexpected: Vec<(usize, String)>,
    /// What state the device is in.
    pub state: BenchState,
    /// Minutes at the bench and cost of parts of what was done, as the rules have
    /// them.
    so_far: (f64, f64),
    /// The belief now.
    pub belief: Belief,
    /// The settings.
    pub settings: Settings,
    history: History,
    past: Vec<String>,
    without: Vec<String>,
    /// Bench conditions that the complaint rules out, by index, as long as
    /// nothing was done about it and no step in one of them went well.
    out_of_reach: Vec<usize>,
    blocked_tests: Vec<bool>,
    /// Of the blocked tests those that were only unclear.
    unclear_tests: Vec<usize>,
    blocked_remedies: Vec<bool>,
    /// Worked out when a plan is asked for.
    planned: OnceCell<Planned>,
    plan_remedies: Vec<Option<PlanRemedy>>,
    retest: Option<PlanTest>,
    due: Vec<usize>,
    /// Gates that are up and whose check found the hazard since something was
    /// last done about it.
    checked: Gates,
    /// Results that were entered although a gate bars their test, in words.
    against: Vec<(usize, String)>,
    moves: Moves,
    unfit: Vec<(Option<usize>, CaseError)>,
    /// Position among the entries of the last remedy.
    pub(super) last_remedy: Option<usize>,
    /// The advice, once it was asked for.
    advised: OnceCell<Advice>,
    /// Conflict of the results, once it was asked for.
    disagreement: OnceCell<f64>,
    /// Leading suspects that the offered points do not tell apart.
    pub(super) alike: Option<Alike>,
    /// What is to be said of the last entry, once it was asked for.
    pub(super) noticed: OnceCell<Option<Notice>>,
}

/// Takes one of what was found, or says why not.
pub(super) fn one(found: Found<usize>, what: &'static str, name: &str) -> Result<usize, CaseError> {
    match found {
        Found::One(i) => Ok(i),
        Found::Several(could_be) => Err(CaseError::Ambiguous {
            name: name.to_owned(),
            could_be,
        }),
        Found::None(near) => Err(CaseError::Unknown {
            what,
            name: name.to_owned(),
            near,
        }),
    }
}

impl Case {
    /// Works out a job.
    ///
    /// # Errors
    /// If an entry does not fit the rules; nothing of the job is lost.
    pub fn new(rules: &Rulebase, file: &CaseFile, settings: Settings) -> Result<Case, CaseError> {
        let mut case = Case::of_today(rules, file, settings)?;
        match case.unfit.is_empty() {
            true => Ok(case),
            false => Err(case.unfit.swap_remove(0).1),
        }
    }

    /// Works out a job of earlier days: what no longer fits the rules is told
    /// by [`Case::unfit`] and does not count.
    ///
    /// # Errors
    /// If the rules no longer know this kind of device, or what still fits
    /// cannot all be.
    pub fn of_today(
        rules: &Rulebase,
        file: &CaseFile,
        settings: Settings,
    ) -> Result<Case, CaseError> {
        Case::from(rules, file, settings, None)
    }

    /// Works out the same job with other entries under the same rules, as
    /// [`Case::of_today`] does. What takes longest, compiling the device, is done
    /// again only where an entry needs it.
    ///
    /// # Errors
    /// As for [`Case::of_today`].
    pub fn further(
        &self,
        rules: &Rulebase,
        file: &CaseFile,
        settings: Settings,
    ) -> Result<Case, CaseError> {
        Case::from(rules, file, settings, Some(&self.compiled))
    }

    fn from(
        rules: &Rulebase,
        file: &CaseFile,
        settings: Settings,
        before: Option<&Arc<Compiled>>,
    ) -> Result<Case, CaseError> {
        let mut unfit = Vec::new();
        let amended = Amended::of(&file.steps);
        let steps = amended.entries.clone();
        let mut history = file.history.clone();
        let later = steps.iter().enumerate();
        let mut later: Vec<(usize, &String)> = later
            .filter_map(|(n, e)| match e {
                Entry::History(id) => Some((n, id)),
                _ => None,
            })
            .collect();
        history.extend(later.iter().map(|(_, id)| (*id).clone()));
        history.sort();
        history.dedup();
        let whole = loop {
            match outline(rules, &file.device, &history) {
                Err(e @ CompileError::NoHistory(..)) => {
                    let CompileError::NoHistory(gone, _) = &e else {
                        continue;
                    };
                    history.retain(|h| h != gone);
                    let entry = later.iter().position(|l| l.1 == gone);
                    let entry = entry.map(|at| later.swap_remove(at).0);
                    unfit.push((entry, CaseError::Compile(e)));
                }
                compiled => break compiled?,
            }
        };
        let symptom_ids: Vec<String> = if file.symptoms.is_empty() {
            let heard = recognise(&whole, &file.complaint).into_iter();
            let mut heard: Vec<usize> = heard.map(|h| h.symptom).collect();
            if heard.is_empty() && !file.complaint.trim().is_empty() {
                heard.extend(whole.unheard);
            }
            let id = |s: usize| whole.symptoms[s].id.clone();
            heard.into_iter().map(id).collect()
        } else {
            let fits = |s: &String| match one(whole.symptom(s), "symptom", s) {
                Ok(_) => true,
                Err(e) => {
                    unfit.push((None, e));
                    false
                }
            };
            let mut all = file.symptoms.clone();
            all.retain(fits);
            all
        };
        let packs = packs_in_play(&whole, rules, &symptom_ids, &steps)?;
        let meter = BenchMeter::of(rules, file.meter.as_deref()).or_else(|e| {
            unfit.push((None, CaseError::Compile(e)));
            BenchMeter::of(rules, None)
        })?;
        let fits = |c: &&Arc<Compiled>| {
            (&c.device, &c.history, &c.packs, &c.meter)
                == (&file.device, &history, &packs, &file.meter)
        };
        let compiled = match before.filter(fits) {
            Some(compiled) => Arc::clone(compiled),
            None => Arc::new(Compiled {
                device: file.device.clone(),
                meter: file.meter.clone(),
                model: compile_for(rules, &file.device, &history, Some(&packs), &meter)?,
                history: history.clone(),
                packs,
            }),
        };
        let mut model = compiled.model.clone();
        Case::take_isolations(&mut model, steps.iter().filter_map(Entry::test));
        model.take_gate_checks();
        let mut case = Case {
            symptoms: Vec::new(),
            entered: Vec::new(),
            amended,
            shows: Vec::new(),
            void: Vec::new(),
            unexpected: Vec::new(),
            state: BenchState::default(),
            so_far: (0.0, 0.0),
            belief: Belief::default(),
            settings,
            history: History::default(),
            past: history.clone(),
            without: Vec::new(),
            out_of_reach: Vec::new(),
            blocked_tests: vec![false; model.tests.len()],
            unclear_tests: Vec::new(),
            blocked_remedies: vec![false; model.remedies.len()],
            planned: OnceCell::new(),
            plan_remedies: Vec::new(),
            retest: None,
            due: Vec::new(),
            checked: Gates::default(),
            against: Vec::new(),
            unfit,
            moves: Moves::new(&model.bench),
            last_remedy: None,
            advised: OnceCell::new(),
            disagreement: OnceCell::new(),
            alike: None,
            noticed: OnceCell::new(),
            compiled,
            model,
        };
        if file.limit.is_some() {
            case.settings.costs.limit = file.limit;
        }
        case.plan_around(&rules.without);
        for s in &symptom_ids {
            let i = one(case.model.symptom(s), "symptom", s)?;
            case.symptoms.push(i);
            let seen = Seen {
                finding: case.model.symptoms[i].finding.clone(),
                outcome: 1,
            };
            case.history.push(None, None, What::Seen(seen));
        }
        case.model.unsaid(&case.symptoms);
        for (test, blocked) in case.model.tests.iter().zip(&mut case.blocked_tests) {
            let complaint = case.symptoms.iter().map(|s| &case.model.symptoms[*s]);
            *blocked |= !test.suits(complaint);
        }
        case.out_of_reach = case.ruled_out_by_complaint();
        let heard = hazards(&case.model, &file.complaint);
        let ticked = |g: &Gate| g.history.iter().any(|h| history.contains(h));
        let gates = case.model.bench.gates.iter().enumerate();
        let ticked: Gates = gates.filter(|g| ticked(g.1)).map(|g| g.0).collect();
        case.state = case.state.gated(heard).gated(ticked);
        case.references(rules, &steps)?;
        for (n, entry) in steps.iter().enumerate() {
            case.shows.push(None);
            let entered = case.enter(rules, n, entry).unwrap_or_else(|e| {
                case.unfit.push((Some(n), e));
                Entered::Unfit
            });
            case.entered.push(entered);
        }
        case.see_siblings(0..case.model.lines.len())?;
        case.work_out();
        if case.belief.impossible {
            return Err(CaseError::Impossible);
        }
        case.isolate();
        Ok(case)
    }

    fn enter(&mut self, rules: &Rulebase, n: usize, entry: &Entry) -> Result<Entered, CaseError> {
        match entry {
            Entry::Note(_) => Ok(Entered::Other),
            Entry::Correct(c) => {
                let mut refused = self.amended.refused.iter();
                match refused.position(|r| r.0 == n) {
                    Some(at) => Err(self.amended.refused.swap_remove(at).1),
                    None => Ok(Entered::About(earlier(c.entry, n)?)),
                }
            }
            Entry::Sure(s) => self.confirm(n, s.entry),
            // Taken up before all else, since they hold for all of them.
            Entry::Reference(_) | Entry::History(_) => {
                Ok(match self.unfit.iter().any(|u| u.0 == Some(n)) {
                    true => Entered::Unfit,
                    false => Entered::Other,
                })
            }
            Entry::Meter(name) => {
                self.model.take(&BenchMeter::of(rules, Some(name))?)?;
                Ok(Entered::Other)
            }
            Entry::Cannot(c) => {
                match self.model.test(&c.test) {
                    Found::One(i) => {
                        self.blocked_tests[i] = true;
                        self.unclear_tests.retain(|t| *t != i);
                    }
                    found => match self.model.remedy(&c.test) {
                        Found::One(i) => self.blocked_remedies[i] = true,
                        _ => {
                            one(found, "test or remedy", &c.test)?;
                        }
                    },
                }
                Ok(Entered::Other)
            }
            Entry::Unclear(u) => {
                let i = one(self.model.test(&u.test), "test", &u.test)?;
                if !std::mem::replace(&mut self.blocked_tests[i], true) {
                    self.unclear_tests.push(i);
                }
                self.did(Act::Test(i));
                Ok(Entered::Other)
            }
            Entry::Remedy(d) => {
                let i = one(self.model.remedy(&d.did), "remedy", &d.did)?;
                let change = self.model.remedies[i].change.again(self.times_done(i));
                self.change(change, n, None);
                self.goes_against_gate(n, Act::Remedy(i));
                self.did(Act::Remedy(i));
                self.checked = Gates::default();
                self.out_of_reach.clear();
                self.last_remedy = Some(n);
                Ok(Entered::Remedy(i))
            }
            Entry::Result(r) => {
                let test = one(self.model.test(&r.test), "test", &r.test)?;
                if let Some(m) = self.model.tests[test].measures {
                    self.see_siblings(m.line..m.line + 1)?;
                }
                let other = r
                    .as_it_stands
                    .then(|| self.model.test_in(test, self.state.conditions()));
                let other = other.flatten();
                let t = other.as_ref().unwrap_or(&self.model.tests[test]);
                let reversed = reading::is_reversed(&r.shows, &Asked::by(t));
                let turned = reversed.then(|| self.model.test_turned(t)).flatten();
                let t = turned.as_ref().unwrap_or(t);
                let outcome = outcome_of(t, &r.shows)?;
                if reversed && turned.is_none() {
                    self.void.push((n, reading::SWAPPED.to_owned()));
                    return Ok(Entered::Void);
                }
                // With another meter the same test may come out in other ways.
                self.shows[n] = Some(t.outcomes[outcome].clone());
                let (before, after) = (t.before.clone(), t.after.clone());
                if other.is_some() {
                    self.so_far.0 += t.step.minutes;
                }
                let what = self.shown(t, outcome, &r.shows);
                if other.is_some()
                    && let Some(d) = self.as_it_stands(test).iter().find(|d| d.why.is_power())
                {
                    self.void.push((n, d.says.clone()));
                    return Ok(Entered::Void);
                }
                self.history.supersede(&self.model, test, what.turned());
                if let Some(c) = before {
                    self.change(c, n, Some(test));
                }
                self.history.push(Some(n), Some(test), what);
                if let Some(c) = after {
                    self.change(c, n, Some(test));
                }
                self.goes_against_gate(n, Act::Test(test));
                let t = other.as_ref().or(turned.as_ref());
                let t = t.unwrap_or(&self.model.tests[test]);
                let value = measured(t, &r.shows)?;
                let turns = match value {
                    Some(_) => t.turns(outcome, value),
                    None => t.turns_by_word(outcome),
                };
                if other.is_none() {
                    self.did(Act::Test(test));
                }
                self.state = self.state.turned(turns);
                let proves = self.model.tests[test].proves;
                let complained = proves.is_some_and(|f| self.complaint_functions().contains(&f));
                let works = match proves {
                    Some(_) => self.model.tests[test].passed(outcome),
                    None => outcome == 0,
                };
                if works && (complained || self.beyond(&self.model.tests[test].step)) {
                    self.out_of_reach.clear();
                } else if complained {
                    self.out_of_reach = self.ruled_out_by_complaint();
                }
                // Its own check tells whether it is still there.
                self.checked = match self.model.tests[test].checks {
                    Some(gate) => self.checked.with(gate, outcome > 0),
                    None => turns
                        .raises
                        .iter()
                        .fold(self.checked, |c, g| c.with(g, false)),
                };
                // A value that raises a gate is as good as its check. One that no longer
                // does, and a word, ask for it.
                let readings = self.model.tests[test].raises.iter();
                let readings = readings.filter(|s| s.below.is_some());
                for gate in readings.map(|s| s.gate) {
                    if self.state.gates().has(gate) {
                        let low = value.is_some() && turns.raises.has(gate);
                        self.checked = self.checked.with(gate, low);
                    }
                }
                Ok(Entered::Result { test, outcome })
            }
        }
    }

    /// Takes a result, by its entry from 1, for one that was seen once more.
    fn confirm(&mut self, n: usize, entry: usize) -> Result<Entered, CaseError> {
        let at = earlier(entry, n)?;
        // What was measured again was another result than the one that counts.
        if self.amended.by(at).is_some_and(|by| by > n) {
            return Ok(Entered::Other);
        }
        let not = |why| CaseError::NotSure { entry, why };
        let Entered::Result { test, .. } = self.entered[at] else {
            return Err(not("it is no result that counts"));
        };
        if !self.history.seen_again(&self.model, test, at) {
            return Err(not(
                "the test was repeated since, or the device was worked on; enter what it shows now",
            ));
        }
        match &self.amended.entries[at] {
            // The bench was not made ready for it, then and now.
            Entry::Result(r) if r.as_it_stands => {
                self.so_far.0 += self.model.tests[test].step.minutes;
            }
            _ => self.did(Act::Test(test)),
        }
        Ok(Entered::About(at))
    }

    /// An entry, from 0, as it was corrected; `None` if it was not.
    pub fn corrected(&self, entry: usize) -> Option<&Entry> {
        self.amended.by(entry)?;
        self.amended.entries.get(entry)
    }

    /// The entry that corrected one last, both from 0.
    pub fn corrected_in(&self, entry: usize) -> Option<usize> {
        self.amended.by(entry)
    }

    /// Whether an entry, from 0, was taken for one that never was.
    pub fn struck(&self, entry: usize) -> bool {
        self.amended.struck(entry)
    }

    /// The last result that counts, by its entry from 0.
    pub fn last_result(&self) -> Option<usize> {
        self.results().into_iter().flatten().max()
    }

    /// What a result is for the belief; `shows` is how it was typed.
    fn shown(&self, t: &TestInfo, outcome: usize, shows: &str) -> What {
        // A number says more than the range it falls into.
        let read = match reading::value(shows, &Asked::by(t)) {
            Some(v) if v.is_finite() => Read::Number(Reading::Value(v)),
            Some(_) => Read::Number(Reading::OL),
            None => Read::Word(outcome),
        };
        let rounded = reading::rounded(shows, &Asked::by(t));
        match self.model.taken_rounded(t, read, rounded) {
            Some(taken) => What::Read(taken),
            None => What::Seen(Seen {
                finding: t.finding.clone(),
                outcome,
            }),
        }
    }

    fn change(&mut self, c: Change, entry: usize, test: Option<usize>) {
        self.history.push(Some(entry), test, What::Changed(c));
    }

    /// Takes up what good boards read, whenever it was entered: it is knowledge
    /// of the model, and no evidence on this device.
    fn references(&mut self, rules: &Rulebase, steps: &[Entry]) -> Result<(), CaseError> {
        let mut meter = self.model.meter.clone();
        let mut lines = Vec::new();
        for (n, entry) in steps.iter().enumerate() {
            match entry {
                Entry::Meter(name) => {
                    meter = BenchMeter::of(rules, Some(name)).unwrap_or(meter);
                }
                Entry::Reference(r) => match self.refer(rules, &meter, (n, r)) {
                    Ok(line) => lines.push(line),
                    Err(e) => self.unfit.push((Some(n), e)),
                },
                _ => {}
            }
        }
        Ok(self.model.foretell_lines(&lines)?)
    }

    /// Takes up what one good board reads, by the entry; gives the line.
    fn refer(
        &mut self,
        rules: &Rulebase,
        meter: &BenchMeter,
        (n, r): (usize, &Reference),
    ) -> Result<usize, CaseError> {
        let test = one(self.model.test(&r.test), "test", &r.test)?;
        let t = &self.model.tests[test];
        let Some(at) = t.measures else {
            return Err(CaseError::NoLine(t.id.clone()));
        };
        if r.from.trim().is_empty() {
            return Err(CaseError::Nobodys);
        }
        let with = match &r.meter {
            Some(name) => BenchMeter::of(rules, Some(name))?,
            None => meter.clone(),
        };
        let refused = |why: &str| CaseError::NoReading {
            test: t.id.clone(),
            shows: r.reads.trim().to_owned(),
            why: why.to_owned(),
        };
        let value = match measured(t, &r.reads)? {
            Some(_) if reading::is_rough(&r.reads, &Asked::by(t)) => {
                return Err(refused("type the very number, read the usual way round"));
            }
            Some(v) if v.is_finite() => v,
            Some(_) => {
                return Err(refused("OL says nothing of what a good board is like"));
            }
            None => return Err(refused("it is no value")),
        };
        let (id, good) = (t.id.clone(), t.good_reads());
        let reads = shown(value, t.unit.as_deref().unwrap_or_default());
        match self.model.refer(at, value, &with.meter, r.from.trim()) {
            Ok(false) => Ok(at.line),
            Ok(true) => {
                self.unexpected.push((
                    n,
                    format!(
                        "{reads} is not what these rules expect of a good board in `{id}` \
                         ({good}); a good board goes before the rules, so it counts; see once \
                         more whether it is the same point, mode and model"
                    ),
                ));
                Ok(at.line)
            }
            Err(CalibrateError::Solve(why)) => Err(CaseError::Compile(CompileError::Line {
                line: self.model.lines[at.line].id.clone(),
                why,
            })),
            Err(_) => Err(CaseError::NotGood {
                test: id,
                reads: r.reads.trim().to_owned(),
                good,
            }),
        }
    }

    /// Takes up what was read on the siblings of lines, so that what is foretold
    /// of them rests on it.
    fn see_siblings(&mut self, lines: std::ops::Range<usize>) -> Result<(), CaseError> {
        let mut changed = Vec::new();
        for line in lines {
            let seen = self.history.seen(&self.model, line);
            if self.model.lines[line].see(seen) {
                changed.push(line);
            }
        }
        Ok(self.model.foretell_lines(&changed)?)
    }

    /// A step was done, the bench made ready for it.
    fn did(&mut self, act: Act) {
        let step = match act {
            Act::Test(i) => &self.model.tests[i].step,
            Act::Remedy(i) => &self.model.remedies[i].step,
        };
        let there = self.model.bench.reach(self.state, &step.conditions);
        self.state = there.to;
        self.so_far.0 += step.minutes + there.minutes;
        self.so_far.1 += step.parts;
    }

    fn work_out(&mut self) {
        self.belief = self.believed(&self.history);
        let remedies = self.model.remedies.iter().zip(&self.blocked_remedies);
        self.plan_remedies = (remedies.enumerate())
            .map(|(i, (r, blocked))| {
                let open = !blocked && !self.beyond(&r.step);
                open.then(|| plan_remedy(&self.model, r, self.times_done(i)))
            })
            .collect();
        self.retest = self
            .complaint_functions()
            .iter()
            .filter_map(|f| self.proof_of(*f))
            .next()
            .map(|t| &self.model.tests[t])
            .map(|t| plan_test(&self.model, t, &t.foretold, &[]));
        let checks = self.gates_up();
        let checks: Vec<usize> = checks
            .filter(|(gate, _)| !self.found(*gate))
            .map(|(_, test)| test)
            .collect();
        let retests = match self.may_close_as_mended() {
            Closed::Retests(due) => due,
            _ => Vec::new(),
        };
        let proves = |t: &usize| self.model.tests[*t].checks.is_none();
        let retests = retests.into_iter().filter(proves);
        self.due = checks.into_iter().chain(retests).collect();
    }

    /// How many times a result, by its place, was seen, and whether it is a word.
    pub(super) fn times(&self, place: usize) -> Option<(i32, bool)> {
        self.history.times(place)
    }

    fn believed(&self, history: &History) -> Belief {
        let events = history.events(&self.model, |_| true);
        let belief = update(&self.model.network, &events.all, self.settings.size);
        events.in_order(belief)
    }

    /// The tests as the planner sees them. What was read of a line tells what
    /// else is going to be read of it.
    fn planned(&self) -> Planned {
        let m = &self.model;
        let standing: Vec<Vec<Taken>> = (0..m.lines.len())
            .map(|line| self.history.standing_readings(m, line))
            .collect();
        let open: Vec<bool> = (0..m.tests.len())
            .map(|i| !self.blocked(i) && (!self.done(i) || self.due.contains(&i)))
            .collect();
        // Where nothing was read yet, words do for a first answer, but not where a
        // value may be the sign of a hazard.
        let in_words = self.settings.effort == Effort::FIRST;
        let wanted = |(i, open): (usize, &bool)| -> Option<(usize, &[Taken])> {
            let taken = &standing[m.tests[i].measures.filter(|_| *open)?.line];
            let words_do = taken.is_empty() && in_words && !warns(&m.tests[i]);
            (!words_do).then_some((i, taken))
        };
        let wanted: Vec<_> = open.iter().enumerate().map(wanted).collect();
        let believed = &self.belief.faults;
        let foretold: Vec<Option<Foretold>> = (wanted.par_iter().with_max_len(4))
            .map(|w| w.and_then(|(i, taken)| m.foretold_after(i, taken, believed)))
            .collect();
        let open_now = &open;
        let planned = |((t, open), foretold): ((&TestInfo, bool), Option<Foretold>)| {
            let (finding, ranges) = foretold.map_or_else(
                || (t.foretold.clone(), Vec::new()),
                |f| (f.finding, f.ranges),
            );
            let after = |a: &usize| open_now[*a];
            let test = open.then(|| PlanTest {
                after: t.comes_after.iter().copied().filter(after).collect(),
                ..plan_test(m, t, &finding, &ranges)
            });
            (test, ranges)
        };
        m.tests
            .iter()
            .zip(open.iter().copied())
            .zip(foretold)
            .map(planned)
            .unzip()
    }

    fn plan(&self) -> &Planned {
        self.planned.get_or_init(|| self.planned())
    }

    /// What the planner takes for one outcome of a test: the outcome, and where
    /// it is only a range of that one's values, which.
    pub fn foreseen(&self, test: usize, outcome: usize) -> (usize, Option<(f64, f64)>) {
        let ranges = &self.plan().1[test];
        let Some(range) = ranges.get(outcome) else {
            return (outcome, None);
        };
        let alone = ranges.iter().filter(|r| r.outcome == range.outcome).count() == 1;
        (range.outcome, (!alone).then_some(range.between))
    }

    /// What does not fit the rules of today: the entry, from 0 (`None` for
    /// what was taken in at intake), and why.
    pub fn unfit(&self) -> &[(Option<usize>, CaseError)] {
        &self.unfit
    }

    /// Results that are kept and not counted, taken in a bench condition in which
    /// they mean nothing or with the leads swapped: the entry, from 0, and why in
    /// a sentence.
    pub fn void(&self) -> &[(usize, String)] {
        &self.void
    }

    /// What counts though the rules expect something else of a good board: the
    /// entry, from 0, and a sentence.
    pub fn unexpected(&self) -> &[(usize, String)] {
        &self.unexpected
    }

    /// Why a reading of a test is not to be trusted, taken as the device stands.
    pub fn as_it_stands(&self, test: usize) -> Vec<Distrust> {
        self.distrust_in(test, self.state)
    }

    /// The same, taken as the test wants it.
    pub fn made_ready(&self, test: usize) -> Vec<Distrust> {
        let conditions = &self.model.tests[test].step.conditions;
        self.distrust_in(test, self.model.bench.reach(self.state, conditions).to)
    }

    fn distrust_in(&self, test: usize, state: BenchState) -> Vec<Distrust> {
        let m = &self.model;
        m.tests[test].measures.map_or_else(Vec::new, |x| {
            m.lines[x.line].distrust(x.probing, state, m.bench.power(state))
        })
    }

    /// What an entry, from 0, showed in words; `None` if it is no result.
    pub fn says(&self, entry: usize) -> Option<&str> {
        self.outcome(entry).map(|o| o.says.as_str())
    }

    /// The outcome that an entry, from 0, was; `None` if it is no result.
    pub fn outcome(&self, entry: usize) -> Option<&OutcomeInfo> {
        self.shows.get(entry)?.as_ref()
    }

    /// Why an entry, from 0, does not fit; takes it out of [`Case::unfit`].
    pub(crate) fn refused(&mut self, entry: usize) -> Option<CaseError> {
        let at = self.unfit.iter().position(|u| u.0 == Some(entry))?;
        Some(self.unfit.remove(at).1)
    }

    /// Tests that have to pass before the job counts as mended and have not
    /// been done since the last remedy, by index; those of the complaint first.
    pub fn retests_due(&self) -> &[usize] {
        &self.due
    }

    /// The functions whose loss is complained of, by index.
    pub fn complaint_functions(&self) -> Vec<usize> {
        proof::complained(&self.model, &self.symptoms)
    }

    /// Bench conditions, by index, that a device with this complaint does not reach.
    fn ruled_out_by_complaint(&self) -> Vec<usize> {
        let symptoms = self.symptoms.iter();
        let all = symptoms.flat_map(|s| &self.model.symptoms[*s].rules_out);
        all.copied().collect()
    }

    /// The test that proves a function; one that cannot be done only if there is
    /// no other.
    fn proof_of(&self, function: usize) -> Option<usize> {
        proof::of(&self.model, function, |t| self.blocked_tests[t])
    }

    /// What the planner works on.
    pub fn situation(&self) -> Situation<'_> {
        Situation {
            faults: self.model.network.len(),
            candidates: &self.belief.candidates,
            tests: &self.plan().0,
            remedies: &self.plan_remedies,
            retest: self.retest.as_ref(),
            due: &self.due,
            moves: &self.moves,
            so_far: self.settings.costs.paid(self.so_far.0, self.so_far.1),
            state: self.state,
            costs: self.settings.costs,
        }
    }

    /// The next steps, best first.
    pub fn advice(&self, many: usize) -> Advice {
        let ask = |many| {
            let mut advice = advise(&self.situation(), many, self.settings.effort);
            for step in &mut advice.steps {
                if let Act::Test(t) = step.act {
                    step.outcomes = self.in_words(t, &step.outcomes);
                }
            }
            self.sensible_first(&mut advice);
            advice
        };
        if many > CHOSEN_FROM {
            return ask(many);
        }
        let mut advice = self.advised.get_or_init(|| ask(CHOSEN_FROM)).clone();
        advice.steps.truncate(many);
        advice
    }

    /// The chance of each outcome of a test, given that of each that the planner
    /// sees.
    fn in_words(&self, test: usize, chances: &[f64]) -> Vec<f64> {
        let mut words = vec![0.0; self.model.tests[test].outcomes.len()];
        for (k, chance) in chances.iter().enumerate() {
            words[self.foreseen(test, k).0] += chance;
        }
        words
    }

    /// The result that would change the order of the suspects most.
    pub fn turn(&self) -> Option<Turn> {
        turning_point(&self.situation())
    }

    /// Conflict of the results, in bits.
    pub fn conflict(&self) -> f64 {
        *self.disagreement.get_or_init(|| {
            let given = self.symptoms.len();
            let results = self.results().len();
            conflict_among(&self.model.network, results, given, |keep| {
                self.events(keep)
            })
        })
    }

    /// The events with only some of the results, by their places.
    pub(super) fn events(&self, keep: &dyn Fn(usize) -> bool) -> Vec<Event> {
        self.history.events(&self.model, keep).all
    }

    /// What the belief is told of this job, in order.
    pub fn told(&self) -> Vec<Event> {
        self.events(&|_| true)
    }

    /// For a suspect, what each result in force did: entry number (`None` for
    /// the complaint's symptoms, in order) and factor on the odds.
    pub fn weights(&self, fault: usize) -> Vec<(Option<usize>, f64)> {
        let entries = self.results();
        let network = &self.model.network;
        weights_among(network, entries.len(), fault, |keep| self.events(keep))
            .into_iter()
            .map(|w| (entries[w.result], w.factor))
            .collect()
    }

    /// Entry number of each result in force, `None` for the complaint; in the
    /// order of [`Belief::misread`].
    pub fn results(&self) -> Vec<Option<usize>> {
        self.history.results().collect()
    }

    /// The readings of a line that are in force, by index, each with its entry.
    pub(super) fn readings(&self, line: usize) -> impl Iterator<Item = (usize, &Taken)> {
        self.history.readings(line)
    }

    /// Probability that a fault was there when a remedy was begun, all that was
    /// seen before and after considered.
    pub fn was_there(&self, remedy: usize, fault: usize) -> f64 {
        let events = self.history.events(&self.model, |_| true);
        let Some(at) = events.changed_in(remedy) else {
            return 0.0;
        };
        // As if it had been seen just then, by a look that cannot err.
        let mut events = events.all;
        events.insert(
            at,
            Event::Seen(Seen {
                finding: Finding::yes_no(0.0, &[(fault, 1.0)], 0.0).into(),
                outcome: 1,
            }),
        );
        let with = update(&self.model.network, &events, self.settings.size);
        if with.impossible {
            return 0.0;
        }
        (with.evidence_log2 - self.belief.evidence_log2)
            .exp2()
            .clamp(0.0, 1.0)
    }

    /// The readings of a line, by index, since something was last done about it.
    pub(super) fn standing(&self, line: usize) -> Vec<Taken> {
        self.history.standing_readings(&self.model, line)
    }

    /// Adds a test to those of the device; gives its index.
    pub(super) fn add_test(&mut self, test: TestInfo) -> usize {
        let at = self.model.tests.len();
        self.model.tests.push(test);
        let lacks = self.lacks(Act::Test(at)).is_some();
        self.blocked_tests.push(lacks);
        at
    }

    /// Says so if a gate that is up bars a step that was done.
    fn goes_against_gate(&mut self, n: usize, act: Act) {
        let target = match act {
            Act::Test(i) => self.model.target_of_test(&self.model.tests[i]),
            Act::Remedy(i) => self.model.target_of_remedy(&self.model.remedies[i]),
        };
        for gate in self.state.bars(target).iter() {
            let g = &self.model.bench.gates[gate];
            let says = format!(
                "done although there was a sign of a hazard ({}), which bars {}",
                g.name,
                self.barred_acts(gate)
            );
            self.against.push((n, says));
        }
    }

    /// What a gate bars, in words.
    pub fn barred_acts(&self, gate: usize) -> String {
        let bench = &self.model.bench;
        let acts = bench.gates[gate].bars.iter();
        let acts: Vec<String> = acts.map(|a| bench.acts[*a].id.replace('-', " ")).collect();
        match acts.split_last() {
            Some((last, others)) if !others.is_empty() => {
                format!("{} or {last}", others.join(", "))
            }
            _ => acts.concat(),
        }
    }

    /// Results that were entered although a gate bars their test: the entry, from
    /// 0, and why.
    pub fn against_gates(&self) -> &[(usize, String)] {
        &self.against
    }

    /// The gates that are up, each with the test that lifts it.
    pub fn gates_up(&self) -> impl Iterator<Item = (usize, usize)> {
        let test = |gate| {
            let mut tests = self.model.tests.iter();
            Some((gate, tests.position(|t| t.checks == Some(gate))?))
        };
        self.state.gates().iter().filter_map(test)
    }

    /// Whether the check of a gate found the hazard and nothing was done about it
    /// since.
    pub fn found(&self, gate: usize) -> bool {
        self.checked.has(gate)
    }

    /// Whether the last result of a test still holds.
    pub fn done(&self, test: usize) -> bool {
        self.history.holds(&self.model, test)
    }

    /// How many times a remedy was done.
    fn times_done(&self, remedy: usize) -> usize {
        let same = |e: &&Entered| matches!(e, Entered::Remedy(r) if *r == remedy);
        self.entered.iter().filter(same).count()
    }

    /// Rules out what needs something that the shop is without.
    fn plan_around(&mut self, without: &[String]) {
        self.without = without.to_vec();
        for i in 0..self.model.tests.len() {
            self.blocked_tests[i] = self.lacks(Act::Test(i)).is_some();
        }
        for i in 0..self.model.remedies.len() {
            self.blocked_remedies[i] = self.lacks(Act::Remedy(i)).is_some();
        }
    }

    /// What a step needs that the shop is without.
    pub fn lacks(&self, act: Act) -> Option<&str> {
        let without = |tool: &str| {
            let mut all = self.without.iter();
            all.any(|w| w.trim().eq_ignore_ascii_case(tool))
        };
        let swaps = matches!(act, Act::Test(i) if self.model.tests[i].kind == Kind::Swap);
        let step = self.model.named(act).step;
        if swaps && without(DONOR_PARTS) {
            return Some(DONOR_PARTS);
        }
        // `hot air or fine iron`: one of them will do.
        let tools = step.tools.iter().map(String::as_str);
        tools.into_iter().find(|t| t.split(" or ").all(without))
    }

    /// Whether a test has been ruled out or left unclear. A retest that was
    /// unclear stays open: without it the job cannot be closed as mended.
    pub fn blocked(&self, test: usize) -> bool {
        let again = self.unclear_tests.contains(&test) && self.due.contains(&test);
        self.blocked_tests[test] && !again || self.beyond(&self.model.tests[test].step)
    }

    /// Whether a step needs what the device does not do by its complaint: one
    /// that does not start shows no menu.
    pub fn beyond(&self, step: &Step) -> bool {
        let needed = self.model.bench.closure(&step.conditions);
        self.out_of_reach.iter().any(|c| needed.contains(c))
    }

    /// What a reading can tell about each fault of its line; `None` if the
    /// test does not measure a line.
    pub fn can_tell(&self, test: usize) -> Option<CanTell> {
        let m = &self.model;
        let measures = m.tests[test].measures?;
        let line = &m.lines[measures.line];
        let forecast = line.forecast(measures.probing).ok()?;
        let words = |r: Reading| match r {
            Reading::Value(v) => line.displayed(measures.probing.mode, v),
            Reading::OL => "OL".to_owned(),
        };
        // Others that measure the same line, the quickest first.
        let mut others: Vec<usize> = (0..m.tests.len())
            .filter(|t| {
                m.tests[*t]
                    .measures
                    .is_some_and(|x| x.line == measures.line)
            })
            .collect();
        others.sort_by(|a, b| {
            m.tests[*a]
                .step
                .minutes
                .total_cmp(&m.tests[*b].step.minutes)
        });
        let sees = |t: usize, fault: usize| {
            let of = m.tests[t]
                .measures
                .and_then(|x| line.forecast(x.probing).ok());
            of.is_some_and(|f| {
                let told = f.tells().into_iter().find(|x| x.fault == fault);
                told.is_some_and(|x| x.visibility.is_seen())
            })
        };
        // Where no reading of the line can: the measurement that shows the fault
        // and the fewest others.
        const OTHERS: usize = 12;
        let sees_few = |t: &TestInfo| t.finding.sees().count();
        let shows = |t: &&TestInfo, fault: usize| {
            t.measures.is_none()
                && matches!(t.kind, Kind::Measure | Kind::Continuity)
                && sees_few(t) <= OTHERS
                && t.finding.likelihood(0, &[fault]) < 0.5
                && t.finding.likelihood(0, &[]) > 0.5
        };
        let elsewhere = |fault: usize| {
            let all = m.tests.iter().filter(|t| shows(t, fault));
            all.min_by_key(|t| sees_few(t))
        };
        let mut faults: Vec<(f64, CanTellFault)> = forecast
            .tells()
            .into_iter()
            .filter_map(|t| {
                let (_, fault) = line.faults.iter().find(|f| f.0 == t.fault)?;
                let seen = t.visibility.is_seen();
                let other = (others.iter().copied()).find(|o| !seen && sees(*o, t.fault));
                let other = other.map(|o| &m.tests[o]);
                let other = other.or_else(|| elsewhere(*fault).filter(|_| !seen));
                let view = CanTellFault {
                    fault: m.faults[*fault].id.clone(),
                    name: m.faults[*fault].name.clone(),
                    reads: words(t.typical),
                    shift: t.visibility.shift,
                    seen,
                    seen_by: other.map(|o| o.id.clone()),
                };
                Some((self.belief.faults[*fault], view))
            })
            .collect();
        faults.sort_by(|a, b| likelier(a.0, b.0));
        let (rests_on, rests_on_says) = self.rests_on(line, measures.probing);
        Some(CanTell {
            good: words(forecast.good.typical()),
            rests_on: rests_on.to_owned(),
            rests_on_says,
            faults: faults.into_iter().map(|f| f.1).collect(),
        })
    }

    /// What a forecast rests on, for programs and in words.
    fn rests_on(&self, line: &LineInfo, probing: Probing) -> (&'static str, String) {
        let reads = |r: &GoodReading| {
            let place = &line.line.points[r.probing.point].name;
            let value = shown(r.value, r.probing.mode.unit());
            match r.probing.mode {
                _ if r.probing.turned => format!("{value} with the leads swapped at the {place}"),
                MeterMode::Diode => format!("{value} in diode mode at the {place}"),
                MeterMode::Volts | MeterMode::Ohms => format!("{value} at the {place}"),
            }
        };
        match line.rests_on(probing) {
            RestsOn::GoodBoards(all) => {
                let all: Vec<String> = all
                    .iter()
                    .map(|r| format!("{} ({})", reads(&r.reading), r.from))
                    .collect();
                let says = format!("a good board of the model reads {}", all.join(", "));
                ("good-board", says)
            }
            RestsOn::Siblings(all) => {
                let all: Vec<String> = all
                    .iter()
                    .map(|s| {
                        let id = &self.model.tests[s.test].id;
                        let value = shown(s.reading.value, s.reading.probing.mode.unit());
                        format!(
                            "{id} reads {value}, taken for well with {}",
                            percent(s.well)
                        )
                    })
                    .collect();
                let says = format!(
                    "a line of this board that is built alike: {}",
                    all.join(", ")
                );
                ("sibling", says)
            }
            RestsOn::Practice => (
                "practice",
                "what is usual; what a good board of the model reads here would narrow it \
                 (`reference`)"
                    .to_owned(),
            ),
        }
    }

    /// Whether a remedy has been ruled out.
    pub fn ruled_out(&self, remedy: usize) -> bool {
        self.blocked_remedies[remedy]
    }

    /// The belief if a test came out in some way.
    pub fn what_if(&self, test: usize, outcome: usize) -> Belief {
        let t = &self.model.tests[test];
        let mut history = self.history.clone();
        history.supersede(&self.model, test, false);
        let mut add = |what| history.push(None, Some(test), what);
        t.before.clone().map(What::Changed).map(&mut add);
        add(self.shown(t, outcome, &t.outcomes[outcome].id));
        t.after.clone().map(What::Changed).map(&mut add);
        self.believed(&history)
    }

    /// Functions that have to pass before the job counts as mended: those
    /// complained of, and those that share the items worked on; one that is
    /// contained in another is proved by it.
    pub fn to_prove(&self) -> Vec<usize> {
        let mut worked: Vec<usize> = Vec::new();
        for e in &self.entered {
            if let Entered::Remedy(r) = e {
                worked.extend(proof::worked_on(&self.model, *r));
            }
        }
        proof::due(
            &self.model,
            &self.complaint_functions(),
            &worked,
            |f| self.proof_of(f).is_some(),
            |big, small| proof::contains(&self.model, big, small),
        )
    }

    /// The last try of a function after an entry: the test, and whether it passed.
    fn tried_since(&self, entry: usize, function: usize) -> Option<(usize, bool)> {
        self.entered[entry + 1..]
            .iter()
            .rev()
            .find_map(|e| match e {
                Entered::Result { test, outcome }
                    if self.model.tests[*test].proves == Some(function) =>
                {
                    Some((*test, self.model.tests[*test].passed(*outcome)))
                }
                _ => None,
            })
    }

    /// Functions that have passed a try after the last remedy.
    pub fn proved(&self) -> Vec<usize> {
        let Some(last) = self.last_remedy else {
            return Vec::new();
        };
        (0..self.model.functions.len())
            .filter(|f| matches!(self.tried_since(last, *f), Some((_, true))))
            .collect()
    }

    /// A test that is still to be done before another one, by index.
    pub fn before(&self, test: usize) -> Option<usize> {
        let mut all = self.model.tests[test].comes_after.iter().copied();
        all.find(|t| !self.blocked(*t) && !self.done(*t))
    }

    /// What the device has been through, by the questions answered with yes.
    pub fn past(&self) -> &[String] {
        &self.past
    }

    /// The item in whose place a known-good part was put by the last step, by
    /// index, if that was a swap with a result.
    pub fn part_tried(&self) -> Option<usize> {
        match self.entered.last()? {
            Entered::Result { test, .. } => self.model.tests[*test].swaps_in,
            _ => None,
        }
    }

    /// The remedy that fits a new part in place of an item, by index: it clears
    /// every listed fault of it and the fewest others.
    pub fn fits_part(&self, item: usize) -> Option<usize> {
        let m = &self.model;
        let listed = m.items[item].faults.iter();
        let listed: Vec<usize> = listed.copied().filter(|f| !m.faults[*f].unlisted).collect();
        let clears = |r: &RemedyInfo, f: usize| r.change.clears.iter().any(|(g, _)| *g == f);
        (0..m.remedies.len())
            .filter(|r| listed.iter().all(|f| clears(&m.remedies[*r], *f)))
            .min_by_key(|r| m.remedies[*r].change.clears.len())
    }

    /// Whether the device is repaired and every retest has passed, with nothing
    /// said against it: closing the job is what is left.
    pub fn is_proved(&self) -> bool {
        self.may_close_as_mended() == Closed::Ready && self.belief.nothing >= LIKELY
    }

    /// Whether the job may be closed as mended.
    pub fn may_close_as_mended(&self) -> Closed {
        let Some(last) = self.last_remedy else {
            return Closed::NothingDone;
        };
        let mut due: Vec<usize> = self.gates_up().map(|(_, test)| test).collect();
        for f in self.to_prove() {
            match self.tried_since(last, f) {
                Some((_, true)) => {}
                Some((test, false)) => return Closed::StillFails(test),
                None => due.extend(self.proof_of(f)),
            }
        }
        due.dedup();
        if due.is_empty() {
            Closed::Ready
        } else {
            Closed::Retests(due)
        }
    }
}

/// A value in the middle of a range; none of over limit.
fn middle((from, to): (f64, f64)) -> Option<f64> {
    match (from.is_finite(), to.is_finite()) {
        (true, true) => Some(0.5 * (from + to)),
        (true, false) => Some(from),
        (false, true) => Some(to),
        (false, false) => None,
    }
}

/// What the ranges of a test's values do to gates.
fn turns_of(t: &TestInfo, ranges: &[Range]) -> Vec<Turns> {
    let turns = |r: &Range| t.turns(r.outcome, middle(r.between));
    ranges.iter().map(turns).collect()
}

/// Whether a value that a test reads may be a sign of a hazard.
fn warns(t: &TestInfo) -> bool {
    t.raises.iter().any(|s| s.below.is_some())
}

/// What the words of a test do to gates where a value decides: what most of the
/// values of the word do, as sets of faults have it. `None` where no value does
/// anything.
pub(crate) fn turns_in_words(m: &Model, test: usize, belief: &Belief) -> Option<Vec<Turns>> {
    let t = &m.tests[test];
    let foretold = m.foretold_after(test, &[], &belief.faults);
    let Foretold { finding, ranges } = foretold.filter(|_| warns(t))?;
    let outlook = Outlook::new(m.network.len(), &finding);
    let chances = foretell(&belief.candidates, &outlook).outcomes;
    let turns = turns_of(t, &ranges);
    let of_word = |word: usize| {
        let mut all: Vec<(Turns, f64)> = Vec::new();
        let of = ranges.iter().zip(&turns).zip(&chances);
        for ((_, turns), chance) in of.filter(|((r, _), _)| r.outcome == word) {
            match all.iter_mut().find(|x| x.0 == *turns) {
                Some(same) => same.1 += chance,
                None => all.push((*turns, *chance)),
            }
        }
        let most = all.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        most.map_or_else(Turns::default, |m| m.0)
    };
    Some((0..t.outcomes.len()).map(of_word).collect())
}

/// A test as the planner sees it, where it is foretold so.
pub(crate) fn plan_test(
    m: &Model,
    t: &TestInfo,
    finding: &Arc<Finding>,
    ranges: &[Range],
) -> PlanTest {
    let turns = match ranges {
        [] => (t.outcomes.iter().enumerate())
            .map(|(o, info)| t.turns(o, info.between.and_then(middle)))
            .collect(),
        ranges => turns_of(t, ranges),
    };
    PlanTest {
        turns,
        outlook: Arc::new(Outlook::new(m.network.len(), finding)),
        minutes: t.step.minutes,
        conditions: m.target_of_test(t),
        handy: m.handy(&t.step),
        after: Vec::new(),
    }
}

/// A remedy as the planner sees it that was done so many times.
pub(crate) fn plan_remedy(m: &Model, r: &RemedyInfo, times: usize) -> PlanRemedy {
    PlanRemedy {
        clears: r.change.again(times).clears,
        minutes: r.step.minutes,
        parts: r.step.parts,
        breaks: r.change.breaks(),
        conditions: m.target_of_remedy(r),
        handy: m.handy(&r.step),
    }
}

/// Packs that the complaint or an entry speaks of; all if there is no complaint.
fn packs_in_play(
    whole: &Model,
    rules: &Rulebase,
    symptoms: &[String],
    steps: &[Entry],
) -> Result<InPlay, CaseError> {
    let mut packs: Vec<String> = Vec::new();
    for s in symptoms {
        let i = one(whole.symptom(s), "symptom", s)?;
        packs.push(whole.symptoms[i].pack.clone());
    }
    if packs.is_empty() {
        return Ok(InPlay {
            packs: whole.packs.clone(),
            joined: Vec::new(),
        });
    }
    let pack = |id: &String| rules.packs.iter().find(|r| r.id == *id);
    let unheard = packs
        .iter()
        .all(|p| pack(p).is_some_and(|p| p.unheard.is_some()));
    let complained_of = packs.clone();
    for e in steps {
        let name = match e {
            Entry::Result(r) => r.test.as_str(),
            Entry::Remedy(d) => d.did.as_str(),
            Entry::Reference(r) => r.test.as_str(),
            _ => continue,
        };
        let last = name.rsplit('/').next().unwrap_or(name);
        let head = name.split('/').next().unwrap_or("");
        let owners: Vec<&str> = rules
            .packs
            .iter()
            .filter(|p| {
                p.tests.iter().any(|t| t.id == last) || p.remedies.iter().any(|r| r.id == last)
            })
            .map(|p| p.id.as_str())
            .collect();
        let owner = match owners.as_slice() {
            [one] => Some(*one),
            many => many.iter().copied().find(|p| *p == head),
        };
        if let Some(p) = owner.filter(|p| !packs.iter().any(|q| q == p)) {
            packs.push(p.to_owned());
        }
    }
    let mut joined = Vec::new();
    if unheard {
        joined.clone_from(&packs);
        joined.retain(|p| !complained_of.contains(p));
    }
    let all = whole.packs.iter();
    let all = all.filter(|p| packs.contains(p) || pack(p).is_some_and(|r| r.minimal));
    Ok(InPlay {
        packs: all.cloned().collect(),
        joined,
    })
}

/// Reads a measured value, infinite for over limit; `None` if it is no number.
///
/// # Errors
/// If it is in another unit, doubtful, or what no meter shows.
fn measured(t: &TestInfo, shows: &str) -> Result<Option<f64>, CaseError> {
    let asked = Asked::by(t);
    let (test, typed) = (t.id.clone(), shows.trim().to_owned());
    match reading::read(shows, &asked) {
        Typed::Value(v) | Typed::Noted { value: v, .. } => Ok(Some(v)),
        Typed::About { value } => {
            let off = reading::ABOUT * value;
            match (in_range(t, value - off), in_range(t, value + off)) {
                (Some(a), Some(b)) if a != b => Err(CaseError::TooLittle {
                    shows: typed,
                    says: format!("it is `{}` or `{}`", t.outcomes[a].id, t.outcomes[b].id),
                    instead: "the number that the meter shows".to_owned(),
                }),
                _ => Ok(Some(value)),
            }
        }
        Typed::Reversed { value } if t.measures.is_some_and(|m| m.probing.turned) => {
            Ok(Some(value))
        }
        // Of what is known of the test this says nothing, whatever its value.
        Typed::Reversed { .. } => Ok(Some(f64::INFINITY)),
        Typed::TooLittle { says, instead } => Err(CaseError::TooLittle {
            shows: typed,
            says,
            instead,
        }),
        Typed::OtherUnit => Err(CaseError::WrongUnit {
            test,
            shows: typed,
            unit: asked.unit.to_owned(),
        }),
        Typed::Doubtful { could_be } => Err(CaseError::Doubtful {
            shows: typed,
            could_be,
        }),
        Typed::Impossible { why } => Err(CaseError::NoReading {
            test,
            shows: typed,
            why,
        }),
        Typed::NoNumber => Ok(None),
    }
}

/// What a beep means where a test of continuity has one outcome that conducts,
/// or its absence where it has one that does not.
fn heard(t: &TestInfo, typed: &str) -> Option<usize> {
    if t.kind != Kind::Continuity || t.unit.is_some() {
        return None;
    }
    let names: &[&str] = match reading::beeps(typed)? {
        true => &["through", "joined", "short"],
        false => &["open", "apart"],
    };
    let mut all = (0..t.outcomes.len()).filter(|i| names.contains(&t.outcomes[*i].id.as_str()));
    all.next().filter(|_| all.next().is_none())
}

/// The outcome in whose range a value is. Neighbouring ranges share an end; the
/// healthier one gets it.
fn in_range(t: &TestInfo, value: f64) -> Option<usize> {
    let holds = |(a, b): (f64, f64)| value >= a && value <= b;
    t.outcomes.iter().position(|o| o.between.is_some_and(holds))
}

/// Reads what a test showed: an outcome's name or a beginning of it, yes or
/// no, or a measured value.
///
/// # Errors
/// If it is no result of the test.
pub(crate) fn outcome_of(t: &TestInfo, shows: &str) -> Result<usize, CaseError> {
    let typed = shows.trim().to_lowercase();
    let words = || -> Vec<String> {
        if t.function.is_some() {
            return (0..t.outcomes.len()).map(|o| t.answer(o)).collect();
        }
        t.outcomes
            .iter()
            .map(|o| match o.between {
                Some((f64::INFINITY, _)) => format!("{} (over limit)", o.id),
                Some((f64::MIN, f64::MAX)) => format!("{} (a number)", o.id),
                Some((a, b)) => {
                    let unit = t.unit.as_deref().unwrap_or("");
                    format!("{} ({})", o.id, bounds(a, b, unit))
                }
                None => o.id.clone(),
            })
            .collect()
    };
    // A prompt prints `one-way` as `one way`, a trail what the outcome says.
    let joined = typed.split_whitespace().collect::<Vec<_>>().join("-");
    if let Some(i) = t
        .outcomes
        .iter()
        .position(|o| o.id == typed || o.id == joined || o.says.to_lowercase() == typed)
    {
        return Ok(i);
    }
    if t.function.is_some() {
        match typed.as_str() {
            "y" | "yes" | "ok" | "pass" => return Ok(0),
            "n" | "no" | "fail" => return Ok(t.outcomes.len() - 1),
            _ => {}
        }
    }
    if let Some(i) = heard(t, &typed) {
        return Ok(i);
    }
    let starts: Vec<usize> = (0..t.outcomes.len())
        .filter(|i| !typed.is_empty() && t.outcomes[*i].id.starts_with(&typed))
        .collect();
    // `short` may be the beginning of an outcome's name.
    let named = typed == "short" && starts.len() == 1;
    if !named
        && t.outcomes.iter().any(|o| o.between.is_some())
        && let Some(v) = measured(t, shows)?
    {
        return in_range(t, v).ok_or_else(|| CaseError::OutsideAll {
            test: t.id.clone(),
            shows: shows.trim().to_owned(),
            can_be: words(),
        });
    }
    match starts.as_slice() {
        [one] => Ok(*one),
        _ => Err(CaseError::NoOutcome {
            test: t.id.clone(),
            shows: shows.trim().to_owned(),
            can_be: words(),
        }),
    }
}
