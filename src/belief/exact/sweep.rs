//! The sum fault by fault with all digits carried, there and back.

mod packs;

use std::cmp::Reverse;
use std::collections::BTreeSet;

use packs::{Inside, Left, Pack, WIDEST, packs};

use super::super::lives::Life;
use super::super::network::{ItemId, PlaceId};
use super::digits::{Variable, digits};
use super::model::Model;
use super::space::{Space, add, dot};
use super::sums::{Sums, Whole};

/// What a step of a [`Sweep`] goes over.
pub(super) enum Step<'m> {
    Fault(&'m Variable),
    Pack(Box<Pack<'m>>),
}

impl Step<'_> {
    /// Whether it has faults of something. Where blocks are, a step of faults
    /// that act alone is of one item if that has a fault in a block.
    pub(super) fn has(&self, whole: Whole) -> bool {
        match self {
            Step::Fault(f) => whole.has(f),
            Step::Pack(p) => match &p.inside {
                Inside::Alone(sweep, _) => sweep.steps.iter().any(|s| s.has(whole)),
                Inside::Together(block, _) => block.of(whole) != 0,
            },
        }
    }
}

/// Consecutive steps that have all faults of something. Between them may be
/// others if it has faults in a block.
pub(super) struct Run {
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) of: Whole,
}

/// The sum step by step, there and back.
pub(super) struct Sweep<'m> {
    pub(super) space: Space,
    pub(super) steps: Vec<Step<'m>>,
    /// As the way back meets them: later ends first.
    pub(super) runs: Vec<Run>,
    /// The weights before each step, and after the last.
    pub(super) ahead: Vec<f64>,
    /// What the weights after the last step may lack at most; empty if nothing.
    pub(super) lost: Vec<f64>,
}

impl<'m> Sweep<'m> {
    /// Over all faults that a result touches.
    pub(super) fn over(model: &'m Model) -> Sweep<'m> {
        let space = model.space();
        let start = space.product(&model.digits, model.constant, |d| &d.start);
        let members = || model.blocks.iter().flat_map(|b| &b.members);
        let items: BTreeSet<ItemId> = members().map(|f| f.item).collect();
        let places: BTreeSet<PlaceId> = members().map(|f| f.place).collect();
        // Places hold items hold faults, so that each is one run of the order;
        // those with faults in a block, which come last, are next to them.
        let mut order: Vec<&Variable> = Vec::with_capacity(model.faults.len());
        order.extend(model.faults.iter().filter(|f| !f.pushes.is_empty()));
        let tied = |f: &Variable| (places.contains(&f.place), items.contains(&f.item));
        order.sort_by_key(|f| (tied(f), f.place, f.item));
        let packing = space.states > WIDEST;
        let mut steps: Vec<Step> = Vec::with_capacity(order.len());
        let mut runs: Vec<Run> = Vec::with_capacity(order.len() + 2);
        for place in order.chunk_by(|a, b| a.place == b.place && tied(a) == tied(b)) {
            let (tied_place, tied_items) = tied(place[0]);
            let from = steps.len();
            let mut narrow: Vec<&[&Variable]> = Vec::new();
            for item in place.chunk_by(|a, b| a.item == b.item) {
                if packing && !tied_items && model.size(digits(item)).0 <= WIDEST {
                    narrow.push(item);
                    continue;
                }
                let first = steps.len();
                if packing {
                    for pack in packs(model, item.chunks(1).collect()) {
                        steps.push(match pack[..] {
                            [f] if model.size(f.digits).0 > WIDEST => Step::Fault(f),
                            _ => Step::Pack(Box::new(Pack::new(model, &space, pack, false))),
                        });
                    }
                } else {
                    steps.extend(item.iter().map(|f| Step::Fault(f)));
                }
                if !tied_items {
                    runs.push(Run {
                        first,
                        last: steps.len() - 1,
                        of: Whole::Item(item[0].item),
                    });
                }
            }
            for pack in packs(model, narrow) {
                steps.push(Step::Pack(Box::new(Pack::new(model, &space, pack, true))));
            }
            if !tied_place {
                runs.push(Run {
                    first: from,
                    last: steps.len() - 1,
                    of: Whole::Place(place[0].place),
                });
            }
        }
        let blocks = model.blocks.iter();
        steps.extend(blocks.map(|b| Step::Pack(Box::new(Pack::tied(model, &space, b)))));
        let wholes = items.into_iter().map(Whole::Item);
        for of in wholes.chain(places.into_iter().map(Whole::Place)) {
            let has = |s: &Step| s.has(of);
            let ends = (steps.iter().position(has), steps.iter().rposition(has));
            if let (Some(first), Some(last)) = ends {
                runs.push(Run { first, last, of });
            }
        }
        if let Some(last) = steps.len().checked_sub(1) {
            runs.push(Run {
                first: 0,
                last,
                of: Whole::Everything,
            });
        }
        Sweep::new(space, start, steps, runs)
    }

    pub(super) fn new(
        space: Space,
        start: Vec<f64>,
        steps: Vec<Step<'m>>,
        mut runs: Vec<Run>,
    ) -> Self {
        runs.sort_by_key(|r| Reverse(r.last));
        let n = space.states;
        let mut ahead = start;
        ahead.resize(n * (steps.len() + 1), 0.0);
        let mut room = vec![0.0; n];
        let mut lost = Vec::new();
        for (i, step) in steps.iter().enumerate() {
            let (before, after) = ahead[i * n..(i + 2) * n].split_at_mut(n);
            match step {
                Step::Fault(f) => {
                    add(after, before, f.absent);
                    for life in &f.lives {
                        room.copy_from_slice(before);
                        let keep = space.push(&mut room, &f.pushes, life.present);
                        add(after, &room, keep * life.weight);
                    }
                }
                Step::Pack(p) => {
                    p.push(before, after, &p.all);
                    // Blocks come last: nothing is lost before them.
                    let mut more = vec![0.0; if lost.is_empty() { 0 } else { n }];
                    if !lost.is_empty() {
                        p.push(&lost, &mut more, &p.all);
                    }
                    if let Some(left_out) = &p.left_out {
                        lost.resize(n, 0.0);
                        more.resize(n, 0.0);
                        add(&mut lost, before, 1.0);
                        p.push(&lost, &mut room, left_out);
                        add(&mut more, &room, 1.0);
                    }
                    lost = more;
                }
            }
        }
        Sweep {
            space,
            steps,
            runs,
            ahead,
            lost,
        }
    }

    /// The weights before a step.
    pub(super) fn ahead(&self, step: usize) -> &[f64] {
        let n = self.space.states;
        &self.ahead[step * n..(step + 1) * n]
    }

    /// The weights after all steps.
    pub(super) fn result(&self) -> &[f64] {
        self.ahead(self.steps.len())
    }

    /// Goes back from `back`, the likelihoods after all steps. What it finds on
    /// the way it puts into `sums`.
    pub(super) fn back(&self, mut back: Vec<f64>, sums: &mut Sums) {
        let n = self.space.states;
        let (mut room, mut there) = (vec![0.0; n], vec![0.0; n]);
        // For the runs that it is in: the likelihoods if none of their faults
        // is there now, and a factor on them.
        let mut within: Vec<(&Run, Vec<f64>, f64)> = Vec::new();
        let mut spare: Vec<Vec<f64>> = Vec::new();
        let mut runs = self.runs.iter().peekable();
        for (i, step) in self.steps.iter().enumerate().rev() {
            while let Some(run) = runs.next_if(|r| r.last == i) {
                let mut v = spare.pop().unwrap_or_else(|| vec![0.0; n]);
                v.copy_from_slice(&back);
                within.push((run, v, 1.0));
            }
            let ahead = self.ahead(i);
            match step {
                Step::Fault(f) => {
                    for (run, v, by) in &mut within {
                        if !run.of.has(f) {
                            self.pull_lives(v, f, |_| true, &mut room, &mut there);
                        } else if f.lasts() {
                            *by *= f.absent;
                        } else {
                            self.pull_gone(v, f, &mut room, &mut there);
                        }
                    }
                }
                Step::Pack(p) => {
                    let left = p.without(within.iter().map(|w| w.0.of));
                    for ((_, v, by), left) in within.iter_mut().zip(left) {
                        match left {
                            Left::Share(absent) => *by *= absent,
                            Left::Pairs(weights) => *v = p.pull(v, &weights),
                        }
                    }
                }
            }
            match step {
                Step::Fault(f) => {
                    there.fill(0.0);
                    for life in f.lives.iter().filter(|l| l.now) {
                        room.copy_from_slice(&back);
                        let keep = self.space.pull(&mut room, &f.pushes, life.present);
                        add(&mut there, &room, keep * life.weight);
                    }
                    let p = dot(ahead, &there) / sums.total;
                    sums.faults[f.id] = p.clamp(0.0, 1.0);
                    if f.lasts() {
                        back.iter_mut()
                            .zip(&there)
                            .for_each(|(b, t)| *b = *b * f.absent + t);
                    } else {
                        let mut gone = there.clone();
                        self.pull_gone(&mut back, f, &mut room, &mut gone);
                        add(&mut back, &there, 1.0);
                    }
                }
                Step::Pack(p) => {
                    let rest = p.contract(ahead, &back);
                    match &p.inside {
                        Inside::Alone(sweep, _) => sweep.back(rest, sums),
                        Inside::Together(block, space) => block.back(space, &rest, sums),
                    }
                    back = p.pull(&back, &p.all);
                }
            }
            while let Some(at) = within.iter().rposition(|w| w.0.first == i) {
                let (run, v, by) = within.swap_remove(at);
                *sums.none_of(run.of) *= by * dot(ahead, &v) / sums.total;
                spare.push(v);
            }
        }
    }

    /// What is left of likelihoods if a fault is not there now.
    pub(super) fn pull_gone(&self, v: &mut [f64], f: &Variable, room: &mut [f64], was: &mut [f64]) {
        self.pull_lives(v, f, |l| !l.now, room, was);
    }

    /// The same if it was never there or has one of these lives.
    pub(super) fn pull_lives(
        &self,
        v: &mut [f64],
        f: &Variable,
        these: impl Fn(&Life) -> bool,
        room: &mut [f64],
        was: &mut [f64],
    ) {
        was.copy_from_slice(v);
        v.iter_mut().for_each(|x| *x *= f.absent);
        for life in f.lives.iter().filter(|l| these(l)) {
            room.copy_from_slice(was);
            let keep = self.space.pull(room, &f.pushes, life.present);
            add(v, room, keep * life.weight);
        }
    }
}
