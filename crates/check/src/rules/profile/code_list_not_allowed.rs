//! See the rule's documentation below.

use crate::profile::list_of;
use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The office's profile does not allow the document's code list or its version.
    ///
    /// # Exactly
    /// At `version` if the list is allowed in another, otherwise at `list`.
    ///
    /// # Why it matters
    /// Translation into the office's list loses information.
    ///
    /// # Profile
    /// ```json
    /// {"allow": {"code_lists": [{"list": "obvert-terms", "version": "1"}, {"list": "en-13508-2"}]}}
    /// ```
    ///
    /// # Fails
    /// At `/coding/list`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/list", "value": "own-terms"}]
    /// ```
    /// The list is allowed, this version is not. At `/coding/version`:
    /// ```json
    /// [{"op": "replace", "path": "/coding/version", "value": "2"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/coding", "value": {"list": "en-13508-2", "version": "2003+A1:2011"}}]
    /// ```
    ///
    /// # Fix
    /// Code the survey in an allowed list, or translate it: `obvert convert IN -o OUT --coding
    /// LIST`.
    name: "code-list-not-allowed", severity: Error, scope: Document, since: "0.1", clause: "profiles#lists-units-and-systems",
    needs: [Profile],
    facts: {
        "list" = Id "the code list that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(allow) = survey.profile().and_then(|profile| profile.allow.as_ref()) else { return };
    let coding = &survey.head.coding;
    let fits = |version: Option<&str>| version.is_none_or(|version| *coding.version == *version);
    let mut of_list =
        allow.code_lists.iter().filter(|allowed| allowed.list == coding.list).peekable();
    let field = if of_list.peek().is_some() { "/coding/version" } else { "/coding/list" };
    if allow.code_lists.is_empty() || of_list.any(|allowed| fits(allowed.version.as_deref())) {
        return;
    }
    let allowed = list_of(
        allow.code_lists.iter().map(|allowed| (&*allowed.list, allowed.version.as_deref())),
    );
    let (list, version) = (coding.list.as_str(), coding.version.as_str());
    out.report(
        Subject::at(field),
        format!("the profile does not allow the code list {list} {version}; it allows {allowed}"),
    )
    .fact("list", list)
    .fact("version", version);
}
