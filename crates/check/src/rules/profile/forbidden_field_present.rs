//! See the rule's documentation below.

use crate::profile::{Violation, report, when};
use crate::sink::Sink;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A field that the office's profile forbids is present.
    ///
    /// # Why it matters
    /// An office forbids what it must not keep or cannot read, such as names of operators.
    ///
    /// # Profile
    /// ```json
    /// {"fields": [
    ///   {"path": "ratings", "demand": "forbidden"},
    ///   {"path": "runs.observations.remark", "demand": "forbidden", "where": [{"field": "code", "values": ["run.start"]}]}
    /// ]}
    /// ```
    ///
    /// # Fails
    /// At `/ratings`:
    /// ```json
    /// [{"op": "remove", "path": "/ratings/1"}]
    /// ```
    /// At `/runs/1/observations/0/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/0/remark", "value": "lid stuck"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/ratings"},
    ///  {"op": "add", "path": "/runs/1/observations/1/remark", "value": "soil in the pipe"}]
    /// ```
    ///
    /// # Fix
    /// Remove it from what goes to this office.
    name: "forbidden-field-present", severity: Error, scope: Throughout, since: "0.1", clause: "profiles#fields",
    needs: [Profile],
    facts: {
        "field" = Text "the path of the demand",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    report(part, Violation::Forbidden, out, |demand, _| {
        format!("{} is present, but the profile forbids it{}", demand.path, when(demand))
    });
}
