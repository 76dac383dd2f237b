//! See the rule's documentation below.

use obvert_model::lists::{Family, Role};
use obvert_model::tables::{Observation, Purpose};

use crate::sink::Sink;
use crate::support::row_order;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Nothing was recorded over a great length: a run of `length` or more has only its start and
    /// its end, or in a run with many rows close together two rows are `length` or more apart.
    ///
    /// # Exceptions
    /// - The run, or the assignment, is for acceptance or after rehabilitation: a new pipe may have
    ///   nothing to record.
    /// - A row records that the stretch was not inspected, or that the camera was under water.
    /// - The run is *disordered*, its counter was probably reset, or lengths are in a doubtful unit
    ///   (`length-unit-suspect`); for gaps also if a row falls back behind the row before it, or the
    ///   row after the gap is past the end of the run.
    ///
    /// # Exactly
    /// Rows that record something are those of the families `structural`, `operational`,
    /// `construction` and `level`, and of the roles `photo` and `remark`, and those whose code is
    /// not in the list; a stretch covers all of its length, and to the end of the run if it has
    /// none.
    ///
    /// - Without any, the length is from the first row to the last one. The finding is at the
    ///   observations of the run.
    /// - With at least `rows` rows, a gap of `length` or more between one row and the next one is
    ///   reported at the next one if no other gap of the run is longer than a quarter of it.
    ///
    /// # Why it matters
    /// Rows were lost, or nothing was recorded: a pipe without a water level, a connection or a joint worth
    /// a row in such a length is rare.
    ///
    /// # Source
    /// TRL report SR531 counts about one defect a metre of sewer. The length is common practice, no
    /// published source.
    ///
    /// # Fails
    /// At `/runs/0/observations`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations", "value": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 200, "code": "run.finish"}]},
    ///  {"op": "remove", "path": "/ratings"}]
    /// ```
    ///
    /// # Passes
    /// A water level and a photo.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations", "value": [
    ///   {"id": "1", "at": 0, "code": "run.start"},
    ///   {"id": "2", "at": 2, "code": "water.level", "quantities": [{"value": 5, "unit": "percent"}]},
    ///   {"id": "3", "at": 12.4, "code": "note.photo", "media": [{"id": "M-1"}]},
    ///   {"id": "4", "at": 200, "code": "run.finish"}]},
    ///  {"op": "remove", "path": "/ratings"}]
    /// ```
    /// A new pipe.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations", "value": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 200, "code": "run.finish"}]},
    ///  {"op": "add", "path": "/runs/0/purpose", "value": "acceptance"},
    ///  {"op": "remove", "path": "/ratings"}]
    /// ```
    ///
    /// # Fix
    /// Compare the rows with the video, and restore those that were lost. If there is nothing to
    /// record, record the water level and a general photo.
    name: "nothing-observed", severity: Warning, scope: Run, since: "0.1", clause: "observations#order",
    needs: [Codes],
    concludes_from: ["assignment"],
    uses: [row_order],
    limits: {
        "length" = 50.0 "m" "the length over which something is recorded; common practice",
        "rows" = 10.0 "rows" "the number from which gaps are compared; common practice",
    },
    facts: { "empty" = Metres "the length without a row" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered()
        || run.marks().counter_reset
        || run.survey.lengths_doubtful()
        || is_of_new_pipe(run)
    {
        return;
    }
    let (Some(first), Some(last)) = (run.run.observations.first(), run.run.observations.last())
    else {
        return;
    };
    let at = |row: &Observation| run.survey.metres(row.at);
    let mut recorded = 0;
    let mut gaps: Vec<(f64, usize)> = Vec::new();
    let mut end = at(first);
    for row in run.rows() {
        if matches!(
            row.term().map(|term| term.code),
            Some("note.not-inspected" | "note.camera-submerged" | "note.lost-vision")
        ) {
            return;
        }
        let records = row.code.is_none_or(|code| {
            code.family != Family::Housekeeping
                || matches!(code.role, Some(Role::Photo | Role::Remark))
        });
        if !records && !matches!(row.role(), Some(Role::Finish | Role::Stopped)) {
            continue;
        }
        recorded += usize::from(records);
        gaps.push((at(row.row) - end, row.index));
        let open = row.row.is_stretch() && row.row.to.is_none();
        end = if open { f64::INFINITY } else { end.max(run.survey.metres(row.row.end())) };
    }
    let length = out.limit("length");
    if recorded == 0 {
        let empty = at(last) - at(first);
        if empty >= length {
            let message = format!(
                "nothing but the start and the end is recorded in {}",
                run.survey.format_metres(empty)
            );
            out.report(run.subject("/observations"), message).fact("empty", empty);
        }
        return;
    }
    if (recorded as f64) < out.limit("rows") || run.falls().next().is_some() {
        return;
    }
    gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
    if let [(longest, index), (second, _), ..] = gaps[..]
        && longest >= length
        && second * 4.0 <= longest
        && !row_order::past_end(run, run.run.observations[index].at.get())
    {
        let message = format!(
            "nothing is recorded in the {} before this row, but no more than {} lie between the others",
            run.survey.format_metres(longest),
            run.survey.format_metres(second)
        );
        out.report(run.row(index).subject(""), message).fact("empty", longest);
    }
}

/// Whether the run is through a new pipe or a new lining.
fn is_of_new_pipe(run: &RunView<'_>) -> bool {
    let assigned = run.survey.head.assignment.as_ref().and_then(|assignment| assignment.purpose);
    let purpose = run.run.purpose.or(assigned);
    matches!(purpose, Some(Purpose::Acceptance | Purpose::AfterRehabilitation))
}
