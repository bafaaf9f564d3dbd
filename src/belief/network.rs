//! Faults, findings, changes: what a belief is about.

use std::sync::Arc;

/// Index of a fault in its [`Network`].
pub type FaultId = usize;

/// A fault before anything is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Probability, 0..=1.
    pub probability: f64,
    /// Which item it belongs to (any numbering from 0).
    pub item: usize,
    /// Which of the places it belongs to (any numbering from 0).
    pub place: usize,
}

impl Prior {
    /// A fault with its probability, item and place.
    pub fn new(probability: f64, item: usize, place: usize) -> Self {
        Prior {
            probability,
            item,
            place,
        }
    }
}

/// All faults that a device can have.
#[derive(Clone, Debug, Default)]
pub struct Network {
    faults: Vec<Prior>,
}

impl Network {
    /// A network of independent faults.
    pub fn new(faults: Vec<Prior>) -> Self {
        Network { faults }
    }
    /// The faults.
    pub fn faults(&self) -> &[Prior] {
        &self.faults
    }
    /// How many faults.
    pub fn len(&self) -> usize {
        self.faults.len()
    }
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }
    /// How many items the faults belong to.
    pub fn items(&self) -> usize {
        self.faults.iter().map(|f| f.item + 1).max().unwrap_or(0)
    }
    /// How many places the faults belong to.
    pub fn places(&self) -> usize {
        self.faults.iter().map(|f| f.place + 1).max().unwrap_or(0)
    }
}

/// Something that can be seen: ordered outcomes, the healthy one first.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    outcomes: usize,
    /// `P(outcome <= k)` with no fault, for k in `0..outcomes-1`.
    leak: Vec<f64>,
    /// For each linked fault, `P(it pushes to at most k)`.
    links: Vec<(FaultId, Vec<f64>)>,
    /// Chance that the outcome is read at random.
    misread: f64,
}

impl Finding {
    /// A yes-or-no finding (noisy-OR): outcome 0 is "no", 1 is "yes".
    /// `misread` is the chance that the answer is drawn at random.
    pub fn yes_no(leak: f64, links: &[(FaultId, f64)], misread: f64) -> Self {
        Finding {
            outcomes: 2,
            leak: vec![1.0 - leak],
            links: links.iter().map(|(f, s)| (*f, vec![1.0 - s])).collect(),
            misread,
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
            leak: healthy,
            links: pushes.iter().map(|(f, c)| (*f, cumulative(c))).collect(),
            misread,
        }
    }

    /// Number of outcomes, at least 2.
    pub fn outcomes(&self) -> usize {
        self.outcomes
    }
    /// Chance that the outcome is read at random.
    pub fn misread(&self) -> f64 {
        self.misread
    }
    /// The linked faults.
    pub fn sees(&self) -> impl Iterator<Item = FaultId> + '_ {
        self.links.iter().map(|(f, _)| *f)
    }
    /// The linked faults with `P(pushes to at most k)` for every k but the last.
    pub fn links(&self) -> &[(FaultId, Vec<f64>)] {
        &self.links
    }
    /// `P(outcome <= k)` with no fault, for every k but the last.
    pub fn leak(&self) -> &[f64] {
        &self.leak
    }

    /// The same finding with some faults out of the picture.
    #[must_use]
    pub fn without(&self, out: impl Fn(FaultId) -> bool) -> Self {
        Finding {
            links: self
                .links
                .iter()
                .filter(|(f, _)| !out(*f))
                .cloned()
                .collect(),
            ..self.clone()
        }
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
    /// that the change clears with some chance pushes that much less.
    #[must_use]
    pub fn after(&self, change: &Change) -> Self {
        let mut f = self.clone();
        for (id, c) in &mut f.links {
            if let Some((_, take)) = change.clears.iter().find(|c| c.0 == *id) {
                c.iter_mut().for_each(|p| *p = take + (1.0 - take) * *p);
            }
        }
        f
    }

    /// `P(outcome | exactly these faults are present)`.
    pub fn likelihood(&self, outcome: usize, present: &[FaultId]) -> f64 {
        let at_most = |k: usize| -> f64 {
            self.links
                .iter()
                .filter(|(f, _)| present.contains(f))
                .fold(self.leak[k], |p, (_, c)| p * c[k])
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
        self.mixed(upper - lower)
    }

    /// Mixes the likelihood of a true reading with that of a misreading.
    pub(super) fn mixed(&self, p: f64) -> f64 {
        (1.0 - self.misread) * p.max(0.0) + self.misread / self.outcomes as f64
    }
}

/// A finding with the outcome that was seen.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The finding.
    pub finding: Arc<Finding>,
    /// Index of the outcome.
    pub outcome: usize,
}

/// What a remedy does to the device.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Change {
    /// Faults it clears, each with the chance that it takes.
    pub clears: Vec<(FaultId, f64)>,
    /// Faults it may bring about, each with the chance.
    pub brings: Vec<(FaultId, f64)>,
}

/// Something that happened, in the order of the job.
#[derive(Clone, Debug)]
pub enum Event {
    /// A result.
    Seen(Seen),
    /// A remedy, or the reseating that a swap does.
    Changed(Change),
}

impl Event {
    /// A result.
    pub fn seen(finding: &Finding, outcome: usize) -> Event {
        Event::Seen(Seen {
            finding: Arc::new(finding.clone()),
            outcome,
        })
    }
}
