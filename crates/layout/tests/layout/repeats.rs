//! Tables with several observations in a row, in repeated columns.

use obvert_convert::ConvertError;
use obvert_layout as layout;
use obvert_model::layout::Layout;
use obvert_model::tables::Document;
use serde_json::{Value, json};

/// A layout of a table with several observations in a row.
fn layout_of(columns: Value, more: Value) -> Layout {
    let mut all = json!({
        "layout": "0.1", "id": "side-by-side", "version": "1", "title": "side by side",
        "table": {"encoding": "utf-8", "delimiter": ";", "decimal_mark": ","},
        "columns": columns,
        "fixed": [
            {"to": "issued", "value": "2026-05-06T16:20:00-05:00"},
            {"to": "units.length", "value": "m"}, {"to": "units.section", "value": "mm"},
            {"to": "coding.list", "value": "obvert-terms"}, {"to": "coding.version", "value": "1"},
            {"to": "runs.direction", "value": "downstream"},
            {"to": "structures.kind", "value": "manhole"}, {"to": "pipes.shape", "value": "circular"}
        ],
        "made": [{"to": "id", "text": "side:{runs.id}"}, {"to": "runs.id", "text": "{pipes.id}/1"}]
    });
    for (key, value) in more.as_object().unwrap() {
        all[key] = value.clone();
    }
    let layout = Layout::read(all.to_string().as_bytes()).unwrap();
    assert_eq!(layout.problems(), []);
    layout
}

fn seen(below: &str) -> String {
    format!("runs.observations.{below}")
}

/// Numbered headings, three observations in a row.
pub(super) fn english() -> (Layout, &'static str) {
    let columns = json!([
        {"heading": "Pipe", "to": "pipes.id"},
        {"heading": "From", "to": "runs.from"}, {"heading": "To", "to": "runs.to"},
        {"heading": "Obs 1 dist", "repeats": ["Obs 2 dist", "Obs 3 dist"], "to": seen("at"), "kind": "number"},
        {"heading": "Obs 1 code", "repeats": ["Obs 2 code", "Obs 3 code"], "to": seen("code")},
        {"heading": "Obs 1 amount", "repeats": ["Obs 2 amount", "Obs 3 amount"],
         "to": seen("quantities.value"), "kind": "number", "unit": "mm"},
        {"heading": "Obs 1 note", "repeats": ["Obs 2 note", "Obs 3 note"], "to": seen("remark")},
        {"heading": "Length", "to": "pipes.length", "kind": "number"}
    ]);
    let text = "Pipe;From;To;Obs 1 dist;Obs 1 code;Obs 1 amount;Obs 1 note;Obs 2 dist;Obs 2 code;Obs 2 amount;Obs 2 note;Obs 3 dist;Obs 3 code;Obs 3 amount;Obs 3 note;Length
P1;A;B;0;run.start;;;1,5;crack.longitudinal;2;wet;4;crack.longitudinal;3;;30
P1;A;B;12,25;crack.longitudinal;1,5;so;30;run.finish;;;;;;;30
P2;B;C;0;run.start;;;8;run.finish;;;;;;;8
";
    (layout_of(columns, json!({})), text)
}

/// Two rows of headings, words for codes, and a stretch over several observations.
fn german() -> (Layout, &'static str) {
    let columns = json!([
        {"heading": "Haltung", "to": "pipes.id"},
        {"heading": "von", "to": "runs.from"}, {"heading": "nach", "to": "runs.to"},
        {"heading": "1. Feststellung\nStation", "repeats": ["2. Feststellung\nStation", "3. Feststellung\nStation"],
         "to": seen("at"), "kind": "number"},
        {"heading": "1. Feststellung\nZustand", "repeats": ["2. Feststellung\nZustand", "3. Feststellung\nZustand"]},
        {"heading": "1. Feststellung\nStrecke", "repeats": ["2. Feststellung\nStrecke", "3. Feststellung\nStrecke"]}
    ]);
    let more = json!({
        "table": {"encoding": "utf-8", "delimiter": ";", "decimal_mark": ",", "heading_rows": 2},
        "codes": {"columns": ["1. Feststellung\nZustand"], "words": [
            {"words": ["Anfang"], "code": "run.start"}, {"words": ["Ende"], "code": "run.finish"},
            {"words": ["L\u{e4}ngsriss"], "code": "crack.longitudinal"}]},
        "stretches": {"column": "1. Feststellung\nStrecke", "start": "A#", "finish": "E#"}
    });
    let text = "Haltung;von;nach;1. Feststellung;;;2. Feststellung;;;3. Feststellung;;
;;;Station;Zustand;Strecke;Station;Zustand;Strecke;Station;Zustand;Strecke
H1;S1;S2;0,00;Anfang;;1,50;L\u{e4}ngsriss;A1;7,25;L\u{e4}ngsriss;E1
H1;S1;S2;30,00;Ende;;;;;;;
";
    (layout_of(columns, more), text)
}

/// The first heading has no number, and the second and third are the same in the file.
fn french() -> (Layout, &'static str) {
    let columns = json!([
        {"heading": "Tron\u{e7}on", "to": "pipes.id"},
        {"heading": "Amont", "to": "runs.from"}, {"heading": "Aval", "to": "runs.to"},
        {"heading": "PM", "repeats": ["PM bis", "PM bis"], "to": seen("at"), "kind": "number"},
        {"heading": "Constat", "repeats": ["Constat bis", "Constat bis"], "to": seen("code"), "translate": [
            {"text": "d\u{e9}part", "value": "run.start"}, {"text": "fissure", "value": "crack.longitudinal"},
            {"text": "arriv\u{e9}e", "value": "run.finish"}]}
    ]);
    let text = "Tron\u{e7}on;Amont;Aval;PM;PM bis;PM bis;Constat;Constat bis;Constat bis
T1;R1;R2;0;3,5;12;d\u{e9}part;fissure;arriv\u{e9}e
T2;R2;R3;0;9;;d\u{e9}part;arriv\u{e9}e;
";
    (layout_of(columns, json!({})), text)
}

fn read(layout: &Layout, text: &str) -> Document {
    match layout::read(text.as_bytes(), "t.csv", layout, &[]) {
        Ok((survey, _)) => survey.document,
        Err(error) => panic!("{error}"),
    }
}

fn problems(layout: &Layout, text: &str) -> Vec<String> {
    match layout::read(text.as_bytes(), "t.csv", layout, &[]) {
        Ok(_) => Vec::new(),
        Err(ConvertError::Structure(all)) => all.iter().map(ToString::to_string).collect(),
        Err(other) => vec![other.to_string()],
    }
}

/// The observations of a document: run, distance and code.
fn observations(document: &Document) -> Vec<(String, f64, String)> {
    let of_run = |run: &obvert_model::tables::Run| {
        let id = run.id.to_string();
        let rows = run.observations.iter();
        rows.map(|row| (id.clone(), row.at.get(), row.code.to_string())).collect::<Vec<_>>()
    };
    document.runs.iter().flat_map(of_run).collect()
}

#[test]
fn every_observation_of_a_row_is_read() {
    let seen = |layout: &Layout, text: &str| {
        let all = observations(&read(layout, text));
        all.into_iter().map(|(run, at, code)| format!("{run} {at} {code}")).collect::<Vec<_>>()
    };
    let (layout, text) = english();
    assert_eq!(
        seen(&layout, text),
        [
            "P1/1 0 run.start",
            "P1/1 1.5 crack.longitudinal",
            "P1/1 4 crack.longitudinal",
            "P1/1 12.25 crack.longitudinal",
            "P1/1 30 run.finish",
            "P2/1 0 run.start",
            "P2/1 8 run.finish"
        ]
    );
    let document = read(&layout, text);
    let amounts: Vec<f64> = document.runs[0].observations[1..4]
        .iter()
        .map(|row| row.quantities[0].value.get())
        .collect();
    assert_eq!(amounts, [2.0, 3.0, 1.5]);
    assert_eq!(document.runs[0].observations[1].remark.as_deref(), Some("wet"));

    let (layout, text) = german();
    let document = read(&layout, text);
    let stretch = &document.runs[0].observations[1];
    assert_eq!((stretch.at.get(), stretch.to.map(|to| to.get())), (1.5, Some(7.25)));
    assert_eq!(observations(&document).len(), 3);

    let (layout, text) = french();
    assert_eq!(
        seen(&layout, text),
        [
            "T1/1 0 run.start",
            "T1/1 3.5 crack.longitudinal",
            "T1/1 12 run.finish",
            "T2/1 0 run.start",
            "T2/1 9 run.finish"
        ]
    );
}

#[test]
fn a_row_is_written_with_as_many_observations_as_it_has_room_for() {
    for (layout, text) in [english(), german(), french()] {
        let document = read(&layout, text);
        let (bytes, report) = layout::write(&document, &layout, &[]).unwrap();
        assert!(!report.loses(), "{report:#?}");
        let written = String::from_utf8(bytes).unwrap();
        assert_eq!(read(&layout, &written), document, "{written}");
        assert_eq!(written.lines().count(), text.lines().count(), "{written}");
    }
    let (layout, text) = english();
    let (bytes, _) = layout::write(&read(&layout, text), &layout, &[]).unwrap();
    assert_eq!(String::from_utf8(bytes).unwrap(), text.replace('\n', "\r\n"));
}

#[cfg(feature = "xlsx")]
#[test]
fn a_workbook_has_the_same_columns() {
    for (layout, text) in [english(), german(), french()] {
        let document = read(&layout, text);
        let (book, report) = layout::write_workbook(&document, &layout, &[]).unwrap();
        assert!(!report.loses(), "{report:#?}");
        let (survey, _) = layout::read(&book, "t.xlsx", &layout, &[]).unwrap();
        assert_eq!(survey.document, document);
    }
}

#[test]
fn errors_name_the_column_of_the_observation() {
    let (layout, text) = english();
    let said = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        problems(&layout, &text.replacen(from, to, 1))
    };
    // A cell that cannot be read, and one that is missing.
    let found = said("1,5;crack.longitudinal;2;wet", "1,5x;crack.longitudinal;2;wet");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("t.csv:2:8 (column Obs 2 dist): "), "{found:?}");
    let found = said("1,5;crack.longitudinal;2;wet", "1,5;;2;wet");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("t.csv:2:9 (column Obs 2 code): "), "{found:?}");
    assert!(found[0].contains("\"Obs 2 code\" has no value"), "{found:?}");
    // A cell of the whole row is reported once.
    let found = said("4;crack.longitudinal;3;;30", "4;crack.longitudinal;3;;30x");
    assert_eq!(found.len(), 1, "{found:?}");
    let found = said("\nP2;B;C", "\n;B;C");
    assert_eq!(found.len(), 1, "{found:?}");
    // A fourth observation, and a third without one of its columns.
    let found = said("Length\n", "Obs 4 dist\n");
    assert!(found.iter().any(|one| one.contains("has no column \"Obs 4 dist\"")), "{found:?}");
    let found = said("Obs 3 amount", "Obs 3 sum");
    assert!(found.iter().any(|one| one.contains("has no column \"Obs 3 sum\"")), "{found:?}");
    assert!(found.iter().any(|one| one.contains("no column \"Obs 3 amount\", which")), "{found:?}");
    let found = said("Obs 2 dist", "Obs 1 dist");
    assert!(found.iter().any(|one| one.contains("\"Obs 1 dist\" is duplicated")), "{found:?}");
}

#[test]
fn a_table_can_have_fewer_observations_in_a_row() {
    let (layout, _) = english();
    let text = "Pipe;From;To;Obs 1 dist;Obs 1 code;Obs 1 amount;Obs 1 note;Length
P1;A;B;0;run.start;;;30
P1;A;B;1,5;crack.longitudinal;2;wet;30
P1;A;B;30;run.finish;;;30
";
    assert_eq!(observations(&read(&layout, text)).len(), 3);
    // Part of the columns of an observation is not enough.
    let text = text.replace("Length", "Obs 2 dist").replace(";30\n", ";\n");
    let found = problems(&layout, &text);
    let missing = |name: &str| {
        let what = format!("the table has no column {name:?}");
        found.iter().any(|one| one.contains(&what))
    };
    assert!(missing("Obs 2 code") && missing("Length"), "{found:?}");
    assert!(!missing("Obs 3 code"), "{found:?}");
}

/// A row without observations is a run without any, and a value in a dropped column is a loss.
#[test]
fn nothing_of_a_row_is_lost() {
    let columns = json!([
        {"heading": "Pipe", "to": "pipes.id"},
        {"heading": "From", "to": "runs.from"}, {"heading": "To", "to": "runs.to"},
        {"heading": "At 1", "repeats": ["At 2"], "to": seen("at"), "kind": "number"},
        {"heading": "Seen 1", "repeats": ["Seen 2"], "to": seen("code")},
        {"heading": "Mark 1", "repeats": ["Mark 2"], "drop": "not known"},
        {"heading": "Old", "drop": "not known"}
    ]);
    let layout = layout_of(columns, json!({}));
    let text = "Pipe;From;To;At 1;Seen 1;Mark 1;At 2;Seen 2;Mark 2;Old
P1;A;B;0;run.start;;8;run.finish;x;y
P2;B;C;;;;;;;
P3;B;D;;;;;;z;
";
    let (survey, report) = layout::read(text.as_bytes(), "t.csv", &layout, &[]).unwrap();
    assert_eq!(survey.document.runs.len(), 3);
    let dropped: Vec<String> = report
        .losses
        .iter()
        .filter(|loss| loss.message.contains("is not carried over"))
        .map(|loss| format!("{} {}", loss.pointer, loss.was.as_ref().unwrap()))
        .collect();
    assert_eq!(
        dropped,
        ["/runs/0/observations/0 \"y\"", "/runs/0/observations/1 \"x\"", "/runs/2 \"z\""]
    );
}

#[test]
fn mistakes_in_repeats_are_reported() {
    let (layout, _) = english();
    let base = serde_json::to_value(&layout).unwrap();
    let said = |change: &dyn Fn(&mut Value)| {
        let mut changed = base.clone();
        change(&mut changed);
        let layout = Layout::read(changed.to_string().as_bytes()).unwrap();
        layout.problems().iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    type Change = dyn Fn(&mut Value);
    let cases: [(&Change, &str); 4] = [
        (
            &|layout| drop(layout["columns"][4]["repeats"].as_array_mut().unwrap().pop()),
            "/columns/4/repeats: \"Obs 1 code\" has 1 repeats, and a row has 3 observations",
        ),
        (
            &|layout| drop(layout["columns"][6].as_object_mut().unwrap().remove("repeats")),
            "/columns/6/repeats: \"Obs 1 note\" has 0 repeats",
        ),
        (
            &|layout| layout["columns"][7]["repeats"] = json!(["Length 2", "Length 3"]),
            "/columns/7/repeats: \"Length\" is not a field of an observation",
        ),
        (
            &|layout| layout["columns"][3]["repeats"][1] = json!("Obs 2 code"),
            "/columns/3/repeats/1: the heading \"Obs 2 code\" is also that of /columns/4",
        ),
    ];
    for (change, message) in cases {
        let found = said(change);
        assert!(found.iter().any(|one| one.starts_with(message)), "{message}: {found:?}");
    }
}

/// Numbered distances and codes are repeats; other numbers are places, as of pictures.
#[test]
fn drafts_recognise_numbered_observations() {
    let english = "Pipe,From,To,Direction,Run,Date,Obs 1 code,Obs 1 dist,Obs 1 photo,Obs 2 code,Obs 2 dist,Obs 2 photo,Obs 3 code,Obs 3 dist,Obs 3 photo
P1,A,B,downstream,R1,2026-05-06,run.start,0,,crack.longitudinal,1.5,a.jpg,run.finish,30.25,
P2,B,C,downstream,R2,2026-05-06,run.start,0,,run.finish,8.5,,,,
P3,C,D,downstream,R3,2026-05-07,run.start,0,b.jpg,roots.fine,4.75,c.jpg,run.finish,21.5,
";
    let german = "Haltung;von Schacht;bis Schacht;Richtung;Code 1;Station 1;Bemerkung 1;Code 2;Station 2;Bemerkung 2
H1;S1;S2;downstream;run.start;0,00;;crack.longitudinal;1,50;feucht
H1;S1;S2;downstream;roots.fine;7,25;;run.finish;30,00;
H2;S2;S3;downstream;run.start;0,00;;run.finish;12,50;
";
    let french = "Tron\u{e7}on;Regard amont;Regard aval;Sens;Distance1;Code1;Distance2;Code2
T1;R1;R2;downstream;0,00;run.start;3,50;crack.longitudinal
T1;R1;R2;downstream;4,50;roots.fine;12,25;run.finish
";
    for (text, per_row, count) in [(english, 3, 8), (german, 2, 6), (french, 2, 4)] {
        let draft = layout::draft(text.as_bytes(), "t.csv").unwrap();
        assert_eq!(draft.layout.observations_of_row(), per_row, "{:#?}", draft.columns);
        assert_eq!(draft.layout.problems(), [], "{:#?}", draft.columns);
        let document = read(&draft.layout, text);
        assert_eq!(observations(&document).len(), count);
        let guess = format!("{per_row} observations in a row");
        assert!(draft.guesses.iter().any(|one| one.contains(&guess)), "{:?}", draft.guesses);
    }
    let draft = layout::draft(english.as_bytes(), "t.csv").unwrap();
    let document = read(&draft.layout, english);
    assert_eq!(document.head.media.len(), 3);
    // One observation in a row, with two pictures and two amounts.
    let places = "Pipe,From,To,Direction,Run,Distance,Code,Amount 1,Amount 2,Photo 1,Photo 2
P1,A,B,downstream,R1,0,run.start,,,,
P1,A,B,downstream,R1,1.5,crack.longitudinal,2,,a.jpg,b.jpg
P1,A,B,downstream,R1,30.5,run.finish,,,,
";
    let draft = layout::draft(places.as_bytes(), "t.csv").unwrap();
    assert_eq!(draft.layout.observations_of_row(), 1);
}
