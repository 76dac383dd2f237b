//! Reads fields by name from typed rows, for profiles, which name fields at run time. It works
//! through the rows' own serialisation and skips all other fields. So a new field of the format
//! needs no code here, and a run of a thousand rows costs no memory.
//!
//! ```
//! use obvert_model::probe::{Plan, Slot, Value, Visitor};
//! use obvert_model::read;
//!
//! struct Lengths(Vec<f64>);
//!
//! impl Visitor for Lengths {
//!     fn field(&mut self, _: Slot, value: Value<'_>) {
//!         if let Value::Number(length) = value {
//!             self.0.push(length);
//!         }
//!     }
//!     fn row(&mut self, _: usize, _: &[usize]) {}
//! }
//!
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"pipes":[{"id":"L-101","upstream":"LM-014","length":212.4}]}"#;
//! let mut plan = Plan::default();
//! plan.want(&["pipes".to_owned()], &["length".to_owned()]);
//! let mut lengths = Lengths(Vec::new());
//! plan.head(&read::document(source)?.head, &mut lengths);
//! assert_eq!(lengths.0, [212.4]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use serde::Serialize;

use crate::shape::{self, Shape};
use crate::tables::{Head, Run};

mod walk;

use walk::{At, State, Walk};

/// One field of one table of a [`Plan`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Slot {
    /// The number of the table in the plan.
    pub table: usize,
    /// The number of the field in the table.
    pub field: usize,
}

/// The value of a field.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Value<'v> {
    /// A text or a word.
    Text(&'v str),
    /// A number.
    Number(f64),
    /// A boolean.
    Bool(bool),
    /// A list that is not empty. If its items are single values, each follows.
    List,
    /// An object.
    Object,
}

/// Receives the values of the fields in a [`Plan`].
pub trait Visitor {
    /// A field of the current row has a value. For a list this is called for the list and then for
    /// each item.
    fn field(&mut self, slot: Slot, value: Value<'_>);
    /// The row is complete. `rows` are the indexes of its parent rows and its own: `[2, 4]` for the
    /// fifth observation of the third run. The rows of tables inside it came before.
    fn row(&mut self, table: usize, rows: &[usize]);
}

/// The fields to read.
#[derive(Clone, Debug)]
pub struct Plan {
    tables: Vec<Table>,
}

#[derive(Clone, Debug, Default)]
struct Table {
    name: Vec<String>,
    wanted: Vec<Wanted>,
    fields: Vec<Vec<String>>,
}

#[derive(Clone, Debug, Default)]
struct Wanted {
    key: String,
    field: Option<usize>,
    inside: Vec<Wanted>,
    rows: Option<usize>,
}

impl Default for Plan {
    fn default() -> Self {
        // The document's own row is always present: all others are inside it.
        Self { tables: vec![Table::default()] }
    }
}

impl Plan {
    /// Adds a field: the keys of its table (none for the document itself), and its own from the row
    /// on. Adding a field again returns the same slot.
    pub fn want(&mut self, table: &[String], keys: &[String]) -> Slot {
        let table = self.table(table);
        let fields = &self.tables[table].fields;
        if let Some(field) = fields.iter().position(|known| known == keys) {
            return Slot { table, field };
        }
        let field = fields.len();
        self.tables[table].fields.push(keys.to_vec());
        if let Some(wanted) = entry(&mut self.tables[table].wanted, keys) {
            wanted.field = Some(field);
        }
        Slot { table, field }
    }

    /// The number of tables.
    #[must_use]
    pub fn tables(&self) -> usize {
        self.tables.len()
    }

    /// The number of fields of a table.
    #[must_use]
    pub fn fields(&self, table: usize) -> usize {
        self.tables[table].fields.len()
    }

    /// The keys of a table.
    #[must_use]
    pub fn name(&self, table: usize) -> &[String] {
        &self.tables[table].name
    }

    /// Whether any field of a run is in the plan.
    #[must_use]
    pub fn looks_at_runs(&self) -> bool {
        self.runs().is_some()
    }

    /// The JSON Pointer of a row, by the numbers that [`Visitor::row`] is given.
    #[must_use]
    pub fn pointer(&self, table: usize, rows: &[usize]) -> String {
        let name = &self.tables[table].name;
        let mut rows = rows.iter();
        let mut pointer = String::new();
        for (index, key) in name.iter().enumerate() {
            pointer.push('/');
            pointer.push_str(key);
            if is_table(&name[..=index]) {
                if let Some(row) = rows.next() {
                    pointer.push_str(&format!("/{row}"));
                }
            }
        }
        pointer
    }

    /// Visits the head of a document and its tables.
    pub fn head(&self, head: &Head, visitor: &mut dyn Visitor) {
        self.walk(head, 0, Vec::new(), visitor);
    }

    /// Visits a run and its observations; `index` is its number in the document.
    pub fn run(&self, run: &Run, index: usize, visitor: &mut dyn Visitor) {
        if let Some(table) = self.runs() {
            self.walk(run, table, vec![index], visitor);
        }
    }

    fn runs(&self) -> Option<usize> {
        self.tables.iter().position(|table| table.name == ["runs"])
    }

    fn walk<T: Serialize>(
        &self,
        row: &T,
        table: usize,
        rows: Vec<usize>,
        visitor: &mut dyn Visitor,
    ) {
        let mut walk = Walk { plan: self, visitor, rows };
        // Only a number that is invalid in documents stops it; what was visited before that counts.
        let _ = row.serialize(At {
            table,
            state: State::Row(&self.tables[table].wanted),
            walk: &mut walk,
        });
        walk.visitor.row(table, &walk.rows);
    }

    /// The number of a table. If it is new, it is added with its parent tables.
    fn table(&mut self, name: &[String]) -> usize {
        if let Some(known) = self.tables.iter().position(|table| table.name == name) {
            return known;
        }
        let above =
            (0..name.len()).rev().find(|end| *end == 0 || is_table(&name[..*end])).unwrap_or(0);
        let parent = self.table(&name[..above]);
        let table = self.tables.len();
        self.tables.push(Table { name: name.to_vec(), ..Table::default() });
        // Runs are visited one at a time, not with the head.
        if name != ["runs"] {
            if let Some(wanted) = entry(&mut self.tables[parent].wanted, &name[above..]) {
                wanted.rows = Some(table);
            }
        }
        table
    }
}

/// The entry of keys inside a row, created if missing.
fn entry<'w>(wanted: &'w mut Vec<Wanted>, keys: &[String]) -> Option<&'w mut Wanted> {
    let (first, rest) = keys.split_first()?;
    let place = wanted.iter().position(|known| known.key == *first).unwrap_or_else(|| {
        wanted.push(Wanted { key: first.clone(), ..Wanted::default() });
        wanted.len() - 1
    });
    let found = &mut wanted[place];
    if rest.is_empty() { Some(found) } else { entry(&mut found.inside, rest) }
}

fn is_table(keys: &[String]) -> bool {
    let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
    shape::field(&keys).is_some_and(
        |field| matches!(&field.shape, Shape::List(item) if matches!(**item, Shape::Object(_))),
    )
}
