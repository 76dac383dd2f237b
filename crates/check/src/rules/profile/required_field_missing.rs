//! See the rule's documentation below.

use crate::profile::{Violation, report, when};
use crate::sink::Sink;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A field that the office's profile requires is missing. If the profile states conditions,
    /// only rows that meet them need it.
    ///
    /// # Exactly
    /// At the innermost object of the path in the row.
    ///
    /// # Why it matters
    /// The office cannot file, pay or plan without it, and sends the record back.
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
    /// The object that has the field is missing, at `/runs/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/counter"}]
    /// ```
    /// At `/runs/0/observations/5`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/5/clock"}]
    /// ```
    ///
    /// # Passes
    /// The condition does not apply to a crack.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/clock"}]
    /// ```
    ///
    /// # Fix
    /// Add it. If it was never recorded, do not make it up; tell the office.
    name: "required-field-missing", severity: Error, scope: Throughout, since: "0.1", clause: "profiles#fields",
    needs: [Profile],
    facts: {
        "field" = Text "the path of the demand",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    report(part, Violation::Missing, out, |demand, _| {
        format!("{} is missing, but the profile requires it{}", demand.path, when(demand))
    });
}
