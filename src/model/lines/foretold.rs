//! What a reading is going to be, cut where it tells the suspects apart.
//!
//! The words of a test (as it should, lower, higher, over limit) are for people.
//! Two suspects that would both read lower, one a little and one much, are told
//! apart by the number, and a plan made from words alone would not know. So the
//! values of each word are cut into ranges: finely at first, where what the
//! suspects would read lies close together, and then neighbours are put together
//! again as long as next to nothing of what the reading tells is lost
//! (agglomerative information bottleneck: Slonim and Tishby 1999).

use std::sync::Arc;

use typed_index_collections::TiSlice;

use super::super::{Model, TestInfo};
use super::LineInfo;
use super::ranges::{Range, by_word, ends, in_words, ranges, words};
use super::rows::{Alternatives, Rows, add, mixed};
use super::slip::Shows;
use super::taken::Taken;
use super::together::by_surveys;
use crate::belief::{FaultId, Finding};
use crate::circuit::calibrate::CalibrateError;
use crate::circuit::joint;
use crate::circuit::solve::SolveError;
use crate::line::{Cuts, GoodReading, Survey, alone};
use crate::plan::TestId;

/// How many ranges there are before any are put together, beside those that the
/// words make.
const FINE: usize = 20;
/// How many are left at most.
const MOST: usize = 7;
/// Share of what a reading tells that may be lost by putting ranges together.
const LOST: f64 = 0.02;
/// Faults of a line that are this unlikely all together are not worth the look.
const UNLIKELY: f64 = 0.01;

/// What a test of a line is going to show.
#[derive(Clone, Debug)]
pub struct Foretold {
    /// With an outcome for each of the ranges.
    pub finding: Arc<Finding>,
    /// In order.
    pub ranges: Vec<Range>,
}

/// Places that part the weight of what is known to lie at some others into
/// `FINE` shares, each half-way between two of those.
fn parting(mut weighted: Vec<(f64, f64)>) -> Vec<f64> {
    weighted.retain(|x| x.1 > 0.0);
    weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = weighted.iter().map(|x| x.1).sum();
    let share = |sum: f64| (sum / total * FINE as f64) as usize;
    let mut sum = 0.0;
    let mut out = Vec::new();
    for two in weighted.windows(2) {
        let ((a, weight), (b, next)) = (two[0], two[1]);
        sum += weight;
        // Before and after both, so that a heavy one is parted from its neighbours.
        if share(sum) > share(sum - weight) || share(sum + next) > share(sum) {
            out.push(0.5 * (a + b));
        }
    }
    out
}

/// Readings at which a sign of a hazard begins, with the leads either way round: an
/// end of ranges, so that a plan knows what a reading bars.
fn signs(test: &TestInfo) -> Vec<f64> {
    let below = test.raises.iter().filter_map(|s| s.below);
    below.flat_map(|b| [-b, b]).collect()
}

/// What ranges tell of the suspects, in bits: `rows` have the chance of each
/// range with each suspect, which weigh `weights`.
fn bits(rows: &[Vec<f64>], weights: &[f64], range: &[usize]) -> f64 {
    let chance = |row: &[f64]| range.iter().map(|k| row[*k]).sum::<f64>();
    let all: Vec<(f64, f64)> = (rows.iter().zip(weights))
        .map(|(row, w)| (chance(row), *w))
        .collect();
    let mean: f64 = all.iter().map(|(p, w)| p * w).sum();
    let told = all.iter().filter(|x| x.0 > 0.0);
    told.map(|(p, w)| w * p * (p / mean).log2()).sum()
}

/// Puts neighbours of one kind (a word, on one side of each sign) together while
/// next to nothing is lost: ranges as lists of places.
fn put_together(rows: &[Vec<f64>], weights: &[f64], kinds: &[usize]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = (0..kinds.len()).map(|k| vec![k]).collect();
    let mut told: Vec<f64> = groups.iter().map(|g| bits(rows, weights, g)).collect();
    let mut spare = LOST * told.iter().sum::<f64>();
    let least = {
        let mut all = kinds.to_vec();
        all.dedup();
        all.len()
    };
    while groups.len() > least {
        let pair = |i: usize| {
            let same = kinds[groups[i][0]] == kinds[groups[i + 1][0]];
            same.then(|| {
                let both = [&groups[i][..], &groups[i + 1][..]].concat();
                let of_both = bits(rows, weights, &both);
                (told[i] + told[i + 1] - of_both, i, both, of_both)
            })
        };
        let pairs = (0..groups.len() - 1).filter_map(pair);
        let Some((lost, i, both, of_both)) = pairs.min_by(|a, b| a.0.total_cmp(&b.0)) else {
            break;
        };
        if lost > spare && groups.len() <= MOST {
            break;
        }
        spare -= lost;
        groups[i] = both;
        groups.remove(i + 1);
        told[i] = of_both;
        told.remove(i + 1);
    }
    groups
}

impl LineInfo {
    /// What a test of this line is going to show where `taken` was read, as if
    /// nothing else were known; cut by what is believed of the faults now.
    ///
    /// Of two faults the one that explains better what was read decides, as if
    /// it were there alone.
    ///
    /// # Errors
    /// If the line cannot be solved.
    fn foretold_after(
        &self,
        test: &TestInfo,
        taken: &[Taken],
        believed: &TiSlice<FaultId, f64>,
        (slip, strange): (&Shows, &Shows),
    ) -> Result<Foretold, SolveError> {
        let words = words(test);
        // With nothing wrong, then with each fault.
        let mut weights = vec![0.0];
        weights.extend(self.faults.iter().map(|(_, f)| believed[*f]));
        weights[0] = (1.0 - weights.iter().sum::<f64>()).max(0.0);
        let cuts = self.cuts(test, taken, &words, &weights)?;
        let mut rows = self.parted(test, taken, &cuts, strange)?;
        let places = ranges(&words, &cuts);
        let word: Vec<usize> = places.iter().map(|r| r.outcome).collect();
        let alone = |f: Option<FaultId>| {
            let found = rows.iter().find(|r| r.0.as_slice() == f.as_slice());
            found.map_or_else(|| vec![0.0; word.len()], |r| r.1.clone())
        };
        let mut singles = vec![alone(None)];
        singles.extend(self.faults.iter().map(|(_, f)| alone(Some(*f))));
        let signs = signs(test);
        let kind = |r: &Range| {
            let above = signs.iter().filter(|s| r.between.0 >= **s).count();
            r.outcome * (signs.len() + 1) + above
        };
        let kinds: Vec<usize> = places.iter().map(kind).collect();
        let groups = put_together(&singles, &weights, &kinds);
        let grouped = |row: &[f64]| -> Vec<f64> {
            let sum = |g: &Vec<usize>| g.iter().map(|k| row[*k]).sum();
            groups.iter().map(sum).collect()
        };
        for (_, row) in &mut rows {
            *row = grouped(row);
        }
        let ranges: Vec<Range> = (groups.iter())
            .filter_map(|g| {
                let (first, last) = (places[*g.first()?].between, places[*g.last()?].between);
                Some(Range {
                    outcome: word[g[0]],
                    between: (first.0, last.1),
                })
            })
            .collect();
        let finding = Finding::joint(&rows, slip.misread(test.reliability))
            .misread_as(grouped(&slip.parted(&cuts)));
        Ok(Foretold {
            finding: Arc::new(finding),
            ranges,
        })
    }

    /// What a test of this line is going to show where `taken` was read, by the
    /// words of the test alone.
    ///
    /// # Errors
    /// If the line cannot be solved.
    fn foretold_in_words(
        &self,
        test: &TestInfo,
        taken: &[Taken],
        (slip, strange): (&Shows, &Shows),
    ) -> Result<Finding, SolveError> {
        let words = words(test);
        let cuts = ends(&words);
        let mut rows = self.parted(test, taken, &cuts, strange)?;
        let places = ranges(&words, &cuts);
        for (_, row) in &mut rows {
            *row = in_words(test, &places, row);
        }
        Ok(Finding::joint(&rows, slip.misread(test.reliability)).misread_as(by_word(test, slip)))
    }

    /// The chance of each range between cuts, which stand where one word ends
    /// and perhaps elsewhere.
    fn parted(
        &self,
        test: &TestInfo,
        taken: &[Taken],
        cuts: &[f64],
        strange: &Shows,
    ) -> Result<Rows, SolveError> {
        let seen = self.seen_elsewhere();
        let strange = strange.parted(cuts);
        let cuts = Cuts {
            at: cuts,
            strange: &strange,
        };
        let work = |bend: &[GoodReading]| self.rows_after(bend, test, taken, cuts);
        let mut rows = self.as_seen(&seen, work, mixed)?;
        for (_, row) in &mut rows {
            row.remove(0);
            let sum: f64 = row.iter().sum::<f64>().max(1e-300);
            row.iter_mut().for_each(|x| *x /= sum);
        }
        Ok(rows)
    }

    /// Where the values are parted at first, ascending.
    fn cuts(
        &self,
        test: &TestInfo,
        taken: &[Taken],
        words: &[Range],
        weights: &[f64],
    ) -> Result<Vec<f64>, SolveError> {
        let next = test.measures.map(|m| m.probing);
        let all = self.as_seen(
            &self.seen_elsewhere(),
            |bend| self.surveys(bend, taken, next),
            |narrow, _, _| narrow,
        )?;
        let Some(survey) = all.first().and_then(|(_, s)| s.last()) else {
            return Ok(Vec::new());
        };
        let (none, one) = survey.places();
        let mut weighted = Vec::new();
        let mut at = |places: &[f64], weight: f64| {
            let each = weight / places.len().max(1) as f64;
            weighted.extend(places.iter().map(|x| (*x, each)));
        };
        at(&none, weights[0]);
        for ((_, of), weight) in self.alternatives().iter().zip(&weights[1..]) {
            for (chance, thing) in of {
                at(thing.map_or(&none, |h| &one[h]), weight * chance);
            }
        }
        let scale = survey.scale();
        let mut cuts: Vec<f64> = parting(weighted)
            .into_iter()
            .map(|x| scale.from(x))
            .collect();
        cuts.extend(ends(words));
        cuts.extend(signs(test));
        cuts.sort_by(f64::total_cmp);
        cuts.dedup();
        Ok(cuts)
    }

    fn rows_after(
        &self,
        bend: &[GoodReading],
        test: &TestInfo,
        taken: &[Taken],
        cuts: Cuts,
    ) -> Result<Rows, CalibrateError> {
        let what: Vec<joint::Taken> = taken.iter().map(|t| t.what).collect();
        let next = test.measures.map(|m| m.probing);
        let all = self.surveys(bend, taken, next)?;
        let rows = by_surveys(all, |surveys| self.rows_next(surveys, &what, cuts));
        Ok(self.mean_rows(rows))
    }

    fn rows_next(&self, surveys: &[Arc<Survey>], what: &[joint::Taken], cuts: Cuts) -> Rows {
        let (none, one) = alone(&self.solved.last, surveys, what, Some(cuts));
        let row = |of: &Alternatives| {
            let mut row = Vec::new();
            for (p, thing) in of {
                add(&mut row, *p, thing.map_or(&none, |h| &one[h]), |j| &j.next);
            }
            row
        };
        let singles: Vec<(FaultId, Vec<f64>)> = self
            .alternatives()
            .iter()
            .map(|(f, of)| (*f, row(of)))
            .collect();
        let mut rows = vec![(Vec::new(), row(&vec![(1.0, None)]))];
        for (i, (f, one)) in singles.iter().enumerate() {
            rows.push((vec![*f], one.clone()));
            for (g, other) in &singles[i + 1..] {
                let both: Vec<f64> = one.iter().zip(other).map(|(x, y)| x + y).collect();
                rows.push((vec![*f, *g], both));
            }
        }
        rows
    }
}

impl Model {
    /// What a test is going to show where `taken` was read on its line since
    /// something was last done about it, with its values cut where that tells
    /// the faults apart as they are `believed` now; `None` if the test measures
    /// no line, or one whose faults are all unlikely.
    pub fn foretold_after(
        &self,
        test: TestId,
        taken: &[Taken],
        believed: &TiSlice<FaultId, f64>,
    ) -> Option<Foretold> {
        self.foretold_of(&self.tests[test], taken, believed)
    }

    /// The same of a test that need not be one of the model's.
    pub(crate) fn foretold_of(
        &self,
        t: &TestInfo,
        taken: &[Taken],
        believed: &TiSlice<FaultId, f64>,
    ) -> Option<Foretold> {
        let at = t.measures?;
        let line = &self.lines[at.line];
        let likely: f64 = line.faults.iter().map(|(_, f)| believed[*f]).sum();
        if taken.is_empty() && likely < UNLIKELY {
            return None;
        }
        let (slip, strange) = self.shows(at, &line.meter);
        let shows = (&slip, &strange);
        line.foretold_after(t, taken, believed, shows).ok()
    }

    /// The same by the words of the test alone; `None` if it measures no line.
    pub fn foretold_in_words(&self, test: &TestInfo, taken: &[Taken]) -> Option<Finding> {
        let at = test.measures?;
        let line = &self.lines[at.line];
        let (slip, strange) = self.shows(at, &line.meter);
        line.foretold_in_words(test, taken, (&slip, &strange)).ok()
    }
}
