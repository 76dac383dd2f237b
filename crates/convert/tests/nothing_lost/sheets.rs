//! Workbooks of the format: a change of any one cell changes the document or is an error.

use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use rust_xlsxwriter::Workbook;

use super::{asked, common, xlsx};
use common::document_of;

const EVERY_FIELD: &str = include_str!("../../../../tests/data/every-field.obvert.json");

/// The sheets with tables, each with its rows.
type Sheets = Vec<(String, Vec<Vec<Data>>)>;

fn sheets_of(book: &[u8]) -> Sheets {
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(book)).unwrap();
    let names = book.sheet_names();
    let sheet = |name: String| {
        let range = book.worksheet_range(&name).unwrap();
        let end = range.end().unwrap_or_default();
        let cell = |row, column| range.get_value((row, column)).cloned().unwrap_or_default();
        let row = |row| (0..=end.1).map(|column| cell(row, column)).collect();
        (name, (0..=end.0).map(row).collect())
    };
    names.into_iter().map(sheet).collect()
}

fn book_of(sheets: &Sheets) -> Vec<u8> {
    let mut book = Workbook::new();
    for (name, rows) in sheets {
        let sheet = book.add_worksheet();
        sheet.set_name(name).unwrap();
        for (line, row) in (0..).zip(rows) {
            for (column, cell) in (0..).zip(row) {
                match cell {
                    Data::Empty => {}
                    Data::String(text) => {
                        sheet.write_string(line, column, text).unwrap();
                    }
                    Data::Float(number) => {
                        sheet.write_number(line, column, *number).unwrap();
                    }
                    #[allow(clippy::cast_precision_loss)]
                    Data::Int(number) => {
                        sheet.write_number(line, column, *number as f64).unwrap();
                    }
                    Data::Bool(is) => {
                        sheet.write_boolean(line, column, *is).unwrap();
                    }
                    other => panic!("{other:?}"),
                }
            }
        }
    }
    book.save_to_buffer().unwrap()
}

/// What a cell is changed to.
fn candidates(rows: &[Vec<Data>], line: usize, column: usize) -> Vec<Data> {
    let text = |text: String| Data::String(text);
    let mut all = vec![Data::Empty, text("x".into()), Data::Float(7.125), Data::Bool(true)];
    match &rows[line][column] {
        Data::String(own) => {
            all.extend([text(format!("{own}x")), text(format!("\u{159}{own}"))]);
            all.push(text(format!(" {own} ")));
        }
        Data::Float(own) => all.extend([Data::Float(own + 1.0), Data::Float(own + 0.001)]),
        Data::Bool(own) => all.push(Data::Bool(!own)),
        _ => {}
    }
    all.extend(rows.iter().skip(1).map(|row| row[column].clone()));
    all
}

#[test]
fn a_change_of_any_cell_of_a_workbook_changes_the_document_or_the_error() {
    let document = document_of(serde_json::from_str(EVERY_FIELD).unwrap());
    let mut bytes = Vec::new();
    xlsx::write(&document, &mut bytes).unwrap();
    let sheets = sheets_of(&bytes);
    assert_eq!(xlsx::read(&book_of(&sheets), "s").unwrap().document, document);
    let mut all = Vec::new();
    for (sheet, (name, rows)) in sheets.iter().enumerate() {
        // The sheets for people (spec/formats/workbook.md).
        if ["how to fill in", "choices"].contains(&name.as_str()) {
            continue;
        }
        for line in 0..rows.len() {
            for column in 0..rows[line].len() {
                let found = candidates(rows, line, column);
                all.extend(found.into_iter().map(|other| (sheet, line, column, other)));
            }
        }
    }
    let (total, step) = (all.len(), (all.len() / asked(150)).max(1));
    let (mut count, mut silent) = (0, Vec::new());
    for (sheet, line, column, other) in all.into_iter().step_by(step) {
        let (name, rows) = &sheets[sheet];
        let own = &rows[line][column];
        // Of `order`, only the sequence counts.
        let is_of_order = line > 0 && rows[0][column] == Data::String("order".to_owned());
        if *own == other || is_of_order {
            continue;
        }
        // White space around a heading or JSON is not part of it, and an empty column needs no
        // heading.
        let is_same = match (own, &other) {
            (Data::String(own), Data::String(other)) => {
                own == other.trim() && (line == 0 || own.starts_with(['{', '[']))
            }
            (_, Data::Empty) => line == 0 && rows[1..].iter().all(|row| row[column] == Data::Empty),
            _ => false,
        };
        if is_same {
            continue;
        }
        let mut changed = sheets.clone();
        changed[sheet].1[line][column] = other.clone();
        count += 1;
        if xlsx::read(&book_of(&changed), "s").is_ok_and(|survey| survey.document == document) {
            let heading = &rows[0][column];
            silent.push(format!("{name}, row {}, {heading}: {own:?} -> {other:?}", line + 1));
        }
    }
    println!("workbook: {count} changes of {total}");
    assert!(silent.is_empty(), "{} silent:\n{}", silent.len(), silent.join("\n"));
    assert!(count > 80, "{count}");
}
