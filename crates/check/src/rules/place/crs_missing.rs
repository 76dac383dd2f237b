//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::map_lengths::positions;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// A document has positions but no reference system (`crs`).
    ///
    /// # Why it matters
    /// In another system the same two numbers lie in another county.
    ///
    /// # Fails
    /// At the document itself:
    /// ```json
    /// [{"op": "remove", "path": "/crs"}]
    /// ```
    ///
    /// # Passes
    /// No positions.
    /// ```json
    /// [{"op": "remove", "path": "/crs"}, {"op": "remove", "path": "/locates"}, {"op": "remove", "path": "/pipes/0/path"},
    ///  {"op": "remove", "path": "/structures/0/position"}, {"op": "remove", "path": "/structures/1/position"},
    ///  {"op": "remove", "path": "/structures/2/position"}]
    /// ```
    ///
    /// # Fix
    /// Ask who made the positions, then add `crs`, for example EPSG:6494.
    name: "crs-missing", severity: Error, scope: Document, since: "0.1", clause: "document#reference-systems",
    concludes_from: ["crs"],
    facts: {
        "positions" = Count "positions that the document has",
        "first" = Pointer "the first of them",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    if survey.head.crs.is_none() {
        if let Some((place, _)) = positions(survey.head).next() {
            let count = positions(survey.head).count();
            out.report(
                Subject::at(""),
                format!("the document has {count} positions but no reference system"),
            )
            .fact("positions", count)
            .fact("first", place.pointer());
        }
    }
}
