//! A layout, prepared for reading and writing: paths are resolved, templates parsed, and the
//! encoding and the code list are looked up.

use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_model::layout::{CellKind, Column, FileColumn, Layout, LayoutProblem, Target, Template};
use obvert_model::lists::{Code, CodeList};
use obvert_model::profile::FieldPath;
use obvert_model::tables::QuantityUnit;
use serde_json::{Value, json};

use crate::cell::{self, CellFormat};
use crate::encoding::Charset;
use crate::read::suggest::Advice;
use crate::units::converted;

/// A layout whose paths have been resolved.
pub(crate) struct Plan<'l> {
    pub(crate) layout: &'l Layout,
    /// The columns, in the order of the layout.
    pub(crate) columns: Vec<ColumnBinding<'l>>,
    /// The columns of the table, in the order of writing.
    pub(crate) file_columns: Vec<FileColumn<'l>>,
    /// Fixed values.
    pub(crate) fixed: Vec<(Target, Value)>,
    /// Values made from others.
    pub(crate) made: Vec<(Target, Template)>,
    /// The name of the recording that offsets refer to, if no column has it.
    pub(crate) video: Option<Template>,
    /// The encoding that the layout declares.
    pub(crate) charset: Option<Charset>,
    pub(crate) codes: Codes<'l>,
    /// Suggestions for words that the layout does not know.
    pub(crate) advice: Advice,
}

impl<'l> Plan<'l> {
    /// Resolves a layout. `lists` are code lists in addition to the built-in ones.
    ///
    /// # Errors
    /// When the layout has problems: it could lose values of a table without a report.
    pub(crate) fn new(layout: &'l Layout, lists: &'l [CodeList]) -> Result<Self, ConvertError> {
        let problems = layout.problems();
        if !problems.is_empty() {
            return Err(unusable(layout, &problems));
        }
        Self::resolved(layout, lists).ok_or_else(|| unusable(layout, &problems))
    }

    /// Resolves a layout, even if it has problems; `None` if it maps to fields that the format does
    /// not have, or its encoding is not known.
    pub(crate) fn resolved(layout: &'l Layout, lists: &'l [CodeList]) -> Option<Self> {
        let columns = layout.columns.iter().map(|column| ColumnBinding::of(column, layout));
        let fixed = layout
            .fixed
            .iter()
            .map(|fixed| Some((resolve(&fixed.to)?, cell::scalar(&fixed.value))));
        let made = layout
            .made
            .iter()
            .map(|made| Some((resolve(&made.to)?, Template::parse(&made.text).ok()?)));
        let label = layout.table.as_ref().and_then(|table| table.encoding.as_deref());
        Some(Self {
            layout,
            columns: columns.collect::<Option<_>>()?,
            file_columns: layout.file_columns(),
            fixed: fixed.collect::<Option<_>>()?,
            made: made.collect::<Option<_>>()?,
            video: match &layout.video {
                Some(text) => Some(Template::parse(text).ok()?),
                None => None,
            },
            charset: match label {
                Some(label) => Some(Charset::of(label)?),
                None => None,
            },
            codes: Codes::of(layout, lists),
            advice: Advice::default(),
        })
    }

    /// Whether the file is XML, where rows have no lines and each value has a column of its own.
    pub(crate) const fn is_xml(&self) -> bool {
        self.layout.xml.is_some()
    }

    /// The offset from UTC of the times in the file.
    pub(crate) fn zone(&self) -> &'l str {
        self.layout.zone.as_deref().unwrap_or("Z")
    }

    /// The template of a value that the layout makes.
    pub(crate) fn made_of(&self, target: Target) -> Option<&Template> {
        self.made.iter().find(|(own, _)| *own == target).map(|(_, template)| template)
    }

    /// Whether a column names the recordings that offsets refer to.
    pub(crate) fn names_recordings(&self) -> bool {
        self.columns.iter().any(|column| column.names_recording())
    }

    /// The column with a heading, or with a repeat that has it.
    pub(crate) fn column(&self, heading: &str) -> Option<&ColumnBinding<'l>> {
        self.columns.get(self.file_column(heading, 0)?.index)
    }

    /// The column of the table with a heading; `nth` of them are before it.
    pub(crate) fn file_column(&self, heading: &str, nth: usize) -> Option<FileColumn<'l>> {
        self.file_columns.iter().filter(|column| column.heading == heading).nth(nth).copied()
    }

    /// The headings of the columns of the table, in the order of writing.
    pub(crate) fn headings(&self) -> Vec<&'l str> {
        self.file_columns.iter().map(|column| column.heading).collect()
    }

    /// The heading of a column in the table, for an observation of a row.
    pub(crate) fn heading_of(&self, heading: &'l str, nth: Option<usize>) -> &'l str {
        let column = self.layout.columns.iter().find(|column| *column.heading == *heading);
        nth.and_then(|nth| column?.heading_of(nth)).unwrap_or(heading)
    }
}

/// The error for a layout with problems.
fn unusable(layout: &Layout, problems: &[LayoutProblem]) -> ConvertError {
    let problems: Vec<String> = problems.iter().map(ToString::to_string).collect();
    let message = format!("the layout {:?} cannot be used: {}", &*layout.id, problems.join("; "));
    ConvertError::Refused { message }
}

fn resolve(path: &FieldPath) -> Option<Target> {
    Target::resolve(path).ok()
}

/// The purpose of a column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum ColumnUse<'l> {
    /// It maps to a field.
    Field(Target),
    /// It is one of the columns that together determine the code, by its index among them.
    Code(usize),
    /// It marks the start and end of stretches.
    Stretch,
    /// Its values are not carried over, for this reason.
    Dropped(&'l str),
    /// The layout does not define it.
    Unsaid,
}

/// A column of the layout, bound to its field.
#[derive(Clone, Copy)]
pub(crate) struct ColumnBinding<'l> {
    pub(crate) column: &'l Column,
    pub(crate) role: ColumnUse<'l>,
    pub(crate) format: CellFormat<'l>,
    /// The unit of the field in the document, if the field is a length and the layout fixes the
    /// unit.
    pub(crate) unit: Option<QuantityUnit>,
}

impl<'l> ColumnBinding<'l> {
    /// Binds a column; `None` if it maps to a field that the format does not have.
    pub(crate) fn of(column: &'l Column, layout: &'l Layout) -> Option<Self> {
        let code = layout
            .codes
            .as_ref()
            .and_then(|codes| codes.columns.iter().position(|own| *own == column.heading));
        let is_stretch =
            layout.stretches.as_ref().is_some_and(|stretches| stretches.column == column.heading);
        let role = match (code, &column.to, &column.drop) {
            (Some(place), ..) => ColumnUse::Code(place),
            _ if is_stretch => ColumnUse::Stretch,
            (_, Some(to), _) => ColumnUse::Field(resolve(to)?),
            (_, None, Some(why)) => ColumnUse::Dropped(why),
            (_, None, None) => ColumnUse::Unsaid,
        };
        let target = if let ColumnUse::Field(target) = role { Some(target) } else { None };
        let measured_in =
            target.and_then(Target::measured_in).and_then(|unit| layout.fixed_text(unit));
        let unit = measured_in.and_then(|word| word.parse::<QuantityUnit>().ok());
        Some(Self { column, role, format: CellFormat::of(column, layout), unit })
    }

    pub(crate) fn heading(&self) -> &'l str {
        &self.column.heading
    }

    /// The field that it maps to.
    pub(crate) const fn target(&self) -> Option<Target> {
        match self.role {
            ColumnUse::Field(target) => Some(target),
            _ => None,
        }
    }

    /// Whether its cells are plain numbers.
    pub(crate) fn is_number(&self) -> bool {
        self.column.kind == Some(CellKind::Number)
    }

    /// The index of its value in a list, from 0.
    pub(crate) fn place(&self) -> usize {
        (self.column.place.unwrap_or(1) as usize).saturating_sub(1)
    }

    /// The cell of a value of the field, converted to the unit of the column if it has one.
    pub(crate) fn write(&self, value: &Value) -> Option<String> {
        match (self.column.unit, self.unit) {
            (Some(unit), Some(own)) => self.format.write(&converted(value, Some(own), Some(unit))?),
            (None, Some(own)) if self.column.kind == Some(CellKind::Amount) => {
                self.format.write(&json!({"value": value, "unit": own.as_str()}))
            }
            _ => self.format.write(value),
        }
    }

    /// Whether it names the recordings that offsets in the row refer to.
    pub(crate) fn names_recording(&self) -> bool {
        self.column.is_recording() && self.target() == Some(Target::MEDIA_FILE)
    }
}

/// The code list of a layout's file.
pub(crate) struct Codes<'l>(HashMap<&'l str, &'l Code>);

impl<'l> Codes<'l> {
    fn of(layout: &Layout, lists: &'l [CodeList]) -> Self {
        let id = layout.fixed_text(Target::CODE_LIST);
        let version = layout.fixed_text(Target::CODE_LIST_VERSION);
        let is = |list: &&CodeList| Some(&*list.id) == id && Some(&*list.version) == version;
        let list = lists.iter().find(is).or_else(|| CodeList::built_ins().into_iter().find(is));
        Self(
            list.into_iter()
                .flat_map(|list| &list.codes)
                .map(|code| (code.code.as_str(), code))
                .collect(),
        )
    }

    /// Whether the list is not available.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(crate) fn get(&self, code: &str) -> Option<&'l Code> {
        self.0.get(code).copied()
    }
}

/// The unit of an amount without one in its cell or column, by the code list.
pub(crate) fn implied_unit(
    code: Option<&Code>,
    characterisation: &[String],
    place: usize,
) -> Option<QuantityUnit> {
    code?.amounts(characterisation).nth(place).map(|amount| amount.unit)
}
