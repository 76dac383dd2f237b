//! See the rule's documentation below.

use obvert_model::lists::Role;

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::support::run_extent::exceeds;
use crate::support::section_unit::PLAUSIBLE_HEIGHTS;
use crate::views::{PipeView, RowView};

rule! {
    /// # What it checks
    /// The size of a connection differs from the height of the lateral that it names.
    ///
    /// # Exceptions
    /// - The size of the lateral is implausible or in a doubtful unit (`size-implausible`,
    ///   `size-unit-suspect`).
    /// - The pipe that the connection names has no `joins`.
    /// - The unit of all connections is doubtful (`connection-unit-suspect`).
    ///
    /// # Exactly
    /// The code has the role `connection`. The first amount and the height of the lateral, in one
    /// unit, differ by a factor greater than `factor`.
    ///
    /// # Why it matters
    /// One of the two sizes is wrong, or the connection is that of another lateral. Liners and
    /// saddles are ordered by it.
    ///
    /// # Source
    /// Common practice, no published source: nominal, inside and outside sizes of one pipe differ
    /// by less than a fifth.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/quantities/0/value`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "height": 6, "joins": {"pipe": "L-101", "at": 32, "clock": 2}}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "height": 4, "joins": {"pipe": "L-101", "at": 32, "clock": 2}}}]
    /// ```
    /// In millimetres.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "replace", "path": "/runs/0/observations/3/quantities/0", "value": {"value": 110, "unit": "mm"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "height": 4, "joins": {"pipe": "L-101", "at": 32, "clock": 2}}}]
    /// ```
    ///
    /// # Fix
    /// Look at the connection in the video; correct its size, the height of the lateral, or the
    /// lateral that it names.
    name: "connection-size-contradicts-lateral", severity: Warning, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    concludes_from: ["pipes.height"],
    limits: {
        "factor" = 1.4 "×" "greatest factor between the two sizes; common practice, no published source",
    },
    facts: {
        "size" = Millimetres "the first amount of the connection",
        "height" = Millimetres "the height of the lateral",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(lateral) = row.row.joins.as_ref() else { return };
    let survey = row.survey();
    let Some(index) = survey.pipe_index(lateral).filter(|_| row.role() == Some(Role::Connection))
    else {
        return;
    };
    let view = PipeView { survey, pipe: &survey.head.pipes[index], index };
    let lateral_height = view.pipe.height.filter(|_| view.pipe.joins.is_some());
    let Some(height) = lateral_height.filter(|_| !view.size_doubtful()) else { return };
    let (Some(size), height_mm) = (row.amount(0), survey.millimetres(height)) else { return };
    if size <= 0.0
        || !PLAUSIBLE_HEIGHTS.contains(&height_mm)
        || !exceeds(size.max(height_mm), size.min(height_mm) * out.limit("factor"))
    {
        return;
    }
    let Some(recorded) = row.row.quantities.first() else { return };
    let message = format!(
        "the connection is {} {} high, but the lateral {:?} is {}",
        recorded.value.get(),
        recorded.unit,
        lateral.as_str(),
        survey.format_section(height)
    );
    let column = Causes::from(Cause::ConnectionUnit);
    out.report_unless(column, row.subject("/quantities/0/value"), message)
        .fact("size", size)
        .fact("height", height_mm);
}
