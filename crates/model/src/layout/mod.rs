//! Layouts: how one office's flat table stands to the model, as data. The same file reads the table
//! and writes it, so that an office describes its columns once and nobody writes a program for
//! them.
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
mod target;
mod template;

pub use kind::CellKind;
pub use problems::LayoutProblem;
pub use target::{Record, Target};
pub use template::{Template, TemplateError};

use crate::profile::{FieldPath, Scalar};
use crate::read::Subject;
use crate::tables::{MediaKind, QuantityUnit};
use crate::text::{CodeId, Text};
use crate::write::WriteError;

file_error! {
    /// Why a layout could not be read. Its [`source`](std::error::Error::source) says where and
    /// what.
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
    /// How the characters of a table are written as bytes: a label of the WHATWG Encoding standard,
    /// whatever its case.
    pub Encoding matches is_label, r"^[0-9A-Za-z][0-9A-Za-z_:.-]*$", "a label of the WHATWG Encoding standard, such as utf-8 or windows-1252";
}

fn is_label(text: &str) -> bool {
    text.starts_with(|first: char| first.is_ascii_alphanumeric())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"_:.-".contains(&byte))
}

words! {
    /// How a line ends when a table is written. Any is read.
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
        /// How its characters are written, as a label of the WHATWG Encoding standard: `utf-8`,
        /// `windows-1252`, `shift_jis`. `iso-8859-1` and its other names are that standard itself
        /// and not `windows-1252`; `utf-16` is little-endian, and written with a byte-order mark. A
        /// byte-order mark in the file overrides the label. When absent, the encoding is guessed
        /// and reported on reading, and is UTF-8 on writing.
        encoding?: Encoding,
        /// The character between cells; `\t` for a tab.
        delimiter: Text,
        /// How lines end when it is written; CR and LF when absent.
        line_end?: LineEnd,
        /// The sheet that it is, where it stands in a workbook; the first that has anything in it
        /// when absent.
        sheet?: Text,
        /// The row that holds the headings, from 1, which is what it is when absent, blank rows
        /// counted. Rows above it are passed over.
        heading_row?: u32,
        /// How many rows the headings take, 1 when absent. A heading is what stands one below the
        /// other, with a line feed between; a blank cell above another takes what stands left of
        /// it, as cells that were merged in a spreadsheet do.
        heading_rows?: u32,
        /// The decimal mark; a point when absent.
        decimal_mark?: Text,
        /// The mark between thousands, which may stand in a cell and is not written; none when
        /// absent.
        thousands_mark?: Text,
    }
}

table! {
    /// How an XML file nests what a table would have side by side.
    pub XmlForm {
        /// The element that is a row, by the names of the elements from the root on:
        /// `Works/Line/Look/Note`. What is known of its pipe and run stands in the elements around
        /// it.
        rows: Text,
        /// The decimal mark; a point when absent.
        decimal_mark?: Text,
        /// The mark between thousands, which may stand in a value and is not written; none when
        /// absent.
        thousands_mark?: Text,
    }
}

table! {
    /// A word of the office and the value that it stands for.
    pub Translation {
        /// What stands in the cell.
        text: Text,
        /// What stands in the document. Of several texts with one value the first is written.
        value: Scalar,
    }
}

table! {
    /// One column.
    pub Column {
        /// Its heading. In XML the path of an attribute, `Works/Line/@bore`, or of an element that
        /// has a text, `Works/Line/Bore`.
        heading: Text,
        /// The field that it holds, by its keys from the document on, lists being stepped through
        /// without a number: `runs.observations.at`. Several columns of dates and times that lead
        /// to one field are joined.
        to?: FieldPath,
        /// Why it leads nowhere, where it does.
        drop?: Text,
        /// What stands in its cells; text when absent.
        kind?: CellKind,
        /// Where in a list the value stands, from 1, which is what it is when absent.
        place?: u32,
        /// The pattern of a date (`d`, `dd`, `m`, `mm`, `yyyy`; `yy` for a year from 2000 to 2099,
        /// `mmm` for `Jan` to `Dec`) or a time (`h`, `hh`, `mm`, `ss`, `am`), other characters as
        /// they are: `dd.mm.yyyy`, `h:mm am`. In a date and time together, `m` is a minute behind
        /// `h`. A third `h` is one that stands behind the hour: `hhhmm` for `08h15`. `serial-1900`
        /// and `serial-1904` are the day numbers of spreadsheets.
        pattern?: Text,
        /// The unit of its numbers, where it is another than that of the document, or where amounts
        /// have none in their cells.
        unit?: QuantityUnit,
        /// How many decimals a number is written with; as many as it has when absent.
        decimals?: u32,
        /// How many digits a number, the hours of a clock reference or of a span of time are
        /// written with at least, with zeros before them; as many as they have when absent.
        digits?: u32,
        /// What stands between the two hours of a clock reference, or between several values in one
        /// cell.
        separator?: Text,
        /// The words of the office. A cell that is none of them is a mistake.
        translate[]: Translation,
        /// The kind of the media that the cell names; `photo` when absent.
        media?: MediaKind,
        /// What this rests on, where it was drafted from a table.
        basis?: Text,
    }
}

table! {
    /// Words for one code.
    pub CodeWords {
        /// What stands in the columns of the codes, in their order; columns behind the last word
        /// are blank.
        words[]: Text,
        /// The code.
        code: CodeId,
        /// Its characterisation.
        characterisation[]: Text,
    }
}

table! {
    /// Columns that together say what was seen.
    pub CodeColumns {
        /// The headings of the columns.
        columns[]: Text,
        /// What can stand there. Of several words for one code the first are written.
        words[]: CodeWords,
    }
}

table! {
    /// A value that stands in no column since it is always the same.
    pub Fixed {
        /// The field.
        to: FieldPath,
        /// The value.
        value: Scalar,
    }
}

table! {
    /// A value that stands in no column since it follows from others.
    pub Made {
        /// The field.
        to: FieldPath,
        /// Its text, with fields of the same row in braces: `{pipes.upstream}/{pipes.downstream}`.
        /// Fields of the document are made from the last row, and `issued` from the one that makes
        /// it latest.
        text: Text,
    }
}

table! {
    /// Stretches that are recorded as a row where they begin and a row where they end.
    pub Stretches {
        /// The heading of the column that marks them.
        column: Text,
        /// What marks the row where one begins, with `#` for its number in the run.
        start: Text,
        /// What marks the row where it ends.
        finish: Text,
    }
}

table! {
    /// A word for a unit that stands behind a number.
    pub UnitWord {
        /// The word, as it is written after the number, a space before it included.
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
        /// What it is for, and what is to be known of the office's table.
        description?: Text,
        /// How a table of cells is written as a file; this or `xml`.
        table?: TableForm,
        /// How an XML file nests the rows.
        xml?: XmlForm,
        /// Its columns, in the order in which they are written. They are found by their headings
        /// when read.
        columns[]: Column,
        /// Columns that together say what was seen; where absent, a column leads to the code
        /// itself.
        codes?: CodeColumns,
        /// Stretches that are recorded as two rows.
        stretches?: Stretches,
        /// Words for units.
        units[]: UnitWord,
        /// Values that are always the same.
        fixed[]: Fixed,
        /// Values that follow from others.
        made[]: Made,
        /// The offset of the times in the table, such as `-05:00`.
        zone?: Text,
        /// Whether the outcome of a run, and how far it came, follow from its rows that are coded
        /// as its end.
        outcome_from_codes?: bool,
        /// What is put behind the id of a run to name the run that completes it from the other end.
        completed_by?: Text,
        /// The file that the offsets of observations are into, where no column names it, made as
        /// the text of a made value is; `runs.id` in braces names the run.
        video?: Text,
        /// The key of `extensions` under which columns that lead to `extensions` keep their texts
        /// by heading.
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
    /// The field that it holds; `None` where it leads to none, or to one that the format does not
    /// have.
    #[must_use]
    pub fn target(&self) -> Option<Target> {
        Target::named(self.to.as_deref()?)
    }

    /// Whether the files that it names are recordings, which offsets can be into.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        matches!(self.media, Some(MediaKind::Video | MediaKind::IntervalVideo | MediaKind::Audio))
    }
}

impl Layout {
    /// Reads a layout. Whether it makes sense is another question: [`Layout::problems`].
    ///
    /// # Errors
    /// If the source is not JSON or not a layout; with every problem of its structure.
    pub fn read(source: &[u8]) -> Result<Self, LayoutError> {
        Ok(crate::lists::read(source, Subject::Layout)?)
    }

    /// The schema of layouts.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let examples = crate::schema::example(include_str!("../../data/examples/layout.json"));
        crate::schema::of::<Self>("layout", "Obvert layout of an office's table", examples)
    }

    /// The layout as text, in the arrangement for files: a line for each column.
    ///
    /// # Errors
    /// None that are known; the signature is the serializer's.
    pub fn write(&self) -> Result<String, WriteError> {
        crate::write::in_lines(self)
    }

    /// The decimal mark, and the mark between thousands where there is one.
    #[must_use]
    pub fn marks(&self) -> (&str, Option<&str>) {
        let (decimal, thousands) = match (&self.table, &self.xml) {
            (Some(table), _) => (&table.decimal_mark, &table.thousands_mark),
            (None, Some(xml)) => (&xml.decimal_mark, &xml.thousands_mark),
            (None, None) => (&None, &None),
        };
        (decimal.as_deref().unwrap_or("."), thousands.as_deref())
    }

    /// The fixed text of a field, where there is one.
    #[must_use]
    pub fn fixed_text(&self, target: Target) -> Option<&str> {
        self.fixed.iter().find(|fixed| &*fixed.to == target.path()).and_then(|fixed| {
            match &fixed.value {
                Scalar::Text(text) => Some(text.as_str()),
                _ => None,
            }
        })
    }

    /// Whether a column, a fixed or a made value leads to a field.
    #[must_use]
    pub fn leads_to(&self, target: Target) -> bool {
        let columns = self.columns.iter().filter_map(|column| column.to.as_ref());
        let others =
            self.fixed.iter().map(|fixed| &fixed.to).chain(self.made.iter().map(|made| &made.to));
        columns.chain(others).any(|to| &**to == target.path())
    }
}
