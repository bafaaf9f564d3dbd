//! What each entry comes to.

use super::answer::{measured, outcome_of};
use super::{CaseError, Ledger, one};
use crate::belief::{Change, Seen};
use crate::bench::{Gates, Turns};
use crate::circuit::meter::Reading;
use crate::job::amend::earlier;
use crate::job::file::{Entry, Shown};
use crate::job::history::What;
use crate::job::reading::{AsTyped, Asked, SWAPPED};
use crate::model::{BenchMeter, Found, Read, TestInfo};
use crate::plan::{Act, RemedyId, TestId};
use crate::rulebase::Rulebase;

/// What an entry came to.
#[derive(Clone, Debug, PartialEq)]
pub enum Entered {
    /// A symptom of the complaint, by index.
    Symptom(usize),
    /// A test with its outcome.
    Result {
        /// The test.
        test: TestId,
        /// The outcome.
        outcome: usize,
    },
    /// A remedy.
    Remedy(RemedyId),
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

impl Ledger {
    pub(super) fn enter(
        &mut self,
        rules: &Rulebase,
        n: usize,
        entry: &Entry,
    ) -> Result<Entered, CaseError> {
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
            Entry::Result(r) => self.take_result(n, r),
        }
    }

    fn take_result(&mut self, n: usize, r: &Shown) -> Result<Entered, CaseError> {
        let test = one(self.model.test(&r.test), "test", &r.test)?;
        if let Some(m) = self.model.tests[test].measures {
            self.see_siblings(std::iter::once(m.line))?;
        }
        let other = r
            .as_it_stands
            .then(|| self.model.test_in(test, self.state.conditions()));
        let other = other.flatten();
        let t = other.as_ref().unwrap_or(&self.model.tests[test]);
        // Read here once, for all that follows.
        let typed = AsTyped::of(&r.shows, &Asked::by(t));
        let reversed = typed.is_reversed();
        let turned = reversed.then(|| self.model.test_turned(t)).flatten();
        let t = turned.as_ref().unwrap_or(t);
        let outcome = outcome_of(t, &typed)?;
        self.typed[n] = Some(typed.clone());
        if reversed && turned.is_none() {
            self.void.push((n, SWAPPED.to_owned()));
            return Ok(Entered::Void);
        }
        // With another meter the same test may come out in other ways.
        self.shows[n] = Some(t.outcomes[outcome].clone());
        let (before, after) = (t.before.clone(), t.after.clone());
        if other.is_some() {
            self.so_far.0 += t.step.minutes;
        }
        let what = self.shown(t, outcome, &typed);
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
        let value = measured(t, &typed)?;
        let turns = match value {
            Some(_) => t.turns(outcome, value),
            None => t.turns_by_word(outcome),
        };
        if other.is_none() {
            self.did(Act::Test(test));
        }
        self.state = self.state.turned(turns);
        self.reached(test, outcome);
        self.check_gates(test, outcome, value.is_some(), turns);
        Ok(Entered::Result { test, outcome })
    }

    /// What went well shows that the device does what the complaint rules out.
    fn reached(&mut self, test: TestId, outcome: usize) {
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
    }

    /// Notes which gates a result found to be up with reason.
    fn check_gates(&mut self, test: TestId, outcome: usize, is_number: bool, turns: Turns) {
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
                let low = is_number && turns.raises.has(gate);
                self.checked = self.checked.with(gate, low);
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

    /// What a result is for the belief.
    pub(in crate::job) fn shown(&self, t: &TestInfo, outcome: usize, shows: &AsTyped) -> What {
        // A number says more than the range it falls into.
        let read = match shows.typed.value() {
            Some(v) if v.is_finite() => Read::Number(Reading::Value(v)),
            Some(_) => Read::Number(Reading::OL),
            None => Read::Word(outcome),
        };
        match self.model.taken_rounded(t, read, shows.rounded) {
            Some(taken) => What::Read(taken),
            None => What::Seen(Seen {
                finding: t.finding.clone(),
                outcome,
            }),
        }
    }

    pub(super) fn change(&mut self, c: Change, entry: usize, test: Option<TestId>) {
        self.history.push(Some(entry), test, What::Changed(c));
    }

    /// A step was done, the bench made ready for it.
    pub(super) fn did(&mut self, act: Act) {
        let step = match act {
            Act::Test(i) => &self.model.tests[i].step,
            Act::Remedy(i) => &self.model.remedies[i].step,
        };
        let there = self.model.bench.reach(self.state, &step.conditions);
        self.state = there.to;
        self.so_far.0 += step.minutes + there.minutes;
        self.so_far.1 += step.parts;
    }

    /// Says so if a gate that is up bars a step that was done.
    fn goes_against_gate(&mut self, n: usize, act: Act) {
        for gate in self.barred_by(act).iter() {
            let g = &self.model.bench.gates[gate];
            let says = format!(
                "done although there was a sign of a hazard ({}), which bars {}",
                g.name,
                self.barred_acts(gate)
            );
            self.against.push((n, says));
        }
    }
}
