//! The statistics of the values of a column, before their meaning is chosen: how many there are,
//! how many different ones, and the patterns of all or most of them.

pub(crate) mod dates;
pub(super) mod files;
pub(super) mod marks;
mod pattern;
mod recognise;
mod stretches;

use std::collections::{HashMap, HashSet};

pub(super) use self::marks::{Marks, NumberMarks};
pub(super) use self::pattern::CellPattern;
use self::recognise::{Test, feet, plain};
use obvert_model::tables::QuantityUnit;

/// A value, and the first line on which it occurs.
pub(super) type Sample = (String, usize);

/// The statistics of the values of a column.
#[derive(Clone, Debug, Default)]
pub(super) struct ColumnStatistics {
    /// The number of cells that are not blank.
    pub(super) count: usize,
    /// The different values, in the order of their first occurrence.
    pub(super) distinct: Vec<Sample>,
    /// How often each of them occurs.
    times: Vec<usize>,
    /// The patterns that all of them have.
    pub(super) patterns: Vec<CellPattern>,
    /// The largest number of decimals of its numbers, if they are numbers.
    pub(super) decimals: usize,
    /// Whether all numbers have the same number of decimals.
    pub(super) has_even_decimals: bool,
    /// The statistics of most values, for each pattern that most but not all have.
    pub(super) majorities: Vec<Majority>,
    /// Whether most numbers rise from row to row, and start again near zero otherwise.
    pub(super) rises: bool,
    /// The separators with which numbers were recognised.
    marks: Marks,
}

/// The values that most cells have in common, without the few outliers.
#[derive(Clone, Debug)]
pub(super) struct Majority {
    pub(super) statistics: ColumnStatistics,
    pub(super) outliers: Vec<Sample>,
    outlier_count: usize,
}

impl Majority {
    /// The fraction of cells that are not outliers.
    #[allow(clippy::cast_precision_loss)]
    pub(super) fn share(&self) -> f64 {
        self.statistics.count as f64 / self.all() as f64
    }

    /// The number of cells, including outliers.
    pub(super) const fn all(&self) -> usize {
        self.statistics.count + self.outlier_count
    }
}

impl ColumnStatistics {
    /// Analyses cells with their lines. `american` is whether months come before days if both are
    /// possible.
    pub(super) fn of<'c>(
        cells: impl Iterator<Item = (&'c str, usize)>,
        marks: Marks,
        american: bool,
    ) -> Self {
        let (mut values, mut known) = (Vec::new(), HashMap::new());
        let mut lengths = Vec::new();
        for (cell, line) in cells {
            let cell = cell.trim();
            lengths.extend(length(cell, marks));
            if cell.is_empty() {
                continue;
            }
            let index = *known.entry(cell).or_insert_with(|| {
                values.push(((cell.to_owned(), line), 0));
                values.len() - 1
            });
            values[index].1 += 1;
        }
        let mut statistics = Self::of_values(values, marks, american);
        statistics.majorities = statistics.find_majorities(marks, american);
        statistics.rises = rises(&lengths);
        statistics
    }

    /// The statistics of values, each with how often it occurs.
    fn of_values(values: Vec<(Sample, usize)>, marks: Marks, american: bool) -> Self {
        let count = values.iter().map(|(_, times)| times).sum();
        let (distinct, times): (Vec<Sample>, Vec<usize>) = values.into_iter().unzip();
        let mut statistics =
            Self { has_even_decimals: true, count, marks, times, ..Self::default() };
        if !distinct.is_empty() {
            let numbers: Vec<f64> =
                distinct.iter().filter_map(|(value, _)| marks.number(value)).collect();
            if numbers.len() == distinct.len() {
                let decimals: Vec<usize> =
                    distinct.iter().map(|(value, _)| marks.decimals(value)).collect();
                statistics.decimals = decimals.iter().copied().max().unwrap_or(0);
                statistics.has_even_decimals =
                    decimals.iter().all(|own| *own == statistics.decimals);
            }
            statistics.patterns = recognise::patterns(&distinct, &numbers, marks, american);
        }
        statistics.distinct = distinct;
        statistics
    }

    /// The patterns of at least two thirds of the cells, and that of pictures with one separator if
    /// several are used.
    fn find_majorities(&self, marks: Marks, american: bool) -> Vec<Majority> {
        let mut found: Vec<Majority> = Vec::new();
        let mut tried: HashSet<Vec<usize>> = HashSet::new();
        let between = self.between_files();
        let pictures: Test<'_> = Box::new(move |value| files::are_cut(value, between));
        // If all are pictures with different separators, the most frequent separator counts, even
        // if it is in few cells.
        let is_mixed = self.has_mixed_separators();
        let others =
            recognise::tests(&self.distinct, marks, american).into_iter().map(|test| (test, false));
        for (test, any_share) in others.chain([(pictures, is_mixed)]) {
            let fits: Vec<usize> =
                (0..self.distinct.len()).filter(|index| test(&self.distinct[*index].0)).collect();
            let count: usize = fits.iter().map(|index| self.times[*index]).sum();
            let is_minority = count < 2 || count * 3 < self.count * 2;
            if count == 0
                || count == self.count
                || is_minority && !any_share
                || !tried.insert(fits.clone())
            {
                continue;
            }
            let own = |index: usize| (self.distinct[index].clone(), self.times[index]);
            let outliers =
                (0..self.distinct.len()).filter(|index| fits.binary_search(index).is_err());
            found.push(Majority {
                outliers: outliers.map(|index| self.distinct[index].clone()).collect(),
                outlier_count: self.count - count,
                statistics: Self::of_values(
                    fits.iter().map(|index| own(*index)).collect(),
                    marks,
                    american,
                ),
            });
        }
        found
    }

    /// The statistics of one of its values.
    pub(super) fn alone(&self, (value, line): &Sample) -> Self {
        Self::of_values(vec![((value.clone(), *line), 1)], self.marks, false)
    }

    /// The separator of files, if cells name several.
    pub(super) fn between_files(&self) -> Option<&'static str> {
        files::between(&self.distinct, &self.times)
    }

    /// Whether the values are pictures that no single separator splits correctly.
    pub(super) fn has_mixed_separators(&self) -> bool {
        if !self.has(&CellPattern::Picture) {
            return false;
        }
        let between = self.between_files();
        self.distinct.iter().any(|(value, _)| !files::are_cut(value, between))
    }

    /// The first value that matches.
    pub(super) fn find_value(&self, is: impl Fn(&str) -> bool) -> Option<(&str, usize)> {
        self.distinct
            .iter()
            .find(|(value, _)| is(value))
            .map(|(value, line)| (value.as_str(), *line))
    }

    /// The number of cells with a value that matches.
    pub(super) fn count_of(&self, is: impl Fn(&str) -> bool) -> usize {
        self.distinct
            .iter()
            .zip(&self.times)
            .filter(|((value, _), _)| is(value))
            .map(|(_, times)| times)
            .sum()
    }

    /// Whether all values have a pattern.
    pub(super) fn has(&self, pattern: &CellPattern) -> bool {
        self.patterns.contains(pattern)
    }

    /// Whether all values have a pattern that matches.
    pub(super) fn has_any(&self, is: impl Fn(&CellPattern) -> bool) -> bool {
        self.patterns.iter().any(is)
    }

    /// Whether all values are dates, times of day or both.
    pub(super) fn has_moments(&self) -> bool {
        self.has_any(CellPattern::is_moment)
    }

    /// The units after the numbers, if every value has one.
    pub(super) fn units(&self) -> Option<&[(String, QuantityUnit)]> {
        self.patterns.iter().find_map(|pattern| {
            if let CellPattern::Amount(units) = pattern { Some(&**units) } else { None }
        })
    }

    /// The separator of two hours, if the values are clock positions.
    pub(super) fn clock_separator(&self) -> Option<Option<&'static str>> {
        self.patterns.iter().find_map(|pattern| {
            if let CellPattern::Clock(own) = pattern { Some(*own) } else { None }
        })
    }

    /// The marks of stretches.
    pub(super) fn stretch_marks(&self) -> Option<(&str, &str)> {
        self.patterns.iter().find_map(|pattern| match pattern {
            CellPattern::Stretch(start, finish) => Some((start.as_str(), finish.as_str())),
            _ => None,
        })
    }
}

/// A length with a fraction, or in feet and inches: not a number of things.
fn length(text: &str, marks: Marks) -> Option<f64> {
    match text.split_once('\'') {
        Some((whole, inches)) if feet(text) => Some(
            plain(whole)?
                + plain(inches.trim_matches(|letter: char| !letter.is_ascii_digit()))? / 12.0,
        ),
        _ => marks.number(text).filter(|_| text.contains(marks.decimal)),
    }
}

/// Whether most distances rise from row to row, and are near zero where they start again.
fn rises(lengths: &[f64]) -> bool {
    let greatest = lengths.iter().copied().fold(0.0, f64::max);
    let is_near_zero = |length: f64| length <= greatest / 10.0;
    let pairs = lengths.windows(2);
    let falls: Vec<f64> =
        pairs.clone().filter(|pair| pair[1] < pair[0]).map(|pair| pair[1]).collect();
    let strange = falls.iter().filter(|length| !is_near_zero(**length)).count();
    let ups = pairs.filter(|pair| pair[1] > pair[0]).count();
    lengths.first().is_some_and(|first| is_near_zero(*first))
        && lengths.len() > 3
        && ups * 2 > lengths.len()
        && falls.len() * 3 < lengths.len()
        && strange * 10 <= lengths.len()
}
