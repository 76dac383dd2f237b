//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The office's profile does not allow the document's grade scheme or its version.
    ///
    /// # Exceptions
    /// - The document names none.
    ///
    /// # Exactly
    /// At `version` if the scheme is allowed in another, otherwise at `scheme`.
    ///
    /// # Why it matters
    /// Grade 4 of one scheme is not grade 4 of another, and some scales run the other way.
    ///
    /// # Profile
    /// ```json
    /// {"allow": {"grade_schemes": [{"scheme": "obvert-grades"}]}}
    /// ```
    ///
    /// # Fails
    /// At `/grading/scheme`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/scheme", "value": "own-grades"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/grading/version", "value": "1"}]
    /// ```
    ///
    /// # Fix
    /// Grade by an allowed scheme.
    name: "grade-scheme-not-allowed", severity: Error, scope: Document, since: "0.1", clause: "profiles#lists-units-and-systems",
    needs: [Profile],
    facts: {
        "scheme" = Id "the grade scheme that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(allow) = survey.profile().and_then(|profile| profile.allow.as_ref()) else { return };
    let Some(grading) = &survey.head.grading else { return };
    let fits = |version: Option<&str>| version.is_none_or(|version| *grading.version == *version);
    let mut of_scheme =
        allow.grade_schemes.iter().filter(|allowed| allowed.scheme == grading.scheme).peekable();
    let field = if of_scheme.peek().is_some() { "/grading/version" } else { "/grading/scheme" };
    if allow.grade_schemes.is_empty() || of_scheme.any(|allowed| fits(allowed.version.as_deref())) {
        return;
    }
    let allowed = list_of(
        allow.grade_schemes.iter().map(|allowed| (&*allowed.scheme, allowed.version.as_deref())),
    );
    let (scheme, version) = (grading.scheme.as_str(), grading.version.as_str());
    let message = format!(
        "the profile does not allow the grade scheme {scheme} {version}; it allows {allowed}"
    );
    out.report(Subject::at(field), message).fact("scheme", scheme).fact("version", version);
}
