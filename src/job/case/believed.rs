//! What a job says of the faults, and what each result did to that.

use super::Case;
use crate::belief::{Belief, Event, Finding, Seen, conflict_among, update, weights_among};
use crate::job::history::{History, What};
use crate::model::Taken;

impl Case {
    /// How many times a result, by its place, was seen, and whether it is a word.
    pub(in crate::job) fn times(&self, place: usize) -> Option<(i32, bool)> {
        self.history.times(place)
    }

    pub(super) fn believed(&self, history: &History) -> Belief {
        let events = history.events(&self.model, |_| true);
        let belief = update(&self.model.network, &events.all, self.settings.size);
        events.in_order(belief)
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
    pub(in crate::job) fn events(&self, keep: &dyn Fn(usize) -> bool) -> Vec<Event> {
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
    pub(in crate::job) fn readings(&self, line: usize) -> impl Iterator<Item = (usize, &Taken)> {
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
    pub(in crate::job) fn standing(&self, line: usize) -> Vec<Taken> {
        self.history.standing_readings(&self.model, line)
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
}
