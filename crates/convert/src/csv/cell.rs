//! Cells of CSV: text that a spreadsheet would run as a formula is made harmless.
//!
//! Spreadsheets run text that starts with certain characters as a formula (OWASP "CSV Injection":
//! `=`, `+`, `-`, `@`, TAB, CR, LF; the null character by OWASP ASVS 5.0 requirement 1.2.10). Such
//! text is written with a leading apostrophe, as those sources advise. To read it back exactly,
//! text that already has apostrophes before such a character gets another one. Reading removes one.
//! Other text that starts with an apostrophe (`'t Hooft`) is not changed. Numbers are never
//! changed: `-0.3` is a number, not a formula.

use serde_json::Value;

use crate::tables::cell;
use crate::tables::plan::Kind;

fn is_hazard(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0'])
}

/// The text of a cell: if a spreadsheet would run it as a formula, it gets a leading apostrophe.
#[must_use]
pub fn harmless(text: String) -> String {
    if is_hazard(&text) { format!("'{text}") } else { text }
}

/// Text as it was before [`harmless`].
#[must_use]
pub fn plain(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if is_hazard(rest) => rest,
        _ => cell,
    }
}

/// Whether a cell of this kind may start with an apostrophe that is not part of its value.
pub(super) fn guarded(kind: &Kind) -> bool {
    matches!(kind, Kind::Text | Kind::Word(_) | Kind::List(_))
}

/// The cell of a value.
pub(super) fn write(value: &Value, kind: &Kind) -> String {
    let text = cell::text(value, kind);
    if matches!(kind, Kind::Text | Kind::List(_)) { harmless(text) } else { text }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// The characters are those of OWASP "CSV Injection" and ASVS 5.0 1.2.10.
    #[test]
    fn no_text_is_written_that_a_spreadsheet_would_run_and_all_come_back() {
        let starts =
            ["=", "+", "-", "@", "\t", "\r", "\n", "\0", "'", "''", "'=", "''=", "a", " =", "\"="];
        for start in starts {
            for rest in ["", "1+1", "'", "=", "'="] {
                let text = format!("{start}{rest}");
                let cell = harmless(text.clone());
                assert!(
                    !cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0']),
                    "{cell:?}"
                );
                assert_eq!(plain(&cell), text);
            }
        }
        assert_eq!(harmless("'t Hooft".into()), "'t Hooft");
        assert_eq!(plain("'t Hooft"), "'t Hooft");
        assert_eq!(harmless("=1+1".into()), "'=1+1");
    }

    #[test]
    fn the_apostrophe_is_the_cells_and_not_the_items() {
        let kind = Kind::List(Box::new(Kind::Text));
        for items in [json!(["=1", "'=1"]), json!(["'", "-"]), json!(["-A", "B"])] {
            let cell = write(&items, &kind);
            let read = cell::read(&cell::Cell::of_text(plain(&cell)), &kind);
            assert_eq!(read, Ok(Some(items)), "{cell}");
        }
        assert_eq!(write(&json!(["-A", "B"]), &kind), "'-A;B");
    }
}
