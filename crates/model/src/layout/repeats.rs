//! Columns that a table has several times, since a row has several observations.

use super::problems::Problems;
use super::{Column, Layout, Record};

/// A column as it is in a table: a column of the layout, or one of its repeats.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileColumn<'l> {
    /// The index of the column in the layout.
    pub index: usize,
    /// The heading.
    pub heading: &'l str,
    /// Which observation of the row it belongs to, from 0; `None` if rows have one observation, or
    /// if it belongs to the whole row.
    pub nth: Option<usize>,
}

impl Layout {
    /// The columns of a table, in the order of writing. Of adjacent columns with repeats, all of the
    /// first observation come before those of the second.
    #[must_use]
    pub fn file_columns(&self) -> Vec<FileColumn<'_>> {
        let mut found = Vec::new();
        let mut index = 0;
        while let Some(column) = self.columns.get(index) {
            if column.repeats.is_empty() {
                found.push(FileColumn { index, heading: &column.heading, nth: None });
                index += 1;
                continue;
            }
            let rest = self.columns.get(index..).unwrap_or_default();
            let block: Vec<&Column> =
                rest.iter().take_while(|column| !column.repeats.is_empty()).collect();
            let most = block.iter().map(|column| column.repeats.len()).max().unwrap_or_default();
            for nth in 0..=most {
                for (column, index) in block.iter().zip(index..) {
                    let heading = column.heading_of(nth);
                    found.extend(heading.map(|heading| FileColumn {
                        index,
                        heading,
                        nth: Some(nth),
                    }));
                }
            }
            index += block.len();
        }
        found
    }

    /// The number of observations that a row can have.
    #[must_use]
    pub fn observations_of_row(&self) -> usize {
        1 + self.columns.iter().map(|column| column.repeats.len()).max().unwrap_or_default()
    }

    /// Reports repeats that leave open which observation a value belongs to.
    pub(super) fn repeat_problems(&self, problems: &mut Problems) {
        let most = self.observations_of_row() - 1;
        if most == 0 {
            return;
        }
        let mut is_reported = false;
        for (index, column) in self.columns.iter().enumerate() {
            let count = column.repeats.len();
            let at = format!("/columns/{index}/repeats");
            if count > 0 && self.xml.is_some() {
                is_reported = true;
                problems.add(at, "an element of XML is one observation; remove it");
                continue;
            }
            let is_marked = |headings: &[crate::text::Text]| headings.contains(&column.heading);
            let is_of_observation =
                column.target().is_some_and(|target| target.record() == Record::Observation)
                    || self.codes.as_ref().is_some_and(|codes| is_marked(&codes.columns))
                    || self
                        .stretches
                        .as_ref()
                        .is_some_and(|stretches| stretches.column == column.heading);
            if is_of_observation && count != most {
                problems.add(
                    at,
                    format!(
                        "{:?} has {count} repeats, and a row has {} observations; give it {most}, one for each further observation",
                        column.heading,
                        most + 1
                    ),
                );
            } else if count > 0 && !is_of_observation && column.drop.is_none() {
                let message = format!(
                    "{:?} is not a field of an observation, so a row has one value of it; remove repeats, or drop the column",
                    column.heading
                );
                problems.add(at, message);
            }
        }
        if !is_reported {
            self.repeated_headings(problems);
        }
    }

    /// Reports headings that two columns share.
    fn repeated_headings(&self, problems: &mut Problems) {
        let all = self.file_columns();
        for (index, column) in self.columns.iter().enumerate() {
            for (nth, heading) in column.repeats.iter().enumerate() {
                let other = all.iter().find(|own| *own.heading == **heading && own.index != index);
                if let Some(other) = other {
                    let message = format!(
                        "the heading {heading:?} is also that of /columns/{}; headings must differ",
                        other.index
                    );
                    problems.add(format!("/columns/{index}/repeats/{nth}"), message);
                }
            }
        }
    }
}

impl Column {
    /// Its heading for the observation of a row with an index, from 0.
    #[must_use]
    pub fn heading_of(&self, nth: usize) -> Option<&str> {
        match nth.checked_sub(1) {
            None => Some(&self.heading),
            Some(further) => self.repeats.get(further).map(|heading| heading.as_str()),
        }
    }
}
