//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Vote};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Nearly all recorded grades differ from the scheme's in the same way: they are on the reversed
    /// scale, counted from the grade below, or in the other aspect (*Mistakes in a column* in
    /// Checking). There is one finding for the document; findings on single grades that only this
    /// causes are not reported.
    ///
    /// # Exactly
    /// At least five, and four in five,
    ///
    /// - recorded grades, of those for which the scheme gives a certain grade other than the middle
    ///   of the scale, are best + worst − the scheme's; or
    /// - recorded grades, of those for which the scheme gives a certain grade, are one less; or
    /// - rows with a grade, of those whose code is graded in one aspect only, have a grade in the
    ///   other one and none in their own.
    ///
    /// # Why it matters
    /// On a reversed scale the sound pipes are dug up and the failing ones are left.
    ///
    /// # Source
    /// Scales in public use run in both directions, and some begin at 0. How many must agree: common
    /// practice, no source.
    ///
    /// # Fails
    /// Cracks of grade 2 and a root of grade 2 are recorded as 4, a collapse as 1. At `/grading`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/grades/structural", "value": 4},
    ///  {"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 4},
    ///  {"op": "replace", "path": "/runs/0/observations/5/grades/operational", "value": 4},
    ///  {"op": "replace", "path": "/runs/1/observations/1/grades/structural", "value": 1},
    ///  {"op": "add", "path": "/runs/0/observations/6", "value":
    ///   {"id": "6a", "at": 130, "code": "roots.fine", "quantities": [{"value": 10, "unit": "percent"}],
    ///    "joint": true, "grades": {"operational": 4}}},
    ///  {"op": "remove", "path": "/ratings"}]
    /// ```
    ///
    /// # Passes
    /// A single grade is reversed (`grade-contradicts`).
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/grades/structural", "value": 4}]
    /// ```
    ///
    /// # Fix
    /// Convert the grades to the scale of the scheme, or name the scheme that they follow.
    name: "grade-column-suspect", severity: Error, scope: Ending, since: "0.1", clause: "observations#grades",
    needs: [Grades],
    concludes_from: ["runs", "observations.*", "pipes.*"],
    facts: {
        "agree" = Count "grades, or rows, that agree on the mistake",
        "of" = Count "grades, or rows, that could show it",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let Some(grader) = &ending.survey.grader else { return };
    let columns = ending.columns;
    let scale = &grader.scheme.scale;
    let (best, worst, id) = (scale.best, scale.worst, &grader.scheme.id);
    if columns.show(Cause::AspectsExchanged) {
        let Vote { agree, of } = columns.exchanged;
        let message = format!(
            "{agree} of {of} graded rows have their grade in the other aspect: structural and \
             operational grades are exchanged"
        );
        report(columns.exchanged, message, out);
    } else if columns.show(Cause::GradesReversed) {
        let Vote { agree, of } = columns.reversed;
        let message = format!(
            "{agree} of {of} grades are those of {id} on a reversed scale; it runs from {best} (best) \
             to {worst} (worst)"
        );
        report(columns.reversed, message, out);
    } else if columns.show(Cause::GradesFromZero) {
        let Vote { agree, of } = columns.from_zero;
        let message = format!(
            "{agree} of {of} grades are one less than {id} gives; its scale runs from {best} (best) \
             to {worst} (worst)"
        );
        report(columns.from_zero, message, out);
    }
}

fn report(vote: Vote, message: String, out: &mut Sink<'_>) {
    out.report(Subject::at("/grading"), message).fact("agree", vote.agree).fact("of", vote.of);
}
