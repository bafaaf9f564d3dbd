//! The sum over all sets of faults.
//!
//! The faults are gone through once. Every result carries a digit that says
//! how far it has been pushed relative to what was seen: *below* it, *at* it or
//! *beyond* it. The weights over all combinations of digits are kept; a fault
//! that is present moves weight up, a fault that is absent leaves it. At the
//! end each digit has its own likelihood. All terms are positive, so nothing
//! is lost to cancellation, unlike in the inclusion-exclusion form (Heckerman
//! 1989, "A tractable inference algorithm for diagnosing multiple diseases",
//! which this replaces).
//!
//! Remedies make a fault a variable with several *lives*: never there, there
//! all along, cleared by the second remedy, and so on. Lives are independent
//! between faults, so the sum stays exact over any number of remedies.
//!
//! Cost: number of digit combinations times number of links, five times over.

use super::network::{Change, Event, FaultId, Network, Seen};

/// Most digit combinations that are carried.
pub const MAX_STATES: usize = 1 << 14;

/// Exact answers over all sets of faults. "Now" is after all events.
#[derive(Clone, Debug)]
pub struct Exact {
    /// Probability of everything that was seen.
    pub evidence: f64,
    /// Probability of each fault now.
    pub faults: Vec<f64>,
    /// Probability that an item has some fault now.
    pub items: Vec<f64>,
    /// Probability that a place has some fault now.
    pub places: Vec<f64>,
    /// Probability that nothing is at fault now.
    pub nothing: f64,
    /// For each result, in order, the probability that it was a misreading:
    /// that the device really was in another outcome.
    pub misread: Vec<f64>,
}

/// One life of a fault that is there at some time.
struct Life {
    weight: f64,
    /// Bit e: present in epoch e.
    present: u64,
    now: bool,
}

fn lives(p: f64, id: FaultId, changes: &[&Change]) -> (f64, Vec<Life>) {
    let mut all = vec![(1.0 - p, 0u64, false), (p, 1u64, true)];
    for (e, change) in changes.iter().enumerate() {
        let bit = 1u64 << (e + 1).min(63);
        let clears = change
            .clears
            .iter()
            .find(|c| c.0 == id)
            .map_or(0.0, |c| c.1);
        let brings = change
            .brings
            .iter()
            .find(|c| c.0 == id)
            .map_or(0.0, |c| c.1);
        let mut next: Vec<(f64, u64, bool)> = Vec::with_capacity(all.len() * 2);
        let mut add = |w: f64, mask: u64, now: bool| {
            if w > 0.0 {
                match next.iter_mut().find(|l| l.1 == mask && l.2 == now) {
                    Some(l) => l.0 += w,
                    None => next.push((w, mask, now)),
                }
            }
        };
        for (w, mask, now) in all {
            // First what is cleared, then what the work may bring.
            let stays = if now { 1.0 - clears } else { 0.0 };
            let there = stays + (1.0 - stays) * brings;
            add(w * there, mask | bit, true);
            add(w * (1.0 - there), mask, false);
        }
        all = next;
    }
    let mut absent = 0.0;
    let mut there = Vec::new();
    for (weight, present, now) in all {
        if present == 0 && !now {
            absent += weight;
        } else {
            there.push(Life {
                weight,
                present,
                now,
            });
        }
    }
    (absent, there)
}

/// How a digit is moved by one fault.
#[derive(Clone, Copy)]
struct Push {
    digit: usize,
    epoch: u32,
    /// Chance of reaching "at" and of reaching "beyond"; unused for folded results.
    at: f64,
    beyond: f64,
    /// Chance that it stays possible at all (folded results); 1 otherwise.
    keep: f64,
}

struct Digit {
    stride: usize,
    levels: usize,
    /// Likelihood of each level at the end.
    last: [f64; 3],
    /// Whether level 1 is reached from "below" (or, with two levels, whether
    /// the upper level is "beyond").
    upper_is_beyond: bool,
    start: [f64; 3],
    /// Index among the results.
    result: usize,
    flat: f64,
}

struct Plan {
    digits: Vec<Digit>,
    states: usize,
    /// Weight of what holds whatever the faults are.
    constant: f64,
    /// Per fault.
    pushes: Vec<Vec<Push>>,
}

fn plan(network: &Network, events: &[Event]) -> Option<(Plan, usize)> {
    let mut digits: Vec<Digit> = Vec::new();
    let mut pushes: Vec<Vec<Push>> = vec![Vec::new(); network.len()];
    let mut constant = 1.0;
    let mut states = 1usize;
    let mut epoch = 0u32;
    let mut results = 0usize;
    for event in events {
        let Seen { finding, outcome } = match event {
            Event::Changed(_) => {
                epoch += 1;
                continue;
            }
            Event::Seen(s) => s,
        };
        let n = finding.outcomes();
        let k = *outcome;
        let last = k + 1 == n;
        let flat = finding.misread() / n as f64;
        let real = 1.0 - finding.misread() + flat;
        // P(push <= k-1) and P(push <= k) for a vector of cumulative chances.
        let split = |c: &[f64]| -> (f64, f64) {
            let below = if k == 0 { 0.0 } else { c[k - 1] };
            let upto = if last { 1.0 } else { c[k] };
            (below, upto)
        };
        let (below, upto) = split(finding.leak());
        if finding.misread() == 0.0 && k == 0 {
            // Nothing may push beyond: a plain factor per fault.
            constant *= upto;
            for (f, c) in finding.links() {
                pushes[*f].push(Push {
                    digit: usize::MAX,
                    epoch,
                    at: 0.0,
                    beyond: 0.0,
                    keep: c[0],
                });
            }
            results += 1;
            continue;
        }
        let folded = finding.misread() == 0.0;
        let (levels, ends, start, upper_is_beyond) = if k == 0 {
            (2, [real, flat, 0.0], [upto, 1.0 - upto, 0.0], true)
        } else if last || folded {
            if folded && !last {
                constant *= upto;
            }
            let b = if upto > 0.0 { below / upto } else { 0.0 };
            let b = if last { below } else { b };
            (2, [flat, real, 0.0], [b, 1.0 - b, 0.0], false)
        } else {
            (
                3,
                [flat, real, flat],
                [below, upto - below, 1.0 - upto],
                false,
            )
        };
        for (f, c) in finding.links() {
            let (b, u) = split(c);
            let push = if k == 0 {
                Push {
                    digit: digits.len(),
                    epoch,
                    at: 0.0,
                    beyond: 1.0 - u,
                    keep: 1.0,
                }
            } else if folded && !last {
                Push {
                    digit: digits.len(),
                    epoch,
                    at: if u > 0.0 { 1.0 - b / u } else { 0.0 },
                    beyond: 0.0,
                    keep: u,
                }
            } else {
                Push {
                    digit: digits.len(),
                    epoch,
                    at: u - b,
                    beyond: 1.0 - u,
                    keep: 1.0,
                }
            };
            pushes[*f].push(push);
        }
        digits.push(Digit {
            stride: states,
            levels,
            last: ends,
            upper_is_beyond,
            start,
            result: results,
            flat,
        });
        results += 1;
        states = states.checked_mul(levels).filter(|s| *s <= MAX_STATES)?;
    }
    if epoch >= 63 {
        return None;
    }
    // The results that most faults push get the widest strides: those are
    // moved in long runs.
    let mut linked = vec![0usize; digits.len()];
    for p in pushes.iter().flatten().filter(|p| p.digit != usize::MAX) {
        linked[p.digit] += 1;
    }
    let mut narrow: Vec<usize> = (0..digits.len()).collect();
    narrow.sort_by_key(|d| linked[*d]);
    let mut stride = 1;
    for d in narrow {
        digits[d].stride = stride;
        stride *= digits[d].levels;
    }
    Some((
        Plan {
            digits,
            states,
            constant,
            pushes,
        },
        results,
    ))
}

/// Whether the sum over all sets is within reach for these events.
pub fn within_reach(network: &Network, events: &[Event]) -> bool {
    plan(network, events).is_some()
}

impl Plan {
    fn start(&self) -> Vec<f64> {
        let mut v = vec![self.constant; self.states];
        for d in &self.digits {
            for (s, x) in v.iter_mut().enumerate() {
                *x *= d.start[s / d.stride % d.levels];
            }
        }
        v
    }

    fn end(&self) -> Vec<f64> {
        let mut v = vec![1.0; self.states];
        for d in &self.digits {
            for (s, x) in v.iter_mut().enumerate() {
                *x *= d.last[s / d.stride % d.levels];
            }
        }
        v
    }

    /// Chances of moving up, as (0 to 1, 0 to 2, 1 to 2).
    fn moves(&self, p: &Push) -> (f64, f64, f64) {
        let d = &self.digits[p.digit];
        if d.levels == 3 {
            (p.at, p.beyond, p.beyond)
        } else if d.upper_is_beyond {
            (p.beyond, 0.0, 0.0)
        } else {
            (p.at, 0.0, 0.0)
        }
    }

    /// Goes over `pushes` of a fault where it is present, each on its own digit: `two` and `three` move the weights of one run of levels.
    /// Gives the chance that what was folded in stays possible.
    fn sweep<'p>(
        &self,
        v: &mut [f64],
        pushes: impl Iterator<Item = &'p Push>,
        present: u64,
        two: impl Fn(&mut f64, &mut f64, f64),
        three: impl Fn([f64; 3], (f64, f64, f64)) -> [f64; 3],
    ) -> f64 {
        let mut keep = 1.0;
        for p in pushes {
            if present >> p.epoch & 1 == 0 {
                continue;
            }
            keep *= p.keep;
            if p.digit == usize::MAX {
                continue;
            }
            let d = &self.digits[p.digit];
            let moves = self.moves(p);
            let step = d.stride;
            for block in v.chunks_exact_mut(step * d.levels) {
                if d.levels == 2 {
                    let (low, high) = block.split_at_mut(step);
                    for (l, h) in low.iter_mut().zip(high) {
                        two(l, h, moves.0);
                    }
                } else {
                    for i in 0..step {
                        let was = [block[i], block[i + step], block[i + 2 * step]];
                        let [a, b, c] = three(was, moves);
                        block[i] = a;
                        block[i + step] = b;
                        block[i + 2 * step] = c;
                    }
                }
            }
        }
        keep
    }

    /// Moves weight up as a present fault does.
    fn push(&self, v: &mut [f64], fault: FaultId, present: u64) -> f64 {
        self.sweep(
            v,
            self.pushes[fault].iter(),
            present,
            |l, h, up| {
                *h += *l * up;
                *l *= 1.0 - up;
            },
            |[a, b, c], (up, far, on)| {
                [
                    a * (1.0 - up - far),
                    a * up + b * (1.0 - on),
                    a * far + b * on + c,
                ]
            },
        )
    }

    /// The transpose of [`Self::push`].
    fn pull(&self, v: &mut [f64], fault: FaultId, present: u64) -> f64 {
        self.sweep(
            v,
            self.pushes[fault].iter().rev(),
            present,
            |l, h, up| *l = *l * (1.0 - up) + *h * up,
            |[a, b, c], (up, far, on)| {
                [
                    a * (1.0 - up - far) + b * up + c * far,
                    b * (1.0 - on) + c * on,
                    c,
                ]
            },
        )
    }

    /// `v` after a fault: its absent weight plus those of its lives.
    fn forward(
        &self,
        v: &[f64],
        fault: FaultId,
        absent: f64,
        lives: &[Life],
        room: &mut [f64],
    ) -> Vec<f64> {
        let mut out: Vec<f64> = v.iter().map(|x| x * absent).collect();
        self.add(&mut out, v, fault, lives.iter(), room, Plan::push);
        out
    }

    /// Adds what `v` becomes in each of these lives.
    fn add<'l>(
        &self,
        out: &mut [f64],
        v: &[f64],
        fault: FaultId,
        lives: impl Iterator<Item = &'l Life>,
        room: &mut [f64],
        step: impl Fn(&Plan, &mut [f64], FaultId, u64) -> f64,
    ) {
        for life in lives {
            room.copy_from_slice(v);
            let keep = step(self, room, fault, life.present) * life.weight;
            for (o, m) in out.iter_mut().zip(room.iter()) {
                *o += m * keep;
            }
        }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Sums over all sets. `None` if there are too many results for it
/// ([`MAX_STATES`]), or if what was seen is impossible under the model.
pub fn sum(network: &Network, events: &[Event]) -> Option<Exact> {
    let (plan, results) = plan(network, events)?;
    let changes: Vec<&Change> = events
        .iter()
        .filter_map(|e| match e {
            Event::Changed(c) => Some(c),
            Event::Seen(_) => None,
        })
        .collect();
    let all: Vec<(f64, Vec<Life>)> = network
        .faults()
        .iter()
        .enumerate()
        .map(|(f, p)| lives(p.probability, f, &changes))
        .collect();
    let now_of = |f: FaultId| -> f64 { all[f].1.iter().filter(|l| l.now).map(|l| l.weight).sum() };
    // Places hold items hold faults, so that each is one run of the order.
    let mut order: Vec<FaultId> = (0..network.len())
        .filter(|f| !plan.pushes[*f].is_empty())
        .collect();
    let key = |f: &FaultId| {
        let p = network.faults()[*f];
        (p.place, p.item, *f)
    };
    order.sort_by_key(key);
    let mut room = vec![0.0; plan.states];
    let mut ahead: Vec<Vec<f64>> = Vec::with_capacity(order.len() + 1);
    ahead.push(plan.start());
    for f in &order {
        let (absent, lives) = &all[*f];
        let next = plan.forward(&ahead[ahead.len() - 1], *f, *absent, lives, &mut room);
        ahead.push(next);
    }
    let end = plan.end();
    let total = dot(&ahead[order.len()], &end);
    if total <= 0.0 || !total.is_finite() {
        return None;
    }
    let mut faults: Vec<f64> = (0..network.len()).map(now_of).collect();
    // Items and places start with their faults that no result touches.
    let mut no_item = vec![1.0; network.items()];
    let mut no_place = vec![1.0; network.places()];
    let mut nothing = 1.0;
    for (f, p) in network.faults().iter().enumerate() {
        if plan.pushes[f].is_empty() {
            no_item[p.item] *= 1.0 - faults[f];
            no_place[p.place] *= 1.0 - faults[f];
            nothing *= 1.0 - faults[f];
        }
    }
    let mut back = end.clone();
    let (mut item, mut place, mut none) = (end.clone(), end.clone(), end.clone());
    // Factors on the last three: a fault that no remedy touches only scales them.
    let (mut item_by, mut place_by, mut none_by) = (1.0, 1.0, 1.0);
    let (mut there, mut spare) = (end.clone(), end.clone());
    for (i, f) in order.iter().enumerate().rev() {
        let (absent, lives) = &all[*f];
        let prior = network.faults()[*f];
        let following = order.get(i + 1).map(|g| network.faults()[*g]);
        if following.is_none_or(|g| g.item != prior.item || g.place != prior.place) {
            item.copy_from_slice(&back);
            item_by = 1.0;
        }
        if following.is_none_or(|g| g.place != prior.place) {
            place.copy_from_slice(&back);
            place_by = 1.0;
        }
        there.fill(0.0);
        let now = lives.iter().filter(|l| l.now);
        plan.add(&mut there, &back, *f, now, &mut room, Plan::pull);
        faults[*f] = (dot(&ahead[i], &there) / total).clamp(0.0, 1.0);
        // What is left of a vector if the fault is not there now.
        if lives.iter().all(|l| l.now) {
            back.iter_mut().for_each(|x| *x *= absent);
            item_by *= absent;
            place_by *= absent;
            none_by *= absent;
        } else {
            for v in [&mut back, &mut item, &mut place, &mut none] {
                spare.copy_from_slice(v);
                v.iter_mut().for_each(|x| *x *= absent);
                let gone = lives.iter().filter(|l| !l.now);
                plan.add(v, &spare, *f, gone, &mut room, Plan::pull);
            }
        }
        for (b, t) in back.iter_mut().zip(&there) {
            *b += t;
        }
        let before = i.checked_sub(1).map(|j| network.faults()[order[j]]);
        if before.is_none_or(|g| g.item != prior.item || g.place != prior.place) {
            no_item[prior.item] *= item_by * dot(&ahead[i], &item) / total;
        }
        if before.is_none_or(|g| g.place != prior.place) {
            no_place[prior.place] *= place_by * dot(&ahead[i], &place) / total;
        }
    }
    nothing *= none_by * dot(&ahead[0], &none) / total;
    let mut misread = vec![0.0; results];
    let last = &ahead[order.len()];
    for d in &plan.digits {
        if d.flat == 0.0 {
            continue;
        }
        let seen = usize::from(!d.upper_is_beyond);
        let wrong: f64 = last
            .iter()
            .zip(&end)
            .enumerate()
            .filter(|(s, _)| s / d.stride % d.levels != seen)
            .map(|(_, (w, e))| w * e)
            .sum();
        misread[d.result] = (wrong / total).clamp(0.0, 1.0);
    }
    Some(Exact {
        evidence: total,
        faults,
        items: no_item.iter().map(|p| (1.0 - p).clamp(0.0, 1.0)).collect(),
        places: no_place.iter().map(|p| (1.0 - p).clamp(0.0, 1.0)).collect(),
        nothing: nothing.clamp(0.0, 1.0),
        misread,
    })
}

/// Only the probability of what was seen (one pass instead of five).
pub fn evidence(network: &Network, events: &[Event]) -> Option<f64> {
    let (plan, _) = plan(network, events)?;
    let changes: Vec<&Change> = events
        .iter()
        .filter_map(|e| match e {
            Event::Changed(c) => Some(c),
            Event::Seen(_) => None,
        })
        .collect();
    let mut v = plan.start();
    let mut room = v.clone();
    for (f, p) in network.faults().iter().enumerate() {
        if !plan.pushes[f].is_empty() {
            let (absent, lives) = lives(p.probability, f, &changes);
            v = plan.forward(&v, f, absent, &lives, &mut room);
        }
    }
    Some(dot(&v, &plan.end()))
}
