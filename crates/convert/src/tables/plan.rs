//! The tables and their columns, derived from the shape of a document. The writers and readers of
//! all formats with tables, and `datapackage.json`, follow this plan, so they cannot disagree, and
//! a new field needs no change here.

use std::sync::OnceLock;

use obvert_model::shape::{self, Field, ObjectShape, Shape};

use super::keys;

/// All tables, each after the table that its rows belong to.
pub(crate) struct Plan {
    pub(crate) tables: Vec<Table>,
}

/// One table: a CSV file, a sheet, a layer.
pub(crate) struct Table {
    /// Its name.
    pub(crate) name: String,
    /// What it holds.
    pub(crate) description: String,
    /// The keys from the document to the list, without the indexes of lists: `["runs",
    /// "observations"]`.
    pub(crate) path: Vec<String>,
    /// The keys from the row that contains the list to the list.
    pub(crate) below: Vec<String>,
    /// The table whose rows contain the lists; `None` for the table of the document itself.
    pub(crate) parent: Option<usize>,
    /// The columns that name the row that this row belongs to. They are the first columns.
    pub(crate) keys: Vec<Key>,
    /// Whether a column `order` gives the position of a row in its list. Tables whose rows have an
    /// id keep the order of the file instead.
    pub(crate) ordered: bool,
    /// All other columns.
    pub(crate) columns: Vec<Column>,
}

/// A column that names the row that this row belongs to.
pub(crate) struct Key {
    /// Its heading: `run`.
    pub(crate) heading: String,
    /// Whether it holds a position in a list rather than an id.
    pub(crate) number: bool,
}

/// A column that holds a value of the row.
pub(crate) struct Column {
    /// Its heading: the keys, joined by dots.
    pub(crate) heading: String,
    /// The keys from the row to the value.
    pub(crate) keys: Vec<String>,
    /// For a coordinate of a position: 0 for x, 1 for y.
    pub(crate) axis: Option<usize>,
    /// The kind of the value.
    pub(crate) kind: Kind,
    /// Whether every row must have a value.
    pub(crate) required: bool,
    /// Whether a value is required if the object that contains it exists.
    pub(crate) required_within: bool,
    /// What it means.
    pub(crate) description: String,
    /// The pattern of its text, if it has one.
    pub(crate) pattern: Option<String>,
    /// The unit of its number, if that is always the same.
    pub(crate) unit: Option<String>,
    /// The limits of its whole number, if it is one.
    pub(crate) bounds: Option<[u64; 2]>,
    /// The unit of the document that its number is in, if it is in one of those.
    pub(crate) measures: Option<&'static str>,
}

/// The kind of value in a cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Kind {
    /// Text.
    Text,
    /// One of these words.
    Word(Vec<String>),
    /// A number with a decimal point.
    Number,
    /// A whole number.
    Whole,
    /// `true` or `false`.
    Bool,
    /// Several of the above, separated by semicolons.
    List(Box<Kind>),
    /// The extensions of an object, as JSON.
    Extensions,
    /// Any other value, as JSON.
    Json,
}

pub(crate) const ORDER: &str = "order";
pub(crate) const ID: &str = "id";
pub(crate) const AXES: [&str; 2] = ["x", "y"];

/// The plan for the format as it is.
pub(crate) fn plan() -> &'static Plan {
    static PLAN: OnceLock<Plan> = OnceLock::new();
    PLAN.get_or_init(|| {
        let mut plan = Plan { tables: Vec::new() };
        let document = shape::document();
        let table = Table {
            name: "document".to_owned(),
            description: "The document itself: the fields of the survey as a whole. One row."
                .to_owned(),
            path: Vec::new(),
            below: Vec::new(),
            parent: None,
            keys: Vec::new(),
            ordered: false,
            columns: Vec::new(),
        };
        plan.add(table, Item::Object(document));
        plan
    })
}

enum Item {
    Object(&'static ObjectShape),
    Position,
}

impl Plan {
    /// Adds a table and those below it.
    fn add(&mut self, mut table: Table, item: Item) {
        let mut lists = Vec::new();
        match item {
            Item::Position => table.columns = positions(&[], true, true, ""),
            Item::Object(object) => {
                let mut extensions = Vec::new();
                flatten(object, &[], true, &mut table.columns, &mut extensions, &mut lists);
                // Offices read from the left, and seldom use these.
                table.columns.append(&mut extensions);
            }
        }
        let id = table.columns.iter().any(|column| column.heading == ID && column.required);
        table.ordered =
            table.parent.is_some() && !(id && keys::reference(&table.name, ID).is_none());
        let index = self.tables.len();
        self.tables.push(table);
        for (below, field, item) in lists {
            let holder = &self.tables[index];
            let path: Vec<String> = holder.path.iter().chain(&below).cloned().collect();
            let mut keys: Vec<Key> = holder
                .keys
                .iter()
                .map(|key| Key { heading: key.heading.clone(), number: key.number })
                .collect();
            if holder.parent.is_some() {
                keys.push(Key { heading: keys::row_name(&holder.name), number: holder.ordered });
            }
            let table = Table {
                name: keys::table_name(&path),
                description: one_line(&field.description),
                path,
                below,
                parent: Some(index),
                keys,
                ordered: false,
                columns: Vec::new(),
            };
            self.add(table, item);
        }
    }

    /// The table with a name.
    pub(crate) fn table(&self, name: &str) -> Option<&Table> {
        self.tables.iter().find(|table| table.name == name)
    }

    /// The table whose rows contain the lists of another table.
    pub(crate) fn parent(&self, table: &Table) -> Option<&Table> {
        table.parent.and_then(|parent| self.tables.get(parent))
    }

    /// The index of the table of the runs.
    pub(crate) fn runs(&self) -> usize {
        self.tables.iter().position(|table| table.path == ["runs"]).unwrap_or_default()
    }

    /// The indexes of the tables whose rows belong to rows of a table.
    pub(crate) fn below(&self, index: usize) -> impl Iterator<Item = usize> {
        (0..self.tables.len()).filter(move |&other| self.tables[other].parent == Some(index))
    }
}

impl Table {
    /// All headings, in the order in which they are written.
    pub(crate) fn headings(&self) -> impl Iterator<Item = &str> {
        let keys = self.keys.iter().map(|key| key.heading.as_str());
        let order = self.ordered.then_some(ORDER);
        keys.chain(order).chain(self.columns.iter().map(|column| column.heading.as_str()))
    }

    /// The headings that identify a row.
    pub(crate) fn primary_key(&self) -> Vec<String> {
        let own = if self.ordered { ORDER } else { ID };
        self.keys.iter().map(|key| key.heading.clone()).chain([own.to_owned()]).collect()
    }
}

type Lists = Vec<(Vec<String>, &'static Field, Item)>;

fn flatten(
    object: &'static ObjectShape,
    above: &[String],
    required: bool,
    columns: &mut Vec<Column>,
    extensions: &mut Vec<Column>,
    lists: &mut Lists,
) {
    for field in &object.fields {
        let keys: Vec<String> = above.iter().chain([&field.name]).cloned().collect();
        let required = required && field.required;
        match &field.shape {
            Shape::Object(name) => {
                flatten(shape::object(name), &keys, required, columns, extensions, lists)
            }
            Shape::Position => {
                columns.extend(positions(&keys, required, field.required, &field.description))
            }
            Shape::List(item) => match &**item {
                Shape::Object(name) => lists.push((keys, field, Item::Object(shape::object(name)))),
                Shape::Position => lists.push((keys, field, Item::Position)),
                item => {
                    columns.push(column(field, keys, required, Kind::List(Box::new(kind(item)))))
                }
            },
            Shape::Extensions => extensions.push(column(field, keys, required, Kind::Extensions)),
            shape => columns.push(column(field, keys, required, kind(shape))),
        }
    }
}

fn kind(shape: &Shape) -> Kind {
    match shape {
        Shape::Text => Kind::Text,
        Shape::Word(words) => Kind::Word(words.clone()),
        Shape::Number => Kind::Number,
        Shape::Whole => Kind::Whole,
        Shape::Bool => Kind::Bool,
        _ => Kind::Json,
    }
}

fn column(field: &Field, keys: Vec<String>, required: bool, kind: Kind) -> Column {
    Column {
        heading: keys.join("."),
        keys,
        axis: None,
        kind,
        required,
        required_within: field.required,
        description: one_line(&field.description),
        pattern: field.pattern.clone(),
        unit: field.unit.clone(),
        bounds: field.bounds,
        measures: field.measures(),
    }
}

fn positions(
    keys: &[String],
    required: bool,
    required_within: bool,
    description: &str,
) -> Vec<Column> {
    const MEANINGS: [&str; 2] = ["Easting or longitude.", "Northing or latitude."];
    let halves = AXES.into_iter().zip(MEANINGS).enumerate();
    halves
        .map(|(axis, (name, meaning))| Column {
            heading: keys.iter().map(String::as_str).chain([name]).collect::<Vec<_>>().join("."),
            keys: keys.to_vec(),
            axis: Some(axis),
            kind: Kind::Number,
            required,
            required_within,
            description: format!("{} {meaning}", one_line(description)).trim().to_owned(),
            pattern: None,
            unit: None,
            bounds: None,
            measures: None,
        })
        .collect()
}

/// The meaning of the text of a column with a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Moment {
    /// A day.
    Day,
    /// A date, a time of day and an offset from UTC.
    Time,
}

impl Column {
    /// Whether the text of the column is a date or a time.
    pub(crate) fn moment(&self) -> Option<Moment> {
        let pattern = self.pattern.as_ref()?;
        let same = |path: &[&str]| {
            shape::field(path).and_then(|field| field.pattern.as_ref()) == Some(pattern)
        };
        if same(&["issued"]) {
            Some(Moment::Time)
        } else if same(&["equipment", "calibrated"]) {
            Some(Moment::Day)
        } else {
            None
        }
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_table_and_heading_has_one_name_only() {
        let names: BTreeSet<&str> = plan().tables.iter().map(|table| table.name.as_str()).collect();
        assert_eq!(names.len(), plan().tables.len());
        for table in &plan().tables {
            let headings: BTreeSet<&str> = table.headings().collect();
            assert_eq!(
                headings.len(),
                table.headings().count(),
                "{} has a duplicate heading",
                table.name
            );
        }
    }

    #[test]
    fn every_object_has_extensions_which_mark_that_it_exists() {
        // The writer marks an object without values by `{}` in its extensions; without that field
        // it would be lost.
        for object in shape::objects() {
            assert!(object.field("extensions").is_some(), "{} has no extensions", object.name);
        }
    }

    #[test]
    fn places_in_the_document_become_tables_and_headings() {
        let table = |name: &str| plan().tables.iter().find(|table| table.name == name).unwrap();
        let headings = |name: &str| table(name).headings().map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(headings("pipe_paths"), ["pipe", "order", "x", "y"]);
        assert_eq!(
            headings("quantities"),
            ["run", "observation", "order", "value", "unit", "extensions"]
        );
        assert_eq!(
            headings("observation_media"),
            ["run", "observation", "order", "id", "offset", "extensions"]
        );
        assert_eq!(headings("counter_checks"), ["run", "order", "reading", "known", "extensions"]);
        assert_eq!(headings("observations")[..4], ["run", "id", "at", "to"]);
        assert!(headings("observations").contains(&"clock.at".to_owned()));
        assert!(headings("structures").contains(&"position.x".to_owned()));
        assert!(!table("observations").ordered && table("quantities").ordered);
    }
}
