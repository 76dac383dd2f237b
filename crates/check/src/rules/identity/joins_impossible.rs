//! See the rule's documentation below.

use obvert_model::tables::Joins;

use crate::sink::Sink;
use crate::views::{Part, Subject, Survey, tolerance};

rule! {
    /// # What it checks
    /// A lateral joins its main, or a camera was launched, at a distance that the main does not
    /// have; or a lateral joins itself.
    ///
    /// # Exactly
    /// `at` of `joins` or `launched` is less than −tolerance(0), or greater than *L* + 2 ×
    /// tolerance(*L*), *L* being the main's `length` if it is above 0. The second is skipped if
    /// lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Why it matters
    /// The connection is dug for or cut open where there is none, beyond the next manhole.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/pipes/2/joins/at`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "LM-014", "joins": {"pipe": "L-102", "at": 600, "clock": 2}}}]
    /// ```
    /// At `/pipes/2/joins/pipe`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "LM-014", "joins": {"pipe": "L-3", "at": 60}}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "LM-014", "joins": {"pipe": "L-102", "at": 181, "clock": 2.5}}}]
    /// ```
    ///
    /// # Fix
    /// Correct the distance, which is measured from the upstream structure of the main, or correct
    /// the main.
    name: "joins-impossible", severity: Error, scope: Throughout, since: "0.1", clause: "pipes#ends",
    facts: {
        "at" = Length "`at` of `joins` or `launched`" if "it is not on the main",
        "length" = Length "the length of the main, as recorded" if "`at` is beyond it",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => {
            for view in survey.pipes() {
                let Some(joins) = &view.pipe.joins else { continue };
                if joins.pipe == view.pipe.id {
                    out.report(view.subject("/joins/pipe"), "the lateral joins itself");
                } else {
                    compare(survey, joins, &|field| view.subject(&format!("/joins{field}")), out);
                }
            }
        }
        Part::Run(run) => {
            if let Some(launched) = &run.run.launched {
                compare(
                    run.survey,
                    launched,
                    &|field| run.subject(&format!("/launched{field}")),
                    out,
                );
            }
        }
    }
}

fn compare(
    survey: &Survey<'_>,
    joins: &Joins,
    subject: &dyn Fn(&str) -> Subject,
    out: &mut Sink<'_>,
) {
    let Some(at) = joins.at else { return };
    let main = joins.pipe.as_str();
    let length =
        survey.pipe(&joins.pipe).and_then(|pipe| pipe.length).filter(|length| length.get() > 0.0);
    let metres = survey.metres(at);
    if metres < -tolerance(0.0) {
        let message =
            format!("{} is before the upstream structure of {main:?}", survey.format_length(at));
        out.report(subject("/at"), message).fact("at", at.get());
    } else if let Some(length) = length
        .filter(|length| !survey.lengths_doubtful() && metres > beyond(survey.metres(*length)))
    {
        let message = format!(
            "{} is beyond the end of {main:?}, which is {} long",
            survey.format_length(at),
            survey.format_length(length)
        );
        out.report(subject("/at"), message).fact("at", at.get()).fact("length", length.get());
    }
}

/// The greatest distance along a pipe of a length, in metres.
fn beyond(length: f64) -> f64 {
    length + 2.0 * tolerance(length)
}
