//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The runs of a camera are not all longer than their pipes, or all shorter, by one and the same share. At least
    /// four runs that reached the far structure, counted from its centre through pipes of 20 m and more, and four in
    /// five of them must agree, by at least 1 % and at most 10 %. That is one finding for the camera; `run-longer-than-pipe`
    /// and `run-shorter-than-pipe` stand back for its runs.
    ///
    /// # Why it matters
    /// A wheel that slips on a wet cable, or a counter that was set for another reel, puts every defect of the survey
    /// in the wrong place, and each a little more than the one before. Run by run it looks like bad records of the
    /// owner's.
    ///
    /// # Source
    /// 1 % is twice the 0.5 % that City of Sunny Isles Beach FL, Section 02762, lets a counter be off. How many runs
    /// must agree: common practice, no published source.
    ///
    /// # Fails
    /// At `/equipment/0`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 195}, {"op": "replace", "path": "/pipes/1/length", "value": 87.8},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}},
    ///  {"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    ///
    /// # Passes
    /// Three runs are too few.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 195}, {"op": "replace", "path": "/pipes/1/length", "value": 87.8},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}}]
    /// ```
    ///
    /// # Fix
    /// Have the counter calibrated and drive the runs again, or correct all of its distances by the share if a check
    /// against a tape confirms it.
    name: "distance-drift", severity: Warning, scope: Ending, since: "0.1", clause: "conventions#distances",
    concludes_from: ["runs"],
    facts: {
        "runs" = Count "runs that were compared with their pipes",
        "agree" = Count "those of them that are off alike",
        "share" = Share "the median of how far a run came over the length of its pipe, less 1",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for drift in ending.drifting_cameras() {
        let percent = (drift.share.abs() * 1000.0).round() / 10.0;
        let how = if drift.share > 0.0 { "longer" } else { "shorter" };
        let (agree, of) = (drift.agree, drift.of);
        let (subject, with) = match drift.camera {
            Some(row) => {
                let id = ending.survey.head.equipment[row].id.as_str();
                (Subject::at(format!("/equipment/{row}")), format!(" with {id:?}"))
            }
            None => (Subject::at("/runs"), String::new()),
        };
        let message = format!("{agree} of {of} runs{with} are about {percent} % {how} than their pipes");
        out.report(subject, message).fact("runs", of).fact("agree", agree).fact("share", drift.share);
    }
}
