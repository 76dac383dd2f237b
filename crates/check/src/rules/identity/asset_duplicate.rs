//! See the rule's documentation below.

use obvert_model::tables::{Pipe, StructureKind};
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Two pipes, or two structures, have the same asset number.
    ///
    /// # Exceptions
    /// - The pipes have the same two ends: they are the barrels of one culvert.
    /// - Both structures are of the kind `other`, `pump-station` or `outfall`: they are parts of
    ///   one.
    /// - Three or more pipes have the number, and each has an end in common with another of them:
    ///   the owner numbers whole sewers.
    ///
    /// # Exactly
    /// Compared as texts. The finding is at each later `asset`; `other` is the first row with it.
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
    /// Two entrances of one tank.
    /// ```json
    /// [{"op": "add", "path": "/structures/0/asset", "value": "TK 4"}, {"op": "add", "path": "/structures/2/asset", "value": "TK 4"},
    ///  {"op": "replace", "path": "/structures/0/kind", "value": "pump-station"}, {"op": "replace", "path": "/structures/2/kind", "value": "pump-station"}]
    /// ```
    ///
    /// # Fix
    /// Correct the copied number; if both rows describe one asset, merge them.
    name: "asset-duplicate", severity: Warning, scope: Document, since: "0.1", clause: "pipes#identity",
    facts: { "other" = Id "the first row that has the number" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (structures, pipes) = (&survey.head.structures, &survey.head.pipes);
    let numbers = structures.iter().map(|row| (row.asset.as_deref(), row.id.as_str()));
    report_duplicates(numbers, "structure", out, |rows| {
        rows.iter().all(|row| is_part(structures[*row].kind))
    });
    let numbers = pipes.iter().map(|row| (row.asset.as_deref(), row.id.as_str()));
    report_duplicates(numbers, "pipe", out, |rows| one_sewer(pipes, rows));
}

/// Whether a structure of a kind may be a part of a larger one.
fn is_part(kind: StructureKind) -> bool {
    matches!(kind, StructureKind::Other | StructureKind::PumpStation | StructureKind::Outfall)
}

/// Whether pipes are the barrels of one culvert, or the parts of one sewer.
fn one_sewer(pipes: &[Pipe], rows: &[usize]) -> bool {
    let ends = |row: usize| [Some(&pipes[row].upstream), pipes[row].downstream.as_ref()];
    let meet = |a: usize, b: usize| {
        ends(a).iter().flatten().any(|end| ends(b).iter().flatten().any(|other| end == other))
    };
    let parallel = |a: usize, b: usize| {
        let ([up, down], [from, to]) = (ends(a), ends(b));
        down.is_some() && (up == from && down == to || up == to && down == from)
    };
    rows.iter().all(|row| parallel(*row, rows[0]))
        || rows.len() > 2
            && rows.len() <= LARGEST_SEWER
            && rows.iter().all(|row| rows.iter().any(|other| other != row && meet(*row, *other)))
}

/// More pipes than this are not compared with each other: a column was filled with one number.
const LARGEST_SEWER: usize = 100;

/// Reports every asset number that an earlier row has, unless the rows that have it are `together`.
/// A row is its number and its id.
fn report_duplicates<'d>(
    rows: impl Iterator<Item = (Option<&'d str>, &'d str)>,
    what: &str,
    out: &mut Sink<'_>,
    together: impl Fn(&[usize]) -> bool,
) {
    let mut places: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    let mut ids = Vec::new();
    let mut numbered = Vec::new();
    for (index, (asset, id)) in rows.enumerate() {
        ids.push(id);
        if let Some(asset) = asset {
            places.entry(asset).or_default().push(index);
            numbered.push((index, asset));
        }
    }
    places.retain(|_, rows| rows.len() > 1 && !together(rows));
    for (index, asset) in numbered {
        let Some(first) = places.get(asset).and_then(|rows| rows.first()) else { continue };
        let (id, other) = (ids[index], ids[*first]);
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
