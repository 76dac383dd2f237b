//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Part, RatingView, Subject, Survey};

rule! {
    /// # What it checks
    /// A lateral, a rating, a run, a launch or a connection names a pipe that is not in the pipe
    /// table. One finding for each missing id.
    ///
    /// # Why it matters
    /// A run through an unknown pipe cannot be loaded.
    ///
    /// # Fails
    /// At `/runs/0/pipe`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/pipe", "value": "L-I01"}]
    /// ```
    /// At `/runs/0/observations/3/joins`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-999"}]
    /// ```
    /// At `/ratings/1/pipe`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/1/pipe", "value": "101"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-102"}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or add the pipe to the table.
    name: "unknown-pipe", severity: Error, scope: Throughout, since: "0.1", clause: "pipes#references",
    refers_to: "pipes",
    facts: {
        "id" = Id "the missing id; if the table is empty, the first one named",
        "rows" = Count "how many rows name it; if the table is empty, how many name any",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => {
            for view in survey.pipes() {
                if let Some(joins) = &view.pipe.joins {
                    named(survey, &joins.pipe, || view.subject("/joins/pipe"), out);
                }
            }
            for (index, rating) in survey.head.ratings.iter().enumerate() {
                named(
                    survey,
                    &rating.pipe,
                    || RatingView::row_subject(index, rating, "/pipe"),
                    out,
                );
            }
        }
        Part::Run(run) => {
            named(run.survey, &run.run.pipe, || run.subject("/pipe"), out);
            if let Some(launched) = &run.run.launched {
                named(run.survey, &launched.pipe, || run.subject("/launched/pipe"), out);
            }
            for row in run.rows() {
                if let Some(pipe) = &row.row.joins {
                    named(run.survey, pipe, || row.subject("/joins"), out);
                }
            }
        }
    }
}

fn named(survey: &Survey<'_>, id: &str, subject: impl FnOnce() -> Subject, out: &mut Sink<'_>) {
    if !survey.has_pipe(id) {
        out.unknown("pipe", id, survey.head.pipes.iter().map(|row| row.id.as_str()), subject);
    }
}
