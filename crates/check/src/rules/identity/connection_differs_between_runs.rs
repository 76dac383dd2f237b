//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_digest::{common_places, pairs_of_runs};
use crate::support::run_extent::exceeds;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// Two runs of a pipe record a connection at one place, but with different sizes.
    ///
    /// # Exceptions
    /// - It is not known where the rows are on the pipe: its length is unknown, a run was launched,
    ///   or its counter seems to have been set to zero again.
    ///
    /// # Exactly
    /// For every two of the first eight runs of a pipe: two rows of the role `connection`, within 2
    /// × tolerance(*L*) of one place, and 1.524 m more unless `length_between` is `centres` or both
    /// counters state their `offset`. With two candidates for a row, it does not count. The first
    /// amounts of the two, in one unit, differ by a factor greater than `factor`. The finding is at
    /// the later run in the table.
    ///
    /// # Why it matters
    /// The size was estimated, or entered in another unit; a repair of the connection is ordered by
    /// it.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. The others:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/2/observations/1`:
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value": {"id": "1a", "at": 88, "code": "connection.saddle", "clock": {"at": 3}, "quantities": [{"value": 4, "unit": "in"}]}},
    ///  {"op": "replace", "path": "/runs/2/surveyed", "value": 93}, {"op": "replace", "path": "/runs/2/observations/1/at", "value": 93},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 92, "code": "connection.preformed", "clock": {"at": 9}, "quantities": [{"value": 6, "unit": "in"}]}}]
    /// ```
    ///
    /// # Passes
    /// In millimetres and in inches.
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value": {"id": "1a", "at": 88, "code": "connection.saddle", "clock": {"at": 3}, "quantities": [{"value": 4, "unit": "in"}]}},
    ///  {"op": "replace", "path": "/runs/2/surveyed", "value": 93}, {"op": "replace", "path": "/runs/2/observations/1/at", "value": 93},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 92, "code": "connection.saddle", "clock": {"at": 9}, "quantities": [{"value": 110, "unit": "mm"}]}}]
    /// ```
    ///
    /// # Fix
    /// Look at the connection in both videos and correct the size that is wrong.
    name: "connection-differs-between-runs", severity: Warning, scope: Ending, since: "0.1", clause: "observations#quantities",
    concludes_from: ["pipe.runs", "observations", "observations.at", "observations.code", "observations.quantities"],
    limits: {
        "factor" = 1.3 "×"
            "greatest factor between two estimates of one size; common practice, no published source",
    },
    facts: {
        "other" = Id "the earlier run in the table",
        "size" = Millimetres "the size in the later run",
        "other_size" = Millimetres "the size in the earlier run",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let factor = out.limit("factor");
    for [(earlier, along), (later, along_later)] in pairs_of_runs(ending) {
        let slack = along.slack.max(along_later.slack);
        let pairs = common_places(
            (earlier.digests(), along),
            (later.digests(), along_later),
            slack,
            |one, other| one.connection && other.connection,
        );
        for (one, other) in pairs {
            let (Some(a), Some(b)) = (one.connection_height(), other.connection_height()) else {
                continue;
            };
            if !exceeds(a.max(b), a.min(b) * factor) {
                continue;
            }
            let id = earlier.run.id.as_str();
            let [a_text, b_text] = [a, b].map(|size| size.round());
            let message =
                format!("the connection is {b_text} mm high here, but {a_text} mm in run {id:?}");
            let field = format!("/observations/{}", other.row);
            out.report(later.subject(&field), message)
                .fact("other", id)
                .fact("size", b)
                .fact("other_size", a);
        }
    }
}
