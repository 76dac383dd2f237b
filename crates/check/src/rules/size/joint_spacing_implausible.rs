//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// `joint_spacing` is shorter or longer than pipes are made.
    ///
    /// # Exceptions
    /// - It is not above 0 (`number-impossible`).
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// Below `shortest` or above `longest`.
    ///
    /// # Why it matters
    /// Defects at joints are counted and priced by it; ten times too large, it hides nine joints in
    /// ten.
    ///
    /// # Source
    /// Common practice, no published source: clay and concrete come in lengths of 2 to 24 ft,
    /// plastic and iron in 10 to 20 ft, welded pipe in up to 50 ft.
    ///
    /// # Fails
    /// At `/pipes/0/joint_spacing`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/joint_spacing", "value": 130}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/joint_spacing", "value": 50}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/joint_spacing", "value": 1}]
    /// ```
    ///
    /// # Fix
    /// Correct the spacing, or leave it out if the pipe has no joints.
    name: "joint-spacing-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#length",
    limits: {
        "shortest" = 0.3 "m" "the shortest pipe made; common practice, no published source",
        "longest" = 15.24 "m" "the longest pipe made, 50 ft; common practice, no published source",
    },
    facts: { "metres" = Metres "the joint spacing, converted" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let Some(spacing) = view.pipe.joint_spacing else { return };
    if view.survey.lengths_doubtful() || spacing.get() <= 0.0 {
        return;
    }
    let metres = view.survey.metres(spacing);
    let (limit, how) = match (out.limit("shortest"), out.limit("longest")) {
        (shortest, _) if metres < shortest * (1.0 - 1e-9) => {
            (shortest, "shorter than the shortest")
        }
        (_, longest) if metres > longest * (1.0 + 1e-9) => (longest, "longer than the longest"),
        _ => return,
    };
    let (spacing_text, limit) =
        (view.survey.format_length(spacing), view.survey.format_metres(limit));
    out.report(
        view.subject("/joint_spacing"),
        format!("the joint spacing of {spacing_text} is {how} pipe made, {limit}"),
    )
    .fact("metres", metres);
}
