//! What a draft makes of the values of a column that its heading names.

use obvert_convert::layout::{self, Draft};
use serde_json::{Value, json};

use super::draft::SMALL;
use super::read;

/// The table of [`SMALL`] with one more column behind its others; blank cells where there are fewer than five.
fn with_column(heading: &str, cells: &[&str]) -> String {
    let cells = std::iter::once(&heading).chain(cells).chain(std::iter::repeat(&""));
    SMALL.lines().zip(cells).map(|(row, cell)| format!("{row};\"{cell}\"\n")).collect()
}

fn draft(table: &str) -> Draft {
    layout::draft(table.as_bytes(), "t.csv").unwrap()
}

/// The observations that a table holds by a layout that was drafted from it.
fn observations(table: &str, draft: &Draft) -> Value {
    super::json(&read(table.as_bytes(), &draft.layout).0.document)["runs"][0]["observations"].clone()
}

/// Between several pictures stands what most cells have there, with or without white space around it; cells with anything else there
/// are named.
#[test]
fn pictures_are_cut_by_what_most_cells_have_between_them() {
    type Case<'c> = (&'c [&'c str], Option<&'c str>, &'c [&'c str]);
    let cases: [Case<'_>; 10] = [
        (&["a.jpg, b.jpg", "c.jpg,d.jpg", "e.jpg; f.jpg", "g.jpg"], Some(","), &["e.jpg; f.jpg"]),
        (&["a.jpg, b.jpg", "c.jpg, d.jpg", "g.jpg"], Some(", "), &[]),
        (&["a.jpg; b.jpg", "c.jpg ;d.jpg;", "g.jpg"], Some(";"), &[]),
        (&["a.jpg|b.jpg", "c.jpg | d.jpg", "g.jpg"], Some("|"), &[]),
        (&["a.jpg b.jpg", "c.jpg  d.jpg", "g.jpg"], Some(" "), &[]),
        (&["a.jpg", "c.jpg", "my picture, left.jpg"], None, &[]),
        (&["my picture.jpg; b.jpg", "c.jpg"], Some("; "), &[]),
        // Half of the cells and fewer are enough, where all are pictures.
        (
            &["a.jpg, b.jpg", "c.jpg, d.jpg", "e.jpg; f.jpg", "g.jpg|h.jpg"],
            Some(", "),
            &["e.jpg; f.jpg", "g.jpg|h.jpg"],
        ),
        (&["a.jpg|b.jpg", "c.jpg, d.jpg", "e.jpg f.jpg"], Some(", "), &["a.jpg|b.jpg", "e.jpg f.jpg"]),
        // How often a value stands counts.
        (&["a.jpg; b.jpg", "c.jpg, d.jpg", "c.jpg, d.jpg", "e.jpg"], Some(", "), &["a.jpg; b.jpg"]),
    ];
    for (cells, separator, odd) in &cases {
        let table = with_column("Photos", cells);
        let draft = draft(&table);
        let (column, drafted) = (&draft.layout.columns[7], &draft.columns[7]);
        assert_eq!(column.to.as_deref(), Some("runs.observations.media.id"), "{cells:?}: {drafted:#?}");
        assert_eq!(column.separator.as_deref(), *separator, "{cells:?}");
        let named: Vec<&str> = drafted.odd.iter().map(|(value, _)| value.as_str()).collect();
        assert_eq!(named, *odd, "{cells:?}: {drafted:#?}");
        #[allow(clippy::cast_precision_loss)]
        let share = (cells.len() - odd.len()) as f64 / cells.len() as f64;
        assert!((drafted.confidence - (0.6 + 0.4 * share)).abs() < 1e-9, "{cells:?}: {drafted:#?}");
        assert_eq!(drafted.reason.contains(" values look like files of pictures, with "), !odd.is_empty());
        let all = observations(&table, &draft);
        for (at, cell) in cells.iter().enumerate().filter(|(_, cell)| !odd.contains(cell)) {
            let files = cell.matches(".jpg").count();
            assert_eq!(all[at]["media"].as_array().unwrap().len(), files, "{cell}: {all:#}");
        }
    }
    let mixed = draft(&with_column("Photos", cases[0].0));
    let open = "\"Photos\": line 4 has \"e.jpg; f.jpg\", which is not written as the others are; write it so";
    assert!(mixed.open.iter().any(|one| one.starts_with(open)), "{:#?}", mixed.open);
    assert!(mixed.columns[7].reason.ends_with("with \",\" between several; line 4 has \"e.jpg; f.jpg\""));
}

/// Two hours of a clock as four digits, where the heading has a word for it, and zeros before hours whatever stands between two.
#[test]
fn clock_positions_are_drafted_and_written_again_as_they_were() {
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
        assert_eq!(drafted.reason, "the heading is a word for the clock position, and all 4 values look like it");
        let said = serde_json::to_value(column).unwrap();
        assert_eq!((&said["to"], &said["kind"]), (&"runs.observations.clock".into(), &"clock".into()), "{said:#}");
        assert_eq!(
            (said.get("separator"), said.get("digits")),
            (separator.map(Value::from).as_ref(), digits.map(Value::from).as_ref()),
            "{said:#}"
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
    // One that is none, and one that no clock has.
    for odd in ["top", "2507"] {
        let draft = draft(&with_column("Clock", &["1101", odd, "0507", "02"]));
        let reason = format!(
            "the heading is a word for the clock position, and 3 of 4 values look like clock positions, two of them as four digits; \
             line 3 has {odd:?}"
        );
        assert_eq!(draft.columns[7].reason, reason);
        assert_eq!(draft.layout.columns[7].separator, None);
    }
    // What has no word for it above is anything else.
    for heading in ["Zq", "Clock from"] {
        let draft = draft(&with_column(heading, &["1101", "0507", "0202", "1212"]));
        let clock = draft.columns[7].to.as_deref() == Some("runs.observations.clock");
        assert_eq!(clock, heading == "Clock from", "{heading}: {:#?}", draft.columns[7]);
    }
}
