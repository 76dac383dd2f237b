//! From a document to a file by a layout: the rows of the table ([`rows`]), the file, and the
//! values that reading it does not give back ([`difference`]).

mod difference;
mod repertoire;
mod rows;
mod undivided;

use std::collections::{BTreeMap, BTreeSet};

use obvert_convert::{ConvertError, Loss, LossKind, LossReport, PlacedProblem, Problems};
use obvert_model::layout::{Layout, Target};
use obvert_model::lists::CodeList;
use obvert_model::read::ProblemKind;
use obvert_model::tables::{Document, LengthUnit, SectionUnit};
use serde_json::Value;

use self::repertoire::Repertoire;
use self::rows::{Rows, run_ids};
use crate::encoding::Charset;
use crate::plan::Plan;
use crate::{grid, read, units};

/// Writes a table by a layout. The report lists all values that reading the table by the same
/// layout does not give back.
///
/// Lengths and sizes are converted to the units of the layout if they differ. `lists` are code
/// lists in addition to the built-in ones.
///
/// # Errors
/// When the layout maps to fields that the format does not have; when the document uses another
/// code list than the layout; when the layout cannot distinguish some of its runs or pipes.
#[doc(alias = "export")]
pub fn write(
    document: &Document,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Vec<u8>, LossReport), ConvertError> {
    let plan = Plan::new(layout, lists)?;
    let charset = plan.charset.unwrap_or(Charset::UTF_8);
    let repertoire = if plan.is_xml() { Repertoire::Xml } else { Repertoire::Encoded(charset) };
    written(document, &plan, repertoire, |rows| match (&layout.table, &layout.xml) {
        (Some(table), _) => grid::text::write(&plan.headings(), rows, table, charset),
        (None, Some(xml)) => {
            grid::xml_write::bound(layout, xml)?;
            Ok(grid::xml_write::write(layout, rows, xml))
        }
        (None, None) => Ok(Vec::new()),
    })
}

/// Writes a table by a layout as a workbook with one sheet, which [`read`](fn@crate::read) can
/// read.
///
/// # Errors
/// As [`write`](fn@write), and for a layout of XML.
#[cfg(feature = "xlsx")]
pub fn write_workbook(
    document: &Document,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Vec<u8>, LossReport), ConvertError> {
    if layout.table.is_none() {
        return Err(refused(format!(
            "the layout {} is for XML; write an XML file, not a workbook",
            layout.id
        )));
    }
    let plan = Plan::new(layout, lists)?;
    written(document, &plan, Repertoire::All, |rows| grid::workbook_write::write(rows, layout))
}

pub(crate) fn refused(message: String) -> ConvertError {
    ConvertError::Refused { message }
}

fn written(
    document: &Document,
    plan: &Plan<'_>,
    repertoire: Repertoire,
    file: impl FnOnce(&[Vec<String>]) -> Result<Vec<u8>, ConvertError>,
) -> Result<(Vec<u8>, LossReport), ConvertError> {
    let layout = plan.layout;
    let coding = &document.head.coding.list;
    if let Some(list) = layout.fixed_text(Target::CODE_LIST).filter(|list| **list != **coding) {
        return Err(refused(format!(
            "the layout {} uses the code list {list}, and this survey uses {coding}; translate it first (--coding {list})",
            layout.id
        )));
    }
    let mut report = LossReport::default();
    let length =
        layout.fixed_text(Target::LENGTH_UNIT).and_then(|word| word.parse::<LengthUnit>().ok());
    let section =
        layout.fixed_text(Target::SECTION_UNIT).and_then(|word| word.parse::<SectionUnit>().ok());
    let before = units::document_in(document, length, section, &mut report);
    let rows = Rows::of(&before, plan);
    let bytes = file(&rows.rows)?;
    let after = match read::read_by(plan, &bytes, "") {
        Ok((survey, _)) => serde_json::to_value(&survey.document).unwrap_or_default(),
        Err(ConvertError::Structure(problems)) => {
            incomplete(problems, &rows, plan, repertoire, &mut report)?
        }
        Err(error) => return Err(error),
    };
    if after.is_null() {
        return Err(refused(format!(
            "the layout {} has no rows for this survey, since it holds runs and their pipes only; choose another format",
            layout.id
        )));
    }
    if list(&after, Target::RUNS).len() < rows.runs.len()
        && let Some(message) = undivided::message(&rows, plan, repertoire)
    {
        return Err(refused(message));
    }
    difference::differences(&before, &after, plan, repertoire, &mut report);
    Ok((bytes, report))
}

/// The items of a list; empty if it is not a list.
pub(crate) fn list(document: &Value, target: Target) -> &[Value] {
    target.get(document).and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

/// Reads a table in which values are missing, which is reported.
///
/// # Errors
/// When it has other problems.
fn incomplete(
    problems: Problems,
    rows: &Rows<'_>,
    plan: &Plan<'_>,
    repertoire: Repertoire,
    report: &mut LossReport,
) -> Result<Value, ConvertError> {
    let id = &plan.layout.id;
    // Values that the layout makes from missing values are missing too, which is not an error of
    // the table.
    let mut wrong =
        problems.iter().filter(|placed| placed.problem.kind != ProblemKind::MissingKey).peekable();
    if let Some(first) = wrong.peek().map(|placed| placed.problem.message.clone()) {
        let places = wrong.filter_map(|placed| placed.place.as_ref());
        let lines: BTreeSet<usize> = places.map(|place| place.line).collect();
        let runs = run_ids(rows.runs_in(&lines, plan, repertoire).into_iter());
        let of_run = if runs.is_empty() { String::new() } else { format!(" of run {runs}") };
        return Err(refused(format!(
            "the layout {id} cannot hold this survey, because what it would write{of_run} could not be read back: {first}; complete the survey \
             there, or write the other runs separately"
        )));
    }
    let (missing, rest) = problems.into_parts();
    // Several fields can be made from one cell.
    let messages: BTreeMap<String, String> = missing
        .into_iter()
        .map(|PlacedProblem { problem, .. }| (problem.message, problem.pointer))
        .collect();
    for (message, pointer) in messages {
        let message = format!(
            "the table is incomplete for the layout {id}, so reading it reports: {message}"
        );
        report.losses.push(Loss::new(LossKind::Dropped, pointer, message));
    }
    Ok(rest.map(|rest| rest.value).unwrap_or_default())
}
