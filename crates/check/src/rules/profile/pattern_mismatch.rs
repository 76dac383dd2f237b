//! See the rule's documentation below.

use crate::profile::{Violation, report, when};
use crate::sink::Sink;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A text, or an item of a list, does not fully match the pattern that the office's profile
    /// states for its field.
    ///
    /// # Exactly
    /// Of a list, one finding at the list, with its first such item.
    ///
    /// # Why it matters
    /// The office matches a survey with its records by ids and numbers.
    ///
    /// # Profile
    /// ```json
    /// {"fields": [
    ///   {"path": "structures.id", "pattern": "LM-[0-9]{3}"},
    ///   {"path": "runs.equipment", "pattern": "E-[0-9]+"}
    /// ]}
    /// ```
    ///
    /// # Fails
    /// At `/structures/2/id`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/2/id", "value": "LM16"}]
    /// ```
    /// At `/runs/1/equipment`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/equipment", "value": ["E-1", "crawler"]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/structures/2/id", "value": "LM-900"}]
    /// ```
    ///
    /// # Fix
    /// Write it as the office does, everywhere it is used.
    name: "pattern-mismatch", severity: Error, scope: Throughout, since: "0.1", clause: "profiles#fields",
    needs: [Profile],
    facts: {
        "field" = Text "the path of the demand",
        "value" = Value "the value, as recorded",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    report(part, Violation::Pattern, out, |demand, value| {
        let pattern = demand.pattern.as_deref().unwrap_or_default();
        format!(
            "{} is {value}, which does not match the pattern {pattern} that the profile requires{}",
            demand.path,
            when(demand)
        )
    });
}
