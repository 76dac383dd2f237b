//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The office's profile does not allow the document's unit of lengths or of cross-sections.
    ///
    /// # Why it matters
    /// The office has to convert the numbers, and one conversion that is forgotten makes them
    /// wrong.
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
    /// Deliver the survey in an allowed unit; convert the numbers as well.
    name: "unit-not-allowed", severity: Error, scope: Document, since: "0.1", clause: "profiles#lists-units-and-systems",
    needs: [Profile],
    facts: { "unit" = Unit "the unit that the document declares" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(allow) = survey.profile().and_then(|profile| profile.allow.as_ref()) else { return };
    let units = &survey.head.units;
    let mut check_unit = |field: &str, what: &str, unit: &str, allowed: Vec<&str>| {
        if !allowed.is_empty() && !allowed.contains(&unit) {
            let allowed = list_of(allowed.into_iter().map(|unit| (unit, None)));
            let message = format!(
                "the profile does not allow the unit {unit} for {what}; it allows {allowed}"
            );
            out.report(Subject::at(field), message).fact("unit", unit);
        }
    };
    let lengths = allow.length_units.iter().map(|unit| unit.as_str()).collect();
    check_unit("/units/length", "lengths", units.length.as_str(), lengths);
    let sections = allow.section_units.iter().map(|unit| unit.as_str()).collect();
    check_unit("/units/section", "cross-sections", units.section.as_str(), sections);
}
