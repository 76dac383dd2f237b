//! Tables of a file that the format does not have.

use obvert_model::edit::token;
use obvert_model::read::{Problem, ProblemKind};
use obvert_model::text::nearest;

use super::plan::Table;
use crate::{Location, PlacedProblem};

/// A file, sheet or table that is not in the plan.
pub(crate) struct UnknownTable {
    pub(crate) name: String,
    /// Its headings, as far as they can be read.
    pub(crate) headings: Vec<String>,
}

impl UnknownTable {
    /// The problem with it. It may be one of the `absent` tables, by its columns or its name.
    pub(super) fn problem(&self, absent: &[(&'static Table, String)]) -> PlacedProblem {
        let name = &self.name;
        let by_name = nearest(name, absent.iter().map(|(_, name)| name.as_str()));
        let by_columns = if by_name.is_none() { self.by_columns(absent) } else { None };
        let near = by_name.or(by_columns);
        let message = match (by_columns, near) {
            (Some(table), _) => {
                format!("this is not the name of a table, and the columns are those of {table}; rename it to {table}")
            }
            (None, Some(_)) => "this is not the name of a table".to_owned(),
            (None, None) => "this is not the name of a table, so its rows are not read; rename it, or remove it if it is not a table"
                .to_owned(),
        };
        let pointer = format!("/-/{}", token(name));
        let suggestion = near.map(str::to_owned);
        let problem =
            Problem { suggestion, ..Problem::new(ProblemKind::UnknownKey, pointer, message) };
        PlacedProblem {
            place: Some(Location { file: name.clone(), line: 1, column: None, heading: None }),
            problem,
        }
    }

    /// The only table that its columns match best: it has every required column of the table, and
    /// the table has most of its columns.
    fn by_columns<'n>(&self, absent: &'n [(&'static Table, String)]) -> Option<&'n str> {
        let has = |heading: &String| self.headings.contains(heading);
        let known = |table: &Table| {
            self.headings.iter().filter(|own| table.headings().any(|known| known == **own)).count()
        };
        let needed = |table: &'static Table| {
            let columns =
                table.columns.iter().filter(|column| column.required).map(|column| &column.heading);
            columns.chain(table.keys.iter().map(|key| &key.heading))
        };
        let fitting = absent.iter().filter(|(table, _)| needed(table).all(has));
        let mut fitting: Vec<(usize, &str)> =
            fitting.map(|(table, name)| (known(table), name.as_str())).collect();
        fitting.sort_by_key(|(known, _)| std::cmp::Reverse(*known));
        match fitting.as_slice() {
            [(best, _), (second, _), ..] if best == second => None,
            [(best, name), ..] if *best >= 2 && best * 3 >= self.headings.len() * 2 => Some(name),
            _ => None,
        }
    }
}
