//! What can be wrong with the form of a document, as data: a caller shows it, folds it or turns it
//! into findings.

use std::fmt;

use crate::edit::Fix;

/// What kind of structural problem it is. The names are stable and stand in reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum ProblemKind {
    /// A key that the format does not have at that place.
    UnknownKey,
    /// A required key is missing.
    MissingKey,
    /// A value of the wrong JSON type.
    WrongType,
    /// `null`, which the format never has.
    NullValue,
    /// A key that stands twice in one object.
    DuplicateKey,
    /// An id that stands twice in one table.
    DuplicateId,
    /// The empty text, which the format never has.
    EmptyText,
    /// A number beyond the range that every JSON implementation reads exactly, or not a whole
    /// number where one is asked.
    NumberRange,
    /// A word that is not in the vocabulary of its place.
    UnknownWord,
    /// A text that has not the form of its place: a date, a digest, a reference system.
    TextForm,
    /// A row of a table in another form that belongs to no row of the document.
    OrphanRow,
    /// A row of a table in another form that stands in it again, cell by cell.
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

    /// The name that stands in reports.
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

    /// Whether it is a problem of the key rather than of what stands under it, so that the key is
    /// where to look.
    #[cfg(feature = "diagnose")]
    pub(super) const fn is_of_key(self) -> bool {
        matches!(self, Self::UnknownKey | Self::DuplicateKey)
    }

    /// What it means and what to do, for `explain` and the specification.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::UnknownKey => {
                "The object has a key that the format does not define. Correct the spelling, remove the key, or put data of \
                 your own under `extensions`."
            }
            Self::MissingKey => "A required key is missing. Add it.",
            Self::WrongType => {
                "The value has the wrong JSON type, such as a text where a number belongs. A number stands without quotation marks \
                 and has a decimal point; a text stands between quotation marks."
            }
            Self::NullValue => {
                "`null` is never written: a value that is not known is left out, key and all."
            }
            Self::DuplicateKey => {
                "A key stands twice in one object, and JSON readers differ in which of the two they take (RFC 8259 section 4). \
                 Keep one."
            }
            Self::DuplicateId => {
                "An id stands twice in one table, so a reference to it is ambiguous. Give each row its own id."
            }
            Self::EmptyText => {
                "The empty text is never written: a value that is not known is left out, key and all."
            }
            Self::NumberRange => {
                "The number lies beyond what every JSON reader holds exactly (RFC 7493 section 2.2), or beyond what its place \
                 can hold, or is not whole where a whole number is asked for."
            }
            Self::UnknownWord => {
                "The word is not in the vocabulary of its place. Use one of the words listed."
            }
            Self::TextForm => {
                "The text has not the form of its place, such as a date and time without its offset. Write it as in the example \
                 that the message gives."
            }
            Self::OrphanRow => {
                "The row of a table says that it belongs to a row that is not there, such as to a run that no row of the runs \
                 has, or does not say where in its list it stands. Correct the cell, or add the row that is missing. A table that is \
                 missing as a whole is told once."
            }
            Self::DuplicateRow => {
                "A row of a table stands in it again, cell by cell: it was pasted or imported twice, most likely. Take it out; if \
                 another row was meant, correct what tells the two apart."
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
    /// What kind it is.
    pub kind: ProblemKind,
    /// Where, as a JSON Pointer (RFC 6901); for a missing key, the object that lacks it.
    pub pointer: String,
    /// Line in the source, from 1; 0 when the source has no lines (a value made in memory).
    pub line: usize,
    /// Column in that line, in characters from 1.
    pub column: usize,
    /// What is wrong: lower case, no full stop. Another place that it has to do with stands in
    /// `other`.
    pub message: String,
    /// Of a missing key, that key.
    pub key: Option<String>,
    /// Another place that it has to do with, as a JSON Pointer: of an id that stands twice, the row
    /// that has it first.
    pub other: Option<String>,
    /// The nearest valid spelling, where there is one.
    pub suggestion: Option<String>,
    /// How to mend it, where that can be told; only of a document that was read from JSON.
    pub fix: Option<Fix>,
}

impl Problem {
    /// A problem of a value that has no lines.
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

    /// The message with the other place, where there is one.
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
        /// What the JSON reader says.
        message: String,
    },
    /// The source is JSON, but not a document of this format. A [`Reader`](super::Reader) gives the
    /// first problem alone, or every id that repeats; [`document`](fn@super::document) gives every
    /// problem.
    #[error("{}{}", .0.first().map(ToString::to_string).unwrap_or_default(), match .0.len() { 0 | 1 => String::new(), all => format!("; and {} more", all - 1) })]
    Structure(Vec<Problem>),
}

impl ReadError {
    /// Line and column, both from 1, where reading failed; of several problems, those of the first.
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

    /// What is wrong, without line and column; of several problems, the first.
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

    /// The structural problems, when that is what it is.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Structure(problems) => problems,
            _ => &[],
        }
    }

    /// Replaces the first problem of a document, at which a [`Reader`](super::Reader) stopped, by
    /// every problem of it. `source` is the document.
    ///
    /// To have the problems together with the value that they were found in, call
    /// [`diagnose`](super::diagnose).
    #[must_use]
    pub fn with_all_problems(self, source: &[u8]) -> Self {
        super::diagnose::explain(source, self)
    }
}
