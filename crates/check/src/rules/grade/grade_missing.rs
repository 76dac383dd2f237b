//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::Aspect;
use serde_json::json;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation has no grade recorded in an aspect in which the grade scheme gives it one.
    ///
    /// # Exceptions
    /// - It has a grade in an aspect in which its code is not graded (`grade-aspect-unexpected`).
    ///
    /// # Why it matters
    /// Owners sort pipes by grade.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/4/grades"}]
    /// ```
    ///
    /// # Passes
    /// No scheme is named.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/4/grades"}, {"op": "remove", "path": "/grading"}]
    /// ```
    /// A connection has no grade.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/code", "value": "connection.saddle"}]
    /// ```
    ///
    /// # Fix
    /// Add the grade that the scheme gives.
    name: "grade-missing", severity: Warning, scope: Observation, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    concludes_from: ["observation.quantities"],
    uses: [cross_section],
    facts: {
        "aspect" = Word "the aspect that has no grade",
        "computed" = Grade "the grade that the scheme gives",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let (Some(grader), Some(code)) = (&row.survey().grader, row.code) else { return };
    let misplaced = |aspect: &Aspect| row.recorded(*aspect).is_some() && !row.gradable(*aspect);
    if Aspect::ALL.iter().any(misplaced) {
        return;
    }
    for aspect in Aspect::ALL {
        if row.recorded(*aspect).is_some() {
            continue;
        }
        let Some(judgement) = row.judged(*aspect) else { continue };
        if let Some(grade) = judgement.grade {
            let reason = row.reason(&judgement);
            out.report(
                row.subject(if row.row.grades.is_some() { "/grades" } else { "" }),
                format!("no {aspect} grade is recorded for {}", code.code),
            )
            .help(format!("{} gives it {grade}: {reason}", grader.scheme.id))
            .fact("aspect", aspect.as_str())
            .fact("computed", grade.get())
            .fix_if_confirmed(
                format!("the {aspect} grade is the one that {} gives, {grade}", grader.scheme.id),
                vec![match row.row.grades {
                    Some(_) => {
                        Edit::add(row.subject(&format!("/grades/{aspect}")).path, grade.get())
                    }
                    None => Edit::add(
                        row.subject("/grades").path,
                        json!({ aspect.as_str(): grade.get() }),
                    ),
                }],
            );
        }
    }
}
