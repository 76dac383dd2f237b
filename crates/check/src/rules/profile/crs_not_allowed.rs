//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The office's profile does not allow the document's reference system.
    ///
    /// # Exceptions
    /// - The document names none.
    ///
    /// # Exactly
    /// Compared as texts, case included.
    ///
    /// # Why it matters
    /// The positions are in the wrong place on the office's map unless they are transformed.
    ///
    /// # Profile
    /// ```json
    /// {"allow": {"crs": ["EPSG:6494", "EPSG:6547"]}}
    /// ```
    ///
    /// # Fails
    /// At `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:2817"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:6494"}]
    /// ```
    ///
    /// # Fix
    /// Deliver the positions in an allowed system.
    name: "crs-not-allowed", severity: Error, scope: Document, since: "0.1", clause: "profiles#lists-units-and-systems",
    needs: [Profile],
    facts: { "crs" = Text "the reference system, as recorded" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(allow) = survey.profile().and_then(|profile| profile.allow.as_ref()) else { return };
    let Some(crs) = &survey.head.crs else { return };
    if allow.crs.is_empty() || allow.crs.contains(crs) {
        return;
    }
    let allowed = list_of(allow.crs.iter().map(|allowed| (allowed.as_str(), None)));
    let message =
        format!("the profile does not allow the reference system {crs}; it allows {allowed}");
    out.report(Subject::at("/crs"), message).fact("crs", crs.as_str());
}
