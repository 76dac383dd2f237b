//! An office's XML: nested elements, attributes and elements with text, read and written.

use obvert_convert::LossReport;
use obvert_layout as layout;
use obvert_model::layout::Layout;
use serde_json::json;

use super::{json, read, refused};

pub(super) const C: &[u8] = include_bytes!("../../../../examples/layouts/office-c.xml");

pub(super) fn c() -> Layout {
    Layout::read(include_bytes!("../../../../examples/layouts/office-c.layout.json")).unwrap()
}

fn with(from: &str, to: &str) -> Vec<u8> {
    let text = String::from_utf8_lossy(C);
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1).into_bytes()
}

/// Every attribute of office C, compared with the file by eye.
#[test]
fn the_file_of_office_c_becomes_a_document() {
    assert_eq!(c().problems(), []);
    let (survey, _) = read(C, &c());
    let document = json(&survey.document);
    assert_eq!(
        document["assignment"],
        json!({"contract": "LK-2026-11", "owner": "Larkmoor Water Department"})
    );
    assert_eq!(document["parties"][0]["role"], "owner");
    assert_eq!(document["units"], json!({"length": "m", "section": "mm"}));
    assert_eq!(
        document["pipes"][0],
        json!({
            "id": "LM-015/LM-016", "upstream": "LM-015", "downstream": "LM-016", "shape": "circular", "height": 203,
            "size_basis": "nominal", "material": "vitrified-clay", "length": 57
        })
    );
    let run = &document["runs"][0];
    assert_eq!(run["started"], "2026-05-06T10:05:00-05:00");
    assert_eq!((&run["direction"], &run["operator"]), (&json!("downstream"), &json!("Heron 2")));
    assert_eq!(run["outcome"], json!({"kind": "stopped", "reason": "collapse"}));
    assert_eq!(
        run["observations"],
        json!([
            {"id": "1", "at": 0, "code": "run.start"},
            {"id": "2", "at": 6.92, "code": "crack.circumferential", "clock": {"from": 12, "to": 12}, "joint": true,
             "media": [{"id": "LM015_001.jpg"}]},
            {"id": "3", "at": 18.62, "code": "fracture.complex", "quantities": [{"value": 5, "unit": "mm"}],
             "clock": {"from": 8, "to": 4}, "grades": {"structural": 4}, "media": [{"id": "LM015_002.jpg"}]},
            {"id": "4", "at": 27.01, "code": "collapse", "quantities": [{"value": 80, "unit": "percent"}],
             "grades": {"structural": 5}, "media": [{"id": "LM015_003.jpg"}]},
            {"id": "5", "at": 27.01, "code": "run.stopped", "characterisation": ["collapse"]}
        ])
    );
    let place = |pointer: &str| survey.places.place(pointer).unwrap().to_string();
    assert_eq!(place("/runs/0/observations/2/clock/from"), "t.csv:8:47");
    assert_eq!(place("/pipes/0/height"), "t.csv:4:55");
}

#[test]
fn a_written_file_reads_as_the_same_document() {
    let (survey, _) = read(C, &c());
    let (bytes, losses) = layout::write(&survey.document, &c(), &[]).unwrap();
    assert_eq!(losses, LossReport::default());
    assert_eq!(read(&bytes, &c()).0.document, survey.document);
    // The tags are those of the office's own file, except for its comment and the order of
    // attributes.
    let tags = |bytes: &[u8]| -> Vec<Vec<String>> {
        let text = String::from_utf8_lossy(bytes).into_owned();
        let tags = text
            .lines()
            .filter(|line| line.trim_start().starts_with('<') && !line.contains("<!--"));
        tags.map(|line| {
            let mut parts: Vec<String> =
                line.trim().split_inclusive("\" ").map(|part| part.trim().to_owned()).collect();
            parts.iter_mut().for_each(|part| *part = part.trim_end_matches(['/', '>']).to_owned());
            parts.sort();
            parts
        })
        .collect()
    };
    let (before, after) = (tags(C), tags(&bytes));
    assert_eq!(before.len(), after.len());
    let words = |lines: &[Vec<String>]| -> usize { lines.iter().map(Vec::len).sum() };
    assert_eq!(words(&before), words(&after));
}

#[test]
fn unreadable_values_are_reported_with_their_location_and_path() {
    let cases = [
        (
            "m=\"6.92\"",
            "m=\"6,92\"",
            "t.csv:7:13 (column Works/Line/Look/Note/@m): ",
            "found \"6,92\"; expected a number",
        ),
        (
            "stuff=\"clayware\"",
            "stuff=\"stone\"",
            "t.csv:4:81 (column Works/Line/@stuff): ",
            "expected one of clayware",
        ),
        (
            "what=\"collapse\" ",
            "what=\"hole\" ",
            "t.csv:9:23 (column Works/Line/Look/Note/@what): ",
            "found \"hole\"",
        ),
        (
            "pct=\"80\"",
            "pct=\"80\" mm=\"3\"",
            "t.csv:9:",
            "another column of the row has this amount already",
        ),
        (
            "bore_unit=\"mm\"",
            "bore_unit=\"in\"",
            "t.csv:4:66 (column Works/Line/@bore_unit): ",
            "found \"in\", and the layout larkmoor-works fixes \"mm\"",
        ),
        ("ref=\"LM-015/LM-016\" ", "", "t.csv:6: ", "the row does not name its pipe"),
        (
            "<Note m=\"0.00\"",
            "<Note deep=\"1\" m=\"0.00\"",
            "t.csv:6:13 (column Works/Line/Look/Note/@deep): ",
            "has no column",
        ),
        (
            "<Works ",
            "<Jobs ",
            "t.csv:3:1: ",
            "the root element is <Jobs>, and the layout larkmoor-works has <Works>",
        ),
        ("<Line ", "<Line><Line ", "t.csv:", "not well-formed XML"),
    ];
    for (from, to, place, message) in cases {
        let messages = refused(&with(from, to), &c());
        assert!(
            messages.iter().any(|one| one.starts_with(place) && one.contains(message)),
            "{from} {to}: {messages:#?}"
        );
    }
}

/// OWASP's advice on external and expanding XML entities: refuse all document types.
#[test]
fn a_document_type_is_refused() {
    let evil =
        with("<Works ", "<!DOCTYPE Works [<!ENTITY x SYSTEM \"file:///etc/hostname\">]>\n<Works ");
    let messages = refused(&evil, &c());
    assert!(messages[0].contains("document type declarations are not read"), "{messages:?}");
    let entity = refused(&with("job=\"LK-2026-11\"", "job=\"&job;\""), &c());
    assert!(entity[0].contains("&job;"), "{entity:?}");
}

/// Elements with text, several of one name, values after the rows they belong to, a pipe without
/// rows, and Latin-1.
#[test]
fn elements_with_texts_are_read_and_written() {
    let layout = Layout::read(
        json!({
            "layout": "0.1", "id": "t", "version": "1", "title": "t",
            "xml": {"rows": "S/P/O", "decimal_mark": ","},
            "columns": [
                {"heading": "S/P/Name", "to": "pipes.id"}, {"heading": "S/P/Ends/@a", "to": "pipes.upstream"},
                {"heading": "S/P/Ends/@b", "to": "pipes.downstream"},
                {"heading": "S/P/Long", "to": "pipes.length", "kind": "number"},
                {"heading": "S/P/O/At", "to": "runs.observations.at", "kind": "number"},
                {"heading": "S/P/O/@code", "to": "runs.observations.code"},
                {"heading": "S/P/O/Pic", "to": "runs.observations.media.id", "separator": "|"},
                {"heading": "S/P/O/Word", "to": "runs.observations.remark"}
            ],
            "fixed": [
                {"to": "id", "value": "x"}, {"to": "issued", "value": "2026-05-06T16:20:00-05:00"},
                {"to": "units.length", "value": "m"}, {"to": "units.section", "value": "mm"},
                {"to": "coding.list", "value": "obvert-terms"}, {"to": "coding.version", "value": "1"},
                {"to": "structures.kind", "value": "manhole"}, {"to": "runs.direction", "value": "downstream"}
            ],
            "made": [{"to": "runs.id", "text": "R {pipes.id}"}]
        })
        .to_string()
        .as_bytes(),
    )
    .unwrap();
    assert_eq!(layout.problems(), []);
    let source = "<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>\n<S>\n<P><Name>P1</Name><O code=\"crack.longitudinal\"><At>1,5</At>\
                  <Pic>a.jpg</Pic><Pic>b.jpg</Pic><Word>caf\u{e9} &lt; 3</Word></O>\n\
                  <Ends a=\"A\" b=\"B\"/><Long>48,6</Long></P>\n<P><Name>P2</Name><Ends a=\"B\" b=\"C\"/></P>\n</S>";
    let source: Vec<u8> = source.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let (survey, _) = read(&source, &layout);
    let document = json(&survey.document);
    assert_eq!(document["pipes"][0]["length"], 48.6);
    assert_eq!(document["pipes"][1]["downstream"], "C");
    let seen = &document["runs"][0]["observations"][0];
    assert_eq!((&seen["at"], &seen["remark"]), (&json!(1.5), &json!("café < 3")));
    assert_eq!(seen["media"], json!([{"id": "a.jpg"}, {"id": "b.jpg"}]));
    let (bytes, losses) = layout::write(&survey.document, &layout, &[]).unwrap();
    assert_eq!(losses, LossReport::default(), "{}", String::from_utf8_lossy(&bytes));
    assert_eq!(read(&bytes, &layout).0.document, survey.document);
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.contains("<Pic>a.jpg</Pic>\n      <Pic>b.jpg</Pic>"), "{text}");
    let duplicated = refused(b"<S><P><Name>P</Name><Name>Q</Name><O/></P></S>", &layout);
    assert!(duplicated[0].contains("S/P/Name is duplicated, on lines 1 and 1"), "{duplicated:?}");
}

/// A pipe that was not surveyed is a pipe without runs if it has no values of a run, and is written
/// as it was read. Obvert never asks the user to invent an inspection.
#[test]
fn a_pipe_that_was_not_surveyed_has_no_runs() {
    let file = |second: &str| {
        format!(
            "<Works job='7'>\n<Line id='P1' up='A' down='B'><Look on='2026-05-06T10:00:00Z'><Note at='1.5' what='roots.fine'/></Look></Line>\n\
             {second}\n<Line id='P3' up='C' down='D'><Look on='2026-05-07T10:00:00Z'><Note at='2.5' what='hole'/></Look></Line>\n</Works>"
        )
    };
    let columns = [
        ("Works/@job", "assignment.contract"),
        ("Works/Line/@id", "pipes.id"),
        ("Works/Line/@up", "pipes.upstream"),
        ("Works/Line/@down", "pipes.downstream"),
        ("Works/Line/@long", "pipes.length"),
        ("Works/Line/@crew", "runs.operator"),
        ("Works/Line/Look/@on", "runs.started"),
        ("Works/Line/Look/Note/@at", "runs.observations.at"),
        ("Works/Line/Look/Note/@what", "runs.observations.code"),
    ];
    let kinds = |to: &str| match to {
        "pipes.length" | "runs.observations.at" => json!({"kind": "number"}),
        "runs.started" => json!({"kind": "date-time", "pattern": "yyyy-mm-ddThh:mm:ssZ"}),
        _ => json!({}),
    };
    let columns: Vec<serde_json::Value> = columns
        .iter()
        .map(|(heading, to)| {
            let mut column = kinds(to);
            column["heading"] = (*heading).into();
            column["to"] = (*to).into();
            column
        })
        .collect();
    let mut by_day = json!({
        "layout": "0.1", "id": "t", "version": "1", "title": "t", "xml": {"rows": "Works/Line/Look/Note"}, "columns": columns, "zone": "Z",
        "fixed": [
            {"to": "units.length", "value": "m"}, {"to": "units.section", "value": "mm"},
            {"to": "coding.list", "value": "obvert-terms"}, {"to": "coding.version", "value": "1"},
            {"to": "structures.kind", "value": "manhole"}, {"to": "runs.direction", "value": "downstream"},
            {"to": "parties.role", "value": "operator"}
        ],
        "made": [
            {"to": "runs.id", "text": "{pipes.id} {runs.started}"}, {"to": "id", "text": "x:{runs.id}"},
            {"to": "issued", "text": "{runs.started}"}
        ]
    });
    let layout = Layout::read(by_day.to_string().as_bytes()).unwrap();
    assert_eq!(layout.problems(), []);
    let source = file("<Line id='P2' up='B' down='C' long='12.5'/>");
    let (survey, _) = read(source.as_bytes(), &layout);
    let document = json(&survey.document);
    assert_eq!(
        document["pipes"][1],
        json!({"id": "P2", "upstream": "B", "downstream": "C", "length": 12.5})
    );
    let of: Vec<_> = document["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|run| run["pipe"].as_str().unwrap())
        .collect();
    assert_eq!(
        (of, document["id"].as_str()),
        (vec!["P1", "P3"], Some("x:P3 2026-05-07T10:00:00Z"))
    );
    let (bytes, losses) = layout::write(&survey.document, &layout, &[]).unwrap();
    let text = String::from_utf8_lossy(&bytes);
    assert_eq!(losses, LossReport::default(), "{text}");
    assert!(
        text.contains("\n  <Line id=\"P2\" up=\"B\" down=\"C\" long=\"12.5\"/>\n  <Line id=\"P3\""),
        "{text}"
    );
    assert_eq!(read(&bytes, &layout).0.document, survey.document);
    // At the end, values from the last row come from the last one with a run. A run element without
    // values is not a run.
    let last = source.replace("</Works>", "<Line id='P4' up='D' down='E'><Look/></Line></Works>");
    let document = json(&read(last.as_bytes(), &layout).0.document);
    assert_eq!(
        (&document["pipes"][3]["id"], &document["id"]),
        (&json!("P4"), &json!("x:P3 2026-05-07T10:00:00Z"))
    );
    // Its own values are read and checked like those of any other pipe.
    let wrong = refused(source.replace("12.5", "long").as_bytes(), &layout);
    assert!(
        wrong.len() == 1
            && wrong[0].contains("(column Works/Line/@long): found \"long\"; expected a number"),
        "{wrong:#?}"
    );
    let contradicts = source.replace("id='P2' up='B'", "id='P1' up='B'");
    let messages = refused(contradicts.as_bytes(), &layout);
    assert!(
        messages.iter().any(|one| one.contains("and line 2 has A for the same pipe")),
        "{messages:#?}"
    );
    let unnamed = refused(source.replace("id='P2' ", "").as_bytes(), &layout);
    assert!(
        unnamed[0].ends_with(
            "the row does not name its pipe, so it was skipped; fill in \"Works/Line/@id\""
        ),
        "{unnamed:#?}"
    );
    let empty = refused(file("<Line/>").as_bytes(), &layout);
    assert_eq!(
        empty,
        ["t.csv:3: the element names neither a pipe nor a run; fill it in, or remove it"]
    );
    // Values of a run without its name are still an error.
    let seen = refused(
        file("<Line id='P2' up='B' down='C'><Look><Note at='1' what='hole'/></Look></Line>")
            .as_bytes(),
        &layout,
    );
    let asked = "the row does not name its run, so it was skipped; fill in \"Works/Line/Look/@on\"";
    assert!(seen[0].ends_with(asked), "{seen:#?}");
    let operated =
        refused(file("<Line id='P2' up='B' down='C' crew='Heron 2'/>").as_bytes(), &layout);
    let messages = format!("{asked}, or remove the element if there was no inspection");
    assert!(operated[0].ends_with(&messages), "{operated:#?}");
    // If the pipe alone determines the id of a run, it has no values of a run either.
    by_day["made"][0]["text"] = "R {pipes.id}".into();
    let by_pipe = Layout::read(by_day.to_string().as_bytes()).unwrap();
    let (survey, _) = read(source.as_bytes(), &by_pipe);
    assert_eq!((survey.document.head.pipes.len(), survey.document.runs.len()), (3, 2));
    let (bytes, losses) = layout::write(&survey.document, &by_pipe, &[]).unwrap();
    assert_eq!(
        (losses, read(&bytes, &by_pipe).0.document),
        (LossReport::default(), survey.document)
    );
    // A run that cannot be written at all is in the report, and is not made up when the file is
    // read again.
    let mut bare = read(source.as_bytes(), &by_pipe).0.document;
    bare.runs[1].observations.clear();
    bare.runs[1].started = None;
    let (bytes, losses) = layout::write(&bare, &by_pipe, &[]).unwrap();
    assert_eq!(read(&bytes, &by_pipe).0.document.runs.len(), 1);
    assert!(losses.losses.iter().any(|loss| loss.pointer == "/runs/1"), "{losses:#?}");
    // If the pipe's ends are those of a run, a pipe without a run has no place. The advice is to
    // leave it out.
    let (survey, _) = read(source.as_bytes(), &layout);
    for (column, to) in [(2, "runs.from"), (3, "runs.to")] {
        by_day["columns"][column]["to"] = to.into();
    }
    let by_ends = Layout::read(by_day.to_string().as_bytes()).unwrap();
    let (bytes, losses) = layout::write(&survey.document, &by_ends, &[]).unwrap();
    assert!(!String::from_utf8_lossy(&bytes).contains("\"P2\""));
    assert!(losses.losses.iter().any(|loss| loss.pointer == "/pipes/1"), "{losses:#?}");
}
