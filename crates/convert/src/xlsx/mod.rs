//! Workbooks (Office Open XML, ISO/IEC 29500) with one sheet per table, so that an office can read
//! a survey, fill one in by hand, and have it checked as it is. Lossless in both directions.
//!
//! ```
//! use obvert_convert::xlsx;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut file = Vec::new();
//! xlsx::write(&document, &mut file)?;
//! assert_eq!(xlsx::read(&file, "survey.xlsx")?.document, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Mapping
//! The tables and columns are those of the [CSV tables](crate::csv), which define the columns of
//! positions, lists and objects. A sheet has the name of its table. Unlike in CSV, cells have
//! types:
//!
//! - Numbers are numbers, booleans are booleans. A workbook stores a number as a double, as a
//!   document does, so every digit is kept.
//! - Everything else is text: ids (`007`), dates and times (those of a workbook have no offset from
//!   UTC and no precision), lists, extensions. Columns of text are formatted as text, so that
//!   spreadsheets do not change what people type.
//! - Text is never a formula, whatever it starts with, and needs no apostrophe. Characters that XML
//!   cannot hold are written as `_x001F_`, and the first `_` of text that looks like such an escape
//!   is written as `_x005F_` (ISO/IEC 29500-1, 22.9.2.19, `ST_Xstring`).
//!
//! The first sheet explains how to fill in the others. The headings of required columns are dark.
//! Cells show what they are for and offer values to choose from: the words of the format, the codes
//! of the document's code list, the ids of rows to refer to. None of this is needed when a workbook
//! is read.
//!
//! # Reading
//! The reader accepts sheets and columns in any order, empty rows, numbers stored as text, ids that
//! a program turned into numbers, and dates of either date system in a column of dates. Ambiguous
//! content is refused with its sheet, row and column: times without an offset, dates in other
//! columns, percentages (which store a hundredth of what they show), values without a heading, and
//! sheets that are not tables. Formulas are refused too: they show the result of the last
//! calculation, and it is not visible that they are formulas.

mod guard;
mod guide;
mod percent;
mod read;
mod rows;
mod sheet_xml;
pub mod sheets;
mod write;

pub use crate::ZipLimits;
pub use read::read;
pub use write::{write, write_runs};

use crate::format::{Capabilities, Container, Detection, Format, Sample};
use crate::tables::plan::Table;
use crate::unpack;

/// The workbook.
pub static FORMAT: Format = Format {
    name: "xlsx",
    title: "a workbook",
    description: "A workbook with one sheet per table, which can be filled in by hand.",
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

/// The sheet that explains how to fill in the workbook.
const GUIDE: &str = "how to fill in";
/// The hidden sheet with the values to choose from.
const CHOICES: &str = "choices";

/// The name of the sheet of a table.
fn sheet_of(table: &Table) -> String {
    table.name.clone()
}
