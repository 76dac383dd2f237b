//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Vote};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Nearly all sizes of connections are impossible in their unit: below 25 mm, or, in inches,
    /// larger than the pipe (*Mistakes in a column* in Checking). There is one finding for the
    /// document; findings on single sizes that only this causes are not reported.
    ///
    /// # Exactly
    /// Sizes are the quantities of length of rows of the role `connection`. At least three, and four
    /// in five, of those in millimetres are below 25; or of those in inches, where the pipe's height
    /// is known, are 25 or more and more than 1.1 times the height.
    ///
    /// # Why it matters
    /// A column of inches was declared as millimetres, or the reverse: openings would be cut in a
    /// liner at a 25th of their size.
    ///
    /// # Source
    /// 25 mm is below the smallest drain that is connected to a sewer: common practice, no
    /// published source.
    ///
    /// # Fails
    /// At `/runs`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/quantities/0", "value": {"value": 4, "unit": "mm"}},
    ///  {"op": "add", "path": "/runs/0/observations/4", "value":
    ///   {"id": "4a", "at": 40, "code": "connection.preformed", "quantities": [{"value": 6, "unit": "mm"}], "clock": {"at": 10}}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value":
    ///   {"id": "4b", "at": 60, "code": "connection.preformed", "quantities": [{"value": 4, "unit": "mm"}], "clock": {"at": 2}}}]
    /// ```
    ///
    /// # Passes
    /// One connection in millimetres.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/quantities/0", "value": {"value": 4, "unit": "mm"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the unit of the column (1 in = 25.4 mm).
    name: "connection-unit-suspect", severity: Error, scope: Ending, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    concludes_from: ["runs", "observations.*", "pipes.*"],
    facts: {
        "agree" = Count "sizes that are impossible in their unit",
        "of" = Count "sizes in that unit",
        "fits" = Unit "the unit in which they are possible",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let columns = ending.columns;
    if !columns.show(Cause::ConnectionUnit) {
        return;
    }
    let (Vote { agree, of }, unit, is, fits) = if columns.small_connections() {
        (columns.small, "mm", "below 25", "in")
    } else {
        (columns.large, "in", "larger than the pipe", "mm")
    };
    let message =
        format!("{agree} of {of} sizes of connections in {unit} are {is}; they fit {fits}");
    out.report(Subject::at("/runs"), message)
        .fact("agree", agree)
        .fact("of", of)
        .fact("fits", fits);
}
