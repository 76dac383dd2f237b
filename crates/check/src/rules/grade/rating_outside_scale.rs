//! See the rule's documentation below.

use super::grade_outside_scale::message;
use crate::sink::Sink;
use crate::views::RatingView;

rule! {
    /// # What it checks
    /// The `peak` of a rating is not on the grade scheme's scale.
    ///
    /// # Exceptions
    /// - The scheme's peak is a sum of grades and not the worst grade.
    ///
    /// # Exactly
    /// `peak` is none of the scale's `steps`.
    ///
    /// # Why it matters
    /// The pipe is sorted by it.
    ///
    /// # Fails
    /// At `/ratings/0/peak`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/0/peak", "value": 12}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/ratings/0/peak"}]
    /// ```
    ///
    /// # Fix
    /// Correct the peak, or name the scheme that the ratings follow.
    name: "rating-outside-scale", severity: Error, scope: Rating, since: "0.1", clause: "ratings#roll-up",
    needs: [Grades],
    facts: { "peak" = Grade "the peak, as recorded" },
}

fn check(rating: &RatingView<'_>, out: &mut Sink<'_>) {
    let Some(grader) = &rating.ending.survey.grader else { return };
    if let Some(peak) = rating.rating.peak.filter(|peak| grader.off_scale(*peak)) {
        let message = message(rating.rating.aspect, peak, grader.scheme);
        out.report(rating.subject("/peak"), message).fact("peak", peak.get());
    }
}
