//! Layouts: how the columns of an office's own table map to the model, as data. The same layout
//! reads the table and writes it, so an office describes its columns once and needs no program of
//! its own.
//!
//! ```
//! use obvert_model::layout::Layout;
//! let layout = Layout::read(br#"{
//!   "layout": "0.1", "id": "larkmoor-list", "version": "1", "title": "List of the town of Larkmoor",
//!   "table": { "encoding": "utf-8", "delimiter": "," },
//!   "columns": [
//!     { "heading": "Pipe", "to": "pipes.id" }, { "heading": "Run", "to": "runs.id" },
//!     { "heading": "Way", "to": "runs.direction" },
//!     { "heading": "From", "to": "runs.from" }, { "heading": "To", "to": "runs.to" },
//!     { "heading": "At", "to": "runs.observations.at", "kind": "number" },
//!     { "heading": "Seen", "to": "runs.observations.code" }
//!   ],
//!   "fixed": [
//!     { "to": "id", "value": "larkmoor-list" }, { "to": "issued", "value": "2026-05-06T16:20:00-05:00" },
//!     { "to": "units.length", "value": "m" }, { "to": "units.section", "value": "mm" },
//!     { "to": "coding.list", "value": "obvert-terms" }, { "to": "coding.version", "value": "1" },
//!     { "to": "structures.kind", "value": "manhole" }
//!   ]
//! }"#)?;
//! assert!(layout.problems().is_empty());
//! # Ok::<(), obvert_model::layout::LayoutError>(())
//! ```

mod coding;
mod kind;
mod problems;
mod repeats;
mod target;
mod template;

pub use kind::CellKind;
pub use problems::LayoutProblem;
pub use repeats::FileColumn;
pub use target::{Record, Target};
pub use template::{Template, TemplateError};

use crate::profile::{FieldPath, Scalar};
use crate::read::Subject;
use crate::tables::{MediaKind, QuantityUnit};
use crate::text::{CodeId, Text};
use crate::write::WriteError;

file_error! {
    /// Why a layout could not be read. Its [`source`](std::error::Error::source) has the details.
    pub LayoutError of "layout"
}

words! {
    /// The version of the layout format.
    pub LayoutVersion {
        /// The first draft.
        V0_1 = "0.1",
    }
}

texts! {
    /// The character encoding of a table: a label of the WHATWG Encoding standard, in upper or
    /// lower case.
    pub Encoding matches is_label, r"^[0-9A-Za-z][0-9A-Za-z_:.-]*$", "a label of the WHATWG Encoding standard, such as utf-8 or windows-1252";
}

fn is_label(text: &str) -> bool {
    text.starts_with(|first: char| first.is_ascii_alphanumeric())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"_:.-".contains(&byte))
}

words! {
    /// How lines end when a table is written. Every line ending is accepted when it is read.
    pub complete LineEnd {
        /// CR and LF (RFC 4180).
        Crlf = "crlf",
        /// LF.
        Lf = "lf",
    }
}

table! {
    /// How a table of cells is written as a file.
    pub TableForm {
        /// The character encoding, as a label of the WHATWG Encoding standard: `utf-8`,
        /// `windows-1252`, `shift_jis`. Unlike in that standard, `iso-8859-1` and its other names
        /// mean ISO 8859-1 and not `windows-1252`; `utf-16` is little-endian, and written with a
        /// byte-order mark. A byte-order mark in the file overrides the label. When absent, the
        /// encoding is guessed and reported on reading, and is UTF-8 on writing.
        encoding?: Encoding,
        /// The character between cells; `\t` for a tab.
        delimiter: Text,
        /// How lines end on writing; CR and LF when absent.
        line_end?: LineEnd,
        /// The sheet of a workbook that has the table; when absent, the first sheet that is not
        /// empty.
        sheet?: Text,
        /// The row of the headings, from 1, with blank rows counted; 1 when absent. Rows above it
        /// are skipped.
        heading_row?: u32,
        /// How many rows the headings take; 1 when absent. The cells of a column are joined by line
        /// feeds. A blank cell above another takes the text of the cell to its left, as merged
        /// cells of a spreadsheet do.
        heading_rows?: u32,
        /// The decimal mark; a point when absent.
        decimal_mark?: Text,
        /// The mark between thousands. It is optional in a cell and never written; none when
        /// absent.
        thousands_mark?: Text,
    }
}

table! {
    /// How an XML file nests what a table has side by side.
    pub XmlForm {
        /// The element that is a row, as the names of the elements from the root:
        /// `Works/Line/Look/Note`. The elements around it have the data of its pipe and run.
        rows: Text,
        /// The decimal mark; a point when absent.
        decimal_mark?: Text,
        /// The mark between thousands. It is optional in a value and never written; none when
        /// absent.
        thousands_mark?: Text,
    }
}

table! {
    /// A word of the office and the value that it means.
    pub Translation {
        /// The text of the cell.
        text: Text,
        /// The value in the document. If several texts have one value, the first is written.
        value: Scalar,
    }
}

table! {
    /// One column.
    pub Column {
        /// Its heading. In XML the path of an attribute, `Works/Line/@bore`, or of an element with
        /// a text, `Works/Line/Bore`.
        heading: Text,
        /// Its headings for further observations, if a row has several: the second, the third, and
        /// so on. A heading that the table has several times is given several times.
        repeats[]: Text,
        /// The field that it holds, as the path of keys from the document, without the indexes of
        /// lists: `runs.observations.at`. Columns of dates and times that map to one field are
        /// joined.
        to?: FieldPath,
        /// Why the column is not read, if it is not.
        drop?: Text,
        /// What its cells hold; text when absent.
        kind?: CellKind,
        /// The position of the value in a list of the observation, from 1; 1 when absent. Only for
        /// characterisation, for amounts and their units, and for media.
        place?: u32,
        /// The pattern of a date (`d`, `dd`, `m`, `mm`, `yyyy`; `yy` for a year from 2000 to 2099,
        /// `mmm` for `Jan` to `Dec`) or a time (`h`, `hh`, `mm`, `ss`, `am`), other characters
        /// are literal: `dd.mm.yyyy`, `h:mm am`. In a pattern of date and time, `m` after
        /// `h` is the minute. A third `h` is the letter after the hour: `hhhmm` for `08h15`.
        /// `serial-1900` and `serial-1904` are the day numbers of spreadsheets.
        pattern?: Text,
        /// The unit of its numbers, if it differs from the document's, or if the cells of amounts
        /// have none.
        unit?: QuantityUnit,
        /// The number of decimals on writing; when absent, as many as the number has.
        decimals?: u32,
        /// The minimum number of digits on writing, padded with leading zeros: of a number, or of
        /// the hours of a clock reference or duration. No padding when absent.
        digits?: u32,
        /// The separator between the two hours of a clock reference, or between several values in
        /// one cell.
        separator?: Text,
        /// The words of the office. Any other text in a cell is an error.
        translate[]: Translation,
        /// The kind of the media that the cell names; `photo` when absent.
        media?: MediaKind,
        /// The evidence for this column, if it was drafted from a table.
        basis?: Text,
    }
}

table! {
    /// Words for one code.
    pub CodeWords {
        /// The texts of the code columns, in their order; columns after the last word are blank.
        words[]: Text,
        /// The code.
        code: CodeId,
        /// Its characterisation.
        characterisation[]: Text,
    }
}

table! {
    /// Columns that together give the code.
    pub CodeColumns {
        /// The headings of the columns.
        columns[]: Text,
        /// The combinations that occur. If one code has several, the first is written.
        words[]: CodeWords,
    }
}

table! {
    /// A value that has no column, since it is always the same.
    pub Fixed {
        /// The field.
        to: FieldPath,
        /// The value.
        value: Scalar,
    }
}

table! {
    /// A value that has no column, since it follows from others.
    pub Made {
        /// The field.
        to: FieldPath,
        /// Its text, with fields of the same row in braces: `{pipes.upstream}/{pipes.downstream}`.
        /// Fields of the document are taken from the last row; `issued` from the row with the
        /// latest date. `{digest}` in the id of the document is a digest of the rows of the table,
        /// so that two tables have two ids even if their rows name the same runs.
        text: Text,
    }
}

table! {
    /// Stretches that are recorded as two rows, one where they begin and one where they end.
    pub Stretches {
        /// The heading of the column with their marks.
        column: Text,
        /// The mark of the row where a stretch begins, with `#` for its number in the run.
        start: Text,
        /// The mark of the row where it ends.
        finish: Text,
    }
}

table! {
    /// A word for a unit after a number.
    pub UnitWord {
        /// The word as written after the number, including a space before it.
        text: Text,
        /// The unit.
        unit: QuantityUnit,
    }
}

table! {
    /// The layout of one office's table.
    pub Layout {
        /// An address of the schema, for editors.
        #[serde(rename = "$schema")]
        schema?: Text,
        /// The version of the layout format.
        layout: LayoutVersion = LayoutVersion::V0_1,
        /// The layout's id.
        id: Text,
        /// The layout's version.
        version: Text,
        /// Its title.
        title: Text,
        /// What it is for, and what to know about the office's table.
        description?: Text,
        /// How a table of cells is written as a file; this or `xml`.
        table?: TableForm,
        /// How an XML file nests the rows.
        xml?: XmlForm,
        /// Its columns, in the order of writing. On reading, columns are found by their headings.
        columns[]: Column,
        /// Columns that together give the code; when absent, a column maps to the code itself.
        codes?: CodeColumns,
        /// Stretches that are recorded as two rows.
        stretches?: Stretches,
        /// Words for units.
        units[]: UnitWord,
        /// Values that are always the same.
        fixed[]: Fixed,
        /// Values that are composed of others.
        made[]: Made,
        /// The offset of the times in the table, such as `-05:00`.
        zone?: Text,
        /// Whether the outcome of a run and its surveyed length are taken from the rows with the
        /// code of its end.
        outcome_from_codes?: bool,
        /// The suffix to the id of a run that gives the id of the run from the other end.
        completed_by?: Text,
        /// The recording that the offsets of observations refer to, if no column has it. A text
        /// with fields in braces, such as `{runs.id}.mp4`.
        video?: Text,
        /// The key under `extensions` for the columns that map to `extensions`. Their texts are
        /// kept there by heading.
        extension?: Text,
    }
}

impl Encoding {
    /// Whether the WHATWG Encoding standard has the label, for an encoding that can be decoded.
    #[must_use]
    pub fn is_known(&self) -> bool {
        encoding_rs::Encoding::for_label_no_replacement(self.as_str().as_bytes()).is_some()
    }
}

impl Column {
    /// The field that it holds; `None` if it has none or the format does not have it.
    #[must_use]
    pub fn target(&self) -> Option<Target> {
        Target::named(self.to.as_deref()?)
    }

    /// Whether the files that it names are recordings, which offsets can refer to.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        matches!(self.media, Some(MediaKind::Video | MediaKind::IntervalVideo | MediaKind::Audio))
    }
}

impl Layout {
    /// Reads a layout. Call [`Layout::problems`] to check that it makes sense.
    ///
    /// # Errors
    /// If the source is not JSON or not a layout, with every structural problem.
    pub fn read(source: &[u8]) -> Result<Self, LayoutError> {
        Ok(crate::lists::read(source, Subject::Layout)?)
    }

    /// The schema of layouts.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let examples = crate::schema::example(include_str!("../../data/examples/layout.json"));
        crate::schema::of::<Self>("layout", "Obvert layout of an office's table", examples)
    }

    /// The layout as a text for a file: a line for each column.
    ///
    /// # Errors
    /// None are known; the serializer's signature has an error.
    pub fn write(&self) -> Result<String, WriteError> {
        crate::write::in_lines(self)
    }

    /// The decimal mark, and the mark between thousands if there is one.
    #[must_use]
    pub fn marks(&self) -> (&str, Option<&str>) {
        let (decimal, thousands) = match (&self.table, &self.xml) {
            (Some(table), _) => (&table.decimal_mark, &table.thousands_mark),
            (None, Some(xml)) => (&xml.decimal_mark, &xml.thousands_mark),
            (None, None) => (&None, &None),
        };
        (decimal.as_deref().unwrap_or("."), thousands.as_deref())
    }

    /// The fixed text of a field, if there is one.
    #[must_use]
    pub fn fixed_text(&self, target: Target) -> Option<&str> {
        self.fixed.iter().find(|fixed| &*fixed.to == target.path()).and_then(|fixed| {
            match &fixed.value {
                Scalar::Text(text) => Some(text.as_str()),
                _ => None,
            }
        })
    }

    /// Whether a column, a fixed value or a made value maps to a field.
    #[must_use]
    pub fn maps_to(&self, target: Target) -> bool {
        let columns = self.columns.iter().filter_map(|column| column.to.as_ref());
        let others =
            self.fixed.iter().map(|fixed| &fixed.to).chain(self.made.iter().map(|made| &made.to));
        columns.chain(others).any(|to| &**to == target.path())
    }
}
