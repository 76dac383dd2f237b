//! See the rule's documentation below.

use obvert_model::tables::Aspect;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A grade is recorded only in an aspect that the grade scheme gives the code: roots have an operational grade and no
    /// structural one, a connection has none at all.
    ///
    /// # Why it matters
    /// Structural grades decide what is rebuilt, operational ones what is cleaned. A grade in the wrong column sends the
    /// wrong crew.
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
    /// Move the grade to the aspect that it belongs to, or take it away.
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
        let but = other.map_or_else(|| "no grade".to_owned(), |other| format!("{other} grades only"));
        out.report(
            row.subject(&format!("/grades/{aspect}")),
            format!("{aspect} grade {grade} recorded for {}, but {id} gives it {but}", code.code),
        )
        .fact("aspect", aspect.as_str())
        .fact("grade", grade.get());
    }
}
