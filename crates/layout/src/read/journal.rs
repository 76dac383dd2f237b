//! The locations of the values of a survey, and the report on its file.

use obvert_convert::{Location, Loss, LossReport, PlacedProblem, SourceMap};
use obvert_model::read::{Problem, ProblemKind};

use crate::grid::Origin;

/// The number of previous entries that are searched for the same one.
const AGAIN: usize = 32;

/// The locations of values. The cells of observations are recorded by their columns, since a record
/// of each would take more memory than the document.
pub(crate) struct Places<'l> {
    name: &'l str,
    map: SourceMap,
    file: u32,
    /// The same file, registered again for the rows of observations.
    rows_file: u32,
    /// The headings of the columns; in XML the paths.
    pub(crate) headings: Vec<String>,
    is_xml: bool,
}

impl<'l> Places<'l> {
    pub(crate) fn new(name: &'l str, headings: Vec<String>, is_xml: bool) -> Self {
        let mut map = SourceMap::default();
        let file = map.file(name);
        let rows_file = map.file_of_rows(name);
        if !is_xml {
            for (heading, column) in headings.iter().zip(1..) {
                map.column(file, column, &one_line(heading));
            }
        }
        Self { name, map, file, rows_file, headings, is_xml }
    }

    pub(crate) const fn name(&self) -> &'l str {
        self.name
    }

    /// Records the location of the value at a pointer.
    pub(crate) fn record(&mut self, pointer: &str, origin: Origin) {
        self.map.record(pointer, self.file, origin.line, origin.column);
    }

    /// Records the row of an observation, with its first column if it is one of several.
    pub(crate) fn record_row(&mut self, pointer: &str, at: Origin) {
        self.map.record(pointer, self.rows_file, at.line, at.column);
    }

    /// Records the location of a value of an observation: its row, except for stretches.
    pub(crate) fn record_below(&mut self, row: &str, line: usize, below: &str, origin: Origin) {
        if let (true, Some(heading)) =
            (origin.line == line && !self.is_xml, heading_of(&self.headings, origin))
            && self.map.is_in_column(self.rows_file, format!("/{below}"), origin.column, heading)
        {
            return;
        }
        self.record(&format!("{row}/{below}"), origin);
    }

    /// Where a value is in the file.
    pub(crate) fn location(&self, origin: Origin) -> Location {
        Location {
            file: self.name.to_owned(),
            line: origin.line,
            column: (origin.column > 0).then_some(origin.column),
            heading: heading_of(&self.headings, origin).map(|heading| one_line(heading)),
        }
    }

    /// The location that was recorded for a pointer.
    pub(crate) fn of(&self, pointer: &str) -> Option<Location> {
        self.map.place(pointer)
    }

    pub(crate) fn into_map(self) -> SourceMap {
        self.map
    }
}

fn heading_of(headings: &[String], origin: Origin) -> Option<&String> {
    headings.get(origin.heading.checked_sub(1)?)
}

/// A heading of several rows, for a message.
pub(crate) fn one_line(heading: &str) -> String {
    heading.replace('\n', " ")
}

/// The report on a file: problems and losses, with their locations.
pub(crate) struct Journal<'l> {
    pub(crate) places: Places<'l>,
    pub(crate) problems: Vec<PlacedProblem>,
    pub(crate) report: LossReport,
}

impl<'l> Journal<'l> {
    pub(crate) fn new(places: Places<'l>) -> Self {
        Self { places, problems: Vec::new(), report: LossReport::default() }
    }

    /// Adds a problem. In XML, an attribute of an element that contains many rows is read for each
    /// of them, and is reported once.
    pub(crate) fn problem(
        &mut self,
        kind: ProblemKind,
        origin: Origin,
        pointer: &str,
        message: impl Into<String>,
    ) {
        let (place, message) = (Some(self.places.location(origin)), message.into());
        let is_same =
            |other: &PlacedProblem| other.place == place && other.problem.message == message;
        if self.places.is_xml && self.problems.iter().rev().take(AGAIN).any(is_same) {
            return;
        }
        let problem = Problem::new(kind, pointer, message);
        self.problems.push(PlacedProblem { place, problem });
    }

    /// Adds a loss with its location; in XML only once, like a problem.
    pub(crate) fn lose(&mut self, loss: Loss, origin: Origin) {
        let loss = loss.with_location(self.places.location(origin));
        let is_same = |other: &Loss| other.place == loss.place && other.message == loss.message;
        if self.places.is_xml && self.report.losses.iter().rev().take(AGAIN).any(is_same) {
            return;
        }
        self.report.losses.push(loss);
    }
}
