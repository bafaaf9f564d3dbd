//! What was solved for lines. It is asked for at every entry of every job, by all
//! models of the same rules, and takes far longer than to look it up.

use std::collections::HashMap;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

use super::LineInfo;
use super::built::{Built, Share, Ways};
use super::slip::Usual;
use crate::circuit::calibrate::CalibrateError;
use crate::circuit::meter::Meter;
use crate::circuit::solve::SolveError;
use crate::line::{Forecast, GoodReading, Last, Probing, Survey};
use crate::rulebase::Line;

/// What was solved for the lines of some rules; kept with the rules
/// ([`Kept`](crate::rulebase::Kept)).
#[derive(Debug, Default)]
pub(in crate::model) struct Solved {
    pub(super) forecasts: Memo<Forecast>,
    pub(super) healthy: Memo<Usual>,
    pub(super) surveys: Memo<Ways<Arc<Survey>>>,
    pub(super) last: Last,
}

/// A line, a way of measuring, and for a resistance perhaps one of the ranges of the
/// meter.
#[derive(Clone, PartialEq, Eq, Hash)]
struct Key {
    line: String,
    probing: Probing,
    range: Option<usize>,
}

/// What was solved under a key: for a line with these parts, bent to these readings of
/// good ones, and this meter.
struct One<T> {
    line: Line,
    shares: Vec<Share>,
    bend: Vec<GoodReading>,
    meter: Arc<Meter>,
    what: Arc<T>,
}

/// What was solved, in two generations: where the younger is full, the elder goes.
pub(super) struct Memo<T>(Mutex<[Generation<T>; 2]>);

struct Generation<T> {
    of: HashMap<Key, Vec<One<T>>>,
    len: usize,
}

/// So many are kept in a generation: a device has some hundred ways of measuring its
/// lines, and jobs of several kinds of device may be worked on by turns.
const KEPT: usize = 1024;

impl<T> Memo<T> {
    /// What was solved for a line bent to good readings, a meter and a way of
    /// measuring, for a resistance perhaps in one of the meter's ranges; solved now if
    /// it was not yet.
    pub(super) fn get(
        &self,
        info: &LineInfo,
        bend: &[GoodReading],
        (meter, probing, range): (&Arc<Meter>, Probing, Option<usize>),
        solve: impl FnOnce(&[Built]) -> Result<T, SolveError>,
    ) -> Result<Arc<T>, CalibrateError> {
        let key = Key {
            line: info.line.id.clone(),
            probing,
            range,
        };
        // Not held while one is worked out: others may be at work on theirs.
        let known = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let same = |one: &&One<T>| {
            one.bend == bend
                && one.shares == info.shares
                && one.meter == *meter
                && one.line == info.line
        };
        let found = |g: &Generation<T>| g.of.get(&key)?.iter().find(same).map(|o| o.what.clone());
        if let Some(what) = known().iter().find_map(found) {
            return Ok(what);
        }
        let what = Arc::new(solve(&info.bent(bend)?)?);
        let mut known = known();
        if known[0].len >= KEPT {
            known.swap(0, 1);
            known[0] = Generation::default();
        }
        known[0].len += 1;
        known[0].of.entry(key).or_default().push(One {
            line: info.line.clone(),
            shares: info.shares.clone(),
            bend: bend.to_vec(),
            meter: meter.clone(),
            what: what.clone(),
        });
        Ok(what)
    }
}

impl<T> Default for Generation<T> {
    fn default() -> Self {
        Generation {
            of: HashMap::new(),
            len: 0,
        }
    }
}

impl<T> Default for Memo<T> {
    fn default() -> Self {
        Memo(Mutex::default())
    }
}

impl<T> fmt::Debug for Memo<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Memo")
    }
}
