//! What stopped a run, and whether a row near its end records it.

use obvert_model::lists::Role;
use obvert_model::tables::{OutcomeKind, StopReason};

use crate::support::terms::{can_record, is_one_of, term};
use crate::views::{RowView, RunView};

/// How far before the end the row may be, in metres: the camera sees ahead. Common practice, no
/// published source.
const WITHIN: f64 = 5.0;

/// A run that came less far, in metres, was given up at once. Common practice, no published source.
const LEAST: f64 = 3.0;

/// The reason for which a run was stopped, if it can be seen and no row near the end records it.
pub(crate) fn unrecorded_reason(run: &RunView<'_>) -> Option<StopReason> {
    let outcome = run.run.outcome.as_ref().filter(|row| row.kind == OutcomeKind::Stopped)?;
    let closing = run.closing_row();
    let given = closing.filter(|row| row.role() == Some(Role::Stopped)).and_then(|row| {
        row.row.characterisation.iter().find_map(|word| word.parse::<StopReason>().ok())
    });
    let reason = outcome.reason.or(given)?;
    // `outcome-contradicts-rows` reports a closing row that says something else.
    let contradicted = closing.is_some_and(|row| row.role() != Some(Role::Stopped))
        || given.is_some_and(|given| given != reason);
    let terms = terms_of(reason);
    let end = run.survey.metres(run.run.surveyed?);
    if terms.is_empty()
        || contradicted
        || run.travelled()? < LEAST
        || run.disordered()
        || run.marks().counter_reset
        || run.survey.lengths_doubtful()
        || !can_record(run.survey, terms)
    {
        return None;
    }
    let near = |row: &RowView<'_>| {
        let open = row.row.is_stretch() && row.row.to.is_none();
        open || end - run.survey.metres(row.row.end()) <= WITHIN
    };
    let records = |row: &RowView<'_>| {
        let told = row.role() == Some(Role::Remark) && row.row.remark.is_some();
        told || row.code.is_none()
            || term(row).is_some_and(|term| term != "water.dry" && is_one_of(term, terms))
    };
    let recorded = run.rows().rev().any(|row| near(&row) && records(&row));
    (!recorded).then_some(reason)
}

/// The terms that record a reason, or the words that they begin with; none if it cannot be seen in
/// the pipe.
fn terms_of(reason: StopReason) -> &'static [&'static str] {
    match reason {
        StopReason::Roots => &["roots"],
        StopReason::Collapse => &[
            "collapse",
            "break",
            "hole",
            "deformation",
            "soil",
            "void",
            "brick",
            "blockage",
            "fracture",
        ],
        StopReason::DisplacedJoint => &["joint"],
        StopReason::Bend => &["bend", "fitting.drop"],
        StopReason::HighWater => &["water", "note.camera-submerged"],
        StopReason::Obstruction => &[
            "obstacle",
            "blockage",
            "deposit",
            "roots",
            "collapse",
            "break",
            "deformation",
            "soil",
            "brick",
            "joint",
            "connection",
            "lining",
            "repair",
            "fitting",
            "vermin",
            "change",
        ],
        _ => &[],
    }
}
