//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::Aspect;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// The recorded grade is the one that the grade scheme gives for the code, its characterisation and amount, and the
    /// pipe's material and size there.
    ///
    /// The rule stands back where something else is wrong or missing: a code that is unknown or not graded in that aspect,
    /// an amount that is impossible or in the wrong unit, a grade off the scale, a material or size that the scheme asks
    /// for and the pipe's record does not have or has in what must be the wrong unit.
    ///
    /// # Why it matters
    /// Two pipes can be compared only if both were graded by the same table. A grade that does not follow from what was
    /// coded means that the code, the amount or the grade is wrong, and money is spent by it.
    ///
    /// # Fails
    /// An offset of 50 mm is graded as if it were 12 mm. At `/runs/0/observations/4/grades/structural`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0", "value": {"value": 50, "unit": "mm"}}]
    /// ```
    /// At `/runs/1/observations/1/grades/structural`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/grades/structural", "value": 4}]
    /// ```
    ///
    /// # Passes
    /// 24 mm belongs to the band from 24 mm.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0", "value": {"value": 24, "unit": "mm"}},
    ///  {"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 3}]
    /// ```
    /// The amount is impossible, which is another rule's finding.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5/quantities/0/value", "value": 140}]
    /// ```
    /// The size of the pipe is not known, and the grade depends on it.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 1},
    ///  {"op": "remove", "path": "/pipes/0/height"}]
    /// ```
    ///
    /// # Fix
    /// Look at the observation again, then correct the code, the amount or the grade, whichever is wrong.
    name: "grade-contradicts", severity: Error, scope: Observation, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    concludes_from: ["observation.quantities"],
    uses: [cross_section],
    facts: {
        "recorded" = Grade "the grade, as recorded",
        "computed" = Grade "the grade that the scheme gives" if "it gives one",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let (Some(grader), Some(code)) = (&row.survey().grader, row.code) else { return };
    for aspect in Aspect::ALL {
        let Some(recorded) = row.recorded(*aspect).filter(|grade| grader.on_scale(*grade)) else { continue };
        if !row.gradable(*aspect) {
            continue;
        }
        let Some(judgement) = row.judged(*aspect).filter(|judgement| judgement.certain) else { continue };
        if judgement.grade == Some(recorded) {
            continue;
        }
        let reason = row.reason(&judgement);
        let gives = judgement.grade.map_or_else(|| "none".to_owned(), |grade| grade.to_string());
        let id = &grader.scheme.id;
        let finding = out.report(
            row.subject(&format!("/grades/{aspect}")),
            format!("{aspect} grade {recorded} recorded for {}, but {id} gives {gives}: {reason}", code.code),
        );
        finding.fact("recorded", recorded.get());
        if let Some(grade) = judgement.grade {
            finding.fact("computed", grade.get()).fix_if_confirmed(
                format!("the code and its amounts are right, and the grade is {grade}"),
                vec![Edit::replace(row.subject(&format!("/grades/{aspect}")).path, grade.get())],
            );
        }
    }
}
