//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Vote};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Nearly all amounts in percent are 1 or less: parts of 1 were recorded instead (*Mistakes in a
    /// column* in Checking). There is one finding for the document; findings on single grades that
    /// only this causes are not reported.
    ///
    /// # Exactly
    /// At least five, and four in five, amounts in percent above 0 are 1 or less, and at least five
    /// are below 1.
    ///
    /// # Why it matters
    /// Roots that fill a fifth of the pipe (20 percent) become 0.2 percent, the mildest grade.
    ///
    /// # Source
    /// Amounts are estimated in steps of 5 or 10 percent: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1/quantities/0/value", "value": 0.05},
    ///  {"op": "replace", "path": "/runs/0/observations/5/quantities/0/value", "value": 0.1},
    ///  {"op": "add", "path": "/runs/0/observations/6", "value":
    ///   {"id": "6a", "at": 130, "code": "deposit.grease", "quantities": [{"value": 0.2, "unit": "percent"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/7", "value":
    ///   {"id": "6b", "at": 140, "code": "deposit.grease", "quantities": [{"value": 0.3, "unit": "percent"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/8", "value":
    ///   {"id": "6c", "at": 150, "code": "deposit.grease", "quantities": [{"value": 0.15, "unit": "percent"}]}}]
    /// ```
    ///
    /// # Passes
    /// One trickle of water.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1/quantities/0/value", "value": 0.5}]
    /// ```
    ///
    /// # Fix
    /// Multiply the amounts in percent by 100.
    name: "percent-column-suspect", severity: Error, scope: Ending, since: "0.1", clause: "observations#quantities",
    concludes_from: ["runs", "observations.*"],
    facts: {
        "agree" = Count "amounts in percent of 1 or less",
        "of" = Count "amounts in percent above 0",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if !ending.columns.show(Cause::PercentAsFraction) {
        return;
    }
    let Vote { agree, of } = ending.columns.fractions;
    let message = format!("{agree} of {of} amounts in percent are 1 or less, like parts of 1");
    out.report(Subject::at("/runs"), message).fact("agree", agree).fact("of", of);
}
