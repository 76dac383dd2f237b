//! See the rule's documentation below.

use obvert_model::profile::FieldDemand;

use crate::profile::{Violation, report, when};
use crate::sink::Sink;
use crate::views::Part;

rule! {
    /// # What it checks
    /// A field, or an item of a list, has a value that the office's profile does not allow.
    ///
    /// # Exactly
    /// Of a list, one finding at the list, with its first such item.
    ///
    /// # Why it matters
    /// The office's records have no place for it, such as a contract that is closed.
    ///
    /// # Profile
    /// ```json
    /// {"fields": [
    ///   {"path": "runs.method", "values": ["crawler", "push-rod"]},
    ///   {"path": "pipes.height", "values": [6, 8, 10, 12]}
    /// ]}
    /// ```
    ///
    /// # Fails
    /// At `/runs/0/method`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "pole"}]
    /// ```
    /// At `/pipes/1/height`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/height", "value": 9}]
    /// ```
    ///
    /// # Passes
    /// A missing field has no value.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/method"}]
    /// ```
    ///
    /// # Fix
    /// Correct the value, or ask the office to allow it.
    name: "value-not-allowed", severity: Error, scope: Throughout, since: "0.1", clause: "profiles#fields",
    needs: [Profile],
    facts: {
        "field" = Text "the path of the demand",
        "value" = Value "the value, as recorded",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    report(part, Violation::Value, out, |demand, value| {
        format!(
            "{} is {value}, which the profile does not allow{}; it allows {}",
            demand.path,
            when(demand),
            allowed(demand)
        )
    });
}

/// The allowed values; the first eight, if there are more.
fn allowed(demand: &FieldDemand) -> String {
    const SHOWN: usize = 8;
    let shown: Vec<String> = demand.values.iter().take(SHOWN).map(ToString::to_string).collect();
    match demand.values.len() {
        all if all > SHOWN => format!("{} and {} more", shown.join(", "), all - SHOWN),
        _ => shown.join(", "),
    }
}
