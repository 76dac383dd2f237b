//! From a file to a document, in steps: the cells of the file ([`crate::grid`]), its columns bound
//! to those of the layout ([`headings`]), each row ([`row`]), rows collected into records
//! ([`collect`], [`records`]), records assembled to a document ([`assemble`]), and the checks of
//! the document ([`check`]). A row or cell that cannot be read is a problem with its location;
//! nothing is guessed.

mod assemble;
mod blanks;
mod check;
mod collect;
mod disputes;
mod headings;
pub(crate) mod journal;
mod observation;
mod parts;
mod records;
mod repeated;
pub(crate) mod row;
mod spaces;
mod stretches;
pub(crate) mod suggest;

use obvert_convert::{ConvertError, Location, Loss, LossKind, LossReport, Survey};
use obvert_model::layout::Layout;
use obvert_model::lists::CodeList;
use sha2::{Digest, Sha256};

use self::assemble::Read;
use self::collect::Collector;
use self::headings::Bindings;
use self::journal::{Journal, Places, one_line};
pub(crate) use self::observation::is_recording;
use crate::grid::{self, Grid, Origin};
use crate::plan::Plan;

/// Reads a table by a layout. The report lists the values of the table that are not in the
/// document, and the values that the layout added.
///
/// Locations call the file `name`. `lists` are code lists in addition to the built-in ones; they
/// give the units of amounts and the aspects of grades.
///
/// # Errors
/// When the layout maps to fields that the format does not have; when the file is not a table as
/// the layout describes; with every cell and row that cannot be read; or when the result is not a
/// valid document.
#[doc(alias = "import")]
pub fn read(
    source: &[u8],
    name: &str,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Survey, LossReport), ConvertError> {
    let plan = Plan::new(layout, lists)?;
    read_by(&plan, source, name)
}

/// Reads a file by a layout whose paths have been resolved.
pub(crate) fn read_by(plan: &Plan<'_>, source: &[u8], name: &str) -> Result<Read, ConvertError> {
    read_grid(plan, name, || grid::of_file(source, name, plan))
}

/// Reads the rows of a grid, from any file, as [`read`] does.
///
/// # Errors
/// As [`read`].
pub fn read_rows(
    grid: &Grid,
    name: &str,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Survey, LossReport), ConvertError> {
    let plan = Plan::new(layout, lists)?;
    read_grid(&plan, name, || Ok(grid.clone()))
}

/// Reads the rows that `grid` returns, and reads them again if the document is invalid: the values
/// that show why are not kept the first time, since they would be as large as the document.
fn read_grid(
    plan: &Plan<'_>,
    name: &str,
    grid: impl Fn() -> Result<Grid, ConvertError>,
) -> Result<Read, ConvertError> {
    let first = grid()?;
    let (is_empty, line) = (first.rows.is_empty(), first.heading_line);
    let read = match collect(first, plan, name)?.assemble(plan) {
        Ok(Some(read)) => return Ok(read),
        Ok(None) => collect(grid()?, plan, name)?.diagnose(plan),
        Err(error) => Err(error),
    };
    if read.is_err() && is_empty && !plan.is_xml() {
        // Required values come from rows, and each missing key would be another problem.
        let message = "there are no rows below the headings, so there is no survey to read; fill in a row for each observation, or use the \
                       file that has them";
        return Err(refuse(name, line, message.to_owned()));
    }
    read
}

/// Collects the rows of a grid.
fn collect<'p, 'l>(
    mut grid: Grid,
    plan: &'p Plan<'l>,
    name: &'l str,
) -> Result<Collector<'p, 'l>, ConvertError> {
    // Otherwise every column would be reported as unknown and as missing, and every row as one
    // without a pipe.
    if !grid.headings.iter().any(|heading| plan.column(heading).is_some()) {
        return Err(refuse(name, grid.heading_line, strange_headings(&grid, plan.layout)));
    }
    let headings = grid.headings.clone();
    let mut journal = Journal::new(Places::new(name, headings, plan.is_xml()));
    for note in grid.notes.drain(..) {
        journal.report.note("", note);
    }
    for row in &grid.above {
        let text = one_line(&row.text());
        let loss = Loss::new(LossKind::Dropped, "", "the rows above the headings are not read");
        journal.lose(loss.with_values(Some(text.into()), None), Origin::line(row.line));
    }
    if let Some(message) = repeated::rows(&grid.rows) {
        journal.report.note("", message);
    }
    let bindings = Bindings::of(&grid, plan, &mut journal);
    let mut collector = Collector::new(plan, bindings, journal);
    if plan.made.iter().any(|(_, template)| template.has_digest()) {
        collector.digest = digest(&grid);
    }
    // Each row is dropped once it has been read, so that table and document are not both in memory.
    for row in grid.rows {
        collector.add(&row);
    }
    collector.note_texts();
    Ok(collector)
}

/// A digest of the headings and rows of a grid: the beginning of their SHA-256. White space around
/// values does not count.
fn digest(grid: &Grid) -> String {
    let mut hasher = Sha256::new();
    for heading in &grid.headings {
        hasher.update(heading);
        hasher.update([0x1F]);
    }
    for row in &grid.rows {
        hasher.update([0x1E]);
        for cell in &row.cells {
            hasher.update(cell.text.trim());
            hasher.update([0x1F]);
        }
    }
    hasher.finalize().iter().take(6).map(|byte| format!("{byte:02x}")).collect()
}

fn refuse(name: &str, line: usize, message: String) -> ConvertError {
    let place = Location { file: name.to_owned(), line, column: None, heading: None };
    ConvertError::Format { place: Some(place).filter(|place| place.line > 0), message }
}

/// The message for a file that has none of the layout's headings.
fn strange_headings(grid: &Grid, layout: &Layout) -> String {
    let shown: Vec<String> =
        grid.headings.iter().take(4).map(|heading| format!("{:?}", one_line(heading))).collect();
    let more = if grid.headings.len() > shown.len() { ", …" } else { "" };
    let notes: String = grid.notes.iter().map(|note| format!("; {note}")).collect();
    format!(
        "none of the headings is in the layout {}: found {}{more}; check that this is the right file and the right row of headings{notes}",
        layout.id,
        shown.join(", ")
    )
}
