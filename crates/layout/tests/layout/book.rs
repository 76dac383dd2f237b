//! Offices' own tables in workbooks: the numbers, dates and times of a spreadsheet read the same as
//! their text.

use obvert_layout as layout;
use obvert_model::layout::Layout;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use serde_json::json;

use crate::{A, B, a, b, read, refused};

/// The rows of a text table.
fn rows(source: &[u8], delimiter: u8) -> Vec<Vec<String>> {
    let text: String = source
        .iter()
        .map(|byte| if *byte == 0x96 { '\u{2013}' } else { char::from(*byte) })
        .collect();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
}

/// Office A's table as a spreadsheet user would save it: numbers, days, times of day and durations
/// in cells of the matching type.
pub(super) fn typed() -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    let (day, time, span) = (
        Format::new().set_num_format("m/d/yyyy"),
        Format::new().set_num_format("h:mm AM/PM"),
        Format::new().set_num_format("[h]:mm:ss"),
    );
    let rows = rows(A, b',');
    let number = |heading: &str| ["Dia in", "As-built ft", "Grade"].contains(&heading);
    for (line, row) in (0..).zip(&rows) {
        for ((column, cell), heading) in (0..).zip(row).zip(&rows[0]) {
            match heading.as_str() {
                _ if line == 0 || cell.is_empty() => sheet.write_string(line, column, cell),
                "Date" => {
                    let parts: Vec<u16> =
                        cell.split('/').map(|part| part.parse().unwrap()).collect();
                    let date =
                        ExcelDateTime::from_ymd(parts[2], parts[0] as u8, parts[1] as u8).unwrap();
                    sheet.write_datetime_with_format(line, column, date, &day)
                }
                "Time" => {
                    let (hours, rest) = cell.split_once(':').unwrap();
                    let hour = hours.parse::<u16>().unwrap() % 12
                        + if rest.ends_with("PM") { 12 } else { 0 };
                    let at = ExcelDateTime::from_hms(hour, rest[..2].parse().unwrap(), 0).unwrap();
                    sheet.write_datetime_with_format(line, column, at, &time)
                }
                "Video" => {
                    let parts: Vec<f64> =
                        cell.split(':').map(|part| part.parse().unwrap()).collect();
                    let seconds = parts[0] * 3600.0 + parts[1] * 60.0 + parts[2];
                    sheet.write_number_with_format(line, column, seconds / 86_400.0, &span)
                }
                heading if number(heading) => {
                    sheet.write_number(line, column, cell.parse::<f64>().unwrap())
                }
                _ => sheet.write_string(line, column, cell),
            }
            .unwrap();
        }
    }
    book.save_to_buffer().unwrap()
}

#[test]
fn a_typed_workbook_reads_like_its_text() {
    let (text, _) = read(A, &a());
    let (book, _) = read(&typed(), &a());
    assert_eq!(book.document, text.document);
    let place = book.places.place("/pipes/0/height").unwrap();
    assert_eq!((place.line, place.column, place.heading.as_deref()), (2, Some(6), Some("Dia in")));
}

#[test]
fn a_written_workbook_reads_back() {
    for (source, layout) in [(A, a()), (B, b())] {
        let (survey, _) = read(source, &layout);
        let (text, lost_in_text) = layout::write(&survey.document, &layout, &[]).unwrap();
        let (book, lost) = layout::write_workbook(&survey.document, &layout, &[]).unwrap();
        assert_eq!(lost.losses, lost_in_text.losses);
        assert_eq!(read(&book, &layout).0.document, read(&text, &layout).0.document);
    }
}

/// Two heading rows below two rows of the office's own. A second sheet is skipped and reported.
#[test]
fn headings_are_read_from_the_rows_that_the_layout_names() {
    let mut layout: serde_json::Value =
        serde_json::from_slice(include_bytes!("../../../../examples/layouts/office-b.layout.json"))
            .unwrap();
    layout["table"]["heading_row"] = 3.into();
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    let (survey, _) = read(B, &b());
    let (book, _) = layout::write_workbook(&survey.document, &layout, &[]).unwrap();
    let (again, _) = read(&book, &layout);
    assert_eq!(again.document, survey.document);
    assert_eq!(again.places.place("/pipes/0/id").map(|place| place.line), Some(4));
}

#[test]
fn formulas_errors_and_empty_books_are_refused_with_their_location() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    let rows = rows(A, b',');
    for (line, row) in (0..).zip(rows.iter().take(3)) {
        for (column, cell) in (0..).zip(row) {
            sheet.write_string(line, column, cell).unwrap();
        }
    }
    sheet.write_formula(2, 5, "=4*2").unwrap();
    book.add_worksheet().write_string(0, 0, "notes").unwrap();
    let messages = refused(&book.save_to_buffer().unwrap(), &a());
    assert_eq!(messages.len(), 1, "{messages:?}");
    assert!(
        messages[0]
            .starts_with("t.csv:3:6 (column Dia in): the cell has the formula \"=4*2\"; copy"),
        "{messages:?}"
    );

    let mut book = Workbook::new();
    book.add_worksheet();
    assert!(refused(&book.save_to_buffer().unwrap(), &a())[0].contains("all sheets are empty"));
    assert!(refused(b"PK\x03\x04 no zip at all", &a())[0].starts_with("t.csv: "));
}

/// The rows of a table in which some cells, given by row and heading, are numbers formatted as
/// percentages.
fn with_percentages(source: &[u8], delimiter: u8, cells: &[(u32, &str, f64, &str)]) -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    let rows = rows(source, delimiter);
    for (line, row) in (0_u32..).zip(&rows) {
        for ((column, cell), heading) in (0_u16..).zip(row).zip(&rows[0]) {
            match cells.iter().find(|(at, name, ..)| *at == line + 1 && name == heading) {
                Some((.., held, format)) => {
                    let format = Format::new().set_num_format(*format);
                    sheet.write_number_with_format(line, column, *held, &format).unwrap();
                }
                None => {
                    sheet.write_string(line, column, cell).unwrap();
                }
            }
        }
    }
    book.save_to_buffer().unwrap()
}

/// A spreadsheet stores 0.05 where it shows 5 % (ECMA-376 part 1, 18.8.30, formats 9 and 10).
#[test]
fn a_percentage_is_read_as_it_is_shown() {
    // The unit from the cell, and from the code list.
    let amounts =
        [(3, "Amount", 0.05, "0%"), (7, "Amount", 0.1, "0.00%"), (9, "Amount", 0.15, "0.0 %")];
    let quantities = [(3, "Q1", 0.1, "0%"), (8, "Q1", 0.1, "0.00%")];
    for (source, delimiter, layout, cells) in
        [(A, b',', a(), &amounts[..]), (B, b';', b(), &quantities)]
    {
        let (survey, _) = read(&with_percentages(source, delimiter, cells), &layout);
        assert_eq!(survey.document, read(source, &layout).0.document, "{}", layout.id);
    }
    // A quoted percent sign is ordinary text after a number.
    let (survey, _) = read(&with_percentages(B, b';', &[(3, "Q1", 10.0, "0\" %\"")]), &b());
    assert_eq!(survey.document, read(B, &b()).0.document);
    // The unit from the column.
    let mut layout: serde_json::Value = serde_json::to_value(b()).unwrap();
    layout["columns"][13]["unit"] = "percent".into();
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    let (survey, _) = read(&with_percentages(B, b';', &[(3, "Q1", 0.07, "0%")]), &layout);
    let quantity = &survey.document.runs[0].observations[1].quantities[0];
    assert_eq!((quantity.value.get(), quantity.unit.as_str()), (7.0, "percent"));
    // A text field takes the displayed text.
    let (survey, _) = read(&with_percentages(A, b',', &[(3, "Comment", 0.5, "0%")]), &a());
    assert_eq!(survey.document.runs[0].observations[1].remark.as_deref(), Some("50%"));
}

#[test]
fn an_unexpected_percentage_is_reported_with_its_cell() {
    let cells = [(2, "Dia in", 0.08, "0%"), (4, "Station", 0.124, "0%"), (10, "Grade", 0.03, "0%")];
    let messages = refused(&with_percentages(A, b',', &cells), &a());
    let formatted = "the cell is formatted as a percentage: format it as";
    for (place, start, end) in [
        (
            "t.csv:2:6 (column Dia in): ",
            "found \"8%\"; expected a number such as 12.5; ",
            " a number and type it again",
        ),
        (
            "t.csv:4:11 (column Station): ",
            "found \"12.4%\"; expected a station such as 1+64.50; ",
            " text and type it again",
        ),
        (
            "t.csv:10:18 (column Grade): ",
            "found \"3%\"; expected a number such as 12.5; ",
            " a number and type it again",
        ),
    ] {
        let full = format!("{place}{start}{formatted}{end}");
        assert!(messages.contains(&full), "{full}: {messages:#?}");
    }
    // An amount that the code list measures in millimetres.
    let messages = refused(&with_percentages(B, b';', &[(7, "Q1", 0.15, "0%")]), &b());
    assert_eq!(messages.len(), 1, "{messages:#?}");
    assert!(
        messages[0].starts_with(
            "t.csv:7:14 (column Q1): found 15 %, in a cell that is formatted as a percentage"
        ),
        "{messages:#?}"
    );
    assert!(messages[0].contains("the code list has mm"), "{messages:#?}");
}

/// A workbook with several sheets, one of which has office B's table.
fn with_sheets(names: &[&str]) -> Vec<u8> {
    let mut book = Workbook::new();
    for name in names {
        let sheet = book.add_worksheet().set_name(*name).unwrap();
        match *name {
            "Haltungen" => {
                for (line, row) in (0_u32..).zip(rows(B, b';')) {
                    for (column, cell) in (0_u16..).zip(row) {
                        sheet.write_string(line, column, cell).unwrap();
                    }
                }
            }
            _ => {
                sheet.write_string(0, 0, "of something else").unwrap();
            }
        }
    }
    book.save_to_buffer().unwrap()
}

#[test]
fn a_layout_may_name_the_sheet() {
    let named = |name: &str| {
        let mut layout = serde_json::to_value(b()).unwrap();
        layout["table"]["sheet"] = name.into();
        Layout::read(layout.to_string().as_bytes()).unwrap()
    };
    let book = with_sheets(&["Notizen", "Haltungen", "Adressen"]);
    let (text, _) = read(B, &b());
    // Spreadsheet programs ignore case in sheet names.
    for name in ["Haltungen", "haltungen"] {
        let (survey, report) = read(&book, &named(name));
        assert_eq!(survey.document, text.document);
        assert_eq!(report.notes, [], "nothing is passed over unasked");
    }
    // Skipping another sheet with the same table is never intended.
    let again = {
        let mut book = Workbook::new();
        for name in ["Haltungen", "Haltungen 2"] {
            let sheet = book.add_worksheet().set_name(name).unwrap();
            for (line, row) in (0_u32..).zip(rows(B, b';')) {
                for (column, cell) in (0_u16..).zip(row) {
                    sheet.write_string(line, column, cell).unwrap();
                }
            }
        }
        book.save_to_buffer().unwrap()
    };
    let (_, report) = read(&again, &named("Haltungen"));
    let notes: Vec<&str> = report.notes.iter().map(|note| note.message.as_str()).collect();
    assert_eq!(notes, ["the table was read from the sheet \"Haltungen\"; not from Haltungen 2"]);
    // Without a name, the first sheet with content is read.
    assert_eq!(
        refused(&book, &b()),
        [
            "t.csv:1: none of the headings is in the layout morvelde-haltungen: found \"of something else\"; check that this is the \
             right file and the right row of headings; the table was read from the sheet \"Notizen\"; not from Haltungen, Adressen"
        ]
    );
    let messages = refused(&book, &named("Haltung"));
    assert_eq!(
        messages,
        [
            "t.csv: there is no sheet \"Haltung\", which table.sheet of the layout morvelde-haltungen names; the sheets are \"Notizen\", \
          \"Haltungen\", \"Adressen\"; did you mean \"Haltungen\"?"
        ]
    );
    // The written workbook has a sheet of that name and reads back.
    let (written, _) = layout::write_workbook(&text.document, &named("Haltungen"), &[]).unwrap();
    assert_eq!(read(&written, &named("Haltungen")).0.document, text.document);
    assert!(refused(&written, &named("Anderes"))[0].contains("the sheets are \"Haltungen\""));
}

/// A date cell with a time of day, or a time cell with a day or seconds, loses what its column
/// cannot hold. Nothing is lost if the other column has it.
#[test]
fn parts_of_a_moment_beyond_its_column_are_reported() {
    let layout = || {
        let columns = [
            json!({"heading": "Day", "to": "runs.started", "kind": "date", "pattern": "dd.mm.yyyy"}),
            json!({"heading": "Hour", "to": "runs.started", "kind": "time", "pattern": "hh:mm"}),
        ];
        super::robust::small(&columns, |_| {})
    };
    let losses = |day: f64, hour: f64| {
        let mut book = Workbook::new();
        let sheet = book.add_worksheet();
        for (column, text) in (0_u16..).zip(["Pipe", "A", "B", "At", "Code", "Day", "Hour"]) {
            sheet.write_string(0, column, text).unwrap();
        }
        for (column, text) in (0_u16..).zip(["P1", "a", "b", "1", "crack.longitudinal"]) {
            sheet.write_string(1, column, text).unwrap();
        }
        let shown = |form: &str| Format::new().set_num_format(form);
        sheet.write_number_with_format(1, 5, day, &shown("dd.mm.yyyy")).unwrap();
        sheet.write_number_with_format(1, 6, hour, &shown("dd.mm.yyyy hh:mm:ss")).unwrap();
        let (_, report) = read(&book.save_to_buffer().unwrap(), &layout());
        let reported = |loss: &obvert_convert::Loss| {
            format!("{} {:?}", loss.place.as_ref().unwrap(), loss.was.as_ref().unwrap())
        };
        report.losses.iter().map(reported).collect::<Vec<_>>()
    };
    // Day 46,176 is 2026-06-03 in the 1900 system (ECMA-376 part 1, 18.17.4.1).
    let (day, hour) = (46_176.0, 9.5 / 24.0);
    let second = 1.0 / 86_400.0;
    assert_eq!(losses(day, hour), [] as [String; 0]);
    assert_eq!(
        losses(day + hour, day + hour),
        [] as [String; 0],
        "both hold the complete date and time"
    );
    assert_eq!(losses(day + 0.5, hour), ["t.csv:2:6 (column Day) String(\"2026-06-03 12:00:00\")"]);
    assert_eq!(
        losses(day, day + 6.0 + hour),
        ["t.csv:2:7 (column Hour) String(\"2026-06-09 09:30:00\")"]
    );
    assert_eq!(
        losses(day, day + hour + 30.0 * second),
        ["t.csv:2:7 (column Hour) String(\"2026-06-03 09:30:30\")"]
    );
}

/// A value to the right of the table has no heading.
#[test]
fn a_value_next_to_the_table_is_reported_with_its_cell() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (line, row) in (0_u32..).zip(rows(B, b';')) {
        for (column, cell) in (0_u16..).zip(row) {
            sheet.write_string(line, column, cell).unwrap();
        }
    }
    sheet.write_string(4, 24, "rain").unwrap();
    let messages = refused(&book.save_to_buffer().unwrap(), &b());
    assert!(
        messages[0]
            .starts_with("t.csv:5:25: found \"rain\" without a heading, so the row was skipped"),
        "{messages:?}"
    );
}
