//! The cheapest plan, as near as the effort allows, with proof of how near.
//!
//! Looking ahead a step, two, three …: at every moment each test and remedy is
//! tried, its outcomes weighed, and the cheapest taken; where the look ends, a
//! plan without tests bounds the cost from above, being told the cause bounds
//! it from below ([`super::bounds`]). A step whose lower bound is above what
//! another costs is not gone into. The order in which results came in does not
//! matter, so a moment that is reached on several ways is worked out once. A
//! small problem is looked through to its end, which makes the plan the
//! cheapest there is.

mod bounds;
mod effort;

pub use bounds::Bounds;
pub use effort::Effort;

use std::cell::OnceCell;
use std::collections::HashMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};

use super::bounds::{Repair, Repairs, Told};
use super::first::{self, ComesTo, Standing, Weighed};
use super::gain::surprise;
use super::problem::{Price, Problem, Step, Trial};
use crate::bench::BenchState;

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// First steps with the cost of the whole if each is taken: the one to take,
    /// then the cheapest first. Those that cost more than the first few are priced by a look one
    /// step ahead.
    pub steps: Vec<(Step, Bounds)>,
    /// Cost of the plan.
    pub cost: Bounds,
    /// How many steps ahead were looked at.
    pub depth: usize,
}

/// First steps whose cost is worked out even where another is cheaper.
const SHOWN: usize = 3;
/// Beliefs that agree to this are one.
const SAME: f64 = 1e-13;
/// Weight, as a share of the whole, that is not worth a look.
const NOTHING: f64 = 1e-14;

/// One moment of a plan: what is believed, how the device stands, what was done
/// since the plan began.
#[derive(Clone, Debug)]
pub struct Moment {
    /// Weights of the worlds.
    pub belief: Vec<f64>,
    /// Their sum: the probability that the plan comes here.
    pub mass: f64,
    /// Conditions that the device is in.
    pub state: BenchState,
    /// Tests by index, remedies after them; sorted.
    done: Vec<u16>,
}

struct Known {
    depth: usize,
    per_mass: Bounds,
}

/// A search. Moments that were worked out are kept while it lives.
pub struct Search<'a> {
    problem: &'a Problem<'a>,
    effort: Effort,
    /// Once it is asked for.
    told: Option<Told>,
    repairs: Repairs,
    known: HashMap<u64, Known>,
    /// By test and world: uncertainty of the outcome, bits; once it is asked for.
    noise: OnceCell<Vec<Vec<f64>>>,
    work: usize,
    whole: f64,
}

/// The effort is spent.
struct Spent;

/// Steps with their cost, the cheapest first, and a lower bound of all there
/// are; none where the effort did not suffice for all.
struct Looked {
    steps: Vec<(Step, Bounds)>,
    low: Option<f64>,
}

impl<'a> Search<'a> {
    /// For a problem.
    #[must_use]
    pub fn new(problem: &'a Problem<'a>, effort: Effort) -> Self {
        Search {
            problem,
            effort,
            told: None,
            repairs: Repairs::new(problem),
            known: HashMap::new(),
            noise: OnceCell::new(),
            work: 0,
            whole: 1.0,
        }
    }

    /// The plan from a moment on. Its costs are times the weight of the moment.
    pub fn plan(&mut self, start: &Moment) -> Found {
        self.whole = start.mass;
        self.work = 0;
        let all = self.problem.trials.len() + self.problem.mends.len();
        let mut found = Found {
            steps: Vec::new(),
            cost: Bounds {
                low: 0.0,
                ..Bounds::exactly(f64::INFINITY, 0.0)
            },
            depth: 0,
        };
        let last = self.effort.depth.min(all + 1);
        // What is to be looked through to the end is not looked at before.
        let first = if self.effort.work == usize::MAX {
            last
        } else {
            1
        };
        for depth in first..=last {
            // The first look prices every step and is always finished; later
            // ones begin with what was best before.
            let order: Vec<Step> = found.steps.iter().map(|s| s.0).collect();
            let shown = if depth == 1 { self.effort.first } else { SHOWN };
            let Looked { mut steps, low } = self.look(start, depth, shown, &order, first::HANDY);
            steps.retain(|s| s.1.high.is_finite());
            if low.is_some() {
                found.depth = depth;
            }
            // Steps that were not gone into stay as they were priced before.
            let new: Vec<Step> = steps.iter().map(|s| s.0).collect();
            let before = std::mem::take(&mut found.steps).into_iter();
            steps.extend(before.filter(|s| !new.contains(&s.0)));
            steps.sort_by(|a, b| a.1.high.total_cmp(&b.1.high));
            found.steps = steps;
            let best = found.steps.first().map_or(found.cost, |s| s.1);
            // A proof stays one.
            let low = low.unwrap_or(0.0).max(found.cost.low).min(best.high);
            found.cost = Bounds { low, ..best };
            if found.depth < depth || found.cost.is_exact() {
                break;
            }
        }
        self.settle(start, &mut found.steps);
        found
    }

    /// Puts the step first that is to be taken of those that cost about the same.
    fn settle(&self, m: &Moment, steps: &mut [(Step, Bounds)]) {
        let p = self.problem;
        if !matches!(steps.first(), Some((Step::Trial(_) | Step::Mend(_), _))) {
            return;
        }
        let weighed = |(step, cost): &(Step, Bounds)| {
            // The search asks neither what is known before nor what works now:
            // that rests on more than the worlds it goes through.
            let (handy, comes_to) = match *step {
                Step::GiveUp => return None,
                Step::Trial(i) => {
                    let told = ComesTo::Told {
                        bits: self.bits(m, i),
                        likeliest: 0.0,
                        look: false,
                        control: false,
                    };
                    (p.trials[i].handy, told)
                }
                Step::Mend(i) => (p.mends[i].handy, ComesTo::Mended(0.0)),
            };
            Some(Weighed {
                cost: cost.high,
                minutes: 0.0,
                handy,
                comes_to,
            })
        };
        let open = Standing {
            works: false,
            loss: f64::INFINITY,
        };
        let within = steps[0].1.high * (1.0 + first::HANDY) * (1.0 + first::TIE);
        let near = steps.partition_point(|s| s.1.high <= within);
        let (at, near): (Vec<usize>, Vec<Weighed>) = (steps[..near].iter().enumerate())
            .filter_map(|(at, s)| Some((at, weighed(s)?)))
            .unzip();
        if let Some(first) = first::first(&near, open) {
            steps[..=at[first]].rotate_right(1);
        }
    }

    /// The cheapest order of remedies from a moment on, without a test, and
    /// what it costs, times the weight of the moment.
    pub fn remedies(&mut self, m: &Moment) -> (Vec<Step>, f64) {
        let repair = self.untested(m);
        let order = self.repairs.order().iter().map(|i| Step::Mend(*i));
        (order.collect(), repair.cost)
    }

    /// Bounds of the cost from a moment on, times its weight.
    fn value(&mut self, m: &Moment, depth: usize) -> Result<Bounds, Spent> {
        if m.mass <= NOTHING * self.whole {
            let loss = self.problem.wrong(&m.belief) * self.problem.give_up;
            return Ok(Bounds {
                low: 0.0,
                ..Bounds::exactly(loss, 0.0)
            });
        }
        // One step ahead no moment is reached on two ways.
        let key = (self.effort.depth > 1).then(|| m.key());
        if let Some(k) = key.and_then(|key| self.known.get(&key))
            && (k.depth >= depth || k.per_mass.is_exact())
        {
            return Ok(k.per_mass.times(m.mass));
        }
        let bounds = if depth == 0 {
            if self.work >= self.effort.work {
                return Err(Spent);
            }
            self.work += m.belief.len();
            let repair = self.untested(m);
            // Without proof it counts as if that were the cheapest.
            let low = match self.effort.proof {
                true => self.low(m).min(repair.cost),
                false => repair.cost,
            };
            Bounds {
                low,
                high: repair.cost,
                spent: repair.spent,
            }
        } else {
            let looked = self.look(m, depth, 1, &[], 0.0);
            let low = looked.low.ok_or(Spent)?;
            let best = looked.steps.first().ok_or(Spent)?.1;
            Bounds {
                low: low.min(best.high),
                ..best
            }
        };
        let known = Known {
            depth,
            per_mass: bounds.times(1.0 / m.mass),
        };
        if let Some(key) = key {
            self.known.insert(key, known);
        }
        Ok(bounds)
    }

    /// Every step from a moment on with its cost, the cheapest first, as far as
    /// the effort allows. Those above the `shown`-th are left out, unless they
    /// are within a share `near` of the cheapest. Those in `order` are tried
    /// before others.
    fn look(
        &mut self,
        m: &Moment,
        depth: usize,
        shown: usize,
        order: &[Step],
        near: f64,
    ) -> Looked {
        let unmended = self.problem.wrong(&m.belief) * self.problem.give_up;
        let give_up = (Step::GiveUp, Bounds::exactly(unmended, 0.0));
        let mut steps = Vec::new();
        let mut low = unmended;
        let (mut tries, left_out) = self.tries(m, self.effort.gone_into(shown));
        if self.effort.proof {
            steps.push(give_up);
            for step in left_out {
                low = low.min(self.low_if(m, step));
            }
        } else {
            low = 0.0;
        }
        let before = |step: &Step| order.iter().position(|o| o == step).unwrap_or(usize::MAX);
        tries.sort_by_key(before);
        for step in tries {
            let worst = steps
                .get(shown.saturating_sub(1))
                .map_or(f64::INFINITY, |s| s.1.high)
                .max(steps.first().map_or(0.0, |s| s.1.high) * (1.0 + near));
            let Ok(cost) = self.arm(m, step, depth, worst) else {
                return Looked { steps, low: None };
            };
            low = low.min(cost.low);
            if cost.low < worst {
                let at = steps.partition_point(|s| s.1.high <= cost.high);
                steps.insert(at, (step, cost));
            }
        }
        if !self.effort.proof {
            let at = steps.partition_point(|s| s.1.high < unmended);
            if at == 0 {
                // A step may be cheaper than one step ahead shows.
                steps.retain(|s| self.low_if(m, s.0) < unmended);
            }
            steps.insert(at, give_up);
        }
        Looked {
            steps,
            low: Some(low),
        }
    }

    /// Cost if a step is taken now. Where its lower bound passes `worst`, that
    /// alone is right.
    fn arm(&mut self, m: &Moment, step: Step, depth: usize, worst: f64) -> Result<Bounds, Spent> {
        let (price, children) = self.after(m, step);
        let mut cost = Bounds::exactly(price.counts * m.mass, price.paid * m.mass);
        // Without proof it does not pay to work out what is left at least.
        let lows = match self.effort.proof {
            true => self.lows(&children),
            false => vec![0.0; children.len()],
        };
        let mut rest: f64 = lows.iter().sum();
        for (child, told) in children.iter().zip(lows) {
            if cost.low + rest >= worst {
                break;
            }
            rest -= told;
            cost = cost.plus(self.value(child, depth - 1)?);
        }
        if cost.low + rest >= worst {
            cost.low += rest;
        }
        Ok(cost)
    }

    /// What can be tried at a moment, the most telling or mending for its cost
    /// first, and what is left out: beyond so many tests and so many remedies.
    fn tries(&self, m: &Moment, many: [usize; 2]) -> (Vec<Step>, Vec<Step>) {
        let p = self.problem;
        // Where all are gone into and nothing is proved, any order will do.
        let ranked = self.effort.proof || many[0] < p.trials.len();
        let mut trials: Vec<(f64, usize)> = (0..p.trials.len())
            .filter(|i| {
                let done = |i: usize| m.done.contains(&(i as u16));
                let first = p.trials[*i].after.iter().all(|a| done(*a));
                !done(*i) && first && !p.barred(Step::Trial(*i), m.state)
            })
            .map(|i| match ranked {
                // What lifts a gate tells little, but opens the way.
                _ if p.lifts(i, m.state) => (f64::INFINITY, i),
                true => {
                    let (price, _) = p.trial_price(i, m.state);
                    (self.bits(m, i) / price.counts.max(1e-9), i)
                }
                false => (1.0, i),
            })
            .collect();
        let mut mends: Vec<(f64, usize)> = (0..p.mends.len())
            .filter(|i| {
                !m.done.contains(&self.mend_place(*i)) && !p.barred(Step::Mend(*i), m.state)
            })
            .map(|i| {
                (
                    self.repairs.gain(i, &m.belief) / p.mend_price(i, m.state).0.counts.max(1e-9),
                    i,
                )
            })
            .collect();
        for worth in [&mut trials, &mut mends] {
            worth.retain(|x| x.0 > 0.0);
            worth.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        }
        let (trial, mend) = (
            |x: &(f64, usize)| Step::Trial(x.1),
            |x: &(f64, usize)| Step::Mend(x.1),
        );
        let (gone_into, left_out) = trials.split_at(many[0].min(trials.len()));
        let (mends, others) = mends.split_at(many[1].min(mends.len()));
        (
            (gone_into.iter().map(trial).chain(mends.iter().map(mend))).collect(),
            (left_out.iter().map(trial).chain(others.iter().map(mend))).collect(),
        )
    }

    /// Lower bound of the cost if a step is taken now, times the weight of the
    /// moment, without going into it.
    fn low_if(&mut self, m: &Moment, step: Step) -> f64 {
        let p = self.problem;
        match step {
            Step::GiveUp => p.wrong(&m.belief) * p.give_up,
            Step::Trial(i) => {
                // The bound is linear: over all outcomes it is as if none were seen.
                let (price, state) = p.trial_price(i, m.state);
                let mends = self.mends_of(m);
                price.counts * m.mass + dot(&m.belief, self.told(state, mends))
            }
            Step::Mend(_) => {
                let (price, then) = self.after(m, step);
                price.counts * m.mass + self.lows(&then).iter().sum::<f64>()
            }
        }
    }

    /// Price of a step, and the moments that it may lead to: one for each
    /// outcome of a test, for a remedy the one in which it did not mend all.
    pub fn after(&self, m: &Moment, step: Step) -> (Price, Vec<Moment>) {
        let p = self.problem;
        let moment = |belief: Vec<f64>, state, place| {
            let mut done = m.done.clone();
            let at = done.partition_point(|d| *d < place);
            done.insert(at, place);
            Moment {
                mass: belief.iter().sum(),
                belief,
                state,
                done,
            }
        };
        match step {
            Step::GiveUp => {
                let counts = p.wrong(&m.belief) / m.mass * p.give_up;
                (Price { counts, paid: 0.0 }, Vec::new())
            }
            Step::Trial(i) => {
                let (price, state) = p.trial_price(i, m.state);
                let outcomes = 0..p.trials[i].chances.len();
                let to = outcomes.map(|o| {
                    let state = p.turned(i, o, state);
                    moment(p.after_trial(i, o, &m.belief), state, i as u16)
                });
                (price, to.collect())
            }
            Step::Mend(i) => {
                let (price, state) = p.mend_price(i, m.state);
                let to = moment(p.after_mend(i, &m.belief), state, self.mend_place(i));
                (price, vec![to])
            }
        }
    }

    /// The plan without tests from a moment on, times its weight.
    fn untested(&mut self, m: &Moment) -> Repair {
        let mends = self.mends_of(m);
        let done = |i| mends.contains(&(i as u16));
        (self.repairs).cost(self.problem, &m.belief, m.state, done)
    }

    fn mend_place(&self, i: usize) -> u16 {
        (self.problem.trials.len() + i) as u16
    }

    /// Remedies that were done, by index.
    fn mends_of(&self, m: &Moment) -> Vec<u16> {
        let trials = self.problem.trials.len() as u16;
        let places = m.done.iter().filter(|d| **d >= trials);
        places.map(|d| d - trials).collect()
    }

    /// What each world costs at least where these remedies are done.
    fn told(&mut self, state: BenchState, mends: Vec<u16>) -> &[f64] {
        let p = self.problem;
        let told = self.told.get_or_insert_with(|| Told::new(p));
        told.by_world(p, state, mends)
    }

    /// Lower bound of the cost from a moment on, times its weight.
    fn low(&mut self, m: &Moment) -> f64 {
        let mends = self.mends_of(m);
        dot(&m.belief, self.told(m.state, mends))
    }

    /// The same for what one step may lead to.
    fn lows(&mut self, children: &[Moment]) -> Vec<f64> {
        let mut of = |c: &Moment| {
            let mends = self.mends_of(c);
            dot(&c.belief, self.told(c.state, mends))
        };
        children.iter().map(&mut of).collect()
    }

    /// What a test is expected to tell, in bits.
    fn bits(&self, m: &Moment, i: usize) -> f64 {
        let mean = |row: &[f64]| dot(row, &m.belief) / m.mass;
        let outcomes = self.problem.trials[i].chances.iter();
        let outer: f64 = outcomes.map(|row| surprise(mean(row))).sum();
        let noise = self.noise.get_or_init(|| {
            let worlds = || 0..self.problem.sizes.len();
            let of = |t: &Trial, w| t.chances.iter().map(|row| surprise(row[w])).sum();
            let trials = self.problem.trials.iter();
            trials
                .map(|t| worlds().map(|w| of(t, w)).collect())
                .collect()
        });
        (outer - mean(&noise[i])).max(0.0)
    }
}

impl Moment {
    /// The moment in which a plan begins.
    #[must_use]
    pub fn start(belief: &[f64], state: BenchState) -> Self {
        Moment {
            belief: belief.to_vec(),
            mass: belief.iter().sum(),
            state,
            done: Vec::new(),
        }
    }

    /// What was done since the plan began: tests by index, remedies after them.
    #[must_use]
    pub fn done(&self) -> &[u16] {
        &self.done
    }

    fn key(&self) -> u64 {
        let mut h = DefaultHasher::new();
        self.state.hash(&mut h);
        self.done.hash(&mut h);
        for b in &self.belief {
            ((b / self.mass / SAME).round() as i64).hash(&mut h);
        }
        h.finish()
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
