//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The path of a pipe does not begin at its upstream structure, or does not end at its
    /// downstream structure, within the limit.
    ///
    /// # Why it matters
    /// The path is that of another pipe, or the table connects the pipe to the wrong structures.
    ///
    /// # Fails
    /// At `/pipes/0/path/1`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/path/1", "value": [19624000, 322120]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/path/1", "value": [19624000, 322103]}]
    /// ```
    ///
    /// # Fix
    /// Draw the path from structure to structure; reverse it if it runs against the flow.
    name: "path-end-mismatch", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#path",
    needs: [Crs],
    limits: {
        "slack" = 5.0 "m"
            "greatest distance of an end from its structure; common practice, no published source",
    },
    facts: { "gap" = Length "distance of the end of the path from its structure" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let last = view.pipe.path.len().saturating_sub(1);
    let ends = [(0, Some(&view.pipe.upstream)), (last, view.pipe.downstream.as_ref())];
    let gaps = view.survey.map_lengths().end_gaps(view);
    for ((vertex, structure), gap) in ends.into_iter().zip(gaps) {
        let (Some(structure), Some(gap)) = (structure, gap) else { continue };
        if gap > out.limit("slack") {
            let end = if vertex == 0 { "begins" } else { "ends" };
            let far = view.survey.format_metres(gap);
            out.report(
                view.subject(&format!("/path/{vertex}")),
                format!("the path {end} {far} from {structure}"),
            )
            .fact("gap", view.survey.in_units(gap));
        }
    }
}
