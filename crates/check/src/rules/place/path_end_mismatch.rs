//! See the rule's documentation below.

use obvert_model::tables::{LengthBetween, StructureKind};

use crate::sink::Sink;
use crate::views::{PipeView, tolerance};

rule! {
    /// # What it checks
    /// The path of a pipe does not begin at its upstream structure, or does not end at its
    /// downstream structure, within the limit.
    ///
    /// # Exceptions
    /// - `length_between` is `walls` or `ends`, the path is as long as the pipe within the
    ///   tolerance, and it ends at most 20 m from a structure of the kind `other` or
    ///   `pump-station`, or 10 m from another: it ends at the wall of a tank or a chamber.
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
    /// At the wall of a tank.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/path/1", "value": [19623960, 322100]}, {"op": "replace", "path": "/pipes/0/length", "value": 160},
    ///  {"op": "replace", "path": "/pipes/0/length_between", "value": "ends"}, {"op": "replace", "path": "/structures/1/kind", "value": "pump-station"}]
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
        if gap > out.limit("slack") && !ends_at_wall(view, vertex, gap) {
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

/// How far the wall of a tank, and that of another structure, may be from its position, in metres;
/// common practice, no published source.
const TO_WALL: [f64; 2] = [20.0, 10.0];

/// Whether a path ends at the wall of its structure, by the length of the pipe.
fn ends_at_wall(view: &PipeView<'_>, vertex: usize, gap: f64) -> bool {
    let structure = if vertex == 0 { view.upstream() } else { view.downstream() };
    let large = structure.is_some_and(|structure| {
        matches!(structure.kind, StructureKind::Other | StructureKind::PumpStation)
    });
    let [tank, chamber] = TO_WALL;
    let between = view.pipe.length_between;
    let fits = || {
        let course = view.survey.map_lengths().fitted_length(view.index);
        view.metres()
            .zip(course)
            .is_some_and(|(stated, course)| (stated - course).abs() <= tolerance(stated))
    };
    matches!(between, Some(LengthBetween::Walls | LengthBetween::Ends))
        && gap <= if large { tank } else { chamber }
        && fits()
}
