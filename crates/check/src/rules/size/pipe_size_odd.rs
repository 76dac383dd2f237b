//! See the rule's documentation below.

use obvert_model::tables::Pipe;

use crate::sink::Sink;
use crate::support::neighbours::odd_ones;
use crate::support::run_extent::exceeds;
use crate::views::Survey;

rule! {
    /// # What it checks
    /// The height of a pipe differs from that of its neighbours in the line, which are all equal.
    ///
    /// # Exceptions
    /// - Several pipes come in or go out at one of its ends: sizes change there, and siphons
    ///   divide.
    /// - The heights are in a doubtful unit (`size-unit-suspect`).
    ///
    /// # Exactly
    /// One pipe ends at the pipe's upstream structure and one begins at its downstream structure,
    /// and no other pipe begins or ends there. Of these two and of the next pipe of the line on
    /// either side, found in the same way, at least three have a height, among them the first two,
    /// and their heights are equal. The pipe's height differs from theirs by a factor greater than
    /// `factor`.
    ///
    /// # Why it matters
    /// The size was mistyped or taken from another row. Liners are made to it, and quantities in
    /// per cent are computed with it.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/2/height`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}}, {"op": "add", "path": "/structures/-", "value": {"id": "LM-018", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017", "height": 18}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-104", "upstream": "LM-017", "downstream": "LM-018", "height": 8}}]
    /// ```
    ///
    /// # Passes
    /// The line grows.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}}, {"op": "add", "path": "/structures/-", "value": {"id": "LM-018", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017", "height": 18}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-104", "upstream": "LM-017", "downstream": "LM-018", "height": 18}}]
    /// ```
    /// Two pipes of a siphon.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}}, {"op": "add", "path": "/structures/-", "value": {"id": "LM-018", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017", "height": 4}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103b", "upstream": "LM-016", "downstream": "LM-017", "height": 6}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-104", "upstream": "LM-017", "downstream": "LM-018", "height": 8}}]
    /// ```
    ///
    /// # Fix
    /// Measure in the video, and correct the height.
    name: "pipe-size-odd", severity: Warning, scope: Document, since: "0.1", clause: "pipes#size",
    concludes_from: ["pipes", "pipes.height", "pipes.upstream", "pipes.downstream", "pipes.shape"],
    limits: {
        "factor" = 1.3 "×" "greatest factor between two sizes of a line; common practice, no published source",
    },
    facts: {
        "height" = Size "the height, as recorded",
        "neighbours" = Size "the height of the neighbours",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let factor = out.limit("factor");
    let height = |pipe: &Pipe| pipe.height.map_or(0.0, |height| height.get());
    let same = |a: &Pipe, b: &Pipe| {
        let (a, b) = (height(a), height(b));
        !exceeds(a.max(b), a.min(b) * factor)
    };
    for (view, neighbour) in odd_ones(survey, |pipe| height(pipe) > 0.0, same) {
        let (Some(own), Some(other)) = (view.pipe.height, neighbour.height) else { continue };
        if view.size_doubtful() {
            continue;
        }
        let (a, b) = (survey.format_section(own), survey.format_section(other));
        let message = format!("{a} high, but the pipes above and below it are {b} high");
        out.report(view.subject("/height"), message)
            .fact("height", own.get())
            .fact("neighbours", other.get());
    }
}
