//! Nothing is lost or changed without a word: a change of any one cell of a table changes the
//! document, the report or the error; a change of any one value of a document changes the written
//! file or the report; and a report without losses is true. For tables, workbooks and XML.
//! `OBVERT_CASES` sets how many changes of each table and document are tried; a large number tries
//! all.

use std::collections::BTreeMap;

use obvert_convert::{ConvertError, LossReport};
use obvert_layout as layout;
use obvert_model::layout::{Column, Layout, Target};
use obvert_model::tables::Document;
use serde_json::Value;

use super::kinds::every_kind;
use super::repeats::english;
use super::xml::{C, c};
use super::{A, B, a, b};

#[path = "../../../convert/tests/common/changes.rs"]
mod changes;
mod wide;

use self::wide::{parsed, wide};

/// The rows of a table, the headings first.
type Rows = Vec<Vec<String>>;
/// The result of reading.
type Outcome = Result<(Value, LossReport), String>;

/// How many changes of a table are tried.
fn asked(all: usize, usual: usize) -> usize {
    let asked = std::env::var("OBVERT_CASES").ok().and_then(|text| text.parse().ok());
    asked.unwrap_or(usual).min(all)
}

fn outcome(source: &[u8], layout: &Layout) -> Outcome {
    match layout::read(source, "t", layout, &[]) {
        Ok((survey, report)) => Ok((serde_json::to_value(&survey.document).unwrap(), report)),
        Err(ConvertError::Structure(all)) => {
            Err(all.iter().map(|one| format!("{one}\n")).collect())
        }
        Err(other) => Err(other.to_string()),
    }
}

/// A table as a file in UTF-8; its layout declares the same.
fn as_text(rows: &Rows) -> Vec<u8> {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    rows.iter().for_each(|row| writer.write_record(row).unwrap());
    writer.into_inner().unwrap()
}

/// A layout for tables that [`as_text`] writes.
fn in_utf8(layout: &Layout) -> Layout {
    let mut layout = serde_json::to_value(layout).unwrap();
    layout["table"]["encoding"] = "utf-8".into();
    layout["table"]["delimiter"] = ",".into();
    Layout::read(layout.to_string().as_bytes()).unwrap()
}

#[cfg(feature = "xlsx")]
fn as_book(rows: &Rows) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (line, row) in (0..).zip(rows) {
        for (column, cell) in (0..).zip(row) {
            if !cell.is_empty() {
                sheet.write_string(line, column, cell).unwrap();
            }
        }
    }
    book.save_to_buffer().unwrap()
}

/// The tables of the tests, each with its layout and the number of its first row of values.
fn tables() -> Vec<(&'static str, Layout, Rows, usize)> {
    let (wide_layout, wide_rows) = wide();
    let (repeated_layout, repeated) = english();
    vec![
        ("office A", in_utf8(&a()), parsed(A, b',', "windows-1252"), 1),
        ("office B", in_utf8(&b()), parsed(B, b';', "iso-8859-1"), heading_rows(&b())),
        ("wide", in_utf8(&wide_layout), wide_rows, 3),
        ("repeated", in_utf8(&repeated_layout), parsed(repeated.as_bytes(), b';', "utf-8"), 1),
    ]
}

fn heading_rows(layout: &Layout) -> usize {
    let table = layout.table.as_ref().unwrap();
    (table.heading_row.unwrap_or(1) - 1 + table.heading_rows.unwrap_or(1)) as usize
}

/// What a cell is changed to: blank, what other rows have, and a value that no row has.
fn candidates(rows: &Rows, first: usize, line: usize, column: usize) -> Vec<String> {
    let own = &rows[line][column];
    let mut all: Vec<String> = vec![
        String::new(),
        format!("{own}x"),
        format!(" {own} "),
        format!("{own}\u{159}"),
        "7".into(),
        "7,125".into(),
        "12.5".into(),
        "x".into(),
        "\u{c5}\u{2122}".into(),
        "a\nb".into(),
    ];
    let below = rows.get(first..).unwrap_or_default();
    all.extend(below.iter().filter_map(|row| row.get(column).cloned()));
    if let Some(at) = own.rfind(|letter: char| letter.is_ascii_digit()) {
        let digit = (own.as_bytes()[at] - b'0' + 1) % 10;
        all.push(format!("{}{digit}{}", &own[..at], &own[at + 1..]));
    }
    all.sort();
    all.dedup();
    all.retain(|other| other != own);
    all
}

/// Whether two cells are two spellings of one value: the same number, words that the layout
/// declares to have one value, or an apostrophe that keeps a spreadsheet from running a text.
fn is_same(one: &str, other: &str, column: Option<&Column>, layout: &Layout) -> bool {
    let (decimal, thousands) = layout.marks();
    let number = |text: &str| {
        let text = thousands.map_or_else(|| text.to_owned(), |mark| text.replace(mark, ""));
        text.trim().replace(decimal, ".").parse::<f64>().ok()
    };
    let is_text = column.is_some_and(|column| column.kind.is_none());
    let meant = |text: &str| {
        let translate = &column?.translate;
        translate.iter().find(|word| *word.text == *text.trim()).map(|word| word.value.clone())
    };
    // The number of a stretch only pairs its two rows; a writer numbers them anew.
    let is_mark = layout
        .stretches
        .as_ref()
        .is_some_and(|stretches| column.is_some_and(|column| column.heading == stretches.column));
    let unnumbered = |text: &str| text.replace(|letter: char| letter.is_ascii_digit(), "");
    one == other
        || is_mark && unnumbered(one) == unnumbered(other)
        || !is_text && number(one).is_some() && number(one) == number(other)
        || meant(one).is_some() && meant(one) == meant(other)
}

/// All changes of single cells, as many as are asked for.
fn cell_changes(rows: &Rows, first: usize, usual: usize) -> Vec<(usize, usize, String)> {
    let mut all = Vec::new();
    for line in 0..rows.len() {
        for column in 0..rows[line].len() {
            let found = candidates(rows, first, line, column);
            all.extend(found.into_iter().map(|other| (line, column, other)));
        }
    }
    let step = all.len().div_ceil(asked(all.len(), usual)).max(1);
    all.into_iter().step_by(step).collect()
}

/// The column of the layout for each column of a table.
fn columns<'l>(rows: &Rows, layout: &'l Layout) -> Vec<Option<&'l Column>> {
    let heads = heading_rows(layout);
    let deep = layout.table.as_ref().unwrap().heading_rows.unwrap_or(1) as usize;
    let mut above: BTreeMap<usize, String> = BTreeMap::new();
    let wide = rows[heads - 1].len();
    (0..wide)
        .map(|column| {
            let mut parts = Vec::new();
            for row in heads - deep..heads {
                let own = rows[row].get(column).map_or("", |cell| cell.trim());
                if row + 1 < heads && !own.is_empty() {
                    above.insert(row, own.to_owned());
                }
                let is_blank_below = rows[heads - 1][column].trim().is_empty();
                let text = match above.get(&row) {
                    Some(text) if row + 1 < heads && !is_blank_below => text.clone(),
                    _ => own.to_owned(),
                };
                parts.extend((!text.is_empty()).then_some(text));
            }
            let heading = parts.join("\n");
            let is_it = |own: &&Column| {
                *own.heading == *heading || own.repeats.iter().any(|other| **other == *heading)
            };
            layout.columns.iter().find(is_it)
        })
        .collect()
}

fn assert_cells_count(
    name: &str,
    layout: &Layout,
    rows: &Rows,
    first: usize,
    usual: usize,
    file: fn(&Rows) -> Vec<u8>,
) {
    let base = outcome(&file(rows), layout);
    assert!(base.is_ok(), "{name}: {}", base.unwrap_err());
    let columns = columns(rows, layout);
    let (mut count, mut kept, mut silent) = (0, 0, Vec::new());
    for (line, column, other) in cell_changes(rows, first, usual) {
        let own = &rows[line][column];
        // Headings and titles are trimmed. A unit is the same if the code list has it.
        let is_unit = columns[column].and_then(Column::target) == Some(Target::AMOUNT_UNIT);
        if line < first && other.trim() == own.trim()
            || line >= first && is_same(own, &other, columns[column], layout)
            || line >= first && is_unit && (own.is_empty() || other.is_empty())
        {
            continue;
        }
        let mut changed = rows.clone();
        changed[line][column].clone_from(&other);
        let result = outcome(&file(&changed), layout);
        count += 1;
        kept += usize::from(result.is_ok());
        if result == base {
            silent.push(format!("row {}, column {}: {own:?} -> {other:?}", line + 1, column + 1));
        }
    }
    println!("{name}: {count} changes of cells, {kept} of them read");
    assert!(
        silent.is_empty(),
        "{name}: {} of {count} are silent:\n{}",
        silent.len(),
        silent.join("\n")
    );
    assert!(count > 40 && kept > 10, "{name}: {count}, {kept}");
}

#[test]
fn a_change_of_any_cell_of_a_table_is_told() {
    for (name, layout, rows, first) in tables() {
        assert_cells_count(name, &layout, &rows, first, 250, as_text);
    }
}

#[cfg(feature = "xlsx")]
#[test]
fn a_change_of_any_cell_of_a_workbook_is_told() {
    for (name, layout, rows, first) in tables() {
        assert_cells_count(name, &layout, &rows, first, 60, as_book);
    }
}

/// Each attribute and text of an office's XML, with a letter or digit replaced.
#[test]
fn a_change_of_any_value_of_xml_is_told() {
    let layout = c();
    let base = outcome(C, &layout);
    assert!(base.is_ok());
    let letters: Vec<usize> = (0..C.len()).filter(|at| C[*at].is_ascii_alphanumeric()).collect();
    // The declaration of the encoding and the comment below it have no value.
    let start = C.windows(3).position(|three| three == b"-->").unwrap_or(0);
    let (mut count, mut silent) = (0, Vec::new());
    for at in letters.into_iter().filter(|at| *at > start) {
        for step in [1, 3] {
            let mut changed = C.to_vec();
            changed[at] = match changed[at] {
                digit if digit.is_ascii_digit() => b'0' + (digit - b'0' + step) % 10,
                letter => {
                    let first = if letter.is_ascii_lowercase() { b'a' } else { b'A' };
                    first + (letter - first + step) % 26
                }
            };
            count += 1;
            if outcome(&changed, &layout) == base {
                let around = &changed[at.saturating_sub(30)..(at + 30).min(C.len())];
                silent.push(String::from_utf8_lossy(around).into_owned());
            }
        }
    }
    println!("XML: {count} changes");
    assert!(
        silent.is_empty(),
        "{} of {count} are silent:\n{}",
        silent.len(),
        silent.join("\n---\n")
    );
    assert!(count > 500);
}

/// The documents of the tests, with the layouts that can write them.
fn documents() -> Vec<(&'static str, Layout, Document)> {
    let read =
        |source: &[u8], layout: &Layout| layout::read(source, "t", layout, &[]).unwrap().0.document;
    let (wide_layout, rows) = wide();
    let wide_document = read(&as_text(&rows), &in_utf8(&wide_layout));
    let (repeated_layout, repeated) = english();
    let repeated_document = read(repeated.as_bytes(), &repeated_layout);
    let kinds = [every_kind(false, false), every_kind(true, true)];
    let of_c = read(C, &c());
    let mut all = vec![
        ("office A", a(), read(A, &a())),
        ("office B", b(), read(B, &b())),
        ("office C", c(), of_c.clone()),
        ("wide", wide_layout, wide_document),
        ("repeated", repeated_layout, repeated_document),
    ];
    for layout in kinds {
        all.push(("every kind", layout, of_c.clone()));
    }
    // Without columns for some values, which are lost with a word.
    let mut narrow = a();
    narrow
        .columns
        .retain(|column| !["Street", "Comment", "Clock", "Joint"].contains(&&*column.heading));
    all.push(("office A, few columns", narrow, read(A, &a())));
    let every_field = include_bytes!("../../../../tests/data/every-field.obvert.json");
    let every_field = obvert_model::read::document(every_field).unwrap();
    all.push(("every field by C", c(), every_field));
    all
}

type Written = Result<(Vec<u8>, LossReport), String>;

fn written(document: &Document, layout: &Layout, is_book: bool) -> Written {
    #[cfg(feature = "xlsx")]
    if is_book {
        return layout::write_workbook(document, layout, &[]).map_err(|error| error.to_string());
    }
    let _ = is_book;
    layout::write(document, layout, &[]).map_err(|error| error.to_string())
}

/// The first value of a document that another one does not have; what that has beyond was added.
/// Rows with ids are found by them.
fn missing(before: &Value, after: &Value, at: &str) -> Option<String> {
    match (before, after) {
        (Value::Object(before), Value::Object(after)) => before.iter().find_map(|(key, value)| {
            let at = format!("{at}/{key}");
            match after.get(key) {
                Some(own) => missing(value, own, &at),
                None => Some(at),
            }
        }),
        (Value::Array(before), Value::Array(after)) => {
            before.iter().enumerate().find_map(|(index, value)| {
                let at = format!("{at}/{index}");
                let same =
                    |own: &&Value| value.get("id").is_some() && own.get("id") == value.get("id");
                let here = after.get(index).filter(same);
                match here.or_else(|| after.iter().find(same)).or_else(|| after.get(index)) {
                    Some(own) => missing(value, own, &at),
                    None => Some(at),
                }
            })
        }
        _ if before == after || before.as_f64().is_some() && before.as_f64() == after.as_f64() => {
            None
        }
        _ => Some(format!("{at}: {before} becomes {after}")),
    }
}

/// A report without losses is true: what is read back has everything that was written.
fn assert_true(name: &str, document: &Document, layout: &Layout, written: &Written) {
    let Ok((bytes, report)) = written else { return };
    if report.loses() {
        return;
    }
    let (back, _) = outcome(bytes, layout).unwrap_or_else(|error| panic!("{name}: {error}"));
    let before = serde_json::to_value(document).unwrap();
    let lost = missing(&before, &back, "");
    assert!(
        lost.is_none(),
        "{name}: {lost:?} is not read back, and the report has no loss: {report:#?}"
    );
    let added = missing(&back, &before, "");
    assert!(!report.is_empty() || added.is_none(), "{name}: {added:?} was added without a word");
}

#[test]
fn a_change_of_any_value_of_a_document_is_told() {
    for (name, layout, document) in documents() {
        let value = serde_json::to_value(&document).unwrap();
        for is_book in [false, cfg!(feature = "xlsx") && layout.table.is_some()] {
            let base = written(&document, &layout, is_book);
            let usual = match name {
                "office A, few columns" => 400,
                _ if is_book => 15,
                _ => 100,
            };
            assert!(base.is_ok() || name == "every field by C", "{name}: {}", base.unwrap_err());
            let changes = changes::of(&value, asked(usize::MAX, usual));
            let (mut count, mut silent) = (0, Vec::new());
            for change in &changes {
                let result = written(&change.document, &layout, is_book);
                count += 1;
                if result == base && result.is_ok() {
                    silent.push(format!("{} becomes {:?}", change.pointer, change.becomes));
                }
                assert_true(name, &change.document, &layout, &result);
            }
            println!(
                "{name}, workbook {is_book}: {count} changes of values, written {}",
                base.is_ok()
            );
            assert!(
                silent.is_empty(),
                "{name}: {} of {count} are silent:\n{}",
                silent.len(),
                silent.join("\n")
            );
        }
    }
}

/// A table that is read without losses is written again with the same values in every cell.
#[test]
fn a_table_read_without_losses_comes_back_from_its_document() {
    // Where a row has several observations, they move up if another row of the run has room.
    let tables = tables().into_iter().filter(|(name, ..)| *name != "repeated");
    for (name, layout, rows, first) in tables {
        let columns = columns(&rows, &layout);
        let (mut count, mut wrong) = (0, Vec::new());
        for (line, column, other) in cell_changes(&rows, first, 150) {
            if line < first || other == "a\nb" {
                continue;
            }
            let mut changed = rows.clone();
            changed[line][column] = other;
            // A dropped column and a title are losses of every reading.
            let source = as_text(&changed);
            let Ok((survey, report)) = layout::read(&source, "t", &layout, &[]) else { continue };
            let is_dropped = |message: &str| {
                message.contains("is not carried over") || message.contains("above the headings")
            };
            // And a blank that other rows fill.
            if report.notes.iter().any(|note| note.message.contains("counts for all its rows")) {
                continue;
            }
            if report.losses.iter().any(|loss| {
                loss.kind != obvert_convert::LossKind::Defaulted && !is_dropped(&loss.message)
            }) {
                continue;
            }
            let Ok((bytes, lost)) = layout::write(&survey.document, &layout, &[]) else { continue };
            if lost.loses() {
                continue;
            }
            count += 1;
            let back = parsed(&bytes, b',', "utf-8");
            // The row that ends a stretch can be anywhere below the one that starts it.
            let is_row = |row: &Vec<String>, row_again: &Vec<String>| {
                row.iter().enumerate().all(|(place, cell)| {
                    let is_read = columns[place].is_some_and(|own| own.drop.is_none());
                    let again = row_again.get(place).map_or("", String::as_str).trim();
                    // Files are a list, whose columns are filled from the first.
                    let is_file =
                        columns[place].and_then(Column::target) == Some(Target::MEDIA_FILE);
                    if is_file && row_again.iter().any(|other| other.trim() == cell.trim()) {
                        return true;
                    }
                    // Values that follow from others can fill a blank.
                    !is_read
                        || cell.trim().is_empty()
                        || is_same(cell.trim(), again, columns[place], &layout)
                })
            };
            for row in &changed[first..] {
                if !back.iter().any(|again| is_row(row, again)) {
                    wrong.push(format!(
                        "{row:?} does not come back:\n{}",
                        String::from_utf8_lossy(&bytes)
                    ));
                }
            }
        }
        println!("{name}: {count} tables come back");
        assert!(
            wrong.is_empty(),
            "{name}: {} cells:\n{}",
            wrong.len(),
            wrong[..wrong.len().min(5)].join("\n")
        );
        assert!(count > 20, "{name}: {count}");
    }
}
