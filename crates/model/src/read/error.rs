//! Structural problems and reading errors, as data: a caller shows them or turns them into
//! findings.

use std::fmt;

use crate::edit::Fix;

/// The kind of a structural problem. The names are stable and used in reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum ProblemKind {
    /// A key that the format does not define there.
    UnknownKey,
    /// A required key is missing.
    MissingKey,
    /// A value of the wrong JSON type.
    WrongType,
    /// `null`, which the format never has.
    NullValue,
    /// A duplicate key in one object.
    DuplicateKey,
    /// A duplicate id in one table.
    DuplicateId,
    /// The empty text, which the format never has.
    EmptyText,
    /// A number out of range, or not a whole number where one is required.
    NumberRange,
    /// A word that is not in the field's vocabulary.
    UnknownWord,
    /// A text that does not have the field's form: a date, a digest, a reference system.
    TextForm,
    /// A row of a table in another format whose parent row does not exist.
    OrphanRow,
    /// A row of a table in another format that repeats another row cell by cell.
    DuplicateRow,
}

impl ProblemKind {
    /// Every kind.
    pub const ALL: &'static [Self] = &[
        Self::UnknownKey,
        Self::MissingKey,
        Self::WrongType,
        Self::NullValue,
        Self::DuplicateKey,
        Self::DuplicateId,
        Self::EmptyText,
        Self::NumberRange,
        Self::UnknownWord,
        Self::TextForm,
        Self::OrphanRow,
        Self::DuplicateRow,
    ];

    /// The name in reports.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::UnknownKey => "unknown-key",
            Self::MissingKey => "missing-key",
            Self::WrongType => "wrong-type",
            Self::NullValue => "null-value",
            Self::DuplicateKey => "duplicate-key",
            Self::DuplicateId => "duplicate-id",
            Self::EmptyText => "empty-text",
            Self::NumberRange => "number-range",
            Self::UnknownWord => "unknown-word",
            Self::TextForm => "text-form",
            Self::OrphanRow => "orphan-row",
            Self::DuplicateRow => "duplicate-row",
        }
    }

    /// Whether it is a problem of the key rather than of its value, so that the key is the
    /// location.
    #[cfg(feature = "diagnose")]
    pub(super) const fn is_of_key(self) -> bool {
        matches!(self, Self::UnknownKey | Self::DuplicateKey)
    }

    /// What it means and what to do, for `explain` and the specification.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::UnknownKey => {
                "The object has a key that the format does not define. Correct the spelling, remove the key, or move your own data to `extensions`."
            }
            Self::MissingKey => "A required key is missing. Add it.",
            Self::WrongType => {
                "The value has the wrong JSON type, such as a text in place of a number. Write numbers without quotation marks and with a decimal point; write texts in quotation marks."
            }
            Self::NullValue => {
                "The format has no `null`. Leave the key out if the value is not known."
            }
            Self::DuplicateKey => {
                "An object has a key twice, and JSON readers differ in which one they use (RFC 8259 section 4). Keep one."
            }
            Self::DuplicateId => {
                "Two rows of a table have the same id, so a reference to it is ambiguous. Give each row its own id."
            }
            Self::EmptyText => {
                "The format has no empty text. Leave the key out if the value is not known."
            }
            Self::NumberRange => {
                "The number is outside the range that every JSON reader reads exactly (RFC 7493 section 2.2), or outside the range of its field, or is not a whole number where one is required. Correct it."
            }
            Self::UnknownWord => {
                "The word is not in the vocabulary of the field. Use one of the words listed."
            }
            Self::TextForm => {
                "The text does not have the form of the field, such as a date and time without an offset. Write it like the example in the message."
            }
            Self::OrphanRow => {
                "The row of a table refers to a parent row that does not exist, such as a run that is not in the table of runs, or has no position in its list. Correct the cell, or add the missing row. If the whole table is missing, that is reported once."
            }
            Self::DuplicateRow => {
                "The row repeats another row of its table cell by cell. It was probably pasted or imported twice. Remove it; if it was meant to be another row, correct the cells that differ."
            }
        }
    }
}

impl fmt::Display for ProblemKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// One structural problem.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Its kind.
    pub kind: ProblemKind,
    /// Its location, as a JSON Pointer (RFC 6901); for a missing key, the object that lacks it.
    pub pointer: String,
    /// Line in the source, from 1; 0 if the source has no lines (a value in memory).
    pub line: usize,
    /// Column in that line, in characters from 1.
    pub column: usize,
    /// What is wrong: lower case, no full stop. A second location is in `other`.
    pub message: String,
    /// For a missing key, that key.
    pub key: Option<String>,
    /// A second location, as a JSON Pointer: for a duplicate id, the row that has it first.
    pub other: Option<String>,
    /// The nearest valid spelling, if there is one.
    pub suggestion: Option<String>,
    /// How to fix it, if known. Only for documents read from JSON.
    pub fix: Option<Fix>,
}

impl Problem {
    /// A problem without line and column.
    #[must_use]
    pub fn new(kind: ProblemKind, pointer: impl Into<String>, message: impl Into<String>) -> Self {
        let (pointer, message) = (pointer.into(), message.into());
        Self {
            kind,
            pointer,
            line: 0,
            column: 0,
            message,
            key: None,
            other: None,
            suggestion: None,
            fix: None,
        }
    }

    /// The message with the second location, if there is one.
    #[must_use]
    pub fn text(&self) -> String {
        let other =
            self.other.as_ref().map_or_else(String::new, |other| format!(", first in {other}"));
        format!("{}{other}", self.message)
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line > 0 {
            write!(f, "line {}, column {}: ", self.line, self.column)?;
        }
        let pointer = if self.pointer.is_empty() { "the document" } else { &self.pointer };
        write!(f, "{pointer}: {}", self.text())?;
        if let Some(near) = &self.suggestion {
            write!(f, "; did you mean {near:?}?")?;
        }
        Ok(())
    }
}

/// Why a document could not be read.
#[derive(Clone, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The source is empty.
    #[error("the source is empty")]
    Empty,
    /// The source is not UTF-8 text.
    #[error("line {line}: not UTF-8 text ({hint}); save it as UTF-8")]
    Encoding {
        /// Line of the first byte that is not UTF-8, from 1.
        line: usize,
        /// What the bytes look like.
        hint: &'static str,
    },
    /// The source is not JSON.
    #[error("line {line}, column {column}: not JSON: {message}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// Column, in characters from 1.
        column: usize,
        /// The message of the JSON parser.
        message: String,
    },
    /// The source is JSON, but not a document of this format. A [`Reader`](super::Reader) returns
    /// the first problem only, or every duplicate id; [`document`](fn@super::document) returns
    /// every problem.
    #[error("{}{}", .0.first().map(ToString::to_string).unwrap_or_default(), match .0.len() { 0 | 1 => String::new(), all => format!("; and {} more", all - 1) })]
    Structure(Vec<Problem>),
}

impl ReadError {
    /// Line and column, both from 1, where reading failed; if there are several problems, those of
    /// the first.
    #[must_use]
    pub fn line_and_column(&self) -> (usize, usize) {
        match self {
            Self::Empty => (1, 1),
            Self::Encoding { line, .. } => (*line, 1),
            Self::Syntax { line, column, .. } => (*line, *column),
            Self::Structure(problems) => {
                problems.first().map_or((1, 1), |first| (first.line, first.column))
            }
        }
    }

    /// What is wrong, without line and column; if there are several problems, the first.
    #[must_use]
    pub fn message(&self) -> String {
        match self {
            Self::Empty => self.to_string(),
            Self::Encoding { hint, .. } => format!("not UTF-8 text ({hint}); save it as UTF-8"),
            Self::Syntax { message, .. } => format!("not JSON: {message}"),
            Self::Structure(problems) => problems
                .first()
                .map(|first| Problem { line: 0, ..first.clone() }.to_string())
                .unwrap_or_default(),
        }
    }

    /// The structural problems; empty for any other error.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Structure(problems) => problems,
            _ => &[],
        }
    }

    /// Replaces the problem at which a [`Reader`](super::Reader) stopped by all problems of the
    /// document. `source` is the document.
    ///
    /// To get the problems together with the value that they refer to, call
    /// [`diagnose`](super::diagnose).
    #[must_use]
    pub fn with_all_problems(self, source: &[u8]) -> Self {
        super::diagnose::explain(source, self)
    }
}
