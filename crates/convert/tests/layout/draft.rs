//! Layouts that are drafted from tables alone, held against the ones that were written by hand.

use obvert_convert::layout::{self, Draft};
use obvert_model::layout::Layout;
use serde_json::Value;

use super::{A, B, a, b, read};

const D: &[u8] = include_bytes!("office-d.txt");

/// What a column is, as far as it decides how cells are read: where it leads, its kind, pattern, separator, unit and place, or its
/// part in codes and stretches.
fn what(layout: &Layout, heading: &str) -> String {
    let column = layout.columns.iter().find(|column| *column.heading == *heading).unwrap();
    if layout.codes.as_ref().is_some_and(|codes| codes.columns.contains(&column.heading)) {
        return "codes".to_owned();
    }
    if layout.stretches.as_ref().is_some_and(|stretches| stretches.column == column.heading) {
        let stretches = layout.stretches.as_ref().unwrap();
        return format!("stretches {} {}", stretches.start, stretches.finish);
    }
    let all = serde_json::to_value(column).unwrap();
    let keys = ["to", "kind", "pattern", "unit", "place"];
    let mut said: Vec<String> =
        keys.iter().map(|key| all.get(*key).map(Value::to_string).unwrap_or_default()).collect();
    if all["kind"] == "clock" {
        said.push(all["separator"].to_string());
    }
    said.join(" ")
}

/// The columns that the draft has right, and those that it has otherwise.
fn held(draft: &Draft, by_hand: &Layout) -> (usize, Vec<String>) {
    let (mut right, mut wrong) = (0, Vec::new());
    for column in &by_hand.columns {
        let (is, ought) = (what(&draft.layout, &column.heading), what(by_hand, &column.heading));
        if is == ought {
            right += 1;
        } else {
            wrong.push(format!("{}: {is} and not {ought}", column.heading));
        }
    }
    (right, wrong)
}

/// At least four of five columns of the two offices right unaided, as the project demands of itself.
#[test]
fn drafts_have_most_columns_right() {
    for (source, by_hand) in [(A, a()), (B, b())] {
        let draft = layout::draft(source, "t.csv").unwrap();
        let (right, wrong) = held(&draft, &by_hand);
        println!("{}: {right} of {} right; {wrong:#?}", by_hand.id, by_hand.columns.len());
        assert!(right * 5 >= by_hand.columns.len() * 4, "{right}: {wrong:#?}");
        assert_eq!(draft.columns.len(), by_hand.columns.len());
        for (column, drafted) in draft.layout.columns.iter().zip(&draft.columns) {
            assert!(!drafted.reason.is_empty() && (0.0..=1.0).contains(&drafted.confidence), "{drafted:?}");
            assert_eq!(column.basis.is_some(), drafted.to.is_some(), "{drafted:?}");
        }
    }
}

/// A table that the words were not chosen for.
#[test]
fn a_draft_of_a_third_table_has_most_columns_right() {
    let draft = layout::draft(D, "d.txt").unwrap();
    let ought = [
        ("Survey No", "runs.id"),
        ("Upstream MH", "pipes.upstream"),
        ("Downstream MH", "pipes.downstream"),
        ("Dir", "runs.direction"),
        ("Pipe Size (mm)", "pipes.height"),
        ("Pipe Material", "pipes.material"),
        ("Total Length (m)", "pipes.length"),
        ("Inspection Date", "runs.started"),
        ("Start Time", "runs.started"),
        ("Distance (m)", "runs.observations.at"),
        ("Defect", "codes"),
        ("Clock At", "runs.observations.clock.from"),
        ("Clock To", "runs.observations.clock.to"),
        ("Severity", "runs.observations.grades"),
        ("Percentage", "runs.observations.quantities.value"),
        ("Photo No", "runs.observations.media.id"),
        ("Video Position", "runs.observations.media.offset"),
        ("Surveyed By", "runs.operator"),
        ("Remarks", "runs.observations.remark"),
    ];
    let is: Vec<(&str, &str)> = draft
        .columns
        .iter()
        .map(|column| (column.heading.as_str(), column.to.as_deref().unwrap_or("nothing")))
        .collect();
    let wrong: Vec<_> = is.iter().zip(&ought).filter(|(is, ought)| is != ought).collect();
    println!("{} of {} right; {wrong:#?}", ought.len() - wrong.len(), ought.len());
    assert_eq!(is.len(), ought.len());
    assert!((ought.len() - wrong.len()) * 5 >= ought.len() * 4, "{wrong:#?}");
}

/// A draft reads the table that it was drafted from, but for what it says is open.
#[test]
fn drafts_read_their_own_tables() {
    for (source, runs) in [(A, 4), (B, 2), (D, 2)] {
        let draft = layout::draft(source, "t.csv").unwrap();
        assert_eq!(draft.layout.problems(), [], "{:#?}", draft.open);
        let again = Layout::read(draft.layout.write().unwrap().as_bytes()).unwrap();
        assert_eq!(again, draft.layout);
        let unread = draft.open.iter().filter(|open| open.contains("no code is known")).count();
        let found = match layout::read(source, "t.csv", &draft.layout, &[]) {
            Ok((survey, _)) => {
                assert_eq!(unread, 0, "{:#?}", draft.open);
                survey.document.runs.len()
            }
            Err(obvert_convert::ConvertError::Structure(problems)) => {
                let all: Vec<String> = problems.iter().map(ToString::to_string).collect();
                assert!(
                    all.iter().all(|one| one.contains("expected words that the layout draft has a code for")),
                    "{all:#?}"
                );
                assert!(unread > 0);
                problems.rest().unwrap().value["runs"].as_array().unwrap().len()
            }
            Err(other) => panic!("{other}"),
        };
        assert_eq!(found, runs);
    }
}

#[test]
fn what_was_guessed_is_said_with_why() {
    let draft = layout::draft(B, "b.csv").unwrap();
    for guess in [
        "encoding windows-1252, by its bytes",
        "';' between cells: it cuts 15 of 15 rows into 22",
        "',' as the decimal mark",
        "mm for units.section: sizes from 250 on can be nothing else",
        "m for units.length: sizes are in millimetres",
    ] {
        assert!(draft.guesses.iter().any(|one| one.starts_with(guess)), "{guess}: {:#?}", draft.guesses);
    }
    let column = draft.columns.iter().find(|column| column.heading == "DN").unwrap();
    assert_eq!(column.sample, Some(("300".to_owned(), 2)));
    assert_eq!(column.reason, "the heading is a word for the pipe's size, and 14 values can be it");
    let american = layout::draft(A, "a.csv").unwrap();
    let unsettled = "\"Date\": nothing tells day and month apart; it was taken for m/d/yyyy, since times are written with am and pm";
    assert!(american.open.iter().any(|open| open == unsettled), "{:#?}", american.open);
}

/// Headings as databases have them, minutes and seconds, and months before days that a day beyond 12 settles.
#[test]
fn headings_of_databases_are_taken_apart() {
    let table = "PipeID,US_Node,DS_Node,DirOfSurvey,Dia,Mat,Len,SurveyDate,StartTime,Dist,Obs,ClkFrom,ClkTo,Sev,Qty,Img,VidTime\n\
                 A-1,N1,N2,down,12,RCP,204.5,03/17/2026,08:15,0.0,Start,,,,,,0:00\n\
                 A-1,N1,N2,down,12,RCP,204.5,03/17/2026,08:15,12.5,Crack longitudinal,11,1,2,,i1.jpg,0:45\n\
                 A-1,N1,N2,down,12,RCP,204.5,03/17/2026,08:15,30.5,Roots fine,5,7,3,10,i2.jpg,75:45\n\
                 A-1,N1,N2,down,12,RCP,204.5,03/17/2026,08:15,204.0,End,,,,,,79:59\n";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    assert!(draft.columns.iter().all(|column| column.to.is_some()), "{:#?}", draft.columns);
    assert!(!draft.open.iter().any(|open| open.contains("day and month")), "{:#?}", draft.open);
    let (survey, _) = read(table.as_bytes(), &draft.layout);
    let document = super::json(&survey.document);
    assert_eq!(document["units"], serde_json::json!({"length": "ft", "section": "in"}));
    let run = &document["runs"][0];
    assert_eq!((&run["started"], &run["outcome"]["kind"]), (&"2026-03-17T08:15:00+00:00".into(), &"reached".into()));
    assert_eq!(run["observations"][2]["media"][1]["offset"], 4545);
    assert_eq!(run["observations"][2]["quantities"], serde_json::json!([{"value": 10, "unit": "percent"}]));
}

#[test]
fn what_is_no_table_is_refused() {
    for (source, message) in [
        (b"".as_slice(), "no delimiter cuts its lines"),
        (b"one\ntwo\nthree\n", "no delimiter cuts its lines"),
        (b"Pipe;Length\n", "there are no rows below the headings"),
        (b"PK\x03\x04", "a zip archive or a workbook"),
    ] {
        let said = layout::draft(source, "t.csv").unwrap_err().to_string();
        assert!(said.contains(message), "{said}");
    }
}

/// Titles, two rows of headings, a column that nobody knows, and a date that settles day and month.
#[test]
fn headings_are_found_below_titles_and_in_two_rows() {
    let table = "Sewers of Larkmoor;;;;;;;\nPipe;Upstream;Downstream;Distance;Code;Clock;;Zq\n;;;;;from;to;\n\
                 P1;A;B;1,5;crack.longitudinal;11;1;blue\nP1;A;B;2,5;roots.fine;5;7;green\n";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    assert_eq!(draft.layout.table.as_ref().unwrap().heading_row, Some(2));
    let headings: Vec<&str> = draft.columns.iter().map(|column| column.heading.as_str()).collect();
    assert_eq!(headings[5..], ["Clock\nfrom", "Clock\nto", "Zq"]);
    assert_eq!(draft.columns[7].to, None);
    assert!(
        draft.open.iter().any(|open| open.starts_with("\"Zq\": neither its heading nor its values")),
        "{:#?}",
        draft.open
    );
    let (survey, _) = read(table.as_bytes(), &draft.layout);
    assert_eq!(survey.document.runs[0].observations.len(), 2);
}
