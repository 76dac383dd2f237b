//! The problems of a document that was read: consequences of cells that could not be read are left
//! out, and missing values are reported with the columns that should hold them.

use std::collections::HashSet;

use obvert_convert::{
    ConvertError, Location, PlacedProblem, Problems, SourceMap, Survey, Validated,
};
use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::collect::LastRow;
use super::journal::one_line;
use crate::needs;
use crate::plan::Plan;

/// The source of a document.
pub(crate) struct Checked<'r, 'l> {
    pub(crate) plan: &'r Plan<'l>,
    /// The name of the file.
    pub(crate) name: &'r str,
    pub(crate) headings: &'r [String],
    pub(crate) last: &'r LastRow,
}

impl Checked<'_, '_> {
    /// The survey of a document.
    ///
    /// # Errors
    /// With every problem; `own` are the problems of cells.
    pub(crate) fn survey(
        &self,
        value: Value,
        places: SourceMap,
        own: Vec<PlacedProblem>,
    ) -> Result<Survey, ConvertError> {
        let (mut found, rest) = match obvert_convert::typed_with(value, places, &own)? {
            Validated::Valid(survey) => return Ok(*survey),
            Validated::Invalid(found, rest) => (found, rest.map(|rest| *rest)),
        };
        // If columns are ambiguous, problems of rows would be consequences of that.
        let rest = rest.filter(|_| !own.iter().any(is_of_column));
        let reported = Reported::of(&own);
        found.retain(|placed| !reported.explains(placed));
        found.retain(|placed| !self.is_of_missing_column(placed));
        for placed in &mut found {
            self.name_columns(placed);
        }
        // A problem of the source of several fields is reported once.
        found.dedup_by(|one, other| {
            one.place.is_some()
                && one.place == other.place
                && one.problem.message == other.problem.message
        });
        let mut all = own;
        all.extend(found);
        all.sort_by_key(|placed| placed.place.as_ref().map(|place| (place.line, place.column)));
        Err(ConvertError::Structure(Problems::new(all, rest)))
    }

    /// Whether a value is missing because the table lacks its column, which has been reported, and
    /// would be reported for every row.
    fn is_of_missing_column(&self, placed: &PlacedProblem) -> bool {
        let needed = needs::needed(&placed.problem, self.plan).filter(|_| !self.plan.is_xml());
        let has = |heading: &&str| self.headings.iter().any(|own| own == heading);
        needed.is_some_and(|needed| !needed.columns.iter().all(has))
    }

    /// Names the column that should hold a missing key, since people who fill in a table know
    /// columns.
    fn name_columns(&self, placed: &mut PlacedProblem) {
        let is_blank = |heading: &str| {
            let target = self.plan.column(heading).and_then(|column| column.target());
            target.is_none_or(|target| {
                self.last.row.as_ref().is_none_or(|row| row.get(target).is_none())
            })
        };
        // The location of an observation has a column if its row has several.
        let column = placed.place.as_ref().and_then(|place| place.column);
        let heading = column.and_then(|column| self.headings.get(column - 1));
        let nth = heading.and_then(|heading| self.plan.file_column(heading, 0)?.nth);
        let found = needs::missing(&placed.problem, self.plan, &is_blank, nth);
        let Some((message, heading)) = found else { return };
        placed.problem.message = message;
        let Some(heading) = heading.filter(|_| !self.plan.is_xml()) else { return };
        // The fields of the document are made from the last row.
        if placed.place.is_none() && self.last.line > 0 {
            let (file, line) = (self.name.to_owned(), self.last.line);
            placed.place = Some(Location { file, line, column: None, heading: None });
        }
        let column = self.headings.iter().position(|own| own == heading);
        if let (Some(place), Some(index)) = (&mut placed.place, column) {
            (place.column, place.heading) = (Some(index + 1), Some(one_line(heading)));
        }
    }
}

/// Whether a problem is about a column, not a cell.
fn is_of_column(placed: &PlacedProblem) -> bool {
    use ProblemKind::{DuplicateKey, MissingKey, UnknownKey};
    matches!(placed.problem.kind, UnknownKey | MissingKey | DuplicateKey)
        && placed.problem.pointer.is_empty()
}

/// The problems that have been reported, as sets, so that problems need not be compared pairwise.
struct Reported {
    /// The pointers with a problem.
    at: HashSet<String>,
    /// The pointers of all values that contain one of those.
    above: HashSet<String>,
    /// Whether a row was skipped.
    has_orphans: bool,
}

impl Reported {
    fn of(own: &[PlacedProblem]) -> Self {
        let mut above: HashSet<String> = HashSet::new();
        // An unknown column holds no value.
        for placed in own.iter().filter(|placed| !placed.problem.pointer.starts_with("/-/")) {
            let mut pointer = placed.problem.pointer.as_str();
            while let Some(slash) = pointer.rfind('/') {
                pointer = &pointer[..slash];
                if !above.insert(pointer.to_owned()) {
                    break;
                }
            }
        }
        let pointers = own.iter().map(|placed| placed.problem.pointer.clone());
        Self {
            at: pointers.filter(|pointer| !pointer.is_empty()).collect(),
            above,
            has_orphans: own.iter().any(|placed| placed.problem.kind == ProblemKind::OrphanRow),
        }
    }

    /// Whether a problem of the format is a consequence of a reported one.
    fn explains(&self, placed: &PlacedProblem) -> bool {
        // Values made from a row are missing if no row could be read, and the table does not show
        // that.
        let is_made = placed.place.is_none() && self.has_orphans;
        match placed.problem.kind {
            ProblemKind::MissingKey => is_made || self.above.contains(&placed.problem.pointer),
            _ => self.at.contains(&placed.problem.pointer),
        }
    }
}
