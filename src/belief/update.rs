//! From priors and events to a belief.

use typed_index_collections::TiVec;

use super::best_first::{self, Found};
use super::candidates::{self, Candidate, MAX_SIZE, Weighted};
use super::exact::{self, Exact};
use super::network::{Event, FaultId, ItemId, Network, PlaceId, Prior, Seen};
use super::order::likelier;

/// Which sets of faults count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Size {
    /// Pairs, and larger sets by themselves when pairs leave out more than one
    /// per cent; probabilities are summed over all sets where that is possible.
    #[default]
    Auto,
    /// Sets up to this size and no others.
    UpTo(usize),
    /// All sets.
    All,
}

/// Most mass that may be left out before candidates grow.
const GROW_ABOVE: f64 = 0.01;
/// So many events leave few faults likely; before, a list is drawn from as a whole
/// (`simulate`), and nothing is gained.
const GUIDED: usize = 4;
/// Most probability that faults in no pair may have together.
const UNLIKELY: f64 = 0.002;

/// What is known after some events.
#[derive(Clone, Debug, Default)]
pub struct Belief {
    /// Probability of each fault now.
    pub faults: TiVec<FaultId, f64>,
    /// Probability that an item has some fault now.
    pub items: TiVec<ItemId, f64>,
    /// Probability that a place has some fault now.
    pub places: TiVec<PlaceId, f64>,
    /// Probability that nothing is at fault now.
    pub nothing: f64,
    /// Sets of faults with their probability, likeliest first; on a long list
    /// only the first few thousand are in order.
    pub candidates: Vec<(Candidate, f64)>,
    /// Size of the largest sets that were listed.
    pub size: usize,
    /// Upper bound on the probability of sets that the *probabilities* above
    /// leave out: zero when they were summed over all sets, next to zero when
    /// only very large sets of faults that act together were not, and whatever
    /// the search could not rule out where the sum is out of reach.
    pub left_out: f64,
    /// The same for the listed candidates.
    pub candidates_left_out: f64,
    /// Binary logarithm of the probability of everything that was seen.
    pub evidence_log2: f64,
    /// For each result, the probability that it was a misreading.
    pub misread: Vec<f64>,
    /// What was seen cannot be under the model; the numbers are the priors.
    pub impossible: bool,
}

/// Computes the belief after `events`.
pub fn update(network: &Network, events: &[Event], size: Size) -> Belief {
    let attempt = exact::attempt(network, events);
    if matches!(attempt, Some(None)) {
        return impossible(network);
    }
    let exact = attempt.flatten();
    if exact.is_none() && !matches!(size, Size::UpTo(_)) {
        return match best_first::find(network, events) {
            Some(found) => from_found(found),
            None => impossible(network),
        };
    }
    let order = likeliest(network, exact.as_ref());
    let mut k = match size {
        Size::UpTo(k) => k.min(MAX_SIZE),
        Size::Auto => 2,
        Size::All => network.len().min(MAX_SIZE),
    };
    if size == Size::All {
        // The sum is over all sets; the list is for reading.
        while k > 2 && candidates::count(network.len(), k) > 20_000.0 {
            k -= 1;
        }
    }
    // Pairs are weighed once, larger sets again for each size. Where the sum says
    // how likely each fault is, pairs with one that hardly is there are left out.
    let pairs = match &exact {
        Some(e) if size == Size::Auto && events.len() >= GUIDED => {
            candidates::list_pairs(network, k.min(2), &likely(events, &order, e))
        }
        _ => candidates::list(network, k.min(2), &[]),
    };
    let mut listed = candidates::filter(network, pairs, events);
    let small: f64 = listed.iter().map(|l| l.1).sum();
    let mut larger = Weighted::new();
    let mut left_out;
    loop {
        let among = &order[..candidates::breadth(network.len(), k).min(order.len())];
        if k > 2 {
            let sets = candidates::list_from(network, 3, k, among);
            larger = candidates::filter(network, sets, events);
        }
        let total: f64 = small + larger.iter().map(|l| l.1).sum::<f64>();
        left_out = match &exact {
            Some(e) => (1.0 - total / e.evidence * (1.0 - e.left_out)).clamp(0.0, 1.0),
            None => bound(network, events, total, k, among),
        };
        // Further still where nothing explains what was seen yet.
        let most = if total > 0.0 { MAX_SIZE - 1 } else { MAX_SIZE };
        let grow = left_out > GROW_ABOVE && k < most.min(network.len());
        if !grow || matches!(size, Size::UpTo(_)) {
            break;
        }
        k += 1;
    }
    if !larger.is_empty() {
        listed.append(&mut larger);
        if events.iter().any(|e| matches!(e, Event::Changed(_))) {
            candidates::merge(&mut listed);
        }
    }
    listed.retain(|l| l.1 > 0.0);
    let total: f64 = listed.iter().map(|l| l.1).sum();
    if total > 0.0 && total.is_finite() {
        for l in &mut listed {
            l.1 /= total;
        }
    } else if exact.is_some() && !matches!(size, Size::UpTo(_)) {
        // It takes more faults than a set can hold; the sum has them all.
        listed.clear();
    } else {
        return impossible(network);
    }
    candidates::sort(&mut listed);
    let mut belief = match exact {
        Some(e) if !matches!(size, Size::UpTo(_)) => Belief {
            faults: e.faults,
            items: e.items,
            places: e.places,
            nothing: e.nothing,
            left_out: e.left_out,
            evidence_log2: e.evidence.log2(),
            misread: e.misread,
            ..Belief::default()
        },
        _ => {
            let mut b = from_candidates(network, &listed);
            b.left_out = left_out;
            b.evidence_log2 = total.log2();
            // Each result takes two lists of its own: pairs, unless a size is
            // asked for.
            let k = if size == Size::Auto { 2 } else { k };
            b.misread = misreadings(network, events, k, &order);
            b
        }
    };
    belief.candidates = listed;
    belief.size = k;
    belief.candidates_left_out = left_out;
    belief
}

/// Where the sum is out of reach.
fn from_found(found: Found) -> Belief {
    let mut candidates = found.candidates;
    candidates::sort(&mut candidates);
    Belief {
        faults: found.faults,
        items: found.items,
        places: found.places,
        nothing: found.nothing,
        size: candidates.iter().map(|c| c.0.len()).max().unwrap_or(0),
        candidates,
        left_out: found.left_out,
        candidates_left_out: found.candidates_left_out,
        evidence_log2: found.evidence.log2(),
        misread: found.misread,
        impossible: false,
    }
}

fn impossible(network: &Network) -> Belief {
    let priors = network.faults();
    let some = |of: &dyn Fn(&Prior) -> bool| -> f64 {
        let none: f64 = priors
            .iter()
            .filter(|p| of(p))
            .map(|p| 1.0 - p.probability)
            .product();
        1.0 - none
    };
    let mut listed = candidates::list(network, 1, &[]);
    let total: f64 = listed.iter().map(|l| l.1).sum();
    listed.retain(|l| l.1 > 0.0);
    listed.iter_mut().for_each(|l| l.1 /= total);
    candidates::sort(&mut listed);
    Belief {
        faults: priors.iter().map(|p| p.probability).collect(),
        items: (0..network.items())
            .map(ItemId)
            .map(|i| some(&|p| p.item == i))
            .collect(),
        places: (0..network.places())
            .map(PlaceId)
            .map(|i| some(&|p| p.place == i))
            .collect(),
        nothing: 1.0 - some(&|_| true),
        candidates: listed,
        size: 1,
        candidates_left_out: (1.0 - total).clamp(0.0, 1.0),
        evidence_log2: f64::NEG_INFINITY,
        impossible: true,
        ..Belief::default()
    }
}

/// Faults, likeliest first: those that larger sets are built of.
fn likeliest(network: &Network, exact: Option<&Exact>) -> Vec<FaultId> {
    let mut order: Vec<FaultId> = network.faults().keys().collect();
    let p = |f: FaultId| match exact {
        Some(e) => e.faults[f].max(network.faults()[f].probability * 1e-3),
        None => network.faults()[f].probability,
    };
    order.sort_by(|a, b| likelier(p(*a), p(*b)));
    order
}

/// Which faults are likely enough to be in pairs: the others together have at
/// most [`UNLIKELY`]. One that was cleared may have been there before.
fn likely(events: &[Event], order: &[FaultId], exact: &Exact) -> TiVec<FaultId, bool> {
    let mut likely = TiVec::from(vec![true; order.len()]);
    let mut sum = 0.0;
    for f in order.iter().rev() {
        sum += exact.faults[*f];
        if sum > UNLIKELY {
            break;
        }
        likely[*f] = false;
    }
    for e in events {
        if let Event::Changed(c) = e {
            c.clears.iter().for_each(|(f, _)| likely[*f] = true);
        }
    }
    likely
}

fn from_candidates(network: &Network, listed: &Weighted) -> Belief {
    let mut b = Belief {
        faults: vec![0.0; network.len()].into(),
        items: vec![0.0; network.items()].into(),
        places: vec![0.0; network.places()].into(),
        ..Belief::default()
    };
    for (c, w) in listed {
        if c.is_empty() {
            b.nothing += w;
        }
        let mut items: Vec<ItemId> = Vec::with_capacity(c.len());
        let mut places: Vec<PlaceId> = Vec::with_capacity(c.len());
        for f in c.iter() {
            b.faults[f] += w;
            let p = network.faults()[f];
            if !items.contains(&p.item) {
                items.push(p.item);
                b.items[p.item] += w;
            }
            if !places.contains(&p.place) {
                places.push(p.place);
                b.places[p.place] += w;
            }
        }
    }
    b
}

/// Bounds the mass of larger sets when the full sum is out of reach: results
/// that are dropped count as the likeliest there can be for them, which can
/// only raise it.
fn bound(network: &Network, events: &[Event], listed: f64, k: usize, among: &[FaultId]) -> f64 {
    let mut fewer: Vec<Event> = events.to_vec();
    let mut most = 1.0;
    let all = loop {
        if let Some((z, lost)) = exact::weight(network, &fewer) {
            break z + lost;
        }
        let Some(i) = fewer.iter().rposition(|e| matches!(e, Event::Seen(_))) else {
            return 1.0;
        };
        if let Event::Seen(s) = fewer.remove(i) {
            most *= s.finding.most(s.outcome);
        }
    };
    let small: f64 = candidates::filter(network, candidates::list(network, k, among), &fewer)
        .iter()
        .map(|l| l.1)
        .sum();
    let rest = (all - small).max(0.0) * most;
    rest / (listed + rest)
}

/// Where the full sum is out of reach: by sets of up to `k`.
fn misreadings(network: &Network, events: &[Event], k: usize, order: &[FaultId]) -> Vec<f64> {
    let among = &order[..candidates::breadth(network.len(), k).min(order.len())];
    let sets = candidates::list(network, k, among);
    let total_of = |events: &[Event]| -> f64 {
        let listed = candidates::filter(network, sets.clone(), events);
        listed.iter().map(|l| l.1).sum()
    };
    let total = total_of(events);
    let mut out = Vec::new();
    for (i, e) in events.iter().enumerate() {
        let Event::Seen(s) = e else { continue };
        if s.finding.is_record() {
            let wrong = (1..=s.finding.results()).map(|outcome| {
                let mut then = events.to_vec();
                let finding = s.finding.clone();
                then[i] = Event::Seen(Seen { finding, outcome });
                (total_of(&then) / total).clamp(0.0, 1.0)
            });
            out.extend(wrong);
            continue;
        }
        let flat = s.finding.at_random(s.outcome);
        if flat == 0.0 {
            out.push(0.0);
            continue;
        }
        // Wrong: read at random, and not by luck what it truly was.
        let mut others = events.to_vec();
        others.remove(i);
        let without = total_of(&others);
        // A number is never right by luck.
        let truly = if s.finding.outcomes() == 1 {
            0.0
        } else {
            let finding = std::sync::Arc::new(s.finding.without_misreading());
            let outcome = s.outcome;
            others.insert(i, Event::Seen(Seen { finding, outcome }));
            total_of(&others)
        };
        let wrong = flat * (without - truly) / total;
        out.push(if total > 0.0 {
            wrong.clamp(0.0, 1.0)
        } else {
            0.0
        });
    }
    out
}
