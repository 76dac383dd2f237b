//! What is wrong in a document that was read: problems of the format that follow from a cell that
//! could not be read are left out, and what is missing is named by the columns that should hold it.

use std::collections::HashSet;

use obvert_convert::{ConvertError, Validated, Location, PlacedProblem, Problems, SourceMap, Survey};
use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::collect::LastRow;
use super::journal::one_line;
use crate::needs;
use crate::plan::Plan;

/// What a document was read from.
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
    /// With everything that is wrong; `own` is what was found in the cells.
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
        // Where columns are not told apart, what could be said of the rows would follow from that.
        let rest = rest.filter(|_| !own.iter().any(is_of_column));
        let reported = Reported::of(&own);
        found.retain(|placed| !reported.explains(placed));
        for placed in &mut found {
            self.name_columns(placed);
        }
        // What several fields of the document are made of is reported once.
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

    /// Says of a key that is missing which column should hold it: whoever fills in a table knows
    /// columns.
    fn name_columns(&self, placed: &mut PlacedProblem) {
        let is_blank = |heading: &str| {
            let target = self.plan.column(heading).and_then(|column| column.target());
            target.is_none_or(|target| {
                self.last.row.as_ref().is_none_or(|row| row.get(target).is_none())
            })
        };
        let Some((message, heading)) = needs::missing(&placed.problem, self.plan, &is_blank) else {
            return;
        };
        placed.problem.message = message;
        let Some(heading) = heading.filter(|_| !self.plan.is_xml()) else { return };
        // What the document has is made from the last row.
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

/// Whether a problem is one of a column, and not of a cell.
fn is_of_column(placed: &PlacedProblem) -> bool {
    use ProblemKind::{DuplicateKey, MissingKey, UnknownKey};
    matches!(placed.problem.kind, UnknownKey | MissingKey | DuplicateKey)
        && placed.problem.pointer.is_empty()
}

/// What has been reported of cells and rows, so that no pair of problems has to be compared.
struct Reported {
    /// The pointers with a problem.
    at: HashSet<String>,
    /// The pointers of all that holds one of those.
    above: HashSet<String>,
    /// Whether a row was not read.
    has_orphans: bool,
}

impl Reported {
    fn of(own: &[PlacedProblem]) -> Self {
        let mut above: HashSet<String> = HashSet::new();
        // A column beside those of the layout is in no value.
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

    /// Whether a problem of the format follows from one that has been reported.
    fn explains(&self, placed: &PlacedProblem) -> bool {
        // What is made from a row is missing where no row could be read, and nobody finds that in
        // the table.
        let is_made = placed.place.is_none() && self.has_orphans;
        match placed.problem.kind {
            ProblemKind::MissingKey => is_made || self.above.contains(&placed.problem.pointer),
            _ => self.at.contains(&placed.problem.pointer),
        }
    }
}
