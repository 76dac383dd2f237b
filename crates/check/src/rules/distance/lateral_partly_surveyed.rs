//! See the rule's documentation below.

use obvert_model::tables::{Direction, OutcomeKind};

use crate::sink::Sink;
use crate::support::run_extent::{exceeds, surveyed_contradicts_finish};
use crate::views::{Ending, PipeView, tolerance};

rule! {
    /// # What it checks
    /// A run that was launched into a lateral was given up, and no run saw the rest of the lateral.
    ///
    /// # Exceptions
    /// - A run reached the end of the lateral.
    /// - The length of the lateral or `surveyed` of a run is missing, a counter seems to have been
    ///   set to zero again, or `surveyed` contradicts the closing row.
    /// - The document names a missing run in any table (`unknown-run`), or lengths are in a
    ///   doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// The *unseen* part is the lateral's `length`, less the longest `surveyed` − *reads* of its
    /// runs upstream, less that of its runs downstream. It is longer than tolerance(*L*) +
    /// `allowance`. At least one run has `launched`.
    ///
    /// # Why it matters
    /// The part at the house was not surveyed, and often it holds what stopped the camera.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Allowance:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/3/surveyed`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "length": 60, "joins": {"pipe": "L-101", "at": 32}}},
    ///  {"op": "add", "path": "/runs/-", "value": {"id": "R-3", "pipe": "L-3", "to": "C-7", "direction": "upstream", "started": "2026-05-06T11:31:00-05:00",
    ///   "launched": {"pipe": "L-101", "at": 32}, "counter": {"zero": "pipe-end"}, "surveyed": 20, "outcome": {"kind": "stopped", "reason": "bend"}, "observations": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 20, "code": "run.stopped", "characterisation": ["bend"]}]}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "length": 22, "joins": {"pipe": "L-101", "at": 32}}},
    ///  {"op": "add", "path": "/runs/-", "value": {"id": "R-3", "pipe": "L-3", "to": "C-7", "direction": "upstream", "started": "2026-05-06T11:31:00-05:00",
    ///   "launched": {"pipe": "L-101", "at": 32}, "counter": {"zero": "pipe-end"}, "surveyed": 20, "outcome": {"kind": "stopped", "reason": "bend"}, "observations": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 20, "code": "run.stopped", "characterisation": ["bend"]}]}}]
    /// ```
    ///
    /// # Fix
    /// Survey the lateral from the house, or tell the owner what was not seen.
    name: "lateral-partly-surveyed", severity: Note, scope: Ending, since: "0.1", clause: "runs#launched-runs",
    concludes_from: ["pipe.runs"],
    uses: [missing_runs],
    limits: {
        "allowance" = 1.524 "m"
            "length taken up by the mouth in the main and the structure: 5 ft; common practice, no published source",
    },
    facts: { "unseen" = Length "length of the part that no run saw" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() || ending.refers_to_missing_run() {
        return;
    }
    for view in ending.survey.pipes().filter(|view| view.pipe.joins.is_some()) {
        report(ending, &view, out.limit("allowance"), out);
    }
}

fn report(
    ending: &Ending<'_>,
    view: &PipeView<'_>,
    allowance: f64,
    out: &mut Sink<'_>,
) -> Option<()> {
    let survey = ending.survey;
    let length = view.metres().filter(|metres| *metres > 0.0)?;
    let (mut up, mut down, mut launched) = (0.0_f64, 0.0_f64, None);
    for summary in ending.runs_of(&view.pipe.id) {
        if summary.outcome()? != OutcomeKind::Stopped && summary.outcome()? != OutcomeKind::Met
            || summary.figures.marks.counter_reset
            || surveyed_contradicts_finish(survey, &summary.run, summary.figures.marks)
        {
            return None;
        }
        let far = summary.figures.travelled?.max(0.0);
        match summary.run.direction {
            Direction::Upstream => up = up.max(far),
            Direction::Downstream => down = down.max(far),
        }
        launched = launched.or(summary.run.launched.as_ref().map(|_| summary));
    }
    let (unseen, summary) = (length - up - down, launched?);
    if exceeds(unseen, tolerance(length) + allowance) {
        let (rest, of) = (survey.format_metres(unseen), survey.format_metres(length));
        let message = format!("no run saw {rest} of the lateral's {of}");
        out.report(summary.subject("/surveyed"), message).fact("unseen", survey.in_units(unseen));
    }
    Some(())
}
