//! See the rule's documentation below.

use std::borrow::Cow;

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// No two ids of structures, of pipes, of runs, of parties or of equipment differ by the case of their letters alone.
    ///
    /// # Why it matters
    /// `LM-014` and `lm-014` are one manhole to whoever typed them and two to software; some databases take them for one
    /// again, and one of the rows is lost.
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
    /// # Fix
    /// Make one row of the two, or give one of them another id.
    name: "id-case-clash", severity: Warning, scope: Ending, since: "0.1", clause: "conventions#text",
    facts: { "other" = Id "the first id that is the same but for case" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let head = ending.survey.head;
    clash(head.parties.iter().map(|row| row.id.as_str()), "parties", out);
    clash(head.equipment.iter().map(|row| row.id.as_str()), "equipment", out);
    clash(head.structures.iter().map(|row| row.id.as_str()), "structures", out);
    clash(head.pipes.iter().map(|row| row.id.as_str()), "pipes", out);
    clash(ending.runs.iter().map(|summary| summary.run.id.as_str()), "runs", out);
}

fn clash<'d>(ids: impl Iterator<Item = &'d str>, table: &str, out: &mut Sink<'_>) {
    let mut known: FxHashMap<Cow<'d, str>, &str> = FxHashMap::default();
    for (index, id) in ids.enumerate() {
        let other = *known.entry(folded(id)).or_insert(id);
        if other != id {
            let message = format!("the id {id:?} differs from {other:?} by case alone");
            out.report(Subject::at(format!("/{table}/{index}/id")), message).fact("other", other);
        }
    }
}

/// An id without its case: its lower-case form, but for the letters of ASCII, which stay capitals. Most ids are in
/// capitals already, and need no room of their own.
fn folded(id: &str) -> Cow<'_, str> {
    let capitals = id.is_ascii() && !id.bytes().any(|byte| byte.is_ascii_lowercase());
    if capitals { Cow::Borrowed(id) } else { Cow::Owned(id.to_lowercase().to_ascii_uppercase()) }
}
