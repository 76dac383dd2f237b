//! See the rule's documentation below.

use obvert_model::lists::GradeScheme;

use crate::sink::Sink;
use crate::views::{Spot, Survey};

rule! {
    /// # What it checks
    /// The document's grade scheme is at hand, built in or given to the checker as a file, and grades the codes of the
    /// document's code list.
    ///
    /// The rule stands back where the scheme is at hand and only the code list is not.
    ///
    /// # Why it matters
    /// Without the scheme no grade and no rating can be recomputed. The rules about grades are then not run, and a clean
    /// report would say less than it seems to.
    ///
    /// # Fails
    /// At `/grading/scheme`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/scheme", "value": "obvert-grade"}]
    /// ```
    /// At `/grading/version`:
    /// ```json
    /// [{"op": "replace", "path": "/grading/version", "value": "7"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/grading", "value": {"scheme": "obvert-grades", "version": "1"}}]
    /// ```
    ///
    /// # Fix
    /// Give the checker the grade scheme as a file, or correct the scheme's id and version.
    name: "grade-scheme-unknown", severity: Warning, scope: Document, since: "0.1", clause: "document#coding-and-grading",
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(grading) = &survey.head.grading else { return };
    let (id, version) = (grading.scheme.as_str(), grading.version.as_str());
    if let Some(scheme) = survey.scheme {
        let (of, coding) = (&scheme.code_list, &survey.head.coding);
        if of.list != coding.list || of.version != coding.version {
            out.report(
                Spot::at("/grading/scheme"),
                format!(
                    "{id} {version} grades the codes of {} {}, but the document is coded in {} {}",
                    of.list, of.version, coding.list, coding.version
                ),
            )
            .help("name the scheme that grades the codes of this document, or the list that the document is coded in");
        }
        return;
    }
    let known = GradeScheme::obvert_grades();
    let (field, help) = if *known.id == *id {
        ("/grading/version", Some(format!("version {} of {id} is built in", known.version)))
    } else {
        let near = out.near(id, std::iter::once(known.id.as_str()));
        ("/grading/scheme", near.map(|near| format!("did you mean {near:?}?")))
    };
    let finding =
        out.report(Spot::at(field), format!("the grade scheme {id} {version} is not at hand, so no grade is checked"));
    finding.fact("scheme", id).fact("version", version);
    if let Some(help) = help {
        finding.help(help);
    }
}
