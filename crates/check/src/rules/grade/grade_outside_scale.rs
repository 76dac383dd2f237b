//! See the rule's documentation below.

use obvert_model::lists::GradeScheme;
use obvert_model::tables::Aspect;

use crate::sink::Sink;
use crate::support::column_votes::causes_of_grade;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A recorded grade of an observation is not on the grade scheme's scale.
    ///
    /// # Exceptions
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// The grade is none of the scale's `steps`.
    ///
    /// # Why it matters
    /// It was mistyped, or all grades were given on another scale.
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
    /// Correct the grade, or name the scheme that the grades follow.
    name: "grade-outside-scale", severity: Error, scope: Observation, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    facts: { "grade" = Grade "the grade, as recorded" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(grader) = &row.survey().grader else { return };
    for aspect in Aspect::ALL {
        if let Some(grade) = row.recorded(*aspect).filter(|grade| !grader.on_scale(*grade)) {
            out.report_unless(
                causes_of_grade(row, *aspect, grade),
                row.subject(&format!("/grades/{aspect}")),
                message(*aspect, grade, grader.scheme),
            )
            .fact("grade", grade.get());
        }
    }
}

/// The message for a grade that is not on the scheme's scale.
pub(crate) fn message(
    aspect: Aspect,
    grade: impl std::fmt::Display,
    scheme: &GradeScheme,
) -> String {
    let (best, worst) = (scheme.scale.best, scheme.scale.worst);
    format!(
        "{aspect} grade {grade} is not on the scale of {}, from {best} (best) to {worst} (worst)",
        scheme.id
    )
}
