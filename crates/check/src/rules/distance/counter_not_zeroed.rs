//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::{exceeds, far_position, pipe_with_length};
use crate::views::{RunView, tolerance};

rule! {
    /// # What it checks
    /// The start row's distance exceeds the counter's reading at the zero point (`counter.reads`, 0
    /// when absent) by more than one step of the counter.
    ///
    /// # Exceptions
    /// - The start row is below that reading (`distance-negative`).
    /// - The start row is not settled; other rules report it.
    ///
    /// # Exactly
    /// `at` − *reads* exceeds the greater of `counter.resolution` and `slack`. A disordered run has
    /// no start row.
    ///
    /// # Why it matters
    /// A counter not set at the start adds the same error to every distance.
    ///
    /// # Source
    /// Step without a resolution: tenths of a foot, a scope of work of Decatur IL. Setting the
    /// counter to the distance of the first view: City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/runs/0/observations/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/0/at", "value": 4.7},
    ///  {"op": "replace", "path": "/runs/0/observations/1/at", "value": 4.7}]
    /// ```
    ///
    /// All distances are too long, as the end of the run shows. At `/runs/0/observations/0/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/0/at", "value": 10},
    ///  {"op": "replace", "path": "/runs/0/observations/1/at", "value": 10},
    ///  {"op": "replace", "path": "/runs/0/observations/6/at", "value": 210},
    ///  {"op": "replace", "path": "/runs/0/surveyed", "value": 210},
    ///  {"op": "replace", "path": "/locates/0/at", "value": 60},
    ///  {"op": "replace", "path": "/locates/1/at", "value": 160}]
    /// ```
    ///
    /// # Passes
    /// One step of the counter.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/0/at", "value": 0.1}]
    /// ```
    /// The counter was set to the distance of the first view.
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/counter", "value": {"zero": "structure-centre", "offset": 2.5, "reads": 2.5}},
    ///  {"op": "replace", "path": "/runs/1/observations/0/at", "value": 2.5}]
    /// ```
    /// Run and rows are in opposite order.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/observations", "value": [{"id": "1", "at": 90, "code": "run.start"},
    ///  {"id": "2", "at": 90, "code": "run.met"}, {"id": "3", "at": 0, "code": "run.met"}]}]
    /// ```
    ///
    /// # Fix
    /// State the reading in `counter.reads`, or correct all distances by the difference.
    name: "counter-not-zeroed", severity: Warning, scope: Run, since: "0.1", clause: "runs#counter",
    needs: [Codes],
    limits: {
        "slack" = 0.03048 "m"
            "least tolerance, one step of most counters: 0.1 ft, Decatur IL scope of work",
    },
    facts: {
        "at" = Length "`at` of the start row",
        "reads" = Length "*reads*: the counter's reading at the zero point",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(start) = run.start_row() else { return };
    let (at, reads) = (start.row.at, run.reads());
    if at.get() <= reads || !row_order::in_order(run, start.index) {
        return;
    }
    let step = run
        .run
        .counter
        .as_ref()
        .and_then(|counter| counter.resolution)
        .map_or(0.0, |step| run.survey.metres(step));
    let unit = run.survey.head.units.length;
    if exceeds((at.get() - reads) * unit.metres(), step.max(out.limit("slack"))) {
        let at_text = run.survey.format_length(at);
        let message = format!(
            "the start row is at {at_text}, but the counter read {reads} {unit} at the zero point"
        );
        let finding =
            out.report(start.subject("/at"), message).fact("at", at.get()).fact("reads", reads);
        if run.run.counter.is_some() && end_confirms(run, at.get() - reads) {
            let edits = vec![Edit::add(run.subject("/counter/reads").path, at.get())];
            finding
                .fix_if_confirmed(format!("the counter read {at_text} at the zero point"), edits);
        }
    }
}

/// Whether the end of the run shows that all of its distances are too long by `surplus`: it reached
/// the far structure, and is longer than its pipe by as much. Otherwise only the start row may be
/// wrong.
fn end_confirms(run: &RunView<'_>, surplus: f64) -> bool {
    let reached =
        run.run.outcome.as_ref().is_some_and(|outcome| outcome.kind == OutcomeKind::Reached);
    let pipe = pipe_with_length(run.survey, run.run);
    let far = far_position(run.survey, run.run, run.marks());
    let (true, Some((_, length)), Some(far)) = (reached, pipe, far) else { return false };
    let surplus = surplus * run.survey.head.units.length.metres();
    far - length > 2.0 * tolerance(length) && (far - surplus - length).abs() <= tolerance(length)
}
