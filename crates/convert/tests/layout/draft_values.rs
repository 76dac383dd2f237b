//! What a draft makes of the values of a column that its heading names.

use obvert_convert::layout::{self, Draft};
use serde_json::Value;

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
