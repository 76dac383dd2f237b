//! See the rule's documentation below.

use crate::profile::{Breach, report, when};
use crate::sink::Sink;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A text has, as a whole, the pattern that the office's profile demands of its field. Of a list, every item has.
    ///
    /// # Why it matters
    /// Ids and numbers are how a survey finds its place among the office's records. `LM14` is no structure there, `LM-014` is.
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
    /// Write it as the office does, in every place that names it.
    name: "pattern-mismatch", severity: Error, scope: Throughout, since: "0.1", clause: "profiles#fields",
    needs: [Profile],
    facts: {
        "field" = Text "the path of the demand",
        "value" = Value "the value, as recorded",
        "basis" = Text "what the demand rests on" if "the profile says so",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    report(part, Breach::Form, out, |demand, value| {
        let pattern = demand.pattern.as_deref().unwrap_or_default();
        format!(
            "{} is {value}, which is not of the form {pattern} that the profile demands{}",
            demand.path,
            when(demand)
        )
    });
}
