//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::Aspect;
use serde_json::json;

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation has no grade recorded in an aspect in which the grade scheme gives it one.
    ///
    /// # Exceptions
    /// - It has a grade in an aspect in which its code is not graded (`grade-aspect-unexpected`).
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// One finding for each aspect, at `grades`, or else at the row. The grade need not be
    /// *certain*.
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
    let unexpected = |aspect: &Aspect| row.recorded(*aspect).is_some() && !row.gradable(*aspect);
    if Aspect::ALL.iter().any(unexpected) {
        return;
    }
    let scheme = &grader.scheme.id;
    for aspect in Aspect::ALL.iter().filter(|aspect| row.recorded(**aspect).is_none()) {
        let Some(judgement) = row.judged(*aspect) else { continue };
        let Some(grade) = judgement.grade else { continue };
        let (field, add) = match row.row.grades {
            Some(_) => {
                let path = row.subject(&format!("/grades/{aspect}")).path;
                ("/grades", Edit::add(path, grade.get()))
            }
            None => {
                let grades = json!({ aspect.as_str(): grade.get() });
                ("", Edit::add(row.subject("/grades").path, grades))
            }
        };
        let message = format!("no {aspect} grade is recorded for {}", code.code);
        let mut help = format!("{scheme} gives it {grade}: {}", row.reason(&judgement));
        if let Some(caution) = row.caution() {
            help.push_str(&format!("; caution: {caution}"));
        }
        let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
        out.report_unless(shifted, row.subject(field), message)
            .help(help)
            .fact("aspect", aspect.as_str())
            .fact("computed", grade.get())
            .fix_if_confirmed(
                format!("the {aspect} grade is the one that {scheme} gives, {grade}"),
                vec![add],
            )
            .resting_on(graded_from(row));
    }
}

/// The values that a grade is computed from.
fn graded_from(row: &RowView<'_>) -> Vec<String> {
    // Grades that other codes of the run cannot have may have slid from row to row.
    let grades = row.run.subject("/observations/*/grades").path;
    let mut values = vec![row.subject("").path, grades, "/units/section".to_owned()];
    if let Some(pipe) = &row.run.pipe {
        let fields = ["/height", "/width", "/shape", "/material"];
        values.extend(fields.map(|field| pipe.subject(field).path));
    }
    values
}
