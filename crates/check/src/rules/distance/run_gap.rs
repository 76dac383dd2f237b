//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::coverage::longest_unseen;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// Where a run says that it came to the far structure, or met a run from the other end, the runs of the pipe
    /// together have seen all of it, within the tolerance and what the structures take up. Runs that name each other in
    /// `reverse_of` are compared by `reverse-gap`; pipes whose runs were all given up by `pipe-partly-surveyed`.
    ///
    /// # Why it matters
    /// Two runs in one direction, the second of which began farther on, or two that met on paper only, leave a stretch
    /// that nobody saw in a pipe that counts as surveyed.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems. Structures: common practice, no published source.
    ///
    /// # Fails
    /// The counter was zeroed 40 ft along the pipe, at `/pipes/0`:
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
        "structure_allowance" = 1.524 "m" "what the two structures take up of a length between centres: 5 ft, common practice, no published source",
    },
    facts: {
        "from" = Length "where the part begins that no run saw, from the upstream end",
        "to" = Length "where it ends",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() {
        return;
    }
    let survey = ending.survey;
    for view in survey.pipes() {
        let gap = longest_unseen(ending, &view, out.limit("structure_allowance"));
        let Some(gap) = gap.filter(|gap| gap.claimed) else { continue };
        let (from, to) = (survey.say_metres(gap.from), survey.say_metres(gap.to));
        let message = format!("the pipe counts as surveyed, but no run saw it from {from} to {to}");
        out.report(view.subject(""), message)
            .fact("from", survey.in_units(gap.from))
            .fact("to", survey.in_units(gap.to));
    }
}
