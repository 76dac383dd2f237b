//! Layouts drafted from tables alone, compared with those written by hand.

use obvert_layout::{self as layout, Draft};
use obvert_model::layout::Layout;
use serde_json::Value;

use super::{A, B, a, b, read};

const D: &[u8] = include_bytes!("office-d.txt");
const F: &[u8] = include_bytes!("office-f.csv");
const G: &[u8] = include_bytes!("office-g.txt");

/// The properties of a column that determine how its cells are read: target, kind, pattern,
/// separator, unit and location, or its part in codes and continuous features.
fn binding(layout: &Layout, heading: &str) -> String {
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
    let mut parts: Vec<String> =
        keys.iter().map(|key| all.get(*key).map(Value::to_string).unwrap_or_default()).collect();
    if all["kind"] == "clock" {
        parts.push(all["separator"].to_string());
    }
    parts.join(" ")
}

/// Counts the columns the draft has right and lists those that differ.
pub(super) fn compared(draft: &Draft, by_hand: &Layout) -> (usize, Vec<String>) {
    let (mut right, mut wrong) = (0, Vec::new());
    for column in &by_hand.columns {
        let (is, expected) =
            (binding(&draft.layout, &column.heading), binding(by_hand, &column.heading));
        if is == expected {
            right += 1;
        } else {
            wrong.push(format!("{}: {is} and not {expected}", column.heading));
        }
    }
    (right, wrong)
}

/// The draft gets at least four of five columns of both offices right unaided, the target the
/// project sets itself.
#[test]
fn drafts_have_most_columns_right() {
    for (source, by_hand) in [(A, a()), (B, b())] {
        let draft = layout::draft(source, "t.csv").unwrap();
        let (right, wrong) = compared(&draft, &by_hand);
        println!("{}: {right} of {} right; {wrong:#?}", by_hand.id, by_hand.columns.len());
        assert!(right * 5 >= by_hand.columns.len() * 4, "{right}: {wrong:#?}");
        assert_eq!(draft.columns.len(), by_hand.columns.len());
        for (column, drafted) in draft.layout.columns.iter().zip(&draft.columns) {
            assert!(
                !drafted.reason.is_empty() && (0.0..=1.0).contains(&drafted.confidence),
                "{drafted:?}"
            );
            assert_eq!(column.basis.is_some(), drafted.to.is_some(), "{drafted:?}");
        }
    }
}

/// A table that was not used to choose the vocabulary.
#[test]
fn a_draft_of_a_third_table_has_most_columns_right() {
    let draft = layout::draft(D, "d.txt").unwrap();
    let expected = [
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
        ("Clock from", "runs.observations.clock.from"),
        ("Clock to", "runs.observations.clock.to"),
        ("Severity", "runs.observations.grades"),
        ("Percentage", "runs.observations.quantities.value"),
        ("Photo No", "runs.observations.media.id"),
        ("Video Position", "runs.observations.media.offset"),
        ("Camera by", "runs.operator"),
        ("Remarks", "runs.observations.remark"),
    ];
    let wrong = mismatches(&draft, &expected);
    assert!((expected.len() - wrong.len()) * 5 >= expected.len() * 4, "{wrong:#?}");
}

/// The columns whose targets differ from the expected ones.
fn mismatches(draft: &Draft, expected: &[(&str, &str)]) -> Vec<(String, String)> {
    assert_eq!(draft.columns.len(), expected.len());
    let is = draft
        .columns
        .iter()
        .map(|column| (column.heading.as_str(), column.to.as_deref().unwrap_or("nothing")));
    let wrong: Vec<(String, String)> = is
        .zip(expected)
        .filter(|(is, expected)| is != *expected)
        .map(|((heading, to), _)| (heading.to_owned(), to.to_owned()))
        .collect();
    println!("{} of {} right; {wrong:#?}", expected.len() - wrong.len(), expected.len());
    wrong
}

/// French headings and words, decimal commas, and spaces between thousands. Times of day have an h
/// between hours and minutes.
#[test]
fn a_draft_of_a_french_table_has_most_columns_right() {
    let draft = layout::draft(F, "f.csv").unwrap();
    let expected = [
        ("Tronçon", "pipes.id"),
        ("Regard amont", "pipes.upstream"),
        ("Regard aval", "pipes.downstream"),
        ("Voie", "pipes.street"),
        ("Sens de l'inspection", "runs.direction"),
        ("Diamètre (mm)", "pipes.height"),
        ("Matériau", "pipes.material"),
        ("Longueur (m)", "pipes.length"),
        ("Date de visite", "runs.started"),
        ("Heure de début", "runs.started"),
        ("Abscisse (m)", "runs.observations.at"),
        ("Constatation", "codes"),
        ("Position horaire", "runs.observations.clock"),
        ("Ampleur (%)", "runs.observations.quantities.value"),
        ("Au joint", "runs.observations.joint"),
        ("Gravité", "runs.observations.grades"),
        ("Photo", "runs.observations.media.id"),
        ("Commentaire", "runs.observations.remark"),
        ("Opérateur", "runs.operator"),
    ];
    let wrong = mismatches(&draft, &expected);
    assert_eq!(wrong, []);
    let of = |heading: &str| {
        draft.layout.columns.iter().find(|column| *column.heading == *heading).unwrap()
    };
    assert_eq!(of("Heure de début").pattern.as_deref(), Some("hhhmm"));
    assert!(
        draft
            .guesses
            .iter()
            .any(|guess| guess == "' ' as the thousands separator: 3 values have it"),
        "{:#?}",
        draft.guesses
    );
    let document = super::json(&read(F, &draft.layout).0.document);
    assert_eq!(
        (&document["pipes"][1]["length"], &document["pipes"][1]["material"]),
        (&1205.into(), &"concrete".into())
    );
    assert_eq!(document["runs"][0]["observations"][2]["code"], "roots.fine");
    assert_eq!(
        (&document["runs"][1]["direction"], &document["runs"][1]["from"]),
        (&"upstream".into(), &"R-13".into())
    );
    assert_eq!(document["runs"][1]["started"], "2026-03-15T09:40:00+00:00");
}

/// Unusual headings, feet and inches, sizes with their unit, English months: the values identify
/// most columns, and a column they do not identify is left unmapped instead of guessed.
#[test]
fn a_draft_of_a_table_with_unusual_headings_has_no_wrong_column() {
    let draft = layout::draft(G, "g.txt").unwrap();
    let expected = [
        ("Sheet", "runs.id"),
        ("House", "pipes.street"),
        ("Entered at", "runs.from"),
        ("Came out at", "runs.to"),
        ("Camera went", "runs.direction"),
        ("Bore", "pipes.height"),
        ("Pipe made of", "pipes.material"),
        ("Run out", "pipes.length"),
        ("When", "runs.started"),
        ("How far", "runs.observations.at"),
        ("Saw", "codes"),
        ("Where on the wall", "runs.observations.clock"),
        ("How much", "runs.observations.quantities.value"),
        ("Bad", "runs.observations.grades"),
        ("Snapshot", "runs.observations.media.id"),
        ("Clip", "runs.observations.media.id"),
        ("Tape at", "runs.observations.media.offset"),
        ("Note to office", "runs.observations.remark"),
        ("Whose crew", "runs.operator"),
    ];
    let wrong = mismatches(&draft, &expected);
    assert!(wrong.iter().all(|(_, to)| to == "nothing"), "{wrong:#?}");
    assert!((expected.len() - wrong.len()) * 10 >= expected.len() * 7, "{wrong:#?}");
    for (heading, reason) in [
        (
            "How far",
            "the heading has no known word, but its lengths rise from row to row and start again near zero",
        ),
        (
            "Saw",
            "the heading has no known word, but most of its 5 different values are words for codes",
        ),
        ("Bad", "neither its heading nor its values are known"),
    ] {
        let column = draft.columns.iter().find(|column| column.heading == heading).unwrap();
        assert_eq!(column.reason, reason, "{heading}");
    }
    assert!(
        draft.guesses.iter().any(|one| one == "in for units.section: it follows each size"),
        "{:#?}",
        draft.guesses
    );
    assert!(
        draft.guesses.iter().any(|one| one.starts_with("ft for units.length")),
        "{:#?}",
        draft.guesses
    );
}

/// A draft reads the table it was drafted from, except for what it reports as open.
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
                    all.iter()
                        .all(|one| one.contains("expected words with a code in the layout draft")),
                    "{all:#?}"
                );
                assert!(unread > 0);
                problems.document().unwrap().value["runs"].as_array().unwrap().len()
            }
            Err(other) => panic!("{other}"),
        };
        assert_eq!(found, runs);
    }
}

#[test]
fn guesses_are_reported_with_their_reason() {
    let draft = layout::draft(B, "b.csv").unwrap();
    for guess in [
        "encoding windows-1252, by its bytes",
        "';' as the delimiter: it splits 15 of 15 rows into 22",
        "',' as the decimal separator",
        "mm for units.section: sizes from 250 on cannot be in another unit",
        "m for units.length: sizes are in millimetres",
    ] {
        assert!(
            draft.guesses.iter().any(|one| one.starts_with(guess)),
            "{guess}: {:#?}",
            draft.guesses
        );
    }
    let column = draft.columns.iter().find(|column| column.heading == "DN").unwrap();
    assert_eq!(column.sample, Some(("300".to_owned(), 2)));
    assert_eq!(
        column.reason,
        "the heading is a word for the pipe's size, and 14 values are possible"
    );
    let american = layout::draft(A, "a.csv").unwrap();
    let unsettled = "\"Date\": day and month cannot be distinguished; it was read as m/d/yyyy, since times have am and pm; correct pattern if needed";
    assert!(american.open.iter().any(|open| open == unsettled), "{:#?}", american.open);
}

/// Headings in the style of database columns, minutes and seconds, and months before days, settled
/// by a day beyond 12.
#[test]
fn database_style_headings_are_split() {
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
    assert_eq!(
        (&run["started"], &run["outcome"]["kind"]),
        (&"2026-03-17T08:15:00+00:00".into(), &"reached".into())
    );
    assert_eq!(run["observations"][2]["media"][1]["offset"], 4545);
    assert_eq!(
        run["observations"][2]["quantities"],
        serde_json::json!([{"value": 10, "unit": "percent"}])
    );
}

/// The message of a refusal.
fn draft_error(source: &[u8]) -> String {
    match layout::draft(source, "t.csv") {
        Err(error) => error.to_string(),
        Ok(draft) => panic!("{:#?}", draft.columns),
    }
}

#[test]
fn sources_that_are_not_tables_are_refused() {
    let png = [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0".as_slice(), &[0x10; 64]].concat();
    for (source, message) in [
        (b"".as_slice(), "t.csv:1: the file is empty"),
        (b"\xEF\xBB\xBF \r\n\r\n", "t.csv:1: the file is empty"),
        (b"one\ntwo\nthree\n", "t.csv:1: no comma, semicolon, tab or bar splits its lines"),
        (b"Pipe\nP1\nP2\nP3\n", "t.csv:1: no comma, semicolon, tab or bar splits its lines"),
        (b"Pipe;Length\n", "t.csv:1: there are no rows below the headings"),
        (
            b"Sewers of Larkmoor;\n\nPipe;Length\n\n",
            "t.csv:3: there are no rows below the headings",
        ),
        (b"1;2;3\n4;5;6\n7;8;9\n", "t.csv:1: no row looks like headings"),
        (b"{\"obvert\": \"0.2\"}", "t.csv:1: this looks like JSON"),
        (b"\x1F\x8B\x08\0\0", "t.csv:1: this is a gzip archive"),
        (
            b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1",
            "a workbook of the older kind (.xls); save it as .xlsx",
        ),
        (&png, "which no table has; save the table as CSV"),
        (b"%PDF-1.7\n1,2\n\x01\x02,3\n", "t.csv:3: the character U+0001, which no table has"),
    ] {
        let refusal = draft_error(source);
        assert!(refusal.contains(message), "{message}: {refusal}");
    }
}

pub(super) const SMALL: &str = "Pipe;Upstream;Downstream;Distance;Code;Grade;Remark\n\
                     P1;A;B;0,0;run.start;;\nP1;A;B;1,5;crack.longitudinal;3;fine\nP1;A;B;2,5;roots.fine;2;\n\
                     P1;A;B;4,5;roots.mass;4;much\nP1;A;B;9,0;run.finish;;\n";

/// An unclosed quotation mark, or one closed rows below, is reported at the line where it opens. A
/// delimiter that finds no quotation marks gains nothing by that.
#[test]
fn a_quotation_mark_that_swallows_rows_is_refused_with_its_line() {
    let unclosed = SMALL.replace(";fine\n", ";\"fine\n");
    let message = draft_error(unclosed.as_bytes());
    assert!(message.starts_with("t.csv:3: a quotation mark is not closed"), "{message}");
    assert!(message.contains("close it, or double each"), "{message}");
    let closed_below = unclosed.replace(";much\n", ";\"much\"\n");
    let message = draft_error(closed_below.as_bytes());
    assert!(
        message.starts_with("t.csv:3: a quotation mark starts a cell here, in column 7"),
        "{message}"
    );
    let even = SMALL.replace(";fine\n", ";\"fine\n").replace(";much\n", ";much\"\n");
    let message = draft_error(even.as_bytes());
    assert!(
        message.starts_with(
            "t.csv:3: a quotation mark starts a cell here, in column 7, which spans 3 lines"
        ),
        "{message}"
    );
    // A line end inside a remark swallows no row.
    let remark = SMALL.replace(";fine\n", ";\"fine;\nand long\"\n");
    assert_eq!(layout::draft(remark.as_bytes(), "t.csv").unwrap().columns.len(), 7);
    let bars = "a,b|c,d\n".repeat(3) + "\"e";
    assert!(draft_error(bars.as_bytes()).starts_with("t.csv:4: a quotation mark is not closed"));
}

/// In a table longer than the sample, a cell cut off by the end of the sample is not an error, but
/// one that swallows the rest is.
#[test]
fn a_long_table_is_judged_by_its_beginning() {
    let row = "P1;A;B;1,5;crack.longitudinal;3;\"fine\nand long\"\n";
    let long = SMALL.to_owned() + &row.repeat(9 * 1024 * 1024 / row.len());
    let draft = layout::draft(long.as_bytes(), "t.csv").unwrap();
    assert!(
        draft.guesses.iter().any(|guess| guess == "based on the first 8 MB of 9"),
        "{:#?}",
        draft.guesses
    );
    assert!(draft.columns.iter().all(|column| column.to.is_some()), "{:#?}", draft.columns);
    let unclosed = long.replacen(";fine\n", ";\"fine\n", 1);
    assert!(
        draft_error(unclosed.as_bytes())
            .starts_with("t.csv:3: a quotation mark starts a cell here")
    );
    // Lines may end with a single CR.
    let old = long.replace('\n', "\r");
    assert_eq!(layout::draft(old.as_bytes(), "t.csv").unwrap().columns, draft.columns);
    // The same without a closing quotation mark.
    let plain = "P1;A;B;1,5;crack.longitudinal;3;fine\n";
    let unclosed =
        SMALL.replacen(";fine\n", ";\"fine\n", 1) + &plain.repeat(9 * 1024 * 1024 / plain.len());
    let message = draft_error(unclosed.as_bytes());
    assert!(message.starts_with("t.csv:3: a quotation mark is not closed"), "{message}");
}

#[test]
fn incomplete_rows_are_reported_and_skipped() {
    let table = SMALL.replace("P1;A;B;2,5;roots.fine;2;\n", "P1;A;B;2,5\n")
        + "P1;A;B;9;note.remark;;left; then right\n";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    for open in [
        "line 4 was skipped; correct it: it has 4 cells, and there are 7 headings",
        "line 7 was skipped; correct it: it has 8 cells, and there are 7 headings",
    ] {
        assert!(draft.open.iter().any(|one| one == open), "{open}: {:#?}", draft.open);
    }
    assert_eq!(draft.columns[6].to.as_deref(), Some("runs.observations.remark"));
    let blank = SMALL
        .replace(";Remark\n", ";Remark;;\n")
        .replace("Upstream", "")
        .replace(";fine\n", ";fine;;\n");
    let draft = layout::draft(blank.as_bytes(), "t.csv").unwrap();
    assert!(
        draft.open.iter().any(|one| one.starts_with("column 2 has no heading")),
        "{:#?}",
        draft.open
    );
    let duplicated = SMALL.replace("Remark", "Code");
    let draft = layout::draft(duplicated.as_bytes(), "t.csv").unwrap();
    assert!(
        draft
            .open
            .iter()
            .any(|one| one.starts_with("columns 5 and 7 have the same heading \"Code\"")),
        "{:#?}",
        draft.open
    );
    assert_eq!(draft.columns.len(), 6);
}

/// A single value that does not fit does not reject a column. The column is mapped with lower
/// confidence, and the value is named with its line in the reason, in the basis of the column and
/// in the open points.
#[test]
fn one_odd_value_lowers_the_confidence_and_is_named() {
    type Case =
        (&'static [u8], &'static str, &'static str, &'static str, &'static str, &'static str);
    let cases: [Case; 9] = [
        (
            A,
            "8,VCP,212.4,5/6/2026,9:31 AM,0+12.40",
            "n/a,VCP,212.4,5/6/2026,9:31 AM,0+12.40",
            "Dia in",
            "pipes.height",
            "numbers; line 4 has \"n/a\"",
        ),
        (
            A,
            "0+12.40",
            "ca. 12",
            "Station",
            "runs.observations.at",
            "stations; line 4 has \"ca. 12\"",
        ),
        (
            A,
            "9:31 AM,0+12.40",
            "half 10,0+12.40",
            "Time",
            "runs.started",
            "times of day (h:mm am); line 4 has \"half 10\"",
        ),
        (
            A,
            "5/6/2026,9:31 AM,0+12.40",
            "6 May,9:31 AM,0+12.40",
            "Date",
            "runs.started",
            "dates (m/d/yyyy); line 4 has \"6 May\"",
        ),
        (
            A,
            "11-1,,start 1",
            "top,,start 1",
            "Clock",
            "runs.observations.clock",
            "clock positions, separated by \"-\"; line 4 has \"top\"",
        ),
        (
            A,
            "start 1",
            "begins",
            "Stretch",
            "stretches",
            "marks of stretches (start # and end #); line 4 has \"begins\"",
        ),
        (
            A,
            "0:00:41",
            "?",
            "Video",
            "runs.observations.media.offset",
            "durations (h:mm:ss); line 4 has \"?\"",
        ),
        (
            A,
            ",2,LM014_001.jpg",
            ",low,LM014_001.jpg",
            "Grade",
            "runs.observations.grades",
            "whole numbers up to 10; line 4 has \"low\"",
        ),
        (
            B,
            "BDD",
            "Wasser",
            "Kode",
            "runs.observations.code",
            "codes of EN 13508-2; line 3 has \"Wasser\"",
        ),
    ];
    for (source, from, odd, heading, to, looks) in cases {
        // Each non-ASCII Latin letter is one byte.
        let text: String = source.iter().map(|byte| char::from(*byte)).collect();
        assert!(text.contains(from), "{from}");
        let spoiled: Vec<u8> =
            text.replacen(from, odd, 1).chars().map(|letter| letter as u8).collect();
        let column_of = |draft: &Draft| {
            draft.columns.iter().find(|column| column.heading == heading).unwrap().clone()
        };
        let (whole, draft) =
            (layout::draft(source, "t").unwrap(), layout::draft(&spoiled, "t").unwrap());
        let (before, after) = (column_of(&whole), column_of(&draft));
        assert_eq!(after.to.as_deref(), Some(to), "{heading}: {after:#?}");
        assert!(after.confidence < before.confidence, "{heading}: {before:#?} {after:#?}");
        assert!(
            after.reason.ends_with(looks) && after.reason.contains(" values look like "),
            "{heading}: {}",
            after.reason
        );
        assert_eq!((before.outliers.len(), after.outliers.len()), (0, 1), "{heading}: {after:#?}");
        assert!(
            looks.contains(&format!("line {} has {:?}", after.outliers[0].1, after.outliers[0].0))
        );
        assert_eq!(binding(&whole.layout, heading), binding(&draft.layout, heading));
        let basis = draft
            .layout
            .columns
            .iter()
            .find(|column| *column.heading == *heading)
            .unwrap()
            .basis
            .clone()
            .unwrap();
        assert!(basis.contains(&after.reason), "{basis}");
        let open = format!(
            "{heading:?}: line {} has {:?}, which is not like the others",
            after.outliers[0].1, after.outliers[0].0
        );
        assert!(draft.open.iter().any(|one| one.starts_with(&open)), "{open}: {:#?}", draft.open);
    }
    let column = &layout::draft(A, "t").unwrap().columns[12];
    assert_eq!(column.outliers, []);
}

/// If a third of the values or more do not fit, the column is left unmapped and reported.
#[test]
fn a_column_of_many_odd_values_is_left_with_the_reason() {
    let table = SMALL.replace(";3;", ";low;").replace(";2;", ";high;");
    let draft = layout::draft(table.as_bytes(), "t").unwrap();
    assert_eq!(draft.columns[5].to, None);
    assert_eq!(
        draft.columns[5].reason,
        "the heading is a word for the grade, and its values do not match: line 3 has \"low\", line 4 has \"high\""
    );
}

/// Titles, two heading rows, an unknown column, and a date that settles the order of day and month.
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
        draft
            .open
            .iter()
            .any(|open| open.starts_with("\"Zq\": neither its heading nor its values")),
        "{:#?}",
        draft.open
    );
    let (survey, _) = read(table.as_bytes(), &draft.layout);
    assert_eq!(survey.document.runs[0].observations.len(), 2);
}

/// A row of merged cells above the headings belongs to them if the headings are blank or duplicate
/// without it. A title does not.
#[test]
fn groups_above_headings_are_part_of_them_where_needed() {
    let table = "Pipe,,,Observation,,Clock,,\nNo,From,To,At,What,from,to,Remark\nP1,A,B,0.0,start,,,\n\
                 P1,A,B,3.5,crack longitudinal,11,1,x\nP1,A,B,9.5,end,,,\n";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    let expected = [
        ("Pipe\nNo", "pipes.id"),
        ("Pipe\nFrom", "runs.from"),
        ("Pipe\nTo", "runs.to"),
        ("Observation\nAt", "runs.observations.at"),
        ("Observation\nWhat", "codes"),
        ("Clock\nfrom", "runs.observations.clock.from"),
        ("Clock\nto", "runs.observations.clock.to"),
        ("Clock\nRemark", "runs.observations.remark"),
    ];
    assert_eq!(mismatches(&draft, &expected), []);
    assert_eq!(read(table.as_bytes(), &draft.layout).0.document.runs[0].observations.len(), 3);
    let title = "Sewers,,,,,,,\n".to_owned() + &table["Pipe,,,Observation,,Clock,,\n".len()..];
    let draft = layout::draft(title.as_bytes(), "t.csv").unwrap();
    assert_eq!((draft.columns[0].heading.as_str(), draft.columns[0].to.as_deref()), ("No", None));
    // Neither the size nor the heading has a unit: the unit cannot be known and stays open.
    let open = "the file does not show the unit of lengths; it was assumed to be m: correct units in fixed if it is not";
    assert!(draft.open.iter().any(|one| one == open), "{:#?}", draft.open);
}

/// A continuous feature as two distances and a mark, half hours on a clock, and a heading for the
/// camera direction whose values contradict it.
#[test]
fn continuous_features_of_two_distances_and_half_hours_are_found() {
    let table = "Pipe;Upstream;Downstream;Distance;Distance to;Continuous;Code;Clock from;Clock to;Flow\n\
                 P1;A;B;0,0;;;run.start;;;trickle\nP1;A;B;1,5;4,5;yes;crack.longitudinal;11,5;1;none\n\
                 P1;A;B;2,5;;no;roots.fine;5;7,5;steady\nP1;A;B;9,0;;;run.finish;;;none\n";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    let expected = [
        ("Pipe", "pipes.id"),
        ("Upstream", "pipes.upstream"),
        ("Downstream", "pipes.downstream"),
        ("Distance", "runs.observations.at"),
        ("Distance to", "runs.observations.to"),
        ("Continuous", "runs.observations.continuous"),
        ("Code", "runs.observations.code"),
        ("Clock from", "runs.observations.clock.from"),
        ("Clock to", "runs.observations.clock.to"),
        ("Flow", "nothing"),
    ];
    assert_eq!(mismatches(&draft, &expected), []);
    let document =
        super::json(&read(table.replace(";no;", ";;").as_bytes(), &draft.layout).0.document);
    let stretch = &document["runs"][0]["observations"][1];
    assert_eq!((&stretch["to"], &stretch["continuous"]), (&4.5.into(), &true.into()));
    assert_eq!(stretch["clock"], serde_json::json!({"from": 11.5, "to": 1}));
}
