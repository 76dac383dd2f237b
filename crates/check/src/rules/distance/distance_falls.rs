//! See the rule's documentation below.

use crate::order;
use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The observations of a run stand in order of distance: none lies before the one above it. Of two rows that break
    /// the order, the finding is about the one that its neighbours leave out of step. A run whose rows are all in the
    /// opposite order is one finding. Left to other rules are a row that one place of its decimal point would put right
    /// (`decimal-slip`), one before the zero point (`distance-negative`) and one past the end (`past-run-end`).
    ///
    /// # Why it matters
    /// A row that falls back was typed wrongly, or the camera was drawn back and the row entered late, or the counter was
    /// set to zero again on the way. Whoever reads the run as a line along the pipe meets a defect in the wrong place, or
    /// twice.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 0.9}]
    /// ```
    /// The row before is the one out of step, at `/runs/0/observations/3/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/at", "value": 121}]
    /// ```
    /// Entered from the far end, at `/runs/2/observations`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/observations/0/at", "value": 90},
    ///  {"op": "replace", "path": "/runs/2/observations/1/at", "value": 0},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 40, "code": "note.photo"}}]
    /// ```
    ///
    /// # Passes
    /// Two observations at one distance are in order.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/at", "value": 31.9}]
    /// ```
    ///
    /// # Fix
    /// Sort the rows by distance if they were entered late; correct the distance if it was typed wrongly.
    name: "distance-falls", severity: Error, scope: Run, since: "0.1", clause: "observations#order",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    if order::backwards(run) {
        let (first, last) = (rows[0].at, rows[rows.len() - 1].at);
        let message = format!("all rows run backwards, from {} to {}", run.survey.say(first), run.survey.say(last));
        out.report(run.spot("/observations"), message).fact("first", first.get()).fact("last", last.get()).help(
            "turn the order of the rows round; if the distances were measured from the far structure, make it `from`",
        );
        return;
    }
    for index in 1..rows.len() {
        if rows[index].at < rows[index - 1].at {
            falls(run, index, out);
        }
    }
}

fn falls(run: &RunView<'_>, index: usize, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    let (at, before) = (rows[index].at, rows[index - 1].at);
    if at.get() < run.reads() || order::slip(run, index).is_some() || order::slip(run, index - 1).is_some() {
        return;
    }
    // The row before is out of step where leaving it out leaves the others in order.
    let steady = index < 2 || rows[index - 2].at <= at;
    let next = rows.get(index + 1).map(|next| next.at);
    let early = steady && next.is_some_and(|next| next < before);
    if early && order::beyond(run, before.get()) {
        return;
    }
    let Some(row) = run.rows().nth(if early { index - 1 } else { index }) else { return };
    let (said, was) = (run.survey.say(at), run.survey.say(before));
    let finding = out.report(row.spot("/at"), format!("the distance falls back from {was} to {said}"));
    finding.fact("at", at.get()).fact("before", before.get());
    let foot = 0.3048 / run.survey.head.units.length.metres();
    if !early && at.get() <= run.reads() + foot && before.get() > run.reads() + foot && next.is_some() {
        finding.help(format!(
            "the counter seems to have been set to zero again at {was}; add what it had counted to this row and the ones after it"
        ));
    }
}
