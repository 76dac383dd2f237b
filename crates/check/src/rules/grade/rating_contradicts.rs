//! See the rule's documentation below.

use obvert_model::edit::Edit;
use serde_json::Value;

use crate::grading::tidy;
use crate::sink::Sink;
use crate::support::rating_totals::{self, RatingTotals};
use crate::views::RatingView;

rule! {
    /// # What it checks
    /// Every figure of a rating is what its runs add up to by the grade scheme: `peak` the worst grade or what else the scheme takes for it, `total` the sum (a
    /// stretch counted once for every interval begun), `count` how many were counted, `mean` the total divided by the
    /// count, `per_length` the total over the surveyed length. Recorded grades are added up; computed ones stand in where
    /// none is recorded. The runs are those that the rating names, or all runs of its pipe.
    ///
    /// A rating is one finding, however many of its figures differ: where it is one, the finding points to it.
    ///
    /// The rule stands back where the pipe or a run is not in the document, where two runs through the pipe have one id, where a grade is off the scale, where a graded
    /// stretch has no end, no length, or an end before it began or past the end of the run, where all lengths are in a doubtful unit (`length-unit-suspect`), where its pipe has no run and other rows name a run that is missing, and, for `per_length`, where a run has no surveyed distance or one that its rows or its pipe contradict.
    /// It also does where the figures are right once the grades are those of the scheme (`grade-contradicts`, `grade-aspect-unexpected`), what stands twice is counted once (`observation-duplicate`, `stretch-overlap`), and what has no length is a point (`stretch-not-allowed`): then the mistake is in the rows, and those rules say so.
    ///
    /// # Exactly
    /// A figure differs where it is farther from the computed one than `slack` times the greater of that and 1; a count where
    /// it is not the same. They are held in the order of `peak`, `total`, `mean`, `count`, `per_length`. A run's length counts
    /// for `per_length` where it is not zeroed again, `surveyed` does not contradict the closing row, and the run is neither
    /// past its pipe nor short of it, with the default limits. Where figures differ they are computed once more from the rows
    /// as they would be with other findings mended, and nothing is said where they then all agree or cannot be computed.
    /// For that a recorded grade on the scale is the scheme's grade, where that is certain, and none in an aspect in which the
    /// scheme does not grade the code; a row that stands twice or is repeated and a stretch that overlaps an earlier one are left out; a
    /// stretch of a code that is never continuous is a point; one whose end is not after its beginning, or is beyond the run,
    /// cannot be counted. Computed grades and rows without a code of the list stay as they are.
    ///
    /// # Why it matters
    /// Owners sort a whole network by these figures and rarely look behind them.
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
    /// Several figures are still one rating. At `/ratings/0`:
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
    /// The grade of an observation was mistyped, and the rating is of the right one.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 4}]
    /// ```
    ///
    /// # Fix
    /// Recompute the figure from the grades, or correct the grades that it rests on.
    name: "rating-contradicts", severity: Error, scope: Rating, since: "0.1", clause: "ratings#roll-up",
    needs: [Grades],
    concludes_from: ["pipe.runs"],
    limits: {
        "slack" = 0.0005 "of the figure"
            "how far a total, mean or per_length may be off for rounding, absolutely or as a share, whichever is more",
    },
    facts: {
        "stated" = Figures "the figures that do not follow, as recorded" if "there are runs, and all are of the pipe",
        "computed" = Figures "what they come to, without those that cannot be computed"
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
                format!("run {run} went through {}, but the rating is of {}", other.run.pipe, rating.pipe),
            );
            return;
        }
    }
    if runs.is_empty() && view.ending.misses_a_run() {
        return;
    }
    if runs.is_empty() {
        out.report(view.subject("/pipe"), format!("no run of this document went through {}", rating.pipe));
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
    // Where the grades that are recorded differ from those of the scheme, each has a finding of its own. A rating that
    // goes by the scheme is then right, and the grades are not.
    let mended = RatingTotals::corrected(&runs, rating.aspect, grader.scheme);
    if wrong.is_empty()
        || mended.tally.doubtful > 0
        || rating_totals::wrong_figures(view, &mended, grader, &close).is_empty()
    {
        return;
    }
    let (field, message) = match &*wrong {
        [one] => (format!("/{}", one.field), format!("{} {} stated, but {}", one.field, one.stated, one.how)),
        several => {
            let each = several.iter().map(|one| format!("{} {} stated, but {}", one.field, one.stated, one.how));
            let each = each.collect::<Vec<_>>().join("; ");
            (String::new(), format!("{} figures do not follow from the grades: {each}", several.len()))
        }
    };
    let of = |amount: &dyn Fn(&rating_totals::WrongFigure) -> Option<f64>| -> Value {
        wrong.iter().filter_map(|one| Some((one.field.to_owned(), Value::from(amount(one)?)))).collect()
    };
    let finding = out.report(view.subject(&field), message);
    let finding = finding.fact("stated", of(&|one| Some(one.stated))).fact("computed", of(&|one| one.computed));
    let known: Vec<_> = wrong.iter().filter_map(|one| Some((one.field, tidy(one.computed?)))).collect();
    if known.is_empty() {
        return;
    }
    let figures = known.iter().map(|(field, computed)| format!("{field} is {computed}")).collect::<Vec<_>>();
    let edits = known
        .iter()
        .map(|(field, computed)| Edit::replace(view.subject(&format!("/{field}")).path, *computed))
        .collect();
    finding.fix_if_confirmed(format!("the grades are right, and {}", figures.join(", ")), edits);
}
