//! Parts of layouts made of what each must have.

use super::{
    CodeColumns, CodeWords, Column, Fixed, Layout, LayoutVersion, Made, Stretches, TableForm, Translation, UnitWord,
    XmlForm,
};
use crate::profile::{FieldPath, Scalar};
use crate::tables::QuantityUnit;
use crate::text::{CodeId, Text};

impl Layout {
    /// A layout of its required fields.
    #[must_use]
    pub const fn new(id: Text, version: Text, title: Text) -> Self {
        Self {
            schema: None,
            layout: LayoutVersion::V0_1,
            id,
            version,
            title,
            description: None,
            table: None,
            xml: None,
            columns: Vec::new(),
            codes: None,
            stretches: None,
            units: Vec::new(),
            fixed: Vec::new(),
            made: Vec::new(),
            zone: None,
            outcome_from_codes: None,
            completed_by: None,
            video: None,
            extension: None,
        }
    }
}

impl TableForm {
    /// A form of its required fields.
    #[must_use]
    pub const fn new(delimiter: Text) -> Self {
        Self {
            encoding: None,
            delimiter,
            line_end: None,
            sheet: None,
            heading_row: None,
            heading_rows: None,
            decimal_mark: None,
            thousands_mark: None,
        }
    }
}

impl XmlForm {
    /// A form of its required fields.
    #[must_use]
    pub const fn new(rows: Text) -> Self {
        Self { rows, decimal_mark: None, thousands_mark: None }
    }
}

impl Column {
    /// A column of its required fields.
    #[must_use]
    pub const fn new(heading: Text) -> Self {
        Self {
            heading,
            to: None,
            drop: None,
            kind: None,
            place: None,
            pattern: None,
            unit: None,
            decimals: None,
            digits: None,
            separator: None,
            translate: Vec::new(),
            media: None,
            basis: None,
        }
    }
}

impl Translation {
    /// A translation of its required fields.
    #[must_use]
    pub const fn new(text: Text, value: Scalar) -> Self {
        Self { text, value }
    }
}

impl CodeColumns {
    /// Code columns without any.
    #[must_use]
    pub const fn new() -> Self {
        Self { columns: Vec::new(), words: Vec::new() }
    }
}

impl Default for CodeColumns {
    fn default() -> Self {
        Self::new()
    }
}

impl CodeWords {
    /// Words of their required fields.
    #[must_use]
    pub const fn new(code: CodeId) -> Self {
        Self { words: Vec::new(), code, characterisation: Vec::new() }
    }
}

impl Fixed {
    /// A value of its required fields.
    #[must_use]
    pub const fn new(to: FieldPath, value: Scalar) -> Self {
        Self { to, value }
    }
}

impl Made {
    /// A value of its required fields.
    #[must_use]
    pub const fn new(to: FieldPath, text: Text) -> Self {
        Self { to, text }
    }
}

impl Stretches {
    /// Stretches of their required fields.
    #[must_use]
    pub const fn new(column: Text, start: Text, finish: Text) -> Self {
        Self { column, start, finish }
    }
}

impl UnitWord {
    /// A word of its required fields.
    #[must_use]
    pub const fn new(text: Text, unit: QuantityUnit) -> Self {
        Self { text, unit }
    }
}
