//! See the rule's documentation below.

use obvert_model::tables::StructureKind;

use crate::sink::Sink;
use crate::support::elevations::consistent;
use crate::views::StructureView;

rule! {
    /// # What it checks
    /// A structure is deeper than any of its kind. Without `depth`, `ground` − `invert` counts.
    ///
    /// # Exceptions
    /// - Depth and elevations contradict each other (`depth-contradicts-elevations`,
    ///   `invert-above-ground`).
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// The finding is at `depth`, or else at `invert`.
    ///
    /// # Why it matters
    /// Trenches are priced and shored by this depth.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/structures/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/0", "value": {"id": "LM-014", "kind": "cleanout", "depth": 40}}]
    /// ```
    /// At `/structures/0/invert`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/0", "value": {"id": "LM-014", "kind": "manhole", "ground": 650, "invert": 460.5}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/structures/0", "value": {"id": "LM-014", "kind": "manhole", "depth": 40}}]
    /// ```
    ///
    /// # Fix
    /// Correct the depth; check the decimal point and the unit.
    name: "depth-implausible", severity: Warning, scope: Structure, since: "0.1", clause: "structures#elevations",
    limits: {
        "cleanout" = 6.0 "m" "the deepest cleanout; common practice, no published source",
        "structure" = 30.0 "m" "the deepest structure of any kind; common practice, no published source",
    },
    facts: { "metres" = Metres "the depth, or else `ground` − `invert`, converted" },
}

fn check(view: &StructureView<'_>, out: &mut Sink<'_>) {
    let (survey, row) = (view.survey, view.structure);
    if !consistent(survey, row) || survey.lengths_doubtful() {
        return;
    }
    let between = || Some(survey.metres(row.ground?) - survey.metres(row.invert?));
    let (metres, field) = match row.depth {
        Some(depth) => (survey.metres(depth), "/depth"),
        None => match between() {
            Some(metres) => (metres, "/invert"),
            None => return,
        },
    };
    let cleanout = row.kind == StructureKind::Cleanout;
    let deepest = out.limit(if cleanout { "cleanout" } else { "structure" });
    let depth_text = survey.format_metres(metres);
    if metres > deepest * (1.0 + 1e-9) {
        let kind = if cleanout { "cleanout" } else { "structure" };
        let message = format!(
            "the depth of {depth_text} is more than that of the deepest {kind}, {}",
            survey.format_metres(deepest)
        );
        out.report(view.subject(field), message).fact("metres", metres);
    }
}
