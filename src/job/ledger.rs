//! The entries of a job taken up one by one: what each came to, what holds of the
//! device and the bench since, and which hazards bar what. Nothing is believed
//! here, so all of it is cheap.

mod answer;
mod closing;
mod enter;
mod error;
mod good_boards;
mod in_play;
mod open;

pub(crate) use answer::outcome;
pub use closing::Closed;
pub use enter::Entered;
pub use error::CaseError;
pub(super) use error::one;

use std::sync::Arc;

use typed_index_collections::TiVec;

use in_play::packs_in_play;

use super::amend::Amended;
use super::file::{CaseFile, Entry};
use super::history::{History, What};
use super::reading::AsTyped;
use crate::belief::{Event, Seen};
use crate::bench::{BenchState, Gate, Gates};
use crate::line::Distrust;
use crate::model::{
    BenchMeter, CompileError, Found, InPlay, LineId, Model, OutcomeInfo, Taken, TestInfo, Unit,
    compile_for, hazards, outline, recognise,
};
use crate::plan::{Act, RemedyId, TestId};
use crate::rulebase::Rulebase;

/// A device as it was compiled, before anything was entered, and what from.
#[derive(Debug)]
struct Compiled {
    device: Unit,
    history: Vec<String>,
    packs: InPlay,
    meter: Option<String>,
    model: Model,
    /// All that the device carries, as far as complaints are recognised by it.
    whole: Arc<Model>,
}

/// How a job goes on from an earlier moment of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Since {
    /// All entries have to be taken up again, from the first.
    FirstEntry,
    /// Only remarks were added, if anything.
    Remarks,
    /// Entries were added that leave those before them as they were.
    Entries,
}

/// A job as far as its entries go.
#[derive(Clone, Debug)]
pub struct Ledger {
    /// The compiled device.
    pub model: Model,
    /// The same before anything was entered.
    compiled: Arc<Compiled>,
    /// The job as it was given.
    file: CaseFile,
    /// Symptoms of the complaint, by index.
    pub symptoms: Vec<usize>,
    /// What each entry came to.
    pub entered: Vec<Entered>,
    /// The entries with their corrections.
    amended: Amended,
    /// Each result as it was typed, also one that means nothing.
    typed: Vec<Option<AsTyped>>,
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
    pub(super) so_far: (f64, f64),
    pub(super) history: History,
    past: Vec<String>,
    without: Vec<String>,
    /// Bench conditions that the complaint rules out, by index, as long as
    /// nothing was done about it and no step in one of them went well.
    out_of_reach: Vec<usize>,
    blocked_tests: TiVec<TestId, bool>,
    /// Of the blocked tests those that were only unclear.
    unclear_tests: Vec<TestId>,
    blocked_remedies: TiVec<RemedyId, bool>,
    /// What has to be done before anything else: checks of hazards, retests.
    pub(super) due: Vec<TestId>,
    /// Gates that are up and whose check found the hazard since something was
    /// last done about it.
    checked: Gates,
    /// Results that were entered although a gate bars their test, in words.
    against: Vec<(usize, String)>,
    unfit: Vec<(Option<usize>, CaseError)>,
    /// Position among the entries of the last remedy.
    pub(super) last_remedy: Option<usize>,
    /// Tests from here on are offered and were not entered yet.
    offered_from: TestId,
}

impl Ledger {
    /// Takes up the entries of a job: what does not fit the rules is told by
    /// [`Ledger::unfit`] and does not count.
    ///
    /// # Errors
    /// If the rules do not know this kind of device.
    pub fn new(rules: &Rulebase, file: &CaseFile) -> Result<Ledger, CaseError> {
        Ledger::from(rules, file, None)
    }

    /// The same job with other entries under the same rules. If it only goes on,
    /// the further entries are taken up; else all of them, and the device is
    /// compiled again only where an entry needs it.
    ///
    /// # Errors
    /// As for [`Ledger::new`].
    pub fn further(&self, rules: &Rulebase, file: &CaseFile) -> Result<Ledger, CaseError> {
        self.further_as(self.since(rules, file)?, rules, file)
    }

    /// The same, where it is known how the job goes on.
    pub(super) fn further_as(
        &self,
        since: Since,
        rules: &Rulebase,
        file: &CaseFile,
    ) -> Result<Ledger, CaseError> {
        if since == Since::FirstEntry {
            return Ledger::from(rules, file, Some(&self.compiled));
        }
        let mut ledger = self.clone();
        ledger.withdraw_offers();
        ledger.go_on(rules, file)?;
        Ok(ledger)
    }

    /// Takes up what a job has beyond this one, which it goes on from.
    pub(super) fn go_on(&mut self, rules: &Rulebase, file: &CaseFile) -> Result<(), CaseError> {
        let known = self.file.steps.len();
        let added = &file.steps[known..];
        self.amended.extend(added);
        self.file.steps.extend_from_slice(added);
        for (n, entry) in added.iter().enumerate() {
            self.take_up(rules, known + n, entry);
        }
        self.settle()
    }

    /// How a job goes on from this one.
    ///
    /// # Errors
    /// If an entry of it names what nothing has.
    pub(super) fn since(&self, rules: &Rulebase, file: &CaseFile) -> Result<Since, CaseError> {
        let known = self.file.steps.len();
        let Some((before, added)) = file.steps.split_at_checked(known) else {
            return Ok(Since::FirstEntry);
        };
        let goes_on = |e: &Entry| match e {
            Entry::Note(_) | Entry::Sure(_) | Entry::Meter(_) => true,
            // These hold for all that was entered before, too.
            Entry::Correct(_) | Entry::Reference(_) | Entry::History(_) => false,
            Entry::Remedy(d) => self.model.remedy(&d.did).is_one(),
            Entry::Result(_) | Entry::Cannot(_) | Entry::Unclear(_) => {
                let test = e.test().map(|t| self.model.test(t));
                matches!(test, Some(Found::One(t)) if !self.is_on_offer(t))
            }
        };
        if before != self.file.steps
            || file.head() != self.file.head()
            || !added.iter().all(goes_on)
        {
            return Ok(Since::FirstEntry);
        }
        if added.iter().all(|e| matches!(e, Entry::Note(_))) {
            return Ok(Since::Remarks);
        }
        // An entry may bring another area in.
        let symptoms = self.symptoms.iter();
        let symptoms = symptoms.map(|s| self.model.symptoms[*s].id.clone());
        let symptoms: Vec<String> = symptoms.collect();
        let packs = packs_in_play(&self.compiled.whole, rules, &symptoms, &file.steps)?;
        Ok(match packs == self.compiled.packs {
            true => Since::Entries,
            false => Since::FirstEntry,
        })
    }

    fn from(
        rules: &Rulebase,
        file: &CaseFile,
        before: Option<&Arc<Compiled>>,
    ) -> Result<Ledger, CaseError> {
        let mut unfit = Vec::new();
        let amended = Amended::of(&file.steps);
        let steps = amended.entries.clone();
        let (history, whole) = history_and_outline(rules, file, &steps, before, &mut unfit)?;
        let symptom_ids = complained(&whole, file, &mut unfit);
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
                whole,
            }),
        };
        let mut model = compiled.model.clone();
        take_isolations(&mut model, steps.iter().filter_map(Entry::test));
        model.take_gate_checks();
        let mut ledger = Ledger {
            file: file.clone(),
            symptoms: Vec::new(),
            entered: Vec::new(),
            amended,
            typed: Vec::new(),
            shows: Vec::new(),
            void: Vec::new(),
            unexpected: Vec::new(),
            state: BenchState::default(),
            so_far: (0.0, 0.0),
            history: History::default(),
            past: history.clone(),
            without: Vec::new(),
            out_of_reach: Vec::new(),
            blocked_tests: vec![false; model.tests.len()].into(),
            unclear_tests: Vec::new(),
            blocked_remedies: vec![false; model.remedies.len()].into(),
            due: Vec::new(),
            checked: Gates::default(),
            against: Vec::new(),
            unfit,
            last_remedy: None,
            offered_from: model.tests.next_key(),
            compiled,
            model,
        };
        ledger.plan_around(&rules.without);
        ledger.complain(&symptom_ids)?;
        let heard = hazards(&ledger.model, &file.complaint);
        let ticked = |g: &Gate| g.history.iter().any(|h| history.contains(h));
        let gates = ledger.model.bench.gates.iter().enumerate();
        let ticked: Gates = gates.filter(|g| ticked(g.1)).map(|g| g.0).collect();
        ledger.state = ledger.state.gated(heard).gated(ticked);
        ledger.references(rules, &steps)?;
        for (n, entry) in steps.iter().enumerate() {
            ledger.take_up(rules, n, entry);
        }
        ledger.settle()?;
        Ok(ledger)
    }

    /// Takes up what is complained of, by name.
    fn complain(&mut self, symptoms: &[String]) -> Result<(), CaseError> {
        for s in symptoms {
            let i = one(self.model.symptom(s), "symptom", s)?;
            self.symptoms.push(i);
            let seen = Seen {
                finding: self.model.symptoms[i].finding.clone(),
                outcome: 1,
            };
            self.history.push(None, None, What::Seen(seen));
        }
        self.model.unsaid(&self.symptoms);
        for (test, blocked) in self.model.tests.iter().zip(&mut self.blocked_tests) {
            let complaint = self.symptoms.iter().map(|s| &self.model.symptoms[*s]);
            *blocked |= !test.suits(complaint);
        }
        self.out_of_reach = self.ruled_out_by_complaint();
        Ok(())
    }

    /// Adds a test that is offered; gives its index.
    pub(super) fn offer(&mut self, test: TestInfo) -> TestId {
        let at = self.model.tests.push_and_get_key(test);
        let lacks = self.lacks(Act::Test(at)).is_some();
        self.blocked_tests.push(lacks);
        at
    }

    /// Whether a test is on offer: it follows from the circuit of a line, and no entry
    /// names it yet.
    pub fn is_on_offer(&self, test: TestId) -> bool {
        test >= self.offered_from
    }

    /// Takes out the tests on offer.
    pub(super) fn withdraw_offers(&mut self) {
        self.model.tests.truncate(self.offered_from.0);
        self.blocked_tests.truncate(self.offered_from.0);
    }

    fn take_up(&mut self, rules: &Rulebase, n: usize, entry: &Entry) {
        self.typed.push(None);
        self.shows.push(None);
        let entered = self.enter(rules, n, entry).unwrap_or_else(|e| {
            self.unfit.push((Some(n), e));
            Entered::Unfit
        });
        self.entered.push(entered);
    }

    /// What follows from all entries together.
    fn settle(&mut self) -> Result<(), CaseError> {
        self.see_siblings(self.model.lines.keys())?;
        self.due = self.now_due();
        Ok(())
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
    pub fn as_it_stands(&self, test: TestId) -> Vec<Distrust> {
        self.distrust_in(test, self.state)
    }

    /// The same, taken as the test wants it.
    pub fn made_ready(&self, test: TestId) -> Vec<Distrust> {
        let conditions = &self.model.tests[test].step.conditions;
        self.distrust_in(test, self.model.bench.reach(self.state, conditions).to)
    }

    fn distrust_in(&self, test: TestId, state: BenchState) -> Vec<Distrust> {
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

    /// A result as it was typed, by its entry, from 0; `None` if the entry is none, or
    /// does not fit.
    pub fn typed(&self, entry: usize) -> Option<&AsTyped> {
        self.typed.get(entry)?.as_ref()
    }

    /// Takes out the first thing that does not fit.
    pub(super) fn first_unfit(&mut self) -> Option<CaseError> {
        (!self.unfit.is_empty()).then(|| self.unfit.remove(0).1)
    }

    /// Why an entry, from 0, does not fit; takes it out of [`Ledger::unfit`].
    pub(crate) fn refused(&mut self, entry: usize) -> Option<CaseError> {
        let at = self.unfit.iter().position(|u| u.0 == Some(entry))?;
        Some(self.unfit.remove(at).1)
    }

    /// How many times a result, by its place, was seen, and whether it is a word.
    pub(in crate::job) fn times(&self, place: usize) -> Option<(i32, bool)> {
        self.history.times(place)
    }

    /// The events with only some of the results, by their places.
    pub(in crate::job) fn events(&self, keep: &dyn Fn(usize) -> bool) -> Vec<Event> {
        self.history.events(&self.model, keep).all
    }

    /// The same, each with the entry it comes from; of readings of one line together
    /// the first.
    pub(super) fn told_in(&self) -> impl Iterator<Item = (Event, Option<usize>)> {
        self.history.events(&self.model, |_| true).with_entries()
    }

    /// What the belief is told of this job, in order.
    pub fn told(&self) -> Vec<Event> {
        self.events(&|_| true)
    }

    /// Entry number of each result in force, `None` for the complaint; in the
    /// order of [`Belief::misread`].
    pub fn results(&self) -> Vec<Option<usize>> {
        self.history.results().collect()
    }

    /// The readings of a line that are in force, by index, each with its entry.
    pub(in crate::job) fn readings(&self, line: LineId) -> impl Iterator<Item = (usize, &Taken)> {
        self.history.readings(line)
    }

    /// The readings of a line, by index, since something was last done about it.
    pub(in crate::job) fn standing(&self, line: LineId) -> Vec<Taken> {
        self.history.standing_readings(&self.model, line)
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

/// What the device has been through, by the questions answered with yes, and all
/// that it carries, as far as complaints are recognised by it.
fn history_and_outline(
    rules: &Rulebase,
    file: &CaseFile,
    steps: &[Entry],
    before: Option<&Arc<Compiled>>,
    unfit: &mut Vec<(Option<usize>, CaseError)>,
) -> Result<(Vec<String>, Arc<Model>), CaseError> {
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
    let same = |c: &&Arc<Compiled>| c.device == file.device && c.history == history;
    if let Some(known) = before.filter(same) {
        return Ok((history, Arc::clone(&known.whole)));
    }
    loop {
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
            compiled => return Ok((history, Arc::new(compiled?))),
        }
    }
}

/// The symptoms of a complaint, by name: those that were picked, else those that are
/// heard in it.
fn complained(
    whole: &Model,
    file: &CaseFile,
    unfit: &mut Vec<(Option<usize>, CaseError)>,
) -> Vec<String> {
    if file.symptoms.is_empty() {
        let heard = recognise(whole, &file.complaint).into_iter();
        let mut heard: Vec<usize> = heard.map(|h| h.symptom).collect();
        if heard.is_empty() && !file.complaint.trim().is_empty() {
            heard.extend(whole.unheard);
        }
        let id = |s: usize| whole.symptoms[s].id.clone();
        return heard.into_iter().map(id).collect();
    }
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
}

/// Takes up the tests that an entry names and that only the circuits of lines bring
/// along.
fn take_isolations<'n>(model: &mut Model, names: impl Iterator<Item = &'n str>) {
    for name in names {
        if !model.test(name).is_one() {
            model.take_isolation(name.trim());
        }
    }
}
