//! See the rule's documentation below.

use obvert_model::edit::Edit;
use serde_json::Value;

use crate::grading::tidy;
use crate::sink::Sink;
use crate::support::rating_totals::{self, WrongFigure};
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
    /// - The figures are right if a defect that two runs record counts once.
    /// - The figures are right once mistakes that other rules report are corrected, as below.
    ///
    /// # Exactly
    /// - A rating that names a run of another pipe of the document has a finding at the first such run, one of a
    ///   pipe without runs a finding at `pipe`; their figures are not compared.
    /// - Figures are compared in the order `peak`, `total`, `mean`, `count`, `per_length`. A stated
    ///   *s* differs from the computed *c* if |*s* − *c*| > `slack` × max(1, |*c*|), or if there is
    ///   no *c*; a `count`, if it is not equal. A `peak` off the scale is not compared.
    /// - `per_length` is compared only if it can be computed and, for every run, the counter was
    ///   probably not reset, `surveyed` does not contradict the closing row, and the run is neither
    ///   past its pipe nor short of it, by the default limits.
    /// - If figures differ, they are computed again with defects that two runs record counted once
    ///   (*Roll-up*), and again from corrected rows. There is no finding if all agree with one of the
    ///   two, or if a corrected row cannot be counted.
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
    /// Both runs record the collapse, and the rating counts it once.
    /// ```json
    /// [{"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 90, "code": "collapse", "grades": {"structural": 5}}},
    ///  {"op": "add", "path": "/ratings/2", "value": {"id": "G-3", "pipe": "L-102", "aspect": "structural", "peak": 5, "total": 5, "count": 1}}]
    /// ```
    ///
    /// # Fix
    /// Look first whether rows are missing or in the wrong run; then correct grades or recompute.
    name: "rating-contradicts", severity: Error, scope: Rating, since: "0.1", clause: "ratings#roll-up",
    needs: [Grades],
    concludes_from: ["pipe.runs"],
    limits: {
        "slack" = 0.0005 "of the figure"
            "the rounding error allowed in a figure other than count, or absolutely if that is more: four digits; common practice, no published source",
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
    if view.ending.survey.pipe(&view.rating.pipe).is_none() || report_wrong_run(view, out) {
        return;
    }
    if runs.is_empty() {
        if !view.ending.refers_to_missing_run() {
            let message = format!("no run of this document went through {}", view.rating.pipe);
            out.report(view.subject("/pipe"), message);
        }
        return;
    }
    if view.ending.lengths_doubtful() {
        return;
    }
    let wrong = rating_totals::contradicted_figures(view, grader, &runs, out.limit("slack"));
    if !wrong.is_empty() {
        report(view, &wrong, out);
    }
}

/// Reports the first run of the rating that went through another pipe, and returns whether there is
/// one.
fn report_wrong_run(view: &RatingView<'_>, out: &mut Sink<'_>) -> bool {
    let pipe = &view.rating.pipe;
    for (index, run) in view.rating.runs.iter().enumerate() {
        let Some(summary) = view.ending.run(run) else { continue };
        let (survey, other) = (view.ending.survey, &summary.run.pipe);
        if other != pipe && survey.pipe(other).is_some() {
            let ends = rating_totals::ends_of_pipe(survey, &summary.run, pipe);
            let message =
                format!("run {run} went through {other}, but the rating is of {pipe}{ends}");
            out.report(view.subject(&format!("/runs/{index}")), message);
            return true;
        }
    }
    false
}

fn report(view: &RatingView<'_>, wrong: &[WrongFigure], out: &mut Sink<'_>) {
    let (field, message) = rating_totals::place_and_message(wrong);
    let of = |amount: fn(&WrongFigure) -> Option<f64>| -> Value {
        let amounts =
            wrong.iter().filter_map(|one| Some((one.field.to_owned(), amount(one)?.into())));
        Value::Object(amounts.collect())
    };
    let finding = out
        .report(view.subject(&field), message)
        .fact("stated", of(|one| Some(one.stated)))
        .fact("computed", of(|one| one.computed));
    let [WrongFigure { field, computed: Some(is), .. }] = wrong else { return };
    if rating_totals::others_determine(view.rating, field) {
        let is = tidy(*is);
        let edits = vec![Edit::replace(view.subject(&format!("/{field}")).path, is)];
        let does = format!("the grades and the other figures are right, and {field} is {is}");
        finding.fix_if_confirmed(does, edits);
    }
}
