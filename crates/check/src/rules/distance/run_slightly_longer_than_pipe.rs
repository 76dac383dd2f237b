//! See the rule's documentation below.

use super::run_longer_than_pipe::report_longer;
use crate::sink::Sink;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A run is longer than its pipe, beyond the tolerance, but by a small share only.
    ///
    /// # Exceptions
    /// - Those of `run-longer-than-pipe`, which reports a run that is longer by more.
    ///
    /// # Exactly
    /// As `run-longer-than-pipe`, but (*far* − *surplus*) ∕ *L* − 1 does not exceed `share`.
    ///
    /// # Why it matters
    /// Either the owner's length is one from a map, or the counter showed too much, and with it
    /// every distance.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures and
    /// share: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 197}]
    /// ```
    /// Nine feet more than a length between walls, at `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/surveyed", "value": 209}, {"op": "replace", "path": "/runs/0/observations/6/at", "value": 209},
    ///  {"op": "replace", "path": "/pipes/0/length_between", "value": "walls"}]
    /// ```
    ///
    /// # Passes
    /// 2 ft are allowed between centres.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 198}]
    /// ```
    /// More than 5 % (`run-longer-than-pipe`).
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 190}]
    /// ```
    ///
    /// # Fix
    /// Check the counter. If it is right, tell the owner the measured length, and correct the
    /// pipe's.
    name: "run-slightly-longer-than-pipe", severity: Warning, scope: Ending, since: "0.2", clause: "runs#ends",
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
        "share" = 5.0 "%"
            "by how much a run may exceed a length from a map; common practice, no published source",
    },
    facts: {
        "far" = Length "how far along the pipe the run came",
        "length" = Length "the length of the pipe",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    report_longer(ending, out, |excess, share| excess <= share);
}
