//! From a document to the rows of its tables, run by run, so that only the head and one run are in
//! memory.

use obvert_model::read::RunReader;
use obvert_model::tables::{Head, Run};
use serde::Serialize;
use serde_json::Value;

use super::plan::{Column, ID, Kind, Plan, Table, plan};
use crate::ConvertError;

/// The content of a column in a row.
#[derive(Clone, Copy)]
pub(crate) enum Entry<'r> {
    /// Nothing.
    Absent,
    /// The id of the row that contains this one.
    Name(&'r str),
    /// A position in a list, from 1: that of the row, or of the row that contains it.
    Place(usize),
    /// A value.
    Value(&'r Value, &'static Column),
    /// Empty, but the object whose extensions the column holds exists: no other column of it has a
    /// value.
    Bare,
}

/// The name of a row in the rows below it.
#[derive(Clone)]
enum Name {
    Id(String),
    Place(usize),
}

impl Name {
    fn entry(&self) -> Entry<'_> {
        match self {
            Self::Id(id) => Entry::Name(id),
            Self::Place(place) => Entry::Place(*place),
        }
    }
}

/// Receives the rows of a survey.
pub(crate) trait RowSink {
    /// Receives a run before its rows.
    ///
    /// # Errors
    /// When it cannot be written.
    fn run(&mut self, _head: &Head, _run: &Run) -> Result<(), ConvertError> {
        Ok(())
    }

    /// Receives a row of the table with an index, with an entry for each heading.
    ///
    /// # Errors
    /// When it cannot be written.
    fn row(&mut self, head: &Head, table: usize, entries: &[Entry<'_>])
    -> Result<(), ConvertError>;
}

/// Passes every row to `sink`.
///
/// # Errors
/// When the survey turns out to be invalid, or the sink fails.
pub(crate) fn walk(
    survey: &mut dyn RunReader<Error = ConvertError>,
    sink: &mut dyn RowSink,
) -> Result<(), ConvertError> {
    let head = survey.share_head();
    row(&head, sink, 0, &*head, 0)?;
    let mut place = 0;
    while let Some(run) = survey.next_run()? {
        place += 1;
        sink.run(&head, &run)?;
        row(&head, sink, plan().runs(), &run, place)?;
        survey.recycle(run.observations);
    }
    Ok(())
}

/// Passes the head or a run to `sink`, with all rows that belong to it.
fn row(
    head: &Head,
    sink: &mut dyn RowSink,
    table: usize,
    row: &impl Serialize,
    place: usize,
) -> Result<(), ConvertError> {
    Walk::of(table, row, place, &mut |index, entries| sink.row(head, index, entries))
}

/// Receives the rows of a table, by its index, with an entry for each heading.
type TakeRow<'t> = dyn FnMut(usize, &[Entry<'_>]) -> Result<(), ConvertError> + 't;

/// A traversal of a row and all rows that belong to it.
pub(super) struct Walk<'w, 't> {
    plan: &'static Plan,
    take: &'w mut TakeRow<'t>,
}

impl Walk<'_, '_> {
    /// Passes a row of a table, and all rows that belong to it, to `take`. `place` is its position
    /// in the list, from 1.
    pub(super) fn of(
        table: usize,
        row: &impl Serialize,
        place: usize,
        take: &mut TakeRow<'_>,
    ) -> Result<(), ConvertError> {
        let value = serde_json::to_value(row).map_err(std::io::Error::other)?;
        Walk { plan: plan(), take }.row(table, &value, &[], place)
    }

    /// A row and all rows that belong to it. `above` names the rows that contain it.
    fn row(
        &mut self,
        index: usize,
        value: &Value,
        above: &[Name],
        place: usize,
    ) -> Result<(), ConvertError> {
        let plan = self.plan;
        let table = &plan.tables[index];
        let mut entries: Vec<Entry<'_>> = above.iter().map(Name::entry).collect();
        if table.ordered {
            entries.push(Entry::Place(place));
        }
        entries.extend(table.columns.iter().map(|column| entry(value, column)));
        (self.take)(index, &entries)?;
        for child in plan.below(index) {
            let Some(items) = lookup(value, &plan.tables[child].below).and_then(Value::as_array)
            else {
                continue;
            };
            let mut path = above.to_vec();
            if table.parent.is_some() {
                path.push(own_name(table, value, place));
            }
            for (number, item) in items.iter().enumerate() {
                self.row(child, item, &path, number + 1)?;
            }
        }
        Ok(())
    }
}

fn own_name(table: &Table, row: &Value, place: usize) -> Name {
    if table.ordered {
        return Name::Place(place);
    }
    Name::Id(row.get(ID).and_then(Value::as_str).unwrap_or_default().to_owned())
}

/// The content of the columns of a row, without those that name it.
pub(crate) fn columns<'r>(
    table: &'static Table,
    row: &'r Value,
) -> impl Iterator<Item = (&'static str, Entry<'r>)> {
    table.columns.iter().map(move |column| (column.heading.as_str(), entry(row, column)))
}

fn entry<'r>(row: &'r Value, column: &'static Column) -> Entry<'r> {
    let Some(value) = lookup(row, &column.keys) else {
        let bare = column.kind == Kind::Extensions
            && column.keys.len() > 1
            && lookup(row, &column.keys[..column.keys.len() - 1])
                .and_then(Value::as_object)
                .is_some_and(serde_json::Map::is_empty);
        return if bare { Entry::Bare } else { Entry::Absent };
    };
    let value = match column.axis {
        Some(axis) => value.get(axis),
        None => Some(value),
    };
    value.map_or(Entry::Absent, |value| Entry::Value(value, column))
}

fn lookup<'v>(row: &'v Value, keys: &[String]) -> Option<&'v Value> {
    keys.iter().try_fold(row, |value, key| value.get(key.as_str()))
}
