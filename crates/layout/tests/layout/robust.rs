//! Tables as they really come: titles above the headings, cut rows, unknown encodings, spreadsheet
//! day numbers, units of all kinds, and texts that a spreadsheet would run as formulas.

use obvert_convert::{LossKind, LossReport};
use obvert_layout as layout;
use obvert_model::layout::Layout;
use serde_json::{Value, json};

use super::{json, read, refused};

/// A layout with few columns, plus the given ones and any other change.
pub(super) fn small(columns: &[Value], change: impl Fn(&mut Value)) -> Layout {
    let mut layout = json!({
        "layout": "0.1", "id": "s", "version": "1", "title": "s",
        "table": {"encoding": "utf-8", "delimiter": ";", "decimal_mark": ","},
        "columns": [
            {"heading": "Pipe", "to": "pipes.id"}, {"heading": "A", "to": "pipes.upstream"}, {"heading": "B", "to": "pipes.downstream"},
            {"heading": "At", "to": "runs.observations.at", "kind": "number"}, {"heading": "Code", "to": "runs.observations.code"}
        ],
        "units": [{"text": " in", "unit": "in"}, {"text": " m", "unit": "m"}, {"text": " mm", "unit": "mm"}],
        "fixed": [
            {"to": "id", "value": "x"}, {"to": "issued", "value": "2026-05-06T16:20:00-05:00"},
            {"to": "units.length", "value": "m"}, {"to": "units.section", "value": "mm"},
            {"to": "coding.list", "value": "obvert-terms"}, {"to": "coding.version", "value": "1"},
            {"to": "structures.kind", "value": "manhole"}, {"to": "runs.direction", "value": "downstream"}
        ],
        "made": [{"to": "runs.id", "text": "R {pipes.id}"}],
        "zone": "+01:00"
    });
    layout["columns"].as_array_mut().unwrap().extend(columns.iter().cloned());
    change(&mut layout);
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    assert_eq!(layout.problems(), []);
    layout
}

/// Reads the document, then writes it and reads it again without a loss.
fn round_tripped(source: &str, layout: &Layout) -> Value {
    let (survey, _) = read(source.as_bytes(), layout);
    let (bytes, losses) = layout::write(&survey.document, layout, &[]).unwrap();
    assert_eq!(losses, LossReport::default(), "{}", String::from_utf8_lossy(&bytes));
    assert_eq!(read(&bytes, layout).0.document, survey.document);
    json(&survey.document)
}

#[test]
fn titles_come_above_and_headings_in_two_rows() {
    let layout = small(
        &[
            json!({"heading": "Clock\nfrom", "to": "runs.observations.clock.from", "kind": "number"}),
            json!({"heading": "Clock\nto", "to": "runs.observations.clock.to", "kind": "number"}),
        ],
        |layout| {
            layout["table"]["heading_row"] = 3.into();
            layout["table"]["heading_rows"] = 2.into();
        },
    );
    let table = "Survey of the town of Larkmoor;;;;;;\n\nPipe;A;B;At;Code;Clock;\n;;;;;from;to\n\
                 P1;a;b;1,5;crack.longitudinal;11;1\n";
    let document = round_tripped(table, &layout);
    assert_eq!(document["runs"][0]["observations"][0]["clock"], json!({"from": 11, "to": 1}));
    let wrong = refused(table.replace(";11;", ";x;").as_bytes(), &layout);
    assert!(wrong[0].starts_with("t.csv:5:6 (column Clock from): found \"x\""), "{wrong:?}");
}

#[test]
fn rows_of_other_widths_are_reported_and_blank_cells_beyond_are_ignored() {
    let layout = small(&[], |_| ());
    let good = "Pipe;A;B;At;Code;;\nP1;a;b;1,5;crack.longitudinal;;\n;;;;;;\n";
    assert_eq!(read(good.as_bytes(), &layout).0.document.runs[0].observations.len(), 1);
    for (row, message) in [
        ("P1;a;b;1,5", "t.csv:3: the row has 4 cells and there are 5 headings, so it was skipped"),
        ("P1;a;b;1;5;crack.longitudinal", "t.csv:3: the row has 6 cells and there are 5 headings"),
        (
            "P1;a;b;1,5;\"crack\" here",
            "t.csv:3:5 (column Code): there is text after the closing quotation mark",
        ),
    ] {
        let messages = refused(
            format!("Pipe;A;B;At;Code\nP1;a;b;1,5;crack.longitudinal\n{row}\n").as_bytes(),
            &layout,
        );
        assert!(messages[0].starts_with(message), "{messages:?}");
        assert_eq!(messages.len(), 1, "{messages:?}");
    }
    let open =
        refused(b"Pipe;A;B;At;Code\nP1;a;b;1,5;\"crack\nP1;a;b;2,5;crack.longitudinal\n", &layout);
    assert!(open[0].starts_with("t.csv:2: a quotation mark is not closed"), "{open:?}");
}

#[test]
fn an_encoding_that_the_layout_does_not_name_is_guessed_and_reported() {
    let layout = small(&[json!({"heading": "Straße", "to": "pipes.street"})], |layout| {
        layout["table"].as_object_mut().unwrap().remove("encoding");
    });
    let text = "Pipe;A;B;At;Code;Straße\nP1;a;b;1,5;crack.longitudinal;Große Gasse\n";
    let utf16 = text.encode_utf16().flat_map(u16::to_le_bytes).collect::<Vec<u8>>();
    let latin: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let marked = [b"\xFF\xFE".as_slice(), &utf16].concat();
    for (bytes, note) in [
        (text.as_bytes().to_vec(), Some("utf-8")),
        (latin, Some("windows-1252")),
        (utf16, Some("utf-16")),
        (marked, None),
    ] {
        let (survey, report) = read(&bytes, &layout);
        assert_eq!(json(&survey.document)["pipes"][0]["street"], "Große Gasse");
        let notes: Vec<&str> = report.notes.iter().map(|note| note.message.as_str()).collect();
        match note {
            Some(encoding) => assert!(
                notes[0].ends_with(&format!("the table was read as {encoding}")),
                "{notes:?}"
            ),
            None => assert_eq!(notes, Vec::<&str>::new()),
        }
    }
}

#[test]
fn spreadsheet_days_and_moments_in_one_cell_are_read() {
    let column = |pattern: &str| json!({"heading": "When", "to": "runs.started", "kind": "date-time", "pattern": pattern});
    for (pattern, cell) in [
        ("serial-1900", "46148,3965277778"),
        ("serial-1904", "44686,3965277778"),
        ("serial-1900", "4,61483965277778E+04"),
        ("dd.mm.yyyy hh:mm", "06.05.2026 09:31"),
        ("yy-m-d h:mm am", "26-5-6 9:31 AM"),
    ] {
        let layout = small(&[column(pattern)], |_| ());
        let table = format!("Pipe;A;B;At;Code;When\nP1;a;b;1,5;crack.longitudinal;{cell}\n");
        assert_eq!(
            round_tripped(&table, &layout)["runs"][0]["started"],
            "2026-05-06T09:31:00+01:00",
            "{pattern}"
        );
    }
    let layout = small(&[column("serial-1900")], |_| ());
    let messages =
        refused(b"Pipe;A;B;At;Code;When\nP1;a;b;1,5;crack.longitudinal;06.05.2026\n", &layout);
    assert!(
        messages[0].contains("expected a day number of a spreadsheet (serial-1900)"),
        "{messages:?}"
    );
}

/// Lengths in the unit of their column or cell are converted to the unit of the document: an inch
/// is 25.4 mm and a foot 0.3048 m, exactly.
#[test]
fn columns_and_cells_have_their_own_units() {
    let layout = small(
        &[
            json!({"heading": "Size", "to": "pipes.height", "kind": "amount"}),
            json!({"heading": "Long ft", "to": "pipes.length", "kind": "number", "unit": "ft"}),
        ],
        |_| (),
    );
    let table = |size: &str, long: &str| {
        format!("Pipe;A;B;At;Code;Size;Long ft\nP1;a;b;1,5;crack.longitudinal;{size};{long}\n")
    };
    let document = round_tripped(&table("8 in", "100"), &layout);
    assert_eq!(
        (&document["pipes"][0]["height"], &document["pipes"][0]["length"]),
        (&json!(203.2), &json!(30.48))
    );
    assert_eq!(round_tripped(&table("0,5 m", "1"), &layout)["pipes"][0]["height"], 500);
    let (survey, _) = read(table("300 mm", "100").as_bytes(), &layout);
    let (bytes, _) = layout::write(&survey.document, &layout, &[]).unwrap();
    assert!(String::from_utf8(bytes).unwrap().contains(";300 mm;100\r\n"));
    let messages = refused(table("300", "x").as_bytes(), &layout);
    assert!(
        messages[0].contains("found \"300\"; expected a number with its unit, one of in, m, mm"),
        "{messages:?}"
    );
    assert_eq!(messages.len(), 2);
}

/// OWASP "CSV Injection": cells that begin with =, +, -, @, TAB or CR. A negative number is not one
/// of them.
#[test]
fn texts_that_a_spreadsheet_would_run_are_escaped_and_numbers_stay() {
    let layout = small(&[json!({"heading": "Remark", "to": "runs.observations.remark"})], |_| ());
    for text in ["=1+1", "+49 30", "-x", "@sum", "\tx", "'=1", "'t Hooft", "a=1"] {
        let table = "Pipe;A;B;At;Code;Remark\nP1;a;b;-0,3;crack.longitudinal;x\n";
        let mut document = read(table.as_bytes(), &layout).0.document;
        document.runs[0].observations[0].remark = text.parse().ok();
        let (bytes, losses) = layout::write(&document, &layout, &[]).unwrap();
        assert_eq!(losses, LossReport::default(), "{text:?}");
        let written = String::from_utf8(bytes.clone()).unwrap();
        let row = written.lines().nth(1).unwrap();
        assert!(row.starts_with("P1;a;b;-0,3;"), "{row}");
        let hazard = text.starts_with(['=', '+', '-', '@', '\t']) || text == "'=1";
        let cell = if hazard { format!("'{text}") } else { text.to_owned() };
        assert!(row.ends_with(&format!(";{cell}")), "{row}");
        assert_eq!(read(&bytes, &layout).0.document, document, "{text:?}");
    }
}

#[test]
fn a_column_can_name_the_recording_of_its_offsets() {
    let layout = small(
        &[
            json!({"heading": "Film", "to": "runs.observations.media.id", "media": "video"}),
            json!({"heading": "Picture", "to": "runs.observations.media.id"}),
            json!({"heading": "Into", "to": "runs.observations.media.offset", "kind": "duration", "pattern": "m:ss"}),
        ],
        |_| (),
    );
    let table =
        "Pipe;A;B;At;Code;Film;Picture;Into\nP1;a;b;1,5;crack.longitudinal;f.mp4;p.jpg;75:02\n";
    let document = round_tripped(table, &layout);
    let media = &document["runs"][0]["observations"][0]["media"];
    assert_eq!(*media, json!([{"id": "f.mp4", "offset": 4502}, {"id": "p.jpg"}]));
    let messages = refused(table.replace("f.mp4", "").as_bytes(), &layout);
    assert!(
        messages[0].contains(
            "found 4502 seconds into a recording, but the row does not name the recording"
        ),
        "{messages:?}"
    );
}

#[test]
fn several_rows_about_one_object_must_agree() {
    let layout = small(
        &[
            json!({"heading": "Ward", "to": "pipes.extensions"}),
            json!({"heading": "Contract", "to": "assignment.contract"}),
            json!({"heading": "Unit", "to": "units.length"}),
            json!({"heading": "Old", "drop": "its purpose is unknown"}),
        ],
        |layout| layout["extension"] = "org.example.s".into(),
    );
    let table = "Pipe;A;B;At;Code;Ward;Contract;Unit;Old\nP1;a;b;1;crack.longitudinal;North;C1;m;\nP1;a;b;2;crack.longitudinal;North;C1;m;\n";
    let document = round_tripped(table, &layout);
    assert_eq!(document["pipes"][0]["extensions"], json!({"org.example.s": {"Ward": "North"}}));
    assert_eq!(document["assignment"]["contract"], "C1");
    let bad = table.replacen(
        "P1;a;b;2;crack.longitudinal;North;C1;m;",
        "P1;a;b;2;crack.longitudinal;South;C2;ft;x",
        1,
    );
    let messages = refused(bad.as_bytes(), &layout);
    for message in [
        "t.csv:3:6 (column Ward): found South, and line 2 has North for the same pipe",
        "t.csv:3:7 (column Contract): found C2, and line 2 has C1 for the same document",
        "t.csv:3:8 (column Unit): found ft, and line 2 has m for the same document",
    ] {
        assert!(messages.iter().any(|one| one.starts_with(message)), "{message}: {messages:#?}");
    }
    let feet = refused(table.replace(";m;", ";ft;").as_bytes(), &layout);
    assert!(
        feet[0].starts_with("t.csv:2:8 (column Unit): found \"ft\", and the layout s fixes \"m\""),
        "{feet:?}"
    );
    // The values in a dropped column are named.
    let (_, report) = read(table.replacen("C1;m;\n", "C1;m;x\n", 1).as_bytes(), &layout);
    assert_eq!(report.losses.len(), 1);
    assert_eq!(report.losses[0].kind, LossKind::Dropped);
    assert_eq!(
        report.losses[0].message,
        "the column \"Old\" is not carried over: its purpose is unknown"
    );
}

/// A code missing from its list determines neither the aspect of a grade nor the unit of an amount.
/// Both are reported, not dropped.
#[test]
fn values_that_depend_on_an_unknown_code_are_reported() {
    let layout = small(
        &[
            json!({"heading": "Grade", "to": "runs.observations.grades", "kind": "number"}),
            json!({"heading": "Much", "to": "runs.observations.quantities.value", "kind": "number"}),
        ],
        |_| (),
    );
    let messages = refused(b"Pipe;A;B;At;Code;Grade;Much\nP1;a;b;1;no.such;3;5\n", &layout);
    for message in [
        "t.csv:2:6 (column Grade): found 3, and the aspect of the grade, structural or operational, is not known: that follows from the code, but the code list obvert-terms has no \"no.such\"; correct the code",
        "t.csv:2:7 (column Much): found 5 without a unit; that follows from the code, but the code list obvert-terms has no \"no.such\"; correct the code",
    ] {
        assert!(messages.iter().any(|one| one.starts_with(message)), "{message}: {messages:#?}");
    }
}

/// One message, with the file and the line of the headings, instead of one for each key that a
/// survey needs. A survey whose layout provides all values needs no row.
#[test]
fn a_table_of_headings_alone_is_reported_once() {
    let layout = small(&[], |layout| {
        layout["fixed"].as_array_mut().unwrap().remove(0);
        layout["made"].as_array_mut().unwrap().push(json!({"to": "id", "text": "{runs.id}"}));
    });
    for table in ["Pipe;A;B;At;Code\n", "\u{feff}Pipe;A;B;At;Code\n;;;;\n\n"] {
        let error = layout::read(table.as_bytes(), "t.csv", &layout, &[]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "t.csv:1: there are no rows below the headings, so there is no survey to read; fill in a row for each observation, or use \
             the file that has them"
        );
    }
    assert_eq!(read(b"Pipe;A;B;At;Code\n", &small(&[], |_| ())).0.document.runs.len(), 0);
}

/// A quotation mark that is closed far below swallows rows into one cell: they are reported.
#[test]
fn a_cell_that_swallowed_rows_is_not_a_remark() {
    let layout = small(&[json!({"heading": "Note", "to": "runs.observations.remark"})], |_| {});
    let head = "Pipe;A;B;At;Code;Note\n";
    let row = |at: usize, note: &str| format!("P1;a;b;{at};crack.longitudinal;{note}\n");
    let rows =
        [row(1, "\"two\nlines\""), row(2, "\"see photo"), row(3, ""), row(4, "leak\""), row(5, "")]
            .concat();
    let messages = refused(format!("{head}{rows}").as_bytes(), &layout);
    assert_eq!(messages.len(), 1, "{messages:#?}");
    let expected = "t.csv:4:6 (column Note): a quotation mark starts a cell in line 4 that spans 3 lines and contains whole rows; close it on its \
                    own line, or double each quotation mark in a cell; the row was skipped";
    assert_eq!(messages[0], expected);
}

/// White space around a separator is ignored, and a cell with several files between other
/// separators is not one file.
#[test]
fn files_between_other_separators_are_reported() {
    let column = |separator: Option<&str>| {
        let mut column = json!({"heading": "Pic", "to": "runs.observations.media.id"});
        if let Some(separator) = separator {
            column["separator"] = separator.into();
        }
        small(&[column], |_| {})
    };
    let table = |cell: &str| format!("Pipe;A;B;At;Code;Pic\nP1;a;b;1;crack.longitudinal;{cell}\n");
    let files = |cell: &str, layout: &Layout| -> Vec<String> {
        let (survey, _) = read(table(cell).as_bytes(), layout);
        survey.document.runs[0].observations[0]
            .media
            .iter()
            .map(|media| media.id.to_string())
            .collect()
    };
    for cell in ["a.jpg, b.jpg", "a.jpg,b.jpg", "a.jpg ,b.jpg"] {
        assert_eq!(files(cell, &column(Some(", "))), ["a.jpg", "b.jpg"], "{cell}");
    }
    assert_eq!(files("a.jpg b.jpg", &column(Some(" "))), ["a.jpg", "b.jpg"]);
    assert_eq!(files("left, wall.jpg", &column(None)), ["left, wall.jpg"]);
    for (separator, expected) in [
        (Some("/"), "expected \"/\" between the names of files"),
        (None, "set separator in the layout"),
    ] {
        let messages = refused(table("a.jpg, b.jpg").as_bytes(), &column(separator));
        assert_eq!(messages.len(), 1, "{messages:#?}");
        assert!(
            messages[0].starts_with(
                "t.csv:2:6 (column Pic): found \"a.jpg, b.jpg\", which names several files"
            ),
            "{messages:?}"
        );
        assert!(messages[0].contains(expected), "{messages:?}");
    }
}

/// The date of the record need not be in the last row.
#[test]
fn the_time_of_issue_is_the_latest_and_has_its_location() {
    let columns = [
        json!({"heading": "On", "to": "runs.started", "kind": "date-time", "pattern": "yyyy-mm-dd hh:mm"}),
    ];
    let layout = small(&columns, |layout| {
        layout["fixed"].as_array_mut().unwrap().retain(|fixed| fixed["to"] != "issued");
        layout["made"]
            .as_array_mut()
            .unwrap()
            .push(json!({"to": "issued", "text": "{runs.started}"}));
    });
    let row =
        |pipe: &str, day: u32| format!("{pipe};a;b;1;crack.longitudinal;2026-05-{day:02} 09:30\n");
    let table = ["Pipe;A;B;At;Code;On\n", &row("P1", 4), &row("P2", 9), &row("P3", 5)].concat();
    let (survey, report) = read(table.as_bytes(), &layout);
    assert_eq!(survey.document.head.issued.to_string(), "2026-05-09T09:30:00+01:00");
    assert_eq!(survey.places.place("/issued").unwrap().to_string(), "t.csv:3:6 (column On)");
    let kinds: Vec<LossKind> = report.losses.iter().map(|loss| loss.kind).collect();
    assert_eq!(kinds, [LossKind::Defaulted]);
}

/// A thousands separator after the decimal mark is not one: the two are swapped, and the number is
/// a thousand times another.
#[test]
fn swapped_separators_are_not_a_number() {
    let with = |decimal: &str, thousands: &str| {
        small(&[], |layout| {
            layout["table"]["decimal_mark"] = decimal.into();
            layout["table"]["thousands_mark"] = thousands.into();
        })
    };
    let table = |number: &str| format!("Pipe;A;B;At;Code\nP1;a;b;{number};crack.longitudinal\n");
    for (decimal, thousands, number, is) in [
        (",", ".", "1.051,20", Some(1051.2)),
        (",", ".", "1,051.20", None),
        (".", ",", "1,234.50", Some(1234.5)),
        (".", ",", "1.234,50", None),
        (".", ",", "1.5,000", None),
        (".", ",", "1.2,345", None),
        (",", ".", "12,5", Some(12.5)),
        (",", ".", "1.5", None),
    ] {
        let layout = with(decimal, thousands);
        match is {
            Some(is) => {
                let (survey, _) = read(table(number).as_bytes(), &layout);
                assert_eq!(survey.document.runs[0].observations[0].at.get(), is, "{number}");
            }
            None => {
                let messages = refused(table(number).as_bytes(), &layout);
                assert!(
                    messages[0].starts_with(&format!(
                        "t.csv:2:4 (column At): found {number:?}; expected a number"
                    )),
                    "{messages:?}"
                );
            }
        }
    }
}

/// If a layout declares UTF-16 and the file has no byte order mark, the zero bytes decide the
/// order.
#[test]
fn utf_16_of_either_order_is_read_without_a_mark() {
    let layout = small(&[], |layout| layout["table"]["encoding"] = "utf-16".into());
    let text = "Pipe;A;B;At;Code\nP1;a;b;1,5;crack.longitudinal\n";
    for big in [false, true] {
        let bytes: Vec<u8> = text
            .encode_utf16()
            .flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() })
            .collect();
        let (survey, _) = read(&bytes, &layout);
        assert_eq!(survey.document.head.pipes[0].id.as_str(), "P1", "{big}");
    }
}

/// Two runs whose ids become equal in the encoding of the table, or that nothing in it
/// distinguishes, are not written as one.
#[test]
fn runs_that_would_merge_are_not_written() {
    let layout = small(&[], |layout| layout["table"]["encoding"] = "windows-1252".into());
    let utf8 = small(&[], |_| {});
    let table = "Pipe;A;B;At;Code\n\u{141}-1;a;b;1;crack.longitudinal\n\u{15a}-1;a;b;1;crack.longitudinal\nC;a;b;1;crack.longitudinal\n";
    let (survey, _) = read(table.as_bytes(), &utf8);
    let refused = layout::write(&survey.document, &layout, &[]).unwrap_err().to_string();
    let expected = "the layout s cannot hold this survey, since several of its runs would be read back as one: R \u{141}-1, R \u{15a}-1; their ids \
                    differ in characters that the encoding of the layout does not have, '\u{141}' (U+0141), '\u{15a}' (U+015A); write each \
                    run separately";
    assert_eq!(refused, expected);
    let (mut document, _) =
        read("Pipe;A;B;At;Code\nP1;a;b;1;crack.longitudinal\n".as_bytes(), &utf8);
    let mut again = document.document.runs[0].clone();
    again.id = "again".parse().unwrap();
    document.document.runs.push(again);
    let refused = layout::write(&document.document, &utf8, &[]).unwrap_err().to_string();
    assert!(
        refused.contains(
            "would be read back as one: R P1, again; no value in \"Pipe\" distinguishes them"
        ),
        "{refused}"
    );
}
