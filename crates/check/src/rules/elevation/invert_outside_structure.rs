//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::elevations::{InvertMismatch, pipe_ends};
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe ends below the lowest invert of its structure.
    ///
    /// # Exceptions
    /// - Depth and elevations of the structure contradict each other
    ///   (`depth-contradicts-elevations`, `invert-above-ground`).
    ///
    /// # Exactly
    /// `invert` of the structure less the pipe's exceeds `slack`, and the pipe's is not above the
    /// ground.
    ///
    /// # Why it matters
    /// The invert of a manhole is that of its lowest pipe, so one of the two is wrong.
    ///
    /// # Source
    /// The slack is half of the last digit of a level measured to tenths of a metre; common
    /// practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/0/inverts/downstream`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 638.6}]
    /// ```
    ///
    /// # Passes
    /// A pipe may enter above the invert.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 640.4}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 639.5}]
    /// ```
    ///
    /// # Fix
    /// Correct the pipe's invert, or lower the structure's invert to its lowest pipe.
    name: "invert-outside-structure", severity: Warning, scope: Pipe, since: "0.1", clause: "structures#elevations",
    limits: { "slack" = 0.05 "m" "the difference that is allowed; common practice, no published source" },
    facts: {
        "invert" = Length "the pipe's invert, as recorded",
        "below" = Length "how far it is below the lowest invert of the structure",
    },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let survey = view.survey;
    for end in pipe_ends(view) {
        if let Some(InvertMismatch::BelowStructure(by)) = end.mismatch(survey, out.limit("slack")) {
            let message = format!(
                "the pipe's invert at {} is {} below the lowest invert of {:?}",
                survey.format_length(end.invert),
                survey.format_metres(by),
                end.structure.id.as_str()
            );
            out.report(view.subject(end.field), message)
                .fact("invert", end.invert.get())
                .fact("below", survey.in_units(by));
        }
    }
}
