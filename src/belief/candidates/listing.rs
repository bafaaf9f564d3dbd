//! Sets of faults, the likeliest first.

use typed_index_collections::TiSlice;

use super::likelihood::Likelihood;
use super::{Candidate, MAX_SIZE, changed, packed};
use crate::belief::network::{Event, FaultId, Network};
use crate::belief::order::likelier;

/// How many sets are listed at most when a size is tried.
const MAX_SETS: usize = 24_000;

/// Weighted sets; the weights are joint probabilities with what was seen.
pub type Weighted = Vec<(Candidate, f64)>;

/// All sets up to `size` of the faults in `among`, with all pairs of the rest
/// if `size` is at least 2, weighted by their prior.
pub fn list(network: &Network, size: usize, among: &[FaultId]) -> Weighted {
    listed(network, 0, size, among, |_| true)
}

/// All sets up to two faults, but of pairs only those of two of `paired`.
pub(in crate::belief) fn list_pairs(
    network: &Network,
    size: usize,
    paired: &TiSlice<FaultId, bool>,
) -> Weighted {
    listed(network, 0, size, &[], |f| paired[f])
}

/// The same without the sets smaller than `from`, which is 0 or 3.
pub(in crate::belief) fn list_from(
    network: &Network,
    from: usize,
    size: usize,
    among: &[FaultId],
) -> Weighted {
    listed(network, from, size, among, |_| true)
}

fn listed(
    network: &Network,
    from: usize,
    size: usize,
    among: &[FaultId],
    paired: impl Fn(FaultId) -> bool,
) -> Weighted {
    let priors = network.faults();
    let certain: Vec<FaultId> = (priors.keys())
        .filter(|f| priors[*f].probability >= 1.0)
        .collect();
    let Some(base) = Candidate::new(&certain) else {
        return Vec::new();
    };
    let base_weight: f64 = priors
        .iter()
        .filter(|p| p.probability < 1.0)
        .map(|p| 1.0 - p.probability)
        .product();
    let open = |f: &FaultId| priors[*f].probability > 0.0 && priors[*f].probability < 1.0;
    let odds = |f: FaultId| priors[f].probability / (1.0 - priors[f].probability);
    let all: Vec<FaultId> = priors.keys().filter(open).collect();
    let paired: Vec<FaultId> = all.iter().copied().filter(|f| paired(*f)).collect();
    let pairs = if from == 0 && size >= 2 {
        paired.len() * paired.len() / 2
    } else {
        0
    };
    let mut out = Vec::with_capacity(pairs + all.len() + 1);
    if from == 0 {
        out.push((base, base_weight));
    }
    let mut add = |faults: &[FaultId], w: f64| {
        let mut c = base;
        for f in faults {
            if c.len() < MAX_SIZE {
                c.faults[c.len()] = packed(*f);
                c.len += 1;
            } else {
                return;
            }
        }
        if !base.is_empty() {
            let n = c.len();
            c.faults[..n].sort_unstable();
        }
        out.push((c, w));
    };
    if from == 0 && size >= 1 {
        for f in &all {
            add(&[*f], base_weight * odds(*f));
        }
    }
    if from == 0 && size >= 2 {
        for (i, f) in paired.iter().enumerate() {
            let w = base_weight * odds(*f);
            for g in &paired[i + 1..] {
                add(&[*f, *g], w * odds(*g));
            }
        }
    }
    if size >= 3 {
        let mut among: Vec<FaultId> = among.iter().copied().filter(|f| open(f)).collect();
        among.sort_unstable();
        let mut chosen: Vec<FaultId> = Vec::new();
        fn deeper(
            among: &[FaultId],
            from: usize,
            size: usize,
            w: f64,
            chosen: &mut Vec<FaultId>,
            odds: &dyn Fn(FaultId) -> f64,
            add: &mut dyn FnMut(&[FaultId], f64),
        ) {
            for i in from..among.len() {
                let f = among[i];
                chosen.push(f);
                let w = w * odds(f);
                if chosen.len() >= 3 {
                    add(chosen, w);
                }
                if chosen.len() < size {
                    deeper(among, i + 1, size, w, chosen, odds, add);
                }
                chosen.pop();
            }
        }
        deeper(
            &among,
            0,
            size.min(MAX_SIZE),
            base_weight,
            &mut chosen,
            &odds,
            &mut add,
        );
    }
    out
}

/// How many sets of three up to `size` faults there are of `n`.
pub fn count(n: usize, size: usize) -> f64 {
    let mut c = 1.0;
    let mut total = 0.0;
    for k in 0..size {
        c *= n.saturating_sub(k) as f64 / (k + 1) as f64;
        if k >= 2 {
            total += c;
        }
    }
    total
}

/// How many faults may take part in sets of `size` so that they stay few enough.
pub fn breadth(n: usize, size: usize) -> usize {
    (size..=n)
        .rev()
        .find(|m| count(*m, size) <= MAX_SETS as f64)
        .unwrap_or(size)
}

/// Weighs listed sets by everything that happened.
pub fn filter(network: &Network, mut sets: Weighted, events: &[Event]) -> Weighted {
    let mut seen: Vec<Likelihood> = Vec::new();
    for e in events {
        match e {
            Event::Seen(s) => seen.push(Likelihood::new(network.len(), s)),
            Event::Changed(c) => {
                weigh(network.len(), &mut sets, &seen);
                seen.clear();
                sets = changed(&sets, c, 0.0);
            }
        }
    }
    weigh(network.len(), &mut sets, &seen);
    sets
}

/// Adds the weights of sets that are listed twice.
pub(in crate::belief) fn merge(sets: &mut Weighted) {
    sets.sort_unstable_by_key(|s| s.0);
    add_equal(sets);
}

/// The same for sets that are in the order of their faults.
pub(super) fn add_equal(sets: &mut Weighted) {
    sets.dedup_by(|b, a| {
        let same = a.0 == b.0;
        if same {
            a.1 += b.1;
        }
        same
    });
}

/// How many sets of a long list are put in order.
const ORDERED: usize = 4096;

/// Puts the likeliest first; equal ones in the order of their faults. Of a
/// long list only the first [`ORDERED`]: nobody reads or plans beyond them.
pub(in crate::belief) fn sort(sets: &mut Weighted) {
    let full = |a: &(Candidate, f64), b: &(Candidate, f64)| likelier(a.1, b.1).then(a.0.cmp(&b.0));
    if sets.len() > ORDERED {
        sets.select_nth_unstable_by(ORDERED, full);
    }
    let first = sets.len().min(ORDERED);
    sets[..first].sort_unstable_by(full);
}

/// Multiplies each weight by the likelihoods of results.
fn weigh(n: usize, sets: &mut Weighted, seen: &[Likelihood]) {
    // The pairs of one fault follow each other: they are weighed as a row, in which
    // faults go by plain places.
    let mut row = vec![1.0; n];
    let pairs =
        |a: &Candidate, b: &Candidate| a.len() == 2 && b.len() == 2 && a.faults[0] == b.faults[0];
    for run in sets.chunk_by_mut(|a, b| pairs(&a.0, &b.0)) {
        let second = |s: &(Candidate, f64)| usize::from(s.0.faults[1]);
        let from = run.iter().map(second).min().unwrap_or(0);
        let to = run.iter().map(second).max().unwrap_or(0) + 1;
        if run.len() * 2 < to - from || run.len() == 1 {
            for (c, w) in run {
                *w *= seen.iter().map(|s| s.of(c)).product::<f64>();
            }
            continue;
        }
        let first = usize::from(run[0].0.faults[0]);
        row[from..to].fill(1.0);
        for s in seen {
            s.by_second(FaultId(first), FaultId(from), &mut row[from..to]);
        }
        for s in run {
            s.1 *= row[second(s)];
        }
    }
}
