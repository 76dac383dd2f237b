//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{StructureView, Survey};

rule! {
    /// # What it checks
    /// Two structures of one kind have exactly the same position.
    ///
    /// # Why it matters
    /// A manhole under two ids leaves the pipes above and below it unconnected; or a position was
    /// copied from another row.
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
    /// Merge the two structures, or correct the copied position.
    name: "structure-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "structures#references",
    facts: { "other" = Id "the first structure at the position" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let mut at: FxHashMap<(u64, u64, &str), StructureView<'_>> = FxHashMap::default();
    for view in survey.structures() {
        let Some(position) = view.structure.position else { continue };
        let key = (position.x().to_bits(), position.y().to_bits(), view.structure.kind.as_str());
        let Some(first) = at.get(&key) else {
            at.insert(key, view);
            continue;
        };
        let id = first.structure.id.as_str();
        // A duplicate id is a structural problem.
        if id != view.structure.id.as_str() {
            let message = format!(
                "the structure is at [{}, {}], the position of {id:?}",
                position.x(),
                position.y()
            );
            out.report(view.subject("/position"), message).fact("other", id);
        }
    }
}
