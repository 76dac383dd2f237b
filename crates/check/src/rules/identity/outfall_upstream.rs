//! See the rule's documentation below.

use obvert_model::tables::{Structure, StructureKind};

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe begins at an outfall.
    ///
    /// # Exceptions
    /// - It ends at an outfall as well: it is a culvert, or a balancing pipe between two waters.
    ///
    /// # Exactly
    /// `upstream` is a structure of the kind `outfall`.
    ///
    /// # Why it matters
    /// Water leaves the network at an outfall: the ends of the pipe are exchanged, and with them
    /// directions and clock references, or the outfall is an inlet.
    ///
    /// # Fails
    /// At `/pipes/0/upstream`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/0/kind", "value": "outfall"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/structures/2/kind", "value": "outfall"}]
    /// ```
    ///
    /// Between two waters.
    /// ```json
    /// [{"op": "replace", "path": "/structures/0/kind", "value": "outfall"}, {"op": "replace", "path": "/structures/1/kind", "value": "outfall"}, {"op": "replace", "path": "/structures/2/kind", "value": "outfall"}]
    /// ```
    ///
    /// # Fix
    /// Exchange `upstream` and `downstream`, or correct the kind of the structure.
    name: "outfall-upstream", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#identity",
    facts: { "upstream" = Id "the outfall" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let outfall = |end: Option<&Structure>| {
        end.is_some_and(|structure| structure.kind == StructureKind::Outfall)
    };
    if outfall(view.upstream()) && !outfall(view.downstream()) {
        let id = view.pipe.upstream.as_str();
        out.report(
            view.subject("/upstream"),
            format!("the pipe begins at {id:?}, which is an outfall"),
        )
        .fact("upstream", id);
    }
}
