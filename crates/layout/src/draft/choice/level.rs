//! The level of a column: in a flat row, or in one of the elements around the rows of an XML file.

use obvert_model::layout::{Record, Target};

use crate::draft::vocabulary::Role;

/// The level of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Level {
    /// In a row that has all values.
    Any,
    /// In the element around everything.
    Document,
    /// In the element of a pipe.
    Pipe,
    /// In the element of a run, or of a run together with its pipe.
    Run,
    /// In the element of a row, in others.
    Row,
    /// In an element outside the rows, which belongs to something else.
    Beside,
}

impl Level {
    /// How well a role matches the level.
    pub(crate) fn share(self, role: Role) -> f64 {
        let record = role.record();
        let is_unit = matches!(role, Role::Field(Target::LENGTH_UNIT | Target::SECTION_UNIT));
        match (self, record) {
            (Self::Any, _) => 1.0,
            (Self::Beside, _) => 0.0,
            // A recording of a whole run is named once.
            (Self::Run, _) if role == Role::Field(Target::MEDIA_FILE) => 0.95,
            (Self::Row, Record::Observation) => 1.0,
            (_, Record::Observation) => 0.0,
            (Self::Pipe, Record::Pipe) | (Self::Run, Record::Run) => 1.0,
            // A unit is next to its amount.
            _ if is_unit => 1.0,
            // A pipe with only one run can identify the run.
            (Self::Run, Record::Pipe) => 0.95,
            (Self::Document, Record::Pipe | Record::Run) => 0.7,
            (Self::Document, _) => 1.0,
            // A value that is closer to the row than necessary.
            _ => 0.85,
        }
    }
}
