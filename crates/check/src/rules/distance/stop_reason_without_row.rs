//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{OutcomeKind, StopReason};

use crate::sink::Sink;
use crate::support::terms::{can_record, is_one_of, term};
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// A run was stopped for something that can be seen, but no row near its end records it.
    ///
    /// # Exceptions
    /// - The run came less than `least` from its zero point: it was given up at once.
    /// - A row of the role `remark` with a remark, or one whose code is unknown, near the end.
    /// - The closing row gives another reason (`outcome-contradicts-rows`).
    /// - The code list can record none of the terms below.
    /// - The run is disordered, its counter seems to have been set to zero again, or lengths are in
    ///   a doubtful unit.
    ///
    /// # Exactly
    /// The reason is `outcome.reason`, or else the one of the closing row. A row is *near* the end if
    /// it, or its stretch, comes within `within` of `surveyed`. It records the reason if its term is
    /// one of these or begins with one of them and a full stop. The term is its code in
    /// `obvert-terms`, by the links of the code list.
    ///
    /// - `roots`: roots
    /// - `collapse`: collapse, break, hole, deformation, soil, void, brick, blockage, fracture
    /// - `displaced-joint`: joint
    /// - `bend`: bend, fitting.drop
    /// - `high-water`: water, but not water.dry; note.camera-submerged
    /// - `obstruction`: obstacle, blockage, deposit, roots, collapse, break, deformation, soil, brick,
    ///   joint, connection, lining, repair, fitting, vermin, change
    ///
    /// # Why it matters
    /// What stopped the camera is the worst defect of the pipe, and without a row it has no grade:
    /// the pipe looks better than it is.
    ///
    /// # Fails
    /// At `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "roots"}, {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "roots"}]
    /// ```
    ///
    /// # Passes
    /// A little before the end.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/at", "value": 85}]
    /// ```
    /// Given up at once.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/surveyed", "value": 2}, {"op": "remove", "path": "/runs/1/observations/1"}, {"op": "replace", "path": "/runs/1/observations/1/at", "value": 2}]
    /// ```
    /// The equipment failed.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "equipment-failure"}, {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "equipment-failure"},
    ///  {"op": "remove", "path": "/runs/1/observations/1"}]
    /// ```
    ///
    /// # Fix
    /// Record what stopped the camera, with its amount and a photo, or correct the reason.
    name: "stop-reason-without-row", severity: Warning, scope: Run, since: "0.1", clause: "runs#outcome",
    needs: [Codes],
    limits: {
        "within" = 5.0 "m"
            "how far before the end the row may be: the camera sees ahead; common practice, no published source",
        "least" = 3.0 "m"
            "a run that came less far was given up at once; common practice, no published source",
    },
    facts: { "reason" = Word "the reason" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(outcome) = run.run.outcome.as_ref() else { return };
    if outcome.kind != OutcomeKind::Stopped {
        return;
    }
    let closing = run.closing_row();
    let given = || {
        let words = closing.filter(|row| row.role() == Some(Role::Stopped))?;
        words.row.characterisation.iter().find_map(|word| word.parse::<StopReason>().ok())
    };
    let Some(reason) = outcome.reason.or_else(given) else { return };
    // `outcome-contradicts-rows` reports a closing row that says something else.
    let contradicted = closing.is_some_and(|row| row.role() != Some(Role::Stopped))
        || given().is_some_and(|given| given != reason);
    let terms = terms_of(reason);
    let Some(end) = run.run.surveyed.map(|end| run.survey.metres(end)) else { return };
    let came_far = run.travelled().is_some_and(|metres| metres >= out.limit("least"));
    if terms.is_empty()
        || contradicted
        || !came_far
        || run.disordered()
        || run.marks().counter_reset
        || run.survey.lengths_doubtful()
        || !can_record(run.survey, terms)
    {
        return;
    }
    let within = out.limit("within");
    let near = |row: &RowView<'_>| {
        let open = row.row.is_stretch() && row.row.to.is_none();
        open || (end - run.survey.metres(row.row.end())) <= within
    };
    let records = |row: &RowView<'_>| {
        let told = row.role() == Some(Role::Remark) && row.row.remark.is_some();
        told || row.code.is_none()
            || term(row).is_some_and(|term| term != "water.dry" && is_one_of(term, terms))
    };
    if run.rows().rev().any(|row| near(&row) && records(&row)) {
        return;
    }
    let field = if outcome.reason.is_some() { "/outcome/reason" } else { "/outcome" };
    let word = reason.as_str();
    let message = format!("the run was stopped for {word:?}, but no row near its end records it");
    out.report(run.subject(field), message).fact("reason", word);
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
