//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::coverage::longest_unseen;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A pipe whose runs were all given up was seen whole all the same, from both ends together. Documents that name a
    /// run that is missing, in any table, are left to `unknown-run`.
    ///
    /// # Why it matters
    /// A run that was given up is usually completed from the other end. Where it was not, the owner should hear of it
    /// from whoever drove it.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems. Structures: common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2"}]
    /// ```
    ///
    /// # Passes
    /// Given up from both ends at the same obstruction.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "stopped", "reason": "collapse"}}]
    /// ```
    ///
    /// # Fix
    /// Complete the survey from the other end, or tell the owner what was not seen.
    name: "pipe-partly-surveyed", severity: Note, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
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
    if ending.lengths_doubtful() || ending.misses_a_run() {
        return;
    }
    let survey = ending.survey;
    for view in survey.pipes() {
        let gap = longest_unseen(ending, &view, out.limit("structure_allowance"));
        let Some(gap) = gap.filter(|gap| !gap.claimed) else { continue };
        let (from, to) = (survey.say_metres(gap.from), survey.say_metres(gap.to));
        let message = format!("the runs were given up, and none saw the pipe from {from} to {to}");
        out.report(view.subject(""), message)
            .fact("from", survey.in_units(gap.from))
            .fact("to", survey.in_units(gap.to));
    }
}
