//! The sum by elimination, where there are too many digits to carry at once.
//!
//! Faults and digits are the vertices of a graph, with an edge from a fault to
//! each digit that it pushes. They are eliminated one by one: everything that
//! speaks of a vertex is joined to one table over it and its neighbours, and
//! the vertex is summed out, a digit with its likelihood. So a digit is carried
//! from the first fault that pushes it to the last, and where few faults push
//! many digits, the sum goes through sets of these faults instead. Tables over
//! the same digit are joined by the furthest push of the two (Zhang and Poole
//! 1996, "Exploiting causal independence in Bayesian network inference"), those
//! over the same fault by product; all terms are positive.
//!
//! The tables form a tree. On the way back each table is given what all others
//! say of it, so that all answers cost three times what the sum costs.

use std::collections::BTreeSet;

use fixedbitset::FixedBitSet;

use super::super::network::{ItemId, PlaceId};
use super::model::Model;
use super::space::{by_pair, by_push};
use super::sums::{Sums, Whole};

/// Most combinations of one table.
const MOST_STATES: f64 = (1 << 18) as f64;
/// Neighbours from which the edges that a vertex needs are not counted.
const CROWDED: usize = 20;
/// Most products of all answers: some tenths of a second.
const MOST_PRODUCTS: f64 = 3e8;

/// A fault or a digit: faults come first, in the order of the model.
type Vertex = usize;

/// Weights by combinations of some vertices.
#[derive(Clone)]
struct Table {
    /// Ascending; the first varies fastest.
    over: Vec<Vertex>,
    weights: Vec<f64>,
}

/// A table that is joined to that of a step.
enum Part {
    /// What came of an earlier step.
    Of(usize),
    /// A fault that pushes a digit, or a digit with no fault.
    Fixed(Table),
}

/// The elimination of a vertex.
struct Step {
    vertex: Vertex,
    /// It and its neighbours, ascending.
    over: Vec<Vertex>,
    /// The widest first.
    parts: Vec<Part>,
    /// The step that takes what comes of it.
    into: Option<usize>,
    /// What comes of it.
    out: Table,
}

/// A sum with its way ahead done.
pub(super) struct Tree<'m> {
    model: &'m Model,
    steps: Vec<Step>,
    /// Levels of each vertex: of a fault, absent and its lives.
    levels: Vec<usize>,
    /// Weight of each level of a vertex when it is summed out.
    ends: Vec<Vec<f64>>,
    /// Probability of what was seen.
    pub(super) total: f64,
}

impl<'m> Tree<'m> {
    /// `None` if it takes too much.
    pub(super) fn new(model: &'m Model) -> Option<Tree<'m>> {
        let faults = model.faults.len();
        let mut levels: Vec<usize> = model.faults.iter().map(|f| f.lives.len() + 1).collect();
        levels.extend(model.digits.iter().map(|d| d.levels));
        let mut ends: Vec<Vec<f64>> = Vec::with_capacity(levels.len());
        for f in &model.faults {
            let kept = f.lives.iter().map(|l| {
                let pushes = f.pushes.iter().filter(|p| l.present >> p.epoch & 1 == 1);
                pushes.fold(l.weight, |w, p| w * p.keep)
            });
            ends.push(std::iter::once(f.absent).chain(kept).collect());
        }
        ends.extend(model.digits.iter().map(|d| d.last[..d.levels].to_vec()));
        let mut fixed: Vec<Table> = Vec::new();
        for (i, f) in model.faults.iter().enumerate() {
            for p in &f.pushes {
                let Some(d) = p.digit else { continue };
                let pushed = [1.0 - p.up - p.far, p.up, p.far];
                let mut weights = vec![0.0; levels[i] * levels[faults + d]];
                for (l, w) in weights.iter_mut().enumerate() {
                    let (life, level) = (l % levels[i], l / levels[i]);
                    let there = life > 0 && f.lives[life - 1].present >> p.epoch & 1 == 1;
                    *w = match (there, level) {
                        (true, _) => pushed[level],
                        (false, 0) => 1.0,
                        (false, _) => 0.0,
                    };
                }
                let over = vec![i, faults + d];
                fixed.push(Table { over, weights });
            }
        }
        fixed.extend(model.digits.iter().enumerate().map(|(d, digit)| Table {
            over: vec![faults + d],
            weights: digit.start[..digit.levels].to_vec(),
        }));
        let mut tree = Tree {
            model,
            steps: Vec::new(),
            levels,
            ends,
            total: 0.0,
        };
        let order = tree.order(&fixed)?;
        tree.plan(&order, fixed);
        // There and back, and half of the way for each whole on average.
        let ways = 3.0 + tree.wholes().len() as f64 / 2.0;
        if ways * tree.products() > MOST_PRODUCTS {
            return None;
        }
        let mut total = model.constant;
        for s in 0..tree.steps.len() {
            let joined = tree.joined(s, |part| &tree.steps[part].out, None);
            let out = tree.summed(s, joined, &tree.ends[tree.steps[s].vertex]);
            if tree.steps[s].into.is_none() {
                total *= out.weights[0];
            }
            tree.steps[s].out = out;
        }
        tree.total = total;
        Some(tree)
    }

    fn is_digit(&self, v: Vertex) -> bool {
        v >= self.model.faults.len()
    }

    fn states(&self, over: &[Vertex]) -> f64 {
        over.iter().map(|v| self.levels[*v] as f64).product()
    }

    /// The vertices in the order of elimination, each with the fewest new edges
    /// between its neighbours. `None` if a table would be too large.
    fn order(&self, fixed: &[Table]) -> Option<Vec<Vertex>> {
        let all = self.levels.len();
        let mut near = vec![FixedBitSet::with_capacity(all); all];
        for t in fixed.iter().filter(|t| t.over.len() == 2) {
            near[t.over[0]].insert(t.over[1]);
            near[t.over[1]].insert(t.over[0]);
        }
        let mut left: Vec<Vertex> = (0..all).collect();
        let mut fill: Vec<usize> = (0..all).map(|v| new_edges(&near, v)).collect();
        let mut size: Vec<usize> = near.iter().map(|n| n.count_ones(..)).collect();
        let mut order = Vec::with_capacity(all);
        while let Some((at, v)) =
            (left.iter().copied().enumerate()).min_by_key(|(_, v)| (fill[*v], size[*v]))
        {
            left.remove(at);
            let around = std::mem::take(&mut near[v]);
            let states: f64 = around.ones().map(|v| self.levels[v] as f64).product();
            if states * self.levels[v] as f64 > MOST_STATES {
                return None;
            }
            for a in around.ones() {
                near[a].union_with(&around);
                near[a].remove(a);
                near[a].remove(v);
                size[a] = near[a].count_ones(..);
            }
            // The neighbours have lost one of theirs; what has two of them near has
            // an edge more between its own, if one came.
            let touched = |a: &Vertex| {
                around.contains(*a) || fill[v] > 0 && near[*a].intersection_count(&around) > 1
            };
            let again: Vec<Vertex> = left.iter().copied().filter(touched).collect();
            again
                .into_iter()
                .for_each(|a| fill[a] = new_edges(&near, a));
            order.push(v);
        }
        Some(order)
    }

    /// Lays out the steps.
    fn plan(&mut self, order: &[Vertex], fixed: Vec<Table>) {
        let mut place = vec![0; order.len()];
        order.iter().enumerate().for_each(|(s, v)| place[*v] = s);
        let mut parts: Vec<Vec<Part>> = order.iter().map(|_| Vec::new()).collect();
        let first = |over: &[Vertex]| over.iter().map(|v| place[*v]).min();
        for t in fixed {
            if let Some(s) = first(&t.over) {
                parts[s].push(Part::Fixed(t));
            }
        }
        for (s, v) in order.iter().enumerate() {
            let mut parts_of = std::mem::take(&mut parts[s]);
            let over_of = |p: &Part| match p {
                Part::Of(s) => self.steps[*s].out.over.clone(),
                Part::Fixed(t) => t.over.clone(),
            };
            parts_of.sort_by_key(|p| std::cmp::Reverse(over_of(p).len()));
            let mut over: Vec<Vertex> = parts_of.iter().flat_map(over_of).chain([*v]).collect();
            over.sort_unstable();
            over.dedup();
            let rest: Vec<Vertex> = over.iter().copied().filter(|o| o != v).collect();
            let into = first(&rest);
            if let Some(to) = into {
                parts[to].push(Part::Of(s));
            }
            self.steps.push(Step {
                vertex: *v,
                over,
                parts: parts_of,
                into,
                out: Table {
                    over: rest,
                    weights: Vec::new(),
                },
            });
        }
    }

    /// How many products the way ahead takes.
    fn products(&self) -> f64 {
        let of = |s: &Step| -> f64 {
            let states = self.states(&s.over);
            let of_part = |p: &Part| {
                let over = match p {
                    Part::Of(s) => &self.steps[*s].out.over,
                    Part::Fixed(t) => &t.over,
                };
                let digits = over.iter().filter(|v| self.is_digit(**v));
                states
                    * digits
                        .map(|d| (self.levels[*d] + 1) as f64 / 2.0)
                        .product::<f64>()
            };
            // The first is only copied.
            states + s.parts.iter().skip(1).map(of_part).sum::<f64>()
        };
        self.steps.iter().map(of).sum()
    }

    /// The table of a step before its vertex is summed out; `before` takes what
    /// it was before each part was joined.
    fn joined<'t>(
        &'t self,
        step: usize,
        out: impl Fn(usize) -> &'t Table,
        mut before: Option<&mut Vec<Vec<f64>>>,
    ) -> Vec<f64> {
        let s = &self.steps[step];
        let mut weights = vec![0.0; self.states(&s.over) as usize];
        weights.fill(0.0);
        // With no push at all, whatever the faults.
        let faults = s.over.iter().filter(|v| !self.is_digit(**v));
        self.at(&s.over, &faults.copied().collect::<Vec<_>>())
            .into_iter()
            .for_each(|at| weights[at] = 1.0);
        for (i, part) in s.parts.iter().enumerate() {
            let table = match part {
                Part::Of(s) => out(*s),
                Part::Fixed(t) => t,
            };
            if let Some(before) = before.as_deref_mut() {
                before.push(weights.clone());
            }
            match i {
                0 => self.spread(&s.over, table, &mut weights),
                _ => Joint::new(self, &s.over, table).join(&mut weights),
            }
        }
        weights
    }

    /// Where the combinations of some vertices are in a table over more; all
    /// others at their first level.
    fn at(&self, over: &[Vertex], of: &[Vertex]) -> Vec<usize> {
        let mut out = vec![0];
        let mut stride = 1;
        for v in over {
            if of.contains(v) {
                let n = out.len();
                for l in 1..self.levels[*v] {
                    for i in 0..n {
                        out.push(out[i] + l * stride);
                    }
                }
            }
            stride *= self.levels[*v];
        }
        out
    }

    /// The first table of a step: digits that it does not speak of are not
    /// pushed, faults may be anything.
    fn spread(&self, over: &[Vertex], table: &Table, weights: &mut [f64]) {
        weights.fill(0.0);
        let places = self.at(over, &table.over);
        for base in self.at(over, &self.free(over, &table.over)) {
            for (at, w) in places.iter().zip(&table.weights) {
                weights[base + at] = *w;
            }
        }
    }

    /// Faults of a table that another does not speak of.
    fn free(&self, over: &[Vertex], of: &[Vertex]) -> Vec<Vertex> {
        let free = |v: &&Vertex| !self.is_digit(**v) && !of.contains(*v);
        over.iter().filter(free).copied().collect()
    }

    /// Sums the vertex of a step out, with these weights of its levels.
    fn summed(&self, step: usize, joined: Vec<f64>, ends: &[f64]) -> Table {
        let s = &self.steps[step];
        let places = self.at(&s.over, &s.out.over);
        let by = self.at(&s.over, &[s.vertex]);
        let sum = |at: &usize| by.iter().zip(ends).map(|(b, e)| joined[at + b] * e).sum();
        Table {
            over: s.out.over.clone(),
            weights: places.iter().map(sum).collect(),
        }
    }

    /// Takes all answers.
    pub(super) fn back(&self, sums: &mut Sums) {
        let faults = self.model.faults.len();
        // What all else says of the table that came of each step.
        let mut said: Vec<Vec<f64>> = vec![Vec::new(); self.steps.len()];
        for s in (0..self.steps.len()).rev() {
            let step = &self.steps[s];
            if step.into.is_none() {
                said[s] = vec![self.total / step.out.weights[0]];
            }
            let mut before = Vec::new();
            let joined = self.joined(s, |p| &self.steps[p].out, Some(&mut before));
            let places = self.at(&step.over, &step.out.over);
            let by = self.at(&step.over, &[step.vertex]);
            let ends = &self.ends[step.vertex];
            let mut back = vec![0.0; joined.len()];
            let mut levels = vec![0.0; ends.len()];
            for (at, rest) in places.iter().zip(&said[s]) {
                for ((b, e), level) in by.iter().zip(ends).zip(&mut levels) {
                    back[at + b] = rest * e;
                    *level += joined[at + b] * rest * e;
                }
            }
            let p = |weight: f64| (weight / sums.total).clamp(0.0, 1.0);
            if self.is_digit(step.vertex) {
                let digit = &self.model.digits[step.vertex - faults];
                if digit.misread {
                    let wrong = levels.iter().enumerate().filter(|l| l.0 != digit.seen);
                    sums.misread[digit.result] = p(wrong.map(|l| l.1).sum());
                }
            } else {
                let f = &self.model.faults[step.vertex];
                let now = f.lives.iter().zip(&levels[1..]).filter(|l| l.0.now);
                sums.faults[f.id] = p(now.map(|l| l.1).sum());
            }
            // The parts, from the last that was joined to the first.
            for (i, part) in step.parts.iter().enumerate().rev() {
                let table = match part {
                    Part::Of(s) => &self.steps[*s].out,
                    Part::Fixed(t) => t,
                };
                if i == 0 {
                    if let Part::Of(p) = part {
                        said[*p] = self.gathered(&step.over, table, &back);
                    }
                    continue;
                }
                let joint = Joint::new(self, &step.over, table);
                if let Part::Of(p) = part {
                    said[*p] = joint.of_part(&before[i], &back);
                }
                joint.back(&mut back);
            }
        }
        for f in &self.model.faults {
            let not = 1.0 - sums.faults[f.id];
            for whole in [
                Whole::Item(f.item),
                Whole::Place(f.place),
                Whole::Everything,
            ] {
                *sums.none_of(whole) = not;
            }
        }
        for whole in self.wholes() {
            *sums.none_of(whole) = self.none_of(whole, &said);
        }
    }

    /// What has more than one fault.
    fn wholes(&self) -> Vec<Whole> {
        let faults = &self.model.faults;
        let several = |whole: &Whole| faults.iter().filter(|f| whole.has(f)).count() > 1;
        let items: BTreeSet<ItemId> = faults.iter().map(|f| f.item).collect();
        let places: BTreeSet<PlaceId> = faults.iter().map(|f| f.place).collect();
        let all = items.into_iter().map(Whole::Item);
        let all = all.chain(places.into_iter().map(Whole::Place));
        all.chain([Whole::Everything]).filter(several).collect()
    }

    /// The transpose of [`Self::spread`].
    fn gathered(&self, over: &[Vertex], table: &Table, back: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; table.weights.len()];
        let places = self.at(over, &table.over);
        for base in self.at(over, &self.free(over, &table.over)) {
            for (at, sum) in places.iter().zip(&mut out) {
                *sum += back[base + at];
            }
        }
        out
    }

    /// The probability that no fault of a whole is there now: the steps of these
    /// faults again with the other lives alone, and all that follow up to where
    /// they meet. `said` has what all else says of each step.
    fn none_of(&self, whole: Whole, said: &[Vec<f64>]) -> f64 {
        let faults = &self.model.faults;
        let mut again: BTreeSet<usize> = (0..self.steps.len())
            .filter(|s| {
                let f = faults.get(self.steps[*s].vertex);
                f.is_some_and(|f| whole.has(f))
            })
            .collect();
        let mut new: Vec<Option<Table>> = vec![None; self.steps.len()];
        let mut none = 1.0;
        while let Some(s) = again.pop_first() {
            let step = &self.steps[s];
            let out = |p: usize| new[p].as_ref().unwrap_or(&self.steps[p].out);
            let joined = self.joined(s, out, None);
            let mut ends = self.ends[step.vertex].clone();
            if let Some(f) = faults.get(step.vertex).filter(|f| whole.has(f)) {
                for (end, life) in ends[1..].iter_mut().zip(&f.lives) {
                    *end *= f64::from(!life.now);
                }
            }
            let out = self.summed(s, joined, &ends);
            // Once no other step of its part of the tree is to be done again, what
            // all else says of it holds.
            let others = again.iter().any(|o| self.root(*o) == self.root(s));
            match step.into {
                Some(into) if others => {
                    again.insert(into);
                    new[s] = Some(out);
                }
                _ => {
                    let with = out.weights.iter().zip(&said[s]).map(|(a, b)| a * b);
                    none *= with.sum::<f64>() / self.total;
                }
            }
        }
        none
    }

    /// The last of the steps that a step leads to.
    fn root(&self, step: usize) -> usize {
        let mut at = step;
        while let Some(into) = self.steps[at].into {
            at = into;
        }
        at
    }
}

/// How many edges the neighbours of a vertex lack between each other.
fn new_edges(near: &[FixedBitSet], v: Vertex) -> usize {
    let around = &near[v];
    let many = around.count_ones(..);
    if many > CROWDED {
        // Its table would be too large as yet.
        return many * many;
    }
    let has = around.ones().map(|a| near[a].intersection_count(around));
    (many * many.saturating_sub(1) - has.sum::<usize>()) / 2
}

/// A table that is joined to one over more vertices.
struct Joint {
    /// Where the combinations of its digits are in the wider one; those of its
    /// faults; those of all other vertices.
    digits: Vec<usize>,
    faults: Vec<usize>,
    others: Vec<usize>,
    /// Where its own combinations of faults and of digits are.
    own_faults: Vec<usize>,
    own_digits: Vec<usize>,
    /// From, to: digit by digit, the second is nowhere lower than the first.
    pairs: Vec<(u32, u32)>,
    /// By combination of faults, weight of each pair.
    weights: Vec<Vec<f64>>,
    levels: Vec<usize>,
    len: usize,
}

impl Joint {
    fn new(tree: &Tree, over: &[Vertex], table: &Table) -> Joint {
        let is = |digit: bool| -> Vec<Vertex> {
            let of = table.over.iter().filter(|v| tree.is_digit(**v) == digit);
            of.copied().collect()
        };
        let (faults, digits) = (is(false), is(true));
        let others: Vec<Vertex> = (over.iter().copied())
            .filter(|v| !table.over.contains(v))
            .collect();
        let levels: Vec<usize> = digits.iter().map(|d| tree.levels[*d]).collect();
        let mut pairs = vec![(0, 0)];
        let mut stride = 1;
        for l in levels.iter().map(|l| *l as u32) {
            pairs = (0..l)
                .flat_map(|to| (0..=to).map(move |from| (from * stride, to * stride)))
                .flat_map(|(a, b)| pairs.iter().map(move |(s, u)| (s + a, u + b)))
                .collect();
            stride *= l;
        }
        let own_faults = tree.at(&table.over, &faults);
        let own_digits = tree.at(&table.over, &digits);
        let weights = own_faults.iter().map(|at| {
            let pushed: Vec<f64> = own_digits.iter().map(|d| table.weights[at + d]).collect();
            by_pair(&levels, pushed)
        });
        Joint {
            weights: weights.collect(),
            digits: tree.at(over, &digits),
            faults: tree.at(over, &faults),
            others: tree.at(over, &others),
            own_faults,
            own_digits,
            pairs,
            levels,
            len: table.weights.len(),
        }
    }

    /// Calls `work` with each combination of faults and where the rest begins.
    fn each(&self, mut work: impl FnMut(usize, usize)) {
        for (i, f) in self.faults.iter().enumerate() {
            self.others.iter().for_each(|o| work(i, f + o));
        }
    }

    fn join(&self, v: &mut [f64]) {
        let mut to = vec![0.0; self.digits.len()];
        self.each(|i, base| {
            to.fill(0.0);
            for ((s, u), w) in self.pairs.iter().zip(&self.weights[i]) {
                to[*u as usize] += w * v[base + self.digits[*s as usize]];
            }
            for (at, x) in self.digits.iter().zip(&to) {
                v[base + at] = *x;
            }
        });
    }

    /// The transpose of [`Self::join`].
    fn back(&self, v: &mut [f64]) {
        let mut to = vec![0.0; self.digits.len()];
        self.each(|i, base| {
            to.fill(0.0);
            for ((s, u), w) in self.pairs.iter().zip(&self.weights[i]) {
                to[*s as usize] += w * v[base + self.digits[*u as usize]];
            }
            for (at, x) in self.digits.iter().zip(&to) {
                v[base + at] = *x;
            }
        });
    }

    /// What the others say of the table itself, from the weights before it was
    /// joined and what is said of those after.
    fn of_part(&self, before: &[f64], back: &[f64]) -> Vec<f64> {
        let mut sums = vec![vec![0.0; self.pairs.len()]; self.faults.len()];
        self.each(|i, base| {
            for ((s, u), sum) in self.pairs.iter().zip(&mut sums[i]) {
                *sum +=
                    before[base + self.digits[*s as usize]] * back[base + self.digits[*u as usize]];
            }
        });
        let mut out = vec![0.0; self.len];
        for (at, sums) in self.own_faults.iter().zip(sums) {
            let pushed = by_push(&self.levels, sums);
            for (d, p) in self.own_digits.iter().zip(pushed) {
                out[at + d] = p;
            }
        }
        out
    }
}
