//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The datum of the document's elevations is one that the office's profile allows. A document without elevations needs none.
    ///
    /// # Why it matters
    /// Two datums can lie a metre apart, which is more than most pipes fall.
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
