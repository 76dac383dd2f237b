//! A layout proposed from a file alone, in steps: the file is taken apart ([`text`], [`workbook`],
//! [`xml`]), the values of each column are analysed ([`statistics`]), what each column means is
//! chosen ([`choice`]), with how sure that is, why, and which value decided it, and a layout is
//! made of that ([`construct`]). An office corrects a draft; no draft is meant to be used unseen.

mod analysis;
mod blocks;
mod choice;
mod construct;
mod headings;
mod statistics;
mod table;
mod text;
mod vocabulary;
#[cfg(feature = "xlsx")]
mod workbook;
mod xml;
mod xml_tree;

use obvert_convert::ConvertError;
use obvert_model::layout::Layout;

use crate::grid::refuse;

/// A layout that was proposed, and what it rests on.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The layout. Each of its columns says in its basis what it rests on.
    pub layout: Layout,
    /// A proposal for each column of the table, in their order.
    pub columns: Vec<Drafted>,
    /// What was guessed of the file as a whole: lower case, no full stop.
    pub guesses: Vec<String>,
    /// What the table does not tell and somebody has to fill in or look at: lower case, no full
    /// stop.
    pub open: Vec<String>,
}

/// What is proposed for one column.
#[derive(Clone, Debug, PartialEq)]
pub struct Drafted {
    /// Its heading; in XML its path.
    pub heading: String,
    /// The field, or `codes` or `stretches` where it says what was seen or marks a stretch; `None`
    /// where nothing was found for it.
    pub to: Option<String>,
    /// How sure that is, from 0 to 1.
    pub confidence: f64,
    /// Why: lower case, no full stop.
    pub reason: String,
    /// The value that decided it, and the line that it stands on.
    pub sample: Option<(String, usize)>,
    /// The different values that do not fit, each with the line on which it first occurs; none
    /// where all do.
    pub outliers: Vec<(String, usize)>,
}

/// More rows than these say nothing new.
const ENOUGH: usize = 10_000;

/// Proposes a layout for a table, in text or (feature `xlsx`) in a workbook, or for an XML file.
/// `name` is how errors call the file. Of a workbook with several sheets, it is the one whose
/// columns make most sense, which is said, and the layout names it.
///
/// # Errors
/// When the bytes are no table with headings and rows below them, and no XML in which an element
/// repeats; with the line, and what to do.
pub fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let start = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source).trim_ascii_start();
    match start {
        [] => Err(refuse(
            name,
            1,
            "the file is empty; a draft needs a table with headings and rows below them",
        )),
        [b'<', ..] => xml::draft(source, name),
        [b'{' | b'[', ..] => Err(refuse(
            name,
            1,
            "this looks like JSON, which no layout reads; draft from a table or from XML",
        )),
        [b'P', b'K', 3 | 5, ..] => workbook(source, name, None),
        [0xD0, 0xCF, 0x11, 0xE0, ..] => Err(refuse(
            name,
            1,
            "a workbook of the older kind (.xls); save it as .xlsx, or the table as CSV",
        )),
        [0x1F, 0x8B, ..] => Err(refuse(name, 1, "a gzip archive; unpack it first")),
        _ => text::draft(source, name),
    }
}

/// As [`draft`], for the sheet of a workbook that has a name, whatever its case.
///
/// # Errors
/// As [`draft`], and when the source is no workbook or has no such sheet, with the sheets that it
/// has.
pub fn draft_sheet(source: &[u8], name: &str, sheet: &str) -> Result<Draft, ConvertError> {
    if source.starts_with(b"PK") {
        return workbook(source, name, Some(sheet));
    }
    Err(refuse(name, 1, format!("no workbook (.xlsx), so there is no sheet {sheet:?} in it")))
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
        "a workbook or another zip archive, which this build does not read; save the table as CSV",
    ))
}

/// Whether months come before days: where somebody writes am and pm, they do.
fn is_american<'c>(mut values: impl Iterator<Item = &'c str>) -> bool {
    values.any(|value| {
        let lower = value.trim().to_ascii_lowercase();
        lower.contains(':') && (lower.ends_with("am") || lower.ends_with("pm"))
    })
}
