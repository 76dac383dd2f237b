//! The layer of stretches, which follows from the observations: its columns are compared with them,
//! since a program may have changed either.

use std::collections::HashMap;

use rusqlite::Connection;
use rusqlite::types::ValueRef;

use super::STRETCHES;
use crate::ConvertError;
use crate::tables::assemble::format_error;
use crate::tables::cell::number_of;

/// The columns that an observation has too, in this order: code, at, to.
pub(super) const SHARED: [&str; 3] = ["code", "at", "to"];

/// The values of [`SHARED`] as texts; numbers in their shortest form.
pub(super) type Values = [String; 3];

/// The rows of the layer, by run and observation, until their observation has been read.
#[derive(Default)]
pub(super) struct Stretches {
    rows: HashMap<(String, String), Vec<(usize, Values)>>,
    /// Whether an observation belongs to no run, which is an error of its own.
    has_orphans: bool,
}

impl Stretches {
    /// Reads the layer of a database that has it.
    pub(super) fn of(base: &Connection) -> Result<Self, ConvertError> {
        let failed = |error: rusqlite::Error| {
            let message = format!(
                "the layer cannot be read ({error}); restore its columns, or delete the layer, which follows from the observations"
            );
            format_error(STRETCHES, 1, message)
        };
        let query = format!("SELECT rowid, run, observation, code, at, \"to\" FROM {STRETCHES}");
        let mut statement = base.prepare(&query).map_err(failed)?;
        let mut rows = statement.query([]).map_err(failed)?;
        let orphans =
            "SELECT EXISTS (SELECT 1 FROM observations WHERE run NOT IN (SELECT id FROM runs))";
        let has_orphans = base.query_row(orphans, [], |row| row.get(0)).unwrap_or_default();
        let mut found = Self { has_orphans, ..Self::default() };
        while let Some(row) = rows.next().map_err(failed)? {
            let key = row.get::<_, i64>(0).map_err(failed)?;
            let mut texts = Vec::new();
            for index in 1..=5 {
                texts.push(shown(row.get_ref(index).map_err(failed)?));
            }
            let Ok([run, observation, code, at, to]) = <[String; 5]>::try_from(texts) else {
                continue;
            };
            let number = usize::try_from(key).unwrap_or_default();
            found.rows.entry((run, observation)).or_default().push((number, [code, at, to]));
        }
        Ok(found)
    }

    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Compares the rows of an observation with its values, if they could be read.
    pub(super) fn compare(
        &mut self,
        (run, observation): (&str, &str),
        values: Option<&Values>,
    ) -> Result<(), ConvertError> {
        let rows = self.rows.remove(&(run.to_owned(), observation.to_owned())).unwrap_or_default();
        let Some(values) = values else { return Ok(()) };
        for (row, own) in rows {
            let mut pairs = SHARED.iter().zip(own.iter().zip(values));
            let Some((column, (own, other))) = pairs.find(|(_, (own, other))| own != other) else {
                continue;
            };
            let message = format!(
                "{column} is {own:?}, and {other:?} in the table observations (run {run:?}, observation {observation:?}); correct one of \
                 them, or delete this row, which follows from the observation"
            );
            return Err(format_error(STRETCHES, row, message));
        }
        Ok(())
    }

    /// Refuses the rows without an observation, after the last one.
    pub(super) fn finish(&self) -> Result<(), ConvertError> {
        if self.has_orphans {
            return Ok(());
        }
        let rows = self.rows.iter().filter_map(|(key, rows)| Some((key, rows.first()?.0)));
        let Some(((run, observation), row)) = rows.min_by_key(|(_, row)| *row) else {
            return Ok(());
        };
        let message = format!(
            "there is no observation {observation:?} of run {run:?}; correct the row, or delete it"
        );
        Err(format_error(STRETCHES, row, message))
    }
}

fn shown(value: ValueRef<'_>) -> String {
    match value {
        ValueRef::Null => String::new(),
        ValueRef::Integer(whole) => whole.to_string(),
        ValueRef::Real(number) => {
            number_of(number).map_or_else(|| number.to_string(), |number| number.to_string())
        }
        ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned(),
        ValueRef::Blob(_) => "bytes".to_owned(),
    }
}
