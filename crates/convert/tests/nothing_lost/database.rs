//! GeoPackages: a change of any one cell of a table of the survey changes the document or is an
//! error, and so does a table that the list of contents no longer has.

use rusqlite::Connection;
use rusqlite::types::Value as Cell;

use super::{asked, common, geopackage};
use common::document_of;
use obvert_model::tables::Document;

const EVERY_FIELD: &str = include_str!("../../../../tests/data/every-field.obvert.json");
const LARKMOOR: &str = include_str!("../../../../examples/data/larkmoor.obvert.json");

fn texts(base: &Connection, query: &str) -> Vec<String> {
    let mut rows = base.prepare(query).unwrap();
    rows.query_map([], |row| row.get(0)).unwrap().collect::<Result<_, _>>().unwrap()
}

/// A database that any program may have changed: without triggers and checks.
fn open(document: &Document) -> Connection {
    let mut bytes = Vec::new();
    geopackage::write(document, &mut bytes).unwrap();
    let mut base = Connection::open_in_memory().unwrap();
    base.deserialize_read_exact("main", bytes.as_slice(), bytes.len(), false).unwrap();
    for trigger in texts(&base, "SELECT name FROM sqlite_schema WHERE type = 'trigger'") {
        base.execute_batch(&format!("DROP TRIGGER \"{trigger}\"")).unwrap();
    }
    base.execute_batch("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON").unwrap();
    base
}

/// A change of a cell.
struct Change {
    table: String,
    column: String,
    row: i64,
    own: Cell,
    other: Cell,
}

/// What a cell is changed to.
fn candidates(own: &Cell) -> Vec<Cell> {
    let mut all = vec![Cell::Null, Cell::Text("x".to_owned()), Cell::Real(7.125)];
    all.push(Cell::Blob(vec![1, 2, 3]));
    match own {
        Cell::Text(text) => {
            all.push(Cell::Text(format!("{text}x")));
            all.push(Cell::Text(format!("\u{159}{text}")));
        }
        Cell::Integer(own) => all.extend([Cell::Integer(own + 1), Cell::Integer(1 - own)]),
        Cell::Real(own) => all.extend([Cell::Real(own + 1.0), Cell::Real(own + 0.001)]),
        Cell::Blob(own) => {
            // A byte of each coordinate that makes a difference; those of the box before them
            // follow from them (GeoPackage 1.4, 2.1.3).
            let coordinates = own.len().min(if own[3] & 2 == 0 { 13 } else { 45 });
            for at in (own.len() % 8..own.len()).step_by(8).filter(|at| *at > coordinates) {
                let mut other = own.clone();
                other[at - 2] ^= 1;
                all.push(Cell::Blob(other));
            }
        }
        Cell::Null => {}
    }
    all
}

fn changes(base: &Connection, tables: &[String]) -> Vec<Change> {
    let mut all = Vec::new();
    for table in tables {
        let columns = texts(base, &format!("SELECT name FROM pragma_table_info('{table}')"));
        for column in columns {
            let query = format!("SELECT rowid, \"{column}\" FROM \"{table}\"");
            let mut rows = base.prepare(&query).unwrap();
            let rows = rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
            for (row, own) in rows.map(|row: rusqlite::Result<(i64, Cell)>| row.unwrap()) {
                all.extend(candidates(&own).into_iter().filter(|other| *other != own).map(
                    |other| Change {
                        table: table.clone(),
                        column: column.clone(),
                        row,
                        own: own.clone(),
                        other,
                    },
                ));
            }
        }
    }
    all
}

/// Whether a value of a table is derived or has no meaning (spec/formats/geopackage.md): the key of
/// a row, the geometry of a run or an observation, and a geometry that is left out. Of `order`,
/// only the sequence counts.
fn is_derived(Change { table, column, own, other, .. }: &Change) -> bool {
    let is_drawn = ["runs", "observations", "stretches"].contains(&table.as_str());
    match column.as_str() {
        "fid" | "order" => true,
        // A point without a position is one.
        "position.x" | "position.y" => *other == Cell::Null,
        "geom" => is_drawn || *other == Cell::Null || *own == Cell::Null,
        _ => false,
    }
}

#[test]
fn a_change_of_any_cell_of_a_geopackage_changes_the_document_or_the_error() {
    for (name, source, usual) in [("every field", EVERY_FIELD, 400), ("Larkmoor", LARKMOOR, 100)] {
        let document = document_of(serde_json::from_str(source).unwrap());
        let mut base = open(&document);
        let tables = texts(&base, "SELECT table_name FROM gpkg_contents");
        let all = changes(&base, &tables);
        let (total, step) = (all.len(), (all.len() / asked(usual)).max(1));
        let (mut count, mut silent) = (0, Vec::new());
        for change in all.into_iter().step_by(step).filter(|change| !is_derived(change)) {
            let Change { table, column, row, own, other } = &change;
            let set = format!("UPDATE \"{table}\" SET \"{column}\" = ? WHERE rowid = {row}");
            // A value that the table cannot hold, such as a second row with the same id.
            if base.execute(&set, [other]).is_err() {
                continue;
            }
            count += 1;
            // A column of numbers makes numbers of whole ones.
            let query = format!("SELECT \"{column}\" FROM \"{table}\" WHERE rowid = {row}");
            let stored: Cell = base.query_row(&query, [], |row| row.get(0)).unwrap();
            let bytes = base.serialize("main").unwrap().to_vec();
            base.execute(&set, [own]).unwrap();
            if stored != *own
                && geopackage::read(&bytes, "s").is_ok_and(|survey| survey.document == document)
            {
                silent.push(format!("{table}.{column}, row {row}: {own:?} -> {other:?}"));
            }
        }
        println!("GeoPackage, {name}: {count} changes of {total}");
        assert!(silent.is_empty(), "{name}: {} silent:\n{}", silent.len(), silent.join("\n"));
        assert!(count > 50, "{count}");
    }
}

#[test]
fn a_table_that_the_contents_do_not_list_is_told() {
    let document = document_of(serde_json::from_str(EVERY_FIELD).unwrap());
    let mut base = open(&document);
    let tables = texts(&base, "SELECT table_name FROM gpkg_contents");
    let mut silent = Vec::new();
    for table in tables.iter().filter(|table| *table != "stretches") {
        base.execute_batch("SAVEPOINT before").unwrap();
        base.execute("DELETE FROM gpkg_contents WHERE table_name = ?", [table]).unwrap();
        base.execute_batch("RELEASE before").unwrap();
        let bytes = base.serialize("main").unwrap().to_vec();
        if geopackage::read(&bytes, "s").is_ok() {
            silent.push(table.clone());
        }
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?1, 'attributes', ?1)",
            [table],
        )
        .unwrap();
    }
    assert_eq!(silent, Vec::<String>::new());
}
