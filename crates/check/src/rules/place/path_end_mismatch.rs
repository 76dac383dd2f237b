//! See the rule's documentation below.

use obvert_model::tables::{LengthBetween, StructureKind};

use crate::sink::Sink;
use crate::support::streets::{
    ReversedStreet, path_reversed, reversed_by_inverts, reversed_by_paths, reversed_by_runs,
};
use crate::views::{Ending, PipeView, Subject, tolerance};

rule! {
    /// # What it checks
    /// The path of a pipe does not begin at its upstream structure, or does not end at its
    /// downstream structure, within the limit.
    ///
    /// # Exceptions
    /// - `length_between` is `walls` or `ends`, the path is as long as the pipe within the
    ///   tolerance, and it ends at most 20 m from a structure of the kind `other` or
    ///   `pump-station`, or 10 m from another: it ends at the wall of a tank or a chamber.
    /// - The runs or the inverts contradict the whole street (`direction-contradicts`,
    ///   `gradient-uphill`).
    ///
    /// # Exactly
    /// A path is *turned* if both ends are off by more than 5 m, and neither is when it is read
    /// from its last vertex. If at least three paths of a `street` are turned, and four in five of
    /// those of its pipes, that is one finding, at the first of them; pipes without `street` are
    /// taken for one. Otherwise a turned path is one finding, at `path`, and each end of another is
    /// one.
    ///
    /// # Why it matters
    /// The path is that of another pipe, or the table connects the pipe to the wrong structures.
    ///
    /// # Fails
    /// At `/pipes/0/path/1`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/path/1", "value": [19624000, 322120]}]
    /// ```
    /// Drawn against the flow, at `/pipes/0/path`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/path", "value": [[19624000, 322100], [19623800, 322100]]}]
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
    name: "path-end-mismatch", severity: Warning, scope: Ending, since: "0.1", clause: "pipes#path",
    needs: [Crs],
    concludes_from: ["structures", "structures.position", "structures.invert", "pipes", "pipes.path", "pipes.inverts", "pipes.street", "runs", "runs.from", "runs.to", "runs.direction"],
    limits: {
        "slack" = 5.0 "m"
            "greatest distance of an end from its structure; common practice, no published source",
    },
    facts: {
        "gap" = Length "distance of the end of the path from its structure" if "an end is reported",
        "pipes" = Count "turned paths of the street" if "most of its paths are turned",
        "of" = Count "paths of the street" if "`pipes` is present",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let turned: Vec<ReversedStreet> =
        reversed_by_runs(ending).into_iter().chain(reversed_by_inverts(ending, LEVELS)).collect();
    let mut streets = reversed_by_paths(ending);
    streets.retain(|street| !turned.iter().any(|known| known.street == street.street));
    for street in &streets {
        let (pipes, of, name) = (street.pipes, street.of, street.name());
        let message =
            format!("the paths of {pipes} of {of} pipes{name} are drawn against the flow");
        out.report(Subject::at(format!("/pipes/{}/path", street.first)), message)
            .fact("pipes", pipes)
            .fact("of", of);
    }
    for view in survey.pipes() {
        let reversed = path_reversed(&view);
        if reversed && turned.iter().chain(&streets).any(|street| street.has(&view)) {
            continue;
        }
        if reversed {
            let message = "the path is drawn from the downstream to the upstream structure";
            out.report(view.subject("/path"), message);
        } else {
            report(&view, out);
        }
    }
}

/// The pipes of a street that rise by more than this, in metres, are recorded the wrong way round;
/// `gradient-uphill` reports them.
const LEVELS: f64 = 0.02;

fn report(view: &PipeView<'_>, out: &mut Sink<'_>) {
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
