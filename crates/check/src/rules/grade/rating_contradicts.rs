//! See the rule's documentation below.

use obvert_model::edit::Edit;
use serde_json::Value;

use crate::grading::tidy;
use crate::sink::Sink;
use crate::support::rating_totals::{self, RatingTotals};
use crate::views::RatingView;

rule! {
    /// # What it checks
    /// A figure of a rating is not what the grades of its runs add up to (*Roll-up* in Ratings).
    /// There is one finding for each rating, at the figure if only one differs.
    ///
    /// # Exceptions
    /// - The pipe, or a run that the rating names, is not in the document (`unknown-pipe`,
    ///   `unknown-run`), or two runs of the pipe have the same id.
    /// - The pipe has no run, and a row names a run that is not in the document (`unknown-run`).
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    /// - A grade is off the scale, or a graded stretch has no end or ends before it begins.
    /// - The figures are right once mistakes that other rules report are corrected, as below.
    ///
    /// # Exactly
    /// - A rating that names a run of another pipe has a finding at the first such run, one of a
    ///   pipe without runs a finding at `pipe`; their figures are not compared.
    /// - Figures are compared in the order `peak`, `total`, `mean`, `count`, `per_length`. A stated
    ///   *s* differs from the computed *c* if |*s* − *c*| > `slack` × max(1, |*c*|), or if there is
    ///   no *c*; a `count`, if it is not equal. A `peak` off the scale is not compared.
    /// - `per_length` is compared only if it can be computed and, for every run, the counter was
    ///   probably not reset, `surveyed` does not contradict the closing row, and the run is neither
    ///   past its pipe nor short of it, by the default limits.
    /// - If figures differ, they are computed again from corrected rows. There is no finding if all
    ///   then agree, or if a corrected row cannot be counted.
    ///
    /// Rows are corrected as follows. Computed grades, and rows whose code is not in the list, stay
    /// as they are.
    ///
    /// - A recorded grade on the scale becomes the scheme's if that is certain, and is dropped in
    ///   an aspect in which the scheme does not grade the code.
    /// - A row that duplicates another or is *repeated* (`observation-duplicate`), and a stretch
    ///   that overlaps an earlier one (`stretch-overlap`), are left out.
    /// - A stretch of a code that applies at a single point only is a point. Any other stretch that
    ///   has no length or ends beyond the run cannot be counted.
    ///
    /// # Why it matters
    /// Owners sort a whole network by these figures.
    ///
    /// # Fails
    /// At `/ratings/0/total`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/0/total", "value": 24}]
    /// ```
    /// At `/ratings/1/peak`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/1/peak", "value": 3}]
    /// ```
    /// Several figures are one finding. At `/ratings/0`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/0/total", "value": 24}, {"op": "replace", "path": "/ratings/0/count", "value": 12}]
    /// ```
    /// A run through another pipe. At `/ratings/0/runs/0`:
    /// ```json
    /// [{"op": "replace", "path": "/ratings/0/runs/0", "value": "R-102"}]
    /// ```
    ///
    /// # Passes
    /// Rounded to four decimals, or a figure left out.
    /// ```json
    /// [{"op": "replace", "path": "/ratings/0/per_length", "value": 0.3609}, {"op": "remove", "path": "/ratings/0/mean"}]
    /// ```
    ///
    /// The grade of an observation is mistyped, and the rating follows the right one.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 4}]
    /// ```
    ///
    /// # Fix
    /// Recompute the figure, or correct the grades that it rests on.
    name: "rating-contradicts", severity: Error, scope: Rating, since: "0.1", clause: "ratings#roll-up",
    needs: [Grades],
    concludes_from: ["pipe.runs"],
    limits: {
        "slack" = 0.0005 "of the figure"
            "the rounding error allowed in a figure other than count, or absolutely if that is more",
    },
    facts: {
        "stated" = Figures "the figures that differ, as recorded" if "there are runs, and all are of the pipe",
        "computed" = Figures "the computed figures, without those that cannot be computed"
            if "there are runs, and all are of the pipe",
    },
}

fn check(view: &RatingView<'_>, out: &mut Sink<'_>) {
    let Some(grader) = &view.ending.survey.grader else { return };
    let Some(runs) = rating_totals::runs_of_rating(view) else { return };
    let rating = view.rating;
    if view.ending.survey.pipe(&rating.pipe).is_none() {
        return;
    }
    for (place, run) in rating.runs.iter().enumerate() {
        let other = view.ending.run(run).filter(|summary| summary.run.pipe != rating.pipe);
        if let Some(other) = other {
            let subject = view.subject(&format!("/runs/{place}"));
            out.report(
                subject,
                format!(
                    "run {run} went through {}, but the rating is of {}",
                    other.run.pipe, rating.pipe
                ),
            );
            return;
        }
    }
    if runs.is_empty() && view.ending.misses_a_run() {
        return;
    }
    if runs.is_empty() {
        out.report(
            view.subject("/pipe"),
            format!("no run of this document went through {}", rating.pipe),
        );
        return;
    }
    if view.ending.lengths_doubtful() {
        return;
    }
    let totals = RatingTotals::new(&runs, rating.aspect, grader.scheme);
    if totals.tally.doubtful > 0 {
        return;
    }
    let slack = out.limit("slack");
    let close = |a: f64, b: f64| (a - b).abs() <= slack * b.abs().max(1.0) + 1e-12;
    let wrong = rating_totals::wrong_figures(view, &totals, grader, &close);
    // Other rules report recorded grades that differ from the scheme's. A rating that follows the
    // scheme is right.
    let mended = RatingTotals::corrected(&runs, rating.aspect, grader.scheme);
    if wrong.is_empty()
        || mended.tally.doubtful > 0
        || rating_totals::wrong_figures(view, &mended, grader, &close).is_empty()
    {
        return;
    }
    let (field, message) = match &*wrong {
        [one] => (
            format!("/{}", one.field),
            format!("{} {} is stated, but {}", one.field, one.stated, one.how),
        ),
        several => {
            let each = several
                .iter()
                .map(|one| format!("{} {} is stated, but {}", one.field, one.stated, one.how));
            let each = each.collect::<Vec<_>>().join("; ");
            (
                String::new(),
                format!("{} figures differ from what the grades give: {each}", several.len()),
            )
        }
    };
    let of = |amount: &dyn Fn(&rating_totals::WrongFigure) -> Option<f64>| -> Value {
        wrong
            .iter()
            .filter_map(|one| Some((one.field.to_owned(), Value::from(amount(one)?))))
            .collect()
    };
    let finding = out.report(view.subject(&field), message);
    let finding = finding
        .fact("stated", of(&|one| Some(one.stated)))
        .fact("computed", of(&|one| one.computed));
    let known: Vec<_> =
        wrong.iter().filter_map(|one| Some((one.field, tidy(one.computed?)))).collect();
    if known.is_empty() {
        return;
    }
    let figures =
        known.iter().map(|(field, computed)| format!("{field} is {computed}")).collect::<Vec<_>>();
    let edits = known
        .iter()
        .map(|(field, computed)| Edit::replace(view.subject(&format!("/{field}")).path, *computed))
        .collect();
    finding.fix_if_confirmed(format!("the grades are right, and {}", figures.join(", ")), edits);
}
