//! See the rule's documentation below.

use obvert_model::tables::Aspect;

use crate::sink::{Sink, Unless};
use crate::support::column_votes::causes_of_grade;
use crate::views::{RowView, changes};

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
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    /// - The scheme depends on the material or size, the run did not go through the whole pipe and
    ///   records no such change, but another run of the pipe does.
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
    /// A gas pipe that takes little room is graded by its size. At
    /// `/runs/0/observations/5/grades/operational`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5", "value": {"id": "6", "at": 120, "code": "obstacle.crossing-pipe",
    ///   "characterisation": ["gas"], "quantities": [{"value": 2, "unit": "percent"}], "clock": {"at": 3}, "grades": {"operational": 4}}}]
    /// ```
    /// At `/runs/1/observations/1/grades/structural`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/grades/structural", "value": 4}]
    /// ```
    ///
    /// # Passes
    /// The pipe of another service is a danger whatever its size.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/5", "value": {"id": "6", "at": 120, "code": "obstacle.crossing-pipe",
    ///   "characterisation": ["gas"], "quantities": [{"value": 2, "unit": "percent"}], "clock": {"at": 3}, "grades": {"operational": 5}}}]
    /// ```
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
    /// Either the grade is wrong, or something from which it follows: the code, an amount, its unit,
    /// or the material or size of the pipe. Look at the observation again and correct the one that
    /// is.
    name: "grade-contradicts", severity: Error, scope: Observation, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    concludes_from: ["observation.quantities", "pipe.runs"],
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
        let message = format!(
            "{aspect} grade {recorded} is recorded for {}, but {id} gives {gives}: {reason}",
            code.code
        );
        let subject = row.subject(&format!("/grades/{aspect}"));
        let unless = Unless::from(causes_of_grade(row, *aspect, recorded));
        let unless = unless.or_changed(&row.run.run.pipe, depends_on(row, *aspect));
        let finding = out.report_unless(unless, subject, message);
        if let Some(caution) = row.caution() {
            finding.help(format!(
                "look again, and correct the code, the quantity or the grade; caution: {caution}"
            ));
        }
        finding.fact("recorded", recorded.get());
        if let Some(grade) = judgement.grade {
            finding.fact("computed", grade.get());
        }
    }
}

/// The changes of the cross-section that the grade depends on and that another run of the pipe may
/// record for the part that this run went through.
fn depends_on(row: &RowView<'_>, aspect: Aspect) -> u8 {
    let entries = row.facts.entries.map_or(&[][..], |entries| entries.of(aspect));
    let by = |depends: bool, change: u8| {
        if depends && row.run.may_differ(change) { change } else { 0 }
    };
    by(entries.iter().any(|entry| !entry.materials.is_empty()), changes::MATERIAL)
        | by(entries.iter().any(|entry| entry.size.is_some()), changes::SIZE)
}
