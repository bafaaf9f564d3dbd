//! What a test or a symptom shows, by the faults.

use std::sync::Arc;

use super::FaultId;
use super::change::Change;
use super::joint::Joint;

/// Something that can be seen. Its outcomes depend on the faults in one of two
/// ways: each fault acts on its own ([`Finding::yes_no`], [`Finding::ordered`];
/// outcomes are ordered, the healthy one first), or a few act together
/// ([`Finding::joint`]; outcomes in any order).
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub(super) outcomes: usize,
    /// Chance that the outcome is read at random: the sum of the chances of each
    /// outcome to be reported though another is true.
    pub(super) misread: f64,
    pub(super) acts: Acts,
    /// How many results it stands for, where it is a record of some; each may
    /// be misread by itself, which its rows tell.
    pub(super) recorded: Option<usize>,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Acts {
    /// Every fault on its own; the furthest push wins.
    Alone {
        /// `P(outcome <= k)` with no fault, for k in `0..outcomes-1`.
        leak: Vec<f64>,
        /// For each linked fault, `P(it pushes to at most k)`.
        links: Vec<(FaultId, Vec<f64>)>,
        /// The chance of each outcome when it is read at random.
        flat: Vec<f64>,
    },
    Together(Arc<Joint>),
}

/// The chance that reports which agree are wrong, where one alone is wrong with
/// `wrong` and right with `right`, and each errs by itself.
pub fn agreed(wrong: f64, right: f64, times: i32) -> f64 {
    let (wrong, right) = (wrong.powi(times), right.powi(times));
    match wrong > 0.0 {
        true => wrong / (wrong + right),
        false => 0.0,
    }
}

impl Finding {
    /// A yes-or-no finding (noisy-OR): outcome 0 is "no", 1 is "yes".
    /// `misread` is the chance that the answer is drawn at random.
    pub fn yes_no(leak: f64, links: &[(FaultId, f64)], misread: f64) -> Self {
        Finding {
            outcomes: 2,
            misread,
            acts: Acts::Alone {
                leak: vec![1.0 - leak],
                links: links.iter().map(|(f, s)| (*f, vec![1.0 - s])).collect(),
                flat: vec![0.5; 2],
            },
            recorded: None,
        }
    }

    /// A finding with several ordered outcomes. `pushes[f]` gives, for a fault,
    /// its chance of leading to each outcome `1..outcomes`; what is left over
    /// stays healthy. `leak` is the chance of outcome 1 with no fault.
    pub fn ordered(
        outcomes: usize,
        leak: f64,
        pushes: &[(FaultId, Vec<f64>)],
        misread: f64,
    ) -> Self {
        let cumulative = |chances: &[f64]| -> Vec<f64> {
            // From the far end, so that small chances keep their digits.
            (0..outcomes - 1)
                .map(|k| (1.0 - chances[k..].iter().sum::<f64>()).clamp(0.0, 1.0))
                .collect()
        };
        let mut healthy = vec![1.0; outcomes - 1];
        healthy[0] = 1.0 - leak;
        Finding {
            outcomes,
            misread,
            acts: Acts::Alone {
                leak: healthy,
                links: pushes.iter().map(|(f, c)| (*f, cumulative(c))).collect(),
                flat: vec![1.0 / outcomes as f64; outcomes],
            },
            recorded: None,
        }
    }

    /// A finding whose outcome depends on which of a few faults are there
    /// together. Each row is a set of faults with the chance of each outcome
    /// when exactly these of all the faults named are there. There should be
    /// rows for no fault, for each single one and for each pair: a set without
    /// a row has the mean of the rows of its largest listed subsets.
    ///
    /// For a number that was read, each row has one value, its density there,
    /// in any unit that all rows share (and [`Self::misread_as`]): only ratios
    /// matter to a belief.
    ///
    /// `misread` is the chance that the outcome is drawn at random, evenly
    /// unless [`Self::misread_as`] says otherwise.
    ///
    /// # Panics
    /// If the rows name more than 64 faults, are none or differ in length.
    pub fn joint(rows: &[(Vec<FaultId>, Vec<f64>)], misread: f64) -> Self {
        let mut faults: Vec<FaultId> = rows.iter().flat_map(|r| &r.0).copied().collect();
        faults.sort_unstable();
        faults.dedup();
        assert!(faults.len() <= Joint::MOST, "too many faults act together");
        let outcomes = rows.first().map_or(0, |r| r.1.len());
        assert!(
            outcomes > 0 && rows.iter().all(|r| r.1.len() == outcomes),
            "every row has a value for each outcome"
        );
        let mut joint = Joint::new(faults, Vec::new(), vec![1.0 / outcomes as f64; outcomes]);
        let set = |of: &[FaultId]| of.iter().fold(0, |set, f| set | joint.bit(*f));
        let rows = rows
            .iter()
            .map(|(of, row)| (set(of), row.clone()))
            .collect();
        joint = Joint::new(joint.faults, rows, joint.flat);
        Finding {
            outcomes,
            misread,
            acts: Acts::Together(Arc::new(joint)),
            recorded: None,
        }
    }

    /// Several results of a few faults that act together, where the results hang
    /// together beyond the faults: they were all read on the same device, whose
    /// other unknowns are the same for all of them. Each row is a set of faults
    /// as in [`Self::joint`] with how likely everything is as it was recorded,
    /// and then, for each result, the part of that in which this result is a
    /// misreading. What was seen is outcome 0.
    ///
    /// # Panics
    /// As [`Self::joint`].
    pub fn recorded(rows: &[(Vec<FaultId>, Vec<f64>)]) -> Self {
        let joint = Finding::joint(rows, 0.0);
        Finding {
            recorded: Some(joint.outcomes - 1),
            ..joint
        }
    }

    /// The same finding with the chance of each outcome (for a number, its
    /// density) when it is drawn at random; without it, all are as likely.
    ///
    /// # Panics
    /// If there are not as many as outcomes.
    #[must_use]
    pub fn misread_as(mut self, flat: Vec<f64>) -> Self {
        assert_eq!(flat.len(), self.outcomes, "one for each outcome");
        match &mut self.acts {
            Acts::Alone { flat: drawn, .. } => *drawn = flat,
            Acts::Together(joint) => Arc::make_mut(joint).flat = flat,
        }
        self
    }

    /// The same finding with one chance for each outcome that it is reported
    /// though another is true. An outcome that is true is then reported with
    /// what the others leave: one less the sum of theirs.
    ///
    /// # Panics
    /// If there are not as many as outcomes.
    #[must_use]
    pub fn mistaken(mut self, chances: &[f64]) -> Self {
        self.misread = chances.iter().sum();
        let all = self.misread;
        let share = |e: &f64| match all > 0.0 {
            true => e / all,
            false => 1.0 / chances.len() as f64,
        };
        self.misread_as(chances.iter().map(share).collect())
    }

    /// The same finding for an outcome that was reported so many times, each
    /// time by itself. The reports err as independent ones do that are about
    /// the same true outcome, so the chances that they are right, and that they
    /// are wrong, are raised to that power; divided by their sum, which changes
    /// no belief.
    #[must_use]
    pub fn agreed(self, outcome: usize, times: i32) -> Self {
        let wrong = self.at_random(outcome);
        let wrong = agreed(wrong, 1.0 - self.misread + wrong, times);
        let others = (self.outcomes - 1).max(1) as f64;
        let mut chances = vec![wrong / others; self.outcomes];
        chances[outcome] = wrong;
        self.mistaken(&chances)
    }

    /// Whether it is a [record](Self::recorded) of results.
    pub(in crate::belief) fn is_record(&self) -> bool {
        self.recorded.is_some()
    }
    /// How many results it is when it has been seen.
    pub fn results(&self) -> usize {
        self.recorded.unwrap_or(1)
    }
    /// Number of outcomes: at least 2, or 1 for a number that was read. Of
    /// [recorded](Self::recorded) results, 1 and one more for each.
    pub fn outcomes(&self) -> usize {
        self.outcomes
    }
    /// Chance that the outcome is read at random.
    pub fn misread(&self) -> f64 {
        self.misread
    }
    /// The faults that it depends on.
    pub fn sees(&self) -> impl Iterator<Item = FaultId> + '_ {
        let together: &[FaultId] = match &self.acts {
            Acts::Alone { .. } => &[],
            Acts::Together(joint) => &joint.faults,
        };
        let alone = self.links().iter().map(|(f, _)| *f);
        alone.chain(together.iter().copied())
    }
    /// The faults that act on their own, with `P(pushes to at most k)` for every
    /// k but the last.
    pub fn links(&self) -> &[(FaultId, Vec<f64>)] {
        match &self.acts {
            Acts::Alone { links, .. } => links,
            Acts::Together(_) => &[],
        }
    }
    /// `P(outcome <= k)` with no fault, for every k but the last; empty if the
    /// faults act together.
    pub fn leak(&self) -> &[f64] {
        match &self.acts {
            Acts::Alone { leak, .. } => leak,
            Acts::Together(_) => &[],
        }
    }
    /// The chance (for a number, the density) of each outcome when it is drawn at
    /// random.
    pub fn drawn(&self) -> &[f64] {
        match &self.acts {
            Acts::Alone { flat, .. } => flat,
            Acts::Together(joint) => &joint.flat,
        }
    }
    /// If the faults act together, what each listed set of them shows, as
    /// [`Self::joint`] takes it.
    pub fn rows(&self) -> Option<impl Iterator<Item = (Vec<FaultId>, &[f64])>> {
        let joint = self.together()?;
        let named = |set: &u64| -> Vec<FaultId> {
            let faults = joint.faults.iter().enumerate();
            let there = faults.filter(|(i, _)| set >> i & 1 == 1);
            there.map(|(_, f)| *f).collect()
        };
        let rows = joint.rows.iter();
        Some(rows.map(move |(set, row)| (named(set), row.as_slice())))
    }
    /// If the faults act together, how.
    pub(in crate::belief) fn together(&self) -> Option<&Arc<Joint>> {
        match &self.acts {
            Acts::Alone { .. } => None,
            Acts::Together(joint) => Some(joint),
        }
    }

    /// The same finding with some faults out of the picture.
    #[must_use]
    pub fn without(&self, out: impl Fn(FaultId) -> bool) -> Self {
        let acts = match &self.acts {
            Acts::Alone { leak, links, flat } => Acts::Alone {
                leak: leak.clone(),
                links: links.iter().filter(|(f, _)| !out(*f)).cloned().collect(),
                flat: flat.clone(),
            },
            Acts::Together(joint) => Acts::Together(Arc::new(joint.without(out))),
        };
        Finding { acts, ..*self }
    }

    /// The same finding, never misread.
    #[must_use]
    pub fn without_misreading(&self) -> Self {
        Finding {
            misread: 0.0,
            ..self.clone()
        }
    }

    /// The same finding, foretold before a change that comes first: a fault
    /// that the change clears with some chance pushes that much less. Where
    /// faults act together, each listed set is what the change makes of it,
    /// with the chance of each way.
    #[must_use]
    pub fn after(&self, change: &Change) -> Self {
        let mut f = self.clone();
        match &mut f.acts {
            Acts::Alone { links, .. } => {
                for (id, c) in links {
                    if let Some((_, take)) = change.clears.iter().find(|c| c.0 == *id) {
                        c.iter_mut().for_each(|p| *p = take + (1.0 - take) * *p);
                    }
                }
            }
            Acts::Together(joint) => *joint = Arc::new(joint.after(change)),
        }
        f
    }

    /// `P(outcome | exactly these faults are present)`.
    pub fn likelihood(&self, outcome: usize, present: &[FaultId]) -> f64 {
        let truly = match &self.acts {
            Acts::Alone { leak, links, .. } => {
                let at_most = |k: usize| -> f64 {
                    links
                        .iter()
                        .filter(|(f, _)| present.contains(f))
                        .fold(leak[k], |p, (_, c)| p * c[k])
                };
                let upper = if outcome + 1 == self.outcomes {
                    1.0
                } else {
                    at_most(outcome)
                };
                let lower = if outcome == 0 {
                    0.0
                } else {
                    at_most(outcome - 1)
                };
                upper - lower
            }
            Acts::Together(joint) => {
                let set = present.iter().fold(0, |set, f| set | joint.bit(*f));
                joint.truly(set, outcome)
            }
        };
        self.mixed(outcome, truly)
    }

    /// Mixes the likelihood of a true reading with that of a misreading.
    pub(in crate::belief) fn mixed(&self, outcome: usize, p: f64) -> f64 {
        (1.0 - self.misread) * p.max(0.0) + self.at_random(outcome)
    }

    /// Puts the likelihood of each outcome with a set of the faults that act
    /// together into `p`.
    pub(in crate::belief) fn acting(&self, joint: &Joint, set: u64, p: &mut [f64]) {
        joint.truly_all(set, p);
        for (outcome, p) in p.iter_mut().enumerate() {
            *p = self.mixed(outcome, *p);
        }
    }

    /// Chance that an outcome is shown because it is drawn at random.
    pub(in crate::belief) fn at_random(&self, outcome: usize) -> f64 {
        self.misread * self.drawn()[outcome]
    }

    /// Chance that an outcome is shown by misreading: drawn at random, and not
    /// by luck what it truly was. `truly` is the chance that it was. A number
    /// is never drawn by luck.
    pub(in crate::belief) fn wrong(&self, outcome: usize, truly: f64) -> f64 {
        let luck = if self.outcomes == 1 { 0.0 } else { truly };
        self.at_random(outcome) * (1.0 - luck).max(0.0)
    }

    /// For each of its results, the chance that it is a misreading, with this
    /// set of the faults that act together and `all` as the likelihood of what
    /// was seen.
    pub(in crate::belief) fn wrongs(
        &self,
        joint: &Joint,
        set: u64,
        outcome: usize,
        all: f64,
    ) -> Vec<f64> {
        let truly = |k| joint.truly(set, k);
        match self.recorded {
            Some(results) => (1..=results).map(|k| truly(k) / all).collect(),
            None => vec![self.wrong(outcome, truly(outcome)) / all],
        }
    }

    /// What no likelihood of an outcome exceeds, whatever the faults.
    pub(in crate::belief) fn most(&self, outcome: usize) -> f64 {
        match &self.acts {
            Acts::Alone { .. } => 1.0,
            Acts::Together(joint) => joint
                .rows
                .iter()
                .map(|r| self.mixed(outcome, r.1[outcome]))
                .fold(0.0, f64::max),
        }
    }
}
