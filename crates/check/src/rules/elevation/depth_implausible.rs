//! See the rule's documentation below.

use obvert_model::tables::StructureKind;

use crate::sink::Sink;
use crate::support::elevations::consistent;
use crate::views::StructureView;

rule! {
    /// # What it checks
    /// A structure is not deeper than such structures are; a depth below 0 is left to `number-impossible`. Without a depth, the difference of
    /// ground and invert is taken. Where depth and elevations contradict each other, other rules say so.
    ///
    /// # Why it matters
    /// A slipped decimal point in a depth is a trench that nobody can price, or one that is not shored.
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
    /// Correct the depth; look for a slipped decimal point or another unit.
    name: "depth-implausible", severity: Warning, scope: Structure, since: "0.1", clause: "structures#elevations",
    limits: {
        "cleanout" = 6.0 "m" "the deepest cleanout; common practice, no published source",
        "structure" = 30.0 "m" "the deepest structure of any kind; common practice, no published source",
    },
    facts: { "metres" = Metres "the depth, or `ground` less `invert` where none is recorded, converted" },
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
    let said = survey.say_metres(metres);
    if metres > deepest * (1.0 + 1e-9) {
        let kind = if cleanout { "cleanout" } else { "structure" };
        let message = format!("the depth of {said} is more than any {kind} has ({})", survey.say_metres(deepest));
        out.report(view.subject(field), message).fact("metres", metres);
    }
}
