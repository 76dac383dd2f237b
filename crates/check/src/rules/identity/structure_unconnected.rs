//! See the rule's documentation below.

use rustc_hash::FxHashSet;

use crate::sink::Sink;
use crate::views::{Ending, StructureView, Subject};

rule! {
    /// # What it checks
    /// A structure is not the end of any pipe or run. More than five such structures are one
    /// finding.
    ///
    /// # Exceptions
    /// - The document names a structure that is missing (`unknown-structure`).
    ///
    /// # Exactly
    /// Ends are `upstream`, `downstream`, `from` and `to`. One finding for all is at `/structures`.
    ///
    /// # Why it matters
    /// Its pipe is missing, or was connected to a neighbour by mistake.
    ///
    /// # Fails
    /// At `/structures/3`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-020", "kind": "manhole"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-020", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-020"}}]
    /// ```
    ///
    /// # Fix
    /// Add the pipe, or remove the structure from the table.
    name: "structure-unconnected", severity: Note, scope: Ending, since: "0.1", clause: "structures#references",
    concludes_from: ["structures", "pipes", "runs", "pipes.downstream", "runs.from", "runs.to"],
    facts: {
        "structures" = Count "structures without a pipe or run" if "there are more than five",
        "of" = Count "structures of the document" if "`structures` is present",
    },
}

/// Up to this many structures are reported one by one.
const FEW: usize = 5;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let pipes =
        survey.head.pipes.iter().flat_map(|pipe| [Some(&pipe.upstream), pipe.downstream.as_ref()]);
    let runs =
        ending.runs.iter().flat_map(|summary| [summary.run.from.as_ref(), summary.run.to.as_ref()]);
    let mut named: FxHashSet<&str> = FxHashSet::default();
    for id in pipes.chain(runs).flatten() {
        if !survey.has_structure(id) {
            return;
        }
        named.insert(id);
    }
    let unconnected =
        || survey.structures().filter(|view| !named.contains(view.structure.id.as_str()));
    let some = unconnected().count();
    if some > FEW {
        let of = survey.head.structures.len();
        let first = unconnected().next().map_or("", |view| view.structure.id.as_str());
        let message =
            format!("{some} of {of} structures are not the end of a pipe, for example {first:?}");
        out.report(Subject::at("/structures"), message).fact("structures", some).fact("of", of);
        return;
    }
    let report = |view: StructureView<'_>| {
        out.report(view.subject(""), "no pipe begins or ends at the structure");
    };
    unconnected().for_each(report);
}
