//! See the rule's documentation below.

use std::borrow::Cow;

use obvert_model::tables::Pipe;
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Two ids of structures, pipes, runs, parties or equipment differ only by case.
    ///
    /// # Exceptions
    /// - The two parties have different names, or the two structures or pieces of equipment are of
    ///   different kinds, or one pipe is a lateral and the other is not: some owners number
    ///   manholes in capitals and gullies in small letters.
    ///
    /// # Exactly
    /// Each id is compared with the first of its table and kind in the same lower-case form, unless
    /// equal to it.
    ///
    /// # Why it matters
    /// `LM-014` and `lm-014` are one manhole to a person and two to software; some databases merge
    /// them and lose a row.
    ///
    /// # Fails
    /// At `/structures/3/id`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "lm-014", "kind": "manhole"}}]
    /// ```
    /// At `/runs/2/id`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/id", "value": "r-102"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/id", "value": "R-102R"}]
    /// ```
    ///
    /// A gully and a manhole.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "lm-014", "kind": "catch-basin"}}]
    /// ```
    ///
    /// # Fix
    /// Merge the two rows, or give one another id.
    name: "id-case-clash", severity: Warning, scope: Ending, since: "0.1", clause: "conventions#text",
    facts: { "other" = Id "the first id that differs only by case" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let head = ending.survey.head;
    clash(head.parties.iter().map(|row| (row.id.as_str(), row.name.as_str())), "parties", out);
    clash(head.equipment.iter().map(|row| (row.id.as_str(), row.kind.as_str())), "equipment", out);
    clash(
        head.structures.iter().map(|row| (row.id.as_str(), row.kind.as_str())),
        "structures",
        out,
    );
    let lateral = |pipe: &Pipe| if pipe.joins.is_some() { "lateral" } else { "" };
    clash(head.pipes.iter().map(|row| (row.id.as_str(), lateral(row))), "pipes", out);
    clash(ending.runs.iter().map(|summary| (summary.run.id.as_str(), "")), "runs", out);
}

/// Compares the ids of a table, each with the kind of its row.
fn clash<'d>(ids: impl Iterator<Item = (&'d str, &'d str)>, table: &str, out: &mut Sink<'_>) {
    let mut known: FxHashMap<(Cow<'d, str>, &str), &str> = FxHashMap::default();
    for (index, (id, kind)) in ids.enumerate() {
        let other = *known.entry((folded(id), kind)).or_insert(id);
        if other != id {
            let message = format!("the id {id:?} differs from {other:?} only by case");
            out.report(Subject::at(format!("/{table}/{index}/id")), message).fact("other", other);
        }
    }
}

/// An id without its case: the lower-case form, with ASCII letters as capitals. Most ids are in
/// capitals already and need no allocation.
fn folded(id: &str) -> Cow<'_, str> {
    let capitals = id.is_ascii() && !id.bytes().any(|byte| byte.is_ascii_lowercase());
    if capitals { Cow::Borrowed(id) } else { Cow::Owned(id.to_lowercase().to_ascii_uppercase()) }
}
