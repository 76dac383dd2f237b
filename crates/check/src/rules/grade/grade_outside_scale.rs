//! See the rule's documentation below.

use obvert_model::lists::GradeScheme;
use obvert_model::tables::Aspect;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every recorded grade of an observation is a step of the grade scheme's scale.
    ///
    /// # Why it matters
    /// Scales in public use run from 0, from 1, to 4, to 5, to 6, and either way. A grade that the named scale does not
    /// have was mistyped, or given on another one, and then the other grades were as well.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/grades/structural`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 22}]
    /// ```
    /// At `/runs/0/observations/5/grades/operational`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/grades/operational", "value": 0}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 5}]
    /// ```
    ///
    /// # Fix
    /// Correct the grade, or name the scheme that the grades were given by.
    name: "grade-outside-scale", severity: Error, scope: Observation, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    facts: { "grade" = Grade "the grade, as recorded" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(grader) = &row.survey().grader else { return };
    for aspect in Aspect::ALL {
        if let Some(grade) = row.recorded(*aspect).filter(|grade| !grader.on_scale(*grade)) {
            out.report(row.subject(&format!("/grades/{aspect}")), message(*aspect, grade, grader.scheme))
                .fact("grade", grade.get());
        }
    }
}

/// Says that a grade is not on a scale, and what the scale is.
pub(crate) fn message(aspect: Aspect, grade: impl std::fmt::Display, scheme: &GradeScheme) -> String {
    let (best, worst) = (scheme.scale.best, scheme.scale.worst);
    format!("{grade} is no {aspect} grade of {}, whose scale goes from {best} (best) to {worst} (worst)", scheme.id)
}
