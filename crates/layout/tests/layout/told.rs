//! What is told about tables that are nearly right: columns that overwrite each other, units in a
//! column, odd rows, missing columns, words that are nearly known, and damaged texts.

use obvert_convert::{LossKind, LossReport};
use obvert_layout as layout;
use obvert_model::layout::Layout;
use serde_json::{Value, json};

use super::robust::small;
use super::{json, read, refused};

fn problems(columns: &[Value]) -> Vec<String> {
    let mut layout: Value = serde_json::to_value(small(&[], |_| ())).unwrap();
    layout["columns"].as_array_mut().unwrap().extend(columns.iter().cloned());
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    let problems = layout.problems().iter().map(ToString::to_string).collect();
    let table = b"Pipe;A;B;At;Code\nP1;a;b;1,5;crack.longitudinal\n";
    // What does not make sense is not read.
    if !layout.problems().is_empty() {
        let error = layout::read(table, "t", &layout, &[]).unwrap_err().to_string();
        assert!(error.starts_with("the layout \"s\" cannot be used: "), "{error}");
    }
    problems
}

/// Two columns for one value of a row would overwrite each other.
#[test]
fn columns_for_one_value_are_refused() {
    let seen = |below: &str| format!("runs.observations.{below}");
    let cases = [
        (
            vec![json!({"heading": "At 2", "to": seen("at"), "kind": "number", "place": 2})],
            "/columns/5/place: runs.observations.at is not a list, so a row has one value of it",
        ),
        (
            vec![json!({"heading": "At 2", "to": seen("at"), "kind": "number", "unit": "ft"})],
            "/columns/5/to: /columns/3 already maps to runs.observations.at",
        ),
        (
            vec![
                json!({"heading": "C", "to": seen("clock"), "kind": "clock"}),
                json!({"heading": "D", "to": seen("clock.from"), "kind": "number"}),
            ],
            "/columns/6/to: /columns/5 already maps to runs.observations.clock.from; runs.observations.clock and",
        ),
        (
            vec![
                json!({"heading": "G", "to": seen("grades"), "kind": "number"}),
                json!({"heading": "H", "to": seen("grades.structural"), "kind": "number"}),
            ],
            "/columns/6/to: /columns/5 already maps to runs.observations.grades.structural",
        ),
        (
            vec![
                json!({"heading": "M", "to": seen("media.id"), "place": 1}),
                json!({"heading": "N", "to": seen("media.id"), "place": 1}),
            ],
            "/columns/6/to: /columns/5 already maps to runs.observations.media.id; give each its place",
        ),
        (
            vec![json!({"heading": "E", "to": "runs.equipment"})],
            "/columns/5/to: runs.equipment is a list, or in one",
        ),
        (
            vec![json!({"heading": "K", "to": "runs.counter.checks.known", "kind": "number"})],
            "/columns/5/to: runs.counter.checks.known is a list, or in one",
        ),
        (
            vec![json!({"heading": "U", "to": seen("quantities.unit")})],
            "/columns/5: no column has the amount of this unit",
        ),
        (
            vec![
                json!({"heading": "Q", "to": seen("quantities.value"), "kind": "number", "unit": "mm"}),
                json!({"heading": "U", "to": seen("quantities.unit")}),
            ],
            "/columns/6: the amounts in \"Q\" have a unit already",
        ),
        (
            vec![
                json!({"heading": "Q", "to": seen("quantities.value"), "kind": "amount"}),
                json!({"heading": "U", "to": seen("quantities.unit")}),
            ],
            "/columns/6: the cells of \"Q\" have their units already",
        ),
    ];
    for (columns, expected) in cases {
        let problems = problems(&columns);
        assert!(problems.iter().any(|one| one.starts_with(expected)), "{expected}: {problems:#?}");
    }
}

fn with_units(words: Value) -> Layout {
    let unit = |heading: &str, place: u32| json!({"heading": heading, "to": "runs.observations.quantities.unit", "place": place, "translate": words});
    let amount = |heading: &str, place: u32| json!({"heading": heading, "to": "runs.observations.quantities.value", "kind": "number", "place": place});
    small(&[amount("Q1", 1), unit("U1", 1), amount("Q2", 2), unit("U2", 2)], |_| ())
}

/// Six inches stay six inches; without a unit the code list has it.
#[test]
fn units_have_a_column_of_their_own() {
    let layout = with_units(json!([]));
    let table =
        |row: &str| format!("Pipe;A;B;At;Code;Q1;U1;Q2;U2\nP1;a;b;1,5;{row}\n").into_bytes();
    let quantities = |row: &str, layout: &Layout| {
        let (survey, report) = read(&table(row), layout);
        assert_eq!(report, LossReport::default());
        let (bytes, losses) = layout::write(&survey.document, layout, &[]).unwrap();
        assert_eq!(losses, LossReport::default(), "{}", String::from_utf8_lossy(&bytes));
        assert_eq!(read(&bytes, layout).0.document, survey.document);
        json(&survey.document)["runs"][0]["observations"][0]["quantities"].clone()
    };
    assert_eq!(quantities("joint.displaced;6;in;;", &layout), json!([{"value": 6, "unit": "in"}]));
    assert_eq!(
        quantities("joint.displaced;6;mm;4;percent", &layout),
        json!([{"value": 6, "unit": "mm"}, {"value": 4, "unit": "percent"}])
    );
    for (row, expected) in [
        ("joint.displaced;6;inch;;", "found \"inch\"; expected a unit, one of in, m, mm, ft"),
        ("joint.displaced;;in;;", "found the unit in without an amount; fill in the amount"),
    ] {
        let found = refused(&table(row), &layout);
        assert!(found[0].contains(expected) && found.len() == 1, "{found:#?}");
    }
    // The office has no word for millimetres, so the amount is converted, which is told.
    let inches = with_units(json!([{"text": "Zoll", "value": "in"}]));
    let (survey, _) = read(&table("joint.displaced;50,8;mm;;"), &layout);
    let (bytes, losses) = layout::write(&survey.document, &inches, &[]).unwrap();
    assert!(String::from_utf8(bytes).unwrap().contains(";2;Zoll;;"));
    assert_eq!(losses.losses[0].kind, LossKind::Changed);
    assert_eq!(losses.losses[0].pointer, "/runs/0/observations/0/quantities/0");
}

/// A picture in the row that ends a stretch stays there.
#[test]
fn a_picture_at_the_end_of_a_stretch_stays_there() {
    let layout = small(
        &[
            json!({"heading": "S"}),
            json!({"heading": "P1", "to": "runs.observations.media.id"}),
            json!({"heading": "P2", "to": "runs.observations.media.id"}),
        ],
        |layout| layout["stretches"] = json!({"column": "S", "start": "A#", "finish": "B#"}),
    );
    let table = "Pipe;A;B;At;Code;S;P1;P2\r\nP1;a;b;1,5;crack.longitudinal;A1;a.jpg;b.jpg\r\nP1;a;b;7;crack.longitudinal;B1;c.jpg;\r\n";
    let (survey, report) = read(table.as_bytes(), &layout);
    assert_eq!(report, LossReport::default());
    assert_eq!(json(&survey.document)["media"][2]["at"], 7);
    let (bytes, losses) = layout::write(&survey.document, &layout, &[]).unwrap();
    assert_eq!(losses, LossReport::default());
    assert_eq!(String::from_utf8(bytes).unwrap(), table);
    let again = table.replace("c.jpg", "a.jpg");
    let (_, report) = read(again.as_bytes(), &layout);
    assert!(report.losses[0].message.contains("the survey does not keep at which end"));
}

/// A cell of the row that ends a stretch belongs to the observation that an earlier row starts.
#[test]
fn a_wrong_cell_of_the_end_of_a_stretch_is_of_its_observation() {
    let layout = small(
        &[
            json!({"heading": "S"}),
            json!({"heading": "Clock", "to": "runs.observations.clock", "kind": "clock", "separator": "-"}),
        ],
        |layout| layout["stretches"] = json!({"column": "S", "start": "A#", "finish": "B#"}),
    );
    let table = "Pipe;A;B;At;Code;S;Clock\nP1;a;b;1;crack.longitudinal;A1;3\nP1;a;b;5;crack.longitudinal;B1;x\nP1;a;b;9;roots.fine;;4\n";
    let Err(obvert_convert::ConvertError::Structure(problems)) =
        layout::read(table.as_bytes(), "t", &layout, &[])
    else {
        panic!("it was read")
    };
    let all: Vec<_> = problems.iter().collect();
    assert_eq!(all.len(), 1);
    assert_eq!(all[0].problem.pointer, "/runs/0/observations/0/clock");
    assert_eq!(all[0].place.as_ref().unwrap().line, 3);
    // And a row whose only observation cells cannot be read is an observation of its own.
    let table = "Pipe;A;B;At;Code;S;Clock\nP1;a;b;x;;;\nP1;a;b;9;roots.fine;;4\n";
    let found = refused(table.as_bytes(), &layout);
    assert!(found[0].starts_with("t.csv:2:4 (column At): found \"x\""), "{found:#?}");
}

/// The odd row is reported, even if it is the first.
#[test]
fn the_odd_row_is_reported() {
    let layout = small(&[json!({"heading": "Unit", "to": "units.length"})], |_| ());
    let table = |units: [&str; 4]| {
        let rows = units.iter().zip(1..);
        let rows = rows.map(|(unit, at)| format!("P1;a;b;{at};crack.longitudinal;{unit}\n"));
        format!("Pipe;A;B;At;Code;Unit\n{}", rows.collect::<String>())
    };
    for (units, line) in
        [(["ft", "m", "m", "m"], 2), (["m", "ft", "m", "m"], 3), (["m", "m", "m", "ft"], 5)]
    {
        let found = refused(table(units).as_bytes(), &layout);
        let of_rows: Vec<_> =
            found.iter().filter(|one| one.contains("as most of its rows do")).collect();
        assert_eq!(of_rows.len(), 1, "{found:#?}");
        let expected = format!("t.csv:{line}:6 (column Unit): found ft, and line ");
        assert!(of_rows[0].starts_with(&expected), "{found:#?}");
        assert!(
            of_rows[0]
                .ends_with("has m for the same document, as most of its rows do; correct this one")
        );
    }
}

/// A missing column is one problem, with the heading that may be meant.
#[test]
fn a_missing_column_is_reported_once() {
    let layout = small(&[json!({"heading": "Distance", "to": "runs.operator"})], |layout| {
        layout["columns"][3]["heading"] = "Distance m".into();
    });
    let rows = "P1;a;b;1;crack.longitudinal;x\n".repeat(10);
    for (heading, near) in [
        ("Distanz m", "did you mean \"Distance m\", which the table lacks?"),
        ("Station", "did you mean \"Station\", which the layout lacks?"),
    ] {
        let table = format!("Pipe;A;B;{heading};Code;Distance\n{rows}");
        let found = refused(table.as_bytes(), &layout);
        assert!(found.iter().any(|one| one.contains(near)), "{found:#?}");
        assert!(found.iter().all(|one| one.starts_with("t.csv:1")), "{found:#?}");
    }
}

/// Words that are nearly known, or known elsewhere, get a suggestion.
#[test]
fn words_that_are_nearly_known_get_a_suggestion() {
    let words = |heading: &str, to: &str, text: &str, value: &str| json!({"heading": heading, "to": to, "translate": [{"text": text, "value": value}]});
    let layout = small(
        &[
            words("Mat", "pipes.material", "Steinzeug", "vitrified-clay"),
            words("Water", "pipes.carries", "RW", "storm"),
            words("Camera", "runs.method", "Schieb", "push-rod"),
        ],
        |layout| {
            layout["codes"] = json!({"columns": ["Code"], "words": [
                {"words": ["L\u{e4}ngsriss"], "code": "crack.longitudinal"},
                {"words": ["Wurzeln fein"], "code": "roots.fine"}]});
            layout["columns"][4] = json!({"heading": "Code"});
        },
    );
    for (row, expected) in [
        ("L\u{c4}NGSRISS;;;", "did you mean \"L\u{e4}ngsriss\"?"),
        ("Wurtzeln fein;;;", "did you mean \"Wurzeln fein\"?"),
        ("Offset joint;;;", "it may be joint.displaced: if so, add it to codes.words"),
        ("Rohranfang;;;", "it may be run.start"),
        ("L\u{e4}ngsriss;Beton;;", "it probably means concrete: if so, add it to translate"),
        ("L\u{e4}ngsriss;Steinzeg;;", "did you mean \"Steinzeug\"?"),
        ("L\u{e4}ngsriss;;foul;", "it probably means sanitary"),
        ("L\u{e4}ngsriss;;;tractor", "it probably means crawler"),
    ] {
        let table = format!("Pipe;A;B;At;Code;Mat;Water;Camera\nP1;a;b;1;{row}\n");
        let found = refused(table.as_bytes(), &layout);
        assert!(found[0].contains(expected), "{expected}: {found:#?}");
    }
}

/// The words of the trade in the languages of the code list.
#[test]
fn a_draft_knows_the_words_of_the_trade() {
    let table = "Haltung;von Schacht;bis Schacht;Station;Feststellung;Material
H1;S1;S2;0,0;Rohranfang;Beton
H1;S1;S2;1,5;Wurzeln, fein;Beton
H1;S1;S2;2,5;Anschluss;Beton
H1;S1;S2;3,5;Ablagerung;Beton
H1;S1;S2;4,5;L\u{e4}ngsriss;Beton
H1;S1;S2;4,9;Offset joint;Beton
H1;S1;S2;9,5;Rohrende;Beton
";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    let codes = draft.layout.codes.as_ref().unwrap();
    let found: Vec<(&str, &str)> =
        codes.words.iter().map(|entry| (&*entry.words[0], &*entry.code)).collect();
    assert_eq!(
        found,
        [
            ("Rohranfang", "run.start"),
            ("Wurzeln, fein", "roots.fine"),
            ("L\u{e4}ngsriss", "crack.longitudinal"),
            ("Offset joint", "joint.displaced"),
            ("Rohrende", "run.finish")
        ]
    );
    for (word, may) in [("Anschluss", "connection."), ("Ablagerung", "deposit.")] {
        let said = draft.open.iter().find(|open| open.contains(word)).unwrap();
        assert!(said.contains(&format!("which may be {may}")), "{said}");
    }
    // Rows end with LF, and so do those that the layout writes.
    assert_eq!(serde_json::to_value(&draft.layout).unwrap()["table"]["line_end"], "lf");
}

/// A column whose values are unknown words is not certain.
#[test]
fn a_column_of_unknown_words_is_doubtful() {
    let table = "Pipe,From,To,Station,Code,Profil,Material\nP1,a,b,1.5,crack.longitudinal,Q7,foo\nP1,a,b,2.5,roots.fine,Q8,bar\n";
    let draft = layout::draft(table.as_bytes(), "t.csv").unwrap();
    for heading in ["Profil", "Material"] {
        let column = draft.columns.iter().find(|column| column.heading == heading).unwrap();
        assert!(column.confidence < 0.7, "{column:?}");
        assert!(column.reason.starts_with("doubtful: "), "{column:?}");
    }
}

/// Tables of two months that name the same runs have two ids, and the same table has one.
#[test]
fn drafted_ids_differ_from_table_to_table() {
    let table = |at: &str| {
        format!(
            "Pipe,From,To,Station,Code\nP1,a,b,{at},crack.longitudinal\nP1,a,b,9.5,roots.fine\n"
        )
    };
    let draft = layout::draft(table("1.5").as_bytes(), "t.csv").unwrap();
    let id = |at: &str| {
        let (survey, _) = read(table(at).as_bytes(), &draft.layout);
        survey.document.head.id.to_string()
    };
    assert_eq!(id("1.5"), id("1.5"));
    assert_ne!(id("1.5"), id("2.5"));
    assert!(id("1.5").starts_with("draft:P1 downstream:"), "{}", id("1.5"));
}

/// White space around values, line breaks and titles are told; text keeps its white space.
#[test]
fn what_is_not_kept_of_cells_is_told() {
    let layout =
        small(&[json!({"heading": "Remark", "to": "runs.observations.remark"})], |layout| {
            layout["table"]["heading_row"] = 2.into();
        });
    let table = "Survey of May;;;;;\nPipe;A;B;At;Code;Remark\nP1;a;b; 1 ;crack.longitudinal; x \n";
    let (survey, report) = read(table.as_bytes(), &layout);
    assert_eq!(json(&survey.document)["runs"][0]["observations"][0]["remark"], " x ");
    let notes: Vec<&str> = report.notes.iter().map(|note| note.message.as_str()).collect();
    assert_eq!(
        notes,
        ["white space around the values of 1 cell is not kept, in line 3 (column At)"]
    );
    assert_eq!(report.losses.len(), 1);
    assert_eq!(report.losses[0].was, Some("Survey of May".into()));
    let (_, report) = read(table.replace(" x ", "\"a\r\nb\"").as_bytes(), &layout);
    assert!(report.notes.iter().any(|note| note.message.contains("inside cells became LF")));
}

/// Damaged texts are told with the label of the right encoding.
#[test]
fn damaged_texts_are_told() {
    let layout =
        small(&[json!({"heading": "Remark", "to": "runs.observations.remark"})], |layout| {
            layout["table"]["encoding"] = "windows-1252".into();
        });
    let table = |remark: &[u8]| {
        [b"Pipe;A;B;At;Code;Remark\nP1;a;b;1;crack.longitudinal;".as_slice(), remark, b"\n"]
            .concat()
    };
    let notes = |remark: &[u8]| {
        let (_, report) = read(&table(remark), &layout);
        report.notes.iter().map(|note| note.message.clone()).collect::<Vec<_>>()
    };
    // Python: "prorostlé kořeny u přípojky, zúžený průtok".encode("cp1250")
    let found = notes(b"prorostl\xe9 ko\xf8eny u p\xf8\xedpojky, z\xfa\x9een\xfd pr\xf9tok");
    assert!(found[0].contains("look like windows-1250 that was read as windows-1252"), "{found:?}");
    assert_eq!(
        notes(b"Wurzeleinwuchs, Gr\xf6\xdfe unklar, L\xe4ngsriss \xfcber"),
        Vec::<String>::new()
    );
    let utf8 = small(&[json!({"heading": "Remark", "to": "runs.observations.remark"})], |_| ());
    let (_, report) = read(&table("PĹ™Ă\u{AD}bram".as_bytes()), &utf8);
    assert!(report.notes[0].message.contains("probably \"Příbram\""), "{:?}", report.notes);
    // Latin letters of the wrong encoding in a layout that says UTF-8.
    let wrong = refused(
        &table(b"prorostl\xe9 ko\xf8eny u p\xf8\xedpojky, z\xfa\x9een\xfd pr\xf9tok"),
        &utf8,
    );
    assert!(wrong[0].contains("it may be windows-1250"), "{wrong:?}");
}
