//! A layout proposed from a file alone: its delimiter, marks and headings, or the elements that repeat, are guessed, every column is held
//! against what columns of surveys hold, by its heading and by what its values look like, and each guess says how sure it is,
//! why, and which value decided it. An office corrects a draft; nobody converts by one unseen.

mod around;
mod blocks;
mod choose;
mod codes;
mod dates;
mod doubt;
mod files;
mod fill;
mod form;
mod gaps;
mod look;
mod marks;
mod moments;
mod sheet;
mod sizes;
mod tree;
mod ways;
mod words;
#[cfg(feature = "xlsx")]
mod workbook;

use obvert_model::layout::Layout;

use obvert_convert::{ConvertError, Location};

/// A layout that was proposed, and what it rests on.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The layout. Each of its columns says in its basis what it rests on.
    pub layout: Layout,
    /// A proposal for each column of the table, in their order.
    pub columns: Vec<Drafted>,
    /// What was guessed of the file as a whole: lower case, no full stop.
    pub guesses: Vec<String>,
    /// What the table does not tell and somebody has to fill in or look at: lower case, no full stop.
    pub open: Vec<String>,
}

/// What is proposed for one column.
#[derive(Clone, Debug, PartialEq)]
pub struct Drafted {
    /// Its heading; in XML its path.
    pub heading: String,
    /// The field, or `codes` or `stretches` where it says what was seen or marks a stretch; `None` where nothing was found for it.
    pub to: Option<String>,
    /// How sure that is, from 0 to 1.
    pub confidence: f64,
    /// Why: lower case, no full stop.
    pub reason: String,
    /// The value that decided it, and the line that it stands on.
    pub sample: Option<(String, usize)>,
    /// The different values that do not fit, each with the line on which it first stands; none where all do.
    pub odd: Vec<(String, usize)>,
}

/// More rows than these say nothing new.
const ENOUGH: usize = 10_000;

/// Proposes a layout for a table, in text or (feature `xlsx`) in a workbook, or for an XML file. `name` is how errors call the file. Of
/// a workbook with several sheets, it is the one whose columns make most sense, which is said, and the layout names it.
///
/// # Errors
/// When the bytes are no table with headings and rows below them, and no XML in which an element repeats; with the line, and what
/// to do.
pub fn draft(source: &[u8], name: &str) -> Result<Draft, ConvertError> {
    let start = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source).trim_ascii_start();
    match start {
        [] => Err(fail(name, 1, "the file is empty; a draft needs a table with headings and rows below them")),
        [b'<', ..] => tree::draft(source, name),
        [b'{' | b'[', ..] => {
            Err(fail(name, 1, "this looks like JSON, which no layout reads; draft from a table or from XML"))
        }
        [b'P', b'K', 3 | 5, ..] => workbook(source, name, None),
        [0xD0, 0xCF, 0x11, 0xE0, ..] => {
            Err(fail(name, 1, "a workbook of the older kind (.xls); save it as .xlsx, or the table as CSV"))
        }
        [0x1F, 0x8B, ..] => Err(fail(name, 1, "a gzip archive; unpack it first")),
        _ => sheet::of_text(source, name),
    }
}

/// As [`draft`], for the sheet of a workbook that has a name, whatever its case.
///
/// # Errors
/// As [`draft`], and when the source is no workbook or has no such sheet, with the sheets that it has.
pub fn draft_sheet(source: &[u8], name: &str, sheet: &str) -> Result<Draft, ConvertError> {
    if source.starts_with(b"PK") {
        return workbook(source, name, Some(sheet));
    }
    Err(fail(name, 1, format!("no workbook (.xlsx), so there is no sheet {sheet:?} in it")))
}

#[cfg(feature = "xlsx")]
fn workbook(source: &[u8], name: &str, sheet: Option<&str>) -> Result<Draft, ConvertError> {
    workbook::draft(source, name, sheet)
}

#[cfg(not(feature = "xlsx"))]
fn workbook(_: &[u8], name: &str, _: Option<&str>) -> Result<Draft, ConvertError> {
    Err(fail(name, 1, "a workbook or another zip archive, which this build does not read; save the table as CSV"))
}

fn fail(file: &str, line: usize, message: impl Into<String>) -> ConvertError {
    let place = Location { file: file.to_owned(), line, column: None, heading: None };
    ConvertError::Form { place: Some(place), message: message.into() }
}

/// Whether months come before days: where somebody writes am and pm, they do.
fn american<'c>(mut values: impl Iterator<Item = &'c str>) -> bool {
    values.any(|value| {
        let lower = value.trim().to_ascii_lowercase();
        lower.contains(':') && (lower.ends_with("am") || lower.ends_with("pm"))
    })
}
