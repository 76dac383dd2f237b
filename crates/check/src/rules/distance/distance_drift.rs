//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// The runs of one camera are all longer, or all shorter, than their pipes by the same share.
    /// That is one finding; `run-longer-than-pipe` and `run-shorter-than-pipe` skip these runs.
    ///
    /// # Exactly
    /// *Drift* in Checking, by at least 1 % and at most 10 %: at least four runs with the outcome
    /// `reached`, a centred counter and a pipe of 20 m or more, and four in five of them, agree.
    ///
    /// # Why it matters
    /// A slipping wheel, or a counter set for another reel, misplaces every defect, each more than
    /// the last. In a single run it looks like an error in the owner's record.
    ///
    /// # Source
    /// 1 % is twice what City of Sunny Isles Beach FL, Section 02762, allows a counter. Number of
    /// runs: common practice, no published source.
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
    /// Lengths on plan of pipes that fall by 20 %.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 196.2}, {"op": "replace", "path": "/pipes/1/length", "value": 88.3},
    ///  {"op": "replace", "path": "/pipes/0/inverts/upstream", "value": 679.7}, {"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 621.4},
    ///  {"op": "remove", "path": "/structures/0/ground"}, {"op": "remove", "path": "/structures/0/invert"}, {"op": "remove", "path": "/structures/0/depth"},
    ///  {"op": "remove", "path": "/structures/2/ground"}, {"op": "remove", "path": "/structures/2/invert"}, {"op": "remove", "path": "/structures/2/depth"},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}},
    ///  {"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    ///
    /// # Fix
    /// Have the counter calibrated and repeat the runs, or correct the distances by the share if a
    /// tape confirms it.
    name: "distance-drift", severity: Warning, scope: Ending, since: "0.1", clause: "conventions#distances",
    concludes_from: ["runs"],
    facts: {
        "runs" = Count "runs compared with their pipes",
        "agree" = Count "those of them that agree",
        "share" = Share "median of (how far a run came ∕ length of its pipe) − 1",
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
        let message =
            format!("{agree} of {of} runs{with} are about {percent} % {how} than their pipes");
        out.report(subject, message)
            .fact("runs", of)
            .fact("agree", agree)
            .fact("share", drift.share);
    }
}
