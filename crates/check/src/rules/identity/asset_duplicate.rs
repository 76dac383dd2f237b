//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The owner's number stands for one structure and for one pipe.
    ///
    /// # Why it matters
    /// The owner's records are matched by that number: one of the two pipes gets the other one's survey.
    ///
    /// # Fails
    /// At `/structures/2/asset`:
    /// ```json
    /// [{"op": "add", "path": "/structures/0/asset", "value": "SMH 0611"},
    ///  {"op": "add", "path": "/structures/2/asset", "value": "SMH 0611"}]
    /// ```
    /// At `/pipes/1/asset`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/asset", "value": "4711"}, {"op": "add", "path": "/pipes/1/asset", "value": "4711"}]
    /// ```
    ///
    /// # Passes
    /// Structures and pipes are numbered apart.
    /// ```json
    /// [{"op": "add", "path": "/structures/0/asset", "value": "4711"}, {"op": "add", "path": "/pipes/0/asset", "value": "4711"}]
    /// ```
    ///
    /// # Fix
    /// Correct the number that was copied; where both rows are one thing, make one row of them.
    name: "asset-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "pipes#identity",
    facts: { "other" = Id "the first row that has the number" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let structures =
        survey.structures().filter_map(|view| Some((view.structure.asset.as_ref()?, &view.structure.id, view.index)));
    twice(structures.map(|(asset, id, index)| (asset.as_str(), id.as_str(), index)), "structure", out);
    let pipes = survey.pipes().filter_map(|view| Some((view.pipe.asset.as_ref()?, &view.pipe.id, view.index)));
    twice(pipes.map(|(asset, id, index)| (asset.as_str(), id.as_str(), index)), "pipe", out);
}

/// Reports every number that a row before has, of rows with their number, id and place in the table.
fn twice<'d>(rows: impl Iterator<Item = (&'d str, &'d str, usize)>, what: &str, out: &mut Sink<'_>) {
    let mut first: FxHashMap<&str, &str> = FxHashMap::default();
    for (asset, id, index) in rows {
        let other = *first.entry(asset).or_insert(id);
        if other != id {
            let subject = Subject {
                path: format!("/{what}s/{index}/asset"),
                pipe: (what == "pipe").then(|| id.to_owned()),
                ..Subject::default()
            };
            out.report(subject, format!("the owner's number {asset:?} is that of the {what} {other:?} already"))
                .fact("other", other);
        }
    }
}
