//! Workbooks: a written file round-trips, a file filled in by people is read, and ambiguous values
//! are refused with their sheet, row and column.
#![cfg(feature = "xlsx")]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use std::io::{Cursor, Read, Write};

use common::{assert_same, cases, difficult, document_of, documents, full, minimal};
use obvert_convert::{ConvertError, Input, Survey, ZipLimits, xlsx};
use obvert_model::tables::Document;
use proptest::prelude::*;
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook, Worksheet};
use serde_json::json;
use zip::write::SimpleFileOptions;

fn written(document: &Document) -> Vec<u8> {
    let mut out = Vec::new();
    let losses = xlsx::write(document, &mut out).unwrap();
    assert!(losses.is_empty() && losses.notes.is_empty());
    out
}

#[track_caller]
fn assert_round_trips(document: &Document) {
    let book = written(document);
    match xlsx::read(&book, "survey.xlsx") {
        Ok(survey) => assert_same(document, &survey.document),
        Err(error) => panic!("{error}"),
    }
}

#[test]
fn difficult_documents_round_trip() {
    for (what, document) in difficult() {
        println!("{what}");
        assert_round_trips(&document);
    }
}

/// Escapes and texts that look like them: ISO/IEC 29500-1, 22.9.2.19, ST_Xstring.
#[test]
fn texts_that_look_like_escapes_round_trip() {
    let texts = [
        "_x000D_",
        "_x005F_x000D_",
        "_x00",
        "_x_x0041_",
        "\u{1}_x0000_",
        "_X0041_",
        "_x00g1_",
        "__x0041_",
    ];
    let rows: Vec<_> = texts
        .iter()
        .map(|text| json!({"id": text, "at": 1, "code": text, "remark": text}))
        .collect();
    let mut value = minimal();
    value["runs"] =
        json!([{ "id": "r", "pipe": "p", "direction": "upstream", "observations": rows }]);
    assert_round_trips(&document_of(value));
}

proptest! {
    #![proptest_config(cases(24))]
    #[test]
    fn every_document_round_trips(document in documents()) {
        assert_round_trips(&document);
    }
}

#[test]
fn equal_documents_give_equal_bytes() {
    let document = document_of(full(3));
    assert_eq!(written(&document), written(&document));
}

/// The part of a workbook at this path.
fn part(book: &[u8], path: &str) -> String {
    let mut archive = zip::ZipArchive::new(Cursor::new(book)).unwrap();
    let mut text = String::new();
    archive.by_name(path).unwrap().read_to_string(&mut text).unwrap();
    text
}

/// The file in the archive that holds a sheet: sheets are numbered in the order of the workbook.
fn sheet_part(book: &[u8], sheet: &str) -> String {
    let list = part(book, "xl/workbook.xml");
    let names: Vec<&str> =
        list.split("<sheet name=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    let number = names.iter().position(|name| *name == sheet).unwrap() + 1;
    part(book, &format!("xl/worksheets/sheet{number}.xml"))
}

/// What a spreadsheet program needs to help its user: frozen headings, lists of words to choose
/// from, and no formulas. The elements are those of ISO/IEC 29500-1, 18.3.1 (`pane`,
/// `dataValidation`, `c`).
#[test]
fn sheets_help_people_and_run_nothing() {
    let mut value = minimal();
    value["parties"] = json!([{ "id": "p", "name": "=HYPERLINK(\"x\")", "role": "owner" }]);
    value["structures"] =
        json!([{ "id": "007", "kind": "manhole", "position": [1.5, -2], "depth": 9.25 }]);
    value["runs"] = json!([{ "id": "r", "pipe": "x", "direction": "upstream", "observations": [
        { "id": "1", "at": 0, "code": "run.start", "joint": true }
    ] }]);
    let book = written(&document_of(value));
    for sheet in ["document", "parties", "structures", "runs", "observations", "quantities"] {
        let sheet_text = sheet_part(&book, sheet);
        assert!(
            sheet_text.contains(
                r#"<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>"#
            ),
            "{sheet}"
        );
        assert!(!sheet_text.contains("<f>"), "{sheet} has a formula in a cell");
    }
    let structures = sheet_part(&book, "structures");
    // B2 is the kind, D2 the easting.
    assert!(structures.contains(r#"sqref="B2:B"#), "{structures}");
    assert!(structures.contains("<formula1>\"manhole,cleanout,"), "{structures}");
    assert!(structures.contains(r#"<c r="D2"><v>1.5</v></c>"#), "{structures}");
    // An id is text, although it looks like a number.
    let cell = structures.split(r#"<c r="A2" s=""#).nth(1).unwrap();
    assert!(cell.contains(r#" t="inlineStr"><is><t>007</t>"#), "{structures}");
    // The number format "@" is text (ISO/IEC 29500-1, 18.8.30).
    let style: usize = cell[..cell.find('"').unwrap()].parse().unwrap();
    let styles = part(&book, "xl/styles.xml");
    let formats = &styles[styles.find("<cellXfs").unwrap()..];
    let number: String = formats
        .split("<xf numFmtId=\"")
        .nth(style + 1)
        .unwrap()
        .chars()
        .take_while(|c| *c != '"')
        .collect();
    assert!(
        styles.contains(&format!(r#"<numFmt numFmtId="{number}" formatCode="@"/>"#)),
        "{styles}"
    );
    let observations = sheet_part(&book, "observations");
    assert!(observations.contains(" t=\"b\""), "{observations}");
    // The hidden sheet has all codes of the list.
    let codes = obvert_model::lists::CodeList::obvert_terms().codes.len();
    assert!(observations.contains(&format!("${codes}</formula1>")), "{observations}");
    assert!(part(&book, "xl/workbook.xml").contains(r#"<sheet name="choices" sheetId="#));
    assert!(part(&book, "xl/workbook.xml").contains(r#"state="hidden""#));
    // Cells that refer to rows offer their ids.
    assert!(sheet_part(&book, "runs").contains("<formula1>structures!$A$2:$A$"));
}

/// A workbook made by hand: a `document` sheet with the minimal columns, and the sheets that `fill`
/// adds.
fn by_hand(fill: impl FnOnce(&mut Workbook)) -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("document").unwrap();
    let cells = [
        ("obvert", "0.2"),
        ("id", "urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11"),
        ("issued", "2026-05-06T16:20:00-05:00"),
        ("units.length", "ft"),
        ("units.section", "in"),
        ("coding.list", "obvert-terms"),
        ("coding.version", "1"),
    ];
    for (column, (heading, value)) in (0..).zip(cells) {
        sheet.write_string(0, column, heading).unwrap().write_string(1, column, value).unwrap();
    }
    fill(&mut book);
    book.save_to_buffer().unwrap()
}

fn add<'b>(book: &'b mut Workbook, name: &str, headings: &[&str]) -> &'b mut Worksheet {
    let sheet = book.add_worksheet().set_name(name).unwrap();
    for (column, heading) in (0..).zip(headings) {
        sheet.write_string(0, column, *heading).unwrap();
    }
    sheet
}

fn read(book: &[u8]) -> Survey {
    xlsx::read(book, "survey.xlsx").unwrap_or_else(|error| panic!("{error}"))
}

/// Every problem, one per line.
fn messages(book: &[u8]) -> String {
    match xlsx::read(book, "survey.xlsx") {
        Ok(_) => "nothing".to_owned(),
        Err(ConvertError::Structure(problems)) => {
            problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
        }
        Err(error) => error.to_string(),
    }
}

/// Common practice, no source: typical changes by spreadsheet programs and people.
#[test]
fn workbooks_filled_in_by_people_are_read() {
    let book = by_hand(|book| {
        // Columns in another order, blank rows, empty columns at the end and between, numbers as
        // text and ids as numbers.
        let sheet = add(book, "structures", &["kind", "id", "", "depth", "ground"]);
        sheet.write_string(1, 0, "manhole").unwrap().write_number(1, 1, 7).unwrap();
        sheet.write_string(1, 3, "2.50").unwrap().write_number(1, 4, 101.5).unwrap();
        sheet.write_blank(1, 9, &Format::new().set_bold()).unwrap();
        sheet.write_string(2, 0, "").unwrap();
        sheet.write_string(4, 0, "outfall").unwrap().write_string(4, 1, "007").unwrap();
        let sheet = add(book, "equipment", &["id", "kind", "calibrated"]);
        let date = ExcelDateTime::from_ymd(2026, 1, 5).unwrap();
        sheet.write_string(1, 0, "c").unwrap().write_string(1, 1, "crawler").unwrap();
        sheet.write_with_format(1, 2, &date, &Format::new().set_num_format("dd/mm/yyyy")).unwrap();
        add(book, "runs", &["id", "pipe", "direction"]).write_string(1, 0, "R").unwrap();
        let sheet = book.worksheet_from_name("runs").unwrap();
        sheet.write_string(1, 1, "P").unwrap().write_string(1, 2, "downstream").unwrap();
        let sheet =
            add(book, "observations", &["run", "id", "at", "code", "joint", "characterisation"]);
        for (row, joint) in [(1, "TRUE"), (2, "false")] {
            sheet.write_string(row, 0, "R").unwrap().write_number(row, 1, row).unwrap();
            sheet.write_string(row, 2, "1.5").unwrap().write_string(row, 3, "run.start").unwrap();
            sheet.write_string(row, 4, joint).unwrap().write_number(row, 5, 3).unwrap();
        }
        sheet.write_boolean(1, 4, true).unwrap();
        // A sheet that a program adds by itself, and the empty table.
        book.add_worksheet();
        add(book, "pipes", &["id", "upstream"]);
    });
    let survey = read(&book);
    let head = &survey.document.head;
    assert_eq!(head.structures.iter().map(|row| row.id.as_str()).collect::<Vec<_>>(), ["7", "007"]);
    assert_eq!(head.structures[0].depth.map(|depth| depth.get()), Some(2.5));
    assert_eq!(
        head.equipment[0].calibrated.as_ref().map(ToString::to_string).as_deref(),
        Some("2026-01-05")
    );
    let rows = &survey.document.runs[0].observations;
    assert_eq!(
        rows.iter().map(|row| (row.id.as_str(), row.joint)).collect::<Vec<_>>(),
        [("1", Some(true)), ("2", Some(false))]
    );
    assert_eq!(rows[0].characterisation[0].as_str(), "3");
    // Locations are the sheet, row and column as the program shows them.
    let place = |pointer: &str| survey.places.place(pointer).map(|place| place.to_string());
    assert_eq!(place("/structures/1/id").as_deref(), Some("structures:5:2 (column id)"));
    assert_eq!(place("/structures/0/depth").as_deref(), Some("structures:2:4 (column depth)"));
    assert_eq!(place("/runs/0/observations/1/at").as_deref(), Some("observations:3:3 (column at)"));
}

#[test]
fn ambiguous_values_are_refused_with_their_cell() {
    let date = Format::new().set_num_format("yyyy-mm-dd");
    let percent = Format::new().set_num_format("0.0%");
    let moment = ExcelDateTime::from_ymd(2026, 5, 6).unwrap().and_hms(9, 31, 0).unwrap();
    let book = by_hand(|book| {
        let sheet = add(book, "structures", &["id", "kind", "depth", "ground", "asset"]);
        sheet.write_number_with_format(2, 4, 0.07, &percent).unwrap();
        sheet.write_number_with_format(3, 2, 0.085, &percent).unwrap();
        sheet.write_number(3, 4, 12_345_678_901_234_567.0).unwrap();
        sheet.write_string(3, 0, "C").unwrap().write_string(3, 1, "manhole").unwrap();
        sheet.write_string(1, 0, "A").unwrap().write_string(1, 1, "manhole").unwrap();
        sheet.write_with_format(1, 2, &moment, &date).unwrap();
        sheet.write_formula(1, 3, Formula::new("=C2*2").set_result("3")).unwrap();
        sheet.write_string(2, 0, "B").unwrap().write_string(2, 1, "manhole").unwrap();
        sheet.write_string(2, 2, "2,5").unwrap().write_boolean(2, 3, true).unwrap();
        let sheet = add(book, "equipment", &["id", "kind", "calibrated"]);
        for (row, id) in [(1, "a"), (2, "b")] {
            sheet.write_string(row, 0, id).unwrap().write_string(row, 1, "crawler").unwrap();
        }
        sheet.write_number(1, 2, 46027).unwrap();
        sheet.write_with_format(2, 2, &moment, &date).unwrap();
        let sheet = add(book, "runs", &["id", "pipe", "direction", "started"]);
        sheet
            .write_string(1, 0, "R")
            .unwrap()
            .write_string(1, 1, "P")
            .unwrap()
            .write_string(1, 2, "down")
            .unwrap();
        sheet.write_with_format(1, 3, &moment, &date).unwrap();
        let sheet = add(book, "observations", &["run", "id", "at", "code"]);
        sheet.write_string(1, 0, "S").unwrap().write_string(1, 1, "1").unwrap();
    });
    let messages = messages(&book);
    for part in [
        "structures:2:3 (column depth): /structures/0/depth: the cell has the date 2026-05-06 09:31:00, which a program may",
        "structures:2:4 (column ground): /structures/0/ground: \"=C2*2\" is a formula; copy the cells",
        "structures:3:3 (column depth): /structures/1/depth: \"2,5\" is not a number; write a decimal point",
        "structures:3:4 (column ground): /structures/1/ground: true is not a number",
        "structures:3:5 (column asset): /structures/1/asset: the cell shows 7 %, since it is formatted as a percentage, and holds a hundredth of \
         that; format it as text and type it again",
        "structures:4:5 (column asset): /structures/2/asset: 12345678901234568 is a number with more digits than a spreadsheet keeps, and the column",
        "structures:4:3 (column depth): /structures/2/depth: the cell shows 8.5 %, since it is formatted as a percentage, and holds a hundredth \
         of that; format it as a number and type it again",
        "equipment:2:3 (column calibrated): /equipment/0/calibrated: 46027 is a number; format the cell as a date",
        "equipment:3:3 (column calibrated): /equipment/1/calibrated: 2026-05-06 09:31:00 is not a date",
        "runs:2:3 (column direction): /runs/0/direction: \"down\" is not one of",
        "runs:2:4 (column started): /runs/0/started: 2026-05-06 09:31:00 does not say its offset from UTC",
        "observations:2:1 (column run): /runs/-/observations/-: runs has no run \"S\"",
    ] {
        assert!(messages.contains(part), "{part} is not in\n{messages}");
    }
    assert_eq!(messages.lines().count(), 12, "{messages}");
}

#[test]
fn headings_and_sheets_that_are_not_understood_are_refused() {
    let with = |sheet: &str, headings: &[&str]| {
        messages(&by_hand(|book| {
            add(book, sheet, headings).write_string(1, 2, "x").unwrap();
        }))
    };
    let cases = [
        (
            with("structure", &["id", "kind", "street"]),
            "structure:1: /-/structure: this is not the name of a table; did you mean \"structures\"?",
        ),
        (
            with("structures", &["id", "kind"]),
            "structures:1:3: /structures/-/: a column has values and no heading",
        ),
        (
            with("structures", &["id", "kind", "Street"]),
            "structures:1:3 (column Street): /structures/-/Street: unknown column \"Street\"",
        ),
        (
            with("structures", &["id", "id", "kind"]),
            "structures:1:2 (column id): /structures: the column \"id\" is duplicated",
        ),
        (
            with("structures", &["id", "depth", "street"]),
            "structures:1: /structures: the required column \"kind\" is missing",
        ),
    ];
    for (messages, expected) in cases {
        assert!(messages.starts_with(expected), "{expected} does not begin\n{messages}");
    }
    let below = messages(&by_hand(|book| {
        book.add_worksheet().set_name("structures").unwrap().write_string(2, 0, "id").unwrap();
    }));
    assert!(below.starts_with("structures:1: the row is empty; write the headings"), "{below}");
    let far = messages(&by_hand(|book| {
        add(book, "structures", &["id", "kind"]).write_string(1, 16_383, "x").unwrap();
    }));
    assert!(far.starts_with("structures:2: column 16384"), "{far}");
    let without = {
        let mut book = Workbook::new();
        add(&mut book, "pipes", &["id", "upstream"]);
        messages(&book.save_to_buffer().unwrap())
    };
    assert!(without.starts_with("survey.xlsx: there is no sheet \"document\""), "{without}");
}

/// A workbook with one part of it changed.
fn changed(book: &[u8], path: &str, change: impl Fn(String) -> String) -> Vec<u8> {
    let mut archive = zip::ZipArchive::new(Cursor::new(book)).unwrap();
    let mut out = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let mut entry = archive.by_index(index).unwrap();
        let name = entry.name().unwrap().into_owned();
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        if name == path {
            bytes = change(String::from_utf8(bytes).unwrap()).into_bytes();
        }
        out.start_file(name, SimpleFileOptions::default()).unwrap();
        out.write_all(&bytes).unwrap();
    }
    out.finish().unwrap().into_inner()
}

/// In the 1904 date system the number of a day is smaller by 1462 (ISO/IEC 29500-1, 18.17.4.1).
#[test]
fn both_date_systems_are_read() {
    let book = by_hand(|book| {
        let sheet = add(book, "equipment", &["id", "kind", "calibrated"]);
        sheet.write_string(1, 0, "c").unwrap().write_string(1, 1, "crawler").unwrap();
        let date = Format::new().set_num_format("yyyy-mm-dd");
        sheet.write_number_with_format(1, 2, 46027 - 1462, &date).unwrap();
    });
    let calibrated = |book: &[u8]| {
        read(book).document.head.equipment[0].calibrated.as_ref().map(ToString::to_string)
    };
    assert_eq!(calibrated(&book).as_deref(), Some("2022-01-04"));
    let other = changed(&book, "xl/workbook.xml", |text| {
        assert!(text.contains("<workbookPr "));
        text.replace("<workbookPr ", "<workbookPr date1904=\"1\" ")
    });
    assert_eq!(calibrated(&other).as_deref(), Some("2026-01-05"));
}

#[test]
fn harmful_workbooks_are_refused() {
    let book = written(&document_of(minimal()));
    let declared = changed(&book, "xl/workbook.xml", |text| {
        text.replacen(
            "<workbook",
            "<!DOCTYPE x [<!ENTITY a SYSTEM \"file:///etc/passwd\">]><workbook",
            1,
        )
    });
    assert!(
        messages(&declared).contains("xl/workbook.xml in it has a document type declaration"),
        "{}",
        messages(&declared)
    );
    let entity = changed(&book, "xl/sharedStrings.xml", |text| text.replacen("<t>", "<t>&x;", 1));
    assert!(messages(&entity).contains("cannot be read"), "{}", messages(&entity));
    // 17 MiB of blanks compress to a thousandth.
    let bomb = changed(&book, "xl/worksheets/sheet1.xml", |text| text + &" ".repeat(17 << 20));
    assert!(
        messages(&bomb).contains("xl/worksheets/sheet1.xml cannot be unpacked"),
        "{}",
        messages(&bomb)
    );
    let limits = ZipLimits::DEFAULT.with_total(10_000);
    let small =
        xlsx::FORMAT.source(Input::file("survey.xlsx", book.as_slice()).with_limits(limits)).err();
    assert!(small.unwrap().to_string().contains("all tables together are larger than"));
}

#[test]
fn other_files_are_recognised() {
    let cases: [(&[u8], &str); 4] = [
        (
            b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1",
            "survey.xlsx: an old workbook (.xls), or one with a password",
        ),
        (b"id,kind\r\n", "survey.xlsx: not a workbook (.xlsx)"),
        (b"", "survey.xlsx: not a workbook (.xlsx)"),
        (b"PK\x03\x04", "survey.xlsx: the archive has no directory at its end"),
    ];
    for (bytes, expected) in cases {
        assert!(messages(bytes).starts_with(expected), "{}", messages(bytes));
    }
    let mut out = zip::ZipWriter::new(Cursor::new(Vec::new()));
    out.start_file("document.csv", SimpleFileOptions::default()).unwrap();
    let zip = out.finish().unwrap().into_inner();
    assert!(
        messages(&zip).starts_with("survey.xlsx: a zip archive, but not a workbook"),
        "{}",
        messages(&zip)
    );
    let book = written(&document_of(full(1)));
    for length in (0..book.len()).step_by(book.len() / 40) {
        assert_ne!(messages(&book[..length]), "nothing", "{length}");
    }
}

/// A text that would be read as another text if only complete escapes were escaped.
#[test]
fn an_escape_that_the_next_character_completes_is_kept() {
    let mut value = minimal();
    value["parties"] = json!([{ "id": "p", "name": "_x0041\u{0}", "role": "owner" }]);
    assert_round_trips(&document_of(value));
}

/// The limit that vendors of spreadsheet programs state: 32,767 characters in a cell.
#[test]
fn values_too_long_for_a_cell_are_refused() {
    let with = |length: usize| {
        let mut value = minimal();
        value["parties"] = json!([{ "id": "p", "name": "x".repeat(length), "role": "owner" }]);
        document_of(value)
    };
    assert_round_trips(&with(32_767));
    let error = xlsx::write(&with(32_768), &mut Vec::new()).unwrap_err().to_string();
    assert!(
        error
            .starts_with("the text for the sheet parties, row 2, column name has 32768 characters"),
        "{error}"
    );
}
