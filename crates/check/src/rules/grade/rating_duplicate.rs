//! See the rule's documentation below.

use obvert_model::tables::Aspect;
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::rating_totals::runs_of_rating;
use crate::views::{Ending, RatingView};

rule! {
    /// # What it checks
    /// Two ratings have the same pipe, aspect and runs. A rating that names no runs is of all runs
    /// of its pipe.
    ///
    /// # Exceptions
    /// - A rating names a run that is not in the document (`unknown-run`).
    ///
    /// # Exactly
    /// Runs are a set. The first equal rating counts; a pipe with two runs of one id is skipped.
    ///
    /// # Why it matters
    /// One of them is wrong, or totals over a network count the pipe twice.
    ///
    /// # Fails
    /// At `/ratings/1/aspect`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/1/aspect", "value": "structural"}]
    /// ```
    ///
    /// # Passes
    /// Two runs through a pipe have a rating each.
    /// ```json
    /// [{"op": "replace", "path": "/ratings", "value": [
    ///   {"id": "G-1", "pipe": "L-102", "runs": ["R-102"], "aspect": "structural", "peak": 5},
    ///   {"id": "G-2", "pipe": "L-102", "runs": ["R-102R"], "aspect": "structural", "total": 0}]}]
    /// ```
    ///
    /// # Fix
    /// Remove one of the two, or name the runs of each.
    name: "rating-duplicate", severity: Error, scope: Ending, since: "0.1", clause: "ratings#roll-up",
    facts: { "first" = Id "the earlier rating" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut first: FxHashMap<(&str, Aspect, Vec<usize>), usize> = FxHashMap::default();
    for (index, rating) in ending.survey.head.ratings.iter().enumerate() {
        let view = RatingView { ending, rating, index };
        // `unknown-run` reports a rating of a run that the document does not have.
        let Some(runs) = runs_of_rating(&view) else { continue };
        let key = (
            rating.pipe.as_str(),
            rating.aspect,
            runs.iter().map(|summary| summary.index).collect(),
        );
        if let Some(earlier) = first.get(&key) {
            let other = &ending.survey.head.ratings[*earlier];
            out.report(
                view.subject("/aspect"),
                format!(
                    "pipe {} already has the {} rating {} over the same runs",
                    rating.pipe, rating.aspect, other.id
                ),
            )
            .fact("first", other.id.as_str());
        } else {
            first.insert(key, index);
        }
    }
}
