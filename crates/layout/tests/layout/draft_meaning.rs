//! Columns that look like something else: dates that could be run names, and sizes of defects.

use obvert_layout as layout;

use super::draft::SMALL;
use super::read;

/// The table of [`SMALL`] with one more column after the pipe that has one value in all rows.
fn with_column(heading: &str, value: &str) -> String {
    SMALL.replace("Pipe;", &format!("Pipe;{heading};")).replace("P1;", &format!("P1;{value};"))
}

/// Dates with month names are read. Dates that no pattern reads are left unmapped with the reason.
/// None of them names a run.
#[test]
fn a_column_of_dates_never_names_a_run() {
    for (value, pattern) in [
        ("03-May-26", "dd-mmm-yy"),
        ("3-May-26", "d-mmm-yy"),
        ("03-May-2026", "dd-mmm-yyyy"),
        ("13-May-2026", "dd-mmm-yyyy"),
        ("13 MAY 2026", "dd mmm yyyy"),
        ("3 May 2026", "d mmm yyyy"),
    ] {
        for heading in ["Inspection Date", "Date of inspection", "Inspektionsdatum"] {
            let table = with_column(&format!("{heading};Start time"), &format!("{value};09:30"));
            let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
            let column = &draft.layout.columns[1];
            assert_eq!(
                (column.to.as_deref(), column.pattern.as_deref()),
                (Some("runs.started"), Some(pattern)),
                "{heading} {value}: {:#?}",
                draft.columns[1]
            );
            let day = if value.starts_with("13") { "13" } else { "03" };
            let started = super::json(&read(table.as_bytes(), &draft.layout).0.document)["runs"][0]
                ["started"]
                .clone();
            assert_eq!(started, format!("2026-05-{day}T09:30:00+00:00"));
        }
    }
    // Days of one and two digits in one column.
    let mixed = with_column("Inspection Date", "3-May-26") + "P2;13-May-26;B;C;9,0;run.finish;;\n";
    let draft = layout::draft(mixed.as_bytes(), "t.csv").unwrap();
    assert!(
        draft.columns[1]
            .reason
            .ends_with("all 6 values match, but a timestamp needs a date and a time of day")
    );
    for (heading, value, reason) in [
        (
            "Inspection Date",
            "3. Mai 2026",
            "the heading is a word for when it began, and its values do not match: line 2 has \"3. Mai 2026\"",
        ),
        (
            "Report date",
            "week 18",
            "a part of the heading is a word for when it began, and its values do not match: line 2 has \"week 18\"",
        ),
        (
            "Survey",
            "3. Mai 2026",
            "its values are dates, and its heading is not a word for a start",
        ),
    ] {
        let draft = layout::draft(with_column(heading, value).as_bytes(), "t.csv").unwrap();
        assert_eq!(
            (draft.columns[1].to.as_deref(), draft.columns[1].reason.as_str()),
            (None, reason),
            "{heading}"
        );
        let open = format!("{heading:?}: {reason}; set `to` to its field");
        assert!(draft.open.iter().any(|one| one.starts_with(&open)), "{:#?}", draft.open);
        assert!(
            draft.open.iter().any(|one| one.starts_with("no column identifies the run")),
            "{:#?}",
            draft.open
        );
    }
}

/// A size that is filled in only for a crack, or that differs from row to row, belongs to the crack
/// and not to the pipe, whatever its heading.
#[test]
fn sizes_that_vary_within_a_pipe_belong_to_the_observation() {
    let table = |heading: &str, widths: [&str; 5]| {
        let mut rows = SMALL.lines();
        let mut text = rows.next().unwrap().to_owned() + ";" + heading;
        rows.zip(widths).for_each(|(row, width)| text += &format!("\n{row};{width}"));
        text + "\n"
    };
    let few = "it is filled in on only 1 of 5 rows, the first being line 3 with \"2\"";
    let differ = "within one pipe line 2 has \"2\" and line 3 has \"4\"";
    let all = ["2", "4", "3", "5", "6"];
    let once = ["", "2", "", "", ""];
    for (heading, widths, what, why) in [
        ("Crack width (mm)", once, "the pipe's width", few),
        ("Width mm", once, "the pipe's width", few),
        ("Width mm", all, "the pipe's width", differ),
        ("Height (mm)", all, "the pipe's size", differ),
    ] {
        let table = table(heading, widths);
        let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
        let (column, drafted) = (&draft.layout.columns[7], &draft.columns[7]);
        assert_eq!(
            drafted.to.as_deref(),
            Some("runs.observations.quantities.value"),
            "{drafted:#?}"
        );
        let message = format!(
            "the heading has a word for {what}, but {why}, so it belongs to the observation"
        );
        assert!(drafted.reason.starts_with(&message), "{}", drafted.reason);
        let basis = column.basis.as_ref().unwrap();
        assert!(basis.contains(&message) && drafted.confidence < 0.9, "{basis}");
        let document = super::json(&read(table.as_bytes(), &draft.layout).0.document);
        let crack = &document["runs"][0]["observations"][1];
        assert_eq!(crack["quantities"][0]["unit"], "mm");
        assert_eq!(crack["quantities"][0]["value"].to_string(), widths[1]);
    }
    // Without a unit, and of the pipe by its heading: its meaning is unknown.
    for (heading, widths, why, rest) in [
        ("Width", all, differ, "no unit shows that it is an amount"),
        ("Pipe width (mm)", once, few, "its heading says that it is the pipe's"),
    ] {
        let draft = layout::draft(table(heading, widths).as_bytes(), "t.csv").unwrap();
        assert_eq!(draft.columns[7].to, None, "{:#?}", draft.columns[7]);
        let open = format!(
            "{heading:?}: the heading has a word for the pipe's width, but {why}, so it belongs to the observation, and {rest}; set `to` to its field"
        );
        assert!(draft.open.iter().any(|one| one.starts_with(&open)), "{:#?}", draft.open);
    }
    // The same value in all rows or in the first, and one mistake.
    for widths in [
        ["300"; 5],
        ["300", "", "", "", ""],
        ["300", "300", "30", "300", "300"],
        ["", "300", "300", "300", "300"],
    ] {
        let draft = layout::draft(table("Width mm", widths).as_bytes(), "t.csv").unwrap();
        assert_eq!(
            draft.columns[7].to.as_deref(),
            Some("pipes.width"),
            "{widths:?}: {:#?}",
            draft.columns[7]
        );
    }
}

/// A default that the draft puts in because the table has no date of issue is always reported.
#[test]
fn a_default_date_of_issue_is_reported() {
    let draft = layout::draft(SMALL.as_bytes(), "t.csv").unwrap();
    let (survey, report) = read(SMALL.as_bytes(), &draft.layout);
    assert_eq!(survey.document.head.issued.to_string(), "2000-01-01T00:00:00Z");
    let reported: Vec<_> = report.losses.iter().filter(|loss| loss.pointer == "/issued").collect();
    assert_eq!(reported.len(), 1, "{report:#?}");
    assert!(
        reported[0].message.ends_with("set the time of issue in fixed"),
        "{}",
        reported[0].message
    );
    // Once it is given, there is nothing to report.
    let mut given = draft.layout.clone();
    let fixed = given.fixed.iter_mut().find(|fixed| &*fixed.to == "issued").unwrap();
    fixed.value = serde_json::from_value("2026-06-01T12:00:00Z".into()).unwrap();
    assert!(!read(SMALL.as_bytes(), &given).1.losses.iter().any(|loss| loss.pointer == "/issued"));
}
