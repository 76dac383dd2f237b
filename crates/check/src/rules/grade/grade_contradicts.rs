//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::Aspect;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// The recorded grade is not the one that the grade scheme gives for the code, its
    /// characterisation and quantities, and the pipe's material and size there.
    ///
    /// # Exceptions
    /// - The code is unknown, or not graded in that aspect (`code-unknown`,
    ///   `grade-aspect-unexpected`).
    /// - The grade is off the scale (`grade-outside-scale`).
    /// - The scheme's grade is not certain (*Certain grades* in Grade schemes): a quantity is out
    ///   of range or in the wrong unit, or the pipe's material or size is missing or doubtful and
    ///   the scheme depends on it.
    ///
    /// # Exactly
    /// A *certain* grade is another, or there is certainly none in an aspect with entries for the
    /// code.
    ///
    /// # Why it matters
    /// Pipes can be compared only if all were graded by the same table.
    ///
    /// # Fails
    /// An offset of 50 mm is graded as if it were 12 mm. At
    /// `/runs/0/observations/4/grades/structural`:
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
    /// The quantity is out of range (`quantity-range`).
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
    /// Look at the observation again and correct the code, the quantity or the grade.
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
        let Some(recorded) = row.recorded(*aspect).filter(|grade| grader.on_scale(*grade)) else {
            continue;
        };
        if !row.gradable(*aspect) {
            continue;
        }
        let Some(judgement) = row.judged(*aspect).filter(|judgement| judgement.certain) else {
            continue;
        };
        if judgement.grade == Some(recorded) {
            continue;
        }
        let reason = row.reason(&judgement);
        let gives = judgement.grade.map_or_else(|| "none".to_owned(), |grade| grade.to_string());
        let id = &grader.scheme.id;
        let finding = out.report(
            row.subject(&format!("/grades/{aspect}")),
            format!(
                "{aspect} grade {recorded} is recorded for {}, but {id} gives {gives}: {reason}",
                code.code
            ),
        );
        finding.fact("recorded", recorded.get());
        if let Some(grade) = judgement.grade {
            finding.fact("computed", grade.get()).fix_if_confirmed(
                format!("the code and its quantities are right, and the grade is {grade}"),
                vec![Edit::replace(row.subject(&format!("/grades/{aspect}")).path, grade.get())],
            );
        }
    }
}
