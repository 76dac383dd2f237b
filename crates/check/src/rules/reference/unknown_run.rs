//! See the rule's documentation below.

use obvert_model::text::RunId;

use crate::sink::Sink;
use crate::views::{Ending, RatingView, Subject};

rule! {
    /// # What it checks
    /// A media file, a locate, a rating or a reverse run names a run that is not in the document.
    /// One finding for each missing id.
    ///
    /// # Why it matters
    /// A locate of an unknown run belongs to no pipe, and a lone reverse run leaves its pipe half
    /// surveyed.
    ///
    /// # Fails
    /// At `/locates/0/run`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/run", "value": "R-110"}]
    /// ```
    /// At `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/reverse_of", "value": "R-201"}]
    /// ```
    /// At `/ratings/0/runs/0`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/0/runs/0", "value": "R-1O1"}]
    /// ```
    /// At `/media/2/run`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/run", "value": "102"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/media/2/run"}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or deliver the run in the same document.
    name: "unknown-run", severity: Error, scope: Ending, since: "0.1", clause: "runs#references",
    refers_to: "runs",
    facts: {
        "id" = Id "the missing id; if the document has no run, the first one named",
        "rows" = Count "how many rows name it; if the document has no run, how many name any",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let named = |id: &RunId, subject: &dyn Fn() -> Subject, out: &mut Sink<'_>| {
        if !ending.has_run(id) {
            out.unknown(
                "run",
                id,
                ending.runs.iter().map(|summary| summary.run.id.as_str()),
                subject,
            );
        }
    };
    for view in ending.survey.all_media() {
        if let Some(run) = &view.media.run {
            named(run, &|| view.subject("/run"), out);
        }
    }
    for view in ending.locates() {
        named(&view.locate.run, &|| view.subject("/run"), out);
    }
    for (index, rating) in ending.survey.head.ratings.iter().enumerate() {
        for (place, run) in rating.runs.iter().enumerate() {
            named(run, &|| RatingView::row_subject(index, rating, &format!("/runs/{place}")), out);
        }
    }
    for summary in ending.runs {
        if let Some(run) = &summary.run.reverse_of {
            named(run, &|| summary.subject("/reverse_of"), out);
        }
    }
}
