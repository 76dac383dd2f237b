//! Files of three invented offices, read and written with their layouts.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_convert::{ConvertError, LossKind, LossReport, PlacedProblem, Survey, recode};
use obvert_layout as layout;
use obvert_model::layout::Layout;
use obvert_model::lists::CodeList;
use obvert_model::tables::Document;
use proptest::prelude::*;

mod account;
#[cfg(feature = "xlsx")]
mod book;
mod draft;
#[cfg(feature = "xlsx")]
mod draft_book;
mod draft_meaning;
mod draft_open;
mod draft_values;
mod draft_xml;
mod kinds;
mod nothing_lost;
mod repeats;
mod robust;
mod told;
mod xml;

const A: &[u8] = include_bytes!("../../../../examples/layouts/office-a.csv");
const B: &[u8] = include_bytes!("../../../../examples/layouts/office-b.csv");

fn a() -> Layout {
    Layout::read(include_bytes!("../../../../examples/layouts/office-a.layout.json")).unwrap()
}

fn b() -> Layout {
    Layout::read(include_bytes!("../../../../examples/layouts/office-b.layout.json")).unwrap()
}

fn read(source: &[u8], layout: &Layout) -> (Survey, LossReport) {
    layout::read(source, "t.csv", layout, &[]).unwrap_or_else(|error| match error {
        ConvertError::Structure(all) => {
            panic!("{}", all.iter().map(|one| format!("{one}\n")).collect::<String>())
        }
        other => panic!("{other}"),
    })
}

/// The problems of a table that cannot be read in full.
fn refused(source: &[u8], layout: &Layout) -> Vec<String> {
    match layout::read(source, "t.csv", layout, &[]) {
        Err(ConvertError::Structure(all)) => {
            let reported = |one: &PlacedProblem| {
                format!("{}: {}", one.place.as_ref().unwrap(), one.problem.message)
            };
            all.iter().map(reported).collect()
        }
        Err(other) => vec![other.to_string()],
        Ok(_) => panic!("it was read"),
    }
}

fn json(document: &Document) -> serde_json::Value {
    serde_json::to_value(document).unwrap()
}

#[test]
fn the_layouts_are_valid() {
    assert_eq!(a().problems(), []);
    assert_eq!(b().problems(), []);
}

/// Every kind of cell of office A, compared with the file by eye.
#[test]
fn the_table_of_office_a_becomes_a_document() {
    let (survey, _) = read(A, &a());
    let document = json(&survey.document);
    let runs = document["runs"].as_array().unwrap();
    let ids: Vec<&str> = runs.iter().map(|run| run["id"].as_str().unwrap()).collect();
    assert_eq!(ids, ["L-101", "L-102", "L-102R", "L-103"]);
    assert_eq!(document["pipes"].as_array().unwrap().len(), 3);
    let first = &runs[0];
    assert_eq!(first["started"], "2026-05-06T09:31:00-05:00");
    assert_eq!(first["operator"], "Heron 2");
    assert_eq!(first["outcome"], serde_json::json!({"kind": "reached"}));
    assert_eq!(first["surveyed"], 211.8);
    // Eleven rows, two of which only end a continuous feature.
    assert_eq!(first["observations"].as_array().unwrap().len(), 9);
    assert_eq!(
        first["observations"][2],
        serde_json::json!({
            "id": "3", "at": 12.4, "to": 44.2, "continuous": true, "code": "crack.longitudinal", "clock": {"from": 11, "to": 1},
            "grades": {"structural": 2}, "remark": "hairline, dry",
            "media": [{"id": "LM014_001.jpg"}, {"id": "L-101.mp4", "offset": 41}, {"id": "L-101.mp4", "offset": 150}]
        })
    );
    assert_eq!(first["observations"][4]["remark"], "at joint, \"hair\" roots");
    assert_eq!(first["observations"][4]["joint"], true);
    assert_eq!(
        first["observations"][5]["quantities"],
        serde_json::json!([{"value": 0.5, "unit": "in"}])
    );
    assert_eq!(runs[1]["observations"][3]["remark"], "cannot pass – café side");
    assert_eq!(runs[1]["outcome"], serde_json::json!({"kind": "stopped", "reason": "collapse"}));
    assert_eq!(runs[2]["reverse_of"], "L-102");
    assert_eq!(runs[2]["pipe"], runs[1]["pipe"]);
    assert_eq!(
        document["pipes"][1],
        serde_json::json!({
            "id": "LM-015/LM-016", "upstream": "LM-015", "downstream": "LM-016", "shape": "circular", "height": 8, "size_basis": "nominal",
            "material": "vitrified-clay", "length": 187, "length_between": "centres", "street": "Tannery Lane"
        })
    );
}

#[test]
fn the_table_of_office_b_becomes_a_document() {
    let (survey, _) = read(B, &b());
    let document = json(&survey.document);
    assert_eq!(document["units"], serde_json::json!({"length": "m", "section": "mm"}));
    let (down, up) = (&document["runs"][0], &document["runs"][1]);
    assert_eq!((&down["from"], &down["to"]), (&"DV07".into(), &"DV08".into()));
    assert_eq!(
        (&up["from"], &up["to"], &up["direction"]),
        (&"DV09".into(), &"DV08".into(), &"upstream".into())
    );
    assert_eq!(up["started"], "2026-03-17T09:05:00+01:00");
    assert_eq!(
        down["observations"][2],
        serde_json::json!({
            "id": "3", "at": 4.35, "to": 12.1, "continuous": true, "code": "BAB", "characterisation": ["B", "A"],
            "quantities": [{"value": 1.5, "unit": "mm"}], "clock": {"from": 11, "to": 1},
            "media": [{"id": "b001.jpg"}, {"id": "DV07-DV08-downstream.mpg", "offset": 52}, {"id": "DV07-DV08-downstream.mpg", "offset": 130}]
        })
    );
    // The first characterisation decides whether the amount of BAJ is in millimetres or degrees;
    // the amount of BDD is a percentage.
    assert_eq!(
        down["observations"][4]["quantities"],
        serde_json::json!([{"value": 15, "unit": "mm"}])
    );
    assert_eq!(
        down["observations"][1]["quantities"],
        serde_json::json!([{"value": 10, "unit": "percent"}])
    );
    assert_eq!(down["observations"][3]["quantities"].as_array().unwrap().len(), 2);
    assert_eq!(down["observations"][6]["clock"], serde_json::json!({"at": 12}));
    assert_eq!(down["pipe"], "DV07-DV08");
    assert_eq!(document["pipes"][1]["material"], "vitrified-clay");
}

#[test]
fn a_written_file_reads_as_the_same_document() {
    for (source, layout) in [(A, a()), (B, b())] {
        let (survey, _) = read(source, &layout);
        let (bytes, losses) = layout::write(&survey.document, &layout, &[]).unwrap();
        assert_eq!(losses, LossReport::default(), "{}", layout.id);
        assert_eq!(read(&bytes, &layout).0.document, survey.document);
    }
}

/// Every cell comes back as it was, so the office recognises its own table.
#[test]
fn the_rows_of_the_offices_round_trip() {
    for (source, layout) in [(A, a()), (B, b())] {
        let (survey, _) = read(source, &layout);
        let (bytes, _) = layout::write(&survey.document, &layout, &[]).unwrap();
        let lines = |bytes: &[u8]| -> Vec<String> {
            bytes
                .split(|byte| *byte == b'\n')
                .map(|line| String::from_utf8_lossy(line).trim().to_owned())
                .collect()
        };
        let (before, after) = (lines(source), lines(&bytes));
        assert_eq!(before.len(), after.len());
        let other: Vec<_> = before.iter().zip(&after).filter(|(one, other)| one != other).collect();
        assert!(other.is_empty(), "{other:#?}");
    }
}

#[test]
fn the_survey_of_a_converts_to_the_table_of_b() {
    let (survey, _) = read(A, &a());
    let refused = layout::write(&survey.document, &b(), &[]).unwrap_err().to_string();
    assert!(refused.contains("translate it first (--coding en-13508-2)"), "{refused}");
    let (translated, _) =
        recode::document(&survey.document, CodeList::obvert_terms(), CodeList::en_13508_2())
            .unwrap();
    let (bytes, losses) = layout::write(&translated, &b(), &[]).unwrap();
    let (back, _) = read(&bytes, &b());
    assert_eq!(back.document.runs.len(), 4);
    let document = json(&back.document);
    // 12.40 ft and 0.5 in (0.3048 m, 25.4 mm).
    assert_eq!(document["runs"][0]["observations"][2]["at"], 3.78);
    assert_eq!(
        document["runs"][0]["observations"][5]["quantities"][0],
        serde_json::json!({"value": 12.7, "unit": "mm"})
    );
    assert_eq!(document["pipes"][0]["height"], 203);
    let reported = |kind: LossKind, start: &str, text: &str| {
        losses.losses.iter().any(|loss| {
            loss.kind == kind && loss.pointer.starts_with(start) && loss.message.contains(text)
        })
    };
    for (kind, start, text) in [
        (LossKind::Changed, "/units/length", "from ft to m"),
        (LossKind::Changed, "/units/section", "from in to mm"),
        (LossKind::Dropped, "/pipes/0/street", "no column for pipes.street"),
        (
            LossKind::Dropped,
            "/runs/0/observations/2/grades",
            "no column for runs.observations.grades",
        ),
        (LossKind::Dropped, "/runs/0/operator", "no column for runs.operator"),
        (LossKind::Dropped, "/runs/2/reverse_of", "no column for runs.reverse_of"),
        (
            LossKind::Changed,
            "/pipes/0/height",
            "pipes.height is read back differently through the column \"DN\"",
        ),
        (
            LossKind::Changed,
            "/runs/0/started",
            "runs.started is read back differently through the column \"Datum\"",
        ),
    ] {
        assert!(reported(kind, start, text), "{kind:?} {start} {text}: {:#?}", losses.losses);
    }
}

/// The table of A with one text replaced, in the encoding of A.
fn with(from: &str, to: &str) -> Vec<u8> {
    let text: String = A.iter().map(|byte| char::from(*byte)).collect();
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1).chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect()
}

#[test]
fn every_unreadable_cell_is_reported_with_its_location() {
    let cases = [
        (
            "1+40.00",
            "140.00",
            "t.csv:9:11 (column Station): ",
            "found \"140.00\"; expected a station such as 1+64.50",
        ),
        (
            "0.5 in",
            "0.5 inch",
            "t.csv:8:15 (column Amount): ",
            "expected a number with its unit, one of in, %, ft",
        ),
        ("9:31 AM", "9.31", "t.csv:2:10 (column Time): ", "expected a time as h:mm am"),
        ("5/6/2026", "6.5.2026", "t.csv:2:9 (column Date): ", "expected a date as m/d/yyyy"),
        (
            "5/6/2026",
            "2/30/2026",
            "t.csv:2:9 (column Date): ",
            "as m/d/yyyy; there is no day 30 in Feb 2026",
        ),
        ("5/6/2026", "13/6/2026", "t.csv:2:9 (column Date): ", "as m/d/yyyy; there is no month 13"),
        (
            "9:31 AM",
            "25:31 AM",
            "t.csv:2:10 (column Time): ",
            "as h:mm am; this time of day does not exist",
        ),
        (
            "0+12.40,",
            ",",
            "t.csv:4:11 (column Station): ",
            "\"Station\" has no value, and every observation requires it",
        ),
        (
            "Crack,longitudinal",
            ",",
            "t.csv:4:12 (column Observation): ",
            "\"Observation\", \"Detail\" has no value, and every observation requires it",
        ),
        (
            "LM-014,LM-015,with",
            "LM-014,,with",
            "t.csv:2: ",
            "the row does not name its pipe, so it was skipped; fill in \"To MH\"",
        ),
        (
            "L-101,",
            ",",
            "t.csv:2: ",
            "the row does not name its run, so it was skipped; fill in \"Sheet\"",
        ),
        (
            "Crack,longitudinal,11-1,,end 1",
            "Crack,complex,11-1,,end 1",
            "t.csv:6:12 (column Observation): ",
            "the row that ends the stretch \"end 1\" has a different code from line 4, which starts it",
        ),
        (
            "11-1,",
            "11/1,",
            "t.csv:4:14 (column Clock): ",
            "expected a clock position such as 3, or two such as 11-1",
        ),
        (",VCP,", ",Clay,", "t.csv:2:7 (column Material): ", "expected one of VCP, PVC"),
        (
            "Roots,fine",
            "Roots,thick",
            "t.csv:7:12 (column Observation): ",
            "found \"Roots, thick\"; expected words with a code",
        ),
        (",Y,2,", ",yes,2,", "t.csv:7:17 (column Joint): ", "expected one of Y, N"),
        ("0:05:20", "5:20", "t.csv:8:20 (column Video): ", "expected a time as h:mm:ss"),
        (",start 1,", ",begin 1,", "t.csv:4:16 (column Stretch): ", "expected start # or end #"),
        (
            ",end 1,",
            ",end 7,",
            "t.csv:6:16 (column Stretch): ",
            "and no earlier row of this run starts the stretch",
        ),
        (
            "212.4,5/6/2026,9:31 AM,0+12.40",
            "213,5/6/2026,9:31 AM,0+12.40",
            "t.csv:4:8 (column As-built ft): ",
            "found 213, and line 2 has 212.4 for the same pipe",
        ),
        (
            ",active,Heron 2",
            ",active",
            "t.csv:5: ",
            "the row has 21 cells and there are 22 headings, so it was skipped; write the \",\"",
        ),
        (
            ",active,Heron 2",
            ",active, dry,Heron 2",
            "t.csv:5: ",
            "the row has 23 cells and there are 22 headings, so it was skipped; quote cells that contain \",\"",
        ),
        (
            "Comment,Crew",
            "Comment,Team",
            "t.csv:1:22 (column Team): ",
            "has no column \"Team\"; add it there, with drop",
        ),
        (
            "Dia in",
            "Dia. [in]",
            "t.csv:1:6 (column Dia. [in]): ",
            "has no column \"Dia. [in]\"; did you mean \"Dia in\", which the table lacks?",
        ),
        ("Comment,Crew", "Comment,Team", "t.csv:1: ", "the table has no column \"Crew\""),
    ];
    for (from, to, place, message) in cases {
        let messages = refused(&with(from, to), &a());
        assert!(
            messages.iter().any(|one| one.starts_with(place) && one.contains(message)),
            "{from} {to}: {messages:#?}"
        );
    }
    // A heading in a different spelling is one problem.
    assert_eq!(refused(&with("Dia in", "Dia. [in]"), &a()).len(), 1);
}

/// A column that the layout does not have does not stop the others from being read.
#[test]
fn columns_next_to_one_of_the_offices_own_are_read() {
    let text: String = A.iter().map(|byte| char::from(*byte)).collect();
    let lines: Vec<String> = text.lines().map(|line| format!("{line},x")).collect();
    let wider: Vec<u8> =
        lines.join("\r\n").chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let rest = |table: &[u8]| match layout::read(table, "t.csv", &a(), &[]).unwrap_err() {
        ConvertError::Structure(problems) => {
            problems.document().map(|document| document.value.clone())
        }
        other => panic!("{other}"),
    };
    let complete = serde_json::to_value(&read(A, &a()).0.document).unwrap();
    assert_eq!(rest(&wider), Some(complete));
    // A column with a different heading is missing, and any further message without it would
    // mislead.
    let renamed = refused(&with("Dia in", "Dia. [in]"), &a());
    assert_eq!(renamed.len(), 1, "{renamed:#?}");
}

/// An invalid date is reported at its own cell, and not again at the time next to it.
#[test]
fn an_invalid_date_hides_nothing_and_adds_nothing() {
    let text: String = A.iter().map(|byte| char::from(*byte)).collect();
    let bad = text.replace("5/6/2026,1:15 PM", "2/29/2026,1:15 PM");
    let messages = refused(
        &bad.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect::<Vec<_>>(),
        &a(),
    );
    assert_eq!(messages.len(), 5, "{messages:#?}");
    assert!(messages.iter().all(|one| {
        one.contains(
            " (column Date): found \"2/29/2026\"; expected a date as m/d/yyyy; there is no day 29",
        )
    }));
    // The values for the whole document come from the last row.
    let blank = text.replace("5/6/2026,1:15 PM", ",");
    let messages = refused(
        &blank.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect::<Vec<_>>(),
        &a(),
    );
    let needs =
        "\"Date\", \"Time\" has no value in the last row, and every survey requires it; fill it in";
    assert_eq!(messages, [format!("t.csv:26:9 (column Date): {needs}")]);
}

/// Duplicate rows are read, and reported with their numbers.
#[test]
fn rows_pasted_again_are_reported() {
    let lines: Vec<&[u8]> = A.split_inclusive(|byte| *byte == b'\n').collect();
    let duplicated = [&lines[..12], &lines[1..12], &lines[12..]].concat().concat();
    let (survey, report) = read(&duplicated, &a());
    assert_eq!(survey.document.runs[0].observations.len(), 18);
    let messages: Vec<&str> = report.notes.iter().map(|note| note.message.as_str()).collect();
    assert_eq!(
        messages,
        ["rows 13 to 23 are duplicates of rows 2 to 12; remove rows that were pasted twice"]
    );
    // A single duplicate row may be two equal defects, but rarely is: it is read and reported.
    let once = [&lines[..12], &lines[11..]].concat().concat();
    let (survey, report) = read(&once, &a());
    assert_eq!(
        report.notes[0].message,
        "row 13 is a duplicate of row 12; remove it if it was pasted twice"
    );
    assert_eq!(survey.document.runs.iter().map(|run| run.observations.len()).sum::<usize>(), 24);
}

#[test]
fn mistakes_are_reported_all_at_once_and_once_each() {
    let text: String = with("1+40.00", "140.00").iter().map(|byte| char::from(*byte)).collect();
    let bad: Vec<u8> = text
        .replace("0.5 in", "0.5 inch")
        .chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap())
        .collect();
    let messages = refused(&bad, &a());
    assert_eq!(messages.len(), 2, "{messages:#?}");
}

#[test]
fn other_files_are_refused_with_advice() {
    let utf8 = String::from_utf8_lossy(A).replace('\u{FFFD}', "é").into_bytes();
    let cases: [(&[u8], &str); 5] = [
        (&utf8, ":16: the text is UTF-8, and the layout declares windows-1252"),
        (b"", "there is no row of headings"),
        (b"a;b\r\n1;2\r\n", "the headings are not separated by \",\""),
        (b"PK\x03\x04", "the archive has no directory at its end"),
        (b"Sheet,Street\r\na\0,b\r\n", "a null character"),
    ];
    for (source, message) in cases {
        let messages = refused(source, &a());
        assert!(messages[0].contains(message), "{messages:?}");
    }
}

#[test]
fn a_character_outside_the_encoding_is_a_loss() {
    for (layout, source, lost) in [(a(), A, 0), (b(), B, 1)] {
        let mut document = read(source, &layout).0.document;
        document.runs[0].observations[0].remark = "a – b".parse().ok();
        let (_, losses) = layout::write(&document, &layout, &[]).unwrap();
        assert_eq!(losses.losses.len(), lost, "{losses:#?}");
        assert!(losses.losses.iter().all(|loss| loss.pointer == "/runs/0/observations/0/remark"));
    }
}

/// A table that identifies runs by pipe and direction cannot hold two of the same: they would merge
/// into one run that never took place.
#[test]
fn runs_that_a_layout_would_merge_are_not_written() {
    let (survey, _) = read(B, &b());
    let mut document = survey.document;
    let mut second = document.runs[0].clone();
    second.id = "again".parse().unwrap();
    second.started = "2026-03-18T08:12:00+01:00".parse().ok();
    document.runs.push(second);
    let refused = layout::write(&document, &b(), &[]).unwrap_err().to_string();
    assert!(
        refused.starts_with("the layout morvelde-haltungen cannot hold this survey"),
        "{refused}"
    );
    assert!(refused.contains("for the same run"), "{refused}");
}

/// A text that a cell can hold. It is not blank, since a blank cell is an absent value.
fn text() -> impl Strategy<Value = String> {
    "[ -~é–ß\"',;=@+]{0,12}[a-zé]"
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(96) })]
    /// A document with values of every kind of cell round-trips through a table unchanged exactly
    /// if the report is empty.
    #[test]
    fn every_kind_of_cell_round_trips(
        rows in proptest::collection::vec((0u32..30_000, 0usize..9, 0u32..100, any::<bool>(), proptest::option::of(text()), 0u32..9000), 1..12),
        hour in 0u32..24, minute in 0u32..60, of_b in any::<bool>(),
    ) {
        let clock = |n: u32| if n.is_multiple_of(3) { serde_json::json!({"at": n % 12 + 1}) } else { serde_json::json!({"from": n % 12 + 1, "to": n % 7 + 1}) };
        let (source, layout) = if of_b { (B, b()) } else { (A, a()) };
        let (survey, _) = read(source, &layout);
        let mut document = json(&survey.document);
        let run = &mut document["runs"][0];
        run["started"] = format!("2026-02-28T{hour:02}:{minute:02}:00{}", layout.zone.as_deref().unwrap()).into();
        let codes = if of_b { ["BAB", "BBA", "BAB"] } else { ["crack.longitudinal", "roots.fine", "connection.saddle"] };
        let unit = |code: &str| if code == "BBA" || code == "roots.fine" { "percent" } else if of_b { "mm" } else { "in" };
        let mut distance = 0;
        let mut observations = Vec::new();
        for (index, (step, code, amount, joint, remark, offset)) in rows.into_iter().enumerate() {
            let code = codes[code % 3];
            distance += step;
            let mut row = serde_json::json!({
                "id": (index + 1).to_string(), "at": f64::from(distance) / 100.0, "code": code, "clock": clock(amount),
                "quantities": [{"value": f64::from(amount) / 4.0, "unit": unit(code)}],
                "media": [{"id": if of_b { "DV07-DV08-downstream.mpg" } else { "L-101.mp4" }, "offset": offset}]
            });
            if code == "BAB" {
                row["characterisation"] = serde_json::json!(["B", "A"]);
            }
            if joint {
                row["joint"] = true.into();
            }
            if let Some(remark) = remark {
                // ISO 8859-1 has no en dash; another test checks that it is reported.
                row["remark"] = if of_b { remark.replace('–', "-") } else { remark }.into();
            }
            if offset.is_multiple_of(3) {
                row["continuous"] = true.into();
                if amount.is_multiple_of(2) {
                    row["to"] = (f64::from(distance + amount * 7) / 100.0).into();
                }
            }
            observations.push(row);
        }
        run["observations"] = observations.into();
        run.as_object_mut().unwrap().remove("outcome");
        run.as_object_mut().unwrap().remove("surveyed");
        // No row names these any more.
        let named = document["runs"].to_string();
        document["media"].as_array_mut().unwrap().retain(|media| named.contains(media["id"].as_str().unwrap()));
        let document = obvert_model::read::document(document.to_string().as_bytes()).unwrap();
        let (bytes, losses) = layout::write(&document, &layout, &[]).unwrap();
        let back = read(&bytes, &layout).0.document;
        let same = json(&back) == json(&document);
        prop_assert_eq!(losses.is_empty(), same, "{:#?}", losses.losses);
        // Of everything generated here, only the order of media is beyond what the two tables hold.
        let order_only = losses.losses.iter().all(|loss| loss.pointer.starts_with("/media"));
        prop_assert!(order_only, "{:#?}", losses.losses);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(24) })]
    /// For any file, the answer is a document or an error, and a table damaged in one place loses
    /// no row silently.
    #[test]
    fn no_file_crashes_a_reader(at in 0usize..4000, bytes in proptest::collection::vec(any::<u8>(), 0..12), cut: bool) {
        let c = Layout::read(include_bytes!("../../../../examples/layouts/office-c.layout.json")).unwrap();
        let xml = include_bytes!("../../../../examples/layouts/office-c.xml").as_slice();
        for (source, layout) in [(A, a()), (B, b()), (xml, c)] {
            let at = at % source.len();
            let rest = if cut { source.len() } else { (at + bytes.len()).min(source.len()) };
            let spoiled = [&source[..at], &bytes, &source[rest..]].concat();
            let _ = layout::draft(&spoiled, "t");
            if let Ok((survey, _)) = layout::read(&spoiled, "t", &layout, &[]) {
                let seen: usize = survey.document.runs.iter().map(|run| run.observations.len()).sum();
                prop_assert!(cut || seen + 1 >= read(source, &layout).0.document.runs.iter().map(|run| run.observations.len()).sum());
            }
        }
        let _ = layout::draft(&bytes, "t");
    }
}
