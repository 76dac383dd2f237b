//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::elevations::{InvertMismatch, TOLERANCE, pipe_ends};
use crate::views::Survey;

rule! {
    /// # What it checks
    /// The invert of a structure, or of a pipe at a structure, is above the structure's ground.
    ///
    /// # Exceptions
    /// - Depth and elevations of the structure contradict each other: its pipes are not compared
    ///   with it.
    ///
    /// # Exactly
    /// The structure's own invert is compared as recorded.
    ///
    /// # Why it matters
    /// One of the two elevations is mistyped, or they are in two datums or two units.
    ///
    /// # Fails
    /// At `/structures/1/invert`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/1/ground", "value": 639}]
    /// ```
    /// At `/pipes/0/inverts/downstream`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 693.7}]
    /// ```
    ///
    /// # Passes
    /// An outfall at ground level.
    /// ```json
    /// [{"op": "replace", "path": "/structures/1/ground", "value": 639.6},
    ///  {"op": "replace", "path": "/structures/1/depth", "value": 0},
    ///  {"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 639.6}]
    /// ```
    ///
    /// # Fix
    /// Correct the elevation that is mistyped.
    name: "invert-above-ground", severity: Error, scope: Document, since: "0.1", clause: "structures#elevations",
    concludes_from: ["structures", "structures.ground", "structures.invert", "structures.depth"],
    facts: {
        "invert" = Length "the invert, as recorded",
        "ground" = Length "the ground, as recorded" if "the invert is the structure's own",
        "above" = Length "how far the invert is above the ground of the pipe's structure" if "the invert is a pipe's",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    for view in survey.structures() {
        let Some((ground, invert)) = view.structure.ground.zip(view.structure.invert) else {
            continue;
        };
        if invert > ground {
            let (invert_text, ground_text) =
                (survey.format_length(invert), survey.format_length(ground));
            let message =
                format!("the invert at {invert_text} is above the ground at {ground_text}");
            out.report(view.subject("/invert"), message)
                .fact("invert", invert.get())
                .fact("ground", ground.get());
        }
    }
    for view in survey.pipes() {
        for end in pipe_ends(&view) {
            if let Some(InvertMismatch::AboveGround(by)) = end.mismatch(survey, TOLERANCE) {
                let message = format!(
                    "the pipe's invert at {} is {} above the ground at {:?}",
                    survey.format_length(end.invert),
                    survey.format_metres(by),
                    end.structure.id.as_str()
                );
                out.report(view.subject(end.field), message)
                    .fact("invert", end.invert.get())
                    .fact("above", survey.in_units(by));
            }
        }
    }
}
