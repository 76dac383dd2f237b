//! Names that tables need and that the shape of a document does not give: the name of a table, the
//! name of its rows in columns that refer to them, and the columns that hold the id of a row in
//! another table.

/// The names of tables for lists in rows, by their path in the document. A list without an entry is
/// named by its path, so a new list needs no entry.
const NAMES: &[(&str, &str)] = &[
    ("pipes/path", "pipe_paths"),
    ("runs/counter/checks", "counter_checks"),
    ("runs/observations", "observations"),
    ("runs/observations/quantities", "quantities"),
    ("runs/observations/media", "observation_media"),
];

/// The columns that hold the id of a row in another table: the table, the heading, and the other
/// table. They are declared as foreign keys. The columns that name the row that contains a row (the
/// run of an observation) are foreign keys without an entry here.
const REFERENCES: &[(&str, &str, &str)] = &[
    ("document", "review.by", "parties"),
    ("document", "assignment.owner", "parties"),
    ("parties", "member_of", "parties"),
    ("pipes", "upstream", "structures"),
    ("pipes", "downstream", "structures"),
    ("pipes", "joins.pipe", "pipes"),
    ("media", "run", "runs"),
    ("locates", "run", "runs"),
    ("ratings", "pipe", "pipes"),
    ("runs", "pipe", "pipes"),
    ("runs", "from", "structures"),
    ("runs", "to", "structures"),
    ("runs", "operator", "parties"),
    ("runs", "launched.pipe", "pipes"),
    ("runs", "reverse_of", "runs"),
    ("observations", "joins", "pipes"),
    ("observation_media", "id", "media"),
];

/// The name of the table for a list of the document.
pub(crate) fn table_name(path: &[String]) -> String {
    let path = path.join("/");
    match NAMES.iter().find(|(list, _)| *list == path) {
        Some((_, name)) => (*name).to_owned(),
        None => path.replace('/', "_"),
    }
}

/// The name of a row of a table, as the heading of a column that refers to it.
pub(crate) fn row_name(table: &str) -> String {
    match table.strip_suffix("ies") {
        Some(stem) => format!("{stem}y"),
        None => table.strip_suffix('s').unwrap_or(table).to_owned(),
    }
}

/// The table that a column refers to.
pub(crate) fn reference(table: &str, heading: &str) -> Option<&'static str> {
    REFERENCES
        .iter()
        .find(|(from, column, _)| *from == table && *column == heading)
        .map(|(_, _, to)| *to)
}

#[cfg(test)]
mod tests {
    use super::super::plan::plan;
    use super::*;

    #[test]
    fn every_reference_names_a_column_and_a_table() {
        for (from, heading, to) in REFERENCES {
            let table = plan().tables.iter().find(|table| table.name == *from);
            let table = table.unwrap_or_else(|| panic!("no table {from}"));
            assert!(
                table.columns.iter().any(|column| column.heading == *heading),
                "{from} has no column {heading}"
            );
            assert!(plan().tables.iter().any(|table| table.name == *to), "no table {to}");
        }
    }

    #[test]
    fn every_name_belongs_to_a_list() {
        for (path, name) in NAMES {
            let keys: Vec<&str> = path.split('/').collect();
            let field = obvert_model::shape::field(&keys);
            assert!(
                matches!(
                    field.map(|field| &field.shape),
                    Some(obvert_model::shape::Shape::List(_))
                ),
                "{path}, called {name}, is no list of the document"
            );
        }
    }
}
