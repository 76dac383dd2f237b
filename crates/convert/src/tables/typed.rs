//! The tables of a survey as typed rows, without a file: the tables and columns, the units of
//! numbers, and the content of each cell with its type.

use std::collections::VecDeque;
use std::sync::Arc;

use obvert_model::read::RunReader;
use obvert_model::tables::{Head, Run};
use serde_json::Value;

use super::plan::{self, Key, Kind, ORDER};
use super::walk::{Entry, Walk};
use crate::ConvertError;

/// The tables of a survey, each after the table that its rows belong to.
///
/// ```
/// use obvert_convert::tables;
///
/// let names: Vec<&str> = tables::tables().map(|table| table.name()).collect();
/// assert_eq!(names[0], "document");
/// assert!(names.contains(&"observations") && names.contains(&"quantities"));
/// ```
pub fn tables() -> impl Iterator<Item = Table> {
    (0..plan::plan().tables.len()).map(Table)
}

/// One table.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Table(usize);

impl std::fmt::Debug for Table {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Table").field(&self.name()).finish()
    }
}

impl Table {
    fn plan(self) -> &'static plan::Table {
        &plan::plan().tables[self.0]
    }

    /// The table with a name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        tables().find(|table| table.name() == name)
    }

    /// Its name: that of the CSV file, the sheet of a workbook, the table of a database.
    #[must_use]
    pub fn name(self) -> &'static str {
        &self.plan().name
    }

    /// What it holds.
    #[must_use]
    pub fn description(self) -> &'static str {
        &self.plan().description
    }

    /// The table that its rows belong to; `None` for the table of the document.
    #[must_use]
    pub fn parent(self) -> Option<Self> {
        self.plan().parent.map(Self)
    }

    /// Its columns: first those that name the row that a row belongs to, then the position of a row
    /// in its list, then its values.
    pub fn columns(self) -> impl Iterator<Item = Column> {
        let plan = self.plan();
        let keys = plan.keys.iter().map(|key| Column(Place::Key(key)));
        let order = plan.ordered.then_some(Column(Place::Order));
        keys.chain(order).chain(plan.columns.iter().map(|column| Column(Place::Value(column))))
    }
}

/// One column of a table.
#[derive(Clone, Copy)]
pub struct Column(Place);

#[derive(Clone, Copy)]
enum Place {
    Key(&'static Key),
    Order,
    Value(&'static plan::Column),
}

impl std::fmt::Debug for Column {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Column").field(&self.heading()).finish()
    }
}

/// The type of the cells of a column, unless they are empty.
#[non_exhaustive]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ColumnKind {
    /// Text.
    Text,
    /// One of a vocabulary's [words](Column::words).
    Word,
    /// A number.
    Number,
    /// A whole number.
    Whole,
    /// A boolean.
    Bool,
    /// Several texts.
    Texts,
    /// Any JSON: extensions.
    Json,
}

impl Column {
    /// Its heading: the keys of the value, joined by dots.
    #[must_use]
    pub fn heading(self) -> &'static str {
        match self.0 {
            Place::Key(key) => &key.heading,
            Place::Order => ORDER,
            Place::Value(column) => &column.heading,
        }
    }

    /// The type of its cells.
    #[must_use]
    pub fn kind(self) -> ColumnKind {
        match self.0 {
            Place::Key(key) if key.number => ColumnKind::Whole,
            Place::Key(_) => ColumnKind::Text,
            Place::Order => ColumnKind::Whole,
            Place::Value(column) => match &column.kind {
                Kind::Text => ColumnKind::Text,
                Kind::Word(_) => ColumnKind::Word,
                Kind::Number => ColumnKind::Number,
                Kind::Whole => ColumnKind::Whole,
                Kind::Bool => ColumnKind::Bool,
                Kind::List(_) => ColumnKind::Texts,
                Kind::Extensions | Kind::Json => ColumnKind::Json,
            },
        }
    }

    /// The words that its cells can hold; none if its cells are not words.
    #[must_use]
    pub fn words(self) -> &'static [String] {
        match self.0 {
            Place::Value(plan::Column { kind: Kind::Word(words), .. }) => words,
            _ => &[],
        }
    }

    /// Whether every row has a value.
    #[must_use]
    pub fn is_required(self) -> bool {
        match self.0 {
            Place::Key(_) | Place::Order => true,
            Place::Value(column) => column.required,
        }
    }

    /// What it means.
    #[must_use]
    pub fn description(self) -> String {
        match self.0 {
            Place::Key(key) => format!("The {} that this row belongs to.", key.heading),
            Place::Order => "The position of this row in its list, from 1.".to_owned(),
            Place::Value(column) => column.description.clone(),
        }
    }

    /// The unit of its numbers in a survey: `ft`, `mm`, `seconds`. Positions are in the units of
    /// the document's reference system, and the value of a quantity in the unit in the next column;
    /// `None` for these.
    #[must_use]
    pub fn unit(self, head: &Head) -> Option<String> {
        let Place::Value(column) = self.0 else { return None };
        match column.measures {
            Some("units.length") => Some(head.units.length.to_string()),
            Some("units.section") => Some(head.units.section.to_string()),
            _ => column.unit.clone(),
        }
    }
}

/// The content of a cell.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Cell {
    /// Empty: the value is not known.
    Empty,
    /// Text, or a word.
    Text(String),
    /// A number.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// A boolean.
    Bool(bool),
    /// Several texts.
    Texts(Vec<String>),
    /// Any JSON.
    Json(Value),
}

impl Cell {
    /// Its text; `None` for anything but text.
    #[must_use]
    pub fn as_text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }

    /// Its number; `None` for anything but a number.
    #[must_use]
    pub fn as_number(&self) -> Option<f64> {
        match self {
            Self::Number(number) => Some(*number),
            #[expect(
                clippy::cast_precision_loss,
                reason = "whole numbers of the format are at most 2^53"
            )]
            Self::Whole(whole) => Some(*whole as f64),
            _ => None,
        }
    }

    fn of(entry: &Entry<'_>) -> Self {
        match entry {
            Entry::Absent => Self::Empty,
            Entry::Name(id) => Self::Text((*id).to_owned()),
            Entry::Place(place) => Self::Whole(i64::try_from(*place).unwrap_or(i64::MAX)),
            Entry::Bare => Self::Json(Value::Object(serde_json::Map::new())),
            Entry::Value(value, column) => match (&column.kind, value) {
                (Kind::Text | Kind::Word(_), Value::String(text)) => Self::Text(text.clone()),
                (Kind::Whole, value) if value.is_i64() => {
                    Self::Whole(value.as_i64().unwrap_or_default())
                }
                (Kind::Number | Kind::Whole, value) if value.is_number() => {
                    Self::Number(value.as_f64().unwrap_or_default())
                }
                (Kind::Bool, Value::Bool(truth)) => Self::Bool(*truth),
                (Kind::List(_), Value::Array(items)) => {
                    let text = |item: &Value| {
                        item.as_str().map_or_else(|| item.to_string(), str::to_owned)
                    };
                    Self::Texts(items.iter().map(text).collect())
                }
                (_, value) => Self::Json((*value).clone()),
            },
        }
    }
}

/// One row of a table.
#[doc(alias = "record")]
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its table.
    pub table: Table,
    /// A cell for each [column](Table::columns) of the table.
    pub cells: Vec<Cell>,
}

impl Row {
    /// The cell below a heading; `None` if the table has no such column.
    #[must_use]
    pub fn cell(&self, heading: &str) -> Option<&Cell> {
        let at = self.table.columns().position(|column| column.heading() == heading)?;
        self.cells.get(at)
    }
}

/// The rows of a survey that is read run by run: first those of the document and the tables of its
/// head, then those of each run.
///
/// ```
/// use obvert_convert::tables::{Table, TableRows};
/// use obvert_convert::DocumentRuns;
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream",
/// # "observations":[{"id":"1","at":12.5,"code":"crack.longitudinal"}]}]}"#;
/// # let document = obvert_model::read::document(source)?;
/// let observations = Table::named("observations").ok_or("no such table")?;
/// let mut survey = DocumentRuns::new(&document);
/// let mut rows = TableRows::new(&mut survey);
/// while let Some(row) = rows.next_row()? {
///     if row.table == observations {
///         let at = row.cell("at").and_then(|cell| cell.as_number());
///         assert_eq!((row.cell("run").and_then(|cell| cell.as_text()), at), (Some("R1"), Some(12.5)));
///     }
/// }
/// let at = observations.columns().find(|column| column.heading() == "at").ok_or("no such column")?;
/// assert_eq!(at.unit(&document.head).as_deref(), Some("ft"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct TableRows<'s> {
    survey: &'s mut dyn RunReader<Error = ConvertError>,
    head: Arc<Head>,
    /// The rows that have been produced and not taken.
    rows: VecDeque<Row>,
    /// The number of runs that have been read; `None` before the head has been read.
    runs: Option<usize>,
}

impl std::fmt::Debug for TableRows<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("TableRows").field("runs", &self.runs).finish_non_exhaustive()
    }
}

impl<'s> TableRows<'s> {
    /// The rows of a survey.
    #[must_use]
    pub fn new(survey: &'s mut dyn RunReader<Error = ConvertError>) -> Self {
        let head = survey.share_head();
        Self { survey, head, rows: VecDeque::new(), runs: None }
    }

    /// The next row; `None` after the last.
    ///
    /// # Errors
    /// When the survey turns out to be invalid.
    pub fn next_row(&mut self) -> Result<Option<Row>, ConvertError> {
        while self.rows.is_empty() {
            let head = Arc::clone(&self.head);
            let rows = &mut self.rows;
            let mut take = |table: usize, entries: &[Entry<'_>]| {
                rows.push_back(Row {
                    table: Table(table),
                    cells: entries.iter().map(Cell::of).collect(),
                });
                Ok(())
            };
            match self.runs {
                None => {
                    self.runs = Some(0);
                    Walk::of(0, &*head, 0, &mut take)?;
                }
                Some(count) => {
                    let Some(run): Option<Run> = self.survey.next_run()? else { return Ok(None) };
                    self.runs = Some(count + 1);
                    Walk::of(plan::plan().runs(), &run, count + 1, &mut take)?;
                    self.survey.recycle(run.observations);
                }
            }
        }
        Ok(self.rows.pop_front())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_know_their_kind_and_unit() {
        let source =
            br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"m","section":"mm"},
            "coding":{"list":"obvert-terms","version":"1"}}"#;
        let head = obvert_model::read::document(source).unwrap().head;
        let column = |table: &str, heading: &str| {
            Table::named(table)
                .unwrap()
                .columns()
                .find(|column| column.heading() == heading)
                .unwrap()
        };
        for (table, heading, kind, unit) in [
            ("observations", "at", ColumnKind::Number, Some("m")),
            ("pipes", "height", ColumnKind::Number, Some("mm")),
            ("observations", "run", ColumnKind::Text, None),
            ("quantities", "order", ColumnKind::Whole, None),
            ("quantities", "value", ColumnKind::Number, None),
            ("structures", "position.x", ColumnKind::Number, None),
            ("observations", "characterisation", ColumnKind::Texts, None),
            ("runs", "direction", ColumnKind::Word, None),
            ("pipes", "laid", ColumnKind::Whole, None),
        ] {
            let column = column(table, heading);
            assert_eq!(
                (column.kind(), column.unit(&head).as_deref()),
                (kind, unit),
                "{table} {heading}"
            );
        }
        assert_eq!(column("runs", "direction").words(), ["downstream", "upstream"]);
        assert!(
            column("observations", "run").is_required()
                && !column("observations", "to").is_required()
        );
    }
}
