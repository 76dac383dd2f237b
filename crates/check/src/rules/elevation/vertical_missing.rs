//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The document has elevations but does not name their datum.
    ///
    /// # Exactly
    /// Elevations are `ground`, `invert` and `inverts`. One finding, at the document.
    ///
    /// # Why it matters
    /// Datums differ by a foot or more within one town, so gradients between deliveries come out
    /// wrong.
    ///
    /// # Fails
    /// At ``:
    /// ```json
    /// [{"op": "remove", "path": "/vertical"}]
    /// ```
    ///
    /// # Passes
    /// Depths alone need no datum.
    /// ```json
    /// [{"op": "remove", "path": "/vertical"},
    ///  {"op": "replace", "path": "/structures", "value": [{"id": "LM-014", "kind": "manhole", "depth": 9.5}, {"id": "LM-015", "kind": "manhole"}, {"id": "LM-016", "kind": "manhole"}]},
    ///  {"op": "remove", "path": "/pipes/0/inverts"}, {"op": "remove", "path": "/pipes/1/inverts"},
    ///  {"op": "remove", "path": "/locates"}]
    /// ```
    ///
    /// # Fix
    /// Name the datum in `vertical`, for example `NAVD 88`.
    name: "vertical-missing", severity: Error, scope: Document, since: "0.1", clause: "document#reference-systems",
    concludes_from: ["vertical"],
    facts: { "elevations" = Count "elevations that the document has" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let head = survey.head;
    if head.vertical.is_some() {
        return;
    }
    let structures = head
        .structures
        .iter()
        .map(|row| usize::from(row.ground.is_some()) + usize::from(row.invert.is_some()));
    let ends = head.pipes.iter().filter_map(|row| row.inverts.as_ref());
    let ends =
        ends.map(|row| usize::from(row.upstream.is_some()) + usize::from(row.downstream.is_some()));
    let locates = head.locates.iter().map(|row| usize::from(row.ground.is_some()));
    let elevations: usize = structures.chain(ends).chain(locates).sum();
    if elevations > 0 {
        let message = format!(
            "the document has {elevations} elevations but does not name their datum in vertical"
        );
        out.report(Subject::at(""), message).fact("elevations", elevations);
    }
}
