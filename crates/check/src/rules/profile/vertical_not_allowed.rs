//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The office's profile does not allow the datum of the document's elevations.
    ///
    /// # Exceptions
    /// - The document names none.
    ///
    /// # Exactly
    /// Compared as texts.
    ///
    /// # Why it matters
    /// Datums can be a metre apart, more than most pipes fall.
    ///
    /// # Profile
    /// ```json
    /// {"allow": {"vertical": ["NAVD 88"]}}
    /// ```
    ///
    /// # Fails
    /// At `/vertical`:
    /// ```json
    /// [{"op": "replace", "path": "/vertical", "value": "NGVD 29"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/vertical", "value": "NAVD 88"}]
    /// ```
    ///
    /// # Fix
    /// Deliver the elevations on an allowed datum.
    name: "vertical-not-allowed", severity: Error, scope: Document, since: "0.1", clause: "profiles#lists-units-and-systems",
    needs: [Profile],
    facts: { "vertical" = Text "the datum, as recorded" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(allow) = survey.profile().and_then(|profile| profile.allow.as_ref()) else { return };
    let Some(vertical) = &survey.head.vertical else { return };
    if allow.vertical.is_empty() || allow.vertical.contains(vertical) {
        return;
    }
    let allowed = list_of(allow.vertical.iter().map(|allowed| (allowed.as_str(), None)));
    let message = format!("the profile does not allow the datum {vertical}; it allows {allowed}");
    out.report(Subject::at("/vertical"), message).fact("vertical", vertical.as_str());
}
