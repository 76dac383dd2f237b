//! Messages about offices' own tables: unreadable content, mixed-up arguments, and losses of a
//! conversion.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use serde_json::Value;
use support::{obvert, obvert_in, read, root, status, stderr, stdout};

const A: &str = "examples/layouts/office-a.csv";
const LAYOUT_A: &str = "examples/layouts/office-a.layout.json";
const B: &str = "examples/layouts/office-b.csv";
const LAYOUT_B: &str = "examples/layouts/office-b.layout.json";
const C: &str = "examples/layouts/office-c.xml";
const LAYOUT_C: &str = "examples/layouts/office-c.layout.json";

/// Files without a survey, and arguments that are not a file format, are refused with advice.
#[test]
fn unusable_files_are_refused_with_advice() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).unwrap();
    write("t.xls", b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1");
    write("t.pdf", b"%PDF-1.7\n");
    write("t.parquet", b"PAR1");
    write("t.zip", b"PK\x03\x04 cut");
    std::fs::create_dir(folder.path().join("layers")).unwrap();
    write("layers/runs.parquet", b"PAR1");
    let own = root().join("examples/data/larkmoor.obvert.json").display().to_string();
    for (command, expected) in [
        (&["check", "t.xls"][..], "t.xls: is an old workbook or office document; save it as .xlsx"),
        (&["check", "t.pdf"], "t.pdf: is a PDF, which has no data to read"),
        (&["check", "t.parquet"], "t.parquet: this format is write-only"),
        (&["check", "layers"], "layers: GeoParquet: this format is write-only"),
        (
            &["check", "t.zip"],
            "t.zip: the archive has no directory at its end, so it is incomplete",
        ),
        (
            &["convert", &own, "-o", "x.parquet"],
            "x.parquet: GeoParquet is a folder with one file per layer; name a folder and give --to geoparquet",
        ),
    ] {
        let output = obvert_in(folder.path(), command);
        assert_eq!(status(&output), 2, "{command:?}");
        assert!(stderr(&output).contains(expected), "{command:?}: {}", stderr(&output));
    }
    let table = folder.path().join("office-b.xlsx").display().to_string();
    let layout = root().join(LAYOUT_B).display().to_string();
    let made = obvert_in(
        folder.path(),
        &[
            "convert",
            &root().join(B).display().to_string(),
            "-o",
            &table,
            "--layout",
            &layout,
            "--out-layout",
            &layout,
        ],
    );
    assert_eq!(status(&made), 0, "{}", stderr(&made));
    let output = obvert_in(folder.path(), &["check", &table]);
    assert!(
        stderr(&output).contains("to read an office's own workbook, use a layout"),
        "{}",
        stderr(&output)
    );
}

/// A row that was copied to another part of an office's table is reported as a copy, without advice
/// to change its distance.
#[test]
fn a_row_that_was_copied_elsewhere_is_not_a_slip() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = std::fs::read(root().join(A)).unwrap();
    let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
    let check = |table: &[&[u8]]| {
        std::fs::write(folder.path().join("a.csv"), table.concat()).unwrap();
        let layout = root().join(LAYOUT_A);
        let arguments = [
            "check",
            "a.csv",
            "--layout",
            layout.to_str().unwrap(),
            "--today",
            "2026-06-01",
            "--all",
            "--format",
            "json",
        ];
        let report: Value =
            serde_json::from_str(&stdout(&obvert_in(folder.path(), &arguments))).unwrap();
        let findings = report["findings"].as_array().unwrap().iter();
        let reported = findings.map(|finding| {
            (
                finding["rule"].to_string(),
                finding["message"].to_string(),
                finding["at"]["line"].as_u64(),
            )
        });
        reported.filter(|(.., line)| line.is_some_and(|line| line < 15)).collect::<Vec<_>>()
    };
    // Sheet L-101 is rows 2 to 12; row 5 is at 0+31.90, row 8 at 0+96.30.
    let unchanged = check(&lines);
    for (from, to, place) in [(4, 8, 9), (7, 3, 4)] {
        let mut moved = lines.clone();
        moved.insert(to, lines[from]);
        let reported = check(&moved);
        let new: Vec<_> = reported
            .iter()
            .filter(|(rule, ..)| !unchanged.iter().any(|(known, ..)| known == rule))
            .collect();
        assert_eq!(new.len(), 1, "{reported:#?}");
        let (rule, message, line) = new[0];
        assert_eq!((rule.as_str(), *line), ("\"observation-duplicate\"", Some(place)), "{message}");
        assert!(message.contains("the row repeats observation"), "{message}");
    }
}

/// One cause in many rows is shown three times and counted.
#[test]
fn a_cause_of_many_rows_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let text: String =
        std::fs::read(root().join(A)).unwrap().iter().map(|byte| char::from(*byte)).collect();
    let spoilt = text.replace(",VCP,", ",Clay,");
    let rows = text.matches(",VCP,").count();
    assert!(rows > 10);
    std::fs::write(
        folder.path().join("a.csv"),
        spoilt.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect::<Vec<_>>(),
    )
    .unwrap();
    let layout = root().join(LAYOUT_A);
    let layout = layout.to_str().unwrap();
    let checked = obvert_in(folder.path(), &["layout", "check", layout, "a.csv"]);
    assert_eq!(status(&checked), 1, "{}", stderr(&checked));
    let printed = stdout(&checked);
    assert_eq!(printed.lines().count(), 4, "{printed}");
    assert!(
        printed.contains(&format!("and {} more like the 3 above, the last at a.csv:", rows - 3)),
        "{printed}"
    );
    let converted =
        obvert_in(folder.path(), &["convert", "a.csv", "-o", "a.obvert.json", "--layout", layout]);
    assert_eq!(status(&converted), 2);
    assert!(
        stderr(&converted).contains(&format!("and {} more like the 3 above", rows - 3)),
        "{}",
        stderr(&converted)
    );
    assert!(!folder.path().join("a.obvert.json").exists());
}

/// Arguments in another order, or a layout or survey in place of a table: the message names the
/// kind of file it got.
#[test]
fn mixed_up_arguments_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let own = "examples/data/osier-9.obvert.json";
    std::fs::write(folder.path().join("o.xml"), "<Works><Line/></Works>").unwrap();
    let office_xml = folder.path().join("o.xml").display().to_string();
    for (command, expected) in [
        (
            &["layout", "check", A, LAYOUT_A][..],
            "office-a.csv: looks like a table or XML, but a layout is JSON",
        ),
        (
            &["check", A, "--layout", A],
            "office-a.csv: looks like a table or XML, but a layout is JSON",
        ),
        (
            &["layout", "check", LAYOUT_A, own],
            "osier-9.obvert.json: is JSON, but an office's own table is CSV, a workbook or XML",
        ),
        (
            &["check", LAYOUT_A],
            "office-a.layout.json: is a layout, not a survey; give it with --layout",
        ),
        (&["check", &office_xml], "if this is an office's own table, give its --layout"),
    ] {
        let output = obvert(command);
        assert_eq!(status(&output), 2, "{command:?}");
        assert!(stderr(&output).contains(expected), "{command:?}: {}", stderr(&output));
    }
    let declared = folder.path().join("d.xml").display().to_string();
    let text = std::fs::read_to_string(root().join(C)).unwrap();
    let wrong = format!(
        "<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>\n<!-- ü -->{}",
        text.split_once("?>").map_or(&*text, |(_, rest)| rest)
    );
    std::fs::write(&declared, wrong).unwrap();
    let output = obvert(&["check", &declared, "--layout", LAYOUT_C]);
    assert!(
        stderr(&output).contains("the XML declaration says iso-8859-1, and the file is UTF-8"),
        "{}",
        stderr(&output)
    );
}

/// Dropped cells are counted as cells, not as observations.
#[test]
fn unmapped_cells_are_reported_as_cells() {
    let folder = tempfile::tempdir().unwrap();
    let text = read(LAYOUT_A);
    let mut layout: Value = serde_json::from_str(&text).unwrap();
    for column in layout["columns"].as_array_mut().unwrap() {
        if column["heading"] == "Comment" {
            *column = serde_json::json!({"heading": "Comment", "drop": "not of the survey"});
        }
    }
    let path = folder.path().join("l.json").display().to_string();
    std::fs::write(&path, layout.to_string()).unwrap();
    let out = folder.path().join("o.obvert.json").display().to_string();
    let output = obvert(&["convert", A, "--layout", &path, "-o", &out]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert!(!stderr(&output).contains("observations are not in"), "{}", stderr(&output));
    assert!(
        stderr(&output).contains(
            "the column \"Comment\" is not carried over: not of the survey: \"hairline, dry\""
        ),
        "{}",
        stderr(&output)
    );
}

/// If the written table lacks values that its own layout requires, the losses list them.
#[test]
fn values_missing_for_the_layout_of_the_written_table_are_losses() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("o.xml").display().to_string();
    let output =
        obvert(&["convert", A, "--layout", LAYOUT_A, "--out-layout", LAYOUT_C, "-o", &out]);
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    let message = "the table is incomplete for the layout larkmoor-works, so reading it reports: \"Works/@job\" has no value";
    assert!(stderr(&output).contains(message), "{}", stderr(&output));
}

/// An amount in a unit that the office has no word for is converted to one that it has.
#[test]
fn an_amount_is_converted_to_a_unit_of_the_office() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("b.a.csv").display().to_string();
    let account = folder.path().join("account.json").display().to_string();
    let arguments =
        ["--out-layout", LAYOUT_A, "--coding", "obvert-terms", "-o", &out, "--account", &account];
    let output = obvert(&[&["convert", B, "--layout", LAYOUT_B], &arguments[..]].concat());
    assert_eq!(status(&output), 0, "{}", stderr(&output));
    assert!(!stderr(&output).contains("takes an amount in mm"), "{}", stderr(&output));
    let table: String = std::fs::read(&out).unwrap().iter().map(|byte| char::from(*byte)).collect();
    // 1.5 mm at 25.4 mm to the inch.
    assert!(table.contains(",0.059055118 in,"), "{table}");
    let account: Value = serde_json::from_slice(&std::fs::read(&account).unwrap()).unwrap();
    let entry = account["entries"]
        .as_array()
        .unwrap()
        .iter()
        .find(|entry| entry["was"]["value"] == 1.5)
        .unwrap();
    assert_eq!(
        (&entry["kind"], &entry["becomes"]["unit"]),
        (&"changed".into(), &"in".into()),
        "{entry:#}"
    );
}

/// A survey that an office's table cannot hold is refused, and the message names the runs.
#[test]
fn runs_that_a_table_cannot_hold_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("l.csv").display().to_string();
    let output = obvert(&[
        "convert",
        "examples/data/larkmoor.obvert.json",
        "--out-layout",
        LAYOUT_A,
        "-o",
        &out,
    ]);
    assert_eq!(status(&output), 2);
    let message = stderr(&output);
    let expected = "the layout heron-sheets cannot hold this survey, because what it would write of run R-19, R-20, R-21, R-22 could not be read back: ";
    assert!(message.contains(expected), "{message}");
}

/// Lines of a UTF-16 table are shown decoded.
#[test]
fn lines_of_utf_16_are_shown() {
    let folder = tempfile::tempdir().unwrap();
    let text: String =
        std::fs::read(root().join(A)).unwrap().iter().map(|byte| char::from(*byte)).collect();
    for big in [false, true] {
        let mark = std::iter::once(0xFEFF_u16);
        let units = mark.chain(text.encode_utf16());
        let bytes: Vec<u8> = units
            .flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() })
            .collect();
        std::fs::write(folder.path().join("a.csv"), bytes).unwrap();
        let layout = root().join(LAYOUT_A).display().to_string();
        let output = obvert_in(
            folder.path(),
            &["check", "a.csv", "--layout", &layout, "--today", "2026-06-01", "--all"],
        );
        assert!(stdout(&output).contains(" | L-103,"), "{}", stdout(&output));
        assert!(!stdout(&output).contains('\u{fffd}'), "{}", stdout(&output));
    }
}

/// What was written and where is printed, and a warning if the output does not hold the survey.
#[test]
fn what_was_written_is_printed() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("tables")).unwrap();
    let own = root().join("examples/data/larkmoor.obvert.json").display().to_string();
    for (out, to) in [("tables", "csv"), ("s.xml", "xml")] {
        let output = obvert_in(folder.path(), &["convert", &own, "-o", out, "--to", to]);
        let message = stderr(&output);
        assert!(message.contains(&format!("{out}: written as ")), "{message}");
        assert!(message.contains(" runs and ") && !message.contains("warning:"), "{message}");
    }
    let output = obvert_in(folder.path(), &["convert", &own, "-o", "s.kml"]);
    assert_eq!(status(&output), 0);
    let message = stderr(&output);
    let warning = message.lines().last().unwrap();
    assert!(warning.starts_with("warning: s.kml does not hold the whole survey: "), "{message}");
    // The reason hides the fields that share it, so the warning names them with their counts.
    assert!(warning.contains("runs.observations.media 266, pipes.path 18, "), "{message}");
    assert!(warning.contains("--account FILE lists every value"), "{message}");
    assert!(warning.ends_with("--lossless refuses to write such a file"), "{message}");
    let table = root().join(A).display().to_string();
    let output = obvert_in(folder.path(), &["layout", "draft", &table, "-o", "l.json"]);
    assert!(stderr(&output).contains("written to l.json"), "{}", stderr(&output));
    // A layout is named after its table.
    let layout: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.path().join("l.json")).unwrap())
            .unwrap();
    assert_eq!(layout["id"], "draft-office-a");
}

/// A missing table is named even if the layout has mistakes.
#[test]
fn a_missing_table_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let wrong = read(LAYOUT_A).replace("\"pipes.street\"", "\"pipes.stret\"");
    std::fs::write(folder.path().join("l.json"), wrong).unwrap();
    let output = obvert_in(folder.path(), &["layout", "check", "l.json", "no.csv"]);
    assert_eq!(status(&output), 2);
    assert!(stderr(&output).contains("no.csv: there is no such file"), "{}", stderr(&output));
}

/// A wrong cell of the row that ends a stretch is reported as one of the observation that an earlier
/// row starts, not of the next one, as text and as JSON.
#[test]
fn a_wrong_cell_of_a_row_without_an_observation_names_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let text: String =
        std::fs::read(root().join(A)).unwrap().iter().map(|byte| char::from(*byte)).collect();
    // Row 6 ends the stretch that row 4 starts at 0+12.40.
    let wrong =
        text.replacen("0+44.20,Crack,longitudinal,11-1", "0+44.20,Crack,longitudinal,11/1", 1);
    assert_ne!(wrong, text);
    let bytes: Vec<u8> = wrong.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    std::fs::write(folder.path().join("a.csv"), bytes).unwrap();
    let layout = root().join(LAYOUT_A).display().to_string();
    let check = ["check", "a.csv", "--layout", &layout, "--today", "2026-06-01", "--all"];
    let printed = stdout(&obvert_in(folder.path(), &check));
    let line = printed.lines().find(|line| line.contains("a.csv:6:14 (column Clock)")).unwrap();
    assert!(line.contains("observation 3, at 12.4 ft"), "{line}");
    let output = obvert_in(folder.path(), &[&check[..], &["--format", "json"]].concat());
    let report: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let finding = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["at"]["line"] == 6)
        .unwrap();
    assert!(finding.to_string().contains("/runs/0/observations/2"), "{finding:#}");
}
