//! A table with every kind of column.

use obvert_model::layout::Layout;
use serde_json::json;

use super::Rows;

/// A table with what its layout has beyond those of the offices: a column of units, words, places,
/// lists, headings in two rows below a title, stretches with pictures at both ends, defaults, values
/// that codes and columns have, and columns that are kept as texts or dropped.
pub(super) fn wide() -> (Layout, Rows) {
    let seen = |below: &str| format!("runs.observations.{below}");
    let layout = json!({
        "layout": "0.1", "id": "wide", "version": "1", "title": "wide",
        "table": {"encoding": "windows-1250", "delimiter": ";", "decimal_mark": ",", "thousands_mark": ".",
                  "heading_row": 2, "heading_rows": 2},
        "columns": [
            {"heading": "Pipe", "to": "pipes.id"},
            {"heading": "Ends\nfrom", "to": "runs.from"}, {"heading": "Ends\nto", "to": "runs.to"},
            {"heading": "Way", "to": "runs.direction", "translate": [
                {"text": "with", "value": "downstream"}, {"text": "against", "value": "upstream"}]},
            {"heading": "Covered", "to": "runs.surveyed", "kind": "number"},
            {"heading": "Length", "to": "pipes.length", "kind": "amount"},
            {"heading": "When", "to": "runs.started", "kind": "date-time", "pattern": "dd.mm.yyyy hh:mm"},
            {"heading": "At", "to": seen("at"), "kind": "number"},
            {"heading": "Seen"}, {"heading": "Kind"},
            {"heading": "More", "to": seen("characterisation"), "separator": "/"},
            {"heading": "Amount\nfirst", "to": seen("quantities.value"), "kind": "number", "place": 1},
            {"heading": "Unit\nfirst", "to": seen("quantities.unit"), "place": 1},
            {"heading": "Amount\nsecond", "to": seen("quantities.value"), "kind": "number", "place": 2},
            {"heading": "Unit\nsecond", "to": seen("quantities.unit"), "place": 2, "translate": [
                {"text": "mm", "value": "mm"}, {"text": "Zoll", "value": "in"}, {"text": "%", "value": "percent"}]},
            {"heading": "Clock", "to": seen("clock"), "kind": "clock", "separator": "-"},
            {"heading": "Stretch"},
            {"heading": "Joint", "to": seen("joint"), "kind": "yes-no", "translate": [
                {"text": "ja", "value": true}, {"text": "nein", "value": false}]},
            {"heading": "Grade", "to": seen("grades"), "kind": "number"},
            {"heading": "Picture 1", "to": seen("media.id")}, {"heading": "Picture 2", "to": seen("media.id")},
            {"heading": "Film", "to": seen("media.offset"), "kind": "duration"},
            {"heading": "Words", "to": seen("remark")},
            {"heading": "Ward", "to": "pipes.extensions"}, {"heading": "Mark", "to": seen("extensions")},
            {"heading": "Order", "to": "assignment.contract"},
            {"heading": "Old", "drop": "its meaning is not known"}
        ],
        "codes": {"columns": ["Seen", "Kind"], "words": [
            {"words": ["Anfang"], "code": "run.start"}, {"words": ["Ende"], "code": "run.finish"},
            {"words": ["Riss", "l\u{e4}ngs"], "code": "crack.longitudinal"},
            {"words": ["Wurzeln", "fein"], "code": "roots.fine"},
            {"words": ["Ablagerung"], "code": "deposit.settled", "characterisation": ["fine"]},
            {"words": ["Abbruch", "Wurzeln"], "code": "run.stopped", "characterisation": ["roots"]}
        ]},
        "stretches": {"column": "Stretch", "start": "A#", "finish": "B#"},
        "units": [{"text": " m", "unit": "m"}, {"text": " mm", "unit": "mm"}, {"text": " %", "unit": "percent"}],
        "fixed": [
            {"to": "issued", "value": "2026-05-06T16:20:00-05:00"},
            {"to": "units.length", "value": "m"}, {"to": "units.section", "value": "mm"},
            {"to": "coding.list", "value": "obvert-terms"}, {"to": "coding.version", "value": "1"},
            {"to": "grading.scheme", "value": "obvert-grades"}, {"to": "grading.version", "value": "1"},
            {"to": "structures.kind", "value": "manhole"}, {"to": "pipes.shape", "value": "circular"}
        ],
        "made": [{"to": "id", "text": "wide:{runs.id}"}, {"to": "runs.id", "text": "{pipes.id} {runs.direction}"}],
        "zone": "+01:00", "outcome_from_codes": true, "video": "{runs.id}.mp4", "extension": "org.example.wide"
    });
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    assert_eq!(layout.problems(), []);
    let text = "Survey of P\u{159}\u{ed}bram;;;;;;;;;;;;;;;;;;;;;;;;;;
Pipe;Ends;;Way;Covered;Length;When;At;Seen;Kind;More;Amount;Unit;Amount;Unit;Clock;Stretch;Joint;Grade;Picture 1;Picture 2;Film;Words;Ward;Mark;Order;Old
;from;to;;;;;;;;;first;first;second;second;;;;;;;;;;;;
P1;A;B;with;;30,5 m;06.05.2026 09:31;0;Anfang;;;;;;;;;;;;;0:00:00;;North;;C 1;
P1;A;B;with;;30,5 m;06.05.2026 09:31;1,5;Riss;l\u{e4}ngs;;6;in;;;11-1;A1;ja;2;p1.jpg;p2.jpg;0:00:10;so;North;m1;C 1;x
P1;A;B;with;;30,5 m;06.05.2026 09:31;4;Wurzeln;fein;;10;%;3;Zoll;3;;nein;;p3.jpg;;;;North;;C 1;
P1;A;B;with;;30,5 m;06.05.2026 09:31;7,25;Riss;l\u{e4}ngs;;6;in;;;11-1;B1;ja;2;p4.jpg;;0:00:30;;North;m1;C 1;
P1;A;B;with;;30,5 m;06.05.2026 09:31;30;Ende;;;;;;;;;;;;;0:01:00;;North;;C 1;
P2;B;C;against;12,5;10,4 m;06.05.2026 10:05;0;Anfang;;;;;;;;;;;;;;;South;;C 1;
P2;B;C;against;12,5;10,4 m;06.05.2026 10:05;8;Ablagerung;;;15;;;;5-7;;;1;;;;\"two
lines\";South;;C 1;
P2;B;C;against;12,5;10,4 m;06.05.2026 10:05;9;Ablagerung;;;;;;;6;;;;;;;;South;;C 1;
P2;B;C;against;12,5;10,4 m;06.05.2026 10:05;12,4;Abbruch;Wurzeln;;;;;;;;;;;;;;South;;C 1;
";
    let rows = parsed(text.as_bytes(), b';', "utf-8");
    (layout, rows)
}

/// The cells of a text table.
pub(super) fn parsed(source: &[u8], delimiter: u8, encoding: &str) -> Rows {
    let text: String = match encoding {
        "utf-8" => String::from_utf8(source.to_vec()).unwrap(),
        _ => source
            .iter()
            .map(|byte| if *byte == 0x96 { '\u{2013}' } else { char::from(*byte) })
            .collect(),
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
}
