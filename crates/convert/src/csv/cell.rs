//! What CSV adds to a cell: text that a spreadsheet would run is made harmless.
//!
//! A spreadsheet takes text that begins with certain characters for a formula and runs it (OWASP
//! "CSV Injection": `=`, `+`, `-`, `@`, TAB, CR, LF; the null character by OWASP ASVS 5.0
//! requirement 1.2.10). Such text is written with an apostrophe before it, as those sources advise,
//! and so that it comes back exactly, text that has an apostrophe or more before such a character
//! gets one more. Reading takes one off. Any other text that begins with an apostrophe (`'t Hooft`)
//! is left as it is, both ways. Numbers are never touched: `-0.3` is a number, not a formula.

use serde_json::Value;

use crate::tables::cell;
use crate::tables::plan::Kind;

fn is_hazard(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0'])
}

/// Text as it is written to a cell: if a spreadsheet would run it as a formula, an apostrophe is
/// put before it.
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

/// Whether a cell of this kind may have an apostrophe that is the cell's and not the value's.
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
