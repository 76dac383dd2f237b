//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::elevations::{disagreement, exceeds};
use crate::views::StructureView;

rule! {
    /// # What it checks
    /// `depth` of a structure differs from `ground` − `invert` by more than `slack`.
    ///
    /// # Exceptions
    /// - The invert is above the ground (`invert-above-ground`).
    ///
    /// # Exactly
    /// \|`ground` − `invert` − `depth`\| exceeds `slack`, all three being recorded and `depth` not
    /// negative (`number-impossible`). For other rules it is always 0.05 m.
    ///
    /// # Why it matters
    /// Gradients, excavation depths and shoring are taken from them.
    ///
    /// # Source
    /// The slack is half of the last digit of a depth measured to tenths of a metre; common
    /// practice, no published source.
    ///
    /// # Fails
    /// At `/structures/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/0/depth", "value": 5.9}]
    /// ```
    ///
    /// # Passes
    /// A depth measured to tenths.
    /// ```json
    /// [{"op": "replace", "path": "/structures/0/ground", "value": 650.05}]
    /// ```
    /// ```json
    /// [{"op": "remove", "path": "/structures/0/ground"},
    ///  {"op": "replace", "path": "/structures/0/depth", "value": 5.9}]
    /// ```
    ///
    /// # Fix
    /// Correct whichever of the three is wrong.
    name: "depth-contradicts-elevations", severity: Warning, scope: Structure, since: "0.1", clause: "structures#elevations",
    limits: { "slack" = 0.05 "m" "the difference that is allowed; common practice, no published source" },
    facts: {
        "depth" = Length "the depth, as recorded",
        "difference" = Length "the absolute difference from `ground` − `invert`",
    },
}

fn check(view: &StructureView<'_>, out: &mut Sink<'_>) {
    let (survey, row) = (view.survey, view.structure);
    let Some(by) = disagreement(survey, row).filter(|by| exceeds(*by, out.limit("slack"))) else {
        return;
    };
    let (Some(depth), Some(ground), Some(invert)) = (row.depth, row.ground, row.invert) else {
        return;
    };
    let message = format!(
        "the depth of {} differs from ground minus invert, {} - {} = {}",
        survey.format_length(depth),
        survey.format_length(ground),
        survey.format_length(invert),
        survey.format_metres(survey.metres(ground) - survey.metres(invert))
    );
    out.report(view.subject("/depth"), message)
        .fact("depth", depth.get())
        .fact("difference", survey.in_units(by));
}
