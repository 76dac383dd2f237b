//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::number::Amount;

use crate::grading::tidy;
use crate::rollup::{self, Rolled};
use crate::sink::Sink;
use crate::views::RatingView;

rule! {
    /// # What it checks
    /// Every figure of a rating is what its runs add up to by the grade scheme: `peak` the worst grade or what else the scheme takes for it, `total` the sum (a
    /// stretch counted once for every interval begun), `count` how many were counted, `mean` the total divided by the
    /// count, `per_length` the total over the surveyed length. Recorded grades are added up; computed ones stand in where
    /// none is recorded. The runs are those that the rating names, or all runs of its pipe.
    ///
    /// The rule stands back where the pipe or a run is not in the document, where a grade is off the scale, where a graded
    /// stretch has no end or ends before it began, where all lengths are in a doubtful unit (`length-unit-suspect`), where its pipe has no run and other rows name a run that is missing, and, for `per_length`, where a run has no surveyed distance.
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
    /// # Fix
    /// Recompute the figure from the grades, or correct the grades that it rests on.
    name: "rating-contradicts", severity: Error, scope: Rating, since: "0.1", clause: "ratings#roll-up",
    needs: [Grades],
    limits: {
        "slack" = 0.0005 "of the figure"
            "how far a total, mean or per_length may be off for rounding, absolutely or as a share, whichever is more",
    },
}

fn check(view: &RatingView<'_>, out: &mut Sink<'_>) {
    let Some(grader) = &view.ending.survey.grader else { return };
    let Some(runs) = rollup::runs(view) else { return };
    let rating = view.rating;
    if view.ending.survey.pipe(&rating.pipe).is_none() {
        return;
    }
    for (place, run) in rating.runs.iter().enumerate() {
        let other = view.ending.run(run).filter(|summary| summary.run.pipe != rating.pipe);
        if let Some(other) = other {
            let spot = view.spot(&format!("/runs/{place}"));
            out.report(
                spot,
                format!("run {run} went through {}, but the rating is of {}", other.run.pipe, rating.pipe),
            );
            return;
        }
    }
    if runs.is_empty() && view.ending.misses_a_run() {
        return;
    }
    if runs.is_empty() {
        out.report(view.spot("/pipe"), format!("no run of this document went through {}", rating.pipe));
        return;
    }
    if view.ending.lengths_doubtful() {
        return;
    }
    let rolled = Rolled::new(&runs, rating.aspect, grader.scheme);
    if rolled.tally.doubtful > 0 {
        return;
    }
    let slack = out.limit("slack");
    let close = |a: f64, b: f64| (a - b).abs() <= slack * b.abs().max(1.0) + 1e-12;
    let mut wrong = |field: &str, stated: String, computed: Option<f64>, how: String| {
        let finding = out.report(view.spot(&format!("/{field}")), format!("{field} {stated} stated, but {how}"));
        if let Some(computed) = computed {
            let computed = tidy(computed);
            finding.fact("computed", computed).fix_if_confirmed(
                format!("the grades are right, and {field} is {computed}"),
                vec![Edit::replace(view.spot(&format!("/{field}")).path, computed)],
            );
        }
    };
    let tally = &rolled.tally;
    let peak = tally.peak(grader.scheme);
    let off = |stated: &Amount| !peak.is_some_and(|peak| close(stated.get(), peak));
    if let Some(stated) = rating.peak.filter(|stated| !grader.off_scale(*stated) && off(stated)) {
        wrong("peak", stated.to_string(), peak, rolled.say_peak());
    }
    if let Some(total) = rating.total.filter(|total| !close(total.get(), tally.total)) {
        wrong("total", total.to_string(), Some(tally.total), rolled.say_total());
    }
    if let Some(count) = rating.count.filter(|count| u64::from(count.get()) != tally.count) {
        #[allow(clippy::cast_precision_loss)]
        wrong("count", count.to_string(), Some(tally.count as f64), rolled.say_count());
    }
    if let Some(mean) = rating.mean.filter(|mean| !tally.mean().is_some_and(|is| close(mean.get(), is))) {
        wrong("mean", mean.to_string(), tally.mean(), rolled.say_mean());
    }
    if let (Some(stated), Some(is)) = (rating.per_length, rolled.per_length()) {
        if !close(stated.get(), is) {
            wrong("per_length", stated.to_string(), Some(is), rolled.say_per_length(is));
        }
    }
}
