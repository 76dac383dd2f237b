//! Tables with several observations in a row, in columns that are numbered: `Obs 1 dist, Obs 1 code,
//! Obs 2 dist, Obs 2 code`. They are analysed as if each observation had a row of its own.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::layout::{Column, Layout, Record, Target};
use obvert_model::text::Text;

use super::vocabulary::{self, Role, vocabulary};
use crate::grid::GridRow;

/// The columns of a table with several observations in a row.
pub(super) struct Repeats {
    /// The columns that are analysed: those of the whole row, and those of the first observation;
    /// each with the columns of all observations, or none.
    columns: Vec<(usize, Vec<usize>)>,
    /// The number of observations in a row.
    count: usize,
}

/// The columns whose headings differ in one number only, by the text before and after it.
type Numbered<'h> = BTreeMap<(&'h str, &'h str), BTreeMap<u32, usize>>;

fn numbered<'h>(headings: &'h [String]) -> Numbered<'h> {
    let mut found: Numbered<'h> = BTreeMap::new();
    for (index, heading) in headings.iter().enumerate() {
        let mut rest = 0;
        while let Some(start) = heading[rest..].find(|c: char| c.is_ascii_digit()) {
            let start = rest + start;
            let after = |c: char| !c.is_ascii_digit();
            let end = heading[start..].find(after).map_or(heading.len(), |length| start + length);
            if let Ok(number) = heading[start..end].parse() {
                let around = (&heading[..start], &heading[end..]);
                found.entry(around).or_default().entry(number).or_insert(index);
            }
            rest = end;
        }
    }
    found
}

impl Repeats {
    /// The repeats of a table: its distances and its codes are numbered alike. Numbers of other
    /// columns, such as those of pictures, are places in a list.
    pub(super) fn of(headings: &[String]) -> Option<Self> {
        let all = numbered(headings);
        let names = |index: usize, is: &dyn Fn(Role) -> bool| {
            let words = headings.get(index).map(|heading| vocabulary::words(heading));
            let mut meanings = vocabulary().meanings.iter().filter(|meaning| is(meaning.role));
            words.is_some_and(|words| {
                meanings.any(|meaning| vocabulary::named(&words, meaning) >= LEAST)
            })
        };
        let has = |numbers: &BTreeSet<u32>, is: &dyn Fn(Role) -> bool| {
            all.values().any(|columns| {
                let first = columns.values().next().copied();
                numbers.iter().eq(columns.keys()) && first.is_some_and(|first| names(first, is))
            })
        };
        let is_distance = |role: Role| role == Role::Field(Target::DISTANCE);
        let is_code = |role: Role| role == Role::Codes || role == Role::Field(Target::CODE);
        let candidates: BTreeSet<BTreeSet<u32>> =
            all.values().map(|columns| columns.keys().copied().collect()).collect();
        let numbers = candidates
            .into_iter()
            .filter(|numbers| numbers.len() > 1)
            .filter(|numbers| has(numbers, &is_distance) && has(numbers, &is_code))
            .max_by_key(BTreeSet::len)?;
        let groups: Vec<Vec<usize>> = all
            .values()
            .filter(|columns| numbers.iter().eq(columns.keys()))
            .map(|columns| columns.values().copied().collect())
            .collect();
        let mut columns = Vec::new();
        for index in 0..headings.len() {
            match groups.iter().find(|group| group.contains(&index)) {
                None => columns.push((index, Vec::new())),
                Some(group) if group.first() == Some(&index) => {
                    columns.push((index, group.clone()))
                }
                Some(_) => {}
            }
        }
        Some(Self { columns, count: numbers.len() })
    }

    /// The headings that are analysed.
    pub(super) fn headings(&self, headings: &[String]) -> Vec<String> {
        self.columns.iter().filter_map(|(index, _)| headings.get(*index).cloned()).collect()
    }

    /// A row for each observation; a row without any stays one.
    pub(super) fn rows(&self, rows: &[&GridRow]) -> Vec<GridRow> {
        let part = |row: &GridRow, nth: usize| {
            let index = |(index, of): &(usize, Vec<usize>)| of.get(nth).copied().unwrap_or(*index);
            let cells = self.columns.iter().map(|own| row.cells.get(index(own)).cloned());
            GridRow { cells: cells.map(Option::unwrap_or_default).collect(), ..row.clone() }
        };
        let is_filled = |row: &GridRow, nth: usize| {
            let mut cells = self.columns.iter().filter_map(|(_, of)| row.cells.get(*of.get(nth)?));
            cells.any(|cell| !cell.text.trim().is_empty())
        };
        let parts = |row: &&GridRow| {
            let filled = (0..self.count).filter(|nth| is_filled(row, *nth));
            let parts: Vec<GridRow> = filled.map(|nth| part(row, nth)).collect();
            if parts.is_empty() { vec![part(row, 0)] } else { parts }
        };
        rows.iter().flat_map(parts).collect()
    }

    /// What to tell a person about them.
    pub(super) fn guess(&self) -> String {
        format!("{} observations in a row, by the numbers in the headings", self.count)
    }

    /// Completes a layout for the columns that are analysed. A column that fits neither all
    /// observations nor the whole row is dropped, which is reported.
    pub(super) fn complete(&self, layout: &mut Layout, all: &[String], open: &mut Vec<String>) {
        let codes: Vec<Text> =
            layout.codes.iter().flat_map(|codes| codes.columns.clone()).collect();
        let stretches = layout.stretches.as_ref().map(|stretches| stretches.column.clone());
        for column in &mut layout.columns {
            let is_own = |(index, _): &&(usize, Vec<usize>)| {
                all.get(*index).is_some_and(|heading| **heading == *column.heading)
            };
            let Some((_, of)) = self.columns.iter().find(is_own) else { continue };
            let further = of.iter().skip(1).filter_map(|index| all.get(*index)?.parse().ok());
            column.repeats = further.collect();
            let is_seen = codes.contains(&column.heading)
                || stretches.as_ref() == Some(&column.heading)
                || column.target().is_some_and(|to| to.record() == Record::Observation);
            if column.drop.is_none() && is_seen == of.is_empty() && !codes.contains(&column.heading)
            {
                let why = if is_seen { ONE_OF_SEVERAL } else { SEVERAL_OF_ONE };
                open.push(format!("the column {:?} is dropped: {why}", &*column.heading));
                drop_column(column, why);
            }
        }
    }
}

/// How well a heading must name a distance or a code.
const LEAST: f64 = 0.5;
const ONE_OF_SEVERAL: &str = "a row has one value of it, and several observations";
const SEVERAL_OF_ONE: &str = "a row has several values of it, and one pipe and run";

/// Makes a column one that is not read.
fn drop_column(column: &mut Column, why: &str) {
    let Ok(why) = why.parse() else { return };
    let mut dropped = Column::new(column.heading.clone());
    dropped.repeats.clone_from(&column.repeats);
    dropped.basis.clone_from(&column.basis);
    dropped.drop = Some(why);
    *column = dropped;
}
