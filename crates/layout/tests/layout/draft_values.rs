//! How a draft treats the values of a column that its heading identifies.

use obvert_layout::{self as layout, Draft};
use serde_json::{Value, json};

use super::draft::SMALL;
use super::read;

/// The table of [`SMALL`] with one more column at the end. Missing cells are blank; give fewer than
/// five.
fn with_column(heading: &str, cells: &[&str]) -> String {
    let cells = std::iter::once(&heading).chain(cells).chain(std::iter::repeat(&""));
    SMALL.lines().zip(cells).map(|(row, cell)| format!("{row};\"{cell}\"\n")).collect()
}

fn draft(table: &str) -> Draft {
    layout::draft(table.as_bytes(), "t.csv").unwrap()
}

/// Reads the observations of a table with a layout drafted from it.
fn observations(table: &str, draft: &Draft) -> Value {
    super::json(&read(table.as_bytes(), &draft.layout).0.document)["runs"][0]["observations"]
        .clone()
}

/// The separator between several pictures is the one most cells have, with or without white space
/// around it. Cells with another separator are named.
#[test]
fn pictures_are_split_at_the_most_common_separator() {
    type Case<'c> = (&'c [&'c str], Option<&'c str>, &'c [&'c str]);
    let cases: [Case<'_>; 10] = [
        (&["a.jpg, b.jpg", "c.jpg,d.jpg", "e.jpg; f.jpg", "g.jpg"], Some(","), &["e.jpg; f.jpg"]),
        (&["a.jpg, b.jpg", "c.jpg, d.jpg", "g.jpg"], Some(", "), &[]),
        (&["a.jpg; b.jpg", "c.jpg ;d.jpg;", "g.jpg"], Some(";"), &[]),
        (&["a.jpg|b.jpg", "c.jpg | d.jpg", "g.jpg"], Some("|"), &[]),
        (&["a.jpg b.jpg", "c.jpg  d.jpg", "g.jpg"], Some(" "), &[]),
        (&["a.jpg", "c.jpg", "my picture, left.jpg"], None, &[]),
        (&["my picture.jpg; b.jpg", "c.jpg"], Some("; "), &[]),
        // Half of the cells or fewer are enough if all of them are pictures.
        (
            &["a.jpg, b.jpg", "c.jpg, d.jpg", "e.jpg; f.jpg", "g.jpg|h.jpg"],
            Some(", "),
            &["e.jpg; f.jpg", "g.jpg|h.jpg"],
        ),
        (
            &["a.jpg|b.jpg", "c.jpg, d.jpg", "e.jpg f.jpg"],
            Some(", "),
            &["a.jpg|b.jpg", "e.jpg f.jpg"],
        ),
        // The number of occurrences of a value counts.
        (&["a.jpg; b.jpg", "c.jpg, d.jpg", "c.jpg, d.jpg", "e.jpg"], Some(", "), &["a.jpg; b.jpg"]),
    ];
    for (cells, separator, odd) in &cases {
        let table = with_column("Photos", cells);
        let draft = draft(&table);
        let (column, drafted) = (&draft.layout.columns[7], &draft.columns[7]);
        assert_eq!(
            column.to.as_deref(),
            Some("runs.observations.media.id"),
            "{cells:?}: {drafted:#?}"
        );
        assert_eq!(column.separator.as_deref(), *separator, "{cells:?}");
        let named: Vec<&str> = drafted.outliers.iter().map(|(value, _)| value.as_str()).collect();
        assert_eq!(named, *odd, "{cells:?}: {drafted:#?}");
        #[allow(clippy::cast_precision_loss)]
        let share = (cells.len() - odd.len()) as f64 / cells.len() as f64;
        assert!((drafted.confidence - (0.6 + 0.4 * share)).abs() < 1e-9, "{cells:?}: {drafted:#?}");
        assert_eq!(
            drafted.reason.contains(" values look like files of pictures, with "),
            !odd.is_empty()
        );
        // The odd ones are refused until they are written like the others.
        let refused = obvert_layout::read(table.as_bytes(), "t.csv", &draft.layout, &[]);
        assert_eq!(refused.is_err(), !odd.is_empty(), "{cells:?}");
        let fixed: Vec<&str> =
            cells.iter().map(|cell| if odd.contains(cell) { "x.jpg" } else { cell }).collect();
        let all = observations(&with_column("Photos", &fixed), &draft);
        for (at, cell) in cells.iter().enumerate().filter(|(_, cell)| !odd.contains(cell)) {
            let files = cell.matches(".jpg").count();
            assert_eq!(all[at]["media"].as_array().unwrap().len(), files, "{cell}: {all:#}");
        }
    }
    let mixed = draft(&with_column("Photos", cases[0].0));
    let open = "\"Photos\": line 4 has \"e.jpg; f.jpg\", which is not written like the others; write it like them";
    assert!(mixed.open.iter().any(|one| one.starts_with(open)), "{:#?}", mixed.open);
    assert!(
        mixed.columns[7]
            .reason
            .ends_with("with \",\" between several; line 4 has \"e.jpg; f.jpg\"")
    );
    // They are pictures under any heading.
    let unnamed = draft(&with_column("Zq", cases[7].0)).columns[7].clone();
    assert_eq!(
        (unnamed.to.as_deref(), unnamed.outliers.len()),
        (Some("runs.observations.media.id"), 2),
        "{unnamed:#?}"
    );
}

/// Two clock hours as four digits, if the heading has a word for the clock, and hours with leading
/// zeros, with any separator between the two.
#[test]
fn clock_positions_are_drafted_and_written_back_unchanged() {
    let cases = [
        (["1101", "0507", "02", "12", ""], None, Some(2)),
        (["1101", "1002", "3", "12", ""], None, None),
        (["11-01", "05-07", "02", "12", ""], Some("-"), Some(2)),
        (["11/1", "5/7", "2", "12", ""], Some("/"), None),
    ];
    for (cells, separator, digits) in cases {
        let table = with_column("Clock", &cells);
        let draft = draft(&table);
        let (column, drafted) = (&draft.layout.columns[7], &draft.columns[7]);
        assert_eq!(
            drafted.reason,
            "the heading is a word for the clock position, and all 4 values match"
        );
        let declared = serde_json::to_value(column).unwrap();
        assert_eq!(
            (&declared["to"], &declared["kind"]),
            (&"runs.observations.clock".into(), &"clock".into()),
            "{declared:#}"
        );
        assert_eq!(
            (declared.get("separator"), declared.get("digits")),
            (separator.map(Value::from).as_ref(), digits.map(Value::from).as_ref()),
            "{declared:#}"
        );
        let all = observations(&table, &draft);
        assert_eq!(all[0]["clock"], json!({"from": 11, "to": 1}));
        assert_eq!(all[3]["clock"], json!({"at": 12}));
        let (survey, _) = read(table.as_bytes(), &draft.layout);
        let (written, _) = layout::write(&survey.document, &draft.layout, &[]).unwrap();
        let written = String::from_utf8(written).unwrap();
        for (line, cell) in written.lines().skip(1).zip(cells) {
            assert!(line.ends_with(&format!(";{cell}")), "{cell}: {line}");
        }
    }
    // One that is not a position, and one that no clock has.
    for odd in ["top", "2507"] {
        let draft = draft(&with_column("Clock", &["1101", odd, "0507", "02"]));
        let reason = format!(
            "the heading is a word for the clock position, and 3 of 4 values look like clock positions, two as four digits; \
             line 3 has {odd:?}"
        );
        assert_eq!(draft.columns[7].reason, reason);
        assert_eq!(draft.layout.columns[7].separator, None);
    }
    // Without a word for the clock in its heading, the column means something else.
    for heading in ["Zq", "Clock from"] {
        let draft = draft(&with_column(heading, &["1101", "0507", "0202", "1212"]));
        let clock = draft.columns[7].to.as_deref() == Some("runs.observations.clock");
        assert_eq!(clock, heading == "Clock from", "{heading}: {:#?}", draft.columns[7]);
    }
}

/// A table of two pipes with a column that describes each.
fn of_runs(heading: &str, [one, other]: [&str; 2]) -> String {
    let mut table = format!("Pipe;Upstream;Downstream;{heading};Distance;Code;Grade;Remark\n");
    for (pipe, ends, value) in [("P1", "A;B", one), ("P2", "C;B", other)] {
        for row in ["0,0;run.start;;", "1,5;crack.longitudinal;3;fine", "9,0;run.finish;;"] {
            table += &format!("{pipe};{ends};\"{value}\";{row}\n");
        }
    }
    table
}

/// Words for the camera direction, under a heading for it and under headings that allow it,
/// including that of a run.
#[test]
fn camera_directions_are_recognised_by_their_words() {
    let room = "the heading allows which way the camera went, and all 6 values match";
    for (heading, values, reason) in [
        (
            "Way",
            ["DS", "US"],
            "the heading is a word for which way the camera went, and all 6 values match",
        ),
        ("Way", ["D/S", "U/S"], ""),
        ("Way", ["down", "up"], ""),
        ("Way", ["with flow", "against flow"], ""),
        ("Way", ["with", "against"], ""),
        ("Way", ["Down stream", "Up-stream"], ""),
        ("Way the camera went", ["DS", "US"], room),
        ("Run", ["DS", "US"], room),
        ("Run", ["D", "U"], room),
        ("US/DS", ["DS", "US"], room),
    ] {
        let table = of_runs(heading, values);
        let draft = draft(&table);
        let drafted = &draft.columns[3];
        assert_eq!(
            drafted.to.as_deref(),
            Some("runs.direction"),
            "{heading} {values:?}: {drafted:#?}"
        );
        assert!(reason.is_empty() || drafted.reason == reason, "{heading}: {}", drafted.reason);
        let document = super::json(&read(table.as_bytes(), &draft.layout).0.document);
        let ways: Vec<&Value> =
            document["runs"].as_array().unwrap().iter().map(|run| &run["direction"]).collect();
        assert_eq!(ways, ["downstream", "upstream"], "{heading} {values:?}");
    }
    // A value with a number, or one letter among others, does name a run, and "from one end to the
    // other" does not name one direction.
    for values in [["D-1", "U-1"], ["D", "E"], ["D", "D"]] {
        assert_eq!(
            draft(&of_runs("Run", values)).columns[3].to.as_deref(),
            Some("runs.id"),
            "{values:?}"
        );
    }
    let drafted = draft(&of_runs("Way", ["US to DS", "DS to US"])).columns[3].clone();
    let reason = "the heading is a word for which way the camera went, and its values do not match: line 2 has \"US to DS\", line 5 has \"DS to US\"";
    assert_eq!((drafted.to, drafted.reason.as_str()), (None, reason));
    // The draft asks about a single unknown word.
    let odd = of_runs("Run", ["DS", "US"]).replacen("P2;C;B;\"US\"", "P2;C;B;\"?\"", 1);
    let draft = draft(&odd);
    assert_eq!(draft.columns[3].to.as_deref(), Some("runs.direction"), "{:#?}", draft.columns[3]);
    let open = "\"Run\": line 5 has \"?\", which is not a known word; add it to translate";
    assert!(draft.open.iter().any(|one| one == open), "{:#?}", draft.open);
}

/// Under a merged heading for the run, words for a direction are the direction, and the columns
/// next to them name the run.
#[test]
fn directions_under_the_heading_of_a_run_are_not_its_names() {
    let table = |no: &str, one: &str, other: &str| {
        format!(
            "Pipe,,,Run,{no}Observation,,\nNo,From,To,{no}Way,At,What,Remark\nP1,A,B,{one}DS,0.0,start,\n\
             P1,A,B,{one}DS,3.5,crack longitudinal,x\nP1,A,B,{one}DS,9.5,end,\nP2,C,D,{other}US,0.0,start,\nP2,C,D,{other}US,9.5,end,\n"
        )
    };
    for (table, id) in [
        (table("", "", ""), None),
        (table("No,", "1,", "2,").replace("Run,No,", "Run,,"), Some("Run\nNo")),
    ] {
        let draft = draft(&table);
        let of = |to: &str| draft.columns.iter().find(|column| column.to.as_deref() == Some(to));
        assert_eq!(
            of("runs.direction").map(|column| column.heading.as_str()),
            Some("Run\nWay"),
            "{:#?}",
            draft.columns
        );
        assert_eq!(of("runs.id").map(|column| column.heading.as_str()), id, "{:#?}", draft.columns);
        assert!(
            !draft.open.iter().any(|open| open.contains("no column says which way")),
            "{:#?}",
            draft.open
        );
        let document = super::json(&read(table.as_bytes(), &draft.layout).0.document);
        assert_eq!(document["runs"][1]["direction"], "upstream");
    }
}

/// A date and time consist of one date column and one time column, or of a single column. An empty
/// column or a third column is not part of it.
#[test]
fn a_date_and_time_needs_one_date_and_one_time_with_values() {
    const DAY: &str = "13.05.2026";
    const LACKS: &str = "and all 5 values match, but a timestamp needs a date and a time of day";
    const EMPTY: &str = "and there are no values";
    const TAKEN: &str = "which was assigned to \"Date\"";
    type Case<'c> = (&'c [(&'c str, &'c str, &'c str)], Option<&'c str>, &'c str);
    let cases: [Case<'_>; 7] = [
        (
            &[("Date", DAY, "and all"), ("Time", "09:30", "and all")],
            Some("09:30"),
            "the offset of its times from UTC",
        ),
        (
            &[("Date", DAY, LACKS), ("Time", "", EMPTY)],
            None,
            "there are dates without times of day",
        ),
        (
            &[("Date", "", EMPTY), ("Time", "09:30", LACKS)],
            None,
            "there are times of day without dates",
        ),
        (
            &[("Date", "", EMPTY), ("Time", "", EMPTY)],
            None,
            "the table does not have the time of issue",
        ),
        (
            &[("Date", "13.05.2026 09:30", "and all"), ("Time", "", EMPTY)],
            Some("09:30"),
            "its times from UTC",
        ),
        (
            &[
                ("Date", DAY, "and all"),
                ("Inspected", "14.05.2026", TAKEN),
                ("Time", "09:30", "and all"),
            ],
            Some("09:30"),
            "\"Inspected\": the heading",
        ),
        // In one column, it has a single part.
        (
            &[
                ("Started", DAY, TAKEN),
                ("Date", "13.05.2026 09:45", "and all"),
                ("Time", "09:30", TAKEN),
            ],
            Some("09:45"),
            "\"Started\": the heading",
        ),
    ];
    for (columns, started, open) in cases {
        let mut table = SMALL.to_owned();
        for (heading, value, _) in columns.iter().rev() {
            table = table
                .replace("Pipe;", &format!("Pipe;{heading};"))
                .replace("P1;", &format!("P1;{value};"));
        }
        let draft = draft(&table);
        for (heading, _, reason) in columns {
            let drafted = draft.columns.iter().find(|column| column.heading == *heading).unwrap();
            let start = format!("the heading is a word for when it began, {reason}");
            assert!(drafted.reason.starts_with(&start), "{columns:?}: {drafted:#?}");
            assert_eq!(drafted.to.is_some(), *reason == "and all", "{columns:?}: {drafted:#?}");
        }
        assert!(draft.open.iter().any(|one| one.contains(open)), "{open}: {:#?}", draft.open);
        assert_eq!(
            draft.open.iter().filter(|one| one.contains(" stand without ")).count(),
            open.matches(" stand ").count()
        );
        assert_eq!(draft.layout.problems(), [], "{columns:?}");
        let run = &super::json(&read(table.as_bytes(), &draft.layout).0.document)["runs"][0];
        let is = started.map_or(Value::Null, |time| format!("2026-05-13T{time}:00+00:00").into());
        assert_eq!(run["started"], is, "{columns:?}");
    }
}

/// A column without a target has its own reason.
#[test]
fn a_detail_next_to_complete_codes_is_left_unmapped_for_that_reason() {
    let drafted = draft(&with_column("Detail", &["", "wide"])).columns[7].clone();
    let reason = "the heading is a word for what was seen, in more detail, and the only value is possible, but the codes include it";
    assert_eq!((drafted.to, drafted.reason.as_str()), (None, reason));
}
