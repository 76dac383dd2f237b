//! What the runs of a rating add up to, and how messages describe that.

use obvert_model::lists::GradeScheme;
use obvert_model::number::Amount;
use obvert_model::tables::{Aspect, OutcomeKind};

use crate::grading::{GradeTotals, Grader, tidy};
use crate::support::run_extent;
use crate::views::{RatingView, RunSummary, Survey};

/// The length that two structures take up, in metres: the default of `run-longer-than-pipe`.
const STRUCTURE_ALLOWANCE: f64 = 1.524;

/// The runs of a rating, in the order of the document and each once: those that it names, or all
/// runs of its pipe. `None` if it names a run that the document does not have, or if two runs have
/// the same id.
pub(crate) fn runs_of_rating<'d>(view: &RatingView<'d>) -> Option<Vec<&'d RunSummary>> {
    let (ending, rating) = (view.ending, view.rating);
    if rating.runs.is_empty() {
        let runs: Vec<&RunSummary> = ending.runs_of(&rating.pipe).collect();
        return unique(&runs).then_some(runs);
    }
    if !unique(&ending.runs_of(&rating.pipe).collect::<Vec<_>>()) {
        return None;
    }
    let mut runs: Vec<&RunSummary> =
        rating.runs.iter().map(|run| ending.run(run)).collect::<Option<_>>()?;
    runs.sort_by_key(|summary| summary.index);
    runs.dedup_by_key(|summary| summary.index);
    Some(runs)
}

/// Whether no two of these runs have the same id.
fn unique(runs: &[&RunSummary]) -> bool {
    let mut ids: Vec<&str> = runs.iter().map(|summary| &*summary.run.id).collect();
    ids.sort_unstable();
    ids.windows(2).all(|pair| pair[0] != pair[1])
}

/// The totals of the grades of several runs.
pub(crate) struct RatingTotals<'d> {
    pub(crate) tally: GradeTotals,
    runs: &'d [&'d RunSummary],
    scheme: &'d GradeScheme,
}

impl<'d> RatingTotals<'d> {
    /// The totals of the recorded grades.
    pub(crate) fn new(runs: &'d [&'d RunSummary], aspect: Aspect, scheme: &'d GradeScheme) -> Self {
        let mut tally = GradeTotals::default();
        for summary in runs {
            tally.merge(summary.tally(aspect), scheme);
        }
        Self { tally, runs, scheme }
    }

    /// The totals without the faults that other rules report.
    pub(crate) fn corrected(
        runs: &'d [&'d RunSummary],
        aspect: Aspect,
        scheme: &'d GradeScheme,
    ) -> Self {
        let mut tally = GradeTotals::default();
        for summary in runs {
            tally.merge(summary.corrected(aspect), scheme);
        }
        Self { tally, runs, scheme }
    }

    /// Whether no rule reports how far a run came.
    pub(crate) fn length_certain(&self, survey: &Survey<'_>) -> bool {
        !self.runs.iter().any(|summary| {
            let (run, marks) = (&summary.run, summary.marks);
            marks.counter_reset
                || run_extent::surveyed_contradicts_finish(survey, run, marks)
                || run_extent::beyond_pipe(survey, run, marks, STRUCTURE_ALLOWANCE).is_some()
                || (summary.outcome() == Some(OutcomeKind::Reached)
                    && run_extent::short_of_pipe(survey, run, marks, STRUCTURE_ALLOWANCE))
        })
    }

    /// The surveyed length in metres; `None` if a run does not record how far it went.
    fn metres(&self) -> Option<f64> {
        self.runs.iter().map(|summary| summary.travelled).sum()
    }

    /// The total per length of the scheme.
    pub(crate) fn per_length(&self) -> Option<f64> {
        self.tally.per_length(self.metres()?, self.scheme)
    }

    /// The runs, for a message.
    fn names(&self) -> String {
        match self.runs {
            [one] => one.run.id.to_string(),
            [one, other] => format!("{} and {}", one.run.id, other.run.id),
            [one, rest @ ..] => format!("{} and {} other runs", one.run.id, rest.len()),
            [] => "no run".to_owned(),
        }
    }

    pub(crate) fn describe_peak(&self) -> String {
        match (
            self.tally.peak(self.scheme),
            self.scheme.rollup.peak.as_ref().and_then(|peak| peak.length.as_ref()),
        ) {
            (Some(peak), None) => format!("the worst grade in {} is {peak}", self.names()),
            (Some(peak), Some(over)) => {
                format!(
                    "the grades in one length of {} {} of {} add up to {} at most",
                    over.value,
                    over.unit,
                    self.names(),
                    tidy(peak)
                )
            }
            (None, _) => format!("{} has no such grade", self.names()),
        }
    }

    pub(crate) fn describe_total(&self) -> String {
        let count = self.tally.count;
        format!(
            "the grades in {} add up to {} ({count} counted, {})",
            self.names(),
            tidy(self.tally.total),
            self.rule()
        )
    }

    pub(crate) fn describe_count(&self) -> String {
        format!("{} grades count in {}, {}", self.tally.count, self.names(), self.rule())
    }

    pub(crate) fn describe_mean(&self) -> String {
        let (total, count) = (tidy(self.tally.total), self.tally.count);
        match self.tally.mean() {
            Some(mean) => format!("{total} ÷ {count} = {} in {}", tidy(mean), self.names()),
            None => format!("{} has no grade to take the mean of", self.names()),
        }
    }

    pub(crate) fn describe_per_length(&self, is: f64) -> String {
        let (total, metres) = (tidy(self.tally.total), self.metres().map_or(0.0, tidy));
        let per = &self.scheme.rollup.per_length;
        format!(
            "{total} over {metres} m in {} is {} for each {} {}",
            self.names(),
            tidy(is),
            per.value,
            per.unit
        )
    }

    /// How a stretch is counted, for a message.
    fn rule(&self) -> String {
        let interval = &self.scheme.rollup.interval;
        format!("a stretch once for each {} {} begun", interval.value, interval.unit)
    }
}

/// A figure that differs from what the grades give.
pub(crate) struct WrongFigure {
    pub(crate) field: &'static str,
    pub(crate) stated: f64,
    pub(crate) computed: Option<f64>,
    pub(crate) how: String,
}

/// The figures of a rating that differ from what the grades give, in the order of the table.
pub(crate) fn wrong_figures(
    view: &RatingView<'_>,
    totals: &RatingTotals<'_>,
    grader: &Grader<'_>,
    close: &impl Fn(f64, f64) -> bool,
) -> Vec<WrongFigure> {
    let (rating, tally) = (view.rating, &totals.tally);
    let mut wrong = Vec::new();
    let mut hold = |field, stated: Option<f64>, computed: Option<f64>, how: &dyn Fn() -> String| {
        let Some(stated) = stated.filter(|stated| !computed.is_some_and(|is| close(*stated, is)))
        else {
            return;
        };
        wrong.push(WrongFigure { field, stated, computed, how: how() });
    };
    let on_scale = rating.peak.filter(|peak| !grader.off_scale(*peak));
    hold("peak", on_scale.map(Amount::get), tally.peak(grader.scheme), &|| totals.describe_peak());
    hold("total", rating.total.map(Amount::get), Some(tally.total), &|| totals.describe_total());
    hold("mean", rating.mean.map(Amount::get), tally.mean(), &|| totals.describe_mean());
    // A count is exact.
    if let Some(count) = rating.count.filter(|count| u64::from(count.get()) != tally.count) {
        #[allow(clippy::cast_precision_loss)]
        let computed = Some(tally.count as f64);
        wrong.push(WrongFigure {
            field: "count",
            stated: f64::from(count.get()),
            computed,
            how: totals.describe_count(),
        });
    }
    if let Some(is) = totals.per_length().filter(|_| totals.length_certain(view.ending.survey)) {
        let stated = rating.per_length.map(Amount::get).filter(|stated| !close(*stated, is));
        wrong.extend(stated.map(|stated| WrongFigure {
            field: "per_length",
            stated,
            computed: Some(is),
            how: totals.describe_per_length(is),
        }));
    }
    wrong
}
