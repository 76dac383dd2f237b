//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{StructureView, Survey};

rule! {
    /// # What it checks
    /// No two structures of one kind have the same position, to the last digit.
    ///
    /// # Why it matters
    /// One manhole under two ids makes two ends of what is one line: the pipe below it and the pipe above it are not
    /// connected. Or a position was copied from the row above.
    ///
    /// # Fails
    /// At `/structures/3/position`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-020", "kind": "manhole", "position": [19624000, 322100]}}]
    /// ```
    ///
    /// # Passes
    /// A cleanout in the same shaft.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "CO-20", "kind": "cleanout", "position": [19624000, 322100]}}]
    /// ```
    ///
    /// # Fix
    /// Make one structure of the two, or correct the position that was copied.
    name: "structure-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "structures#references",
    facts: { "other" = Id "the first structure at the place" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let mut at: FxHashMap<(u64, u64, &str), StructureView<'_>> = FxHashMap::default();
    for view in survey.structures() {
        let Some(position) = view.structure.position else { continue };
        let key = (position.x.to_bits(), position.y.to_bits(), view.structure.kind.as_str());
        let Some(first) = at.get(&key) else {
            at.insert(key, view);
            continue;
        };
        let id = first.structure.id.as_str();
        // The same id twice is a finding of its own.
        if id != view.structure.id.as_str() {
            let message =
                format!("the structure stands at [{}, {}], where {id:?} stands already", position.x, position.y);
            out.report(view.subject("/position"), message).fact("other", id);
        }
    }
}
