//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::terms::term;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// A run goes on beyond a collapse or a full blockage that it records.
    ///
    /// # Exceptions
    /// - A row after it records that the pipe was cleaned, or that the camera was taken out or the
    ///   run interrupted.
    /// - The blockage has an amount below 100 % of the area.
    /// - The run is disordered, its counter seems to have been set to zero again, or lengths are in
    ///   a doubtful unit.
    ///
    /// # Exactly
    /// The term of the row is `collapse` or `blockage`: its code in `obvert-terms`, by the links of
    /// the code list. `surveyed` is farther than the end of the row by more than `within`. A row
    /// with the term `note.cleaned` or `run.paused` lies at or beyond the row. The first such row
    /// of a run is reported.
    ///
    /// # Why it matters
    /// No camera passes a collapse. It was a break or a deformation, or the distance of the row or
    /// the end of the run is wrong.
    ///
    /// # Source
    /// By the meaning of the terms. Distance: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4", "value": {"id": "5", "at": 96.3, "code": "collapse", "grades": {"structural": 5}}}]
    /// ```
    ///
    /// # Passes
    /// Removed during the run.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4", "value": {"id": "5", "at": 96.3, "code": "blockage"}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "5a", "at": 96.3, "code": "note.cleaned"}}]
    /// ```
    /// Where the run was stopped.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/at", "value": 84}]
    /// ```
    ///
    /// # Fix
    /// Look at the place in the video: correct the code, the distance, or how far the run came.
    name: "run-past-blockage", severity: Warning, scope: Run, since: "0.1", clause: "runs#outcome",
    needs: [Codes],
    limits: {
        "within" = 3.0 "m" "how far the camera sees ahead; common practice, no published source",
    },
    facts: {
        "code" = Code "the code of the row",
        "beyond" = Length "how far the run goes on",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(row) = run.rows().find(blocks) else { return };
    let survey = run.survey;
    if run.disordered() || run.marks().counter_reset || survey.lengths_doubtful() {
        return;
    }
    let Some(end) = run.run.surveyed.map(|end| survey.metres(end)) else { return };
    let beyond = end - survey.metres(row.row.end());
    let interrupted = |later: &RowView<'_>| {
        later.row.at >= row.row.at && matches!(term(later), Some("note.cleaned" | "run.paused"))
    };
    if beyond <= out.limit("within") || run.rows().any(|later| interrupted(&later)) {
        return;
    }
    let (code, far) = (row.row.code.as_str(), survey.format_metres(beyond));
    let message = format!("{code:?} is recorded here, but the run goes on for {far}");
    out.report(row.subject(""), message).fact("code", code).fact("beyond", survey.in_units(beyond));
}

/// Whether nothing can pass.
fn blocks(row: &RowView<'_>) -> bool {
    match term(row) {
        Some("collapse") => true,
        Some("blockage") => row.amount(0).is_none_or(|percent| percent >= 100.0),
        _ => false,
    }
}
