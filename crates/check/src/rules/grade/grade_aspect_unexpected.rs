//! See the rule's documentation below.

use obvert_model::tables::Aspect;

use crate::sink::Sink;
use crate::support::column_votes::causes_of_grade;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A grade is recorded in an aspect in which the grade scheme does not grade the code.
    ///
    /// # Exceptions
    /// - The scheme grades another list, and the row has no exact link to it or keeps a former
    ///   coding.
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// No entry of the scheme is for the aspect and the code, or the code that it links to.
    ///
    /// # Why it matters
    /// Structural grades decide what is rebuilt, operational ones what is cleaned.
    ///
    /// # Fails
    /// At `/runs/0/observations/5/grades/structural`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/grades", "value": {"structural": 2}}]
    /// ```
    /// At `/runs/0/observations/3/grades/structural`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/grades", "value": {"structural": 1}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/grades", "value": {"operational": 2}}]
    /// ```
    ///
    /// # Fix
    /// Move the grade to the aspect that it belongs to, or remove it.
    name: "grade-aspect-unexpected", severity: Error, scope: Observation, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    uses: [cross_section],
    facts: {
        "aspect" = Word "the aspect that the grade is recorded in",
        "grade" = Grade "the grade, as recorded",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let (Some(grader), Some(code)) = (&row.survey().grader, row.code) else { return };
    if row.unlinked() {
        return;
    }
    for aspect in Aspect::ALL {
        let Some(grade) = row.recorded(*aspect) else { continue };
        if row.gradable(*aspect) {
            continue;
        }
        let id = &grader.scheme.id;
        let other = Aspect::ALL.iter().find(|other| row.gradable(**other));
        let gives =
            other.map_or_else(|| "no grade".to_owned(), |other| format!("{other} grades only"));
        out.report_unless(
            causes_of_grade(row, *aspect, grade),
            row.subject(&format!("/grades/{aspect}")),
            format!(
                "{aspect} grade {grade} is recorded for {}, but {id} gives it {gives}",
                code.code
            ),
        )
        .fact("aspect", aspect.as_str())
        .fact("grade", grade.get());
    }
}
