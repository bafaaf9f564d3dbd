//! Bench conditions, and what it takes to bring a device from one to another.

/// The bench.
#[derive(Clone, Debug, Default)]
pub struct Bench {
    /// Conditions a device can be in.
    pub conditions: Vec<Condition>,
    /// Cautions: identifier and text.
    pub cautions: Vec<(String, String)>,
    /// History questions: identifier and text.
    pub history: Vec<(String, String)>,
}

/// A state a device can be in on the bench.
#[derive(Clone, Debug)]
pub struct Condition {
    /// Identifier.
    pub id: String,
    /// Name on screens.
    pub name: String,
    /// Minutes to get there.
    pub enter: f64,
    /// Minutes to get back.
    pub leave: f64,
    /// Conditions that must hold first, by index.
    pub needs: Vec<usize>,
    /// Conditions that cannot hold at the same time, by index.
    pub excludes: Vec<usize>,
}

/// The conditions a device is in, as a set of indexes into [`Bench::conditions`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct BenchState(u64);

impl BenchState {
    /// Whether a condition holds.
    pub fn has(self, condition: usize) -> bool {
        self.0 >> condition & 1 == 1
    }
    /// The conditions that hold.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        (0..64).filter(move |i| self.has(*i))
    }
    fn with(self, condition: usize) -> Self {
        BenchState(self.0 | 1 << condition)
    }
}

impl FromIterator<usize> for BenchState {
    fn from_iter<I: IntoIterator<Item = usize>>(i: I) -> Self {
        i.into_iter().fold(BenchState(0), BenchState::with)
    }
}

/// A change of bench condition.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Move {
    /// The state afterwards.
    pub to: BenchState,
    /// Conditions to undo, by index.
    pub leave: Vec<usize>,
    /// Conditions to bring about, by index.
    pub enter: Vec<usize>,
    /// What both take together.
    pub minutes: f64,
}

impl Bench {
    /// The conditions with all that they need.
    pub fn closure(&self, conditions: &[usize]) -> Vec<usize> {
        let mut out: Vec<usize> = Vec::new();
        let mut todo = conditions.to_vec();
        while let Some(c) = todo.pop() {
            if !out.contains(&c) {
                out.push(c);
                todo.extend(&self.conditions[c].needs);
            }
        }
        out.sort_unstable();
        out
    }

    /// The cheapest way from a state to one in which `conditions` hold: only
    /// what clashes is undone, the device stays open if it is open.
    pub fn reach(&self, from: BenchState, conditions: &[usize]) -> Move {
        let target: BenchState = self.closure(conditions).into_iter().collect();
        let clashes = |c: usize| {
            self.conditions[c]
                .excludes
                .iter()
                .any(|x| target.has(*x))
        };
        let mut stay: Vec<usize> = from.iter().filter(|c| !clashes(*c)).collect();
        // What loses its footing has to be undone too.
        loop {
            let before = stay.len();
            let now: BenchState = stay.iter().copied().collect();
            stay.retain(|c| {
                self.conditions[*c]
                    .needs
                    .iter()
                    .all(|n| now.has(*n) || target.has(*n))
            });
            if stay.len() == before {
                break;
            }
        }
        let stay: BenchState = stay.into_iter().collect();
        let leave: Vec<usize> = from.iter().filter(|c| !stay.has(*c)).collect();
        let enter: Vec<usize> = target.iter().filter(|c| !stay.has(*c)).collect();
        let minutes = leave.iter().map(|c| self.conditions[*c].leave).sum::<f64>()
            + enter.iter().map(|c| self.conditions[*c].enter).sum::<f64>();
        Move {
            to: stay.iter().chain(target.iter()).collect(),
            leave,
            enter,
            minutes,
        }
    }
}
