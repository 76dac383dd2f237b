//! Proposes a layout from a file alone, in steps: the file is split into cells ([`text`],
//! [`workbook`], [`xml`]), the values of each column are analysed ([`statistics`]), a meaning is
//! chosen for each column ([`choice`]), with a confidence, a reason and the deciding value, and a
//! layout is constructed from these ([`construct`]). An office corrects a draft before it uses it.

mod analysis;
mod blocks;
mod choice;
mod construct;
mod headings;
mod repeats;
mod statistics;
mod table;
mod text;
mod vocabulary;
#[cfg(feature = "xlsx")]
mod workbook;
mod xml;
mod xml_tree;

use obvert_convert::ConvertError;
use obvert_model::layout::{Layout, Target};

use crate::grid::refuse;

/// A proposed layout, and its basis.
#[doc(alias = "inference")]
#[doc(alias = "template")]
#[non_exhaustive]
#[derive(Clone, Debug)]
pub struct Draft {
    /// The layout. Each of its columns has its reason as `basis`.
    pub layout: Layout,
    /// A proposal for each column of the table, in their order.
    pub columns: Vec<Drafted>,
    /// Assumptions about the whole file, in lower case without a full stop.
    pub guesses: Vec<String>,
    /// Points to correct or to check by a person, in lower case without a full stop.
    pub open: Vec<String>,
}

/// The proposal for one column.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq)]
pub struct Drafted {
    /// Its heading; in XML its path.
    pub heading: String,
    /// The field, or `codes` or `stretches` for a column of codes or of marks of stretches; `None`
    /// if nothing was found for it.
    pub to: Option<String>,
    /// The confidence, from 0 to 1.
    pub confidence: f64,
    /// The reason, in lower case without a full stop.
    pub reason: String,
    /// The deciding value, and its line.
    pub sample: Option<(String, usize)>,
    /// The different values that do not match, each with the first line on which it occurs.
    pub outliers: Vec<(String, usize)>,
}

/// Further rows add no information.
const ENOUGH: usize = 10_000;

/// Proposes a layout for a table, as text or (feature `xlsx`) in a workbook, or for an XML file.
/// Errors call the file `name`. Of a workbook with several sheets, the sheet whose columns are
/// recognised best is used; this is reported, and the layout names the sheet.
///
/// # Errors
/// When the file is neither a table with headings and rows, nor XML with a repeated element; with
/// the line, and what to do.
#[doc(alias = "infer")]
pub fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let start = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source).trim_ascii_start();
    match start {
        [] => {
            Err(refuse(name, 1, "the file is empty; use a table with headings and rows below them"))
        }
        [b'<', ..] => xml::draft(source, name),
        [b'{' | b'[', ..] => Err(refuse(
            name,
            1,
            "this looks like JSON, which layouts cannot read; draft from a table or from XML",
        )),
        [b'P', b'K', 3 | 5, ..] => workbook(source, name, None),
        [0xD0, 0xCF, 0x11, 0xE0, ..] => Err(refuse(
            name,
            1,
            "this is a workbook of the older kind (.xls); save it as .xlsx, or save the table as CSV",
        )),
        [0x1F, 0x8B, ..] => Err(refuse(name, 1, "this is a gzip archive; unpack it first")),
        _ => text::draft(source, name),
    }
}

/// As [`draft`], for the sheet with a name, case-insensitively.
///
/// # Errors
/// As [`draft`], and when the source is not a workbook or has no such sheet; the error lists its
/// sheets.
pub fn draft_sheet(source: &[u8], name: &str, sheet: &str) -> Result<Draft, ConvertError> {
    if source.starts_with(b"PK") {
        return workbook(source, name, Some(sheet));
    }
    Err(refuse(
        name,
        1,
        format!("not a workbook (.xlsx), so it has no sheet {sheet:?}; leave the sheet out"),
    ))
}

#[cfg(feature = "xlsx")]
fn workbook(source: &[u8], name: &str, sheet: Option<&str>) -> Result<Draft, ConvertError> {
    workbook::draft(source, name, sheet)
}

#[cfg(not(feature = "xlsx"))]
fn workbook(_: &[u8], name: &str, _: Option<&str>) -> Result<Draft, ConvertError> {
    Err(refuse(
        name,
        1,
        "this is a workbook or another zip archive, which this build cannot read; save the table as CSV",
    ))
}

/// Whether a heading is a word for a field.
pub(crate) fn is_word_for(heading: &str, target: Target) -> bool {
    let words = vocabulary::words(heading);
    vocabulary::meaning_of(target).is_some_and(|meaning| vocabulary::named(&words, meaning) >= 0.9)
}

/// The value of a field that a word probably means.
pub(crate) fn probably_meant(word: &str, target: Target) -> Option<&'static str> {
    vocabulary::probably_meant(word, target)
}

/// The codes of the project's own list that words may mean, the most likely first.
pub(crate) fn likely_codes(words: &str) -> Vec<&'static str> {
    match choice::codes::meant(words) {
        Some((code, _)) => vec![&code.code],
        None => choice::codes::alternatives(words),
    }
}

/// Whether months come before days: this is so if times have am and pm.
fn is_american<'c>(mut values: impl Iterator<Item = &'c str>) -> bool {
    values.any(|value| {
        let lower = value.trim().to_ascii_lowercase();
        lower.contains(':') && (lower.ends_with("am") || lower.ends_with("pm"))
    })
}
