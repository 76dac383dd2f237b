//! Layouts drafted from workbooks: cells that are numbers and days, and the choice of the sheet.

use obvert_layout as layout;
use rust_xlsxwriter::{Workbook, Worksheet};

use super::book::typed;
use super::{A, a, json, read};

/// Writes rows of text to a sheet.
fn write_rows(sheet: &mut Worksheet, rows: &[&str]) {
    for (line, row) in (0..).zip(rows) {
        for (column, cell) in (0..).zip(row.split(';')) {
            match cell.parse::<f64>() {
                _ if cell.is_empty() => continue,
                Ok(number) => sheet.write_number(line, column, number).unwrap(),
                Err(_) => sheet.write_string(line, column, cell).unwrap(),
            };
        }
    }
}

const TABLE: [&str; 5] = [
    "Pipe;Upstream;Downstream;Distance;Code;Grade;Remark",
    "P1;A;B;0;run.start",
    "P1;A;B;1.5;crack.longitudinal;3",
    "P1;A;B;2.25;roots.fine;2;at a joint",
    "P1;A;B;9;run.finish",
];

fn draft_error(source: &[u8]) -> String {
    layout::draft(source, "t.xlsx").unwrap_err().to_string()
}

/// The numbers, days, times of day and durations of a spreadsheet map to the same targets as the
/// text of the same table, and the draft reads the workbook as the draft of the text reads the
/// text.
#[test]
fn a_typed_workbook_is_drafted_like_its_text() {
    let (book, text) =
        (layout::draft(&typed(), "t.xlsx").unwrap(), layout::draft(A, "t.csv").unwrap());
    let to = |draft: &layout::Draft| -> Vec<Option<String>> {
        draft.columns.iter().map(|one| one.to.clone()).collect()
    };
    assert_eq!(to(&book), to(&text), "{:#?}", book.columns);
    let by_hand = a();
    let right = book.columns.iter().zip(&by_hand.columns).filter(|(drafted, by_hand)| {
        by_hand.to.as_ref().is_none_or(|to| drafted.to.as_deref() == Some(to.as_str()))
    });
    assert_eq!(right.count(), 22);
    let date = book.layout.columns.iter().find(|column| *column.heading == *"Date").unwrap();
    assert_eq!(date.pattern.as_deref(), Some("yyyy-mm-dd"));
    let (from_book, from_text) =
        (read(&typed(), &book.layout).0.document, read(A, &text.layout).0.document);
    assert_eq!(json(&from_book)["runs"], json(&from_text)["runs"]);
    assert_eq!(book.guesses[0], "the sheet \"Sheet1\"");
}

/// Of several sheets, the draft takes the one whose columns are recognised best, reports it along
/// with the others, and names it in the layout. The caller can ask for a particular sheet.
#[test]
fn the_chosen_sheet_and_the_others_are_reported() {
    let mut book = Workbook::new();
    book.add_worksheet().set_name("Blank").unwrap();
    write_rows(
        book.add_worksheet().set_name("Cover").unwrap(),
        &["Sewers of Larkmoor", "Water Department"],
    );
    write_rows(book.add_worksheet().set_name("Sums").unwrap(), &["Pipe;Sum;Mean", "P1;5;2.5"]);
    write_rows(book.add_worksheet().set_name("Rows").unwrap(), &TABLE);
    write_rows(book.add_worksheet().set_name("Old rows").unwrap(), &TABLE);
    let source = book.save_to_buffer().unwrap();
    let draft = layout::draft(&source, "t.xlsx").unwrap();
    assert_eq!(
        draft.guesses[0],
        "the sheet \"Rows\", whose columns are recognised best; the other sheets with content are \"Cover\", \"Sums\", \"Old rows\""
    );
    assert_eq!(draft.layout.table.as_ref().unwrap().sheet.as_deref(), Some("Rows"));
    assert!(draft.columns.iter().all(|column| column.to.is_some()), "{:#?}", draft.columns);
    assert_eq!(read(&source, &draft.layout).0.document.runs[0].observations.len(), 4);

    let asked = layout::draft_sheet(&source, "t.xlsx", "old ROWS").unwrap();
    assert_eq!(asked.guesses[0], "the sheet \"Old rows\", as requested");
    assert_eq!(asked.layout.table.as_ref().unwrap().sheet.as_deref(), Some("Old rows"));
    assert_eq!(read(&source, &asked.layout).0.document.runs[0].observations.len(), 4);
    for (sheet, message) in [
        (
            "Row",
            "there is no sheet \"Row\"; choose one of \"Blank\", \"Cover\", \"Sums\", \"Rows\", \"Old rows\"",
        ),
        ("Blank", "the sheet \"Blank\" is empty; use a table"),
        ("Cover", "t.xlsx, sheet \"Cover\":1: its rows have one cell each"),
    ] {
        let refusal = layout::draft_sheet(&source, "t.xlsx", sheet).unwrap_err().to_string();
        assert!(refusal.contains(message), "{message}: {refusal}");
    }
    assert!(
        layout::draft_sheet(A, "t.csv", "Rows")
            .unwrap_err()
            .to_string()
            .contains("not a workbook (.xlsx)")
    );
}

/// A blank first sheet is skipped. If only one sheet has content, its name does not matter.
#[test]
fn a_blank_first_sheet_is_skipped() {
    let mut book = Workbook::new();
    book.add_worksheet().set_name("Blank").unwrap();
    write_rows(book.add_worksheet().set_name("Rows").unwrap(), &TABLE);
    let source = book.save_to_buffer().unwrap();
    let draft = layout::draft(&source, "t.xlsx").unwrap();
    assert_eq!(
        (draft.guesses[0].as_str(), &draft.layout.table.as_ref().unwrap().sheet),
        ("the sheet \"Rows\"", &None)
    );
    assert_eq!(read(&source, &draft.layout).0.document.runs[0].observations.len(), 4);
}

#[test]
fn workbooks_without_a_table_are_refused_with_advice() {
    let mut book = Workbook::new();
    write_rows(
        book.add_worksheet().set_name("Cover").unwrap(),
        &["Sewers of Larkmoor", "Water Department"],
    );
    write_rows(book.add_worksheet().set_name("Notes").unwrap(), &["none"]);
    let message = draft_error(&book.save_to_buffer().unwrap());
    assert!(
        message.contains(
            "none of the sheets \"Cover\", \"Notes\" is a table; in \"Cover\", its rows have one cell each"
        ),
        "{message}"
    );

    let mut book = Workbook::new();
    write_rows(book.add_worksheet(), &TABLE[..1]);
    assert!(
        draft_error(&book.save_to_buffer().unwrap())
            .contains("there are no rows below the headings")
    );

    let mut book = Workbook::new();
    book.add_worksheet();
    assert!(draft_error(&book.save_to_buffer().unwrap()).contains("all sheets are empty"));
    assert!(draft_error(b"PK\x03\x04 cut off").contains("t.xlsx"));

    let survey = obvert_model::read::document(include_bytes!(
        "../../../../examples/data/osier-9.obvert.json"
    ))
    .unwrap();
    let mut own = Vec::new();
    obvert_convert::xlsx::write(&survey, &mut own).unwrap();
    assert!(draft_error(&own).contains("this workbook is already a survey in the format"));
}

/// Formulas, numbers typed as text with a decimal comma, cells far to the right, and rows that end
/// early.
#[test]
fn cells_without_values_are_reported() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    write_rows(sheet, &["List of sewers", TABLE[0], TABLE[1], TABLE[2], TABLE[3], TABLE[4]]);
    sheet.write_string(3, 3, "1,5").unwrap();
    sheet.write_string(4, 3, "2,25").unwrap();
    sheet.write_formula(5, 3, "=4*2").unwrap();
    sheet.write_string(2, 12, "see file").unwrap();
    let draft = layout::draft(&book.save_to_buffer().unwrap(), "t.xlsx").unwrap();
    let table = draft.layout.table.as_ref().unwrap();
    assert_eq!(
        (table.heading_row, table.decimal_mark.as_deref(), table.encoding.as_deref()),
        (Some(2), Some(","), None)
    );
    for open in [
        "line 3 was skipped; correct it: it has 13 cells, and there are 7 headings",
        "line 6 was skipped; correct it: in column 4, the cell has the formula",
    ] {
        assert!(draft.open.iter().any(|one| one.starts_with(open)), "{open}: {:#?}", draft.open);
    }
    assert_eq!(draft.columns[3].to.as_deref(), Some("runs.observations.at"));
}

/// Percentages, Boolean values and days of a workbook: the draft reads each column as the sheet
/// shows it.
#[test]
fn percentages_and_booleans_are_drafted_and_read() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    write_rows(sheet, &TABLE);
    sheet.write_string(0, 7, "Loss").unwrap().write_string(0, 8, "At joint").unwrap();
    let percent = rust_xlsxwriter::Format::new().set_num_format("0%");
    sheet.write_number_with_format(3, 7, 0.1, &percent).unwrap().write_boolean(3, 8, true).unwrap();
    let source = book.save_to_buffer().unwrap();
    let draft = layout::draft(&source, "t.xlsx").unwrap();
    let to = |column: usize| draft.columns[column].to.as_deref();
    assert_eq!(
        (to(7), to(8)),
        (Some("runs.observations.quantities.value"), Some("runs.observations.joint"))
    );
    let document = json(&read(&source, &draft.layout).0.document);
    let seen = &document["runs"][0]["observations"][2];
    assert_eq!(seen["quantities"], serde_json::json!([{"value": 10, "unit": "percent"}]));
    assert_eq!(seen["joint"], true);
}
