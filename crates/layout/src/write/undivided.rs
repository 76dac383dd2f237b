//! Surveys with several runs that would be read back as one, because the cells that identify a run
//! are the same.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::layout::Target;

use super::repertoire::{Repertoire, with_code_point};
use super::rows::{Rows, run_ids};
use crate::needs;
use crate::plan::Plan;

/// The error to report: the runs, and whether the encoding is a cause; `None` if all runs can be
/// distinguished.
pub(super) fn message(rows: &Rows<'_>, plan: &Plan<'_>, repertoire: Repertoire) -> Option<String> {
    let headings = plan.headings();
    let mut naming =
        [Target::RUN_ID, Target::PIPE_ID].map(|target| needs::columns_of(plan, target)).concat();
    naming.sort_by_key(|heading| headings.iter().position(|own| own == heading));
    naming.dedup();
    let columns: Vec<usize> =
        (0..headings.len()).filter(|index| naming.contains(&headings[*index])).collect();
    let mut alike: BTreeMap<Vec<String>, Vec<usize>> = BTreeMap::new();
    let mut lacking = BTreeSet::new();
    for (run, first) in rows.first_of_run.iter().enumerate() {
        let Some(row) = rows.rows.get(*first) else { continue };
        let cells = columns.iter().filter_map(|column| row.get(*column));
        lacking.extend(
            cells.clone().flat_map(|cell| cell.chars()).filter(|letter| !repertoire.has(*letter)),
        );
        alike.entry(cells.map(|cell| repertoire.written(cell)).collect()).or_default().push(run);
    }
    let group = alike.values().find(|group| group.len() > 1)?;
    let which = run_ids(group.iter().filter_map(|run| rows.runs.get(*run)));
    let why = if lacking.is_empty() {
        format!("no value in {} distinguishes them", needs::quoted(&naming))
    } else {
        let letters: Vec<String> = lacking.into_iter().map(with_code_point).collect();
        format!(
            "their ids differ in characters that the encoding of the layout does not have, {}",
            letters.join(", ")
        )
    };
    let id = &plan.layout.id;
    Some(format!(
        "the layout {id} cannot hold this survey, since several of its runs would be read back as one: {which}; {why}; write each run separately"
    ))
}
