//! A job worked out: what its entries mean under the rules.

mod answer;
mod believed;
mod closing;
mod enter;
mod error;
mod good_boards;
mod in_play;
pub(super) mod isolation;
pub(super) mod notice;
mod open;
mod planned;
mod sensible;

pub(crate) use answer::outcome_of;
pub use closing::Closed;
pub use enter::Entered;
pub use error::CaseError;
pub(super) use error::one;
pub(crate) use planned::{plan_remedy, plan_test, turns_in_words};

use std::cell::OnceCell;
use std::sync::Arc;

use in_play::packs_in_play;
use isolation::Alike;
use notice::Notice;
use planned::Planned;

use super::amend::Amended;
use super::file::*;
use super::history::{History, What};
use crate::belief::{Belief, Seen, Size};
use crate::bench::{BenchState, Gate, Gates, Moves};
use crate::line::Distrust;
use crate::model::{
    BenchMeter, CompileError, InPlay, Model, OutcomeInfo, Unit, compile_for, hazards, outline,
    recognise,
};
use crate::plan::{Advice, Costs, Effort, PlanRemedy, PlanTest};
use crate::rulebase::Rulebase;

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

    /// Results that were entered although a gate bars their test: the entry, from
    /// 0, and why.
    pub fn against_gates(&self) -> &[(usize, String)] {
        &self.against
    }

    /// What the device has been through, by the questions answered with yes.
    pub fn past(&self) -> &[String] {
        &self.past
    }
}
