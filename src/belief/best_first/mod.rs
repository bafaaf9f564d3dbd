//! Sets of faults, best first, with a bound on all that are not listed.
//!
//! Where the sum over all sets is out of reach. Every set is reached in one way,
//! by adding its faults in a fixed order. Of the sets that are listed, the one
//! is gone on from whose larger sets could hold most, until all of these
//! together can hold next to nothing.
//!
//! # The bound
//!
//! How much can the sets weigh that have `k` more faults than one that is
//! listed? For one more fault this is worked out. For several, each result is
//! bounded by a product over the faults that are added:
//!
//! - A bad outcome becomes likelier with each fault, and the logarithm of its
//!   likelihood, `log(c - d exp(-x))` with `x` a sum over the faults, is concave
//!   in `x`: a fault raises it by no more than it would alone (this is the upper
//!   bound of Jaakkola and Jordan 1999, "Variational probabilistic inference and
//!   the QMR-DT network", at the point where it touches).
//! - A good outcome becomes less likely: its likelihood is no more than with any
//!   one of the faults, so no more than the `k`-th root of the product over all.
//! - Of a joint result no set exceeds the largest row within it.
//!
//! The sum over all sets of `k` faults of a product over the faults is at most
//! the `k`-th power of its sum over single faults, divided by `k!`.

mod bound;
mod looks;

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use typed_index_collections::TiVec;

use super::candidates::{Candidate, MAX_SIZE, Weighted};
use super::lives::{Life, lives};
use super::network::{Change, Event, FaultId, ItemId, Network, PlaceId};
use bound::{Added, Raised, beyond};
use looks::{At, Base, Look};

/// Share of the weight that larger sets may have at which the search ends.
const ENOUGH: f64 = 5e-3;
/// Share of the weight that the lightest of the listed sets may have together to
/// be left out, which saves most of them.
const TRIM: f64 = 3e-3;
/// Most sets that are gone on from...
const MOST: usize = 12_000;
/// ...or more, up to so many sets that are looked at: with fewer faults a step
/// takes less time.
const MOST_LOOKED_AT: usize = 1_000_000;
/// Share of the weight below which a set is not listed; it is left out.
const LIGHT: f64 = 1e-9;
/// Most faults of a set that are there at some time.
const DEEP: usize = 12;

/// A fault that is there at some time, in one of its lives.
struct Choice {
    fault: FaultId,
    life: Life,
    /// Its weight over that of never being there.
    odds: f64,
    /// The results that it touches.
    touches: Vec<u32>,
}

/// A set of choices, by place, with the place from which more may be added.
#[derive(Clone)]
struct Set {
    of: [u16; DEEP],
    len: u8,
    from: u16,
}

impl Set {
    fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        self.of[..usize::from(self.len)]
            .iter()
            .map(|c| usize::from(*c))
    }

    fn with(&self, choice: usize) -> Option<Set> {
        let mut more = self.clone();
        *more.of.get_mut(usize::from(self.len))? = choice as u16;
        more.len += 1;
        more.from = choice as u16 + 1;
        Some(more)
    }
}

/// A set that may be gone on from.
struct Open {
    set: Set,
    /// What its larger sets can weigh at most.
    beyond: f64,
}

impl PartialEq for Open {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Open {}

impl PartialOrd for Open {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Open {
    fn cmp(&self, other: &Self) -> Ordering {
        self.beyond.total_cmp(&other.beyond)
    }
}

/// What was found.
pub(super) struct Found {
    /// Sets that are there now, each once, with their probability.
    pub(super) candidates: Weighted,
    /// Probability of everything that was seen, as far as it is listed.
    pub(super) evidence: f64,
    /// Bound on the probability of what is not listed.
    pub(super) left_out: f64,
    /// The same for the candidates: some may be too large to be one.
    pub(super) candidates_left_out: f64,
    /// Probabilities among what is listed: of each fault now, of each item, of
    /// each place, of nothing, and of each result to be a misreading.
    pub(super) faults: TiVec<FaultId, f64>,
    pub(super) items: TiVec<ItemId, f64>,
    pub(super) places: TiVec<PlaceId, f64>,
    pub(super) nothing: f64,
    pub(super) misread: Vec<f64>,
}

impl Found {
    /// Nothing is listed: the priors, of which anything may be wrong.
    fn unknown(network: &Network, results: usize, most: f64) -> Found {
        let mut items = TiVec::from(vec![1.0; network.items()]);
        let mut places = TiVec::from(vec![1.0; network.places()]);
        let mut nothing = 1.0;
        for f in network.faults() {
            let not = 1.0 - f.probability;
            items[f.item] *= not;
            places[f.place] *= not;
            nothing *= not;
        }
        let some = |none: &mut [f64]| none.iter_mut().for_each(|p| *p = 1.0 - *p);
        some(&mut items.raw);
        some(&mut places.raw);
        Found {
            candidates: Weighted::new(),
            evidence: most.clamp(f64::MIN_POSITIVE, 1.0),
            left_out: 1.0,
            candidates_left_out: 1.0,
            faults: network.faults().iter().map(|f| f.probability).collect(),
            items,
            places,
            nothing,
            misread: vec![0.0; results],
        }
    }
}

struct Search {
    looks: Vec<Look>,
    results: usize,
    /// Faults that are there at some time for certain are in every set.
    roots: Vec<(Set, f64)>,
    choices: Vec<Choice>,
}

impl Search {
    fn new(network: &Network, events: &[Event]) -> Search {
        let n = network.len();
        let mut changes: Vec<&Change> = Vec::new();
        let mut looks = Vec::new();
        let mut results = 0;
        for e in events {
            match e {
                Event::Changed(c) => changes.push(c),
                Event::Seen(s) => {
                    looks.push(Look::new(n, s, results, changes.len().min(63) as u32));
                    results += s.finding.results();
                }
            }
        }
        let mut seeing: TiVec<FaultId, Vec<u32>> = vec![Vec::new(); n].into();
        for (r, look) in looks.iter().enumerate() {
            look.sees().for_each(|f| seeing[f].push(r as u32));
        }
        let mut search = Search {
            looks,
            results,
            roots: Vec::new(),
            choices: Vec::new(),
        };
        let none = Set {
            of: [0; DEEP],
            len: 0,
            from: 0,
        };
        let mut roots = vec![(none, 1.0)];
        for (f, prior) in network.faults().iter_enumerated() {
            let (absent, lives) = lives(prior.probability, f, &changes);
            let certain = absent == 0.0;
            let first = search.choices.len();
            for life in lives {
                let at = |r: &&u32| life.present >> search.looks[**r as usize].epoch & 1 == 1;
                let touches = seeing[f].iter().filter(at).copied().collect();
                let odds = life.weight / if certain { 1.0 } else { absent };
                search.choices.push(Choice {
                    fault: f,
                    life,
                    odds,
                    touches,
                });
            }
            if certain {
                let each = first..search.choices.len();
                roots = (roots.iter())
                    .flat_map(|(set, w)| each.clone().map(move |c| (set.with(c), *w)))
                    .filter_map(|(set, w)| Some((set?, w)))
                    .collect();
            } else {
                roots.iter_mut().for_each(|r| r.1 *= absent);
            }
        }
        search.roots = roots;
        search.sort();
        search
    }

    /// Puts the choices that explain most alone first, those of every set last.
    fn sort(&mut self) {
        let none: Vec<At> = self.looks.iter().map(Look::with_none).collect();
        let certain = |c: usize| {
            self.roots.first().is_some_and(|r| {
                r.0.iter()
                    .any(|of| self.choices[of].fault == self.choices[c].fault)
            })
        };
        let alone = |c: usize| -> f64 {
            let choice = &self.choices[c];
            let by = choice.touches.iter().map(|r| {
                let look = &self.looks[*r as usize];
                let at = &none[*r as usize];
                let was = look.base(at).likelihood;
                look.likelihood(&look.with(at, choice.fault))
                    .max(1e-6 * was)
                    / was
            });
            choice.odds * by.product::<f64>()
        };
        let keys: Vec<(bool, f64)> = (0..self.choices.len())
            .map(|c| (certain(c), alone(c)))
            .collect();
        let mut order: Vec<usize> = (0..keys.len()).collect();
        order.sort_by(|a, b| {
            let (a, b) = (keys[*a], keys[*b]);
            a.0.cmp(&b.0).then(b.1.total_cmp(&a.1))
        });
        let mut place = vec![0u16; order.len()];
        for (to, from) in order.iter().enumerate() {
            place[*from] = to as u16;
        }
        for (set, _) in &mut self.roots {
            set.of
                .iter_mut()
                .take(usize::from(set.len))
                .for_each(|c| *c = place[usize::from(*c)]);
            set.from = 0;
        }
        let mut choices: Vec<Option<Choice>> = self.choices.drain(..).map(Some).collect();
        self.choices = order.iter().filter_map(|c| choices[*c].take()).collect();
    }

    /// Every result with a set.
    fn with(&self, set: &Set) -> Vec<At> {
        let mut at: Vec<At> = self.looks.iter().map(Look::with_none).collect();
        for choice in set.iter().map(|c| &self.choices[c]) {
            for r in &choice.touches {
                let r = *r as usize;
                at[r] = self.looks[r].with(&at[r], choice.fault);
            }
        }
        at
    }

    /// What the choices of a set weigh before anything is seen.
    fn prior(&self, set: &Set) -> f64 {
        let root = self.roots.first().map_or(0.0, |r| r.1);
        set.iter().fold(root, |w, c| w * self.choices[c].odds)
    }

    /// All sets with one more choice than this one: the choice, the weight, and
    /// what still larger ones can weigh.
    fn larger(&self, set: &Set) -> Vec<(usize, f64, f64)> {
        let at = self.with(set);
        let looks = || self.looks.iter().zip(&at);
        let base: Vec<Base> = looks().map(|(l, at)| l.base(at)).collect();
        let likelihoods: Vec<f64> = looks().map(|(l, at)| l.likelihood(at)).collect();
        let prior = self.prior(set);
        // What was seen may be impossible with this set, not with a larger one.
        let zeros = likelihoods.iter().filter(|p| **p == 0.0).count();
        let weight = prior * likelihoods.iter().filter(|p| **p > 0.0).product::<f64>();
        let mut out = Vec::with_capacity(self.choices.len());
        let mut added = Vec::with_capacity(self.choices.len());
        let mut raised: Vec<Raised> = (base.iter())
            .map(|b| Raised {
                most: b.most.ln(),
                by: Vec::new(),
            })
            .collect();
        let from = usize::from(set.from);
        for (c, choice) in self.choices.iter().enumerate().skip(from) {
            if set.iter().any(|of| self.choices[of].fault == choice.fault) {
                continue;
            }
            let (mut exact, mut left) = (weight * choice.odds, zeros);
            let (mut lower, mut lower_two) = (1.0, 1.0);
            for r in choice.touches.iter().map(|r| *r as usize) {
                let more = self.looks[r].more(&at[r], base[r], choice.fault);
                match likelihoods[r] > 0.0 {
                    true => exact *= more.likelihood / likelihoods[r],
                    false if more.likelihood > 0.0 => {
                        left -= 1;
                        exact *= more.likelihood;
                    }
                    false => {}
                }
                lower *= more.lower;
                lower_two *= more.lower_two;
                if more.raise > 1.0 {
                    raised[r].by.push((added.len() as u32, more.raise.ln()));
                }
            }
            if left > 0 {
                exact = 0.0;
            }
            added.push(Added {
                odds: choice.odds,
                lower: lower.ln(),
                lower_two: lower_two.ln(),
            });
            out.push((c, exact, 0.0));
        }
        let start = prior * base.iter().map(|b| b.likelihood).product::<f64>();
        for (out, beyond) in out.iter_mut().zip(beyond(&added, &raised)) {
            out.2 = start * beyond;
        }
        out
    }
}

/// Lists sets. `None` if nothing can explain what was seen.
pub(super) fn find(network: &Network, events: &[Event]) -> Option<Found> {
    let search = Search::new(network, events);
    let mut open: BinaryHeap<Open> = BinaryHeap::new();
    let mut listed: Vec<(Set, f64)> = Vec::new();
    let (mut total, mut lost) = (0.0, 0.0);
    for (set, _) in &search.roots {
        let at = search.with(set);
        let by = search.looks.iter().zip(&at).map(|(l, at)| l.likelihood(at));
        let weight = search.prior(set) * by.product::<f64>();
        total += weight;
        listed.push((set.clone(), weight));
        open.push(Open {
            set: set.clone(),
            beyond: f64::INFINITY,
        });
    }
    let all = |open: &BinaryHeap<Open>| open.iter().map(|o| o.beyond).sum::<f64>();
    // Kept as the search goes; summed once more before it ends.
    let (mut rest, mut gone_on, mut looked_at) = (f64::INFINITY, 0, 0);
    while gone_on < MOST || looked_at < MOST_LOOKED_AT {
        if rest <= ENOUGH * total {
            rest = all(&open);
            if rest <= ENOUGH * total {
                break;
            }
        }
        let Some(next) = open.pop() else { break };
        rest -= next.beyond;
        let larger = search.larger(&next.set);
        gone_on += 1;
        looked_at += larger.len();
        for (choice, weight, beyond) in larger {
            total += weight;
            let Some(set) = next.set.with(choice) else {
                lost += beyond + weight;
                total -= weight;
                continue;
            };
            if beyond > LIGHT * LIGHT * total {
                rest += beyond;
                open.push(Open {
                    set: set.clone(),
                    beyond,
                });
            } else {
                lost += beyond;
            }
            if weight > LIGHT * total {
                listed.push((set, weight));
            } else {
                lost += weight;
                total -= weight;
            }
        }
        if gone_on <= search.roots.len() || rest.is_nan() {
            rest = all(&open);
        }
    }
    let rest = all(&open) + lost;
    let light = trim(&mut listed);
    search.sum_up(network, listed, rest + light)
}

/// Leaves out the lightest sets; gives what they weigh.
fn trim(listed: &mut Vec<(Set, f64)>) -> f64 {
    // The lightest class holds all that is lighter: 64 halvings are next to nothing.
    const CLASSES: usize = 64;
    let most = listed.iter().map(|l| l.1).fold(0.0, f64::max);
    // By powers of two below the heaviest.
    let class = |w: f64| ((most / w).log2() as usize).min(CLASSES - 1);
    let mut weights = [0.0; CLASSES];
    listed.iter().for_each(|l| weights[class(l.1)] += l.1);
    let total: f64 = weights.iter().sum();
    let mut left_out = 0.0;
    let mut kept = CLASSES;
    while kept > 1 && left_out + weights[kept - 1] <= TRIM * total {
        kept -= 1;
        left_out += weights[kept];
    }
    listed.retain(|l| class(l.1) < kept);
    left_out
}

impl Search {
    fn sum_up(&self, network: &Network, listed: Vec<(Set, f64)>, rest: f64) -> Option<Found> {
        let total: f64 = listed.iter().map(|l| l.1).sum();
        if !(total > 0.0 && total.is_finite()) {
            // Nothing that was tried explains it, and something else may.
            return (rest > 0.0).then(|| Found::unknown(network, self.results, rest));
        }
        let mut found = Found {
            candidates: Weighted::with_capacity(listed.len()),
            evidence: total,
            left_out: 1.0 - total / (total + rest),
            candidates_left_out: 0.0,
            faults: vec![0.0; network.len()].into(),
            items: vec![0.0; network.items()].into(),
            places: vec![0.0; network.places()].into(),
            nothing: 0.0,
            misread: vec![0.0; self.results],
        };
        let mut now: Vec<FaultId> = Vec::new();
        let mut of: Vec<usize> = Vec::new();
        let mut too_large = 0.0;
        for (set, weight) in &listed {
            let p = weight / total;
            now.clear();
            now.extend(
                set.iter()
                    .map(|c| &self.choices[c])
                    .filter(|c| c.life.now)
                    .map(|c| c.fault),
            );
            now.iter().for_each(|f| found.faults[*f] += p);
            let mut of_each = |sums: &mut [f64], whole: &dyn Fn(FaultId) -> usize| {
                of.clear();
                of.extend(now.iter().map(|f| whole(*f)));
                of.sort_unstable();
                of.dedup();
                of.iter().for_each(|i| sums[*i] += p);
            };
            of_each(&mut found.items.raw, &|f| network.faults()[f].item.0);
            of_each(&mut found.places.raw, &|f| network.faults()[f].place.0);
            if now.is_empty() {
                found.nothing += p;
            }
            match Candidate::new(&now).filter(|_| now.len() <= MAX_SIZE) {
                Some(c) => found.candidates.push((c, p)),
                None => too_large += p,
            }
            for (look, at) in self.looks.iter().zip(&self.with(set)) {
                let sums = &mut found.misread[look.result..];
                look.wrongs(at, |r, wrong| sums[r] += p * wrong);
            }
        }
        super::candidates::merge(&mut found.candidates);
        found.candidates_left_out = 1.0 - (1.0 - too_large) * (1.0 - found.left_out);
        let sums = [
            &mut found.faults.raw,
            &mut found.items.raw,
            &mut found.places.raw,
            &mut found.misread,
        ];
        sums.into_iter()
            .flatten()
            .for_each(|p| *p = p.clamp(0.0, 1.0));
        Some(found)
    }
}
