//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::coverage::longest_unsurveyed;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A run reached the far structure, or met a run from the other end, but the runs of the pipe
    /// together did not see all of it.
    ///
    /// # Exceptions
    /// - A run of the pipe has `reverse_of` (`reverse-gap`).
    /// - All runs of the pipe were stopped (`pipe-partly-surveyed`).
    /// - A run of the pipe ended as ordered: not all of it was to be surveyed.
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// The *part unseen* in Checking.
    ///
    /// # Why it matters
    /// The pipe counts as surveyed, but a part of it was never seen.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures:
    /// common practice, no published source.
    ///
    /// # Fails
    /// Zeroed 40 ft along the pipe, at `/pipes/0`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter", "value": {"zero": "other", "zero_text": "the bend below the chamber", "offset": 40}},
    ///  {"op": "replace", "path": "/runs/0/surveyed", "value": 160}, {"op": "replace", "path": "/runs/0/observations/6/at", "value": 160}]
    /// ```
    ///
    /// # Passes
    /// An offset of a chamber's size.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter", "value": {"zero": "structure-wall", "offset": 5}},
    ///  {"op": "replace", "path": "/runs/0/surveyed", "value": 195}, {"op": "replace", "path": "/runs/0/observations/6/at", "value": 195}]
    /// ```
    ///
    /// # Fix
    /// Survey the rest, or correct the offsets if the gap is not real.
    name: "run-gap", severity: Warning, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
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
    if ending.lengths_doubtful() {
        return;
    }
    let survey = ending.survey;
    for view in survey.pipes() {
        let gap = longest_unsurveyed(ending, &view, out.limit("structure_allowance"));
        let Some(gap) = gap.filter(|gap| gap.claimed) else { continue };
        let (from, to) = (survey.format_metres(gap.from), survey.format_metres(gap.to));
        let message = format!("the pipe counts as surveyed, but no run saw it from {from} to {to}");
        out.report(view.subject(""), message)
            .fact("from", survey.in_units(gap.from))
            .fact("to", survey.in_units(gap.to));
    }
}
