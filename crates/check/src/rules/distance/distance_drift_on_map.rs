//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::distance_drift::drifting_cameras;
use crate::views::{Ending, RunSummary, Subject};

rule! {
    /// # What it checks
    /// The runs of one camera are all longer, or all shorter, than the paths of their pipes by the
    /// same share, where no lengths are stated.
    ///
    /// # Exceptions
    /// - The pipe has a `length` (`distance-drift`).
    /// - The pipe has no `path`.
    ///
    /// # Exactly
    /// As `distance-drift`, with the length of the path and the least share `least`.
    ///
    /// # Why it matters
    /// Nothing else reveals a wrong counter, and the survey may become the owner's record of the
    /// lengths.
    ///
    /// # Source
    /// Number of runs and least share: common practice, no published source.
    ///
    /// # Fails
    /// At `/equipment/0`:
    /// ```json
    /// [{"op": "remove", "path": "/pipes/0/length"}, {"op": "remove", "path": "/pipes/1/length"},
    ///  {"op": "replace", "path": "/pipes/0/path/0", "value": [19623808, 322100]},
    ///  {"op": "add", "path": "/pipes/1/path", "value": [[19624000, 322007], [19624000, 321920]]},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}},
    ///  {"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    ///
    /// # Passes
    /// The lengths are stated.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/path/0", "value": [19623808, 322100]},
    ///  {"op": "add", "path": "/pipes/1/path", "value": [[19624000, 322007], [19624000, 321920]]},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}},
    ///  {"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    ///
    /// # Fix
    /// Check the counter against a tape, and the map against the ground.
    name: "distance-drift-on-map", severity: Warning, scope: Ending, since: "0.1", clause: "conventions#distances",
    needs: [Crs],
    concludes_from: ["runs"],
    limits: {
        "least" = 2.0 "%" "least common share; common practice, no published source",
    },
    facts: {
        "runs" = Count "runs compared with the paths of their pipes",
        "agree" = Count "those of them that agree",
        "share" = Share "median of (how far a run came ∕ length of the path) − 1",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let course = |summary: &RunSummary| {
        let row = survey.pipe_index(&summary.run.pipe)?;
        let pipe = &survey.head.pipes[row];
        if pipe.length.is_some() || pipe.path.len() < 2 {
            None
        } else {
            survey.map_lengths().fitted_length(row)
        }
    };
    for drift in drifting_cameras(ending, out.limit("least") / 100.0, course) {
        let percent = (drift.share.abs() * 1000.0).round() / 10.0;
        let how = if drift.share > 0.0 { "longer" } else { "shorter" };
        let (agree, of) = (drift.agree, drift.of);
        let subject = drift
            .camera
            .map_or_else(|| Subject::at("/runs"), |row| Subject::at(format!("/equipment/{row}")));
        let message = format!(
            "{agree} of {of} runs are about {percent} % {how} than the paths of their pipes on the map"
        );
        out.report(subject, message)
            .fact("runs", of)
            .fact("agree", agree)
            .fact("share", drift.share);
    }
}
