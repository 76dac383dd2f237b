//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The distance from joint to joint is a length that pipes are made in. One that is not above 0 is left to
    /// `number-impossible`.
    ///
    /// # Why it matters
    /// Defects at joints are counted and costed by it: a spacing ten times too large hides nine joints in ten.
    ///
    /// # Source
    /// Common practice, no published source: clay and concrete come in lengths of 2 to 24 ft, plastic and iron in 10 to 20 ft,
    /// welded pipe in up to 50 ft.
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
    /// Correct the spacing, or leave it out where the pipe has no joints.
    name: "joint-spacing-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#length",
    limits: {
        "shortest" = 0.3 "m" "the shortest pipe that is made; common practice, no published source",
        "longest" = 15.24 "m" "the longest pipe that is made, 50 ft; common practice, no published source",
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
        (shortest, _) if metres < shortest * (1.0 - 1e-9) => (shortest, "shorter"),
        (_, longest) if metres > longest * (1.0 + 1e-9) => (longest, "longer"),
        _ => return,
    };
    let (said, limit) = (view.survey.say(spacing), view.survey.say_metres(limit));
    out.report(
        view.subject("/joint_spacing"),
        format!("the joint spacing of {said} is {how} than pipes are made ({limit})"),
    )
    .fact("metres", metres);
}
