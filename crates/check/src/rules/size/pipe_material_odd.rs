//! See the rule's documentation below.

use obvert_model::tables::{Material, Pipe};

use crate::sink::Sink;
use crate::support::neighbours::odd_ones;
use crate::views::Survey;

rule! {
    /// # What it checks
    /// The material of a pipe differs from that of its neighbours in the line, which are all of one
    /// material.
    ///
    /// # Exceptions
    /// - Several pipes come in or go out at one of its ends.
    /// - The pipe has another `laid` than its neighbours, or a `lining`: it was renewed.
    ///
    /// # Exactly
    /// The neighbours are those of `pipe-size-odd`, with a `material` in place of a height.
    ///
    /// # Why it matters
    /// The material decides which defects are possible, and how they are graded. A pipe may have
    /// been replaced, but then the record can say when.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/2/material`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}}, {"op": "add", "path": "/structures/-", "value": {"id": "LM-018", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017", "material": "steel"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-104", "upstream": "LM-017", "downstream": "LM-018", "material": "vitrified-clay"}}]
    /// ```
    ///
    /// # Passes
    /// Replaced later.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}}, {"op": "add", "path": "/structures/-", "value": {"id": "LM-018", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017", "material": "pvc", "laid": 2011}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-104", "upstream": "LM-017", "downstream": "LM-018", "material": "vitrified-clay"}}]
    /// ```
    ///
    /// # Fix
    /// Look at the pipe in the video; correct the material, or record when the pipe was laid.
    name: "pipe-material-odd", severity: Note, scope: Document, since: "0.1", clause: "pipes#identity",
    concludes_from: ["pipes", "pipes.material", "pipes.upstream", "pipes.downstream", "pipes.laid", "pipes.lining"],
    facts: {
        "material" = Word "the material of the pipe",
        "neighbours" = Word "the material of its neighbours",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let known = |pipe: &Pipe| pipe.material.is_some_and(|material| material != Material::Other);
    let same = |a: &Pipe, b: &Pipe| a.material == b.material;
    for (view, neighbour) in odd_ones(survey, known, same) {
        let (Some(own), Some(other)) = (view.pipe.material, neighbour.material) else { continue };
        if view.pipe.laid != neighbour.laid || view.pipe.lining.is_some() {
            continue;
        }
        let (own, other) = (own.as_str(), other.as_str());
        let message = format!("the material is {own:?}, but {other:?} above and below the pipe");
        out.report(view.subject("/material"), message)
            .fact("material", own)
            .fact("neighbours", other);
    }
}
