//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The units of lengths and of cross-sections are those that the office's profile allows.
    ///
    /// # Why it matters
    /// The office's records are in its own units. Where everything that arrives is in them, nobody converts, and nobody forgets to.
    ///
    /// # Profile
    /// ```json
    /// {"allow": {"length_units": ["ft", "us-ft"], "section_units": ["in"]}}
    /// ```
    ///
    /// # Fails
    /// At `/units/length`:
    /// ```json
    /// [{"op": "replace", "path": "/units/length", "value": "m"}]
    /// ```
    /// At `/units/section`:
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/units/length", "value": "us-ft"}]
    /// ```
    ///
    /// # Fix
    /// Deliver the survey in an allowed unit. To declare another unit without converting the numbers makes every number wrong.
    name: "unit-not-allowed", severity: Error, scope: Document, since: "0.1", clause: "profiles#lists-units-and-systems",
    needs: [Profile],
    facts: { "unit" = Unit "the unit that the document declares" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(allow) = survey.profile().and_then(|profile| profile.allow.as_ref()) else { return };
    let units = &survey.head.units;
    let mut look = |field: &str, what: &str, unit: &str, allowed: Vec<&str>| {
        if !allowed.is_empty() && !allowed.contains(&unit) {
            let allowed = list_of(allowed.into_iter().map(|unit| (unit, None)));
            let message = format!("the profile does not allow {what} in {unit}; it allows {allowed}");
            out.report(Subject::at(field), message).fact("unit", unit);
        }
    };
    let lengths = allow.length_units.iter().map(|unit| unit.as_str()).collect();
    look("/units/length", "lengths", units.length.as_str(), lengths);
    let sections = allow.section_units.iter().map(|unit| unit.as_str()).collect();
    look("/units/section", "cross-sections", units.section.as_str(), sections);
}
