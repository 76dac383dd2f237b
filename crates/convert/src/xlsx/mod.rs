//! The survey as a workbook (Office Open XML, ISO/IEC 29500): a sheet a table, so that an office
//! can read it, fill one in by hand, and have it checked as it is. Lossless, both ways.
//!
//! # Which value stands where
//! The tables and columns are those of the [CSV tables](crate::csv), which says how positions,
//! lists and objects in a row are laid out; a sheet has the name of the table. What differs is that
//! cells have types:
//!
//! - Numbers are numbers, truths are truths. A workbook keeps a number as a double, as the document
//!   does, so every digit comes back.
//! - Everything else is text: ids (`007`), dates and times (a workbook's own have no offset from
//!   UTC and no precision), lists, extensions. Columns of text are formatted as text, so that what
//!   somebody types into them stays what they typed.
//! - Text is never a formula, whatever it begins with, and needs no apostrophe. Characters that XML
//!   cannot hold are written as `_x001F_`, and text that looks like such an escape with its first
//!   `_` as `_x005F_` (ISO/IEC 29500-1, 22.9.2.19, `ST_Xstring`).
//!
//! The first sheet tells people how to fill the others in; headings of columns that every row must
//! have are dark; cells show what belongs into them and offer what can be chosen: the words of the
//! format, the codes of the document's list, the ids of the rows that can be pointed at. Neither is
//! needed when a workbook is read.
//!
//! # What is read
//! Sheets in any order, columns in any order, empty rows between others, numbers that are stored as
//! text, ids that a program has turned into numbers, and dates of either date system where a column
//! holds a date. What cannot be told is refused with its sheet, row and column: times without an
//! offset, dates where none belong, percentages, which hold a hundredth of what they show, values
//! under no heading, sheets that are no table. Formulas are refused as well: what they show is what
//! some program last worked out, and nobody sees that they are there.

mod guard;
mod guide;
mod library;
mod percent;
mod read;
mod rows;
pub mod sheets;
mod write;

pub use crate::ZipLimits;
pub use library::catches_panic;
pub use read::read;
pub use write::{write, write_runs};

use crate::format::{Capabilities, Container, Detection, Format, Sample};
use crate::tables::plan::Table;
use crate::unpack;

/// The workbook.
pub static FORMAT: Format = Format {
    name: "xlsx",
    title: "a workbook",
    description: "A workbook with a sheet a table, which can be filled in by hand.",
    extensions: &["xlsx"],
    media_type: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: false },
        tabular: true,
        options: &[],
    },
    detect: |sample| match sample {
        Sample::File(bytes) if unpack::is_workbook(bytes) => Detection::Certain,
        _ => Detection::No,
    },
    open: Some(read::open),
    create: Some(write::create),
};

/// The sheet that tells people what to do.
const GUIDE: &str = "how to fill in";
/// The hidden sheet with what cells offer to choose from.
const CHOICES: &str = "choices";

/// The name of a table's sheet.
fn sheet_of(table: &Table) -> String {
    table.name.clone()
}
