//! See the rule's documentation below.

use obvert_model::lists::GradeScheme;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The document's grade scheme is not available, or grades neither the document's code list nor
    /// one that it has exact links to.
    ///
    /// # Exceptions
    /// - Another version of the scheme is available (`grade-scheme-version`).
    /// - The scheme is available and the code list is not (`code-list-unknown`,
    ///   `code-list-version`).
    ///
    /// # Exactly
    /// The scheme is available in no version; or its `code_list` is not the document's list and
    /// version, and no exact link joins the two.
    ///
    /// # Why it matters
    /// No rule about grades is run, so a report without findings proves little.
    ///
    /// # Fails
    /// At `/grading/scheme`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/scheme", "value": "obvert-grade"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/grading", "value": {"scheme": "obvert-grades", "version": "1"}}]
    /// ```
    ///
    /// # Fix
    /// Pass the grade scheme to the checker as a file, or correct its id and version.
    name: "grade-scheme-unknown", severity: Warning, scope: Document, since: "0.1", clause: "document#coding-and-grading",
    facts: {
        "scheme" = Id "the grade scheme that the document names",
        "version" = Text "its version, as the document has it",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(grading) = &survey.head.grading else { return };
    let (id, version) = (grading.scheme.as_str(), grading.version.as_str());
    if let Some(scheme) = survey.scheme {
        let (of, coding) = (&scheme.code_list, &survey.head.coding);
        let across = survey.grader.as_ref().is_some_and(|grader| grader.links.is_some());
        if (of.list != coding.list || of.version != coding.version)
            && survey.list.is_some()
            && !across
        {
            out.report(
                Subject::at("/grading/scheme"),
                format!(
                    "{id} {version} grades the codes of {} {}, but the document is coded in {} {}",
                    of.list, of.version, coding.list, coding.version
                ),
            )
            .fact("scheme", id)
            .fact("version", version)
            .help("name the scheme that grades the codes of this document, or the list that the document is coded in");
        }
        return;
    }
    if !survey.scheme_versions.is_empty() {
        return;
    }
    let near = out.near(id, std::iter::once(GradeScheme::obvert_grades().id.as_str()));
    let finding = out.report(
        Subject::at("/grading/scheme"),
        format!("the grade scheme {id} {version} is not available, so no grade is checked"),
    );
    finding.fact("scheme", id).fact("version", version);
    if let Some(near) = near {
        finding.help(format!("Did you mean {near:?}?"));
    }
}
