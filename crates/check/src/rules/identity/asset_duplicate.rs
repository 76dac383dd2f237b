//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Two pipes, or two structures, have the same asset number.
    ///
    /// # Why it matters
    /// The owner's records are matched by that number: one of the two gets the survey of the other.
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
    /// A structure and a pipe may have the same number.
    /// ```json
    /// [{"op": "add", "path": "/structures/0/asset", "value": "4711"}, {"op": "add", "path": "/pipes/0/asset", "value": "4711"}]
    /// ```
    ///
    /// # Fix
    /// Correct the copied number; if both rows describe one asset, merge them.
    name: "asset-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "pipes#identity",
    facts: { "other" = Id "the first row that has the number" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let structures = survey
        .structures()
        .filter_map(|view| Some((view.structure.asset.as_ref()?, &view.structure.id, view.index)));
    report_duplicates(
        structures.map(|(asset, id, index)| (asset.as_str(), id.as_str(), index)),
        "structure",
        out,
    );
    let pipes = survey
        .pipes()
        .filter_map(|view| Some((view.pipe.asset.as_ref()?, &view.pipe.id, view.index)));
    report_duplicates(
        pipes.map(|(asset, id, index)| (asset.as_str(), id.as_str(), index)),
        "pipe",
        out,
    );
}

/// Reports every asset number that an earlier row has. A row is its number, its id and its index in
/// the table.
fn report_duplicates<'d>(
    rows: impl Iterator<Item = (&'d str, &'d str, usize)>,
    what: &str,
    out: &mut Sink<'_>,
) {
    let mut first: FxHashMap<&str, &str> = FxHashMap::default();
    for (asset, id, index) in rows {
        let other = *first.entry(asset).or_insert(id);
        if other != id {
            let subject = Subject {
                path: format!("/{what}s/{index}/asset"),
                pipe: (what == "pipe").then(|| id.to_owned()),
                ..Subject::default()
            };
            out.report(
                subject,
                format!("the asset number {asset:?} is also that of the {what} {other:?}"),
            )
            .fact("other", other);
        }
    }
}
