//! See the rule's documentation below.

use obvert_model::tables::Aspect;
use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::support::rating_totals::runs_of_rating;
use crate::views::{Ending, RatingView};

rule! {
    /// # What it checks
    /// No two ratings rate the same pipe in the same aspect over the same runs. A rating that names no runs rates all
    /// runs of the pipe.
    ///
    /// # Why it matters
    /// If the two differ, one of them is wrong and nobody can tell which; if they agree, sums over a network count the
    /// pipe twice.
    ///
    /// # Fails
    /// At `/ratings/1/aspect`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/1/aspect", "value": "structural"}]
    /// ```
    ///
    /// # Passes
    /// Each of two runs through a pipe has a rating of its own.
    /// ```json
    /// [{"op": "replace", "path": "/ratings", "value": [
    ///   {"id": "G-1", "pipe": "L-102", "runs": ["R-102"], "aspect": "structural", "peak": 5},
    ///   {"id": "G-2", "pipe": "L-102", "runs": ["R-102R"], "aspect": "structural", "total": 0}]}]
    /// ```
    ///
    /// # Fix
    /// Take one of the two away, or name the runs that each of them rates.
    name: "rating-duplicate", severity: Error, scope: Ending, since: "0.1", clause: "ratings#roll-up",
    facts: { "first" = Id "the earlier rating" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut first: FxHashMap<(&str, Aspect, Vec<usize>), usize> = FxHashMap::default();
    for (index, rating) in ending.survey.head.ratings.iter().enumerate() {
        let view = RatingView { ending, rating, index };
        // A rating of runs that the document does not have is another rule's finding.
        let Some(runs) = runs_of_rating(&view) else { continue };
        let key = (rating.pipe.as_str(), rating.aspect, runs.iter().map(|summary| summary.index).collect());
        if let Some(earlier) = first.get(&key) {
            let other = &ending.survey.head.ratings[*earlier];
            out.report(
                view.subject("/aspect"),
                format!(
                    "pipe {} has a second {} rating over the same runs: {} rates them already",
                    rating.pipe, rating.aspect, other.id
                ),
            )
            .fact("first", other.id.as_str());
        } else {
            first.insert(key, index);
        }
    }
}
