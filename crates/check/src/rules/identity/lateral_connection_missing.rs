//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::OutcomeKind;

use rustc_hash::FxHashSet;

use crate::sink::Sink;
use crate::support::row_digest::Along;
use crate::support::run_extent::{direction_contradicts, far_position};
use crate::views::{Ending, PipeView, RunSummary, Survey, tolerance};

rule! {
    /// # What it checks
    /// A run passed the place at which a lateral joins its pipe, and no run through the pipe
    /// records a connection there. Several laterals of one pipe are one finding, at the first run.
    ///
    /// # Exceptions
    /// - The code list has no code of the role `connection`.
    /// - A row names the lateral in `joins`, wherever it is (`connection-contradicts-lateral`), or
    ///   the lateral has a `downstream` structure (`pipe-ends`).
    /// - A row there has an unknown code (`code-unknown`).
    /// - `joins.at` is within *slack* of an end of the pipe, or not on it (`joins-impossible`), or
    ///   lengths are in a doubtful unit.
    /// - A direction contradicts the structures (`direction-contradicts`), or it is not known where
    ///   the rows of a run are on the pipe.
    ///
    /// # Exactly
    /// A run *passed* the lateral if it reached the far structure, or came farther than `joins.at`
    /// by more than *slack*: 2 × tolerance(*L*), and `structure_allowance` more unless the counter
    /// states its `offset` or `length_between` is `centres`. No row of the role `connection` in any
    /// run of the pipe is within *slack* + tolerance(`joins.at`) of it.
    ///
    /// # Why it matters
    /// After lining, connections are cut open by these rows: the lateral stays closed, and the
    /// house has no drain. Or the lateral joins another pipe, or was taken away.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. The others:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 84}}}]
    /// ```
    ///
    /// # Passes
    /// The connection at 31.9 ft.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 33}}}]
    /// ```
    /// No run came so far.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}}, {"op": "remove", "path": "/runs/2"},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-102", "at": 130}}}]
    /// ```
    ///
    /// # Fix
    /// Look for the connection in the video and record it, or correct where the lateral joins.
    name: "lateral-connection-missing", severity: Warning, scope: Ending, since: "0.1", clause: "pipes#ends",
    needs: [Codes],
    concludes_from: ["runs", "pipe.runs", "pipes", "pipes.joins", "observations", "observations.at", "observations.code", "observations.joins"],
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
    },
    facts: {
        "laterals" = Count "laterals of the pipe without a connection",
        "lateral" = Id "the lateral, or the first of several",
        "joins_at" = Length "`joins.at` of that lateral",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    if ending.lengths_doubtful() || !records_connections(survey) {
        return;
    }
    let named: FxHashSet<usize> =
        ending.runs.iter().flat_map(|summary| summary.figures.laterals.iter().copied()).collect();
    let mut missing: Vec<(usize, PipeView<'_>, f64)> = Vec::new();
    for lateral in survey.pipes() {
        let Some((main, at)) = lateral
            .pipe
            .joins
            .as_ref()
            .and_then(|joins| Some((joins.pipe.as_str(), survey.metres(joins.at?))))
        else {
            continue;
        };
        let elsewhere = lateral.pipe.downstream.is_some() || named.contains(&lateral.index);
        if main != lateral.pipe.id.as_str()
            && !elsewhere
            && let Some(run) = passed_without_row(ending, main, at)
        {
            missing.push((run, lateral, at));
        }
    }
    missing.sort_by_key(|(run, view, _)| (*run, view.index));
    for of_run in missing.chunk_by(|a, b| a.0 == b.0) {
        let (run, first, at) = &of_run[0];
        let (id, place) = (first.pipe.id.as_str(), survey.format_metres(*at));
        let message = match of_run.len() {
            1 => {
                format!("the lateral {id:?} joins at {place}, but no connection is recorded there")
            }
            some => format!(
                "{some} laterals join this pipe where no connection is recorded, the first {id:?} at {place}"
            ),
        };
        out.report(ending.runs[*run].subject("/observations"), message)
            .fact("laterals", of_run.len())
            .fact("lateral", id)
            .fact("joins_at", survey.in_units(*at));
    }
}

/// Whether the code list has a code for a connection.
fn records_connections(survey: &Survey<'_>) -> bool {
    let connection = |list: &obvert_model::lists::CodeList| {
        list.codes.iter().any(|code| code.role == Some(Role::Connection))
    };
    survey.list.is_some_and(connection)
}

/// The first run that passed a lateral, if no run of the main records a connection there.
fn passed_without_row(ending: &Ending<'_>, main: &str, at: f64) -> Option<usize> {
    let survey = ending.survey;
    let pipe = survey.pipe(main)?;
    let length = survey.metres(pipe.length?);
    let mut passed: Option<&RunSummary> = None;
    for summary in ending.runs_of(main) {
        let along = Along::of(survey, &summary.run, summary.figures.marks)?;
        if direction_contradicts(pipe, &summary.run) {
            return None;
        }
        let slack = along.slack;
        // It may join at a structure.
        if at <= slack || at >= length - slack {
            return None;
        }
        let mut rows = summary.figures.rows.iter().filter(|row| row.connection || row.unknown);
        if rows.any(|row| (along.place(row.at) - at).abs() <= slack + tolerance(at)) {
            return None;
        }
        let far = far_position(survey, &summary.run, summary.figures.marks);
        let reached = summary.outcome() == Some(OutcomeKind::Reached);
        let from_start = along.after_start(at);
        if passed.is_none() && (reached || far.is_some_and(|far| far > from_start + slack)) {
            passed = Some(summary);
        }
    }
    passed.map(|summary| summary.index)
}
