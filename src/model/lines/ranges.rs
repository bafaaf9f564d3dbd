//! Words of a test and ranges of what it may show.

use super::super::TestInfo;
use super::slip::Shows;

/// A range of what a test may show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// The outcome of the test that it belongs to, by index.
    pub outcome: usize,
    /// From and to, in the unit of the test; both infinite for over limit.
    pub between: (f64, f64),
}

/// The words of a test as ranges, ascending.
pub(super) fn words(test: &TestInfo) -> Vec<Range> {
    let mut all: Vec<Range> = (test.outcomes.iter().enumerate())
        .filter_map(|(outcome, o)| {
            let between = o.between?;
            Some(Range { outcome, between })
        })
        .collect();
    all.sort_by(|a, b| a.between.0.total_cmp(&b.between.0));
    all
}

/// Where one word ends and another begins.
pub(super) fn ends(words: &[Range]) -> Vec<f64> {
    let ends = words.iter().flat_map(|w| [w.between.0, w.between.1]);
    let mut ends: Vec<f64> = ends.filter(|x| x.abs() < f64::MAX).collect();
    ends.dedup();
    ends
}

/// The ranges between cuts, and over limit.
pub(super) fn ranges(words: &[Range], cuts: &[f64]) -> Vec<Range> {
    let ends = [&[f64::MIN][..], cuts, &[f64::MAX]].concat();
    let shown = ends.windows(2).map(|two| (two[0], two[1]));
    let over = (f64::INFINITY, f64::INFINITY);
    shown.chain([over]).map(|b| range(words, b)).collect()
}

/// Chances of ranges put together to those of the words.
pub(super) fn in_words(test: &TestInfo, ranges: &[Range], chances: &[f64]) -> Vec<f64> {
    let mut by_word = vec![0.0; test.outcomes.len()];
    for (chance, range) in chances.iter().zip(ranges) {
        by_word[range.outcome] += chance;
    }
    by_word
}

/// The chance of each word of a test by what may be shown.
pub(super) fn by_word(test: &TestInfo, shows: &Shows) -> Vec<f64> {
    let words = words(test);
    let cuts = ends(&words);
    in_words(test, &ranges(&words, &cuts), &shows.parted(&cuts))
}

/// The range between two cuts, or over limit, with the word that it belongs to.
fn range(words: &[Range], between: (f64, f64)) -> Range {
    let holds = |w: &&Range| match between.0.is_infinite() {
        true => w.between.0.is_infinite(),
        false => between.1 <= w.between.1,
    };
    Range {
        outcome: words.iter().find(holds).map_or(0, |w| w.outcome),
        between,
    }
}
