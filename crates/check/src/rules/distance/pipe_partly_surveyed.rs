//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::coverage::longest_unsurveyed;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// All runs of a pipe were stopped, and together they did not see the whole pipe.
    ///
    /// # Exceptions
    /// - The document names a missing run in any table (`unknown-run`).
    /// - A run of the pipe ended as ordered: not all of it was to be surveyed.
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// The *part unseen* in Checking.
    ///
    /// # Why it matters
    /// The other end was not surveyed, and the owner should learn that from the contractor.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2"}]
    /// ```
    ///
    /// # Passes
    /// Stopped from both ends by the same obstruction.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "stopped", "reason": "collapse"}}]
    /// ```
    /// More was not ordered.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2"}, {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "as-ordered"}}]
    /// ```
    ///
    /// # Fix
    /// Survey from the other end, or tell the owner what was not seen.
    name: "pipe-partly-surveyed", severity: Note, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    concludes_from: ["pipe.runs"],
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
    },
    facts: {
        "from" = Length "start of the part that no run saw, from the centre of the upstream structure",
        "to" = Length "end of that part",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() || ending.refers_to_missing_run() {
        return;
    }
    let survey = ending.survey;
    for view in survey.pipes() {
        let gap = longest_unsurveyed(ending, &view, out.limit("structure_allowance"));
        let Some(gap) = gap.filter(|gap| !gap.claimed) else { continue };
        let (from, to) = (survey.format_metres(gap.from), survey.format_metres(gap.to));
        let message = format!("all runs were stopped, and none saw the pipe from {from} to {to}");
        out.report(view.subject(""), message)
            .fact("from", survey.in_units(gap.from))
            .fact("to", survey.in_units(gap.to));
    }
}
