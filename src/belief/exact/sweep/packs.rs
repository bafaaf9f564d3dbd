//! Packs: faults that push few digits, gone over in the space of these alone.

use std::borrow::Cow;
use std::cmp::Reverse;

use super::{Run, Step, Sweep};
use crate::belief::exact::blocks::Block;
use crate::belief::exact::blocks::WIDE;
use crate::belief::exact::digits::{Variable, digits};
use crate::belief::exact::model::Model;
use crate::belief::exact::space::{Space, add};
use crate::belief::exact::sums::Whole;

/// Puts units of faults together: the widest first, each where it adds least
/// to the cost of a sweep, or by itself.
pub(super) fn packs<'m>(model: &Model, mut units: Vec<&[&'m Variable]>) -> Vec<Vec<&'m Variable>> {
    // Moving weights in and out, and the products.
    let cost = |digits: u64| match model.size(digits) {
        (n, pairs) if n <= WIDEST => 6.0 + 1.5 * pairs as f64 / n as f64,
        _ => f64::INFINITY,
    };
    units.sort_by_key(|u| Reverse(digits(u).count_ones()));
    let mut packs: Vec<(u64, f64, Vec<&Variable>)> = Vec::new();
    for unit in units {
        let own = digits(unit);
        let best = packs
            .iter_mut()
            .map(|p| (cost(p.0 | own) - p.1, p))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((more, pack)) if more < cost(own) => {
                pack.0 |= own;
                pack.1 += more;
                pack.2.extend(unit);
            }
            _ => packs.push((own, cost(own), unit.to_vec())),
        }
    }
    packs.into_iter().map(|p| p.2).collect()
}

/// Most combinations of the digits of a pack.
pub(super) const WIDEST: usize = 64;

/// Weights that are moved side by side.
pub(super) const LANES: usize = 8;

/// The weights of `LANES` combinations of the other digits, by combination of
/// the pack's own.
pub(super) type Rows<const N: usize> = [[f64; LANES]; N];

/// Wide ones have no place on the stack.
pub(super) fn rows<const N: usize>() -> Box<Rows<N>> {
    let rows = vec![[0.0; LANES]; N].into_boxed_slice();
    rows.try_into()
        .unwrap_or_else(|_| Box::new([[0.0; LANES]; N]))
}

/// Faults that push few digits, gone over in the space of these alone.
///
/// To the rest they are one distribution over the combinations of their own
/// digits, and what they push a state to is the greater of the two, digit by
/// digit. Its operators therefore have one weight for each pair of
/// combinations of which the second is nowhere lower than the first.
pub(in crate::belief::exact) struct Pack<'m> {
    pub(super) inside: Inside<'m>,
    /// Where the combinations of its digits are in the whole space, and those
    /// of all others.
    pub(super) own: Vec<u32>,
    pub(super) others: Vec<u32>,
    /// From and to.
    pub(super) pairs: Vec<(u16, u16)>,
    /// Weight of each pair.
    pub(super) all: Vec<f64>,
    /// The most that may be lacking in these.
    pub(super) left_out: Option<Vec<f64>>,
}

/// How the faults of a pack are gone through.
pub(super) enum Inside<'m> {
    Alone(Sweep<'m>, Gone),
    Together(&'m Block, Space),
}

/// What becomes of a pack if none of its faults is there now.
pub(super) enum Gone {
    /// None that was ever there can be gone: the weight of none being there.
    Never(f64),
    /// Weight of each pair.
    May(Vec<f64>),
}

/// What becomes of a pack if none of some faults is there now.
pub(super) enum Left<'p> {
    /// Nothing that pushes: the weight of that.
    Share(f64),
    /// Weight of each pair.
    Pairs(Cow<'p, [f64]>),
}

impl Inside<'_> {
    /// The digits that are pushed.
    pub(super) fn space(&self) -> &Space {
        match self {
            Inside::Alone(sweep, _) => &sweep.space,
            Inside::Together(_, space) => space,
        }
    }
}

impl<'m> Pack<'m> {
    /// `whole`: it has all faults of its items.
    pub(super) fn new(
        model: &Model,
        outer: &Space,
        faults: Vec<&'m Variable>,
        whole: bool,
    ) -> Self {
        let set = digits(&faults);
        let own = outer.digits.iter().copied().filter(|d| set >> d & 1 == 1);
        let space = Space::new(&model.digits, own.collect());
        let mut runs = Vec::new();
        if whole {
            let mut first = 0;
            for item in faults.chunk_by(|a, b| a.item == b.item) {
                let last = first + item.len() - 1;
                let of = Whole::Item(item[0].item);
                runs.push(Run { first, last, of });
                first = last + 1;
            }
        }
        let mut start = vec![0.0; space.states];
        start[0] = 1.0;
        let gone = if faults.iter().all(|f| f.lasts()) {
            Gone::Never(faults.iter().map(|f| f.absent).product())
        } else {
            let mut v = start.clone();
            let mut room = start.clone();
            for f in &faults {
                let was = v.clone();
                v.iter_mut().for_each(|x| *x *= f.absent);
                for life in f.lives.iter().filter(|l| !l.now) {
                    room.copy_from_slice(&was);
                    let keep = space.push(&mut room, &f.pushes, life.present);
                    add(&mut v, &room, keep * life.weight);
                }
            }
            Gone::May(space.by_pair(&v))
        };
        let steps = faults.into_iter().map(Step::Fault).collect();
        let sweep = Sweep::new(space, start, steps, runs);
        let all = sweep.space.by_pair(sweep.result());
        Pack::of(model, outer, Inside::Alone(sweep, gone), all)
    }

    /// The faults of a block.
    pub(super) fn tied(model: &Model, outer: &Space, block: &'m Block) -> Self {
        let own = outer.digits.iter().copied();
        let own = own.filter(|d| block.digits >> d & 1 == 1).collect();
        let space = Space::new(&model.digits, own);
        let all = space.by_pair(&block.without(&space, &[0])[0]);
        let left_out = block.left_out(&space).map(|v| space.by_pair(&v));
        Pack {
            left_out,
            ..Pack::of(model, outer, Inside::Together(block, space), all)
        }
    }

    pub(super) fn of(model: &Model, outer: &Space, inside: Inside<'m>, all: Vec<f64>) -> Self {
        let own = &inside.space().digits;
        let mut pairs = vec![(0, 0)];
        let mut stride = 1;
        for d in own {
            let levels = model.digits[*d].levels as u16;
            pairs = (0..levels)
                .flat_map(|b| (0..=b).map(move |a| (a * stride, b * stride)))
                .flat_map(|(a, b)| pairs.iter().map(move |(s, u)| (s + a, u + b)))
                .collect();
            stride *= levels;
        }
        let others = outer.digits.iter().copied().filter(|d| !own.contains(d));
        Pack {
            own: outer.places(own.iter().copied()),
            others: outer.places(others),
            inside,
            pairs,
            all,
            left_out: None,
        }
    }

    /// What becomes of it if no fault of a whole is there now, for several.
    pub(super) fn without(&self, wholes: impl Iterator<Item = Whole>) -> Vec<Left<'_>> {
        match &self.inside {
            Inside::Alone(sweep, gone) => wholes
                .map(|whole| match gone {
                    _ if !sweep.steps.iter().any(|s| s.has(whole)) => {
                        Left::Pairs(Cow::from(&self.all))
                    }
                    Gone::Never(absent) => Left::Share(*absent),
                    Gone::May(gone) => Left::Pairs(Cow::from(gone)),
                })
                .collect(),
            Inside::Together(block, space) => {
                let sets: Vec<u64> = wholes.map(|whole| block.of(whole)).collect();
                let left = block.without(space, &sets);
                left.iter()
                    .map(|v| Left::Pairs(space.by_pair(v).into()))
                    .collect()
            }
        }
    }

    /// Puts into `after` what `before` becomes, with these weights of the pairs.
    pub(super) fn push(&self, before: &[f64], after: &mut [f64], by: &[f64]) {
        self.moved(before, after, by, |(s, u)| (s, u));
    }

    /// The transpose, with these weights of the pairs.
    pub(super) fn pull(&self, after: &[f64], by: &[f64]) -> Vec<f64> {
        let mut before = vec![0.0; after.len()];
        self.moved(after, &mut before, by, |(s, u)| (u, s));
        before
    }

    pub(super) fn moved(
        &self,
        v: &[f64],
        out: &mut [f64],
        by: &[f64],
        turned: impl Fn((u16, u16)) -> (u16, u16),
    ) {
        if self.own.len() <= WIDEST {
            self.moved_in::<WIDEST>(v, out, by, turned);
        } else {
            self.moved_in::<WIDE>(v, out, by, turned);
        }
    }

    pub(super) fn moved_in<const N: usize>(
        &self,
        v: &[f64],
        out: &mut [f64],
        by: &[f64],
        turned: impl Fn((u16, u16)) -> (u16, u16),
    ) {
        let (mut from, mut to) = (rows::<N>(), rows::<N>());
        for others in self.others.chunks(LANES) {
            self.gather(v, others, &mut from);
            to.fill([0.0; LANES]);
            for (pair, w) in self.pairs.iter().zip(by) {
                let (s, u) = turned(*pair);
                let from = &from[usize::from(s) % N];
                let to = &mut to[usize::from(u) % N];
                for l in 0..LANES {
                    to[l] += w * from[l];
                }
            }
            for (own, to) in self.own.iter().zip(to.iter()) {
                for (other, x) in others.iter().zip(to) {
                    out[(own + other) as usize] = *x;
                }
            }
        }
    }

    /// The likelihood of everything outside by what the pack pushes to.
    pub(super) fn contract(&self, ahead: &[f64], back: &[f64]) -> Vec<f64> {
        if self.own.len() <= WIDEST {
            self.contract_in::<WIDEST>(ahead, back)
        } else {
            self.contract_in::<WIDE>(ahead, back)
        }
    }

    pub(super) fn contract_in<const N: usize>(&self, ahead: &[f64], back: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.pairs.len()];
        let (mut from, mut to) = (rows::<N>(), rows::<N>());
        for others in self.others.chunks(LANES) {
            self.gather(ahead, others, &mut from);
            self.gather(back, others, &mut to);
            for ((s, u), sum) in self.pairs.iter().zip(&mut sums) {
                let a = &from[usize::from(*s) % N];
                let b = &to[usize::from(*u) % N];
                let mut part = [0.0; LANES / 2];
                for l in 0..LANES / 2 {
                    part[l] = a[l] * b[l] + a[l + LANES / 2] * b[l + LANES / 2];
                }
                *sum += part.iter().sum::<f64>();
            }
        }
        self.inside.space().by_push(sums)
    }

    /// Lanes without a combination of their own are zero.
    pub(super) fn gather<const N: usize>(&self, v: &[f64], others: &[u32], rows: &mut Rows<N>) {
        for (own, row) in self.own.iter().zip(rows) {
            *row = [0.0; LANES];
            for (other, x) in others.iter().zip(row) {
                *x = v[(own + other) as usize];
            }
        }
    }
}
