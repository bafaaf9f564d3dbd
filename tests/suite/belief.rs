//! Outside checks of the inference: against reference libraries, against sums
//! written out here, against published examples and against the laws that any
//! belief has to obey.
//!
//! CONVENTION: a link's strength EXCLUDES the leak,
//! `P(yes | faults) = 1 - (1 - leak) * prod(1 - strength of each present fault)`.
//!
//! | check | published source |
//! | --- | --- |
//! | noisy-OR and noisy-MAX | Pearl 1988, "Probabilistic Reasoning in Intelligent Systems"; Henrion 1989, "Some practical issues in constructing belief networks" |
//! | medical networks | UAI 2014 inference competition (file not part of this project) |
//! | next probe | de Kleer and Williams 1987, "Diagnosing multiple faults" |
//! | order of remedies | Heckerman, Breese and Rommelse 1995, "Decision-theoretic troubleshooting" |
//! | conflict | Jensen, Chamberlain, Nordahl and Jensen 1990, "Analysis in HUGIN of data conflict" |
//!
//! Random cases are seeded; a failure names its seed.

#![allow(clippy::type_complexity, clippy::filter_map_bool_then)]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use halfsplit::belief::candidates::{self, Candidate, Likelihood, Outlook};
use halfsplit::belief::{
    Belief, Change, Event, FaultId, Finding, ItemId, Network, PlaceId, Prior, Seen, Size,
    conflict_bits, convert, exact, leak_for, update, weights_of_evidence,
};
use halfsplit::bench::{BenchState, Moves};
use halfsplit::plan::{
    Act, Costs, Effort, PlanTest, RemedyId, Situation, TestId, advise,
    order_by_probability_over_cost,
};
use proptest::prelude::*;
use rand::rngs::StdRng;
use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use serde::Deserialize;
use typed_index_collections::{TiSlice, TiVec};

#[track_caller]
fn near(got: f64, want: f64, within: f64, what: &str) {
    // `!(..)` so that a NaN fails too.
    assert!(
        (got - want).abs() <= within,
        "{what}: got {got:e}, want {want:e}, off by {:e}",
        (got - want).abs()
    );
}

#[track_caller]
fn all_near(
    got: &(impl AsRef<[f64]> + ?Sized),
    want: &(impl AsRef<[f64]> + ?Sized),
    within: f64,
    what: &str,
) {
    let (got, want) = (got.as_ref(), want.as_ref());
    assert_eq!(got.len(), want.len(), "{what}");
    for (i, (g, w)) in got.iter().zip(want).enumerate() {
        near(*g, *w, within, &format!("{what} [{i}]"));
    }
}

// ---- the sum written out ------------------------------------------------------

/// A finding as this file understands it; shares no code with the crate's.
#[derive(Clone, Debug)]
struct Look {
    outcomes: usize,
    leak: f64,
    /// Chance that a fault pushes to outcome 1, 2, ..
    pushes: Vec<(usize, Vec<f64>)>,
    misread: f64,
    /// Instead of pushes.
    joint: Option<Joint>,
}

/// Chances of the outcomes by set of faults (bits), and when read at random.
#[derive(Clone, Debug)]
struct Joint {
    rows: Vec<(usize, Vec<f64>)>,
    flat: Vec<f64>,
}

impl Joint {
    /// A set without a row has the mean of those of its largest listed subsets.
    fn truly(&self, set: usize) -> Vec<f64> {
        let group = self.rows.iter().fold(0, |all, r| all | r.0);
        let set = set & group;
        for size in (0..=set.count_ones()).rev() {
            let rows: Vec<&Vec<f64>> = self
                .rows
                .iter()
                .filter(|r| r.0 & !set == 0 && r.0.count_ones() == size)
                .map(|r| &r.1)
                .collect();
            if !rows.is_empty() {
                return (0..self.flat.len())
                    .map(|k| rows.iter().map(|r| r[k]).sum::<f64>() / rows.len() as f64)
                    .collect();
            }
        }
        unreachable!("no fault has a row");
    }
}

fn faults_of(set: usize) -> Vec<FaultId> {
    let there = (0..64).filter(|f| set >> f & 1 == 1);
    there.map(FaultId).collect()
}

impl Look {
    fn finding(&self) -> Finding {
        if let Some(joint) = &self.joint {
            let rows: Vec<(Vec<FaultId>, Vec<f64>)> = joint
                .rows
                .iter()
                .map(|(set, row)| (faults_of(*set), row.clone()))
                .collect();
            Finding::joint(&rows, self.misread).misread_as(joint.flat.clone())
        } else if self.outcomes == 2 {
            let links = self.pushes.iter().map(|(f, c)| (FaultId(*f), c[0]));
            let links: Vec<(FaultId, f64)> = links.collect();
            Finding::yes_no(self.leak, &links, self.misread)
        } else {
            let pushes = self.pushes.iter();
            let pushes = pushes.map(|(f, c)| (FaultId(*f), c.clone()));
            let pushes: Vec<(FaultId, Vec<f64>)> = pushes.collect();
            Finding::ordered(self.outcomes, self.leak, &pushes, self.misread)
        }
    }

    /// Reads a compiled finding back into single chances.
    fn of(finding: &Finding) -> Look {
        Look {
            outcomes: finding.outcomes(),
            leak: 1.0 - finding.leak()[0],
            pushes: finding
                .links()
                .iter()
                .map(|(f, upto)| {
                    let chance = |k: usize| match upto.get(k) {
                        Some(u) => u - upto[k - 1],
                        None => 1.0 - upto[k - 1],
                    };
                    (f.0, (1..finding.outcomes()).map(chance).collect())
                })
                .collect(),
            misread: finding.misread(),
            joint: None,
        }
    }

    /// Chance of each true outcome: the largest of independent pushes.
    fn truly(&self, set: usize) -> Vec<f64> {
        if let Some(joint) = &self.joint {
            return joint.truly(set);
        }
        let mut now = vec![0.0; self.outcomes];
        now[0] = 1.0 - self.leak;
        now[1] = self.leak;
        for (f, chances) in &self.pushes {
            if set >> f & 1 == 0 {
                continue;
            }
            let stays = 1.0 - chances.iter().sum::<f64>();
            let mut next = vec![0.0; self.outcomes];
            for (a, p) in now.iter().enumerate() {
                next[a] += p * stays;
                for (b, q) in chances.iter().enumerate() {
                    next[a.max(b + 1)] += p * q;
                }
            }
            now = next;
        }
        now
    }

    fn reads(&self, set: usize, outcome: usize) -> f64 {
        (1.0 - self.misread) * self.truly(set)[outcome] + self.at_random(outcome)
    }

    fn at_random(&self, outcome: usize) -> f64 {
        match &self.joint {
            Some(joint) => self.misread * joint.flat[outcome],
            None => self.misread / self.outcomes as f64,
        }
    }

    /// Drawn at random, and not by luck what it truly was; a number never is.
    fn wrong(&self, set: usize, outcome: usize) -> f64 {
        let luck = if self.outcomes == 1 {
            0.0
        } else {
            self.truly(set)[outcome]
        };
        self.at_random(outcome) * (1.0 - luck)
    }
}

#[derive(Clone, Debug)]
enum Step {
    Seen(Look, usize),
    Changed(Change),
}

fn events(steps: &[Step]) -> Vec<Event> {
    steps
        .iter()
        .map(|s| match s {
            Step::Seen(l, k) => Event::seen(&l.finding(), *k),
            Step::Changed(c) => Event::Changed(c.clone()),
        })
        .collect()
}

fn prior_weight(network: &Network, set: usize) -> f64 {
    network
        .faults()
        .iter()
        .enumerate()
        .map(|(f, p)| {
            if set >> f & 1 == 1 {
                p.probability
            } else {
                1.0 - p.probability
            }
        })
        .product()
}

/// What a change makes of the weights over all sets, one fault at a time.
fn changed(weights: &[f64], change: &Change) -> Vec<f64> {
    let mut now = weights.to_vec();
    for (FaultId(f), chance) in &change.clears {
        let mut next = now.clone();
        for set in (0..now.len()).filter(|s| s >> f & 1 == 1) {
            next[set] -= now[set] * chance;
            next[set & !(1 << f)] += now[set] * chance;
        }
        now = next;
    }
    for (FaultId(f), chance) in &change.brings {
        let mut next = now.clone();
        for set in (0..now.len()).filter(|s| s >> f & 1 == 0) {
            next[set] -= now[set] * chance;
            next[set | 1 << f] += now[set] * chance;
        }
        now = next;
    }
    now
}

/// Joint weight of every set with what was seen; `alter` replaces the
/// likelihood of one result.
fn enumerate(
    network: &Network,
    steps: &[Step],
    start: impl Fn(usize) -> bool,
    alter: Option<(usize, &dyn Fn(&Look, usize, usize) -> f64)>,
) -> Vec<f64> {
    let mut weights: Vec<f64> = (0..1 << network.len())
        .map(|set| {
            if start(set) {
                prior_weight(network, set)
            } else {
                0.0
            }
        })
        .collect();
    let mut result = 0;
    for step in steps {
        match step {
            Step::Changed(c) => weights = changed(&weights, c),
            Step::Seen(look, k) => {
                for (set, w) in weights.iter_mut().enumerate() {
                    *w *= match alter {
                        Some((which, f)) if which == result => f(look, set, *k),
                        _ => look.reads(set, *k),
                    };
                }
                result += 1;
            }
        }
    }
    weights
}

struct Brute {
    evidence: f64,
    faults: Vec<f64>,
    items: Vec<f64>,
    places: Vec<f64>,
    nothing: f64,
    misread: Vec<f64>,
    weights: Vec<f64>,
}

fn brute(network: &Network, steps: &[Step]) -> Brute {
    let weights = enumerate(network, steps, |_| true, None);
    let evidence: f64 = weights.iter().sum();
    let share = |holds: &dyn Fn(usize) -> bool| -> f64 {
        let sum: f64 = weights
            .iter()
            .enumerate()
            .filter(|(s, _)| holds(*s))
            .map(|(_, w)| w)
            .sum();
        sum / evidence
    };
    let any = |set: usize, of: &dyn Fn(&Prior) -> bool| {
        network
            .faults()
            .iter()
            .enumerate()
            .any(|(f, p)| set >> f & 1 == 1 && of(p))
    };
    let results = steps.iter().filter(|s| matches!(s, Step::Seen(..))).count();
    let misread = (0..results)
        .map(|r| {
            let wrong = |l: &Look, set: usize, k: usize| l.wrong(set, k);
            let w: f64 = enumerate(network, steps, |_| true, Some((r, &wrong)))
                .iter()
                .sum();
            w / evidence
        })
        .collect();
    Brute {
        evidence,
        faults: (0..network.len())
            .map(|f| share(&|s| s >> f & 1 == 1))
            .collect(),
        items: (0..network.items())
            .map(|i| share(&|s| any(s, &|p| p.item.0 == i)))
            .collect(),
        places: (0..network.places())
            .map(|i| share(&|s| any(s, &|p| p.place.0 == i)))
            .collect(),
        nothing: share(&|s| s == 0),
        misread,
        weights,
    }
}

/// Two faults to an item, two places.
fn random_network(rng: &mut StdRng, n: usize) -> Network {
    Network::new(
        (0..n)
            .map(|f| {
                let p = match rng.random_range(0..20) {
                    0 => 0.0,
                    1 => 1.0,
                    _ => 0.005 * 60f64.powf(rng.random()),
                };
                Prior::new(p, ItemId(f / 2), PlaceId(f / 2 % 2))
            })
            .collect(),
    )
}

fn random_look(rng: &mut StdRng, n: usize) -> Look {
    let outcomes = [2, 2, 3, 4][rng.random_range(0..4)];
    let mut faults: Vec<usize> = (0..n).collect();
    faults.shuffle(rng);
    let many = rng.random_range(1..=n.min(5));
    Look {
        outcomes,
        leak: if rng.random_bool(0.3) {
            0.0
        } else {
            rng.random_range(0.0..0.2)
        },
        pushes: faults[..many]
            .iter()
            .map(|f| {
                let parts: Vec<f64> = (0..outcomes).map(|_| rng.random::<f64>() + 1e-3).collect();
                let sum: f64 = parts.iter().sum();
                (*f, parts[1..].iter().map(|p| p / sum).collect())
            })
            .collect(),
        misread: if rng.random_bool(0.3) {
            0.0
        } else {
            rng.random_range(0.0..0.3)
        },
        joint: None,
    }
}

/// A finding in which a few faults act together: a number or some outcomes,
/// rows for all single faults and most pairs, perhaps some larger sets.
fn random_joint(rng: &mut StdRng, n: usize) -> Look {
    let outcomes = rng.random_range(1..=4);
    let mut faults: Vec<usize> = (0..n).collect();
    faults.shuffle(rng);
    faults.truncate(rng.random_range(1..=n.min(4)));
    let group = faults.iter().fold(0usize, |set, f| set | 1 << f);
    let row = |rng: &mut StdRng| -> Vec<f64> {
        let parts: Vec<f64> = (0..outcomes).map(|_| rng.random::<f64>()).collect();
        let sum: f64 = parts.iter().sum();
        match outcomes {
            1 => vec![parts[0] * 5.0],
            _ => parts.iter().map(|p| p / sum).collect(),
        }
    };
    let mut rows = Vec::new();
    for set in (0usize..1 << n).filter(|s| s & !group == 0) {
        let listed = match set.count_ones() {
            0 | 1 => true,
            2 => rng.random_bool(0.8),
            _ => rng.random_bool(0.3),
        };
        if listed {
            rows.push((set, row(rng)));
        }
    }
    Look {
        outcomes,
        leak: 0.0,
        pushes: Vec::new(),
        misread: if rng.random_bool(0.3) {
            0.0
        } else {
            rng.random_range(0.0..0.3)
        },
        joint: Some(Joint {
            rows,
            flat: row(rng),
        }),
    }
}

/// Results, one to three of them joint, with remedies in between.
fn joint_steps(rng: &mut StdRng, n: usize, results: usize, changes: usize) -> Vec<Step> {
    let mut steps = random_steps(rng, n, results, changes);
    for step in &mut steps {
        if let Step::Changed(c) = step {
            c.clears.truncate(3);
            c.brings.truncate(1);
        }
    }
    for _ in 0..rng.random_range(1..=3) {
        let look = random_joint(rng, n);
        let k = rng.random_range(0..look.outcomes);
        steps.insert(rng.random_range(0..=steps.len()), Step::Seen(look, k));
    }
    steps
}

/// The same by seed, only cases that can be.
fn possible_joint(seed: u64, n: usize, results: usize, changes: usize) -> (Network, Vec<Step>) {
    let mut rng = StdRng::seed_from_u64(seed);
    loop {
        let network = random_network(&mut rng, n);
        let steps = joint_steps(&mut rng, n, results, changes);
        if enumerate(&network, &steps, |_| true, None)
            .iter()
            .sum::<f64>()
            > 1e-9
        {
            return (network, steps);
        }
    }
}

fn random_change(rng: &mut StdRng, n: usize) -> Change {
    let mut some = |most: f64| -> Vec<(FaultId, f64)> {
        (0..n)
            .filter_map(|f| {
                rng.random_bool(0.4)
                    .then(|| (FaultId(f), rng.random_range(0.0..=most)))
            })
            .collect()
    };
    Change {
        clears: some(1.0),
        brings: some(0.2),
    }
}

/// Results with remedies in between.
fn random_steps(rng: &mut StdRng, n: usize, results: usize, changes: usize) -> Vec<Step> {
    let mut steps: Vec<Step> = (0..results)
        .map(|_| {
            let look = random_look(rng, n);
            let k = rng.random_range(0..look.outcomes);
            Step::Seen(look, k)
        })
        .collect();
    for _ in 0..changes {
        let at = rng.random_range(0..=steps.len());
        let c = random_change(rng, n);
        steps.insert(at, Step::Changed(c));
    }
    steps
}

/// A case whose results can be, by seed.
fn possible(seed: u64, n: usize, results: usize, changes: usize) -> (Network, Vec<Step>) {
    let mut rng = StdRng::seed_from_u64(seed);
    loop {
        let network = random_network(&mut rng, n);
        let steps = random_steps(&mut rng, n, results, changes);
        if enumerate(&network, &steps, |_| true, None)
            .iter()
            .sum::<f64>()
            > 1e-9
        {
            return (network, steps);
        }
    }
}

#[test]
fn sum_over_all_sets_is_the_sum_written_out() {
    let mut impossible = 0;
    for seed in 0..300 {
        let mut rng = StdRng::seed_from_u64(seed);
        let n = rng.random_range(1..=8);
        let network = random_network(&mut rng, n);
        let results = rng.random_range(0..=6);
        let changes = rng.random_range(0..=3);
        let steps = random_steps(&mut rng, n, results, changes);
        let events = events(&steps);
        let want = brute(&network, &steps);
        let what = format!("seed {seed}");
        if want.evidence == 0.0 {
            impossible += 1;
            assert!(update(&network, &events, Size::All).impossible, "{what}");
            continue;
        }
        let got = exact::sum(&network, &events).unwrap_or_else(|| panic!("{what}: no sum"));
        near(got.evidence / want.evidence, 1.0, 1e-12, &what);
        let only = exact::evidence(&network, &events).unwrap();
        near(only / want.evidence, 1.0, 1e-12, &what);
        all_near(&got.faults, &want.faults, 1e-12, &what);
        all_near(&got.items, &want.items, 1e-12, &what);
        all_near(&got.places, &want.places, 1e-12, &what);
        near(got.nothing, want.nothing, 1e-12, &what);
        all_near(&got.misread, &want.misread, 1e-12, &what);
        for size in [Size::Auto, Size::All] {
            let b = update(&network, &events, size);
            assert!(!b.impossible, "{what}");
            all_near(&b.faults, &want.faults, 1e-12, &what);
            assert_eq!(b.left_out, 0.0, "{what}");
        }
    }
    assert!(
        (1..150).contains(&impossible),
        "{impossible} impossible cases"
    );
}

#[test]
fn listed_sets_of_full_size_are_the_sum_written_out() {
    for seed in 0..200 {
        let n = 1 + seed as usize % 6;
        let (network, steps) = possible(seed, n, 4, seed as usize % 3);
        let want = brute(&network, &steps);
        let b = update(&network, &events(&steps), Size::UpTo(6));
        let what = format!("seed {seed}");
        all_near(&b.faults, &want.faults, 1e-12, &what);
        all_near(&b.items, &want.items, 1e-12, &what);
        all_near(&b.places, &want.places, 1e-12, &what);
        near(b.nothing, want.nothing, 1e-12, &what);
        all_near(&b.misread, &want.misread, 1e-11, &what);
        near(b.evidence_log2, want.evidence.log2(), 1e-11, &what);
        near(b.left_out, 0.0, 1e-12, &what);
        for (c, p) in &b.candidates {
            let set = c.iter().fold(0, |s, f| s | 1 << f.0);
            near(*p, want.weights[set] / want.evidence, 1e-12, &what);
        }
    }
}

// ---- faults that act together ------------------------------------------------

#[test]
fn joint_results_are_in_the_sum_written_out() {
    let (mut out_of_reach, mut wide, mut whole) = (0, 0, 0);
    for seed in 0..300 {
        let mut rng = StdRng::seed_from_u64(40_000 + seed);
        let n = rng.random_range(6..=9);
        let results = rng.random_range(0..=9);
        let changes = rng.random_range(0..=2);
        let (network, steps) = possible_joint(seed, n, results, changes);
        let events = events(&steps);
        let what = format!("seed {seed}");
        if !exact::within_reach(&network, &events) {
            out_of_reach += 1;
            continue;
        }
        wide += usize::from(results > 7);
        let want = brute(&network, &steps);
        let got = exact::sum(&network, &events).unwrap_or_else(|| panic!("{what}: no sum"));
        whole += usize::from(got.left_out == 0.0);
        let within = 1e-10 + got.left_out;
        near(got.evidence / want.evidence, 1.0, within, &what);
        let only = exact::evidence(&network, &events).unwrap();
        near(only / want.evidence, 1.0, within, &what);
        all_near(&got.faults, &want.faults, within, &what);
        all_near(&got.items, &want.items, within, &what);
        all_near(&got.places, &want.places, within, &what);
        near(got.nothing, want.nothing, within, &what);
        all_near(&got.misread, &want.misread, within, &what);
        for size in [Size::Auto, Size::All] {
            let b = update(&network, &events, size);
            assert!(!b.impossible, "{what}");
            all_near(&b.faults, &want.faults, within, &what);
            for (c, p) in &b.candidates {
                let set = c.iter().fold(0, |s, f| s | 1 << f.0);
                let off = b.candidates_left_out + 1e-10;
                near(*p, want.weights[set] / want.evidence, off, &what);
            }
        }
    }
    assert!(
        out_of_reach < 30 && wide > 30 && whole > 250,
        "{out_of_reach} out of reach, {wide} wide, {whole} with nothing left out"
    );
}

#[test]
fn listed_sets_weigh_joint_results() {
    for seed in 0..200 {
        let n = 1 + seed as usize % 6;
        let (network, steps) = possible_joint(50_000 + seed, n, 2, seed as usize % 3);
        let want = brute(&network, &steps);
        let b = update(&network, &events(&steps), Size::UpTo(6));
        let what = format!("seed {seed}");
        all_near(&b.faults, &want.faults, 1e-12, &what);
        all_near(&b.items, &want.items, 1e-12, &what);
        near(b.nothing, want.nothing, 1e-12, &what);
        all_near(&b.misread, &want.misread, 1e-11, &what);
        near(b.evidence_log2, want.evidence.log2(), 1e-11, &what);
        near(b.left_out, 0.0, 1e-12, &what);
        for (c, p) in &b.candidates {
            let set = c.iter().fold(0, |s, f| s | 1 << f.0);
            near(*p, want.weights[set] / want.evidence, 1e-12, &what);
        }
    }
}

/// The joint form of a finding whose faults act alone.
fn as_joint(look: &Look) -> Look {
    let group = look.pushes.iter().fold(0usize, |set, p| set | 1 << p.0);
    Look {
        joint: Some(Joint {
            rows: (0..=group)
                .filter(|s| s & !group == 0)
                .map(|s| (s, look.truly(s)))
                .collect(),
            flat: vec![1.0 / look.outcomes as f64; look.outcomes],
        }),
        ..look.clone()
    }
}

#[test]
fn a_joint_finding_that_is_a_noisy_or_is_one() {
    for seed in 0..100 {
        let n = 3 + seed as usize % 5;
        let (network, mut steps) = possible(60_000 + seed, n, 5, 1);
        let what = format!("seed {seed}");
        let alone = update(&network, &events(&steps), Size::All);
        for step in steps.iter_mut().take(3) {
            if let Step::Seen(look, _) = step {
                let joint = as_joint(look);
                let (a, b) = (look.finding(), joint.finding());
                let mut change = random_change(&mut StdRng::seed_from_u64(seed), n);
                change.brings.clear();
                let out = |f: FaultId| f.0.is_multiple_of(3);
                for (a, b) in [
                    (a.after(&change), b.after(&change)),
                    (a.without(out), b.without(out)),
                    (a.without_misreading(), b.without_misreading()),
                    (a.clone(), b.clone()),
                ] {
                    let mut sees: Vec<FaultId> = a.sees().collect();
                    sees.sort_unstable();
                    assert_eq!(sees, b.sees().collect::<Vec<_>>(), "{what}");
                    for set in 0..1 << n {
                        for k in 0..a.outcomes() {
                            let of = |f: &Finding| f.likelihood(k, &faults_of(set));
                            near(of(&b), of(&a), 1e-12, &what);
                        }
                    }
                }
                let both = gains(n, &alone.candidates, &[a, b]);
                near(both[1].unwrap_or(0.0), both[0].unwrap_or(0.0), 1e-12, &what);
                *look = joint;
            }
        }
        if !exact::within_reach(&network, &events(&steps)) {
            continue;
        }
        let together = update(&network, &events(&steps), Size::All);
        same_belief(&alone, &together, 1e-12);
        all_near(&together.misread, &alone.misread, 1e-12, &what);
        near(together.evidence_log2, alone.evidence_log2, 1e-11, &what);
        assert_eq!(alone.candidates.len(), together.candidates.len(), "{what}");
    }
}

#[test]
fn what_a_change_does_is_foretold_for_each_listed_set() {
    for seed in 0..60 {
        let mut rng = StdRng::seed_from_u64(70_000 + seed);
        let look = random_joint(&mut rng, 6);
        let change = random_change(&mut rng, 6);
        let (now, then) = (look.finding(), look.finding().after(&change));
        for (set, _) in &look.joint.as_ref().unwrap().rows {
            let mut weights = vec![0.0; 64];
            weights[*set] = 1.0;
            let after = changed(&weights, &change);
            for k in 0..look.outcomes {
                let of = |f: &Finding, s| f.likelihood(k, &faults_of(s));
                let want: f64 = (0..64).map(|s| after[s] * of(&now, s)).sum();
                near(of(&then, *set), want, 1e-12, &format!("seed {seed}"));
            }
        }
    }
}

/// Fourteen faults of one line with readings of it, each by pairs.
fn long_line(seed: u64, prior: f64) -> (Network, Vec<Step>) {
    let mut rng = StdRng::seed_from_u64(seed);
    let network = Network::new(
        (0..15)
            .map(|f| {
                Prior::new(
                    prior * rng.random_range(0.3..1.0),
                    ItemId(f / 3),
                    PlaceId(f / 9),
                )
            })
            .collect(),
    );
    let mut steps: Vec<Step> = (0..4)
        .map(|_| {
            let look = random_look(&mut rng, 15);
            let k = usize::from(rng.random_bool(0.5));
            Step::Seen(look, k)
        })
        .collect();
    for _ in 0..2 {
        let rows = (0usize..1 << 14)
            .filter(|s| s.count_ones() <= 2)
            .map(|s| (s, vec![rng.random_range(0.2..1.0)]))
            .collect();
        let look = Look {
            outcomes: 1,
            leak: 0.0,
            pushes: Vec::new(),
            misread: 0.02,
            joint: Some(Joint {
                rows,
                flat: vec![0.5],
            }),
        };
        steps.push(Step::Seen(look, 0));
    }
    (network, steps)
}

#[test]
fn sets_left_out_of_a_large_block_are_bounded() {
    let mut reached = 0;
    for seed in 0..3 {
        let (network, steps) = long_line(seed, 0.02);
        let events = events(&steps);
        let Some(got) = exact::sum(&network, &events) else {
            continue;
        };
        reached += 1;
        let want = brute(&network, &steps);
        let what = format!("seed {seed}");
        assert!(got.left_out > 0.0 && got.left_out < 1e-3, "{what}");
        let gap = 1.0 - got.evidence / want.evidence;
        assert!(gap > -1e-12 && gap <= got.left_out, "{what}: {gap:e}");
        all_near(&got.faults, &want.faults, got.left_out, &what);
        near(got.nothing, want.nothing, got.left_out, &what);
        assert_eq!(update(&network, &events, Size::Auto).left_out, got.left_out);
    }
    assert!(reached > 0);
}

#[test]
fn the_list_takes_over_where_too_much_of_a_block_is_left_out() {
    for seed in 7..10 {
        let (network, steps) = long_line(seed, 0.2);
        assert!(!exact::within_reach(&network, &events(&steps)));
        bound_holds(&network, &steps, Size::Auto, "a long line");
        bound_holds(&network, &steps, Size::UpTo(3), "a long line, triples");
    }
}

#[test]
fn the_unit_of_a_density_does_not_matter() {
    let scaled = |steps: &[Step]| -> Vec<Step> {
        let mut steps = steps.to_vec();
        for step in &mut steps {
            let Step::Seen(
                Look {
                    outcomes: 1,
                    joint: Some(joint),
                    ..
                },
                _,
            ) = step
            else {
                continue;
            };
            let rows = joint.rows.iter_mut().map(|r| &mut r.1);
            rows.chain([&mut joint.flat]).for_each(|r| r[0] *= 1000.0);
        }
        steps
    };
    for seed in 0..40 {
        let (network, steps) = possible_joint(80_000 + seed, 6, 3, 1);
        let (a, b) = (events(&steps), events(&scaled(&steps)));
        for size in [Size::Auto, Size::UpTo(2)] {
            let (a, b) = (update(&network, &a, size), update(&network, &b, size));
            same_belief(&a, &b, 1e-12);
            all_near(&a.misread, &b.misread, 1e-11, "misread");
            near(a.left_out, b.left_out, 1e-9, "left out");
        }
        let bits = |e: &[Event]| conflict_bits(&network, e, 1);
        near(bits(&a), bits(&b), 1e-9, "conflict");
        let weights = |e: &[Event]| -> Vec<f64> {
            let all = weights_of_evidence(&network, e, FaultId(0));
            all.iter().map(|w| w.factor.ln_1p()).collect()
        };
        all_near(&weights(&a), &weights(&b), 1e-8, "weights");
    }
}

/// The mass of sets that are not listed, and how far that can move a number.
fn bound_holds(network: &Network, steps: &[Step], size: Size, what: &str) -> f64 {
    let b = update(network, &events(steps), size);
    let want = brute(network, steps);
    let kept = b.evidence_log2.exp2();
    let left = 1.0 - kept / want.evidence;
    assert!(
        left <= b.left_out + 1e-12,
        "{what}: {left} left out, bound {}",
        b.left_out
    );
    for (g, w) in b.faults.iter().zip(&want.faults) {
        near(*g, *w, b.left_out + 1e-11, what);
    }
    if let Size::UpTo(k) = size {
        let small = |set: usize| set.count_ones() as usize <= k;
        let listed: f64 = enumerate(network, steps, small, None).iter().sum();
        assert!(kept <= listed * (1.0 + 1e-11), "{what}");
        // A remedy may bring more faults than a listed set can hold.
        if steps.iter().all(|s| matches!(s, Step::Seen(..))) {
            near(kept / listed, 1.0, 1e-11, what);
        }
    }
    b.left_out
}

#[test]
fn what_is_left_out_is_bounded() {
    let mut most: f64 = 0.0;
    for seed in 0..60 {
        let (network, steps) = possible(1000 + seed, 8, 4, seed as usize % 3);
        for k in 0..=3 {
            let certain = network.faults().iter().filter(|f| f.probability == 1.0);
            if certain.count() == 0 {
                let b = update(&network, &events(&steps), Size::UpTo(k));
                if !b.impossible {
                    most = most.max(bound_holds(
                        &network,
                        &steps,
                        Size::UpTo(k),
                        &format!("seed {seed} size {k}"),
                    ));
                }
            }
        }
    }
    assert!(most > 0.1, "the cases leave something out: {most}");
}

#[test]
fn many_results_are_in_the_sum_written_out() {
    let mut bounds = Vec::new();
    for seed in 0..12 {
        let mut rng = StdRng::seed_from_u64(2000 + seed);
        let network = Network::new(
            (0..8)
                .map(|f| {
                    Prior::new(
                        rng.random_range(0.01..0.2),
                        ItemId(f / 2),
                        PlaceId(f / 2 % 2),
                    )
                })
                .collect(),
        );
        let mut steps: Vec<Step> = (0..16)
            .map(|_| {
                let mut look = random_look(&mut rng, 8);
                look.outcomes = 2;
                look.pushes.iter_mut().for_each(|p| p.1.truncate(1));
                look.misread = 0.1;
                let k = usize::from(rng.random_bool(0.3));
                Step::Seen(look, k)
            })
            .collect();
        if seed % 2 == 1 {
            let c = random_change(&mut rng, 8);
            steps.insert(8, Step::Changed(c));
        }
        // More combinations than are carried at once: summed by elimination.
        let what = format!("seed {seed}");
        let got = exact::sum(&network, &events(&steps)).unwrap();
        let want = brute(&network, &steps);
        near(got.evidence / want.evidence, 1.0, 1e-10, &what);
        all_near(&got.faults, &want.faults, 1e-10, &what);
        all_near(&got.items, &want.items, 1e-10, &what);
        all_near(&got.places, &want.places, 1e-10, &what);
        near(got.nothing, want.nothing, 1e-10, &what);
        all_near(&got.misread, &want.misread, 1e-10, &what);
        for size in [Size::UpTo(1), Size::UpTo(2), Size::UpTo(3), Size::Auto] {
            let what = format!("seed {seed} {size:?}");
            bounds.push(bound_holds(&network, &steps, size, &what));
        }
    }
    assert!(bounds.iter().any(|b| *b > 0.01) && bounds.iter().all(|b| *b < 1.0));
}

#[test]
fn more_certain_faults_than_a_set_can_hold_are_no_contradiction() {
    let network = Network::new(
        (0..9)
            .map(|f| Prior::new(if f < 8 { 1.0 } else { 0.25 }, ItemId(f), PlaceId(0)))
            .collect(),
    );
    let b = update(&network, &[], Size::Auto);
    assert!(!b.impossible);
    near(b.faults[FaultId(3)], 1.0, 0.0, "certain");
    near(b.faults[FaultId(8)], 0.25, 1e-15, "open");
    near(b.candidates_left_out, 1.0, 0.0, "nothing can be listed");
    assert!(b.candidates.is_empty());
}

#[test]
fn results_that_need_many_faults_are_no_contradiction() {
    // Each of n results can only come from a fault of its own.
    for n in [6, 8] {
        let network = Network::new(
            (0..n + 2)
                .map(|f| Prior::new(0.01, ItemId(f), PlaceId(0)))
                .collect(),
        );
        let seen: Vec<Event> = (0..n)
            .map(|f| Event::seen(&Finding::yes_no(0.0, &[(FaultId(f), 0.9)], 0.0), 1))
            .collect();
        for size in [Size::Auto, Size::All] {
            let b = update(&network, &seen, size);
            assert!(!b.impossible, "{n} faults, {size:?}");
            near(b.faults[FaultId(0)], 1.0, 1e-12, "needed");
            near(b.faults[FaultId(n)], 0.01, 1e-12, "untouched");
        }
    }
}

#[test]
fn impossible_results_leave_the_priors() {
    let network = Network::new(
        vec![
            Prior::new(0.3, ItemId(0), PlaceId(0)),
            Prior::new(0.2, ItemId(0), PlaceId(0)),
        ]
        .into(),
    );
    let never = Finding::yes_no(0.0, &[], 0.0);
    let b = update(&network, &[Event::seen(&never, 1)], Size::Auto);
    assert!(b.impossible);
    assert_eq!(b.evidence_log2, f64::NEG_INFINITY);
    all_near(&b.faults, &[0.3, 0.2], 1e-15, "priors");
    near(b.nothing, 0.56, 1e-15, "nothing");
    near(b.items[ItemId(0)], 0.44, 1e-15, "item");
}

// ---- reference libraries --------------------------------------------------------

#[derive(Deserialize)]
struct Networks {
    format: String,
    networks: Vec<Reference>,
}

#[derive(Deserialize)]
struct Reference {
    id: String,
    faults: BTreeMap<String, f64>,
    observations: BTreeMap<String, Observation>,
    evidence: BTreeMap<String, bool>,
    p_evidence: f64,
    posterior: BTreeMap<String, f64>,
}

#[derive(Deserialize)]
struct Observation {
    leak: f64,
    links: BTreeMap<String, f64>,
}

#[test]
fn noisy_or_excludes_the_leak() {
    let f = Finding::yes_no(0.1, &[(FaultId(0), 0.8), (FaultId(1), 0.5)], 0.0);
    let by_hand = [(0b00, 0.1), (0b01, 0.82), (0b10, 0.55), (0b11, 0.91)];
    for (set, yes) in by_hand {
        let present = &faults_of(set);
        near(f.likelihood(1, present), yes, 1e-15, "finding");
        near(f.likelihood(0, present), 1.0 - yes, 1e-15, "finding");
        let c = Candidate::new(present).unwrap();
        let seen = Seen {
            finding: Arc::new(f.clone()),
            outcome: 1,
        };
        near(Likelihood::new(2, &seen).of(&c), yes, 1e-15, "look-up");
        // The sum over sets, with exactly these faults certain.
        let certain = |i: usize| f64::from(u8::from(present.contains(&FaultId(i))));
        let network = Network::new(
            vec![
                Prior::new(certain(0), ItemId(0), PlaceId(0)),
                Prior::new(certain(1), ItemId(1), PlaceId(0)),
            ]
            .into(),
        );
        let p = exact::evidence(&network, &[Event::seen(&f, 1)]).unwrap();
        near(p, yes, 1e-15, "sum");
    }
}

#[test]
fn reference_networks() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/networks.json");
    let file: Networks = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    assert_eq!(file.format, "noisy-or-networks/1");
    assert!(file.networks.len() >= 50);
    for r in &file.networks {
        let id = |f: &str| FaultId(r.faults.keys().position(|k| k == f).unwrap());
        let network = Network::new(
            r.faults
                .values()
                .enumerate()
                .map(|(i, p)| Prior::new(*p, ItemId(i), PlaceId(0)))
                .collect(),
        );
        let seen: Vec<Event> = r
            .evidence
            .iter()
            .map(|(o, yes)| {
                let o = &r.observations[o];
                let links: Vec<(FaultId, f64)> = o.links.iter().map(|(f, s)| (id(f), *s)).collect();
                Event::seen(&Finding::yes_no(o.leak, &links, 0.0), usize::from(*yes))
            })
            .collect();
        for size in [Size::All, Size::Auto] {
            let b = update(&network, &seen, size);
            assert!(!b.impossible, "{}", r.id);
            let what = format!("{} {size:?}", r.id);
            let p = b.evidence_log2.exp2();
            near(p, r.p_evidence, 1e-9, &what);
            near(p / r.p_evidence, 1.0, 1e-9, &what);
            for (f, want) in &r.posterior {
                near(b.faults[id(f)], *want, 1e-9, &format!("{what} {f}"));
            }
        }
    }
}

#[derive(Deserialize)]
struct Medical {
    instances: Vec<Instance>,
}

#[derive(Deserialize)]
struct Instance {
    id: String,
    model: InstanceModel,
    observed_faults: BTreeMap<String, bool>,
    findings: BTreeMap<String, bool>,
    exact_posterior: BTreeMap<String, f64>,
    p_findings_given_observed_faults: f64,
}

#[derive(Deserialize)]
struct InstanceModel {
    faults: Vec<InstanceFault>,
    findings: Vec<InstanceFinding>,
}

#[derive(Deserialize)]
struct InstanceFault {
    id: String,
    prior: f64,
}

#[derive(Deserialize)]
struct InstanceFinding {
    id: String,
    leak: f64,
    links: Vec<InstanceLink>,
}

#[derive(Deserialize)]
struct InstanceLink {
    fault: String,
    strength: f64,
}

/// Set `HALFSPLIT_NETWORKS` to the file; it is not part of this project.
#[test]
#[allow(clippy::print_stderr)]
fn published_medical_networks() {
    let Some(path) = std::env::var_os("HALFSPLIT_NETWORKS") else {
        eprintln!("HALFSPLIT_NETWORKS is not set: the published medical networks are not checked");
        return;
    };
    let text = std::fs::read_to_string(&path).expect("the file that HALFSPLIT_NETWORKS names");
    let file: Medical = serde_json::from_str(&text).unwrap();
    let mut worst: f64 = 0.0;
    for i in &file.instances {
        let ids: BTreeMap<&str, FaultId> = i
            .model
            .faults
            .iter()
            .enumerate()
            .map(|(n, f)| (f.id.as_str(), FaultId(n)))
            .collect();
        let network = Network::new(
            i.model
                .faults
                .iter()
                .enumerate()
                .map(|(n, f)| {
                    let p = match i.observed_faults.get(&f.id) {
                        Some(true) => 1.0,
                        Some(false) => 0.0,
                        None => f.prior,
                    };
                    Prior::new(p, ItemId(n), PlaceId(0))
                })
                .collect(),
        );
        let seen: Vec<Event> = i
            .findings
            .iter()
            .map(|(id, yes)| {
                let f = i.model.findings.iter().find(|f| f.id == *id).unwrap();
                let links: Vec<(FaultId, f64)> = f
                    .links
                    .iter()
                    .map(|l| (ids[l.fault.as_str()], l.strength))
                    .collect();
                Event::seen(&Finding::yes_no(f.leak, &links, 0.0), usize::from(*yes))
            })
            .collect();
        let got = exact::sum(&network, &seen).expect("within reach");
        near(
            got.evidence / i.p_findings_given_observed_faults,
            1.0,
            1e-9,
            &i.id,
        );
        let b = update(&network, &seen, Size::Auto);
        assert!(!b.impossible, "{}", i.id);
        for (f, want) in &i.exact_posterior {
            let n = ids[f.as_str()];
            near(got.faults[n], *want, 1e-9, &format!("{} {f}", i.id));
            near(b.faults[n], *want, 1e-9, &format!("{} {f} by update", i.id));
            worst = worst.max((got.faults[n] - want).abs());
        }
    }
    eprintln!(
        "{} published medical networks, largest difference {worst:e}",
        file.instances.len()
    );
}

// ---- three multipliers and two adders -------------------------------------------

/// The circuit of de Kleer and Williams 1987: X = A*C, Y = B*D, Z = C*E,
/// F = X+Y, G = Y+Z, with A=3, B=2, C=2, D=3, E=3 put in and F=10, G=12 seen.
/// A wrong component yields every value of `0..range` equally often.
///
/// The faults do not act as a noisy-OR here (a wrong multiplier may cancel
/// another), so the likelihoods are enumerated in this file. On the minimal
/// candidates alone each probe is decided by one component, and there the
/// planner's own gain is compared with the enumeration.
struct Circuit {
    /// By set of wrong components (M1, M2, M3, A1, A2), the joint weight of
    /// each (X, Y, Z) with what was seen.
    joint: Vec<BTreeMap<[usize; 3], f64>>,
}

const WIRES: [&str; 3] = ["X", "Y", "Z"];

impl Circuit {
    fn new(prior: f64, range: usize) -> Self {
        let joint = (0..32usize)
            .map(|set| {
                let wrong = |c: usize| set >> c & 1 == 1;
                let out = |c: usize, right: usize, value: usize| -> f64 {
                    if wrong(c) {
                        1.0 / range as f64
                    } else {
                        f64::from(u8::from(value == right))
                    }
                };
                let bad = set.count_ones() as i32;
                let prior = prior.powi(bad) * (1.0 - prior).powi(5 - bad);
                let mut rows = BTreeMap::new();
                for x in 0..range {
                    for y in 0..range {
                        for z in 0..range {
                            let w = prior
                                * out(0, 3 * 2, x)
                                * out(1, 2 * 3, y)
                                * out(2, 2 * 3, z)
                                * out(3, x + y, 10)
                                * out(4, y + z, 12);
                            if w > 0.0 {
                                rows.insert([x, y, z], w);
                            }
                        }
                    }
                }
                rows
            })
            .collect();
        Circuit { joint }
    }

    fn minimal(&self) -> Vec<usize> {
        let explains = |s: usize| !self.joint[s].is_empty();
        (0..32)
            .filter(|s| explains(*s) && !(0..*s).any(|t| t & s == t && explains(t)))
            .collect()
    }

    /// Entropy of the candidates in `among`, and what is expected to be left
    /// of it after each probe.
    fn entropies(&self, among: &[usize]) -> (f64, [f64; 3]) {
        let weight = |s: usize| -> f64 { self.joint[s].values().sum() };
        let total: f64 = among.iter().map(|s| weight(*s)).sum();
        let h = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
        let before = among.iter().map(|s| h(weight(*s) / total)).sum();
        let after = [0, 1, 2].map(|wire| {
            let mut by_value: BTreeMap<usize, BTreeMap<usize, f64>> = BTreeMap::new();
            for s in among {
                for (values, w) in &self.joint[*s] {
                    *by_value
                        .entry(values[wire])
                        .or_default()
                        .entry(*s)
                        .or_default() += w / total;
                }
            }
            by_value
                .values()
                .map(|sets| {
                    let p: f64 = sets.values().sum();
                    p * sets.values().map(|w| h(w / p)).sum::<f64>()
                })
                .sum()
        });
        (before, after)
    }
}

#[test]
fn three_multipliers_and_two_adders() {
    let [m1, m2, m3, a1, a2] = [1usize, 2, 4, 8, 16];
    for (prior, range) in [(0.01, 16), (0.001, 16), (0.05, 24)] {
        let circuit = Circuit::new(prior, range);
        let mut minimal = circuit.minimal();
        let mut want = vec![m1, a1, m2 | m3, m2 | a2];
        minimal.sort_unstable();
        want.sort_unstable();
        assert_eq!(minimal, want);

        // Over all sets that explain what was seen, X leaves the least.
        let all: Vec<usize> = (0..32).collect();
        let (before, after) = circuit.entropies(&all);
        assert!(after.iter().all(|a| *a <= before + 1e-12));
        assert!(after[0] < after[1] && after[1] < after[2], "{after:?}");

        // Over the minimal ones the wires are what single components decide:
        // M1 wrong shows at X, M2 at Y, M3 at Z.
        let (before, after) = circuit.entropies(&minimal);
        let total: f64 = minimal
            .iter()
            .flat_map(|s| circuit.joint[*s].values())
            .sum();
        let mut listed: Vec<(Candidate, f64)> = minimal
            .iter()
            .map(|s| {
                let w: f64 = circuit.joint[*s].values().sum();
                (Candidate::new(&faults_of(*s)).unwrap(), w / total)
            })
            .collect();
        listed.sort_by(|a, b| b.1.total_cmp(&a.1));
        let gains = gains(
            5,
            &listed,
            &[0, 1, 2].map(|m| Finding::yes_no(0.0, &[(FaultId(m), 1.0)], 0.0)),
        );
        for wire in 0..3 {
            // Gains too small to count as telling are not proposed.
            match gains[wire] {
                Some(g) => near(g, before - after[wire], 1e-12, WIRES[wire]),
                None => assert!(before - after[wire] <= 1e-3, "{}", WIRES[wire]),
            }
        }
        assert!(gains[0] > gains[1] && gains[0] > gains[2], "{gains:?}");
    }
}

/// The gain the planner sees in each finding, in bits.
fn gains(faults: usize, listed: &[(Candidate, f64)], findings: &[Finding]) -> Vec<Option<f64>> {
    let tests: TiVec<TestId, Option<PlanTest>> = findings
        .iter()
        .map(|f| {
            Some(PlanTest {
                outlook: Arc::new(Outlook::new(faults, &Arc::new(f.clone()))),
                minutes: 1.0,
                conditions: BenchState::default(),
                after: Vec::new(),
                handy: false,
                turns: Vec::new(),
            })
        })
        .collect();
    let advice = advise(
        &Situation {
            faults,
            candidates: listed,
            tests: &tests,
            remedies: TiSlice::from_ref(&[]),
            retest: None,
            due: &[],
            so_far: 0.0,
            moves: &Moves::default(),
            state: BenchState::default(),
            costs: Costs::default(),
        },
        findings.len(),
        Effort::FIRST,
    );
    (0..findings.len())
        .map(|i| {
            advice
                .steps
                .iter()
                .find(|s| s.act == Act::Test(TestId(i)))
                .map(|s| s.gain)
        })
        .collect()
}

// ---- order of remedies ------------------------------------------------------------

/// Heckerman, Breese and Rommelse 1995: with a single fault and independent
/// remedies, probability over cost is the order of least expected cost.
#[test]
fn probability_over_cost_is_the_best_order() {
    fn orders(n: usize) -> Vec<Vec<usize>> {
        if n == 0 {
            return vec![Vec::new()];
        }
        orders(n - 1)
            .into_iter()
            .flat_map(|o| {
                (0..n).map(move |at| {
                    let mut o = o.clone();
                    o.insert(at, n - 1);
                    o
                })
            })
            .collect()
    }
    let all: Vec<Vec<Vec<usize>>> = (0..=6).map(orders).collect();
    assert_eq!(all[6].len(), 720);
    let mut rng = StdRng::seed_from_u64(7);
    for _ in 0..1500 {
        let n = rng.random_range(1..=6);
        let parts: Vec<f64> = (0..n).map(|_| rng.random::<f64>() + 1e-6).collect();
        // Some probability that none of them mends it.
        let sum: f64 = parts.iter().sum::<f64>() + rng.random::<f64>();
        let remedies: Vec<(f64, f64)> = parts
            .iter()
            .map(|p| (p / sum, rng.random_range(0.5..200.0)))
            .collect();
        let cost = |order: &[usize]| -> f64 {
            let mut open = 1.0;
            let mut cost = 0.0;
            for r in order {
                cost += open * remedies[*r].1;
                open -= remedies[*r].0;
            }
            cost
        };
        let got = order_by_probability_over_cost(&remedies);
        let best = all[n].iter().map(|o| cost(o)).fold(f64::INFINITY, f64::min);
        near(cost(&got) / best, 1.0, 1e-12, &format!("{remedies:?}"));
    }
}

// ---- base rates ---------------------------------------------------------------------

/// Given the complaint alone (a noisy-OR of these strengths): each fault, the
/// share with nothing, the share with two or more. By going through the faults
/// and counting, once for all jobs and once for those that do not complain.
fn given_complaint(priors: &[f64], strengths: &[f64], leak: f64) -> (Vec<f64>, f64, f64) {
    // Weight of none, one, more among the faults but one.
    let count = |silent: bool, but: Option<usize>| -> [f64; 3] {
        let mut c = [1.0, 0.0, 0.0];
        for (i, (p, s)) in priors.iter().zip(strengths).enumerate() {
            if Some(i) == but {
                continue;
            }
            let there = if silent { p * (1.0 - s) } else { *p };
            c = [
                c[0] * (1.0 - p),
                c[1] * (1.0 - p) + c[0] * there,
                c[2] * (1.0 - p + there) + c[1] * there,
            ];
        }
        if silent {
            c = c.map(|x| x * (1.0 - leak));
        }
        c
    };
    let (all, silent) = (count(false, None), count(true, None));
    let total: f64 = all.iter().sum::<f64>() - silent.iter().sum::<f64>();
    let faults = (0..priors.len())
        .map(|i| {
            let a: f64 = count(false, Some(i)).iter().sum();
            let b: f64 = count(true, Some(i)).iter().sum();
            (a * priors[i] - b * priors[i] * (1.0 - strengths[i])) / total
        })
        .collect();
    (
        faults,
        (all[0] - silent[0]) / total,
        (all[2] - silent[2]) / total,
    )
}

#[test]
fn rates_come_back_for_random_packs() {
    for seed in 0..60 {
        let mut rng = StdRng::seed_from_u64(seed);
        let n = rng.random_range(3..=120);
        let nothing = rng.random_range(0.01..0.25);
        let double = rng.random_range(0.01..0.08);
        let parts: Vec<f64> = (0..n).map(|_| 30f64.powf(rng.random())).collect();
        let sum: f64 = parts.iter().sum();
        let faults: Vec<(f64, f64)> = parts
            .iter()
            .map(|p| {
                (
                    p / sum * (1.0 - nothing + double),
                    rng.random_range(0.4..=1.0),
                )
            })
            .collect();
        let what = format!("seed {seed}, {n} faults");
        let c = convert(&faults, nothing, double).unwrap_or_else(|e| panic!("{what}: {e}"));
        let strengths: Vec<f64> = faults.iter().map(|f| f.1).collect();
        let (back, none, two) = given_complaint(&c.priors, &strengths, c.leak);
        near(c.scale, 1.0, 0.01, &what);
        for (b, (rate, _)) in back.iter().zip(&faults) {
            near(b / rate, 1.0, 0.01, &what);
        }
        near(none / nothing, 1.0, 0.01, &what);
        near(two / double, 1.0, 0.01, &what);
        // The same through the sum over all sets.
        let network = Network::new(
            c.priors
                .iter()
                .map(|p| Prior::new(*p, ItemId(0), PlaceId(0)))
                .collect(),
        );
        let links: TiVec<FaultId, f64> = strengths.clone().into();
        let links: Vec<(FaultId, f64)> = links.into_iter_enumerated().collect();
        let complaint = Finding::yes_no(c.leak, &links, 0.0);
        let got = exact::sum(&network, &[Event::seen(&complaint, 1)]).unwrap();
        all_near(&got.faults, &back, 1e-9, &what);
        near(got.nothing, none, 1e-9, &what);
    }
}

/// A symptom alone leaves the stated share of jobs in which nothing is found.
#[test]
fn a_shipped_symptom_alone_leaves_the_share_of_nothing_found() {
    use halfsplit::job::{Case, CaseFile, Settings};
    use halfsplit::model::{Unit, compile};
    let rules = crate::lines::rules();
    let unit = Unit {
        kind: "phone".into(),
        ..Unit::default()
    };
    let model = compile(&rules, &unit, &[], None).unwrap();
    assert!(model.symptoms.len() >= 24);
    for s in &model.symptoms {
        let pack = rules.packs.iter().find(|p| p.id == s.pack).unwrap();
        let id = s.id.rsplit('/').next().unwrap();
        let stated = pack.symptoms.iter().find(|s| s.id == id).unwrap();
        let file = CaseFile {
            device: unit.clone(),
            symptoms: vec![s.id.clone()],
            ..CaseFile::default()
        };
        let case = Case::new(&rules, &file, Settings::default()).unwrap();
        let share = stated.nothing_found;
        near(case.belief.nothing, share, 0.1 * share, &s.id);
    }
}

#[test]
fn rates_come_back_for_the_shipped_packs() {
    use halfsplit::model::{Unit, compile};
    use halfsplit::rulebase::{PackFault, slug};
    let rules = crate::lines::rules();
    let mut checked = 0;
    for pack in rules.packs.iter().filter(|p| !p.minimal) {
        let mut strongest: TiVec<PackFault, f64> = vec![0.0f64; pack.faults.len()].into();
        for links in pack
            .functions
            .iter()
            .map(|f| &f.links)
            .chain(pack.symptoms.iter().map(|s| &s.links))
        {
            for (f, s) in links {
                strongest[*f] = strongest[*f].max(*s);
            }
        }
        let stated: Vec<(f64, f64)> = pack
            .faults
            .iter()
            .zip(&strongest)
            .map(|(f, s)| (f.rate, *s))
            .collect();
        let want = 1.0 - pack.nothing_found + pack.two_or_more;
        // The listed faults are stated as all the jobs. Those that nobody listed
        // join them, so that all together are scaled back to that.
        let sum = |unlisted: bool| -> f64 {
            let all = pack.faults.keys().zip(&stated);
            let of = all.filter(|(f, _)| pack.is_unlisted(*f) == unlisted);
            of.map(|(_, stated)| stated.0).sum()
        };
        near(sum(false) / want, 1.0, 0.01, &pack.id);
        assert!(sum(true) > 0.0, "{}", pack.id);
        let c = convert(&stated, pack.nothing_found, pack.two_or_more).unwrap();
        let all = c.scale * (sum(false) + sum(true));
        near(all / want, 1.0, 0.01, &pack.id);

        for device in rules.devices.iter().filter(|d| d.model.is_none()) {
            let Some((_, copies)) = device.carries.iter().find(|c| c.0 == pack.id) else {
                continue;
            };
            let unit = Unit {
                kind: device.kind.clone(),
                ..Unit::default()
            };
            let only = [pack.id.clone()];
            let model = compile(&rules, &unit, &[], Some(&only)).unwrap();
            for copy in copies.iter().map(|c| &c.name) {
                let what = format!("{} on {}, {copy}", pack.id, device.id);
                // The faults of this copy, with their rates on this kind.
                let (mut priors, mut strengths, mut rates) = (vec![], vec![], vec![]);
                for (f, fault) in pack.faults.iter_enumerated() {
                    let item = &pack.items[fault.item];
                    let on_kind = item
                        .kinds
                        .iter()
                        .find(|k| k.0 == device.kind)
                        .map_or(1.0, |k| k.1);
                    let own = fault.kinds.iter().find(|k| k.0 == device.kind);
                    let on_kind = on_kind * own.map_or(1.0, |k| k.1);
                    let head = if item.shared {
                        pack.id.clone()
                    } else {
                        slug(copy)
                    };
                    let id = format!("{head}/{}", pack.fault_id(f));
                    let at = model.faults.position(|m| m.id == id);
                    assert_eq!(at.is_some(), on_kind > 0.0, "{what}: {id}");
                    if let Some(at) = at {
                        priors.push(model.network.faults()[at].probability);
                        strengths.push(strongest[f]);
                        rates.push(fault.rate * on_kind);
                    }
                }
                let leak = leak_for(pack.nothing_found, &priors, &strengths);
                let (back, none, two) = given_complaint(&priors, &strengths, leak);
                near(none / pack.nothing_found, 1.0, 0.01, &what);
                near(two / pack.two_or_more, 1.0, 0.01, &what);
                // A kind of device shifts the shares; together they are what
                // is left of the jobs, as stated.
                let sum: f64 = rates.iter().sum();
                for (b, rate) in back.iter().zip(&rates) {
                    near(b / (rate * want / sum), 1.0, 0.01, &what);
                }
                checked += 1;
            }
        }
    }
    assert!(checked >= 10, "only {checked} copies checked");
}

#[test]
fn what_a_complaint_leaves_unsaid_is_evidence_about_the_own_faults_of_other_copies() {
    use halfsplit::job::{Case, CaseFile, Settings};
    use halfsplit::model::{Unit, compile};

    let rules = crate::lines::rules();
    let unit = Unit {
        kind: "phone".into(),
        ..Unit::default()
    };
    let of = |symptoms: &[&str]| {
        let file = CaseFile {
            device: unit.clone(),
            symptoms: symptoms.iter().map(|s| (*s).to_owned()).collect(),
            ..CaseFile::default()
        };
        Case::new(&rules, &file, Settings::default()).unwrap()
    };
    let plain = compile(&rules, &unit, &[], Some(&["imaging".into()])).unwrap();
    let symptom = |id: &str| plain.symptoms.iter().position(|s| s.id == id).unwrap();
    let front = &plain
        .copies
        .iter()
        .find(|c| c.name == "front camera")
        .unwrap()
        .own;
    assert!(front.len() > 20);

    let said = of(&["rear-camera/camera-trouble"]);
    let complaint = Event::Seen(Seen {
        finding: plain.symptoms[symptom("rear-camera/camera-trouble")]
            .finding
            .clone(),
        outcome: 1,
    });
    let without = update(&plain.network, std::slice::from_ref(&complaint), Size::Auto);
    // As if "is anything wrong with the front one?" had been answered "no" by
    // somebody who keeps three in ten causes quiet.
    let links: Vec<(FaultId, f64)> = front.iter().map(|(f, s)| (*f, 0.7 * s)).collect();
    let silence = Event::seen(&Finding::yes_no(0.0, &links, 0.0), 0);
    let with = update(&plain.network, &[complaint, silence], Size::Auto);
    all_near(&said.belief.faults, &with.faults, 1e-12, "faults");
    near(said.belief.nothing, with.nothing, 1e-12, "nothing");
    // All other faults keep the rates that the complaint gives them.
    for f in plain.faults.keys() {
        let ratio = said.belief.faults[f] / without.faults[f];
        if front.iter().any(|o| o.0 == f) {
            assert!(ratio < 1.0, "{}: {ratio}", plain.faults[f].id);
        } else {
            near(ratio, 1.0, 1e-9, &plain.faults[f].id);
        }
    }
    let sum = |b: &Belief| front.iter().map(|o| b.faults[o.0]).sum::<f64>();
    let left = sum(&said.belief) / sum(&without);
    assert!((0.25..0.5).contains(&left), "{left}");
    assert_eq!(said.results().len(), 1, "it is no result to list");

    // Both complained of, or neither by name: nothing is unsaid.
    for symptoms in [
        &["rear-camera/black-picture", "front-camera/black-picture"][..],
        &["imaging/in-use-message"],
    ] {
        let case = of(symptoms);
        assert_eq!(
            case.model.network.faults(),
            plain.network.faults(),
            "{symptoms:?}"
        );
    }
}

// ---- laws of any belief ---------------------------------------------------------------

fn same_belief(a: &Belief, b: &Belief, within: f64) {
    all_near(&a.faults, &b.faults, within, "faults");
    all_near(&a.items, &b.items, within, "items");
    all_near(&a.places, &b.places, within, "places");
    near(a.nothing, b.nothing, within, "nothing");
}

fn bits(b: &Belief) -> Vec<u64> {
    let all = [&b.faults.raw, &b.items.raw, &b.places.raw, &b.misread];
    all.into_iter()
        .flatten()
        .chain(b.candidates.iter().map(|c| &c.1))
        .chain([
            &b.nothing,
            &b.left_out,
            &b.candidates_left_out,
            &b.evidence_log2,
        ])
        .map(|x| x.to_bits())
        .collect()
}

#[track_caller]
fn bit_equal(a: &Belief, b: &Belief) {
    assert_eq!(bits(a), bits(b));
    let sets = |b: &Belief| b.candidates.iter().map(|c| c.0).collect::<Vec<_>>();
    assert_eq!(sets(a), sets(b));
    assert_eq!((a.size, a.impossible), (b.size, b.impossible));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn candidates_sum_to_one(seed: u64, n in 2usize..9, changes in 0usize..3) {
        let (network, steps) = possible(seed, n, 4, changes);
        for size in [Size::Auto, Size::All] {
            let b = update(&network, &events(&steps), size);
            let sum: f64 = b.candidates.iter().map(|c| c.1).sum();
            near(sum, 1.0, 1e-12, "sum");
            prop_assert!(b.candidates.windows(2).all(|w| w[0].1 >= w[1].1));
        }
    }

    #[test]
    fn order_within_an_epoch_does_not_matter(seed: u64, n in 2usize..9) {
        let (network, steps) = possible(seed, n, 6, 2);
        let mut rng = StdRng::seed_from_u64(seed);
        let mut other = steps.clone();
        for epoch in other.split_mut(|s| matches!(s, Step::Changed(_))) {
            epoch.shuffle(&mut rng);
        }
        let a = update(&network, &events(&steps), Size::All);
        let b = update(&network, &events(&other), Size::All);
        same_belief(&a, &b, 1e-12);
        near(a.evidence_log2, b.evidence_log2, 1e-11, "evidence");
    }

    #[test]
    fn order_of_joint_results_does_not_matter(seed: u64, n in 4usize..9) {
        let (network, steps) = possible_joint(seed, n, 4, 1);
        let mut rng = StdRng::seed_from_u64(seed);
        let mut other = steps.clone();
        for epoch in other.split_mut(|s| matches!(s, Step::Changed(_))) {
            epoch.shuffle(&mut rng);
        }
        let a = update(&network, &events(&steps), Size::All);
        let b = update(&network, &events(&other), Size::All);
        same_belief(&a, &b, 1e-11);
        near(a.evidence_log2, b.evidence_log2, 1e-11, "evidence");
    }

    #[test]
    fn a_joint_result_that_is_constant_changes_nothing(seed: u64, n in 4usize..9) {
        let (network, mut steps) = possible_joint(seed, n, 3, 1);
        prop_assume!(exact::within_reach(&network, &events(&steps)));
        let before = update(&network, &events(&steps), Size::All);
        let mut look = random_joint(&mut StdRng::seed_from_u64(!seed), n);
        if let Some(joint) = &mut look.joint {
            let first = joint.rows[0].1.clone();
            joint.rows.iter_mut().for_each(|r| r.1 = first.clone());
        }
        steps.push(Step::Seen(look, 0));
        prop_assume!(exact::within_reach(&network, &events(&steps)));
        same_belief(&before, &update(&network, &events(&steps), Size::All), 1e-11);
    }

    #[test]
    fn results_that_say_nothing_change_nothing(seed: u64, n in 2usize..9) {
        let (network, steps) = possible(seed, n, 4, 1);
        let mut rng = StdRng::seed_from_u64(seed);
        let before = update(&network, &events(&steps), Size::Auto);
        // Read at random: the likelihood is flat.
        let mut random = random_look(&mut rng, n);
        random.misread = 1.0;
        // Linked to no fault, and linked only to one that this device cannot have.
        let alone = Look { outcomes: 2, leak: 0.1, pushes: vec![], misread: 0.05, joint: None };
        for (look, k) in [(random.clone(), 0), (random, 1), (alone.clone(), 0), (alone, 1)] {
            let mut more = steps.clone();
            more.push(Step::Seen(look, k));
            same_belief(&before, &update(&network, &events(&more), Size::Auto), 1e-12);
        }
    }

    #[test]
    fn an_unrelated_test_changes_no_other_suspect(seed: u64, n in 2usize..8) {
        let (network, steps) = possible(seed, n, 4, 1);
        let mut faults = network.faults().to_owned();
        faults.push(Prior::new(0.1, ItemId(network.items()), PlaceId(network.places())));
        let network = Network::new(faults);
        let before = update(&network, &events(&steps), Size::All);
        let mut more = steps;
        more.push(Step::Seen(
            Look { outcomes: 2, leak: 0.02, pushes: vec![(n, vec![0.9])], misread: 0.04, joint: None }, 0));
        let after = update(&network, &events(&more), Size::All);
        let f = FaultId(n);
        all_near(&before.faults[..f], &after.faults[..f], 1e-12, "others");
        prop_assert!(after.faults[f] < before.faults[f]);
    }

    #[test]
    fn information_is_never_negative(seed: u64, n in 2usize..7) {
        let (network, steps) = possible(seed, n, 3, 1);
        let b = update(&network, &events(&steps), Size::UpTo(6));
        let mut rng = StdRng::seed_from_u64(!seed);
        let mut looks: Vec<Look> = (0..8).map(|_| random_look(&mut rng, n)).collect();
        looks.extend((0..4).map(|_| random_joint(&mut rng, n)).filter(|l| l.outcomes > 1));
        let findings: Vec<Finding> = looks.iter().map(Look::finding).collect();
        let h = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
        for (look, gain) in looks.iter().zip(gains(n, &b.candidates, &findings)) {
            // Written out: entropy of the candidates less what is expected to be left.
            let before: f64 = b.candidates.iter().map(|c| h(c.1)).sum();
            let left: f64 = (0..look.outcomes).map(|k| {
                let joint: Vec<f64> = b.candidates.iter()
                    .map(|(c, w)| w * look.reads(c.iter().fold(0, |s, f| s | 1 << f.0), k))
                    .collect();
                let p: f64 = joint.iter().sum();
                if p > 0.0 { p * joint.iter().map(|j| h(j / p)).sum::<f64>() } else { 0.0 }
            }).sum();
            match gain {
                Some(g) => { prop_assert!(g >= 0.0); near(g, before - left, 1e-10, "bits"); }
                None => prop_assert!(before - left <= 1e-3 + 1e-10),
            }
        }
    }

    #[test]
    fn listed_weights_are_joint_probabilities(seed: u64, n in 2usize..7) {
        let (network, steps) = possible(seed, n, 4, 2);
        let all: Vec<FaultId> = network.faults().keys().collect();
        let sets = candidates::filter(&network, candidates::list(&network, n, &all), &events(&steps));
        let want = enumerate(&network, &steps, |_| true, None);
        for (c, w) in sets {
            near(w, want[c.iter().fold(0, |s, f| s | 1 << f.0)], 1e-13, "joint");
        }
    }
}

// ---- whole jobs -----------------------------------------------------------------------

mod jobs {
    use super::*;
    use halfsplit::job::{Case, CaseFile, Did, Entry, Settings, Shown};
    use halfsplit::model::Found;
    use halfsplit::rulebase::{Rulebase, Rules};
    use std::sync::LazyLock;

    const PACK: &str = "
pack: lamp
about: An invented lamp, small enough to be summed over by hand.
source: common practice, no source
nothing-found: 50
two-or-more: 50
items:
  cell: {name: cell, where: part, faults: {flat: 300, leaking: 100}}
  contact: {name: contact, where: interconnect, faults: {open: 250, loose: {rate: 100, breaks: 0.5}}}
  switch: {name: switch, where: board, faults: {stuck: 150}}
  bulb: {name: bulb, where: part, mates: [contact], faults: {dead: 100}}
functions:
  light: {name: it lights, needs: [cell, contact, switch, bulb]}
  click: {name: the switch clicks, needs: [switch]}
symptoms:
  dark: {name: it stays dark, loses: light, hear: [dark]}
tests:
  light-try: {ask: 'Does it light?', kind: try, tries: light, minutes: 1}
  click-try: {ask: 'Does the switch click?', kind: try, tries: click, minutes: 1}
  other-bulb: {ask: 'Does it light with a good bulb?', kind: swap, tries: light, swaps-in: bulb, minutes: 3}
  cell-look:
    ask: How does the cell look?
    kind: look
    minutes: 1
    shows:
      clean: {says: clean}
      bulging: {says: bulging, links: {cell.flat: 0.1, cell.leaking: 0.3}}
      wet: {says: wet, links: {cell.leaking: 0.6}}
remedies:
  reseat: {name: Seat the contact, clears: {contact: 0.7}, may-break: {switch.stuck: 0.03}, seating: true, minutes: 3}
  new-cell: {name: Fit a new cell, clears: {cell: 0.98}, minutes: 2, parts: 3}
  new-bulb: {name: Fit a new bulb, clears: {bulb: 0.98}, minutes: 2, parts: 2}
  new-switch: {name: Fit a new switch, clears: {switch: 0.95}, may-break: {contact.loose: 0.02}, minutes: 20, parts: 4}
";

    static RULES: LazyLock<Rulebase> = LazyLock::new(|| {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lamp.yaml");
        std::fs::write(&path, PACK).unwrap();
        let loaded = Rules {
            paths: vec![path],
            only_these: true,
        }
        .load();
        assert!(loaded.problems.is_empty(), "{}", loaded.report(false));
        loaded.rulebase
    });

    fn shows(test: &str, shows: &str) -> Entry {
        Entry::Result(Shown {
            test: test.into(),
            shows: shows.into(),
            ..Shown::default()
        })
    }

    fn did(remedy: &str) -> Entry {
        Entry::Remedy(Did {
            did: remedy.into(),
            note: None,
        })
    }

    fn case(steps: &[Entry]) -> Case {
        let file = CaseFile {
            case: "a lamp".into(),
            symptoms: vec!["dark".into()],
            steps: steps.to_vec(),
            ..CaseFile::default()
        };
        Case::new(&RULES, &file, Settings::default()).unwrap()
    }

    fn entry(rng: &mut StdRng) -> Entry {
        match rng.random_range(0..10) {
            0 => did("reseat"),
            1 => did("new-cell"),
            2 => did("new-switch"),
            3 | 4 => shows("light-try", ["yes", "no"][rng.random_range(0..2)]),
            5 => shows("click-try", ["yes", "no"][rng.random_range(0..2)]),
            6 => shows("other-bulb", ["yes", "no"][rng.random_range(0..2)]),
            _ => shows(
                "cell-look",
                ["clean", "bulging", "wet"][rng.random_range(0..3)],
            ),
        }
    }

    /// The entries as steps of this file. A repeat takes the place of a result
    /// that still holds: nothing was done since about a fault that it tells of; a
    /// swap by another test opens tries alone. A remedy done again takes with a
    /// fifth of its chance, each time.
    fn written_out(case: &Case, entries: &[Entry]) -> Vec<Step> {
        let m = &case.model;
        // Each step with the entry and the test that it is of.
        let mut put = vec![(
            Step::Seen(Look::of(&m.symptoms[case.symptoms[0]].finding), 1),
            0,
            None,
        )];
        let mut done: Vec<RemedyId> = Vec::new();
        for (n, e) in entries.iter().enumerate() {
            match e {
                Entry::Remedy(d) => {
                    let Found::One(i) = m.remedy(&d.did) else {
                        panic!("{}", d.did)
                    };
                    let before = done.iter().filter(|r| **r == i).count();
                    let mut change = m.remedies[i].change.clone();
                    for (_, takes) in &mut change.clears {
                        *takes *= 0.2_f64.powi(before as i32);
                    }
                    done.push(i);
                    put.push((Step::Changed(change), n, None));
                }
                Entry::Result(r) => {
                    let Found::One(i) = m.test(&r.test) else {
                        panic!("{}", r.test)
                    };
                    let t = &m.tests[i];
                    let k = match r.shows.as_str() {
                        "yes" => 0,
                        "no" => t.outcomes.len() - 1,
                        word => t.outcomes.iter().position(|o| o.id == word).unwrap(),
                    };
                    let same = |p: &(Step, usize, Option<TestId>)| {
                        matches!(p.0, Step::Seen(..)) && p.2 == Some(i)
                    };
                    if let Some(at) = put.iter().rposition(same) {
                        let opens = |p: &(Step, usize, Option<TestId>)| match &p.0 {
                            Step::Changed(c) => {
                                let counts = p.2.is_none() || t.proves.is_some();
                                p.2 != Some(i) && counts && t.turns_on(c)
                            }
                            _ => false,
                        };
                        if !put[at..].iter().any(opens) {
                            let entry = put[at].1;
                            put.retain(|p| p.2 != Some(i) || p.1 != entry);
                        }
                    }
                    let before = t.before.clone().map(Step::Changed);
                    let after = t.after.clone().map(Step::Changed);
                    let seen = Step::Seen(Look::of(&t.finding), k);
                    let all = before.into_iter().chain([seen]).chain(after);
                    put.extend(all.map(|step| (step, n, Some(i))));
                }
                _ => {}
            }
        }
        put.into_iter().map(|p| p.0).collect()
    }

    fn is_the_sum(entries: &[Entry]) -> Case {
        let case = case(entries);
        let want = brute(&case.model.network, &written_out(&case, entries));
        let b = &case.belief;
        all_near(&b.faults, &want.faults, 1e-12, "faults");
        all_near(&b.items, &want.items, 1e-12, "items");
        all_near(&b.places, &want.places, 1e-12, "places");
        near(b.nothing, want.nothing, 1e-12, "nothing");
        all_near(&b.misread, &want.misread, 1e-12, "misread");
        near(b.evidence_log2, want.evidence.log2(), 1e-11, "evidence");
        case
    }

    #[test]
    fn after_a_failed_remedy_the_belief_is_right_not_reset() {
        let seen = [shows("cell-look", "bulging")];
        let before = is_the_sum(&seen);
        let Found::One(flat) = before.model.fault("cell.flat") else {
            panic!("no such fault")
        };
        let mended = [seen[0].clone(), did("new-cell")];
        is_the_sum(&mended);
        let failed = [seen[0].clone(), did("new-cell"), shows("light-try", "no")];
        let after = is_the_sum(&failed);
        let fresh = is_the_sum(&[]);
        // The cell is out, but for the chance that the new one did not take.
        assert!(after.belief.faults[flat] < 0.1 * before.belief.faults[flat]);
        assert!(after.belief.faults[flat] > 0.0);
        // What was known is not forgotten.
        let far = after
            .belief
            .faults
            .iter()
            .zip(&fresh.belief.faults)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        assert!(far > 0.1, "{far}");
        is_the_sum(&[
            seen[0].clone(),
            shows("light-try", "no"),
            did("new-cell"),
            shows("light-try", "no"),
            shows("other-bulb", "no"),
            did("reseat"),
            shows("light-try", "no"),
            shows("click-try", "yes"),
            did("reseat"),
            did("new-switch"),
            shows("light-try", "yes"),
        ]);
    }

    #[test]
    fn a_repeat_counts_once() {
        for (test, words) in [
            ("light-try", vec!["yes", "no"]),
            ("cell-look", vec!["clean", "bulging", "wet"]),
            ("other-bulb", vec!["yes", "no"]),
        ] {
            for word in words {
                let once = case(&[shows(test, word)]);
                let twice = case(&[shows(test, word), shows(test, word)]);
                bit_equal(&once.belief, &twice.belief);
                let other = case(&[shows("click-try", "no"), shows(test, word)]);
                let around = case(&[
                    shows(test, word),
                    shows("click-try", "no"),
                    shows(test, word),
                ]);
                if test != "other-bulb" {
                    bit_equal(&other.belief, &around.belief);
                }
            }
        }
        // After a remedy it is a new result, and both count.
        let both = [
            shows("light-try", "no"),
            did("new-cell"),
            shows("light-try", "no"),
        ];
        is_the_sum(&both);
        assert_eq!(case(&both).belief.misread.len(), 3);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn undo_restores_exactly(seed: u64, many in 0usize..7) {
            let mut rng = StdRng::seed_from_u64(seed);
            let mut steps: Vec<Entry> = (0..many).map(|_| entry(&mut rng)).collect();
            let before = case(&steps);
            steps.push(entry(&mut rng));
            let _ = case(&steps);
            steps.pop();
            let after = case(&steps);
            bit_equal(&before.belief, &after.belief);
            prop_assert_eq!(&before.entered, &after.entered);
            prop_assert_eq!(before.state, after.state);
            let acts = |c: &Case| c.advice(5).steps.iter().map(|s| s.act).collect::<Vec<_>>();
            prop_assert_eq!(acts(&before), acts(&after));
        }

        #[test]
        fn random_jobs_are_the_sum_written_out(seed: u64, many in 0usize..7) {
            let mut rng = StdRng::seed_from_u64(seed);
            let steps: Vec<Entry> = (0..many).map(|_| entry(&mut rng)).collect();
            is_the_sum(&steps);
        }
    }
}

// ---- conflict ---------------------------------------------------------------------------

/// The measure of Jensen, Chamberlain, Nordahl and Jensen 1990, given the
/// complaint: positive where results speak for different single faults.
#[test]
fn results_that_contradict_each_other_conflict() {
    let network = Network::new(
        (0..5)
            .map(|f| Prior::new(0.01, ItemId(f), PlaceId(0)))
            .collect(),
    );
    let any: Vec<(FaultId, f64)> = (0..5).map(|f| (FaultId(f), 0.95)).collect();
    let complaint = Event::seen(&Finding::yes_no(0.001, &any, 0.0), 1);
    let shows = |f: usize| Finding::yes_no(0.01, &[(FaultId(f), 0.95)], 0.04);
    let bits = |results: &[Event]| {
        let all: Vec<Event> = std::iter::once(&complaint)
            .chain(results)
            .cloned()
            .collect();
        // The same number from evidence alone, by its definition.
        let log = |e: &[Event]| exact::evidence(&network, e).unwrap().log2();
        let base = log(&all[..1]);
        let single: f64 = results
            .iter()
            .map(|r| log(&[complaint.clone(), r.clone()]) - base)
            .sum();
        let got = conflict_bits(&network, &all, 1);
        near(got, single - (log(&all) - base), 1e-9, "definition");
        got
    };
    let contradict = bits(&[Event::seen(&shows(0), 1), Event::seen(&shows(1), 1)]);
    assert!(contradict > 1.0, "{contradict}");
    let agree = bits(&[Event::seen(&shows(0), 1), Event::seen(&shows(0), 1)]);
    assert!(agree < -1.0, "{agree}");
    let apart = bits(&[Event::seen(&shows(0), 1), Event::seen(&shows(1), 0)]);
    assert!(apart < 0.0, "{apart}");
    let alone = Finding::yes_no(0.1, &[], 0.0);
    let unrelated = bits(&[Event::seen(&shows(0), 1), Event::seen(&alone, 1)]);
    near(unrelated, 0.0, 1e-9, "unrelated");
    // One result alone cannot disagree.
    assert_eq!(bits(&[Event::seen(&shows(0), 1)]), 0.0);
}
