//! See the rule's documentation below.

use crate::profile::{Breach, report, when};
use crate::sink::Sink;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A field that the office's profile demands is there, in every row of its table or in those that the profile's conditions are
    /// true of.
    ///
    /// # Why it matters
    /// What the office needs to file, to pay or to plan is not in the record. It comes back, and somebody has to remember who drove
    /// the camera in May.
    ///
    /// # Profile
    /// ```json
    /// {"fields": [
    ///   {"path": "pipes.material", "demand": "required"},
    ///   {"path": "runs.counter.zero", "demand": "required"},
    ///   {"path": "runs.observations.clock", "demand": "required", "where": [{"field": "code", "pattern": "roots\\..*"}]}
    /// ]}
    /// ```
    ///
    /// # Fails
    /// At `/pipes/0`:
    /// ```json
    /// [{"op": "remove", "path": "/pipes/0/material"}]
    /// ```
    /// What stands in an object is missing where the object is, at `/runs/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/counter"}]
    /// ```
    /// At `/runs/0/observations/5`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/5/clock"}]
    /// ```
    ///
    /// # Passes
    /// The condition is not true of a crack:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/clock"}]
    /// ```
    ///
    /// # Fix
    /// Add it. What was never recorded cannot be made up: say so to the office.
    name: "required-field-missing", severity: Error, scope: Throughout, since: "0.1", clause: "profiles#fields",
    needs: [Profile],
    facts: {
        "field" = Text "the path of the demand",
        "basis" = Text "what the demand rests on" if "the profile says so",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    report(part, Breach::Missing, out, |demand, _| {
        format!("{} is missing, and the profile demands it{}", demand.path, when(demand))
    });
}
