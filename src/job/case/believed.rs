//! What a job says of the faults, and what each result did to that.

use std::cell::RefCell;
use std::collections::HashMap;

use super::Case;
use crate::belief::{
    Belief, Event, FaultId, Finding, Kept, Seen, Size, conflict_by, evidence_log2, exact, update,
    weights_among,
};
use crate::job::history::{History, OneResult, What};
use crate::job::reading::{AsTyped, Asked};
use crate::plan::TestId;

/// How likely single results are beside the complaint, in bits, as long as the same
/// was done to the device.
#[derive(Clone, Debug, Default)]
pub(super) struct Singles {
    /// The entries in which something was done.
    changes: Vec<Option<usize>>,
    known: RefCell<HashMap<Option<OneResult>, f64>>,
}

impl Singles {
    /// Those of a job that hold for one that goes on from it.
    pub(super) fn going_on(&self, history: &History) -> Singles {
        let changes = history.changes();
        match changes == self.changes {
            true => self.clone(),
            false => Singles {
                changes,
                ..Singles::default()
            },
        }
    }

    fn get(&self, of: Option<OneResult>, work: impl FnOnce() -> f64) -> f64 {
        if let Some(known) = self.known.borrow().get(&of) {
            return *known;
        }
        let new = work();
        self.known.borrow_mut().insert(of, new);
        new
    }
}

impl Case {
    pub(super) fn believed(&self, history: &History) -> Belief {
        let events = history.events(&self.model, |_| true);
        let belief = update(&self.model.network, &events.all, self.settings.size);
        events.in_order(belief)
    }

    /// Conflict of the results, in bits.
    pub fn conflict(&self) -> f64 {
        *self.disagreement.get_or_init(|| {
            let given = self.symptoms.len();
            let log2 = |kept: Kept| match kept {
                Kept::All if self.settings.size != Size::Auto => self.log2(kept, given),
                Kept::All if self.belief.left_out == 0.0 => self.belief.evidence_log2,
                // The sum alone reaches further than the belief, which also asks of
                // each result whether it was a misreading.
                Kept::All => exact::evidence(&self.model.network, &self.told())
                    .map_or(self.belief.evidence_log2, f64::log2),
                Kept::Given => self.singles.get(None, || self.log2(kept, given)),
                Kept::One(place) => {
                    let of = self.history.result(place);
                    self.singles.get(of, || self.log2(kept, given))
                }
            };
            conflict_by(self.results().len(), given, log2)
        })
    }

    fn log2(&self, kept: Kept, given: usize) -> f64 {
        evidence_log2(&self.model.network, &self.events(&|r| kept.has(r, given)))
    }

    /// For a suspect, what each result in force did: entry number (`None` for
    /// the complaint's symptoms, in order) and factor on the odds.
    pub fn weights(&self, fault: FaultId) -> Vec<(Option<usize>, f64)> {
        let entries = self.results();
        let network = &self.model.network;
        weights_among(network, entries.len(), fault, |keep| self.events(keep))
            .into_iter()
            .map(|w| (entries[w.result], w.factor))
            .collect()
    }

    /// Probability that a fault was there when a remedy was begun, all that was
    /// seen before and after considered.
    pub fn was_there(&self, remedy: usize, fault: FaultId) -> f64 {
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

    /// The belief if a test came out in some way.
    pub fn what_if(&self, test: TestId, outcome: usize) -> Belief {
        let t = &self.model.tests[test];
        let mut history = self.history.clone();
        history.supersede(&self.model, test, false);
        let mut add = |what| history.push(None, Some(test), what);
        t.before.clone().map(What::Changed).map(&mut add);
        let shows = AsTyped::of(&t.outcomes[outcome].id, &Asked::by(t));
        add(self.shown(t, outcome, &shows));
        t.after.clone().map(What::Changed).map(&mut add);
        self.believed(&history)
    }
}
