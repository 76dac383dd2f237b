//! Where a column is: in a flat row, or in one of the elements around the rows of an XML file.

use obvert_model::layout::{Record, Target};

use crate::draft::vocabulary::Role;

/// Where a column is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Level {
    /// In a row that holds all that is known of it.
    Any,
    /// In the element that is around everything.
    Document,
    /// In the element of a pipe.
    Pipe,
    /// In the element of a run, or of a run with what is known of its pipe.
    Run,
    /// In the element of a row, below others.
    Row,
    /// In an element that is beside the rows, and of something else.
    Beside,
}

impl Level {
    /// How well a role fits there.
    pub(crate) fn share(self, role: Role) -> f64 {
        let record = role.record();
        let is_unit = matches!(role, Role::Field(Target::LENGTH_UNIT | Target::SECTION_UNIT));
        match (self, record) {
            (Self::Any, _) => 1.0,
            (Self::Beside, _) => 0.0,
            // One recording of a whole run is named once.
            (Self::Run, _) if role == Role::Field(Target::MEDIA_FILE) => 0.95,
            (Self::Row, Record::Observation) => 1.0,
            (_, Record::Observation) => 0.0,
            (Self::Pipe, Record::Pipe) | (Self::Run, Record::Run) => 1.0,
            // A unit is beside what it is of.
            _ if is_unit => 1.0,
            // A run can be told by a pipe where that has but one.
            (Self::Run, Record::Pipe) => 0.95,
            (Self::Document, Record::Pipe | Record::Run) => 0.7,
            (Self::Document, _) => 1.0,
            // What is said nearer to the row than it need be.
            _ => 0.85,
        }
    }
}
