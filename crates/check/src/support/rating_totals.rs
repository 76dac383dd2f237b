//! The totals of the runs of a rating, and their description in messages.

use obvert_model::lists::GradeScheme;
use obvert_model::number::Amount;
use obvert_model::tables::{Aspect, OutcomeKind, Rating, Run};

use crate::grading::{GradeTotals, Grader, tidy};
use crate::support::run_extent;
use crate::support::seen_twice::surplus_grades;
use crate::views::{RatingView, RunSummary, Survey};

/// The length of the two structures, in metres: the default of `run-longer-than-pipe`.
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
    pub(crate) totals: GradeTotals,
    runs: &'d [&'d RunSummary],
    scheme: &'d GradeScheme,
}

impl<'d> RatingTotals<'d> {
    /// The totals of the recorded grades.
    fn new(runs: &'d [&'d RunSummary], aspect: Aspect, scheme: &'d GradeScheme) -> Self {
        Self::of(runs, scheme, |summary| summary.totals(aspect))
    }

    /// The totals without the faults that other rules report.
    pub(crate) fn corrected(
        runs: &'d [&'d RunSummary],
        aspect: Aspect,
        scheme: &'d GradeScheme,
    ) -> Self {
        Self::of(runs, scheme, |summary| summary.corrected(aspect))
    }

    /// The totals of the recorded grades, where a defect that two runs record counts once; `None`
    /// if there is no such defect.
    fn once(
        view: &RatingView<'_>,
        runs: &'d [&'d RunSummary],
        aspect: Aspect,
        scheme: &'d GradeScheme,
    ) -> Option<Self> {
        let surplus = surplus_grades(view.ending, runs, aspect, scheme);
        let mut all = Self::new(runs, aspect, scheme);
        surplus.iter().for_each(|grade| all.totals.take_back_point(*grade, scheme));
        (!surplus.is_empty()).then_some(all)
    }

    fn of(
        runs: &'d [&'d RunSummary],
        scheme: &'d GradeScheme,
        of_run: impl Fn(&'d RunSummary) -> &'d GradeTotals,
    ) -> Self {
        let mut totals = GradeTotals::default();
        runs.iter().for_each(|summary| totals.merge(of_run(summary), scheme));
        Self { totals, runs, scheme }
    }

    /// Whether no rule reports the length of one of the runs.
    pub(crate) fn length_certain(&self, survey: &Survey<'_>) -> bool {
        !self.runs.iter().any(|summary| {
            let (run, marks) = (&summary.run, summary.figures.marks);
            marks.counter_reset
                || run_extent::surveyed_contradicts_finish(survey, run, marks)
                || run_extent::beyond_pipe(survey, run, marks, STRUCTURE_ALLOWANCE).is_some()
                || (summary.outcome() == Some(OutcomeKind::Reached)
                    && run_extent::short_of_pipe(survey, run, marks, STRUCTURE_ALLOWANCE))
        })
    }

    /// The surveyed length in metres; `None` if a run does not record how far it went.
    fn metres(&self) -> Option<f64> {
        self.runs.iter().map(|summary| summary.figures.travelled).sum()
    }

    /// The total per length of the scheme.
    pub(crate) fn per_length(&self) -> Option<f64> {
        self.totals.per_length(self.metres()?, self.scheme)
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
            self.totals.peak(self.scheme),
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
        let count = self.totals.count;
        format!(
            "the grades in {} add up to {} ({count} counted, {})",
            self.names(),
            tidy(self.totals.total),
            self.rule()
        )
    }

    pub(crate) fn describe_count(&self) -> String {
        format!("{} grades count in {}, {}", self.totals.count, self.names(), self.rule())
    }

    pub(crate) fn describe_mean(&self) -> String {
        let (total, count) = (tidy(self.totals.total), self.totals.count);
        match self.totals.mean() {
            Some(mean) => format!("{total} ÷ {count} = {} in {}", tidy(mean), self.names()),
            None => format!("{} has no grade, so there is no mean", self.names()),
        }
    }

    pub(crate) fn describe_per_length(&self, is: f64) -> String {
        let (total, metres) = (tidy(self.totals.total), self.metres().map_or(0.0, tidy));
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

/// The end of a message about a run of another pipe, if the run names both structures of this one.
pub(crate) fn ends_of_pipe(survey: &Survey<'_>, run: &Run, pipe: &str) -> &'static str {
    let Some(pipe) = survey.pipe(pipe) else { return "" };
    let (Some(from), Some(to), Some(lower)) = (&run.from, &run.to, &pipe.downstream) else {
        return "";
    };
    let ends = [&pipe.upstream, lower];
    if [from, to] == ends || [to, from] == ends {
        ", whose structures the run names: the `pipe` of the run may be wrong"
    } else {
        ""
    }
}

/// A figure that differs from what the grades give.
pub(crate) struct WrongFigure {
    pub(crate) field: &'static str,
    pub(crate) stated: f64,
    pub(crate) computed: Option<f64>,
    pub(crate) how: String,
}

impl WrongFigure {
    fn describe(&self) -> String {
        format!("{} {} is stated, but {}", self.field, self.stated, self.how)
    }
}

/// The field of a finding about wrong figures, and its message.
pub(crate) fn place_and_message(wrong: &[WrongFigure]) -> (String, String) {
    if let [one] = wrong {
        return (format!("/{}", one.field), one.describe());
    }
    let each: Vec<String> = wrong.iter().map(WrongFigure::describe).collect();
    let (count, each) = (wrong.len(), each.join("; "));
    (String::new(), format!("{count} figures differ from what the grades give: {each}"))
}

/// The figures of a rating that differ from the recorded grades. They are right too if they count a
/// defect once that two runs record, or if they agree with the corrected grades: other rules report
/// recorded grades that differ from the scheme's, and a rating that follows the scheme is right.
pub(crate) fn contradicted_figures(
    view: &RatingView<'_>,
    grader: &Grader<'_>,
    runs: &[&RunSummary],
    slack: f64,
) -> Vec<WrongFigure> {
    let close = |a: f64, b: f64| (a - b).abs() <= slack * b.abs().max(1.0) + 1e-12;
    let wrong = |totals: &RatingTotals<'_>| {
        let certain = totals.totals.doubtful == 0;
        certain.then(|| wrong_figures(view, totals, grader, &close))
    };
    let (aspect, scheme) = (view.rating.aspect, grader.scheme);
    let recorded = wrong(&RatingTotals::new(runs, aspect, scheme)).unwrap_or_default();
    if recorded.is_empty() {
        return recorded;
    }
    let once = RatingTotals::once(view, runs, aspect, scheme);
    if once.is_some_and(|once| wrong(&once).is_some_and(|figures| figures.is_empty())) {
        return Vec::new();
    }
    match wrong(&RatingTotals::corrected(runs, aspect, scheme)) {
        Some(corrected) if !corrected.is_empty() => recorded,
        _ => Vec::new(),
    }
}

/// The figures of a rating that differ from totals, in the order of the table.
fn wrong_figures(
    view: &RatingView<'_>,
    totals: &RatingTotals<'_>,
    grader: &Grader<'_>,
    close: &impl Fn(f64, f64) -> bool,
) -> Vec<WrongFigure> {
    let (rating, sums) = (view.rating, &totals.totals);
    let mut wrong = Vec::new();
    let mut compare =
        |field, stated: Option<f64>, computed: Option<f64>, how: &dyn Fn() -> String| {
            let Some(stated) =
                stated.filter(|stated| !computed.is_some_and(|is| close(*stated, is)))
            else {
                return;
            };
            wrong.push(WrongFigure { field, stated, computed, how: how() });
        };
    let on_scale = rating.peak.filter(|peak| !grader.off_scale(*peak));
    compare("peak", on_scale.map(Amount::get), sums.peak(grader.scheme), &|| {
        totals.describe_peak()
    });
    compare("total", rating.total.map(Amount::get), Some(sums.total), &|| totals.describe_total());
    compare("mean", rating.mean.map(Amount::get), sums.mean(), &|| totals.describe_mean());
    // A count is exact.
    if let Some(count) = rating.count.filter(|count| u64::from(count.get()) != sums.count) {
        #[allow(clippy::cast_precision_loss)]
        let computed = Some(sums.count as f64);
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

/// Whether the other figures of the rating agree with the grades and determine this one, so that a
/// wrong grade is no explanation: it would change them too.
pub(crate) fn others_determine(rating: &Rating, field: &str) -> bool {
    let (total, mean) = (rating.total.is_some(), rating.mean.is_some());
    let count = rating.count.is_some();
    match field {
        "total" => mean && count,
        "mean" | "peak" => total && count,
        "count" => total && mean,
        // The length of a run may be wrong instead.
        _ => false,
    }
}
